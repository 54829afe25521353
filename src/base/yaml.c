// SPDX-License-Identifier: GPL-3.0-or-later
#include "base/yaml.h"

#include "base/names.h"
#include "base/text.h"

#include <libfyaml.h>
#include <stdlib.h>
#include <string.h>

enum { DEEPEST = 60, MOST_KEYS = 2000, MOST_ITEMS = 5000, LONGEST_RUN = 500 };

/// What is being built: the open lists and maps, innermost last.
typedef struct {
    const tl_input* input;
    const char* text; ///< what is parsed
    size_t size;
    tl_yaml* root;
    tl_yaml* open[DEEPEST];
    tl_yaml* key[DEEPEST]; ///< of an open map: the key that waits for its value
    size_t depth;
    size_t documents;
    tl_place last;     ///< of the node seen last, for one that is not written out
    size_t at;         ///< how far lines were counted, in bytes
    size_t line;       ///< of `at`, from 0
    size_t line_start; ///< the first byte of that line
    tl_error* error;
} builder;

void tl_yaml_free(tl_yaml* tree) {
    if (!tree)
        return;
    for (size_t i = 0; i < tree->count; ++i) {
        if (tree->keys)
            tl_yaml_free(tree->keys[i]);
        tl_yaml_free(tree->items[i]);
    }
    free(tree->keys);
    free(tree->items);
    free(tree->text);
    free(tree);
}

/// Line and column of a byte. The YAML library counts columns in characters, and knows line breaks
/// that no editor shows, so both are counted here; nodes come in order, so it is done in one go.
static tl_place byte_place(builder* b, size_t byte) {
    if (byte < b->at)
        b->at = b->line = b->line_start = 0;
    for (; b->at < byte && b->at < b->size; ++b->at)
        if (b->text[b->at] == '\n') {
            ++b->line;
            b->line_start = b->at + 1;
        }
    return (tl_place){b->input, b->line + 1, b->at - b->line_start + 1};
}

/// Where a token stands, its quote, '&' or '*' included; an empty value has none, and gets the
/// place of its key.
static tl_place token_place(builder* b, struct fy_token* token) {
    const struct fy_mark* mark = token ? fy_token_start_mark(token) : NULL;
    size_t at = mark ? mark->input_pos : 0;
    if (at && at <= b->size && memchr("\"'&*", b->text[at - 1], 4))
        --at;
    if (mark)
        b->last = byte_place(b, at);
    else if (b->depth && b->key[b->depth - 1])
        b->last = b->key[b->depth - 1]->place;
    return b->last;
}

static tl_place event_place(builder* b, struct fy_event* event) {
    return token_place(b, fy_event_get_token(event));
}

static tl_yaml* node_new(tl_yaml_kind kind, tl_place place) {
    tl_yaml* node = tl_new(1, sizeof *node);
    node->kind = kind;
    node->place = place;
    return node;
}

static void push(tl_yaml* parent, tl_yaml* key, tl_yaml* item) {
    size_t count = parent->count;
    parent->items = tl_grow_one(parent->items, count, sizeof(tl_yaml*));
    if (parent->kind == TL_YAML_MAP)
        parent->keys = tl_grow_one(parent->keys, count, sizeof(tl_yaml*));
    parent->items[count] = item;
    if (parent->kind == TL_YAML_MAP)
        parent->keys[count] = key;
    parent->count = count + 1;
}

static tl_status take_key(builder* b, tl_yaml* node) {
    tl_yaml* map = b->open[b->depth - 1];
    tl_status status = TL_OK;
    if (node->kind != TL_YAML_SCALAR)
        status = tl_error_at(b->error, &node->place, "a name must be plain words");
    else if (tl_yaml_get(map, node->text))
        status = tl_error_at(b->error, &node->place, "'%s' stands here a second time", node->text);
    else if (map->count == MOST_KEYS)
        status =
            tl_error_at(b->error, &node->place, "more than %d names in one mapping", MOST_KEYS);
    if (status != TL_OK) {
        tl_yaml_free(node);
        return status;
    }
    b->key[b->depth - 1] = node;
    return TL_OK;
}

/// Hangs a new node where it belongs; takes it over also on failure.
static tl_status place_node(builder* b, tl_yaml* node) {
    if (b->depth == 0) {
        b->root = node;
        return TL_OK;
    }
    tl_yaml* parent = b->open[b->depth - 1];
    if (parent->kind == TL_YAML_MAP && !b->key[b->depth - 1])
        return take_key(b, node);
    if (parent->kind == TL_YAML_LIST && parent->count == MOST_ITEMS) {
        tl_status status =
            tl_error_at(b->error, &node->place, "more than %d items in one list", MOST_ITEMS);
        tl_yaml_free(node);
        return status;
    }
    push(parent, b->key[b->depth - 1], node);
    b->key[b->depth - 1] = NULL;
    return TL_OK;
}

static tl_status open_node(builder* b, tl_yaml_kind kind, struct fy_event* event) {
    tl_yaml* node = node_new(kind, event_place(b, event));
    if (b->depth == DEEPEST) {
        tl_status status =
            tl_error_at(b->error, &node->place, "nested deeper than %d levels", DEEPEST);
        tl_yaml_free(node);
        return status;
    }
    tl_status status = place_node(b, node);
    if (status == TL_OK) {
        b->open[b->depth] = node;
        b->key[b->depth++] = NULL;
    }
    return status;
}

static tl_status take_scalar(builder* b, struct fy_event* event) {
    tl_yaml* node = node_new(TL_YAML_SCALAR, event_place(b, event));
    size_t size = 0;
    const char* text = event->scalar.value ? fy_token_get_text(event->scalar.value, &size) : NULL;
    node->text = tl_new(size + 1, 1);
    if (text && size)
        memcpy(node->text, text, size);
    if (strlen(node->text) == size)
        return place_node(b, node);
    tl_status status = tl_error_at(b->error, &node->place, "this text holds a NUL character");
    tl_yaml_free(node);
    return status;
}

static tl_status refuse(builder* b, struct fy_token* token, const char* what) {
    tl_place place = token_place(b, token);
    return tl_error_at(b->error, &place, "%s is not used in these files: write the value out",
                       what);
}

/// Tags and anchors could hang on any of the three kinds of node.
static tl_status check_extras(builder* b, struct fy_event* event) {
    struct fy_token* tag = NULL;
    struct fy_token* anchor = NULL;
    if (event->type == FYET_SCALAR) {
        tag = event->scalar.tag;
        anchor = event->scalar.anchor;
    } else if (event->type == FYET_MAPPING_START) {
        tag = event->mapping_start.tag;
        anchor = event->mapping_start.anchor;
    } else if (event->type == FYET_SEQUENCE_START) {
        tag = event->sequence_start.tag;
        anchor = event->sequence_start.anchor;
    }
    if (tag)
        return refuse(b, tag, "a tag ('!')");
    return anchor ? refuse(b, anchor, "an anchor ('&')") : TL_OK;
}

static tl_status take_event(builder* b, struct fy_event* event) {
    tl_status status = check_extras(b, event);
    if (status != TL_OK)
        return status;
    switch (event->type) {
    case FYET_DOCUMENT_START:
        if (b->documents++)
            return refuse(b, fy_event_get_token(event), "a second document ('---')");
        return TL_OK;
    case FYET_ALIAS:
        return refuse(b, fy_event_get_token(event), "an alias ('*')");
    case FYET_SCALAR:
        return take_scalar(b, event);
    case FYET_MAPPING_START:
        return open_node(b, TL_YAML_MAP, event);
    case FYET_SEQUENCE_START:
        return open_node(b, TL_YAML_LIST, event);
    case FYET_MAPPING_END:
    case FYET_SEQUENCE_END:
        --b->depth;
        return TL_OK;
    default:
        return TL_OK;
    }
}

/// The byte at a line and column (from 1, in characters) as the YAML library counts them.
static size_t find_byte(const builder* b, int line, int column) {
    size_t at = 0;
    for (; line > 1 && at < b->size; ++at)
        line -= b->text[at] == '\n';
    for (; column > 1 && at < b->size && b->text[at] != '\n'; --column) {
        ++at;
        while (at < b->size && ((unsigned char)b->text[at] & 0xc0) == 0x80)
            ++at;
    }
    return at;
}

/// The YAML library's own complaint, at its own place.
static tl_status syntax_error(builder* b, struct fy_diag* diag) {
    void* next = NULL;
    struct fy_diag_error* first = fy_diag_errors_iterate(diag, &next);
    tl_place place = {b->input, 1, 1};
    if (!first)
        return tl_error_at(b->error, &place, "this is not YAML");
    place = byte_place(b, find_byte(b, first->line, first->column));
    return tl_error_at(
        b->error, &place,
        "YAML: %s (look at the indentation, dashes and brackets here and just above)", first->msg);
}

/// What the YAML library would pass over or cut a value at: control characters and broken UTF-8.
static tl_status check_characters(builder* b) {
    for (size_t at = 0; at < b->size;) {
        char sign = b->text[at];
        size_t size = sign == '\t' || sign == '\n' || sign == '\r' || (sign > 0x1f && sign < 0x7f)
                          ? 1
                          : tl_text_character(b->text + at);
        if (!size) {
            tl_place place = byte_place(b, at);
            return tl_error_at(b->error, &place, "a control character, or broken UTF-8");
        }
        at += size;
    }
    return TL_OK;
}

/// Bytes of a run that the YAML library takes quadratic time for: a directive, a tag, blank lines.
static size_t slow_run(const builder* b, size_t at) {
    bool line_start = at == 0 || b->text[at - 1] == '\n';
    const char* text = b->text + at;
    if (line_start && *text == '%')
        return strcspn(text, "\n");
    if (*text == '!')
        return strcspn(text, " \n");
    return *text == '\n' ? strspn(text, " \t\r\n") : 1;
}

/// Without this a file of 1 MB can take minutes to read.
static tl_status check_runs(builder* b) {
    for (size_t at = 0; at < b->size;) {
        size_t size = slow_run(b, at);
        bool blank = b->text[at] == '\n';
        if (size > (blank ? 10 : 1) * (size_t)LONGEST_RUN) {
            tl_place place = byte_place(b, at);
            return tl_error_at(b->error, &place, "%s of more than %d characters",
                               blank                ? "a gap"
                               : b->text[at] == '%' ? "a directive"
                                                    : "a tag",
                               (blank ? 10 : 1) * LONGEST_RUN);
        }
        at += size ? size : 1;
    }
    return TL_OK;
}

static tl_status run(builder* b, struct fy_parser* parser, struct fy_diag* diag) {
    tl_status status = check_characters(b);
    if (status == TL_OK)
        status = check_runs(b);
    if (status != TL_OK)
        return status;
    if (fy_parser_set_string(parser, b->text, b->size) != 0)
        return syntax_error(b, diag);
    bool ended = false;
    while (status == TL_OK && !ended) {
        struct fy_event* event = fy_parser_parse(parser);
        if (!event)
            return syntax_error(b, diag);
        ended = event->type == FYET_STREAM_END;
        status = take_event(b, event);
        fy_parser_event_free(parser, event);
    }
    tl_place start = {b->input, 1, 1};
    if (status == TL_OK && !b->root)
        return tl_error_at(b->error, &start, "there is nothing in it");
    return status;
}

static tl_status read_text(const tl_input* input, const char* text, size_t size, tl_yaml** tree,
                           tl_error* error) {
    builder b = {.input = input, .text = text, .size = size, .error = error};
    b.last = (tl_place){input, 1, 1};
    struct fy_diag_cfg diag_config;
    fy_diag_cfg_default(&diag_config);
    diag_config.fp = NULL;
    struct fy_diag* diag = fy_diag_create(&diag_config);
    if (!diag)
        return tl_error_set(error, TL_FAILURE, "the YAML reader could not be started");
    fy_diag_set_collect_errors(diag, true);
    struct fy_parse_cfg config = {.flags = FYPCF_QUIET | FYPCF_COLLECT_DIAG, .diag = diag};
    struct fy_parser* parser = fy_parser_create(&config);
    tl_status status = parser ? run(&b, parser, diag)
                              : tl_error_set(error, TL_FAILURE, "the YAML reader could not start");
    fy_parser_destroy(parser);
    fy_diag_destroy(diag);
    for (size_t i = 0; i < b.depth; ++i)
        tl_yaml_free(b.key[i]);
    if (status != TL_OK) {
        tl_yaml_free(b.root);
        b.root = NULL;
    }
    *tree = b.root;
    return status;
}

tl_status tl_yaml_read(const tl_input* input, tl_yaml** tree, tl_error* error) {
    return read_text(input, input->text, input->size, tree, error);
}

tl_status tl_yaml_read_piece(const tl_input* input, size_t from, size_t to, tl_yaml** tree,
                             tl_error* error) {
    char* padded = tl_new(to + 1, 1); // blanks in front keep the columns right
    memset(padded, ' ', from);
    memcpy(padded + from, input->text + from, to - from);
    tl_status status = read_text(input, padded, to, tree, error);
    free(padded);
    return status;
}

const tl_yaml* tl_yaml_get(const tl_yaml* map, const char* key) {
    if (map->kind == TL_YAML_MAP)
        for (size_t i = 0; i < map->count; ++i)
            if (strcmp(map->keys[i]->text, key) == 0)
                return map->items[i];
    return NULL;
}

tl_status tl_yaml_expect(const tl_yaml* node, tl_yaml_kind kind, const char* what,
                         tl_error* error) {
    static const char* const kinds[] = {"a single value", "a list ('- ...' or [ ])",
                                        "a mapping ('name: value' or { })"};
    if (node->kind == kind)
        return TL_OK;
    return tl_error_at(error, &node->place, "%s: expected %s, found %s", what, kinds[kind],
                       kinds[node->kind]);
}

tl_status tl_yaml_check_keys(const tl_yaml* map, const char* const* keys, size_t count,
                             const char* what, tl_error* error) {
    for (size_t i = 0; i < map->count; ++i) {
        bool known = false;
        for (size_t j = 0; j < count; ++j)
            known = known || strcmp(map->keys[i]->text, keys[j]) == 0;
        if (known)
            continue;
        tl_text hint = {0};
        tl_name_hint(&hint, map->keys[i]->text, keys, count);
        tl_status status = tl_error_at(error, &map->keys[i]->place, "unknown '%s' in %s%s",
                                       map->keys[i]->text, what, tl_text_get(&hint));
        tl_text_free(&hint);
        return status;
    }
    return TL_OK;
}

tl_status tl_yaml_switch(const tl_yaml* node, bool* on, tl_error* error) {
    if (node->kind == TL_YAML_SCALAR) {
        *on = strcmp(node->text, "yes") == 0 || strcmp(node->text, "true") == 0;
        if (*on || strcmp(node->text, "no") == 0 || strcmp(node->text, "false") == 0)
            return TL_OK;
        return tl_error_at(error, &node->place, "'%s': expected yes or no, in small letters",
                           node->text);
    }
    return tl_yaml_expect(node, TL_YAML_SCALAR, "yes or no", error);
}

tl_status tl_yaml_name(const tl_yaml* node, char** name, tl_error* error) {
    tl_status status = tl_yaml_expect(node, TL_YAML_SCALAR, "a name", error);
    if (status != TL_OK)
        return status;
    if (!tl_name_is_good(node->text))
        return tl_error_at(error, &node->place,
                           "'%s' cannot be a name: use letters, digits, blank, '-' and '_', with a "
                           "letter in it, at most 48",
                           node->text);
    if (*name)
        return tl_error_at(error, &node->place, "a second name for the same thing");
    *name = tl_copy(node->text);
    return TL_OK;
}
