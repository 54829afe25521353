// SPDX-License-Identifier: GPL-3.0-or-later
#include "parts/noise.h"

bool tl_noise_is_stated(const tl_part* part) {
    return tl_part_has(part, "noise.voltage");
}

tl_status tl_noise_check(const tl_part* part, tl_error* error) {
    const tl_value* voltage = tl_part_value(part, "noise.voltage");
    const tl_value* current = tl_part_value(part, "noise.current");
    const tl_value* corner = tl_part_value(part, "noise.corner");
    const tl_value* second = tl_part_value(part, "noise.current_corner");
    if (voltage->given != current->given)
        return tl_error_at(error, &(voltage->given ? voltage : current)->place,
                           "noise is stated by both 'voltage' and 'current' (0 pA/rtHz for next "
                           "to none), or not at all");
    const tl_value* alone = corner->given ? corner : second;
    if (alone->given && !voltage->given)
        return tl_error_at(error, &alone->place,
                           "a corner needs the noise's 'voltage' and 'current'");
    return TL_OK;
}

double tl_noise_rise(const tl_part* part, bool current, double hz) {
    double corner_hz = tl_part_number(part, "noise.corner", 0);
    if (current)
        corner_hz = tl_part_number(part, "noise.current_corner", corner_hz);
    return 1 + corner_hz / hz;
}

static bool is_asked(const tl_part* part, const tl_sink* sink) {
    return sink->noise && tl_noise_is_stated(part);
}

char tl_noise_resistor(const tl_part* part, const tl_sink* sink) {
    return is_asked(part, sink) ? 'q' : 'r';
}

void tl_noise_emit_current(const tl_part* part, const tl_sink* sink, tl_node in) {
    if (is_asked(part, sink))
        sink->noise(sink->context, in, 0, tl_part_number(part, "noise.current", 0));
}

tl_node tl_noise_emit_voltage(const tl_part* part, const tl_sink* sink, tl_node in) {
    if (!is_asked(part, sink))
        return in;
    return sink->noise(sink->context, in, tl_part_number(part, "noise.voltage", 0), 0);
}
