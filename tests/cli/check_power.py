#!/usr/bin/python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""`power` against every assignment looked at in turn, published wire tables, a nodal solver of its own, and common
practice.

Usage: check_power.py BUILD_DIR

- 300 random small boards: feasible exactly when one of all assignments keeps the rules, and then the best one; else each
  smallest change as small as any, and the board possible with it.
- Resistance of DC leads: ASTM B258 tables (SOURCES: wp.1728.org/?p=4314 and cirris.com, both seen).
- The ground loop: nodal analysis in NumPy, from the words of the README; the pulses by NumPy's FFT.
- common practice: most pedals 9 V; 100 to 500 mA is a small output; isolated outputs are quieter than paralleled ones; a
  fault on a paralleled output takes the others with it.
"""

import concurrent.futures
import copy
import json
import math
import os
import re
import sys

import numpy as np

import boards
from cases import main

MODELS = os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "..", "models")


def power(cases, name, *words):
    done = cases.run("power", name, "--json", *words, timeout=120)
    return json.loads(done.stdout) if done.returncode == 0 else None


def apply_change(board, change):
    """The board with a change made, and headroom as it then is."""
    made = copy.deepcopy(board)
    kind = change["kind"]
    by_name = {p["name"]: p for p in made["pedals"]}
    outputs = {s["name"] + "/" + o["name"]: o for s in made["supplies"] for o in s["outputs"]}
    if kind == "headroom":
        made["headroom"] = change["headroom"]
    elif kind == "adapter":
        for name in change["pedals"]:
            by_name[name]["adapted"] = True
    elif kind == "move":
        for name in change["pedals"]:
            by_name[name]["given"] = None
    elif kind == "current":
        outputs[change["output"]]["limit"] += 1e3 * change["current_a"]
    elif kind == "supply":
        [s for s in made["supplies"] if s["name"] == change["supply"]][0]["power"] += change["power_w"]
    elif kind == "output":
        made["supplies"].append({"name": "more", "power": None, "outputs": [{
            "name": "new", "volts": [change["voltage_v"]], "limit": 1e3 * change["current_a"], "peak": None,
            "polarity": by_name[change["pedals"][0]]["polarity"], "isolated": True}]})
        for name in change["pedals"]:
            by_name[name]["given"] = "more/new"
    elif kind == "share":
        for pedal in made["pedals"]:
            pedal["digital"] = False
    elif kind == "leave":
        made["pedals"] = [p for p in made["pedals"] if p["name"] not in change["pedals"]]
    return made


def is_possible(made):
    if not made["pedals"]:
        return True
    if any(p.get("adapted") for p in made["pedals"]):
        # Who has an adapter stands alone at an isolated output of the other polarity.
        every = boards.Everything(made)
        hum, agree = every.pairs()
        fits = every.fits()
        turned = every.fits(True)
        for i, pedal in enumerate(made["pedals"]):
            if pedal.get("adapted"):
                fits[:, i] = turned[:, i] & ((every.at == every.at[:, [i]]).sum(1) == 1)
        return bool((fits.all(1) & agree & (hum == 0) & every.stays() & every.within()).any())
    return boards.Everything(made).best() is not None


def check_change(cases, seed, board, change, least):
    kind, want = change["kind"], least[change["kind"]]
    where = (f"board {seed}", kind, change["words"])
    if kind == "headroom":
        cases.check(want - 1.01e-4 <= change["headroom"] <= want + 1e-9, *where, change["headroom"], want)
    elif kind in ("adapter", "move"):
        cases.check(len(change["pedals"]) == want, *where, change["pedals"], want)
    elif kind in ("current", "output"):
        cases.check(abs(1e3 * change["current_a"] - want) < 2e-3, *where, change["current_a"], want)
    elif kind == "supply":
        cases.check(abs(change["power_w"] - want) < 1.1e-3, *where, change["power_w"], want)
    elif kind == "leave":
        left = sum(p["current"] for p in board["pedals"] if p["name"] in change["pedals"])
        cases.check((len(change["pedals"]), round(left, 3)) == (want[0], round(want[1], 3)), *where, want)
    cases.check(is_possible(apply_change(board, change)), *where, "does not do")


def check_shopping(cases, seed, board, answer, change):
    """All that were left without, each on an output of its own."""
    made = copy.deepcopy(board)
    unfed = [row["pedal"] for row in answer["assignment"] if row["output"] is None]
    cases.check(change["kind"] == "outputs" and change["pedals"] == unfed, f"board {seed}: {change}, {unfed}")
    for i, (pedal, name) in enumerate((p, p["name"]) for p in made["pedals"] if p["name"] in unfed):
        limit = re.search(r"at least (\d+) mA[^;]*, for '%s'" % name, change["words"])
        cases.check(limit is not None, f"board {seed}:", name, "is not on the list", change["words"])
        made["supplies"].append({"name": "more%d" % i, "power": None, "outputs": [{
            "name": "new", "volts": [pedal["volts"]], "limit": float(limit.group(1)), "peak": None,
            "polarity": pedal["polarity"], "isolated": True}]})
        pedal["given"] = "more%d/new" % i
    cases.check(is_possible(made), f"board {seed}: {change['words']} does not do")


def check_bought(cases, seed, board, change):
    """What one can buy is whole fives or tens of milliamperes, no less than needed and one step over it at most."""
    limits = {s["name"] + "/" + o["name"]: o["limit"] for s in board["supplies"] for o in s["outputs"]}
    needed = 1e3 * change["current_a"] + (limits[change["output"]] if change["kind"] == "current" else 0)
    bought = 1e3 * change["buy_a"]
    step = 10 if needed > 100 else 5
    cases.check(abs(bought / step - round(bought / step)) < 1e-9 and needed - 1e-6 <= bought < needed + step,
                f"board {seed}: {bought} mA bought, {needed} needed")
    cases.check("at least %g mA" % bought in change["words"], f"board {seed}: {change['words']}")


def check_board(cases, seed, board, answer):
    best = boards.Everything(board).best()
    cases.check(answer is not None and answer["feasible"] == (best is not None), f"board {seed}: feasible",
                answer and answer["feasible"], best)
    if answer is None:
        return "lost"
    at = [row["output"] for row in answer["assignment"]]
    if best is not None:
        cases.check(at == best and answer["settled"], f"board {seed}: {at}, best is {best}")
        cases.check(not answer["changes"] and answer["conflict"] is None, f"board {seed}: changes to what can be")
        return "possible"
    least = boards.smallest_changes(board)
    kinds = [change["kind"] for change in answer["changes"] if change["kind"] != "outputs"]
    cases.check(sorted(kinds) == sorted(least), f"board {seed}: changes {kinds}, there are {sorted(least)}")
    for change in answer["changes"]:
        if change["kind"] in least:
            check_change(cases, seed, board, change, least)
        else:
            check_shopping(cases, seed, board, answer, change)
        if change["buy_a"] is not None:
            check_bought(cases, seed, board, change)
    only = copy.deepcopy(board)
    only["pedals"] = [p for p in only["pedals"] if p["name"] in answer["conflict"]["pedals"]]
    cases.check(only["pedals"] and not is_possible(only), f"board {seed}: {answer['conflict']} is no conflict")
    # Those that can be fed are: all that were given an output stay there.
    cases.check(all(row["output"] == p["given"] for row, p in zip(answer["assignment"], board["pedals"]) if p["given"]),
                f"board {seed}: a given pedal was moved: {at}")
    return "impossible"


def check_boards(cases):
    cases.group("300 random boards against all assignments of each")
    random_boards = [(seed, boards.random_board(seed)) for seed in range(300)]
    names = [cases.write(f"board{seed}.yaml", boards.board_yaml(board)) for seed, board in random_boards]
    with concurrent.futures.ThreadPoolExecutor(2) as pool:
        answers = list(pool.map(lambda name: power(cases, name), names))
    counts = {}
    for (seed, board), answer in zip(random_boards, answers):
        what = check_board(cases, seed, board, answer)
        counts[what] = counts.get(what, 0) + 1
    print(counts)
    cases.check(min(counts.get("possible", 0), counts.get("impossible", 0)) > 60, "boards all of one sort:", counts)


# American wire gauges: ohm/km (wp.1728.org/?p=4314) and ohm/100 ft (cirris.com), solid, 20 C; both seen, in SOURCES.
TABLE = {18: (20.94, 0.6385), 20: (33.29, 1.015), 22: (52.94, 1.614), 24: (84.20, 2.567), 26: (133.86, 4.081),
         28: (212.87, 6.490), 30: (338.50, 10.320)}


def check_leads(cases):
    cases.group("lead resistance against ASTM B258 tables")
    pedals = "".join("    - {device: g%da, voltage: 9 V, polarity: centre-negative, current: 100 mA, inrush: 1 A, "
                     "lead: {gauge: %d AWG, length: 1.5 m, joint: {resistance: 10 mohm}}}\n" % (g, g) for g in TABLE)
    cases.write("leads.yaml", boards.HEAD + "power:\n  supplies:\n    - name: s\n      kind: linear\n      outputs:\n"
                "        - {name: 1, voltage: 9 V, current: 5 A}\n  pedals:\n" + pedals)
    answer = power(cases, "leads.yaml")
    for gauge, drop in zip(TABLE, answer["drops"]):
        wire = drop["lead_ohm"] - 0.04
        cases.check(abs(wire / (2 * 1.5e-3 * TABLE[gauge][0]) - 1) < 1e-3, gauge, "AWG:", wire, "ohm")
        cases.check(abs(wire / (2 * 1.5 / 30.48 * TABLE[gauge][1]) - 1) < 2e-3, gauge, "AWG per 100 ft:", wire)
        cases.check(abs(drop["arrives_v"] - (9 - 0.1 * drop["lead_ohm"])) < 1e-9, gauge, drop)
        cases.check(abs(drop["starts_v"] - (9 - drop["lead_ohm"])) < 1e-9, gauge, drop)


LOOP = """rig: three on a loop, invented
guitar: {source: {output: {resistance: 1 kohm}}}
chain:
  - cable: {capacitance: 100 pF/m, resistance: 80 mohm/m}
    length: 3 m
  - buffer: {input: {resistance: 1 Mohm}, output: {resistance: 2 kohm}}
    name: one
  - cable: {capacitance: 120 pF/m, resistance: 100 mohm/m}
    length: 50 cm
  - contact: {resistance: 15 mohm}
  - pedal: {bypass: true-bypass, input: {resistance: 500 kohm, capacitance: 30 pF}, gain: 4, output: {resistance: 5 kohm}}
    name: two
    engaged: yes
  - cable: {capacitance: 110 pF/m, resistance: 120 mohm/m}
    length: 30 cm
  - buffer: {input: {resistance: 2 Mohm}, output: {resistance: 600 ohm}, gain: 0.5}
    name: three
  - cable: {capacitance: 100 pF/m, resistance: 80 mohm/m}
    length: 6 m
amp: {resistance: 1 Mohm, capacitance: 20 pF}
power:
  shields: 40 %%
  stray: 300 pF
  lead: {gauge: 24 AWG, length: 80 cm, joint: {resistance: 12 mohm}}
  supplies:
    - name: s
      kind: switching
      outputs: [{name: a, voltage: 9 V, current: 500 mA, isolated: %s}, {name: b, voltage: 9 V, current: 500 mA, isolated: %s},
                {name: c, voltage: 9 V, current: 500 mA, isolated: %s}]
  pedals:
    - {pedal: one, voltage: 9 V, polarity: centre-negative, current: 10 mA, output: s/a}
    - {pedal: two, voltage: 9 V, polarity: centre-negative, current: 80 mA, output: s/b,
       pulse: {current: 50 mA, frequency: 700 Hz, duty: 31.25 %%}}
    - {pedal: three, voltage: 9 V, polarity: centre-negative, current: 10 mA, output: s/c}
"""


def nodal(size, branches, currents):
    """Node voltages: branches (a, b, admittance), currents into nodes; node 0 is ground."""
    y = np.zeros((size, size), complex)
    for a, b, admittance in branches:
        for one, other in ((a, b), (b, a)):
            if one:
                y[one - 1, one - 1] += admittance
                if other:
                    y[one - 1, other - 1] -= admittance
    into = np.zeros(size, complex)
    for node, current in currents:
        if node:
            into[node - 1] += current
    return [0] + list(np.linalg.solve(y, into))


def loop_by_hand(hz, shared):
    """Volts at the amp for 1 A drawn by `two`: the grounds first, then the audio with the shields' drops in series."""
    w = 2j * math.pi * hz
    awg24 = 1.7241e-8 / (math.pi * (0.127e-3 * 92 ** (12 / 39)) ** 2 / 4)
    lead = awg24 * 0.8 + 2 * 0.012 + w * 1e-6 * 0.8
    near = 0.4 * 0.1 * 0.5 + 0.015 + w * 1e-6 * 0.5  # shield from one to two
    middle = 0.4 * 0.12 * 0.3 + w * 1e-6 * 0.3  # from two to three
    far = 0.4 * 0.08 * 6 + w * 1e-6 * 6  # and on to the amp
    # 1, 2 and 3: the grounds; 4 (and 5, 6): the returns.
    shields = [(1, 2, 1 / near), (2, 3, 1 / middle), (3, 0, 1 / far)]
    if shared:
        v = nodal(4, shields + [(1, 4, 1 / lead), (2, 4, 1 / lead), (3, 4, 1 / lead)], [(2, 1), (4, -1)])
    else:
        stray = w * 300e-12
        v = nodal(6, shields + [(1, 4, 1 / lead), (2, 5, 1 / lead), (3, 6, 1 / lead),
                                (4, 5, stray), (5, 6, stray), (4, 6, stray)], [(2, 1), (5, -1)])
    # one's output is silent; the drop along the near shield; the lead; the joint; two's input. The drop joins the two
    # ends of its source to one node (1), at which the 2 kohm drives the drop's volts.
    emf, half = v[1] - v[2], w * 120e-12 * 0.5 / 2
    u = nodal(3, [(1, 0, 1 / 2000 + half), (1, 2, 1 / (0.1 * 0.5)), (2, 0, half), (2, 3, 1 / 0.015),
                  (3, 0, 1 / 500e3 + w * 30e-12)], [(1, emf / 2000)])
    out = 4 * u[3]
    emf, half = v[2] - v[3], w * 110e-12 * 0.3 / 2
    u = nodal(2, [(1, 0, 1 / 5000 + half), (1, 2, 1 / (0.12 * 0.3)), (2, 0, half + 1 / 2e6)], [(1, (out + emf) / 5000)])
    out = 0.5 * u[2]
    emf, half = v[3], w * 100e-12 * 6 / 2
    u = nodal(2, [(1, 0, 1 / 600 + half), (1, 2, 1 / (0.08 * 6)), (2, 0, half + 1e-6 + w * 20e-12)],
              [(1, (out + emf) / 600)])
    return u[2]


def check_loop(cases):
    cases.group("ground loops against nodal analysis and NumPy's FFT")
    steps = 2 ** 16
    train = np.zeros(steps)
    train[:int(0.3125 * steps)] = 0.05
    lines = 2 * np.abs(np.fft.rfft(train)) / steps / math.sqrt(2)
    cases.write("shared.yaml", LOOP % ("no", "no", "no"))
    cases.write("apart.yaml", LOOP % ("yes", "yes", "yes"))
    worst = 0
    for name, kinds in (("shared.yaml", {"assigned": True, "isolated": False}),
                        ("apart.yaml", {"assigned": False, "shared": True})):
        loops = {loop["wiring"]: loop["amps"][0] for loop in power(cases, name)["loops"]}
        cases.check(set(loops) == set(kinds), name, "ways of wiring:", sorted(loops))
        for wiring, shared in kinds.items():
            heard = loops[wiring]
            cases.check(len(heard["harmonics"]) == 28, name, wiring, len(heard["harmonics"]), "harmonics")
            total = weighted = 0
            for n, line in enumerate(heard["harmonics"], 1):
                want = lines[n] * abs(loop_by_hand(700 * n, shared))
                cases.check(abs(line["hz"] - 700 * n) < 1e-6, name, line)
                if lines[n] > 1e-6:
                    worst = max(worst, abs(line["v"] / want - 1))
                    cases.check(abs(line["v"] / want - 1) < 2e-5, name, wiring, n, line["v"], want)
                total += want ** 2
                f2 = (700.0 * n) ** 2
                a = 12194 ** 2 * f2 * f2 / ((f2 + 20.6 ** 2) * math.sqrt((f2 + 107.7 ** 2) * (f2 + 737.9 ** 2)) * (f2 + 12194 ** 2))
                weighted += (want * a * 10 ** 0.1) ** 2
            cases.check(abs(heard["total_v"] / math.sqrt(total) - 1) < 1e-4, name, wiring, heard["total_v"], total)
            cases.check(abs(heard["a_weighted_v"] / math.sqrt(weighted) - 1) < 2e-3, name, wiring, heard["a_weighted_v"])
            floor = 20 * math.log10(heard["a_weighted_v"] / heard["noise_a_weighted_v"])
            cases.check(abs(heard["floor_db"] - floor) < 1e-6, name, wiring, heard["floor_db"], floor)
    print("largest difference of a harmonic: %.1e" % worst)
    noise = json.loads(cases.run("noise", "shared.yaml", "--json").stdout)
    cases.check(abs(heard["noise_a_weighted_v"] / noise["a_weighted_v"] - 1) < 1e-9, "noise floor", heard["noise_a_weighted_v"])


def check_no_loop(cases):
    """What cannot be heard, or has no loop to go round, loses nothing of the answer."""
    cases.group("no loop, and next to none")
    whole = (LOOP % ("yes", "yes", "yes")).split("    - {pedal: one")
    alone = whole[0] + "    - {pedal: two" + whole[1].split("    - {pedal: two")[1].split("    - {pedal: three")[0]
    cases.write("alone.yaml", alone)
    answer = power(cases, "alone.yaml")
    cases.check(answer is not None, "a pulsed pedal alone: no answer")
    heard = answer["loops"][0]["amps"][0]
    cases.check(answer["feasible"] and heard["a_weighted_v"] == 0, heard)
    want = {}
    for stray in (0, 1, 300):
        cases.write("stray.yaml", (LOOP % ("yes", "yes", "yes")).replace("stray: 300 pF", "stray: %d pF" % stray))
        answer = power(cases, "stray.yaml")
        cases.check(answer is not None, "stray of %d pF: no answer" % stray)
        want[stray] = answer["loops"][0]["amps"][0]["a_weighted_v"]
    # The current through so small a capacitance goes with it.
    cases.check(want[0] == 0 and abs(want[300] / want[1] / 300 - 1) < 1e-3, want)


def check_faults(cases):
    cases.group("one fault at a time")
    chain = "".join("  - pedal: {bypass: %s, input: {resistance: 1 Mohm}, output: {resistance: 1 kohm}}\n    name: %s\n"
                    "    engaged: %s\n  - cable: {capacitance: 100 pF/m}\n    length: 20 cm\n" % row for row in
                    (("true-bypass", "off", "no"), ("true-bypass", "on", "yes"), ("buffered-bypass", "buffered", "no"),
                     ("loaded-bypass", "loaded", "no")))
    plugs = "".join("        - {name: %s, voltage: 9 V, current: 100 mA%s}\n" % row for row in
                    (("a", ""), ("b", ""), ("c", ", isolated: no"), ("d", ", isolated: no"), ("e", ", isolated: no")))
    pedals = "".join("    - {pedal: %s, voltage: 9 V, polarity: centre-negative, current: 10 mA, output: s/%s}\n" % row for row in
                     (("off", "a"), ("on", "b"), ("buffered", "c"), ("loaded", "d")))
    cases.write("faults.yaml", boards.HEAD.replace("amp:", chain + "amp:") + "power:\n  supplies:\n    - name: s\n"
                "      kind: linear\n      outputs:\n" + plugs + "  pedals:\n" + pedals +
                "    - {device: switcher, voltage: 9 V, polarity: centre-negative, current: 50 mA, output: s/e}\n")
    answer = power(cases, "faults.yaml")
    faults = {fault["name"]: fault for fault in answer["faults"]}
    want = {"s/a": (["off"], [], False), "s/b": (["on"], ["on"], True),
            "s/c, s/d, s/e": (["buffered", "loaded", "switcher"], ["buffered"], False),
            "s": (["off", "on", "buffered", "loaded", "switcher"], ["on", "buffered"], False)}
    cases.check(set(faults) == set(want), sorted(faults))
    for name, (dead, blocking, steps) in want.items():
        fault = faults[name]
        cases.check(fault["dead"] == dead and fault["blocking"] == blocking and fault["steps_off"] == steps, name, fault)
        cases.check(fault["silent"] == (["amp"] if blocking else []), name, fault)
    cases.check(answer["spare"] == [], answer["spare"])
    words = faults["s"]["words"]
    cases.check("stops at 'buffered' on or off, and at 'on' until it is stepped off" in words, words)
    cases.check("what 'switcher' does to it is not known" in words, words)
    cases.check(faults["s"]["stuck"] == ["buffered"] and faults["s"]["unknown"] == ["switcher"], faults["s"])
    cases.check(faults["s/b"]["words"] == "stops at 'on' until it is stepped off", faults["s/b"])


def demo(cases, name):
    return power(cases, os.path.join(MODELS, "rigs", name + ".yaml"))


def check_practice(cases):
    cases.group("common practice, on the demo rigs")
    board, chain = demo(cases, "buffered-board"), demo(cases, "fuzz-first")
    cases.check(board["feasible"] and not [f for f in board["findings"] if f["verdict"] != "note"], board["findings"])
    for rig in (board, chain):
        nine = [row for row in rig["assignment"] if row["voltage_v"] == 9]
        cases.check(len(nine) > 0.8 * len(rig["assignment"]), "most pedals are for 9 V")
        cases.check(all(row["polarity"] == "centre-negative" for row in nine), "centre-negative")
        cases.check(all(0.1 <= o["limit_a"] <= 0.5 for o in rig["outputs"]), "100 to 500 mA is a small output")
        by_way = {loop["wiring"]: loop["amps"][0]["a_weighted_v"] for loop in rig["loops"]}
        quiet = by_way.get("isolated", by_way["assigned"])
        loud = by_way.get("shared", by_way["assigned"])
        cases.check(20 * math.log10(loud / quiet) > 40, "isolated outputs are quieter:", by_way)
    floor = {loop["wiring"]: loop["amps"][0]["floor_db"] for loop in board["loops"]}
    cases.check(floor["assigned"] < -10 < 6 < floor["shared"], "isolated below the noise, shared above:", floor)
    kinds = [(f["verdict"], f["kind"]) for f in chain["findings"]]
    cases.check(kinds.count(("warning", "digital-beside-high-gain")) == 2, kinds)
    cases.check(("note", "shared-return") in kinds, kinds)
    short = [f for f in chain["faults"] if f["kind"] == "return"]
    cases.check(len(short) == 1 and len(short[0]["dead"]) == 5, "a fault takes the others with it:", short)
    alone = [f for f in board["faults"] if f["kind"] == "output"]
    cases.check(len(alone) == 9 and all(len(f["dead"]) == 1 for f in alone), "isolated: only its own", alone)
    # Energy: what the mains gives is what the outputs give and the heat.
    supply = board["supplies"][0]
    load = sum(row["voltage_v"] * row["current_a"] for row in board["assignment"])
    cases.check(abs(supply["load_w"] - load) < 1e-9 and abs(supply["mains_w"] - load / 0.8) < 1e-9, supply)
    cases.check(abs(supply["mains_w"] - supply["load_w"] - supply["heat_w"]) < 1e-9, supply)
    for mains in board["mains"]:
        cases.check(abs(mains["current_a"] - supply["mains_w"] / (mains["voltage_v"] * 0.6)) < 1e-9, mains)
        cases.check(mains["takes"] == {"brick": "yes"}, mains)


def check_given(cases):
    """What is wrong with an assignment somebody made."""
    cases.group("a given assignment")
    plugs = """power:
  mains: {voltage: 230 V, frequency: 50 Hz}
  tour: [{voltage: 120 V, frequency: 60 Hz}]
  supplies:
    - name: s
      like: linear-230
      outputs:
        - {name: nine, voltage: 9 V, current: 100 mA}
        - {name: eighteen, voltage: 18 V, current: 100 mA}
        - {name: plus, voltage: 9 V, current: 100 mA, polarity: centre-positive}
        - {name: alternating, voltage: 9 V, current: 500 mA, polarity: ac}
        - {name: x, voltage: 9 V, current: 200 mA, isolated: no}
        - {name: y, voltage: 9 V, current: 200 mA, isolated: no}
  pedals:
"""

    def found(*pedals):
        rows = "".join("    - {device: %s, voltage: %s V, polarity: %s, current: %s mA, output: s/%s%s}\n" %
                       ("d" + "abcdef"[i], *p[:4], p[4] if len(p) > 4 else "") for i, p in enumerate(pedals))
        cases.write("given.yaml", boards.HEAD + plugs + rows)
        answer = power(cases, "given.yaml")
        return answer, {(f["verdict"], f["kind"]) for f in answer["findings"] if f["kind"] != "mains"}, answer["feasible"]

    neg = "centre-negative"
    for pedals, want in (
            ([(9, neg, 50, "nine")], set()),
            ([(9, neg, 50, "plus")], {("error", "polarity")}),
            ([(9, neg, 50, "alternating")], {("error", "polarity")}),
            ([(9, neg, 50, "eighteen")], {("error", "over-voltage")}),
            ([(18, neg, 50, "nine")], {("error", "under-voltage")}),
            ([(9, neg, 120, "nine")], {("error", "over-current")}),
            ([(9, neg, 90, "nine")], {("warning", "headroom")}),
            ([(9, neg, 20, "nine"), (18, neg, 20, "nine")],
             {("error", "under-voltage"), ("error", "unlike-voltages"), ("note", "shared-return")}),
            ([(9, neg, 20, "x"), (9, neg, 20, "y")], {("note", "shared-return")}),
            ([(9, neg, 20, "x", ", digital: yes"), (9, neg, 20, "y", ", high_gain: yes")],
             {("note", "shared-return"), ("warning", "digital-beside-high-gain")}),
            ([(9, neg, 20, "x", ", positive_ground: yes"), (9, neg, 20, "y")],
             {("note", "shared-return"), ("error", "positive-ground")}),
            ([(9, neg, 20, "nine", ", inrush: 400 mA")], {("warning", "inrush")}),
            ([(9, neg, 20, "nine", ", connector: jack-3.5")], {("note", "connector")}),
            ([(9, neg, 80, "nine", ", lead: {gauge: 30 AWG, length: 15 m}")], {("warning", "drop")})):
        answer, kinds, feasible = found(*pedals)
        cases.check(kinds == want, pedals, kinds, want)
        breaks = {k for k in want if k[0] != "note" and k[1] not in ("inrush", "drop")}
        cases.check(feasible == (not breaks), pedals, "feasible", feasible)
        mains = [f for f in answer["findings"] if f["kind"] == "mains"]
        cases.check([f["verdict"] for f in mains] == ["warning"], "120 V for a supply made for 230 V:", mains)
    answer, _, _ = found((9, neg, 50, "plus"), (9, neg, 50, "nine"))
    moves = [c for c in answer["changes"] if c["kind"] == "move"]
    cases.check(moves and moves[0]["pedals"] == ["da"] and re.search(r"'da' to s/[xy]", moves[0]["words"]), moves)
    adapters = [c for c in answer["changes"] if c["kind"] == "adapter"]
    cases.check(adapters and adapters[0]["pedals"] == ["da"], "an adapter turns it:", adapters)
    text = cases.run("power", "given.yaml").stdout.decode()
    cases.check("do not plug it in like this" in text and "ERROR" in text, text)
    cases.check("both conductors and no joints (none named: 0 ohm)" in " ".join(text.split()), text)
    answer, _, _ = found((9, neg, 50, "alternating"), (9, neg, 50, "eighteen"))
    said = {f["kind"]: f["words"] for f in answer["findings"]}
    cases.check("fed with AC" in said["polarity"] and "wrong way round" not in said["polarity"], said)
    cases.check([drop["arrives_v"] for drop in answer["drops"]] == [None, None], "volts arrive that it does not need", answer["drops"])
    answer, _, _ = found((9, neg, 50, "x", ", digital: yes"), (9, neg, 20, "nine", ", pulse: {current: 5 mA, frequency: 1 kHz, duty: 30 %}"))
    text = cases.run("power", "given.yaml").stdout.decode()
    cases.check("its own so far" in text and answer["not_in_loops"] == ["da", "db"], answer["not_in_loops"], text)
    cases.check("Nothing is reckoned" in text and "pulses of 'db'" in text and "digital 'da'" in text, text)
    found((9, neg, 50, "x"), (9, neg, 20, "y"))
    text = cases.run("power", "given.yaml").stdout.decode()
    cases.check(text.count("shared by 2") == 2 and "no 'pulse' is stated" in text, text)


def check_verdict(cases):
    """The verdict knows more than the assignment: the mains, a tour, and pedals nothing is said of."""
    cases.group("the verdict, on paper and as data")
    good = LOOP % ("yes", "yes", "yes")
    made = {230: "{voltage: 230 V, frequency: 50 Hz}", 120: "{voltage: 120 V, frequency: 60 Hz}"}
    unsaid = good.replace("    - {pedal: three, voltage: 9 V, polarity: centre-negative, current: 10 mA, output: s/c}\n", "")
    for text, home, tour, ready, verdict in (
            (good, 230, None, True, "There is power for all of it"),
            (good, 120, None, False, "There is an output for all of it, but no mains: 's' is not made for 120 V 60 Hz"),
            (good, 230, 120, True, "There is power for all of it at home, but not on tour: 's' is not made for 120 V 60 Hz"),
            (good, None, 120, True, "There is power for all of it, but not on tour: 's' is not made for 120 V 60 Hz"),
            (unsaid, 230, None, True, "There is power for 2 of the 3 pedals; nothing is said of 'three'")):
        head = "power:\n" + ("  mains: %s\n" % made[home] if home else "") + ("  tour: [%s]\n" % made[tour] if tour else "")
        cases.write("verdict.yaml", text.replace("power:\n", head).replace("kind: switching", "like: linear-230"))
        answer = power(cases, "verdict.yaml")
        cases.check(answer["verdict"] == verdict and answer["ready"] == ready and answer["feasible"], verdict,
                    answer["verdict"], answer["ready"])
        said = cases.run("power", "verdict.yaml").stdout.decode()
        cases.check(verdict + "." in " ".join(said.split()), "the text has not", verdict, said[:300])


SHORT = """power:
  supplies:
    - name: s
      kind: switching
      %s
      outputs: [{name: 1, voltage: 9 V, current: 100 mA}, {name: 2, voltage: 9 V, current: 400 mA, isolated: no},
                {name: 3, voltage: 9 V, current: 400 mA, isolated: no}]
  pedals:
%s"""


def check_advice(cases):
    cases.group("advice one can follow")
    row = "    - {device: %s, voltage: %s V, polarity: %s, current: %g mA%s}\n"
    neg = "centre-negative"

    def ask(limit, *pedals):
        cases.write("short.yaml", boards.HEAD + SHORT % (limit, "".join(row % p for p in pedals)))
        answer = power(cases, "short.yaml")
        return answer, {c["kind"]: c for c in answer["changes"]}

    # 350 mA at 9 V are 3.15 W: more than 80 % of 3 W. Whichever half of it leaves, the least is the same.
    answer, changes = ask("power: 3 W", ("x", 9, neg, 150, ""), ("y", 9, neg, 75, ", inrush: 500 mA"), ("z", 9, neg, 75, ""))
    cases.check("of another supply" in changes["output"]["words"], changes["output"])
    cases.check("at least 4 W instead of 3 W" in changes["supply"]["words"], changes["supply"])
    # One of 75 mA or two: fewest share when it is one, and if it is 'y' its start is said.
    cases.check(len(changes["output"]["pedals"]) == 1, changes["output"])
    answer, changes = ask("", ("x", 9, neg, 500, ", inrush: 1200 mA"))
    cases.check("at least 630 mA and, for a moment, 1200 mA when 'x' starts" in changes["output"]["words"], changes)
    cases.check(changes["output"]["peak_a"] == 1.2, changes["output"])
    cases.check(answer["conflict"]["words"].count("In the way") == 1, answer["conflict"])
    cases.check("s/1" not in answer["conflict"]["words"], "an output that does not matter is listed:", answer["conflict"])
    # What was given costs nothing to plug in elsewhere: it comes before headroom.
    answer, changes = ask("", ("x", 9, neg, 90, ", output: s/1"))
    kinds = [c["kind"] for c in answer["changes"]]
    cases.check(kinds[:2] == ["move", "headroom"], kinds)
    cases.check("Keep 10 %" in changes["headroom"]["words"], changes["headroom"])
    # Several faults: a reason each, and all there is to buy.
    answer, changes = ask("", ("x", 18, neg, 20, ""), ("y", 9, "centre-positive", 20, ", positive_ground: yes"), ("z", 9, neg, 20, ""))
    said = [f["words"] for f in answer["findings"] if f["kind"] == "unpowered"]
    cases.check(len(said) == 2 and "no output gives its volts" in said[0] and "none of its polarity" in said[1], said)
    cases.check("output" not in changes and changes["outputs"]["pedals"] == ["x", "y"], changes)
    cases.check("18 V centre-negative, at least 25 mA, for 'x'" in changes["outputs"]["words"], changes["outputs"])


def check_words(cases):
    cases.group("text, CSV, plots and hostile names")
    evil = "`touch pwned`'; system('touch pwned') \"$(touch pwned)\" =1+1"
    shared = (LOOP % ("no", "no", "no")).replace("three on a loop, invented", json.dumps(evil))
    cases.write("evil.yaml", shared)
    for ending in ("svg", "png", "pdf"):
        done = cases.run("power", "evil.yaml", "--plot", "evil." + ending)
        cases.check(done.returncode == 0 and os.path.getsize(cases.path("evil." + ending)) > 4000, ending, done.stderr)
    cases.check(evil.encode() in done.stdout, "the title is not as written", done.stdout[:200])
    cases.check(not os.path.exists(cases.path("pwned")), "a title was run")
    for words in ("Cautions", "licensed", "Unplug", "Never lift a mains earth", "fumes", "Batteries",
                  "The rules, and what is assumed", "If one thing fails", "plainly heard"):
        cases.check(words in done.stdout.decode(), "the text lacks", words)
    long = [line for line in done.stdout.decode().split("\n") if len(line) > 125]
    cases.check(not long, "lines too long:", long)
    rows = cases.run("power", "evil.yaml", "--csv", "--output", "evil.csv")
    cases.check(rows.returncode == 0 and not rows.stdout, rows.stdout, rows.stderr)
    lines = cases.read("evil.csv").decode().splitlines()
    cases.check(lines[0].startswith("pedal,output,given,voltage_v") and len(lines) == 4, lines)
    answer = power(cases, "evil.yaml")
    cases.check(len(answer["cautions"]) == 5 and answer["rig"] == evil, answer["cautions"])
    for jobs in ("1", "3"):
        one = cases.run("power", "evil.yaml", "--json", "--jobs", jobs).stdout
        cases.check(json.loads(one) == answer, "--jobs", jobs, "changes the answer")
    listed = cases.run("check", "evil.yaml").stdout.decode()
    cases.check("power.pedals[1]: draw, 'two'" in listed and "pulse.frequency" in listed, listed[-900:])
    plain = cases.write("plain.yaml", boards.HEAD)
    done = cases.run("power", plain)
    cases.check(done.returncode == 2 and b"no 'power' in this rig" in done.stderr, done.stderr)


def check_light(cases):
    """No other command loads GLPK, which would make it start later."""
    cases.group("GLPK is loaded when it is needed only")
    for words, wanted in ((("power", "shared.yaml"), True), (("check", "shared.yaml"), False), (("response", "shared.yaml"), False)):
        said = cases.run(*words, env={"LD_DEBUG": "files", "LD_DEBUG_OUTPUT": cases.path("loaded")})
        cases.check(said.returncode == 0, words, said.stderr[-300:])
        found = False
        for name in os.listdir(cases.here):
            if name.startswith("loaded."):
                found = found or b"libglpk" in cases.read(name)
                os.remove(cases.path(name))
        cases.check(found == wanted, words, "GLPK loaded:", found)


def run(cases):
    check_leads(cases)
    check_loop(cases)
    check_no_loop(cases)
    check_faults(cases)
    check_practice(cases)
    check_given(cases)
    check_verdict(cases)
    check_advice(cases)
    check_words(cases)
    check_light(cases)
    check_boards(cases)


if __name__ == "__main__":
    main(run)
