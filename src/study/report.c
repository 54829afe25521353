// SPDX-License-Identifier: GPL-3.0-or-later
// Every answer on a rig, one study after the other, in one session: what they share (workers, the
// rig's noise, circuits that come to the same) is solved once.
#include "study/session.h"

#include "base/locale.h"
#include "base/quantity.h"
#include "base/text.h"
#include "parts/kinds.h"
#include "rig/toggle.h"
#include "study/leads.h"

#include <stdlib.h>
#include <string.h>

enum { MOST_PEDALS = 16 }; ///< with more there are too many states for one page to tell of

typedef struct {
    tl_session* session;
    tl_rig* rig;
    const tl_report_options* options;
    tl_report* report;
} reporting;

static const char* toggle_words(const tl_toggle* toggle) {
    return toggle->name ? toggle->name : toggle->path;
}

/// What is on as the file has it, and whether there are states to go through.
static void look_at_pedals(const reporting* r) {
    tl_toggle_list toggles = tl_toggles_list(r->rig);
    tl_text on = {0};
    size_t left = 0;
    for (size_t i = 0; i < toggles.count; ++i)
        left += tl_toggle_is_on(&toggles.toggles[i]);
    for (size_t i = 0; i < toggles.count; ++i) {
        if (!tl_toggle_is_on(&toggles.toggles[i]))
            continue;
        --left;
        tl_text_addf(&on, "%s%s",
                     !on.size ? ""
                     : left   ? ", "
                              : " and ",
                     toggle_words(&toggles.toggles[i]));
    }
    tl_text_add(&on, "");
    r->report->written = tl_text_take(&on);
    r->report->scenes = r->rig->scene_count > 0 && !r->options->all;
    if (!toggles.count)
        r->report->no_states = tl_copy("There is no pedal or loop in this rig that could be "
                                       "stepped on: it has one state.");
    else if (!r->report->scenes && toggles.count > MOST_PEDALS)
        r->report->no_states = tl_printf("%zu pedals and loops have more states than can be gone "
                                         "through. The rig file can name the states it is played "
                                         "in ('scenes').",
                                         toggles.count);
    tl_toggles_free(&toggles);
}

/// "6 m of standard-coax and 15 cm of patch-coax"; "no lead".
static char* lead_words(const tl_chain* chain) {
    tl_text words = {0};
    for (size_t i = 0; i < chain->count; ++i) {
        const tl_part* part = chain->items[i].part;
        if (!part || part->kind != &tl_kind_cable)
            continue;
        tl_text_add(&words, words.size ? " and " : "");
        tl_quantity_add(&words, TL_UNIT_METRE, tl_part_number(part, "length", 0));
        tl_text_addf(&words, " of %s", part->library ? part->library : "lead");
    }
    if (!words.size)
        tl_text_add(&words, "no lead");
    return tl_text_take(&words);
}

/// Takes over what it is given.
static void add_where(tl_report* report, tl_report_where where) {
    report->wheres = tl_grow_one(report->wheres, report->where_count, sizeof *report->wheres);
    report->wheres[report->where_count++] = where;
}

/// An item that has a name goes by it.
static void add_item(void* context, tl_part* part, const tl_item* item, const char* path) {
    const char* kind = strrchr(path, '.');
    if (item && item->name && item->part == part && kind && strncmp(path, "chain", 5) == 0)
        add_where(context, (tl_report_where){.path = tl_printf("%.*s", (int)(kind - path), path),
                                             .kind = part->kind->name,
                                             .words = tl_copy(item->name)});
}

/// What paths are called where there is no rig file at hand: on the board.
static void name_places(tl_rig* rig, tl_report* report) {
    tl_lead_list leads;
    tl_leads_list(rig, &leads);
    for (size_t i = 0; i < leads.count; ++i)
        add_where(report, (tl_report_where){.path = tl_copy(leads.leads[i].path),
                                            .kind = leads.leads[i].part->kind->name,
                                            .words = tl_leads_where(&leads, leads.leads[i].path)});
    for (size_t i = 0; i < leads.joint_count; ++i)
        add_where(report, (tl_report_where){.path = tl_copy(leads.joints[i].path),
                                            .kind = leads.joints[i].part->kind->name,
                                            .words = tl_leads_where(&leads, leads.joints[i].path)});
    tl_leads_free(&leads);
    tl_rig_each_part(rig, add_item, report);
}

static tl_status solve_tone(const reporting* r, tl_error* error) {
    tl_report* report = r->report;
    double reference_hz = r->options->reference_hz;
    const tl_states_options states = {.reference_hz = reference_hz, .all = r->options->all};
    const tl_noise_options noise = {.reference_hz = reference_hz,
                                    .playing = r->options->playing,
                                    .states = !report->no_states,
                                    .all = r->options->all};
    tl_status status = tl_study_response(r->session, r->rig, reference_hz, &report->answer, error);
    if (status == TL_OK && !report->no_states)
        status = tl_study_states(r->session, r->rig, &states, &report->states, error);
    if (status == TL_OK)
        status = tl_study_noise(r->session, r->rig, &noise, &report->noise, error);
    return status;
}

/// The bench card. A rig that cannot be measured so (an active source, say) is still worth a
/// report.
static tl_status make_card(const reporting* r, tl_error* error) {
    const tl_card_options options = {0};
    tl_error* trouble = tl_error_new();
    tl_status status = tl_study_card(r->session, r->rig, &options, &r->report->card, trouble);
    if (status == TL_BAD_INPUT)
        r->report->no_card = tl_copy(tl_error_text(trouble));
    else if (status != TL_OK)
        tl_error_set(error, status, "%s", tl_error_text(trouble));
    tl_error_free(trouble);
    return status == TL_BAD_INPUT ? TL_OK : status;
}

static tl_status solve_board(const reporting* r, tl_error* error) {
    tl_report* report = r->report;
    const tl_dress_options dress = {0};
    const tl_build_options build = {.prices = r->options->prices};
    tl_status status = TL_OK;
    if (r->rig->power)
        status = tl_study_power(r->session, r->rig, &report->power, error);
    if (status == TL_OK)
        status = tl_study_dress(r->session, r->rig, &dress, &report->dress, error);
    if (status == TL_OK && r->rig->board)
        status = tl_study_build(r->session, r->rig, &build, &report->build, error);
    return status;
}

tl_status tl_study_report(tl_session* session, tl_rig* rig, const tl_report_options* options,
                          tl_report** report, tl_error* error) {
    tl_locale locale = tl_locale_plain();
    reporting r = {session, rig, options, tl_new(1, sizeof(tl_report))};
    r.report->rig = tl_copy(tl_rig_title(rig));
    r.report->reference_hz = options->reference_hz;
    r.report->playing_assumed = !options->playing;
    const char* folder_end = strrchr(tl_rig_path(rig), '/');
    r.report->file = tl_copy(folder_end ? folder_end + 1 : tl_rig_path(rig));
    r.report->direct = lead_words(&rig->direct);
    r.report->direct_assumed = !rig->has_direct;
    look_at_pedals(&r);
    name_places(rig, r.report);
    tl_status status = tl_study_check(rig, &r.report->found, error);
    if (status == TL_OK)
        status = solve_tone(&r, error);
    if (status == TL_OK)
        status = solve_board(&r, error);
    if (status == TL_OK)
        status = make_card(&r, error);
    if (status != TL_OK) {
        tl_report_free(r.report);
        r.report = NULL;
    }
    *report = r.report;
    tl_locale_restore(locale);
    return status;
}

void tl_report_free(tl_report* report) {
    if (!report)
        return;
    for (size_t i = 0; i < report->where_count; ++i) {
        free(report->wheres[i].path);
        free(report->wheres[i].words);
    }
    free(report->wheres);
    free(report->rig);
    free(report->file);
    free(report->direct);
    free(report->written);
    free(report->no_states);
    tl_answer_free(report->answer);
    tl_states_free(report->states);
    tl_noise_free(report->noise);
    tl_power_plan_free(report->power);
    tl_dress_free(report->dress);
    tl_build_free(report->build);
    tl_meter_card_free(report->card);
    free(report->no_card);
    tl_inspection_free(report->found);
    free(report);
}
