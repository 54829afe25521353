// SPDX-License-Identifier: GPL-3.0-or-later
/// @file command.h A command of the command line. A new one: a file cmd_*.c and a row in main.c.
#ifndef TL_CLI_COMMAND_H
#define TL_CLI_COMMAND_H

#include "toneload/toneload.h"

#include <stdbool.h>
#include <stddef.h>

/// Options a command may take; each command names those it knows.
typedef enum {
    OPTION_JSON = 1 << 0,
    OPTION_CSV = 1 << 1,
    OPTION_POINTS = 1 << 2,
    OPTION_REFERENCE = 1 << 3,
    OPTION_OUTPUT = 1 << 4,
    OPTION_PLOT = 1 << 5,
    OPTION_PARTS = 1 << 6,
    OPTION_JOBS = 1 << 7,
    OPTION_TIME_LIMIT = 1 << 8,
    OPTION_VARY = 1 << 9,
    OPTION_FIX = 1 << 10,
    OPTION_ALL = 1 << 11,
    OPTION_LIMIT = 1 << 12,
    OPTION_METRIC = 1 << 13,
    OPTION_BUFFER = 1 << 14,
    OPTION_COUNT = 1 << 15,
    OPTION_CURVES = 1 << 16,
    OPTION_OUT = 1 << 17,
    OPTION_INPUT = 1 << 18,
    OPTION_THROUGH = 1 << 19,
    OPTION_MAX_GAIN = 1 << 20,
    OPTION_MATCH = 1 << 21,
    OPTION_RIG = 1 << 22,
    OPTION_LIMITS = 1 << 23,
    OPTION_CORNERS = 1 << 24,
    OPTION_DETAILS = 1 << 25,
} option_flag;

/// What the user asked for.
typedef struct {
    bool json;
    bool csv;
    bool help;
    size_t points;
    double reference_hz;
    const char* output;
    const char* plot;
    const char* parts;
    unsigned jobs;
    double time_limit_s;
    const char** varies;
    size_t vary_count;
    const char** fixes;
    size_t fix_count;
    bool all;
    const char** limits;
    size_t limit_count;
    const char* metric;
    const char* curves;
    const char* buffer;
    size_t count;
    const char* out;     ///< a folder for sound, or the file of a page
    const char* input;   ///< a recording
    const char* through; ///< the rig it was made through
    double max_gain_db;  ///< NAN when not said
    bool match_level;
    const char* rig;         ///< the setting a design will live in
    const char* limits_file; ///< what designs are held to
    bool corners;
    const char** words; ///< what is no option: rig files, a kind
    size_t word_count;
} request;

typedef struct {
    const char* name;
    const char* words;   ///< what follows it: "RIG.yaml"
    const char* summary; ///< one line
    const char* about;   ///< a paragraph and an example
    unsigned options;
    size_t least_words;
    size_t most_words;
    tl_status (*run)(const request* asked, tl_error* error);
} command;

extern const command command_response;
extern const command command_compare;
extern const command command_check;
extern const command command_parts;
extern const command command_netlist;
extern const command command_states;
extern const command command_reach;
extern const command command_sweep;
extern const command command_place;
extern const command command_listen;
extern const command command_lesson;
extern const command command_bench;

/// Reads a command's options and words. TL_BAD_INPUT with the nearest option when one is unknown.
tl_status request_read(const command* about, int count, char** words, request* asked,
                       tl_error* error);
void request_free(request* asked);

/// Prints what an option does, for those the command takes.
void request_print_options(unsigned options);

/// What a command asks of a session.
typedef enum { SESSION_READS, SESSION_SOLVES_ONE, SESSION_SOLVES } session_use;

/// A session as the options ask for.
tl_status request_session(const request* asked, session_use use, tl_session** session,
                          tl_error* error);

/// Leaves a session to the end of the program, which is near: the worker has been told to end, and
/// to wait for it (half a millisecond) would serve nobody.
void request_leave_session(tl_session* session);

/// Writes the answer where the options say.
tl_status request_write(const request* asked, const char* text, tl_error* error);

#endif
