// SPDX-License-Identifier: GPL-3.0-or-later
// What there is to know about an assignment: what would do harm, what may hum or not start, what
// needs another plug.
#include "base/text.h"
#include "parts/kinds.h"
#include "study/power_work.h"

#include <math.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

/// A pedal that gets less than this of its volts is told (common practice: 5 %).
static const double least_share = 0.95;

/// Adds a finding, made as by printf().
static void TL_PRINTF(6, 7) add(tl_power_work* w, tl_power_gravity gravity, const char* kind,
                                size_t pedal, size_t output, const char* format, ...) {
    tl_power_plan* plan = w->plan;
    tl_text words = {0};
    va_list args;
    va_start(args, format);
    tl_text_addv(&words, format, args);
    va_end(args);
    plan->findings = tl_grow_one(plan->findings, plan->finding_count, sizeof *plan->findings);
    plan->findings[plan->finding_count++] =
        (tl_power_finding){gravity, kind, pedal, output, tl_text_take(&words)};
}

static bool has_volts(const tl_board_output* output, double volts_v) {
    for (size_t i = 0; i < output->volt_count; ++i)
        if (fabs(output->volts_v[i] - volts_v) < 5e-3)
            return true;
    return false;
}

static void judge_volts(tl_power_work* w, size_t i) {
    const tl_power_pedal* pedal = &w->plan->pedals[i];
    const tl_power_output* output = &w->plan->outputs[pedal->output];
    if (has_volts(&w->board->outputs[pedal->output], pedal->volts_v))
        return;
    bool over = output->volts_v > pedal->volts_v;
    add(w, TL_POWER_ERROR, over ? "over-voltage" : "under-voltage", i, pedal->output,
        over ? "'%s' is made for %.6g V and gets %.6g V from %s: that can destroy it."
             : "'%s' is made for %.6g V and gets only %.6g V from %s: it may not work, or "
               "distort early.",
        pedal->name, pedal->volts_v, output->volts_v, output->name);
}

static void judge_polarity(tl_power_work* w, size_t i) {
    const tl_power_pedal* pedal = &w->plan->pedals[i];
    const tl_power_output* output = &w->plan->outputs[pedal->output];
    if (strcmp(pedal->polarity, output->polarity) == 0)
        return;
    const char* harm =
        strcmp(output->polarity, "ac") == 0  ? "fed with AC, a pedal made for DC can be destroyed"
        : strcmp(pedal->polarity, "ac") == 0 ? "a pedal made for AC does not work on DC"
                                             : "fed the wrong way round it can be destroyed";
    add(w, TL_POWER_ERROR, "polarity", i, pedal->output, "'%s' wants %s and %s is %s: %s.",
        pedal->name, pedal->polarity, output->name, output->polarity, harm);
}

/// The part of an output by its number among all of them.
static const tl_part* plug_of(const tl_power* power, size_t output) {
    size_t supply = 0;
    for (; output >= power->supplies[supply].output_count; ++supply)
        output -= power->supplies[supply].output_count;
    return power->supplies[supply].outputs[output].part;
}

/// The tip of the lead must fit; an adapter does it, so this is a note.
static void judge_connector(tl_power_work* w, size_t i) {
    const tl_consumer* consumer = &w->power->consumers[i];
    const tl_power_output* output = &w->plan->outputs[w->at[i]];
    const char* wants = tl_part_choice(consumer->part, "connector");
    const char* has = tl_part_choice(plug_of(w->power, w->at[i]), "connector");
    if (wants && strcmp(wants, has ? has : "barrel-2.1") != 0)
        add(w, TL_POWER_NOTE, "connector", i, w->at[i],
            "'%s' takes a %s plug and %s has %s: it needs an adapter lead.", consumer->name, wants,
            output->name, has ? has : "barrel-2.1 (not stated: the usual one)");
}

static void judge_drop(tl_power_work* w, size_t i) {
    const tl_power_pedal* pedal = &w->plan->pedals[i];
    double volts_v = w->plan->outputs[pedal->output].volts_v;
    if (!(pedal->arrives_v < least_share * volts_v))
        return;
    add(w, TL_POWER_WARNING, "drop", i, pedal->output,
        "Only %.2f of %.6g V reach '%s', a drop of %.0f %%, where up to %.0f %% is common "
        "practice: "
        "its lead (%.3g m) is too thin or too long, or its joints are bad (%.3g ohm there and "
        "back).",
        pedal->arrives_v, volts_v, pedal->name, 100 * (1 - pedal->arrives_v / volts_v),
        100 * (1 - least_share), pedal->lead_m, pedal->lead_ohm);
}

/// Who hangs on an output's return and must not share it with a pedal; or TL_NOWHERE.
static size_t find_apart(const tl_power_work* w, size_t pedal, size_t output) {
    for (size_t i = 0; i < w->plan->pedal_count; ++i)
        if (w->at[i] != TL_NOWHERE &&
            w->board->outputs[w->at[i]].group == w->board->outputs[output].group &&
            tl_board_apart(w->board, pedal, i) != TL_APART_NOT)
            return i;
    return TL_NOWHERE;
}

/// What may still be drawn of an output as things stand, mA; less than nothing where it is set to
/// other volts.
static double left_ma(const tl_power_work* w, size_t pedal, size_t output) {
    const tl_power_output* about = &w->plan->outputs[output];
    double share = 1 - w->board->headroom;
    if (about->pedals && fabs(about->volts_v - w->board->pedals[pedal].volts_v) > 5e-3)
        return -1;
    double left_mw = w->board->supply_mw[about->supply] * share -
                     tl_board_supply_mw(w->board, w->at, about->supply);
    return fmax(0, fmin(1e3 * (about->limit_a * share - about->load_a),
                        left_mw / w->board->pedals[pedal].volts_v));
}

/// Whom it would have to share with and must not, wherever it fits; TL_NOWHERE: there is a place.
static size_t find_barred(const tl_power_work* w, size_t pedal, size_t* output) {
    size_t other = TL_NOWHERE;
    for (size_t i = 0; i < w->plan->output_count; ++i) {
        if (!tl_board_fits(w->board, pedal, i))
            continue;
        size_t here = find_apart(w, pedal, i);
        if (here == TL_NOWHERE)
            return TL_NOWHERE;
        if (other == TL_NOWHERE) {
            *output = i;
            other = here;
        }
    }
    return other;
}

/// Why a pedal is left without, as the others now stand.
static char* unfed_reason(const tl_power_work* w, size_t pedal) {
    const tl_board_pedal* about = &w->board->pedals[pedal];
    const char* misfit = tl_power_misfit(w, pedal);
    if (misfit)
        return tl_copy(misfit);
    size_t at = 0;
    size_t other = find_barred(w, pedal, &at);
    if (other != TL_NOWHERE)
        return tl_printf("on %s it would share a return with '%s', and %s",
                         w->plan->outputs[at].name, w->plan->pedals[other].name,
                         tl_board_apart(w->board, pedal, other) == TL_APART_HUM
                             ? "digital must not be beside high-gain"
                             : "one of the two has its plus on ground");
    double most_ma = -1;
    for (size_t i = 0; i < w->plan->output_count; ++i)
        if (tl_board_fits(w->board, pedal, i) && find_apart(w, pedal, i) == TL_NOWHERE)
            most_ma = fmax(most_ma, left_ma(w, pedal, i));
    if (most_ma < 0)
        return tl_copy("the outputs that could be set to its volts are set to others");
    return tl_printf("it draws %.6g mA, and as the others stand no output that could feed it may "
                     "give more than another %.6g mA",
                     about->current_ma, most_ma);
}

static void judge_pedals(tl_power_work* w) {
    for (size_t i = 0; i < w->plan->pedal_count; ++i) {
        if (w->at[i] == TL_NOWHERE) {
            char* reason = unfed_reason(w, i);
            add(w, TL_POWER_ERROR, "unpowered", i, TL_POWER_NONE,
                "'%s' is left without an output: %s.", w->plan->pedals[i].name, reason);
            free(reason);
            continue;
        }
        judge_polarity(w, i);
        judge_volts(w, i);
        judge_connector(w, i);
        judge_drop(w, i);
    }
}

static void judge_load(tl_power_work* w, size_t i) {
    const tl_power_output* output = &w->plan->outputs[i];
    double usable_a = output->limit_a * (1 - w->plan->headroom);
    if (output->load_a > output->limit_a + 1e-7)
        add(w, TL_POWER_ERROR, "over-current", TL_POWER_NONE, i,
            "%s is asked for %.6g mA and gives %.6g mA: it will sag, cut out or overheat.",
            output->name, 1e3 * output->load_a, 1e3 * output->limit_a);
    else if (output->load_a > usable_a + 1e-7)
        add(w, TL_POWER_WARNING, "headroom", TL_POWER_NONE, i,
            "%s gives %.6g of its %.6g mA: less than %.4g %% is left.", output->name,
            1e3 * output->load_a, 1e3 * output->limit_a, 100 * w->plan->headroom);
}

/// Common practice: most supplies ride through tens of ms, so this is no error.
static void judge_surge(tl_power_work* w, size_t i) {
    const tl_power_output* output = &w->plan->outputs[i];
    size_t who = 0;
    double surge_ma = tl_board_surge_ma(w->board, w->at, i, &who);
    if (who == TL_NOWHERE || surge_ma <= w->board->outputs[i].peak_ma + 1e-4)
        return;
    char* others =
        output->pedals > 1 ? tl_printf(", or the others on %s blink", output->name) : tl_copy("");
    add(w, TL_POWER_WARNING, "inrush", who, i,
        "When '%s' starts, %s is asked for %.0f mA for a moment and is said to give %.0f mA: it "
        "may "
        "not start%s.",
        w->plan->pedals[who].name, output->name, surge_ma, 1e3 * output->peak_a, others);
    free(others);
}

/// Pedals of unlike volts on one output: at most one of them is right.
static void judge_unlike(tl_power_work* w, size_t output) {
    size_t first = TL_NOWHERE;
    for (size_t i = 0; i < w->plan->pedal_count; ++i) {
        if (w->at[i] != output)
            continue;
        if (first == TL_NOWHERE) {
            first = i;
        } else if (fabs(w->plan->pedals[i].volts_v - w->plan->pedals[first].volts_v) > 5e-3) {
            add(w, TL_POWER_ERROR, "unlike-voltages", i, output,
                "'%s' (%.6g V) and '%s' (%.6g V) hang on one output, %s.",
                w->plan->pedals[first].name, w->plan->pedals[first].volts_v,
                w->plan->pedals[i].name, w->plan->pedals[i].volts_v, w->plan->outputs[output].name);
            return;
        }
    }
}

static void judge_outputs(tl_power_work* w) {
    for (size_t i = 0; i < w->plan->output_count; ++i) {
        judge_load(w, i);
        judge_unlike(w, i);
        judge_surge(w, i);
    }
    for (size_t i = 0; i < w->plan->supply_count; ++i) {
        const tl_power_supply* supply = &w->plan->supplies[i];
        if (supply->load_w > supply->limit_w * (1 + 1e-7))
            add(w, TL_POWER_ERROR, "over-power", TL_POWER_NONE, TL_POWER_NONE,
                "'%s' is asked for %.4g W and gives %.4g W in all.", supply->name, supply->load_w,
                supply->limit_w);
        else if (supply->load_w > supply->limit_w * (1 - w->plan->headroom) * (1 + 1e-7))
            add(w, TL_POWER_WARNING, "headroom", TL_POWER_NONE, TL_POWER_NONE,
                "'%s' gives %.4g of its %.4g W: less than %.4g %% is left.", supply->name,
                supply->load_w, supply->limit_w, 100 * w->plan->headroom);
    }
}

/// Two pedals on one return that should not meet.
static void judge_pair(tl_power_work* w, size_t one, size_t other) {
    const tl_board_pedal* a = &w->board->pedals[one];
    const tl_board_pedal* b = &w->board->pedals[other];
    const char* first = w->plan->pedals[one].name;
    const char* second = w->plan->pedals[other].name;
    if (a->positive_ground != b->positive_ground)
        add(w, TL_POWER_ERROR, "positive-ground", a->positive_ground ? one : other, w->at[one],
            "'%s' has its plus on ground and shares a return with '%s': through the audio leads "
            "that is a short circuit of the supply.",
            a->positive_ground ? first : second, a->positive_ground ? second : first);
    else if ((a->digital && b->high_gain) || (b->digital && a->high_gain))
        add(w, TL_POWER_WARNING, "digital-beside-high-gain", a->digital ? one : other, w->at[one],
            "Digital '%s' and high-gain '%s' share a return: its pulses are amplified. Give one of "
            "them an isolated output.",
            a->digital ? first : second, a->digital ? second : first);
}

/// Every return that two or more hang on.
static void judge_returns(tl_power_work* w) {
    tl_power_plan* plan = w->plan;
    size_t* members = tl_new(plan->pedal_count, sizeof *members);
    for (size_t group = 0; group < plan->group_count; ++group) {
        size_t count = 0;
        for (size_t i = 0; i < plan->pedal_count; ++i)
            if (w->at[i] != TL_NOWHERE && w->board->outputs[w->at[i]].group == group)
                members[count++] = i;
        for (size_t i = 0; i < count; ++i)
            for (size_t j = i + 1; j < count; ++j)
                judge_pair(w, members[i], members[j]);
        if (count < 2)
            continue;
        char* names = tl_power_names(plan, members, count);
        add(w, TL_POWER_NOTE, "shared-return", members[0], w->at[members[0]],
            "%s share one return of '%s': a ground loop through their audio leads, and a fault of "
            "one takes the others with it.",
            names, plan->supplies[plan->outputs[w->at[members[0]]].supply].name);
        free(names);
    }
    free(members);
}

static void judge_mains(tl_power_work* w) {
    for (size_t i = 0; i < w->plan->mains_count; ++i)
        for (size_t j = 0; j < w->plan->supply_count; ++j) {
            const tl_power_mains* mains = &w->plan->mains[i];
            const char* supply = w->plan->supplies[j].name;
            if (mains->takes[j] == TL_MAINS_REFUSED)
                add(w, mains->tour ? TL_POWER_WARNING : TL_POWER_ERROR, "mains", TL_POWER_NONE,
                    TL_POWER_NONE,
                    "'%s' is not made for %.4g V %.4g Hz: plugged in there it fails or burns.",
                    supply, mains->volts_v, mains->hz);
            else if (mains->takes[j] == TL_MAINS_SELECTOR)
                add(w, TL_POWER_NOTE, "mains", TL_POWER_NONE, TL_POWER_NONE,
                    "'%s' takes %.4g V %.4g Hz only with its selector set for it.", supply,
                    mains->volts_v, mains->hz);
        }
}

/// Pedals and buffers of the chain that no line of `pedals` names.
typedef struct {
    const tl_power* power;
    tl_text names;
    size_t count;
} unnamed;

static void look_at_part(void* context, tl_part* part, const tl_item* item, const char* path) {
    unnamed* u = context;
    bool draws = part->kind == &tl_kind_pedal || part->kind == &tl_kind_buffer;
    if (!item || !draws || strncmp(path, "direct", 6) == 0)
        return;
    for (size_t i = 0; i < u->power->consumer_count; ++i)
        if (u->power->consumers[i].item == item)
            return;
    tl_text_addf(&u->names, "%s", u->count++ ? ", " : "");
    if (item->name)
        tl_text_addf(&u->names, "'%s'", item->name);
    else
        tl_text_addf(&u->names, "%.*s", (int)(strlen(path) - strlen(part->kind->name) - 1), path);
}

static void judge_unnamed(tl_power_work* w) {
    unnamed u = {.power = w->power};
    tl_rig_each_part(w->rig, look_at_part, &u);
    if (u.count) {
        w->plan->unstated = tl_copy(tl_text_get(&u.names));
        w->plan->unstated_count = u.count;
        add(w, TL_POWER_NOTE, "unstated", TL_POWER_NONE, TL_POWER_NONE,
            "Nothing is said of what %s %s: taken to run on batteries or none.",
            tl_text_get(&u.names), u.count > 1 ? "draw" : "draws");
    }
    tl_text_free(&u.names);
}

/// Errors first, else in the order they were found.
static void sort_findings(tl_power_plan* plan) {
    tl_power_finding* sorted = tl_new(plan->finding_count, sizeof *sorted);
    size_t count = 0;
    for (int gravity = TL_POWER_ERROR; gravity <= TL_POWER_NOTE; ++gravity)
        for (size_t i = 0; i < plan->finding_count; ++i)
            if ((int)plan->findings[i].gravity == gravity)
                sorted[count++] = plan->findings[i];
    free(plan->findings);
    plan->findings = sorted;
}

void tl_power_findings(tl_power_work* w) {
    judge_pedals(w);
    judge_outputs(w);
    judge_returns(w);
    judge_mains(w);
    judge_unnamed(w);
    sort_findings(w->plan);
}
