// SPDX-License-Identifier: GPL-3.0-or-later
// What is told of leads and joints the same way on paper, in plots and as data.
#include "show/dress.h"

#include <math.h>

const char* tl_dress_verdict_words(tl_dress_verdict verdict) {
    static const char* const words[] = {"buried", "near", "above"};
    return words[verdict];
}

const tl_dress_assumption tl_dress_assumptions[TL_DRESS_ASSUMPTIONS] = {
    {NULL,
     "Electric field: the metal of the leads as two round wires in air, the other lead all at its "
     "full voltage; over a grounded plane when 'height' says so, else with nothing grounded near, "
     "which is the most it can be. Insulation between the two is left out (where leads touch it "
     "may add 3 dB, from memory). The shield lets through what a braid's round holes do (E. F. "
     "Vance: 16 "
     "carriers unless 'shield.carriers' says otherwise), bare core ('bare', 0.6 mm thick) lets "
     "through everything."},
    {NULL,
     "Magnetic field: go and return of both leads in one plane, the worst way round. A copper "
     "shield does not stop it; the audio lead's return runs 0.2 mm off its core unless 'return' "
     "says otherwise."},
    {NULL,
     "The shield carries no current but the signal's own. What flows through shields from shared "
     "supplies is another matter."},
    {NULL, "At an angle the magnetic part goes with its cosine, and the electric part is summed "
           "along the leads, which cross in the middle. The two parts are added as powers."},
    {NULL, "Runs together: all mains leads of one frequency are taken to be one phase, the worst "
           "case, so their volts add line by line, the electric ones and the magnetic ones; all "
           "other runs are added as powers."},
    {"mains", "Mains harmonics: those of an ordinary day up to the 39th, 3.3 % in all, from "
              "memory (EN 50160 allows 8 %); what lies higher, as of dimmers, is left out. A load "
              "draws its current as rectifiers "
              "do, in pulses of 60 degrees, unless 'load: plain' says otherwise."},
    {"dc", "DC leads: only what moves in them is picked up, ripple (peak to peak) and pulses (from "
           "low to high)."},
    {"audio", "Audio beside audio: the capacitance between the cores, solved in the rig with the "
              "guitar playing; their currents are too small to count. Both shields "
              "are taken to be as the run says, and each run is solved by itself."},
};

double tl_dress_told_v(double volt) {
    return volt >= TL_DRESS_NOTHING_V ? volt : NAN;
}

double tl_dress_told_db(const tl_dress_level* level) {
    return isnan(tl_dress_told_v(level->a_weighted_v)) ? NAN : level->floor_db;
}
