// SPDX-License-Identifier: GPL-3.0-or-later
#include "show/notes.h"

#include "show/pen.h"
#include "show/place.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { most_notes = 2 * TL_NOTED_CURVES };

// How far a leader keeps from its mark and its words, and from how far words need one; and the
// height of a line of words, px.
static const double mark_radius = 7, words_gap = 2, longest_gap = 15, line_height = 16;

/// What a second line costs, in px of distance to the mark that it may save.
static const double second_line_cost = 10;

/// Words for one mark, in one line, or in two when `second` is not empty.
typedef struct {
    char* first;
    char* second;
    tl_box box;
    double cost;
} note;

static void free_note(note* one) {
    free(one->first);
    free(one->second);
}

/// Words for one mark, with the curve's name before them where two curves could be mistaken.
static note make_note(const tl_drawing* drawing, const tl_trace* trace, tl_figures figure,
                      bool split) {
    tl_text words = {0};
    const char* label = trace->curve->label ? trace->curve->label : "";
    if (drawing->count > 1 && *label && tl_text_columns(label) <= 16) {
        tl_text_add_safe(&words, label);
        tl_text_add(&words, ": ");
    }
    size_t figures_at = words.size;
    tl_trace_add_figures(&words, trace, figure | TL_LEVEL_FIGURE);
    char* comma = strstr(words.data + figures_at, ", ");
    note made = {.second = tl_copy(split && comma ? comma + 2 : "")};
    if (split && comma)
        comma[1] = '\0';
    made.first = tl_text_take(&words);
    return made;
}

static void place_note(note* one, const tl_scene* scene, tl_spot mark) {
    bool two = *one->second;
    double width = fmax(tl_text_width(one->first), tl_text_width(one->second));
    one->box = tl_place(scene, mark, width, line_height * (two ? 2 : 1), &one->cost);
    one->cost += two ? second_line_cost : 0;
}

/// Writes a note on the side of its box that the mark is on, so that it stands close to it
/// whatever the letters' true width is.
static void write_note(tl_text* script, const tl_page* page, const note* one, tl_spot mark,
                       const char* colour) {
    const tl_box* box = &one->box;
    bool right_of = mark.x < box->left;
    bool left_of = mark.x > box->right;
    const char* side = right_of ? "left" : left_of ? "right" : "center";
    double x = right_of ? box->left : left_of ? box->right : (box->left + box->right) / 2;
    char* how = tl_printf("%s textcolor rgb '%s'", side, colour);
    tl_script_label(script, page, (tl_spot){x, box->top + line_height / 2}, one->first, how);
    if (*one->second)
        tl_script_label(script, page, (tl_spot){x, box->bottom - line_height / 2}, one->second,
                        how);
    free(how);
}

/// Draws a thin line from a mark to its note, when it stands away from it.
static void draw_leader(tl_text* script, const tl_page* page, tl_spot mark, tl_box box,
                        const char* colour) {
    tl_spot end = tl_place_end(box, mark);
    double gap = hypot(end.x - mark.x, end.y - mark.y);
    if (gap <= longest_gap)
        return;
    tl_spot step = {(end.x - mark.x) / gap, (end.y - mark.y) / gap};
    char* how = tl_printf("lt 1 lw 0.8 lc rgb '%s'", colour);
    tl_script_line(script, page,
                   (tl_spot){mark.x + mark_radius * step.x, mark.y + mark_radius * step.y},
                   (tl_spot){end.x - words_gap * step.x, end.y - words_gap * step.y}, how);
    free(how);
}

/// Adds the note of one mark in the shape, one line or two, that finds the better place.
static void add_note(tl_text* script, const tl_drawing* drawing, tl_scene* scene, size_t index,
                     tl_spot mark, tl_figures figure) {
    const tl_trace* trace = &drawing->traces[index];
    note one = make_note(drawing, trace, figure, false);
    note two = make_note(drawing, trace, figure, true);
    place_note(&one, scene, mark);
    place_note(&two, scene, mark);
    const note* best = one.cost <= two.cost ? &one : &two;
    scene->boxes[scene->box_count++] = best->box;
    const char* colour = tl_pen_of(drawing->traces, drawing->count, index).colour;
    write_note(script, drawing->page, best, mark, colour);
    draw_leader(script, drawing->page, mark, best->box, colour);
    free_note(&one);
    free_note(&two);
}

/// The curves as they run over the page, for finding room between them.
static tl_line* make_lines(const tl_drawing* drawing) {
    tl_line* lines = tl_new(drawing->count, sizeof *lines);
    for (size_t i = 0; i < drawing->count; ++i) {
        const tl_trace* trace = &drawing->traces[i];
        lines[i] = (tl_line){tl_new(trace->count, sizeof(tl_spot)), trace->count};
        for (size_t k = 0; k < trace->count; ++k)
            lines[i].spots[k] = tl_page_spot(drawing->page, trace->points[k]);
    }
    return lines;
}

void tl_notes_add(tl_text* script, const tl_drawing* drawing) {
    if (drawing->count > TL_NOTED_CURVES)
        return;
    tl_line* lines = make_lines(drawing);
    tl_spot marks[most_notes];
    tl_box boxes[most_notes];
    size_t owners[most_notes];
    tl_figures figures[most_notes];
    tl_scene scene = {drawing->page->area, lines, drawing->count, marks, 0, boxes, 0};
    for (int cutoff = 0; cutoff < 2; ++cutoff)
        for (size_t i = 0; i < drawing->count; ++i) {
            const tl_trace* trace = &drawing->traces[i];
            const tl_mark* mark = cutoff ? &trace->cutoff : &trace->peak;
            if (!mark->shown)
                continue;
            owners[scene.mark_count] = i;
            figures[scene.mark_count] = cutoff ? TL_CUTOFF_FIGURE : TL_PEAK_FIGURE;
            marks[scene.mark_count++] = tl_page_spot(drawing->page, mark->at);
        }
    for (size_t i = 0; i < scene.mark_count; ++i)
        add_note(script, drawing, &scene, owners[i], marks[i], figures[i]);
    for (size_t i = 0; i < drawing->count; ++i)
        free(lines[i].spots);
    free(lines);
}
