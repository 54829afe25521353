#!/usr/bin/python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""`toneload accept` against boards that are built here: nodal.py solves them, NumPy draws them, and the program judges.

Usage: check_accept.py BUILD_DIR

- 200 good boards of two rigs, every value within its stated tolerance, read with 0.1 dB of noise: at most 5 % rejected.
- 200 boards with one planted fault: the class that holds it stands first in at least 90 %. Faults are planted as a builder
  would make them, at sizes that can be heard, none of them at what the program says of itself.
- Leads on one unbuffered stretch are one class and are named together; leads with a buffer between them never are.
- What two faults at once come to, and what is no fault of the list, is not blamed on one: 'none of them' is said.
- Offsets: a level with a zero of its own has it taken off, a gain keeps it; a softer board is then accepted or not.
"""

import copy
import json
import os
import sys

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
sys.dont_write_bytecode = True
sys.path.insert(1, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "cli"))

import numpy as np

import cases
import finished
from rigs import Off

HZ = np.array([float("%.6g" % f) for f in 50.0 * 2 ** (np.arange(27) / 3)])  # third octaves: each reading's noise is its own
NOISE_DB = 0.1


def lead(metres, pf=100.0, milliohm=80.0):
    return {"cable": {"capacitance": Off(pf * 1e-12, "+-8 %"), "resistance": Off(milliohm * 1e-3, "+-10 %")}, "length": metres}


def pedal(name, bypass, ohm, pf, out, engaged=False, gain=1.0):
    return {"pedal": {"bypass": bypass, "input": {"resistance": Off(ohm, "+-5 %"), "capacitance": Off(pf * 1e-12, "+-20 %")},
                      "output": {"resistance": Off(out, "+-5 %")}, "gain": gain}, "name": name, "engaged": engaged}


def buffer(name, out):
    return {"buffer": {"input": {"resistance": Off(1e6, "+-5 %"), "capacitance": Off(15e-12, "+-20 %")},
                       "output": {"resistance": Off(out, "+-5 %")}}, "name": name}


def measure(**more):
    return dict({"dummy": {"inductance": Off(2.5, "+-1 %"), "resistance": Off(6200.0, "+-1 %"), "capacitance": Off(120e-12, "+-1 %")},
                 "generator": {"resistance": Off(600.0, "+-1 %"), "level": 0.2},
                 "meter": {"resistance": Off(1e6, "+-1 %"), "capacitance": Off(30e-12, "+-10 %"), "uncertainty": 3 * NOISE_DB},
                 "amp": "off"}, **more)


GUITAR = {"pickup": {"inductance": 2.4, "resistance": 6e3, "capacitance": 110e-12},
          "volume": {"pot": Off(250e3, "+-20 %"), "taper": "audio", "position": 1.0},
          "tone": {"pot": Off(250e3, "+-20 %"), "taper": "audio", "capacitor": Off(22e-9, "+-10 %"), "position": 1.0}}
AMP = {"resistance": 1e6, "capacitance": 20e-12}

# Two stretches, with a buffer between that is weak enough for the second one to show: 15 kohm into 1 nF.
BUFFERED = {
    "guitar": GUITAR,
    "chain": [lead(5.0), pedal("fuzz", "true-bypass", 68e3, 10.0, 10e3), lead(0.3, 110.0, 120.0), buffer("front", 15e3),
              lead(6.0), pedal("boost", "true-bypass", 470e3, 30.0, 1e3, gain=1.5), lead(4.0)],
    "amp": AMP, "measure": measure(controls=True)}
# One long stretch of leads and pedals, the dummy right at its head, nothing of the guitar's.
PLAIN = {
    "guitar": {"pickup": GUITAR["pickup"]},
    "chain": [lead(4.0), pedal("tuner", "true-bypass", 1e6, 20.0, 1e3), lead(0.2, 110.0, 120.0),
              pedal("wah", "true-bypass", 100e3, 40.0, 8e3, gain=2.0), lead(0.25, 110.0, 120.0),
              pedal("drive", "true-bypass", 330e3, 20.0, 2e3, gain=3.0), lead(7.0)],
    "amp": AMP, "measure": measure()}


def read_board(board, rng):
    return finished.levels(board, HZ) + NOISE_DB * rng.standard_normal(len(HZ))


# One lead: what an offset is about needs no more.
SHORT = {"guitar": {"pickup": GUITAR["pickup"]}, "chain": [lead(4.0)], "amp": AMP, "measure": measure()}


# ---- what may be wrong: (what the program calls it, how it is made)

def more_lead(index, low, high):
    def plant(board, rng):
        board["chain"][index]["cable"]["capacitance"] *= rng.uniform(low, high)
    return plant


def without(index):
    def plant(board, rng):
        del board["chain"][index]
    return plant


def hanging(index):
    def plant(board, rng):
        board["chain"][index]["pedal"]["bypass"] = "loaded-bypass"
    return plant


def engaged(index):
    def plant(board, rng):
        board["chain"][index]["engaged"] = True
    return plant


def turned(control, low, high):
    def plant(board, rng):
        board["guitar"][control]["position"] = rng.uniform(low, high)
    return plant


FAULTS = {
    "buffered": [
        ("lead", "chain[0].length", more_lead(0, 1.6, 3.0)),
        ("lead", "chain[4].length", more_lead(4, 2.5, 5.0)),
        ("missing-buffer", "chain[3]", without(3)),
        ("bypass", "chain[1].bypass", hanging(1)),
        ("volume", "guitar.volume.position", turned("volume", 0.5, 0.92))],
    "plain": [
        ("lead", "chain[0].length", more_lead(0, 1.6, 3.0)),
        ("lead", "chain[6].length", more_lead(6, 0.3, 0.6)),
        ("bypass", "chain[3].bypass", hanging(3)),
        ("bypass", "chain[5].bypass", hanging(5)),
        ("on", "chain[1].engaged", engaged(1))],
}
RIGS = {"buffered": BUFFERED, "plain": PLAIN}
# Leads of one stretch; every class that names one of them for its capacitance names all, and none of another stretch.
STRETCHES = {"buffered": [{"chain[0].length", "chain[2].length"}, {"chain[4].length", "chain[6].length"}],
             "plain": [{"chain[0].length", "chain[2].length", "chain[4].length", "chain[6].length"}]}


def judge(run, rig, boards, column="gain_db", *options):
    """All boards in one call; the program's answers in their order."""
    name = run.write("rig.yaml", finished.rig_text(rig))
    files = [run.write("board-%03d.csv" % number, finished.readings_text(HZ, db, column)) for number, db in enumerate(boards)]
    done = run.run("accept", name, *files, "--json", *options, timeout=300)
    if not run.check(done.returncode == 0, "accept", options, "ended with", done.returncode, done.stderr):
        return []
    answer = json.loads(done.stdout)
    run.check([b["file"] for b in answer["boards"]] == files, "boards in another order")
    return answer["boards"]


def names_of(cls):
    return [(cause["kind"], cause["path"]) for cause in cls["causes"]]


def check_stretches(run, which, answer):
    """In no class are leads of two stretches together, and a lead's class holds its stretch."""
    for cls in answer["classes"]:
        leads = {path for kind, path in names_of(cls) if kind == "lead"}
        for stretch in STRETCHES[which]:
            run.check(not leads & stretch or leads <= stretch, which, "names leads of two stretches together:", leads)
        if cls is answer["classes"][0] and len(leads) and cls["holds"]:
            whole = next(stretch for stretch in STRETCHES[which] if leads & stretch)
            more = next(c["value"] - c["stated"] for c in cls["causes"] if c["kind"] == "lead")
            able = {path for path in whole if could_be(farad_of(which, path), more)}
            run.check(len(leads) == 1 or cls["one_stretch"], which, "does not call", leads, "one stretch")
            run.check(able <= leads, which, "leaves out of the class", able - leads, "though it could be", more)


def farad_of(which, path):
    item = RIGS[which]["chain"][int(path[6:path.index("]")])]
    return item["cable"]["capacitance"] * item["length"]


def could_be(farad, more):
    """Whether so much more is in the range that is tried (README: a tenth to six times it, or 2 nF), with a little room."""
    return 0.12 * farad < farad + more < 0.9 * max(6 * farad, 2e-9)


def check_good_and_bad(run):
    right = planted = rejected = good = 0
    by_fault = {}
    missed = []
    for which, seed in (("buffered", 41), ("plain", 42)):
        run.group("boards of the rig '%s'" % which)
        rng = np.random.default_rng(seed)
        boards = [read_board(finished.draw(RIGS[which], rng), rng) for _ in range(100)]
        truth = []
        for number in range(100):
            kind, path, plant = FAULTS[which][number % 5]
            board = finished.draw(RIGS[which], rng)
            plant(board, rng)
            boards.append(read_board(board, rng))
            truth.append((kind, path))
        more = sized_boards(rng) if which == "buffered" else []
        strange = strange_boards(rng) if which == "buffered" else []
        answers = judge(run, RIGS[which], boards + [board for board, _ in more] + strange)
        if len(answers) != 200 + len(more) + len(strange):
            return
        good += 100
        planted += 100
        rejected += sum(a["verdict"] == "rejected" for a in answers[:100])
        if which == "buffered":
            check_sizes(run, [wanted for _, wanted in more], answers[200:200 + len(more)])
            check_none(run, answers[200 + len(more):])
        for wanted, answer in zip(truth, answers[100:200]):
            first = answer["classes"][0] if answer["classes"] else {"causes": [], "probability": 0.0}
            holds = answer["verdict"] == "rejected" and answer["explained"] and wanted in names_of(first)
            right += holds
            by_fault.setdefault((which,) + wanted, []).append(holds)
            if not holds:
                missed.append((which, answer["file"], wanted, answer["verdict"], names_of(first)[:3]))
            check_stretches(run, which, answer)
            given = sum(c["probability"] for c in answer["classes"]) + (answer["none_probability"] or 0.0)
            run.check(answer["verdict"] == "accepted" or 0.95 < given < 1 + 1e-6, answer["file"], "probabilities come to", given)
    print("%d of %d good boards rejected; of %d planted faults %d named first" % (rejected, good, planted, right))
    for miss in missed:
        print("  missed:", *miss)
    run.check(good == 200 and rejected <= 0.05 * good, rejected, "of", good, "good boards rejected")
    run.check(planted == 200 and right >= 0.9 * planted, "only", right, "of", planted, "faults named first")
    for fault, found in by_fault.items():
        run.check(sum(found) >= 0.8 * len(found), "of", fault, "only", sum(found), "of", len(found), "named first")


def sized_boards(rng):
    """[(readings, (kind, path, size))]: a lead of a drawn capacitance, a volume at a drawn place."""
    boards = []
    for number in range(60):
        board = finished.draw(BUFFERED, rng)
        if number % 2:
            board["guitar"]["volume"]["position"] = size = rng.uniform(0.4, 0.9)
            boards.append((read_board(board, rng), ("volume", "guitar.volume.position", size)))
        else:
            board["chain"][0]["cable"]["capacitance"] = size = rng.uniform(160e-12, 300e-12)
            boards.append((read_board(board, rng), ("lead", "chain[0].length", 5.0 * size)))
    return boards


def check_sizes(run, truth, answers):
    """The size of what is wrong stands in the interval that is to hold it with 95 %: of 60 boards in 50 and more."""
    held = 0
    for (kind, path, size), answer in zip(truth, answers):
        for cause in (answer["classes"] or [{"causes": []}])[0]["causes"]:
            if (cause["kind"], cause["path"]) == (kind, path):
                held += cause["low"] <= size <= cause["high"]
                break
    print("%d of 60 sizes lie in their interval" % held)
    run.check(len(truth) == 60 and held >= 50, "only", held, "of 60 sizes lie in their interval")


def strange_boards(rng):
    """Two things wrong at once, and a miss of a shape that no single thing makes."""
    boards = []
    for _ in range(10):
        board = finished.draw(BUFFERED, rng)
        board["guitar"]["volume"]["position"] = 0.6
        board["chain"][4]["cable"]["capacitance"] *= 5
        boards.append(read_board(board, rng))
    for _ in range(10):
        boards.append(read_board(finished.draw(BUFFERED, rng), rng) + 5 * np.exp(-np.log2(HZ / 500.0) ** 2))  # a bump at 500 Hz
    return boards


def check_none(run, answers):
    blamed = [(a["file"], names_of(a["classes"][0])) for a in answers if a["explained"]]
    run.check(len(answers) == 20 and all(a["verdict"] == "rejected" for a in answers), "accepts two faults, or a bump")
    run.check(len(blamed) <= 2, "blames one thing for two, or for a bump:", blamed)


def check_offset(run):
    """A board that is 2 dB softer at all frequencies."""
    run.group("offsets")
    rng = np.random.default_rng(8)
    board = read_board(finished.draw(SHORT, rng), rng) - 2.0
    for column, options, verdict, offset in (("gain_db", (), "rejected", "kept"), ("level_db", (), "accepted", "removed"),
                                             ("gain_db", ("--offset", "remove"), "accepted", "removed"),
                                             ("level_db", ("--offset", "keep"), "rejected", "kept")):
        answers = judge(run, SHORT, [board], column, *options)
        run.check(answers and answers[0]["verdict"] == verdict, column, options, [a["verdict"] for a in answers])
        if answers and offset == "removed":
            run.check(abs(answers[0]["offset_db"] + 2.0) < 0.3, "offset", answers[0]["offset_db"])
    # The prediction is the board as written, for which nodal.py has its own figure.
    wanted = finished.levels(finished.bare(SHORT), HZ)
    got = np.array([reading["predicted_db"] for reading in answers[0]["readings"]])
    run.check(np.max(np.abs(got - wanted)) < 0.01, "predicted levels are off by", np.max(np.abs(got - wanted)))
    print("predicted levels against nodal.py: %.2g dB at most" % np.max(np.abs(got - wanted)))


def run_all(run):
    check_good_and_bad(run)
    check_offset(run)


if __name__ == "__main__":
    cases.main(run_all)
