// SPDX-License-Identifier: GPL-3.0-or-later
/// @file spread_shard.c A shard's trials as a file that any machine can read.
///
/// All numbers little-endian; each section but the mark is followed by its CRC-32:
///   "TLSPREAD", u32 format
///   head: u64 size, then what all shards of one run have in common (write_head())
///   place: u64 shard, shards, trials done; u32 identity
///   figures: f64 for each trial done, amp and figure
///   failures: u64 count, for each u64 trial and its reason
///   bins: for each amp, curve and point u32 first, u32 count, then u32 counts

#include "study/spread_work.h"

#include "base/draft.h"
#include "base/file.h"
#include "base/pack.h"
#include "base/text.h"

#include <errno.h>
#include <fcntl.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

enum {
    FORMAT = 1,
    BLOCK = 1 << 18,
    MOST_HEAD = 64 << 20,
    MOST_WHY = 1000,
    MOST_AMPS = 1000,
    MOST_TRIALS = 1000000000
};
static const char mark[8] = {'T', 'L', 'S', 'P', 'R', 'E', 'A', 'D'};

// ---- the head: what needs no trials

static void write_value(tl_text* head, const tl_spread_value* value) {
    tl_pack_words(head, value->path);
    tl_pack_words(head, value->about);
    tl_pack_words(head, value->shown);
    tl_pack_words(head, value->followed);
    tl_pack_words(head, value->origin);
    tl_pack_f64(head, value->nominal);
    tl_pack_f64(head, value->share);
    tl_pack_u32(head, value->uniform);
}

static void write_figure(tl_text* head, const tl_spread_figure* figure, size_t values) {
    tl_pack_f64(head, figure->nominal);
    for (size_t i = 0; i < values; ++i)
        tl_pack_f64(head, figure->effects[i].slope);
    tl_pack_f64(head, figure->least);
    tl_pack_f64(head, figure->most);
    tl_pack_u64(head, figure->corner_none);
    tl_text_add_bytes(head, (const char*)figure->least_at, values);
    tl_text_add_bytes(head, (const char*)figure->most_at, values);
}

static void write_head(tl_text* head, const tl_spread* spread) {
    tl_pack_words(head, TL_VERSION);
    tl_pack_words(head, spread->rig);
    tl_pack_u64(head, spread->trials);
    tl_pack_u64(head, spread->seed);
    tl_pack_f64(head, spread->reference_hz);
    tl_pack_u32(head, spread->direct_assumed);
    tl_pack_u32(head, spread->worst_case);
    tl_pack_u32(head, spread->all_corners);
    tl_pack_u64(head, spread->corner_count);
    tl_pack_u64(head, spread->amp_count);
    for (size_t i = 0; i < spread->amp_count; ++i)
        tl_pack_words(head, spread->amps[i]);
    tl_pack_u64(head, spread->value_count);
    for (size_t i = 0; i < spread->value_count; ++i)
        write_value(head, &spread->values[i]);
    for (size_t i = 0; i < spread->amp_count * TL_SPREAD_FIGURES; ++i)
        write_figure(head, &spread->figures[i], spread->value_count);
    for (size_t amp = 0; amp < spread->amp_count; ++amp) {
        tl_pack_u32(head, spread->nominal_heard[amp]);
        for (size_t i = 0; i < TL_SPREAD_POINTS; ++i) {
            tl_pack_f64(head, spread->nominal_db[amp][i]);
            tl_pack_f64(head, spread->nominal_difference_db[amp][i]);
        }
    }
}

/// Numbers as they tell runs apart: machines may differ in the last digits of what they compute.
static void add_sign(tl_text* text, double number) {
    tl_text_addf(text, " %.6g", number);
}

uint32_t tl_spread_identity(const tl_spread* spread, size_t shards) {
    tl_text text = {0};
    tl_text_addf(&text, "%s\n%s\n%zu %zu %ju %d %d", TL_VERSION, spread->rig, shards,
                 spread->trials, (uintmax_t)spread->seed, spread->worst_case,
                 spread->direct_assumed);
    add_sign(&text, spread->reference_hz);
    for (size_t i = 0; i < spread->amp_count; ++i)
        tl_text_addf(&text, "\n%s", spread->amps[i]);
    for (size_t i = 0; i < spread->value_count; ++i) {
        const tl_spread_value* value = &spread->values[i];
        tl_text_addf(&text, "\n%s\n%s\n%s %d", value->path, value->followed, value->shown,
                     value->uniform);
        add_sign(&text, value->nominal);
        add_sign(&text, value->share);
    }
    for (size_t amp = 0; amp < spread->amp_count; ++amp)
        for (size_t i = 0; i < TL_SPREAD_POINTS; ++i) {
            add_sign(&text, spread->nominal_db[amp][i]);
            add_sign(&text, spread->nominal_difference_db[amp][i] + 1e-3); // often nearly 0
        }
    uint32_t sum = tl_checksum(0, tl_text_get(&text), text.size);
    tl_text_free(&text);
    return sum;
}

// ---- writing

typedef struct {
    const char* path;
    int descriptor;
    tl_text block;
    uint32_t sum; ///< of the section so far
    bool broken;  ///< with errno in trouble
    int trouble;
} pen;

static void put_block(pen* p) {
    p->sum = tl_checksum(p->sum, tl_text_get(&p->block), p->block.size);
    if (!p->broken && !tl_file_put(p->descriptor, tl_text_get(&p->block), p->block.size)) {
        p->broken = true;
        p->trouble = errno;
    }
    tl_text_clear(&p->block);
}

static void flush_some(pen* p) {
    if (p->block.size >= BLOCK)
        put_block(p);
}

/// Closes a section with its sum.
static void end_section(pen* p) {
    put_block(p);
    uint32_t sum = p->sum;
    tl_pack_u32(&p->block, sum);
    put_block(p);
    p->sum = 0;
}

static void put_figures(pen* p, const tl_spread_trials* trials) {
    size_t count = trials->done * trials->amps * TL_SPREAD_FIGURES;
    for (size_t i = 0; i < count; ++i) {
        tl_pack_f64(&p->block, trials->figures[i]);
        flush_some(p);
    }
    end_section(p);
}

static void put_failures(pen* p, const tl_spread_trials* trials) {
    tl_pack_u64(&p->block, trials->failure_count);
    for (size_t i = 0; i < trials->failure_count; ++i) {
        tl_pack_u64(&p->block, trials->failures[i].trial);
        tl_pack_words(&p->block, trials->failures[i].why);
        flush_some(p);
    }
    end_section(p);
}

static void put_bins(pen* p, const tl_spread_trials* trials) {
    size_t rows = trials->amps * TL_SPREAD_CURVES * TL_SPREAD_POINTS;
    for (size_t i = 0; i < rows; ++i) {
        const uint32_t* bins = trials->bins + i * TL_SPREAD_BINS;
        uint32_t first = 0;
        uint32_t end = TL_SPREAD_BINS;
        while (end > 0 && !bins[end - 1])
            --end;
        while (first < end && !bins[first])
            ++first;
        tl_pack_u32(&p->block, first);
        tl_pack_u32(&p->block, end - first);
        for (uint32_t bin = first; bin < end; ++bin)
            tl_pack_u32(&p->block, bins[bin]);
        flush_some(p);
    }
    end_section(p);
}

static void put_all(pen* p, const tl_spread* spread, size_t shard, size_t shards,
                    const tl_spread_trials* trials) {
    tl_text head = {0};
    write_head(&head, spread);
    tl_text_add_bytes(&p->block, mark, sizeof mark);
    tl_pack_u32(&p->block, FORMAT);
    put_block(p);
    p->sum = 0;
    tl_pack_u64(&p->block, head.size);
    tl_text_add_bytes(&p->block, tl_text_get(&head), head.size);
    end_section(p);
    tl_text_free(&head);
    tl_pack_u64(&p->block, shard);
    tl_pack_u64(&p->block, shards);
    tl_pack_u64(&p->block, trials->done);
    tl_pack_u32(&p->block, tl_spread_identity(spread, shards));
    end_section(p);
    put_figures(p, trials);
    put_failures(p, trials);
    put_bins(p, trials);
}

tl_status tl_spread_shard_write(const char* path, const tl_spread* spread, size_t shard,
                                size_t shards, const tl_spread_trials* trials, tl_error* error) {
    tl_draft* draft = NULL;
    tl_status status = tl_checksum_prepare(error);
    if (status == TL_OK)
        status = tl_draft_open(path, &draft, error);
    if (status != TL_OK)
        return status;
    pen p = {.path = path, .descriptor = tl_draft_descriptor(draft)};
    put_all(&p, spread, shard, shards, trials);
    tl_text_free(&p.block);
    if (p.broken) {
        status = tl_error_set(error, TL_FAILURE, "cannot be written: %s", strerror(p.trouble));
        tl_error_prefix(error, "%s", path);
    }
    if (status == TL_OK)
        status = tl_draft_finish(draft, error);
    if (status == TL_OK)
        status = tl_draft_keep(draft, error);
    tl_draft_free(draft);
    return status;
}

// ---- reading

typedef struct {
    const char* path;
    int descriptor;
    uint64_t left; ///< bytes of the file that were not read yet
    uint32_t sum;
    tl_error* error;
} reader;

static const char cut_short[] =
    "this shard is cut short: it was not written to its end, or not copied to its end";

static tl_status refuse(const reader* r, const char* what) {
    tl_status status = tl_error_set(r->error, TL_BAD_INPUT, "%s", what);
    tl_error_prefix(r->error, "%s", r->path);
    return status;
}

static tl_status take_bytes(reader* r, void* bytes, size_t size) {
    char* at = bytes;
    if (size > r->left)
        return refuse(r, cut_short);
    r->left -= size;
    for (size_t got = 0; got < size;) {
        ssize_t some = read(r->descriptor, at + got, size - got);
        if (some < 0 && errno == EINTR)
            continue;
        if (some <= 0)
            return refuse(r, some < 0 ? "cannot be read" : "it became shorter while it was read");
        got += (size_t)some;
    }
    r->sum = tl_checksum(r->sum, bytes, size);
    return TL_OK;
}

/// Holds a section against its sum.
static tl_status check_section(reader* r) {
    unsigned char bytes[4];
    uint32_t sum = r->sum;
    tl_status status = take_bytes(r, bytes, sizeof bytes);
    tl_unpack from = {bytes, sizeof bytes, false};
    r->sum = 0;
    if (status == TL_OK && tl_unpack_u32(&from) != sum)
        return refuse(r, "this shard is damaged: its checksum does not agree");
    return status;
}

static tl_status take_u64(reader* r, uint64_t* number) {
    unsigned char bytes[8];
    tl_status status = take_bytes(r, bytes, sizeof bytes);
    tl_unpack from = {bytes, sizeof bytes, false};
    *number = tl_unpack_u64(&from);
    return status;
}

static void read_value(tl_unpack* head, tl_spread_value* value) {
    value->path = tl_unpack_words(head);
    value->about = tl_unpack_words(head);
    value->shown = tl_unpack_words(head);
    value->followed = tl_unpack_words(head);
    value->origin = tl_unpack_words(head);
    value->nominal = tl_unpack_f64(head);
    value->share = tl_unpack_f64(head);
    value->uniform = tl_unpack_u32(head) != 0;
}

static void read_ways(tl_unpack* head, signed char* ways, size_t count) {
    if (count > head->left) {
        head->short_of = true;
        return;
    }
    memcpy(ways, head->at, count);
    head->at += count;
    head->left -= count;
}

static void read_figure(tl_unpack* head, tl_spread_figure* figure, size_t values) {
    figure->nominal = tl_unpack_f64(head);
    for (size_t i = 0; i < values; ++i)
        figure->effects[i].slope = tl_unpack_f64(head);
    figure->least = tl_unpack_f64(head);
    figure->most = tl_unpack_f64(head);
    figure->corner_none = (size_t)tl_unpack_u64(head);
    read_ways(head, figure->least_at, values);
    read_ways(head, figure->most_at, values);
}

static void read_amps(tl_unpack* head, tl_spread* spread) {
    for (size_t amp = 0; amp < spread->amp_count; ++amp) {
        uint32_t heard = tl_unpack_u32(head);
        spread->nominal_heard[amp] = heard <= TL_PLAIN ? (tl_verdict)heard : TL_PLAIN;
        for (size_t i = 0; i < TL_SPREAD_POINTS; ++i) {
            spread->nominal_db[amp][i] = tl_unpack_f64(head);
            spread->nominal_difference_db[amp][i] = tl_unpack_f64(head);
        }
    }
}

/// Reads a head; `*version` is free()d by the caller. False when it is none.
static bool read_head(tl_unpack* head, tl_spread* spread, char** version) {
    *version = tl_unpack_words(head);
    spread->rig = tl_unpack_words(head);
    spread->trials = (size_t)tl_unpack_u64(head);
    spread->seed = tl_unpack_u64(head);
    spread->reference_hz = tl_unpack_f64(head);
    spread->direct_assumed = tl_unpack_u32(head) != 0;
    spread->worst_case = tl_unpack_u32(head) != 0;
    spread->all_corners = tl_unpack_u32(head) != 0;
    spread->corner_count = (size_t)tl_unpack_u64(head);
    size_t amps = tl_unpack_count(head, 4);
    if (amps > MOST_AMPS)
        return false;
    spread->amps = tl_new(amps + 1, sizeof *spread->amps);
    for (; spread->amp_count < amps; ++spread->amp_count)
        spread->amps[spread->amp_count] = tl_unpack_words(head);
    size_t values = tl_unpack_count(head, 40);
    spread->values = tl_new(values + 1, sizeof *spread->values);
    for (; spread->value_count < values; ++spread->value_count)
        read_value(head, &spread->values[spread->value_count]);
    if (head->short_of || !amps || !values || head->left / amps < values * TL_SPREAD_FIGURES)
        return false;
    tl_spread_room(spread);
    for (size_t i = 0; i < amps * TL_SPREAD_FIGURES; ++i)
        read_figure(head, &spread->figures[i], values);
    read_amps(head, spread);
    return !head->short_of && !head->left && spread->trials >= 1 && spread->trials <= MOST_TRIALS;
}

static tl_status take_head(reader* r, tl_spread* spread) {
    char bytes[sizeof mark + 4];
    uint64_t size = 0;
    if (r->left < sizeof bytes || take_bytes(r, bytes, sizeof bytes) != TL_OK ||
        memcmp(bytes, mark, sizeof mark) != 0)
        return refuse(r, "no shard of a spread: expected a file that 'toneload spread --shard K/N "
                         "--output FILE' wrote");
    tl_unpack from = {(unsigned char*)bytes + sizeof mark, 4, false};
    if (tl_unpack_u32(&from) != FORMAT)
        return refuse(r, "this shard is of another format: it was written by another version of "
                         "toneload");
    r->sum = 0;
    tl_status status = take_u64(r, &size);
    if (status == TL_OK && size > MOST_HEAD)
        return refuse(r, "this shard is damaged: its head has an impossible size");
    if (status == TL_OK && size > r->left)
        return refuse(r, cut_short);
    unsigned char* head = status == TL_OK ? tl_new((size_t)size + 1, 1) : NULL;
    char* version = NULL;
    if (status == TL_OK)
        status = take_bytes(r, head, (size_t)size);
    if (status == TL_OK)
        status = check_section(r);
    tl_unpack all = {head, (size_t)size, false};
    bool good = status == TL_OK && read_head(&all, spread, &version);
    if (version && strcmp(version, TL_VERSION) != 0) {
        tl_text words = {0};
        tl_text_add(&words, "this shard was written by toneload ");
        tl_text_add_safe(&words, version);
        tl_text_add(&words, ", this is " TL_VERSION ": shards of one run come from one version");
        status = refuse(r, tl_text_get(&words));
        tl_text_free(&words);
    } else if (status == TL_OK && !good) {
        status = refuse(r, "this shard is damaged: its head makes no sense");
    }
    free(version);
    free(head);
    return status;
}

/// Reads where the shard lies in its run.
static tl_status take_place(reader* r, tl_spread_shard* shard, size_t* first, size_t* count,
                            size_t* done) {
    unsigned char bytes[28];
    tl_status status = take_bytes(r, bytes, sizeof bytes);
    if (status == TL_OK)
        status = check_section(r);
    if (status != TL_OK)
        return status;
    tl_unpack from = {bytes, sizeof bytes, false};
    uint64_t number = tl_unpack_u64(&from);
    uint64_t shards = tl_unpack_u64(&from);
    uint64_t trials = tl_unpack_u64(&from);
    shard->identity = tl_unpack_u32(&from);
    if (number < 1 || number > shards || shards > shard->spread->trials)
        return refuse(r, "this shard is damaged: its place in the run is none");
    shard->shard = (size_t)number;
    shard->shards = (size_t)shards;
    tl_spread_shard_range(shard->spread->trials, shard->shard, shard->shards, first, count);
    *done = (size_t)trials;
    if (trials > *count)
        return refuse(r, "this shard is damaged: it has too many trials");
    return trials * shard->spread->amp_count * TL_SPREAD_FIGURES <= r->left / sizeof(double)
               ? TL_OK
               : refuse(r, cut_short);
}

static tl_status take_figures(reader* r, tl_spread_trials* into, size_t first, size_t done) {
    size_t count = done * into->amps * TL_SPREAD_FIGURES;
    double* figures = into->figures + (first - into->first) * into->amps * TL_SPREAD_FIGURES;
    unsigned char* block = tl_new(BLOCK, 1);
    tl_status status = TL_OK;
    for (size_t at = 0; status == TL_OK && at < count;) {
        size_t some = count - at < BLOCK / 8 ? count - at : BLOCK / 8;
        status = take_bytes(r, block, some * 8);
        tl_unpack from = {block, some * 8, false};
        for (size_t i = 0; i < some; ++i)
            figures[at++] = tl_unpack_f64(&from);
    }
    free(block);
    return status == TL_OK ? check_section(r) : status;
}

static tl_status take_failures(reader* r, tl_spread_trials* into, size_t first, size_t done) {
    uint64_t count = 0;
    uint64_t next = first; // they are in ascending order
    tl_status status = take_u64(r, &count);
    if (status == TL_OK && count > done)
        return refuse(r, "this shard is damaged: more trials failed than were run");
    for (uint64_t i = 0; status == TL_OK && i < count; ++i) {
        unsigned char bytes[12];
        char why[MOST_WHY + 1] = "";
        status = take_bytes(r, bytes, sizeof bytes);
        tl_unpack from = {bytes, sizeof bytes, false};
        uint64_t trial = tl_unpack_u64(&from);
        uint32_t size = tl_unpack_u32(&from);
        if (status == TL_OK && (size > MOST_WHY || trial < next || trial >= first + done))
            return refuse(r, "this shard is damaged: a failure makes no sense");
        if (status == TL_OK)
            status = take_bytes(r, why, size);
        if (status == TL_OK)
            tl_spread_fail(into, (size_t)trial, why);
        next = trial + 1;
    }
    return status == TL_OK ? check_section(r) : status;
}

static tl_status take_row(reader* r, uint32_t* bins) {
    static const char damaged[] = "this shard is damaged: its curves make no sense";
    unsigned char bytes[4 * 64];
    tl_status status = take_bytes(r, bytes, 8);
    tl_unpack from = {bytes, 8, false};
    uint32_t first = tl_unpack_u32(&from);
    uint32_t count = tl_unpack_u32(&from);
    if (status == TL_OK && (first > TL_SPREAD_BINS || count > TL_SPREAD_BINS - first))
        return refuse(r, damaged);
    for (uint32_t at = 0; status == TL_OK && at < count;) {
        uint32_t some = count - at < 64 ? count - at : 64;
        status = take_bytes(r, bytes, 4 * (size_t)some);
        from = (tl_unpack){bytes, 4 * (size_t)some, false};
        for (uint32_t i = 0; i < some; ++i)
            bins[first + at++] += tl_unpack_u32(&from);
    }
    return status;
}

static tl_status take_bins(reader* r, tl_spread_trials* into) {
    size_t rows = into->amps * TL_SPREAD_CURVES * TL_SPREAD_POINTS;
    tl_status status = TL_OK;
    for (size_t i = 0; status == TL_OK && i < rows; ++i)
        status = take_row(r, into->bins + i * TL_SPREAD_BINS);
    if (status == TL_OK)
        status = check_section(r);
    return status == TL_OK && r->left ? refuse(r, "this shard goes on after its end") : status;
}

/// Reads all of it into `into`.
static tl_status take_all(reader* r, tl_spread_trials* into, tl_spread_shard* shard, size_t done) {
    size_t first = shard->trials.first;
    size_t count = shard->trials.count;
    if (shard->spread->amp_count != into->amps || first < into->first ||
        first + count > into->first + into->count)
        return refuse(r, "this shard is of another run");
    tl_status status = take_figures(r, into, first, done);
    if (status == TL_OK)
        status = take_failures(r, into, first, done);
    if (status == TL_OK)
        status = take_bins(r, into);
    shard->trials.done = done;
    return status;
}

/// Opens a shard's file and reads its head and place.
static tl_status open_shard(const char* path, reader* r, tl_spread_shard* shard, size_t* done,
                            tl_error* error) {
    struct stat about;
    *shard = (tl_spread_shard){.spread = tl_new(1, sizeof *shard->spread)};
    *r = (reader){.path = path, .descriptor = -1, .error = error};
    tl_status status = tl_checksum_prepare(error);
    if (status != TL_OK)
        return status;
    r->descriptor = open(path, O_RDONLY | O_CLOEXEC | O_NONBLOCK);
    if (r->descriptor < 0)
        return refuse(r, strerror(errno));
    if (fstat(r->descriptor, &about) != 0 || !S_ISREG(about.st_mode))
        return refuse(r, "no file");
    r->left = (uint64_t)about.st_size;
    status = take_head(r, shard->spread);
    return status == TL_OK ? take_place(r, shard, &shard->trials.first, &shard->trials.count, done)
                           : status;
}

static void close_shard(const reader* r, tl_status status, tl_spread_shard* shard) {
    if (r->descriptor >= 0)
        close(r->descriptor);
    if (status != TL_OK)
        tl_spread_shard_free(shard);
}

tl_status tl_spread_shard_peek(const char* path, tl_spread_shard* shard, tl_error* error) {
    reader r;
    tl_status status = open_shard(path, &r, shard, &shard->trials.done, error);
    close_shard(&r, status, shard);
    return status;
}

tl_status tl_spread_shard_read(const char* path, tl_spread_trials* into, tl_spread_shard* shard,
                               tl_error* error) {
    reader r;
    size_t done = 0;
    tl_status status = open_shard(path, &r, shard, &done, error);
    if (status == TL_OK)
        status = take_all(&r, into, shard, done);
    close_shard(&r, status, shard);
    return status;
}

void tl_spread_shard_free(tl_spread_shard* shard) {
    tl_spread_free(shard->spread);
    tl_spread_trials_free(&shard->trials);
    *shard = (tl_spread_shard){0};
}

void tl_spread_shard_range(size_t trials, size_t shard, size_t shards, size_t* first,
                           size_t* count) {
    size_t each = trials / shards;
    size_t more = trials % shards; // the first of them have one more
    size_t before = shard - 1;
    *first = before * each + (before < more ? before : more);
    *count = each + (before < more ? 1 : 0);
}
