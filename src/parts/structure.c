// SPDX-License-Identifier: GPL-3.0-or-later
// Values that belong to no circuit part but to how parts are joined: a switcher's loop, which is in
// the path or not, and how several pickups are wired.
#include "parts/kinds.h"

static const char* const wirings[] = {"parallel", "series", NULL};

static const tl_field loop_fields[] = {
    {"engaged", 0, 0, 0, tl_no_yes, TL_FIELD_NEEDED | TL_FIELD_BESIDE},
};

static const tl_field wiring_fields[] = {
    {"wiring", 0, 0, 0, wirings, TL_FIELD_NEEDED | TL_FIELD_BESIDE},
};

const tl_part_kind tl_kind_loop = {"loop", "a loop", NULL, true, TL_FIELDS(loop_fields),
                                   NULL,   NULL};
const tl_part_kind tl_kind_wiring = {
    "wiring", "a guitar of several pickups", NULL, false, TL_FIELDS(wiring_fields), NULL, NULL};
