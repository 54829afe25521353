// SPDX-License-Identifier: GPL-3.0-or-later
// What leads pick up and what joints are good for, for people.
#include "toneload/show.h"

#include "base/text.h"
#include "show/cells.h"
#include "show/dress.h"
#include "show/wrap.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static void add_paragraph(tl_text* text, const char* words) {
    tl_wrap_words(text, words, 0, 0);
}

static void number_cell(tl_table* table, double number, const char* format, const char* none) {
    tl_table_take_number(table, number,
                         isfinite(number) ? tl_printf(format, number) : tl_copy(none));
}

static void value_cell(tl_table* table, double value, const char* unit) {
    tl_table_take_number(table, value, tl_show_value(value, unit, "-"));
}

/// A level against the noise; far under it is told no closer than that, and nothing is nothing.
static void floor_cell(tl_table* table, const tl_dress_level* level) {
    double db = tl_dress_told_db(level);
    number_cell(table, db < -99 ? -INFINITY : db, "%+.1f dB", isnan(db) ? "-" : "< -99 dB");
}

/// A length in the unit that people would say it in.
static char* length_words(double m) {
    return m < 0.1 ? tl_printf("%.3g mm", 1e3 * m)
           : m < 1 ? tl_printf("%.3g cm", 100 * m)
                   : tl_printf("%.3g m", m);
}

static void length_cell(tl_table* table, double m, const char* none) {
    tl_table_take_number(table, m, isfinite(m) ? length_words(m) : tl_copy(none));
}

static void add_table(tl_text* text, tl_table* table) {
    tl_text_add(text, "\n");
    tl_text_take_table(text, table);
    tl_text_add(text, "\n");
}

// ---- the runs

static void add_lie(tl_table* table, const tl_dress_run* run) {
    tl_table_row(table);
    tl_table_words(table, run->name);
    tl_table_words(table, run->lead);
    tl_table_take_words(table, tl_printf("%s: %s", run->beside, run->source));
    length_cell(table, run->length_m, "");
    length_cell(table, run->spacing_m, "");
    number_cell(table, run->angle_deg, "%.3g deg", "");
    length_cell(table, run->height_m, "free");
}

tl_table* tl_dress_lies_table(const tl_dress* dress) {
    static const char* const heads[][2] = {{"run", "name"},
                                           {"lead", "lead"},
                                           {"beside it", "source"},
                                           {"for", "length_m"},
                                           {"spacing", "spacing"},
                                           {"angle", "angle_deg"},
                                           {"over\nground", "height_m"}};
    tl_table* table = tl_table_new();
    for (size_t i = 0; i < sizeof heads / sizeof *heads; ++i)
        tl_table_column(table, heads[i][0], heads[i][1]);
    for (size_t i = 0; i < dress->run_count; ++i)
        add_lie(table, &dress->runs[i]);
    return table;
}

static void add_levels(tl_table* table, const tl_dress* dress, const tl_dress_run* run,
                       size_t amp) {
    const tl_dress_amp* at = &run->amps[amp];
    tl_table_row(table);
    tl_table_words(table, run->name);
    if (dress->amp_count > 1)
        tl_table_words(table, dress->amps[amp]);
    double volt = tl_dress_told_v(at->as_is.a_weighted_v);
    value_cell(table, volt, "V");
    number_cell(table, 20 * log10(volt), "%.1f", "-");
    floor_cell(table, &at->as_is);
    tl_table_words(table, tl_dress_verdict_words(at->as_is.verdict));
    number_cell(table, isnan(volt) ? NAN : 100 * at->as_is.electric, "%.0f %%", "-");
    value_cell(table, run->impedance_ohm, "ohm");
    floor_cell(table, &at->crossing);
    floor_cell(table, &at->buffered);
}

tl_table* tl_dress_levels_table(const tl_dress* dress) {
    tl_table* table = tl_table_new();
    tl_table_column(table, "run", "name");
    if (dress->amp_count > 1)
        tl_table_column(table, "amp", "amp");
    tl_table_column(table, "level at\nthe amp", "a_weighted_v");
    tl_table_column(table, "\ndBV", "dbv");
    tl_table_column(table, "against\nthe noise", "floor_db");
    tl_table_column(table, "\nverdict", "verdict");
    tl_table_column(table, "electric\nshare", "electric");
    tl_table_column(table, "the core\nsees, 1 kHz", "impedance");
    tl_table_column(table, "crossing\n90 deg", "crossing");
    tl_table_column(table, "behind\na buffer", "buffered");
    for (size_t i = 0; i < dress->run_count; ++i)
        for (size_t amp = 0; dress->runs[i].amps && amp < dress->amp_count; ++amp)
            add_levels(table, dress, &dress->runs[i], amp);
    return table;
}

/// The amp at which a run stands out most.
static size_t worst_amp(const tl_dress* dress, const tl_dress_run* run) {
    size_t worst = 0;
    for (size_t i = 1; i < dress->amp_count; ++i)
        if (run->amps[i].as_is.floor_db > run->amps[worst].as_is.floor_db)
            worst = i;
    return worst;
}

/// "3.1 dB above the noise", "4.0 dB under it".
static char* distance_words(double floor_db) {
    if (floor_db < -99)
        return tl_copy("more than 99 dB under the noise");
    return tl_printf("%.1f dB %s the noise", fabs(floor_db), floor_db > 0 ? "above" : "under");
}

/// Spacing and angle that would bury a run.
static void add_moves(tl_text* words, const tl_dress_amp* at) {
    if (isnan(at->enough_m)) {
        tl_text_addf(words, "no spacing up to %g m is enough", TL_DRESS_FAR_M);
    } else {
        char* spacing = length_words(at->enough_m);
        tl_text_addf(words, "%s from centre to centre", spacing);
        free(spacing);
    }
    if (at->enough_deg <= TL_DRESS_STEEP_DEG && at->ends_m <= TL_DRESS_ENDS_M) {
        char* ends = length_words(at->ends_m);
        tl_text_addf(words,
                     "; %san angle of %.0f deg (crossing in the middle, their ends %s apart)",
                     isnan(at->enough_m) ? "but " : "or ", at->enough_deg, ends);
        free(ends);
    }
    tl_text_add(words, ".");
}

/// What a buffer would do, when it does much.
static void add_buffer(tl_text* words, const tl_dress_run* run, const tl_dress_amp* at) {
    if (!(at->as_is.floor_db - at->buffered.floor_db >= TL_DRESS_BUFFER_HELPS_DB))
        return;
    char* where = distance_words(at->buffered.floor_db);
    char* noise = tl_show_value(at->buffered_floor_v, "V", "");
    tl_text_addf(words, " With a buffer in front of its lead it is %s, which is %s %s", where,
                 run->buffered_floor_is_todays ? "today's," : "then", noise);
    tl_text_add(words, run->from_guitar ? "; that buffer would have to sit in the guitar, since no "
                                          "other lead comes first."
                                        : ".");
    free(noise);
    free(where);
}

/// What would bury a run that is not.
static void add_cure(tl_text* text, const tl_dress* dress, const tl_dress_run* run) {
    size_t amp = worst_amp(dress, run);
    const tl_dress_amp* at = &run->amps[amp];
    char* where = distance_words(at->as_is.floor_db);
    tl_text words = {0};
    tl_text_addf(&words, "%s: %s%s%s. To bury it (%g dB under): ", run->name, where,
                 dress->amp_count > 1 ? " at amp " : "",
                 dress->amp_count > 1 ? dress->amps[amp] : "", TL_DRESS_MARGIN_DB);
    add_moves(&words, at);
    add_buffer(&words, run, at);
    tl_wrap_point(text, tl_text_get(&words));
    tl_text_free(&words);
    free(where);
}

static bool is_buried(const tl_dress* dress, const tl_dress_run* run) {
    return run->amps[worst_amp(dress, run)].as_is.verdict == TL_DRESS_BURIED;
}

static bool are_all_buried(const tl_dress* dress) {
    for (size_t amp = 0; amp < dress->amp_count; ++amp)
        if (dress->together[amp].level.verdict != TL_DRESS_BURIED)
            return false;
    return true;
}

/// Those that need nothing, in one sentence. Where all together are heard that is not to be had by
/// looking at each alone.
static void add_buried(tl_text* text, const tl_dress* dress) {
    tl_text words = {0};
    bool all = are_all_buried(dress);
    size_t count = 0;
    for (size_t i = 0; i < dress->run_count; ++i) {
        const tl_dress_run* run = &dress->runs[i];
        if (run->amps && is_buried(dress, run))
            tl_text_addf(&words, "%s%s",
                         count++ ? ", "
                         : all   ? "Buried as they lie: "
                                 : "Buried each by itself: ",
                         run->name);
    }
    tl_text_add(&words, all ? ". Nothing is gained by moving them." : ".");
    if (count)
        tl_wrap_point(text, tl_text_get(&words));
    tl_text_free(&words);
}

static void add_unheard(tl_text* text, const tl_dress* dress, const tl_dress_run* run) {
    double volt = run->amps[worst_amp(dress, run)].as_is.above_v;
    volt = volt >= TL_DRESS_NOTHING_V ? volt : 0;
    char* shown = tl_show_value(volt, "V", "");
    char* hz = tl_show_hz(run->unheard_hz, "");
    tl_text words = {0};
    if (volt > 0)
        tl_text_addf(&words, "%s: %s arrive at the amp between 20 and 100 kHz, above hearing.",
                     run->name, shown);
    if (run->unheard_hz > 0)
        tl_text_addf(&words, "%s%s%s lies above hearing and above the 100 kHz that are solved.",
                     volt > 0 ? " " : run->name, volt > 0 ? "" : ": ", hz);
    // Mains that rise so high are no news.
    if (words.size && strcmp(run->beside, "mains") != 0)
        tl_wrap_point(text, tl_text_get(&words));
    tl_text_free(&words);
    free(hz);
    free(shown);
}

/// Which run to move first, and what comes of it.
static void add_first(tl_text* words, const tl_dress* dress, const tl_dress_sum* sum, size_t amp) {
    const char* first = dress->runs[sum->first].name;
    if (sum->enough_m <= dress->runs[sum->first].amps[amp].enough_m) {
        tl_text_addf(words, " Moving '%s' as far as is said above buries all of it.", first);
        return;
    }
    if (isfinite(sum->enough_m)) {
        char* spacing = length_words(sum->enough_m);
        tl_text_addf(words,
                     " To bury all of it, move '%s' first: at %s from centre to centre that is "
                     "enough.",
                     first, spacing);
        free(spacing);
        return;
    }
    tl_text_addf(words, " To bury all of it, move '%s' first", first);
    if (sum->next == dress->run_count) {
        tl_text_addf(words, "; but no spacing up to %g m is enough.", TL_DRESS_FAR_M);
        return;
    }
    char* where = distance_words(sum->without_db);
    tl_text_addf(words, ", then '%s': with the first of them gone the others are still %s.",
                 dress->runs[sum->next].name, where);
    free(where);
}

static void add_together(tl_text* text, const tl_dress* dress) {
    for (size_t amp = 0; amp < dress->amp_count; ++amp) {
        const tl_dress_sum* sum = &dress->together[amp];
        char* volt = tl_show_value(tl_dress_told_v(sum->level.a_weighted_v), "V", "nothing");
        char* where = distance_words(sum->level.floor_db);
        double rise_db = 10 * log10(1 + pow(10, sum->level.floor_db / 10));
        tl_text words = {0};
        tl_text_addf(&words,
                     "All runs together%s%s: %s, %s: %s. With them the noise is up by %.1f "
                     "dB.",
                     dress->amp_count > 1 ? " at amp " : "",
                     dress->amp_count > 1 ? dress->amps[amp] : "", volt, where,
                     tl_dress_verdict_words(sum->level.verdict), rise_db);
        if (sum->first < dress->run_count)
            add_first(&words, dress, sum, amp);
        tl_wrap_point(text, tl_text_get(&words));
        tl_text_free(&words);
        free(where);
        free(volt);
    }
}

void tl_dress_add_floor(tl_text* text, const tl_dress* dress) {
    tl_text words = {0};
    tl_text_add(&words, "What the leads pick up, as it arrives at the amp, A-weighted. The rig's "
                        "own noise there, ");
    if (*dress->fixed)
        tl_text_addf(&words, "as it is written but for %s:", dress->fixed);
    else
        tl_text_add(&words, "in the state it is written in:");
    for (size_t amp = 0; amp < dress->amp_count; ++amp) {
        char* volt = tl_show_value(dress->floor_v[amp], "V", "none");
        tl_text_addf(&words, "%s %s (%.1f dBV)%s%s", amp ? "," : "", volt,
                     20 * log10(dress->floor_v[amp]), dress->amp_count > 1 ? " at amp " : "",
                     dress->amp_count > 1 ? dress->amps[amp] : "");
        free(volt);
    }
    tl_text_add(&words,
                ". The last two columns are the same run when the leads cross, and when a buffer "
                "drives the lead (against the noise of the rig with that buffer).");
    add_paragraph(text, tl_text_get(&words));
    tl_text_free(&words);
}

/// Runs whose last column is held against another noise than all others'.
static void add_unsolved(tl_text* text, const tl_dress* dress) {
    tl_text words = {0};
    size_t count = 0;
    for (size_t i = 0; i < dress->run_count; ++i)
        if (dress->runs[i].amps && dress->runs[i].buffered_floor_is_todays)
            tl_text_addf(&words, "%s%s", count++ ? ", " : "", dress->runs[i].name);
    tl_text_add(&words, ": the noise of the rig with a buffer there could not be solved, so the "
                        "last column is against today's.");
    if (count)
        tl_wrap_point(text, tl_text_get(&words));
    tl_text_free(&words);
}

size_t tl_dress_measured(const tl_dress* dress) {
    size_t measured = 0;
    for (size_t i = 0; i < dress->run_count; ++i)
        measured += dress->runs[i].amps != NULL;
    return measured;
}

void tl_dress_add_points(tl_text* text, const tl_dress* dress) {
    for (size_t i = 0; i < dress->run_count; ++i) {
        const tl_dress_run* run = &dress->runs[i];
        if (run->amps && !is_buried(dress, run))
            add_cure(text, dress, run);
    }
    add_buried(text, dress);
    for (size_t i = 0; i < dress->run_count; ++i)
        if (dress->runs[i].amps)
            add_unheard(text, dress, &dress->runs[i]);
    for (size_t i = 0; i < dress->run_count; ++i)
        if (!dress->runs[i].in_path) {
            char* words = tl_printf("%s: its lead is out of the path as the rig is written, so "
                                    "nothing comes of it.",
                                    dress->runs[i].name);
            tl_wrap_point(text, words);
            free(words);
        }
    add_unsolved(text, dress);
    if (tl_dress_measured(dress)) {
        add_together(text, dress);
        tl_wrap_point(text,
                      "The guitar's volume matters: half down, a lead that only the pickup drives "
                      "sees more ohms and picks up more. Try other positions in the rig file, "
                      "and other pedals with --fix.");
    }
}

static void add_runs(tl_text* text, const tl_dress* dress) {
    add_table(text, tl_dress_lies_table(dress));
    if (tl_dress_measured(dress)) {
        tl_dress_add_floor(text, dress);
        add_table(text, tl_dress_levels_table(dress));
    }
    tl_dress_add_points(text, dress);
}

// ---- leads of the rig beside each other

static void add_leak(tl_table* table, const tl_dress* dress, const tl_dress_run* run, size_t amp) {
    const tl_dress_leak* leak = &run->leaks[amp];
    char* hz = tl_show_hz(leak->leak_hz, "");
    tl_table_row(table);
    tl_table_words(table, run->name);
    if (dress->amp_count > 1)
        tl_table_words(table, dress->amps[amp]);
    value_cell(table, run->farad, "F");
    number_cell(table, isnan(leak->leak_hz) ? NAN : leak->leak_db, "%.1f dB", "< -120 dB");
    tl_table_words(table, hz);
    double worst_db = leak->hearing.worst_db;
    number_cell(table, fabs(worst_db) < 0.005 ? 0 : worst_db, "%.2f dB", "");
    tl_table_words(table, leak->unstable ? "HOWLS" : tl_verdict_words(leak->hearing.verdict));
    number_cell(table, run->loop_db, "%.1f dB", "all");
    free(hz);
}

static bool does_howl(const tl_dress* dress, const tl_dress_run* run) {
    for (size_t amp = 0; amp < dress->amp_count; ++amp)
        if (run->leaks[amp].unstable)
            return true;
    return false;
}

static bool is_heard(const tl_dress* dress, const tl_dress_run* run) {
    for (size_t amp = 0; amp < dress->amp_count; ++amp)
        if (run->leaks[amp].hearing.verdict != TL_NOT_AUDIBLE)
            return !does_howl(dress, run);
    return false;
}

/// "it howls: the loop has 3.1 dB too much gain at 2.1 kHz".
static void add_loop(tl_text* words, const tl_dress* dress, const tl_dress_run* run) {
    char* hz = tl_show_hz(run->loop_hz, "");
    bool howls = does_howl(dress, run);
    if (howls && run->loop_db < 0)
        tl_text_addf(words,
                     "it howls: the loop from one lead back to the other has %.1f dB too "
                     "much gain at %s",
                     -run->loop_db, hz);
    else if (howls)
        tl_text_add(words, "it howls");
    else if (isfinite(run->loop_db))
        tl_text_addf(words, "%.1f dB of loop gain are left before it howls, at %s", run->loop_db,
                     hz);
    else
        tl_text_add(words, "it cannot howl as the pedals stand");
    free(hz);
}

/// Whether two leads of the rig may lie as they do, and what to do when not.
static void add_leak_cure(tl_text* text, const tl_dress* dress, const tl_dress_run* run) {
    tl_text words = {0};
    tl_text_addf(&words, "%s: ", run->name);
    add_loop(&words, dress, run);
    if (run->may_lie) {
        tl_text_add(&words, ". It may lie as it does.");
    } else {
        char* spacing = length_words(run->apart_m);
        tl_text_add(&words, is_heard(dress, run) ? ", and what it adds is heard. " : ". ");
        if (isfinite(run->apart_m))
            tl_text_addf(&words,
                         "Move the leads %s apart, from centre to centre: nothing is heard "
                         "of it then, and %g dB are left. Or keep",
                         spacing, TL_DRESS_LOOP_DB);
        else
            tl_text_addf(&words,
                         "No spacing up to %g m is enough (nothing heard, %g dB left): keep",
                         TL_DRESS_FAR_M, TL_DRESS_LOOP_DB);
        tl_text_add(&words, " their cores inside their shields ('bare'), shield them better, or "
                            "have less gain between them.");
        free(spacing);
    }
    tl_wrap_point(text, tl_text_get(&words));
    tl_text_free(&words);
}

size_t tl_dress_leaking(const tl_dress* dress) {
    size_t count = 0;
    for (size_t i = 0; i < dress->run_count; ++i)
        count += dress->runs[i].leaks != NULL;
    return count;
}

tl_table* tl_dress_leaks_table(const tl_dress* dress) {
    tl_table* table = tl_table_new();
    tl_table_column(table, "audio beside audio", "name");
    if (dress->amp_count > 1)
        tl_table_column(table, "amp", "amp");
    tl_table_column(table, "between\nthe cores", "farad");
    tl_table_column(table, "at most it adds\nto the signal", "leak_db");
    tl_table_column(table, "\nat", "leak_hz");
    tl_table_column(table, "changes\nthe tone by", "worst_db");
    tl_table_column(table, "\nto the ear", "verdict");
    tl_table_column(table, "loop gain\nleft", "loop_db");
    for (size_t i = 0; i < dress->run_count; ++i)
        for (size_t amp = 0; dress->runs[i].leaks && amp < dress->amp_count; ++amp)
            add_leak(table, dress, &dress->runs[i], amp);
    return table;
}

void tl_dress_add_leak_points(tl_text* text, const tl_dress* dress) {
    for (size_t i = 0; i < dress->run_count; ++i)
        if (dress->runs[i].leaks)
            add_leak_cure(text, dress, &dress->runs[i]);
}

static void add_leaks(tl_text* text, const tl_dress* dress) {
    if (!tl_dress_leaking(dress))
        return;
    add_table(text, tl_dress_leaks_table(dress));
    tl_dress_add_leak_points(text, dress);
}

// ---- what is assumed

static bool has_beside(const tl_dress* dress, const char* beside) {
    for (size_t i = 0; i < dress->run_count; ++i)
        if (strcmp(dress->runs[i].beside, beside) == 0)
            return true;
    return false;
}

/// Whether an earlier run took the same.
static bool is_said(const tl_dress* dress, size_t index) {
    for (size_t i = 0; i < index; ++i)
        if (strcmp(dress->runs[i].taken, dress->runs[index].taken) == 0)
            return true;
    return false;
}

/// What was taken where runs do not say, those that took the same together.
static void add_taken(tl_text* text, const tl_dress* dress) {
    for (size_t i = 0; i < dress->run_count; ++i) {
        if (!*dress->runs[i].taken || is_said(dress, i))
            continue;
        tl_text words = {0};
        for (size_t j = i; j < dress->run_count; ++j)
            if (strcmp(dress->runs[i].taken, dress->runs[j].taken) == 0)
                tl_text_addf(&words, "%s%s", j > i ? ", " : "", dress->runs[j].name);
        tl_text_addf(&words, ": %s.", dress->runs[i].taken);
        tl_wrap_point(text, tl_text_get(&words));
        tl_text_free(&words);
    }
}

void tl_dress_add_assumptions(tl_text* text, const tl_dress* dress) {
    for (size_t i = 0; i < TL_DRESS_ASSUMPTIONS; ++i) {
        const tl_dress_assumption* one = &tl_dress_assumptions[i];
        if (!one->beside || has_beside(dress, one->beside))
            tl_wrap_point(text, one->words);
    }
    add_taken(text, dress);
    char* words = tl_printf("\"A buffer\" is the library's %s. Verdicts: under the noise by %g dB "
                            "or more is buried, since a tone can be heard in noise that is a "
                            "little louder (common practice); less is near; more than the noise is "
                            "above.",
                            dress->buffer, TL_DRESS_MARGIN_DB);
    tl_wrap_point(text, words);
    free(words);
}

// ---- joints

tl_table* tl_dress_joints_table(const tl_dress_joints* joints) {
    static const char* const heads[][2] = {{"joints in the path", "name"},
                                           {"how\nmany", "count"},
                                           {"each in\nseries", "ohm"},
                                           {"each to\nground", "leakage"},
                                           {"opens in\n1000 h, each", "openings"},
                                           {"in a gig\nof 3 h, all", "a_gig"}};
    tl_table* table = tl_table_new();
    for (size_t i = 0; i < sizeof heads / sizeof *heads; ++i)
        tl_table_column(table, heads[i][0], heads[i][1]);
    for (size_t i = 0; i < joints->kind_count; ++i) {
        const tl_dress_joint* kind = &joints->kinds[i];
        tl_table_row(table);
        tl_table_words(table, kind->name);
        number_cell(table, (double)kind->count, "%.0f", "");
        value_cell(table, kind->ohm, "ohm");
        value_cell(table, kind->leakage_ohm, "ohm");
        number_cell(table, kind->openings, "%.3g", "not said");
        number_cell(table, kind->a_gig, "%.2g", "");
    }
    return table;
}

static void add_joint_tone(tl_text* text, const tl_dress* dress) {
    const tl_dress_joints* joints = &dress->joints;
    char* series = tl_show_value(joints->series_ohm, "ohm", "");
    char* leakage = tl_show_value(joints->leakage_ohm, "ohm", "none");
    tl_text words = {0};
    tl_text_addf(&words,
                 "Tone: %s in series%s%s change it by %.2f dB at most (%s), solved with "
                 "and without all joints.",
                 series, isfinite(joints->leakage_ohm) ? " and leaks that come to " : "",
                 isfinite(joints->leakage_ohm) ? leakage : "", fabs(joints->hearing.worst_db),
                 tl_verdict_words(joints->hearing.verdict));
    tl_wrap_point(text, tl_text_get(&words));
    tl_text_free(&words);
    free(leakage);
    free(series);
}

/// What a joint is to a supply's return, if it is one that could be in a DC lead: ohms in a wire
/// that carries milliamperes.
static void add_joint_supply(tl_text* text, const tl_dress_joints* joints) {
    if (!(joints->plug_ohm > 0))
        return;
    char* worst = tl_show_value(joints->plug_ohm, "ohm", "");
    char* moved = tl_show_value(joints->plug_ohm * 1e-2, "V", "");
    char* words = tl_printf(
        "Supplies: in the DC lead of a pedal a joint like the worst here (%s) moves the pedal's "
        "ground by %s when it draws 10 mA more. Alone on an isolated output nobody hears that; "
        "on a return that pedals share it is added to the signal ('toneload power' solves that).",
        worst, moved);
    tl_wrap_point(text, words);
    free(words);
    free(moved);
    free(worst);
}

/// "clamped-worn" or "the 15 clamped-new".
static char* kind_words(const tl_dress_joint* kind) {
    return kind->count > 1 ? tl_printf("the %zu %s", kind->count, kind->name)
                           : tl_printf("the one %s", kind->name);
}

/// What mending the kind that opens most would buy.
static void add_joint_mend(tl_text* text, const tl_dress_joints* joints) {
    if (joints->mended_gig <= joints->quiet_gig)
        return;
    const tl_dress_joint* worst = &joints->kinds[joints->worst];
    tl_text words = {0};
    size_t alike = 0;
    for (size_t i = 0; i < joints->kind_count; ++i)
        if (joints->kinds[i].a_gig >= worst->a_gig * (1 - 1e-9)) {
            char* kind = kind_words(&joints->kinds[i]);
            tl_text_addf(&words, "%s%s", alike++ ? " and " : "Of these openings ", kind);
            free(kind);
        }
    tl_text_addf(&words, " make%s %.0f %%%s.", alike > 1 || worst->count > 1 ? "" : "s",
                 100 * worst->a_gig / joints->openings_a_gig, alike > 1 ? " each" : "");
    char* kind = kind_words(worst);
    tl_text_addf(&words, " With %s as good as %s the chance would be %.1f %%.", kind,
                 joints->kinds[joints->best].name, 100 * joints->mended_gig);
    free(kind);
    tl_wrap_point(text, tl_text_get(&words));
    tl_text_free(&words);
}

static void add_joint_failures(tl_text* text, const tl_dress_joints* joints) {
    if (joints->worst == joints->kind_count) {
        tl_wrap_point(text, "Reliability: no joint states its 'openings' (in 1000 hours of use).");
        return;
    }
    tl_text words = {0};
    tl_text_add(&words, "Reliability: ");
    if (joints->count == 1)
        tl_text_add(&words, "the one joint has to hold");
    else
        tl_text_addf(&words, "all %zu joints have to hold", joints->count);
    if (joints->unsaid)
        tl_text_addf(&words,
                     ", but %zu of them %s how often %s ('openings'), and what follows "
                     "leaves %s out",
                     joints->unsaid, joints->unsaid > 1 ? "do not say" : "does not say",
                     joints->unsaid > 1 ? "they open" : "it opens",
                     joints->unsaid > 1 ? "them" : "it");
    tl_text_addf(&words,
                 ". In a gig of %g h %.2g openings are to be expected, and the chance of a "
                 "gig without any is %.1f %% (Poisson).",
                 TL_DRESS_GIG_H, joints->openings_a_gig, 100 * joints->quiet_gig);
    tl_wrap_point(text, tl_text_get(&words));
    tl_text_free(&words);
    add_joint_mend(text, joints);
}

void tl_dress_add_joint_points(tl_text* text, const tl_dress* dress) {
    const tl_dress_joints* joints = &dress->joints;
    add_joint_tone(text, dress);
    add_joint_supply(text, joints);
    add_joint_failures(text, joints);
}

static void add_joints(tl_text* text, const tl_dress* dress) {
    if (!dress->joints.count) {
        tl_text_add(text, "\nNo joints ('contact') in the rig file's path.\n");
        return;
    }
    add_table(text, tl_dress_joints_table(&dress->joints));
    tl_dress_add_joint_points(text, dress);
}

/// What could be written into a rig file that says nothing of its leads: it can be copied.
static void add_hint(tl_text* text, const tl_dress* dress) {
    tl_text_add(text, "\n");
    double cm = floor(100 * fmin(dress->example_m, 0.5));
    if (!dress->example_lead || cm < 1) {
        add_paragraph(text, "The rig has no lead ('cable') that could lie beside another one.");
        return;
    }
    add_paragraph(text,
                  "The rig file says nothing of how its leads lie. It does with lines such as "
                  "these, with figures of your own:");
    tl_text_addf(text,
                 "\ndressing:\n  - {name: wall lead, lead: '%s', beside: mains, length: %.0f cm, "
                 "spacing: 10 mm,\n     diameter: 7 mm, pair: 3 mm, voltage: 230 V, frequency: 50 "
                 "Hz, current: 0.5 A}\n",
                 dress->example_lead, cm);
}

char* tl_dress_text(const tl_dress* dress) {
    tl_text text = {0};
    tl_text_add_safe(&text, dress->rig);
    tl_text_add(&text, "\n");
    if (dress->run_count) {
        add_runs(&text, dress);
        add_leaks(&text, dress);
        bool blank = text.size > 1 && text.data[text.size - 2] == '\n';
        tl_text_addf(&text, "%sAssumed\n", blank ? "" : "\n");
        tl_dress_add_assumptions(&text, dress);
    } else {
        add_hint(&text, dress);
    }
    add_joints(&text, dress);
    char* cautions = tl_cautions_text(TL_DRESS_CAUTIONS);
    tl_text_addf(&text, "\n%s", cautions);
    free(cautions);
    return tl_text_take(&text);
}
