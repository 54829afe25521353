// SPDX-License-Identifier: GPL-3.0-or-later
/// @file netlist_internal.h What the files of the netlist share; for those alone.
#ifndef TL_CIRCUIT_NETLIST_INTERNAL_H
#define TL_CIRCUIT_NETLIST_INTERNAL_H

#include "circuit/device_model.h"
#include "circuit/formula.h"
#include "circuit/name_index.h"
#include "circuit/netlist.h"
#include "circuit/subcircuit.h"

enum { TL_FLAT_SETTINGS = 16, TL_NO_MODEL = -1 };
#define TL_NO_CARD ((size_t)-1)

/// `area=2`: the name is one of ours.
typedef struct {
    const char* name;
    double value;
} tl_flat_setting;

/// A model in use.
typedef struct {
    const tl_model_type* type;
    tl_flat_setting* settings;
    size_t count;
    size_t users; ///< cards
} tl_flat_model;

typedef struct {
    tl_card card; ///< its name is owned
    bool has_value;
    double value;       ///< ohm, farad, henry, volt, ampere, gain or coupling
    tl_piece others[2]; ///< while reading: what a K, F or H names
    size_t refs[2];     ///< the cards of those
    int model;          ///< or TL_NO_MODEL
    tl_flat_setting settings[TL_FLAT_SETTINGS];
    size_t setting_count;
    const char* flag; ///< "off", "on" or NULL
    bool is_current;  ///< of a B source
    tl_formula formula;
    size_t call; ///< while reading: the call it lies in
} tl_flat_card;

/// An `.ic` or `.nodeset`.
typedef struct {
    bool initial;
    unsigned node;
    double volt;
} tl_flat_level;

struct tl_netlist {
    char** ports;
    size_t port_count;
    char** nodes; ///< by number
    size_t node_count;
    tl_flat_card* cards;
    size_t card_count;
    tl_flat_model* models;
    size_t model_count;
    tl_flat_level* levels;
    size_t level_count;
    char** paths;
    size_t path_count;
    char** remarks;
    size_t remark_count;
};

/// A call of a subcircuit while it is put in place, or the file itself.
typedef struct tl_call tl_call;

/// What making a netlist flat needs to know.
typedef struct {
    tl_netlist* netlist;
    tl_formula_effort effort;
    size_t calls;
    tl_error* error;
} tl_flattening;

/// The value of a parameter once it was asked for.
typedef struct {
    enum { TL_VALUE_UNKNOWN, TL_VALUE_ASKED, TL_VALUE_KNOWN } state;
    double value;
} tl_call_value;

struct tl_call {
    tl_flattening* work;
    tl_call* caller;
    const tl_subcircuit* what;
    size_t number;
    size_t depth;
    char* prefix;          ///< "x1."
    tl_call_value* values; ///< of the parameters of `what`
    int* models;           ///< of `what`, in the netlist; TL_NO_MODEL: not used yet
    tl_name_index nodes;   ///< names that were met
    tl_name_index cards;   ///< its own elements; an X has no card
};

/// How a call understands formulas.
tl_formula_world tl_call_world(tl_call* call);
/// The number of a node of a call; a new one when the name is new, up to 5,000.
tl_status tl_call_node(tl_call* call, tl_piece name, unsigned* node, tl_error* error);
/// Says that a name of this call means a node that has a number already.
void tl_call_name_node(tl_call* call, tl_piece name, unsigned node);
/// Whether a model of that name is to be seen from a call.
bool tl_call_has_model(tl_call* call, tl_piece name);
/// The model of that name for an element of a kind, read when first asked for.
tl_status tl_call_model(tl_call* call, tl_piece name, char element, int* model);
/// Puts a subcircuit in place. Its nodes and values are ready.
tl_status tl_call_place(tl_call* call);
void tl_call_clear(tl_call* call);

/// Reads an element's line and adds a card, or places another call for an X.
tl_status tl_card_read(tl_call* call, const tl_spice_line* line);
tl_status tl_call_read_x(tl_call* call, tl_cursor* cursor, tl_piece name);
/// Turns the rest of a line after `poly` into the formula of a B source.
tl_status tl_poly_read(tl_call* call, tl_cursor* cursor, bool voltages, tl_formula* formula);

/// Notes something that looks wrong, with its place; the first 20 are kept.
void tl_netlist_remark(tl_netlist* netlist, const tl_place* place, const char* format, ...)
    TL_PRINTF(3, 4);
/// Notes what looks wrong in values and nodes, once all cards are there.
void tl_netlist_find_remarks(tl_netlist* netlist);

/// Fills in the list of values that have a path, once all cards are there.
void tl_netlist_list_paths(tl_netlist* netlist);

#endif
