// SPDX-License-Identifier: GPL-3.0-or-later
/// @file random.h Random numbers by their place: any one of them without those before it.
#ifndef TL_BASE_RANDOM_H
#define TL_BASE_RANDOM_H

#include <stdint.h>

/// Four random words that depend on counter and key alone. Method: Philox4x32-10 (Salmon, Moraes,
/// Dror, Shaw, "Parallel random numbers: as easy as 1, 2, 3", SC11, 2011). GSL has no generator
/// that can be entered anywhere, which results that may not depend on who computes them need.
void tl_random_words(const uint32_t counter[4], const uint32_t key[2], uint32_t words[4]);

/// Number `index` of trial `trial` of a seed: uniform, between 0 and 1 and neither, 53 bits.
double tl_random_uniform(uint64_t seed, uint64_t trial, uint32_t index);

#endif
