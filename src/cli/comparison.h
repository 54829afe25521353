// SPDX-License-Identifier: GPL-3.0-or-later
/// @file comparison.h Variants side by side, for every command that goes through values.
#ifndef TL_CLI_COMPARISON_H
#define TL_CLI_COMPARISON_H

#include "cli/command.h"

/// A comparison and how it is to be shown.
typedef struct {
    const tl_comparison* comparison;
    const request* asked;
    const char* command;
    const char* title;
    bool rigs;    ///< several rigs: a column for their titles
    bool assumed; ///< some rig's file does not say what it is held against
    bool amps;    ///< some variant has several amps: a column for their names
    size_t* rank; ///< by variant: 1 is the closest to direct, to the ear
} comparison_view;

comparison_view comparison_look(const request* asked, const char* command, tl_rig* const* rigs,
                                const tl_comparison* comparison);
/// Writes the table, CSV or JSON as the options ask for.
tl_status comparison_write(const comparison_view* l, tl_error* error);
/// Draws all curves over each other.
tl_status comparison_draw(const comparison_view* l, const char* path, tl_error* error);

#endif
