// SPDX-License-Identifier: GPL-3.0-or-later
#include "parts/sink.h"

tl_node tl_sink_node(const tl_sink* sink, const char* what) {
    return sink->node(sink->context, what);
}

void tl_sink_across(const tl_sink* sink, char kind, tl_node a, tl_node b, double value) {
    if (value != 0)
        sink->element(sink->context, kind, a, b, value);
}

tl_node tl_sink_along(const tl_sink* sink, char kind, tl_node from, double value,
                      const char* what) {
    if (value == 0 || (kind == 'r' && value < TL_WIRE_OHM))
        return from;
    tl_node to = tl_sink_node(sink, what);
    sink->element(sink->context, kind, from, to, value);
    return to;
}
