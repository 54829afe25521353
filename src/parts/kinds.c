// SPDX-License-Identifier: GPL-3.0-or-later
// The table of part kinds: a new kind is a file of its own and a row here.
#include "parts/kinds.h"

#include "parts/part.h"

#include <string.h>

const tl_part_kind* const tl_part_kinds[] = {
    &tl_kind_pickup,   &tl_kind_source,  &tl_kind_volume,    &tl_kind_tone,    &tl_kind_pot,
    &tl_kind_cable,    &tl_kind_contact, &tl_kind_pedal,     &tl_kind_buffer,  &tl_kind_loop,
    &tl_kind_amp,      &tl_kind_end,     &tl_kind_wiring,    &tl_kind_run,     &tl_kind_power,
    &tl_kind_mains,    &tl_kind_supply,  &tl_kind_output,    &tl_kind_draw,    &tl_kind_dc_lead,
    &tl_kind_board,    &tl_kind_place,   &tl_kind_jack,      &tl_kind_outputs, &tl_kind_plug,
    &tl_kind_fastener, &tl_kind_measure, &tl_kind_generator, &tl_kind_meter,
};
const size_t tl_part_kind_count = sizeof tl_part_kinds / sizeof *tl_part_kinds;

const tl_part_kind* tl_part_kind_find(const char* name) {
    for (size_t i = 0; i < tl_part_kind_count; ++i)
        if (strcmp(tl_part_kinds[i]->name, name) == 0)
            return tl_part_kinds[i];
    return NULL;
}
