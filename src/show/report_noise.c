// SPDX-License-Identifier: GPL-3.0-or-later
// What is left at the amp when nobody plays, and who makes it.
#include "show/cells.h"
#include "show/noise.h"
#include "show/report.h"

#include <math.h>
#include <stdlib.h>

static void add_total(tl_table* table, const char* name, const tl_noise_at* at, bool amps) {
    tl_table_row(table);
    tl_table_words(table, name);
    if (amps)
        tl_table_words(table, at->amp);
    tl_noise_volts_cell(table, at->total_v);
    tl_noise_volts_cell(table, at->a_weighted_v);
    tl_noise_volts_cell(table, at->signal_v);
    tl_noise_db_cell(table, tl_noise_below_db(at->signal_v, at->a_weighted_v));
}

static tl_table* totals_table(const tl_noise* noise) {
    tl_table* table = tl_table_new();
    bool amps = noise->amp_count > 1;
    tl_table_column(table, "at the amp's input", "name");
    if (amps)
        tl_table_column(table, "amp", "amp");
    tl_table_column(table, "noise, 20 Hz\nto 20 kHz", "total_v");
    tl_table_column(table, "as the ear\nweights it", "a_weighted_v");
    tl_table_column(table, "playing\nlevel", "signal_v");
    tl_table_column(table, "noise\nbelow it", "a_weighted_below_db");
    for (size_t i = 0; i < noise->amp_count; ++i) {
        add_total(table, "through the rig", &noise->rig[i], amps);
        add_total(table, "plugged straight in", &noise->direct[i], amps);
    }
    return table;
}

static void add_part(tl_table* table, char* name, double a_share, double volts) {
    tl_table_row(table);
    tl_table_take_words(table, name);
    tl_noise_share_cell(table, a_share);
    tl_noise_volts_cell(table, volts);
}

/// "6 m of standard-coax (lead 1, guitar to drive)".
static char* part_words(const tl_noise_part* part) {
    return *part->where ? tl_printf("%s (%s)", part->name, part->where) : tl_copy(part->name);
}

static tl_table* budget_table(const tl_noise_at* at) {
    tl_table* table = tl_table_new();
    tl_table_column(table, "who makes it", "name");
    tl_table_column(table, "share of\nthe power", "a_share");
    tl_table_column(table, "alone it\nwould be", "v");
    size_t shown = tl_noise_count_shown(at);
    for (size_t i = 0; i < shown; ++i)
        add_part(table, part_words(&at->parts[i]), at->parts[i].a_share,
                 at->a_weighted_v * sqrt(at->parts[i].a_share));
    if (shown < at->part_count) {
        double share = tl_noise_rest(at, shown, true);
        add_part(table, tl_printf("%zu others", at->part_count - shown), share,
                 at->a_weighted_v * sqrt(share));
    }
    return table;
}

/// How much more it hisses than plugged straight in, and who makes at least half of it.
static void add_sentence(tl_text* page, const tl_noise* noise, size_t index) {
    const tl_noise_at* at = &noise->rig[index];
    double more_db = tl_noise_more_db(noise, index);
    tl_html_say(page, "<p>Turned up to the same loudness@s@s@s the rig hisses ",
                noise->amp_count > 1 ? ", at the amp \xe2\x80\x9c" : "",
                noise->amp_count > 1 ? at->amp : "", noise->amp_count > 1 ? "\xe2\x80\x9d" : "");
    if (fabs(more_db) < 0.05)
        tl_html_say(page, "as much as plugged straight in. ");
    else
        tl_html_say(page, "@D @s than plugged straight in. ", more_db,
                    more_db > 0 ? "more" : "less");
    double sum = 0;
    size_t count = tl_noise_count_loudest(at, &sum);
    for (size_t i = 0; i < count; ++i)
        tl_html_say(page, "@s @s",
                    i == 0          ? "The"
                    : i + 1 < count ? ", the"
                                    : " and the",
                    at->parts[i].name);
    tl_html_say(page, " @s @p of it.</p>\n", count > 1 ? "together make" : "makes",
                round(100 * sum) / 100);
}

/// The loudest and the quietest state.
static void add_states(tl_text* page, const tl_noise* noise) {
    if (noise->state_count < 2)
        return;
    tl_table* table = tl_table_new();
    tl_table_column(table, "of all states", "which");
    tl_table_column(table, "what is on", "engaged");
    if (noise->amp_count > 1)
        tl_table_column(table, "amp", "amp");
    tl_table_column(table, "as the ear\nweights it", "a_weighted_v");
    tl_table_column(table, "below the\nplaying level", "below_db");
    tl_table_column(table, "\nmost of it from", "loudest");
    for (int last = 0; last < 2; ++last) {
        const tl_noise_state* state =
            &noise->states[noise->ranking[last ? noise->state_count - 1 : 0]];
        for (size_t i = 0; i < noise->amp_count; ++i) {
            const tl_noise_state_amp* amp = &state->amps[i];
            tl_table_row(table);
            tl_table_words(table, last ? "the quietest" : "the noisiest");
            tl_table_take_words(table, tl_show_engaged(state->name, noise->pedals, state->engaged,
                                                       noise->pedal_count, "all off"));
            if (noise->amp_count > 1)
                tl_table_words(table, noise->rig[i].amp);
            tl_noise_volts_cell(table, amp->a_weighted_v);
            tl_noise_db_cell(table, tl_noise_below_db(amp->signal_v, amp->a_weighted_v));
            tl_table_words(table, amp->loudest);
        }
    }
    tl_report_add_table(page, table,
                        "The noisiest and the quietest state, for their playing level");
}

/// Who states no noise, for what they add is missing; and what the figures rest on.
static void add_terms(tl_text* page, const tl_report* report) {
    const tl_noise* noise = report->noise;
    if (noise->silent_count) {
        tl_html_say(page, "<p>No noise of their own is stated by ");
        for (size_t i = 0; i < noise->silent_count; ++i)
            tl_html_say(page, "@s@s",
                        i == 0                        ? ""
                        : i + 1 < noise->silent_count ? ", "
                                                      : " and ",
                        noise->silent[i]);
        tl_html_say(page, ". What they add beyond their resistances is not in it.</p>\n");
    }
    char* playing = tl_show_value(noise->playing_v, "V", "");
    tl_html_say(
        page,
        "<p class=\"small\">Playing level: @s rms @s, @sas it arrives. As the ear weights "
        "it: A-weighted (IEC 61672-1). Resistors, the pickup's real part too, at 27 degrees "
        "Celsius: 4 k T R. Hum is not in it: see <a href=\"#leads\">section 5</a>.</p>\n",
        playing, noise->active ? "out of the source" : "in the pickup's coil",
        report->playing_assumed && !noise->active
            ? "from memory (a single coil played with some force), "
            : "");
    free(playing);
}

void tl_report_add_noise(tl_text* page, const tl_report* report) {
    const tl_noise* noise = report->noise;
    for (size_t i = 0; i < noise->amp_count; ++i)
        add_sentence(page, noise, i);
    tl_report_add_table(page, totals_table(noise), "What is left when nobody plays");
    for (size_t i = 0; i < noise->amp_count; ++i) {
        char* about = noise->amp_count > 1
                          ? tl_printf("Who makes it, at the amp '%s'", noise->rig[i].amp)
                          : tl_copy("Who makes it, through the rig as it is written");
        tl_report_add_table(page, budget_table(&noise->rig[i]), about);
        free(about);
    }
    add_states(page, noise);
    add_terms(page, report);
}
