// SPDX-License-Identifier: GPL-3.0-or-later
/// @file study.h What a user asks of a rig: its response, its variants compared, what it is made
/// of.
#ifndef TONELOAD_STUDY_H
#define TONELOAD_STUDY_H

#include "toneload/accept.h"
#include "toneload/answer.h"
#include "toneload/build.h"
#include "toneload/dress.h"
#include "toneload/error.h"
#include "toneload/fit.h"
#include "toneload/lesson.h"
#include "toneload/meter.h"
#include "toneload/noise.h"
#include "toneload/parts.h"
#include "toneload/power.h"
#include "toneload/report.h"
#include "toneload/response.h"
#include "toneload/rig.h"
#include "toneload/spread.h"

#include <stdbool.h>
#include <stddef.h>

/// A part library and worker processes that solve: what every study needs.
typedef struct tl_session tl_session;

typedef struct {
    const char* parts_folder; ///< the user's own parts, or NULL
    unsigned jobs;            ///< worker processes, each with a thread; 0: one for each core
    double time_limit_s;      ///< for one request to the solver; 0: 60 s
    bool solves;              ///< false: only reading is asked for, no worker is started
    bool one_rig;             ///< hint: a single rig will be solved, so its worker may end with it
    /// Called now and then during long work with what is done of how much, always from the thread
    /// that called the study. May be NULL.
    void (*progress)(void* context, size_t done, size_t total);
    /// Whether work that is of use unfinished (a spread) should end with what it has. Quick, and
    /// called from any thread. May be NULL.
    bool (*stopped)(void* context);
    void* context;
} tl_session_options;

/// Opens the library and, for studies that solve, starts the first worker without waiting for it.
TL_API tl_status tl_session_new(const tl_session_options* options, tl_session** session,
                                tl_error* error);
TL_API void tl_session_free(tl_session* session);
TL_API tl_library* tl_session_library(const tl_session* session);

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
    char* rig_label;   ///< its title; with the file when another has the same title
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

/// A figure of a solved rig by its JSON name: peak_hz, q, cutoff_hz, worst_db, ...
typedef struct {
    const char* name;
    const char* title; ///< "peak", for people
    const char* unit;  ///< "Hz", "dB" or ""
} tl_figure_kind;
/// All figures; NULL past the last.
TL_API const tl_figure_kind* tl_figure_kind_at(size_t index);
/// The index of a figure by its name. TL_BAD_INPUT with the nearest name when there is none.
TL_API tl_status tl_figure_find(const char* name, size_t* index, tl_error* error);
/// A figure of a rig that was solved with its direct; NAN where there is none.
TL_API double tl_figure_of(const tl_solved* rig, size_t index);

/// One value swept: the numbers it takes, in the unit of its label.
typedef struct {
    char* path;
    char* label; ///< "chain[0].length (m)"
    double* values;
    size_t count;
} tl_axis;

typedef struct {
    tl_axis axes[2];
    size_t axis_count;
    tl_comparison* comparison; ///< the first axis varies slowest
} tl_sweep;

/// Solves a rig over one or two ranges ("PATH=1 m..15 m:15"), ends included, in equal steps.
/// TL_BAD_INPUT with a caret when a range cannot be used.
TL_API tl_status tl_study_sweep(tl_session* session, tl_rig* rig, const char* const* ranges,
                                size_t range_count, double reference_hz, tl_sweep** sweep,
                                tl_error* error);
TL_API void tl_sweep_free(tl_sweep* sweep);

/// How a limit is met over the plausible range of a value.
typedef enum { TL_MET_NEVER, TL_MET_ALWAYS, TL_MET_AT } tl_met;

/// One row of an answer: a variant and the value at which it just meets the limits.
typedef struct {
    char* name; ///< of the variant: "cable = standard-coax"; "" when nothing else varies
    tl_setting* settings;
    size_t setting_count;
    tl_met met;
    double from;   ///< met from here on, SI unit; NAN: from the range's low end
    double to;     ///< met up to here; NAN: up to the range's high end
    char* shown;   ///< "4.63 m", "2.1 m to 4.63 m"
    size_t limit;  ///< the limit that is met last at the end that was found
    size_t solves; ///< frequencies solved to find it
} tl_reached;

typedef struct {
    char* path;
    char* unit;  ///< SI unit of the values: "m"
    char* range; ///< "0 m to 300 m": where was looked
    tl_reached* rows;
    size_t count;
} tl_reach;

typedef struct {
    const char* path;          ///< what is solved for: any number in the rig
    const char* const* varies; ///< "PATH=V1,V2,..": a row for each of their combinations
    size_t vary_count;
    const char* const* limits; ///< all of them must be met, at every amp
    size_t limit_count;
    double reference_hz;
} tl_reach_options;

/// Finds the values of a path that meet all limits. Limits: "-1 dB at 5 kHz" (rig minus direct,
/// matched), "peak not below 3 kHz", "-3 dB not below 4 kHz", "verdict not worse than borderline".
/// By root finding (Ridders). TL_BAD_INPUT when a limit cannot be read, the path is no number, or
/// its value changes the circuit's shape.
TL_API tl_status tl_study_reach(tl_session* session, tl_rig* rig, const tl_reach_options* options,
                                tl_reach** reach, tl_error* error);
TL_API void tl_reach_free(tl_reach* reach);

typedef struct {
    double reference_hz;
    const char* const* fixes; ///< "NAME=yes" or "PATH=no": held in every state
    size_t fix_count;
    bool all; ///< every combination, even when the rig names scenes
} tl_states_options;

/// Solves a rig in every combination of its pedals and loops, or in the scenes it names.
/// TL_BAD_INPUT when there are more than 2^16 states, or none.
TL_API tl_status tl_study_states(tl_session* session, tl_rig* rig, const tl_states_options* options,
                                 tl_states** states, tl_error* error);
TL_API void tl_states_free(tl_states* states);

/// Buffers in some gaps of a rig's chain, judged over all states and amps.
typedef struct {
    size_t* gaps;      ///< `buffers` of them, in the order of the signal; NULL: no buffer at all
    bool allowed;      ///< every pedal that needs the pickup sees it as without buffers
    size_t takes_from; ///< not allowed: the first pedal that loses the pickup
    double worst_db;   ///< largest difference from direct, matched, of the states judged
    double worst_hz;
    size_t worst_state;
    size_t worst_amp;
    double presence_db; ///< in that state at that amp
    double rms_db;      ///< root mean square of all states judged, amps and bands
    tl_verdict verdict; ///< the worst of all states judged
    double aside_db;    ///< largest difference of the states set aside; NAN when there are none
} tl_placement;

/// A pedal that must see the pickup itself (`needs_pickup`).
typedef struct {
    char* name;
    size_t on_count;  ///< states in which it is in the path and on
    size_t cut_count; ///< of those: something in the rig already stands before it
} tl_pickup_pedal;

typedef struct {
    char* buffer;     ///< as the user wrote it
    size_t buffers;   ///< placed at once
    char** gaps;      ///< "before chain[0] (cable)", "after chain[2] 'drive'"
    char** gap_paths; ///< what a buffer there would be called in the rig file: "chain[3]"
    size_t gap_count;
    char** pedals; ///< pedals and loops that change between the states: name, or path
    size_t pedal_count;
    char** scenes; ///< by state; NULL when every combination is gone through
    bool* engaged; ///< [state * pedal_count + pedal]
    size_t state_count;
    /// By state: not judged, because a pedal that needs the pickup is on and has it. How it loads
    /// the pickup is its sound. When that is so in every state, none is set aside.
    bool* set_aside;
    size_t set_aside_count;
    tl_pickup_pedal* pickup_pedals;
    size_t pickup_pedal_count;
    tl_placement* placements; ///< [0] has no buffer; then all combinations of gaps
    size_t count;
    size_t* ranking;     ///< those allowed, nearest to direct first
    size_t ranked_count; ///< the others follow in `ranking`, nearest first
    size_t best_of_all;  ///< nearest to direct, allowed or not
    double cost_db;      ///< what the pedals that need the pickup cost; NAN when there are none
    tl_answer* none;     ///< no buffer, in its worst state, with the directs
    tl_answer* best;     ///< the best placement in that state, with the directs
    size_t solves;       ///< circuits solved: those that are alike are solved once
} tl_placing;

typedef struct {
    double reference_hz;
    const char* buffer;       ///< a library part, or {input: .., output: ..}
    size_t buffers;           ///< 1 to 4
    const char* const* fixes; ///< "NAME=yes" or "PATH=no": held in every state
    size_t fix_count;
    bool all; ///< every combination, even when the rig names scenes
} tl_place_options;

/// Tries buffers in every combination of gaps of a rig, in every state of its pedals and loops.
/// Gaps are those of its chain, of loops and of a split's branches; the direct line-up never moves.
/// TL_BAD_INPUT when the buffer cannot be read, the rig has fewer gaps than there are buffers, or
/// places times states pass 100,000.
TL_API tl_status tl_study_place(tl_session* session, tl_rig* rig, const tl_place_options* options,
                                tl_placing** placing, tl_error* error);
TL_API void tl_placing_free(tl_placing* placing);

typedef struct {
    size_t trials;
    uint64_t seed;
    double reference_hz;
    bool only_stated; ///< no tolerances but those that the rig and its library parts state
    bool worst_case;  ///< look at corners too
    size_t shard;     ///< of a shard: which, from 1
    size_t shards;    ///< of how many; 0: all trials here
    bool resume;      ///< of a shard: go on from where its file was left
    const char* const* choices; ///< "PATH=low", "PATH=lowest of 5", ..
    size_t choice_count;
    const char* dump; ///< a CSV file for every trial's values and figures, or NULL
} tl_spread_options;

/// Runs trials of a rig: trial i depends on the seed and i alone. TL_BAD_INPUT when no value has a
/// tolerance or a choice names none. When the session is told to stop, the result is of the trials
/// that were done. Free with tl_spread_free().
TL_API tl_status tl_study_spread(tl_session* session, tl_rig* rig, const tl_spread_options* options,
                                 tl_spread** spread, tl_error* error);

/// Runs a shard's trials and writes them to a file, now and then already while they run. `done` and
/// `count` say how far it came: short of it when the session was told to stop, and then another
/// run can resume. TL_BAD_INPUT when the file to resume is of another rig, seed, or version.
TL_API tl_status tl_study_spread_shard(tl_session* session, tl_rig* rig,
                                       const tl_spread_options* options, const char* path,
                                       size_t* done, size_t* count, tl_error* error);

/// Puts the shards of one run together, in whatever order: what comes out is what one run would
/// have given. TL_BAD_INPUT when one is missing, unfinished, there twice, damaged, or of another
/// run. Of the options only choices and dump count.
TL_API tl_status tl_spread_merge(const char* const* paths, size_t count,
                                 const tl_spread_options* options, tl_spread** spread,
                                 tl_error* error);
TL_API void tl_spread_free(tl_spread* spread);

/// Solves the noise at each amp's input, of the rig as it is written, of its direct, and of every
/// state of its pedals if asked for. Resistors at 27 degrees Celsius, and what pedals, buffers and
/// amps state. TL_BAD_INPUT for a fix that cannot be used or more than 2^16 states. Free with
/// tl_noise_free().
TL_API tl_status tl_study_noise(tl_session* session, tl_rig* rig, const tl_noise_options* options,
                                tl_noise** noise, tl_error* error);
TL_API void tl_noise_free(tl_noise* noise);

/// Solves what a rig's leads pick up from the leads beside them (`dressing` in its file), in the
/// state it is written in but for pedals that `options` switch, and looks at its joints.
/// TL_BAD_INPUT when the library lacks the buffer that is held against, or for a fix that cannot be
/// used. Free with tl_dress_free().
TL_API tl_status tl_study_dress(tl_session* session, tl_rig* rig, const tl_dress_options* options,
                                tl_dress** dress, tl_error* error);
TL_API void tl_dress_free(tl_dress* dress);

/// Assigns the rig's pedals to the outputs of its supplies by exact optimisation, or proves that
/// none of the assignments keeps all rules; and what comes of it: volts that arrive, mains, heat,
/// what fails with what, and the ground loops. TL_BAD_INPUT for a rig without `power`; TL_FAILURE
/// when GLPK cannot be loaded. Free with tl_power_plan_free().
TL_API tl_status tl_study_power(tl_session* session, tl_rig* rig, tl_power_plan** plan,
                                tl_error* error);
TL_API void tl_power_plan_free(tl_power_plan* plan);

/// A rig without solving it: every value with its origin and tolerance, and what looks wrong. Free
/// with tl_inspection_free(). TL_BAD_INPUT when a file of the library cannot be read.
TL_API tl_status tl_study_check(tl_rig* rig, tl_inspection** inspection, tl_error* error);

/// The part library, of one kind or (NULL) of all. TL_BAD_INPUT when there is no such kind.
TL_API tl_status tl_study_parts(tl_library* library, const char* kind, tl_inspection** inspection,
                                tl_error* error);
TL_API void tl_inspection_free(tl_inspection* inspection);

/// The rig and its direct as a deck that `ngspice -b` and gnucap run as it is; free with free().
TL_API char* tl_study_netlist(tl_rig* rig);

/// Solves what a lesson about long leads shows: the rig's guitar through 1 to 15 m of its first
/// kind of lead straight into its (first) amp, the same behind a buffer, with the volume turned
/// down, and with bad joints; and the rig itself. TL_BAD_INPUT for a guitar without a magnetic
/// pickup.
TL_API tl_status tl_study_lesson(tl_session* session, tl_rig* rig, double reference_hz,
                                 tl_lesson** lesson, tl_error* error);
TL_API void tl_lesson_free(tl_lesson* lesson);

/// Lays a rig out on its `board`: boxes, leads with their ways and lengths, and what does not fit;
/// the DC leads go by the exact assignment of the rig's `power`. Nothing is solved, so the session
/// may be one that only reads. TL_BAD_INPUT for a rig without `board`; TL_FAILURE when GLPK, which
/// the assignment needs, cannot be loaded. Free with tl_build_free().
TL_API tl_status tl_study_build(tl_session* session, tl_rig* rig, const tl_build_options* options,
                                tl_build** build, tl_error* error);

typedef struct {
    const char* state; ///< levels of this state only, by its name on the card; NULL: of all
    const char* end;   ///< levels at this end only, by its amp's name; NULL: at all
} tl_card_options;

/// Works out what a meter must read of a rig's finished leads, at its DC plugs, and of the whole
/// measured as its file's `measure` says (or, without, with what the answer then names): the level
/// at each frequency in each state, with limits that hold for all of them together. TL_BAD_INPUT
/// with the nearest name for a state or end that there is not. Free with tl_meter_card_free().
TL_API tl_status tl_study_card(tl_session* session, tl_rig* rig, const tl_card_options* options,
                               tl_meter_card** card, tl_error* error);

/// What a report is asked besides.
typedef struct {
    double reference_hz;
    const char* playing; ///< playing level with its unit, "150 mV"; NULL: TL_NOISE_PLAYING_V
    bool all;            ///< every combination of pedals, even when the rig names scenes
    const char* prices;  ///< the user's price file, or NULL
} tl_report_options;

/// Solves everything there is to say about a rig, one study after the other; what several of them
/// need is solved once. Free with tl_report_free().
TL_API tl_status tl_study_report(tl_session* session, tl_rig* rig, const tl_report_options* options,
                                 tl_report** report, tl_error* error);
TL_API void tl_report_free(tl_report* report);
/// Holds finished boards, each as it was measured, against the rig: whether it is one that the
/// rig's tolerances and the meter allow, and if not, what single thing may be wrong. The prediction
/// is solved once for all of them. `files` are their names, borrowed by the result. TL_BAD_INPUT
/// for a file that holds no response or goes beyond 10 Hz to 100 kHz, an unknown state or amp, or a
/// rig without any tolerance. Free with tl_accept_free().
TL_API tl_status tl_study_accept(tl_session* session, tl_rig* rig, const tl_accept_options* options,
                                 const tl_measured* const* measured, const char* const* files,
                                 size_t count, tl_accept** accept, tl_error* error);
TL_API void tl_accept_free(tl_accept* accept);

/// Works a pickup out of a measured sweep. `file` names it in answers. TL_BAD_INPUT for an option
/// that cannot be read or too few points; TL_FAILURE when GSL cannot be loaded or finds nothing.
/// Free with tl_fit_free().
TL_API tl_status tl_study_fit(tl_library* library, const tl_measured* sweep, const char* file,
                              const tl_fit_options* options, tl_fit** fit, tl_error* error);
TL_API void tl_fit_free(tl_fit* fit);

/// Writes what was worked out as a library file that holds one pickup, whole or not at all. A file
/// that is there already and says something else is TL_BAD_INPUT, and so are a name that cannot be
/// a part's and values that the data does not tell or no pickup has. `name` NULL: after the sweep's
/// file.
TL_API tl_status tl_fit_write_part(const tl_fit* fit, const char* path, const char* name,
                                   tl_error* error);

#endif
