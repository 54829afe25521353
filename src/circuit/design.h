// SPDX-License-Identifier: GPL-3.0-or-later
/// @file design.h A buffer as a circuit: a subcircuit, what its pins are, and its supply.
#ifndef TL_CIRCUIT_DESIGN_H
#define TL_CIRCUIT_DESIGN_H

#include "circuit/netlist.h"
#include "toneload/design.h"

/// A value that varies from one specimen to the next.
typedef struct {
    char* path;   ///< as tl_netlist_get() takes it
    double share; ///< 0.05 for 5 % either way
} tl_tolerance;

/// Which port a pin is: an index for tl_netlist_port_name(), or TL_NO_PIN.
enum { TL_NO_PIN = -1 };

struct tl_design {
    char* path; ///< the design file
    char* name; ///< free text of the user's
    tl_input* input;
    tl_input* circuit_input;
    bool borrows; ///< a clone: the texts belong to another design
    tl_netlist* netlist;
    int in;
    int out;
    int supply;
    int ground;
    int negative; ///< TL_NO_PIN, or driven at negative_v
    int bias;     ///< TL_NO_PIN, or driven at bias_v
    double supply_v;
    double negative_v; ///< below zero
    double bias_v;
    tl_tolerance* tolerances;
    size_t tolerance_count;
};

/// A copy with a netlist of its own, to be changed; it borrows the texts, so it must go first. Free
/// with tl_design_free().
tl_design* tl_design_clone(const tl_design* design);

#endif
