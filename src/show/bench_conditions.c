// SPDX-License-Identifier: GPL-3.0-or-later
// How the figures of a bench came about, in the words below them.
#include "show/bench.h"

/// The pickup that noise was measured with; NULL when there was none.
static const char* noise_pickup(const tl_bench* bench) {
    for (size_t i = 0; i < bench->count; ++i)
        if (bench->designs[i].noise_count > 2)
            return bench->designs[i].noises[2].source;
    return NULL;
}

void tl_bench_add_conditions(tl_text* text, const tl_bench_view* view) {
    const char* pickup = noise_pickup(view->bench);
    tl_text words = {0};
    tl_text_add(&words,
                "At 27 degrees Celsius, 1 Mohm at the output unless said. Flat battery: the supply "
                "at 7/9, as 9 V at 7 V. THD: harmonics 2 to 20. Noise: 20 Hz to 20 kHz");
    if (pickup)
        tl_text_addf(&words, ", the pickup %s", pickup);
    tl_text_add(&words,
                ". Ripple: on the supply, the worse of two, with the input shorted. Loads: 10 and "
                "100 kohm and 1 Mohm, with 0 to 10 nF of lead.");
    tl_text_add(text, "\nHow it was measured\n  ");
    tl_wrap_words(text, tl_text_get(&words), 2, 2);
    tl_text_free(&words);
}
