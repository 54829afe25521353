// SPDX-License-Identifier: GPL-3.0-or-later
// Players whose sound stands in the page: a plucked chord through three leads, as 16-bit WAV.
#include "show/lesson.h"

#include "show/html.h"
#include "toneload/sound.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { RATE_HZ = 44100, PLAYERS = 3, HEADER_BYTES = 44 };

static const size_t chord = 6; // the first string of the chord in the piece that is played
static const double seconds = 2.5, fade_s = 0.25;
static const double highest_dbtp = -1.1;

/// One player.
typedef struct {
    const tl_lesson_line* line;
    bool buffered;
    double* samples;
    size_t count;
} player;

/// The chord, cut out of the piece and faded.
static double* play_chord(size_t* count) {
    size_t all = 0;
    double* piece = tl_pluck_play(RATE_HZ, &all);
    size_t start = (size_t)llround(tl_pluck_at(chord)->start_s * RATE_HZ);
    *count = (size_t)llround(seconds * RATE_HZ);
    *count = *count < all - start ? *count : all - start;
    memmove(piece, piece + start, *count * sizeof *piece);
    for (size_t i = 0; i < *count; ++i)
        piece[i] *= fmin(1, (double)(*count - i) / (fade_s * RATE_HZ));
    return piece;
}

/// Sends the chord through a response.
static tl_status filter_chord(player* to, const double* played, tl_error* error) {
    tl_filter* filter = NULL;
    tl_filter_options options = {.rate_hz = RATE_HZ};
    tl_status status = tl_filter_new(to->line->response, &options, &filter, error);
    tl_convolver* convolver = status == TL_OK ? tl_convolver_new(filter, error) : NULL;
    if (!convolver) {
        tl_filter_free(filter);
        return status == TL_OK ? TL_FAILURE : status;
    }
    size_t block = tl_convolver_block(convolver);
    size_t room = (to->count + block - 1) / block * block;
    double* in = tl_new(room, sizeof *in);
    to->samples = tl_new(room, sizeof *to->samples);
    memcpy(in, played, to->count * sizeof *in);
    for (size_t at = 0; at < room; at += block)
        tl_convolver_run(convolver, in + at, to->samples + at);
    free(in);
    tl_convolver_free(convolver);
    tl_filter_free(filter);
    return TL_OK;
}

static double true_peak(const player* of) {
    static const double silence[11];
    tl_true_peak meter = {0};
    tl_true_peak_add(&meter, of->count, of->samples);
    tl_true_peak_add(&meter, 11, silence);
    return meter.peak;
}

static void put_number(unsigned char* at, size_t bytes, size_t number) {
    for (size_t i = 0; i < bytes; ++i)
        at[i] = (unsigned char)(number >> 8 * i & 0xff);
}

/// The header of a WAV file of 16-bit mono (Microsoft and IBM, "Multimedia Programming Interface
/// and Data Specifications", 1991; from memory).
static void put_header(unsigned char* wav, size_t data_bytes) {
    memcpy(wav, "RIFF", 4);
    put_number(wav + 4, 4, HEADER_BYTES - 8 + data_bytes);
    memcpy(wav + 8, "WAVEfmt ", 8);
    put_number(wav + 16, 4, 16);
    put_number(wav + 20, 2, 1); // PCM
    put_number(wav + 22, 2, 1); // channels
    put_number(wav + 24, 4, RATE_HZ);
    put_number(wav + 28, 4, 2 * RATE_HZ);
    put_number(wav + 32, 2, 2);
    put_number(wav + 34, 2, 16);
    memcpy(wav + 36, "data", 4);
    put_number(wav + 40, 4, data_bytes);
}

static void add_wav(tl_text* page, const player* of, double gain) {
    size_t bytes = HEADER_BYTES + 2 * of->count;
    unsigned char* wav = tl_new(bytes, 1);
    put_header(wav, 2 * of->count);
    for (size_t i = 0; i < of->count; ++i) {
        long sample = lround(32767 * gain * of->samples[i]);
        put_number(wav + HEADER_BYTES + 2 * i, 2, (size_t)(sample & 0xffff));
    }
    tl_html_add_base64(page, wav, bytes);
    free(wav);
}

static void add_player(tl_text* page, const player* of, double gain, bool first) {
    tl_html_say(page,
                of->buffered ? "<div class=\"player\"><b>@m of lead behind a buffer</b>: peak at "
                               "@h"
                             : "<div class=\"player\"><b>@m of lead, straight in</b>: peak at @h",
                of->line->length_m, of->line->metrics.peak_hz);
    if (!first)
        tl_html_say(page, ", @d at 5&#160;kHz against the shortest lead", of->line->at_5khz_db);
    tl_text_add(page, "<audio controls=\"controls\" preload=\"metadata\" "
                      "src=\"data:audio/wav;base64,");
    add_wav(page, of, gain);
    tl_text_add(page, "\"></audio></div>\n");
}

static void add_words(tl_text* page) {
    tl_text_add(
        page,
        "<h2>6. What it sounds like</h2>\n"
        "<p class=\"paper\">On a screen this page has players here: a plucked chord through the "
        "shortest lead, through the longest, and through the longest behind a buffer.</p>\n"
        "<p>A chord of E major on six plucked strings, computed (Karplus and Strong, Computer "
        "Music Journal 7(2), 1983, with the tuning of Jaffe and Smith, the same issue; from "
        "memory), and sent through the solved circuits. Nothing else was done to it, and all three "
        "are turned up by the same amount. There is no amp and no loudspeaker in it: a guitar "
        "loudspeaker passes little above some 5 kHz (from memory), so that through one the three "
        "lie closer together than in headphones.</p>\n");
}

tl_status tl_lesson_add_sounds(tl_text* page, const tl_lesson* lesson, tl_error* error) {
    player players[PLAYERS] = {{.line = &lesson->lengths[0]},
                               {.line = &lesson->lengths[TL_LESSON_LENGTHS - 1]},
                               {.line = &lesson->buffered[TL_LESSON_LENGTHS - 1], true}};
    size_t count = 0;
    double* played = play_chord(&count);
    tl_status status = TL_OK;
    double peak = 0;
    for (size_t i = 0; status == TL_OK && i < PLAYERS; ++i) {
        players[i].count = count;
        status = filter_chord(&players[i], played, error);
        if (status == TL_OK)
            peak = fmax(peak, true_peak(&players[i]));
    }
    free(played);
    if (status == TL_OK)
        add_words(page);
    double gain = peak > 0 ? pow(10, highest_dbtp / 20) / peak : 1;
    for (size_t i = 0; i < PLAYERS; ++i) {
        if (status == TL_OK)
            add_player(page, &players[i], gain, i == 0);
        free(players[i].samples);
    }
    return status;
}
