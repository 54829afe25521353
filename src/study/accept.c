// SPDX-License-Identifier: GPL-3.0-or-later
// Finished boards held against the rig they were built to.
#include "study/accept_work.h"

#include "base/locale.h"
#include "base/names.h"
#include "base/statistics.h"
#include "base/text.h"
#include "parts/kinds.h"
#include "rig/measure.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/// Tolerances are three standard deviations, and so is what a meter is stated to be off.
static const double sigmas = 3;
/// No reading is better than this, whatever is stated of the meter.
static const double least_meter_db = 0.01;
static const double low_hz = 10;
static const double high_hz = 100e3;

// ---- how it is measured

static void add_value(tl_text* text, const char* before, tl_unit unit, double value) {
    tl_text_add(text, before);
    tl_quantity_add(text, unit, value);
}

/// What stands in the places of guitar and amp, in words.
static char* through_words(const tl_measure_terms* terms) {
    tl_text text = {0};
    bool pickup = !terms->bare && terms->dummy->kind == &tl_kind_pickup;
    add_value(&text, "a generator of ", TL_UNIT_OHM, terms->generator_ohm);
    if (pickup) {
        add_value(&text, " through a dummy pickup of ", TL_UNIT_HENRY,
                  tl_part_number(terms->dummy, "inductance", 0));
        add_value(&text, ", ", TL_UNIT_OHM, tl_part_number(terms->dummy, "resistance", 0));
        add_value(&text, " and ", TL_UNIT_FARAD, tl_part_number(terms->dummy, "capacitance", 0));
        if (tl_part_has(terms->dummy, "eddy.resistance"))
            add_value(&text, ", with its eddy losses of ", TL_UNIT_OHM,
                      tl_part_number(terms->dummy, "eddy.resistance", 0));
    }
    if (!pickup && !terms->bare)
        add_value(&text, " through the active guitar's ", TL_UNIT_OHM,
                  tl_part_number(terms->dummy, "output.resistance", 0));
    tl_text_add(&text, terms->controls ? ", the guitar's controls behind it" : "");
    add_value(&text, ", into a meter of ", TL_UNIT_OHM, terms->meter_ohm);
    if (terms->meter_farad > 0)
        add_value(&text, " and ", TL_UNIT_FARAD, terms->meter_farad);
    tl_text_add(&text, terms->amp ? " across the amp's jack" : " in the amp's place");
    return tl_text_take(&text);
}

/// Finds the output a board is measured at, among those the circuit has.
static tl_status find_amp(tl_prospect* p, const char* name, tl_accept* accept, tl_error* error) {
    tl_circuit* circuit = tl_circuit_build_rig(p->plan.rig);
    const char* names[64];
    size_t count = circuit->output_count < 64 ? circuit->output_count : 64;
    tl_status status = TL_OK;
    for (size_t i = 0; i < count; ++i)
        names[i] = circuit->outputs[i].amp;
    p->amp = 0;
    while (name && p->amp < count && strcmp(names[p->amp], name) != 0)
        ++p->amp;
    if (p->amp < count) {
        bool one = count == 1 && strcmp(names[0], "amp") == 0;
        accept->amp = tl_copy(one ? "" : names[p->amp]);
    } else {
        tl_text hint = {0};
        if (name)
            tl_name_hint(&hint, name, names, count);
        status = tl_error_set(error, TL_BAD_INPUT, "%s: no amp of the name '%s'%s",
                              tl_rig_path(p->plan.rig), name ? name : "", tl_text_get(&hint));
        tl_text_free(&hint);
    }
    tl_circuit_free(circuit);
    return status;
}

// ---- a board's file

/// Readings of a file: as they are, or when there are many the means of equal steps in log
/// frequency.
static void take_readings(const tl_measured* measured, tl_board_check* board) {
    double first = log(measured->hz[0]);
    double step = (log(measured->hz[measured->count - 1]) - first) / TL_ACCEPT_READINGS;
    bool all = measured->count <= TL_ACCEPT_READINGS;
    board->rows = measured->count;
    board->readings = tl_new(all ? measured->count : TL_ACCEPT_READINGS + 1, sizeof(tl_reading));
    for (size_t i = 0; i < measured->count;) {
        tl_reading* reading = &board->readings[board->count++];
        double end = all ? 0 : (floor((log(measured->hz[i]) - first) / step) + 1) * step + first;
        double logs = 0;
        double db = 0;
        size_t count = 0;
        reading->line = measured->line[i];
        do {
            logs += log(measured->hz[i]);
            db += 20 * log10(measured->size[i]);
            ++count;
            ++i;
        } while (!all && i < measured->count && log(measured->hz[i]) < end);
        reading->hz = count > 1 ? exp(logs / (double)count) : measured->hz[i - 1];
        reading->measured_db = db / (double)count;
    }
}

/// Says what is wrong with a row, pointing at it when the file can be read once more.
static tl_status bad_row(const char* file, size_t line, const char* words, tl_error* error) {
    tl_input* input = tl_accept_input(file);
    tl_place place = {input, line, 1};
    tl_status status = tl_error_at(error, &place, "%s", words);
    tl_input_free(input);
    return status;
}

static tl_status check_file(const tl_measured* measured, const char* file, tl_error* error) {
    if (measured->kind != TL_MEASURED_RESPONSE)
        return bad_row(file, 1,
                       "it holds an impedance; a board is accepted by its response: a column "
                       "level_db, level_v, gain_db or ratio",
                       error);
    for (size_t i = 0; i < measured->count; ++i) {
        if (measured->hz[i] < low_hz || measured->hz[i] > high_hz)
            return bad_row(file, measured->line[i],
                           "a frequency beyond what is predicted: expected 10 Hz to 100 kHz",
                           error);
        if (!(measured->size[i] > 0))
            return bad_row(file, measured->line[i],
                           "a level of nothing at all: expected more than 0", error);
    }
    return TL_OK;
}

static bool is_removed(const tl_measured* measured, tl_offset offset) {
    return offset == TL_OFFSET_BY_FILE ? measured->relative : offset == TL_OFFSET_REMOVE;
}

/// Whether an outlook is for these frequencies.
static bool serves(const tl_outlook* outlook, const tl_board_check* board, bool removed) {
    if (outlook->count != board->count || outlook->offset_removed != removed)
        return false;
    for (size_t i = 0; i < board->count; ++i)
        if (outlook->hz[i] != board->readings[i].hz)
            return false;
    return true;
}

static void judge(const tl_prospect* p, bool removed, tl_outlook* outlook, tl_board_check* board) {
    if (!serves(outlook, board, removed)) {
        double* hz = tl_new(board->count, sizeof *hz);
        for (size_t i = 0; i < board->count; ++i)
            hz[i] = board->readings[i].hz;
        tl_outlook_free(p, outlook);
        tl_outlook_make(p, hz, board->count, removed, outlook);
        free(hz);
    }
    tl_accept_judge(p, outlook, board);
}

// ---- all of it

/// The rig, which is in its state, as it stands on the bench.
static tl_status make_bench(const tl_rig* rig, const tl_accept_options* options, tl_accept* accept,
                            tl_rig** bench, tl_error* error) {
    tl_measure_terms terms = tl_measure_of(rig);
    accept->meter_db = fmax(
        options->meter_db > 0 ? options->meter_db : terms.uncertainty_db / sigmas, least_meter_db);
    accept->through = options->as_written
                          ? tl_copy("the rig's own guitar, which gives 1 V, and amp")
                          : through_words(&terms);
    return options->as_written ? TL_OK : tl_measure_rig(rig, options->amp, bench, error);
}

/// Names the amp that the bench has its meter at, since it need not be the first of the circuit.
static const char* meter_amp(const tl_rig* rig, const tl_accept_options* options, char** kept) {
    char** names = NULL;
    size_t count = options->amp || options->as_written ? 0 : tl_measure_ends(rig, &names);
    *kept = count ? tl_copy(names[0]) : NULL;
    for (size_t i = 0; i < count; ++i)
        free(names[i]);
    free(names);
    return options->amp ? options->amp : *kept;
}

static tl_status predict(tl_prospect* p, tl_rig* rig, const tl_accept_options* options,
                         tl_accept* accept, tl_error* error) {
    char* kept = NULL;
    p->meter_db = accept->meter_db;
    tl_status status = tl_spread_plan_make(rig, false, &p->plan, error);
    if (status == TL_OK)
        status = find_amp(p, meter_amp(rig, options, &kept), accept, error);
    free(kept);
    if (status != TL_OK)
        return status;
    tl_circuit_free(tl_spread_plan_build_all(&p->plan, 0)); // every value as it is stated
    tl_suspects_list(p, !options->as_written);
    status = tl_prospect_solve(p, error);
    accept->values = p->plan.value_count;
    accept->trials = TL_ACCEPT_TRIALS;
    accept->suspects = p->suspect_count;
    accept->unseen = p->unseen;
    accept->unsolved = p->unsolved;
    return status;
}

static tl_status study(tl_session* session, tl_rig* rig, const tl_accept_options* options,
                       const tl_measured* const* measured, const char* const* files, size_t count,
                       tl_accept* accept, tl_error* error) {
    tl_prospect prospect = {.session = session};
    tl_outlook outlook = {0};
    tl_rig* state = tl_rig_clone(rig);
    tl_rig* bench = NULL;
    tl_status status = TL_OK;
    accept->rig = tl_copy(tl_rig_title(rig));
    for (size_t i = 0; status == TL_OK && i < count; ++i)
        status = check_file(measured[i], files[i], error);
    if (status == TL_OK)
        status = tl_statistics_prepare(error);
    if (status == TL_OK)
        status = tl_accept_enter(state, options, measured, files, count, accept, error);
    if (status == TL_OK)
        status = make_bench(state, options, accept, &bench, error);
    if (status == TL_OK)
        status = predict(&prospect, bench ? bench : state, options, accept, error);
    accept->boards = tl_new(count + 1, sizeof *accept->boards);
    for (size_t i = 0; status == TL_OK && i < count; ++i) {
        accept->boards[accept->count++].file = files[i];
        take_readings(measured[i], &accept->boards[i]);
        judge(&prospect, is_removed(measured[i], options->offset), &outlook, &accept->boards[i]);
    }
    tl_outlook_free(&prospect, &outlook);
    tl_prospect_free(&prospect);
    tl_rig_free(bench);
    tl_rig_free(state);
    return status;
}

tl_status tl_study_accept(tl_session* session, tl_rig* rig, const tl_accept_options* options,
                          const tl_measured* const* measured, const char* const* files,
                          size_t count, tl_accept** accept, tl_error* error) {
    tl_locale locale = tl_locale_plain();
    *accept = tl_new(1, sizeof **accept);
    tl_status status = study(session, rig, options, measured, files, count, *accept, error);
    tl_locale_restore(locale);
    if (status != TL_OK) {
        tl_accept_free(*accept);
        *accept = NULL;
    }
    return status;
}

static void free_class(tl_cause_class* class) {
    for (size_t i = 0; i < class->count; ++i) {
        tl_cause* cause = &class->causes[i];
        free(cause->path);
        free(cause->about);
        free(cause->where);
        free(cause->unit);
        free(cause->stated_words);
        free(cause->value_words);
        free(cause->range_words);
        free(cause->like);
    }
    free(class->causes);
    free(class->db);
    free(class->smooth_db);
}

static void free_blind(tl_blind* blind) {
    free(blind->path);
    free(blind->about);
    free(blind->stated_words);
    free(blind->low_words);
    free(blind->high_words);
}

void tl_accept_free(tl_accept* accept) {
    if (!accept)
        return;
    for (size_t i = 0; i < accept->count; ++i) {
        for (size_t j = 0; j < accept->boards[i].class_count; ++j)
            free_class(&accept->boards[i].classes[j]);
        free(accept->boards[i].classes);
        for (size_t j = 0; j < accept->boards[i].blind_count; ++j)
            free_blind(&accept->boards[i].blind[j]);
        free(accept->boards[i].blind);
        free(accept->boards[i].readings);
        free(accept->boards[i].smooth_hz);
        free(accept->boards[i].smooth_db);
    }
    free(accept->boards);
    free(accept->rig);
    free(accept->state);
    free(accept->amp);
    free(accept->through);
    free(accept);
}
