// SPDX-License-Identifier: GPL-3.0-or-later
#include "base/names.h"

#include <ctype.h>
#include <stdlib.h>
#include <string.h>

enum { LONGEST = 48, SHORT_LIST = 14 };

static size_t least(size_t a, size_t b) {
    return a < b ? a : b;
}

size_t tl_name_distance(const char* a, const char* b) {
    size_t m = strlen(a);
    size_t n = strlen(b);
    if (m > LONGEST || n > LONGEST)
        return m > n ? m : n;
    size_t cost[LONGEST + 1][LONGEST + 1];
    for (size_t i = 0; i <= m; ++i)
        cost[i][0] = i;
    for (size_t j = 0; j <= n; ++j)
        cost[0][j] = j;
    for (size_t i = 1; i <= m; ++i)
        for (size_t j = 1; j <= n; ++j) {
            size_t same = tolower((unsigned char)a[i - 1]) == tolower((unsigned char)b[j - 1]);
            cost[i][j] = least(least(cost[i - 1][j], cost[i][j - 1]) + 1,
                               cost[i - 1][j - 1] + (same ? 0 : 1));
            if (i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1])
                cost[i][j] = least(cost[i][j], cost[i - 2][j - 2] + 1);
        }
    return cost[m][n];
}

/// Places at which two words differ, capitals counted: among equals, `MOhm` is nearer to `Mohm`
/// than to `mohm`.
static size_t places_off(const char* a, const char* b) {
    size_t off = 0;
    for (; *a && *b; ++a, ++b)
        off += *a != *b;
    return off;
}

const char* tl_name_nearest(const char* word, const char* const* names, size_t count) {
    const char* nearest = NULL;
    size_t best = strlen(word) / 3 + 2;
    size_t best_off = 0;
    for (size_t i = 0; i < count; ++i) {
        size_t distance = tl_name_distance(word, names[i]);
        bool contains = strlen(word) > 3 && strstr(names[i], word) != NULL;
        if (contains)
            distance = least(distance, 1);
        size_t off = places_off(word, names[i]);
        if (distance < best || (nearest && distance == best && off < best_off)) {
            best = distance;
            best_off = off;
            nearest = names[i];
        }
    }
    return nearest;
}

void tl_name_hint(tl_text* text, const char* word, const char* const* names, size_t count) {
    const char* nearest = tl_name_nearest(word, names, count);
    if (nearest)
        tl_text_addf(text, "; did you mean '%s'?", nearest);
    else if (count && count <= SHORT_LIST) {
        tl_text_add(text, "; known are ");
        for (size_t i = 0; i < count; ++i)
            tl_text_addf(text, "%s%s", i ? ", " : "", names[i]);
    }
}

bool tl_name_is_good(const char* name) {
    size_t size = strlen(name);
    if (!size || name[0] == ' ' || name[size - 1] == ' ' || size > LONGEST)
        return false;
    bool letter = false;
    for (const char* at = name; *at; ++at) {
        bool is_letter = (*at >= 'a' && *at <= 'z') || (*at >= 'A' && *at <= 'Z');
        letter = letter || is_letter;
        if (!is_letter && !(*at >= '0' && *at <= '9') && *at != ' ' && *at != '-' && *at != '_')
            return false;
    }
    return letter;
}
