// SPDX-License-Identifier: GPL-3.0-or-later
/// @file study.h What a user asks of a rig: its response, its variants compared, what it is made
/// of.
#ifndef TONELOAD_STUDY_H
#define TONELOAD_STUDY_H

#include "toneload/error.h"
#include "toneload/parts.h"
#include "toneload/response.h"
#include "toneload/rig.h"

#include <stdbool.h>
#include <stddef.h>

/// A part library and worker processes that solve: what every study needs.
typedef struct tl_session tl_session;

typedef struct {
    const char* parts_folder; ///< the user's own parts, or NULL
    unsigned jobs;            ///< worker processes; 0: as many as there are cores
    double time_limit_s;      ///< for one request to the solver; 0: 60 s
    bool solves;              ///< false: only reading is asked for, no worker is started
    bool one_rig;             ///< hint: a single rig will be solved, so its worker may end with it
    /// Called now and then during long work with what is done of how much. May be NULL.
    void (*progress)(void* context, size_t done, size_t total);
    void* context;
} tl_session_options;

/// Opens the library and, for studies that solve, starts the first worker without waiting for it.
TL_API tl_status tl_session_new(const tl_session_options* options, tl_session** session,
                                tl_error* error);
TL_API void tl_session_free(tl_session* session);
TL_API tl_library* tl_session_library(const tl_session* session);

/// One solved response.
typedef struct {
    const char* name; ///< "rig" or "direct"
    char* amp;        ///< name of the amp it is read at; "amp" when there is only one
    tl_response* response;
    tl_metrics metrics;
    double residual; ///< largest held-out error of the fit, relative
} tl_solved;

/// All responses of one rig: for each amp the rig's, then its direct's.
typedef struct {
    tl_solved* solved;
    size_t count;
    size_t solves; ///< frequencies that were solved, for all of them together
} tl_answer;

/// Rig minus direct at `count` frequencies, dB, the level between 200 Hz and 1 kHz matched.
TL_API void tl_differences_db(const tl_solved* rig, const tl_solved* direct, size_t count,
                              const double* hz, double* db);

/// Solves a rig and its direct. Levels are relative to `reference_hz`. Free with tl_answer_free().
TL_API tl_status tl_study_response(tl_session* session, tl_rig* rig, double reference_hz,
                                   tl_answer** answer, tl_error* error);
TL_API void tl_answer_free(tl_answer* answer);

/// A value that a variant sets.
typedef struct {
    char* path;
    char* value; ///< as the user wrote it
} tl_setting;

typedef struct {
    char* name;        ///< the rig's title when there are several, then what it sets
    const tl_rig* rig; ///< the rig it is a variant of
    tl_setting* settings;
    size_t setting_count;
    tl_answer* answer;
} tl_variant;

typedef struct {
    tl_variant* variants;
    size_t count;
} tl_comparison;

/// Solves every combination of the `varies` ("PATH=V1,V2,...") of every rig, the first varying
/// slowest. TL_BAD_INPUT with a caret under the part of a vary that cannot be used.
TL_API tl_status tl_study_compare(tl_session* session, tl_rig* const* rigs, size_t rig_count,
                                  const char* const* varies, size_t vary_count, double reference_hz,
                                  tl_comparison** comparison, tl_error* error);
TL_API void tl_comparison_free(tl_comparison* comparison);

/// One value of a part and where it came from.
typedef struct {
    char* part;   ///< path in the rig ("chain[0].cable"), or name in the library
    char* about;  ///< what it is: kind, name, state
    char* field;  ///< "capacitance"
    char* value;  ///< "100 pF/m"
    char* origin; ///< "rig.yaml:7", "library part standard-coax: common practice", "by formula"
} tl_listing;

typedef struct {
    tl_listing* rows;
    size_t count;
    char** remarks; ///< what looks wrong, each with its path
    size_t remark_count;
    double cable_farad;        ///< of all cables in the rig's path, but for loops that are off
    double first_cable_farad;  ///< of those the pickup drives: up to the first stage that drives on
    double cable_m;            ///< their length together
    double direct_cable_farad; ///< of the direct line-up
} tl_inspection;

/// A rig without solving it: every value with its origin, and what looks wrong. Free with
/// tl_inspection_free().
TL_API tl_inspection* tl_study_check(tl_rig* rig);

/// The part library, of one kind or (NULL) of all. TL_BAD_INPUT when there is no such kind.
TL_API tl_status tl_study_parts(tl_library* library, const char* kind, tl_inspection** inspection,
                                tl_error* error);
TL_API void tl_inspection_free(tl_inspection* inspection);

/// The rig and its direct as a deck that `ngspice -b` and gnucap run as it is; free with free().
TL_API char* tl_study_netlist(tl_rig* rig);

#endif
