// SPDX-License-Identifier: GPL-3.0-or-later
// The lines of the card: what there is to measure, in the order it is shown.
#include "study/bench_card.h"

#include "base/text.h"

#include <stdint.h>
#include <stdlib.h>
#include <string.h>

const bench_step bench_ohms[TL_BENCH_OHMS] = {
    {10e3, "10k", "10 kohm"}, {100e3, "100k", "100 kohm"}, {1e6, "1m", "1 Mohm"}};
const bench_step bench_farads[TL_BENCH_FARADS] = {
    {0, "0", "no lead"},   {100e-12, "100pf", "100 pF"}, {500e-12, "500pf", "500 pF"},
    {1e-9, "1nf", "1 nF"}, {3e-9, "3nf", "3 nF"},        {10e-9, "10nf", "10 nF"}};
const bench_step bench_leads[TL_BENCH_LEADS] = {
    {0.3, "300mm", "0.3 m"}, {1, "1m", "1 m"}, {3, "3m", "3 m"}};

/// A line without a name that has to be made.
typedef struct {
    const char* id;
    const char* title;
    const char* unit;
    tl_better better;
    bool detail;
} line_row;

static const line_row supply_rows[] = {
    {"supply_current_a", "supply current", "A", TL_BETTER_LOW, false},
    {"output_dc_v", "DC at the output", "V", TL_BETTER_NEAR_ZERO, false},
    {"bias_margin_v", "least voltage across a transistor at rest", "V", TL_BETTER_HIGH, false},
    {"thump_1ms_v", "thump, supply up in 1 ms", "V", TL_BETTER_LOW, false},
    {"thump_100ms_v", "thump, supply up in 100 ms", "V", TL_BETTER_LOW, false},
};
static const line_row gain_rows[] = {
    {"gain_1khz_db", "gain at 1 kHz", "dB", TL_BETTER_NEAR_ZERO, false},
    {"flatness_db", "highest less lowest, 20 Hz to 20 kHz", "dB", TL_BETTER_LOW, false},
    {"low_cutoff_hz", "-3 dB at the low end", "Hz", TL_BETTER_LOW, false},
    {"high_cutoff_hz", "-3 dB at the high end", "Hz", TL_BETTER_HIGH, false},
    {"phase_20hz_deg", "phase at 20 Hz", "deg", TL_BETTER_NEAR_ZERO, false},
    {"phase_20khz_deg", "phase at 20 kHz", "deg", TL_BETTER_NEAR_ZERO, false},
};
static const line_row input_rows[] = {
    {"input_impedance_1khz_ohm", "input impedance at 1 kHz", "ohm", TL_BETTER_HIGH, false},
    {"input_impedance_100hz_ohm", "input impedance at 100 Hz", "ohm", TL_BETTER_HIGH, false},
    {"input_impedance_10khz_ohm", "input impedance at 10 kHz", "ohm", TL_BETTER_HIGH, false},
};
static const line_row output_rows[] = {
    {"output_impedance_1khz_ohm", "output impedance at 1 kHz", "ohm", TL_BETTER_LOW, false},
    {"output_impedance_100hz_ohm", "output impedance at 100 Hz", "ohm", TL_BETTER_LOW, false},
    {"output_impedance_10khz_ohm", "output impedance at 10 kHz", "ohm", TL_BETTER_LOW, false},
};
static const line_row pickup_rows[] = {
    {"pickup_worst_q_share_percent", "largest change of a pickup's Q against 1 Mohm", "%",
     TL_BETTER_NEAR_ZERO, false},
    {"pickup_worst_pole_share_percent", "largest change of its resonance against 1 Mohm", "%",
     TL_BETTER_NEAR_ZERO, false},
};
static const line_row drive_rows[] = {
    {"drive_worst_gain_db", "change of gain into 10 nF and 10 kohm", "dB", TL_BETTER_NEAR_ZERO,
     false},
    {"drive_worst_cutoff_hz", "-3 dB into the worst load", "Hz", TL_BETTER_HIGH, false},
    {"cable_100mdb_20khz_farad", "lead that costs 0.1 dB at 20 kHz", "F", TL_BETTER_HIGH, false},
};
static const line_row stability_rows[] = {
    {"stability", "with any of the loads", "", TL_BETTER_NONE, false},
    {"peaking_worst_db", "highest peaking", "dB", TL_BETTER_LOW, false},
    {"overshoot_worst_percent", "largest overshoot of a step", "%", TL_BETTER_LOW, false},
};
static const line_row headroom_rows[] = {
    {"headroom_1khz_v", "peak before 1 % THD at 1 kHz", "V", TL_BETTER_HIGH, false},
    {"headroom_100hz_v", "peak before 1 % THD at 100 Hz", "V", TL_BETTER_HIGH, false},
    {"headroom_5khz_v", "peak before 1 % THD at 5 kHz", "V", TL_BETTER_HIGH, false},
    {"headroom_sag_1khz_v", "1 % THD at 1 kHz on a flat battery", "V", TL_BETTER_HIGH, false},
    {"headroom_sag_100hz_v", "1 % THD at 100 Hz on a flat battery", "V", TL_BETTER_HIGH, false},
    {"headroom_sag_5khz_v", "1 % THD at 5 kHz on a flat battery", "V", TL_BETTER_HIGH, false},
    {"thd_100mv_percent", "THD at 0.1 V peak, 1 kHz", "%", TL_BETTER_LOW, false},
    {"thd_500mv_percent", "THD at 0.5 V peak", "%", TL_BETTER_LOW, false},
    {"thd_1v_percent", "THD at 1 V peak", "%", TL_BETTER_LOW, false},
    {"thd_2v_percent", "THD at 2 V peak", "%", TL_BETTER_LOW, false},
    {"thd_floor_percent", "numerical floor of THD", "%", TL_BETTER_NONE, false},
    {"slew_v_per_s", "slew limit", "V/s", TL_BETTER_HIGH, false},
};
static const line_row noise_rows[] = {
    {"noise_density_1khz_v_rthz", "output noise at 1 kHz, source shorted", "V/rtHz", TL_BETTER_LOW,
     false},
    {"input_noise_density_1khz_v_rthz", "input-referred noise at 1 kHz", "V/rtHz", TL_BETTER_LOW,
     true},
    {"noise_short_v", "noise, source shorted", "V", TL_BETTER_LOW, false},
    {"noise_short_a_v", "noise, source shorted, A-weighted", "V", TL_BETTER_LOW, false},
    {"noise_10k_v", "noise with 10 kohm", "V", TL_BETTER_LOW, false},
    {"noise_10k_a_v", "noise with 10 kohm, A-weighted", "V", TL_BETTER_LOW, false},
    {"noise_pickup_v", "noise with a pickup", "V", TL_BETTER_LOW, false},
    {"noise_pickup_a_v", "noise with a pickup, A-weighted", "V", TL_BETTER_LOW, false},
};
static const line_row ripple_rows[] = {
    {"psrr_50hz_db", "ripple rejection at 50 Hz", "dB", TL_BETTER_HIGH, false},
    {"psrr_60hz_db", "ripple rejection at 60 Hz", "dB", TL_BETTER_HIGH, false},
    {"psrr_100hz_db", "ripple rejection at 100 Hz", "dB", TL_BETTER_HIGH, false},
    {"psrr_120hz_db", "ripple rejection at 120 Hz", "dB", TL_BETTER_HIGH, false},
    {"psrr_1khz_db", "ripple rejection at 1 kHz", "dB", TL_BETTER_HIGH, false},
    {"psrr_20khz_db", "ripple rejection at 20 kHz", "dB", TL_BETTER_HIGH, false},
    {"psrr_200khz_db", "ripple rejection at 200 kHz", "dB", TL_BETTER_HIGH, false},
};
static const line_row rig_rows[] = {
    {"rig_change_db", "change against an ideal buffer there", "dB", TL_BETTER_NEAR_ZERO, false},
    {"rig_verdict", "difference from direct", "", TL_BETTER_NONE, false},
    {"rig_worst_db", "largest difference from direct", "dB", TL_BETTER_NEAR_ZERO, false},
    {"rig_worst_hz", "where that is", "Hz", TL_BETTER_NONE, false},
    {"rig_rms_db", "over all bands", "dB", TL_BETTER_LOW, false},
    {"rig_peak_hz", "resonance at the amp", "Hz", TL_BETTER_NONE, false},
    {"rig_cutoff_hz", "-3 dB at the amp", "Hz", TL_BETTER_HIGH, false},
    {"rig_noise_a_v", "noise at the amp, A-weighted", "V", TL_BETTER_LOW, false},
};

static void add_line(bench_card* card, const char* group, char* id, char* title, const char* unit,
                     tl_better better, bool detail) {
    card->lines = tl_grow(card->lines, card->line_count + 1, sizeof *card->lines);
    tl_bench_line* line = &card->lines[card->line_count++];
    *line = (tl_bench_line){.better = better, .detail = detail, .best = SIZE_MAX};
    line->id = id;
    line->group = tl_copy(group);
    line->title = title;
    line->unit = tl_copy(unit);
}

#define ADD_ROWS(card, group, rows) add_rows(card, group, rows, sizeof(rows) / sizeof *(rows))

static void add_rows(bench_card* card, const char* group, const line_row* rows, size_t count) {
    for (size_t i = 0; i < count; ++i)
        add_line(card, group, tl_copy(rows[i].id), tl_copy(rows[i].title), rows[i].unit,
                 rows[i].better, rows[i].detail);
}

/// An impedance as a resistance beside a capacitance.
static void add_parallel_lines(bench_card* card, const char* side) {
    static const char* const at[][2] = {
        {"1khz", "1 kHz"}, {"100hz", "100 Hz"}, {"10khz", "10 kHz"}};
    for (size_t i = 0; i < sizeof at / sizeof *at; ++i) {
        add_line(card, side, tl_printf("%s_resistance_%s_ohm", side, at[i][0]),
                 tl_printf("%s parallel resistance at %s", side, at[i][1]), "ohm", TL_BETTER_NONE,
                 true);
        add_line(card, side, tl_printf("%s_capacitance_%s_farad", side, at[i][0]),
                 tl_printf("%s parallel capacitance at %s", side, at[i][1]), "F", TL_BETTER_NONE,
                 true);
    }
}

static void add_pickup_lines(bench_card* card, const char* name, const bench_step* lead) {
    static const char* const rows[][3] = {
        {"pole_hz", "resonance", "Hz"},
        {"q", "Q", ""},
        {"pole_vs_1mohm_percent", "resonance against 1 Mohm", "%"},
        {"q_vs_1mohm_percent", "Q against 1 Mohm", "%"},
        {"pole_vs_open_percent", "resonance against no load", "%"},
        {"q_vs_open_percent", "Q against no load", "%"},
    };
    for (size_t i = 0; i < sizeof rows / sizeof *rows; ++i)
        add_line(card, "pickups", tl_printf("pickup_%s_%s_%s", name, lead->id, rows[i][0]),
                 tl_printf("%s, %s: %s", name, lead->words, rows[i][1]), rows[i][2],
                 i < 2 ? TL_BETTER_NONE : TL_BETTER_NEAR_ZERO, true);
}

/// One line a load.
static void add_load_lines(bench_card* card, const char* group, const char* head, const char* tail,
                           const char* title, const char* unit, tl_better better) {
    for (size_t ohm = 0; ohm < TL_BENCH_OHMS; ++ohm)
        for (size_t farad = 0; farad < TL_BENCH_FARADS; ++farad)
            add_line(
                card, group,
                tl_printf("%s_%s_%s_%s", head, bench_farads[farad].id, bench_ohms[ohm].id, tail),
                tl_printf("%s, %s, %s", title, bench_farads[farad].words, bench_ohms[ohm].words),
                unit, better, true);
}

static void add_harmonic_lines(bench_card* card) {
    static const char* const levels[][2] = {
        {"100mv", "0.1 V"}, {"500mv", "0.5 V"}, {"1v", "1 V"}, {"2v", "2 V"}};
    for (size_t level = 0; level < sizeof levels / sizeof *levels; ++level)
        for (int n = 2; n <= 6; ++n)
            add_line(card, "headroom", tl_printf("harmonic_%d_%s_percent", n, levels[level][0]),
                     tl_printf("harmonic %d at %s peak", n, levels[level][1]), "%", TL_BETTER_LOW,
                     true);
}

void bench_make_lines(bench_card* card, bool with_rig) {
    ADD_ROWS(card, "supply and bias", supply_rows);
    ADD_ROWS(card, "gain", gain_rows);
    ADD_ROWS(card, "input", input_rows);
    add_parallel_lines(card, "input");
    ADD_ROWS(card, "output", output_rows);
    add_parallel_lines(card, "output");
    ADD_ROWS(card, "pickups", pickup_rows);
    for (size_t i = 0; i < card->pickup_count; ++i)
        for (size_t lead = 0; lead < TL_BENCH_LEADS; ++lead)
            add_pickup_lines(card, card->pickup_names[i], &bench_leads[lead]);
    ADD_ROWS(card, "drive", drive_rows);
    add_load_lines(card, "drive", "drive", "gain_db", "change at 1 kHz", "dB", TL_BETTER_NEAR_ZERO);
    add_load_lines(card, "drive", "drive", "20khz_db", "change at 20 kHz", "dB",
                   TL_BETTER_NEAR_ZERO);
    add_load_lines(card, "drive", "drive", "cutoff_hz", "-3 dB", "Hz", TL_BETTER_HIGH);
    ADD_ROWS(card, "stability", stability_rows);
    add_load_lines(card, "stability", "peaking", "db", "peaking", "dB", TL_BETTER_LOW);
    add_load_lines(card, "stability", "overshoot", "percent", "overshoot", "%", TL_BETTER_LOW);
    ADD_ROWS(card, "headroom", headroom_rows);
    add_harmonic_lines(card);
    ADD_ROWS(card, "noise", noise_rows);
    ADD_ROWS(card, "supply", ripple_rows);
    if (with_rig)
        ADD_ROWS(card, "in the rig", rig_rows);
}

size_t bench_find_line(const bench_card* card, const char* id) {
    for (size_t i = 0; i < card->line_count; ++i)
        if (strcmp(card->lines[i].id, id) == 0)
            return i;
    return SIZE_MAX;
}
