#!/usr/bin/python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""The bench against hand formulas, worked examples of textbooks, closed forms and SciPy quadrature.

Usage: check_bench_formulas.py BUILD_DIR

Designs are written into a temporary folder, measured in one run, and held against answers that need no simulator. The
operating points that the followers' formulas start from are read off `ngspice -b` decks of our own. Marks: S = seen in the
source, T = seen in a transcription of a textbook's worked examples, M = from memory, C = computed from the formula stated
(SOURCES sections 3 to 6).
"""

import math
import os
import re
import sys
import tempfile

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
sys.dont_write_bytecode = True

import numpy as np
from scipy import integrate, optimize

import bench_decks
import bench_program

ROOT = os.path.dirname(os.path.dirname(os.path.dirname(os.path.abspath(__file__))))
KELVIN = 300.15  # ngspice's 27 C
BOLTZMANN = 1.380649e-23
THERMAL_V = BOLTZMANN * KELVIN / 1.602176634e-19  # 25.865 mV
LOAD_OHM = 1e6
LEVELS = {"100mv": 0.1, "500mv": 0.5, "1v": 1.0, "2v": 2.0}
SUPPLY = "rsupply vcc 0 1meg\n"


def par(*ohms):
    return 1 / sum(1 / ohm for ohm in ohms)


def buffer_text(name, lines):
    """A circuit with pins in, out and vcc, and something for the supply to do."""
    return "* %s\n.subckt %s in out vcc\n%s%s\n.ends\n" % (name, name, lines.strip("\n") + "\n", SUPPLY.strip())


class Case:
    """A design to be measured, and the comparisons that its figures are held to."""

    def __init__(self, name, circuit, hold, supply="9 V"):
        self.name, self.circuit, self.hold, self.supply = name, circuit, hold, supply


# Followers: textbooks' examples and the shipped ones

def rest_of(path):
    design = bench_decks.Design(path)
    return bench_decks.rest(design.lines() + bench_decks.source_lines() + bench_decks.load_lines())


def hold_emitter_follower(held, found, path, what, base_ohm, emitter_ohm, load_ohm, beta, printed):
    """Hybrid-pi formulas (Boylestad and Nashelsky, Electronic Devices and Circuit Theory; Mehta, Principles of Electronics)
    with gm = Ic/VT where the circuit rests. `printed`: the book's own answers, which rest on 0.7 V from base to emitter."""
    emitter_a = rest_of(path)["v(xdut.e)"] / emitter_ohm
    gm = emitter_a * beta / (beta + 1) / THERMAL_V
    r_pi, below = beta / gm, par(emitter_ohm, load_ohm)
    answers = {"gain": (10 ** (found.value("gain_1khz_db") / 20), (beta + 1) * par(below, LOAD_OHM)
                        / (r_pi + (beta + 1) * par(below, LOAD_OHM))),
               "input": (found.value("input_impedance_1khz_ohm"), par(base_ohm, r_pi + (beta + 1) * par(below, LOAD_OHM))),
               "output": (found.value("output_impedance_10khz_ohm"), par(below, r_pi / (beta + 1)))}
    for name, (measured, wanted) in answers.items():
        held.near("%s: %s (C)" % (what, name), measured, wanted, 0.02)
        if name in printed:
            held.near("%s: %s as the book prints it" % (what, name), measured, printed[name][0], printed[name][1])


def emitter_follower_cases():
    # Capacitors that 1 kHz hardly sees; the output is read at 10 kHz, where 10 uF is 1.6 ohm across the phase.
    classic = """
* Classic example: 12 V, base resistor 220 k, emitter resistor 3.3 k, gain 100 (M)
c1 in b 10u
r1 vcc b 220k
q1 vcc b e ideal
r2 e 0 3.3k
c2 e out 10u
.model ideal npn(is=1f bf=100)
"""
    divider = """
* Example 13.22: two times 10 k, emitter resistor 4.3 k, load 10 k, gain 200 (T [46])
c1 in b 10u
r1 vcc b 10k
r2 b 0 10k
q1 vcc b e ideal
r3 e 0 4.3k
c2 e out 10u
r4 out 0 10k
.model ideal npn(is=1f bf=200)
"""
    yield Case("classic_emitter_follower", buffer_text("classic_emitter_follower", classic), lambda held, found, path:
               hold_emitter_follower(held, found, path, "emitter follower, classic example", 220e3, 3.3e3, 1e15, 100,
                                     {"input": (132.7e3, 0.02), "output": (12.56, 0.02), "gain": (0.996, 0.002)}), "12 V")
    yield Case("divider_emitter_follower", buffer_text("divider_emitter_follower", divider), lambda held, found, path:
               hold_emitter_follower(held, found, path, "emitter follower, ex. 13.22", 5e3, 4.3e3, 10e3, 200,
                                     {"input": (4.96e3, 0.02)}), "10 V")


def source_follower_case():
    text = """
* Example 8.10: IDSS 16 mA, VP -4 V, 2.2 k, 1 M, yos 25 uS at 9 V (T [45]). The book leaves yos out of the point of rest
* (1.3 mA, -2.86 V): beta = 16 mA / VP^2 / (1 + lambda VDS), so that the model rests there, and lambda makes 25 uS there.
c1 in g 10u
r1 g 0 1meg
j1 vcc g s fet
r2 s 0 2.2k
c2 s out 10u
.model fet njf(vto=-4 beta=0.8819m lambda=0.0218 cgs=4p cgd=2p rd=1 rs=1)
"""

    def hold(held, found, path):
        source_v = rest_of(path)["v(xdut.s)"]
        drain_a, slope = source_v / 2.2e3, 1 + 0.0218 * (9 - source_v)
        gm = 2 * math.sqrt(0.8819e-3 * drain_a * slope)
        shunt = par(2.2e3, slope / (0.0218 * drain_a))
        held.near("source follower, ex. 8.10: gm 2.28 mS (T)", gm, 2.28e-3, 0.02)
        level = 10 ** (found.value("gain_1khz_db") / 20)
        held.near("source follower, ex. 8.10: rests at 2.86 V (T)", source_v, 2.86, 0.02)
        held.near("source follower: gain (C)", level, gm * par(shunt, LOAD_OHM) / (1 + gm * par(shunt, LOAD_OHM)), 0.02)
        held.near("source follower: output (C)", found.value("output_impedance_10khz_ohm"), par(shunt, 1 / gm), 0.02)
        held.near("source follower: input (T)", found.value("input_impedance_1khz_ohm"), 1e6, 0.02)
        held.near("source follower: output as the book prints it (T)", found.value("output_impedance_10khz_ohm"), 362.4, 0.02)
        held.near("source follower: gain as the book prints it (T)", level, 0.83, 0.02)
        # A step goes straight through the gate's capacitance for some ns: more than the gain, but nothing swings.
        held.say(found.words("stability").startswith("stable"), "source follower: stable, one pole cannot ring", found.words("stability"))

    return Case("book_source_follower", buffer_text("book_source_follower", text), hold)


def shipped_cases():
    """gain and output of two shipped designs, by the same formulas with the parts of their circuits."""
    def emitter(held, found, path):
        collector_a = rest_of(path)["v(xdut.e)"] / 10e3 * 250 / 251
        inside = THERMAL_V / collector_a + 0.5 + 100 / 251
        below = par(10e3, par(100 + LOAD_OHM, 100 + 100e3 * LOAD_OHM / (100e3 + LOAD_OHM)))
        held.near("shipped emitter follower: gain", 10 ** (found.value("gain_1khz_db") / 20),
                  below / (below + inside) * par(100e3, LOAD_OHM) / (100 + par(100e3, LOAD_OHM)), 0.02)
        held.near("shipped emitter follower: output", found.value("output_impedance_10khz_ohm"), 100 + par(10e3, inside), 0.02)

    def source(held, found, path):
        rest = rest_of(path)
        drain_a = rest["v(xdut.s)"] / 6.8e3
        slope = 1 + 4e-3 * (9 - rest["v(xdut.s)"])
        inside = 1 / (2 * math.sqrt(0.93e-3 * drain_a * slope)) + 15
        shunt = par(6.8e3, slope / (4e-3 * drain_a))
        below = par(shunt, 100 + par(100e3, LOAD_OHM))
        held.near("shipped source follower: gain", 10 ** (found.value("gain_1khz_db") / 20),
                  below / (below + inside) * par(100e3, LOAD_OHM) / (100 + par(100e3, LOAD_OHM)), 0.02)
        held.near("shipped source follower: output", found.value("output_impedance_10khz_ohm"), 100 + par(shunt, inside), 0.02)

    yield "emitter-follower", emitter
    yield "source-follower", source


# Corners

def corner_cases():
    def low(held, found, path):
        held.near("low corner of 22 n and 470 k: 1/(2 pi R C)", found.value("low_cutoff_hz"),
                  1 / (2 * math.pi * 22e-9 * 470e3), 1e-3)

    def high(held, found, path):
        held.near("high corner of 10 k and 220 p: 1/(2 pi R C)", found.value("high_cutoff_hz"),
                  1 / (2 * math.pi * 220e-12 * 10e3), 1e-3)

    def loaded(held, found, path):
        for name, farad in (("1nf", 1e-9), ("10nf", 10e-9)):
            for load, ohm in (("10k", 10e3), ("1m", 1e6)):
                corner = 1 / (2 * math.pi * farad * par(1.5e3, ohm))
                held.meanings("corner of 1.5 k into %s, %s" % (name, load),
                              [(name, found.value("drive_%s_%s_cutoff_hz" % (name, load)),
                                {"against 1 kHz": corner * math.sqrt(1 + 2 * (1e3 / corner) ** 2),
                                 "1/(2 pi R C)": corner})], 1e-3)
                held.near("gain of 1.5 k into %s, %s at 1 kHz" % (name, load), found.value("drive_%s_%s_gain_db" % (name, load)),
                          20 * math.log10(abs(par(1.5e3, ohm) / (1 + 2j * math.pi * 1e3 * farad * par(1.5e3, ohm)))
                                          / par(1.5e3, LOAD_OHM)), absolute=2e-3)
        # |1 + jx|^2 = 10^0.01 at 20 kHz.
        held.near("lead that costs 0.1 dB at 20 kHz behind 1.5 k", found.value("cable_100mdb_20khz_farad"),
                  math.sqrt(10 ** 0.01 - 1) / (2 * math.pi * 20e3 * par(1.5e3, LOAD_OHM)), 5e-3)
        held.near("output resistance of 1.5 k", found.value("output_resistance_1khz_ohm"), 1.5e3, 2e-3)

    yield Case("low_corner", buffer_text("low_corner", "c1 in a 22n\nr1 a 0 470k\ne1 out 0 a 0 1"), low)
    yield Case("high_corner", buffer_text("high_corner", "r0 in 0 1meg\nr1 in a 10k\nc1 a 0 220p\ne1 out 0 a 0 1"), high)
    yield Case("plain_resistance", buffer_text("plain_resistance", "r0 in 0 1meg\ne1 a 0 in 0 1\nr1 a out 1.5k"), loaded)


# Noise

A_TABLE = {31.5: -39.4, 63: -26.2, 125: -16.1, 250: -8.6, 500: -3.2, 1000: 0.0, 2000: 1.2, 4000: 1.0, 8000: -1.1,
           12500: -4.3, 16000: -6.6}  # IEC 61672-1:2013 Table 3 (S [24])


def exact_hz(nominal):
    """The base-ten frequency that a nominal third-octave frequency stands for."""
    return 1000 * 10 ** (round(10 * math.log10(nominal / 1000)) / 10)


def spread(power, first=20.0, last=20e3, middle=None):
    """Integral over frequency, by adaptive quadrature over its logarithm, in pieces."""
    edges = np.geomspace(first, last, 40)
    if middle:
        edges = np.sort(np.concatenate([edges, middle * np.array([0.9, 0.97, 1.0, 1.03, 1.1])]))
        edges = edges[(edges >= first) & (edges <= last)]
    return sum(integrate.quad(lambda u: power(math.exp(u)) * math.exp(u), math.log(a), math.log(b), epsrel=1e-9)[0]
               for a, b in zip(edges[:-1], edges[1:]))


def hold_weighting(held):
    """The weighting that the other comparisons use, against the standard's table."""
    for nominal, level in A_TABLE.items():
        held.near("A-weighting at %g Hz, IEC 61672-1 table (S)" % nominal,
                  20 * math.log10(bench_decks.a_weight(exact_hz(nominal))), level, absolute=0.051)


def resistor_case():
    def hold(held, found, path):
        seen = par(1e3, LOAD_OHM)
        density = math.sqrt(4 * BOLTZMANN * KELVIN * seen)
        held.near("1 kohm at 300.15 K: 4.07 nV/rtHz (C)", found.value("noise_density_1khz_v_rthz"), 4.07e-9, 5e-3)
        held.near("1 kohm: referred to the input", found.value("input_noise_density_1khz_v_rthz"), density * LOAD_OHM / seen * 1e-3,
                  5e-3)
        held.near("1 kohm: 20 Hz to 20 kHz", found.value("noise_short_v"), density * math.sqrt(19980), 5e-3)
        weighted = math.sqrt(spread(lambda f: float(bench_decks.a_weight(f)) ** 2) / 19980)
        held.near("white noise, A-weighted over unweighted (C, quadrature)",
                  found.value("noise_short_a_v") / found.value("noise_short_v"), weighted, 3e-3)
        eleven = math.sqrt(4 * BOLTZMANN * KELVIN * par(11e3, LOAD_OHM) * 19980)
        held.near("1 kohm behind 10 kohm: 20 Hz to 20 kHz", found.value("noise_10k_v"), eleven, 5e-3)
        held.near("1 kohm behind 10 kohm: A-weighted", found.value("noise_10k_a_v"), eleven * weighted, 5e-3)
        for noise in found.entry.get("noise", []):
            shares = {part["name"]: part["share"] for part in noise["parts"]}
            # The load of 1 Mohm has a share too: power goes as each conductance's part of what the output sees.
            if noise["source"] == "shorted":
                held.near("1 kohm: its own share", shares.get("r1"), LOAD_OHM / (LOAD_OHM + 1e3), 2e-3)
            elif noise["source"].startswith("10 k"):
                held.near("1 kohm behind 10 kohm: its own share", shares.get("r1"), 1 / 11 * LOAD_OHM / (LOAD_OHM + 11e3), 2e-3)
                held.near("1 kohm behind 10 kohm: the source's share", shares.get("the source"),
                          10 / 11 * LOAD_OHM / (LOAD_OHM + 11e3), 2e-3)

    return Case("noisy_resistor", buffer_text("noisy_resistor", "r1 in out 1k"), hold)


def resonator_case(nominal):
    """Noise in a narrow band: three tuned circuits of Q 4, no sharper than a pickup, after a hot resistor."""
    hz, quality = exact_hz(nominal), 4.0
    henry, ohm = 1.0, 2 * math.pi * hz * quality
    farad = 1 / ((2 * math.pi * hz) ** 2 * henry)
    lines = "r0 in 0 1meg\nr1 n 0 100k\ne1 a 0 n 0 1e4\n"
    for i, (near, far) in enumerate((("a", "b"), ("c", "d"), ("e", "f"))):
        lines += "r1%d %s %s %.12g\nl%d %s 0 %g\nc%d %s 0 %.12g\n" % (i, near, far, ohm, i, far, henry, i, far, farad)
        if far != "f":
            lines += "e1%d %s 0 %s 0 1\n" % (i, chr(ord(far) + 1), far)
    lines += "e2 o in f 0 1\nr2 o out 1\n"

    def hold(held, found, path):
        def power(f):
            return (1 + (quality * (f / hz - hz / f)) ** 2) ** -3

        plain = spread(power, middle=hz)
        weighted = spread(lambda f: power(f) * float(bench_decks.a_weight(f)) ** 2, middle=hz)
        wanted = 10 * math.log10(weighted / plain)
        measured = 20 * math.log10(found.value("noise_short_a_v") / found.value("noise_short_v"))
        held.near("A-weighting of noise around %g Hz (C, quadrature), dB" % nominal, measured, wanted, absolute=0.05)
        held.near("A-weighting of noise around %g Hz, table (S), dB" % nominal, measured, A_TABLE[nominal], absolute=0.5)
        density = 1e4 * math.sqrt(4 * BOLTZMANN * KELVIN * 100e3)
        held.near("noise around %g Hz, V" % nominal, found.value("noise_short_v"), density * math.sqrt(plain), 0.01)

    name = "resonator_%d" % round(hz)
    return Case(name, buffer_text(name, lines), hold)


# Capacitive loads

OP_AMP_HZ, OP_AMP_OHM = 1e6, 100.0


def linear_op_amp_case():
    """A follower with one pole in the op-amp and one at its output: exactly second order into a lead."""
    text = """
r1 in 0 1meg
g1 0 g in out 6.28318530718m
r2 g 0 1g
c1 g 0 1n
e1 h 0 g 0 1
r3 h out 100
"""

    def hold(held, found, path):
        for name, farad in (("1nf", 1e-9), ("3nf", 3e-9), ("10nf", 10e-9)):
            lag = 2 * math.pi * OP_AMP_HZ * OP_AMP_OHM * farad  # w_t Ro C = Q^2
            crossing = math.sqrt((math.sqrt(1 + 4 * lag ** 2) - 1) / 2) / lag  # w / w_t where |A| = 1
            margin = 90 - math.degrees(math.atan(crossing * lag))

            # Phase margin of a two-pole loop to Q (T [31], ex. 8.3), then overshoot from zeta = 1/(2Q) (S [48]).
            def surplus(q):
                return math.degrees(math.acos(math.sqrt(1 + 1 / (4 * q ** 4)) - 1 / (2 * q ** 2))) - margin

            quality = optimize.brentq(surplus, 0.51, 50)
            held.near("Q from phase margin %.1f deg into %s is sqrt(wt Ro C)" % (margin, name), quality, math.sqrt(lag), 1e-6)
            zeta = 1 / (2 * quality)
            held.near("op-amp into %s, phase margin %.1f deg: overshoot, %%" % (name, margin),
                      found.value("overshoot_%s_1m_percent" % name),
                      100 * math.exp(-math.pi * zeta / math.sqrt(1 - zeta ** 2)), 0.1)
            if quality > math.sqrt(0.5):
                held.near("op-amp into %s: peak, dB" % name, found.value("peaking_%s_1m_db" % name),
                          20 * math.log10(quality / math.sqrt(1 - 1 / (4 * quality ** 2))), absolute=0.1)

    return Case("linear_op_amp", buffer_text("linear_op_amp", text), hold)


def ringing_cases():
    """A tuned circuit behind a buffer: every load sees the same."""
    def text(quality):
        ohm = math.sqrt(10e-3 / 10e-9) / quality
        return "r0 in 0 1meg\nr1 in a %.9g\nl1 a b 10m\nc1 b 0 10n\ne1 o 0 b 0 1\nr2 o out 1" % ohm

    def rings(held, found, path):
        words = found.words("stability")
        held.say(words.startswith("rings"), "RLC of Q 20, 15.92 kHz, decay 2.5 kHz: rings", words)
        zeta = 1 / 40
        held.near("RLC of Q 20: overshoot, %", found.value("overshoot_0_1m_percent"),
                  100 * math.exp(-math.pi * zeta / math.sqrt(1 - zeta ** 2)), 0.1)
        held.near("RLC of Q 20: peak, dB", found.value("peaking_0_1m_db"), 20 * math.log10(20 / math.sqrt(1 - 1 / 1600)), absolute=0.1)
        hz = [float(n) * (1e3 if k else 1) for n, k in re.findall(r"([\d.]+) (k?)Hz", words)]
        if hz:
            held.near("RLC of Q 20: where it rings", hz[0], 15915.5 * math.sqrt(1 - zeta ** 2), 0.02)

    def calm(held, found, path):
        held.say(found.words("stability").startswith("stable"), "RLC of Q 0.6: stable", found.words("stability"))

    yield Case("ringing", buffer_text("ringing", text(20)), rings)
    yield Case("calm", buffer_text("calm", text(0.6)), calm)


def oscillating_cases():
    """A(s) = wt / (s (1 + s/w2)^2) as a follower is unstable where wt > 2 w2 (Routh; C). Into a lead that makes a pole far
    below wt, it is so where wt > w2/2: the second one is at rest until a lead is plugged in."""
    def text(crossing_hz, pole_hz, output_ohm):
        return """
r1 in 0 1meg
b1 0 g i=20m*tanh((v(in)-v(out))*%.9g)
r2 g 0 100k
c1 g 0 100n
e1 h 0 g 0 1
r3 h k 1k
c3 k 0 %.9g
e2 l 0 k 0 1
r4 l m 1k
c4 m 0 %.9g
e3 n 0 m 0 1
r5 n out %g
""" % (2 * math.pi * crossing_hz * 100e-9 / 20e-3, 1 / (2 * math.pi * 1e3 * pole_hz), 1 / (2 * math.pi * 1e3 * pole_hz), output_ohm)

    def always(held, found, path):
        held.say(found.words("stability").startswith("oscillates"), "unstable follower, wt = 3.3 w2: oscillates", found.words("stability"))

    def loaded(held, found, path):
        held.say(found.words("stability").startswith("oscillates"), "follower unstable into a lead, wt = 0.9 w2: oscillates",
                 found.words("stability"))

    yield Case("always_unstable", buffer_text("always_unstable", text(10e3, 3e3, 100)), always)
    yield Case("unstable_into_lead", buffer_text("unstable_into_lead", text(200e3, 220e3, 1e3)), loaded)


# Distortion

def hold_harmonics(held, found, label, series, names, relative):
    """`series(volts)`: amplitudes of harmonics 1, 2, ... of a sine; shares in percent of the first."""
    for name in names:
        amplitudes = np.abs(series(LEVELS[name]))
        shares = 100 * amplitudes[1:] / amplitudes[0]
        for n in range(2, 7):
            wanted = shares[n - 2]
            held.near("%s, %s: harmonic %d, %%" % (label, name, n), found.value("harmonic_%d_%s_percent" % (n, name)), wanted,
                      relative, 0.0 if wanted > 5e-3 else 5e-6)


def polynomial_case():
    """x + a x^2 + b x^3 + c x^4 + d x^5, written with products; harmonics by the powers of a sine (C)."""
    a, b, c, d = 0.02, 0.01, 0.004, 0.002
    x = "v(in)"
    terms = "+".join("%g*%s" % (k, "*".join([x] * n)) for k, n in ((a, 2), (b, 3), (c, 4), (d, 5)))

    def series(volts):
        v = volts
        return np.array([v + 3 / 4 * b * v ** 3 + 5 / 8 * d * v ** 5, a * v ** 2 / 2 + c * v ** 4 / 2,
                         b * v ** 3 / 4 + 5 / 16 * d * v ** 5, c * v ** 4 / 8, d * v ** 5 / 16, 0.0])

    def hold(held, found, path):
        hold_harmonics(held, found, "polynomial", series, LEVELS, 1e-3)
        for name, volts in LEVELS.items():
            h = series(volts)
            held.near("polynomial, %s: THD, %%" % name, found.value("thd_%s_percent" % name),
                      100 * np.sqrt(np.sum(h[1:] ** 2)) / h[0], 1e-3)
        held.say((found.value("thd_floor_percent") or 1) < 5e-4, "numerical floor below 0.0005 %", str(found.value("thd_floor_percent")))

    return Case("polynomial", buffer_text("polynomial", "r0 in 0 1meg\nb1 a 0 v=%s+%s\nr1 a out 1" % (x, terms)), hold)


def clipped_series(volts, count=40, limit=1.0):
    """Fourier series of a sine clipped at `limit` (C): b_n = (4/pi) times the integral of f sin(n t) over a quarter period."""
    if volts <= limit:
        return np.array([volts] + [0.0] * (count - 1))
    angle = math.asin(limit / volts)
    series = []
    for n in range(1, count + 1):
        if n % 2 == 0:
            series.append(0.0)
        elif n == 1:
            series.append(2 / math.pi * (volts * angle + limit * math.cos(angle)))
        else:
            sloped = volts * (math.sin((n - 1) * angle) / (2 * (n - 1)) - math.sin((n + 1) * angle) / (2 * (n + 1)))
            series.append(4 / math.pi * (sloped + limit * math.cos(n * angle) / n))
    return np.array(series)


def check_clipped_series(held):
    for n in (1, 3, 5):
        def clipped(t, n=n):
            return min(2 * math.sin(t), 1.0) * math.sin(n * t)

        wanted = 4 / math.pi * (integrate.quad(clipped, 0, math.pi / 6)[0] + integrate.quad(clipped, math.pi / 6, math.pi / 2)[0])
        held.near("series of a clipped sine, harmonic %d, by quadrature" % n, clipped_series(2.0)[n - 1], wanted, 1e-9)


def limiter_case():
    def hold(held, found, path):
        series = clipped_series(2.0)
        for n in (3, 5):
            held.near("ideal limiter at 1 V, 2 V in: harmonic %d, %%" % n, found.value("harmonic_%d_2v_percent" % n),
                      100 * abs(series[n - 1]) / series[0], 2e-3)
        for n in (2, 4, 6):
            held.near("ideal limiter: no harmonic %d" % n, found.value("harmonic_%d_2v_percent" % n), 0.0, absolute=5e-3)
        held.near("ideal limiter at 500 mV: no distortion", found.value("thd_500mv_percent"), 0.0, absolute=5e-4)
        meanings = {"harmonics to %d" % last: 100 * math.sqrt(sum(series[1:last] ** 2)) / series[0] for last in (6, 10, 20, 40)}
        held.meanings("ideal limiter: THD at 2 V", [("2v", found.value("thd_2v_percent"), meanings)], 5e-3)

        def surplus(volts, last):
            h = clipped_series(volts)
            return 100 * math.sqrt(sum(h[1:last] ** 2)) / h[0] - 1

        meanings = {"harmonics to %d" % last: optimize.brentq(surplus, 1.0001, 2, args=(last,)) for last in (6, 10, 20, 40)}
        for spot in ("100hz", "1khz", "5khz"):
            held.meanings("ideal limiter: headroom at %s" % spot, [(spot, found.value("headroom_%s_v" % spot), meanings)], 5e-3)

    lines = "r0 in 0 1meg\nb1 a 0 v=0.5*(abs(v(in)+1)-abs(v(in)-1))\nr1 a out 1"
    return Case("ideal_limiter", buffer_text("ideal_limiter", lines), hold)


def slew_case():
    """13 V/us: no more than 1.3 mA into 100 pF (C)."""
    text = """
r0 in 0 1meg
b1 0 g i=min(max((v(in)-v(out))*10m,-1.3m),1.3m)
r1 g 0 1g
c1 g 0 100p
e1 h 0 g 0 1
r2 h out 1
"""

    def hold(held, found, path):
        held.near("slew limit of 1.3 mA into 100 pF, V/s", found.value("slew_v_per_s"), 13e6, 0.05)

    return Case("slewing", buffer_text("slewing", text), hold)


def cases():
    yield from emitter_follower_cases()
    yield source_follower_case()
    yield from corner_cases()
    yield resistor_case()
    for nominal in (31.5, 125, 500, 2000, 8000):
        yield resonator_case(nominal)
    yield linear_op_amp_case()
    yield from ringing_cases()
    yield from oscillating_cases()
    yield polynomial_case()
    yield limiter_case()
    yield slew_case()


def main(build):
    held = bench_program.Held()
    hold_weighting(held)
    check_clipped_series(held)
    every, paths, holds = list(cases()), [], []
    with tempfile.TemporaryDirectory() as folder:
        for case in every:
            paths.append(bench_program.write_design(folder, case.name, case.circuit, case.name, supply=case.supply))
            holds.append(case.hold)
        for name, hold in shipped_cases():
            paths.append(os.path.join(ROOT, "models", "circuits", name + ".yaml"))
            holds.append(hold)
        answers = bench_program.run(os.path.abspath(build), paths, folder)
        for path, found, hold in zip(paths, answers, holds):
            try:
                hold(held, found, path)
            except (TypeError, ValueError, ZeroDivisionError) as fault:  # a figure that is missing
                troubles = ", ".join(name for name in found.figures if found.trouble(name))[:300]
                held.say(False, os.path.basename(path), "%s; not measured: %s" % (fault, troubles or "nothing"))
    return held.finish()


if __name__ == "__main__":
    sys.exit(main(sys.argv[1]))
