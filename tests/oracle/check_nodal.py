#!/usr/bin/python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""Checks the oracle itself, so that what it says of the program can be trusted.

Usage: check_nodal.py [BUILD_DIR]   (the folder is not used; nothing here runs the program)

Against closed forms worked by hand (impedances in series and parallel, a second-order section, a matched
line), against published exercises, against many pi sections, and against ngspice and gnucap on a deck
written here. Marks: S = number seen in the source, C = computed from the formula stated.
"""

import os
import sys

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
sys.dont_write_bytecode = True  # leaves the source folder as it is

import tempfile

import numpy as np

import decks
import figures
import nodal
import rigs

FAILED = []
HZ = np.geomspace(20, 20e3, 101)
S = 2j * np.pi * HZ


def expect(what, measured, wanted, relative):
    """One comparison of numbers or arrays, printed."""
    error = float(np.max(np.abs(np.asarray(measured) - wanted) / np.max(np.abs(wanted))))
    good = error <= relative
    print("%-4s %-76s off by %.1e (allowed %.0e)" % ("ok" if good else "FAIL", what, error, relative))
    if not good:
        FAILED.append(what)


def par(*impedances):
    return 1.0 / sum(1.0 / z for z in impedances)


def cap(farad, s=S):
    return 1.0 / (s * farad)


def simple_rig(**changes):
    rig = {"rig": "x", "guitar": {"pickup": {"inductance": 2.5, "resistance": 6e3, "capacitance": 110e-12}},
           "chain": [], "amp": {"resistance": 1e6, "capacitance": 20e-12}, "direct": []}
    rig.update(changes)
    return rig


def rig_response(rig, index=0, hz=HZ):
    circuit, outputs = nodal.build_rig(rig)
    return nodal.respond(circuit, outputs[index][2], hz)


def check_exercise():
    """Course exercise EGB120 (SOURCES section 1, [4]: data S, answers C): series L and R, shunt C, no load."""
    def h(farad, hz):
        rig = simple_rig(guitar={"pickup": {"inductance": 4.5, "resistance": 5.35e3, "capacitance": farad}},
                         amp={"resistance": 1e15})
        return rig_response(rig, hz=[hz])[0]

    expect("exercise: 319.0 pF gives |H| = 1.651 at 2640 Hz (S data, C answer)", abs(h(319.0e-12, 2640)), 1.651, 3e-4)
    expect("exercise: the other root, 1288.0 pF, gives the same", abs(h(1288.0e-12, 2640)), 1.651, 3e-4)
    for hz, volt, degrees in ((82.5, 92.85e-3, -55.23), (330.0, 15.96e-3, -145.62)):
        answer = 0.1 * h(319e-9, hz)
        expect("exercise, 319 nF and 100 mV: level at %.1f Hz (C)" % hz, abs(answer), volt, 4e-4)
        expect("exercise, 319 nF: phase at %.1f Hz (C)" % hz, np.degrees(np.angle(answer)), degrees, 2e-4)


def check_lead():
    """2.4 H with a 300 pF and a 2400 pF lead: about 6 kHz and a little above 2 kHz (S [3]); 5931, 2097 Hz (C)."""
    for farad, hz in ((300e-12, 5931.0), (2400e-12, 2097.0)):
        rig = simple_rig(guitar={"pickup": {"inductance": 2.4, "resistance": 6e3, "capacitance": farad}},
                         amp={"resistance": 1e15})
        circuit, _ = nodal.build_rig(rig)
        pole = circuit.newton_poles([figures.pole_from(1.2 * hz, 5.0)])[0]
        expect("lead of %.0f pF: pole at %.0f Hz (C)" % (farad * 1e12, hz), abs(pole) / (2 * np.pi), hz, 1e-4)


def check_second_order():
    """H = 1 / (1 + s/(Q w0) + (s/w0)^2): peak, its frequency, 3 dB point (SOURCES section 6, C)."""
    table = ((1.0, 1.249, 0.7071, 1.272), (1.5, 4.033, 0.8819, None), (2.0, 6.301, 0.9354, 1.485),
             (3.0, 9.665, 0.9718, 1.523), (5.0, 14.023, 0.9899, None))
    f0 = 4000.0
    for q, peak_db, place, half_power in table:
        inductance = 3.0
        farad = 1.0 / ((2 * np.pi * f0) ** 2 * inductance)
        ohm = 2 * np.pi * f0 * inductance / q
        rig = simple_rig(guitar={"pickup": {"inductance": inductance, "resistance": ohm, "capacitance": farad}},
                         amp={"resistance": 1e16})
        circuit, outputs = nodal.build_rig(rig)
        node = outputs[0][2]
        closed = 1.0 / (1.0 + S / (q * 2 * np.pi * f0) + (S / (2 * np.pi * f0)) ** 2)
        expect("second order, Q %.1f: response" % q, nodal.respond(circuit, node, HZ), closed, 1e-9)
        found = figures.measure(lambda hz: 20 * np.log10(np.abs(nodal.respond(circuit, node, hz))), 1.0)
        expect("second order, Q %.1f: peak (C)" % q, found["peak_db"], peak_db, 4e-4)
        expect("second order, Q %.1f: frequency of the peak (C)" % q, found["peak_hz"] / f0, place, 1e-4)
        if half_power:
            expect("second order, Q %.1f: cut-off (C)" % q, found["cutoff_hz"] / f0, half_power, 5e-4)
        pole = 2 * np.pi * f0 * (-0.5 / q + 1j * np.sqrt(1 - 0.25 / q ** 2))
        pairs = figures.collect_pairs(circuit, node, f0 / 2, f0 * 2, 10 ** (peak_db / 20))
        expect("second order, Q %.1f: one pair found" % q, len(pairs), 1, 0)
        expect("second order, Q %.1f: pole" % q, pairs[0][0], pole, 1e-8)
        residue = (2 * np.pi * f0) ** 2 / (2j * pole.imag)
        expect("second order, Q %.1f: residue" % q, circuit.residue(pairs[0][0], node), residue, 1e-5)


def check_guitar():
    """One guitar with every control at once against impedances worked by hand; then two pickups."""
    eddy = {"fraction": 0.3, "resistance": 120e3}
    coil = 6e3 + S * 2.5 * 0.7 + par(S * 2.5 * 0.3, 120e3)
    load = par(1e6, cap(20e-12))
    for wiring in ("series", "parallel"):
        for joins in ("pickup", "wiper"):
            volume = {"pot": 250e3, "taper": "audio", "position": 0.5,
                      "bleed": {"capacitor": 1e-9, "resistor": 130e3, "wiring": wiring}}
            tone = {"pot": 500e3, "taper": "linear", "position": 0.4, "capacitor": 22e-9, "joins": joins}
            rig = simple_rig(guitar={"pickup": {"inductance": 2.5, "resistance": 6e3, "capacitance": 110e-12,
                                                "eddy": eddy}, "volume": volume, "tone": tone})
            share = (9.0 - 1.0) / 80.0  # 81^(1/2) = 9: a tenth at half travel
            bleed = 130e3 + cap(1e-9) if wiring == "series" else par(130e3, cap(1e-9))
            upper = par((1 - share) * 250e3, bleed)
            branch = 0.4 * 500e3 + cap(22e-9)
            lower = par(share * 250e3, load, branch) if joins == "wiper" else par(share * 250e3, load)
            across = par(cap(110e-12), upper + lower)
            if joins == "pickup":
                across = par(across, branch)
            closed = across / (across + coil) * lower / (lower + upper)
            expect("guitar, bleed in %s, tone joins %s" % (wiring, joins), rig_response(rig), closed, 1e-12)
    part = {"inductance": 2.5, "resistance": 6e3, "capacitance": 110e-12}
    coil = 6e3 + S * 2.5
    rig = simple_rig(guitar={"pickups": [{"pickup": part}, {"pickup": part}], "wiring": "parallel"})
    z = par(load, cap(220e-12))
    expect("two equal pickups in parallel: half the coil, twice the capacitance", rig_response(rig),
           z / (z + coil / 2), 1e-12)
    rig = simple_rig(guitar={"pickups": [{"pickup": part}, {"pickup": part}], "wiring": "series"})
    z = par(load, cap(55e-12))
    expect("two equal pickups in series: twice the signal and the coil", rig_response(rig), 2 * z / (z + 2 * coil), 1e-12)
    dark = dict(part, resistance=1e15)
    rig = simple_rig(guitar={"pickups": [{"pickup": part, "volume": {"pot": 250e3, "taper": "linear", "position": 0.75}},
                                         {"pickup": dark, "tone": {"pot": 250e3, "position": 0.0, "capacitor": 10e-9}}],
                             "wiring": "series"})
    across = par(cap(110e-12), 250e3)
    open_volt = across / (across + coil) * 0.75
    inside = par(187.5e3, 62.5e3 + par(coil, cap(110e-12)))
    behind = par(cap(110e-12), cap(10e-9))
    expect("series: the second's parts hang on the first's output", rig_response(rig),
           open_volt * load / (load + inside + behind), 1e-9)


def check_stages():
    """Sources, bypasses, buffers, contacts, volume pedal, loop and split by dividers worked by hand."""
    source = {"source": {"output": {"resistance": 1e3, "coupling": 1e-6}}}
    amp = {"resistance": 1e6, "capacitance": 20e-12, "stopper": 68e3, "grid": 100e-12}
    z_amp = par(1e6, cap(20e-12), 68e3 + cap(100e-12))
    grid = cap(100e-12) / (cap(100e-12) + 68e3)
    z_source = 1e3 + cap(1e-6)
    pedal = {"bypass": "loaded-bypass", "input": {"resistance": 50e3, "capacitance": 1e-9}, "gain": (-6.0, "dB"),
             "output": {"resistance": 10e3, "coupling": 100e-9}}
    z_in = par(50e3, cap(1e-9))

    def h(chain, index=0, **more):
        rig = simple_rig(guitar=source, chain=chain, **({"amp": amp} if not more else more))
        if more:
            del rig["amp"]
        return rig_response(rig, index)

    expect("source and amp with a grid", h([]), z_amp / (z_amp + z_source) * grid, 1e-12)
    off = {"pedal": dict(pedal, bypass="true-bypass"), "name": "a", "engaged": False}
    expect("true-bypass is a wire", h([off]), h([]), 0)
    loaded = par(z_amp, z_in)
    off = {"pedal": pedal, "name": "a", "engaged": False}
    expect("loaded-bypass hangs its input on the wire", h([off]), loaded / (loaded + z_source) * grid, 1e-12)
    second = z_amp / (z_amp + 10e3 + cap(100e-9)) * grid
    on = {"pedal": pedal, "name": "a", "engaged": True}
    expect("engaged: divider, gain in dB, divider", h([on]),
           z_in / (z_in + z_source) * 10 ** (-6 / 20) * second, 1e-12)
    off = {"pedal": dict(pedal, bypass="buffered-bypass"), "name": "a", "engaged": False}
    expect("buffered-bypass: gain 1", h([off]), z_in / (z_in + z_source) * second, 1e-12)
    expect("buffer with a negative gain inverts", h([{"buffer": dict(pedal, gain=-2.0)}]),
           -2 * z_in / (z_in + z_source) * second, 1e-12)
    after = par(1e7, z_amp)
    expect("contact: series, then leakage", h([{"contact": {"resistance": 2.0, "leakage": 1e7}}]),
           after / (after + z_source + 2.0) * grid, 1e-12)
    loop = {"loop": {"name": "l", "engaged": True, "chain": [{"buffer": pedal}]}}
    expect("loop engaged is its chain", h([loop]), h([{"buffer": pedal}]), 0)
    loop = {"loop": dict(loop["loop"], engaged=False)}
    expect("loop not engaged is a wire", h([loop]), h([]), 0)
    pot = {"pot": 500e3, "taper": "linear", "position": 0.6,
           "tuner-out": {"chain": [{"buffer": pedal}], "end": {"resistance": 1e6}}}
    lower = par(300e3, z_amp)
    across = par(z_in, 200e3 + lower)
    expect("volume pedal with its tuner-out at the input", h([{"pot": pot}]),
           across / (across + z_source) * lower / (lower + 200e3) * grid, 1e-12)
    contact = {"contact": {"resistance": 5e3}}
    split = {"split": [{"name": "a", "chain": [contact], "amp": {"resistance": 1e6}},
                       {"name": "b", "chain": [], "end": {"resistance": 100e3}},
                       {"name": "c", "chain": [], "end": "open"},
                       {"name": "d", "chain": [], "amp": {"resistance": 470e3}}]}
    z = par(1.005e6, 100e3, 470e3)
    expect("split: first amp", h([split], 0, x=1), z / (z + z_source) * 1e6 / 1.005e6, 1e-12)
    expect("split: second amp", h([split], 1, x=1), z / (z + z_source), 1e-12)


def ladder(r, l, g, c, length, count, s):
    """Chain matrix of many pi sections, by the matrix product."""
    z, y = (r + s * l) * length / count, (g + s * c) * length / count
    one, zero = np.ones_like(s), np.zeros_like(s)
    shunt = np.moveaxis(np.array([[one, zero], [y / 2, one]]), 2, 0)
    series = np.moveaxis(np.array([[one, z], [zero, one]]), 2, 0)
    return np.linalg.matrix_power(shunt @ series @ shunt, count)


def check_cable():
    """The two-port against a matched line's exp(-gamma len), 1/cosh into an open end, and many pi sections."""
    s = 2j * np.pi * np.geomspace(20, 1e5, 60)
    for r, l, g, c, length in ((0.08, 0.5e-6, 1e-10, 100e-12, 6), (0.3, 1e-6, 0, 250e-12, 100),
                               (0.02, 0, 0, 30e-12, 0.2), (0.15, 0.2e-6, 1e-9, 150e-12, 30)):
        what = "cable %g m, %g pF/m" % (length, c * 1e12)
        y11, y12 = nodal.line_admittances(s, r, l, g, c, length)
        gamma, impedance = np.sqrt((r + s * l) * (g + s * c)), np.sqrt((r + s * l) / (g + s * c))
        expect(what + ": open end", -y12 / y11, 1 / np.cosh(gamma * length), 1e-9)
        expect(what + ": matched", -y12 / (y11 + 1 / impedance), np.exp(-gamma * length), 1e-9)
        chain = ladder(r, l, g, c, length, 2000, s)
        expect(what + ": 2000 pi sections, transfer", -1 / chain[:, 0, 1], y12, 1e-6)
        expect(what + ": 2000 pi sections, input", chain[:, 1, 1] / chain[:, 0, 1], y11, 1e-6)


def check_floating():
    """An island behind a coupling capacitor gets one resistor, others none."""
    rig = simple_rig(chain=[{"buffer": {"input": {"resistance": 1e6}, "output": {"resistance": 100.0, "coupling": 1e-7}}},
                            {"cable": {"capacitance": 1e-10, "resistance": 0.1}, "length": 3.0},
                            {"split": [{"name": "a", "chain": [{"buffer": {
                                "input": {"resistance": 1e6}, "output": {"resistance": 1e3, "coupling": 1e-7}}}],
                                "amp": {"resistance": 1e6}}, {"name": "b", "chain": [], "end": "open"}]}])
    del rig["amp"]
    circuit, _ = nodal.build_rig(rig)
    before = len(circuit.branches)
    circuit.ground_floating()
    expect("no floating island is left", len(circuit.branches), before, 0)
    lone = nodal.Circuit()
    a, b = lone.node(), lone.node()
    lone.capacitor(a, 0, 1e-9)
    lone.cable(a, b, 0.1, 0.0, 0.0, 1e-10, 1.0)
    lone.ground_floating()
    expect("an island of two nodes gets one resistor", sum(c for _, _, _, c in lone.branches), 1, 0)


def check_writer():
    """The rig file's words and units."""
    rig = simple_rig(guitar={"pickup": {"inductance": 2.5, "resistance": 6.2e3, "capacitance": 110e-12,
                                        "eddy": {"fraction": 0.25, "resistance": 120e3}}},
                     chain=[{"contact": {"resistance": 5e-3, "leakage": 1e9}}])
    text = rigs.write_rig(rig)
    wanted = ("rig: x\nguitar:\n  pickup: {inductance: 2.5 H, resistance: 6.2 kohm, capacitance: 110 pF, "
              "eddy: {fraction: 25 %, resistance: 120 kohm}}\nchain:\n  - contact: {resistance: 5 mohm, leakage: 1000 Mohm}\n"
              "amp: {resistance: 1 Mohm, capacitance: 20 pF}\ndirect: []\n")
    expect("the writer's text", int(text == wanted), 1, 0)


def check_programs():
    """ngspice and gnucap on a deck written here, so that the readers of their output are known to be right."""
    deck = """own deck
* | output: 3 = rig, clean amp
* | output: 6 = direct, clean amp
v1 1 0 dc 0 ac 1
r1 1 2 5350
l1 2 3 4.5
c1 3 0 319p
r2 3 0 1meg
e1 4 0 3 0 -2
r3 4 5 1k
c2 5 6 100n
r4 6 0 10k
.print ac vr(3) vi(3)
.print ac vr(6) vi(6)
.ac dec 75 10 100k
.end
"""
    expect("outputs named in a deck", int(decks.read_outputs(deck) == [
        ("3", "rig", "clean amp"), ("6", "direct", "clean amp")]), 1, 0)
    values = np.array([e[3] for e in decks.read_elements(deck) if e[0] != "v"])
    expect("elements of a deck", values / np.array([5350, 4.5, 319e-12, 1e6, 1e3, 1e-7, 1e4]), np.ones(7), 1e-14)
    # gnucap heeds the last .print line only, so a deck for it holds all its outputs in one.
    one_line = deck.replace("\n.print ac vr(6)", " vr(6)")
    with tempfile.TemporaryDirectory() as folder:
        for name, function, text, allowed in (("ngspice, raw file", decks.run_ngspice_raw, deck, 1e-9),
                                              ("ngspice, tables", decks.run_ngspice_table, deck, 2e-6),
                                              ("ngspice, one table", decks.run_ngspice_table, one_line, 2e-6),
                                              ("gnucap", decks.run_gnucap, one_line, 5e-5)):
            hz, values = function(text, folder)
            s = 2j * np.pi * hz
            z = par(1e6, cap(319e-12, s))
            first = z / (z + 5350 + s * 4.5)
            expect(name + ": node 3", values["3"], first, allowed)
            expect(name + ": node 6", values["6"], -2 * first * 1e4 / (11e3 + cap(100e-9, s)), allowed)
        changed = decks.replace_sweep(deck, ".ac dec 75 20 20000")
        expect("a changed sweep", decks.run_ngspice_raw(changed, folder)[0], np.geomspace(20, 20e3, 226), 1e-12)


def check_generator():
    """200 random rigs take in every shape, and each solves to finite numbers."""
    counts, finite = {}, True
    for number in range(200):
        rig = rigs.random_rig(1, number)
        for feature in rigs.name_features(rig):
            counts[feature] = counts.get(feature, 0) + 1
        for _, _, circuit, node in nodal.build_outputs(rig):
            finite = finite and bool(np.isfinite(nodal.respond(circuit, node, HZ[::20])).all())
    expect("200 random rigs solve", int(finite), 1, 0)
    expect("kinds of shape they take in", len(counts), rigs.FEATURES, 0)
    expect("each shape at least five times", int(min(counts.values()) >= 5), 1, 0)


def main():
    for check in (check_exercise, check_lead, check_second_order, check_guitar, check_stages, check_cable,
                  check_floating, check_writer, check_programs, check_generator):
        check()
    print("%d failed" % len(FAILED))
    return 1 if FAILED else 0


if __name__ == "__main__":
    raise SystemExit(main())
