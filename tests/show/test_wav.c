// SPDX-License-Identifier: GPL-3.0-or-later
// Recordings read and refused, and files written through filters. Headers are put together here by
// hand, byte by byte.

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include "closed_form.h"
#include "show/wav.h"
#include "toneload/wav.h"

#include <cmocka.h>
#include <string.h>

/// The bytes of a WAV file as it grows.
typedef struct {
    unsigned char bytes[4096];
    size_t size;
} wav_bytes;

typedef struct {
    unsigned tag, channels, rate_hz, bits;
} sound_format;

static void add(wav_bytes* w, const void* bytes, size_t size) {
    assert_true(w->size + size <= sizeof w->bytes);
    memcpy(w->bytes + w->size, bytes, size);
    w->size += size;
}

static void add_number(wav_bytes* w, uint64_t value, int bytes) {
    for (int i = 0; i < bytes; ++i) {
        unsigned char one = (unsigned char)(value >> (8 * i) & 0xff);
        add(w, &one, 1);
    }
}

static void begin(wav_bytes* w, const char* kind, sound_format f) {
    w->size = 0;
    add(w, kind, 4);
    add_number(w, 0, 4); // not looked at
    add(w, "WAVE", 4);
    if (strcmp(kind, "RF64") == 0) {
        add(w, "ds64", 4);
        add_number(w, 28, 4);
        add_number(w, 0, 8);
        add_number(w, 12, 8); // bytes of sound
        add_number(w, 0, 8);
        add_number(w, 0, 4);
    }
    add(w, "fmt ", 4);
    add_number(w, 16, 4);
    add_number(w, f.tag, 2);
    add_number(w, f.channels, 2);
    add_number(w, f.rate_hz, 4);
    add_number(w, (uint64_t)f.rate_hz * f.channels * f.bits / 8, 4);
    add_number(w, f.channels * f.bits / 8, 2);
    add_number(w, f.bits, 2);
}

static void put(const wav_bytes* w) {
    FILE* file = fopen("x.wav", "wb");
    assert_non_null(file);
    assert_int_equal(fwrite(w->bytes, 1, w->size, file), w->size);
    assert_int_equal(fclose(file), 0);
}

/// A plain file with 12 bytes of sound.
static void put_plain(const char* kind, sound_format f, uint64_t said) {
    wav_bytes w;
    begin(&w, kind, f);
    if (strcmp(kind, "RIFF") == 0) { // an odd chunk that means nothing, and its filling
        add(&w, "junk", 4);
        add_number(&w, 3, 4);
        add(&w, "abc", 4);
    }
    add(&w, "data", 4);
    add_number(&w, said, 4);
    add(&w, "\0\0\0\0\0\0\0\0\0\0\0\0", 12);
    put(&w);
}

static void refuse(const char* words) {
    tl_error* error = tl_error_new();
    tl_wav* wav = NULL;
    tl_status status = tl_wav_open("x.wav", &wav, error);
    if (status != TL_BAD_INPUT || wav || strncmp(tl_error_text(error), "x.wav: ", 7) != 0 ||
        !strstr(tl_error_text(error), words))
        fail_msg("expected '%s', got %d '%s'", words, status, tl_error_text(error));
    tl_error_free(error);
}

static tl_wav* open_good(void) {
    tl_error* error = tl_error_new();
    tl_wav* wav = NULL;
    if (tl_wav_open("x.wav", &wav, error) != TL_OK)
        fail_msg("%s", tl_error_text(error));
    tl_error_free(error);
    return wav;
}

static void test_opens(void** unused) {
    (void)unused;
    static const struct {
        sound_format f;
        size_t frames;
        const char* samples;
    } rows[] = {{{1, 1, 44100, 16}, 6, "16 bit"},       {{1, 2, 96000, 24}, 2, "24 bit"},
                {{1, 1, 192000, 32}, 3, "32 bit"},      {{3, 1, 8000, 32}, 3, "float"},
                {{3, 1, 48000, 64}, 1, "64-bit float"}, {{1, 2, 22050, 8}, 6, "8 bit"}};
    for (size_t i = 0; i < 2 * sizeof rows / sizeof *rows; ++i) {
        const sound_format f = rows[i / 2].f;
        put_plain(i % 2 ? "RF64" : "RIFF", f, i % 2 ? UINT32_MAX : 12);
        tl_wav* wav = open_good();
        const tl_wav_about about = tl_wav_get_about(wav);
        assert_int_equal(about.frames, rows[i / 2].frames);
        assert_int_equal(about.rate_hz, f.rate_hz);
        assert_int_equal(about.channels, f.channels);
        assert_string_equal(about.samples, rows[i / 2].samples);
        tl_wav_free(wav);
    }
}

static void test_refuses_formats(void** unused) {
    (void)unused;
    static const struct {
        sound_format f;
        const char* words;
    } rows[] = {{{1, 0, 44100, 16}, "0 channels"},
                {{1, 3, 44100, 16}, "3 channels"},
                {{1, 1, 7999, 16}, "7999 Hz"},
                {{1, 1, 192001, 16}, "192001 Hz"},
                {{1, 1, 0, 16}, "0 Hz"},
                {{1, 1, 44100, 12}, "format 1 with 12 bits"},
                {{1, 1, 44100, 0}, "format 1 with 0 bits"},
                {{3, 1, 44100, 16}, "format 3 with 16 bits"},
                {{2, 1, 44100, 4}, "format 2 with 4 bits"},
                {{7, 1, 44100, 8}, "format 7 with 8 bits"}};
    for (size_t i = 0; i < sizeof rows / sizeof *rows; ++i) {
        put_plain("RIFF", rows[i].f, 12);
        refuse(rows[i].words);
    }
}

static void test_refuses_sizes(void** unused) {
    (void)unused;
    const sound_format f = {1, 1, 44100, 16};
    put_plain("RIFF", f, 13);
    refuse("says 13 bytes of sound, there are 12");
    put_plain("RIFF", f, UINT32_MAX);
    refuse("says 4294967295 bytes of sound, there are 12");
    put_plain("RIFF", f, 0);
    refuse("holds no sound");
    put_plain("RIFF", f, 1);
    refuse("holds no sound");
    // Every place a file may be cut at.
    wav_bytes w;
    begin(&w, "RIFF", f);
    add(&w, "data", 4);
    add_number(&w, 12, 4);
    add(&w, "\0\0\0\0\0\0\0\0\0\0\0\0", 12);
    for (const size_t whole = w.size; w.size-- > 0;) {
        assert_true(w.size < whole);
        put(&w);
        tl_wav* wav = NULL;
        assert_int_equal(tl_wav_open("x.wav", &wav, NULL), TL_BAD_INPUT);
        assert_null(wav);
    }
    refuse("is empty");
}

static void test_refuses_others(void** unused) {
    (void)unused;
    wav_bytes w = {{0}, 0};
    add(&w, "RIFF\4\0\0\0AVI LIST", 16);
    put(&w);
    refuse("is no WAV file");
    begin(&w, "RIFF", (sound_format){1, 1, 44100, 16});
    put(&w);
    refuse("holds no sound");
    w.size = 12;
    add(&w, "data\2\0\0\0\0\0", 10);
    put(&w);
    refuse("nothing of its format");
    w.size = 12;
    add(&w, "fmt \2\0\0\0\1\0", 10);
    put(&w);
    refuse("header ends too early");
    begin(&w, "RIFF", (sound_format){1, 1, 44100, 16});
    w.bytes[32] = 3; // bytes of a frame
    add(&w, "data\2\0\0\0\0\0", 10);
    put(&w);
    refuse("1 channels of 16 bits take 3 bytes");
    unlink("x.wav");
    refuse("cannot be read: No such file");
    assert_int_equal(mkdir("x.wav", 0777), 0);
    refuse("is a folder");
    rmdir("x.wav");
    assert_int_equal(mkfifo("x.wav", 0666), 0);
    refuse("more than once");
    unlink("x.wav");
}

/// A mono float file of three samples.
static void put_floats(float a, float b, float c) {
    const float samples[] = {a, b, c};
    wav_bytes w;
    begin(&w, "RIFF", (sound_format){3, 1, 44100, 32});
    add(&w, "data", 4);
    add_number(&w, sizeof samples, 4);
    add(&w, samples, sizeof samples); // little-endian, as the machines it is built for
    put(&w);
}

static void test_reads(void** unused) {
    (void)unused;
    put_floats(0.25F, -1.5F, 1.0F);
    tl_wav* wav = open_good();
    double samples[4];
    size_t got = 0;
    for (int i = 0; i < 2; ++i) {
        assert_int_equal(tl_wav_read(wav, samples, 2, &got, NULL), TL_OK);
        assert_int_equal(got, 2);
        assert_true(samples[0] == 0.25 && samples[1] == -1.5);
        assert_int_equal(tl_wav_read(wav, samples, 4, &got, NULL), TL_OK);
        assert_int_equal(got, 1);
        assert_int_equal(tl_wav_read(wav, samples, 4, &got, NULL), TL_OK);
        assert_int_equal(got, 0);
        assert_int_equal(tl_wav_rewind(wav, NULL), TL_OK);
    }
    tl_wav_free(wav);
}

static void test_refuses_no_numbers(void** unused) {
    (void)unused;
    static const struct {
        float value;
        const char* words;
    } rows[] = {{NAN, "sample 2 (at 0.000 s) is not a number"},
                {-INFINITY, "sample 2 (at 0.000 s) is infinite"},
                {3e38F, "sample 2 (at 0.000 s) is far above full scale"}};
    tl_error* error = tl_error_new();
    for (size_t i = 0; i < sizeof rows / sizeof *rows; ++i) {
        put_floats(0, 0, rows[i].value);
        tl_wav* wav = open_good();
        double samples[3];
        size_t got = 0;
        assert_int_equal(tl_wav_read(wav, samples, 3, &got, error), TL_BAD_INPUT);
        assert_non_null(strstr(tl_error_text(error), rows[i].words));
        tl_wav_free(wav);
    }
    tl_error_free(error);
}

static tl_filter* make_filter(double gain) {
    tl_response* response = low_pass(5000, 1, gain);
    tl_filter* filter = NULL;
    const tl_filter_options options = {.rate_hz = 44100};
    assert_int_equal(tl_filter_new(response, &options, &filter, NULL), TL_OK);
    tl_response_free(response);
    return filter;
}

static void count_progress(void* context, size_t done, size_t total) {
    size_t* last = context;
    assert_true(done > *last && done <= total);
    *last = done;
}

/// An impulse through two filters, one half as loud.
static void test_writes(void** unused) {
    (void)unused;
    static double impulse[100] = {0, 0, 0.5};
    tl_filter* loud = make_filter(1.0);
    tl_filter* quiet = make_filter(0.5);
    tl_sound_file files[] = {{.name = "a.wav", .filter = loud},
                             {.name = "x.wav", .filter = quiet, .level_db = 3}};
    size_t done = 0;
    tl_sound_job job = {.folder = "sound",
                        .samples = impulse,
                        .sample_count = 100,
                        .rate_hz = 44100,
                        .files = files,
                        .file_count = 2,
                        .highest_dbtp = -1,
                        .most_gain_db = 40,
                        .progress = count_progress,
                        .context = &done};
    assert_int_equal(tl_sound_write(&job, NULL), TL_OK);
    assert_int_equal(done, 4 * job.frames);
    assert_true(fabs(files[0].true_peak_dbtp + 1) < 1e-9);
    assert_true(fabs(files[1].true_peak_dbtp - (-1 - 6.0206 + 3)) < 1e-3);
    assert_true(fabs(files[0].gain_db - job.gain_db) < 1e-12);
    assert_true(fabs(files[1].gain_db - job.gain_db - 3) < 1e-12);
    size_t count = 0;
    const double* taps = tl_filter_taps(quiet, &count);
    assert_true(job.frames >= 99 + count);
    assert_int_equal(chdir("sound"), 0);
    tl_wav* wav = open_good();
    const tl_wav_about about = tl_wav_get_about(wav);
    assert_string_equal(about.samples, "float");
    assert_int_equal(about.frames, job.frames);
    double samples[1024];
    size_t got = 0;
    assert_int_equal(tl_wav_read(wav, samples, 1024, &got, NULL), TL_OK);
    assert_true(got >= 2 + count);
    const double gain = 0.5 * pow(10, files[1].gain_db / 20);
    for (size_t i = 0; i < got; ++i) {
        double wanted = i >= 2 && i < 2 + count ? gain * taps[i - 2] : 0;
        assert_true(fabs(samples[i] - wanted) < 1e-7);
    }
    tl_wav_free(wav);
    assert_int_equal(chdir(".."), 0);
    tl_filter_free(loud);
    tl_filter_free(quiet);
}

/// Silence keeps its level, and a whisper is raised no further than asked.
static void test_gain_has_bounds(void** unused) {
    (void)unused;
    static double sound[100];
    tl_filter* filter = make_filter(1.0);
    tl_sound_file file = {.name = "a.wav", .filter = filter};
    tl_sound_job job = {.folder = ".",
                        .samples = sound,
                        .sample_count = 100,
                        .rate_hz = 44100,
                        .files = &file,
                        .file_count = 1,
                        .highest_dbtp = -1,
                        .most_gain_db = 40};
    assert_int_equal(tl_sound_write(&job, NULL), TL_OK);
    assert_true(job.gain_db == 0 && isinf(file.true_peak_dbtp) && file.true_peak_dbtp < 0);
    sound[5] = 1e-5;
    assert_int_equal(tl_sound_write(&job, NULL), TL_OK);
    assert_true(job.gain_db == 40 && file.true_peak_dbtp < -50);
    tl_filter_free(filter);
}

static void test_spares_recording(void** unused) {
    (void)unused;
    put_floats(0.25F, -1.5F, 1.0F);
    tl_wav* wav = open_good();
    tl_filter* filter = make_filter(1.0);
    tl_sound_file file = {.name = "x.wav", .filter = filter};
    tl_sound_job job = {.folder = "../.",
                        .recording = wav,
                        .files = &file,
                        .file_count = 1,
                        .highest_dbtp = -1,
                        .most_gain_db = 40};
    char* here = realpath(".", NULL);
    assert_non_null(here);
    job.folder = here;
    tl_error* error = tl_error_new();
    assert_int_equal(tl_sound_write(&job, error), TL_BAD_INPUT);
    assert_non_null(strstr(tl_error_text(error), "is the recording itself"));
    double samples[3];
    size_t got = 0;
    assert_int_equal(tl_wav_read(wav, samples, 3, &got, NULL), TL_OK);
    assert_true(samples[1] == -1.5);
    tl_error_free(error);
    free(here);
    tl_filter_free(filter);
    tl_wav_free(wav);
}

static char folder[64];

static int enter(void** unused) {
    (void)unused;
    enter_folder(folder);
    return 0;
}

static int leave(void** unused) {
    (void)unused;
    leave_folder(folder);
    return 0;
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(test_opens, enter, leave),
        cmocka_unit_test_setup_teardown(test_refuses_formats, enter, leave),
        cmocka_unit_test_setup_teardown(test_refuses_sizes, enter, leave),
        cmocka_unit_test_setup_teardown(test_refuses_others, enter, leave),
        cmocka_unit_test_setup_teardown(test_reads, enter, leave),
        cmocka_unit_test_setup_teardown(test_refuses_no_numbers, enter, leave),
        cmocka_unit_test_setup_teardown(test_writes, enter, leave),
        cmocka_unit_test_setup_teardown(test_gain_has_bounds, enter, leave),
        cmocka_unit_test_setup_teardown(test_spares_recording, enter, leave),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
