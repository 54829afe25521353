// SPDX-License-Identifier: GPL-3.0-or-later
// Numbers and words as bytes, and what is short or impossible noticed.
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include "base/pack.h"

#include <cmocka.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

static tl_unpack reading(const tl_text* text, size_t size) {
    return (tl_unpack){(const unsigned char*)tl_text_get(text), size, false};
}

static void little_end_first(void** state) {
    (void)state;
    tl_text text = {0};
    tl_pack_u32(&text, 0x01020304);
    tl_pack_u64(&text, 0x1112131415161718);
    tl_pack_f64(&text, 1.0);
    static const unsigned char expected[] = {4,    3,    2, 1, 0x18, 0x17, 0x16, 0x15, 0x14, 0x13,
                                             0x12, 0x11, 0, 0, 0,    0,    0,    0,    0xf0, 0x3f};
    assert_int_equal(text.size, sizeof expected);
    assert_memory_equal(tl_text_get(&text), expected, sizeof expected);
    tl_text_free(&text);
}

static void round_trip_and_every_cut(void** state) {
    (void)state;
    tl_text text = {0};
    tl_pack_u32(&text, 7);
    tl_pack_words(&text, "wörd");
    tl_pack_f64(&text, -0.0);
    tl_pack_f64(&text, NAN);
    tl_pack_u64(&text, UINT64_MAX);
    for (size_t size = 0; size <= text.size; ++size) {
        tl_unpack from = reading(&text, size);
        uint32_t number = tl_unpack_u32(&from);
        char* words = tl_unpack_words(&from);
        double zero = tl_unpack_f64(&from);
        double none = tl_unpack_f64(&from);
        uint64_t large = tl_unpack_u64(&from);
        assert_int_equal(from.short_of, size < text.size);
        if (size == text.size) {
            assert_int_equal(number, 7);
            assert_string_equal(words, "wörd");
            assert_true(zero == 0 && signbit(zero));
            assert_true(isnan(none));
            assert_true(large == UINT64_MAX);
            assert_int_equal(from.left, 0);
        }
        free(words);
    }
    tl_text_free(&text);
}

static void impossible_counts(void** state) {
    (void)state;
    tl_text text = {0};
    tl_pack_u64(&text, 3);
    tl_text_add_bytes(&text, "abcdef", 6);
    tl_unpack from = reading(&text, text.size);
    assert_int_equal(tl_unpack_count(&from, 2), 3);
    assert_false(from.short_of);
    from = reading(&text, text.size);
    assert_int_equal(tl_unpack_count(&from, 3), 0);
    assert_true(from.short_of);
    tl_text_free(&text);
}

/// The check value of CRC-32/ISO-HDLC (Williams, "A painless guide to CRC error detection
/// algorithms", 1993; from memory).
static void checksum(void** state) {
    (void)state;
    tl_error* error = tl_error_new();
    assert_int_equal(tl_checksum_prepare(error), TL_OK);
    assert_int_equal(tl_checksum(0, "123456789", 9), 0xCBF43926);
    assert_int_equal(tl_checksum(tl_checksum(0, "1234", 4), "56789", 5), 0xCBF43926);
    tl_error_free(error);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(little_end_first),
        cmocka_unit_test(round_trip_and_every_cut),
        cmocka_unit_test(impossible_counts),
        cmocka_unit_test(checksum),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
