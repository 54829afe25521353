// SPDX-License-Identifier: GPL-3.0-or-later
// How far a value may go: the root of what is left of the limits.
#include "study/limit.h"
#include "study/session.h"
#include "study/vary.h"

#include "base/locale.h"
#include "base/root.h"
#include "base/text.h"
#include "parts/library.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/// Values tried first, to see where the limits stop being met; between two of them a root is found.
enum { SPREAD = 25, PROBES = SPREAD + 1, MOST_ROWS = 1000 };

typedef struct {
    tl_session* session;
    double reference_hz;
    tl_limit* limits;
    size_t limit_count;
    tl_rig* rig;      ///< the variant at hand
    tl_target target; ///< the value in it
    const char* path;
    tl_input* input;
    bool by_ratio; ///< the value is gone through by ratios: x is its logarithm
    size_t solves;
    size_t limit; ///< the tightest one at the last evaluation
    tl_status status;
    tl_error* error;
} reaching;

static double value_at(const reaching* r, double x) {
    return r->by_ratio ? exp(x) : x;
}

static void put_value(const reaching* r, double x) {
    tl_value* value = &(*r->target.part)->values[r->target.field];
    value->number = value_at(r, x);
    value->layout = false;
    (*r->target.part)->values[r->target.field].given = true;
}

static void blame(void* context, size_t index, tl_error* error) {
    (void)index;
    const reaching* r = context;
    tl_error_prefix(error, "%s", tl_rig_path(r->rig));
}

/// What is left of the tightest limit at any amp.
static double answer_margin(reaching* r, const tl_answer* answer) {
    double least = INFINITY;
    for (size_t i = 0; i + 1 < answer->count; i += 2)
        for (size_t j = 0; j < r->limit_count; ++j) {
            double margin =
                tl_limit_margin(&r->limits[j], &answer->solved[i], &answer->solved[i + 1]);
            if (margin < least) {
                least = margin;
                r->limit = j;
            }
        }
    r->solves += answer->solves;
    return least;
}

/// The margin at one value, for the root finder.
static double margin_at(void* context, double x) {
    reaching* r = context;
    put_value(r, x);
    tl_circuit* circuit = tl_circuit_build(r->rig);
    tl_batch batch = {&circuit, 1, r->reference_hz, blame, r};
    tl_answer* answer = NULL;
    r->status = tl_batch_solve(r->session, &batch, &answer, r->error);
    tl_circuit_free(circuit);
    double margin = r->status == TL_OK ? answer_margin(r, answer) : NAN;
    tl_answer_free(answer);
    return margin;
}

static tl_status refuse_shape(const reaching* r) {
    tl_place start = {r->input, 1, 1};
    return tl_error_at(
        r->error, &start,
        "this value changes the circuit's shape on its way: there is no one limit to "
        "find; compare its values instead");
}

/// Values spread over the range and, among them, the one the rig has now: what a builder chose may
/// be the only stretch where a limit is met.
static void spread_probes(const reaching* r, double low, double high, double now,
                          double x[PROBES]) {
    double own = r->by_ratio ? log(now) : now;
    if (!(own > low && own < high))
        own = low + (high - low) / 3.14159;
    int placed = 0;
    for (int i = 0; i < SPREAD; ++i) {
        double next = low + (high - low) * i / (SPREAD - 1);
        if (placed == i && own <= next)
            x[placed++] = own;
        x[placed++] = next;
    }
    if (placed < PROBES)
        x[placed] = own;
}

/// Margins at all probes; refuses a value that makes another circuit of the rig.
static tl_status probe(reaching* r, const double x[PROBES], double margin[PROBES]) {
    tl_circuit* circuits[PROBES];
    tl_answer* answers[PROBES];
    tl_status status = TL_OK;
    for (int i = 0; i < PROBES; ++i) {
        put_value(r, x[i]);
        circuits[i] = tl_circuit_build(r->rig);
        // Towards its ends a value may come to a wire, which is where the shapes between lead to.
        bool inside = i > PROBES / 2 && i < PROBES - 1;
        if (inside && !tl_circuit_same_shape(circuits[PROBES / 2], circuits[i]))
            status = refuse_shape(r);
    }
    tl_batch batch = {circuits, PROBES, r->reference_hz, blame, r};
    if (status == TL_OK)
        status = tl_batch_solve(r->session, &batch, answers, r->error);
    for (int i = 0; i < PROBES; ++i) {
        if (status == TL_OK) {
            margin[i] = answer_margin(r, answers[i]);
            tl_answer_free(answers[i]);
        }
        tl_circuit_free(circuits[i]);
    }
    return status;
}

/// Where between two probes the limits begin or stop to be met.
static double find_end(reaching* r, const double x[PROBES], const double margin[PROBES], int at) {
    double root = tl_root_find(margin_at, r, x[at], margin[at], x[at + 1], margin[at + 1], 1e-9);
    return value_at(r, root);
}

/// Solves for one variant; the rig at hand is changed. The stretch of values that meets the limits
/// is the highest there is.
static tl_status reach_row(reaching* r, double low, double high, double now, tl_reached* row) {
    double x[PROBES];
    double margin[PROBES];
    r->solves = 0;
    row->from = row->to = NAN;
    spread_probes(r, low, high, now, x);
    tl_status status = probe(r, x, margin);
    if (status != TL_OK)
        return status;
    int top = PROBES - 1;
    while (top >= 0 && margin[top] < 0)
        --top;
    int bottom = top;
    while (bottom > 0 && margin[bottom - 1] >= 0)
        --bottom;
    row->met = top < 0                            ? TL_MET_NEVER
               : bottom == 0 && top == PROBES - 1 ? TL_MET_ALWAYS
                                                  : TL_MET_AT;
    if (top >= 0 && bottom > 0)
        row->from = find_end(r, x, margin, bottom - 1);
    if (top >= 0 && top < PROBES - 1 && r->status == TL_OK)
        row->to = find_end(r, x, margin, top);
    row->limit = r->limit;
    row->solves = r->solves;
    return r->status;
}

static const tl_field* field_of(const reaching* r) {
    return &(*r->target.part)->kind->fields[r->target.field];
}

/// Where to look: the field's plausible range, without its very ends, at which a pot's part or a
/// length of nothing would be a wire. What spans decades is gone through by ratios.
static void choose_range(reaching* r, double* low, double* high) {
    const tl_field* field = field_of(r);
    bool share = field->unit == TL_UNIT_FRACTION || field->unit == TL_UNIT_GAIN;
    double least = field->low > 0 ? field->low : field->high * 1e-4;
    double span = field->high - field->low;
    r->by_ratio = !share && field->high / least > 100;
    *low = r->by_ratio ? log(least) : field->low + 1e-6 * span;
    *high = r->by_ratio ? log(field->high) : field->high - 1e-6 * span;
}

static tl_status find_value(reaching* r) {
    tl_status status = tl_rig_find(r->rig, r->path, r->input, &r->target, r->error);
    tl_place start = {r->input, 1, 1};
    if (status == TL_OK && (r->target.field < 0 || field_of(r)->choices))
        return tl_error_at(r->error, &start,
                           "only a number can be solved for: this one changes the circuit's shape");
    return status;
}

static char* value_words(const tl_field* field, double value) {
    tl_text words = {0};
    double digits = value != 0 ? pow(10, 3 - floor(log10(fabs(value)))) : 1; // four that count
    tl_quantity_add(&words, field->unit, round(value * digits) / digits);
    return tl_text_take(&words);
}

/// "up to 4.248 m", "from 2 m on", "2 m to 4.248 m".
static char* row_words(const tl_field* field, const tl_reached* row) {
    char* from = isnan(row->from) ? NULL : value_words(field, row->from);
    char* to = isnan(row->to) ? NULL : value_words(field, row->to);
    char* words = from && to ? tl_printf("%s to %s", from, to)
                  : to       ? tl_printf("up to %s", to)
                             : tl_printf("from %s on", from ? from : "");
    free(from);
    free(to);
    return words;
}

/// Fits cable sections to the longest of what will be solved.
static void fix_sections(reaching* r, double high) {
    put_value(r, high);
    tl_circuit_fix_sections(&r->rig, 1);
}

static tl_status solve_row(reaching* r, tl_rig* rig, const tl_vary* varies, size_t vary_count,
                           size_t index, tl_reach* reach) {
    tl_reached* row = &reach->rows[index];
    tl_text name = {0};
    size_t rest = index;
    size_t products = reach->count;
    row->settings = tl_new(vary_count, sizeof *row->settings);
    row->setting_count = vary_count;
    r->rig = tl_rig_clone(rig);
    tl_status status = TL_OK;
    for (size_t i = 0; status == TL_OK && i < vary_count; ++i) {
        products /= varies[i].count;
        size_t pick = rest / products;
        rest %= products;
        status = tl_vary_set(&varies[i], pick, r->rig, r->error);
        row->settings[i] = (tl_setting){tl_copy(varies[i].path), tl_copy(varies[i].words[pick])};
        tl_text_addf(&name, "%s%s = %s", i ? ", " : "", varies[i].path, varies[i].words[pick]);
    }
    row->name = tl_text_take(&name);
    if (status == TL_OK)
        status = tl_rig_check(r->rig, r->error);
    if (status == TL_OK)
        status = find_value(r);
    double low = 0;
    double high = 0;
    if (status == TL_OK) {
        double now = (*r->target.part)->values[r->target.field].number;
        choose_range(r, &low, &high);
        fix_sections(r, high);
        status = reach_row(r, low, high, now, row);
    }
    if (status == TL_OK && row->met == TL_MET_AT)
        row->shown = row_words(field_of(r), row);
    tl_rig_free(r->rig);
    r->rig = NULL;
    return status;
}

/// Says what was solved for, and where it was looked for.
static tl_status describe(reaching* r, tl_rig* rig, tl_reach* reach) {
    r->rig = rig;
    tl_status status = find_value(r);
    r->rig = NULL;
    if (status != TL_OK)
        return status;
    const tl_field* field = field_of(r);
    char* low = value_words(field, field->low);
    char* high = value_words(field, field->high);
    reach->path = tl_copy(r->path);
    reach->unit = tl_copy(tl_unit_symbol(field->unit));
    reach->range = tl_printf("%s to %s", low, high);
    free(low);
    free(high);
    return TL_OK;
}

static tl_status read_limits(reaching* r, tl_rig* rig, const char* const* limits) {
    if (!r->limit_count)
        return tl_error_set(r->error, TL_BAD_INPUT,
                            "expected a limit, such as --limit '-1 dB at 5 kHz'");
    tl_status status = TL_OK;
    for (size_t i = 0; status == TL_OK && i < r->limit_count; ++i)
        status = tl_limit_read(tl_library_units(rig->library), limits[i], &r->limits[i], r->error);
    return status;
}

static tl_status solve_rows(reaching* r, tl_rig* rig, const char* const* words, size_t vary_count,
                            tl_reach* reach) {
    tl_vary* varies = tl_new(vary_count, sizeof *varies);
    tl_status status = TL_OK;
    size_t count = 1;
    for (size_t i = 0; status == TL_OK && i < vary_count; ++i) {
        status = tl_vary_read(words[i], &varies[i], r->error);
        count *= status == TL_OK ? varies[i].count : 1;
        if (count > MOST_ROWS)
            status = tl_error_set(r->error, TL_BAD_INPUT, "more than %d rows", MOST_ROWS);
    }
    if (status == TL_OK) {
        reach->rows = tl_new(count, sizeof *reach->rows);
        reach->count = count;
    }
    for (size_t i = 0; status == TL_OK && i < count; ++i) {
        status = solve_row(r, rig, varies, vary_count, i, reach);
        if (r->session->options.progress)
            r->session->options.progress(r->session->options.context, i + 1, count);
    }
    for (size_t i = 0; i < vary_count; ++i)
        tl_vary_free(&varies[i]);
    free(varies);
    return status;
}

tl_status tl_study_reach(tl_session* session, tl_rig* rig, const tl_reach_options* options,
                         tl_reach** reach, tl_error* error) {
    tl_locale locale = tl_locale_plain();
    reaching r = {.session = session,
                  .reference_hz = options->reference_hz,
                  .limits = tl_new(options->limit_count, sizeof(tl_limit)),
                  .limit_count = options->limit_count,
                  .path = options->path,
                  .input = tl_input_new("--vary", options->path, strlen(options->path)),
                  .error = error};
    tl_reach* made = tl_new(1, sizeof *made);
    tl_status status = read_limits(&r, rig, options->limits);
    if (status == TL_OK)
        status = describe(&r, rig, made);
    if (status == TL_OK)
        status = solve_rows(&r, rig, options->varies, options->vary_count, made);
    tl_input_free(r.input);
    free(r.limits);
    if (status != TL_OK) {
        tl_reach_free(made);
        made = NULL;
    }
    *reach = made;
    tl_locale_restore(locale);
    return status;
}

void tl_reach_free(tl_reach* reach) {
    if (!reach)
        return;
    for (size_t i = 0; i < reach->count; ++i) {
        tl_reached* row = &reach->rows[i];
        for (size_t j = 0; j < row->setting_count; ++j) {
            free(row->settings[j].path);
            free(row->settings[j].value);
        }
        free(row->settings);
        free(row->name);
        free(row->shown);
    }
    free(reach->rows);
    free(reach->path);
    free(reach->unit);
    free(reach->range);
    free(reach);
}
