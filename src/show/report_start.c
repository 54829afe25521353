// SPDX-License-Identifier: GPL-3.0-or-later
// The first page: the verdict for the player, all else at a glance; then the curves and figures.
#include "show/build.h"
#include "show/build_bill.h"
#include "show/cells.h"
#include "show/lesson.h"
#include "show/power.h"
#include "show/report.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const double least_db = 0.5; ///< a difference worth a word

// ---- the verdict

/// What the ear makes of it, as one says it to a player.
static const char* verdict_head(tl_verdict verdict) {
    static const char* const words[] = {
        "You will not hear a difference.", "You may just hear a difference, side by side.",
        "You can hear a difference.", "It plainly sounds different."};
    return words[verdict];
}

/// Where most of a difference is, and what that sounds like.
static void add_difference(tl_text* page, const tl_hearing* hearing) {
    if (fabs(hearing->worst_db) >= least_db)
        tl_html_say(page,
                    " Most of it is in @s, around @h, where @D @s gets through once both are "
                    "equally loud.",
                    tl_report_region(hearing->worst_hz), hearing->worst_hz, hearing->worst_db,
                    hearing->worst_db < 0 ? "less" : "more");
    if (fabs(hearing->presence_db) >= least_db)
        tl_html_say(page, " On the whole it sounds @s.",
                    hearing->presence_db < 0 ? "duller" : "brighter");
}

/// The resonance, when it has moved by as much as can be heard.
static void add_resonance(tl_text* page, const tl_solved* rig, const tl_solved* direct) {
    if (!(rig->hearing.peak_shift_steps >= 1))
        return;
    tl_html_say(page,
                " The pickup's resonance, which makes much of its voice, sits at @h instead of @h.",
                rig->metrics.peak_hz, direct->metrics.peak_hz);
}

static void add_level(tl_text* page, const tl_hearing* hearing) {
    if (fabs(hearing->level_db) < least_db)
        tl_html_say(page, " It arrives as loud as plugged straight in.");
    else
        tl_html_say(page, " It arrives @D @s, which the amp's volume makes up for.",
                    hearing->level_db, hearing->level_db < 0 ? "quieter" : "louder");
}

/// The state that is heard most, when the pedals move the tone to another verdict.
static void add_worst_state(tl_text* page, const tl_report* report, tl_verdict written) {
    const tl_states* states = report->states;
    if (!states)
        return;
    const tl_state* state = &states->states[states->ranking[0]];
    const tl_hearing* worst = &state->amps[0].hearing;
    for (size_t i = 1; i < states->amp_count; ++i)
        if (tl_hearing_size(&state->amps[i].hearing) > tl_hearing_size(worst))
            worst = &state->amps[i].hearing;
    if (worst->verdict == written)
        return;
    char* words = tl_show_engaged(state->name, states->pedals, state->engaged, states->pedal_count,
                                  "all off");
    tl_html_say(page,
                " With other pedals on or off that changes: furthest from plugged straight in "
                "is \xe2\x80\x9c@s\xe2\x80\x9d, with up to @D in @s.",
                words, worst->worst_db, tl_report_region(worst->worst_hz));
    free(words);
}

static void add_verdict(tl_text* page, const tl_report* report) {
    size_t at = tl_report_worst_amp(report->answer);
    const tl_solved* rig = &report->answer->solved[at];
    const tl_hearing* hearing = &rig->hearing;
    char* written = tl_report_written_words(report);
    tl_html_say(page, "<div class=\"short\">\n<p><b>@s</b> This is the rig @s",
                verdict_head(hearing->verdict), written);
    if (report->answer->count > 2)
        tl_html_say(page, ", at the amp \xe2\x80\x9c@s\xe2\x80\x9d, where it is heard most",
                    rig->amp);
    tl_html_say(page, ", against the same guitar plugged straight into the same amp.");
    add_difference(page, hearing);
    add_resonance(page, rig, rig + 1);
    add_level(page, hearing);
    add_worst_state(page, report, hearing->verdict);
    tl_text_add(page, "</p>\n</div>\n");
    free(written);
}

// ---- at a glance

static void open_row(tl_text* page, const char* what, tl_report_mark mark) {
    tl_text_addf(page, "<div><dt>%s ", what);
    tl_report_add_mark(page, mark);
    tl_text_add(page, "</dt><dd>");
}

static void close_row(tl_text* page) {
    tl_text_add(page, "</dd></div>\n");
}

static void add_tone_row(tl_text* page, const tl_report* report) {
    const tl_solved* rig = &report->answer->solved[tl_report_worst_amp(report->answer)];
    tl_verdict verdict = rig->hearing.verdict;
    open_row(page, "Tone",
             verdict <= TL_BORDERLINE ? TL_REPORT_FINE
             : verdict == TL_AUDIBLE  ? TL_REPORT_MIND
                                      : TL_REPORT_MEND);
    tl_html_say(page, "Against plugged straight in the difference is @s (@d at most).",
                tl_verdict_words(verdict), rig->hearing.worst_db);
    close_row(page);
}

static void add_pedals_row(tl_text* page, const tl_report* report) {
    const tl_states* states = report->states;
    if (!states)
        return;
    double db = states->spread.worst_db;
    open_row(page, "Pedals", db < 1 ? TL_REPORT_FINE : db < 3 ? TL_REPORT_MIND : TL_REPORT_MEND);
    if (db < least_db)
        tl_html_say(page,
                    "Whatever is stepped on, the tone stays: over all @n @s no two differ by more "
                    "than @D.",
                    states->count, report->scenes ? "scenes" : "combinations", db);
    else
        tl_html_say(page,
                    "Stepping on pedals moves the tone by up to @D, beyond what they are for: see "
                    "<a href=\"#states\">section 2</a>.",
                    db);
    close_row(page);
}

static void add_hiss_row(tl_text* page, const tl_report* report) {
    size_t amp = 0;
    double db = tl_report_hiss_db(report->noise, &amp);
    open_row(page, "Hiss", db < 3 ? TL_REPORT_FINE : db < 10 ? TL_REPORT_MIND : TL_REPORT_MEND);
    if (fabs(db) < least_db)
        tl_html_say(page, "In the pauses it hisses as little as plugged straight in.");
    else
        tl_html_say(page, "In the pauses it hisses @D @s than plugged straight in.", db,
                    db > 0 ? "more" : "less");
    close_row(page);
}

static void add_power_row(tl_text* page, const tl_report* report) {
    const tl_power_plan* plan = report->power;
    if (!plan)
        return;
    char* words = tl_power_headline(plan);
    open_row(page, "Power",
             !tl_power_is_ready(plan)                     ? TL_REPORT_MEND
             : tl_power_count(plan, TL_POWER_WARNING) > 0 ? TL_REPORT_MIND
                                                          : TL_REPORT_FINE);
    tl_html_say(page, "@s.", words);
    free(words);
    close_row(page);
}

/// Runs beside mains and supplies that are not buried, and runs of audio that may not lie so.
static size_t count_loud(const tl_dress* dress, bool* above) {
    size_t loud = 0;
    for (size_t i = 0; i < dress->run_count; ++i) {
        const tl_dress_run* run = &dress->runs[i];
        bool counts = run->leaks && !run->may_lie;
        for (size_t amp = 0; run->amps && amp < dress->amp_count; ++amp) {
            counts = counts || run->amps[amp].as_is.verdict != TL_DRESS_BURIED;
            *above = *above || run->amps[amp].as_is.verdict == TL_DRESS_ABOVE;
        }
        loud += counts;
    }
    return loud;
}

/// How far a run's leads have to be apart for nothing of it to be heard; NAN: no spacing does it,
/// or none is needed.
static double apart_m(const tl_dress* dress, const tl_dress_run* run) {
    if (run->leaks)
        return run->may_lie ? NAN : run->apart_m;
    double most_m = 0;
    for (size_t amp = 0; run->amps && amp < dress->amp_count; ++amp)
        if (run->amps[amp].as_is.verdict != TL_DRESS_BURIED)
            most_m = isnan(run->amps[amp].enough_m) ? NAN : fmax(most_m, run->amps[amp].enough_m);
    return most_m > 0 ? most_m : NAN;
}

static bool buffer_helps(const tl_dress* dress, const tl_dress_run* run) {
    bool helps = run->amps != NULL;
    for (size_t amp = 0; run->amps && amp < dress->amp_count; ++amp)
        helps = helps && run->amps[amp].buffered.verdict == TL_DRESS_BURIED;
    return helps;
}

/// The shortest cure of each run that may be heard, the first ones only.
static void add_lead_cures(tl_text* page, const tl_dress* dress) {
    enum { MOST_CURES = 3 };
    size_t told = 0;
    for (size_t i = 0; i < dress->run_count && told < MOST_CURES; ++i) {
        const tl_dress_run* run = &dress->runs[i];
        bool above = false;
        const tl_dress only = {
            .runs = (tl_dress_run*)run, .run_count = 1, .amp_count = dress->amp_count};
        double enough_m = apart_m(dress, run);
        bool buffer = buffer_helps(dress, run);
        if (!count_loud(&only, &above) || (isnan(enough_m) && !buffer))
            continue;
        char* spacing = tl_printf("%.0f mm", 1e3 * enough_m);
        tl_html_say(page, "@s \xe2\x80\x9c@s\xe2\x80\x9d: ", told++ ? ";" : " The cure for",
                    run->name);
        if (!isnan(enough_m))
            tl_html_say(page, "keep the two leads @s apart, centre to centre@s", spacing,
                        buffer ? ", or a buffer in front" : "");
        else
            tl_html_say(page, "a buffer in front");
        free(spacing);
    }
    tl_text_add(page, told ? "." : "");
}

static void add_leads_row(tl_text* page, const tl_report* report) {
    const tl_dress* dress = report->dress;
    bool above = false;
    size_t loud = count_loud(dress, &above);
    if (!dress->run_count)
        return;
    open_row(page, "Leads", above ? TL_REPORT_MEND : loud ? TL_REPORT_MIND : TL_REPORT_FINE);
    if (!loud)
        tl_html_say(page,
                    "What they pick up from mains and supplies beside them drowns in the hiss.");
    else
        tl_html_say(page,
                    "@n of the @n places where a lead runs beside another one may be heard: see "
                    "<a href=\"#leads\">section 5</a>.",
                    loud, dress->run_count);
    if (loud)
        add_lead_cures(page, dress);
    close_row(page);
}

/// A chance in words that do not claim more than figures from memory are good for.
static size_t gigs_of_100(double chance) {
    return (size_t)lround(100 * chance);
}

static void add_joints_row(tl_text* page, const tl_report* report) {
    const tl_dress_joints* joints = &report->dress->joints;
    if (!joints->count || joints->worst == joints->kind_count)
        return;
    double chance = joints->quiet_gig;
    open_row(page, "Joints",
             chance > 0.98  ? TL_REPORT_FINE
             : chance > 0.8 ? TL_REPORT_MIND
                            : TL_REPORT_MEND);
    const tl_dress_joint* worst = &joints->kinds[joints->worst];
    bool mend = joints->mended_gig > chance + 0.005;
    if (mend && worst->count == 1 && *worst->where)
        tl_html_say(page, "One joint is the weak one: @s. ", worst->where);
    else if (mend)
        tl_html_say(page, "@n of the @n joints (\xe2\x80\x9c@s\xe2\x80\x9d) are the weak ones. ",
                    worst->count, joints->count, worst->name);
    tl_html_say(page, "About @n of 100 gigs pass without a crackle from a joint",
                gigs_of_100(chance));
    if (mend)
        tl_html_say(page, "; with @s mended, @n", worst->count == 1 ? "that one" : "those",
                    gigs_of_100(joints->mended_gig));
    tl_text_add(page, ".");
    close_row(page);
}

/// Rig and direct at one amp.
static void add_curves(tl_text* page, const tl_answer* answer, size_t at) {
    const tl_solved* rig = &answer->solved[at];
    const tl_solved* direct = rig + 1;
    char* about =
        answer->count > 2
            ? tl_printf("What arrives at the amp '%s', through the rig and plugged "
                        "straight in.",
                        rig->amp)
            : tl_copy("What arrives at the amp, through the rig and plugged straight in.");
    const tl_curve curves[] = {
        {.response = rig->response, .metrics = &rig->metrics, .label = "through the rig"},
        {.response = direct->response,
         .metrics = &direct->metrics,
         .label = "plugged straight in",
         .direct = true}};
    tl_lesson_plot plot = {about, curves, 2, -12, 6};
    tl_lesson_fit_plot(&plot);
    tl_lesson_add_plot(page, &plot);
    free(about);
}

static void add_board_row(tl_text* page, const tl_report* report) {
    const tl_build* build = report->build;
    if (!build)
        return;
    char* words = tl_build_headline(build);
    open_row(page, "Board",
             tl_build_count(build, TL_BUILD_ERROR)     ? TL_REPORT_MEND
             : tl_build_count(build, TL_BUILD_WARNING) ? TL_REPORT_MIND
                                                       : TL_REPORT_FINE);
    tl_html_say(page, "@s", words);
    free(words);
    close_row(page);
}

static void add_cost_row(tl_text* page, const tl_report* report) {
    const tl_build* build = report->build;
    if (!build || !build->prices)
        return;
    char* total = tl_build_money(build, build->total);
    open_row(page, "Material", build->unpriced ? TL_REPORT_MIND : TL_REPORT_FINE);
    tl_html_say(page, "What it takes costs @s", total);
    if (build->unpriced)
        tl_html_say(page, ", without @n things that have no price", build->unpriced);
    tl_html_say(page, ": see <a href=\"#bill\">section 8</a>.");
    free(total);
    close_row(page);
}

void tl_report_add_glance(tl_text* page, const tl_report* report) {
    add_verdict(page, report);
    add_curves(page, report->answer, tl_report_worst_amp(report->answer));
    tl_text_add(page, "<dl class=\"glance\">\n");
    add_tone_row(page, report);
    add_pedals_row(page, report);
    add_hiss_row(page, report);
    add_power_row(page, report);
    add_leads_row(page, report);
    add_joints_row(page, report);
    add_board_row(page, report);
    add_cost_row(page, report);
    tl_html_say(page,
                "</dl>\n<p class=\"small\">Where <i>fine</i> ends and <i>to mend</i> begins is our "
                "own choice: tone, up to borderline and from plain on; pedals, 1 and 3 dB; hiss, 3 "
                "and 10 dB; joints, 98 and 80 of 100 gigs; leads, what may be heard and what is "
                "over the hiss.</p>\n");
}

// ---- the curves and the figures

static void add_promise(tl_text* page, const tl_report* report) {
    const tl_solved* rig = &report->answer->solved[tl_report_worst_amp(report->answer)];
    tl_html_say(page,
                "<p><b>Held against:</b> the guitar plugged straight into the same amp with @s@s. "
                "The aim of a rig would be that nothing audible is lost against it.</p>\n",
                report->direct,
                report->direct_assumed ? " (the rig's file does not say what it is held against: "
                                         "this is what is usual)"
                                       : "");
    tl_html_say(page, "<p><b>Delivered:</b> @s to the ear", tl_verdict_words(rig->hearing.verdict));
    if (isfinite(rig->hearing.worst_db))
        tl_html_say(page, ", at most @D off in any band of hearing, at @h", rig->hearing.worst_db,
                    rig->hearing.worst_hz);
    tl_html_say(page,
                ". In the range that makes a guitar cut through (2 to 5 kHz) it is @d off on "
                "the average.</p>\n",
                rig->hearing.presence_db);
}

static tl_table* figures_table(const tl_answer* answer) {
    tl_table* table = tl_table_new();
    tl_table_column(table, "line-up", "name");
    if (answer->count > 2)
        tl_table_column(table, "amp", "amp");
    tl_table_column(table, "level at\nreference", "level");
    tl_table_column(table, "peak\nat", "peak_hz");
    tl_table_column(table, "peak\nheight", "peak_db");
    tl_table_column(table, "resonance\nat", "pole_hz");
    tl_table_column(table, "sharpness\nQ", "q");
    tl_table_column(table, "3 dB\ndown at", "cutoff_hz");
    for (size_t i = 0; i < answer->count; ++i) {
        const tl_metrics* metrics = &answer->solved[i].metrics;
        tl_table_row(table);
        tl_table_words(table, strcmp(answer->solved[i].name, "rig") == 0 ? "through the rig"
                                                                         : "plugged straight in");
        if (answer->count > 2)
            tl_table_words(table, answer->solved[i].amp);
        tl_table_take_number(table, metrics->reference_db,
                             tl_show_db(metrics->reference_db, "none"));
        tl_table_take_number(table, metrics->peak_hz, tl_show_hz(metrics->peak_hz, "none"));
        tl_table_take_number(table, metrics->peak_db, tl_show_db(metrics->peak_db, "-"));
        tl_table_take_number(table, metrics->pole_hz, tl_show_hz(metrics->pole_hz, "none"));
        tl_table_take_number(table, metrics->q, tl_show_ratio(metrics->q, "-"));
        tl_table_take_number(table, metrics->cutoff_hz,
                             tl_show_hz(metrics->cutoff_hz, "above 100 kHz"));
    }
    return table;
}

enum { DIFFERENCES = 8 };

/// Rig minus direct, levels matched.
static tl_table* differences_table(const tl_answer* answer) {
    static const double hz[DIFFERENCES] = {100, 500, 1000, 2000, 3000, 5000, 8000, 10000};
    tl_table* table = tl_table_new();
    tl_table_column(table, answer->count > 2 ? "amp" : "through the rig", "name");
    for (size_t i = 0; i < DIFFERENCES; ++i) {
        char* head = hz[i] < 1000 ? tl_printf("%g Hz", hz[i]) : tl_printf("%g kHz", hz[i] / 1000);
        tl_table_column(table, head, head);
        free(head);
    }
    for (size_t i = 0; i + 1 < answer->count; i += 2) {
        const tl_solved* rig = &answer->solved[i];
        tl_table_row(table);
        tl_table_words(table, answer->count > 2 ? rig->amp : "more or less, dB");
        for (size_t j = 0; j < DIFFERENCES; ++j) {
            double db = tl_response_db(rig->response, hz[j]) -
                        tl_response_db(rig[1].response, hz[j]) - rig->hearing.level_db;
            tl_table_take_number(table, db,
                                 fabs(db) < 0.005 ? tl_copy("0.00") : tl_printf("%+.2f", db));
        }
    }
    return table;
}

static void add_hearing(tl_text* page, const tl_answer* answer) {
    for (size_t i = 0; i + 1 < answer->count; i += 2) {
        char* words = tl_show_hearing(&answer->solved[i].hearing);
        char* text = answer->count > 2 ? tl_printf("At amp %s: %s", answer->solved[i].amp, words)
                                       : tl_printf("To the ear it is %s", words);
        tl_report_add_prose(page, text);
        free(words);
        if (answer->solved[i].metrics.unstable || answer->solved[i + 1].metrics.unstable)
            tl_html_say(page, "<p><b>Unstable:</b> a pole lies in the right half plane: the rig "
                              "would howl, and these figures are not to be trusted.</p>\n");
    }
    tl_html_say(page,
                "<p class=\"small\">Verdict by the worse of dB and just-noticeable steps of the "
                "peak: under 0.5 not audible, under 1 borderline, under 3 audible, else plain. "
                "Level: 0.5 to 1 dB is just noticeable for most sounds (Open University, Hearing, "
                "10.3; seen). Peak: 0.079 f / sqrt(Q) (Gagne and Zurek, JASA 83, 1988; abstract "
                "seen).</p>\n");
}

void tl_report_add_start(tl_text* page, const tl_report* report) {
    const tl_answer* answer = report->answer;
    add_promise(page, report);
    for (size_t i = 0; i + 1 < answer->count; i += 2)
        if (i != tl_report_worst_amp(answer)) // whose curves stand on the first page
            add_curves(page, answer, i);
    char* about = tl_printf("The figures; peak and 3 dB point against the level at %g Hz",
                            report->reference_hz);
    tl_report_add_table(page, figures_table(answer), about);
    free(about);
    tl_report_add_table(page, differences_table(answer),
                        "Through the rig minus plugged straight in, in dB, both equally loud "
                        "between 200 Hz and 1 kHz");
    add_hearing(page, answer);
}
