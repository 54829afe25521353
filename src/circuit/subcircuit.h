// SPDX-License-Identifier: GPL-3.0-or-later
/// @file subcircuit.h The structure of SPICE text: what each subcircuit defines, not yet worked
/// out.
#ifndef TL_CIRCUIT_SUBCIRCUIT_H
#define TL_CIRCUIT_SUBCIRCUIT_H

#include "circuit/device_model.h"
#include "circuit/formula.h"
#include "circuit/name_index.h"
#include "circuit/spice_line.h"

/// A `.param`, or a parameter of a `.subckt` line with the value it has unless a call says another.
typedef struct {
    tl_piece name;
    tl_formula formula;
    bool formal;
} tl_definition;

/// A `.func`.
typedef struct {
    tl_piece name;
    tl_piece arguments[8];
    size_t argument_count;
    tl_formula body;
} tl_macro;

/// A `.model`; its parameters are read when an element uses it.
typedef struct {
    tl_piece name;
    const tl_model_type* type;
    tl_cursor settings; ///< where its parameters begin
} tl_model_text;

typedef struct tl_subcircuit tl_subcircuit;
struct tl_subcircuit {
    const tl_subcircuit* parent; ///< NULL for the file itself
    tl_piece name;
    tl_piece* ports;
    size_t port_count;
    tl_definition* definitions;
    size_t definition_count;
    tl_name_index definition_index;
    tl_macro* macros;
    size_t macro_count;
    tl_model_text* models;
    size_t model_count;
    const tl_spice_line** elements;
    size_t element_count;
    const tl_spice_line** settings; ///< `.ic` and `.nodeset` lines
    size_t setting_count;
    tl_subcircuit** inner;
    size_t inner_count;
};

/// Sorts the lines of a file into subcircuits. Whatever is on no list is TL_BAD_INPUT here, whether
/// it is used or not.
tl_status tl_subcircuit_read(const tl_spice_lines* lines, tl_subcircuit** file, tl_error* error);
void tl_subcircuit_free(tl_subcircuit* subcircuit);

/// A subcircuit as it is seen from inside another: its own, its parent's and so on; or NULL.
const tl_subcircuit* tl_subcircuit_find(const tl_subcircuit* from, tl_piece name);
/// Adds "; did you mean ..." for a subcircuit or model that is not there.
void tl_subcircuit_hint(const tl_subcircuit* from, tl_piece name, tl_text* text);
void tl_model_hint(const tl_subcircuit* from, tl_piece name, tl_text* text);

#endif
