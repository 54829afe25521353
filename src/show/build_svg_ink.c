// SPDX-License-Identifier: GPL-3.0-or-later
// A board's drawing in ink: nothing is told by colour alone, so that it reads in black and white.
#include "show/build_svg.h"

#include "show/html.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/// Kinds differ in width and dashes; below the deck the dashes are others, as hidden edges have.
const char* tl_drawn_stroke(bool dc, bool below) {
    static const char* const strokes[2][2] = {
        {" fill=\"none\" stroke=\"#0a3f78\" stroke-width=\"1\"",
         " fill=\"none\" stroke=\"#0a3f78\" stroke-width=\"1\" stroke-dasharray=\"5 1\""},
        {" fill=\"none\" stroke=\"#7a2e00\" stroke-width=\"0.7\" stroke-dasharray=\"2.4 1\"",
         " fill=\"none\" stroke=\"#7a2e00\" stroke-width=\"0.7\" stroke-dasharray=\"0.8 0.8\""}};
    return strokes[dc][below];
}

void tl_drawn_add_words(tl_text* page, tl_spot at, const char* anchor, double size,
                        const char* words) {
    // Half of a capital's height below the middle.
    tl_text_addf(page, "<text x=\"%.2f\" y=\"%.2f\" font-size=\"%.2f\" text-anchor=\"%s\">", at.x,
                 at.y + 0.36 * size, size, anchor);
    tl_html_add(page, words);
    tl_text_add(page, "</text>");
}

void tl_drawn_add_number(tl_text* page, tl_spot middle, double radius, const tl_build_lead* lead) {
    tl_text_addf(page,
                 "<circle cx=\"%.2f\" cy=\"%.2f\" r=\"%.2f\" fill=\"#fff\" stroke=\"%s\" "
                 "stroke-width=\"0.4\"/>",
                 middle.x, middle.y, radius, tl_drawn_is_dc(lead) ? "#7a2e00" : "#0a3f78");
    char words[24];
    snprintf(words, sizeof words, "%zu", lead->number);
    tl_drawn_add_words(page, middle, "middle", TL_DRAWN_TEXT, words);
}

void tl_drawn_add_triangle(tl_text* page, tl_spot middle, size_t number) {
    double half = tl_drawn_triangle_half(number);
    tl_text_addf(page,
                 "<path d=\"M%.2f %.2fL%.2f %.2fL%.2f %.2fZ\" fill=\"#fff\" stroke=\"#a00018\" "
                 "stroke-width=\"0.7\" stroke-linejoin=\"round\"/>",
                 middle.x - half, middle.y + 0.85 * half, middle.x + half, middle.y + 0.85 * half,
                 middle.x, middle.y - half);
    char words[24];
    snprintf(words, sizeof words, "%zu", number);
    tl_drawn_add_words(page, (tl_spot){middle.x, middle.y + 0.3 * half}, "middle", TL_DRAWN_TEXT,
                       words);
}

static void add_rect(tl_text* page, tl_box box, const char* more) {
    tl_text_addf(page, "<rect x=\"%.2f\" y=\"%.2f\" width=\"%.2f\" height=\"%.2f\"%s/>\n", box.left,
                 box.top, box.right - box.left, box.bottom - box.top, more);
}

/// Whether a stub crosses the edge there, so that a figure would stand in its way.
static bool is_crossed(const tl_drawn_board* board, tl_box area) {
    return tl_drawn_cost(board, area, TL_BUILD_NONE, 1.2) > 0;
}

/// Figures along the front and left edge: mm on the board, from its front left corner.
static void add_ruler(tl_text* page, const tl_drawn_board* board, bool front) {
    double length = front ? board->width : board->depth;
    double tick = 10 / board->scale >= 2 ? 10 : 50, figure = 100;
    while (figure / board->scale < 9)
        figure *= 2;
    tl_text_add(page, "<path fill=\"none\" stroke=\"#333\" stroke-width=\"0.2\" d=\"");
    for (double at = 0; at / board->scale <= length + 1e-6; at += tick) {
        double along = at / board->scale, long_mm = fmod(at, 50) == 0 ? 1.8 : 1;
        if (front)
            tl_text_addf(page, "M%.2f %.2fv%.2f", along, board->depth, long_mm);
        else
            tl_text_addf(page, "M0 %.2fh%.2f", board->depth - along, -long_mm);
    }
    tl_text_add(page, "\"/>\n");
    for (double at = 0; at / board->scale <= length + 1e-6; at += figure) {
        char words[24];
        snprintf(words, sizeof words, "%.0f", at);
        double along = at / board->scale;
        double width = tl_drawn_width(words, TL_DRAWN_TEXT);
        tl_spot middle = {along, board->depth + 3.9};
        if (!front)
            middle = (tl_spot){-2.4 - width / 2, board->depth - along};
        if (!is_crossed(board, tl_drawn_around(middle, width, TL_DRAWN_TEXT)))
            tl_drawn_add_words(page, middle, "middle", TL_DRAWN_TEXT, words);
    }
}

static void add_ground(tl_text* page, const tl_drawn_board* board, const char* prefix) {
    tl_text_addf(page, "<g class=\"%sboard\">\n", prefix);
    add_rect(page, (tl_box){0, 0, board->width, board->depth},
             " fill=\"#fff\" stroke=\"#000\" stroke-width=\"0.7\"");
    add_ruler(page, board, true);
    add_ruler(page, board, false);
    tl_box words = board->front_words;
    tl_spot middle = {(words.left + words.right) / 2, (words.top + words.bottom) / 2};
    tl_drawn_add_words(page, middle, "middle", TL_DRAWN_TEXT, "player's side");
    tl_text_add(page, "</g>\n");
}

static void add_box_title(tl_text* page, const tl_build_box* box) {
    tl_text_add(page, "<title>");
    tl_html_add(page, box->name);
    tl_text_addf(page, ": %.0f x %.0f mm, left edge at %.0f mm, front edge at %.0f mm%s</title>",
                 box->width_m * 1000, box->depth_m * 1000, box->left_m * 1000, box->front_m * 1000,
                 box->under ? ", below the deck" : "");
}

/// Boxes on the deck, through which shows what runs below them; or boxes below it: those are
/// dashed, as hidden edges are.
static void add_boxes(tl_text* page, const tl_drawn_board* board, const char* prefix, bool under) {
    for (size_t i = 0; i < board->build->box_count; ++i) {
        const tl_drawn_box* box = &board->boxes[i];
        if (box->box->under != under)
            continue;
        tl_text_addf(page, "<g class=\"%s%s\">", prefix, under ? "under" : "box");
        add_box_title(page, box->box);
        add_rect(page, box->body,
                 under ? " fill=\"none\" stroke=\"#222\" stroke-width=\"0.45\" "
                         "stroke-dasharray=\"4 1.2 0.8 1.2\""
                       : " rx=\"0.8\" fill=\"#ececec\" fill-opacity=\"0.8\" stroke=\"#111\" "
                         "stroke-width=\"0.4\"");
        tl_text_add(page, "</g>\n");
    }
}

/// Where two boxes on one side of the deck want the same place.
static void add_overlaps(tl_text* page, const tl_drawn_board* board) {
    for (size_t i = 0; i < board->warning_count; ++i) {
        const tl_build_finding* finding = board->warnings[i].finding;
        if (finding->box >= board->build->box_count || finding->other >= board->build->box_count)
            continue;
        tl_box a = board->boxes[finding->box].body, b = board->boxes[finding->other].body;
        tl_box both = {fmax(a.left, b.left), fmax(a.top, b.top), fmin(a.right, b.right),
                       fmin(a.bottom, b.bottom)};
        if (both.right <= both.left || both.bottom <= both.top)
            continue;
        tl_text_addf(page,
                     "<path fill=\"none\" stroke=\"#a00018\" stroke-width=\"0.5\" "
                     "d=\"M%.2f %.2fH%.2fV%.2fH%.2fZL%.2f %.2fM%.2f %.2fL%.2f %.2f\"/>\n",
                     both.left, both.top, both.right, both.bottom, both.left, both.right,
                     both.bottom, both.right, both.top, both.left, both.bottom);
    }
}

static void add_plugs(tl_text* page, const tl_drawn_board* board, const char* prefix) {
    for (size_t i = 0; i < board->jack_count; ++i) {
        if (!board->jacks[i].has_plug)
            continue;
        bool under = board->boxes[board->jacks[i].box].box->under;
        char* more = tl_printf(
            " class=\"%splug\" rx=\"0.5\" stroke=\"#111\" stroke-width=\"0.3\" %s", prefix,
            under ? "fill=\"none\" stroke-dasharray=\"0.9 0.6\"" : "fill=\"#c9c9c9\"");
        add_rect(page, board->jacks[i].plug, more);
        free(more);
    }
}

/// A triangle that points the way of the signal, or a dot for power: filled where it goes in.
static void add_jack(tl_text* page, const tl_drawn_jack* jack) {
    const char* fill = jack->goes_in ? "#000" : "#fff";
    tl_box mark = jack->mark;
    tl_spot middle = {(mark.left + mark.right) / 2, (mark.top + mark.bottom) / 2};
    double half = (mark.right - mark.left) / 2;
    if (jack->power) {
        tl_text_addf(page,
                     "<circle cx=\"%.2f\" cy=\"%.2f\" r=\"%.2f\" fill=\"%s\" stroke=\"#000\" "
                     "stroke-width=\"0.3\"/>\n",
                     middle.x, middle.y, half - 0.1, fill);
        return;
    }
    tl_spot out = tl_drawn_toward(jack->side);
    double way = jack->goes_in ? -half : half;
    tl_text_addf(page,
                 "<path d=\"M%.2f %.2fL%.2f %.2fL%.2f %.2fZ\" fill=\"%s\" stroke=\"#000\" "
                 "stroke-width=\"0.3\" stroke-linejoin=\"round\"/>\n",
                 middle.x + out.x * way, middle.y + out.y * way,
                 middle.x - out.x * way + out.y * half, middle.y - out.y * way + out.x * half,
                 middle.x - out.x * way - out.y * half, middle.y - out.y * way - out.x * half,
                 fill);
}

static void add_arrow(tl_text* page, const tl_drawn_board* board, const tl_drawn_lead* lead) {
    tl_spot tip = lead->way[lead->count - 1], out = tl_drawn_toward(lead->edge);
    tl_spot foot = {tip.x - 2.6 * out.x, tip.y - 2.6 * out.y};
    tl_text_addf(page, "<path d=\"M%.2f %.2fL%.2f %.2fL%.2f %.2fZ\" fill=\"%s\"/>", tip.x, tip.y,
                 foot.x + 1.3 * out.y, foot.y + 1.3 * out.x, foot.x - 1.3 * out.y,
                 foot.y - 1.3 * out.x, tl_drawn_is_dc(lead->lead) ? "#7a2e00" : "#0a3f78");
    bool turned = out.x != 0 && board->turned_labels;
    tl_text_addf(page, "<g transform=\"translate(%.2f %.2f)%s\">",
                 (lead->words.left + lead->words.right) / 2,
                 (lead->words.top + lead->words.bottom) / 2, turned ? " rotate(-90)" : "");
    tl_drawn_add_words(page, (tl_spot){0, 0}, "middle", TL_DRAWN_TEXT, lead->label);
    tl_text_add(page, "</g>");
}

/// A lead, with a white edge, so that it is seen which of two goes on where they cross.
static void add_lead(tl_text* page, const tl_drawn_board* board, const tl_drawn_lead* lead,
                     const char* prefix) {
    if (!lead->count)
        return;
    tl_text way = {0};
    tl_drawn_add_way(&way, lead);
    tl_text_addf(page, "<g class=\"%slead\"><title>lead %zu: ", prefix, lead->lead->number);
    tl_html_add(page, lead->lead->from.name);
    tl_text_add(page, " to ");
    tl_html_add(page, lead->lead->to.name);
    if (isfinite(lead->lead->length_m))
        tl_text_addf(page, ", %.0f mm", lead->lead->length_m * 1000);
    tl_text_addf(page,
                 "</title><path fill=\"none\" stroke=\"#fff\" stroke-width=\"2\" d=\"%s\"/>"
                 "<path%s d=\"%s\"/>",
                 tl_text_get(&way), tl_drawn_stroke(tl_drawn_is_dc(lead->lead), lead->below),
                 tl_text_get(&way));
    tl_text_free(&way);
    if (lead->stub)
        add_arrow(page, board, lead);
    tl_text_add(page, "</g>\n");
}

/// Leads above or below the deck, those of the signal on top.
static void add_leads(tl_text* page, const tl_drawn_board* board, const char* prefix, bool below) {
    for (int dc = 1; dc >= 0; --dc)
        for (size_t i = 0; i < board->build->lead_count; ++i)
            if (tl_drawn_is_dc(&board->build->leads[i]) == dc && board->leads[i].below == below)
                add_lead(page, board, &board->leads[i], prefix);
}

static void add_name(tl_text* page, const tl_drawn_name* name) {
    tl_spot middle = {(name->area.left + name->area.right) / 2,
                      (name->area.top + name->area.bottom) / 2};
    tl_text_addf(page, "<g transform=\"translate(%.2f %.2f)%s\"%s>", middle.x, middle.y,
                 name->upright ? " rotate(-90)" : "", name->letter ? " font-weight=\"bold\"" : "");
    for (size_t i = 0; i < name->count; ++i)
        tl_drawn_add_words(
            page, (tl_spot){0, ((double)i - 0.5 * ((double)name->count - 1)) * 1.2 * name->size},
            "middle", name->size, name->lines[i]);
    tl_text_add(page, "</g>\n");
}

static void add_pointer(tl_text* page, tl_spot from, tl_spot to, const char* colour) {
    if (hypot(from.x - to.x, from.y - to.y) > 0.5)
        tl_text_addf(page,
                     "<path d=\"M%.2f %.2fL%.2f %.2f\" stroke=\"%s\" stroke-width=\"0.3\"/>"
                     "<circle cx=\"%.2f\" cy=\"%.2f\" r=\"0.6\" fill=\"%s\"/>\n",
                     from.x, from.y, to.x, to.y, colour, to.x, to.y, colour);
}

static void add_marks(tl_text* page, const tl_drawn_board* board, const char* prefix) {
    for (size_t i = 0; i < board->build->lead_count; ++i)
        if (board->leads[i].numbered)
            add_pointer(page, board->leads[i].number, board->leads[i].points, "#000");
    for (size_t i = 0; i < board->warning_count; ++i)
        add_pointer(page, board->warnings[i].at, board->warnings[i].about, "#a00018");
    for (size_t i = 0; i < board->build->lead_count; ++i) {
        const tl_drawn_lead* lead = &board->leads[i];
        if (!lead->numbered)
            continue;
        tl_text_addf(page, "<g class=\"%snumber\">", prefix);
        tl_drawn_add_number(page, lead->number, board->number_radius, lead->lead);
        tl_text_add(page, "</g>\n");
    }
    for (size_t i = 0; i < board->warning_count; ++i) {
        tl_text_addf(page, "<g class=\"%swarning\">", prefix);
        tl_drawn_add_triangle(page, board->warnings[i].at, i + 1);
        tl_text_add(page, "</g>\n");
    }
}

void tl_drawn_board_add(tl_text* page, const tl_drawn_board* board, const char* prefix) {
    add_ground(page, board, prefix);
    add_leads(page, board, prefix, true);
    add_boxes(page, board, prefix, false);
    add_boxes(page, board, prefix, true);
    add_overlaps(page, board);
    add_leads(page, board, prefix, false);
    add_plugs(page, board, prefix);
    for (size_t i = 0; i < board->jack_count; ++i)
        add_jack(page, &board->jacks[i]);
    for (size_t i = 0; i < board->build->box_count; ++i)
        add_name(page, &board->boxes[i].name);
    add_marks(page, board, prefix);
}
