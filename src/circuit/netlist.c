// SPDX-License-Identifier: GPL-3.0-or-later
// A flat netlist: what is in it, and its values by their paths.
#include "circuit/netlist_internal.h"

#include <stdlib.h>
#include <string.h>

void tl_netlist_free(tl_netlist* netlist) {
    if (!netlist)
        return;
    for (size_t i = 0; i < netlist->card_count; ++i) {
        free((char*)netlist->cards[i].card.name);
        tl_formula_free(&netlist->cards[i].formula);
    }
    for (size_t i = 0; i < netlist->model_count; ++i)
        free(netlist->models[i].settings);
    tl_words_free(netlist->ports, netlist->port_count);
    tl_words_free(netlist->nodes, netlist->node_count);
    tl_words_free(netlist->paths, netlist->path_count);
    tl_words_free(netlist->remarks, netlist->remark_count);
    free(netlist->cards);
    free(netlist->models);
    free(netlist->levels);
    free(netlist);
}

/// A copy with the room that tl_grow_one() counts on.
static void* copy_rows(const void* rows, size_t count, size_t size) {
    size_t room = 1;
    while (room < count)
        room *= 2;
    void* copy = tl_new(room, size);
    if (count)
        memcpy(copy, rows, count * size);
    return copy;
}

static char** copy_words(char* const* words, size_t count) {
    char** copy = tl_new(count, sizeof *copy);
    for (size_t i = 0; i < count; ++i)
        copy[i] = tl_copy(words[i]);
    return copy;
}

tl_netlist* tl_netlist_clone(const tl_netlist* netlist) {
    tl_netlist* copy = tl_new(1, sizeof *copy);
    *copy = *netlist;
    copy->ports = copy_words(netlist->ports, netlist->port_count);
    copy->nodes = copy_words(netlist->nodes, netlist->node_count);
    copy->paths = copy_words(netlist->paths, netlist->path_count);
    copy->remarks = copy_words(netlist->remarks, netlist->remark_count);
    copy->cards = copy_rows(netlist->cards, netlist->card_count, sizeof *copy->cards);
    copy->models = copy_rows(netlist->models, netlist->model_count, sizeof *copy->models);
    copy->levels = copy_rows(netlist->levels, netlist->level_count, sizeof *copy->levels);
    for (size_t i = 0; i < copy->card_count; ++i) {
        copy->cards[i].card.name = tl_copy(netlist->cards[i].card.name);
        copy->cards[i].formula = tl_formula_copy(&netlist->cards[i].formula);
    }
    for (size_t i = 0; i < copy->model_count; ++i)
        copy->models[i].settings = copy_rows(netlist->models[i].settings, netlist->models[i].count,
                                             sizeof *copy->models[i].settings);
    return copy;
}

size_t tl_netlist_port_count(const tl_netlist* netlist) {
    return netlist->port_count;
}

const char* tl_netlist_port_name(const tl_netlist* netlist, size_t index) {
    return netlist->ports[index];
}

size_t tl_netlist_node_count(const tl_netlist* netlist) {
    return netlist->node_count;
}

const char* tl_netlist_node_name(const tl_netlist* netlist, unsigned node) {
    return netlist->nodes[node];
}

size_t tl_netlist_card_count(const tl_netlist* netlist) {
    return netlist->card_count;
}

tl_card tl_netlist_card(const tl_netlist* netlist, size_t index) {
    return netlist->cards[index].card;
}

size_t tl_netlist_links(const tl_netlist* netlist, size_t card, unsigned pairs[TL_CARD_NODES][2]) {
    const tl_flat_card* flat = &netlist->cards[card];
    const unsigned* nodes = flat->card.nodes;
    char kind = flat->card.kind;
    size_t count = 0;
    if (strchr("rlvedhs", kind) || (kind == 'b' && !flat->is_current)) {
        memcpy(pairs[count++], (unsigned[2]){nodes[0], nodes[1]}, sizeof *pairs);
    } else if (kind == 'j' || kind == 'm') {
        memcpy(pairs[count++], (unsigned[2]){nodes[0], nodes[2]}, sizeof *pairs);
    } else if (kind == 'q') { // both junctions; between collector and emitter by way of the base
        memcpy(pairs[count++], (unsigned[2]){nodes[1], nodes[2]}, sizeof *pairs);
        memcpy(pairs[count++], (unsigned[2]){nodes[1], nodes[0]}, sizeof *pairs);
    }
    return count;
}

// ---- values by their paths

static void add_path(tl_netlist* netlist, char* path) {
    netlist->paths = tl_grow_one(netlist->paths, netlist->path_count, sizeof *netlist->paths);
    netlist->paths[netlist->path_count++] = path;
}

/// Lower case throughout, as names are compared.
static char* path_of(const char* element, const char* parameter) {
    char* path = parameter ? tl_printf("%s.%s", element, parameter) : tl_copy(element);
    for (char* at = path; *at; ++at)
        if (*at >= 'A' && *at <= 'Z')
            *at = (char)(*at - 'A' + 'a');
    return path;
}

static bool has_path(const tl_flat_card* card) {
    return card->has_value && strchr("rclviegfhk", card->card.kind);
}

void tl_netlist_list_paths(tl_netlist* netlist) {
    for (size_t i = 0; i < netlist->card_count; ++i) {
        const tl_flat_card* card = &netlist->cards[i];
        if (has_path(card))
            add_path(netlist, path_of(card->card.name, NULL));
        const tl_flat_model* model = card->model < 0 ? NULL : &netlist->models[card->model];
        for (size_t j = 0; model && j < model->count; ++j)
            if (strcmp(model->settings[j].name, "level") != 0)
                add_path(netlist, path_of(card->card.name, model->settings[j].name));
    }
}

/// Where the value of a path is kept, and the card it belongs to.
static double* find_value(const tl_netlist* netlist, const char* path, size_t* index) {
    for (size_t i = 0; i < netlist->card_count; ++i) {
        tl_flat_card* card = &netlist->cards[i];
        size_t size = strlen(card->card.name);
        if (strncasecmp(card->card.name, path, size) != 0)
            continue;
        *index = i;
        if (!path[size] && has_path(card))
            return &card->value;
        if (path[size] != '.' || card->model < 0)
            continue;
        tl_flat_model* model = &netlist->models[card->model];
        for (size_t j = 0; j < model->count; ++j)
            if (strcasecmp(model->settings[j].name, path + size + 1) == 0 &&
                strcmp(model->settings[j].name, "level") != 0)
                return &model->settings[j].value;
    }
    return NULL;
}

bool tl_netlist_get(const tl_netlist* netlist, const char* path, double* value) {
    size_t card = 0;
    const double* found = find_value(netlist, path, &card);
    if (found)
        *value = *found;
    return found != NULL;
}

/// Gives an element a model of its own, so that others of the same model stay as they are.
static void part_model(tl_netlist* netlist, tl_flat_card* card) {
    tl_flat_model* shared = &netlist->models[card->model];
    if (shared->users < 2)
        return;
    --shared->users;
    tl_flat_model own = *shared;
    own.users = 1;
    own.settings = copy_rows(shared->settings, shared->count, sizeof *own.settings);
    netlist->models = tl_grow_one(netlist->models, netlist->model_count, sizeof *netlist->models);
    card->model = (int)netlist->model_count;
    netlist->models[netlist->model_count++] = own;
}

bool tl_netlist_set(tl_netlist* netlist, const char* path, double value) {
    size_t card = 0;
    double* found = find_value(netlist, path, &card);
    if (!found)
        return false;
    if (found != &netlist->cards[card].value) {
        part_model(netlist, &netlist->cards[card]);
        found = find_value(netlist, path, &card);
    }
    *found = value;
    return true;
}

const char* const* tl_netlist_paths(const tl_netlist* netlist, size_t* count) {
    *count = netlist->path_count;
    return (const char* const*)netlist->paths;
}
