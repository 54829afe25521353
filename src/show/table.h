// SPDX-License-Identifier: GPL-3.0-or-later
/// @file table.h What a table holds, for the files that write it out.
#ifndef TL_SHOW_TABLE_H
#define TL_SHOW_TABLE_H

#include "toneload/show.h"

#include <stdbool.h>
#include <stddef.h>

typedef struct {
    char* title; ///< head on a terminal, perhaps of two lines, safe to show
    char* field; ///< name in CSV
    bool number; ///< holds numbers, so it stands right-aligned
} tl_column;

/// A cell that was never filled has NULL for words, and counts as empty words.
typedef struct {
    char* words; ///< as given; what a terminal shows is made safe when it is written
    double value;
    bool number;
} tl_cell;

struct tl_table {
    tl_column* columns;
    size_t column_count;
    tl_cell* cells; ///< row after row, column_count cells each
    size_t row_count;
    size_t next; ///< column the next cell of the last row goes to
};

#endif
