// SPDX-License-Identifier: GPL-3.0-or-later
/// @file show.h How results look: tables, CSV, JSON and plots. Nothing else knows.
#ifndef TONELOAD_SHOW_H
#define TONELOAD_SHOW_H

#include "toneload/accept.h"
#include "toneload/build.h"
#include "toneload/card.h"
#include "toneload/dress.h"
#include "toneload/error.h"
#include "toneload/fit.h"
#include "toneload/lesson.h"
#include "toneload/meter.h"
#include "toneload/noise.h"
#include "toneload/power.h"
#include "toneload/report.h"
#include "toneload/response.h"
#include "toneload/spread.h"

#include <jansson.h>
#include <stdbool.h>
#include <stddef.h>

/// A table of text and numbers, to be shown on a terminal or written as CSV.
typedef struct tl_table tl_table;

TL_API tl_table* tl_table_new(void);
TL_API void tl_table_free(tl_table* table);
/// Adds a column. `title` heads it on a terminal (UTF-8, may hold one newline for a second line),
/// `field` in CSV (`peak_hz`). Numbers stand right-aligned, words left. Call before the first row.
TL_API void tl_table_column(tl_table* table, const char* title, const char* field);
TL_API void tl_table_row(tl_table* table);
/// The next cell of the row: words, made safe for whatever they are written to.
TL_API void tl_table_words(tl_table* table, const char* words);
/// The next cell: a number. On a terminal it is `shown` (a short text such as "3.21 kHz"), in CSV
/// the number itself with 10 significant digits. NAN is an empty field in CSV.
TL_API void tl_table_number(tl_table* table, double number, const char* shown);
/// As text with aligned columns, a rule under the heads; free with free().
TL_API char* tl_table_text(const tl_table* table);
/// As RFC 4180 CSV with a header line; free with free(). Words that a spreadsheet would take for a
/// formula (they begin with = + - @ or a tab) get an apostrophe in front.
TL_API char* tl_table_csv(const tl_table* table);

/// Writes an answer: to a file, whole or not at all, or (`path` NULL) to standard output.
TL_API tl_status tl_show_write(const char* path, const char* text, tl_error* error);

/// Whether a file could be written there, for work that takes long: without touching what has the
/// name now. NULL is standard output. TL_FAILURE with the reason if not.
TL_API tl_status tl_show_check_place(const char* path, tl_error* error);

/// Words from outside made safe for a terminal: control characters become `\xNN`; free with free().
TL_API char* tl_show_safe(const char* words);

/// Short forms for people; each returns a string to free with free(). NAN gives `none`.
TL_API char* tl_show_hz(double hz, const char* none);   ///< "873 Hz", "3.214 kHz"
TL_API char* tl_show_db(double db, const char* none);   ///< "+6.32 dB", "-0.40 dB"
TL_API char* tl_show_ratio(double q, const char* none); ///< "2.35"
/// Three digits with a prefix and the unit, one of "ohm", "F", "Hz", "V", "A", "V/rtHz" ("1.23
/// kohm"); "V/s" (as "0.51 V/us" when fast), "dB", "deg", "%" and "" go without prefixes. An
/// infinite value gives `none` too.
TL_API char* tl_show_value(double value, const char* unit, const char* none);
/// The pedals that are on in a state: "drive + delay", "solo: drive" when it is a `scene`, or the
/// words for `none`; not made safe. Free with free().
TL_API char* tl_show_engaged(const char* scene, char* const* pedals, const bool* engaged,
                             size_t count, const char* none);
/// "4 states of 2 pedals and loops", and which of them `fixes` ("NAME=yes") hold; free with free().
TL_API char* tl_show_state_count(size_t states, size_t toggles, const char* const* fixes,
                                 size_t fix_count);
/// A sentence or two on what the ear makes of a difference.
TL_API char* tl_show_hearing(const tl_hearing* hearing);

/// The opening of every command's JSON: {"toneload": VERSION, "command": .., "rig": ..}.
TL_API json_t* tl_json_open(const char* command, const char* rig);
/// One response: name, amp, reference_hz .. cutoff_hz, solves, residual (null where there is none);
/// with points > 0 also `points: [{hz, db, deg}]`, log-spaced 20 Hz to 20 kHz, both included,
/// db being 20 log10 |H| re the source's 1 V as in reference_db, and deg the phase of H.
TL_API json_t* tl_json_response(const char* name, const char* amp, const tl_response* response,
                                const tl_metrics* metrics, size_t solves, double residual,
                                size_t points);
/// What the ear makes of a difference: worst_db, worst_hz, rms_db, presence_db, bands_over_half_db,
/// bands_over_1db, bands_over_3db, level_db, peak_shift_steps, extrapolated, verdict.
TL_API json_t* tl_json_hearing(const tl_hearing* hearing);
/// A number as JSON with 10 significant digits; NAN and infinities are null.
TL_API json_t* tl_json_number(double number);
/// Words as JSON, kept exactly; bytes that are no UTF-8 become `\xNN`. NULL is null.
TL_API json_t* tl_json_words(const char* words);
/// The text of a JSON value, indented, ending in a newline; frees the value. Free with free().
TL_API char* tl_json_text(json_t* json);

/// One curve of a plot.
typedef struct {
    const tl_response* response;
    const tl_metrics* metrics;  ///< what is marked on the curve
    const char* label;          ///< free text, never trusted
    bool direct;                ///< a line-up to compare with: drawn dashed and grey
    const tl_response* against; ///< what a second panel holds it against, levels matched; or NULL
} tl_curve;

/// An overlay of responses, each relative to its own level at the reference frequency; below it,
/// when a curve is held against another, the difference with a band of 1 dB either way.
typedef struct {
    const char* title; ///< free text, never trusted
    const tl_curve* curves;
    size_t curve_count;
} tl_plot;

/// Whether a file name says what to draw: it ends in .svg, .png or .pdf. TL_BAD_INPUT if not.
TL_API tl_status tl_plot_check_path(const char* path, tl_error* error);

/// Draws with gnuplot, by pipe, and writes the file whole or not at all: log frequency 20 Hz to
/// 20 kHz, dB, the peak, -3 dB point and Q of each curve marked (with many curves, by symbols).
/// TL_BAD_INPUT for a plot without curves or a name tl_plot_check_path() refuses; TL_FAILURE when
/// gnuplot is missing, fails or takes over a minute, or the file cannot be written.
TL_API tl_status tl_plot_draw(const tl_plot* plot, const char* path, tl_error* error);

/// Draws the density of noise at each amp (four at most): the rig as written, direct, the band in
/// which all states lie, and the four parts that make most of it. `title` is free text.
TL_API tl_status tl_noise_draw(const tl_noise* noise, const char* title, const char* path,
                               tl_error* error);

/// What hisses at the amp, for people: totals, who makes it, and the states, the worst first;
/// `options` are those it was asked for with. Free with free().
TL_API char* tl_noise_text(const tl_noise* noise, const tl_noise_options* options,
                           const char* title);
/// As JSON: {toneload, command, rig, playing_v, reference_hz, total_v, a_weighted_v, parts: [{name,
/// path, power_share, a_weighted_power_share}], amps: [{name: rig or direct, amp, total_v,
/// a_weighted_v, signal_v, below_db, a_weighted_below_db, parts, density: [{hz, v_rthz}]}],
/// states_no_noise, states: [{scene, engaged, amps}], ranking}.
TL_API json_t* tl_noise_json(const tl_noise* noise, const char* title);
/// As CSV, a row a state and amp; free with free().
TL_API char* tl_noise_csv(const tl_noise* noise, const tl_noise_options* options);

/// A line of a figure against a value. NAN leaves a gap.
typedef struct {
    const char* label; ///< free text, never trusted
    const double* y;
} tl_series;

/// A figure against a value.
typedef struct {
    const char* title; ///< free text, never trusted, as all labels
    const char* x_label;
    const char* y_label;
    const double* x; ///< ascending
    size_t count;
    const tl_series* series;
    size_t series_count;
} tl_metric_plot;
TL_API tl_status tl_metric_draw(const tl_metric_plot* plot, const char* path, tl_error* error);

/// A figure over two values on an even grid: a map with contour lines. NAN leaves a hole.
typedef struct {
    const char* title; ///< free text, never trusted, as all labels
    const char* x_label;
    const char* y_label;
    const char* z_label;
    const double* x; ///< ascending, evenly spaced
    size_t x_count;
    const double* y; ///< the same
    size_t y_count;
    const double* z; ///< z[x * y_count + y]
} tl_map_plot;
TL_API tl_status tl_map_draw(const tl_map_plot* plot, const char* path, tl_error* error);

/// A curve given by its levels at the frequencies of an envelope.
typedef struct {
    const char* label; ///< free text, never trusted
    const double* db;
    bool direct;
} tl_level_curve;

/// The band in which all of many curves lie, and a few of them by name.
typedef struct {
    const char* title;  ///< free text, never trusted
    const char* around; ///< what the band is: "all 64 states"
    const double* hz;
    const double* low_db;
    const double* high_db;
    size_t count;
    const tl_level_curve* curves;
    size_t curve_count;
} tl_envelope_plot;
TL_API tl_status tl_envelope_draw(const tl_envelope_plot* plot, const char* path, tl_error* error);

/// What the bench found, for people: one design as lines in groups with limit, verdict and why it
/// matters; several side by side, then what fails and why. Noise, corners and what could not be
/// measured follow. `rig` is the title of the rig, or NULL; `details` adds the lines that others
/// sum up. Free with free().
TL_API char* tl_bench_text(const tl_bench* bench, const char* rig, bool details);
/// The same as JSON, all lines: {toneload, command, rig, designs: [{name, file, figures: [{id,
/// group, title, value, unit, limit, verdict, best, ..}], noise, curves, corners}]}.
TL_API json_t* tl_bench_json(const tl_bench* bench, const char* rig);
/// As CSV, a row a line and design; free with free().
TL_API char* tl_bench_csv(const tl_bench* bench);
/// Four panels with all designs over each other: gain into loads, input impedance, distortion
/// against level, noise density. As tl_plot_draw() otherwise.
TL_API tl_status tl_bench_draw(const tl_bench* bench, const char* path, tl_error* error);

/// What many trials of a rig came to, for people: figures with percentiles, what the ear makes of
/// it, the values that move them most, what choices of parts buy, and what is assumed; `details`
/// ranks the values for every figure and tells the corners. Free with free().
TL_API char* tl_spread_text(const tl_spread* spread, bool details);
/// As JSON: {toneload, command, rig, trials, seed, done, reference_hz, direct_assumed, failed,
/// failures: [{trial, why}], values: [{path, about, shown, nominal, tolerance, distribution,
/// origin, followed}], worst_case: null or {corners, all}, and for the first amp: amp, metrics:
/// {NAME: {p01,
/// .. p99, none_share, nominal, mean, deviation, low, high, bars, least, most, corner_none, and
/// when there are corners least_at, most_at: {PATH: -1 or 1}}}, sensitivity: [{metric, path, slope,
/// correlation, variance_share}], heard: {not_audible, borderline, audible, plain, nominal},
/// curves: {hz, level, difference: {p01, .. p99, nominal}}, choices: [{words, about, trials,
/// metrics, heard}]}. With several amps also amps: [{amp, metrics, sensitivity, heard, curves}],
/// the first one again among them, and in each choice amps: [{amp, metrics, heard}]. Shares are of
/// 1: of the trials that have an answer. A seed past 2^53 - 1 is a string of its digits, since
/// readers of JSON may hold numbers as doubles (RFC 8259, section 6).
TL_API json_t* tl_spread_json(const tl_spread* spread);
/// As CSV, a row a figure and amp: percentiles, and with corners the least and the most; free with
/// free().
TL_API char* tl_spread_csv(const tl_spread* spread);
/// The fan of the curves: three nested bands, the median and the rig as written, and below it the
/// same of rig minus direct. Up to three amps stand side by side; more are named. As
/// tl_plot_draw() otherwise.
TL_API tl_status tl_spread_draw(const tl_spread* spread, const char* path, tl_error* error);
/// Histograms of six figures, for each of up to three amps, of more for the first only.
TL_API tl_status tl_spread_draw_histograms(const tl_spread* spread, const char* path,
                                           tl_error* error);
/// Which values four figures vary by, as bars, at the first amp.
TL_API tl_status tl_spread_draw_sensitivity(const tl_spread* spread, const char* path,
                                            tl_error* error);

/// A plan of the power, for people: who is plugged in where, what stands in the way and what would
/// do, findings, mains and heat, faults, ground loops, cautions. Free with free().
TL_API char* tl_power_text(const tl_power_plan* plan);
/// As JSON: {toneload, command, rig, feasible, headroom, assignment: [{pedal, output, given,
/// voltage_v, current_a}], drops: [{pedal, lead_ohm, arrives_v, starts_v}], outputs, spare,
/// supplies, mains, findings, conflict, changes, faults, loops, assumptions, cautions}.
TL_API json_t* tl_power_json(const tl_power_plan* plan);
/// As CSV, a row a pedal; free with free().
TL_API char* tl_power_csv(const tl_power_plan* plan);
/// How much of each output's limit is used, and below it, when a load pulses, what the ground loops
/// put on the sound by thirds of an octave, against the rig's noise. As tl_plot_draw() otherwise.
TL_API tl_status tl_power_draw(const tl_power_plan* plan, const char* path, tl_error* error);

/// What has to be said wherever an answer leads to work on mains, solder or batteries; one bit
/// each.
typedef enum {
    TL_CAUTION_UNPLUG = 1,
    TL_CAUTION_MAINS = 2,
    TL_CAUTION_EARTH = 4,
    TL_CAUTION_SOLDER = 8,
    TL_CAUTION_BATTERY = 16,
    TL_CAUTIONS_ALL = 31
} tl_caution;
/// The chosen cautions (bits of tl_caution) as a headed list, a line or two each, for the end of an
/// answer; free with free().
TL_API char* tl_cautions_text(unsigned chosen);
/// The same sentences as a JSON list.
TL_API json_t* tl_cautions_json(unsigned chosen);

/// "buried", "near", "above".
TL_API const char* tl_dress_verdict_words(tl_dress_verdict verdict);
/// What leads pick up and what joints are good for, for people; free with free().
TL_API char* tl_dress_text(const tl_dress* dress);
/// As JSON: {toneload, command, rig, margin_db, buffer, amps: [{amp, a_weighted_v, all_runs}],
/// runs:
/// [{name, lead, beside, source, in_path, length_m, spacing_m, angle_deg, height_m,
/// capacitance_farad, mutual_henry, impedance_ohm, amps: [{amp, total_v, a_weighted_v,
/// against_floor_db, verdict, electric_share, crossing, buffered, enough_m, enough_deg, lines:
/// [{hz, v}]}]}], joints, assumed, cautions}. A run beside audio has in `amps` leak_db, leak_hz,
/// unstable and hearing instead.
TL_API json_t* tl_dress_json(const tl_dress* dress);
/// As CSV, a row a run and amp; free with free().
TL_API char* tl_dress_csv(const tl_dress* dress);
/// The lines of each run at the amp against the rig's noise in one band of the ear (three amps and
/// eight runs at most). TL_BAD_INPUT when there is none. As tl_plot_draw() otherwise.
TL_API tl_status tl_dress_draw(const tl_dress* dress, const char* path, tl_error* error);

/// A lesson as one printable HTML page, its drawings and sounds in it; free with free(). It loads
/// nothing, runs no script, and is well-formed XML too. `title` is free text, never trusted.
/// TL_FAILURE when FFTW, which the sounds need, cannot be loaded.
TL_API tl_status tl_lesson_page(const char* title, const tl_lesson* lesson, char** html,
                                tl_error* error);

/// A board to build, for people: the cut list, what does not fit, what was assumed, cautions. Free
/// with free().
TL_API char* tl_build_text(const tl_build* build);
/// As JSON: {toneload, command, rig, ready, board, boxes: [{name, kind, ..}], leads: [{number,
/// kind, path, type, from, to, route_m, slack_m, length_m, cut_m, ..}], totals, findings,
/// fastening, bill, assumed, cautions}.
TL_API json_t* tl_build_json(const tl_build* build);
/// As CSV, a row a lead; free with free().
TL_API char* tl_build_csv(const tl_build* build);
/// The bill of materials of a build alone, for people, and as CSV: a row a purchase. Both free with
/// free().
TL_API char* tl_build_bill_text(const tl_build* build);
TL_API char* tl_build_bill_csv(const tl_build* build);

/// How a board is drawn.
typedef struct {
    double scale;      ///< 4 for 1:4; 0: the largest usual one that fits
    const char* paper; ///< "A4", "A3", "Letter" or "Tabloid", either way round; NULL: A4
    /// For a page: only the <svg> element, without frame, with this before each id and class in it.
    /// NULL: a file of its own.
    const char* prefix;
    double room_width_m; ///< instead of paper, the room on a page; 0: paper
    double room_height_m;
    bool no_cut_list; ///< it stands elsewhere
} tl_drawing_options;
/// The board from above, to scale, as SVG in mm: boxes, plugs, leads by kind with their numbers in
/// the cut list, findings, scale bar, keys, and the cut list when it fits. `*svg`: free with
/// free(). TL_BAD_INPUT when the scale does not fit, with what would.
TL_API tl_status tl_build_drawing(const tl_build* build, const tl_drawing_options* options,
                                  char** svg, tl_error* error);
/// "1:2.5" as 2.5; TL_BAD_INPUT for what is no scale.
TL_API tl_status tl_drawing_read_scale(const char* words, double* scale, tl_error* error);
/// Whether a paper has that name, and a file one that a drawing can have (it ends in .svg).
TL_API tl_status tl_drawing_check_paper(const char* name, tl_error* error);
TL_API tl_status tl_drawing_check_path(const char* path, tl_error* error);

/// Paper that a page is made for: none says nothing, and whoever prints it decides.
typedef enum { TL_PAPER_ANY, TL_PAPER_A4, TL_PAPER_LETTER } tl_paper;

/// A report as one printable HTML page with all drawings in it; free with free(). It loads nothing,
/// runs no script, and is well-formed XML too. Titles, names and labels are never trusted.
TL_API char* tl_report_page(const tl_report* report, tl_paper paper);

/// Prints a page of ours to a PDF file, whole or not at all, by a browser that is there: Chromium,
/// else WeasyPrint, else wkhtmltopdf. It sees copies in a private folder only, so that no name of
/// the user's becomes a word of a command. TL_FAILURE, with the Debian package to install, when
/// there is none, or when it fails or takes over two minutes.
TL_API tl_status tl_page_print(const char* html, const char* path, tl_error* error);

/// A bench card for people, to print and write on: order of work, leads, continuity, DC, levels by
/// state, what is assumed, cautions; at most 98 columns where names are short. Free with free().
TL_API char* tl_meter_text(const tl_meter_card* card);
/// As JSON: {toneload, command, rig, leads: [{number, kind, path, type, from, to, plugs, length_m,
/// length_off_m, capacitance_farad, plug_farad, loop_ohm, joint_ohm, insulation_ohm, leaky,
/// turns_polarity, continuity: [{from, to, must_be, read}]}], dc: [{lead, pedal, output, polarity,
/// red, black, current_a, open_v, loaded_v, ripple_v}], no_dc, measured, states: [{amp, state,
/// engaged, written, same, levels_db: [{hz, expected, low, high, read}]}], limits, order, notes,
/// assumed, serial, date, measured_by, cautions}. Each reading is {expected, low, high, read}, null
/// where there is no such figure; `read` and the last but one are null, to be filled in.
TL_API json_t* tl_meter_json(const tl_meter_card* card);
/// As CSV, a row a reading with an empty `read`; free with free().
TL_API char* tl_meter_csv(const tl_meter_card* card);
/// The levels of the card's first state as the form that `accept` reads: frequency_hz, an empty
/// level_db, and what is expected. Free with free().
TL_API char* tl_meter_form_csv(const tl_meter_card* card);

/// Finished boards against the prediction, for people: one in detail, reading by reading, several
/// as a table; verdicts, the likeliest causes, what is assumed. Free with free().
TL_API char* tl_accept_text(const tl_accept* accept);
/// As JSON: {toneload, command, rig, state, amp, through, meter_deviation_db, values, trials,
/// suspects, unseen, rejected, boards: [{file, verdict, rows, offset, offset_db, misfit, limit,
/// outside, rms_db, worst_hz, explained, none_probability, classes: [{probability, one_stretch,
/// holds, left_db, misfit, causes: [{kind, path, about, unit, stated, value, low, high,
/// stated_words, value_words, like, words}]}], readings: [{hz, line, measured_db, predicted_db,
/// difference_db, low_db, high_db, inside}]}], assumed}.
TL_API json_t* tl_accept_json(const tl_accept* accept);
/// As CSV: of one board a row a reading, of several a row a board; free with free().
TL_API char* tl_accept_csv(const tl_accept* accept);
/// The board (of several the one that is farthest off) over the prediction and its band, with the
/// likeliest cause, and the difference below. As tl_plot_draw() otherwise.
TL_API tl_status tl_accept_draw(const tl_accept* accept, const char* path, tl_error* error);

/// What was worked out of a measured sweep, for people; free with free().
TL_API char* tl_fit_text(const tl_fit* fit);
/// As JSON: {toneload, command, file, kind: impedance or response, points, gathered, phase,
/// controls, cable, load, held, values: [{name, unit, value, low, high, known, told}] (of the model
/// that was kept), eddy: {kept, tried, aicc_lower_by}, loss: {name: squares or cauchy, scale},
/// degrees_of_freedom, student_t, correlations: [{a, b, r}], condition, rival: null or {NAME:
/// value} that fits as well, misfit: {size_rms, phase_rms_deg, noise, runs_z, worst, worst_hz,
/// more_than_chance}, resonance: {hz, low_hz, high_hz, q, q_low, q_high}, meter: [{hz,
/// inductance}], warnings, notes, curve: [{hz, weight, measured, fitted, measured_deg,
/// fitted_deg}]}. Sizes are in ohm or ratios.
TL_API json_t* tl_fit_json(const tl_fit* fit);
/// As CSV, a row a value; free with free().
TL_API char* tl_fit_csv(const tl_fit* fit);
/// Size and phase, measured and fitted, and below them by how much they differ. As tl_plot_draw()
/// otherwise.
TL_API tl_status tl_fit_draw(const tl_fit* fit, const char* path, tl_error* error);

#endif
