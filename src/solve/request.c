// SPDX-License-Identifier: GPL-3.0-or-later
#include "solve/request.h"

#include "base/text.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

size_t tl_request_sets(const tl_request* request) {
    return request->sets ? request->sets : 1;
}

/// Whether limits in frequency or time are such as ngspice keeps to.
static tl_status check_limits(const tl_request* request, tl_error* error) {
    bool in_time = request->analysis == TL_TRANSIENT;
    if (request->analysis == TL_POINT)
        return TL_OK;
    if (!in_time && !tl_wire_point_count(request->per_decade, request->low_hz, request->high_hz))
        return tl_error_set(error, TL_FAILURE,
                            "%u points a decade from %g Hz to %g Hz are no sweep",
                            request->per_decade, request->low_hz, request->high_hz);
    if (request->analysis == TL_NOISE && (!request->noise_node || !request->noise_source))
        return tl_error_set(error, TL_FAILURE, "noise at node %u from source v%u cannot be asked",
                            request->noise_node, request->noise_source);
    double span_s = request->stop_s - request->start_s;
    if (in_time &&
        !(request->step_s > 0 && request->start_s >= 0 && span_s > 0 && isfinite(span_s) &&
          request->ceiling_s >= 0 && span_s <= request->step_s * TL_WIRE_TIME_LIMIT &&
          (request->ceiling_s == 0 || span_s <= request->ceiling_s * TL_WIRE_TIME_LIMIT)))
        return tl_error_set(error, TL_FAILURE,
                            "from %g s to %g s in steps of %g s, at most %g s, is no transient, or "
                            "one of more than %d points",
                            request->start_s, request->stop_s, request->step_s, request->ceiling_s,
                            TL_WIRE_TIME_LIMIT);
    return TL_OK;
}

/// Whether all that is to be read is a part of what the analysis gives.
static tl_status check_outputs(const tl_request* request, tl_error* error) {
    const char* kinds = request->analysis == TL_NOISE ? "oirdqjm" : "nv";
    for (size_t i = 0; i < request->deck->output_count; ++i) {
        const tl_probe* probe = &request->deck->outputs[i];
        if (!probe->kind || !strchr(kinds, probe->kind))
            return tl_error_set(error, TL_FAILURE, "this analysis does not give '%c%u'",
                                probe->kind ? probe->kind : '?', probe->number);
    }
    return TL_OK;
}

/// Whether the circuit, and what is set in it, is no more than the solver takes in a request.
static tl_status check_sizes(const tl_request* request, tl_error* error) {
    const tl_deck* deck = request->deck;
    size_t sets = tl_request_sets(request);
    if (deck->varied_count > TL_WIRE_COUNT_LIMIT || deck->output_count > TL_WIRE_COUNT_LIMIT ||
        !deck->output_count || strlen(deck->text) >= TL_WIRE_TEXT_LIMIT)
        return tl_error_set(error, TL_FAILURE, "the circuit is too large for the solver");
    if (sets > 1 && request->analysis != TL_SWEEP)
        return tl_error_set(error, TL_FAILURE,
                            "only a sweep is solved with %zu sets of values at once", sets);
    size_t points = tl_wire_point_count(request->per_decade, request->low_hz, request->high_hz);
    if (sets > 1 && (sets > TL_WIRE_VALUE_LIMIT / (deck->varied_count + 1) ||
                     !tl_wire_curve_size(request->analysis, sets, points, deck->output_count)))
        return tl_error_set(error, TL_FAILURE, "%zu sets of values are too many for one request",
                            sets);
    return TL_OK;
}

/// Whether one value of an element is a number that ngspice takes as it is.
static tl_status check_value(const tl_element_id* element, double value, tl_error* error) {
    if (!memchr("rlcegvRLC", element->kind, 9))
        return tl_error_set(error, TL_FAILURE, "element %c%u cannot be varied", element->kind,
                            element->number);
    if (!isfinite(value) || (memchr("rR", element->kind, 2) && value == 0))
        return tl_error_set(error, TL_FAILURE, "%c%u cannot be %g", element->kind, element->number,
                            value);
    return TL_OK;
}

tl_status tl_request_check(const tl_request* request, tl_error* error) {
    const tl_deck* deck = request->deck;
    if (check_limits(request, error) != TL_OK || check_outputs(request, error) != TL_OK ||
        check_sizes(request, error) != TL_OK)
        return TL_FAILURE;
    size_t count = tl_request_sets(request) * deck->varied_count;
    for (size_t i = 0; i < count; ++i)
        if (check_value(&deck->varied[i % deck->varied_count], request->values[i], error) != TL_OK)
            return TL_FAILURE;
    return TL_OK;
}

void* tl_request_pack(const tl_request* request, bool with_deck, size_t* size) {
    const tl_deck* deck = request->deck;
    tl_wire_name* names = tl_new(deck->varied_count + deck->output_count, sizeof *names);
    tl_wire_name* outputs = names + deck->varied_count;
    for (size_t i = 0; i < deck->varied_count; ++i)
        names[i] = (tl_wire_name){(uint32_t)deck->varied[i].kind, deck->varied[i].number};
    for (size_t i = 0; i < deck->output_count; ++i)
        outputs[i] = (tl_wire_name){(uint32_t)deck->outputs[i].kind, deck->outputs[i].number};
    tl_wire_task task = {
        .deck_id = deck->id,
        .analysis = request->analysis,
        .low_hz = request->low_hz,
        .high_hz = request->high_hz,
        .per_decade = request->per_decade,
        .step_s = request->step_s,
        .stop_s = request->stop_s,
        .start_s = request->start_s,
        .ceiling_s = request->ceiling_s,
        .noise_node = request->noise_node,
        .noise_source = request->noise_source,
        .set_count = tl_request_sets(request),
        .value_count = deck->varied_count,
        .values = request->values,
        .varied_count = with_deck ? deck->varied_count : 0,
        .varied = names,
        .output_count = with_deck ? deck->output_count : 0,
        .outputs = outputs,
        .text = with_deck ? deck->text : NULL,
    };
    void* body = tl_wire_pack_task(&task, size);
    free(names);
    return body;
}

bool tl_request_fits(const tl_request* request, const tl_wire_curve* curve) {
    size_t points = curve->point_count;
    size_t sweep = tl_wire_point_count(request->per_decade, request->low_hz, request->high_hz);
    return curve->analysis == request->analysis && curve->set_count == tl_request_sets(request) &&
           curve->output_count == request->deck->output_count &&
           (curve->analysis == TL_SWEEP   ? points == sweep
            : curve->analysis == TL_NOISE ? points == sweep || points == sweep + 1
                                          : points > 0);
}
