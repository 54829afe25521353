// SPDX-License-Identifier: GPL-3.0-or-later
/// @file command.h A command of the command line. A new one: a file cmd_*.c and a row in main.c.
#ifndef TL_CLI_COMMAND_H
#define TL_CLI_COMMAND_H

#include "toneload/toneload.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/// Options a command may take, one bit each; each command names those it knows.
typedef uint64_t option_set;
#define OPTION(bit) ((option_set)1 << (bit))
#define OPTION_JSON OPTION(0)
#define OPTION_CSV OPTION(1)
#define OPTION_POINTS OPTION(2)
#define OPTION_REFERENCE OPTION(3)
#define OPTION_OUTPUT OPTION(4)
#define OPTION_PLOT OPTION(5)
#define OPTION_PARTS OPTION(6)
#define OPTION_JOBS OPTION(7)
#define OPTION_TIME_LIMIT OPTION(8)
#define OPTION_VARY OPTION(9)
#define OPTION_FIX OPTION(10)
#define OPTION_ALL OPTION(11)
#define OPTION_LIMIT OPTION(12)
#define OPTION_METRIC OPTION(13)
#define OPTION_BUFFER OPTION(14)
#define OPTION_COUNT OPTION(15)
#define OPTION_CURVES OPTION(16)
#define OPTION_OUT OPTION(17)
#define OPTION_INPUT OPTION(18)
#define OPTION_THROUGH OPTION(19)
#define OPTION_MAX_GAIN OPTION(20)
#define OPTION_MATCH OPTION(21)
#define OPTION_RIG OPTION(22)
#define OPTION_LIMITS OPTION(23)
#define OPTION_CORNERS OPTION(24)
#define OPTION_DETAILS OPTION(25)
#define OPTION_TRIALS OPTION(26)
#define OPTION_SEED OPTION(27)
#define OPTION_SHARD OPTION(28)
#define OPTION_RESUME OPTION(29)
#define OPTION_SELECT OPTION(30)
#define OPTION_WORST OPTION(31)
#define OPTION_STATED OPTION(32)
#define OPTION_DUMP OPTION(33)
#define OPTION_HISTOGRAMS OPTION(34)
#define OPTION_SENSITIVITY OPTION(35)
#define OPTION_LEVEL OPTION(36)
#define OPTION_PRICES OPTION(37)
#define OPTION_DRAWING OPTION(38)
#define OPTION_SCALE OPTION(39)
#define OPTION_PAPER OPTION(40)
#define OPTION_CONTROLS OPTION(41)
#define OPTION_CABLE OPTION(42)
#define OPTION_ROBUST OPTION(43)
#define OPTION_PART OPTION(44)
#define OPTION_OFFSET OPTION(45)
#define OPTION_PDF OPTION(46)
#define OPTION_BILL OPTION(50)
#define OPTION_STATE OPTION(52)
#define OPTION_END OPTION(53)
#define OPTION_ON OPTION(57)
#define OPTION_AS_WRITTEN OPTION(58)
#define OPTION_LOAD OPTION(54)
#define OPTION_HOLD OPTION(55)
#define OPTION_NAME OPTION(56)

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
    size_t trials;
    uint64_t seed;
    size_t shard;  ///< from 1
    size_t shards; ///< 0: no shard
    bool resume;
    const char** selects;
    size_t select_count;
    bool worst_case;
    bool only_stated;
    const char* dump;
    const char* histograms;
    const char* sensitivity;
    const char* level;    ///< how loud the playing is, with its unit
    const char* drawing;  ///< of a board
    const char* paper;    ///< or NULL
    double scale;         ///< 4 for 1:4; 0: not said
    const char* prices;   ///< a price file
    bool bill;            ///< the bill of materials only
    const char* state;    ///< this state only, or the one that was measured
    const char* end;      ///< at this amp only, or where it was measured
    const char* pdf;      ///< a page on paper
    const char* offset;   ///< keep, remove
    bool as_written;      ///< measured with the rig's own guitar and amp
    const char* controls; ///< between a measured pickup and the meter
    const char* cable;    ///< the same
    const char* load;     ///< what hung on it
    const char* hold;     ///< values of a pickup that are known
    bool robust;
    const char* part;   ///< a library file to write
    const char* name;   ///< of the part in it
    const char** words; ///< what is no option: rig files, a kind
    size_t word_count;
} request;

typedef struct {
    const char* name;
    const char* words;   ///< what follows it: "RIG.yaml"
    const char* summary; ///< one line
    const char* about;   ///< a paragraph and an example
    option_set options;
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
extern const command command_spread;
extern const command command_merge;
extern const command command_noise;
extern const command command_dress;
extern const command command_power;
extern const command command_build;
extern const command command_card;
extern const command command_report;
extern const command command_accept;
extern const command command_fit;

/// TL_BAD_INPUT when two of these names (each may be NULL) lead to one file, there already or not.
tl_status outputs_check(const char* const* outputs, size_t count, tl_error* error);

/// Reads a command's options and words. TL_BAD_INPUT with the nearest option when one is unknown.
tl_status request_read(const command* about, int count, char** words, request* asked,
                       tl_error* error);
void request_free(request* asked);

/// Prints what an option does, for those the command takes.
void request_print_options(option_set options);

/// What a command asks of a session.
typedef enum { SESSION_READS, SESSION_SOLVES_ONE, SESSION_SOLVES } session_use;

/// A session as the options ask for.
tl_status request_session(const request* asked, session_use use, tl_session** session,
                          tl_error* error);

/// Lets Ctrl-C (or a polite kill) end work that is of use unfinished; a second one ends the
/// program. Whether one came is told by request_was_stopped().
void request_catch_stop(void);
bool request_was_stopped(void);

/// Leaves a session to the end of the program, which is near: the worker has been told to end, and
/// to wait for it (half a millisecond) would serve nobody.
void request_leave_session(tl_session* session);

/// Writes the answer where the options say.
tl_status request_write(const request* asked, const char* text, tl_error* error);

#endif
