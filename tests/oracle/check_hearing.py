#!/usr/bin/python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""Hearing measures against the oracle: band averages by SciPy quadrature of the nodal solver's own curves.

Usage: check_hearing.py BUILD_DIR

Bands: ERB numbers 3 to 37, n = 21.4 log10(4.37 f/kHz + 1) (Glasberg and Moore, Hearing Research 47, 1990, as
in copies of the published formula; seen). Widths at 100, 1000 and 10000 Hz from 24.7 (4.37 f/kHz + 1): 35.494,
132.639 and 1104.090 Hz (computed from that formula). A peak's just-noticeable shift is 0.079 f / sqrt(Q) (Gagne and
Zurek, JASA 83:2293, 1988; abstract seen).
"""

import json
import os
import sys
import tempfile

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
sys.dont_write_bytecode = True

import numpy as np
from scipy import integrate

import decks
import nodal
import rigs

RIGS = 40
NUMBERS = np.arange(3, 38)


def hz_of(number):
    return 1000 / 4.37 * (10 ** (number / 21.4) - 1)


def check_widths():
    """An ERB number is one ERB wide: dn/df times the published width is one."""
    faults = []
    for hz, width in ((100.0, 35.494), (1000.0, 132.639), (10000.0, 1104.090)):
        number = 21.4 * np.log10(4.37 * hz / 1000 + 1)
        span = hz_of(number + 0.5) - hz_of(number - 0.5)
        # The band of one number is as wide as the ERB within 1 % (the two published forms differ by that).
        if abs(span / width - 1) > 0.01:
            faults.append("band at %g Hz is %g Hz wide, ERB %g Hz" % (hz, span, width))
    return faults


def band_levels(circuit, node):
    """dB of |H|^2 averaged uniformly in the ERB number, by adaptive quadrature of all bands at once. Each is taken
    as a share of its middle, so that a quiet one has to be as exact as a loud one."""
    def power(place):
        return np.abs(nodal.respond(circuit, node, hz_of(NUMBERS + place))) ** 2

    middle = power(0.0)
    shares, *_ = integrate.quad_vec(lambda place: power(place) / middle, -0.5, 0.5, epsabs=0, epsrel=1e-7, norm="max")
    return 10 * np.log10(middle * shares)


def expected(rig_db, direct_db, rig, direct):
    centre = hz_of(NUMBERS)
    difference = rig_db - direct_db
    level = difference[(centre >= 200) & (centre <= 1000)].mean()
    matched = difference - level
    worst = int(np.argmax(np.abs(matched)))
    steps = None
    if None not in (rig["peak_hz"], direct["peak_hz"], direct["q"]):
        steps = abs(rig["peak_hz"] - direct["peak_hz"]) / (0.079 * direct["peak_hz"] / np.sqrt(direct["q"]))
    size = max(abs(matched[worst]), steps or 0)
    return {
        "level_db": level,
        "worst_db": matched[worst],
        "worst_hz": centre[worst],
        "rms_db": np.sqrt(np.mean(matched ** 2)),
        "presence_db": matched[(centre >= 2000) & (centre <= 5000)].mean(),
        "bands_over_half_db": int(np.sum(np.abs(matched) > 0.5)),
        "bands_over_1db": int(np.sum(np.abs(matched) > 1)),
        "bands_over_3db": int(np.sum(np.abs(matched) > 3)),
        "peak_shift_steps": steps,
        "verdict": ["not audible", "borderline", "audible", "plain"][int(np.searchsorted([0.5, 1, 3], size, "right"))],
    }, matched, size


def compare(what, got, wanted, matched, size, worst):
    faults = []
    for key in ("level_db", "worst_db", "rms_db", "presence_db"):
        off = abs(got[key] - wanted[key])
        if key == "worst_db" and abs(abs(got[key]) - abs(wanted[key])) < 0.01:
            off = abs(abs(got[key]) - abs(wanted[key]))
        worst[key] = max(worst.get(key, 0), off)
        if not off <= 0.01:
            faults.append("%s: %s is %r, SciPy %r" % (what, key, got[key], wanted[key]))
    for key, limit in (("bands_over_half_db", 0.5), ("bands_over_1db", 1), ("bands_over_3db", 3)):
        on_the_line = int(np.sum(np.abs(np.abs(matched) - limit) < 0.01))
        if abs(got[key] - wanted[key]) > on_the_line:
            faults.append("%s: %s is %r, SciPy %r" % (what, key, got[key], wanted[key]))
    if (got["peak_shift_steps"] is None) != (wanted["peak_shift_steps"] is None):
        faults.append("%s: peak_shift_steps is %r" % (what, got["peak_shift_steps"]))
    elif wanted["peak_shift_steps"] is not None and \
            abs(got["peak_shift_steps"] - wanted["peak_shift_steps"]) > 1e-6 * (1 + wanted["peak_shift_steps"]):
        faults.append("%s: peak_shift_steps is %r, by hand %r" % (what, got["peak_shift_steps"],
                                                                 wanted["peak_shift_steps"]))
    if got["verdict"] != wanted["verdict"] and min(abs(size - t) for t in (0.5, 1, 3)) > 0.01:
        faults.append("%s: verdict is %r, by hand %r" % (what, got["verdict"], wanted["verdict"]))
    return faults


def main():
    build = sys.argv[1]
    faults = check_widths()
    worst = {}
    verdicts = {}
    compared = 0
    with tempfile.TemporaryDirectory() as folder:
        for number in range(RIGS):
            rig = rigs.random_rig(7, number)
            decks.write_file(folder, "rig.yaml", rigs.write_rig(rig, number))
            text = decks.run([os.path.join(build, "toneload"), "response", "rig.yaml", "--json"], folder)
            responses = json.loads(text)["responses"]
            outputs = nodal.build_outputs(rig)
            for at in range(0, len(responses), 2):
                one, two = responses[at], responses[at + 1]
                rig_db = band_levels(*outputs[at][2:4])
                direct_db = band_levels(*outputs[at + 1][2:4])
                wanted, matched, size = expected(rig_db, direct_db, one, two)
                faults += compare("rig %d, %s" % (number, one["amp"]), one["hearing"], wanted, matched, size, worst)
                verdicts[one["hearing"]["verdict"]] = verdicts.get(one["hearing"]["verdict"], 0) + 1
                compared += 1
    for fault in faults:
        print(fault)
    print("%d rigs and amps; worst difference from SciPy: %s" % (
        compared, ", ".join("%s %.1e" % item for item in sorted(worst.items()))))
    print("verdicts: %s; %d faults" % (verdicts, len(faults)))
    return 1 if faults or compared < RIGS else 0


if __name__ == "__main__":
    sys.exit(main())
