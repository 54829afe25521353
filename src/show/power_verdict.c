// SPDX-License-Identifier: GPL-3.0-or-later
// The verdict on a power plan in a sentence, the same on paper, in the plot and as data.
#include "show/power.h"

#include <stdlib.h>

size_t tl_power_count(const tl_power_plan* plan, tl_power_gravity gravity) {
    size_t count = 0;
    for (size_t i = 0; i < plan->finding_count; ++i)
        count += plan->findings[i].gravity == gravity;
    return count;
}

bool tl_power_is_ready(const tl_power_plan* plan) {
    return plan->feasible && tl_power_count(plan, TL_POWER_ERROR) == 0;
}

size_t tl_power_hanging(const tl_power_plan* plan, size_t group) {
    size_t count = 0;
    for (size_t i = 0; i < plan->output_count; ++i)
        count += plan->outputs[i].group == group ? plan->outputs[i].pedals : 0;
    return count;
}

/// "all of it", or how many of the chain's pedals when of some nothing is said.
static char* for_whom(const tl_power_plan* plan) {
    size_t stated = 0;
    for (size_t i = 0; i < plan->pedal_count; ++i)
        stated += plan->pedals[i].in_chain;
    if (!plan->unstated_count)
        return tl_copy("all of it");
    if (!stated)
        return tl_copy("what is listed");
    return tl_printf("%zu of the %zu pedals", stated, stated + plan->unstated_count);
}

/// "'brick' is not made for 230 V 50 Hz", of the first mains of its sort that is refused; or NULL.
static char* refused_words(const tl_power_plan* plan, bool tour) {
    for (size_t i = 0; i < plan->mains_count; ++i)
        for (size_t j = 0; plan->mains[i].tour == tour && j < plan->supply_count; ++j)
            if (plan->mains[i].takes[j] == TL_MAINS_REFUSED)
                return tl_printf("'%s' is not made for %.4g V %.4g Hz", plan->supplies[j].name,
                                 plan->mains[i].volts_v, plan->mains[i].hz);
    return NULL;
}

/// Each has its output; whether there is mains for it all, at home and on tour.
static void add_feasible(tl_text* text, const tl_power_plan* plan) {
    char* whom = for_whom(plan);
    char* home = refused_words(plan, false);
    char* tour = refused_words(plan, true);
    bool at_home = plan->mains_count && !plan->mains[0].tour;
    if (home)
        tl_text_addf(text, "There is an output for %s, but no mains: %s", whom, home);
    else if (tour)
        tl_text_addf(text, "There is power for %s%s, but not on tour: %s", whom,
                     at_home ? " at home" : "", tour);
    else
        tl_text_addf(text, "There is power for %s", whom);
    free(whom);
    free(home);
    free(tour);
}

char* tl_power_headline(const tl_power_plan* plan) {
    tl_text text = {0};
    if (plan->feasible)
        add_feasible(&text, plan);
    else if (tl_power_count(plan, TL_POWER_ERROR) == 0)
        tl_text_add(&text, "All of it is fed, but not by the rules");
    else
        tl_text_add(&text, "There is no power for all of it by the rules");
    if (plan->unstated_count)
        tl_text_addf(&text, "; nothing is said of %s", plan->unstated);
    return tl_text_take(&text);
}
