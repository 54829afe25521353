// SPDX-License-Identifier: GPL-3.0-or-later
#include "show/noise.h"

#include "show/cells.h"

#include <math.h>
#include <stdlib.h>

enum { MOST_SHOWN = 8 };
static const double least_share = 0.005; ///< of the power: parts below share a row

double tl_noise_below_db(double signal_v, double noise_v) {
    return 20 * log10(signal_v / noise_v);
}

double tl_noise_more_db(const tl_noise* noise, size_t amp) {
    const tl_noise_at* rig = &noise->rig[amp];
    const tl_noise_at* direct = &noise->direct[amp];
    return tl_noise_below_db(direct->signal_v, direct->a_weighted_v) -
           tl_noise_below_db(rig->signal_v, rig->a_weighted_v);
}

void tl_noise_volts_cell(tl_table* table, double volts) {
    tl_table_take_number(table, volts, tl_show_value(volts, "V", "none"));
}

void tl_noise_db_cell(tl_table* table, double db) {
    tl_table_take_number(table, db, tl_printf("%.1f dB", db));
}

void tl_noise_share_cell(tl_table* table, double share) {
    double percent = 100 * share;
    tl_table_take_number(table, share,
                         share < 0.0005   ? tl_copy("< 0.1 %")
                         : percent < 0.95 ? tl_printf("%.1f %%", percent)
                                          : tl_printf("%.0f %%", percent));
}

size_t tl_noise_count_shown(const tl_noise_at* at) {
    size_t shown = 0;
    while (shown < at->part_count && shown < MOST_SHOWN && at->parts[shown].a_share >= least_share)
        ++shown;
    return at->part_count == shown + 1 ? shown + 1 : shown;
}

double tl_noise_rest(const tl_noise_at* at, size_t first, bool weighted) {
    double share = 0;
    for (size_t i = first; i < at->part_count; ++i)
        share += weighted ? at->parts[i].a_share : at->parts[i].share;
    return share;
}

size_t tl_noise_count_loudest(const tl_noise_at* at, double* share) {
    size_t count = 0;
    *share = 0;
    while (count < at->part_count && count < 3 && *share < 0.5)
        *share += at->parts[count++].a_share;
    return count;
}

static void add_state(tl_table* table, const tl_noise* noise, const tl_noise_options* options,
                      size_t index, bool amps) {
    const tl_noise_state* state = &noise->states[index];
    char* words = tl_show_engaged(state->name, noise->pedals, state->engaged, noise->pedal_count,
                                  options->fix_count ? "all others off" : "all off");
    for (size_t i = 0; i < noise->amp_count; ++i) {
        const tl_noise_state_amp* amp = &state->amps[i];
        tl_table_row(table);
        tl_table_words(table, words);
        if (amps)
            tl_table_words(table, noise->rig[i].amp);
        tl_noise_volts_cell(table, amp->total_v);
        tl_noise_volts_cell(table, amp->a_weighted_v);
        tl_noise_volts_cell(table, amp->signal_v);
        tl_noise_db_cell(table, tl_noise_below_db(amp->signal_v, amp->a_weighted_v));
        tl_table_words(table, amp->loudest);
        tl_noise_share_cell(table, amp->loudest_a_share);
    }
    free(words);
}

tl_table* tl_noise_states_table(const tl_noise* noise, const tl_noise_options* options,
                                const size_t* states, size_t count, bool amps) {
    tl_table* table = tl_table_new();
    tl_table_column(table, "on", "engaged");
    if (amps)
        tl_table_column(table, "amp", "amp");
    tl_table_column(table, "20 Hz to\n20 kHz", "total_v");
    tl_table_column(table, "\nA-weighted", "a_weighted_v");
    tl_table_column(table, "playing\nlevel", "signal_v");
    tl_table_column(table, "below it,\nA-weighted", "a_weighted_below_db");
    tl_table_column(table, "most of it from", "loudest");
    tl_table_column(table, "\nshare", "loudest_a_weighted_power_share");
    for (size_t i = 0; i < count; ++i)
        add_state(table, noise, options, states[i], amps);
    return table;
}
