// SPDX-License-Identifier: GPL-3.0-or-later
/// @file answers.h Responses as table cells, JSON and curves, for every command that shows some.
#ifndef TL_CLI_ANSWERS_H
#define TL_CLI_ANSWERS_H

#include "cli/command.h"

#include <stdbool.h>
#include <stdio.h>

/// Frequencies at which tables give rig minus direct, Hz.
enum { DIFFERENCES = 5 };
extern const double difference_hz[DIFFERENCES];

/// The columns of the figures of a response, and their cells.
void figures_columns(tl_table* table, double reference_hz);
void figures_cells(tl_table* table, const tl_metrics* metrics);

/// The columns of rig minus direct, and their cells; `direct` NULL leaves them empty.
void differences_columns(tl_table* table);
void differences_cells(tl_table* table, const tl_solved* rig, const tl_solved* direct);

/// The same figures in narrow columns, for tables of many rows: units stand in the heads.
void short_columns(tl_table* table);
void short_cells(tl_table* table, const tl_solved* solved, const tl_solved* direct);

/// A number in a narrow cell, by a format of the caller's own; `none` when it is NAN.
void short_number(tl_table* table, double number, const char* format, const char* none);

/// The columns of the hearing measures in CSV, and their cells; `hearing` NULL leaves them empty.
void hearing_columns(tl_table* table);
void hearing_cells(tl_table* table, const tl_hearing* hearing);

/// The rig of an answer whose difference from direct is the worst to the ear.
const tl_solved* worst_heard(const tl_answer* answer);
/// Its hearing as JSON, with its amp's name.
json_t* worst_hearing_json(const tl_answer* answer);
/// Where the verdict's thresholds come from.
extern const char verdict_source[];

/// All responses of an answer as JSON.
json_t* answer_json(const tl_answer* answer, size_t points);
/// Rig minus direct of each amp as JSON: [{amp, level_db, points: [{hz, db}]}].
json_t* differences_json(const tl_answer* answer);

/// Whether an answer has more than one amp.
bool answer_has_amps(const tl_answer* answer);

/// Says so when the rig file names no direct.
void print_assumed_direct(FILE* to, const tl_rig* rig);

/// "4 states of 2 pedals and loops", and which of them --fix holds.
void print_state_count(FILE* to, const request* asked, size_t states, size_t toggles);

/// A line for each response that is unstable; nothing when all are well.
void print_unstable(FILE* to, const char* who, const tl_answer* answer);

#endif
