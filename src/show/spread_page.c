// SPDX-License-Identifier: GPL-3.0-or-later
#include "show/spread_page.h"

#include "show/script.h"

#include <math.h>
#include <stdlib.h>

static const double title_size = 17;

void tl_spread_page_words(tl_text* script, const tl_page* page, tl_spot spot, const char* words,
                          double room, const char* how) {
    tl_text fitted = {0};
    tl_text_add_fitted(&fitted, words, room);
    tl_script_label(script, page, spot, tl_text_get(&fitted), how);
    tl_text_free(&fitted);
}

void tl_spread_page_head(tl_text* script, const tl_page* page, const tl_spread* spread,
                         const char* what, size_t drawn, const char* kind) {
    char* how = tl_printf("center font ',%.3f' textcolor rgb '#202020'",
                          title_size * tl_script_letter_unit(kind));
    tl_spread_page_words(script, page, (tl_spot){TL_PAGE_WIDTH / 2, 24},
                         spread->rig ? spread->rig : "",
                         (TL_PAGE_WIDTH - 40) * TL_TEXT_SIZE / title_size, how);
    free(how);
    tl_text words = {0};
    size_t answered = tl_spread_answered(spread);
    tl_text_addf(&words, "%s, %zu %s", what, answered, answered == 1 ? "trial" : "trials");
    if (spread->done < spread->trials)
        tl_text_addf(&words, " (stopped after %zu of %zu)", spread->done, spread->trials);
    if (spread->failure_count)
        tl_text_addf(&words, ", %zu without an answer", spread->failure_count);
    for (size_t i = drawn; i < spread->amp_count; ++i) {
        char* name = tl_spread_amp(spread, i);
        tl_text_addf(&words, "%s%s", i == drawn ? "; amps not drawn: " : ", ", name);
        free(name);
    }
    tl_spread_page_words(script, page, (tl_spot){TL_PAGE_WIDTH / 2, 48}, tl_text_get(&words),
                         TL_PAGE_WIDTH - 40, "center textcolor rgb '#404040'");
    tl_text_free(&words);
}

void tl_spread_page_box(tl_text* script, const tl_page* page, size_t index, tl_box box,
                        const char* colour) {
    tl_text_addf(script,
                 "set object %zu rectangle from screen %.5f,screen %.5f to screen %.5f,screen %.5f "
                 "fillcolor rgb '%s' fillstyle solid noborder front\n",
                 index, box.left / TL_PAGE_WIDTH, 1 - box.bottom / page->height,
                 box.right / TL_PAGE_WIDTH, 1 - box.top / page->height, colour);
}

double tl_spread_step(double span, int most) {
    static const double times[] = {1, 2, 5, 10};
    double decade = pow(10, floor(log10(span / most)));
    for (size_t i = 0; i < sizeof times / sizeof *times; ++i)
        if (span / (times[i] * decade) <= most * (1 + 1e-9))
            return times[i] * decade;
    return 10 * decade;
}

void tl_spread_page_tics(tl_text* script, const char* axis, double low, double high, double step,
                         bool sign) {
    int decimals = step < 0.9999 ? (int)ceil(-log10(step) - 1e-9) : 0;
    tl_text_addf(script, "unset logscale %s\nset %srange [%.9g:%.9g]\nset %stics scale 0.4 (", axis,
                 axis, low, high, axis);
    double first = ceil(low / step - 1e-6);
    for (int i = 0; (first + i) * step <= high + 1e-6 * step; ++i) {
        double at = fabs(first + i) < 0.5 ? 0 : (first + i) * step;
        tl_text_addf(script, sign && at > 0 ? "%s'+%.*f' %.9g" : "%s'%.*f' %.9g", i ? "," : "",
                     decimals, at, at);
    }
    tl_text_add(script, ")\n");
}
