// SPDX-License-Identifier: GPL-3.0-or-later
// A finished board over what was predicted: levels with the band of good boards, readings and the
// likeliest cause; below it the difference against the band.
#include "show/accept.h"
#include "show/page.h"
#include "show/picture.h"
#include "show/script.h"
#include "toneload/show.h"

#include <math.h>
#include <stdlib.h>

enum { UPPER = 470, LOWER = 300 };
static const double title_room = 66;

static const char axes[] =
    "set border 31 back lt 1 lw 1 lc rgb '#606060'\nset tics scale 0.5 textcolor rgb '#202020'\n"
    "set grid xtics mxtics ytics back lt 1 lw 0.8 lc rgb '#d8d8d8', lt 1 lw 0.6 lc rgb '#ececec'\n"
    "set lmargin 10\nset rmargin 4\nset tmargin 1\nset logscale x\n"
    "set xtics ('10' 10, '20' 20, '50' 50, '100' 100, '200' 200, '500' 500, '1k' 1000, '2k' 2000, "
    "'5k' 5000, '10k' 10000, '20k' 20000, '50k' 50000, '100k' 100000)\n";

typedef struct {
    const tl_accept* accept;
    const tl_board_check* board;
} drawing;

static bool has_cause(const tl_board_check* board) {
    return board->explained && board->classes[0].smooth_db;
}

/// How far from the prediction the band's edge is: straight in log frequency between readings.
static double allowed_at(const tl_board_check* board, double hz, bool high) {
    size_t at = 0;
    while (at + 2 < board->count && board->readings[at + 1].hz < hz)
        ++at;
    const tl_reading* one = &board->readings[at];
    const tl_reading* other = one + 1;
    double share = fmin(fmax(log(hz / one->hz) / log(other->hz / one->hz), 0), 1);
    double from = (high ? one->high_db : one->low_db) - one->predicted_db;
    double to = (high ? other->high_db : other->low_db) - other->predicted_db;
    return from + share * (to - from);
}

/// The readings (frequency, predicted, low, high, measured, 1 when outside) and the curves
/// (frequency, predicted, the cause's, low, high).
static void add_data(tl_text* script, const tl_board_check* board) {
    tl_text_add(script, "$board << END\n");
    for (size_t i = 0; i < board->count; ++i) {
        const tl_reading* reading = &board->readings[i];
        tl_text_addf(script, "%.7g %.5f %.5f %.5f %.5f %d\n", reading->hz, reading->predicted_db,
                     reading->low_db, reading->high_db, reading->measured_db, !reading->inside);
    }
    tl_text_add(script, "END\n$curve << END\n");
    for (size_t i = 0; i < TL_SMOOTH_POINTS; ++i) {
        double hz = board->smooth_hz[i];
        double db = board->smooth_db[i];
        tl_text_addf(script, "%.7g %.5f %.5f %.5f %.5f\n", hz, db,
                     has_cause(board) ? board->classes[0].smooth_db[i] : db,
                     db + allowed_at(board, hz, false), db + allowed_at(board, hz, true));
    }
    tl_text_add(script, "END\n");
}

static void add_cause(tl_text* script, const tl_board_check* board) {
    tl_text words = {0};
    tl_text fitted = {0};
    tl_cause_add(&words, &board->classes[0].causes[0], false);
    if (board->classes[0].count > 1)
        tl_text_addf(&words, ", or %zu more like it", board->classes[0].count - 1);
    tl_text_add_fitted(&fitted, tl_text_get(&words), 780);
    tl_script_quote(script, tl_text_get(&fitted));
    tl_text_free(&words);
    tl_text_free(&fitted);
}

static void find_range(const tl_board_check* board, double* low, double* high) {
    *low = INFINITY;
    *high = -INFINITY;
    for (size_t i = 0; i < board->count; ++i) {
        const tl_reading* reading = &board->readings[i];
        *low = fmin(*low, fmin(reading->measured_db, reading->low_db));
        *high = fmax(*high, fmax(reading->measured_db, reading->high_db));
    }
    double room = fmax(1, 0.08 * (*high - *low));
    *low -= room;
    *high += room;
}

static void add_panel(tl_text* script, double top, double height, double page, const char* label) {
    tl_text_addf(script,
                 "set size 1,%.5f\nset origin 0,%.5f\nset ylabel '%s' textcolor rgb "
                 "'#202020'\n",
                 height / page, 1 - (top + height) / page, label);
}

static const char marks[] = "with points pt 6 ps 0.8 lw 1.8 lc rgb '#0072b2'";
static const char misses[] = "with points pt 2 ps 1 lw 2.2 lc rgb '#d55e00'";

static void add_levels(tl_text* script, const tl_board_check* board) {
    double low = 0;
    double high = 0;
    find_range(board, &low, &high);
    tl_text_addf(script, "set yrange [%.4f:%.4f]\nset xrange [%.6g:%.6g]\n", low, high,
                 board->readings[0].hz / 1.08, board->readings[board->count - 1].hz * 1.08);
    tl_text_add(script, "set key below left Left reverse maxcols 1 width 2 height 1\n"
                        "plot $curve using 1:4:5 with filledcurves fillcolor rgb '#d4e4ef' title "
                        "'band that holds all of 99 % of the good boards', $curve using 1:2 with "
                        "lines lw 2.2 lc rgb '#303030' title 'predicted', ");
    if (has_cause(board)) {
        tl_text_add(script, "$curve using 1:3 with lines lw 2 dt (9,6) lc rgb '#d55e00' title ");
        add_cause(script, board);
        tl_text_add(script, ", ");
    }
    tl_text_addf(script,
                 "$board using 1:($6 > 0.5 ? 1/0 : $5) %s title 'measured, inside', $board using "
                 "1:($6 > 0.5 ? "
                 "$5 : 1/0) %s title 'measured, outside'\n",
                 marks, misses);
}

static void add_differences(tl_text* script, const tl_board_check* board) {
    tl_text_addf(
        script,
        "set autoscale y\nset key off\nset xlabel 'frequency (Hz)' textcolor rgb "
        "'#202020'\nplot $board using 1:($3-$2):($4-$2) with filledcurves fillcolor rgb "
        "'#d4e4ef', 0 with lines lw 1.4 lc rgb '#303030', %s$board using 1:($6 > 0.5 ? 1/0 : "
        "$5-$2) %s, $board using 1:($6 > 0.5 ? $5-$2 : 1/0) %s\n",
        has_cause(board) ? "$curve using 1:($3-$2) with lines lw 2 dt (9,6) lc rgb '#d55e00', "
                         : "",
        marks, misses);
}

static void add_title(tl_text* script, const tl_page* page, const drawing* d, const char* kind) {
    char* how =
        tl_printf("center font ',%.3f' textcolor rgb '#202020'", 17 * tl_script_letter_unit(kind));
    tl_text fitted = {0};
    tl_text_add_fitted(&fitted, d->accept->rig, 700);
    tl_script_label(script, page, (tl_spot){TL_PAGE_WIDTH / 2, 20}, tl_text_get(&fitted), how);
    free(how);
    tl_text_clear(&fitted);
    char* words =
        tl_printf("%s: %s, %zu of %zu readings outside%s", d->board->file,
                  d->board->accepted ? "accepted" : "rejected", d->board->outside, d->board->count,
                  d->accept->count > 1 ? " (the board that is farthest off)" : "");
    tl_text_add_fitted(&fitted, words, 900);
    tl_script_label(script, page, (tl_spot){TL_PAGE_WIDTH / 2, 46}, tl_text_get(&fitted),
                    "center textcolor rgb '#404040'");
    free(words);
    tl_text_free(&fitted);
}

static char* make_accept(const void* context, const char* kind, const char* output) {
    const drawing* d = context;
    tl_page page = {.height = title_room + UPPER + LOWER};
    tl_text script = {0};
    tl_script_open(&script, page.height, kind, output);
    tl_text_add(&script, "set multiplot\n");
    add_title(&script, &page, d, kind);
    tl_text_add(&script, axes);
    add_data(&script, d->board);
    add_panel(&script, title_room, UPPER, page.height, "level (dB)");
    add_levels(&script, d->board);
    tl_text_add(&script, "unset label\n");
    add_panel(&script, title_room + UPPER, LOWER, page.height, "measured minus predicted (dB)");
    add_differences(&script, d->board);
    tl_text_add(&script, "unset multiplot\nunset output\n");
    return tl_text_take(&script);
}

tl_status tl_accept_draw(const tl_accept* accept, const char* path, tl_error* error) {
    if (!accept->count)
        return tl_error_set(error, TL_BAD_INPUT, "%s: there is nothing to draw", path);
    const drawing d = {accept, tl_accept_farthest(accept)};
    return tl_picture_draw(path, make_accept, &d, error);
}
