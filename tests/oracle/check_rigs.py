#!/usr/bin/python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""The program against the oracle, gnucap and ngspice on random rigs of every shape.

Usage: check_rigs.py BUILD_DIR [--rigs 200] [--seed 1] [--only NUMBER] [--keep FOLDER]

For each rig (files are written by rigs.py, answers worked out by nodal.py):
- `response --json`: every point within 0.01 dB and 0.1 degree of the oracle where the level is within 120 dB
  of the greatest; reference, peak, cut-off and bandwidth against a fine search on the oracle; pole and Q
  against Newton's iteration on the determinant of the oracle's own equations, and no better pole passed over.
- `netlist` through gnucap as it stands: within 0.01 dB of the oracle from 20 Hz to 20 kHz.
- the same deck through ngspice, on the program's own frequencies: within 1e-6 of the greatest of |H|.
Levels are 20 log10 |H| against an EMF of 1 V. Cables are exact in the oracle, pi sections in the program.
"""

import os
import sys

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
sys.dont_write_bytecode = True  # leaves the source folder as it is

import argparse
import json
import multiprocessing
import shutil
import tempfile

import numpy as np

import decks
import figures
import nodal
import rigs

POINTS = 226  # 75 a decade from 20 Hz to 20 kHz: the same frequencies as a sweep `dec 75`
LEVEL_DB = 0.01
PHASE_DEG = 0.1
FLOOR_DB = 120.0
NGSPICE_SHARE = 1e-6
HZ_SHARE = 1e-3
POLE_SHARE = 1e-3
FEWEST_OF_A_KIND = 5


def decibel(h):
    return 20.0 * np.log10(np.maximum(np.abs(h), 1e-300))


class Answer:
    """What one rig brought to light: faults in words, and the worst difference of each kind."""

    def __init__(self):
        self.faults = []
        self.worst = {}
        self.poles = self.peaks = 0

    def hold(self, what, kind, difference, allowed):
        """Notes a difference, and a fault when it is greater than allowed (or no number)."""
        difference = float(difference)
        self.worst[kind] = max(self.worst.get(kind, 0.0), difference)
        if not difference <= allowed:
            self.faults.append("%s: %s differs by %.3g, allowed %.3g" % (what, kind, difference, allowed))

    def fault(self, what, words, *values):
        self.faults.append("%s: %s" % (what, words % values))


def compare_curves(answer, what, kind, measured, wanted, phase=True):
    """Level and phase where the level is within 120 dB of the greatest."""
    loud = decibel(wanted) > decibel(wanted).max() - FLOOR_DB
    ratio = measured[loud] / wanted[loud]
    answer.hold(what, kind + ", dB", np.max(np.abs(decibel(ratio))), LEVEL_DB)
    if phase:
        answer.hold(what, kind + ", degrees", np.max(np.abs(np.degrees(np.angle(ratio)))), PHASE_DEG)


def compare_place(answer, what, kind, reported, wanted, level, target):
    """A frequency: within 0.1 %, or, where the curve is flat, at the same level within 0.0001 dB."""
    off = abs(reported / wanted - 1.0)
    if off > HZ_SHARE and abs(level(np.array([reported]))[0] - target) <= 1e-4:
        return
    answer.hold(what, kind + ", share", off, HZ_SHARE)


def compare_figures(answer, what, got, found, level):
    """Reference, peak, cut-off and bandwidth of one response."""
    answer.hold(what, "reference_db, dB", abs(got["reference_db"] - found["reference_db"]), LEVEL_DB)
    if got["reference_hz"] != 200:
        answer.fault(what, "reference_hz is %r", got["reference_hz"])
    if (got["peak_hz"] is None) != (found["peak_hz"] is None):
        highest = found["highest_db"]
        if highest is None or abs(highest - figures.LEAST_PEAK_DB) > 0.002:
            answer.fault(what, "peak_hz is %r, the oracle's %r", got["peak_hz"], found["peak_hz"])
        return
    if found["peak_hz"] is not None:
        answer.peaks += 1
        answer.hold(what, "peak_db, dB", abs(got["peak_db"] - found["peak_db"]), LEVEL_DB)
        compare_place(answer, what, "peak_hz", got["peak_hz"], found["peak_hz"], level,
                      found["peak_db"] + found["reference_db"])
    compare_optional(answer, what, "cutoff_hz", got, found, level, found["reference_db"] - figures.HALF_POWER_DB)
    compare_optional(answer, what, "bandwidth_q", got, found, None, None)


def compare_optional(answer, what, key, got, found, level, target):
    """A figure that may be null; at the very edge of the band either answer will do."""
    if got[key] is None and found[key] is None:
        return
    if got[key] is None or found[key] is None:
        edge = key == "cutoff_hz" and (got[key] or found[key]) > 0.998 * figures.LAST_HZ
        if not edge:
            answer.fault(what, "%s is %r, the oracle's %r", key, got[key], found[key])
        return
    if level:
        compare_place(answer, what, key, got[key], found[key], level, target)
    else:
        answer.hold(what, key + ", share", abs(got[key] / found[key] - 1.0), 5e-3)


def compare_pole(answer, what, got, circuit, node, largest):
    """The reported pole is one, counts, and no other counting pair suits the design's rule better."""
    peak_hz = got["peak_hz"]
    low, high = (0.5 * peak_hz, 2.0 * peak_hz) if peak_hz else (500.0, 20e3)
    if got["pole_hz"] is None:
        pairs = figures.collect_pairs(circuit, node, low, high, largest)
        missed = [(p, w) for p, w in pairs if suits(p, w, peak_hz, low, high, 1.01)]
        for pole, weight in missed:
            answer.fault(what, "no pole, the oracle has %.5g Hz, Q %.3g, weight %.1e",
                         *figures.describe_pole(pole), weight)
        return
    answer.poles += 1
    if got["q"] <= 0.5 or not 0.999 * low <= got["pole_hz"] <= 1.001 * high:
        answer.fault(what, "pole of %.5g Hz, Q %.3g is outside the rule", got["pole_hz"], got["q"])
        return
    reported = figures.pole_from(got["pole_hz"], got["q"])
    pairs = figures.collect_pairs(circuit, node, low, high, largest, [reported])
    if not pairs:
        answer.fault(what, "pole of %.5g Hz, Q %.3g: the oracle has none that counts", got["pole_hz"], got["q"])
        return
    pole, weight = min(pairs, key=lambda pair: abs(pair[0] - reported))
    answer.hold(what, "pole, share", abs(pole - reported) / abs(pole), POLE_SHARE)
    hz, q = figures.describe_pole(pole)
    answer.hold(what, "pole_hz, share", abs(got["pole_hz"] / hz - 1.0), POLE_SHARE)
    answer.hold(what, "q, share", abs(got["q"] / q - 1.0), 2 * POLE_SHARE)
    for other, share in pairs:
        if other is pole or not suits(other, share, peak_hz, low, high, 1.01):
            continue
        if peak_hz:
            better = abs(np.log(figures.describe_pole(other)[0] / peak_hz)) < abs(np.log(hz / peak_hz)) - 2e-3
        else:
            better = share > 1.01 * weight
        if better:
            answer.fault(what, "pole of %.5g Hz, Q %.3g: %.5g Hz, Q %.3g, weight %.1e suits better", got["pole_hz"],
                         got["q"], *figures.describe_pole(other), share)


def suits(pole, weight, peak_hz, low, high, margin):
    """Whether a pole plainly (by a margin) counts and lies where the design looks for one."""
    hz, q = figures.describe_pole(pole)
    return (weight > margin * figures.COUNTS_FROM and low * margin < hz < high / margin
            and q > 0.5 * (1.002 if peak_hz else margin))


def read_json(build, folder):
    """The program's answers to `response`, in its order."""
    text = decks.run([os.path.join(build, "toneload"), "response", "rig.yaml", "--json", "--points", str(POINTS)], folder)
    whole = json.loads(text)
    if whole.get("command") != "response":
        raise decks.ProgramFailed("command is %r" % whole.get("command"))
    return whole["responses"]


def check_response(answer, got, name, amp, circuit, node):
    """One entry of the JSON against the oracle; returns the program's complex curve."""
    what = "%s %s" % (name, amp)
    if got["name"] != name or (amp and amp not in str(got["amp"])):
        answer.fault(what, "entry is named %r, %r", got["name"], got["amp"])
    hz = np.array([p["hz"] for p in got["points"]])
    wanted_hz = np.geomspace(20, 20e3, POINTS)
    if len(hz) != POINTS or np.max(np.abs(hz / wanted_hz - 1)) > 1e-9:
        answer.fault(what, "points are not spaced evenly from 20 Hz to 20 kHz")
        return None
    curve = np.array([10 ** (p["db"] / 20) * np.exp(1j * np.radians(p["deg"])) for p in got["points"]])
    compare_curves(answer, what, "points", curve, nodal.respond(circuit, node, hz))

    def level(some_hz):
        return decibel(nodal.respond(circuit, node, some_hz))

    compare_figures(answer, what, got, figures.measure(level), level)
    largest = 10 ** (level(np.geomspace(10, 1e5, 161)).max() / 20)
    compare_pole(answer, what, got, circuit, node, largest)
    return curve


def check_deck(answer, build, folder, oracle, curves, with_table):
    """The exported deck through gnucap and ngspice."""
    deck = decks.run([os.path.join(build, "toneload"), "netlist", "rig.yaml"], folder)
    outputs = decks.read_outputs(deck)
    if [name for _, name, _ in outputs] != [name for name, *_ in oracle]:
        answer.fault("deck", "outputs are %r", outputs)
        return
    hz, values = decks.run_gnucap(deck, folder)
    inside = (hz >= 20) & (hz <= 20e3)
    for (deck_node, _, _), (name, amp, circuit, node) in zip(outputs, oracle):
        wanted = nodal.respond(circuit, node, hz[inside])
        compare_curves(answer, "deck, %s %s" % (name, amp), "gnucap", values[deck_node][inside], wanted, phase=False)
    _, values = decks.run_ngspice_raw(decks.replace_sweep(deck, ".ac dec 75 20 20000"), folder)
    for (deck_node, name, amp), curve in zip(outputs, curves):
        if curve is not None:
            off = np.max(np.abs(values[deck_node] - curve)) / np.max(np.abs(curve))
            answer.hold("deck, %s %s" % (name, amp), "ngspice, share of the greatest", off, NGSPICE_SHARE)
    if with_table:
        hz, values = decks.run_ngspice_table(deck, folder)
        for (deck_node, _, _), (name, amp, circuit, node) in zip(outputs, oracle):
            compare_curves(answer, "deck, %s %s" % (name, amp), "ngspice's table", values[deck_node],
                           nodal.respond(circuit, node, hz), phase=False)


def try_programs():
    """Runs both programs once on two parts, so that a missing one is said once and not for each rig."""
    deck = "try\nv1 1 0 dc 0 ac 1\nr1 1 2 1k\nr2 2 0 1k\n.print ac vr(2) vi(2)\n.ac dec 1 10 100\n.end\n"
    with tempfile.TemporaryDirectory(prefix="try-") as folder:
        for function in (decks.run_ngspice_raw, decks.run_gnucap):
            _, values = function(deck, folder)
            if np.max(np.abs(values["2"] - 0.5)) > 1e-9:
                raise decks.ProgramFailed("%s halves 1 V to %r" % (function.__name__, values["2"]))


def check_rig(job):
    """Everything for one rig, in a temporary folder; returns its number, the answer and its shapes."""
    build, seed, number, keep = job
    answer = Answer()
    rig = rigs.random_rig(seed, number)
    text = rigs.write_rig(rig, number)
    with tempfile.TemporaryDirectory(prefix="rig-") as folder:
        decks.write_file(folder, "rig.yaml", text)
        try:
            oracle = nodal.build_outputs(rig)
            responses = read_json(build, folder)
            if len(responses) != len(oracle):
                answer.fault("response", "%d entries instead of %d", len(responses), len(oracle))
            else:
                curves = [check_response(answer, got, *want) for got, want in zip(responses, oracle)]
                check_deck(answer, build, folder, oracle, curves, number % 10 == 0)
        except (decks.ProgramFailed, KeyError, TypeError, ValueError) as error:
            answer.fault("rig", "%s: %s", type(error).__name__, error)
        except decks.subprocess.TimeoutExpired as error:
            answer.fault("rig", "%s took too long", error.cmd[0])
        if keep and answer.faults:
            shutil.copy(os.path.join(folder, "rig.yaml"), os.path.join(keep, "rig-%d.yaml" % number))
    return number, answer, rigs.name_features(rig)


def print_summary(results):
    """Worst differences and how many rigs had each shape; returns how many rigs failed."""
    worst, counts, failed = {}, {}, 0
    for number, answer, features in results:
        for kind, difference in answer.worst.items():
            if difference >= worst.get(kind, (-1.0, 0))[0]:
                worst[kind] = (difference, number)
        for feature in features:
            counts[feature] = counts.get(feature, 0) + 1
        if answer.faults:
            failed += 1
            for fault in answer.faults[:6]:
                print("rig %d, %s" % (number, fault))
    print("rigs with a shape:")
    for feature in sorted(counts):
        print("  %4d  %s" % (counts[feature], feature))
    print("worst difference (and the rig it was in):")
    for kind in sorted(worst):
        print("  %-38s %10.2e  (rig %d)" % (kind, *worst[kind]))
    print("%d rigs, %d peaks and %d poles compared, %d rigs failed" % (
        len(results), sum(r[1].peaks for r in results), sum(r[1].poles for r in results), failed))
    if len(results) >= 200 and (len(counts) != rigs.FEATURES or min(counts.values()) < FEWEST_OF_A_KIND):
        print("FAIL: a shape is missing or rare")
        failed += 1
    return failed


def main():
    parser = argparse.ArgumentParser(description="toneload against an independent solver on random rigs")
    parser.add_argument("build")
    parser.add_argument("--rigs", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", type=int)
    parser.add_argument("--keep", help="folder for the rig files that failed")
    arguments = parser.parse_args()
    numbers = range(arguments.rigs) if arguments.only is None else [arguments.only]
    jobs = [(os.path.abspath(arguments.build), arguments.seed, number, arguments.keep) for number in numbers]
    try:
        try_programs()
    except (decks.ProgramFailed, OSError) as error:
        print("FAIL:", error)
        return 1
    with multiprocessing.Pool(2) as pool:
        results = pool.map(check_rig, jobs, chunksize=4)
    return 1 if print_summary(results) else 0


if __name__ == "__main__":
    raise SystemExit(main())
