// SPDX-License-Identifier: GPL-3.0-or-later
// The circuit from the strings to the amp as a drawing: a rail above, ground below, and what hangs
// between them, from left to right.
#include "show/lesson.h"

#include "show/html.h"

#include <math.h>
#include <stdlib.h>

// Heights in the drawing: the signal's rail, the ground line, and the frames around the pieces.
enum { RAIL = 92, MIDDLE = 186, GROUND = 280, FRAME_TOP = 34, FRAME_BOTTOM = 296, BELOW = 316 };

/// A drawing that grows to the right.
typedef struct {
    tl_text parts;
    double x;
    double frame_x; ///< where the frame that is open begins
} drawing;

/// Adds words and a value, one below the other.
static void add_label(drawing* d, double x, double y, const char* anchor, const char* words,
                      tl_unit unit, double value) {
    tl_text_addf(&d->parts, "<text x=\"%.0f\" y=\"%.0f\" text-anchor=\"%s\">%s", x, y, anchor,
                 words);
    if (!isnan(value)) {
        tl_text_addf(&d->parts, "<tspan class=\"value\" x=\"%.0f\" dy=\"17\">", x);
        tl_html_add_quantity(&d->parts, unit, value);
        tl_text_add(&d->parts, "</tspan>");
    }
    tl_text_add(&d->parts, "</text>\n");
}

static void add_wire(drawing* d, double x, double y, double to_x, double to_y) {
    tl_text_addf(&d->parts, "<path d=\"M%.0f %.0fL%.0f %.0f\"/>", x, y, to_x, to_y);
}

static void add_dot(drawing* d, double x, double y) {
    tl_text_addf(&d->parts, "<circle class=\"dot\" cx=\"%.0f\" cy=\"%.0f\" r=\"3\"/>", x, y);
}

/// The rail goes on.
static void run_rail(drawing* d, double length) {
    add_wire(d, d->x, RAIL, d->x + length, RAIL);
    d->x += length;
}

static void open_frame(drawing* d) {
    d->frame_x = d->x;
}

static void close_frame(drawing* d, const char* name) {
    tl_text_addf(&d->parts,
                 "<rect class=\"piece\" x=\"%.0f\" y=\"%d\" width=\"%.0f\" height=\"%d\" "
                 "rx=\"8\"/><text class=\"name\" x=\"%.0f\" y=\"%d\" text-anchor=\"middle\">%s"
                 "</text>\n",
                 d->frame_x, FRAME_TOP, d->x - d->frame_x, FRAME_BOTTOM - FRAME_TOP,
                 (d->frame_x + d->x) / 2, FRAME_TOP - 10, name);
}

/// A capacitor from (x, y) down to (x, to_y), its plates in the middle.
static void add_capacitor(drawing* d, double x, double y, double to_y) {
    double middle = (y + to_y) / 2;
    add_wire(d, x, y, x, middle - 4);
    add_wire(d, x, middle + 4, x, to_y);
    tl_text_addf(&d->parts, "<path class=\"plate\" d=\"M%.0f %.0fh28M%.0f %.0fh28\"/>", x - 14,
                 middle - 4, x - 14, middle + 4);
}

/// A resistor's body.
static void add_body(drawing* d, double x, double y, double width, double height) {
    tl_text_addf(&d->parts,
                 "<rect class=\"body\" x=\"%.0f\" y=\"%.0f\" width=\"%.0f\" height=\"%.0f\"/>", x,
                 y, width, height);
}

static void hang_capacitor(drawing* d, const char* words, double farad) {
    add_dot(d, d->x, RAIL);
    add_capacitor(d, d->x, RAIL, GROUND);
    add_label(d, d->x + 20, MIDDLE - 6, "start", words, TL_UNIT_FARAD, farad);
    run_rail(d, 92);
}

static void hang_resistor(drawing* d, const char* words, double ohm) {
    add_dot(d, d->x, RAIL);
    add_wire(d, d->x, RAIL, d->x, GROUND);
    add_body(d, d->x - 8, MIDDLE - 28, 16, 56);
    add_label(d, d->x + 14, MIDDLE - 6, "start", words, TL_UNIT_OHM, ohm);
    run_rail(d, 84);
}

static void put_resistor(drawing* d, const char* words, double ohm) {
    run_rail(d, 16);
    add_body(d, d->x, RAIL - 8, 52, 16);
    add_label(d, d->x + 26, RAIL + 28, "middle", words, TL_UNIT_OHM, ohm);
    d->x += 52;
    run_rail(d, 16);
}

/// A coil of `turns` half circles on the rail.
static void put_coil(drawing* d, int turns) {
    tl_text_addf(&d->parts, "<path class=\"coil\" d=\"M%.0f %d", d->x, RAIL);
    for (int i = 0; i < turns; ++i)
        tl_text_add(&d->parts, "a8 9 0 0 1 16 0");
    tl_text_add(&d->parts, "\"/>");
    d->x += 16 * turns;
}

/// The inductance, and the part of it that eddy currents bridge.
static void put_inductance(drawing* d, const tl_lesson_values* values) {
    bool eddy = !isnan(values->eddy_ohm);
    double from = d->x;
    run_rail(d, 10);
    put_coil(d, eddy ? 3 : 5);
    if (eddy) {
        run_rail(d, 14);
        double x = d->x - 7;
        put_coil(d, 3);
        run_rail(d, 14);
        add_wire(d, x, RAIL, x, RAIL - 30);
        add_wire(d, d->x - 7, RAIL, d->x - 7, RAIL - 30);
        add_wire(d, x, RAIL - 30, d->x - 7, RAIL - 30);
        add_body(d, x + 10, RAIL - 37, d->x - 27 - x, 14);
        tl_text_addf(&d->parts,
                     "<text class=\"value\" x=\"%.0f\" y=\"%d\" "
                     "text-anchor=\"middle\">",
                     (x + d->x - 7) / 2, RAIL - 43);
        tl_html_add_quantity(&d->parts, TL_UNIT_OHM, values->eddy_ohm);
        tl_text_add(&d->parts, "</text>\n");
    }
    run_rail(d, 6);
    add_label(d, from + (d->x - from) / 2, RAIL + 28, "middle", "coil", TL_UNIT_HENRY,
              values->henry);
}

/// The voltage that the strings make, from ground to the rail.
static void put_source(drawing* d) {
    add_wire(d, d->x, GROUND, d->x, MIDDLE + 20);
    add_wire(d, d->x, MIDDLE - 20, d->x, RAIL);
    tl_text_addf(&d->parts,
                 "<circle class=\"body\" cx=\"%.0f\" cy=\"%d\" r=\"20\"/>"
                 "<path d=\"M%.0f %dq6 -14 12 0t12 0\"/>",
                 d->x, MIDDLE, d->x - 12, MIDDLE);
    add_label(d, d->x + 28, MIDDLE - 4, "start", "the strings\xe2\x80\x99", TL_UNIT_OHM, NAN);
    add_label(d, d->x + 28, MIDDLE + 13, "start", "voltage", TL_UNIT_OHM, NAN);
}

static void draw_pickup(drawing* d, const tl_lesson_values* values) {
    open_frame(d);
    d->x += 34;
    put_source(d);
    put_inductance(d, values);
    put_resistor(d, "wire", values->ohm);
    hang_capacitor(d, "winding", values->winding_farad);
    close_frame(d, values->pickups == 1 ? "pickup" : "pickups together");
}

/// A tone control: a pot as a rheostat, and its capacitor.
static void draw_tone(drawing* d, const tl_lesson_values* values) {
    add_dot(d, d->x, RAIL);
    add_wire(d, d->x, RAIL, d->x, 168);
    add_body(d, d->x - 8, 112, 16, 48);
    add_wire(d, d->x - 18, 156, d->x + 18, 116);
    tl_text_addf(&d->parts, "<path d=\"M%.0f 116h-8m8 0v8\"/>", d->x + 18);
    add_capacitor(d, d->x, 168, GROUND);
    add_label(d, d->x + 24, 130, "start", "tone", TL_UNIT_OHM, values->tone_ohm);
    add_label(d, d->x + 20, 219, "start", "cap", TL_UNIT_FARAD, values->tone_farad);
    run_rail(d, 102);
}

/// A volume control: the rail ends at the pot, and goes on from its wiper.
static void draw_volume(drawing* d, const tl_lesson_values* values) {
    add_wire(d, d->x, RAIL, d->x, GROUND);
    add_body(d, d->x - 8, 118, 16, 130);
    double wiper = d->x + 56;
    add_wire(d, d->x + 10, 128, wiper, 128);
    tl_text_addf(&d->parts, "<path d=\"M%.0f 123l-8 5 8 5\"/>", d->x + 17);
    add_wire(d, wiper, 128, wiper, RAIL);
    add_label(d, d->x + 16, MIDDLE, "start", "volume", TL_UNIT_OHM, values->volume_ohm);
    d->x = wiper;
    run_rail(d, 28);
}

static void draw_controls(drawing* d, const tl_lesson_values* values) {
    if (isnan(values->tone_ohm) && isnan(values->volume_ohm))
        return;
    run_rail(d, 14);
    open_frame(d);
    run_rail(d, 30);
    if (!isnan(values->tone_ohm))
        draw_tone(d, values);
    if (!isnan(values->volume_ohm))
        draw_volume(d, values);
    close_frame(d, "controls, full up");
}

/// The lead: core, shield around it, and the capacitance between them.
static void draw_lead(drawing* d, const tl_lesson* lesson) {
    const tl_lesson_line* usual = &lesson->lengths[lesson->usual];
    run_rail(d, 14);
    open_frame(d);
    run_rail(d, 14);
    tl_text_addf(
        &d->parts,
        "<path class=\"shield\" d=\"M%.0f %dh100a6 11 0 0 1 0 22h-100a6 11 0 0 1 0 -22\"/>",
        d->x + 6, RAIL - 11);
    double middle = d->x + 42;
    add_dot(d, middle, RAIL);
    add_capacitor(d, middle, RAIL, GROUND);
    add_label(d, d->x + 56, RAIL - 36, "middle", "each metre", TL_UNIT_FARAD,
              lesson->cable_farad_per_m);
    char* words = tl_printf("%g m", usual->length_m);
    add_label(d, middle + 20, MIDDLE - 6, "start", words, TL_UNIT_FARAD, usual->farad);
    free(words);
    run_rail(d, 132);
    close_frame(d, "lead");
}

static void draw_amp(drawing* d, const tl_lesson_values* values) {
    run_rail(d, 14);
    open_frame(d);
    run_rail(d, 24);
    hang_resistor(d, "input", values->amp_ohm);
    if (!isnan(values->amp_farad) && values->amp_farad > 0)
        hang_capacitor(d, "input", values->amp_farad);
    if (!isnan(values->stopper_ohm)) {
        d->x -= 16;
        put_resistor(d, "stopper", values->stopper_ohm);
        hang_capacitor(d, "grid", values->grid_farad);
    }
    close_frame(d, "amp");
    run_rail(d, 18);
    tl_text_addf(&d->parts, "<path d=\"M%.0f %dl-9 -5m9 5l-9 5\"/>", d->x, RAIL);
}

void tl_lesson_add_circuit(tl_text* page, const tl_lesson* lesson) {
    drawing d = {.x = 8};
    draw_pickup(&d, &lesson->values);
    draw_controls(&d, &lesson->values);
    draw_lead(&d, lesson);
    draw_amp(&d, &lesson->values);
    add_wire(&d, 42, GROUND, d.x - 18, GROUND);
    tl_text_addf(page,
                 "<figure class=\"circuit\"><div class=\"wide\" role=\"region\" tabindex=\"0\" "
                 "aria-label=\"The circuit\">\n<svg role=\"img\" aria-label=\"The circuit from the "
                 "strings to the amp, with the values of this rig\" viewBox=\"0 0 %.0f %d\">\n",
                 d.x + 8, BELOW);
    tl_text_add(page, tl_text_get(&d.parts));
    tl_html_say(page, "</svg></div>\n<figcaption>From the strings to the amp, with this rig's "
                      "values. The line below is ground, the lead's shield.");
    if (!isnan(lesson->values.eddy_ohm))
        tl_html_say(page,
                    " The small resistor over the coil, @R across @p of it, stands for eddy "
                    "currents in the metal of the pickup.",
                    lesson->values.eddy_ohm, lesson->values.eddy_fraction);
    if (lesson->values.pickups > 1)
        tl_html_say(page,
                    " This guitar has @n pickups in @s; drawn is the one pickup that they come to, "
                    "without their eddy losses, which the curves do hold.",
                    lesson->values.pickups, lesson->values.series ? "series" : "parallel");
    tl_text_add(page, "</figcaption></figure>\n");
    tl_text_free(&d.parts);
}
