// SPDX-License-Identifier: GPL-3.0-or-later
#include "base/locale.h"
#include "show/bench.h"

char* tl_bench_text(const tl_bench* bench, const char* rig, bool details) {
    tl_locale locale = tl_locale_plain();
    tl_bench_view view = tl_bench_view_of(bench, details);
    tl_text text = {0};
    if (bench->count == 1)
        tl_text_addf(&text, "%s\n", view.names[0]);
    else
        tl_text_addf(&text, "%zu designs on the bench\n", bench->count);
    if (rig) {
        tl_text_add(&text, "In the rig: ");
        tl_wrap_words(&text, rig, 12, 2);
    }
    bool bare = bench->count == 1 && bench->designs[0].troubles == bench->line_count;
    if (bench->count == 1 && !bare)
        tl_bench_add_card(&text, &view);
    else if (!bare)
        tl_bench_add_table(&text, &view, false);
    tl_bench_add_verdicts(&text, &view);
    tl_bench_add_troubles(&text, &view);
    tl_bench_add_noises(&text, &view);
    tl_bench_add_corners(&text, &view);
    if (!bare)
        tl_bench_add_conditions(&text, &view);
    tl_bench_view_free(&view);
    tl_locale_restore(locale);
    return tl_text_take(&text);
}
