// SPDX-License-Identifier: GPL-3.0-or-later
#include "base/random.h"

#include <math.h>

enum { ROUNDS = 10 };
static const uint32_t multiplier[2] = {0xD2511F53, 0xCD9E8D57};
static const uint32_t weyl[2] = {0x9E3779B9, 0xBB67AE85};

void tl_random_words(const uint32_t counter[4], const uint32_t key[2], uint32_t words[4]) {
    uint32_t c[4] = {counter[0], counter[1], counter[2], counter[3]};
    uint32_t k[2] = {key[0], key[1]};
    for (int round = 0; round < ROUNDS; ++round) {
        uint64_t one = (uint64_t)multiplier[0] * c[0];
        uint64_t two = (uint64_t)multiplier[1] * c[2];
        uint32_t mixed[4] = {(uint32_t)(two >> 32) ^ c[1] ^ k[0], (uint32_t)two,
                             (uint32_t)(one >> 32) ^ c[3] ^ k[1], (uint32_t)one};
        for (int i = 0; i < 4; ++i)
            c[i] = mixed[i];
        k[0] += weyl[0];
        k[1] += weyl[1];
    }
    for (int i = 0; i < 4; ++i)
        words[i] = c[i];
}

double tl_random_uniform(uint64_t seed, uint64_t trial, uint32_t index) {
    const uint32_t counter[4] = {(uint32_t)trial, (uint32_t)(trial >> 32), index / 2, 0};
    const uint32_t key[2] = {(uint32_t)seed, (uint32_t)(seed >> 32)};
    uint32_t words[4];
    tl_random_words(counter, key, words);
    uint32_t high = words[index % 2 * 2];
    uint32_t low = words[index % 2 * 2 + 1];
    uint64_t bits = (uint64_t)high << 21 | low >> 11;
    return ldexp((double)bits + 0.5, -53);
}
