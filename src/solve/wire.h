// SPDX-License-Identifier: GPL-3.0-or-later
/// @file wire.h What the library and its worker say to each other over a socket pair.
///
/// Frames of a fixed head and a body, in the machine's own byte order: both ends are always of one
/// build on one machine, and the head's version says so. Neither end trusts a size it was sent.
#ifndef TL_SOLVE_WIRE_H
#define TL_SOLVE_WIRE_H

#include "circuit/deck.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum {
    TL_WIRE_VERSION = 3,
    TL_WIRE_SOCKET = 3,                ///< the worker's end of the socket pair
    TL_WIRE_BODY_LIMIT = 64 << 20,     ///< bytes of a frame's body
    TL_WIRE_LONG_LIMIT = 256 << 20,    ///< bytes of a transient's answer
    TL_WIRE_TEXT_LIMIT = 8 << 20,      ///< bytes of a deck
    TL_WIRE_COUNT_LIMIT = 100000,      ///< varied elements, outputs, sets of values
    TL_WIRE_VALUE_LIMIT = 4 << 20,     ///< values of all sets together
    TL_WIRE_POINT_LIMIT = 4001,        ///< frequencies: with more, ngspice steps past the last
    TL_WIRE_TIME_LIMIT = 4000000,      ///< points in time
    TL_WIRE_CAPTURE_LIMIT = 256 << 10, ///< bytes ngspice may print in one request
};

typedef enum {
    TL_WIRE_HELLO = 1, ///< worker: ready, empty body
    TL_WIRE_TASK = 2,  ///< library: solve this, a tl_wire_task
    TL_WIRE_CURVE = 3, ///< worker: solved, a tl_wire_curve
    TL_WIRE_WORDS = 4, ///< worker: not solved, and why
    TL_WIRE_LAST = 5,  ///< worker: the same, and ngspice ends the process
} tl_wire_kind;

/// How sending or receiving a frame ended.
typedef enum {
    TL_WIRE_DONE,
    TL_WIRE_ENDED,  ///< the other end is gone
    TL_WIRE_LATE,   ///< the deadline passed
    TL_WIRE_BROKEN, ///< what came is no frame of this version
} tl_wire_end;

/// A frame as received. Free its body with tl_wire_frame_free().
typedef struct {
    tl_wire_kind kind;
    size_t size;
    void* body;
} tl_wire_frame;

/// An element that varies, or a tl_probe.
typedef struct {
    uint32_t kind;
    uint32_t number;
} tl_wire_name;

/// A request. With a deck's text the worker loads that deck first; without, it must hold it. Only a
/// sweep has more than one set of values.
typedef struct {
    uint64_t deck_id;
    tl_analysis analysis;
    double low_hz;
    double high_hz;
    uint32_t per_decade;
    double step_s;
    double stop_s;
    double start_s;
    double ceiling_s;
    uint32_t noise_node;
    uint32_t noise_source;
    size_t set_count;   ///< at least 1
    size_t value_count; ///< of a set
    const double* values;
    size_t varied_count; ///< value_count with a text, 0 without
    const tl_wire_name* varied;
    size_t output_count; ///< 0 without a text
    const tl_wire_name* outputs;
    const char* text; ///< NULL: the deck that the worker holds
} tl_wire_task;

/// An answer: for each set output_count rows of point_count numbers, each a pair (real, imaginary)
/// in a sweep.
typedef struct {
    tl_analysis analysis;
    size_t set_count; ///< at least 1
    size_t point_count;
    size_t output_count;
    double* axis; ///< point_count frequencies or times; of an operating point one 0
    double* rows;
} tl_wire_curve;

/// Seconds of a clock that never jumps.
double tl_wire_now_s(void);

/// Sends a frame. `deadline_s` is on the clock of tl_wire_now_s(); 0 waits for ever.
tl_wire_end tl_wire_send(int socket, tl_wire_kind kind, const void* body, size_t size,
                         double deadline_s);
/// Receives a whole frame.
tl_wire_end tl_wire_receive(int socket, tl_wire_frame* frame, double deadline_s);
void tl_wire_frame_free(tl_wire_frame* frame);

/// Writes a request's body; free with free().
void* tl_wire_pack_task(const tl_wire_task* task, size_t* size);
/// Bytes of the body of an answer of these counts, or 0 when it would be more than may be sent.
size_t tl_wire_curve_size(tl_analysis analysis, size_t sets, size_t points, size_t outputs);
/// Makes the body of an answer of these counts; its axis and rows are then to be filled in. Free
/// with free(). NULL when it would be more than may be sent.
void* tl_wire_new_curve(tl_wire_curve* curve, size_t* size);
/// Reads a body; the result points into the frame. False when sizes and counts do not agree.
bool tl_wire_unpack_task(const tl_wire_frame* frame, tl_wire_task* task);
bool tl_wire_unpack_curve(const tl_wire_frame* frame, tl_wire_curve* curve);

/// Most points that the answer to an analysis may have.
size_t tl_wire_most_points(tl_analysis analysis);

/// Frequencies that `ac dec` steps through, counted as ngspice does (acan.c); 0 when the limits
/// are none it can step through.
size_t tl_wire_point_count(uint32_t per_decade, double low_hz, double high_hz);

#endif
