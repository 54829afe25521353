// SPDX-License-Identifier: GPL-3.0-or-later
#include "show/script.h"

#include "show/notes.h"
#include "show/pen.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define TITLE_SIZE 17.0 ///< height of the title's letters, px

static const char grid_colour[] = "#d8d8d8", faint_colour[] = "#ececec", axis_colour[] = "#606060",
                  text_colour[] = "#202020";

void tl_script_quote(tl_text* script, const char* words) {
    tl_text safe = {0};
    tl_text_add_safe(&safe, words);
    tl_text_add(script, "'");
    for (const char* at = tl_text_get(&safe); *at; ++at)
        if (*at == '\'')
            tl_text_add(script, "'.\"'\".'");
        else
            tl_text_add_bytes(script, at, 1);
    tl_text_add(script, "'");
    tl_text_free(&safe);
}

/// Adds a place on the page as gnuplot's screen coordinates.
static void add_spot(tl_text* script, const tl_page* page, double x, double y) {
    tl_text_addf(script, "screen %.5f,screen %.5f", x / TL_PAGE_WIDTH, 1 - y / page->height);
}

void tl_script_label(tl_text* script, const tl_page* page, tl_spot spot, const char* words,
                     const char* how) {
    tl_text_add(script, "set label ");
    tl_script_quote(script, words);
    tl_text_add(script, " at ");
    add_spot(script, page, spot.x, spot.y);
    tl_text_addf(script, " front %s\n", how);
}

void tl_script_line(tl_text* script, const tl_page* page, tl_spot from, tl_spot to,
                    const char* how) {
    tl_text_add(script, "set arrow from ");
    add_spot(script, page, from.x, from.y);
    tl_text_add(script, " to ");
    add_spot(script, page, to.x, to.y);
    tl_text_addf(script, " nohead front %s\n", how);
}

double tl_script_letter_unit(const char* kind) {
    return strcmp(kind, "png") == 0 ? 0.75 : strcmp(kind, "pdf") == 0 ? 1.08 : 1;
}

void tl_script_open(tl_text* script, double height, const char* kind, const char* output) {
    if (strcmp(kind, "svg") == 0)
        tl_text_addf(script, "set terminal svg size %.0f,%.0f fixed", TL_PAGE_WIDTH, height);
    else if (strcmp(kind, "png") == 0) // twice as fine as the screen asks, for print
        tl_text_addf(script,
                     "set terminal pngcairo size %.0f,%.0f fontscale 2 linewidth 2 pointscale 2",
                     TL_PAGE_WIDTH * 2, height * 2);
    else
        tl_text_addf(script,
                     "set terminal pdfcairo size %.3fin,%.3fin linewidth 1.4 dashlength 1.2",
                     TL_PAGE_WIDTH / 100, height / 100);
    tl_text_addf(script, " font 'sans-serif,%.3f'", TL_TEXT_SIZE * tl_script_letter_unit(kind));
    tl_text_addf(script,
                 " background rgb 'white'\nset encoding utf8\nset termoption noenhanced\n"
                 "set output '%s'\nunset key\n",
                 output);
}

static void add_frequency_axis(tl_text* script) {
    static const struct {
        int hz;
        const char* words;
    } ticks[] = {{20, "20"},   {50, "50"},   {100, "100"}, {200, "200"},   {500, "500"},
                 {1000, "1k"}, {2000, "2k"}, {5000, "5k"}, {10000, "10k"}, {20000, "20k"}};
    static const int between[] = {30,  40,  60,  70,   80,   90,   300,  400,  600,
                                  700, 800, 900, 3000, 4000, 6000, 7000, 8000, 9000};
    tl_text_addf(script, "set logscale x\nset xrange [%g:%g]\nset xtics scale 0,0 (",
                 TL_PLOT_LOW_HZ, TL_PLOT_HIGH_HZ);
    for (size_t i = 0; i < sizeof ticks / sizeof *ticks; ++i)
        tl_text_addf(script, "%s'%s' %d", i ? "," : "", ticks[i].words, ticks[i].hz);
    for (size_t i = 0; i < sizeof between / sizeof *between; ++i)
        tl_text_addf(script, ",'' %d 1", between[i]);
    tl_text_add(script, ")\n");
}

static void add_level_axis(tl_text* script, const tl_page* page) {
    double span = page->high_db - page->low_db;
    int step = span <= 45 ? 3 : span <= 90 ? 6 : span <= 180 ? 12 : 24;
    tl_text_addf(script, "set yrange [%g:%g]\nset ytics scale 0,0 (", page->low_db, page->high_db);
    int first = step * (int)ceil(page->low_db / step);
    for (int db = first; db <= (int)page->high_db; db += step)
        tl_text_addf(script, "%s'%s%d' %d", db == first ? "" : ",", db > 0 ? "+" : "", db, db);
    tl_text_add(script, ")\n");
}

void tl_script_margins(tl_text* script, const tl_page* page, const tl_box* area) {
    tl_text_addf(script,
                 "set lmargin at screen %.5f\nset rmargin at screen %.5f\n"
                 "set tmargin at screen %.5f\nset bmargin at screen %.5f\n",
                 area->left / TL_PAGE_WIDTH, area->right / TL_PAGE_WIDTH,
                 1 - area->top / page->height, 1 - area->bottom / page->height);
}

static void add_axes(tl_text* script, const tl_page* page) {
    tl_script_margins(script, page, &page->area);
    add_frequency_axis(script);
    add_level_axis(script, page);
    tl_text_addf(script,
                 "set grid xtics mxtics ytics back lt 1 lw 0.8 lc rgb '%s', lt 1 lw 0.6 lc rgb "
                 "'%s'\nset border 31 back lt 1 lw 1 lc rgb '%s'\nset tics textcolor rgb '%s'\n",
                 grid_colour, faint_colour, axis_colour, text_colour);
}

/// Title and what the axes show.
static void add_heads(tl_text* script, const tl_drawing* drawing, double letter_unit) {
    const tl_page* page = drawing->page;
    const tl_box* area = &page->area;
    double middle_x = (area->left + area->right) / 2, middle_y = (area->top + area->bottom) / 2;
    tl_text words = {0};
    if (drawing->title) {
        tl_text_add_fitted(&words, drawing->title,
                           (TL_PAGE_WIDTH - 40) * TL_TEXT_SIZE / TITLE_SIZE);
        char* how = tl_printf("center font ',%.3f' textcolor rgb '%s'", TITLE_SIZE * letter_unit,
                              text_colour);
        tl_script_label(script, page, (tl_spot){middle_x, area->top / 2}, tl_text_get(&words), how);
        free(how);
        tl_text_clear(&words);
    }
    tl_script_label(script, page, (tl_spot){middle_x, page->foot + 40}, "frequency (Hz)",
                    "center textcolor rgb '#202020'");
    double reference_hz = drawing->traces[0].curve->metrics->reference_hz;
    bool same = true;
    for (size_t i = 1; i < drawing->count; ++i)
        same = same && drawing->traces[i].curve->metrics->reference_hz == reference_hz;
    if (same)
        tl_text_addf(&words, "level relative to %.6g Hz (dB)", reference_hz);
    else
        tl_text_add(&words, "level relative to each curve's reference (dB)");
    tl_script_label(script, page, (tl_spot){22, middle_y}, tl_text_get(&words),
                    "center rotate by 90 textcolor rgb '#202020'");
    tl_text_free(&words);
}

/// What the symbols mean, when the figures do not stand beside them.
static void add_symbol_key(tl_text* script, const tl_drawing* drawing) {
    const tl_page* page = drawing->page;
    double y = tl_page_row(page, drawing->legend->rows), x = TL_LEGEND_LEFT + TL_LEGEND_LINE / 2;
    static const char plain[] = "left textcolor rgb '#404040'";
    static const char circle[] = "point pt 7 ps 0.7 lc rgb '#404040'";
    static const char square[] = "point pt 5 ps 0.7 lc rgb '#404040'";
    double words_x = TL_LEGEND_LEFT + TL_LEGEND_LINE + TL_LEGEND_GAP;
    tl_script_label(script, page, (tl_spot){x, y}, "", circle);
    tl_script_label(script, page, (tl_spot){words_x, y}, "circle: peak", plain);
    tl_script_label(script, page, (tl_spot){words_x + 126, y}, "", square);
    tl_script_label(script, page, (tl_spot){words_x + 140, y}, "square: -3 dB (half power)", plain);
}

static void add_legend(tl_text* script, const tl_drawing* drawing) {
    const tl_legend* legend = drawing->legend;
    for (size_t i = 0; i < legend->count; ++i) {
        double x = TL_LEGEND_LEFT + (double)(i / legend->rows) * legend->column_width;
        double y = tl_page_row(drawing->page, i % legend->rows);
        tl_pen own = tl_pen_of(drawing->traces, drawing->count, legend->entries[i].curve);
        char* how = tl_printf("lc rgb '%s' lw %g dt %s", own.colour, own.width, own.dash);
        tl_script_line(script, drawing->page, (tl_spot){x, y}, (tl_spot){x + TL_LEGEND_LINE, y},
                       how);
        free(how);
        tl_script_label(script, drawing->page, (tl_spot){x + TL_LEGEND_LINE + TL_LEGEND_GAP, y},
                        legend->entries[i].words, "left textcolor rgb '#202020'");
    }
    if (drawing->count > TL_NOTED_CURVES)
        add_symbol_key(script, drawing);
}

/// The numbers of a curve and of its marks, in data blocks of gnuplot's own.
static void add_data(tl_text* script, const tl_drawing* drawing) {
    for (size_t i = 0; i < drawing->count; ++i) {
        const tl_trace* trace = &drawing->traces[i];
        tl_text_addf(script, "$curve%zu << END\n", i);
        for (size_t k = 0; k < trace->count; ++k)
            tl_text_addf(script, "%.7g %.5f\n", trace->points[k].hz, trace->points[k].db);
        tl_text_add(script, "END\n");
        const tl_mark* marks[] = {&trace->peak, &trace->cutoff};
        for (int k = 0; k < 2; ++k)
            if (marks[k]->shown)
                tl_text_addf(script, "$%s%zu << END\n%.7g %.5f\nEND\n", k ? "cutoff" : "peak", i,
                             marks[k]->at.hz, marks[k]->at.db);
    }
    tl_text_addf(script, "$zero << END\n%g 0\n%g 0\nEND\n", TL_PLOT_LOW_HZ, TL_PLOT_HIGH_HZ);
}

static void add_mark(tl_text* script, const char* name, size_t index, int symbol,
                     const tl_pen* own) {
    tl_text_addf(script, ", $%s%zu using 1:2 with points pt %d ps %g lw 1.6 lc rgb '%s'", name,
                 index, symbol, own->symbol_size, own->symbol_colour);
}

/// The plot command: the 0 dB line, the curves, the direct ones over them so that a curve that
/// runs with its direct shows both, and the marks over all.
static void add_plot(tl_text* script, const tl_drawing* drawing) {
    tl_text_addf(script, "plot $zero using 1:2 with lines lw 1 lc rgb '#909090'");
    for (int direct = 0; direct < 2; ++direct)
        for (size_t i = 0; i < drawing->count; ++i) {
            if (drawing->traces[i].curve->direct != direct || !drawing->traces[i].count)
                continue;
            tl_pen own = tl_pen_of(drawing->traces, drawing->count, i);
            tl_text_addf(script, ", $curve%zu using 1:2 with lines lw %g dt %s lc rgb '%s'", i,
                         own.width, own.dash, own.colour);
        }
    for (size_t i = 0; i < drawing->count; ++i) {
        tl_pen own = tl_pen_of(drawing->traces, drawing->count, i);
        if (drawing->traces[i].peak.shown)
            add_mark(script, "peak", i, own.peak_symbol, &own);
        if (drawing->traces[i].cutoff.shown)
            add_mark(script, "cutoff", i, own.cutoff_symbol, &own);
    }
    tl_text_add(script, "\n");
}

static void add_difference_data(tl_text* script, const tl_drawing* drawing) {
    for (size_t i = 0; i < drawing->count; ++i) {
        const tl_trace* trace = &drawing->traces[i];
        if (!trace->difference_count)
            continue;
        tl_text_addf(script, "$difference%zu << END\n", i);
        for (size_t k = 0; k < trace->difference_count; ++k)
            tl_text_addf(script, "%.7g %.5f\n", trace->difference[k].hz, trace->difference[k].db);
        tl_text_add(script, "END\n");
    }
}

/// The second panel: each curve minus what it is held against, and the band of 1 dB either way.
static void add_difference_panel(tl_text* script, const tl_drawing* drawing) {
    const tl_page* page = drawing->page;
    const tl_box* area = &page->difference;
    int reach = (int)page->difference_db;
    int step = reach > 12 ? 6 : reach > 3 ? 3 : 1;
    tl_text_add(script, "unset label\nunset arrow\n");
    tl_script_margins(script, page, area);
    tl_text_addf(script, "set yrange [%d:%d]\nset ytics scale 0,0 (", -reach, reach);
    int first = -(reach / step) * step; // so that 0 has a tick
    for (int db = first; db <= reach; db += step)
        tl_text_addf(script, "%s'%s%d' %d", db == first ? "" : ",", db > 0 ? "+" : "", db, db);
    tl_text_addf(script, ")\n$band << END\n%g -1 1\n%g -1 1\nEND\n", TL_PLOT_LOW_HZ,
                 TL_PLOT_HIGH_HZ);
    tl_script_label(script, page, (tl_spot){22, (area->top + area->bottom) / 2},
                    "minus direct (dB)", "center rotate by 90 textcolor rgb '#202020'");
    tl_script_label(script, page, (tl_spot){area->left + 8, area->top + 14},
                    "rig minus direct, levels matched; shaded: within 1 dB",
                    "left textcolor rgb '#404040'");
    add_difference_data(script, drawing);
    tl_text_add(script, "plot $band using 1:2:3 with filledcurves fillcolor rgb '#e4efe4', $zero "
                        "using 1:2 with lines lw 1 lc rgb '#909090'");
    for (size_t i = 0; i < drawing->count; ++i) {
        if (!drawing->traces[i].difference_count)
            continue;
        tl_pen own = tl_pen_of(drawing->traces, drawing->count, i);
        tl_text_addf(script, ", $difference%zu using 1:2 with lines lw %g dt %s lc rgb '%s'", i,
                     own.width, own.dash, own.colour);
    }
    tl_text_add(script, "\nunset multiplot\n");
}

char* tl_script_make(const tl_drawing* drawing, const char* kind, const char* output) {
    tl_text script = {0};
    tl_script_open(&script, drawing->page->height, kind, output);
    if (drawing->page->differs)
        tl_text_add(&script, "set multiplot\n");
    add_axes(&script, drawing->page);
    add_heads(&script, drawing, tl_script_letter_unit(kind));
    add_legend(&script, drawing);
    tl_notes_add(&script, drawing);
    add_data(&script, drawing);
    add_plot(&script, drawing);
    if (drawing->page->differs)
        add_difference_panel(&script, drawing);
    tl_text_add(&script, "unset output\n");
    return tl_text_take(&script);
}
