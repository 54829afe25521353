// SPDX-License-Identifier: GPL-3.0-or-later
/// @file dress_couple.h What a lead passes on to an audio lead beside it: a capacitance and a
/// mutual inductance, from how the two lie.
#ifndef TL_STUDY_DRESS_COUPLE_H
#define TL_STUDY_DRESS_COUPLE_H

#include "parts/part.h"

/// How two leads lie, in plain numbers.
typedef struct {
    double length_m;
    double spacing_m;  ///< centre to centre
    double angle_deg;  ///< 0: side by side, 90: crossing in the middle
    double height_m;   ///< of both over what is grounded; infinite: nothing is near
    double diameter_m; ///< of the other lead, over its jacket
    double copper_m;   ///< over its metal
    double pair_m;   ///< between go and return of the other lead; infinite: the return is far away
    double return_m; ///< between core and return of the audio lead
    double coverage; ///< of its shield
    double shield_m; ///< diameter of its shield
    double carriers; ///< of the braid
    double bare_m;   ///< of its core, outside of its shield
    double core_m;   ///< diameter of its core
    double farad_per_m;       ///< core to shield
    double other_farad_per_m; ///< of the other lead, beside audio: it has a shield too; else 0
} tl_run_geometry;

/// The geometry of a run (a part of the kind `run`) along a cable; `other` is NULL but beside
/// audio.
tl_run_geometry tl_run_geometry_of(const tl_part* run, const tl_part* cable, const tl_part* other);

/// Capacitance per metre of two round wires in air: 2 pi e0 / acosh((D^2 - a^2 - b^2) / 2ab) for
/// radii a and b, which is pi e0 / acosh(D / 2a) when they are alike (from memory, any text on
/// fields; the latter: SOURCES 7, seen, from D. M. Pozar, Microwave Engineering).
double tl_two_wires_farad_per_m(double spacing_m, double diameter_m, double other_diameter_m);

/// The same with a grounded plane below both, their middles `height_m` over it: what two line
/// charges and their images come to, 2 pi e0 p12 / (p1 p2 - p12^2) (C. R. Paul, Introduction to
/// Electromagnetic Compatibility, on lines of three conductors, from memory), times what thick
/// wires have more than thin ones where there is no ground. p1 = acosh(h / a) and the charges'
/// heights sqrt(h^2 - a^2) are those of each wire alone over the plane. Held against the 2-D field
/// by moments: within 2 % from a radius of air on, 16 % low where metal touches.
double tl_wires_over_ground_farad_per_m(double spacing_m, double height_m, double diameter_m,
                                        double other_diameter_m);

/// Mutual inductance of two parallel wires of one length, H (C. R. Paul, Inductance: Loop and
/// Partial, Wiley 2009, eq. 5.21b; seen in a script that cites it).
double tl_wires_henry(double length_m, double spacing_m);

/// Capacitance from the other lead to the audio lead's core, F: what the shield's openings and bare
/// core let through. See dress_couple.c.
double tl_coupling_farad(const tl_run_geometry* run);
/// Mutual inductance between the loops of the two leads, H.
double tl_coupling_henry(const tl_run_geometry* run);

#endif
