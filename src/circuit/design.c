// SPDX-License-Identifier: GPL-3.0-or-later
#include "circuit/design.h"

#include "base/file.h"
#include "base/locale.h"
#include "base/names.h"
#include "base/quantity.h"
#include "base/yaml.h"

#include <stdlib.h>
#include <string.h>

enum { DESIGN_BYTES = 100000, CIRCUIT_BYTES = 1000000, LONGEST_NAME = 200, LONGEST_WORDS = 2000 };
#define LOWEST_SUPPLY_V 0.5
#define HIGHEST_SUPPLY_V 100
#define LARGEST_SHARE 0.95
#define COUNT(list) (sizeof(list) / sizeof *(list))

/// What reading a design needs to know.
typedef struct {
    tl_design* design;
    const tl_yaml* tree;
    tl_units* units;
    tl_error* error;
} reader;

void tl_design_free(tl_design* design) {
    if (!design)
        return;
    for (size_t i = 0; i < design->tolerance_count; ++i)
        free(design->tolerances[i].path);
    free(design->tolerances);
    free(design->path);
    free(design->name);
    tl_netlist_free(design->netlist);
    if (!design->borrows) {
        tl_input_free(design->input);
        tl_input_free(design->circuit_input);
    }
    free(design);
}

tl_design* tl_design_clone(const tl_design* design) {
    tl_design* copy = tl_new(1, sizeof *copy);
    *copy = *design;
    copy->borrows = true;
    copy->path = tl_copy(design->path);
    copy->name = tl_copy(design->name);
    copy->netlist = tl_netlist_clone(design->netlist);
    copy->tolerances = tl_new(design->tolerance_count, sizeof *copy->tolerances);
    for (size_t i = 0; i < design->tolerance_count; ++i)
        copy->tolerances[i] =
            (tl_tolerance){tl_copy(design->tolerances[i].path), design->tolerances[i].share};
    return copy;
}

const char* tl_design_name(const tl_design* design) {
    return design->name;
}

const char* const* tl_design_remarks(const tl_design* design, size_t* count) {
    return tl_netlist_remarks(design->netlist, count);
}

/// Says at a node that its text is none of the known names.
static tl_status refuse_name(const reader* r, const tl_yaml* node, const char* what,
                             const char* const* names, size_t count) {
    tl_text hint = {0};
    tl_name_hint(&hint, node->text, names, count);
    tl_status status =
        tl_error_at(r->error, &node->place, "%s '%s'%s", what, node->text, tl_text_get(&hint));
    tl_text_free(&hint);
    return status;
}

static tl_status check_keys(const reader* r, const tl_yaml* map, const char* what,
                            const char* const* names, size_t count) {
    tl_status status = tl_yaml_expect(map, TL_YAML_MAP, what, r->error);
    if (status != TL_OK)
        return status;
    for (size_t i = 0; i < map->count; ++i) {
        bool known = false;
        for (size_t j = 0; j < count; ++j)
            known = known || strcmp(map->keys[i]->text, names[j]) == 0;
        if (!known)
            return refuse_name(r, map->keys[i], "unknown", names, count);
    }
    return TL_OK;
}

// ---- words

static tl_status check_words(const reader* r, const char* key, size_t longest) {
    const tl_yaml* node = tl_yaml_get(r->tree, key);
    if (!node)
        return TL_OK;
    tl_status status = tl_yaml_expect(node, TL_YAML_SCALAR, key, r->error);
    if (status != TL_OK)
        return status;
    if (!tl_text_is_plain(node->text))
        return tl_error_at(r->error, &node->place, "control characters (or broken UTF-8) in '%s'",
                           key);
    if (strlen(node->text) > longest)
        return tl_error_at(r->error, &node->place, "'%s' of more than %zu bytes", key, longest);
    return TL_OK;
}

static tl_status read_name(const reader* r) {
    tl_status status = check_words(r, "design", LONGEST_NAME);
    if (status == TL_OK)
        status = check_words(r, "source", LONGEST_WORDS);
    if (status == TL_OK)
        status = check_words(r, "about", LONGEST_WORDS);
    if (status != TL_OK)
        return status;
    const tl_yaml* node = tl_yaml_get(r->tree, "design");
    tl_text name = {0};
    if (node && *node->text)
        tl_text_add(&name, node->text);
    else
        tl_text_add_safe(&name, tl_file_name(r->design->path));
    r->design->name = tl_text_take(&name);
    return TL_OK;
}

// ---- the circuit

static tl_status get_scalar(const reader* r, const char* key, const char* what,
                            const tl_yaml** node) {
    *node = tl_yaml_get(r->tree, key);
    if (!*node)
        return tl_error_at(r->error, &r->tree->place, "a design needs '%s': %s", key, what);
    return tl_yaml_expect(*node, TL_YAML_SCALAR, what, r->error);
}

/// Reads the circuit file, and says where its name stands when that cannot be done.
static tl_status read_file(const reader* r, const tl_yaml* node) {
    char* path = tl_file_beside(r->design->path, node->text);
    char* text = NULL;
    size_t size = 0;
    tl_error* trouble = tl_error_new();
    tl_status status = tl_file_read(path, CIRCUIT_BYTES, &text, &size, trouble);
    if (status == TL_OK)
        r->design->circuit_input = tl_input_new(path, text, size);
    else
        status = tl_error_at(r->error, &node->place, "%s", tl_error_text(trouble));
    tl_error_free(trouble);
    free(text);
    free(path);
    return status;
}

static tl_status read_circuit(const reader* r) {
    const tl_yaml* file = NULL;
    const tl_yaml* name = NULL;
    tl_status status = get_scalar(r, "circuit", "the file its subcircuit stands in", &file);
    if (status == TL_OK)
        status = get_scalar(r, "subcircuit", "the name of its subcircuit", &name);
    if (status == TL_OK)
        status = read_file(r, file);
    if (status == TL_OK)
        status = tl_netlist_read(r->design->circuit_input, name->text, &name->place,
                                 &r->design->netlist, r->error);
    return status;
}

// ---- pins

/// Which port of the subcircuit a node names.
static tl_status find_port(const reader* r, const tl_yaml* node, int* pin) {
    const tl_netlist* netlist = r->design->netlist;
    tl_status status = tl_yaml_expect(node, TL_YAML_SCALAR, "a pin", r->error);
    if (status != TL_OK)
        return status;
    size_t count = tl_netlist_port_count(netlist);
    const char** names = tl_new(count, sizeof *names);
    *pin = TL_NO_PIN;
    for (size_t i = 0; i < count; ++i) {
        names[i] = tl_netlist_port_name(netlist, i);
        if (strcasecmp(names[i], node->text) == 0)
            *pin = (int)i;
    }
    if (*pin == TL_NO_PIN)
        status = refuse_name(r, node, "the subcircuit has no port", names, count);
    free(names);
    return status;
}

/// Whether any element reaches node 0 by itself.
static bool uses_ground(const tl_netlist* netlist) {
    for (size_t i = 0; i < tl_netlist_card_count(netlist); ++i) {
        const tl_card card = tl_netlist_card(netlist, i);
        for (size_t j = 0; j < card.node_count; ++j)
            if (card.nodes[j] == 0)
                return true;
    }
    return false;
}

/// Every port must have exactly one pin.
static tl_status check_pins(const reader* r, const tl_yaml* pins, const int* const* found,
                            size_t count) {
    const tl_netlist* netlist = r->design->netlist;
    for (size_t port = 0; port < tl_netlist_port_count(netlist); ++port) {
        size_t times = 0;
        for (size_t i = 0; i < count; ++i)
            times += *found[i] == (int)port;
        if (times == 0)
            return tl_error_at(r->error, &pins->place, "no pin is given for the port '%s'",
                               tl_netlist_port_name(netlist, port));
        if (times > 1)
            return tl_error_at(r->error, &pins->place, "the port '%s' is named by two pins",
                               tl_netlist_port_name(netlist, port));
    }
    if (r->design->ground == TL_NO_PIN && !uses_ground(netlist))
        return tl_error_at(r->error, &pins->place,
                           "no pin is given for ground, and no element reaches node 0 by itself");
    return TL_OK;
}

static tl_status read_pins(const reader* r) {
    static const char* const names[] = {"in", "out", "supply", "ground", "negative", "bias"};
    tl_design* design = r->design;
    int* const found[] = {&design->in,     &design->out,      &design->supply,
                          &design->ground, &design->negative, &design->bias};
    const tl_yaml* pins = tl_yaml_get(r->tree, "pins");
    if (!pins)
        return tl_error_at(r->error, &r->tree->place,
                           "a design needs 'pins': {in: .., out: .., supply: .., ground: ..}");
    tl_status status = check_keys(r, pins, "pins", names, COUNT(names));
    for (size_t i = 0; i < COUNT(names) && status == TL_OK; ++i) {
        const tl_yaml* node = tl_yaml_get(pins, names[i]);
        *found[i] = TL_NO_PIN;
        if (node)
            status = find_port(r, node, found[i]);
        else if (i < 3)
            status = tl_error_at(r->error, &pins->place, "the pins need '%s'", names[i]);
    }
    return status == TL_OK ? check_pins(r, pins, (const int* const*)found, COUNT(found)) : status;
}

// ---- supply

static tl_status read_voltage(const reader* r, const tl_yaml* node, double low_v, double high_v,
                              double* volt) {
    tl_status status = tl_yaml_expect(node, TL_YAML_SCALAR, "a voltage", r->error);
    if (status != TL_OK)
        return status;
    tl_text words = {0};
    if (!tl_quantity_parse(r->units, node->text, TL_UNIT_VOLT, volt, &words)) {
        status = tl_error_at(r->error, &node->place, "%s", tl_text_get(&words));
    } else if (*volt < low_v || *volt > high_v) {
        tl_quantity_add(&words, TL_UNIT_VOLT, *volt);
        tl_text_add(&words, " is not plausible here: expected ");
        tl_quantity_add(&words, TL_UNIT_VOLT, low_v);
        tl_text_add(&words, " to ");
        tl_quantity_add(&words, TL_UNIT_VOLT, high_v);
        status = tl_error_at(r->error, &node->place, "%s", tl_text_get(&words));
    }
    tl_text_free(&words);
    return status;
}

static tl_status read_two_supplies(const reader* r, const tl_yaml* node) {
    static const char* const names[] = {"positive", "negative"};
    tl_design* design = r->design;
    tl_status status = check_keys(r, node, "a supply", names, COUNT(names));
    const tl_yaml* positive = status == TL_OK ? tl_yaml_get(node, "positive") : NULL;
    const tl_yaml* negative = status == TL_OK ? tl_yaml_get(node, "negative") : NULL;
    if (status != TL_OK)
        return status;
    if (!positive)
        return tl_error_at(r->error, &node->place, "a supply needs 'positive'");
    if (negative && design->negative == TL_NO_PIN)
        return tl_error_at(r->error, &negative->place,
                           "a negative supply, but no pin takes it (pins: {negative: ..})");
    if (!negative && design->negative != TL_NO_PIN)
        return tl_error_at(r->error, &node->place,
                           "there is a pin for a negative supply: 'negative' is needed too");
    status = read_voltage(r, positive, LOWEST_SUPPLY_V, HIGHEST_SUPPLY_V, &design->supply_v);
    if (status == TL_OK && negative)
        status =
            read_voltage(r, negative, -HIGHEST_SUPPLY_V, -LOWEST_SUPPLY_V, &design->negative_v);
    return status;
}

static tl_status read_supply(const reader* r) {
    tl_design* design = r->design;
    const tl_yaml* node = tl_yaml_get(r->tree, "supply");
    if (!node)
        return tl_error_at(r->error, &r->tree->place, "a design needs 'supply', such as 9 V");
    if (node->kind == TL_YAML_MAP)
        return read_two_supplies(r, node);
    if (design->negative != TL_NO_PIN)
        return tl_error_at(r->error, &node->place,
                           "there is a pin for a negative supply: write {positive: 9 V, negative: "
                           "-9 V}");
    return read_voltage(r, node, LOWEST_SUPPLY_V, HIGHEST_SUPPLY_V, &design->supply_v);
}

static tl_status read_bias(const reader* r) {
    tl_design* design = r->design;
    const tl_yaml* node = tl_yaml_get(r->tree, "bias");
    if (!node && design->bias == TL_NO_PIN)
        return TL_OK;
    if (!node)
        return tl_error_at(r->error, &tl_yaml_get(r->tree, "pins")->place,
                           "there is a pin for a bias voltage: a design with one needs 'bias'");
    if (design->bias == TL_NO_PIN)
        return tl_error_at(r->error, &node->place,
                           "a bias voltage, but no pin takes it (pins: {bias: ..})");
    return read_voltage(r, node, design->negative_v, design->supply_v, &design->bias_v);
}

// ---- tolerances

static tl_status read_tolerance(const reader* r, const tl_yaml* key, const tl_yaml* node) {
    tl_design* design = r->design;
    double value = 0;
    double share = 0;
    if (!tl_netlist_get(design->netlist, key->text, &value)) {
        size_t count = 0;
        const char* const* paths = tl_netlist_paths(design->netlist, &count);
        return refuse_name(r, key, "the circuit has no value", paths, count);
    }
    for (size_t i = 0; i < design->tolerance_count; ++i)
        if (strcasecmp(design->tolerances[i].path, key->text) == 0)
            return tl_error_at(r->error, &key->place, "this tolerance is given twice");
    tl_status status = tl_yaml_expect(node, TL_YAML_SCALAR, "a tolerance", r->error);
    if (status != TL_OK)
        return status;
    tl_text words = {0};
    if (!tl_quantity_parse(r->units, node->text, TL_UNIT_FRACTION, &share, &words))
        status = tl_error_at(r->error, &node->place, "%s", tl_text_get(&words));
    else if (!(share >= 0 && share <= LARGEST_SHARE))
        status = tl_error_at(r->error, &node->place, "a tolerance lies between 0 %% and 95 %%");
    tl_text_free(&words);
    if (status != TL_OK)
        return status;
    design->tolerances =
        tl_grow(design->tolerances, design->tolerance_count + 1, sizeof *design->tolerances);
    design->tolerances[design->tolerance_count++] = (tl_tolerance){tl_copy(key->text), share};
    return TL_OK;
}

static tl_status read_tolerances(const reader* r) {
    const tl_yaml* node = tl_yaml_get(r->tree, "tolerances");
    if (!node)
        return TL_OK;
    tl_status status = tl_yaml_expect(node, TL_YAML_MAP, "tolerances", r->error);
    for (size_t i = 0; status == TL_OK && i < node->count; ++i)
        status = read_tolerance(r, node->keys[i], node->items[i]);
    return status;
}

static tl_status read_all(const reader* r) {
    static const char* const keys[] = {"design", "circuit",    "subcircuit", "pins", "supply",
                                       "bias",   "tolerances", "source",     "about"};
    static tl_status (*const readers[])(const reader*) = {
        read_name, read_circuit, read_pins, read_supply, read_bias, read_tolerances};
    tl_status status = check_keys(r, r->tree, "a design file", keys, COUNT(keys));
    for (size_t i = 0; i < COUNT(readers) && status == TL_OK; ++i)
        status = readers[i](r);
    return status;
}

/// A SPICE text in place of the file that names it makes no sense as YAML.
static tl_status refuse_spice(const char* path, const tl_input* input, tl_error* error) {
    static const char* const endings[] = {".cir", ".ckt", ".sub", ".lib", ".mod", ".sp", ".spice"};
    size_t size = strlen(path);
    const tl_place place = {input, 1, 1};
    for (size_t i = 0; i < sizeof endings / sizeof *endings; ++i) {
        size_t ending = strlen(endings[i]);
        if (size > ending && strcasecmp(path + size - ending, endings[i]) == 0)
            return tl_error_at(error, &place,
                               "this is a SPICE text: name the design file (YAML) that says what "
                               "its pins and its supply are");
    }
    return TL_OK;
}

static tl_status design_read(const char* path, tl_design** design, tl_error* error) {
    tl_input* input = NULL;
    *design = NULL;
    tl_status status = tl_input_read(path, DESIGN_BYTES, &input, error);
    if (status != TL_OK)
        return status;
    tl_yaml* tree = NULL;
    tl_design* made = tl_new(1, sizeof *made);
    made->path = tl_copy(path);
    made->input = input;
    status = refuse_spice(path, made->input, error);
    if (status == TL_OK)
        status = tl_yaml_read(made->input, &tree, error);
    if (status == TL_OK) {
        const reader r = {made, tree, tl_units_new(), error};
        status = read_all(&r);
        tl_units_free(r.units);
    }
    tl_yaml_free(tree);
    if (status != TL_OK) {
        tl_design_free(made);
        made = NULL;
    }
    *design = made;
    return status;
}

tl_status tl_design_read(const char* path, tl_design** design, tl_error* error) {
    tl_locale locale = tl_locale_plain();
    tl_status status = design_read(path, design, error);
    tl_locale_restore(locale);
    return status;
}
