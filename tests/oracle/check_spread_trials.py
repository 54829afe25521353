#!/usr/bin/python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""Single trials of `toneload spread` against the nodal solver: figures, slopes, curves and corners.

Usage: check_spread_trials.py BUILD_DIR

- 40 trials of each of five rigs: every figure of the dump from the dumped values alone (computed; definitions from
  the design's sections on metrics and hearing). The direct lead of the first rig follows the rig's lead with a
  tolerance of its own, which the dump does not show: the figures can only agree if both have the same t.
- Slopes of three of these rigs by central differences of the nodal solver (computed).
- Percentiles of curves against those of the same trials' curves (computed), to 0.02 dB: they come from bins of
  0.01 dB. Unlike those of figures they are not interpolated between trials (seen): each is the curve's lowest level
  that so many per cent of the trials do not exceed. In a thin tail that makes more than the bins do; it is printed.
- Corners: all 2^n worked out (computed), for every figure; of the figures that are monotone in every value no more
  than one trial in a thousand may lie beyond them. With many values: the corners that are named (computed).
"""

import copy
import itertools
import multiprocessing
import os
import sys
import tempfile

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
sys.dont_write_bytecode = True

import numpy as np

import nodal
import rigs
import spreads

Off = rigs.Off
TRIALS = 40

LONG = {
    "rig": "long cable, direct of the same reel",
    "guitar": {
        "pickup": {"inductance": Off(2.5, "+-7 %"), "resistance": Off(6e3, "+-7 % uniform"),
                   "capacitance": Off(110e-12, "+-20 %"),
                   "eddy": {"fraction": 0.3, "resistance": Off(150e3, "+-20 %")}},
        "volume": {"pot": Off(250e3, "+-20 %"), "taper": "audio", "position": 1.0},
        "tone": {"pot": Off(250e3, "+-20 % uniform"), "taper": "audio", "position": 0.8,
                 "capacitor": Off(22e-9, "+-10 %")}},
    "chain": [{"cable": {"capacitance": Off(110e-12, "+-12 %"), "resistance": Off(0.08, "+-10 %"),
                         "inductance": 0.4e-6}, "length": Off(12.0, "+-2 %"), "name": "lead"}],
    "amp": {"resistance": Off(1e6, "+-5 %"), "capacitance": Off(20e-12, "+-20 %")},
    "direct": [{"cable": {"capacitance": Off(90e-12, "+-6 %"), "resistance": Off(0.08, "+-10 %")},
                "length": Off(6.0, "+-3 %"), "follows": "lead"}],
}
LONG_FOLLOWERS = {"direct[0].capacitance": "chain[0].capacitance", "direct[0].resistance": "chain[0].resistance",
                  "direct[0].length": "chain[0].length"}

SPLIT = {
    "rig": "two amps behind two pickups",
    "guitar": {
        "pickups": [
            {"pickup": {"inductance": Off(2.4, "+-7 %"), "resistance": Off(6e3, "+-7 %"), "capacitance": 110e-12}},
            {"pickup": {"inductance": Off(4.5, "+-9 % uniform"), "resistance": Off(8e3, "+-7 %"),
                        "capacitance": 130e-12}}],
        "wiring": "series"},
    "chain": [
        {"cable": {"capacitance": Off(100e-12, "+-8 %"), "resistance": 0.08}, "length": 3.0},
        {"split": [
            {"name": "dry", "chain": [{"cable": {"capacitance": Off(95e-12, "+-8 %"), "resistance": 0.06},
                                       "length": 4.0}],
             "amp": {"resistance": Off(1e6, "+-5 %"), "stopper": Off(68e3, "+-10 %"), "grid": Off(100e-12, "+-20 %")}},
            {"name": "wet", "chain": [{"cable": {"capacitance": Off(120e-12, "+-8 % uniform"), "resistance": 0.1},
                                       "length": 7.0}],
             "amp": {"resistance": Off(470e3, "+-5 %"), "capacitance": Off(100e-12, "+-20 %")}}]}],
    "direct": [{"cable": {"capacitance": Off(100e-12, "+-8 %"), "resistance": 0.08}, "length": 5.0}],
}

BOARD = {
    "rig": "pot, loop, contact and buffer",
    "guitar": {
        "pickup": {"inductance": Off(4.2, "+-10 % uniform"), "resistance": Off(8.2e3, "+-7 %"),
                   "capacitance": Off(120e-12, "+-7 %")},
        "volume": {"pot": Off(500e3, "+-20 %"), "taper": "audio", "position": 1.0}},
    "chain": [
        {"cable": {"capacitance": Off(100e-12, "+-8 %"), "resistance": 0.08}, "length": Off(5.0, "+-1 %")},
        {"pot": {"pot": Off(500e3, "+-20 %"), "taper": "linear", "position": 1.0}},
        {"loop": {"name": "dirt", "engaged": True, "chain": [
            {"cable": {"capacitance": Off(110e-12, "+-8 %"), "resistance": 0.1}, "length": 0.5},
            {"pedal": {"bypass": "loaded-bypass", "input": {"resistance": Off(470e3, "+-5 %"),
                                                            "capacitance": Off(60e-12, "+-20 %")},
                       "output": {"resistance": 1e3}}, "name": "drive", "engaged": False}]}},
        {"contact": {"resistance": Off(0.5, "+-50 % uniform"), "leakage": Off(10e6, "+-50 %")}},
        {"buffer": {"input": {"resistance": Off(1e6, "+-5 %"), "capacitance": Off(30e-12, "+-20 %")},
                    "output": {"resistance": Off(10e3, "+-5 %"), "coupling": Off(1e-6, "+-10 %")}}},
        {"cable": {"capacitance": Off(150e-12, "+-8 % uniform"), "resistance": 0.08}, "length": 9.0}],
    "amp": {"resistance": Off(220e3, "+-5 %"), "capacitance": Off(20e-12, "+-20 %")},
    "direct": [{"cable": {"capacitance": Off(100e-12, "+-8 %"), "resistance": 0.08}, "length": 6.0}],
}

# Frequencies of the peak, its height, the -3 dB point and Q are monotone in every value of this one.
SMALL = {
    "rig": "small",
    "guitar": {"pickup": {"inductance": Off(2.5, "+-5 % uniform"), "resistance": Off(6e3, "+-10 %"),
                          "capacitance": Off(110e-12, "+-10 % uniform")}},
    "chain": [{"cable": {"capacitance": Off(100e-12, "+-10 %"), "resistance": 0.08}, "length": 6.0}],
    "amp": {"resistance": Off(1e6, "+-10 % uniform")},
    "direct": [{"cable": {"capacitance": 80e-12, "resistance": 0.08}, "length": 5.0}],
}
CURVE_TRIALS = 300
CORNER_TRIALS = 2000
WITH_CORNERS = ("split", "board")

# The lead that follows would by itself be drawn from another distribution.
MIXED = copy.deepcopy(LONG)
MIXED["direct"][0]["cable"]["capacitance"] = Off(90e-12, "+-6 % uniform")

# Its peak comes to 0.1 dB in some of its trials only, and then the pole may lie more than an octave from it.
FAINT = {
    "rig": "a peak that comes and goes",
    "guitar": {
        "pickup": {"inductance": Off(2.5, "+-7 %"), "resistance": Off(6e3, "+-7 %"),
                   "capacitance": Off(110e-12, "+-7 %")},
        "volume": {"pot": Off(250e3, "+-20 %"), "taper": "linear", "position": 0.73}},
    "chain": [{"cable": {"capacitance": Off(100e-12, "+-8 %"), "resistance": 0.08}, "length": 9.0}],
    "amp": {"resistance": Off(1e6, "+-5 %")},
    "direct": [{"cable": {"capacitance": 100e-12, "resistance": 0.08}, "length": 3.0}],
}

RIGS = {"long": (LONG, LONG_FOLLOWERS), "split": (SPLIT, {}), "board": (BOARD, {}), "mixed": (MIXED, LONG_FOLLOWERS),
        "faint": (FAINT, {})}


def columns_of(dump, amps, at):
    """{figure: column} of one amp; with several amps a column's name begins with the amp's."""
    return {key: dump[key if len(amps) == 1 else amps[at] + " " + key] for key in spreads.METRICS}


def trial_job(job):
    """One trial worked out again: its figures, for each amp."""
    name, values, t = job
    rig, followers = RIGS[name]
    return spreads.work_out(spreads.with_shares(rig, values, t, followers))


def corner_job(job):
    values, t = job
    return spreads.work_out(spreads.with_shares(SMALL, values, t))[0]


def slope_job(job):
    """Change of each figure per 1 % of one value, by central differences of two widths, the step's error taken off."""
    name, values, k = job
    rig, followers = RIGS[name]

    def difference(h):
        sides = []
        for sign in (1, -1):
            t = np.zeros(len(values))
            t[k] = sign * h / values[k]["tolerance"]
            sides.append(spreads.work_out(spreads.with_shares(rig, values, t, followers)))
        return [{key: None if None in (a[key], b[key]) else (a[key] - b[key]) / (200.0 * h)
                 for key in spreads.METRICS} for a, b in zip(*sides)]

    wide, narrow = difference(4e-3), difference(2e-3)
    return [{key: None if None in (a[key], b[key]) else (4 * b[key] - a[key]) / 3 for key in a}
            for a, b in zip(wide, narrow)]


def amps_of(answer):
    """[(name, its part of the answer)]; the first amp's stands at the top."""
    if "amps" in answer:
        return [(part["amp"], part) for part in answer["amps"]]
    return [(answer["amp"], answer)]


def shares_of(answer, dump):
    return np.array([spreads.shares(value, dump[value["path"]]) for value in answer["values"]]).T


def check_trials(name, answer, dump, pool):
    faults, worst = [], {}
    t = shares_of(answer, dump)
    amps = [amp for amp, _ in amps_of(answer)]
    jobs = [(name, answer["values"], row) for row in t]
    for number, wanted in enumerate(pool.map(trial_job, jobs, chunksize=5)):
        for at, amp in enumerate(amps):
            columns = columns_of(dump, amps, at)
            row = {key: column[number] for key, column in columns.items()}
            faults += ["%s, trial %d, %s: %s" % (name, number, amp, fault)
                       for fault in spreads.compare_trial(row, wanted[at], worst)]
    print("%s: %d trials, %d values; largest difference: %s" % (
        name, len(t), t.shape[1], ", ".join("%s %.1e" % item for item in worst.items())))
    if name == "faint" and not all(0 < np.isnan(dump[key]).sum() < len(t) for key in ("peak_hz", "pole_hz")):
        faults.append("faint: no trial without a peak or a pole, or none with one: this rig should have both")
    return faults


def check_slopes(name, answer, pool):
    """Slopes to 1e-4 of the largest of the figure's slopes: small ones drown in the search for the peak."""
    faults, worst = [], {}
    values = answer["values"]
    found = pool.map(slope_job, [(name, values, k) for k in range(len(values))], chunksize=1)
    for at, (amp, part) in enumerate(amps_of(answer)):
        got = {(s["metric"], s["path"]): s["slope"] for s in part["sensitivity"]}
        for key in spreads.METRICS:
            largest = max((abs(f[at][key]) for f in found if f[at][key] is not None), default=0.0)
            for value, f in zip(values, found):
                want, have = f[at][key], got[key, value["path"]]
                if (want is None) != (have is None):
                    faults.append("%s, %s: slope of %s by %s is %r, by nodal equations %r" % (
                        name, amp, key, value["path"], have, want))
                elif want is not None and largest:
                    off = abs(have - want) / largest
                    worst[key] = max(worst.get(key, 0.0), off)
                    if not off <= 1e-4:
                        faults.append("%s, %s: slope of %s by %s is %.9g, by nodal equations %.9g" % (
                            name, amp, key, value["path"], have, want))
    print("%s: slopes of %d values; largest difference, of the figure's largest slope: %s" % (
        name, len(values), ", ".join("%s %.1e" % item for item in worst.items())))
    return faults


def curve_job(job):
    """A trial's curve relative to 200 Hz, and its matched difference from direct."""
    values, t, hz = job
    rig = spreads.with_shares(SMALL, values, t)
    sides = [(circuit, node) for _, _, circuit, node in nodal.build_outputs(rig)]
    (mine, direct) = [spreads.level_of(*side)(np.append(hz, 200.0)) for side in sides]
    bands = [spreads.band_levels(*side) for side in sides]
    return mine[:-1] - mine[-1], mine[:-1] - direct[:-1] - spreads.hear(*bands)["level_db"]


def check_curves(answer, dump, pool):
    faults, worst = [], {}
    hz = np.array(answer["curves"]["hz"])
    t = shares_of(answer, dump)
    curves = pool.map(curve_job, [(answer["values"], row, hz) for row in t], chunksize=25)
    for name, table in zip(("level", "difference"), map(np.array, zip(*curves))):
        got = answer["curves"][name]
        nominal = curve_job((answer["values"], np.zeros(t.shape[1]), hz))[name == "difference"]
        wanted = {"p%02d" % p: np.percentile(table, p, axis=0) for p in spreads.PERCENTS}
        wanted["nominal"] = nominal
        for key, want in wanted.items():
            off = np.abs(np.array(got[key]) - want)
            limit = 1e-3 if key == "nominal" else 0.011
            worst[key] = max(worst.get(key, 0.0), off.max())
            if not off.max() <= limit:
                faults.append("curves: %s of %s is off by %.4f dB at %.0f Hz" % (
                    key, name, off.max(), hz[int(np.argmax(off))]))
    print("curves: %d trials, %d frequencies; largest difference (dB): %s" % (
        len(t), len(hz), ", ".join("%s %.4f" % item for item in worst.items())))
    return faults


def check_corners(answer, dump, pool):
    faults, worst = [], 0.0
    values = answer["values"]
    if answer["worst_case"] != {"corners": 2 ** len(values), "all": True}:
        faults.append("corners: %r" % answer["worst_case"])
    corners = list(itertools.product((-1, 1), repeat=len(values)))
    found = pool.map(corner_job, [(values, corner) for corner in corners], chunksize=4)
    place = {corner: figure for corner, figure in zip(corners, found)}
    for key in spreads.METRICS:
        metric = answer["metrics"][key]
        figures = np.array([f[key] for f in found], dtype=float)
        scale = 1.0 if key.endswith("_db") or key == "peak_shift_steps" else figures.max()
        limit = 1e-3 if scale == 1.0 else 1e-4
        for word, want in (("least", figures.min()), ("most", figures.max())):
            at = place[tuple(metric[word + "_at"][value["path"]] for value in values)][key]
            off = max(abs(metric[word] - want), abs(at - want)) / scale
            worst = max(worst, off / limit)
            if not off <= limit:
                faults.append("corners: %s %s is %.9g, over all corners %.9g, at the corner named %.9g" % (
                    word, key, metric[word], want, at))
        if key in ("peak_hz", "peak_db", "pole_hz", "q", "cutoff_hz"):
            outside = np.mean((dump[key] < metric["least"]) | (dump[key] > metric["most"]))
            if not outside <= 1e-3:
                faults.append("corners: %.2f %% of trials have %s beyond the corners" % (100 * outside, key))
    print("corners: %d of %d values; largest difference %.2g of what is allowed" % (len(corners), len(values), worst))
    return faults


def check_slope_corners(name, answer, pool):
    """With many values only corners that slopes point to are tried: each figure stands as said at the corner named."""
    faults, worst, jobs, wanted = [], 0.0, [], []
    if answer["worst_case"] is None or answer["worst_case"]["all"]:
        faults.append("%s: %r corners of %d values" % (name, answer["worst_case"], len(answer["values"])))
    for at, (amp, part) in enumerate(amps_of(answer)):
        for key in spreads.METRICS:
            metric = part["metrics"][key]
            for word in ("least", "most"):
                corner = [metric[word + "_at"][value["path"]] for value in answer["values"]]
                jobs.append((name, answer["values"], corner))
                wanted.append((at, amp, key, word, metric))
    for (at, amp, key, word, metric), found in zip(wanted, pool.map(trial_job, jobs, chunksize=5)):
        relative = key in ("peak_hz", "pole_hz", "q", "cutoff_hz")
        off = abs(found[at][key] - metric[word]) / (found[at][key] if relative else 1.0)
        worst = max(worst, off / (1e-4 if relative else 1e-3))
        if not off <= (1e-4 if relative else 1e-3):
            faults.append("%s, %s: %s %s is %.9g, by nodal equations at that corner %.9g" % (
                name, amp, word, key, metric[word], found[at][key]))
        if not metric["least"] <= metric["nominal"] <= metric["most"] and key in ("peak_hz", "peak_db", "cutoff_hz"):
            faults.append("%s, %s: %s as written is not between the corners" % (name, amp, key))
    print("%s: %d corners named; largest difference %.2g of what is allowed" % (name, len(jobs), worst))
    return faults


def main():
    build = sys.argv[1]
    faults = []
    with tempfile.TemporaryDirectory() as folder, multiprocessing.Pool(2) as pool:
        stated = ["--only-stated", "--seed", "5"]
        stated += ["--jobs", "1"]
        runs = {name: spreads.Run(build, folder, name, rig, stated + ["--trials", str(TRIALS)] + (
            ["--worst-case"] if name in WITH_CORNERS else [])) for name, (rig, _) in RIGS.items()}
        curves = spreads.Run(build, folder, "curves", SMALL, stated + ["--trials", str(CURVE_TRIALS)])
        answers = {name: run.ask() for name, run in runs.items()}
        corners = spreads.Run(build, folder, "corners", SMALL,
                              stated + ["--trials", str(CORNER_TRIALS), "--worst-case"])
        faults += check_curves(*curves.ask(), pool)
        for name, (answer, dump) in answers.items():
            faults += check_trials(name, answer, dump, pool)
            if name != "faint":
                faults += check_slopes(name, answer, pool)
            if name in WITH_CORNERS:
                faults += check_slope_corners(name, answer, pool)
        faults += check_corners(*corners.ask(), pool)
    for fault in faults:
        print(fault)
    print("%d faults" % len(faults))
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main())
