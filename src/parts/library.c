// SPDX-License-Identifier: GPL-3.0-or-later
#include "parts/library.h"

#include "base/file.h"
#include "base/names.h"
#include "base/text.h"
#include "parts/defaults.h"
#include "parts/kinds.h"
#include "parts/value.h"

#include <stdlib.h>
#include <string.h>

enum { LIBRARY_BYTES = 1000000, SHELVES = 16 };

/// One library file once it was read: the parts of one kind from one folder.
typedef struct {
    tl_input* input;
    tl_yaml* tree;
    const tl_yaml* parts; ///< name to part
    tl_defaults defaults; ///< tolerances of values that state none
} book;

/// The books of one kind: the user's own, then ours.
typedef struct {
    const char* kind;
    book books[2];
    const char** names;
    size_t count;
} shelf;

struct tl_library {
    tl_units* units;
    char* models;     ///< what comes with toneload
    char* folders[2]; ///< of the user's own parts (or NULL), of ours
    shelf shelves[SHELVES];
    size_t shelf_count;
    tl_design_opener* opener; ///< NULL: nobody opens designs
    void* opener_context;
};

/// Where models lie: beside the library in a build tree, else in the data folder of the prefix the
/// library was installed under.
static char* find_models(void) {
    char* home = tl_file_home();
    char* found = NULL;
    const char* up = "";
    for (int level = 0; level < 4 && !found; ++level) {
        static const char* const ups[] = {"", "/..", "/../..", "/../../.."};
        up = ups[level];
        char* path = level == 0 ? tl_printf("%s/models", home)
                                : tl_printf("%s%s/%s/models", home, up, TL_DATA_DIR);
        char* parts = tl_printf("%s/parts", path);
        if (tl_file_exists(parts))
            found = tl_copy(path);
        free(parts);
        free(path);
    }
    free(home);
    return found;
}

tl_status tl_library_open(const char* own_folder, tl_library** library, tl_error* error) {
    *library = NULL;
    char* inside = own_folder ? tl_printf("%s/.", own_folder) : NULL;
    bool folder = inside && tl_file_exists(inside);
    free(inside);
    if (own_folder && !folder)
        return tl_error_set(error, TL_BAD_INPUT,
                            "%s: there is no such folder of parts (it would hold files such as "
                            "cable.yaml)",
                            own_folder);
    char* models = find_models();
    if (!models)
        return tl_error_set(error, TL_FAILURE,
                            "the part library is missing: no folder 'models' beside the program");
    tl_library* made = tl_new(1, sizeof *made);
    made->units = tl_units_new();
    made->models = models;
    made->folders[0] = tl_copy(own_folder);
    made->folders[1] = tl_printf("%s/parts", models);
    *library = made;
    return TL_OK;
}

static void shelf_clear(shelf* filled) {
    for (int j = 0; j < 2; ++j) {
        tl_defaults_free(&filled->books[j].defaults);
        tl_yaml_free(filled->books[j].tree);
        tl_input_free(filled->books[j].input);
    }
    free(filled->names);
    *filled = (shelf){0};
}

void tl_library_free(tl_library* library) {
    if (!library)
        return;
    for (size_t i = 0; i < library->shelf_count; ++i)
        shelf_clear(&library->shelves[i]);
    free(library->folders[0]);
    free(library->folders[1]);
    free(library->models);
    tl_units_free(library->units);
    free(library);
}

const char* tl_library_folder(const tl_library* library) {
    return library->models;
}

tl_units* tl_library_units(tl_library* library) {
    return library->units;
}

void tl_library_set_opener(tl_library* library, tl_design_opener* opener, void* context) {
    library->opener = opener;
    library->opener_context = context;
}

/// Says that a library file opens as it must: `kind: KIND`, a mapping `parts`, maybe `tolerances`.
static tl_status check_book(book* read, const char* kind, tl_error* error) {
    tl_status status = tl_yaml_expect(read->tree, TL_YAML_MAP, "a library file", error);
    if (status != TL_OK)
        return status;
    const tl_yaml* says = tl_yaml_get(read->tree, "kind");
    if (!says || says->kind != TL_YAML_SCALAR || strcmp(says->text, kind) != 0)
        return tl_error_at(error, says ? &says->place : &read->tree->place,
                           "a library file of this name needs 'kind: %s'", kind);
    for (size_t i = 0; i < read->tree->count; ++i) {
        const tl_yaml* key = read->tree->keys[i];
        if (strcmp(key->text, "kind") != 0 && strcmp(key->text, "parts") != 0 &&
            strcmp(key->text, "tolerances") != 0)
            return tl_error_at(error, &key->place,
                               "unknown '%s' in a library file; known are kind, parts, tolerances",
                               key->text);
    }
    read->parts = tl_yaml_get(read->tree, "parts");
    if (!read->parts)
        return tl_error_at(error, &read->tree->place, "a library file needs 'parts'");
    status = tl_yaml_expect(read->parts, TL_YAML_MAP, "the parts of a library", error);
    for (size_t i = 0; status == TL_OK && i < read->parts->count; ++i)
        if (!tl_name_is_good(read->parts->keys[i]->text))
            status = tl_error_at(error, &read->parts->keys[i]->place,
                                 "'%s' cannot name a part: use letters, digits, blank, '-' and '_'",
                                 read->parts->keys[i]->text);
    return status;
}

static tl_status read_book(tl_units* units, const char* folder, const char* kind, book* read,
                           tl_error* error) {
    char* path = tl_printf("%s/%s.yaml", folder, kind);
    if (!tl_file_exists(path)) {
        free(path);
        return TL_OK;
    }
    tl_status status = tl_input_read(path, LIBRARY_BYTES, &read->input, error);
    if (status == TL_OK)
        status = tl_yaml_read(read->input, &read->tree, error);
    if (status == TL_OK)
        status = check_book(read, kind, error);
    const tl_yaml* tolerances = status == TL_OK ? tl_yaml_get(read->tree, "tolerances") : NULL;
    if (tolerances)
        status = tl_defaults_read(units, kind, tolerances, &read->defaults, error);
    free(path);
    return status;
}

static void list_names(shelf* filled) {
    for (int j = 0; j < 2; ++j) {
        const tl_yaml* parts = filled->books[j].parts;
        for (size_t i = 0; parts && i < parts->count; ++i) {
            const tl_yaml* own = filled->books[0].parts;
            if (j == 1 && own && tl_yaml_get(own, parts->keys[i]->text))
                continue; // the user's own stands in front of ours
            filled->names = tl_grow(filled->names, filled->count + 1, sizeof *filled->names);
            filled->names[filled->count++] = parts->keys[i]->text;
        }
    }
}

/// The books of a kind's library, read when first asked for.
static tl_status get_shelf(tl_library* library, const tl_part_kind* kind, shelf** found,
                           tl_error* error) {
    for (size_t i = 0; i < library->shelf_count; ++i)
        if (strcmp(library->shelves[i].kind, kind->library) == 0) {
            *found = &library->shelves[i];
            return TL_OK;
        }
    if (library->shelf_count == SHELVES)
        return tl_error_set(error, TL_FAILURE, "too many kinds of part for the library reader");
    shelf* made = &library->shelves[library->shelf_count];
    made->kind = kind->library;
    for (int j = 0; j < 2; ++j) {
        if (!library->folders[j])
            continue;
        tl_status status =
            read_book(library->units, library->folders[j], kind->library, &made->books[j], error);
        if (status != TL_OK) {
            shelf_clear(made);
            return status;
        }
    }
    list_names(made);
    ++library->shelf_count;
    *found = made;
    return TL_OK;
}

tl_status tl_library_names(tl_library* library, const tl_part_kind* kind, const char* const** names,
                           size_t* count, tl_error* error) {
    *names = NULL;
    *count = 0;
    if (!kind->library)
        return TL_OK;
    shelf* found = NULL;
    tl_status status = get_shelf(library, kind, &found, error);
    if (status == TL_OK) {
        *names = found->names;
        *count = found->count;
    }
    return status;
}

static const tl_yaml* find_entry(const shelf* in, const char* name) {
    for (int j = 0; j < 2; ++j) {
        const tl_yaml* entry = in->books[j].parts ? tl_yaml_get(in->books[j].parts, name) : NULL;
        if (entry)
            return entry;
    }
    return NULL;
}

/// The library's own copy of a part's name, which lives as long as the library.
static const char* find_name(const shelf* in, const char* name) {
    for (size_t i = 0; i < in->count; ++i)
        if (strcmp(in->names[i], name) == 0)
            return in->names[i];
    return NULL;
}

const char* tl_library_about(tl_library* library, const tl_part_kind* kind, const char* name) {
    shelf* found = NULL;
    if (!kind->library || get_shelf(library, kind, &found, NULL) != TL_OK)
        return "";
    const tl_yaml* entry = find_entry(found, name);
    const tl_yaml* about = entry ? tl_yaml_get(entry, "about") : NULL;
    return about && about->kind == TL_YAML_SCALAR ? about->text : "";
}

/// A buffer that is a circuit has no values of its own.
static tl_status check_free(const tl_part* part, size_t field, const tl_yaml* node,
                            tl_error* error) {
    const tl_field* about = &part->kind->fields[field];
    if (!part->design || (about->flags & TL_FIELD_BESIDE))
        return TL_OK;
    return tl_error_at(error, &node->place,
                       "%s: this buffer is a circuit, whose values are in its design file",
                       about->name);
}

tl_status tl_part_read_field(tl_library* library, tl_part* part, size_t field, const tl_yaml* node,
                             tl_error* error) {
    tl_value value = {0};
    tl_status status = check_free(part, field, node, error);
    if (status == TL_OK)
        status =
            tl_value_read(library->units, &part->kind->fields[field], node, false, &value, error);
    if (status == TL_OK)
        part->values[field] = value;
    return status;
}

/// What reading the keys of one part needs to know.
typedef struct {
    tl_library* library;
    tl_part* part;
    const char* const* others;
    bool shelved;       ///< a library's part: values may be {value, source}
    const char* source; ///< of every value that says none, or NULL
    tl_error* error;
} reading;

static bool is_listed(const char* key, const char* const* list) {
    for (; list && *list; ++list)
        if (strcmp(key, *list) == 0)
            return true;
    return false;
}

static tl_status unknown_key(const reading* r, const char* prefix, const tl_yaml* key) {
    const char* names[64];
    size_t count = 0;
    size_t skip = strlen(prefix);
    char* heads[64];
    for (size_t i = 0; i < r->part->kind->field_count; ++i) {
        const char* name = r->part->kind->fields[i].name;
        bool hidden = r->shelved && (r->part->kind->fields[i].flags & TL_FIELD_BESIDE);
        if (hidden || strncmp(name, prefix, skip) != 0 || count == 60)
            continue;
        size_t size = strcspn(name + skip, ".");
        heads[count] = tl_printf("%.*s", (int)size, name + skip);
        if (count && strcmp(heads[count], heads[count - 1]) == 0)
            free(heads[count]);
        else
            ++count;
    }
    size_t own = count;
    for (size_t i = 0; i < own; ++i)
        names[i] = heads[i];
    if (!skip && !r->shelved && r->part->kind == &tl_kind_buffer)
        names[count++] = "circuit";
    for (const char* const* other = r->others; !skip && other && *other && count < 64; ++other)
        names[count++] = *other;
    tl_text hint = {0};
    tl_name_hint(&hint, key->text, names, count);
    tl_status status = tl_error_at(r->error, &key->place, "unknown '%s' for %s%s", key->text,
                                   r->part->kind->about, tl_text_get(&hint));
    tl_text_free(&hint);
    for (size_t i = 0; i < own; ++i)
        free(heads[i]);
    return status;
}

/// A value of a library's part: its source is its own, or the part's.
static tl_status read_shelved(const reading* r, size_t field, const tl_yaml* node) {
    const tl_field* about = &r->part->kind->fields[field];
    tl_value value = {0};
    tl_status status = tl_value_read(r->library->units, about, node, true, &value, r->error);
    if (status != TL_OK)
        return status;
    if (!value.source)
        value.source = r->source;
    if (!value.source || !*value.source)
        return tl_error_at(r->error, &node->place,
                           "%s: a library value needs its source: a publication, 'common "
                           "practice' or 'from memory'",
                           about->name);
    value.tolerance.source = value.tolerance.given ? value.source : NULL;
    r->part->values[field] = value;
    return TL_OK;
}

static tl_status read_value(const reading* r, size_t field, const tl_yaml* node) {
    const tl_value* before = &r->part->values[field];
    if (before->given && !before->library && before->place.in == node->place.in)
        return tl_error_at(r->error, &node->place, "'%s' is given twice",
                           r->part->kind->fields[field].name);
    return r->shelved ? read_shelved(r, field, node)
                      : tl_part_read_field(r->library, r->part, field, node, r->error);
}

static bool is_group(const tl_part_kind* kind, const char* name) {
    size_t size = strlen(name);
    for (size_t i = 0; i < kind->field_count; ++i)
        if (strncmp(kind->fields[i].name, name, size) == 0 && kind->fields[i].name[size] == '.')
            return true;
    return false;
}

/// Reads the keys of a mapping; `prefix` is "" or the group it is of ("input.").
static tl_status read_keys(const reading* r, const char* prefix, const tl_yaml* map) {
    tl_status status = TL_OK;
    for (size_t i = 0; status == TL_OK && i < map->count; ++i) {
        const tl_yaml* key = map->keys[i];
        if (!*prefix && is_listed(key->text, r->others))
            continue;
        char* name = tl_printf("%s%s", prefix, key->text);
        if (r->shelved && !*prefix && strcmp(key->text, "follows") == 0) {
            free(name);
            return tl_error_at(r->error, &key->place,
                               "'follows' says which of a rig's parts move together: it stands in "
                               "a rig, not in a library");
        }
        int field = strchr(key->text, '.') ? -1 : tl_part_field(r->part->kind, name);
        bool hidden =
            field >= 0 && r->shelved && (r->part->kind->fields[field].flags & TL_FIELD_BESIDE);
        if (field >= 0 && !hidden) {
            status = read_value(r, (size_t)field, map->items[i]);
        } else if (!*prefix && is_group(r->part->kind, name)) {
            status = tl_yaml_expect(map->items[i], TL_YAML_MAP, name, r->error);
            char* group = tl_printf("%s.", name);
            if (status == TL_OK)
                status = read_keys(r, group, map->items[i]);
            free(group);
        } else {
            status = unknown_key(r, prefix, key);
        }
        free(name);
    }
    return status;
}

/// The kind in whose library a name stands that was looked for in another; NULL when in none.
static const char* find_elsewhere(tl_library* library, const tl_part_kind* kind, const char* name) {
    for (size_t i = 0; i < tl_part_kind_count; ++i) {
        const tl_part_kind* other = tl_part_kinds[i];
        shelf* found = NULL;
        if (other->library && strcmp(other->library, kind->library) != 0 &&
            get_shelf(library, other, &found, NULL) == TL_OK && find_entry(found, name))
            return other->library;
    }
    return NULL;
}

tl_status tl_library_part(tl_library* library, const tl_part_kind* kind, const char* name,
                          const tl_place* place, tl_part** part, tl_error* error) {
    static const char* const others[] = {"about", "source", NULL};
    *part = NULL;
    if (!kind->library)
        return tl_error_at(error, place, "%s has no library: give its values", kind->about);
    shelf* found = NULL;
    tl_status status = get_shelf(library, kind, &found, error);
    if (status != TL_OK)
        return status;
    const tl_yaml* entry = find_entry(found, name);
    if (!entry) {
        tl_text hint = {0};
        const char* other = find_elsewhere(library, kind, name);
        if (other)
            tl_text_addf(&hint, "; there is a %s of that name", other);
        else
            tl_name_hint(&hint, name, found->names, found->count);
        status = tl_error_at(error, place,
                             "no %s named '%s' in the library%s; see 'toneload parts "
                             "%s'",
                             kind->library, name, tl_text_get(&hint), kind->library);
        tl_text_free(&hint);
        return status;
    }
    status = tl_yaml_expect(entry, TL_YAML_MAP, "a library part", error);
    if (status != TL_OK)
        return status;
    const tl_yaml* source = tl_yaml_get(entry, "source");
    tl_part* made = tl_part_new(kind);
    made->library = tl_copy(name);
    made->place = entry->place;
    reading r = {
        library, made, others, true, source && source->kind == TL_YAML_SCALAR ? source->text : NULL,
        error};
    status = read_keys(&r, "", entry);
    if (status == TL_OK)
        status = tl_part_check(made, false, error);
    for (size_t i = 0; i < kind->field_count; ++i)
        if (made->values[i].given)
            made->values[i].library = find_name(found, name);
    if (status != TL_OK) {
        tl_part_free(made);
        made = NULL;
    }
    *part = made;
    return status;
}

/// `{circuit: DESIGN.yaml}`: the design has all values, so none may stand beside it.
static tl_status read_circuit(tl_library* library, const tl_part_kind* kind, const tl_yaml* node,
                              tl_part** part, tl_error* error) {
    const tl_yaml* path = tl_yaml_get(node, "circuit");
    if (kind != &tl_kind_buffer)
        return tl_error_at(error, &path->place, "only a buffer can be a circuit, not %s",
                           kind->about);
    for (size_t i = 0; i < node->count; ++i)
        if (node->items[i] != path)
            return tl_error_at(error, &node->keys[i]->place,
                               "'%s' beside a circuit: the design has all its values",
                               node->keys[i]->text);
    tl_status status = tl_yaml_expect(path, TL_YAML_SCALAR, "the name of a design file", error);
    if (status == TL_OK && !*path->text)
        status = tl_error_at(error, &path->place, "expected the name of a design file");
    if (!library->opener)
        return tl_error_at(error, &path->place, "circuits cannot be read here");
    const struct tl_design* design = NULL;
    if (status == TL_OK)
        status = library->opener(library->opener_context, path->text, &path->place, &design, error);
    if (status != TL_OK)
        return status;
    *part = tl_part_new(kind);
    (*part)->place = node->place;
    (*part)->design = design;
    (*part)->design_place = path->place;
    return TL_OK;
}

tl_status tl_part_read_follows(tl_part* part, const tl_yaml* node, tl_error* error) {
    tl_status status = tl_yaml_expect(node, TL_YAML_SCALAR, "follows", error);
    if (status == TL_OK && part->follows)
        return tl_error_at(error, &node->place, "'follows' is given twice");
    if (status == TL_OK && !*node->text)
        return tl_error_at(error, &node->place,
                           "expected what it follows: an item's name, or a path such as chain[0]");
    if (status == TL_OK) {
        part->follows = tl_copy(node->text);
        part->follows_place = node->place;
    }
    return status;
}

tl_status tl_part_read(tl_library* library, const tl_part_kind* kind, const tl_yaml* node,
                       const char* const* others, tl_part** part, tl_error* error) {
    *part = NULL;
    if (node->kind == TL_YAML_MAP && tl_yaml_get(node, "circuit"))
        return read_circuit(library, kind, node, part, error);
    tl_part* made = NULL;
    const tl_yaml* like = node->kind == TL_YAML_SCALAR ? node : tl_yaml_get(node, "like");
    tl_status status = TL_OK;
    if (node->kind == TL_YAML_LIST)
        return tl_yaml_expect(node, TL_YAML_MAP, kind->about, error);
    if (like && like->kind != TL_YAML_SCALAR)
        return tl_yaml_expect(like, TL_YAML_SCALAR, "like", error);
    if (like && !*like->text)
        return tl_error_at(error, &like->place,
                           "%s: expected the name of a library part, or "
                           "values",
                           kind->about);
    if (like)
        status = tl_library_part(library, kind, like->text, &like->place, &made, error);
    else
        made = tl_part_new(kind);
    if (status != TL_OK)
        return status;
    made->place = node->place;
    if (node->kind == TL_YAML_MAP) {
        const char* all[16] = {"like", "follows"};
        for (size_t i = 0; others && others[i] && i < 13; ++i)
            all[i + 2] = others[i];
        reading r = {library, made, all, false, NULL, error};
        status = read_keys(&r, "", node);
        const tl_yaml* follows = tl_yaml_get(node, "follows");
        if (status == TL_OK && follows)
            status = tl_part_read_follows(made, follows, error);
    }
    if (status != TL_OK) {
        tl_part_free(made);
        made = NULL;
    }
    *part = made;
    return status;
}

static tl_status find_default(tl_library* library, const tl_part* part, size_t field,
                              tl_value_tolerance* tolerance, tl_error* error) {
    const tl_field* about = &part->kind->fields[field];
    const tl_value* value = &part->values[field];
    *tolerance = (tl_value_tolerance){0};
    if (!part->kind->library || !value->given || about->choices)
        return TL_OK;
    shelf* found = NULL;
    tl_status status = get_shelf(library, part->kind, &found, error);
    for (int j = 0; status == TL_OK && j < 2 && !tolerance->given; ++j)
        tl_defaults_find(&found->books[j].defaults, about->name, value->number, tolerance);
    return status;
}

bool tl_part_default_tolerance(tl_library* library, const tl_part* part, size_t field,
                               tl_value_tolerance* tolerance) {
    return find_default(library, part, field, tolerance, NULL) == TL_OK && tolerance->given;
}

tl_status tl_part_tolerance(tl_library* library, const tl_part* part, size_t field,
                            tl_value_tolerance* tolerance, tl_error* error) {
    *tolerance = part->values[field].tolerance;
    return tolerance->given ? TL_OK : find_default(library, part, field, tolerance, error);
}
