// SPDX-License-Identifier: GPL-3.0-or-later
#include "solve/wire.h"

#include "base/text.h"

#include <errno.h>
#include <math.h>
#include <poll.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/uio.h>
#include <time.h>

typedef struct {
    uint32_t magic;
    uint32_t version;
    uint32_t kind;
    uint32_t size;
} head;

static const uint32_t magic = 0x4e544c57; // an arbitrary mark that no stray text starts with

/// The fixed parts of bodies. Their sizes are multiples of 8, so that the doubles behind them lie
/// as malloc() aligned the body.
typedef struct {
    uint64_t deck_id;
    double low_hz;
    double high_hz;
    uint32_t per_decade;
    uint32_t value_count;
    uint32_t varied_count;
    uint32_t output_count;
    uint32_t text_size; ///< with the NUL; 0: no text
    uint32_t analysis;
    double step_s;
    double stop_s;
    double start_s;
    double ceiling_s;
    uint32_t noise_node;
    uint32_t noise_source;
    uint32_t set_count;
    uint32_t unused;
} task_head;

typedef struct {
    uint32_t analysis;
    uint32_t point_count;
    uint32_t output_count;
    uint32_t set_count;
} curve_head;

double tl_wire_now_s(void) {
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}

/// Waits until the socket is ready; a deadline of 0 leaves the waiting to the blocking call.
static tl_wire_end await(int socket, short events, double deadline_s) {
    if (deadline_s == 0)
        return TL_WIRE_DONE;
    for (;;) {
        double left_ms = ceil((deadline_s - tl_wire_now_s()) * 1e3);
        struct pollfd one = {.fd = socket, .events = events};
        int ready = poll(&one, 1, left_ms <= 0 ? 0 : left_ms > 1e6 ? 1000000 : (int)left_ms);
        if (ready > 0)
            return TL_WIRE_DONE;
        if (ready == 0 && left_ms <= 0)
            return TL_WIRE_LATE;
        if (ready < 0 && errno != EINTR)
            return TL_WIRE_ENDED;
    }
}

/// Takes `done` bytes off the front of what is still to be moved.
static void advance(struct msghdr* message, size_t done) {
    while (message->msg_iovlen && done >= message->msg_iov->iov_len) {
        done -= message->msg_iov->iov_len;
        ++message->msg_iov;
        --message->msg_iovlen;
    }
    if (message->msg_iovlen) {
        message->msg_iov->iov_base = (char*)message->msg_iov->iov_base + done;
        message->msg_iov->iov_len -= done;
    }
}

/// Only an answer may be long, and only a transient's is (tl_wire_unpack_curve()).
static size_t body_limit(uint32_t kind) {
    return kind == TL_WIRE_CURVE ? TL_WIRE_LONG_LIMIT : TL_WIRE_BODY_LIMIT;
}

tl_wire_end tl_wire_send(int socket, tl_wire_kind kind, const void* body, size_t size,
                         double deadline_s) {
    if (size > body_limit(kind))
        return TL_WIRE_BROKEN;
    head first = {magic, TL_WIRE_VERSION, kind, (uint32_t)size};
    struct iovec parts[] = {{&first, sizeof first}, {(void*)(uintptr_t)body, size}};
    struct msghdr message = {.msg_iov = parts, .msg_iovlen = 2};
    int flags = MSG_NOSIGNAL | (deadline_s == 0 ? 0 : MSG_DONTWAIT);
    advance(&message, 0);
    while (message.msg_iovlen) {
        ssize_t sent = sendmsg(socket, &message, flags);
        if (sent >= 0) {
            advance(&message, (size_t)sent);
        } else if (errno == EAGAIN) {
            tl_wire_end end = await(socket, POLLOUT, deadline_s);
            if (end != TL_WIRE_DONE)
                return end;
        } else if (errno != EINTR) {
            return TL_WIRE_ENDED;
        }
    }
    return TL_WIRE_DONE;
}

static tl_wire_end receive_bytes(int socket, void* bytes, size_t size, double deadline_s) {
    char* at = bytes;
    while (size) {
        ssize_t got = recv(socket, at, size, deadline_s == 0 ? 0 : MSG_DONTWAIT);
        if (got > 0) {
            at += got;
            size -= (size_t)got;
        } else if (got == 0) {
            return TL_WIRE_ENDED;
        } else if (errno == EAGAIN) {
            tl_wire_end end = await(socket, POLLIN, deadline_s);
            if (end != TL_WIRE_DONE)
                return end;
        } else if (errno != EINTR) {
            return TL_WIRE_ENDED;
        }
    }
    return TL_WIRE_DONE;
}

tl_wire_end tl_wire_receive(int socket, tl_wire_frame* frame, double deadline_s) {
    *frame = (tl_wire_frame){0};
    head first;
    tl_wire_end end = receive_bytes(socket, &first, sizeof first, deadline_s);
    if (end != TL_WIRE_DONE)
        return end;
    if (first.magic != magic || first.version != TL_WIRE_VERSION || first.kind < TL_WIRE_HELLO ||
        first.kind > TL_WIRE_LAST || first.size > body_limit(first.kind))
        return TL_WIRE_BROKEN;
    frame->kind = (tl_wire_kind)first.kind;
    frame->size = first.size;
    frame->body = tl_new(frame->size + 1, 1); // the NUL more keeps words words
    end = receive_bytes(socket, frame->body, frame->size, deadline_s);
    if (end != TL_WIRE_DONE)
        tl_wire_frame_free(frame);
    return end;
}

void tl_wire_frame_free(tl_wire_frame* frame) {
    free(frame->body);
    *frame = (tl_wire_frame){0};
}

/// Copies one run of a body and moves on behind it.
static char* put(char* at, const void* from, size_t size) {
    if (size)
        memcpy(at, from, size);
    return at + size;
}

void* tl_wire_pack_task(const tl_wire_task* task, size_t* size) {
    task_head first = {
        .deck_id = task->deck_id,
        .low_hz = task->low_hz,
        .high_hz = task->high_hz,
        .per_decade = task->per_decade,
        .value_count = (uint32_t)task->value_count,
        .varied_count = (uint32_t)task->varied_count,
        .output_count = (uint32_t)task->output_count,
        .text_size = task->text ? (uint32_t)strlen(task->text) + 1 : 0,
        .analysis = task->analysis,
        .step_s = task->step_s,
        .stop_s = task->stop_s,
        .start_s = task->start_s,
        .ceiling_s = task->ceiling_s,
        .noise_node = task->noise_node,
        .noise_source = task->noise_source,
        .set_count = (uint32_t)task->set_count,
    };
    size_t values = task->set_count * task->value_count * sizeof(double);
    size_t varied = task->varied_count * sizeof(tl_wire_name);
    size_t outputs = task->output_count * sizeof(tl_wire_name);
    *size = sizeof first + values + varied + outputs + first.text_size;
    char* body = tl_new(*size, 1);
    char* at = put(body, &first, sizeof first);
    at = put(at, task->values, values);
    at = put(at, task->varied, varied);
    at = put(at, task->outputs, outputs);
    put(at, task->text, first.text_size);
    return body;
}

/// Whether there may be so many sets, of so many values each. (Neither count is over its own limit,
/// so that their product fits.)
static bool are_sets(tl_analysis analysis, uint64_t sets, uint64_t values) {
    return sets >= 1 && sets <= (analysis == TL_SWEEP ? TL_WIRE_COUNT_LIMIT : 1) &&
           sets * values <= TL_WIRE_VALUE_LIMIT;
}

/// Whether a request's head says nothing that cannot be.
static bool is_task_head(const task_head* first) {
    return first->value_count <= TL_WIRE_COUNT_LIMIT &&
           are_sets((tl_analysis)first->analysis, first->set_count, first->value_count) &&
           first->output_count <= TL_WIRE_COUNT_LIMIT && first->text_size <= TL_WIRE_TEXT_LIMIT &&
           first->varied_count == (first->text_size ? first->value_count : 0) &&
           (first->output_count != 0) == (first->text_size != 0) && first->analysis <= TL_NOISE;
}

bool tl_wire_unpack_task(const tl_wire_frame* frame, tl_wire_task* task) {
    task_head first;
    if (frame->kind != TL_WIRE_TASK || frame->size < sizeof first)
        return false;
    memcpy(&first, frame->body, sizeof first);
    if (!is_task_head(&first))
        return false;
    size_t values = (size_t)first.set_count * first.value_count * sizeof(double);
    size_t varied = first.varied_count * sizeof(tl_wire_name);
    size_t outputs = first.output_count * sizeof(tl_wire_name);
    if (frame->size != sizeof first + values + varied + outputs + first.text_size)
        return false;
    const char* at = (const char*)frame->body + sizeof first;
    *task = (tl_wire_task){
        .deck_id = first.deck_id,
        .analysis = (tl_analysis)first.analysis,
        .low_hz = first.low_hz,
        .high_hz = first.high_hz,
        .per_decade = first.per_decade,
        .step_s = first.step_s,
        .stop_s = first.stop_s,
        .start_s = first.start_s,
        .ceiling_s = first.ceiling_s,
        .noise_node = first.noise_node,
        .noise_source = first.noise_source,
        .set_count = first.set_count,
        .value_count = first.value_count,
        .values = (const double*)(const void*)at,
        .varied_count = first.varied_count,
        .varied = (const tl_wire_name*)(const void*)(at + values),
        .output_count = first.output_count,
        .outputs = (const tl_wire_name*)(const void*)(at + values + varied),
        .text = first.text_size ? at + values + varied + outputs : NULL,
    };
    return !task->text || strlen(task->text) + 1 == first.text_size;
}

size_t tl_wire_most_points(tl_analysis analysis) {
    return analysis == TL_TRANSIENT ? TL_WIRE_TIME_LIMIT
           : analysis == TL_POINT   ? 1
           : analysis == TL_NOISE   ? TL_WIRE_POINT_LIMIT + 1
                                    : TL_WIRE_POINT_LIMIT;
}

size_t tl_wire_curve_size(tl_analysis analysis, size_t sets, size_t points, size_t outputs) {
    if (!are_sets(analysis, sets, 0) || points > tl_wire_most_points(analysis) ||
        outputs > TL_WIRE_COUNT_LIMIT)
        return 0;
    uint64_t limit = analysis == TL_TRANSIENT ? TL_WIRE_LONG_LIMIT : TL_WIRE_BODY_LIMIT;
    uint64_t axis = points * sizeof(double);
    uint64_t set = axis * outputs * (analysis == TL_SWEEP ? 2 : 1);
    if (set > limit) // else the product below may not fit
        return 0;
    uint64_t size = sizeof(curve_head) + axis + set * sets;
    return size <= limit ? (size_t)size : 0;
}

void* tl_wire_new_curve(tl_wire_curve* curve, size_t* size) {
    *size = tl_wire_curve_size(curve->analysis, curve->set_count, curve->point_count,
                               curve->output_count);
    if (!*size)
        return NULL;
    curve_head first = {curve->analysis, (uint32_t)curve->point_count,
                        (uint32_t)curve->output_count, (uint32_t)curve->set_count};
    char* body = tl_new(*size, 1);
    curve->axis = (double*)(void*)put(body, &first, sizeof first);
    curve->rows = curve->axis + curve->point_count;
    return body;
}

bool tl_wire_unpack_curve(const tl_wire_frame* frame, tl_wire_curve* curve) {
    curve_head first;
    if (frame->kind != TL_WIRE_CURVE || frame->size < sizeof first)
        return false;
    memcpy(&first, frame->body, sizeof first);
    if (first.analysis > TL_NOISE ||
        frame->size != tl_wire_curve_size((tl_analysis)first.analysis, first.set_count,
                                          first.point_count, first.output_count))
        return false;
    double* axis = (double*)(void*)((char*)frame->body + sizeof first);
    *curve = (tl_wire_curve){.analysis = (tl_analysis)first.analysis,
                             .set_count = first.set_count,
                             .point_count = first.point_count,
                             .output_count = first.output_count,
                             .axis = axis,
                             .rows = axis + first.point_count};
    return true;
}

size_t tl_wire_point_count(uint32_t per_decade, double low_hz, double high_hz) {
    if (!per_decade || !(low_hz > 0) || !(high_hz > low_hz) || !isfinite(high_hz))
        return 0;
    double steps = floor(fabs(log10(high_hz / low_hz)) * (double)per_decade);
    return steps >= 1 && steps < TL_WIRE_POINT_LIMIT ? (size_t)steps + 1 : 0;
}
