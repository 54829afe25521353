// SPDX-License-Identifier: GPL-3.0-or-later
/// @file draft.h A file that is being written and has no name until it is whole.
///
/// Where the file system can, the draft has no name at all, so that nothing is left of it even when
/// the program is killed. Elsewhere it has a hidden one, and goes with tl_draft_free().
#ifndef TL_BASE_DRAFT_H
#define TL_BASE_DRAFT_H

#include "toneload/error.h"

typedef struct tl_draft tl_draft;

/// Opens a draft that is to become `path`. TL_FAILURE when nothing can be written there.
tl_status tl_draft_open(const char* path, tl_draft** draft, tl_error* error);
/// Open for reading and writing; owned by the draft.
int tl_draft_descriptor(const tl_draft* draft);
/// Waits until the disk has all of it.
tl_status tl_draft_finish(tl_draft* draft, tl_error* error);
/// Gives the draft its name, in place of any file that had it.
tl_status tl_draft_keep(tl_draft* draft, tl_error* error);
/// What was not kept is gone.
void tl_draft_free(tl_draft* draft);

#endif
