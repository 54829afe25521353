// SPDX-License-Identifier: GPL-3.0-or-later
/// @file lesson.h The pieces of a lesson's page.
#ifndef TL_SHOW_LESSON_H
#define TL_SHOW_LESSON_H

#include "base/text.h"
#include "toneload/lesson.h"
#include "toneload/show.h"

/// Curves drawn into the page. Plots that are to be compared share their level axis.
typedef struct {
    const char* about; ///< what it shows, in a sentence
    const tl_curve* curves;
    size_t count;
    double low_db;
    double high_db;
} tl_lesson_plot;

/// What the style of a lesson has beyond that of all pages.
extern const char tl_lesson_style[];

/// Adds the circuit as a drawing, labelled with the rig's own values.
void tl_lesson_add_circuit(tl_text* page, const tl_lesson* lesson);
/// Adds a plot and its legend.
void tl_lesson_add_plot(tl_text* page, const tl_lesson_plot* plot);
/// Widens a level axis so that it holds the curves of a plot.
void tl_lesson_fit_plot(tl_lesson_plot* plot);

/// Adds players for the sounds, whose samples stand in the page itself.
tl_status tl_lesson_add_sounds(tl_text* page, const tl_lesson* lesson, tl_error* error);

/// The chapters of the page, in their order.
void tl_lesson_add_start(tl_text* page, const char* title, const tl_lesson* lesson);
void tl_lesson_add_formula(tl_text* page, const tl_lesson* lesson);
void tl_lesson_add_curves(tl_text* page, const tl_lesson* lesson);
void tl_lesson_add_questions(tl_text* page, const tl_lesson* lesson);
void tl_lesson_add_sources(tl_text* page, const tl_lesson* lesson);

#endif
