// SPDX-License-Identifier: GPL-3.0-or-later
/// @file noise_kept.h What a session has heard already: the power plan, the leads and the noise
/// itself all ask for the noise of the rig as it is written.
#ifndef TL_STUDY_NOISE_KEPT_H
#define TL_STUDY_NOISE_KEPT_H

#include "circuit/circuit.h"
#include "study/noise_owner.h"
#include "toneload/noise.h"

#include <stdbool.h>

typedef struct tl_noise_kept tl_noise_kept;

/// What an analysis is known by: the circuit, who owns what in it, and how finely it is solved. Two
/// of one mark have one answer. Free with free().
char* tl_noise_mark(const tl_noise_names* names, const tl_circuit* circuit, const tl_output* output,
                    unsigned per_decade);

/// Keeps a copy of an answer, the latest few of them.
void tl_noise_keep(tl_noise_kept** kept, const char* mark, const tl_noise_at* at);
/// A copy of what was kept under a mark, in place of what stands there; false when nothing was.
bool tl_noise_recall(tl_noise_kept* const* kept, const char* mark, tl_noise_at* at);
void tl_noise_forget(tl_noise_kept** kept);

void tl_noise_clear_part(tl_noise_part* part);
void tl_noise_clear_at(tl_noise_at* at);

#endif
