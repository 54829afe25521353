// SPDX-License-Identifier: GPL-3.0-or-later
// What a lesson says, chapter by chapter. A sentence that a rig may prove wrong is chosen by what
// was solved.
#include "show/html.h"
#include "show/lesson.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { LAST = TL_LESSON_LENGTHS - 1 };

static const char* verdict_of(const tl_lesson_line* line) {
    return tl_verdict_words(line->hearing.verdict);
}

/// Adds the verdict and where it is worst: "audible (-1.2 dB at 8.1 kHz)".
static void say_verdict(tl_text* page, const tl_hearing* hearing) {
    tl_html_say(page, "<b>@s</b> (largest difference in a band of hearing: @d at @h)",
                tl_verdict_words(hearing->verdict), hearing->worst_db, hearing->worst_hz);
}

/// What the amp's end of the lead has in capacitance.
static double amp_farad(const tl_lesson_values* values) {
    return (isnan(values->amp_farad) ? 0 : values->amp_farad) +
           (isnan(values->grid_farad) ? 0 : values->grid_farad);
}

/// What became of the peak.
static void say_peaks(tl_text* page, const tl_lesson_line* from, const tl_lesson_line* to) {
    double before_hz = from->metrics.peak_hz;
    double after_hz = to->metrics.peak_hz;
    if (isnan(before_hz) && isnan(after_hz))
        tl_html_say(page, "this guitar into this amp has no peak to move");
    else if (isnan(after_hz))
        tl_html_say(page, "the pickup's peak at @h is gone", before_hz);
    else if (isnan(before_hz))
        tl_html_say(page, "there is a peak at @h where there was none", after_hz);
    else
        tl_html_say(page, "the pickup's peak moves from @h to @h", before_hz, after_hz);
}

static void add_in_short(tl_text* page, const tl_lesson* lesson) {
    const tl_lesson_line* first = &lesson->lengths[0];
    const tl_lesson_line* last = &lesson->lengths[LAST];
    const tl_lesson_line* saved = &lesson->buffered[LAST];
    const tl_lesson_line* joint = &lesson->joints[TL_LESSON_JOINTS - 1];
    tl_text_add(page, "<div class=\"short\">\n<p><b>In short</b></p>\n<ul>\n");
    tl_html_say(page, "<li>@m of this lead instead of @m: ", last->length_m, first->length_m);
    say_peaks(page, first, last);
    tl_html_say(page, ", and 5&#160;kHz comes out @d. To the ear: ", last->at_5khz_db);
    say_verdict(page, &last->hearing);
    tl_text_add(page, ".</li>\n");
    tl_html_say(page,
                "<li>The same @m behind a buffer: the peak is at @h, and 5&#160;kHz comes out @d "
                "against @m straight in. How long the lead behind the buffer is changes no band of "
                "hearing by more than @D.</li>\n",
                saved->length_m, saved->metrics.peak_hz, saved->at_5khz_db, first->length_m,
                fmax(lesson->buffered_apart_db, 0.001));
    if (fabs(joint->hearing.worst_db) < 0.5)
        tl_html_say(page,
                    "<li>It is the lead's capacitance that does it, not its resistance: even @R in "
                    "the way changes no band of hearing by more than @D.</li>\n",
                    lesson->joint_ohm[TL_LESSON_JOINTS - 1],
                    fmax(fabs(joint->hearing.worst_db), 0.001));
    tl_text_add(page, "</ul>\n</div>\n");
}

static void add_circuit_words(tl_text* page, const tl_lesson* lesson) {
    const tl_lesson_values* values = &lesson->values;
    tl_text_add(page, "<h2>1. The circuit</h2>\n");
    tl_html_say(page,
                "<p>A magnetic pickup is a coil of some thousand turns of thin wire. That makes it "
                "an inductance (@H), a resistance (@R), and, because the turns lie side by side, a "
                "small capacitor (@F). A lead is a wire inside a shield, with insulation between: "
                "that is a capacitor too, and each metre of this one (@s) adds @F. The amp's input "
                "adds a little of its own.</p>\n",
                values->henry, values->ohm, values->winding_farad, lesson->cable,
                lesson->cable_farad_per_m);
    tl_lesson_add_circuit(page, lesson);
    if (lesson->turned_up)
        tl_text_add(page, "<p>In the rig file some control is turned down. In this lesson all are "
                          "full up unless it says otherwise.</p>\n");
    if (lesson->amp)
        tl_html_say(page,
                    "<p>This rig has several amps; the lesson is about the one named "
                    "&#8220;@s&#8221;.</p>\n",
                    lesson->amp);
}

void tl_lesson_add_start(tl_text* page, const char* title, const tl_lesson* lesson) {
    tl_text_add(page, "<h1>Why long leads dull the top end</h1>\n<p class=\"rig\">");
    tl_html_add(page, title);
    tl_text_add(page, "</p>\n");
    add_in_short(page, lesson);
    add_circuit_words(page, lesson);
}

/// A term of a sum, when it is there; `*first` is false after the first.
static void say_term(tl_text* page, bool* first, const char* words, double farad) {
    if (isnan(farad) || farad == 0)
        return;
    tl_html_say(page, *first ? "@F @s" : " + @F @s", farad, words);
    *first = false;
}

/// Whether the formula leaves no resonance with the usual lead: its two poles are real.
static bool is_overdamped(const tl_lesson* lesson) {
    return lesson->lengths[lesson->usual].formula_q < 0.5;
}

static void add_resonance(tl_text* page, const tl_lesson* lesson) {
    const tl_lesson_values* values = &lesson->values;
    const tl_lesson_line* usual = &lesson->lengths[lesson->usual];
    tl_text_add(page,
                "<p>A coil and a capacitor together have a frequency at which they swing by "
                "themselves, as a weight on a spring does: the resonance. Around it the pickup is "
                "a little louder. Above it the treble falls away, ever more steeply. Where it lies "
                "is told by</p>\n<p class=\"formula\"><i>f</i> = 1 / (2&#160;&#960; "
                "&#8730;(<i>L</i> &#215; <i>C</i>)), &#160; <i>C</i> = winding + lead + amp</p>\n");
    tl_html_say(page, "<p class=\"worked\">With @m of lead: <i>C</i> = ", usual->length_m);
    bool first = true;
    say_term(page, &first, "(winding)", values->winding_farad);
    say_term(page, &first, "(lead)", usual->farad);
    say_term(page, &first, "(amp)", amp_farad(values));
    tl_html_say(page, " = @F, and with <i>L</i> = @H it gives <b><i>f</i> = @h</b>. ",
                values->winding_farad + usual->farad + amp_farad(values), values->henry,
                usual->formula_hz);
    if (is_overdamped(lesson) || isnan(usual->metrics.pole_hz))
        tl_text_add(page, "The circuit, solved, has no resonance there.</p>\n");
    else
        tl_html_say(page, "The circuit, solved, has its resonance at <b>@h</b>.</p>\n",
                    usual->metrics.pole_hz);
    tl_text_add(page, "<p>Twice the capacitance puts the resonance at 1/&#8730;2 of where it was, "
                      "half an octave lower; it takes four times the capacitance for an octave."
                      "</p>\n");
}

static void say_load(tl_text* page, const char* words, double ohm, bool* first) {
    if (isnan(ohm))
        return;
    tl_html_say(page, *first ? "@s @R" : ", @s @R", words, ohm);
    *first = false;
}

static void add_sharpness(tl_text* page, const tl_lesson* lesson) {
    const tl_lesson_values* values = &lesson->values;
    const tl_lesson_line* usual = &lesson->lengths[lesson->usual];
    double reactance_ohm = 2 * M_PI * usual->formula_hz * values->henry;
    tl_html_say(page, "<p>How tall the peak stands is told by Q. Two things flatten it: what hangs "
                      "across the pickup (the pots and the amp's input, all side by side: "
                      "<i>R</i><sub>load</sub>), and the resistance <i>R</i> of the pickup's own "
                      "wire:</p>\n<p class=\"formula\">1 / <i>Q</i> = 2&#160;&#960; <i>f L</i> / "
                      "<i>R</i><sub>load</sub> + <i>R</i> / (2&#160;&#960; <i>f L</i>)</p>\n"
                      "<p class=\"worked\">Here: ");
    bool first = true;
    say_load(page, "volume", values->volume_ohm, &first);
    say_load(page, "tone", values->tone_ohm, &first);
    say_load(page, "amp", values->amp_ohm, &first);
    tl_html_say(
        page,
        "; side by side they come to @R. At @h the coil stands for 2&#160;&#960; <i>f L</i> "
        "= @R. So 1/<i>Q</i> = @q + @q, and <b><i>Q</i> = @q</b>. Solved: <b>@q</b>.",
        values->load_ohm, usual->formula_hz, reactance_ohm, reactance_ohm / values->load_ohm,
        values->ohm / reactance_ohm, usual->formula_q, usual->metrics.q);
    if (!isnan(values->tone_ohm))
        tl_html_say(page, " (The tone control's pot counts as load because its capacitor is "
                          "next to a piece of wire at these frequencies.)");
    tl_text_add(page,
                "</p>\n<p>In the simplest such circuit a Q of 1 makes a hill of 1.2&#160;dB, a Q "
                "of 2 one of 6.3&#160;dB, and under 0.7 there is none (computed).</p>\n");
    if (is_overdamped(lesson))
        tl_text_add(page,
                    "<p>Here Q is under 0.5: the load is so low that coil and capacitor do not "
                    "swing at all. What the solved circuit still has as f and Q, where it has any, "
                    "is another resonance than the one of the formula.</p>\n");
}

/// A cell with a figure, formatted as in a sentence.
static void add_cell(tl_table* table, double number, const char* how) {
    tl_text words = {0};
    tl_html_say(&words, how, number);
    tl_table_number(table, number, tl_text_get(&words));
    tl_text_free(&words);
}

static void add_paper_table(tl_text* page, const tl_lesson* lesson) {
    static const char* const heads[] = {"lead",        "C in all",   "f,\nformula",  "f,\nsolved",
                                        "Q,\nformula", "Q,\nsolved", "peak,\nsolved"};
    tl_table* table = tl_table_new();
    for (size_t i = 0; i < sizeof heads / sizeof *heads; ++i)
        tl_table_column(table, heads[i], heads[i]);
    double other_farad = lesson->values.winding_farad + amp_farad(&lesson->values);
    for (size_t i = 0; i < TL_LESSON_LENGTHS; ++i) {
        const tl_lesson_line* line = &lesson->lengths[i];
        tl_table_row(table);
        tl_table_words(table, line->label);
        add_cell(table, line->farad + other_farad, "@F");
        add_cell(table, line->formula_hz, "@h");
        add_cell(table, line->metrics.pole_hz, "@h");
        add_cell(table, line->formula_q, "@q");
        add_cell(table, line->metrics.q, "@q");
        add_cell(table, line->metrics.peak_hz, "@h");
    }
    tl_html_add_table(page, table, "The formula beside the solved circuit");
    tl_table_free(table);
}

static void add_why_they_differ(tl_text* page, const tl_lesson* lesson) {
    const tl_lesson_values* values = &lesson->values;
    const tl_lesson_line* usual = &lesson->lengths[lesson->usual];
    const tl_lesson_line* bare = &lesson->loss_free;
    if (is_overdamped(lesson))
        return;
    tl_text_add(page, "<h3>Why the two differ a little</h3>\n<ul>\n");
    tl_html_say(page,
                "<li>The controls and the amp do not only flatten the resonance, they shift it "
                "too: by &#8730;(1 + <i>R</i>/<i>R</i><sub>load</sub>) in a circuit of just these "
                "parts, which makes @h out of @h.</li>\n",
                usual->formula_hz * sqrt(1 + values->ohm / values->load_ohm), usual->formula_hz);
    if (bare->response)
        tl_html_say(page,
                    "<li>The formula knows nothing of eddy currents in the metal of the pickup, "
                    "which take energy out of it. Solved with them, @m of lead give @h and a Q of "
                    "@q; solved without, @h and @q.</li>\n",
                    usual->length_m, usual->metrics.pole_hz, usual->metrics.q,
                    bare->metrics.pole_hz, bare->metrics.q);
    tl_html_say(page, "<li>The rest is small: a tone capacitor is not quite a wire, an amp's grid "
                      "may sit behind a resistor of its own, and the lead has some resistance."
                      "</li>\n");
    tl_html_say(
        page, "<li>The peak of the curve lies below the resonance when Q is low: at <i>f</i> "
              "&#215; &#8730;(1 &#8722; 1/(2<i>Q</i>&#178;)) in the simplest circuit. That is why "
              "the peaks in the table lie lower.</li>\n");
    if (values->pickups > 1)
        tl_html_say(page, "<li>Several pickups were put together into one for the formula; each "
                          "has a resonance of its own, which that one has not.</li>\n");
    tl_text_add(page, "</ul>\n");
}

void tl_lesson_add_formula(tl_text* page, const tl_lesson* lesson) {
    tl_text_add(page, "<h2>2. The formula</h2>\n");
    add_resonance(page, lesson);
    add_sharpness(page, lesson);
    add_paper_table(page, lesson);
    add_why_they_differ(page, lesson);
    tl_html_say(page,
                "<p class=\"small\">Formulas: the coil with a capacitor and a load as a "
                "second-order low-pass, in any circuit text. A check against print: 2.4&#160;H and "
                "a lead of about 300&#160;pF are said to resonate at about 6&#160;kHz "
                "(&#8220;Instrument Cable and Sound&#8221;, pickup maker's article; seen); "
                "the formula gives @h. Usual for magnetic pickups: 1 to 10&#160;H, a winding of 80 "
                "to 200&#160;pF, a lead of 300 to 1000&#160;pF, a resonance between 2 and "
                "5&#160;kHz (H. E. W. Lemme, The Secrets of Electric Guitar Pickups, 2003, revised "
                "2009; seen as quoted elsewhere).</p>\n",
                1 / (2 * M_PI * sqrt(2.4 * 300e-12)));
}

/// The curves of line-ups.
static void fill_curves(tl_curve* curves, const tl_lesson_line* lines, size_t count) {
    for (size_t i = 0; i < count; ++i)
        curves[i] = (tl_curve){lines[i].response, &lines[i].metrics, lines[i].label, false, NULL};
}

static void add_buffer_words(tl_text* page, const tl_lesson* lesson) {
    double apart_db = lesson->buffered_apart_db;
    tl_html_say(
        page,
        "<h3>The same behind a buffer</h3>\n<p>A buffer is a small amplifier with a gain "
        "of about one. Its input hardly loads the pickup, and its output is strong enough "
        "to fill a long lead. The pickup then sees the lead up to the buffer (here @m), and "
        "nothing of what follows. ",
        lesson->lengths[0].length_m);
    tl_html_say(page,
                apart_db < 0.5
                    ? "From @m to @m behind it, the curves lie on each other: in no band of "
                      "hearing are they further apart than @D."
                    : "From @m to @m behind it, this buffer still lets the curves come apart, by "
                      "up to @D in a band of hearing: its output is not strong enough for so much "
                      "lead.",
                lesson->lengths[0].length_m, lesson->lengths[LAST].length_m, fmax(apart_db, 0.001));
    tl_html_say(page,
                lesson->own_buffer ? " The buffer is the rig's own (@s).</p>\n"
                                   : " The buffer is one from the part library (@s).</p>\n",
                lesson->buffer);
}

static void add_volume_words(tl_text* page, const tl_lesson* lesson) {
    const tl_lesson_line* usual = &lesson->lengths[lesson->usual];
    const tl_lesson_line* down = lesson->volumes;
    tl_html_say(page,
                "<h3>The volume control turned down</h3>\n<p>With the volume below 10, the upper "
                "part of its pot stands between the pickup and the lead, and the lead's "
                "capacitance works against that resistance. ");
    if (isnan(down[1].metrics.peak_hz) && isnan(down[2].metrics.peak_hz))
        tl_html_say(page, "The pickup's peak is gone. The treble falls from lower down, but less "
                          "steeply: far above where the peak was, more can be left than full up. ");
    tl_html_say(page, "With @m of lead:</p>\n<ul>\n", usual->length_m);
    for (size_t i = 1; i < TL_LESSON_VOLUMES; ++i) {
        const tl_lesson_volume* parts = &lesson->volume_parts[i];
        tl_html_say(page,
                    "<li><b>@s</b>: @R above the wiper, @R below. Seen from the lead both lie side "
                    "by side, and with the lead and the amp they make a low-pass of about @h. "
                    "Solved, against full up with the level matched: @d at 5&#160;kHz; to the ear ",
                    down[i].label, parts->upper_ohm, parts->lower_ohm, parts->corner_hz,
                    down[i].at_5khz_db);
        say_verdict(page, &down[i].hearing);
        tl_text_add(page, ".</li>\n");
    }
    tl_html_say(page, "</ul>\n<p>The numbers on the knob are taken as evenly spaced, and an audio "
                      "pot as having a tenth of its resistance at half travel (common practice); a "
                      "real one may be off by a good deal.");
    if (lesson->values.bleed)
        tl_html_say(page, " This volume control has a treble bleed; the curves have it in them, "
                          "the low-pass figures do not.");
    tl_text_add(page, "</p>\n");
}

static void add_volume_plot(tl_text* page, const tl_lesson* lesson, tl_lesson_plot axis) {
    tl_curve curves[TL_LESSON_VOLUMES];
    if (!lesson->has_volume)
        return;
    add_volume_words(page, lesson);
    fill_curves(curves, lesson->volumes, TL_LESSON_VOLUMES);
    axis.about = "Volume at 10, 7 and 5.";
    axis.curves = curves;
    axis.count = TL_LESSON_VOLUMES;
    tl_lesson_add_plot(page, &axis);
}

/// A cell with a level and the frequency it is at.
static void add_worst_cell(tl_table* table, const tl_hearing* hearing) {
    tl_text words = {0};
    tl_html_say(&words, "@d at @h", hearing->worst_db, hearing->worst_hz);
    tl_table_number(table, hearing->worst_db, tl_text_get(&words));
    tl_text_free(&words);
}

static void add_row(tl_table* table, const char* label, const tl_lesson_line* line, bool first) {
    tl_table_row(table);
    tl_table_words(table, label);
    add_cell(table, line->farad, "@F");
    add_cell(table, line->metrics.peak_hz, "@h");
    add_cell(table, line->metrics.q, "@q");
    add_cell(table, line->metrics.cutoff_hz,
             isnan(line->metrics.cutoff_hz) ? "above 100 kHz" : "@h");
    if (first) {
        tl_table_number(table, NAN, "\xe2\x80\x94");
        tl_table_number(table, NAN, "\xe2\x80\x94");
        tl_table_words(table, "\xe2\x80\x94");
        return;
    }
    add_cell(table, line->at_5khz_db, "@d");
    add_worst_cell(table, &line->hearing);
    tl_table_words(table, verdict_of(line));
}

static void add_lengths_table(tl_text* page, const tl_lesson* lesson) {
    static const char* const heads[] = {"lead",
                                        "its\ncapacitance",
                                        "peak",
                                        "Q",
                                        "\u22123 dB\nat",
                                        "at\n5 kHz",
                                        "largest in a\nband of hearing",
                                        "to the ear"};
    tl_table* table = tl_table_new();
    for (size_t i = 0; i < sizeof heads / sizeof *heads; ++i)
        tl_table_column(table, heads[i], heads[i]);
    for (size_t i = 0; i < TL_LESSON_LENGTHS; ++i)
        add_row(table, lesson->lengths[i].label, &lesson->lengths[i], i == 0);
    char* label = tl_printf("%s, buffered", lesson->buffered[LAST].label);
    add_row(table, label, &lesson->buffered[LAST], false);
    free(label);
    tl_html_add_table(page, table, "Each length against the shortest");
    tl_table_free(table);
    tl_html_say(page,
                "<p class=\"small\">Peak and &#8722;3&#160;dB are relative to the level at @h. The "
                "last three columns are the difference from @m straight in, once the amp is turned "
                "up to match the level between 200&#160;Hz and 1&#160;kHz. To the ear: by "
                "the worse of the largest difference in a band of hearing and the peak's "
                "shift in just-noticeable steps; under 0.5 not audible, under 1 borderline, under "
                "3 audible, else plain. Level: 0.5 to 1&#160;dB is just noticeable for most sounds "
                "(Open University, Hearing, 10.3; seen). Peak: 0.079&#160;f/&#8730;Q (Gagne and "
                "Zurek, JASA 83, 1988; abstract seen; tested up to 2&#160;kHz, beyond that "
                "extrapolated). Bands: one ERB wide (Glasberg and Moore 1990).</p>\n",
                lesson->lengths[0].metrics.reference_hz, lesson->lengths[0].length_m);
    if (lesson->buffered[LAST].hearing.worst_db > 0.5)
        tl_html_say(page,
                    "<p>Behind the buffer the top end is even stronger than with @m straight "
                    "in, since the amp's own capacitance and load no longer hang on the "
                    "pickup.</p>\n",
                    lesson->lengths[0].length_m);
}

static void add_own_rig(tl_text* page, const tl_lesson* lesson) {
    tl_html_say(page,
                "<p><b>This rig as it stands</b>, with all that is in its chain: peak @h, "
                "&#8722;3&#160;dB at @h. Plugged straight in as its file says: peak @h, "
                "&#8722;3&#160;dB at @h. The difference at 5&#160;kHz, levels matched, is @d; to "
                "the ear: <b>@s</b>.</p>\n",
                lesson->rig.metrics.peak_hz, lesson->rig.metrics.cutoff_hz,
                lesson->direct.metrics.peak_hz, lesson->direct.metrics.cutoff_hz,
                lesson->rig.at_5khz_db, verdict_of(&lesson->rig));
}

void tl_lesson_add_curves(tl_text* page, const tl_lesson* lesson) {
    tl_curve straight[TL_LESSON_LENGTHS];
    tl_curve buffered[TL_LESSON_LENGTHS + 1];
    const tl_lesson_line* last = &lesson->lengths[LAST];
    fill_curves(straight, lesson->lengths, TL_LESSON_LENGTHS);
    fill_curves(buffered, lesson->buffered, TL_LESSON_LENGTHS);
    char* label = tl_printf("%s, no buffer", last->label);
    buffered[TL_LESSON_LENGTHS] = (tl_curve){last->response, &last->metrics, label, true, NULL};
    tl_lesson_plot plot = {"1 to 15 m of lead, from the guitar straight into the amp.", straight,
                           TL_LESSON_LENGTHS, -12, 6};
    tl_lesson_fit_plot(&plot);
    tl_html_say(page,
                "<h2>3. What it looks like</h2>\n<p>The rig's own guitar, its own amp, and "
                "between them nothing but the rig's first kind of lead (@s). The longer the "
                "lead, @s.</p>\n",
                lesson->cable,
                isnan(lesson->lengths[0].metrics.peak_hz) && isnan(last->metrics.peak_hz)
                    ? "the more of the treble is lost"
                    : "the lower the peak, and the earlier the treble falls");
    tl_lesson_add_plot(page, &plot);
    add_buffer_words(page, lesson);
    plot.about = "1 to 15 m of lead behind a buffer, and the longest without one.";
    plot.curves = buffered;
    plot.count = TL_LESSON_LENGTHS + 1;
    tl_lesson_add_plot(page, &plot);
    free(label);
    add_volume_plot(page, lesson, plot);
    tl_text_add(page, "<h2>4. In numbers</h2>\n");
    add_lengths_table(page, lesson);
    add_own_rig(page, lesson);
}

static void open_answer(tl_text* page, const char* question, double number) {
    tl_text_add(page, "<details><summary>");
    tl_html_say(page, question, number);
    tl_text_add(page, "</summary></details>\n<div class=\"answer\">\n");
}

static void add_more_lead(tl_text* page, const tl_lesson* lesson) {
    const tl_lesson_step* first = &lesson->steps[0];
    const tl_lesson_step* second = &lesson->steps[1];
    double more_m = first->to_m - first->from_m;
    open_answer(page, "What do @m more of lead do at 5&#160;kHz?", more_m);
    for (size_t i = 0; i < TL_LESSON_STEPS; ++i) {
        const tl_lesson_step* step = &lesson->steps[i];
        tl_html_say(page, "<p>From @m to @m: @d; to the ear ", step->from_m, step->to_m,
                    step->at_5khz_db);
        say_verdict(page, &step->hearing);
        tl_text_add(page, ".</p>\n");
    }
    if (fabs(second->at_5khz_db) < fabs(first->at_5khz_db))
        tl_html_say(page,
                    "<p>What counts is by which part the whole capacitance grows; so the same @m "
                    "mean less to a lead that is long already.</p>\n",
                    more_m);
    tl_text_add(page, "</div>\n");
}

static void add_given_back(tl_text* page, const tl_lesson* lesson) {
    const tl_lesson_line* last = &lesson->lengths[LAST];
    const tl_lesson_line* saved = &lesson->buffered[LAST];
    open_answer(page, "What does a buffer close to the guitar give back to @m of lead?",
                last->length_m);
    tl_html_say(page,
                "<p>@d at 5&#160;kHz, levels matched. Peak with it: @h; without: @h. Against @m "
                "straight in it comes out at @d at 5&#160;kHz; to the ear ",
                lesson->given_back_db, saved->metrics.peak_hz, last->metrics.peak_hz,
                lesson->lengths[0].length_m, saved->at_5khz_db);
    say_verdict(page, &saved->hearing);
    tl_html_say(page,
                ". It gives back what the lead behind it would take, and nothing of the lead "
                "before it; so it belongs close to the guitar.</p>\n<p>It is not free: it needs "
                "power, and some fuzzes want to see the pickup itself (common practice). And some "
                "players like the darker sound of the long lead: that is taste, and the figures "
                "have no say in it.</p>\n</div>\n");
}

static void add_joints_table(tl_text* page, const tl_lesson* lesson) {
    static const char* const heads[] = {"joint", "in series", "largest difference\nin any band",
                                        "to the ear"};
    tl_table* table = tl_table_new();
    for (size_t i = 0; i < sizeof heads / sizeof *heads; ++i)
        tl_table_column(table, heads[i], heads[i]);
    for (size_t i = 0; i < TL_LESSON_JOINTS; ++i) {
        const tl_lesson_line* line = &lesson->joints[i];
        tl_table_row(table);
        tl_table_words(table, line->label);
        add_cell(table, lesson->joint_ohm[i], "@R");
        add_cell(table, fabs(line->hearing.worst_db), "@D");
        tl_table_words(table, verdict_of(line));
    }
    tl_html_add_table(page, table, "Bad joints in series with the lead");
    tl_table_free(table);
}

/// Whether none of the joints that still hold can be heard.
static bool joints_are_silent(const tl_lesson* lesson) {
    for (size_t i = 0; i + 1 < TL_LESSON_JOINTS; ++i)
        if (lesson->joints[i].hearing.verdict != TL_NOT_AUDIBLE)
            return false;
    return true;
}

static void add_joints(tl_text* page, const tl_lesson* lesson) {
    const tl_lesson_line* usual = &lesson->lengths[lesson->usual];
    open_answer(page, "What does a worn plug or an unsoldered joint do to the tone?", 0);
    tl_html_say(page, "<p>");
    if (joints_are_silent(lesson))
        tl_html_say(
            page,
            "By its resistance, as good as nothing. Next to the pickup's @R of wire, an ohm "
            "more or less cannot be found in the sound. ",
            lesson->values.ohm);
    tl_html_say(page, "With @m of lead:</p>\n", usual->length_m);
    add_joints_table(page, lesson);
    tl_html_say(page,
                "<p>What a damp joint leaks to ground is in its figure too.</p>\n"
                "<p>Solder and good plugs are still worth it, for another reason: a loose joint "
                "does not stay at one value. It crackles when the lead moves, lets the signal drop "
                "out, and hums when it is the shield that opens (common practice; nothing on this "
                "page computes it). Pick joints so that they hold, not so that they sound.</p>\n"
                "</div>\n");
}

void tl_lesson_add_questions(tl_text* page, const tl_lesson* lesson) {
    tl_text_add(page, "<h2>5. Three questions</h2>\n");
    add_more_lead(page, lesson);
    add_given_back(page, lesson);
    add_joints(page, lesson);
}

static size_t count_remembered(const tl_lesson* lesson) {
    size_t count = 0;
    for (size_t i = 0; i < lesson->source_count; ++i)
        count += strstr(lesson->sources[i].origin, "from memory") != NULL;
    return count;
}

void tl_lesson_add_sources(tl_text* page, const tl_lesson* lesson) {
    tl_table* table = tl_table_new();
    static const char* const heads[] = {"part", "value of", "value", "where it comes from"};
    for (size_t i = 0; i < sizeof heads / sizeof *heads; ++i)
        tl_table_column(table, heads[i], heads[i]);
    for (size_t i = 0; i < lesson->source_count; ++i) {
        const tl_lesson_source* row = &lesson->sources[i];
        bool again = i && strcmp(row->part, row[-1].part) == 0;
        tl_table_row(table);
        tl_table_words(table, again ? "" : row->part);
        tl_table_words(table, row->field);
        tl_table_number(table, NAN, row->value);
        tl_table_words(table, row->origin);
    }
    tl_html_say(
        page,
        "<h2>7. Where the values come from</h2>\n<p>@n of the @n values below are from "
        "memory: plausible for such a part, and no more. Yours will differ. What the lesson "
        "shows does not hang on the last digit; a figure for your own guitar does, so "
        "measure it and put it into the rig file.</p>\n",
        count_remembered(lesson), lesson->source_count);
    char residual[32];
    snprintf(residual, sizeof residual, "%.0e", lesson->residual);
    tl_html_say(
        page,
        "<p>The page was computed by toneload @s: @n frequencies solved in all; frequencies "
        "held out of the fits were met to @s. Strings, fingers, amp and loudspeaker are not "
        "in it.</p>\n",
        tl_version(), lesson->solves, residual);
    tl_html_add_table(page, table, "Every value this page rests on");
    tl_table_free(table);
}
