// SPDX-License-Identifier: GPL-3.0-or-later
/// @file report.h The sections of a report's page.
#ifndef TL_SHOW_REPORT_H
#define TL_SHOW_REPORT_H

#include "base/text.h"
#include "show/html.h"
#include "toneload/report.h"

#include <stdbool.h>
#include <stddef.h>

/// What the style of a report has beyond that of all pages.
extern const char tl_report_style[];

/// How much there is to do about something.
typedef enum { TL_REPORT_FINE, TL_REPORT_MIND, TL_REPORT_MEND } tl_report_mark;
/// Adds a mark, told apart by its word.
void tl_report_add_mark(tl_text* page, tl_report_mark mark);

/// Adds a table and frees it.
void tl_report_add_table(tl_text* page, tl_table* table, const char* about);
/// Adds text as commands print it, and frees it.
void tl_report_add_prose(tl_text* page, char* text);
/// Adds one paragraph of words from outside, and frees them.
void tl_report_add_paragraph(tl_text* page, char* words);

/// "in the rig as it is written, with drive and reverb on"; free with free().
char* tl_report_written_words(const tl_report* report);
/// Index of the solved rig that is heard most, in an answer of rigs and directs.
size_t tl_report_worst_amp(const tl_answer* answer);
/// What people call the part of the sound at a frequency: "the presence range".
const char* tl_report_region(double hz);
/// How much more the rig hisses than plugged straight in, as loud, at the amp where that is most,
/// dB.
double tl_report_hiss_db(const tl_noise* noise, size_t* amp);

/// The sections, in their order; each begins below its heading.
void tl_report_add_start(tl_text* page, const tl_report* report);
void tl_report_add_states(tl_text* page, const tl_report* report);
void tl_report_add_noise(tl_text* page, const tl_report* report);
void tl_report_add_power(tl_text* page, const tl_report* report);
void tl_report_add_leads(tl_text* page, const tl_report* report);
void tl_report_add_drawing(tl_text* page, const tl_report* report);
void tl_report_add_cut_list(tl_text* page, const tl_report* report);
void tl_report_add_bill(tl_text* page, const tl_report* report);
void tl_report_add_card(tl_text* page, const tl_report* report);
void tl_report_add_service(tl_text* page, const tl_report* report);
void tl_report_add_sources(tl_text* page, const tl_report* report);
void tl_report_add_cautions(tl_text* page, const tl_report* report);

/// Adds markup in which paths of the rig's file give way to what stands on the board ("chain[14]"
/// becomes "lead 4, wah to compressor"), and words about commands to words about sections.
void tl_report_add_named(tl_text* page, const tl_report* report, const char* markup);

/// What stands above the contents: the verdict in plain words, and all else at a glance.
void tl_report_add_glance(tl_text* page, const tl_report* report);

#endif
