// SPDX-License-Identifier: GPL-3.0-or-later
#include "rig/path.h"

#include "base/names.h"
#include "base/text.h"
#include "parts/kinds.h"
#include "parts/library.h"

#include <ctype.h>
#include <stdlib.h>
#include <string.h>

/// Where in a path the reading is.
typedef struct {
    const char* path;
    const char* at;
    tl_place start; ///< of the path
    bool parts;     ///< a part is looked for: a path may end where one stands
    tl_error* error;
} cursor;

static tl_status find_in_chain(cursor* c, tl_chain* chain, tl_target* target);

static tl_place place_of(const cursor* c, const char* at) {
    return tl_place_inside(&c->start, c->path, (size_t)(at - c->path));
}

static tl_status expected(const cursor* c, const char* at, const char* what) {
    tl_place place = place_of(c, at);
    return tl_error_at(c->error, &place, "a path that cannot be followed: expected %s", what);
}

/// An unknown word with the words that would fit.
static tl_status no_such(const cursor* c, const char* at, const char* word,
                         const char* const* names, size_t count) {
    tl_text hint = {0};
    tl_name_hint(&hint, word, names, count);
    tl_place place = place_of(c, at);
    tl_status status =
        tl_error_at(c->error, &place, "there is no '%s' here%s", word, tl_text_get(&hint));
    tl_text_free(&hint);
    return status;
}

/// The next word of a path (letters and '-'), copied; "" when none stands there.
static void take_word(cursor* c, char word[64]) {
    size_t size = 0;
    while ((isalnum((unsigned char)c->at[size]) || c->at[size] == '-' || c->at[size] == '_') &&
           size < 63)
        ++size;
    memcpy(word, c->at, size);
    word[size] = '\0';
    c->at += size;
}

static bool take(cursor* c, char sign) {
    if (*c->at != sign)
        return false;
    ++c->at;
    return true;
}

/// `[3]` or `[some name]`; `*number` is -1 for a name.
static tl_status take_index(cursor* c, char name[64], long* number) {
    const char* start = c->at;
    if (!take(c, '['))
        return expected(c, start, "[number] or [name]");
    size_t size = strcspn(c->at, "]");
    if (c->at[size] != ']' || size == 0 || size > 60)
        return expected(c, start, "[number] or [name]");
    memcpy(name, c->at, size);
    name[size] = '\0';
    c->at += size + 1;
    bool digits = strspn(name, "0123456789") == size && size < 9;
    *number = digits ? strtol(name, NULL, 10) : -1;
    return TL_OK;
}

static tl_status find_field(cursor* c, tl_part** part, tl_target* target) {
    target->part = part;
    target->field = tl_part_field((*part)->kind, c->at);
    if (target->field >= 0)
        return TL_OK;
    const char* names[32];
    size_t count = 0;
    for (size_t i = 0; i < (*part)->kind->field_count && count < 31; ++i)
        names[count++] = (*part)->kind->fields[i].name;
    return no_such(c, c->at, c->at, names, count);
}

/// What follows a part: nothing (all of it) or `.field`.
static tl_status find_in_part(cursor* c, tl_part** part, const char* what, tl_target* target) {
    if (!*part)
        return expected(c, c->at, what);
    *target = (tl_target){part, -1};
    if (!*c->at)
        return TL_OK;
    if (!take(c, '.'))
        return expected(c, c->at, "'.' and the name of a value");
    return find_field(c, part, target);
}

static tl_status find_in_branch(cursor* c, tl_branch* branch, tl_target* target) {
    static const char* const names[] = {"chain", "amp", "end"};
    char word[64];
    if (!take(c, '.'))
        return expected(c, c->at, "'.chain[..]', '.amp' or '.end'");
    const char* start = c->at;
    take_word(c, word);
    if (strcmp(word, "chain") == 0)
        return find_in_chain(c, &branch->chain, target);
    if (strcmp(word, "amp") == 0)
        return find_in_part(c, &branch->amp, "a branch that has an amp", target);
    if (strcmp(word, "end") == 0)
        return find_in_part(c, &branch->end, "a branch that ends in a resistance", target);
    return no_such(c, start, word, names, 3);
}

static tl_status find_in_split(cursor* c, tl_item* item, tl_target* target) {
    char name[64];
    long number = -1;
    const char* start = c->at;
    tl_status status = take_index(c, name, &number);
    if (status != TL_OK)
        return status;
    if (number >= 0 && (size_t)number < item->branch_count)
        return find_in_branch(c, &item->branches[number], target);
    const char* names[32];
    size_t count = 0;
    for (size_t i = 0; i < item->branch_count; ++i) {
        if (strcmp(item->branches[i].name, name) == 0)
            return find_in_branch(c, &item->branches[i], target);
        if (count < 32)
            names[count++] = item->branches[i].name;
    }
    return no_such(c, start, name, names, count);
}

/// What can follow an item: its part by kind or a value of it, a loop's chain, a split's branches.
static tl_status find_in_item(cursor* c, tl_item* item, tl_target* target) {
    char word[64];
    const char* before = c->at;
    if (c->parts && !*c->at && item->part) {
        *target = (tl_target){&item->part, -1};
        return TL_OK;
    }
    if (!take(c, '.'))
        return expected(c, before, "'.' and the name of a value, such as '.length'");
    const char* start = c->at;
    take_word(c, word);
    if (tl_item_is_split(item)) {
        static const char* const names[] = {"split"};
        return strcmp(word, "split") == 0 ? find_in_split(c, item, target)
                                          : no_such(c, start, word, names, 1);
    }
    if (item->loop.count && strcmp(word, "loop") == 0) {
        if (!*c->at && !c->parts)
            return expected(c, c->at, "'.chain[..]' or '.engaged'");
        if (!*c->at)
            return find_in_part(c, &item->part, "a part", target);
        if (!take(c, '.'))
            return expected(c, c->at, "'.'");
        start = c->at;
        take_word(c, word);
    }
    if (item->loop.count && strcmp(word, "chain") == 0)
        return find_in_chain(c, &item->loop, target);
    if (item->part->kind == &tl_kind_pot && strcmp(word, "tuner-out") == 0 && item->branch_count)
        return find_in_branch(c, &item->branches[0], target);
    if (strcmp(word, item->part->kind->name) == 0 &&
        (c->parts || *c->at || tl_part_field(item->part->kind, word) < 0))
        return find_in_part(c, &item->part, "a part", target);
    c->at = start;
    return find_field(c, &item->part, target);
}

/// An item by name, in this chain or anywhere below it.
static tl_item* find_named(tl_chain* chain, const char* name) {
    for (size_t i = 0; i < chain->count; ++i)
        if (chain->items[i].name && strcmp(chain->items[i].name, name) == 0)
            return &chain->items[i];
    for (size_t i = 0; i < chain->count; ++i) {
        tl_item* found = find_named(&chain->items[i].loop, name);
        for (size_t j = 0; !found && j < chain->items[i].branch_count; ++j)
            found = find_named(&chain->items[i].branches[j].chain, name);
        if (found)
            return found;
    }
    return NULL;
}

static size_t list_names(const tl_chain* chain, const char** names, size_t count, size_t most) {
    for (size_t i = 0; i < chain->count; ++i) {
        const tl_item* item = &chain->items[i];
        if (item->name && count < most)
            names[count++] = item->name;
        count = list_names(&item->loop, names, count, most);
        for (size_t j = 0; j < item->branch_count; ++j)
            count = list_names(&item->branches[j].chain, names, count, most);
    }
    return count;
}

static tl_status find_in_chain(cursor* c, tl_chain* chain, tl_target* target) {
    char name[64];
    long number = -1;
    const char* start = c->at;
    tl_status status = take_index(c, name, &number);
    if (status != TL_OK)
        return status;
    if (number >= 0 && (size_t)number < chain->count)
        return find_in_item(c, &chain->items[number], target);
    if (number >= 0) {
        tl_place place = place_of(c, start);
        return tl_error_at(c->error, &place,
                           "there is no item %ld: this chain's items go from 0 to %zu", number,
                           chain->count ? chain->count - 1 : 0);
    }
    tl_item* named = find_named(chain, name);
    if (named)
        return find_in_item(c, named, target);
    const char* names[64];
    size_t count = list_names(chain, names, 0, 64);
    return no_such(c, start, name, names, count);
}

static tl_voice* find_voice(tl_guitar* guitar, const char* name) {
    for (size_t i = 0; i < guitar->voice_count; ++i)
        if (guitar->voices[i].name && strcmp(guitar->voices[i].name, name) == 0)
            return &guitar->voices[i];
    return NULL;
}

static size_t list_voices(const tl_guitar* guitar, const char** names, size_t count, size_t most) {
    for (size_t i = 0; i < guitar->voice_count && count < most; ++i)
        if (guitar->voices[i].name)
            names[count++] = guitar->voices[i].name;
    return count;
}

static tl_status find_in_voice(cursor* c, tl_guitar* guitar, tl_target* target) {
    static const char* const names[] = {"pickup", "volume", "tone"};
    char name[64];
    long number = -1;
    const char* start = c->at;
    tl_status status = take_index(c, name, &number);
    if (status != TL_OK)
        return status;
    tl_voice* voice = number >= 0 && (size_t)number < guitar->voice_count
                          ? &guitar->voices[number]
                          : find_voice(guitar, name);
    if (!voice) {
        const char* known[16];
        return no_such(c, start, name, known, list_voices(guitar, known, 0, 16));
    }
    if (c->parts && !*c->at) {
        *target = (tl_target){&voice->pickup, -1};
        return TL_OK;
    }
    if (!take(c, '.'))
        return expected(c, c->at, "'.pickup', '.volume' or '.tone'");
    const char* word_at = c->at;
    char word[64];
    take_word(c, word);
    if (strcmp(word, "pickup") == 0)
        return find_in_part(c, &voice->pickup, "a pickup", target);
    if (strcmp(word, "volume") == 0)
        return find_in_part(c, &voice->volume, "a pickup with a volume of its own", target);
    if (strcmp(word, "tone") == 0)
        return find_in_part(c, &voice->tone, "a pickup with a tone of its own", target);
    c->at = word_at;
    if (tl_part_field(&tl_kind_pickup, c->at) >= 0)
        return find_field(c, &voice->pickup, target);
    return no_such(c, word_at, word, names, 3);
}

static tl_status find_in_guitar(cursor* c, tl_guitar* guitar, tl_target* target) {
    // Only what this guitar's signal is called may be offered; a wiring goes with several pickups.
    const char* const names[] = {"volume", "tone",
                                 guitar->source   ? "source"
                                 : guitar->listed ? "pickups"
                                                  : "pickup",
                                 "wiring"};
    char word[64];
    if (!take(c, '.'))
        return expected(c, c->at, "'.pickup', '.volume', '.tone', ..");
    const char* start = c->at;
    take_word(c, word);
    if (strcmp(word, "pickups") == 0 && guitar->listed)
        return find_in_voice(c, guitar, target);
    if (strcmp(word, "pickup") == 0 && guitar->voice_count == 1 && !guitar->listed)
        return find_in_part(c, &guitar->voices[0].pickup, "a pickup", target);
    if (strcmp(word, "source") == 0)
        return find_in_part(c, &guitar->source, "a guitar with an active source", target);
    if (strcmp(word, "volume") == 0)
        return find_in_part(c, &guitar->volume, "a guitar with a volume control", target);
    if (strcmp(word, "tone") == 0)
        return find_in_part(c, &guitar->tone, "a guitar with a tone control", target);
    if (strcmp(word, "wiring") == 0 && guitar->wiring && !*c->at) {
        *target = (tl_target){&guitar->wiring, 0};
        return TL_OK;
    }
    return no_such(c, start, word, names, guitar->wiring ? 4 : 3);
}

/// The words a path can begin with.
static const char* const roots[] = {"guitar", "chain", "amp", "direct"};
enum { ROOTS = 4 };

static tl_status find_path(cursor* c, tl_rig* rig, tl_target* target) {
    char word[64];
    take_word(c, word);
    if (strcmp(word, "guitar") == 0)
        return find_in_guitar(c, &rig->guitar, target);
    if (strcmp(word, "chain") == 0)
        return find_in_chain(c, &rig->main.chain, target);
    if (strcmp(word, "amp") == 0)
        return find_in_part(c, &rig->main.amp, "a rig with an amp of its own", target);
    if (strcmp(word, "direct") == 0)
        return find_in_chain(c, &rig->direct, target);
    return no_such(c, c->path, word, roots, ROOTS);
}

tl_status tl_rig_find(tl_rig* rig, const char* path, const tl_input* input, tl_target* target,
                      tl_error* error) {
    cursor c = {path, path, {input, 1, 1}, false, error};
    return find_path(&c, rig, target);
}

/// Whether words are meant as a path: they begin as one, or hold what no name can.
static bool is_path(const char* words) {
    for (size_t i = 0; i < ROOTS; ++i)
        if (strcmp(words, roots[i]) == 0)
            return true;
    return strpbrk(words, ".[") != NULL;
}

tl_status tl_rig_find_part(tl_rig* rig, const char* words, const tl_place* place, tl_part** part,
                           tl_error* error) {
    cursor c = {words, words, *place, true, error};
    tl_target target = {NULL, -1};
    tl_item* item = find_named(&rig->main.chain, words);
    if (!item)
        item = find_named(&rig->direct, words);
    if (item && !item->part)
        return expected(&c, words, "a part, not a split");
    tl_voice* voice = item ? NULL : find_voice(&rig->guitar, words);
    if (item || voice) {
        *part = item ? item->part : voice->pickup;
        return TL_OK;
    }
    if (!is_path(words)) {
        const char* names[64];
        size_t count = list_names(&rig->main.chain, names, 0, 60);
        count = list_names(&rig->direct, names, count, 60);
        count = list_voices(&rig->guitar, names, count, 60);
        for (size_t i = 0; i < ROOTS; ++i)
            names[count++] = roots[i];
        return no_such(&c, words, words, names, count);
    }
    tl_status status = find_path(&c, rig, &target);
    if (status == TL_OK && target.field >= 0)
        status = expected(&c, words, "a part, not one of its values");
    if (status == TL_OK)
        *part = *target.part;
    return status;
}

/// Names of the items that fit.
typedef struct {
    bool (*fits)(const tl_part* part);
    const char** names;
    size_t count;
} fitting;

static void collect_fitting(void* context, tl_part* part, const tl_item* item, const char* path) {
    (void)path;
    fitting* list = context;
    if (!item || !item->name || !list->fits(part))
        return;
    list->names = tl_grow_one(list->names, list->count, sizeof *list->names);
    list->names[list->count++] = item->name;
}

tl_status tl_rig_no_such_item(tl_rig* rig, const tl_yaml* node, bool (*fits)(const tl_part* part),
                              const char* what, tl_error* error) {
    fitting list = {fits, NULL, 0};
    tl_rig_each_part(rig, collect_fitting, &list);
    tl_text hint = {0};
    tl_name_hint(&hint, node->text, list.names, list.count);
    tl_status status =
        tl_error_at(error, &node->place,
                    "no %s of the chain is named '%s'%s (what is not in the chain is a 'device')",
                    what, node->text, tl_text_get(&hint));
    tl_text_free(&hint);
    free(list.names);
    return status;
}

tl_status tl_rig_set(tl_rig* rig, const tl_target* target, const tl_yaml* value, tl_error* error) {
    if (target->field >= 0)
        return tl_part_read_field(rig->library, *target->part, (size_t)target->field, value, error);
    tl_part* old = *target->part;
    tl_part* made = NULL;
    tl_status status = tl_part_read(rig->library, old->kind, value, NULL, &made, error);
    if (status != TL_OK)
        return status;
    for (size_t i = 0; i < old->kind->field_count; ++i)
        if ((old->kind->fields[i].flags & TL_FIELD_BESIDE) && !made->values[i].given)
            made->values[i] = old->values[i];
    if (!made->follows) {
        made->follows = tl_copy(old->follows);
        made->follows_place = old->follows_place;
    }
    tl_part_free(old);
    *target->part = made;
    return TL_OK;
}
