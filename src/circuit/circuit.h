// SPDX-License-Identifier: GPL-3.0-or-later
/// @file circuit.h A rig as nodes and elements, rig and direct side by side.
#ifndef TL_CIRCUIT_CIRCUIT_H
#define TL_CIRCUIT_CIRCUIT_H

#include "circuit/deck.h"
#include "circuit/design.h"
#include "parts/sink.h"
#include "rig/rig.h"

#include <stdbool.h>
#include <stddef.h>

/// What noise a resistor makes in a noise analysis: that of its temperature, none (where a part
/// states its noise otherwise), or it stands for a part's stated voltage or current.
typedef enum { TL_MAKES_THERMAL, TL_MAKES_NONE, TL_MAKES_VOLTAGE, TL_MAKES_CURRENT } tl_makes;

/// An element: 'r', 'l', 'c', 'v' (small-signal source), 'e' and 'g' (controlled sources, of
/// voltage and current), 's' (a supply) or 'x' (card `b` of the embedded design `a`).
typedef struct {
    char kind;
    tl_node a;
    tl_node b;
    tl_node control;     ///< of an 'e' or 'g': the node whose voltage it follows
    double value;        ///< ohm, henry, farad, volt, or the gain (of a 'g', siemens)
    const tl_part* part; ///< whose it is; NULL: the circuit's own
    bool direct;
    tl_makes makes;
} tl_element;

/// A design in the circuit. Its cards are elements one after the other.
typedef struct {
    const tl_design* design;
    tl_node* nodes; ///< by node of its netlist
    size_t first;   ///< index of the element that is its first card
} tl_embedded;

/// Where a node lies, for people.
typedef struct {
    const tl_part* part; ///< whose node it is; NULL for none
    const char* what;
    bool direct;
} tl_node_words;

/// A node at which a response is read.
typedef struct {
    tl_node node;
    char* amp; ///< the amp's name
    bool direct;
} tl_output;

typedef struct {
    tl_element* elements;
    size_t element_count;
    tl_embedded* embedded;
    size_t embedded_count;
    tl_node_words* nodes; ///< by number; 0 is ground
    size_t node_count;
    tl_output* outputs; ///< for each amp the rig's, then its direct's
    size_t output_count;
} tl_circuit;

/// A node that only capacitors reach has no operating point: it gets this to ground.
#define TL_FLOATING_OHM 1e13

/// Builds the circuit of a rig. Everything that is connected loads everything.
tl_circuit* tl_circuit_build(const tl_rig* rig);
/// The same without the direct line-up, for studies that move only the rig: one output an amp.
tl_circuit* tl_circuit_build_rig(const tl_rig* rig);

/// What a study adds to a rig's circuit while it is built.
typedef struct {
    void* context;
    /// Called in front of every item in the rig's signal path (those of branches and engaged loops
    /// too, not of the direct line-up); returns the node the signal goes on from: `in` itself, or
    /// another one when something is put in series. May be NULL.
    tl_node (*before)(void* context, const tl_item* item, const tl_sink* sink, tl_node in);
    bool silent; ///< the guitar's own sources are 0 V
    bool noise;  ///< noise that parts state is in the circuit, for a noise analysis
    bool direct; ///< the direct line-ups are there too
} tl_circuit_extras;

/// Builds the circuit of a rig with additions.
tl_circuit* tl_circuit_build_extended(const tl_rig* rig, const tl_circuit_extras* extras);
void tl_circuit_free(tl_circuit* circuit);

/// Whether two circuits differ in values only.
bool tl_circuit_same_shape(const tl_circuit* a, const tl_circuit* b);

/// A deck for the workers. `varied[i]` says whether element i changes from request to request.
tl_deck* tl_circuit_deck(const tl_circuit* circuit, const bool* varied);
/// The same for elements that always have the value of another one: `same[i]` is the first of them,
/// i itself when there is none before. They are set together, by one command, not one each.
tl_deck* tl_circuit_deck_shared(const tl_circuit* circuit, const bool* varied, const size_t* same);
/// Finds such elements among those that vary: of one kind, and equal in each of these circuits of
/// one shape. By element; free with free().
size_t* tl_circuit_alike(tl_circuit* const* circuits, size_t count, const bool* varied);

/// A deck for people: runs as it is with `ngspice -b` and gnucap, 301 frequencies from 10 Hz to
/// 100 kHz, with a table of what each node is in comments. Free with free().
char* tl_circuit_export(const tl_circuit* circuit, tl_rig* rig);

/// Cuts every cable of `count` rigs of one file into as many sections as the most demanding of its
/// variants needs, so that a study never jumps from one count to another.
void tl_circuit_fix_sections(tl_rig* const* rigs, size_t count);

#endif
