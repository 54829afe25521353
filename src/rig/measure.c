// SPDX-License-Identifier: GPL-3.0-or-later
#include "rig/measure.h"

#include "base/text.h"
#include "parts/kinds.h"
#include "parts/library.h"
#include "parts/value.h"
#include "rig/rig.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

void tl_measure_free(tl_measure* measure) {
    if (!measure)
        return;
    tl_part_free(measure->settings);
    tl_part_free(measure->dummy);
    tl_part_free(measure->generator);
    tl_part_free(measure->meter);
    free(measure->hz);
    free(measure);
}

// ---- reading

/// A part with all its values; keys in `others` are somebody else's.
static tl_status read_part(const tl_rig* rig, const tl_part_kind* kind, const tl_yaml* node,
                           const char* const* others, tl_part** part, tl_error* error) {
    tl_status status = tl_part_read(rig->library, kind, node, others, part, error);
    if (status == TL_OK && (*part)->follows)
        return tl_error_at(error, &(*part)->follows_place, "%s of 'measure' follows nothing",
                           kind->about);
    if (status == TL_OK)
        (*part)->place = node->place;
    return status == TL_OK ? tl_part_check(*part, true, error) : status;
}

/// A pickup's values or its library name; `none` leaves the dummy out.
static tl_status read_dummy(tl_rig* rig, const tl_yaml* node, tl_error* error) {
    if (node->kind == TL_YAML_SCALAR && strcmp(node->text, "none") == 0) {
        rig->measure->bare = true;
        return TL_OK;
    }
    return read_part(rig, &tl_kind_pickup, node, NULL, &rig->measure->dummy, error);
}

static tl_status read_frequencies(tl_rig* rig, const tl_yaml* node, tl_error* error) {
    tl_measure* measure = rig->measure;
    tl_status status = tl_yaml_expect(node, TL_YAML_LIST, "frequencies", error);
    if (status != TL_OK)
        return status;
    if (node->count < 1 || node->count > TL_MEASURE_MOST_FREQUENCIES)
        return tl_error_at(error, &node->place,
                           "expected 1 to %d frequencies, as [100 Hz, 1 kHz, 5 kHz]",
                           TL_MEASURE_MOST_FREQUENCIES);
    measure->hz = tl_new(node->count, sizeof *measure->hz);
    for (size_t i = 0; i < node->count; ++i) {
        const tl_yaml* item = node->items[i];
        tl_value value = {0};
        status = tl_value_read(tl_library_units(rig->library), tl_measure_frequency, item, false,
                               &value, error);
        if (status != TL_OK)
            return status;
        if (value.tolerance.given)
            return tl_error_at(error, &item->place, "a frequency to measure at has no tolerance");
        if (i && value.number <= measure->hz[i - 1])
            return tl_error_at(error, &item->place,
                               value.number == measure->hz[i - 1]
                                   ? "the same frequency twice"
                                   : "frequencies are measured from low to high: this one is below "
                                     "the one before it");
        measure->hz[measure->hz_count++] = value.number;
    }
    return TL_OK;
}

tl_status tl_measure_read(tl_rig* rig, const tl_yaml* node, tl_error* error) {
    static const char* const others[] = {"dummy", "generator", "meter", "frequencies", NULL};
    rig->measure = tl_new(1, sizeof *rig->measure);
    rig->measure->place = node->place;
    tl_status status = tl_yaml_expect(node, TL_YAML_MAP, "'measure'", error);
    if (status == TL_OK)
        status = read_part(rig, &tl_kind_measure, node, others, &rig->measure->settings, error);
    const tl_yaml* dummy = status == TL_OK ? tl_yaml_get(node, "dummy") : NULL;
    if (dummy)
        status = read_dummy(rig, dummy, error);
    const tl_yaml* generator = status == TL_OK ? tl_yaml_get(node, "generator") : NULL;
    if (generator)
        status =
            read_part(rig, &tl_kind_generator, generator, NULL, &rig->measure->generator, error);
    const tl_yaml* meter = status == TL_OK ? tl_yaml_get(node, "meter") : NULL;
    if (meter)
        status = read_part(rig, &tl_kind_meter, meter, NULL, &rig->measure->meter, error);
    const tl_yaml* frequencies = status == TL_OK ? tl_yaml_get(node, "frequencies") : NULL;
    return frequencies ? read_frequencies(rig, frequencies, error) : status;
}

void tl_measure_each_part(tl_measure* measure,
                          void (*visit)(void* context, tl_part* part, const char* name,
                                        const char* path),
                          void* context) {
    if (measure->settings)
        visit(context, measure->settings, NULL, "measure");
    if (measure->dummy)
        visit(context, measure->dummy, "dummy", "measure.dummy");
    if (measure->generator)
        visit(context, measure->generator, NULL, "measure.generator");
    if (measure->meter)
        visit(context, measure->meter, NULL, "measure.meter");
}

// ---- what is taken

/// A number that the file may say, and whether it did not.
static double number_of(const tl_part* part, const char* field, double otherwise, bool* assumed) {
    *assumed = *assumed || !part || !tl_part_has(part, field);
    return part ? tl_part_number(part, field, otherwise) : otherwise;
}

tl_measure_terms tl_measure_of(const tl_rig* rig) {
    static const tl_measure nothing = {0};
    const tl_measure* said = rig->measure ? rig->measure : &nothing;
    tl_measure_terms terms = {.stated = rig->measure != NULL, .bare = said->bare};
    terms.dummy = said->dummy;
    terms.dummy_stated = said->dummy || said->bare;
    if (!terms.dummy_stated)
        terms.dummy = rig->guitar.source ? rig->guitar.source : rig->guitar.voices[0].pickup;
    terms.generator_ohm = number_of(said->generator, "resistance", TL_MEASURE_GENERATOR_OHM,
                                    &terms.generator_assumed);
    terms.level_v = number_of(said->generator, "level", TL_MEASURE_LEVEL_V, &terms.level_assumed);
    terms.meter_ohm =
        number_of(said->meter, "resistance", TL_MEASURE_METER_OHM, &terms.meter_assumed);
    terms.meter_farad =
        number_of(said->meter, "capacitance", TL_MEASURE_METER_FARAD, &terms.meter_assumed);
    terms.uncertainty_db = number_of(said->meter, "uncertainty", TL_MEASURE_UNCERTAINTY_DB,
                                     &terms.uncertainty_assumed);
    terms.amp = said->settings && tl_part_chosen(said->settings, "amp", "connected");
    terms.controls = said->settings && tl_part_chosen(said->settings, "controls", "yes");
    terms.hz = said->hz;
    terms.hz_count = said->hz_count;
    return terms;
}

// ---- the rig on the bench

/// A value made of others: how far it may be off is known, and no default of its kind applies.
static void set_value(tl_part* part, const char* field, double number, double share) {
    tl_value value = {.given = true, .number = number};
    value.tolerance = (tl_value_tolerance){.given = true, .share = share};
    part->values[tl_part_field(part->kind, field)] = value;
}

/// How far a value that someone wrote in the rig may be off; what a library says of its kind does
/// not count, since a dummy is one box of known parts.
static double share_of(const tl_part* part, const char* field, double otherwise) {
    const tl_value* value = part ? tl_part_value(part, field) : NULL;
    bool written = value && value->given && !value->library && value->tolerance.given;
    return written ? value->tolerance.share : otherwise;
}

/// The dummy as a pickup: the generator's resistance is in series with its coil.
static tl_part* make_dummy(const tl_measure_terms* terms, const tl_part* generator) {
    static const char* const own[] = {"inductance", "resistance", "capacitance", "eddy.fraction",
                                      "eddy.resistance"};
    tl_part* dummy = tl_part_new(&tl_kind_pickup);
    dummy->place = terms->dummy->place;
    for (size_t i = 0; i < sizeof own / sizeof *own; ++i) {
        bool fraction = strcmp(own[i], "eddy.fraction") == 0;
        if (!tl_part_has(terms->dummy, own[i]))
            continue;
        double share = terms->dummy_stated
                           ? share_of(terms->dummy, own[i], fraction ? 0 : TL_MEASURE_DUMMY_SHARE)
                       : fraction ? 0
                                  : TL_MEASURE_DUMMY_SHARE;
        set_value(dummy, own[i], tl_part_number(terms->dummy, own[i], 0), share);
    }
    double coil_ohm = tl_part_number(dummy, "resistance", 0);
    double coil_share = tl_part_value(dummy, "resistance")->tolerance.share;
    double off_ohm =
        hypot(coil_ohm * coil_share, terms->generator_ohm * share_of(generator, "resistance", 0));
    double ohm = coil_ohm + terms->generator_ohm;
    set_value(dummy, "resistance", ohm, off_ohm / ohm);
    return dummy;
}

/// The generator where no coil is: by itself, or behind an active guitar's output resistance.
static tl_part* make_source(const tl_measure_terms* terms, const tl_part* generator) {
    tl_part* source = tl_part_new(&tl_kind_source);
    double own_ohm = terms->bare ? 0 : tl_part_number(terms->dummy, "output.resistance", 0);
    double ohm = own_ohm + terms->generator_ohm;
    double off_ohm = hypot(own_ohm * TL_MEASURE_DUMMY_SHARE,
                           terms->generator_ohm * share_of(generator, "resistance", 0));
    set_value(source, "output.resistance", ohm, ohm > 0 ? off_ohm / ohm : 0);
    if (!terms->bare && tl_part_has(terms->dummy, "output.coupling"))
        set_value(source, "output.coupling", tl_part_number(terms->dummy, "output.coupling", 0),
                  TL_MEASURE_DUMMY_SHARE);
    return source;
}

/// Puts the generator in the guitar's place. Controls stay when the file says so: those that all
/// pickups share, and those of a single one.
static void replace_guitar(tl_rig* rig, const tl_measure_terms* terms) {
    const tl_part* generator = rig->measure ? rig->measure->generator : NULL;
    tl_guitar* guitar = &rig->guitar;
    tl_voice voice = {.place = guitar->place};
    tl_part* source = NULL;
    if (terms->bare || terms->dummy->kind == &tl_kind_source)
        source = make_source(terms, generator);
    else
        voice.pickup = make_dummy(terms, generator);
    bool one = guitar->voice_count == 1 && voice.pickup;
    for (size_t i = 0; i < guitar->voice_count; ++i) {
        tl_voice* old = &guitar->voices[i];
        if (one && terms->controls) {
            voice.volume = old->volume;
            voice.tone = old->tone;
        } else {
            tl_part_free(old->volume);
            tl_part_free(old->tone);
        }
        tl_part_free(old->pickup);
        free(old->name);
    }
    free(guitar->voices);
    guitar->voices = voice.pickup ? tl_new(1, sizeof *guitar->voices) : NULL;
    guitar->voice_count = voice.pickup ? 1 : 0;
    if (voice.pickup)
        guitar->voices[0] = voice;
    tl_part_free(guitar->source);
    guitar->source = source;
    tl_part_free(guitar->wiring);
    guitar->wiring = NULL;
    guitar->listed = false;
    if (terms->controls)
        return;
    tl_part_free(guitar->volume);
    tl_part_free(guitar->tone);
    guitar->volume = NULL;
    guitar->tone = NULL;
}

/// How far off a value made of two that add up (as capacitances side by side do) may be.
static double share_of_sum(double one, double one_share, double two, double two_share) {
    return one + two > 0 ? hypot(one * one_share, two * two_share) / (one + two) : 0;
}

/// The tolerance that holds for an amp's value.
static tl_status amp_share(const tl_rig* rig, const tl_part* amp, const char* field, double* share,
                           tl_error* error) {
    tl_value_tolerance tolerance = {0};
    tl_status status = tl_part_tolerance(rig->library, amp, (size_t)tl_part_field(amp->kind, field),
                                         &tolerance, error);
    *share = tolerance.given ? tolerance.share : 0;
    return status;
}

/// The meter by itself, or across the amp's jack.
static tl_status make_meter(const tl_rig* rig, const tl_measure_terms* terms, const tl_part* amp,
                            tl_part** made, tl_error* error) {
    const tl_part* said = rig->measure ? rig->measure->meter : NULL;
    bool said_farad = said && tl_part_has(said, "capacitance");
    double ohm_share = share_of(said, "resistance", 0);
    double farad_share = share_of(said, "capacitance", said_farad ? 0 : TL_MEASURE_METER_SHARE);
    tl_part* meter = terms->amp ? tl_part_clone(amp) : tl_part_new(&tl_kind_amp);
    double siemens = 1 / terms->meter_ohm;
    double farad = terms->meter_farad;
    tl_status status = TL_OK;
    if (terms->amp) {
        double amp_ohm_share = 0;
        double amp_farad_share = 0;
        status = amp_share(rig, amp, "resistance", &amp_ohm_share, error);
        if (status == TL_OK)
            status = amp_share(rig, amp, "capacitance", &amp_farad_share, error);
        double amp_siemens = 1 / tl_part_number(amp, "resistance", 0);
        double amp_farad = tl_part_number(amp, "capacitance", 0);
        ohm_share = share_of_sum(siemens, ohm_share, amp_siemens, amp_ohm_share);
        farad_share = share_of_sum(farad, farad_share, amp_farad, amp_farad_share);
        siemens += amp_siemens;
        farad += amp_farad;
        meter->values[tl_part_field(&tl_kind_amp, "read")] =
            (tl_value){.given = true, .number = 1}; // at the jack
    }
    set_value(meter, "resistance", 1 / siemens, ohm_share);
    if (farad > 0)
        set_value(meter, "capacitance", farad, farad_share);
    *made = meter;
    return status;
}

/// A walk over the ends of a rig, in the order of its answers.
typedef struct {
    const tl_rig* rig;
    const tl_measure_terms* terms; ///< NULL: names are collected only
    const char* wanted;            ///< where the meter is
    bool found;
    char** names;
    size_t count;
    tl_error* error;
} end_walk;

static tl_status walk_chain(end_walk* w, tl_chain* chain, const char* name);

/// Comes to an amp: the meter's, or one that is left out or stays.
static tl_status come_to_amp(end_walk* w, tl_branch* branch, const char* name) {
    if (!w->terms) {
        w->names = tl_grow(w->names, w->count + 1, sizeof *w->names);
        w->names[w->count++] = tl_copy(name);
        return TL_OK;
    }
    bool here = !w->found && strcmp(name, w->wanted) == 0;
    if (!here && w->terms->amp)
        return TL_OK;
    tl_part* amp = branch->amp;
    tl_status status = TL_OK;
    branch->amp = NULL;
    if (here) {
        w->found = true;
        status = make_meter(w->rig, w->terms, amp, &branch->amp, w->error);
    }
    tl_part_free(amp);
    return status;
}

static tl_status walk_branch(end_walk* w, tl_branch* branch, const char* name) {
    tl_status status = walk_chain(w, &branch->chain, name);
    return status == TL_OK && branch->amp ? come_to_amp(w, branch, name ? name : "amp") : status;
}

static tl_status walk_chain(end_walk* w, tl_chain* chain, const char* name) {
    tl_status status = TL_OK;
    for (size_t i = 0; i < chain->count; ++i) {
        tl_item* item = &chain->items[i];
        for (size_t j = 0; status == TL_OK && j < item->branch_count; ++j) {
            char* inner = name ? tl_printf("%s/%s", name, item->branches[j].name)
                               : tl_copy(item->branches[j].name);
            status = walk_branch(w, &item->branches[j], inner);
            free(inner);
        }
        if (status == TL_OK)
            status = walk_chain(w, &item->loop, name);
    }
    return status;
}

size_t tl_measure_ends(const tl_rig* rig, char*** names) {
    tl_rig* copy = tl_rig_clone(rig);
    end_walk w = {.rig = copy};
    walk_branch(&w, &copy->main, NULL);
    tl_rig_free(copy);
    *names = w.names;
    return w.count;
}

tl_status tl_measure_rig(const tl_rig* rig, const char* end, tl_rig** measured, tl_error* error) {
    char** ends = NULL;
    size_t count = tl_measure_ends(rig, &ends);
    tl_measure_terms terms = tl_measure_of(rig);
    tl_rig* made = tl_rig_clone(rig);
    end_walk w = {.rig = made,
                  .terms = &terms,
                  .wanted = end     ? end
                            : count ? ends[0]
                                    : "",
                  .error = error};
    *measured = NULL;
    tl_status status = walk_branch(&w, &made->main, NULL);
    if (status == TL_OK && !w.found)
        status =
            end ? tl_error_set(error, TL_BAD_INPUT, "%s: no end of the name '%s' to measure at",
                               tl_rig_path(rig), end)
                : tl_error_set(error, TL_BAD_INPUT, "%s: no amp, so no end to measure at",
                               tl_rig_path(rig));
    if (status == TL_OK)
        replace_guitar(made, &terms);
    tl_words_free(ends, count);
    if (status != TL_OK) {
        tl_rig_free(made);
        made = NULL;
    }
    *measured = made;
    return status;
}
