#!/usr/bin/python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""Cables in exported decks: the pi sections against the telegrapher's equations, and `build:` by formula.

Usage: check_cables.py BUILD_DIR

A rig of one cable is exported; its sections are picked out of the deck, and the ladder is worked out here,
driven from 0 ohm into an open end, against 1/cosh(gamma len) (telegrapher's equations, from memory):
within 0.01 dB to 100 kHz, as the design promises, to 300 m, the longest that a rig file may give. The sums of the sections' parts must be the cable's own
values times its length.

Formulas for a cable given by its build (SOURCES section 2): C' = 2 pi e0 er / ln(b/a),
L' = (mu0 / 2 pi) ln(b/a) + mu0 / 8 pi for a solid core at low frequency; a wire of gauge n is
0.127 mm x 92^((36 - n)/39) thick (S [19], describing ASTM B258), copper 1.7241e-8 ohm m (100 % IACS, 20 C).
They are first held here against published examples. Marks: S = seen in the source, T = seen in a
transcription of a textbook's examples, C = computed from the formula stated.
"""

import os
import sys

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
sys.dont_write_bytecode = True  # leaves the source folder as it is

import random
import tempfile

import numpy as np

import decks
import rigs

E0 = 8.8541878128e-12  # CODATA 2018, F/m
MU0 = 1.25663706212e-6  # CODATA 2018, H/m
COPPER_OHM_M = 1.7241e-8
POLYETHYLENE = 2.26  # within the published 2.21 to 2.3 (S [21], [22])
SOURCE_OHM = 100.0
AMP_OHM = 1.234e6  # a value that no cable's leakage can be taken for
FLOATING_OHM = 1e13
FAILED = []


def hold(what, measured, wanted, relative, quiet=False):
    """One comparison; a good one is printed unless quiet."""
    error = abs(measured / wanted - 1.0) if wanted else abs(measured)
    good = error <= relative
    if not good or not quiet:
        print("%-4s %-66s %.6g, wanted %.6g" % ("ok" if good else "FAIL", what, measured, wanted))
    if not good:
        FAILED.append(what)
    return error


def coax_capacitance(core, over, permittivity, vacuum=E0):
    return 2 * np.pi * vacuum * permittivity / np.log(over / core)


def coax_inductance(core, over, solid=True):
    return MU0 / (2 * np.pi) * np.log(over / core) + (MU0 / (8 * np.pi) if solid else 0.0)


def gauge_diameter(gauge):
    return 0.127e-3 * 92.0 ** ((36 - gauge) / 39.0)


def check_formulas():
    """Published examples, so that the formulas used below are the right ones."""
    hold("Bird ch. 40 ex. 3, pF/m (T [12])", 1e12 * coax_capacitance(0.5, 6, 2.7, 8.85e-12), 60.42, 1e-4)
    hold("Bird ch. 40 ex. 16, uH/m (T [12])", 1e6 * coax_inductance(1, 4), 0.33, 0.02)
    hold("Bird ch. 40 ex. 18, uF (T [12])", 1e6 * 7500 * coax_capacitance(10, 25, 3), 1.37, 5e-3)
    hold("Bird ch. 40 ex. 18, mH (T [12])", 1e3 * 7500 * coax_inductance(10, 25), 1.75, 5e-3)
    hold("Kulkarni ex. 4.1, pF/m (C; the book's 158.02 rounds 2 pi e0)", 1e12 * coax_capacitance(4.9, 11, 2.3), 158.2, 5e-4)
    hold("Kulkarni ex. 4.1, uH/m (T [13])", 1e6 * coax_inductance(4.9, 11, False), 0.16, 0.02)
    hold("university notes, pF/m (S second hand [14])", 1e12 * coax_capacitance(1.35, 9, 2.2), 64.51, 5e-4)
    for gauge, millimetre, ohm_km in ((18, 1.0236, 20.94), (24, 0.5105, 84.20), (30, 0.2540, 338.50)):
        # The tables round the diameter to 0.1 mil (S [17]).
        diameter = gauge_diameter(gauge)
        hold("AWG %d, mm (S [17])" % gauge, 1e3 * diameter, millimetre, 4e-3)
        hold("AWG %d, ohm/km (S [17])" % gauge, 1e3 * wire_resistance(diameter), ohm_km, 1e-3)


def wire_resistance(diameter):
    return COPPER_OHM_M / (np.pi * diameter ** 2 / 4)


def cable_text(cable, length):
    return ("rig: one cable\nguitar:\n  source: {output: {resistance: %g ohm}}\nchain:\n  - cable: %s\n    length: %.9g m\n"
            "amp: {resistance: %g kohm}\ndirect:\n  - cable: {resistance: 50 mohm/m, capacitance: 100 pF/m}\n"
            "    length: 3 m\n" % (SOURCE_OHM, cable, length, AMP_OHM / 1e3))


def export_deck(build, folder, text):
    decks.write_file(folder, "rig.yaml", text)
    return decks.run([os.path.join(build, "toneload"), "netlist", "rig.yaml"], folder)


def trace(elements, start, finish):
    """The nodes and series elements from one node to another, through elements that do not touch ground."""
    ways = {start: []}
    queue = [start]
    while queue:
        node = queue.pop(0)
        for element in elements:
            letter, _, ends, _ = element
            if letter == "v" or "0" in ends or node not in ends:
                continue
            other = ends[1] if ends[0] == node else ends[0]
            if other not in ways:
                ways[other] = ways[node] + [(element, other)]
                queue.append(other)
    if finish not in ways:
        raise decks.ProgramFailed("no way from node %s to node %s" % (start, finish))
    return ways[finish]


def collect_ladder(deck):
    """The cable of the rig as a list of steps: ("series" or "shunt", letter, value), from the near end on."""
    finish = [node for node, name, _ in decks.read_outputs(deck) if name == "rig"][0]
    elements = decks.read_elements(deck)
    for source in (e for e in elements if e[0] == "v"):
        start = [n for n in source[2] if n != "0"][0]
        try:
            path = trace(elements, start, finish)
            break
        except decks.ProgramFailed:
            continue
    else:
        raise decks.ProgramFailed("no source drives node %s" % finish)
    first, near = path[0]
    if first[0] != "r" or first[3] != SOURCE_OHM:
        raise decks.ProgramFailed("the way begins with %s, not with the source's resistance" % first[1])
    steps, node = [], near
    for element, other in path[1:] + [(None, None)]:
        for letter, _, ends, value in elements:
            if letter != "v" and "0" in ends and node in ends:
                steps.append(("shunt", letter, value))
        if element:
            steps.append(("series", element[0], element[3]))
            node = other
    if ("shunt", "r", AMP_OHM) not in steps:
        raise decks.ProgramFailed("the amp is not at the cable's end")
    return [step for step in steps if step not in (("shunt", "r", AMP_OHM), ("shunt", "r", FLOATING_OHM))]


def drive_ladder(steps, s):
    """Voltage at the open end for 1 V from 0 ohm at the near end: walk back from 1 V at the far end."""
    volt, ampere = np.ones_like(s), np.zeros_like(s)
    for place, letter, value in reversed(steps):
        impedance = {"r": value + 0 * s, "l": s * value, "c": 1 / (s * value)}[letter]
        if place == "series":
            volt = volt + impedance * ampere
        else:
            ampere = ampere + volt / impedance
    return 1.0 / volt


def add_up(steps):
    """Totals: series resistance and inductance, shunt conductance and capacitance."""
    total = {"r": 0.0, "l": 0.0, "g": 0.0, "c": 0.0}
    for place, letter, value in steps:
        if place == "series":
            total[letter] += value
        elif letter == "r":
            total["g"] += 1.0 / value
        else:
            total["c"] += value
    return total


def measure_ladder(steps, length, c, r, h, g):
    """The greatest difference in dB to 100 kHz; fine enough for a sharp quarter-wave resonance."""
    s = 2j * np.pi * np.concatenate((np.geomspace(20, 20e3, 60), np.linspace(20e3, 100e3, 4001)))
    wanted = 1.0 / np.cosh(np.sqrt((r + s * h) * (g + s * c)) * length)
    return float(np.max(np.abs(20 * np.log10(np.abs(drive_ladder(steps, s) / wanted)))))


def check_sections(build, folder):
    """Everyday cables to 100 m, then some whose quarter-wave resonance comes down to 100 kHz and below."""
    rng = random.Random(5)
    cables = [(l, c, r, h, g) for l in (0.1, 1.0, 6.0, 20.0, 50.0, 100.0)
              for c, r, h, g in ((100e-12, 0.08, 0.5e-6, 0.0), (250e-12, 0.3, 1e-6, 1e-9), (30e-12, 0.02, 0.1e-6, 0.0),
                                 (250e-12, 0.3, 0.0, 0.0), (250e-12, 0.02, 1e-6, 0.0))]
    for _ in range(30):
        maker = rigs.Maker(rng.random())
        item = maker.cable(0.2, 100)
        cable = item["cable"]
        cables.append((item["length"], cable["capacitance"], cable["resistance"], cable.get("inductance", 0.0),
                       cable.get("leakage", 0.0)))
    cables += [(173.4, 250e-12, 0.0285, 0.824e-6, 0.0), (250.0, 100e-12, 0.05, 0.5e-6, 0.0),
               (300.0, 150e-12, 0.02, 0.45e-6, 0.0), (100.0, 500e-12, 0.02, 1.25e-6, 0.0)]
    worst = worst_sum = 0.0
    most = 0
    for length, c, r, h, g in cables:
        fields = {"capacitance": c, "resistance": r}
        fields.update({"inductance": h} if h else {}, **({"leakage": g} if g else {}))
        steps = collect_ladder(export_deck(build, folder, cable_text(rigs.write_flow(fields, "cable", "", rng), length)))
        what = "cable %g m, %g pF/m, %g ohm/m, %g uH/m, %g nS/m" % (length, c * 1e12, r, h * 1e6, g * 1e9)
        total = add_up(steps)
        for letter, per_metre in (("r", r), ("l", h), ("g", g), ("c", c)):
            worst_sum = max(worst_sum, hold("%s: sum of %s" % (what, letter), total[letter], per_metre * length, 1e-9, True))
        off = measure_ladder(steps, length, c, r, h, g)
        if not off <= 0.01:
            print("FAIL %s: %.4f dB from the telegrapher's solution" % (what, off))
            FAILED.append(what)
        worst = max(worst, off)
        most = max(most, sum(1 for step in steps if step[:2] == ("series", "r")))
    print("%d cables of 0.1 to 300 m: at most %.5f dB from the telegrapher's solution to 100 kHz, up to %d sections, "
          "sums within %.1e" % (len(cables), worst, most, worst_sum))


def check_builds(build, folder):
    """Cables given by their build: values a metre from the deck against the formulas."""
    length = 6.0
    for gauge, millimetre in ((24, 3.0), (20, 4.2), (22, 3.6), (28, 2.0)):
        for shield in (0.0, 0.02):
            cable = "{build: {core: %d AWG, strands: 1, insulation: polyethylene, diameter: %g mm%s}}" % (
                gauge, millimetre, ", shield: 20 mohm/m" if shield else "")
            total = add_up(collect_ladder(export_deck(build, folder, cable_text(cable, length))))
            what = "AWG %d in %g mm%s: " % (gauge, millimetre, ", shield" if shield else "")
            core, over = gauge_diameter(gauge), millimetre * 1e-3
            hold(what + "pF/m", 1e12 * total["c"] / length, 1e12 * coax_capacitance(core, over, POLYETHYLENE), 1e-3)
            hold(what + "uH/m", 1e6 * total["l"] / length, 1e6 * coax_inductance(core, over), 1e-3)
            hold(what + "mohm/m", 1e3 * total["r"] / length, 1e3 * (wire_resistance(core) + shield), 1e-3)
    solid = wire_resistance(gauge_diameter(24))
    cable = "{build: {core: 24 AWG, strands: 7, insulation: polyethylene, diameter: 3 mm}}"
    total = add_up(collect_ladder(export_deck(build, folder, cable_text(cable, length))))
    # S [20]: AWG 18 of 7 strands 6.636 ohm/1000 ft against 6.385 solid, 3.9 % more
    hold("AWG 24 of 7 strands: resistance over solid", total["r"] / length / solid, 1.04, 0.035)


def main():
    build = os.path.abspath(sys.argv[1])
    check_formulas()
    with tempfile.TemporaryDirectory(prefix="cable-") as folder:
        check_sections(build, folder)
        check_builds(build, folder)
    print("%d failed" % len(FAILED))
    return 1 if FAILED else 0


if __name__ == "__main__":
    raise SystemExit(main())
