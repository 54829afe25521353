// SPDX-License-Identifier: GPL-3.0-or-later
// What long leads do to a rig's own guitar: the line-ups that a lesson shows, and the formula on
// paper beside them.
#include "study/listing.h"
#include "study/session.h"

#include "base/locale.h"
#include "base/text.h"
#include "parts/kinds.h"
#include "parts/library.h"
#include "rig/read.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { MOST_LINES = 2 * TL_LESSON_LENGTHS + TL_LESSON_VOLUMES + TL_LESSON_JOINTS + 2, USUAL = 2 };

static const double lengths_m[TL_LESSON_LENGTHS] = {1, 3, 6, 9, 12, 15};
static const double positions[TL_LESSON_VOLUMES] = {1, 0.7, 0.5};
static const double treble_hz = 5000;
static const char lead_otherwise[] = "standard-coax";
static const char buffer_otherwise[] = "op-amp-follower";

/// Joints that are tried; without a library name one of `ohm`.
static const struct {
    const char* library;
    double ohm;
    const char* label;
} joints[TL_LESSON_JOINTS] = {
    {"soldered", 0, "a soldered joint"},
    {"clamped-worn", 0, "a clamp that has worked loose"},
    {"socket-dirty", 0, "a dirty, damp socket"},
    {NULL, 1000, "far past any joint that still holds"},
};

/// What is put together while the lesson is made.
typedef struct {
    tl_session* session;
    tl_rig* rig;
    tl_lesson* lesson;
    tl_rig* base;         ///< the guitar with all controls full up and the amp, nothing between
    const tl_part* amp;   ///< of the rig
    const tl_part* cable; ///< of the rig; NULL: it has none
    const tl_part* buffer;
    tl_part* own_cable; ///< from the library
    tl_part* own_buffer;
    unsigned sections; ///< of every lead, as the longest needs them
    tl_circuit* circuits[MOST_LINES];
    tl_lesson_line* lines[MOST_LINES];
    size_t count;
} making;

static bool is_amp(const tl_part* part) {
    return part->kind == &tl_kind_amp;
}

static bool is_cable(const tl_part* part) {
    return part->kind == &tl_kind_cable;
}

static bool is_buffer(const tl_part* part) {
    return part->kind == &tl_kind_buffer;
}

static const tl_part* find_in_branch(const tl_branch* branch, bool (*wanted)(const tl_part*));

/// The first part wanted, in the order of the signal.
static const tl_part* find_in_chain(const tl_chain* chain, bool (*wanted)(const tl_part*)) {
    for (size_t i = 0; i < chain->count; ++i) {
        const tl_item* item = &chain->items[i];
        const tl_part* found = item->part && wanted(item->part) ? item->part : NULL;
        for (size_t j = 0; !found && j < item->branch_count; ++j)
            found = find_in_branch(&item->branches[j], wanted);
        if (!found && tl_item_is_loop(item))
            found = find_in_chain(&item->loop, wanted);
        if (found)
            return found;
    }
    return NULL;
}

static const tl_part* find_in_branch(const tl_branch* branch, bool (*wanted)(const tl_part*)) {
    const tl_part* found = find_in_chain(&branch->chain, wanted);
    if (!found && branch->amp && wanted(branch->amp))
        found = branch->amp;
    return found;
}

static tl_status library_part(making* m, const tl_part_kind* kind, const char* name, tl_part** part,
                              tl_error* error) {
    tl_place nowhere = {0};
    return tl_library_part(m->rig->library, kind, name, &nowhere, part, error);
}

static char* part_name(const tl_part* part, const char* otherwise) {
    return tl_copy(part->library ? part->library : otherwise);
}

/// The lead, the buffer and the amp that the lesson is about.
static tl_status choose_parts(making* m, tl_error* error) {
    m->amp = find_in_branch(&m->rig->main, is_amp);
    m->cable = find_in_branch(&m->rig->main, is_cable);
    if (!m->cable)
        m->cable = find_in_chain(&m->rig->direct, is_cable);
    tl_status status = TL_OK;
    if (!m->cable)
        status = library_part(m, &tl_kind_cable, lead_otherwise, &m->own_cable, error);
    m->buffer = find_in_branch(&m->rig->main, is_buffer);
    m->lesson->own_buffer = m->buffer != NULL;
    if (status == TL_OK && !m->buffer)
        status = library_part(m, &tl_kind_buffer, buffer_otherwise, &m->own_buffer, error);
    if (status != TL_OK)
        return status;
    m->cable = m->cable ? m->cable : m->own_cable;
    m->buffer = m->buffer ? m->buffer : m->own_buffer;
    m->lesson->cable = part_name(m->cable, "the rig's own lead");
    m->lesson->buffer = part_name(m->buffer, "the rig's own buffer");
    m->lesson->cable_farad_per_m = tl_cable_per_metre(m->cable).farad;
    return TL_OK;
}

typedef void (*control_visit)(void* context, tl_part* control);

static void visit_controls(tl_guitar* guitar, control_visit visit, void* context) {
    for (size_t i = 0; i < guitar->voice_count; ++i) {
        tl_part* const own[] = {guitar->voices[i].volume, guitar->voices[i].tone};
        for (size_t j = 0; j < 2; ++j)
            if (own[j])
                visit(context, own[j]);
    }
    tl_part* const shared[] = {guitar->volume, guitar->tone};
    for (size_t j = 0; j < 2; ++j)
        if (shared[j])
            visit(context, shared[j]);
}

static void turn_up(void* context, tl_part* control) {
    tl_lesson* lesson = context;
    if (tl_part_number(control, "position", 1) < 1)
        lesson->turned_up = true;
    tl_part_set_number(control, "position", 1);
}

/// A volume control turned to a position; its two parts are noted.
typedef struct {
    double position;
    tl_lesson_volume* parts;
} turning;

static void turn_down(void* context, tl_part* control) {
    turning* t = context;
    if (control->kind != &tl_kind_volume)
        return;
    tl_part_set_number(control, "position", t->position);
    double ohm = tl_part_number(control, "pot", 0);
    double below = tl_taper_share(t->position, !tl_part_chosen(control, "taper", "linear"));
    t->parts->upper_ohm = (1 - below) * ohm;
    t->parts->lower_ohm = below * ohm;
}

/// The guitar with all controls full up, and the amp, with nothing between them.
static tl_rig* make_base(making* m) {
    tl_rig* base = tl_rig_clone(m->rig);
    tl_part* amp = tl_part_clone(m->amp);
    tl_branch_free(&base->main);
    base->main = (tl_branch){.amp = amp, .place = m->rig->main.place};
    visit_controls(&base->guitar, turn_up, m->lesson);
    return base;
}

static void push_part(tl_rig* rig, tl_part* part) {
    tl_chain* chain = &rig->main.chain;
    chain->items = tl_grow(chain->items, chain->count + 1, sizeof *chain->items);
    chain->items[chain->count++] = (tl_item){.part = part};
}

static void push_lead(const making* m, tl_rig* rig, double length_m) {
    tl_part* cable = tl_part_clone(m->cable);
    tl_part_set_number(cable, "length", length_m);
    cable->sections = m->sections;
    push_part(rig, cable);
}

/// Hands a line-up over to be solved; frees the rig.
static void add_line(making* m, tl_lesson_line* line, char* label, double length_m, tl_rig* rig) {
    line->label = label;
    line->length_m = length_m;
    line->farad = length_m * m->lesson->cable_farad_per_m;
    line->formula_hz = line->formula_q = NAN;
    m->circuits[m->count] = tl_circuit_build_rig(rig);
    m->lines[m->count++] = line;
    tl_rig_free(rig);
}

static char* length_words(double length_m) {
    return tl_printf("%g m", length_m);
}

static void add_lengths(making* m) {
    for (size_t i = 0; i < TL_LESSON_LENGTHS; ++i) {
        tl_rig* straight = tl_rig_clone(m->base);
        push_lead(m, straight, lengths_m[i]);
        add_line(m, &m->lesson->lengths[i], length_words(lengths_m[i]), lengths_m[i], straight);
        tl_rig* buffered = tl_rig_clone(m->base);
        push_lead(m, buffered, lengths_m[0]);
        push_part(buffered, tl_part_clone(m->buffer));
        push_lead(m, buffered, lengths_m[i]);
        add_line(m, &m->lesson->buffered[i], length_words(lengths_m[i]), lengths_m[i], buffered);
    }
}

static void add_volumes(making* m) {
    for (size_t i = 0; m->lesson->has_volume && i < TL_LESSON_VOLUMES; ++i) {
        tl_lesson_volume* parts = &m->lesson->volume_parts[i];
        tl_rig* rig = tl_rig_clone(m->base);
        visit_controls(&rig->guitar, turn_down, &(turning){positions[i], parts});
        push_lead(m, rig, lengths_m[USUAL]);
        char* label = tl_printf("volume at %g", 10 * positions[i]);
        add_line(m, &m->lesson->volumes[i], label, lengths_m[USUAL], rig);
    }
}

static tl_status add_joints(making* m, tl_error* error) {
    for (size_t i = 0; i < TL_LESSON_JOINTS; ++i) {
        tl_part* joint = NULL;
        tl_status status = TL_OK;
        if (joints[i].library)
            status = library_part(m, &tl_kind_contact, joints[i].library, &joint, error);
        else
            joint = tl_part_new(&tl_kind_contact);
        if (status != TL_OK)
            return status;
        if (!joints[i].library)
            tl_part_set_number(joint, "resistance", joints[i].ohm);
        m->lesson->joint_ohm[i] = tl_part_number(joint, "resistance", 0);
        tl_rig* rig = tl_rig_clone(m->base);
        push_part(rig, joint);
        push_lead(m, rig, lengths_m[USUAL]);
        add_line(m, &m->lesson->joints[i], tl_copy(joints[i].label), lengths_m[USUAL], rig);
    }
    return TL_OK;
}

/// The usual length without what eddy currents take, when a pickup has any.
static void add_loss_free(making* m) {
    tl_rig* rig = tl_rig_clone(m->base);
    bool any = false;
    for (size_t i = 0; i < rig->guitar.voice_count; ++i) {
        tl_part* pickup = rig->guitar.voices[i].pickup;
        any = any || tl_part_has(pickup, "eddy.fraction");
        pickup->values[tl_part_field(pickup->kind, "eddy.fraction")].given = false;
        pickup->values[tl_part_field(pickup->kind, "eddy.resistance")].given = false;
    }
    push_lead(m, rig, lengths_m[USUAL]);
    if (any)
        add_line(m, &m->lesson->loss_free, length_words(lengths_m[USUAL]), lengths_m[USUAL], rig);
    else
        tl_rig_free(rig);
}

/// What one side of the circuit loads the whole of the pickups with. Side by side every pickup has
/// the whole voltage; in series it has the share of its inductance, and what hangs on it alone
/// counts by that share's square.
static double voice_weight(const tl_lesson_values* values, const tl_voice* voice) {
    double share = tl_part_number(voice->pickup, "inductance", 0) / values->henry;
    return values->series ? share * share : 1;
}

static double siemens_of(const tl_part* pot) {
    return pot ? 1 / tl_part_number(pot, "pot", INFINITY) : 0;
}

static double ohm_of(double siemens) {
    return siemens > 0 ? 1 / siemens : NAN;
}

/// Inductance first: the shares of everything else depend on it.
static void measure_pickups(tl_lesson_values* values, const tl_guitar* guitar) {
    values->pickups = guitar->voice_count;
    values->series = guitar->wiring && tl_part_chosen(guitar->wiring, "wiring", "series");
    double sum = 0;
    double inverse = 0;
    for (size_t i = 0; i < guitar->voice_count; ++i) {
        double henry = tl_part_number(guitar->voices[i].pickup, "inductance", 0);
        sum += henry;
        inverse += 1 / henry;
    }
    values->henry = values->series ? sum : 1 / inverse;
    for (size_t i = 0; i < guitar->voice_count; ++i) {
        const tl_part* pickup = guitar->voices[i].pickup;
        double current = values->henry / tl_part_number(pickup, "inductance", 0);
        double ohm = tl_part_number(pickup, "resistance", 0);
        values->ohm += values->series ? ohm : ohm * current * current;
        values->winding_farad +=
            tl_part_number(pickup, "capacitance", 0) * voice_weight(values, &guitar->voices[i]);
    }
    const tl_part* only = values->pickups == 1 ? guitar->voices[0].pickup : NULL;
    values->eddy_fraction = only ? tl_part_number(only, "eddy.fraction", NAN) : NAN;
    values->eddy_ohm = only ? tl_part_number(only, "eddy.resistance", NAN) : NAN;
}

static void measure_controls(tl_lesson_values* values, const tl_guitar* guitar) {
    double volume = siemens_of(guitar->volume);
    double tone = siemens_of(guitar->tone);
    double tone_farad = guitar->tone ? tl_part_number(guitar->tone, "capacitor", 0) : 0;
    values->bleed = guitar->volume && tl_part_has(guitar->volume, "bleed.capacitor");
    for (size_t i = 0; i < guitar->voice_count; ++i) {
        const tl_voice* voice = &guitar->voices[i];
        double weight = voice_weight(values, voice);
        volume += weight * siemens_of(voice->volume);
        tone += weight * siemens_of(voice->tone);
        if (voice->tone)
            tone_farad += weight * tl_part_number(voice->tone, "capacitor", 0);
        if (voice->volume && tl_part_has(voice->volume, "bleed.capacitor"))
            values->bleed = true;
    }
    values->volume_ohm = ohm_of(volume);
    values->tone_ohm = ohm_of(tone);
    values->tone_farad = tone > 0 ? tone_farad : NAN;
    values->load_ohm = 1 / (volume + tone + 1 / values->amp_ohm);
}

static void measure(making* m) {
    tl_lesson_values* values = &m->lesson->values;
    measure_pickups(values, &m->rig->guitar);
    values->amp_ohm = tl_part_number(m->amp, "resistance", INFINITY);
    values->amp_farad = tl_part_number(m->amp, "capacitance", NAN);
    values->stopper_ohm = tl_part_number(m->amp, "stopper", NAN);
    values->grid_farad = tl_part_number(m->amp, "grid", NAN);
    measure_controls(values, &m->rig->guitar);
    m->lesson->has_volume = !isnan(values->volume_ohm);
}

/// What the amp's end of the lead has in capacitance.
static double amp_farad(const tl_lesson_values* values) {
    return (isnan(values->amp_farad) ? 0 : values->amp_farad) +
           (isnan(values->grid_farad) ? 0 : values->grid_farad);
}

/// The formula on paper: an inductance with the sum of the capacitances resonates at
/// f = 1 / (2 pi sqrt(L C)); 1/Q = 2 pi f L / R_load + R / (2 pi f L): what the load takes out, and
/// what the wire's resistance does (second-order low-pass, losses small; any circuit text).
static void add_formula(const tl_lesson_values* values, tl_lesson_line* line) {
    double farad = values->winding_farad + line->farad + amp_farad(values);
    line->formula_hz = 1 / (2 * M_PI * sqrt(values->henry * farad));
    double reactance_ohm = 2 * M_PI * line->formula_hz * values->henry;
    line->formula_q = 1 / (reactance_ohm / values->load_ohm + values->ohm / reactance_ohm);
}

static double difference_db(const tl_lesson_line* line, const tl_lesson_line* other,
                            const tl_hearing* hearing) {
    return tl_response_db(line->response, treble_hz) - tl_response_db(other->response, treble_hz) -
           hearing->level_db;
}

static tl_hearing hear(const tl_lesson_line* line, const tl_lesson_line* other) {
    return tl_hearing_compare(line->response, &line->metrics, other->response, &other->metrics);
}

static void hold_against(tl_lesson_line* line, const tl_lesson_line* other) {
    line->hearing = hear(line, other);
    line->at_5khz_db = difference_db(line, other, &line->hearing);
}

static void add_steps(tl_lesson* lesson) {
    static const size_t ends[TL_LESSON_STEPS][2] = {{1, 3}, {3, 5}}; // 3 to 9 m, 9 to 15 m
    for (size_t i = 0; i < TL_LESSON_STEPS; ++i) {
        const tl_lesson_line* from = &lesson->lengths[ends[i][0]];
        const tl_lesson_line* to = &lesson->lengths[ends[i][1]];
        tl_hearing hearing = hear(to, from);
        lesson->steps[i] = (tl_lesson_step){from->length_m, to->length_m,
                                            difference_db(to, from, &hearing), hearing};
    }
}

/// Everything that compares one line-up with another.
static void compare_lines(tl_lesson* lesson) {
    const tl_lesson_line* usual = &lesson->lengths[USUAL];
    double shared_farad = usual->farad + amp_farad(&lesson->values);
    for (size_t i = 0; i < TL_LESSON_LENGTHS; ++i) {
        hold_against(&lesson->lengths[i], &lesson->lengths[0]);
        hold_against(&lesson->buffered[i], &lesson->lengths[0]);
        add_formula(&lesson->values, &lesson->lengths[i]);
        double apart_db = fabs(hear(&lesson->buffered[i], &lesson->buffered[0]).worst_db);
        lesson->buffered_apart_db = fmax(lesson->buffered_apart_db, apart_db);
    }
    const tl_lesson_line* longest = &lesson->lengths[TL_LESSON_LENGTHS - 1];
    const tl_lesson_line* saved = &lesson->buffered[TL_LESSON_LENGTHS - 1];
    tl_hearing given = hear(saved, longest);
    lesson->given_back_db = difference_db(saved, longest, &given);
    for (size_t i = 0; lesson->has_volume && i < TL_LESSON_VOLUMES; ++i) {
        tl_lesson_volume* parts = &lesson->volume_parts[i];
        hold_against(&lesson->volumes[i], &lesson->volumes[0]);
        double ohm = 1 / (1 / parts->upper_ohm + 1 / parts->lower_ohm);
        parts->corner_hz = parts->upper_ohm > 0 ? 1 / (2 * M_PI * ohm * shared_farad) : NAN;
    }
    for (size_t i = 0; i < TL_LESSON_JOINTS; ++i)
        hold_against(&lesson->joints[i], usual);
    if (lesson->loss_free.response)
        hold_against(&lesson->loss_free, usual);
    hold_against(&lesson->rig, &lesson->direct);
    add_steps(lesson);
}

/// Takes a solved response out of its answer.
static void take_solved(tl_lesson* lesson, tl_lesson_line* line, tl_solved* solved) {
    line->response = solved->response;
    line->metrics = solved->metrics;
    solved->response = NULL;
    lesson->residual = fmax(lesson->residual, solved->residual);
}

static void blame(void* context, size_t index, tl_error* error) {
    (void)index;
    tl_error_prefix(error, "%s", tl_rig_path(context));
}

static tl_status solve_lines(making* m, double reference_hz, tl_error* error) {
    tl_lesson* lesson = m->lesson;
    lesson->rig.label = tl_copy("the rig as it stands");
    lesson->direct.label = tl_copy("plugged straight in");
    lesson->rig.length_m = lesson->direct.length_m = NAN;
    lesson->rig.formula_hz = lesson->rig.formula_q = NAN;
    lesson->direct.formula_hz = lesson->direct.formula_q = NAN;
    m->circuits[m->count] = tl_circuit_build(m->rig);
    m->lines[m->count++] = &lesson->rig;
    tl_answer* answers[MOST_LINES];
    tl_batch batch = {m->circuits, m->count, reference_hz, blame, m->rig};
    tl_status status = tl_batch_solve(m->session, &batch, answers, error);
    if (status != TL_OK)
        return status;
    if (answers[m->count - 1]->count > 2)
        lesson->amp = tl_copy(answers[m->count - 1]->solved[0].amp);
    take_solved(lesson, &lesson->direct, &answers[m->count - 1]->solved[1]);
    for (size_t i = 0; i < m->count; ++i) {
        lesson->solves += answers[i]->solves;
        take_solved(lesson, m->lines[i], &answers[i]->solved[0]);
        tl_answer_free(answers[i]);
    }
    compare_lines(lesson);
    return TL_OK;
}

/// Lists a part's values, but for how it is used, which the lesson decides.
static void list_part(tl_inspection* list, const tl_part* part, const char* otherwise) {
    tl_part* bare = tl_part_clone(part);
    static const char* const uses[] = {"length", "position"};
    for (size_t i = 0; i < sizeof uses / sizeof *uses; ++i) {
        int field = tl_part_field(bare->kind, uses[i]);
        if (field >= 0)
            bare->values[field].given = false;
    }
    char* name = tl_printf("%s %s", bare->kind->name, part->library ? part->library : otherwise);
    tl_listing_part(list, bare, name, "");
    free(name);
    tl_part_free(bare);
}

static void list_control(void* context, tl_part* control) {
    list_part(context, control, "of the guitar");
}

static tl_status list_joints(making* m, tl_inspection* list, tl_error* error) {
    for (size_t i = 0; i < TL_LESSON_JOINTS; ++i) {
        tl_part* joint = NULL;
        if (!joints[i].library)
            continue;
        tl_status status = library_part(m, &tl_kind_contact, joints[i].library, &joint, error);
        if (status != TL_OK)
            return status;
        list_part(list, joint, "");
        tl_part_free(joint);
    }
    return TL_OK;
}

/// Every value the lesson rests on, with where it came from.
static tl_status list_sources(making* m, tl_error* error) {
    tl_inspection* list = tl_new(1, sizeof *list);
    for (size_t i = 0; i < m->rig->guitar.voice_count; ++i)
        list_part(list, m->rig->guitar.voices[i].pickup, "of the guitar");
    visit_controls(&m->rig->guitar, list_control, list);
    list_part(list, m->cable, "of the rig");
    list_part(list, m->amp, "of the rig");
    list_part(list, m->buffer, "of the rig");
    tl_status status = list_joints(m, list, error);
    m->lesson->sources = tl_new(list->count, sizeof *m->lesson->sources);
    m->lesson->source_count = list->count;
    for (size_t i = 0; i < list->count; ++i) {
        tl_listing* row = &list->rows[i];
        m->lesson->sources[i] = (tl_lesson_source){row->part, row->field, row->value, row->origin};
        row->part = row->field = row->value = row->origin = NULL;
    }
    tl_inspection_free(list);
    return status;
}

static unsigned longest_sections(const making* m) {
    tl_part* longest = tl_part_clone(m->cable);
    tl_part_set_number(longest, "length", lengths_m[TL_LESSON_LENGTHS - 1]);
    unsigned sections = tl_cable_sections(longest);
    tl_part_free(longest);
    return sections;
}

static tl_status make_lesson(making* m, double reference_hz, tl_error* error) {
    if (m->rig->guitar.source)
        return tl_error_at(error, &m->rig->guitar.source->place,
                           "a lesson is about what leads do to a magnetic pickup, and this guitar "
                           "has an active source instead: leads hardly matter to it");
    m->lesson->usual = USUAL;
    tl_status status = choose_parts(m, error);
    if (status != TL_OK)
        return status;
    measure(m);
    m->sections = longest_sections(m);
    m->base = make_base(m);
    add_lengths(m);
    add_volumes(m);
    add_loss_free(m);
    status = add_joints(m, error);
    if (status == TL_OK)
        status = solve_lines(m, reference_hz, error);
    if (status == TL_OK)
        status = list_sources(m, error);
    return status;
}

static tl_status study_lesson(tl_session* session, tl_rig* rig, double reference_hz,
                              tl_lesson** lesson, tl_error* error) {
    *lesson = NULL;
    making m = {.session = session, .rig = rig, .lesson = tl_new(1, sizeof *m.lesson)};
    tl_status status = make_lesson(&m, reference_hz, error);
    for (size_t i = 0; i < m.count; ++i)
        tl_circuit_free(m.circuits[i]);
    tl_rig_free(m.base);
    tl_part_free(m.own_cable);
    tl_part_free(m.own_buffer);
    if (status == TL_OK)
        *lesson = m.lesson;
    else
        tl_lesson_free(m.lesson);
    return status;
}

tl_status tl_study_lesson(tl_session* session, tl_rig* rig, double reference_hz, tl_lesson** lesson,
                          tl_error* error) {
    tl_locale locale = tl_locale_plain();
    tl_status result = study_lesson(session, rig, reference_hz, lesson, error);
    tl_locale_restore(locale);
    return result;
}

static void free_lines(tl_lesson_line* lines, size_t count) {
    for (size_t i = 0; i < count; ++i) {
        free(lines[i].label);
        tl_response_free(lines[i].response);
    }
}

void tl_lesson_free(tl_lesson* lesson) {
    if (!lesson)
        return;
    free_lines(lesson->lengths, TL_LESSON_LENGTHS);
    free_lines(lesson->buffered, TL_LESSON_LENGTHS);
    free_lines(lesson->volumes, TL_LESSON_VOLUMES);
    free_lines(lesson->joints, TL_LESSON_JOINTS);
    free_lines(&lesson->loss_free, 1);
    free_lines(&lesson->rig, 1);
    free_lines(&lesson->direct, 1);
    for (size_t i = 0; i < lesson->source_count; ++i) {
        free(lesson->sources[i].part);
        free(lesson->sources[i].field);
        free(lesson->sources[i].value);
        free(lesson->sources[i].origin);
    }
    free(lesson->sources);
    free(lesson->cable);
    free(lesson->buffer);
    free(lesson->amp);
    free(lesson);
}
