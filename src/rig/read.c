// SPDX-License-Identifier: GPL-3.0-or-later
// From a YAML tree to chains, branches and a guitar.
#include "rig/read.h"

#include "base/file.h"
#include "base/locale.h"
#include "base/names.h"
#include "base/text.h"
#include "parts/kinds.h"
#include "parts/library.h"
#include "rig/dressing.h"
#include "rig/layout.h"
#include "rig/toggle.h"

#include <stdlib.h>
#include <string.h>

enum { RIG_BYTES = 1000000, MOST_ITEMS = 1000 };

static tl_status branch_read(tl_library* library, const tl_yaml* node, const char* const* others,
                             tl_branch* branch, tl_error* error);

/// An error with the nearest of the names that may stand there.
static tl_status unknown(const tl_yaml* key, const char* where, const char* const* names,
                         size_t count, tl_error* error) {
    tl_text hint = {0};
    tl_name_hint(&hint, key->text, names, count);
    tl_status status = tl_error_at(error, &key->place, "unknown '%s' in %s%s", key->text, where,
                                   tl_text_get(&hint));
    tl_text_free(&hint);
    return status;
}

static bool is_one_of(const char* word, const char* const* names, size_t count) {
    for (size_t i = 0; i < count; ++i)
        if (strcmp(word, names[i]) == 0)
            return true;
    return false;
}

#define COUNT(list) (sizeof(list) / sizeof *(list))

/// Values that stand beside a part in its item: `length`, `engaged`.
static tl_status read_beside(tl_library* library, const tl_yaml* node, const char* part_key,
                             tl_item* item, tl_error* error) {
    tl_status status = TL_OK;
    for (size_t i = 0; status == TL_OK && i < node->count; ++i) {
        const char* key = node->keys[i]->text;
        if (strcmp(key, part_key) == 0)
            continue;
        if (strcmp(key, "name") == 0) {
            status = tl_yaml_name(node->items[i], &item->name, error);
            continue;
        }
        if (strcmp(key, "follows") == 0) {
            status = tl_part_read_follows(item->part, node->items[i], error);
            continue;
        }
        const tl_part_kind* kind = item->part->kind;
        int field = tl_part_field(kind, key);
        if (field >= 0 && (kind->fields[field].flags & TL_FIELD_BESIDE)) {
            if (item->part->values[field].given)
                return tl_error_at(error, &node->keys[i]->place, "'%s' is given twice", key);
            status = tl_part_read_field(library, item->part, (size_t)field, node->items[i], error);
            continue;
        }
        const char* names[16];
        size_t count = 0;
        names[count++] = part_key;
        names[count++] = "name";
        names[count++] = "follows";
        for (size_t j = 0; j < kind->field_count && count < 16; ++j)
            if (kind->fields[j].flags & TL_FIELD_BESIDE)
                names[count++] = kind->fields[j].name;
        status = unknown(node->keys[i], "this item", names, count, error);
    }
    return status;
}

/// A loop's own name and chain stand inside its mapping.
static tl_status read_loop(tl_library* library, const tl_yaml* node, tl_item* item,
                           tl_error* error) {
    const tl_yaml* chain = tl_yaml_get(node, "chain");
    if (!chain)
        return tl_error_at(error, &node->place, "a loop needs a 'chain'");
    tl_status status = tl_chain_read(library, chain, false, &item->loop, error);
    const tl_yaml* name = tl_yaml_get(node, "name");
    if (status == TL_OK && name)
        status = tl_yaml_name(name, &item->name, error);
    return status;
}

static tl_status read_tuner_out(tl_library* library, const tl_yaml* node, tl_item* item,
                                tl_error* error) {
    item->branches = tl_new(1, sizeof *item->branches);
    item->branch_count = 1;
    item->branches[0].name = tl_copy("tuner-out");
    return branch_read(library, node, NULL, &item->branches[0], error);
}

static tl_status read_part_item(tl_library* library, const tl_yaml* node, size_t key,
                                const tl_part_kind* kind, tl_item* item, tl_error* error) {
    static const char* const loop_keys[] = {"chain", "name", NULL};
    static const char* const pot_keys[] = {"tuner-out", NULL};
    bool is_loop = kind == &tl_kind_loop;
    bool is_pot = kind == &tl_kind_pot;
    const tl_yaml* value = node->items[key];
    if (is_loop) {
        tl_status status = tl_yaml_expect(value, TL_YAML_MAP, "a loop", error);
        if (status != TL_OK)
            return status;
    }
    tl_status status = tl_part_read(library, kind, value,
                                    is_loop  ? loop_keys
                                    : is_pot ? pot_keys
                                             : NULL,
                                    &item->part, error);
    if (status == TL_OK && is_loop)
        status = read_loop(library, value, item, error);
    const tl_yaml* tuner = is_pot ? tl_yaml_get(value, "tuner-out") : NULL;
    if (status == TL_OK && tuner)
        status = read_tuner_out(library, tuner, item, error);
    if (status == TL_OK)
        status = read_beside(library, node, kind->name, item, error);
    if (status == TL_OK) {
        item->part->place = node->place;
        status = tl_part_check(item->part, true, error);
    }
    return status;
}

static tl_status read_split(tl_library* library, const tl_yaml* node, tl_item* item,
                            tl_error* error) {
    static const char* const name_key[] = {"name"};
    const tl_yaml* list = tl_yaml_get(node, "split");
    for (size_t i = 0; i < node->count; ++i)
        if (node->items[i] != list && strcmp(node->keys[i]->text, "name") != 0)
            return unknown(node->keys[i], "a split", name_key, 1, error);
    const tl_yaml* name = tl_yaml_get(node, "name");
    tl_status status = name ? tl_yaml_name(name, &item->name, error) : TL_OK;
    if (status == TL_OK)
        status = tl_yaml_expect(list, TL_YAML_LIST, "a split", error);
    if (status != TL_OK)
        return status;
    if (list->count < 1)
        return tl_error_at(error, &list->place, "a split needs branches: [{name, chain, amp}, ..]");
    item->branches = tl_new(list->count, sizeof *item->branches);
    item->branch_count = list->count;
    for (size_t i = 0; i < list->count; ++i) {
        status = branch_read(library, list->items[i], name_key, &item->branches[i], error);
        if (status != TL_OK)
            return status;
        for (size_t j = 0; j < i; ++j)
            if (strcmp(item->branches[i].name, item->branches[j].name) == 0)
                return tl_error_at(error, &item->branches[i].place,
                                   "a second branch of the name '%s' in this split",
                                   item->branches[i].name);
    }
    return TL_OK;
}

static tl_status read_item(tl_library* library, const tl_yaml* node, tl_item* item,
                           tl_error* error) {
    item->place = node->place;
    tl_status status = tl_yaml_expect(node, TL_YAML_MAP, "an item of a chain", error);
    if (status != TL_OK)
        return status;
    if (node->count == 0)
        return tl_error_at(error, &node->place,
                           "an empty item: expected what it is, such as 'cable: standard-coax'");
    if (tl_yaml_get(node, "split"))
        return read_split(library, node, item, error);
    for (size_t i = 0; i < node->count; ++i) {
        const tl_part_kind* kind = tl_part_kind_find(node->keys[i]->text);
        if (kind && kind->in_chain)
            return read_part_item(library, node, i, kind, item, error);
    }
    const char* names[16];
    size_t count = 0;
    for (size_t i = 0; i < tl_part_kind_count; ++i)
        if (tl_part_kinds[i]->in_chain)
            names[count++] = tl_part_kinds[i]->name;
    names[count++] = "split";
    return unknown(node->keys[0], "a chain: an item says what it is", names, count, error);
}

tl_status tl_chain_read(tl_library* library, const tl_yaml* node, bool split_ok, tl_chain* chain,
                        tl_error* error) {
    *chain = (tl_chain){.place = node->place};
    tl_status status = tl_yaml_expect(node, TL_YAML_LIST, "a chain", error);
    if (status != TL_OK)
        return status;
    if (node->count == 0)
        return tl_error_at(error, &node->place, "an empty chain: expected at least a cable");
    if (node->count > MOST_ITEMS)
        return tl_error_at(error, &node->place, "a chain of more than %d items", MOST_ITEMS);
    chain->items = tl_new(node->count, sizeof *chain->items);
    for (size_t i = 0; i < node->count; ++i) {
        chain->count = i + 1;
        status = read_item(library, node->items[i], &chain->items[i], error);
        if (status != TL_OK)
            return status;
        if (!tl_item_is_split(&chain->items[i]))
            continue;
        if (!split_ok)
            return tl_error_at(error, &chain->items[i].place,
                               "a split cannot stand here: it ends a rig's chain or a branch's");
        if (i + 1 < node->count)
            return tl_error_at(error, &node->items[i + 1]->place,
                               "a split is the last item of its chain: nothing can follow it");
    }
    return TL_OK;
}

static tl_status read_end(tl_library* library, const tl_yaml* node, tl_branch* branch,
                          tl_error* error) {
    if (node->kind == TL_YAML_SCALAR) {
        if (strcmp(node->text, "open") == 0)
            return TL_OK;
        return tl_error_at(error, &node->place,
                           "'%s': expected 'open' or {resistance: ..} for what a branch ends in",
                           node->text);
    }
    tl_status status = tl_part_read(library, &tl_kind_end, node, NULL, &branch->end, error);
    return status == TL_OK ? tl_part_check(branch->end, true, error) : status;
}

static bool ends_in_split(const tl_chain* chain) {
    return chain->count && tl_item_is_split(&chain->items[chain->count - 1]);
}

/// A branch must end in exactly one of: an amp, an end, a split.
static tl_status check_ending(const tl_yaml* node, const tl_branch* branch, tl_error* error) {
    bool split = ends_in_split(&branch->chain);
    const tl_yaml* amp = tl_yaml_get(node, "amp");
    const tl_yaml* end = tl_yaml_get(node, "end");
    if (split && (amp || end))
        return tl_error_at(error, &(amp ? amp : end)->place,
                           "its chain ends in a split: each branch has an amp of its own");
    if (amp && end)
        return tl_error_at(error, &end->place, "it has an 'amp': it cannot have an 'end' too");
    if (!split && !amp && !end)
        return tl_error_at(error, &node->place,
                           "nothing at its end: it needs an 'amp', or for a branch 'end: open' or "
                           "'end: {resistance: ..}'");
    return TL_OK;
}

static tl_status read_amp(tl_library* library, const tl_yaml* node, tl_part** amp,
                          tl_error* error) {
    tl_status status = tl_part_read(library, &tl_kind_amp, node, NULL, amp, error);
    return status == TL_OK ? tl_part_check(*amp, true, error) : status;
}

/// A branch of a split (which needs a name) or a tuner-out (which has one).
static tl_status branch_read(tl_library* library, const tl_yaml* node, const char* const* others,
                             tl_branch* branch, tl_error* error) {
    static const char* const keys[] = {"chain", "amp", "end", "name"};
    size_t key_count = others ? 4 : 3;
    branch->place = node->place;
    tl_status status = tl_yaml_expect(node, TL_YAML_MAP, "a branch", error);
    if (status != TL_OK)
        return status;
    for (size_t i = 0; i < node->count; ++i)
        if (!is_one_of(node->keys[i]->text, keys, key_count))
            return unknown(node->keys[i], "a branch", keys, key_count, error);
    const tl_yaml* name = tl_yaml_get(node, "name");
    if (others && !name)
        return tl_error_at(error, &node->place, "a branch of a split needs a 'name'");
    if (name)
        status = tl_yaml_name(name, &branch->name, error);
    const tl_yaml* chain = tl_yaml_get(node, "chain");
    if (status == TL_OK && chain)
        status = tl_chain_read(library, chain, true, &branch->chain, error);
    const tl_yaml* amp = tl_yaml_get(node, "amp");
    const tl_yaml* end = tl_yaml_get(node, "end");
    if (status == TL_OK)
        status = check_ending(node, branch, error);
    if (status == TL_OK && amp)
        status = read_amp(library, amp, &branch->amp, error);
    if (status == TL_OK && end)
        status = read_end(library, end, branch, error);
    return status;
}

static tl_status read_control(tl_library* library, const tl_part_kind* kind, const tl_yaml* node,
                              bool has_volume, tl_part** control, tl_error* error) {
    if (!node)
        return TL_OK;
    tl_status status = tl_part_read(library, kind, node, NULL, control, error);
    if (status == TL_OK)
        status = tl_part_check(*control, true, error);
    if (status == TL_OK && kind == &tl_kind_tone && tl_part_chosen(*control, "joins", "wiper") &&
        !has_volume)
        status = tl_error_at(error, &tl_part_value(*control, "joins")->place,
                             "'joins: wiper' needs a 'volume' whose wiper it could join");
    return status;
}

tl_status tl_part_read_apart(tl_library* library, const tl_part_kind* kind, const tl_yaml* node,
                             const char* const* others, tl_part** part, tl_error* error) {
    tl_status status = tl_part_read(library, kind, node, others, part, error);
    if (status == TL_OK && (*part)->follows)
        return tl_error_at(error, &(*part)->follows_place, "%s follows nothing", kind->about);
    if (status == TL_OK)
        (*part)->place = node->place;
    return status == TL_OK ? tl_part_check(*part, true, error) : status;
}

tl_status tl_controls_read(tl_library* library, const tl_yaml* node, tl_part** volume,
                           tl_part** tone, tl_error* error) {
    const tl_yaml* volume_node = tl_yaml_get(node, "volume");
    tl_status status = read_control(library, &tl_kind_volume, volume_node, true, volume, error);
    if (status == TL_OK)
        status = read_control(library, &tl_kind_tone, tl_yaml_get(node, "tone"),
                              volume_node != NULL, tone, error);
    return status;
}

static tl_status read_pickup(tl_library* library, const tl_yaml* node, tl_part** pickup,
                             tl_error* error) {
    tl_status status = tl_part_read(library, &tl_kind_pickup, node, NULL, pickup, error);
    return status == TL_OK ? tl_part_check(*pickup, true, error) : status;
}

/// One of `pickups`: a library name, a pickup's values, or {pickup, name, follows, volume, tone}.
static tl_status read_voice(tl_library* library, const tl_yaml* node, tl_voice* voice,
                            tl_error* error) {
    static const char* const keys[] = {"pickup", "name", "follows", "volume", "tone"};
    voice->place = node->place;
    const tl_yaml* pickup = node->kind == TL_YAML_MAP ? tl_yaml_get(node, "pickup") : NULL;
    if (!pickup)
        return read_pickup(library, node, &voice->pickup, error);
    for (size_t i = 0; i < node->count; ++i)
        if (!is_one_of(node->keys[i]->text, keys, COUNT(keys)))
            return unknown(node->keys[i], "one of the pickups", keys, COUNT(keys), error);
    const tl_yaml* name = tl_yaml_get(node, "name");
    tl_status status = name ? tl_yaml_name(name, &voice->name, error) : TL_OK;
    if (status == TL_OK)
        status = read_pickup(library, pickup, &voice->pickup, error);
    const tl_yaml* follows = tl_yaml_get(node, "follows");
    if (status == TL_OK && follows)
        status = tl_part_read_follows(voice->pickup, follows, error);
    if (status == TL_OK)
        status = tl_controls_read(library, node, &voice->volume, &voice->tone, error);
    return status;
}

/// A pickup's name must tell it from those before it.
static tl_status check_voice_name(const tl_voice* voices, size_t which, tl_error* error) {
    const char* name = voices[which].name;
    for (size_t i = 0; name && i < which; ++i)
        if (voices[i].name && strcmp(voices[i].name, name) == 0)
            return tl_error_at(error, &voices[which].place, "a second pickup of the name '%s'",
                               name);
    return TL_OK;
}

static tl_status read_pickups(tl_library* library, const tl_yaml* node, const tl_yaml* list,
                              tl_guitar* guitar, tl_error* error) {
    tl_status status = tl_yaml_expect(list, TL_YAML_LIST, "pickups", error);
    if (status != TL_OK)
        return status;
    if (list->count == 0 || list->count > 16)
        return tl_error_at(error, &list->place, "expected 1 to 16 pickups");
    guitar->listed = true;
    guitar->voices = tl_new(list->count, sizeof *guitar->voices);
    guitar->voice_count = list->count;
    for (size_t i = 0; status == TL_OK && i < list->count; ++i) {
        status = read_voice(library, list->items[i], &guitar->voices[i], error);
        if (status == TL_OK)
            status = check_voice_name(guitar->voices, i, error);
    }
    if (status != TL_OK)
        return status;
    guitar->wiring = tl_part_new(&tl_kind_wiring);
    guitar->wiring->place = node->place;
    const tl_yaml* wiring = tl_yaml_get(node, "wiring");
    if (wiring)
        status = tl_part_read_field(library, guitar->wiring, 0, wiring, error);
    else if (list->count > 1)
        status = tl_error_at(error, &node->place,
                             "several pickups need 'wiring: parallel' or 'wiring: series'");
    return status;
}

/// A guitar has exactly one of: pickup, pickups, source.
static tl_status check_signal(const tl_yaml* node, tl_error* error) {
    static const char* const signals[] = {"pickup", "pickups", "source"};
    const tl_yaml* first = NULL;
    for (size_t i = 0; i < COUNT(signals); ++i) {
        const tl_yaml* found = tl_yaml_get(node, signals[i]);
        if (found && first)
            return tl_error_at(error, &found->place,
                               "a guitar has one of 'pickup', 'pickups' and 'source', not two");
        first = found ? found : first;
    }
    if (!first)
        return tl_error_at(error, &node->place,
                           "a guitar needs a 'pickup', 'pickups' or a 'source'");
    const tl_yaml* wiring = tl_yaml_get(node, "wiring");
    if (wiring && !tl_yaml_get(node, "pickups"))
        return tl_error_at(error, &wiring->place, "'wiring' goes with 'pickups'");
    return TL_OK;
}

static tl_status read_guitar(tl_library* library, const tl_yaml* node, tl_guitar* guitar,
                             tl_error* error) {
    static const char* const keys[] = {"pickup", "pickups", "wiring", "source", "volume", "tone"};
    guitar->place = node->place;
    tl_status status = tl_yaml_expect(node, TL_YAML_MAP, "a guitar", error);
    if (status != TL_OK)
        return status;
    for (size_t i = 0; i < node->count; ++i)
        if (!is_one_of(node->keys[i]->text, keys, COUNT(keys)))
            return unknown(node->keys[i], "a guitar", keys, COUNT(keys), error);
    status = check_signal(node, error);
    const tl_yaml* pickup = tl_yaml_get(node, "pickup");
    const tl_yaml* pickups = tl_yaml_get(node, "pickups");
    const tl_yaml* source = tl_yaml_get(node, "source");
    if (status == TL_OK && pickups) {
        status = read_pickups(library, node, pickups, guitar, error);
    } else if (status == TL_OK && pickup) {
        guitar->voices = tl_new(1, sizeof *guitar->voices);
        guitar->voice_count = 1;
        status = read_pickup(library, pickup, &guitar->voices[0].pickup, error);
    } else if (status == TL_OK) {
        status = tl_part_read(library, &tl_kind_source, source, NULL, &guitar->source, error);
        if (status == TL_OK)
            status = tl_part_check(guitar->source, true, error);
    }
    if (status == TL_OK)
        status = tl_controls_read(library, node, &guitar->volume, &guitar->tone, error);
    return status;
}

/// Without a `direct` of its own, a rig is held against 6 m of the library's standard-coax.
static tl_status default_direct(tl_rig* rig, tl_error* error) {
    rig->direct.items = tl_new(1, sizeof *rig->direct.items);
    rig->direct.count = 1;
    tl_item* item = &rig->direct.items[0];
    tl_place nowhere = {0};
    tl_status status = tl_library_part(rig->library, &tl_kind_cable, "standard-coax", &nowhere,
                                       &item->part, error);
    if (status != TL_OK)
        return status;
    tl_value length = {.given = true, .number = 6};
    item->part->values[tl_part_field(&tl_kind_cable, "length")] = length;
    return TL_OK;
}

static tl_status read_title(tl_rig* rig, const tl_yaml* node, tl_error* error) {
    if (!node || (node->kind == TL_YAML_SCALAR && !*node->text)) {
        tl_text title = {0};
        tl_text_add_safe(&title, tl_file_name(rig->path));
        rig->title = tl_text_take(&title);
        return TL_OK;
    }
    tl_status status = tl_yaml_expect(node, TL_YAML_SCALAR, "a rig's title", error);
    if (status != TL_OK)
        return status;
    if (!tl_text_is_plain(node->text))
        return tl_error_at(error, &node->place,
                           "control characters (or broken UTF-8) in the rig's title");
    if (strlen(node->text) > 200)
        return tl_error_at(error, &node->place, "a rig's title of more than 200 bytes");
    rig->title = tl_copy(node->text);
    return TL_OK;
}

/// What stands around the chain. How leads lie beside others needs their lengths, which the board
/// may say; and on the board stand the supplies of the power.
static tl_status read_around(tl_rig* rig, const tl_yaml* tree, tl_error* error) {
    const tl_yaml* power = tl_yaml_get(tree, "power");
    const tl_yaml* board = tl_yaml_get(tree, "board");
    const tl_yaml* dressing = tl_yaml_get(tree, "dressing");
    tl_status status = power ? tl_power_read(rig, power, error) : TL_OK;
    if (status == TL_OK && board)
        status = tl_pedalboard_read(rig, board, error);
    if (status == TL_OK && dressing)
        status = tl_layout_apply(rig, error); // else tl_rig_check() does it
    if (status == TL_OK && dressing)
        status = tl_dressing_read(rig, dressing, error);
    return status;
}

static tl_status read_rig(tl_rig* rig, const tl_yaml* tree, tl_error* error) {
    static const char* const keys[] = {"rig",    "guitar",   "chain", "amp",   "direct",
                                       "scenes", "dressing", "power", "board", "measure"};
    tl_status status = tl_yaml_expect(tree, TL_YAML_MAP, "a rig file", error);
    if (status != TL_OK)
        return status;
    for (size_t i = 0; i < tree->count; ++i)
        if (!is_one_of(tree->keys[i]->text, keys, COUNT(keys)))
            return unknown(tree->keys[i], "a rig file", keys, COUNT(keys), error);
    const tl_yaml* guitar = tl_yaml_get(tree, "guitar");
    const tl_yaml* chain = tl_yaml_get(tree, "chain");
    const tl_yaml* amp = tl_yaml_get(tree, "amp");
    const tl_yaml* direct = tl_yaml_get(tree, "direct");
    status = read_title(rig, tl_yaml_get(tree, "rig"), error);
    if (status == TL_OK && !guitar)
        return tl_error_at(error, &tree->place, "a rig needs a 'guitar'");
    if (status == TL_OK && !chain)
        return tl_error_at(error, &tree->place, "a rig needs a 'chain'");
    if (status == TL_OK)
        status = read_guitar(rig->library, guitar, &rig->guitar, error);
    rig->main.place = tree->place;
    if (status == TL_OK)
        status = tl_chain_read(rig->library, chain, true, &rig->main.chain, error);
    if (status == TL_OK)
        status = check_ending(tree, &rig->main, error);
    if (status == TL_OK && amp)
        status = read_amp(rig->library, amp, &rig->main.amp, error);
    rig->has_direct = direct != NULL;
    if (status == TL_OK && direct)
        status = tl_chain_read(rig->library, direct, false, &rig->direct, error);
    else if (status == TL_OK)
        status = default_direct(rig, error);
    const tl_yaml* scenes = tl_yaml_get(tree, "scenes");
    if (status == TL_OK && scenes)
        status = tl_scenes_read(rig, scenes, error);
    if (status == TL_OK)
        status = read_around(rig, tree, error);
    const tl_yaml* measure = tl_yaml_get(tree, "measure");
    if (status == TL_OK && measure)
        status = tl_measure_read(rig, measure, error);
    return status;
}

static tl_status rig_read(tl_library* library, const char* path, tl_rig** rig, tl_error* error) {
    *rig = NULL;
    tl_input* input = NULL;
    tl_status status = tl_input_read(path, RIG_BYTES, &input, error);
    if (status != TL_OK)
        return status;
    tl_rig* made = tl_new(1, sizeof *made);
    made->library = library;
    made->path = tl_copy(path);
    made->input = input;
    tl_yaml* tree = NULL;
    status = tl_yaml_read(made->input, &tree, error);
    if (status == TL_OK)
        status = read_rig(made, tree, error);
    if (status == TL_OK)
        status = tl_rig_check(made, error);
    tl_yaml_free(tree);
    if (status != TL_OK) {
        tl_rig_free(made);
        made = NULL;
    }
    *rig = made;
    return status;
}

tl_status tl_rig_read(tl_library* library, const char* path, tl_rig** rig, tl_error* error) {
    tl_locale locale = tl_locale_plain();
    tl_status result = rig_read(library, path, rig, error);
    tl_locale_restore(locale);
    return result;
}
