// SPDX-License-Identifier: GPL-3.0-or-later
/// @file report.h What a builder hands over with a rig: every answer on it together.
#ifndef TONELOAD_REPORT_H
#define TONELOAD_REPORT_H

#include "toneload/answer.h"
#include "toneload/build.h"
#include "toneload/dress.h"
#include "toneload/meter.h"
#include "toneload/noise.h"
#include "toneload/power.h"

#include <stdbool.h>
#include <stddef.h>

/// What a path of the rig's file is called on the cut list and on the board.
typedef struct {
    char* path;       ///< "chain[14]"
    const char* kind; ///< which may follow the path: "cable"
    char* words;      ///< "lead 4, wah to compressor"; an item's name
} tl_report_where;

/// All answers on one rig. What the rig file says nothing of is NULL.
typedef struct {
    char* rig;  ///< title
    char* file; ///< name of the rig's file, without folders
    tl_report_where* wheres;
    size_t where_count;
    double reference_hz;
    char* written;       ///< what is on in the state the file is written in: "drive and reverb"; ""
    char* direct;        ///< the direct line-up's leads in words: "6 m of standard-coax"
    bool direct_assumed; ///< the file does not say what the rig is held against
    tl_answer* answer;
    tl_states* states;    ///< NULL: nothing to step on, or too many states
    char* no_states;      ///< why there are none; NULL: there are
    bool scenes;          ///< the states are those the rig names
    tl_noise* noise;      ///< with the states, where there are any
    bool playing_assumed; ///< its playing level is not the user's
    tl_power_plan* power;
    tl_dress* dress; ///< always there; it may have no runs
    tl_build* build;
    tl_meter_card* card; ///< NULL: none could be made
    char* no_card;       ///< why; NULL when there is one
    tl_inspection* found;
} tl_report;

#endif
