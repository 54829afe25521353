// SPDX-License-Identifier: GPL-3.0-or-later
/// @file pool_decks.h Decks, values and pools that tests of the pool share.
#ifndef TL_TESTS_SOLVE_POOL_DECKS_H
#define TL_TESTS_SOLVE_POOL_DECKS_H

#include "base/text.h"
#include "solve/pool.h"

#include <math.h>
#include <stdint.h>
#include <stdlib.h>

enum { SEED = 20 }; // of decks made here

enum { POINTS = 21, VALUES = 23 };

static inline tl_pool* make_pool(unsigned jobs, double limit_s, unsigned requests) {
    tl_pool_options options = {.jobs = jobs,
                               .time_limit_s = limit_s,
                               .requests_a_worker = requests,
                               .worker_path = TL_BINARY_DIR "/toneload-worker"};
    tl_pool* pool = NULL;
    tl_error* error = tl_error_new();
    if (tl_pool_new(&options, &pool, error) != TL_OK)
        fail_msg("%s", tl_error_text(error));
    tl_error_free(error);
    return pool;
}

// A coil with its resistance and capacitance, loaded: series R and L, shunt C and R.
static tl_element_id coil_varied[] = {{'r', 1}, {'l', 1}, {'c', 1}, {'r', 2}, {'e', 1}};
static tl_probe coil_outputs[] = {{'n', 3}, {'n', 5}};
static char coil_text[] = "coil\n"
                          "v1 1 0 dc 0 ac 1\n"
                          "r1 1 2 1\nl1 2 3 1\nc1 3 0 1\nr2 3 0 1\n"
                          "e1 4 0 3 0 1\nr3 4 5 1000\nr4 5 0 1000\n"
                          ".end\n";
static const tl_deck coil = {1, coil_text, 5, coil_varied, 2, coil_outputs};

// A number in [0, 1) that depends on the job and the place only.
static inline double scatter(size_t job, size_t place) {
    uint64_t x = (uint64_t)job * 0x9e3779b97f4a7c15ULL + (uint64_t)place * 0xbf58476d1ce4e5b9ULL;
    x ^= x >> 31;
    x *= 0x94d049bb133111ebULL;
    x ^= x >> 29;
    return (double)(x >> 11) / 9007199254740992.0;
}

// A ladder with diodes that a current is forced through: most of its operating points have to be
// searched for. Written by make_diodes().
static tl_element_id diode_varied[VALUES];
static tl_probe diode_outputs[] = {{'n', 14}, {'n', 6}};
static tl_deck diodes = {3, NULL, VALUES, diode_varied, 2, diode_outputs};

enum { DIODE_NODES = 14 };

static inline int make_diodes(void** state) {
    (void)state;
    tl_text text = {0};
    tl_text_add(&text, "diodes\nv1 1 0 dc 0 ac 1\n");
    unsigned last = 0;
    for (unsigned i = 1; i < DIODE_NODES; ++i)
        tl_text_addf(&text, "r%u %u %u 1\nc%u %u 0 %g\nr%u %u 0 1e13\n", ++last, i, i + 1, i, i + 1,
                     pow(10, -13 + 7 * scatter(i, SEED)), 900 + i, i + 1);
    while (last < VALUES) {
        unsigned from = 2 + (unsigned)(13 * scatter(last, SEED + 1));
        unsigned to = 2 + (unsigned)(13 * scatter(last, SEED + 2));
        tl_text_addf(&text, "r%u %u %u 1\n", last + 1, from, to == from ? 0 : to);
        ++last;
    }
    for (unsigned i = 1; i <= 4; ++i)
        tl_text_addf(&text, "l%u %u %u %g\n", i, i + 1, 2 * i + 5,
                     pow(10, -6 + 6 * scatter(i, SEED + 3)));
    tl_text_add(&text, "e1 100 0 5 0 2\nr800 100 9 1000\ne2 101 0 7 0 0.9\nr801 101 3 1000\n"
                       ".model dd d(is=1e-14)\nd1 6 0 dd\nd2 0 6 dd\ni1 0 6 dc 1e-3\n"
                       "d3 10 11 dd\n.end\n");
    for (unsigned i = 0; i < VALUES; ++i)
        diode_varied[i] = (tl_element_id){'r', i + 1};
    diodes.text = tl_text_take(&text);
    return 0;
}

static inline int free_diodes(void** state) {
    (void)state;
    free(diodes.text);
    return 0;
}

static inline void coil_values(size_t job, double* values) {
    values[0] = 4e3 + 6e3 * scatter(job, 0);
    values[1] = 2 + 4 * scatter(job, 1);
    values[2] = 1e-10 * (1 + 9 * scatter(job, 2));
    values[3] = 1e5 * pow(10, scatter(job, 3));
    values[4] = 4 * scatter(job, 4) - 2;
}

static inline void wide_values(size_t job, double* values) {
    for (size_t i = 0; i < VALUES; ++i)
        values[i] = pow(10, 13 * scatter(job, i));
}

#endif
