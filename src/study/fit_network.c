// SPDX-License-Identifier: GPL-3.0-or-later
#include "study/fit_network.h"

#include "base/names.h"
#include "base/text.h"
#include "base/yaml.h"
#include "parts/kinds.h"
#include "parts/library.h"
#include "rig/read.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { PICKUP = 1 }; ///< the node of its terminal; 0 is ground

typedef struct {
    char kind; ///< 'r', 'l' or 'c'
    tl_node a;
    tl_node b;
    double value;
} element;

struct tl_fit_network {
    element* elements;
    size_t element_count;
    tl_node nodes; ///< ground included
    tl_node out;
    double complex* y; ///< room for the nodes' admittances
};

// ---- what was said

/// One option's words as a tree; `from` and `to` are bytes of it.
static tl_status read_words(const tl_input* in, size_t from, size_t to, tl_yaml** tree,
                            tl_error* error) {
    *tree = NULL;
    tl_place start = {in, 1, from + 1};
    if (!tl_text_is_plain(in->text))
        return tl_error_at(error, &start, "control characters (or broken UTF-8)");
    size_t size = strspn(in->text + from, " ");
    if (from + size >= to)
        return tl_error_at(error, &start, "nothing stands here");
    return tl_yaml_read_piece(in, from, to, tree, error);
}

/// The parts in question, and the words they came from, which errors may point at.
typedef struct {
    tl_input* inputs[3];
    size_t input_count;
    tl_part* volume;
    tl_part* tone;
    tl_part* cable;
    tl_part* load;
} setting;

static void clear_setting(setting* s) {
    tl_part_free(s->volume);
    tl_part_free(s->tone);
    tl_part_free(s->cable);
    tl_part_free(s->load);
    for (size_t i = 0; i < s->input_count; ++i)
        tl_input_free(s->inputs[i]);
}

static const tl_input* add_input(setting* s, const char* option, const char* words) {
    s->inputs[s->input_count] = tl_input_new(option, words, strlen(words));
    return s->inputs[s->input_count++];
}

static tl_status read_controls(tl_library* library, const char* words, setting* s,
                               tl_error* error) {
    static const char* const keys[] = {"volume", "tone"};
    const tl_input* in = add_input(s, "--with-controls", words);
    tl_yaml* tree = NULL;
    tl_status status = read_words(in, 0, in->size, &tree, error);
    if (status == TL_OK)
        status = tl_yaml_expect(tree, TL_YAML_MAP, "controls ({volume: {..}, tone: {..}})", error);
    for (size_t i = 0; status == TL_OK && i < tree->count; ++i) {
        const tl_yaml* key = tree->keys[i];
        if (strcmp(key->text, keys[0]) == 0 || strcmp(key->text, keys[1]) == 0)
            continue;
        tl_text hint = {0};
        tl_name_hint(&hint, key->text, keys, 2);
        status = tl_error_at(error, &key->place, "unknown '%s' among controls%s", key->text,
                             tl_text_get(&hint));
        tl_text_free(&hint);
    }
    if (status == TL_OK)
        status = tl_controls_read(library, tree, &s->volume, &s->tone, error);
    tl_yaml_free(tree);
    return status;
}

/// "standard-coax=3 m", or a mapping with its length.
static tl_status read_cable(tl_library* library, const char* words, setting* s, tl_error* error) {
    const tl_input* in = add_input(s, "--cable", words);
    const char* equals = strrchr(words, '=');
    size_t end = equals ? (size_t)(equals - words) : in->size;
    tl_yaml* tree = NULL;
    tl_yaml* length = NULL;
    tl_status status = read_words(in, 0, end, &tree, error);
    if (status == TL_OK)
        status = tl_part_read(library, &tl_kind_cable, tree, NULL, &s->cable, error);
    if (status == TL_OK && equals)
        status = read_words(in, end + 1, in->size, &length, error);
    int field = tl_part_field(&tl_kind_cable, "length");
    if (status == TL_OK && equals)
        status = tl_part_read_field(library, s->cable, (size_t)field, length, error);
    if (status == TL_OK && !tl_part_has(s->cable, "length")) {
        tl_place place = {in, 1, in->size + 1};
        status = tl_error_at(error, &place, "a cable's length is missing: expected %s=3 m",
                             tree->kind == TL_YAML_SCALAR ? tree->text : "{..}");
    }
    if (status == TL_OK)
        status = tl_part_check(s->cable, true, error);
    tl_yaml_free(tree);
    tl_yaml_free(length);
    return status;
}

static tl_status read_load(tl_library* library, const char* words, setting* s, tl_error* error) {
    if (strcmp(words, "open") == 0)
        return TL_OK;
    const tl_input* in = add_input(s, "--load", words);
    tl_yaml* tree = NULL;
    tl_status status = read_words(in, 0, in->size, &tree, error);
    if (status == TL_OK)
        status = tl_part_read(library, &tl_kind_amp, tree, NULL, &s->load, error);
    if (status == TL_OK)
        status = tl_part_check(s->load, true, error);
    tl_yaml_free(tree);
    return status;
}

// ---- what it is made of

static tl_node add_node(void* context, const char* what) {
    (void)what;
    tl_fit_network* network = context;
    return network->nodes++;
}

static void add_element(void* context, char kind, tl_node a, tl_node b, double value) {
    tl_fit_network* network = context;
    network->elements = tl_grow_one(network->elements, network->element_count, sizeof(element));
    element* added = &network->elements[network->element_count++];
    *added = (element){kind, a, b, value};
    if (kind == 'q')
        added->kind = 'r';
}

static tl_node emit(tl_fit_network* network, const tl_part* part, tl_node in) {
    const tl_sink sink = {.context = network, .node = add_node, .element = add_element};
    return part ? part->kind->emit(part, &sink, in, TL_GROUND) : in;
}

static void build(tl_fit_network* network, const setting* s, tl_measured_kind kind) {
    network->nodes = PICKUP + 1;
    tl_node wiper = emit(network, s->volume, PICKUP);
    emit(network, s->tone, s->tone && tl_part_chosen(s->tone, "joins", "wiper") ? wiper : PICKUP);
    tl_node jack = emit(network, s->cable, wiper);
    tl_node grid = emit(network, s->load, jack);
    network->out = kind == TL_MEASURED_RESPONSE ? grid : jack;
    network->y = tl_new((size_t)network->nodes * network->nodes, sizeof *network->y);
}

tl_status tl_fit_network_new(tl_library* library, const tl_fit_options* options,
                             tl_measured_kind kind, tl_fit_network** network, tl_error* error) {
    *network = NULL;
    if (kind == TL_MEASURED_RESPONSE && !options->load)
        return tl_error_set(error, TL_BAD_INPUT,
                            "a response depends on what the pickup drives: expected --load, such "
                            "as --load '{resistance: 1 Mohm, capacitance: 20 pF}', or --load open");
    setting s = {0};
    tl_status status = TL_OK;
    if (options->controls)
        status = read_controls(library, options->controls, &s, error);
    if (status == TL_OK && options->cable)
        status = read_cable(library, options->cable, &s, error);
    if (status == TL_OK && options->load)
        status = read_load(library, options->load, &s, error);
    if (status == TL_OK) {
        *network = tl_new(1, sizeof **network);
        build(*network, &s, kind);
    }
    clear_setting(&s);
    return status;
}

void tl_fit_network_free(tl_fit_network* network) {
    if (!network)
        return;
    free(network->elements);
    free(network->y);
    free(network);
}

// ---- what it does

static void fill(tl_fit_network* network, double omega) {
    size_t n = network->nodes;
    double complex* y = network->y;
    memset(y, 0, n * n * sizeof *y);
    for (size_t i = 0; i < network->element_count; ++i) {
        const element* one = &network->elements[i];
        double complex admittance = one->kind == 'r'   ? 1 / one->value
                                    : one->kind == 'l' ? 1 / (I * omega * one->value)
                                                       : I * omega * one->value;
        y[one->a * n + one->a] += admittance;
        y[one->b * n + one->b] += admittance;
        y[one->a * n + one->b] -= admittance;
        y[one->b * n + one->a] -= admittance;
    }
}

/// Takes a node out of the admittances (Kron 1939): what flows through it flows past it.
static void eliminate(double complex* y, size_t n, size_t node) {
    for (size_t i = 1; i < n; ++i) {
        double complex share = y[i * n + node] / y[node * n + node];
        if (i == node || share == 0)
            continue;
        for (size_t j = 1; j < n; ++j)
            y[i * n + j] -= share * y[node * n + j];
        y[i * n + node] = 0;
    }
    for (size_t j = 1; j < n; ++j)
        y[node * n + j] = 0;
    y[node * n + node] = 1;
}

void tl_fit_network_at(tl_fit_network* network, double omega, tl_two_port* port) {
    size_t n = network->nodes;
    size_t out = network->out;
    double complex* y = network->y;
    fill(network, omega);
    for (size_t node = PICKUP + 1; node < n; ++node)
        if (node != out)
            eliminate(y, n, node);
    double complex y11 = y[PICKUP * n + PICKUP];
    if (out == PICKUP) {
        *port = (tl_two_port){1, 0, y11, 1};
        return;
    }
    double complex y12 = y[PICKUP * n + out];
    double complex y21 = y[out * n + PICKUP];
    double complex y22 = y[out * n + out];
    *port = (tl_two_port){-y22 / y21, -1 / y21, -(y11 * y22 - y12 * y21) / y21, -y11 / y21};
}

tl_status tl_fit_held_read(tl_library* library, const char* held, double numbers[TL_FIT_TOTAL],
                           tl_error* error) {
    for (int i = 0; i < TL_FIT_TOTAL; ++i)
        numbers[i] = NAN;
    if (!held)
        return TL_OK;
    tl_input* in = tl_input_new("--hold", held, strlen(held));
    tl_yaml* tree = NULL;
    tl_part* part = NULL;
    tl_status status = read_words(in, 0, in->size, &tree, error);
    if (status == TL_OK)
        status = tl_yaml_expect(tree, TL_YAML_MAP, "values to hold ({resistance: ..})", error);
    if (status == TL_OK)
        status = tl_part_read(library, &tl_kind_pickup, tree, NULL, &part, error);
    for (int i = 0; status == TL_OK && i < TL_FIT_SCALE; ++i)
        numbers[i] = tl_part_number(part, tl_fit_name((tl_fit_value)i), NAN);
    tl_part_free(part);
    tl_yaml_free(tree);
    tl_input_free(in);
    return status;
}
