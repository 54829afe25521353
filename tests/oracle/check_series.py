#!/usr/bin/python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""Tolerances by E series (`+-E12`, and the defaults by series) against the tables of IEC 60063.

Usage: check_series.py BUILD_DIR

E24 from memory (SOURCES section 8 has seen it with E6 and E12, which are every fourth and second value of it; E3 is
every eighth, from memory). E48, E96 and E192: 10^(i/n) to three digits (computed), but for 9.20 in E192, where the
formula has 9.19 (from memory). Tolerances: 20, 10 and 5 % (SOURCES section 8), 2, 1 and 0.5 % and for E3 40 %
(from memory).
"""

import os
import sys
import tempfile

sys.dont_write_bytecode = True

import spreads

E24 = [10, 11, 12, 13, 15, 16, 18, 20, 22, 24, 27, 30, 33, 36, 39, 43, 47, 51, 56, 62, 68, 75, 82, 91]
SERIES = {3: [10 * v for v in E24[::8]], 6: [10 * v for v in E24[::4]], 12: [10 * v for v in E24[::2]],
          24: [10 * v for v in E24]}
for count in (48, 96, 192):
    SERIES[count] = [round(100 * 10 ** (i / count)) for i in range(count)]
SERIES[192][SERIES[192].index(919)] = 920
TOLERANCE = {3: 0.4, 6: 0.2, 12: 0.1, 24: 0.05, 48: 0.02, 96: 0.01, 192: 0.005}
BUFFER = "  - buffer: {input: {resistance: 1 Mohm}, output: {resistance: %s, coupling: %s}}\n"


def write_rig(buffers):
    return ("rig: series\nguitar:\n  pickup: {inductance: 2.5 H, resistance: 6 kohm, capacitance: 110 pF}\nchain:\n" +
            "".join(BUFFER % pair for pair in buffers) + "amp: {resistance: 1 Mohm}\n")


def resistor(digits):
    """100 to 999 as 1 to 9.99 kohm, without needless zeros: as a builder writes it."""
    return "%.10g kohm" % (digits / 100)


def capacitor(digits, place):
    return "%.10g %s" % (digits * (0.01, 0.1, 1.0)[place % 3], ("uF", "nF")[place % 2])


def listed(answer, field):
    return [v for v in answer["values"] if v["field"] == field and v["part"].startswith("chain")]


def refused_of(count):
    """Values near those of a series and values of the others that it does not have."""
    mine = set(SERIES[count])
    others = sorted(set().union(*SERIES.values()) - mine)
    if count < 48:
        others = [v for v in others if v in SERIES[24] or v in SERIES[96][::24]]
    else:
        others = [v for v in others if v in SERIES[24]][::5] + others[::max(len(others) // 6, 1)]
    near = [v + d for v in SERIES[count][:: max(count // 3, 1)] for d in (-1, 1) if 100 <= v + d and v + d not in mine]
    return sorted(set(others + near + [919 if count == 192 else 101 if 101 not in mine else 103]) - mine)


def main():
    build = sys.argv[1]
    faults, accepted, refused = [], 0, 0
    with tempfile.TemporaryDirectory() as folder:
        for count, digits in SERIES.items():
            if len(digits) != count or len(set(digits)) != count:
                faults.append("E%d of this check has %d values" % (count, len(set(digits))))
            end = " +-E%d" % count
            texts = [(resistor(d) + end, capacitor(d, at) + end) for at, d in enumerate(digits)]
            answer, _ = spreads.Run(build, folder, "all", write_rig(texts), [], dump=False, command="check").ask()
            for field, word in (("output.resistance", "resistor"), ("output.coupling", "capacitor")):
                values = listed(answer, field)
                if len(values) != count:
                    faults.append("E%d: %d values of field %s are listed" % (count, len(values), field))
                for value, text in zip(values, texts):
                    accepted += 1
                    if value["tolerance"] != TOLERANCE[count] or value["distribution"] != "normal":
                        faults.append("E%d: %s of %s: %r" % (count, word, text, value))
            wrong = refused_of(count)
            for at in range(0, len(wrong), 2):
                runs = [(d, spreads.Run(build, folder, "wrong%d" % d, write_rig([(resistor(d) + end, "1 uF")]), [],
                                        dump=False, command="check")) for d in wrong[at:at + 2]]
                for d, run in runs:
                    code, _, complaint = run.wait()
                    refused += 1
                    if code == 0 or "E%d" % count not in complaint:
                        faults.append("E%d: %s ended with %d: %s" % (count, resistor(d), code, complaint))
        faults += check_defaults(build, folder)
    for fault in faults:
        print(fault)
    print("%d values of E series taken, %d others refused; %d faults" % (accepted, refused, len(faults)))
    return 1 if faults else 0


def check_defaults(build, folder):
    """A coupling capacitor that says nothing has the tolerance of the coarsest of E6, E12, E24 and E96 with it."""
    faults = []
    digits = sorted(set(SERIES[96] + SERIES[24] + [101, 103, 110, 119, 233, 471, 919, 920, 999]))
    answer, _ = spreads.Run(build, folder, "defaults", write_rig(
        [("1 kohm", "%.10g nF" % d) for d in digits]), [], dump=False, command="check").ask()
    values = listed(answer, "output.coupling")
    if len(values) != len(digits):
        faults.append("defaults: %d of %d values are listed" % (len(values), len(digits)))
    for value, d in zip(values, digits):
        want = next((TOLERANCE[n] for n in (6, 12, 24, 96) if d in SERIES[n]), 0.05)
        if value["tolerance"] != want:
            faults.append("default of %s is %r, by series %r" % (value["value"], value["tolerance"], want))
    return faults


if __name__ == "__main__":
    sys.exit(main())
