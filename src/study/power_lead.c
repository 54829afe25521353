// SPDX-License-Identifier: GPL-3.0-or-later
// What a pedal is fed through, and pedals by their names: what every step of the plan asks for.
#include "base/text.h"
#include "study/power_work.h"

/// A DC lead of a rig that says nothing of them (from memory: what usually comes with a supply).
static const double default_gauge = 24;
static const double default_length_m = 0.5;

/// Copper, 20 C (100 % IACS); a stranded conductor of the same gauge runs 4 % higher (AWG 18, 7
/// strands: 6.636 against 6.385 ohm/1000 ft; seen).
static const double copper_ohm_m = 1.7241e-8;
static const double stranded = 1.04;

tl_power_lead tl_power_lead_of(const tl_power* power, const tl_consumer* consumer) {
    const double pi = 3.14159265358979323846;
    const tl_dc_lead* lead = consumer->lead.wire ? &consumer->lead : &power->lead;
    double gauge_m = tl_gauge_diameter_m(default_gauge);
    tl_power_lead made = {.length_m = default_length_m, .assumed = !lead->wire};
    double more = 1;
    if (lead->wire) {
        gauge_m = tl_part_number(lead->wire, "gauge", gauge_m);
        made.length_m = tl_part_number(lead->wire, "length", default_length_m);
        more = tl_part_number(lead->wire, "strands", 1) > 1 ? stranded : 1;
    }
    const tl_part* joint = lead->joint ? lead->joint : power->lead.joint;
    made.jointed = joint != NULL;
    made.joint_ohm = joint ? tl_part_number(joint, "resistance", 0) : 0;
    made.ohm_per_m = more * copper_ohm_m / (pi * gauge_m * gauge_m / 4);
    return made;
}

char* tl_power_names(const tl_power_plan* plan, const size_t* pedals, size_t count) {
    tl_text text = {0};
    for (size_t i = 0; i < count; ++i)
        tl_text_addf(&text, "%s'%s'",
                     i == 0           ? ""
                     : i + 1 == count ? " and "
                                      : ", ",
                     plan->pedals[pedals[i]].name);
    return tl_text_take(&text);
}
