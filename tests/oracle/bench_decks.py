# SPDX-License-Identifier: GPL-3.0-or-later
"""Puts a buffer design on a bench of its own: decks for `ngspice -b`, written and read here, and sums in NumPy.

A design file is read with a few lines of our own (it is flat), its circuit is included as it stands. Nothing here looks
at the program under test. Harmonics: a whole number of periods, resampled by a spline to uniform points, FFT.
"""

import os
import re
import subprocess
import tempfile

import numpy as np
from scipy import interpolate

LOADS_FARAD = {"0": 0.0, "100pf": 100e-12, "500pf": 500e-12, "1nf": 1e-9, "3nf": 3e-9, "10nf": 10e-9}
LOADS_OHM = {"10k": 10e3, "100k": 100e3, "1m": 1e6}
NO_LOAD_OHM = 1e6  # the load that the program calls none
TIGHT = ".options reltol=1e-7 abstol=1e-12 vntol=1e-9 method=gear"


class BenchFailed(Exception):
    """ngspice ended badly, or wrote nothing to read."""


def read_map(text):
    """{a: b, c: d} of one line."""
    return dict([part.strip() for part in pair.split(":", 1)] for pair in text.strip()[1:-1].split(",") if pair.strip())


class Design:
    """A design file and its circuit."""

    def __init__(self, path):
        fields = {}
        with open(path, encoding="utf-8") as file:
            for line in file:
                line = line.split(" #")[0].rstrip()
                if line and not line.startswith("#"):
                    key, value = line.split(":", 1)
                    fields[key.strip()] = value.strip().strip('"')
        self.path = path
        self.name = fields["design"]
        self.circuit = os.path.join(os.path.dirname(os.path.abspath(path)), fields["circuit"])
        self.subcircuit = fields["subcircuit"].lower()
        self.pins = {pin: port.lower() for pin, port in read_map(fields["pins"]).items()}
        supply = fields["supply"]
        volts = read_map(supply) if supply.startswith("{") else {"positive": supply}
        self.volts = {side: float(text.split()[0]) for side, text in volts.items()}
        with open(self.circuit, encoding="utf-8") as file:
            found = re.search(r"^\.subckt\s+%s\s+(.*)$" % re.escape(self.subcircuit), file.read(), re.I | re.M)
        self.ports = found.group(1).lower().split()

    def call(self, inside="in", out="out"):
        """The element line that places the design: supply at node `vp`, negative at `vn`, ground at 0."""
        nodes = {"in": inside, "out": out, "supply": "vp", "negative": "vn", "ground": "0"}
        by_port = {port: nodes[pin] for pin, port in self.pins.items()}
        return "xdut %s %s" % (" ".join(by_port[port] for port in self.ports), self.subcircuit)

    def lines(self, supply=None):
        """Circuit, supplies and call."""
        volts = self.volts["positive"] if supply is None else supply
        share = volts / self.volts["positive"]
        lines = [".include %s" % self.circuit, self.call(), "vsupply vp 0 dc %.12g ac 0" % volts]
        if "negative" in self.pins:
            lines.append("vnegative vn 0 dc %.12g" % (share * self.volts["negative"]))
        return lines


def read_raw(path):
    """A raw file of ngspice (ASCII head, doubles): {vector: array}, by lower-case names."""
    with open(path, "rb") as file:
        raw = file.read()
    head, _, body = raw.partition(b"Binary:\n")
    lines = head.decode("ascii", "replace").splitlines()
    kind = complex if any(line.startswith("Flags:") and "complex" in line for line in lines) else float
    first = lines.index("Variables:") + 1
    names = [line.split()[1].lower() for line in lines[first:] if line.strip()]
    table = np.frombuffer(body, dtype=kind).reshape(-1, len(names))
    return {name: table[:, i] for i, name in enumerate(names)}


def simulate(lines, analyses, options=(), seconds=120, said=None):
    """Runs analyses (control commands) one after another; returns one {vector: array} for each. One noise at most."""
    with tempfile.TemporaryDirectory() as folder:
        deck = ["* bench", *lines, *options, ".control", "set filetype=binary"]
        for i, analysis in enumerate(analyses):
            deck.append(analysis)
            if analysis.startswith("noise"):
                deck.append("setplot noise1")  # ngspice makes two plots; densities are in the first
            deck.append("write answer%d.raw all" % i)
        deck += ["quit", ".endc", ".end", ""]
        with open(os.path.join(folder, "deck.cir"), "w", encoding="utf-8") as file:
            file.write("\n".join(deck))
        done = subprocess.run(["ngspice", "-b", "deck.cir"], cwd=folder, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE,
                              stderr=subprocess.STDOUT, timeout=seconds, check=False,
                              env={"PATH": "/usr/bin:/bin", "HOME": folder, "LC_ALL": "C"})
        text = done.stdout.decode("utf-8", "replace")
        if said is not None:
            said.append(text)
        if "simulation(s) aborted" in text:
            raise BenchFailed("ngspice gave up: " + text[-600:])
        answers = []
        for i in range(len(analyses)):
            path = os.path.join(folder, "answer%d.raw" % i)
            if not os.path.exists(path):
                raise BenchFailed("ngspice wrote nothing for `%s`: %s" % (analyses[i], text[-1500:]))
            answers.append(read_raw(path))
        return answers


def at_points(hz):
    """An ac analysis at the given frequencies' ends; one frequency or a `dec` sweep given as (per decade, from, to)."""
    if isinstance(hz, tuple):
        return "ac dec %d %.15g %.15g" % hz
    return "ac lin 1 %.15g %.15g" % (hz, hz)


def load_lines(farad=0.0, ohm=NO_LOAD_OHM):
    return ["rload out 0 %.12g" % ohm] + (["cload out 0 %.12g" % farad] if farad > 0 else [])


def source_lines(ohm=0.0, extra="dc 0 ac 1"):
    """The source and its resistance, at node `in`."""
    if ohm > 0:
        return ["vsource emf 0 %s" % extra, "rsource emf in %.12g" % ohm]
    return ["vsource in 0 %s" % extra]


def rest(lines):
    """Operating point: {vector: value}."""
    return {name: values[0] for name, values in simulate(lines, ["op"])[0].items()}


def gain(design_lines, hz, farad=0.0, ohm=NO_LOAD_OHM):
    """Complex gain from an ideal source."""
    answer = simulate(design_lines + source_lines() + load_lines(farad, ohm), [at_points(hz)])[0]
    return answer["frequency"].real, answer["v(out)"]


def input_impedance(design_lines, hz, ohm=NO_LOAD_OHM):
    answer = simulate(design_lines + source_lines() + load_lines(0, ohm), [at_points(hz)])[0]
    return (-1.0 / answer["i(vsource)"])[0]


def output_impedance(design_lines, hz):
    """A current of 1 A into the output, the source shorted. A load that holds the output's DC is taken off again."""
    answer = simulate(design_lines + source_lines(0, "dc 0 ac 0") + load_lines() + ["iprobe 0 out dc 0 ac 1"],
                      [at_points(hz)])[0]
    both = answer["v(out)"][0]
    return both / (1 - both / NO_LOAD_OHM)


def noise_density(design_lines, ohm=0.0, per_decade=50, first=10.0, last=100e3, extra=()):
    """(frequency, V/rtHz) at the output."""
    answer = simulate(design_lines + source_lines(ohm) + load_lines() + list(extra),
                      ["noise v(out) vsource dec %d %.15g %.15g" % (per_decade, first, last)])[0]
    return answer["frequency"], answer["onoise_spectrum"]


def a_weight(hz):
    """A-weighting of IEC 61672-1, from its own constants (SOURCES section 3; computed): amplitude, 1 at 1 kHz."""
    reference, low, high, corner, half = 1000.0, 10 ** 1.5, 10 ** 3.9, 10 ** 2.45, np.sqrt(0.5)
    b = (reference ** 2 + low ** 2 * high ** 2 / reference ** 2 - half * (low ** 2 + high ** 2)) / (1 - half)
    c = low ** 2 * high ** 2
    f1 = np.sqrt((-b - np.sqrt(b * b - 4 * c)) / 2)
    f4 = np.sqrt((-b + np.sqrt(b * b - 4 * c)) / 2)
    f2 = (3 - np.sqrt(5)) / 2 * corner
    f3 = (3 + np.sqrt(5)) / 2 * corner

    def raw(f):
        return f4 ** 2 * f ** 4 / ((f ** 2 + f1 ** 2) * np.sqrt(f ** 2 + f2 ** 2) * np.sqrt(f ** 2 + f3 ** 2) * (f ** 2 + f4 ** 2))

    return raw(np.asarray(hz, dtype=float)) / raw(1000.0)


def noise_volts(hz, density, weight=None, first=20.0, last=20e3):
    """Root of the integral of density squared from 20 Hz to 20 kHz, by a spline over log frequency."""
    dense = np.geomspace(first, last, 20001)
    log_power = interpolate.CubicSpline(np.log(hz), np.log(density ** 2))(np.log(dense))
    power = np.exp(log_power) * (weight(dense) ** 2 if weight else 1.0)
    return np.sqrt(np.trapezoid(power, dense)) if hasattr(np, "trapezoid") else np.sqrt(np.trapz(power, dense))


def sine_run(design_lines, volts, hz, settle=8, periods=4, steps=500, ohm=NO_LOAD_OHM, options=(TIGHT,), said=None):
    """(time, v(out)) of a sine of `volts` peak: `periods` whole periods after `settle` periods."""
    end = (settle + periods) / hz
    step = 1.0 / hz / steps
    lines = design_lines + source_lines(0, "dc 0 sin(0 %.12g %.12g)" % (volts, hz)) + load_lines(0, ohm)
    answer = simulate(lines, ["tran %.12g %.15g 0 %.12g" % (step, end, step)], options, said=said)[0]
    return answer["time"], answer["v(out)"]


def harmonics(time, volts, hz, periods=4, points=4096, count=20, orders=40):
    """Complex amplitudes of DC and the first harmonics, of the last whole periods.

    A coupling capacitor that still settles leaves a slow drift, whose own harmonics fall as 1/n: it is fitted by a
    cubic beside the harmonics (least squares) and taken off before the FFT.
    """
    phase = np.arange(points) * periods / points
    keep = np.concatenate([[True], np.diff(time) > 0])
    samples = interpolate.CubicSpline(time[keep], volts[keep])(time[-1] + (phase - periods) / hz)
    turns = 2 * np.pi * np.outer(phase, np.arange(1, orders + 1))
    slow = np.vander(2 * phase / periods - 1, 4, increasing=True)
    fitted = np.linalg.lstsq(np.hstack([slow, np.cos(turns), np.sin(turns)]), samples, rcond=None)[0]
    spectrum = np.fft.rfft(samples - slow[:, 1:] @ fitted[1:4]) * 2 / points
    return spectrum[periods * np.arange(count + 1)]


def distortion(design_lines, volts, hz, **how):
    """(THD, harmonics 2 to 20) in percent of the first."""
    periods = how.get("periods", 4)
    time, out = sine_run(design_lines, volts, hz, **how)
    amplitudes = np.abs(harmonics(time, out, hz, periods))
    shares = 100 * amplitudes[2:] / amplitudes[1]
    return np.sqrt(np.sum(shares ** 2)), shares
