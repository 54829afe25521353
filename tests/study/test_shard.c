// SPDX-License-Identifier: GPL-3.0-or-later
// A shard's file cut short anywhere, or with any one byte changed, is refused by name: a sum or a
// length gives it away. The command line's words for it: tests/cli/check_spread_bad.py.
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include "base/file.h"
#include "base/text.h"
#include "toneload/toneload.h"

#include <cmocka.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static tl_session* session;
static tl_error* error;
static char folder[] = "/tmp/toneload-shard-XXXXXX";
static char* paths[3]; ///< the two shards, and the first one damaged
static char* whole;    ///< bytes of the first shard
static size_t size;

static int start(void** state) {
    (void)state;
    error = tl_error_new();
    if (!mkdtemp(folder))
        return -1;
    static const char* const names[] = {"1.part", "2.part", "x.part"};
    for (size_t i = 0; i < 3; ++i) {
        tl_text path = {0};
        tl_text_addf(&path, "%s/%s", folder, names[i]);
        paths[i] = tl_text_take(&path);
    }
    const tl_session_options options = {.solves = true, .jobs = 1};
    tl_rig* rig = NULL;
    if (tl_session_new(&options, &session, error) != TL_OK ||
        tl_rig_read(tl_session_library(session), TL_SOURCE_DIR "/models/rigs/long-cable.yaml", &rig,
                    error) != TL_OK)
        return -1;
    for (size_t shard = 1; shard <= 2; ++shard) {
        const tl_spread_options wanted = {
            .trials = 9, .seed = 1, .reference_hz = 200, .shard = shard, .shards = 2};
        size_t done = 0;
        size_t count = 0;
        if (tl_study_spread_shard(session, rig, &wanted, paths[shard - 1], &done, &count, error) !=
            TL_OK)
            return -1;
    }
    tl_rig_free(rig);
    return tl_file_read(paths[0], 10000000, &whole, &size, error) == TL_OK && size > 1000 ? 0 : -1;
}

static int stop(void** state) {
    (void)state;
    for (size_t i = 0; i < 3; ++i) {
        unlink(paths[i]);
        free(paths[i]);
    }
    rmdir(folder);
    free(whole);
    tl_session_free(session);
    tl_error_free(error);
    return 0;
}

/// Merges the second shard with these bytes in the first one's place.
static tl_status merge(const char* bytes, size_t count) {
    FILE* file = fopen(paths[2], "wb");
    assert_non_null(file);
    assert_int_equal(fwrite(bytes, 1, count, file), count);
    assert_int_equal(fclose(file), 0);
    const char* const given[] = {paths[2], paths[1]};
    const tl_spread_options options = {.reference_hz = 200};
    tl_spread* spread = NULL;
    tl_status status = tl_spread_merge(given, 2, &options, &spread, error);
    assert_true((status == TL_OK) == (spread != NULL));
    tl_spread_free(spread);
    return status;
}

static void refused(const char* bytes, size_t count, const char* why) {
    assert_int_equal(merge(bytes, count), TL_BAD_INPUT);
    assert_non_null(strstr(tl_error_text(error), "x.part: "));
    if (why)
        assert_non_null(strstr(tl_error_text(error), why));
}

static void undamaged(void** state) {
    (void)state;
    assert_int_equal(merge(whole, size), TL_OK);
}

static void cut_anywhere(void** state) {
    (void)state;
    for (size_t count = 0; count < size; count += count < 300 || count + 20 > size ? 1 : 211)
        refused(whole, count, count < 12 ? "no shard of a spread" : "cut short");
}

static void any_byte_changed(void** state) {
    (void)state;
    char* broken = tl_new(size, 1);
    for (size_t at = 0; at < size; at += at < 1000 || at + 20 > size ? 1 : 97) {
        memcpy(broken, whole, size);
        broken[at] = (char)(broken[at] ^ (1 << at % 8));
        refused(broken, size, NULL);
    }
    free(broken);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(undamaged),
        cmocka_unit_test(cut_anywhere),
        cmocka_unit_test(any_byte_changed),
    };
    return cmocka_run_group_tests(tests, start, stop);
}
