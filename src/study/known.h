// SPDX-License-Identifier: GPL-3.0-or-later
/// @file known.h A known part in what is solved, for ways that may let nothing through.
#ifndef TL_STUDY_KNOWN_H
#define TL_STUDY_KNOWN_H

#include "circuit/circuit.h"

/// The node that the one source of 1 V drives; the guitar's are silent.
tl_node tl_known_volt(const tl_circuit* circuit);

/// A new node that follows `control` above `from`.
tl_node tl_known_follower(tl_circuit* circuit, tl_node from, tl_node control, double gain);

/// Adds `known` times the circuit's one source of 1 V to all that is read: a response that may be
/// nothing at all cannot be told from rounding errors, one that is known cannot fail. The caller
/// takes it off again.
void tl_known_add(tl_circuit* circuit, double known);

#endif
