// SPDX-License-Identifier: GPL-3.0-or-later
/// @file setup.h A design on the bench: what drives it and what it drives, as a deck.
#ifndef TL_CIRCUIT_SETUP_H
#define TL_CIRCUIT_SETUP_H

#include "circuit/deck.h"
#include "circuit/design.h"
#include "parts/part.h"

#include <stdbool.h>
#include <stddef.h>

/// What is done to the design. Whatever is not driven is at rest.
typedef enum {
    TL_DRIVE_INPUT,    ///< 1 V, small-signal, behind the source
    TL_DRIVE_OUTPUT,   ///< 1 A, small-signal, into the output
    TL_DRIVE_SUPPLY,   ///< 1 V, small-signal, on the supply
    TL_DRIVE_NEGATIVE, ///< the same on the negative supply
    TL_DRIVE_SINE,     ///< a sine at the input from t = 0: amplitude_v, hz
    TL_DRIVE_STEP,     ///< a step up at the input after a tenth of time_s: amplitude_v, edge_s
    TL_DRIVE_PULSE,    ///< from -amplitude_v up at a tenth of time_s, and down at half of it
    TL_DRIVE_POWER_UP, ///< all supplies rise from 0 within edge_s
} tl_drive;

typedef struct {
    const tl_design* design; ///< NULL: nothing but the load is behind the source
    tl_drive drive;
    double supply_share;   ///< of the nominal supplies: 1, or 7/9 for a flat battery
    const tl_part* pickup; ///< the source, or NULL
    const tl_part* lead;   ///< a cable with its length between source and input, or NULL
    double source_ohm;     ///< without a pickup; 0: none
    double load_ohm;       ///< at the output; 0: none
    double load_farad;
    double amplitude_v;
    double hz;
    double edge_s;
    double time_s;
    bool loose; ///< with the tolerances that suit edges
} tl_setup;

/// A setup as a deck. Its probes are, in this order: the output's voltage, the input's voltage,
/// the current through the input's source (into its + end), the one through the supply, the one
/// through the negative supply (when there is one), then the voltages of all nodes of the design
/// but ground when `all_nodes`.
typedef struct {
    tl_deck* deck;
    const tl_design* design;
    unsigned out_node;
    unsigned in_node;
    unsigned source;      ///< number of the input's voltage source
    unsigned first_card;  ///< number of the design's first element: card i is first_card + i
    unsigned* nodes;      ///< of the deck, by node of the design's netlist
    size_t* node_probes;  ///< by node of the netlist: its probe, 0 for ground; NULL: not asked for
    size_t element_count; ///< numbers used
} tl_bench_deck;

/// The order of the probes.
enum { TL_PROBE_OUT, TL_PROBE_IN, TL_PROBE_SOURCE, TL_PROBE_SUPPLY, TL_PROBE_NEGATIVE };

tl_bench_deck* tl_setup_deck(const tl_setup* setup, bool all_nodes);
/// The same with the probes of a noise analysis: output density, input-referred density, then the
/// share of every element that makes noise, in the order of their numbers.
tl_bench_deck* tl_setup_noise_deck(const tl_setup* setup);
void tl_bench_deck_free(tl_bench_deck* deck);

/// Why there is no answer, in one line: the first of the solver's words, and of what ngspice had to
/// say the line that tells most, with the numbers of nodes and elements replaced by the user's
/// names where they are the design's. Free with free().
char* tl_bench_deck_words(const tl_bench_deck* deck, const char* words);

#endif
