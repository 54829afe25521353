// SPDX-License-Identifier: GPL-3.0-or-later
/// @file noise.h What a noise answer and the report's section on noise have in common.
#ifndef TL_SHOW_NOISE_H
#define TL_SHOW_NOISE_H

#include "toneload/noise.h"
#include "toneload/show.h"

#include <stddef.h>

/// How far noise lies below the playing level, dB.
double tl_noise_below_db(double signal_v, double noise_v);
/// How much more the rig hisses at an amp than plugged straight in, with the amp turned up to the
/// same loudness, A-weighted, dB.
double tl_noise_more_db(const tl_noise* noise, size_t amp);

/// The next cell: a voltage, how far noise lies below the playing level, a share of the power.
void tl_noise_volts_cell(tl_table* table, double volts);
void tl_noise_db_cell(tl_table* table, double db);
void tl_noise_share_cell(tl_table* table, double share);

/// Parts worth a row of their own; the others share one.
size_t tl_noise_count_shown(const tl_noise_at* at);
/// The power share of all parts from the one at `first` on: A-weighted, or from 20 Hz to 20 kHz.
double tl_noise_rest(const tl_noise_at* at, size_t first, bool weighted);
/// How many parts, the loudest first, make at least half of the noise power (three at most), and
/// the `*share` of it, A-weighted, that they make.
size_t tl_noise_count_loudest(const tl_noise_at* at, double* share);

/// Some states, a row each and amp, in the order given. Free with tl_table_free().
tl_table* tl_noise_states_table(const tl_noise* noise, const tl_noise_options* options,
                                const size_t* states, size_t count, bool amps);

#endif
