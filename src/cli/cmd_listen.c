// SPDX-License-Identifier: GPL-3.0-or-later
// toneload listen: what a rig sounds like, direct, as it is, and in variants.
#include "cli/answers.h"
#include "cli/command.h"

#include <math.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

enum { MOST_VARIANTS = 99, STRINGS_RATE_HZ = 48000 };

/// Where the loudest true peak comes out: a tenth under what is promised, since meters differ.
static const double limit_dbtp = -1.0;
static const double aim_dbtp = -1.1;
/// More would make a very quiet recording's noise loud.
static const double most_gain_db = 40;
static const double usual_max_gain_db = 20;

/// One file and the response behind it.
typedef struct {
    char* file;
    char* words; ///< what it is: "rig", "length = 3 m"
    const tl_solved* solved;
    const tl_variant* variant; ///< NULL for the rig as its file has it
    tl_filter* filter;
} item;

/// Everything that is asked for, solved, and made of it.
typedef struct {
    const request* asked;
    tl_session* session;
    tl_rig* rig;
    tl_rig* through_rig;
    tl_wav* recording;
    tl_answer* answer;
    tl_answer* through;
    tl_comparison* comparison;
    item* items;
    size_t count;
    tl_sound_file* files;
    tl_sound_job job;
    double* strings;
} listening;

static tl_status check_options(const request* asked, tl_error* error) {
    if (!asked->out)
        return tl_error_set(error, TL_BAD_INPUT, "expected a folder for the sound: --out DIR");
    if (asked->through && !asked->input)
        return tl_error_set(error, TL_BAD_INPUT,
                            "--recorded-through goes with --input: the strings that are played "
                            "without it were recorded through nothing");
    if (!isnan(asked->max_gain_db) && !asked->through)
        return tl_error_set(error, TL_BAD_INPUT, "--max-gain goes with --recorded-through");
    return TL_OK;
}

static double max_gain_db(const request* asked) {
    return isnan(asked->max_gain_db) ? usual_max_gain_db : asked->max_gain_db;
}

static tl_status read_all(listening* l, tl_error* error) {
    const request* asked = l->asked;
    tl_status status = TL_OK;
    if (asked->input)
        status = tl_wav_open(asked->input, &l->recording, error);
    if (status == TL_OK)
        status = request_session(asked, SESSION_SOLVES, &l->session, error);
    if (status == TL_OK)
        status = tl_rig_read(tl_session_library(l->session), asked->words[0], &l->rig, error);
    if (status == TL_OK && asked->through)
        status =
            tl_rig_read(tl_session_library(l->session), asked->through, &l->through_rig, error);
    return status;
}

static tl_status solve_all(listening* l, tl_error* error) {
    const request* asked = l->asked;
    tl_status status =
        tl_study_response(l->session, l->rig, asked->reference_hz, &l->answer, error);
    if (status == TL_OK && l->through_rig)
        status =
            tl_study_response(l->session, l->through_rig, asked->reference_hz, &l->through, error);
    if (status == TL_OK && l->through && l->through->count > 2)
        return tl_error_set(error, TL_BAD_INPUT,
                            "%s has several amps: a recording was made at one of them",
                            asked->through);
    if (status == TL_OK && asked->vary_count)
        status = tl_study_compare(l->session, &l->rig, 1, asked->varies, asked->vary_count,
                                  asked->reference_hz, &l->comparison, error);
    if (status == TL_OK && l->comparison && l->comparison->count > MOST_VARIANTS)
        return tl_error_set(error, TL_BAD_INPUT, "%zu variants: listen to %d at most at a time",
                            l->comparison->count, MOST_VARIANTS);
    return status;
}

static char* printed(const char* format, ...) TL_PRINTF(1, 2);
static char* printed(const char* format, ...) {
    char* text = NULL;
    va_list args;
    va_start(args, format);
    if (vasprintf(&text, format, args) < 0)
        abort();
    va_end(args);
    return text;
}

/// Adds a file; its name is made of our own words and numbers only.
static void add_item(listening* l, const tl_solved* solved, const tl_variant* variant,
                     const char* file, const char* before, const char* words) {
    size_t at = (size_t)(solved - (variant ? variant->answer : l->answer)->solved);
    bool amps = l->answer->count > 2;
    l->items = realloc(l->items, (l->count + 1) * sizeof *l->items);
    if (!l->items)
        abort();
    l->items[l->count++] =
        (item){.file = amps ? printed("%s-%zu.wav", file, at / 2 + 1) : printed("%s.wav", file),
               .words = printed("%s%s", before, words),
               .solved = solved,
               .variant = variant};
}

/// Whether two responses sound the same, so that one file will do.
static bool same_sound(const tl_response* a, const tl_response* b) {
    for (double hz = 20; hz < 20001; hz *= 1.5)
        if (!(fabs(tl_response_db(a, hz) - tl_response_db(b, hz)) < 1e-6))
            return false;
    return true;
}

/// A variant's files: its rig, and its direct when the variant moves that too.
static void add_variant(listening* l, size_t index) {
    const tl_variant* variant = &l->comparison->variants[index];
    for (size_t j = 0; j + 1 < variant->answer->count; j += 2) {
        const tl_solved* rig = &variant->answer->solved[j];
        const tl_solved* direct = rig + 1;
        char* file = printed("variant-%02zu", index + 1);
        add_item(l, rig, variant, file, "", variant->name);
        free(file);
        if (j + 1 < l->answer->count &&
            same_sound(direct->response, l->answer->solved[j + 1].response))
            continue;
        file = printed("variant-%02zu-direct", index + 1);
        add_item(l, direct, variant, file, "direct of ", variant->name);
        free(file);
    }
}

static void list_items(listening* l) {
    for (size_t j = 1; j < l->answer->count; j += 2)
        add_item(l, &l->answer->solved[j], NULL, "direct", "", "direct (plugged straight in)");
    for (size_t j = 0; j < l->answer->count; j += 2)
        add_item(l, &l->answer->solved[j], NULL, "rig", "", "rig");
    for (size_t i = 0; l->comparison && i < l->comparison->count; ++i)
        add_variant(l, i);
}

/// What grows without end cannot be listened to.
static tl_status check_stable(const char* who, const tl_metrics* metrics, tl_error* error) {
    if (!metrics->unstable)
        return TL_OK;
    return tl_error_set(error, TL_BAD_INPUT,
                        "%s is unstable (a pole in the right half plane at %.4g Hz): it would "
                        "howl, and cannot be listened to",
                        who, metrics->unstable_hz);
}

static tl_status make_filters(listening* l, unsigned rate_hz, tl_error* error) {
    tl_filter_options options = {.rate_hz = rate_hz, .max_gain_db = max_gain_db(l->asked)};
    tl_status status = TL_OK;
    if (l->through) {
        options.through = l->through->solved[0].response;
        status = check_stable(l->asked->through, &l->through->solved[0].metrics, error);
    }
    for (size_t i = 0; status == TL_OK && i < l->count; ++i) {
        item* it = &l->items[i];
        status = check_stable(it->words, &it->solved->metrics, error);
        if (status == TL_OK)
            status = tl_filter_new(it->solved->response, &options, &it->filter, error);
        if (status != TL_OK && !it->solved->metrics.unstable)
            tl_error_prefix(error, "%s", it->words);
    }
    return status;
}

/// How much louder a file comes out than the first, direct.
static double level_db(const listening* l, size_t index) {
    double level =
        index ? tl_matched_level_db(l->items[index].solved->response, l->items[0].solved->response)
              : 0;
    return isfinite(level) ? level : 0;
}

/// Shows how far a long recording is, on a terminal only.
static void show_progress(void* context, size_t done, size_t total) {
    int* shown = context;
    int percent = total ? (int)(100.0 * (double)done / (double)total) : 100;
    if (percent == *shown || total < 50000000 || !isatty(STDERR_FILENO))
        return;
    *shown = percent;
    fprintf(stderr, "\rrendering: %d %%%s", percent, done == total ? "\r\033[K" : "");
    fflush(stderr);
}

static tl_status render(listening* l, tl_error* error) {
    static int shown = -1;
    l->job = (tl_sound_job){.folder = l->asked->out,
                            .recording = l->recording,
                            .rate_hz = STRINGS_RATE_HZ,
                            .file_count = l->count,
                            .highest_dbtp = aim_dbtp,
                            .most_gain_db = most_gain_db,
                            .progress = show_progress,
                            .context = &shown};
    if (l->recording)
        l->job.rate_hz = tl_wav_get_about(l->recording).rate_hz;
    else
        l->job.samples = l->strings = tl_pluck_play(STRINGS_RATE_HZ, &l->job.sample_count);
    tl_status status = make_filters(l, l->job.rate_hz, error);
    if (status != TL_OK)
        return status;
    l->job.files = l->files = calloc(l->count + 1, sizeof *l->files);
    if (!l->files)
        abort();
    for (size_t i = 0; i < l->count; ++i)
        l->files[i] = (tl_sound_file){.name = l->items[i].file,
                                      .filter = l->items[i].filter,
                                      .level_db = l->asked->match_level ? -level_db(l, i) : 0};
    return tl_sound_write(&l->job, error);
}

static void number_cell(tl_table* table, double number, char* shown) {
    tl_table_number(table, number, shown);
    free(shown);
}

static char* files_text(const listening* l) {
    bool amps = l->answer->count > 2;
    tl_table* table = tl_table_new();
    tl_table_column(table, "file", "file");
    tl_table_column(table, "what it is", "name");
    if (amps)
        tl_table_column(table, "amp", "amp");
    tl_table_column(table, "level against\ndirect", "level_db");
    tl_table_column(table, "\ngain", "gain_db");
    tl_table_column(table, "true peak\ndBTP", "true_peak_dbtp");
    for (size_t i = 0; i < l->count; ++i) {
        const double peak = l->files[i].true_peak_dbtp;
        tl_table_row(table);
        tl_table_words(table, l->items[i].file);
        tl_table_words(table, l->items[i].words);
        if (amps)
            tl_table_words(table, l->items[i].solved->amp);
        number_cell(table, level_db(l, i), tl_show_db(level_db(l, i), ""));
        number_cell(table, l->files[i].gain_db, tl_show_db(l->files[i].gain_db, ""));
        number_cell(table, peak, isinf(peak) ? printed("silence") : printed("%.2f", peak));
    }
    char* text = tl_table_text(table);
    tl_table_free(table);
    return text;
}

static void print_sound(const listening* l, FILE* to) {
    if (!l->recording) {
        fputs(
            "Plucked strings, synthesised: the six open strings from E2 to E4, then a chord of "
            "E major\n(ISO 16, A4 = 440 Hz). The string's velocity is taken as the coil's voltage; "
            "where a pickup\nstands and how wide it is are left out. What is heard is the voltage "
            "at the amp.\n",
            to);
        return;
    }
    const tl_wav_about about = tl_wav_get_about(l->recording);
    char* input = tl_show_safe(l->asked->input);
    fprintf(to, "%s: %s, %s, %.1f s.\n", input, about.channels == 2 ? "stereo" : "mono",
            about.samples, (double)about.frames / about.rate_hz);
    if (!l->through)
        fprintf(to, "It is taken as the voltage of the pickup's coil without anything connected. "
                    "If it was made\nthrough a lead into something, say so with "
                    "--recorded-through RIG.yaml.\n");
    free(input);
}

/// Where a lost low end is left out for the limit's sake, and what that does where it can be heard.
static void print_cut(tl_filter_facts facts, const char* file, FILE* to) {
    const double at_hz = 50;
    const double share = facts.cut_hz / at_hz;
    fprintf(to,
            "%s: below %.3g Hz what was lost is not brought back; at %g Hz that takes %.2f dB and "
            "turns the\nphase by %.1f degrees.\n",
            file, facts.cut_hz, at_hz, facts.cut_order * 10 * log10(1 + share * share),
            facts.cut_order * atan(share) * 180 / M_PI);
}

static void print_through(const listening* l, FILE* to) {
    char* through = tl_show_safe(l->asked->through);
    fprintf(to,
            "Recorded through %s, which is taken out first. No frequency is raised by more than "
            "%g dB.\n",
            through, max_gain_db(l->asked));
    free(through);
    for (size_t i = 0; i < l->count; ++i) {
        const tl_filter_facts facts = tl_filter_get_facts(l->items[i].filter);
        if (!isnan(facts.limited_low_hz))
            fprintf(to, "%s: that limit takes something away between %.0f Hz and %.0f Hz.\n",
                    l->items[i].file, facts.limited_low_hz, facts.limited_high_hz);
        if (facts.cut_order)
            print_cut(facts, l->items[i].file, to);
    }
}

/// The worst of all filters.
static tl_filter_facts worst_facts(const listening* l) {
    tl_filter_facts worst = tl_filter_get_facts(l->items[0].filter);
    for (size_t i = 1; i < l->count; ++i) {
        const tl_filter_facts facts = tl_filter_get_facts(l->items[i].filter);
        worst.error_db = fmax(worst.error_db, facts.error_db);
        worst.error_degrees = fmax(worst.error_degrees, facts.error_degrees);
    }
    return worst;
}

static void print_levels(const listening* l, FILE* to) {
    fprintf(to,
            "%s %+.2f dB, keeps the loudest true peak under %g dBTP\n(ITU-R BS.1770, 4 x "
            "oversampled).%s\n",
            l->asked->match_level ? "Levels are matched to direct; the gain they share,"
                                  : "One gain for all files,",
            l->job.gain_db, limit_dbtp,
            l->asked->match_level ? " Level: mean of the ear's bands from 200 Hz to 1 kHz." : "");
}

static double round_up(double number, double step) {
    return fmax(1, ceil(number / step)) * step;
}

static char* listening_text(const listening* l) {
    char* text = NULL;
    size_t size = 0;
    FILE* to = open_memstream(&text, &size);
    if (!to)
        abort();
    char* table = files_text(l);
    char* folder = tl_show_safe(l->asked->out);
    const tl_filter_facts facts = worst_facts(l);
    const double rate_hz = l->job.rate_hz;
    fprintf(to, "%s\n\n%s\n", tl_rig_title(l->rig), table);
    print_sound(l, to);
    if (l->through)
        print_through(l, to);
    print_levels(l, to);
    fprintf(to,
            "Sound leaves %zu samples (%.2f ms) after it enters. From 50 Hz to %g kHz the filters "
            "follow the\nresponses within %.3f dB and %.2f degrees.\n"
            "Written to %s: 32-bit float at %g kHz, %.1f s each.\n",
            facts.delay_samples, 1000 * (double)facts.delay_samples / rate_hz,
            floor(facts.checked_hz / 100) / 10, round_up(facts.error_db, 0.001),
            round_up(facts.error_degrees, 0.01), folder, rate_hz / 1000,
            (double)l->job.frames / rate_hz);
    print_assumed_direct(to, l->rig);
    fclose(to);
    free(folder);
    free(table);
    return text;
}

static json_t* notes_json(void) {
    json_t* list = json_array();
    for (size_t i = 0; tl_pluck_at(i); ++i) {
        const tl_pluck* note = tl_pluck_at(i);
        json_t* entry = json_object();
        json_object_set_new(entry, "name", json_string(note->name));
        json_object_set_new(entry, "hz", tl_json_number(note->hz));
        json_object_set_new(entry, "start_s", tl_json_number(note->start_s));
        json_object_set_new(entry, "seconds", tl_json_number(note->seconds));
        json_array_append_new(list, entry);
    }
    return list;
}

static json_t* settings_json(const tl_variant* variant) {
    json_t* set = json_object();
    for (size_t i = 0; variant && i < variant->setting_count; ++i)
        json_object_set_new(set, variant->settings[i].path,
                            tl_json_words(variant->settings[i].value));
    return set;
}

static json_t* file_json(const listening* l, size_t index) {
    const item* it = &l->items[index];
    const tl_filter_facts facts = tl_filter_get_facts(it->filter);
    json_t* entry = json_object();
    json_object_set_new(entry, "file", json_string(it->file));
    json_object_set_new(entry, "name", json_string(it->solved->name));
    json_object_set_new(entry, "about", tl_json_words(it->words));
    json_object_set_new(entry, "amp", tl_json_words(it->solved->amp));
    json_object_set_new(entry, "set", settings_json(it->variant));
    json_object_set_new(entry, "level_db", tl_json_number(level_db(l, index)));
    json_object_set_new(entry, "gain_db", tl_json_number(l->files[index].gain_db));
    json_object_set_new(entry, "true_peak_dbtp", tl_json_number(l->files[index].true_peak_dbtp));
    json_object_set_new(entry, "checked_hz", tl_json_number(facts.checked_hz));
    json_object_set_new(entry, "error_db", tl_json_number(facts.error_db));
    json_object_set_new(entry, "error_degrees", tl_json_number(facts.error_degrees));
    json_object_set_new(entry, "highest_db", tl_json_number(facts.highest_db));
    json_object_set_new(entry, "limited_low_hz", tl_json_number(facts.limited_low_hz));
    json_object_set_new(entry, "limited_high_hz", tl_json_number(facts.limited_high_hz));
    json_object_set_new(entry, "not_restored_below_hz", tl_json_number(facts.cut_hz));
    return entry;
}

static char* listening_json(const listening* l) {
    json_t* json = tl_json_open("listen", tl_rig_title(l->rig));
    const size_t delay = tl_filter_get_facts(l->items[0].filter).delay_samples;
    const double rate_hz = l->job.rate_hz;
    const unsigned channels = l->recording ? tl_wav_get_about(l->recording).channels : 1;
    json_object_set_new(json, "folder", tl_json_words(l->asked->out));
    json_object_set_new(json, "input", tl_json_words(l->asked->input));
    json_object_set_new(json, "recorded_through", tl_json_words(l->asked->through));
    json_object_set_new(json, "max_gain_db",
                        l->through ? tl_json_number(max_gain_db(l->asked)) : json_null());
    json_object_set_new(json, "match_level", json_boolean(l->asked->match_level));
    json_object_set_new(json, "rate_hz", tl_json_number(rate_hz));
    json_object_set_new(json, "channels", json_integer((json_int_t)channels));
    json_object_set_new(json, "frames", json_integer((json_int_t)l->job.frames));
    json_object_set_new(json, "seconds", tl_json_number((double)l->job.frames / rate_hz));
    json_object_set_new(json, "delay_samples", json_integer((json_int_t)delay));
    json_object_set_new(json, "delay_s", tl_json_number((double)delay / rate_hz));
    json_object_set_new(json, "gain_db", tl_json_number(l->job.gain_db));
    json_object_set_new(json, "limit_dbtp", tl_json_number(limit_dbtp));
    json_object_set_new(json, "notes", l->recording ? json_null() : notes_json());
    json_t* files = json_array();
    for (size_t i = 0; i < l->count; ++i)
        json_array_append_new(files, file_json(l, i));
    json_object_set_new(json, "files", files);
    return tl_json_text(json);
}

static void free_listening(listening* l) {
    for (size_t i = 0; i < l->count; ++i) {
        free(l->items[i].file);
        free(l->items[i].words);
        tl_filter_free(l->items[i].filter);
    }
    free(l->items);
    free(l->files);
    free(l->strings);
    tl_comparison_free(l->comparison);
    tl_answer_free(l->through);
    tl_answer_free(l->answer);
    tl_rig_free(l->through_rig);
    tl_rig_free(l->rig);
    tl_wav_free(l->recording);
    tl_session_free(l->session);
}

static tl_status run(const request* asked, tl_error* error) {
    listening l = {.asked = asked};
    tl_status status = check_options(asked, error);
    if (status == TL_OK)
        status = read_all(&l, error);
    if (status == TL_OK)
        status = solve_all(&l, error);
    if (status == TL_OK) {
        list_items(&l);
        status = render(&l, error);
    }
    if (status == TL_OK) {
        char* text = asked->json ? listening_json(&l) : listening_text(&l);
        status = request_write(asked, text, error);
        free(text);
    }
    free_listening(&l);
    return status;
}

const command command_listen = {
    "listen",
    "RIG.yaml --out DIR [--input FILE.wav]",
    "what it sounds like: direct, the rig and its variants as WAV files",
    "Plays plucked strings, or a recording of your own (WAV, mono or stereo, 16, 24 or 32 bit or\n"
    "float, up to 192 kHz), through direct, the rig, and every variant that --vary asks for. The\n"
    "files are named by number; a table says which is which. One gain for all of them keeps the\n"
    "true peak under -1 dBTP; --match-level makes them equally loud instead.\n"
    "\n"
    "  toneload listen rig.yaml --out sound --vary 'chain[0].length=3 m,9 m' --match-level\n"
    "  toneload listen rig.yaml --out sound --input riff.wav --recorded-through bedroom.yaml",
    OPTION_OUT | OPTION_INPUT | OPTION_VARY | OPTION_THROUGH | OPTION_MAX_GAIN | OPTION_MATCH |
        OPTION_JSON | OPTION_REFERENCE | OPTION_OUTPUT | OPTION_PARTS | OPTION_JOBS |
        OPTION_TIME_LIMIT,
    1,
    1,
    run,
};
