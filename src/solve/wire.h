// SPDX-License-Identifier: GPL-3.0-or-later
/// @file wire.h What the library and its worker say to each other over a socket pair.
///
/// Frames of a fixed head and a body, in the machine's own byte order: both ends are always of one
/// build on one machine, and the head's version says so. Neither end trusts a size it was sent.
#ifndef TL_SOLVE_WIRE_H
#define TL_SOLVE_WIRE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum {
    TL_WIRE_VERSION = 1,
    TL_WIRE_SOCKET = 3,                ///< the worker's end of the socket pair
    TL_WIRE_BODY_LIMIT = 64 << 20,     ///< bytes of a frame's body
    TL_WIRE_TEXT_LIMIT = 8 << 20,      ///< bytes of a deck
    TL_WIRE_COUNT_LIMIT = 100000,      ///< varied elements, outputs
    TL_WIRE_POINT_LIMIT = 4001,        ///< frequencies: with more, ngspice steps past the last
    TL_WIRE_CAPTURE_LIMIT = 256 << 10, ///< bytes ngspice may print in one request
};

typedef enum {
    TL_WIRE_HELLO = 1, ///< worker: ready, empty body
    TL_WIRE_SWEEP = 2, ///< library: solve this, a tl_wire_sweep
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

typedef struct {
    uint32_t kind; ///< one of "rlcev"
    uint32_t number;
} tl_wire_element;

/// A request. With a deck's text the worker loads that deck first; without, it must hold it.
typedef struct {
    uint64_t deck_id;
    double low_hz;
    double high_hz;
    uint32_t per_decade;
    size_t value_count;
    const double* values;
    size_t varied_count; ///< value_count with a text, 0 without
    const tl_wire_element* varied;
    size_t output_count; ///< 0 without a text
    const uint32_t* outputs;
    const char* text; ///< NULL: the deck that the worker holds
} tl_wire_sweep;

/// An answer; `h` is output_count rows of point_count pairs (real, imaginary).
typedef struct {
    size_t point_count;
    size_t output_count;
    const double* hz;
    const double* h;
} tl_wire_curve;

/// Seconds of a clock that never jumps.
double tl_wire_now_s(void);

/// Sends a frame. `deadline_s` is on the clock of tl_wire_now_s(); 0 waits for ever.
tl_wire_end tl_wire_send(int socket, tl_wire_kind kind, const void* body, size_t size,
                         double deadline_s);
/// Receives a whole frame.
tl_wire_end tl_wire_receive(int socket, tl_wire_frame* frame, double deadline_s);
void tl_wire_frame_free(tl_wire_frame* frame);

/// Writes a request's or an answer's body; free with free().
void* tl_wire_pack_sweep(const tl_wire_sweep* sweep, size_t* size);
void* tl_wire_pack_curve(const tl_wire_curve* curve, size_t* size);
/// Reads a body; the result points into the frame. False when sizes and counts do not agree.
bool tl_wire_unpack_sweep(const tl_wire_frame* frame, tl_wire_sweep* sweep);
bool tl_wire_unpack_curve(const tl_wire_frame* frame, tl_wire_curve* curve);

/// Frequencies that `ac dec` steps through, counted as ngspice does (acan.c); 0 when the limits
/// are none it can step through.
size_t tl_wire_point_count(uint32_t per_decade, double low_hz, double high_hz);

#endif
