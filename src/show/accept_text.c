// SPDX-License-Identifier: GPL-3.0-or-later
// Finished boards as text: one in detail, many as a table.
#include "show/accept.h"
#include "show/cells.h"
#include "show/wrap.h"
#include "toneload/show.h"

#include <math.h>
#include <stdlib.h>

enum { MOST_READINGS = 40, MOST_CLASSES = 4 };
static const double least_told = 0.005; ///< probability of a class that is told of

static void cell(tl_table* table, double db) {
    tl_table_take_number(table, db, tl_printf("%+.2f", fabs(db) < 0.005 ? 0 : db));
}

/// Of many readings those outside, and as many of the others as fit, evenly.
static bool is_listed(const tl_board_check* board, size_t index) {
    size_t every = board->count / MOST_READINGS + 1;
    return index % every == 0 || index == board->worst;
}

static void add_readings(tl_text* text, const tl_board_check* board) {
    tl_table* table = tl_table_new();
    tl_table_column(table, "\nfrequency", "hz");
    tl_table_column(table, "measured\n(dB)", "measured_db");
    tl_table_column(table, "predicted\n(dB)", "predicted_db");
    tl_table_column(table, "difference\n(dB)", "difference_db");
    tl_table_column(table, "allowed\nfrom", "low_db");
    tl_table_column(table, "\nto", "high_db");
    tl_table_column(table, "\n", "verdict");
    size_t left_out = 0;
    for (size_t i = 0; i < board->count; ++i) {
        const tl_reading* reading = &board->readings[i];
        left_out += !is_listed(board, i);
        if (!is_listed(board, i))
            continue;
        double off = reading->inside ? 0
                     : reading->measured_db < reading->low_db
                         ? reading->measured_db - reading->low_db
                         : reading->measured_db - reading->high_db;
        char* hz = tl_show_hz(reading->hz, "");
        char* verdict = reading->inside
                            ? tl_printf("inside")
                            : tl_printf("%.2f dB too %s", fabs(off), off < 0 ? "low" : "high");
        tl_table_row(table);
        tl_table_number(table, reading->hz, hz);
        cell(table, reading->measured_db);
        cell(table, reading->predicted_db);
        cell(table, reading->measured_db - reading->predicted_db);
        cell(table, reading->low_db - reading->predicted_db);
        cell(table, reading->high_db - reading->predicted_db);
        tl_table_words(table, verdict);
        free(hz);
        free(verdict);
    }
    tl_text_take_table(text, table);
    if (left_out)
        tl_text_addf(text, "%zu more readings are in --json and --csv.\n", left_out);
}

static void add_percent(tl_text* text, double share) {
    double percent = 100 * share;
    if (percent >= 99.95)
        tl_text_add(text, "over 99.9 %");
    else if (percent < 0.1)
        tl_text_add(text, "under 0.1 %");
    else
        tl_text_addf(text, percent < 10 ? "%.1f %%" : "%.0f %%", percent);
}

/// A class: its one cause in a line, or several in a list.
static void add_class(tl_text* text, const tl_board_check* board, const tl_cause_class* class) {
    const char* together = tl_class_together(class);
    tl_text words = {0};
    tl_text head = {0};
    add_percent(&head, class->probability);
    if (together)
        tl_text_addf(&head, ": one of these; %s", together);
    for (size_t i = 0; i < class->count; ++i) {
        tl_text_clear(&words);
        if (i == 0 && together) {
            tl_text_add(text, "  ");
            tl_wrap_words(text, tl_text_get(&head), 2, 4);
        }
        tl_text_add(&words, together ? "- " : tl_text_get(&head));
        tl_text_add(&words, together ? "" : ": ");
        tl_cause_add(&words, &class->causes[i], true);
        tl_text_add(text, together ? "    " : "  ");
        tl_wrap_words(text, tl_text_get(&words), together ? 4 : 2, together ? 6 : 4);
    }
    tl_text_addf(text, "    It leaves %.2f dB of the %.2f dB (rms) of difference%s.\n",
                 class->left_db, board->rms_db,
                 class->holds ? "" : ", which is more than a good board shows");
    tl_text_free(&words);
    tl_text_free(&head);
}

static void add_causes(tl_text* text, const tl_board_check* board) {
    if (board->explained)
        tl_text_add(text, "\nThe likeliest single cause:\n");
    else
        tl_text_add(text, "\nNone of the single causes that were tried explains it"
                          " (is there more than one?). The nearest:\n");
    size_t told = 0;
    for (size_t i = 0; i < board->class_count && told < MOST_CLASSES; ++i)
        if (i == 0 || board->classes[i].probability >= least_told) {
            add_class(text, board, &board->classes[i]);
            ++told;
        }
    if (!board->class_count)
        tl_text_add(text, "  nothing comes near\n");
    tl_text_add(text, "  ");
    add_percent(text, board->none);
    tl_text_add(text, ": none of them\n");
}

static void add_verdict(tl_text* text, const tl_board_check* board) {
    const tl_reading* worst = &board->readings[board->worst];
    double half_db = (worst->high_db - worst->low_db) / 2;
    double off_db = fabs(worst->measured_db - (worst->high_db + worst->low_db) / 2);
    char* hz = tl_show_hz(worst->hz, "");
    tl_text_addf(text, "\n%s: %zu of %zu readings outside what good boards show",
                 board->accepted ? "Accepted" : "Rejected", board->outside, board->count);
    tl_text_addf(text, "%s at %s (%+.2f dB, %.*f times what its band allows)",
                 board->outside ? ",\nthe farthest by the width of its band"
                                : ";\nnearest to the edge of its band that",
                 hz, worst->measured_db - worst->predicted_db, off_db < 9.95 * half_db ? 1 : 0,
                 off_db / half_db);
    tl_text_addf(text,
                 ".\nAll readings together: misfit %.1f, of good boards 99 %% stay below %.1f.\n",
                 board->statistic, board->limit);
    free(hz);
}

static void add_offset(tl_text* text, const tl_board_check* board) {
    if (board->offset_removed)
        tl_text_addf(text, "Offset %+.2f dB, taken off: the levels' zero is not the generator's.\n",
                     board->offset_db);
    else
        tl_text_addf(text, "No offset taken off (%+.2f dB would fit best).\n", board->offset_db);
    if (board->rows > board->count)
        tl_text_addf(text, "%zu rows of the file, neighbours put together to %zu readings.\n",
                     board->rows, board->count);
}

static void add_board(tl_text* text, const tl_board_check* board) {
    char* file = tl_show_safe(board->file);
    tl_text_addf(text, "\n%s\n", file);
    free(file);
    add_offset(text, board);
    tl_text_add(text, "\n");
    add_readings(text, board);
    add_verdict(text, board);
    if (board->accepted)
        tl_accept_add_blind(text, board);
    else
        add_causes(text, board);
}

/// The first cause of a board, and how many cannot be told from it.
static char* short_cause(const tl_board_check* board) {
    tl_text words = {0};
    if (!board->accepted && !board->explained)
        tl_text_add(&words, "none of those tried");
    if (board->explained) {
        tl_cause_add(&words, &board->classes[0].causes[0], false);
        if (board->classes[0].count > 1)
            tl_text_addf(&words, ", or %zu more like it", board->classes[0].count - 1);
    }
    return tl_text_take(&words);
}

static void add_boards(tl_text* text, const tl_accept* accept) {
    tl_table* table = tl_table_new();
    size_t rejected = 0;
    tl_table_column(table, "file", "file");
    tl_table_column(table, "verdict", "verdict");
    tl_table_column(table, "readings\noutside", "outside");
    tl_table_column(table, "misfit\n(limit)", "misfit");
    tl_table_column(table, "proba-\nbility", "probability");
    tl_table_column(table, "likeliest single cause", "cause");
    for (size_t i = 0; i < accept->count; ++i) {
        const tl_board_check* board = &accept->boards[i];
        char* outside = tl_printf("%zu of %zu", board->outside, board->count);
        char* misfit = tl_printf("%.0f (%.0f)", board->statistic, board->limit);
        char* cause = short_cause(board);
        tl_text share = {0};
        if (!board->accepted)
            add_percent(&share, board->explained ? board->classes[0].probability : board->none);
        tl_table_row(table);
        tl_table_words(table, board->file);
        tl_table_words(table, board->accepted ? "accepted" : "REJECTED");
        tl_table_number(table, (double)board->outside, outside);
        tl_table_number(table, board->statistic, misfit);
        tl_table_words(table, tl_text_get(&share));
        tl_table_words(table, cause);
        rejected += !board->accepted;
        free(outside);
        free(misfit);
        free(cause);
        tl_text_free(&share);
    }
    tl_text_add(text, "\n");
    tl_text_take_table(text, table);
    tl_text_addf(text, "\n%zu of %zu rejected.\n", rejected, accept->count);
}

char* tl_accept_text(const tl_accept* accept) {
    tl_text text = {0};
    tl_text words = {0};
    tl_wrap_words(&text, accept->rig, 0, 2);
    tl_text_addf(&words, "Measured with %s%s%s; pedals: %s (%s).", accept->through,
                 *accept->amp ? ", at " : "", accept->amp, accept->state,
                 tl_accept_state_words(accept->state_from));
    tl_wrap_words(&text, tl_text_get(&words), 0, 2);
    tl_text_clear(&words);
    tl_text_addf(&words,
                 "Limits from %zu good boards: %zu values within their tolerances, readings off "
                 "by %.2g dB (standard deviation). %zu things that may be wrong were tried, of "
                 "which %zu cannot be seen from here.",
                 accept->trials, accept->values, accept->meter_db, accept->suspects,
                 accept->unseen);
    if (accept->unsolved)
        tl_text_addf(&words,
                     " %zu variants could not be solved; the nearest of each stands for it.",
                     accept->unsolved);
    tl_wrap_words(&text, tl_text_get(&words), 0, 2);
    tl_text_free(&words);
    if (accept->count == 1)
        add_board(&text, &accept->boards[0]);
    else
        add_boards(&text, accept);
    tl_text_add(&text, "\nAssumed:\n");
    for (size_t i = 0; tl_accept_assumed[i]; ++i) {
        char* line = tl_printf("- %s", tl_accept_assumed[i]);
        tl_wrap_words(&text, line, 0, 2);
        free(line);
    }
    return tl_text_take(&text);
}
