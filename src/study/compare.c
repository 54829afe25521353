// SPDX-License-Identifier: GPL-3.0-or-later
// Variants of a rig side by side: every combination of the values asked for.
#include "study/session.h"
#include "study/vary.h"

#include "base/locale.h"
#include "base/text.h"

#include <stdlib.h>
#include <string.h>

enum { MOST_VARIANTS = 100000 };

/// Everything one comparison is made of while it is worked out.
typedef struct {
    tl_rig* const* rigs;
    size_t rig_count;
    tl_vary* varies;
    size_t vary_count;
    tl_rig** clones;
    tl_circuit** circuits;
    tl_comparison* comparison;
} comparing;

/// The words of a path that people need: "length" of chain[0].length, "drive engaged" of
/// chain[drive].engaged, "volume position" of guitar.volume.position.
static char* short_path(const char* path) {
    const char* last = strrchr(path, '.');
    if (!last)
        return tl_copy(path);
    const char* from = last;
    while (from > path && from[-1] != '.')
        --from;
    size_t size = (size_t)(last - from);
    bool index = size && last[-1] == ']';
    const char* bracket = memchr(from, '[', size);
    if (index && bracket && bracket[1] >= '0' && bracket[1] <= '9')
        return tl_copy(last + 1);
    if (index && bracket) // a name
        return tl_printf("%.*s %s", (int)(last - bracket) - 2, bracket + 1, last + 1);
    return tl_printf("%.*s %s", (int)size, from, last + 1);
}

/// Adds a setting's words to a variant's name: "length = 3 m".
static void add_setting_words(tl_text* name, const char* path, const char* value) {
    char* words = short_path(path);
    tl_text_addf(name, "%s%s = %s", name->size ? ", " : "", words, value);
    free(words);
}

/// Whether another path ends in the same word: chain[0].length and chain[2].length need all of
/// theirs to be told apart.
static bool ends_alike(const comparing* c, size_t which) {
    const char* last = strrchr(c->varies[which].path, '.');
    for (size_t i = 0; i < c->vary_count; ++i) {
        const char* other = strrchr(c->varies[i].path, '.');
        if (i != which && last && other && strcmp(last, other) == 0)
            return true;
    }
    return false;
}

/// What a rig is called among others: its title, and its file's name when another has that title.
static char* rig_label(const comparing* c, const tl_rig* rig) {
    const char* title = tl_rig_title(rig);
    bool alone = true;
    for (size_t i = 0; i < c->rig_count; ++i)
        alone = alone && (c->rigs[i] == rig || strcmp(tl_rig_title(c->rigs[i]), title) != 0);
    if (alone)
        return tl_copy(title);
    tl_text label = {0};
    tl_text_addf(&label, "%s (", title);
    tl_text_add_safe(&label, tl_rig_path(rig));
    tl_text_add(&label, ")");
    return tl_text_take(&label);
}

static void name_variant(const comparing* c, tl_variant* variant) {
    tl_text name = {0};
    variant->rig_label = rig_label(c, variant->rig);
    if (c->rig_count > 1)
        tl_text_add(&name, variant->rig_label);
    for (size_t i = 0; i < variant->setting_count; ++i) {
        const tl_setting* setting = &variant->settings[i];
        if (ends_alike(c, i)) {
            tl_text_addf(&name, "%s%s = %s", name.size ? ", " : "", setting->path, setting->value);
        } else {
            add_setting_words(&name, setting->path, setting->value);
        }
    }
    if (!name.size)
        tl_text_add(&name, variant->rig_label);
    variant->name = tl_text_take(&name);
}

/// Two varies of one value would hide each other.
static tl_status check_targets(const comparing* c, tl_rig* rig, tl_error* error) {
    tl_status status = TL_OK;
    tl_target* targets = tl_new(c->vary_count, sizeof *targets);
    for (size_t i = 0; status == TL_OK && i < c->vary_count; ++i) {
        status = tl_rig_find(rig, c->varies[i].path, c->varies[i].input, &targets[i], error);
        tl_place start = {c->varies[i].input, 1, 1};
        for (size_t j = 0; status == TL_OK && j < i; ++j)
            if (targets[i].part == targets[j].part &&
                (targets[i].field == targets[j].field || targets[i].field < 0))
                status =
                    tl_error_at(error, &start,
                                "this would undo an earlier --vary: give all values of one thing "
                                "to one --vary, and a whole part before values of it");
    }
    free(targets);
    return status;
}

/// Makes variant `index`: a clone of its rig with one value of each vary.
static tl_status make_variant(comparing* c, size_t index, tl_error* error) {
    tl_variant* variant = &c->comparison->variants[index];
    size_t products = c->comparison->count / c->rig_count;
    size_t rest = index % products;
    tl_rig* rig = c->rigs[index / products];
    tl_rig* clone = c->clones[index] = tl_rig_clone(rig);
    variant->rig = rig;
    variant->settings = tl_new(c->vary_count, sizeof *variant->settings);
    variant->setting_count = c->vary_count;
    tl_status status = TL_OK;
    for (size_t i = 0; status == TL_OK && i < c->vary_count; ++i) {
        const tl_vary* v = &c->varies[i];
        products /= v->count;
        size_t pick = rest / products;
        rest %= products;
        status = tl_vary_set(v, pick, clone, error);
        variant->settings[i] = (tl_setting){tl_copy(v->path), tl_copy(v->words[pick])};
    }
    if (status == TL_OK)
        status = tl_rig_check(clone, error);
    if (status == TL_OK)
        name_variant(c, variant);
    return status;
}

static void blame(void* context, size_t index, tl_error* error) {
    const comparing* c = context;
    const tl_variant* variant = &c->comparison->variants[index];
    tl_error_prefix(error, "%s, variant %zu (%s)", tl_rig_path(variant->rig), index + 1,
                    variant->name);
}

static tl_status solve_variants(tl_session* session, comparing* c, double reference_hz,
                                tl_error* error) {
    size_t count = c->comparison->count;
    size_t products = count / c->rig_count;
    for (size_t i = 0; i < c->rig_count; ++i)
        tl_circuit_fix_sections(c->clones + i * products, products);
    for (size_t i = 0; i < count; ++i) {
        c->circuits[i] = tl_circuit_build(c->clones[i]);
        tl_rig_free(c->clones[i]);
        c->clones[i] = NULL;
    }
    tl_answer** answers = tl_new(count, sizeof *answers);
    tl_batch batch = {c->circuits, count, reference_hz, blame, c};
    tl_status status = tl_batch_solve(session, &batch, answers, error);
    for (size_t i = 0; i < count; ++i)
        c->comparison->variants[i].answer = answers[i];
    free(answers);
    return status;
}

static tl_status count_variants(const comparing* c, size_t* count, tl_error* error) {
    *count = c->rig_count;
    for (size_t i = 0; i < c->vary_count; ++i) {
        *count *= c->varies[i].count;
        if (*count > MOST_VARIANTS)
            return tl_error_set(error, TL_BAD_INPUT, "more than %d variants in one comparison",
                                MOST_VARIANTS);
    }
    return TL_OK;
}

static tl_status compare(tl_session* session, comparing* c, const char* const* varies,
                         double reference_hz, tl_error* error) {
    tl_status status = TL_OK;
    for (size_t i = 0; status == TL_OK && i < c->vary_count; ++i)
        status = tl_vary_read(varies[i], &c->varies[i], error);
    size_t count = 0;
    if (status == TL_OK)
        status = count_variants(c, &count, error);
    if (status != TL_OK)
        return status;
    c->comparison->variants = tl_new(count, sizeof *c->comparison->variants);
    c->comparison->count = count;
    c->clones = tl_new(count, sizeof *c->clones);
    c->circuits = tl_new(count, sizeof *c->circuits);
    for (size_t i = 0; status == TL_OK && i < c->rig_count; ++i)
        status = check_targets(c, c->rigs[i], error);
    for (size_t i = 0; status == TL_OK && i < count; ++i)
        status = make_variant(c, i, error);
    return status == TL_OK ? solve_variants(session, c, reference_hz, error) : status;
}

static tl_status study_compare(tl_session* session, tl_rig* const* rigs, size_t rig_count,
                               const char* const* varies, size_t vary_count, double reference_hz,
                               tl_comparison** comparison, tl_error* error) {
    *comparison = NULL;
    if (!rig_count)
        return tl_error_set(error, TL_BAD_INPUT, "nothing to compare: no rig");
    comparing c = {.rigs = rigs, .rig_count = rig_count, .vary_count = vary_count};
    c.varies = tl_new(vary_count, sizeof *c.varies);
    c.comparison = tl_new(1, sizeof *c.comparison);
    tl_status status = compare(session, &c, varies, reference_hz, error);
    for (size_t i = 0; i < c.comparison->count; ++i) {
        tl_rig_free(c.clones[i]);
        tl_circuit_free(c.circuits[i]);
    }
    free(c.clones);
    free(c.circuits);
    for (size_t i = 0; i < vary_count; ++i)
        tl_vary_free(&c.varies[i]);
    free(c.varies);
    if (status != TL_OK) {
        tl_comparison_free(c.comparison);
        return status;
    }
    *comparison = c.comparison;
    return TL_OK;
}

tl_status tl_study_compare(tl_session* session, tl_rig* const* rigs, size_t rig_count,
                           const char* const* varies, size_t vary_count, double reference_hz,
                           tl_comparison** comparison, tl_error* error) {
    tl_locale locale = tl_locale_plain();
    tl_status result = study_compare(session, rigs, rig_count, varies, vary_count, reference_hz,
                                     comparison, error);
    tl_locale_restore(locale);
    return result;
}

void tl_comparison_free(tl_comparison* comparison) {
    if (!comparison)
        return;
    for (size_t i = 0; i < comparison->count; ++i) {
        tl_variant* variant = &comparison->variants[i];
        for (size_t j = 0; j < variant->setting_count; ++j) {
            free(variant->settings[j].path);
            free(variant->settings[j].value);
        }
        free(variant->settings);
        free(variant->name);
        free(variant->rig_label);
        tl_answer_free(variant->answer);
    }
    free(comparison->variants);
    free(comparison);
}
