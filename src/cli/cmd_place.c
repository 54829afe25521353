// SPDX-License-Identifier: GPL-3.0-or-later
// toneload place: where in the chain a buffer does most good.
#include "cli/answers.h"
#include "cli/command.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { SHOWN_PLACES = 12 };

/// Less than this is not worth a buffer: a fifth of what is not audible by itself.
static const double WORTH_DB = 0.1;

static FILE* open_words(char** words, size_t* size) {
    FILE* to = open_memstream(words, size);
    if (!to)
        abort();
    return to;
}

/// Where the buffers stand: "before chain[0] (cable) and after chain[2] 'drive'". Free with free().
static char* gap_words(const tl_placing* placing, size_t index) {
    const tl_placement* placement = &placing->placements[index];
    char* words = NULL;
    size_t size = 0;
    FILE* to = open_words(&words, &size);
    if (!placement->gaps)
        fputs("no buffer", to);
    for (size_t i = 0; placement->gaps && i < placing->buffers; ++i)
        fprintf(to, "%s%s", i ? " and " : "", placing->gaps[placement->gaps[i]]);
    fclose(to);
    return words;
}

/// The pedals that are on in a state: "drive + delay", or "all off". Free with free().
static char* state_words(const tl_placing* placing, size_t state) {
    return tl_show_engaged(placing->scenes ? placing->scenes[state] : NULL, placing->pedals,
                           placing->engaged + state * placing->pedal_count, placing->pedal_count,
                           placing->pedal_count ? "all off" : "as the file has it");
}

static size_t amp_count(const tl_placing* placing) {
    return placing->none->count / 2;
}

static const char* amp_name(const tl_placing* placing, size_t amp) {
    return placing->none->solved[2 * amp].amp;
}

static void add_columns(const tl_placing* placing, tl_table* table, bool csv) {
    tl_table_column(table, "\nrank", "rank");
    tl_table_column(table, placing->buffers > 1 ? "\nbuffers" : "\nbuffer", "gaps");
    if (csv)
        tl_table_column(table, "allowed", "allowed");
    tl_table_column(table, "worst\ndB", "worst_db");
    tl_table_column(table, "at\nkHz", "worst_hz");
    tl_table_column(table, "rms\ndB", "rms_db");
    tl_table_column(table, "presence\ndB", "presence_db");
    tl_table_column(table, "\nto the ear", "verdict");
    tl_table_column(table, "\nworst with", "worst_state");
    if (csv || amp_count(placing) > 1)
        tl_table_column(table, "\nat amp", "worst_amp");
    if (csv && placing->pickup_pedal_count)
        tl_table_column(table, "aside_db", "aside_db");
}

static void add_place(const tl_placing* placing, tl_table* table, size_t at, bool csv) {
    size_t index = placing->ranking[at];
    const tl_placement* placement = &placing->placements[index];
    char* gaps = gap_words(placing, index);
    char* state = state_words(placing, placement->worst_state);
    char rank[24] = "";
    if (placement->allowed)
        snprintf(rank, sizeof rank, "%zu", at + 1);
    tl_table_row(table);
    tl_table_number(table, placement->allowed ? (double)at + 1 : NAN, rank);
    tl_table_words(table, gaps);
    if (csv)
        tl_table_words(table, placement->allowed ? "yes" : "no");
    short_number(table, placement->worst_db, "%+.2f", "");
    if (csv)
        tl_table_number(table, placement->worst_hz, "");
    else
        short_number(table, placement->worst_hz / 1000, "%.1f", "");
    short_number(table, placement->rms_db, "%.2f", "");
    short_number(table, placement->presence_db, "%+.1f", "");
    tl_table_words(table, tl_verdict_words(placement->verdict));
    tl_table_words(table, state);
    if (csv || amp_count(placing) > 1)
        tl_table_words(table, amp_name(placing, placement->worst_amp));
    if (csv && placing->pickup_pedal_count)
        tl_table_number(table, placement->aside_db, "");
    free(gaps);
    free(state);
}

/// All places in CSV, those that are not allowed last and without a rank; for people the best
/// allowed ones, and no buffer wherever it comes.
static tl_table* places_table(const tl_placing* placing, bool csv) {
    tl_table* table = tl_table_new();
    add_columns(placing, table, csv);
    for (size_t i = 0; i < placing->count; ++i) {
        bool shown = i < placing->ranked_count &&
                     (i < SHOWN_PLACES || placing->placements[placing->ranking[i]].gaps == NULL);
        if (csv || shown)
            add_place(placing, table, i, csv);
    }
    return table;
}

/// What the best place buys against no buffer.
static void print_best(FILE* to, const tl_placing* placing) {
    const tl_placement* none = &placing->placements[0];
    const tl_placement* best = &placing->placements[placing->ranking[0]];
    char* gaps = gap_words(placing, placing->ranking[0]);
    double gain_db = fabs(none->worst_db) - fabs(best->worst_db);
    if (gain_db < WORTH_DB)
        fprintf(to,
                "No place brings the rig nearer to direct by as much as %g dB: without, it is at\n"
                "most %.2f dB off (%s).\n",
                WORTH_DB, fabs(none->worst_db), tl_verdict_words(none->verdict));
    else
        fprintf(to,
                "Best: %s %s. The rig is then at most %.2f dB off direct (%s),\n"
                "against %.2f dB without (%s): that buys %.2f dB.\n",
                placing->buffers > 1 ? "buffers" : "a buffer", gaps, fabs(best->worst_db),
                tl_verdict_words(best->verdict), fabs(none->worst_db),
                tl_verdict_words(none->verdict), gain_db);
    free(gaps);
}

/// The names of the pedals that need the pickup: "'fuzz' and 'boost'". Free with free().
static char* pickup_words(const tl_placing* placing) {
    char* words = NULL;
    size_t size = 0;
    FILE* to = open_words(&words, &size);
    size_t count = placing->pickup_pedal_count;
    for (size_t i = 0; i < count; ++i)
        fprintf(to, "%s'%s'",
                i == 0          ? ""
                : i + 1 < count ? ", "
                                : " and ",
                placing->pickup_pedals[i].name);
    fclose(to);
    return words;
}

/// What it costs to leave a pedal its pickup, and what that means for the states it is on in.
static void print_pickup(FILE* to, const tl_placing* placing) {
    if (!placing->pickup_pedal_count)
        return;
    char* pedals = pickup_words(placing);
    const tl_placement* best = &placing->placements[placing->best_of_all];
    if (best->allowed || placing->cost_db < WORTH_DB) {
        fprintf(to, "\nRespecting %s, which must see the pickup, costs %s.\n", pedals,
                best->allowed ? "nothing" : "less than 0.1 dB");
    } else {
        char* gaps = gap_words(placing, placing->best_of_all);
        fprintf(to,
                "\nRespecting %s, which must see the pickup, costs %.2f dB: without it the best\n"
                "place would be %s, at most %.2f dB off direct (%s).\n",
                pedals, placing->cost_db, gaps, fabs(best->worst_db),
                tl_verdict_words(best->verdict));
        free(gaps);
    }
    if (placing->set_aside_count)
        fprintf(to,
                "The %zu state%s in which it is on and sees the pickup %s set aside: how it loads\n"
                "the pickup is its sound, not a loss.\n",
                placing->set_aside_count, placing->set_aside_count == 1 ? "" : "s",
                placing->set_aside_count == 1 ? "is" : "are");
    for (size_t i = 0; i < placing->pickup_pedal_count; ++i) {
        const tl_pickup_pedal* pedal = &placing->pickup_pedals[i];
        if (pedal->cut_count)
            fprintf(to,
                    "Something in the rig already stands between the pickup and '%s' in %zu of\n"
                    "the %zu states in which it is on.\n",
                    pedal->name, pedal->cut_count, pedal->on_count);
    }
    free(pedals);
}

static char* places_text(const request* asked, const tl_rig* rig, const tl_placing* placing) {
    char* text = NULL;
    size_t size = 0;
    FILE* to = open_words(&text, &size);
    tl_table* table = places_table(placing, false);
    char* table_text = tl_table_text(table);
    char* buffer = tl_show_safe(placing->buffer);
    fprintf(to, "%s\n\n%s, %zu at once in %zu gaps, ", tl_rig_title(rig), buffer, placing->buffers,
            placing->gap_count);
    print_state_count(to, asked, placing->state_count, placing->pedal_count);
    if (placing->ranked_count > SHOWN_PLACES)
        fprintf(to, ": the best of %zu places", placing->ranked_count);
    fprintf(to, "\n\n%s\n", table_text);
    print_best(to, placing);
    print_pickup(to, placing);
    fprintf(to,
            "\n'worst' is rig minus direct in the band of the ear and the state in which it is\n"
            "largest, levels matched; 'to the ear' is the worst verdict of all states. The direct\n"
            "line-up has no buffer in it. %zu circuits solved.\n",
            placing->solves);
    print_assumed_direct(to, rig);
    fputs(verdict_source, to);
    fclose(to);
    tl_table_free(table);
    free(table_text);
    free(buffer);
    return text;
}

static json_t* gaps_json(const tl_placing* placing, size_t index, char* const* words) {
    const tl_placement* placement = &placing->placements[index];
    json_t* list = json_array();
    for (size_t i = 0; placement->gaps && i < placing->buffers; ++i)
        json_array_append_new(list, json_string(words[placement->gaps[i]]));
    return list;
}

static json_t* state_json(const tl_placing* placing, size_t state) {
    json_t* engaged = json_array();
    for (size_t i = 0; i < placing->pedal_count; ++i)
        if (placing->engaged[state * placing->pedal_count + i])
            json_array_append_new(engaged, json_string(placing->pedals[i]));
    return engaged;
}

static json_t* place_json(const tl_placing* placing, size_t at) {
    size_t index = placing->ranking[at];
    const tl_placement* placement = &placing->placements[index];
    json_t* json = json_object();
    bool allowed = placement->allowed;
    json_object_set_new(json, "rank", allowed ? json_integer((json_int_t)at + 1) : json_null());
    json_object_set_new(json, "gaps", gaps_json(placing, index, placing->gaps));
    json_object_set_new(json, "paths", gaps_json(placing, index, placing->gap_paths));
    json_object_set_new(json, "allowed", json_boolean(allowed));
    if (!allowed)
        json_object_set_new(json, "takes_pickup_from",
                            json_string(placing->pickup_pedals[placement->takes_from].name));
    json_object_set_new(json, "worst_db", tl_json_number(placement->worst_db));
    json_object_set_new(json, "worst_hz", tl_json_number(placement->worst_hz));
    json_object_set_new(json, "worst_state", state_json(placing, placement->worst_state));
    if (placing->scenes)
        json_object_set_new(json, "worst_scene",
                            json_string(placing->scenes[placement->worst_state]));
    json_object_set_new(json, "worst_amp", json_string(amp_name(placing, placement->worst_amp)));
    json_object_set_new(json, "presence_db", tl_json_number(placement->presence_db));
    json_object_set_new(json, "rms_db", tl_json_number(placement->rms_db));
    json_object_set_new(json, "verdict", json_string(tl_verdict_words(placement->verdict)));
    json_object_set_new(json, "set_aside_worst_db", tl_json_number(placement->aside_db));
    return json;
}

static json_t* pickup_json(const tl_placing* placing) {
    json_t* list = json_array();
    for (size_t i = 0; i < placing->pickup_pedal_count; ++i) {
        const tl_pickup_pedal* pedal = &placing->pickup_pedals[i];
        json_t* json = json_object();
        json_object_set_new(json, "pedal", json_string(pedal->name));
        json_object_set_new(json, "on_states", json_integer((json_int_t)pedal->on_count));
        json_object_set_new(json, "cut_off_states", json_integer((json_int_t)pedal->cut_count));
        json_array_append_new(list, json);
    }
    return list;
}

static char* places_json(const tl_rig* rig, const tl_placing* placing) {
    json_t* json = tl_json_open("place", tl_rig_title(rig));
    json_t* places = json_array();
    for (size_t i = 0; i < placing->count; ++i)
        json_array_append_new(places, place_json(placing, i));
    json_object_set_new(json, "buffer", tl_json_words(placing->buffer));
    json_object_set_new(json, "count", json_integer((json_int_t)placing->buffers));
    json_object_set_new(json, "states", json_integer((json_int_t)placing->state_count));
    json_object_set_new(json, "states_set_aside",
                        json_integer((json_int_t)placing->set_aside_count));
    json_object_set_new(json, "needs_pickup", pickup_json(placing));
    json_object_set_new(json, "cost_of_needs_pickup_db", tl_json_number(placing->cost_db));
    json_object_set_new(json, "solves", json_integer((json_int_t)placing->solves));
    json_object_set_new(json, "places", places);
    return tl_json_text(json);
}

static char* places_shown(const request* asked, const tl_rig* rig, const tl_placing* placing) {
    if (asked->json)
        return places_json(rig, placing);
    if (!asked->csv)
        return places_text(asked, rig, placing);
    tl_table* table = places_table(placing, true);
    char* text = tl_table_csv(table);
    tl_table_free(table);
    return text;
}

/// One of the curves, its amp in front when there are several. The label is freed by the caller.
static tl_curve make_curve(const tl_placing* placing, const tl_solved* solved, const char* who) {
    bool amps = amp_count(placing) > 1;
    char* label = NULL;
    if (asprintf(&label, "%s%s%s", amps ? solved->amp : "", amps ? ": " : "", who) < 0)
        abort();
    bool direct = strcmp(solved->name, "direct") == 0;
    return (tl_curve){solved->response, &solved->metrics, label, direct,
                      direct ? NULL : solved[1].response};
}

/// Direct, no buffer and the best place, in the state that is worst without a buffer.
static tl_status draw(const tl_rig* rig, const tl_placing* placing, const char* path,
                      tl_error* error) {
    bool useful = placing->placements[placing->ranking[0]].gaps != NULL;
    size_t amps = amp_count(placing);
    tl_curve* curves = calloc(3 * amps, sizeof *curves);
    char* state = state_words(placing, placing->placements[0].worst_state);
    char* gaps = gap_words(placing, placing->ranking[0]);
    char* title = NULL;
    if (!curves || asprintf(&title, "%s (%s)", tl_rig_title(rig), state) < 0)
        abort();
    size_t count = 0;
    for (size_t i = 0; i < amps; ++i) {
        curves[count++] = make_curve(placing, &placing->none->solved[2 * i + 1], "direct");
        curves[count++] = make_curve(placing, &placing->none->solved[2 * i], "no buffer");
        if (useful)
            curves[count++] = make_curve(placing, &placing->best->solved[2 * i], gaps);
    }
    tl_plot plot = {title, curves, count};
    tl_status status = tl_plot_draw(&plot, path, error);
    for (size_t i = 0; i < count; ++i)
        free((char*)curves[i].label);
    free(curves);
    free(title);
    free(gaps);
    free(state);
    return status;
}

static tl_status show(const request* asked, const tl_rig* rig, const tl_placing* placing,
                      tl_error* error) {
    tl_status status = asked->plot ? draw(rig, placing, asked->plot, error) : TL_OK;
    if (status != TL_OK)
        return status;
    char* text = places_shown(asked, rig, placing);
    status = request_write(asked, text, error);
    free(text);
    return status;
}

static tl_status run(const request* asked, tl_error* error) {
    if (!asked->buffer)
        return tl_error_set(error, TL_BAD_INPUT,
                            "nothing to place: give --buffer PART, such as --buffer "
                            "op-amp-follower (see toneload parts buffer)");
    tl_session* session = NULL;
    tl_rig* rig = NULL;
    tl_placing* placing = NULL;
    tl_place_options options = {
        asked->reference_hz, asked->buffer,    asked->count,
        asked->fixes,        asked->fix_count, asked->all,
    };
    tl_status status = request_session(asked, SESSION_SOLVES, &session, error);
    if (status == TL_OK)
        status = tl_rig_read(tl_session_library(session), asked->words[0], &rig, error);
    if (status == TL_OK)
        status = tl_study_place(session, rig, &options, &placing, error);
    if (status == TL_OK)
        status = show(asked, rig, placing, error);
    tl_placing_free(placing);
    tl_rig_free(rig);
    tl_session_free(session);
    return status;
}

const command command_place = {
    "place",
    "RIG.yaml --buffer PART [--count N]",
    "where in the chain a buffer does most good, in every pedal state",
    "Tries the buffer (--count: 2 to 4 of them at once) in every gap of the chain, of its loops "
    "and\n"
    "of a split's branches, in every combination of pedals and loops or the scenes the rig names,\n"
    "and ranks the places by the largest difference from direct. A pedal with 'needs_pickup: yes'\n"
    "keeps the pickup to itself; the answer says what that costs. --fix holds a pedal; --all goes\n"
    "through every combination although the rig names scenes.\n"
    "\n"
    "  toneload place board.yaml --buffer op-amp-follower --count 2 --fix 'tuner=no'",
    OPTION_BUFFER | OPTION_COUNT | OPTION_FIX | OPTION_ALL | OPTION_PLOT | OPTION_JSON |
        OPTION_CSV | OPTION_REFERENCE | OPTION_OUTPUT | OPTION_PARTS | OPTION_JOBS |
        OPTION_TIME_LIMIT,
    1,
    1,
    run,
};
