// SPDX-License-Identifier: GPL-3.0-or-later
/// @file yaml.h A YAML text as a tree whose every node knows its place.
///
/// Anchors, aliases, tags and more than one document are refused: a rig needs none of them, and
/// aliases let a small file grow without end.
#ifndef TL_BASE_YAML_H
#define TL_BASE_YAML_H

#include "base/place.h"

#include <stdbool.h>
#include <stddef.h>

typedef enum { TL_YAML_SCALAR, TL_YAML_LIST, TL_YAML_MAP } tl_yaml_kind;

typedef struct tl_yaml tl_yaml;
struct tl_yaml {
    tl_yaml_kind kind;
    tl_place place;
    char* text;     ///< of a scalar; "" for an empty one
    size_t count;   ///< of a list's or map's children
    tl_yaml** keys; ///< of a map: scalars, in order, each once
    tl_yaml** items;
};

/// Reads a YAML text. The input must live as long as the tree. An empty text is TL_BAD_INPUT.
tl_status tl_yaml_read(const tl_input* input, tl_yaml** tree, tl_error* error);
/// Reads only bytes `from` to `to` of a one-line text; places are those in the whole line.
tl_status tl_yaml_read_piece(const tl_input* input, size_t from, size_t to, tl_yaml** tree,
                             tl_error* error);
void tl_yaml_free(tl_yaml* tree);

/// The child of a map by its key, or NULL.
const tl_yaml* tl_yaml_get(const tl_yaml* map, const char* key);

/// TL_BAD_INPUT at the node when it is not of the kind; `what` names it ("a cable").
tl_status tl_yaml_expect(const tl_yaml* node, tl_yaml_kind kind, const char* what, tl_error* error);

/// TL_BAD_INPUT at a key of a map that is none of these, with the nearest; `what` names the map ("a
/// limit").
tl_status tl_yaml_check_keys(const tl_yaml* map, const char* const* keys, size_t count,
                             const char* what, tl_error* error);

/// Reads a name that may stand in paths and answers. TL_BAD_INPUT at what cannot be one, or when
/// `*name` is there already. Free with free().
tl_status tl_yaml_name(const tl_yaml* node, char** name, tl_error* error);

/// yes/no or true/false; TL_BAD_INPUT at the node otherwise.
tl_status tl_yaml_switch(const tl_yaml* node, bool* on, tl_error* error);

#endif
