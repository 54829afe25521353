# SPDX-License-Identifier: GPL-3.0-or-later
"""Runs `toneload spread`, reads what it dumps, and works single trials out again with the nodal solver.

A rig is a dict as in nodal.py; a value with a tolerance is a rigs.Off. Figures follow the design's sections on
metrics and hearing: peak, -3 dB point and level from figures.py's search or a shorter one here, poles by Newton's
method on the determinant, bands by Gauss-Legendre quadrature (from memory, any textbook of numerical analysis).
"""

import copy
import csv
import json
import os
import re
import subprocess

import numpy as np
from scipy import stats

import figures
import nodal
import rigs

METRICS = ["peak_hz", "peak_db", "pole_hz", "q", "cutoff_hz", "level_db", "presence_db", "worst_db", "rms_db",
           "peak_shift_steps"]
PERCENTS = [1, 5, 25, 50, 75, 95, 99]
STEP = re.compile(r"\.?([a-z-]+)|\[([^\]]+)\]")
NODES, WEIGHTS = np.polynomial.legendre.leggauss(12)
ERB_NUMBERS = np.arange(3, 38)
TRUNCATED = stats.truncnorm(-3.0, 3.0)   # 3 t of a value with the distribution `normal`


class Run:
    """One run of the program; several may be under way at once. ask() waits for it and reads its answer."""

    def __init__(self, build, folder, name, rig, arguments, dump=True, command="spread"):
        self.name = name
        self.dump = os.path.join(folder, name + ".csv") if dump else None
        text = rig if isinstance(rig, str) else rigs.write_rig(rig)
        path = os.path.join(folder, name + ".yaml")
        with open(path, "w", encoding="utf-8") as file:
            file.write(text)
        # Answers go to files: a pipe that nobody empties yet would hold the program up.
        self.answer = open(os.path.join(folder, name + ".json"), "w+", encoding="utf-8")
        self.complaint = open(os.path.join(folder, name + ".err"), "w+", encoding="utf-8")
        self.process = subprocess.Popen(
            [os.path.join(build, "toneload"), command, path, "--json"] + arguments +
            (["--dump", self.dump] if dump else []), stdout=self.answer, stderr=self.complaint)

    def wait(self):
        """Exit code, standard output and standard error."""
        code = self.process.wait(timeout=300)
        texts = []
        for file in (self.answer, self.complaint):
            file.seek(0)
            texts.append(file.read())
            file.close()
        return code, texts[0], texts[1]

    def ask(self):
        """The answer, and the dumped columns if there are any."""
        code, answer, complaint = self.wait()
        if code != 0:
            raise RuntimeError("%s ended with %d: %s" % (self.name, code, complaint))
        return json.loads(answer), read_dump(self.dump) if self.dump else None


def read_dump(path):
    """{column: array}, an empty field as NaN."""
    with open(path, newline="", encoding="utf-8") as file:
        rows = list(csv.reader(file))
    table = np.array([[float(field) if field else np.nan for field in row] for row in rows[1:]])
    return dict(zip(rows[0], table.T.copy()))


def shares(value, column):
    """t of each trial: how far a value is off, in tolerances; -1 to 1."""
    return (column / value["nominal"] - 1.0) / value["tolerance"]


def enter(holder, step):
    """One step of a path: a key, a place in a list or a name in it; an item's part is gone through unnamed."""
    if isinstance(holder, list):
        if step.isdigit():
            return holder[int(step)]
        return next(item for item in holder if item.get("name") == step or item.get("loop", {}).get("name") == step)
    if step in holder and not (step == "pot" and isinstance(holder["pot"], dict)):
        return holder[step]
    for kind in ("cable", "pedal", "buffer", "contact", "pot", "loop"):
        if isinstance(holder.get(kind), dict) and step in holder[kind]:
            return holder[kind][step]
    raise KeyError(step)


def put(rig, path, value):
    """Sets the value that a path of the program's names."""
    steps = [a or b for a, b in STEP.findall(path)]
    holder = rig
    for step in steps[:-1]:
        holder = enter(holder, step)
    last = steps[-1]
    if last in holder and not isinstance(holder[last], dict):
        holder[last] = value
        return
    for kind in ("cable", "pedal", "buffer", "contact", "pot"):
        if isinstance(holder.get(kind), dict) and last in holder[kind]:
            holder[kind][last] = value
            return
    raise KeyError(path)


def get(rig, path):
    holder = rig
    for step in [a or b for a, b in STEP.findall(path)]:
        holder = enter(holder, step)
    return holder


def tolerance_of(value):
    """The share that a rigs.Off may be off, read from its own words."""
    return float(re.search(r"([\d.]+) %", value.off).group(1)) / 100.0


def with_shares(rig, values, t, followers=()):
    """The rig of one trial: `values` as the program lists them, t a number for each; followers {path: leader}.

    A follower moves by the t of its leader and by its own tolerance, whatever its own distribution is.
    """
    trial = copy.deepcopy(rig)
    of = {}
    for value, share in zip(values, t):
        put(trial, value["path"], value["nominal"] * (1.0 + value["tolerance"] * share))
        of[value["path"]] = share
    for path, leader in dict(followers).items():
        nominal, share = get(rig, path), of[leader]
        put(trial, path, float(nominal) * (1.0 + tolerance_of(nominal) * share))
    return trial


def measure(level, reference_hz=200.0):
    """figures.measure() with a coarser first look, for circuits whose humps are a third of an octave or wider."""
    hz = np.geomspace(reference_hz, figures.LAST_HZ, 217)
    db = level(hz)
    found = dict.fromkeys(("peak_hz", "peak_db", "cutoff_hz"))
    inner = np.flatnonzero((db[1:-1] > db[:-2]) & (db[1:-1] >= db[2:])) + 1
    start = 0
    if len(inner):
        top = inner[np.argmax(db[inner])]
        hump_hz, hump_db = refine_maximum(level, hz[top - 1], hz[top + 1])
        if hump_db - db[0] >= figures.LEAST_PEAK_DB:
            found["peak_hz"], found["peak_db"] = hump_hz, hump_db - db[0]
            start = top
    below = np.flatnonzero(db[start:] <= db[0] - figures.HALF_POWER_DB)
    if len(below):
        k = start + below[0]
        found["cutoff_hz"] = refine_crossing(level, db[0] - figures.HALF_POWER_DB, hz[k - 1], hz[k])
    return found


def refine_maximum(level, low, high):
    """The top of one hump: closing in, then the top of a polynomial through 13 points within some 2 %.

    Nearer than that the points differ by little more than rounding, and the top wanders.
    """
    while high / low > 1.02:
        hz = np.geomspace(low, high, 13)
        best = min(max(int(np.argmax(level(hz))), 1), 11)
        low, high = hz[best - 1], hz[best + 1]
    middle, half = np.sqrt(low * high), 0.5 * np.log(1.02)
    x = np.linspace(-1.0, 1.0, 13)
    hump = np.polynomial.Polynomial.fit(x, level(middle * np.exp(half * x)), 7, domain=[-1, 1])
    tops = hump.deriv().roots()
    top = tops[np.argmin(np.abs(tops))].real
    return middle * np.exp(half * top), hump(top)


def refine_crossing(level, target, low, high):
    """Where a falling level goes through the target: secant steps that never leave the bracket."""
    for _ in range(3):
        hz = np.geomspace(low, high, 13)
        db = level(hz)
        first = int(np.argmax(db <= target))
        low, high = hz[first - 1], hz[first]
    a, b = db[first - 1], db[first]
    return low * (high / low) ** ((a - target) / (a - b))


def choose_pole(circuit, node, peak_hz, largest):
    """The counting pair nearest to the peak within an octave; without a peak the design's other rule."""
    if peak_hz is not None:
        pairs = figures.collect_pairs(Lattice(circuit), node, peak_hz / 2, peak_hz * 2, largest)
        pairs = [p for p, weight in pairs if weight >= figures.COUNTS_FROM
                 and peak_hz / 2 <= abs(p) / (2 * np.pi) <= peak_hz * 2]
        best = min(pairs, key=lambda p: abs(np.log(abs(p) / (2 * np.pi * peak_hz))), default=None)
    else:
        pairs = figures.collect_pairs(Lattice(circuit), node, 500.0, 20e3, largest)
        pairs = [(p, weight) for p, weight in pairs if weight >= figures.COUNTS_FROM
                 and abs(p) > abs(p.real) and 500.0 <= abs(p) / (2 * np.pi) <= 20e3]
        best = max(pairs, key=lambda item: item[1], default=(None, 0))[0]
    return (None, None) if best is None else figures.describe_pole(best)


class Lattice:
    """A circuit that begins its search for poles from every third starting point; the rest is as before."""

    def __init__(self, circuit):
        self.circuit = circuit
        self.residue = circuit.residue

    def newton_poles(self, starts):
        return self.circuit.newton_poles(starts[::3])


def level_of(circuit, node):
    return lambda hz: 20.0 * np.log10(np.abs(nodal.respond(circuit, node, hz)))


def hz_of(number):
    return 1000 / 4.37 * (10 ** (number / 21.4) - 1)


def band_levels(circuit, node, numbers=ERB_NUMBERS):
    """dB of |H|^2 averaged over each band, uniformly in the ERB number (Glasberg and Moore 1990; seen)."""
    at = numbers[:, None] + 0.5 * NODES
    power = np.abs(nodal.respond(circuit, node, hz_of(at).ravel())).reshape(at.shape) ** 2
    return 10.0 * np.log10(power @ WEIGHTS / 2.0)


def hear(rig_db, direct_db):
    """level, presence, worst, rms and the matched differences."""
    centre = hz_of(ERB_NUMBERS)
    difference = rig_db - direct_db
    level = difference[(centre >= 200) & (centre <= 1000)].mean()
    matched = difference - level
    return {"level_db": level, "presence_db": matched[(centre >= 2000) & (centre <= 5000)].mean(),
            "worst_db": np.abs(matched).max(), "rms_db": np.sqrt(np.mean(matched ** 2)),
            "matched": matched}


def work_out(rig, poles=True):
    """The ten figures for each amp of a rig, None where the design says there is none; and the bands."""
    answers, outputs = [], nodal.build_outputs(rig)
    for at in range(0, len(outputs), 2):
        sides = []
        for _, _, circuit, node in outputs[at:at + 2]:
            level = level_of(circuit, node)
            found = measure(level)
            if poles:
                largest = np.abs(nodal.respond(circuit, node, np.geomspace(10, 1e5, 161))).max()
                found["pole_hz"], found["q"] = choose_pole(circuit, node, found["peak_hz"], largest)
            found["bands"] = band_levels(circuit, node)
            sides.append(found)
        mine, direct = sides
        figure = {key: mine.get(key) for key in METRICS[:5]}
        figure.update(hear(mine["bands"], direct["bands"]))
        figure["peak_shift_steps"] = None
        if poles and None not in (mine["peak_hz"], direct["peak_hz"], direct["q"]):
            figure["peak_shift_steps"] = abs(mine["peak_hz"] - direct["peak_hz"]) / (
                0.079 * direct["peak_hz"] / np.sqrt(direct["q"]))
        answers.append(figure)
    return answers


def compare_trial(dumped, wanted, worst):
    """Faults of one trial's figures: 1e-4 of a frequency or a Q, 1e-3 dB of a level. `worst` keeps the largest."""
    faults = []
    for key in METRICS:
        got, want = dumped[key], wanted[key]
        if np.isnan(got) != (want is None):
            faults.append("%s is %r, by nodal equations %r" % (key, got, want))
            continue
        if want is None:
            continue
        off, limit = abs(got - want), 1e-3
        if key in ("peak_hz", "pole_hz", "q", "cutoff_hz"):
            off, limit = off / abs(want), 1e-4
        if key == "peak_shift_steps":
            limit = 1e-3 + 1e-4 * abs(want)
        worst[key] = max(worst.get(key, 0.0), off)
        if not off <= limit:
            faults.append("%s is %.9g, by nodal equations %.9g" % (key, got, want))
    return faults
