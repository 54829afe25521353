// SPDX-License-Identifier: GPL-3.0-or-later
// Changes in figures one can buy.
#include "study/power_buy.h"

#include <math.h>

double tl_power_buy_ma(double needs_ma) {
    double step_ma = needs_ma > 100 ? 10 : 5;
    return ceil(needs_ma / step_ma - 1e-9) * step_ma;
}

/// The most some pedals ask for when one of them starts on top of the others' draw, mA.
static double start_ma(const tl_board* board, const size_t* pedals, size_t count, size_t* who) {
    double load_ma = 0;
    double more_ma = 0;
    *who = TL_NOWHERE;
    for (size_t i = 0; i < count; ++i) {
        const tl_board_pedal* pedal = &board->pedals[pedals[i]];
        load_ma += pedal->current_ma;
        if (pedal->inrush_ma - pedal->current_ma > more_ma) {
            more_ma = pedal->inrush_ma - pedal->current_ma;
            *who = pedals[i];
        }
    }
    return load_ma + more_ma;
}

double tl_power_add_start(tl_text* text, const tl_power_work* w, const size_t* pedals, size_t count,
                          double peak_ma) {
    size_t who = TL_NOWHERE;
    double needs_ma = start_ma(w->board, pedals, count, &who);
    if (who == TL_NOWHERE || needs_ma <= peak_ma + 1e-6)
        return NAN;
    tl_text_addf(text, " and, for a moment, %.6g mA when '%s' starts", tl_power_buy_ma(needs_ma),
                 w->plan->pedals[who].name);
    return tl_power_buy_ma(needs_ma) / 1e3;
}

tl_power_change tl_power_no_change(void) {
    return (tl_power_change){.output = TL_POWER_NONE,
                             .supply = TL_POWER_NONE,
                             .headroom = NAN,
                             .volts_v = NAN,
                             .current_a = NAN,
                             .power_w = NAN,
                             .buy_a = NAN,
                             .peak_a = NAN};
}

void tl_power_keep_change(tl_power_plan* plan, const tl_power_change* change) {
    plan->changes = tl_grow_one(plan->changes, plan->change_count, sizeof *plan->changes);
    plan->changes[plan->change_count++] = *change;
}
