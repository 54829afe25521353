// SPDX-License-Identifier: GPL-3.0-or-later
/// @file lesson.h What a lesson about long leads is made of: a rig's values, the line-ups that show
/// what they do, and what a formula on paper says of them.
#ifndef TONELOAD_LESSON_H
#define TONELOAD_LESSON_H

#include "toneload/response.h"

#include <stdbool.h>
#include <stddef.h>

enum { TL_LESSON_LENGTHS = 6, TL_LESSON_VOLUMES = 3, TL_LESSON_JOINTS = 4, TL_LESSON_STEPS = 2 };

/// One solved line-up, and how it differs from the one its group is held against.
typedef struct {
    char* label;     ///< "6 m", "volume at 7"
    double length_m; ///< of lead; behind the buffer where there is one
    double farad;    ///< of that lead
    tl_response* response;
    tl_metrics metrics;
    tl_hearing hearing;
    double at_5khz_db; ///< the difference there, levels matched
    double formula_hz; ///< 1 / (2 pi sqrt(L C)); NAN where the formula does not speak of it
    double formula_q;
} tl_lesson_line;

/// What the guitar and the amp hang on the pickup. NAN: not there.
typedef struct {
    size_t pickups; ///< more than one: their values together
    bool series;
    double henry;
    double ohm;
    double winding_farad;
    double eddy_fraction; ///< of a single pickup; NAN too when several pickups have some
    double eddy_ohm;
    double volume_ohm; ///< all volume controls together, full up
    double tone_ohm;   ///< all tone controls together, full up
    double tone_farad;
    bool bleed;
    double amp_ohm;
    double amp_farad; ///< at its jack
    double stopper_ohm;
    double grid_farad; ///< behind the stopper
    double load_ohm;   ///< controls and amp together
} tl_lesson_values;

/// What some more lead costs, wherever one begins.
typedef struct {
    double from_m;
    double to_m;
    double at_5khz_db; ///< levels matched
    tl_hearing hearing;
} tl_lesson_step;

/// A turned-down volume control: its two parts, and what they and the lead come to.
typedef struct {
    double upper_ohm;
    double lower_ohm;
    double corner_hz; ///< 1 / (2 pi R C), R both parts side by side, C the lead and the amp
} tl_lesson_volume;

/// A value that was used and where it came from.
typedef struct {
    char* part;
    char* field;
    char* value;
    char* origin;
} tl_lesson_source;

typedef struct {
    tl_lesson_values values;
    char* cable;  ///< the kind of lead: a library name, or words
    char* buffer; ///< the kind of buffer
    char* amp;    ///< the amp's name among several; NULL when there is one
    bool own_buffer;
    bool turned_up; ///< the rig's own controls were not full up
    double cable_farad_per_m;
    tl_lesson_line lengths[TL_LESSON_LENGTHS];  ///< straight in; held against the first
    tl_lesson_line buffered[TL_LESSON_LENGTHS]; ///< the first length, a buffer, then each length;
                                                ///< held against the first length straight in
    double buffered_apart_db; ///< the largest band difference between any and the first of them
    double given_back_db;     ///< longest behind the buffer minus longest straight in, at 5 kHz
    size_t usual;             ///< the length that examples are worked out for
    bool has_volume;
    tl_lesson_line volumes[TL_LESSON_VOLUMES]; ///< at the usual length; held against the first
    tl_lesson_volume volume_parts[TL_LESSON_VOLUMES];
    tl_lesson_line joints[TL_LESSON_JOINTS]; ///< at the usual length; held against it
    double joint_ohm[TL_LESSON_JOINTS];
    tl_lesson_line loss_free; ///< the usual length without eddy losses; no response: there are none
    tl_lesson_line rig;       ///< as its file has it, held against its direct
    tl_lesson_line direct;
    tl_lesson_step steps[TL_LESSON_STEPS];
    tl_lesson_source* sources;
    size_t source_count;
    size_t solves;   ///< frequencies solved, all line-ups together
    double residual; ///< the largest held-out error of all fits
} tl_lesson;

#endif
