#!/usr/bin/python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""`toneload build` against boards drawn by hand, and sums and forces worked out here.

Usage: check_build.py BUILD_DIR

- Routes of a board whose figures are worked out on paper beside each case; ways are Dubins's, worked out a second time in ways.py.
- Every way of every demo board is walked: as long as it says, no bend tighter than it says, around all boxes, from plug to plug,
  and never shorter than a string would be.
- The tone follows the layout: the response of the rig with `length: layout` is nodal.py's with the length by hand, and moves with
  a pedal that is moved.
- Fastening by exact units: lbf = 4.4482216152605 N, inch = 0.0254 m (international yard and pound agreement of 1959; from memory).
- Bill: counts by hand, packs and reels against all ways there are to buy them.
"""

import itertools
import json
import math
import os
import random
import re
import sys

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
sys.dont_write_bytecode = True
sys.path.insert(1, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "cli"))

import numpy as np

import cases
import nodal
import ways

MODELS = os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "..", "models", "rigs")
LBF = 4.4482216152605
INCH = 0.0254
G = 9.80665

# ---- a board on paper, in millimetres from its left front corner
#
#   y                                                      radius 20 (outer 5, bend 4); straight plugs stand out 40, and
# 350 +--------+                                           20 of the lead end in each
#     |  four  |  +-----+      +-------+
# 310 in<------|--|-box-|------out     |
#     +--------+  |     |      | three |
# 270             +-----+      +-front-+
#                                  |
# 110                              `------ two in<--------one
#
# one out: left side at 1000, 50 + 60 = 110; its plug ends at 960. two in: right side at 770, 110; its plug ends at 810.
# three in: front at 400 + 50 = 450, 250; its plug ends at (450, 210). four in: right side at 170, 310; 210. three out: 360, 310.
PEDALS = {
    "one": "left: %g mm, front: 50 mm, width: 70 mm, depth: 120 mm, in: {side: right, at: 60 mm}, out: {side: left, at: 60 mm}",
    "two": "left: %g mm, front: 50 mm, width: 70 mm, depth: 120 mm, in: {side: right, at: 60 mm}, out: {side: left, at: 60 mm}",
    "three": "left: %g mm, front: 250 mm, width: 100 mm, depth: 100 mm, in: {side: front, at: 50 mm}, out: {side: left, at: 60 mm}",
    "four": "left: %g mm, front: 250 mm, width: 70 mm, depth: 120 mm, in: {side: right, at: 60 mm}, out: {side: left, at: 60 mm}",
}
PLACES = {"one": 1000, "two": 700, "three": 400, "four": 100}
STRAIGHT = "{fits: jack-6.3, leaves: straight, room: 40 mm, body: 12 mm, height: 12 mm, preparation: 20 mm}"
PATCH = "{capacitance: 500 pF/m, resistance: 120 mohm/m, outer: 5 mm, bend: 4}"
LONG = "{capacitance: 100 pF/m, resistance: 80 mohm/m, outer: 6 mm}"


def chain_text(lengths, names, patch=PATCH):
    lines = ["rig: laid out by hand", "guitar:", "  pickup: {inductance: 2.5 H, resistance: 6 kohm, capacitance: 110 pF}", "chain:",
             "  - cable: %s" % LONG, "    length: 3 m"]
    for name, length in itertools.zip_longest(names, lengths):
        lines += ["  - pedal: {bypass: true-bypass, input: {resistance: 1 Mohm}, output: {resistance: 1 kohm}}",
                  "    name: %s" % name, "    engaged: no"]
        if length:
            lines += ["  - cable: %s" % patch, "    length: %s" % length]
    return "\n".join(lines + ["  - cable: %s" % LONG, "    length: 4 m", "amp: {resistance: 1 Mohm, capacitance: 20 pF}", ""])


def hand_board(places=None, lengths=("layout",) * 3, box=True, more="", pedals=None, patch=PATCH):
    at = dict(PLACES, **(places or {}))
    text = chain_text(lengths, list(PEDALS), patch)
    text += ("board:\n  width: 1200 mm\n  depth: 500 mm\n  slack: {share: 5 %%, least: 15 mm}\n  plug: %s\n  far_plug: %s\n%s  pedals:\n"
             % (STRAIGHT, STRAIGHT, more))
    for name, words in (pedals or PEDALS).items():
        text += "    - {pedal: %s, %s}\n" % (name, words % at[name])
    if box:
        text += "    - {device: box, left: 250 mm, front: 270 mm, width: 60 mm, depth: 80 mm}\n"
    return text


def build(run, name, *options, status=0):
    done = run.run("build", name, "--json", *options)
    if not run.check(done.returncode == status, name, "ended with", done.returncode, done.stderr):
        return None
    return json.loads(done.stdout)


def near(run, what, got, wanted, within):
    return run.check(got is not None and abs(got - wanted) <= within, what, got, "is not", wanted)


def finished(route, share=0.05, least=15.0):
    """Route and slack, in millimetres, rounded up to 5."""
    return 5 * math.ceil((route + max(share * route, least)) / 5 - 1e-9)


def check_by_hand(run):
    run.group("routes by hand")
    answer = build(run, run.write("hand.yaml", hand_board()))
    if not answer:
        return
    leads = {lead["number"]: lead for lead in answer["leads"]}
    # 2: straight, 960 - 810 = 150, and 15 of slack: 165.
    # 3: heading left at (660, 110), arriving upwards at (450, 210): two arcs to the right about (660, 130) and (470, 210), a
    #    straight piece as long as the centres are apart, sqrt(190^2 + 80^2) = 206.155, and a quarter turn in all, 31.416: 237.571;
    #    5 % of it are 11.9, so 15 of slack: 252.6, rounded up to 255.
    # 4: around the box: see below. Cut: 20 mm more at either plug.
    for number, route in ((2, 150.0), (3, math.hypot(190, 80) + 10 * math.pi)):
        near(run, "route of lead %d" % number, 1e3 * leads[number]["route_m"], route, 1e-5)
        near(run, "length of lead %d" % number, 1e3 * leads[number]["length_m"], finished(route), 1e-6)
        near(run, "cut of lead %d" % number, 1e3 * leads[number]["cut_m"], finished(route) + 40, 1e-6)
    near(run, "the same by Dubins", ways.dubins((660, 110), (-1, 0), (450, 210), (0, 1), 20), math.hypot(190, 80) + 10 * math.pi, 1e-9)
    # 4, drawn by hand: left to 351, down to the height of 261.5, along below the box, up again to 310. What is drawn bends to
    #    20 mm and passes the box by 2.5 (half the lead); the program may be shorter, but not shorter than a string.
    drawn = [(360, 310), (351.0, 310), (307.0, 261.5), (250.5, 261.5), (221.5, 310), (210, 310)]
    length, points, room = ways.round_corners(drawn, 20.0, 0.2)
    box = (250, 270, 60, 80)
    run.check(room >= 0 and ways.distance_to_box(points, box) >= 2.5, "the way drawn by hand does not fit", room, ways.distance_to_box(points, box))
    string = ways.taut((360, 310), (210, 310), [box])
    got = 1e3 * leads[4]["route_m"]
    print("around the box: a string %.2f mm, the program %.2f, drawn by hand %.2f" % (string, got, length))
    run.check(string < got <= length + 1e-6 and length - got < 2.0, "around a box", got, "not from", string, "to", length)
    near(run, "length of lead 4", 1e3 * leads[4]["length_m"], finished(got), 1e-6)
    # Off the board: 3 and 4 m, and what ends in two plugs.
    for number, metres in ((1, 3.0), (5, 4.0)):
        near(run, "cut of lead %d" % number, leads[number]["cut_m"], metres + 0.04, 1e-9)
    run.check(answer["ready"], "is not ready", answer["findings"])
    # The box gone: straight. A pedal moved by 100: its lead is 250 long and 15 of slack; with 420 of route 5 % count: 441, 445.
    answer = build(run, run.write("moved.yaml", hand_board({"one": 1100, "four": 0}, box=False)))
    if answer:
        leads = {lead["number"]: lead for lead in answer["leads"]}
        near(run, "route, moved", 1e3 * leads[2]["route_m"], 250.0, 1e-5)
        near(run, "length, moved", 1e3 * leads[2]["length_m"], 265.0, 1e-6)
        near(run, "route without the box", 1e3 * leads[4]["route_m"], 250.0, 1e-5)
    answer = build(run, run.write("far.yaml", hand_board({"one": 1130, "two": 560, "three": 200, "four": 0}, box=False)))
    if answer:
        leads = {lead["number"]: lead for lead in answer["leads"]}
        near(run, "route, far", 1e3 * leads[2]["route_m"], 420.0, 1e-5)
        near(run, "length, far: 5 % count", 1e3 * leads[2]["length_m"], 445.0, 1e-6)


# ---- ways walked

SIDES = {"left": (-1, 0), "right": (1, 0), "front": (0, -1), "back": (0, 1)}


def check_end(run, what, end, boxes):
    """A plug stands on its side of its box, the jack on the edge, and the lead leaves within the plug's reach."""
    if end["jack_m"] is None or end["box"] is None or end["side"] not in SIDES:
        return
    box = boxes[end["box"]]
    jack, away = np.array(end["jack_m"]), np.array(SIDES[end["side"]])
    x, y, w, d = box["left_m"], box["front_m"], box["width_m"], box["depth_m"]
    edge = {"left": jack[0] - x, "right": jack[0] - x - w, "front": jack[1] - y, "back": jack[1] - y - d}[end["side"]]
    run.check(abs(edge) < 1e-9 and x - 1e-9 <= jack[0] <= x + w + 1e-9 and y - 1e-9 <= jack[1] <= y + d + 1e-9, what, "jack", jack)
    out = float(np.dot(np.array(end["leaves_m"]) - jack, away))
    run.check(abs(out - end["room_m"]) < 1e-9 or abs(out - end["room_m"] / 2) < 1e-9, what, "leaves its plug", out, "before the jack")


def check_ways(run):
    run.group("ways walked")
    walked = bends = 0
    for name in sorted(os.listdir(MODELS)):
        path = os.path.join(MODELS, name)
        if not name.endswith(".yaml") or "\nboard:" not in open(path, encoding="utf-8").read():
            continue
        answer = build(run, path)
        if not answer:
            continue
        boxes = {box["name"]: box for box in answer["boxes"]}
        on_deck = [(b["left_m"], b["front_m"], b["width_m"], b["depth_m"]) for b in answer["boxes"] if not b["under"]]
        for lead in answer["leads"]:
            what = "%s, lead %d" % (name, lead["number"])
            check_end(run, what, lead["from"], boxes)
            check_end(run, what, lead["to"], boxes)
            near(run, what + ": cut", lead["cut_m"], (lead["length_m"] or 0) + lead["preparation_m"], 1e-9)
            if not lead["way_m"]:
                continue
            walked += 1
            bends += max(len(lead["way_m"]) - 2, 0)
            length, points, room = ways.round_corners(lead["way_m"], lead["bend_m"] or 1e-9)
            near(run, what + ": walked", lead["route_m"], length + lead["drop_m"], 1e-8)
            run.check(room > -1e-8, what, "bends of", lead["bend_m"], "do not fit by", room)
            run.check(lead["bend_m"] is None or lead["bend_m"] >= lead["bend_least_m"] - 1e-9 or not answer["ready"], what, "bends too tight")
            near(run, what + ": slack", lead["slack_m"], lead["length_m"] - lead["route_m"], 1e-8)
            if lead["stated_m"] is None:
                run.check(lead["slack_m"] >= max(0.05 * lead["route_m"], 0.015) - 1e-9 and
                          lead["slack_m"] < max(0.05 * lead["route_m"], 0.015) + 0.005, what, "slack", lead["slack_m"])
            if lead["drop_m"] == 0:
                half = (lead["diameter_m"] or 0.0) / 2
                clear = min(ways.distance_to_box(points, box) for box in on_deck)
                run.check(clear > half - 1e-6, what, "runs", clear, "beside a box, its half is", half)
                string = ways.taut(lead["way_m"][0], lead["way_m"][-1], on_deck)
                run.check(length > string - 1e-9, what, "is shorter than a string", string)
    print("%d ways with %d bends walked" % (walked, bends))
    run.check(walked >= 12, "only", walked, "ways on the demo boards")


def drawn_board(rng):
    """Pedals that stand anywhere, jacks on any side."""
    count, boxes = rng.randrange(3, 7), []
    while len(boxes) < count:
        w, d = rng.randrange(60, 160, 5), rng.randrange(60, 160, 5)
        x, y = rng.randrange(0, 900 - w, 5), rng.randrange(0, 450 - d, 5)
        if all(x + w + 10 <= a or a + c + 10 <= x or y + d + 10 <= b or b + e + 10 <= y for a, b, c, e in boxes):
            boxes.append((x, y, w, d))
    names = ["p%d" % i for i in range(len(boxes))]
    text = chain_text(["layout"] * (len(boxes) - 1), names, PATCH.replace("bend: 4", "bend: %d" % rng.choice([1, 2, 4, 6])))
    text += "board:\n  width: 900 mm\n  depth: 450 mm\n  plug: %s\n  pedals:\n" % rng.choice(["flat", "right-angle", "straight", "right-angle-clamped"])
    for name, (x, y, w, d) in zip(names, boxes):
        jacks = []
        for _ in range(2):
            side = rng.choice(sorted(SIDES))
            jacks.append("{side: %s, at: %d mm}" % (side, rng.randrange(10, (d if side in ("left", "right") else w) - 10)))
        text += "    - {pedal: %s, left: %d mm, front: %d mm, width: %d mm, depth: %d mm, in: %s, out: %s}\n" % ((name, x, y, w, d) + tuple(jacks))
    return text


def direction(a, b):
    size = math.dist(a, b)
    return (b[0] - a[0]) / size, (b[1] - a[1]) / size


def check_drawn(run):
    """Where nothing stands in the way of the shortest way, that is the route; and else none runs through anything."""
    run.group("boards drawn at random")
    rng = random.Random(7)
    walked = free = refused = 0
    for number in range(16):
        done = run.run("build", run.write("drawn.yaml", drawn_board(rng)), "--json")
        if done.returncode == 2:
            refused += 1
            run.check(b"drawn.yaml:" in done.stderr and b"layout" in done.stderr, "board", number, "is refused:", done.stderr)
            continue
        answer = json.loads(done.stdout)
        boxes = [(b["left_m"], b["front_m"], b["width_m"], b["depth_m"]) for b in answer["boxes"]]
        for lead in answer["leads"]:
            way = lead["way_m"]
            if not way:
                continue
            what = "board %d, lead %d" % (number, lead["number"])
            length, points, room = ways.round_corners(way, lead["bend_m"] or 1e-9)
            near(run, what + ": walked", lead["route_m"], length, 1e-8)
            run.check(room > -1e-8, what, "bends do not fit by", room)
            half = lead["diameter_m"] / 2
            run.check(min(ways.distance_to_box(points, box) for box in boxes) > half - 1e-6, what, "runs through a box")
            walked += 1
            if len(way) > 2 and lead["bend_m"] > lead["bend_least_m"] - 1e-9:
                ends = (way[0], direction(way[0], way[1]), way[-1], direction(way[-2], way[-1]), lead["bend_m"])
                straight = ways.dubins_points(*ends)
                # The program keeps half a lead away from boxes with sharp corners: sqrt(2) of it.
                if min(ways.distance_to_box(straight, box) for box in boxes) > math.sqrt(2) * half + 1e-6:
                    free += 1
                    near(run, what + ": the shortest way is free", length, ways.dubins(*ends), 1e-8)
    print("%d ways, %d of them free to be the shortest; %d boards refused" % (walked, free, refused))
    run.check(walked > 40 and free > 10 and refused < 8, "too few ways", walked, free, refused)


# ---- the tone

def check_tone(run):
    run.group("the tone follows the layout")
    found = []
    for places, lengths in (({}, (0.165, 0.255, 0.210)), ({"one": 1100, "four": 50}, (0.265, 0.255, None))):
        name = run.write("tone.yaml", hand_board(places))
        if None in lengths:
            leads = build(run, name)["leads"]
            lengths = tuple(lead["length_m"] for lead in leads if lead["on_board"])
        done = run.run("response", name, "--json", "--points", "60")
        if not run.check(done.returncode == 0, "response", done.returncode, done.stderr):
            return
        points = json.loads(done.stdout)["responses"][0]["points"]
        cable = {"resistance": 80e-3, "capacitance": 100e-12}
        patch = {"resistance": 120e-3, "capacitance": 500e-12}
        chain = [{"cable": cable, "length": 3.0}] + [{"cable": patch, "length": m} for m in lengths] + [{"cable": cable, "length": 4.0}]
        rig = {"guitar": {"pickup": {"inductance": 2.5, "resistance": 6e3, "capacitance": 110e-12}}, "chain": chain,
               "amp": {"resistance": 1e6, "capacitance": 20e-12}}
        circuit, outputs = nodal.build_rig(rig)
        h = nodal.respond(circuit, outputs[0][2], [p["hz"] for p in points])
        off = max(abs(20 * np.log10(np.abs(h)) - np.array([p["db"] for p in points])))
        run.check(off < 0.003, "tone.yaml with", lengths, "is off by", off, "dB")
        found.append(np.array([p["db"] for p in points]))
    moved = np.max(np.abs(found[0] - found[1]))
    print("moving two pedals by 100 and 50 mm moves the response by %.2f dB" % moved)
    run.check(moved > 0.1, "moving pedals moves nothing", moved)


# ---- findings and refusals

def check_findings(run):
    run.group("what does not fit")
    for what, text, verdict, kind, words in (
            # 2.4 m of bend: 40 x 5 mm is 200 mm, and between 360 and 210 there is no room for such an S.
            ("bend", hand_board(patch=PATCH.replace("bend: 4", "bend: 40")), "error", "bend", "200 mm"),
            # Route 150: 140 is shorter; 155 has 5 of the 15 wanted; 165 is right; 400 has 250 too much.
            ("short", hand_board(lengths=("14 cm", "layout", "layout")), "error", "slack", "150 mm"),
            ("tight", hand_board(lengths=("15.5 cm", "layout", "layout")), "warning", "slack", "15 mm"),
            ("right", hand_board(lengths=("16.5 cm", "layout", "layout")), None, None, ""),
            ("long", hand_board(lengths=("40 cm", "layout", "layout")), "note", "slack", "250 mm"),
            # 30 between two pedals, and each plug stands out 40.
            ("plugs", hand_board({"one": 800}, lengths=("30 cm", "layout", "layout")), "error", "plugs", "each other's way")):
        answer = build(run, run.write(what + ".yaml", text))
        if not answer:
            continue
        found = [f for f in answer["findings"] if verdict is None or (f["verdict"] == verdict and f["kind"] == kind)]
        if verdict is None:
            run.check(not found, what, "finds", found)
        else:
            run.check(found and any(words in f["words"] for f in found), what, "finds", answer["findings"])
        run.check(answer["ready"] == (verdict != "error"), what, "ready:", answer["ready"])
    for what, text, where, word in (
            ("overlap", hand_board({"two": 960}), "pedal: two", "overlap"),
            ("edge", hand_board({"one": 1150}), "pedal: one", "20 mm"),
            ("negative", hand_board(pedals=dict(PEDALS, one=PEDALS["one"].replace("width: 70", "width: -70"))), "pedal: one", "negative"),
            ("no unit", hand_board(pedals=dict(PEDALS, two=PEDALS["two"].replace("width: 70 mm", "width: 70"))), "pedal: two", "unit"),
            ("nobody", hand_board().replace("{pedal: two,", "{pedal: twoo,"), "pedal: twoo", "two"),
            ("jack", hand_board(pedals=dict(PEDALS, one=PEDALS["one"].replace("at: 60 mm", "at: 160 mm"))), "pedal: one", "120 mm"),
            ("side", hand_board().replace("{side: front", "{side: frnt"), "pedal: three", "front"),
            ("turn", hand_board().replace("front: 270", "turn: 45 deg, front: 270"), "device: box", "90"),
            ("nowhere", chain_text(("layout",) * 3, list(PEDALS)), "length: layout", "board"),
            ("twice", hand_board().replace("    - {device", "    - {pedal: one, " + PEDALS["one"] % 600 + "}\n    - {device"), "pedal: one", "one"),
            ("nan", hand_board().replace("width: 60 mm", "width: nan mm"), "device: box", ""),
            ("no width", hand_board().replace("width: 1200 mm\n  ", ""), "board:", "width")):
        name = run.write("bad.yaml", text)
        done = run.run("build", name)
        said = done.stderr.decode()
        run.check(done.returncode == 2 and done.stdout == b"", what, "ended with", done.returncode, said)
        place = re.match(r"bad\.yaml:(\d+):(\d+):", said)
        if run.check(place and word in said, what, said):
            line = text.split("\n")[int(place.group(1)) - 1]
            run.check(where in line or (what == "no width" and int(place.group(1)) > 10), what, "points at", line)


# ---- what holds

def check_force(run):
    run.group("fastening")
    held = ", fastener: {strength: 25 lbf/in2}, area: 6 in2, weight: 2 kg"
    weak = ", fastener: {strength: 7 lbf/in2}, area: 5 cm2, weight: 1500 g"
    thin = ", fastener: {strength: 25 lbf/in2}, cover: 100 %%, weight: 1 lb, thin: yes, pull: 300 N"
    pedals = dict(PEDALS, one=PEDALS["one"] + held, two=PEDALS["two"] + weak, three=PEDALS["three"] + thin)
    answer = build(run, run.write("force.yaml", hand_board(pedals=pedals, more="  acceleration: 4\n")))
    if not answer:
        return
    rows = {row["box"]: row for row in answer["fastening"]["holds"]}
    # 25 lbf/in2 on 6 in2: 150 lbf, 667.2 N; 2 kg at 4 g take 78.45 N.
    near(run, "150 lbf", rows["one"]["force_n"], 150 * LBF, 1e-5)
    near(run, "150 lbf in newton", rows["one"]["force_n"], 667.0, 0.5)
    near(run, "2 kg at 4 g", rows["one"]["needed_n"], 2 * G * 4, 1e-5)
    near(run, "factor", rows["one"]["factor"], 150 * LBF / (8 * G), 1e-6)
    # 7 lbf/in2 on 5 cm2: 24.13 N; 1.5 kg at 4 g take 58.84 N, three times that 176.5: 36.6 cm2.
    strength = 7 * LBF / INCH ** 2
    near(run, "weak", rows["two"]["force_n"], strength * 5e-4, 1e-6)
    near(run, "area that would do", rows["two"]["least_area_m2"], 3 * 1.5 * 4 * G / strength, 1e-9)
    # All of 100 x 100 mm at 25 lbf/in2: 1724 N, and the housing is to be pulled with 300: 17.4 cm2 at most.
    strength = 25 * LBF / INCH ** 2
    near(run, "whole bottom", rows["three"]["force_n"], strength * 0.01, 1e-4)
    near(run, "a pound at 4 g", rows["three"]["needed_n"], 0.45359237 * 4 * G, 1e-6)
    near(run, "area that lets go", rows["three"]["most_area_m2"], 300 / strength, 1e-9)
    found = [(f["verdict"], f["box"]) for f in answer["findings"] if f["kind"] == "fastening"]
    run.check(("error", "two") in found and ("note", "three") in found and not any(box == "one" for _, box in found), "found", found)
    run.check(not answer["ready"], "ready though it does not hold")


# ---- what it takes

def cheapest_reels(lengths, reels, drum=None):
    """The cheapest way to cut all lengths from reels [(metres, price)] and pieces off a drum (price a whole metre): all subsets."""
    full = (1 << len(lengths)) - 1
    total = [sum(v for i, v in enumerate(lengths) if mask >> i & 1) for mask in range(full + 1)]
    one = []
    for mask in range(full + 1):
        prices = [price for metres, price in reels if total[mask] <= metres + 1e-9]
        if drum is not None:
            prices.append(drum * math.ceil(total[mask] - 1e-9))
        one.append(min(prices, default=math.inf) if mask else 0.0)
    best = [math.inf] * (full + 1)
    best[0] = 0.0
    for mask in range(1, full + 1):
        low, sub = mask & -mask, mask
        while sub:
            if sub & low and one[sub] + best[mask ^ sub] < best[mask]:
                best[mask] = one[sub] + best[mask ^ sub]
            sub = (sub - 1) & mask
    return best[full]


def cheapest_packs(need, packs):
    """The same for pieces: [(size, price)]."""
    best = [0.0] + [math.inf] * need
    for n in range(1, need + 1):
        best[n] = min(price + best[max(n - size, 0)] for size, price in packs)
    return best[need]


def row_board(lengths, more=""):
    """Pedals in rows of five, 230 apart, with leads of stated lengths; nine leads and more can be on it."""
    names = ["p%d" % i for i in range(len(lengths) + 1)]
    text = chain_text(["%g mm" % mm for mm in lengths], names)
    text += "board:\n  width: 1500 mm\n  depth: 900 mm\n  plug: %s\n  far_plug: %s\n%s  pedals:\n" % (STRAIGHT, STRAIGHT, more)
    for i, name in enumerate(names):
        text += ("    - {pedal: %s, left: %d mm, front: %d mm, width: 70 mm, depth: 100 mm, in: {side: right, at: 50 mm}, out: {side: left, at: 50 mm}}\n"
                 % (name, 1200 - 230 * (i % 5), 50 + 300 * (i // 5)))
    return text


def line_of(answer, item):
    return next(line for line in answer["bill"]["lines"] if line["item"] == item)


def check_reels_hold(run, what, answer, cuts):
    """Every lead comes off one reel, and no reel is longer than it is."""
    seen = []
    for reel in answer["bill"]["reels"]:
        seen += reel["leads"]
        taken = sum(cuts[number] for number in reel["leads"])
        near(run, what + ": what is left of a reel", reel["left_m"], reel["length_m"] - taken, 1e-6)
        run.check(taken <= reel["length_m"] + 1e-9, what, "cuts", taken, "off", reel["length_m"])
    run.check(sorted(seen) == sorted(cuts), what, "leads off reels:", sorted(seen), "of", sorted(cuts))


def check_bill(run):
    run.group("the bill")
    rng = random.Random(9)
    for number in range(6):
        lengths = [rng.randrange(300, 1500, 10) for _ in range(9)]
        text = row_board(lengths)
        reels = [(rng.choice([2, 2.5, 3]), 0.01 * rng.randrange(300, 700)), (rng.choice([4, 5]), 0.01 * rng.randrange(700, 1300))]
        drum = 0.01 * rng.randrange(180, 400) if number % 2 else None
        packs = [(1, 0.01 * rng.randrange(200, 400)), (8, 0.01 * rng.randrange(1200, 2400)), (5, 0.01 * rng.randrange(800, 1500))]
        name = run.write("bill.yaml", text)
        bare = build(run, name)
        if not bare:
            return
        cuts = {lead["number"]: lead["cut_m"] for lead in bare["leads"]}
        patch_numbers = [lead["number"] for lead in bare["leads"] if lead["on_board"]]
        for lead, mm in zip((l for l in bare["leads"] if l["on_board"]), lengths):
            near(run, "cut of lead %d" % lead["number"], lead["cut_m"], 1e-3 * mm + 0.04, 1e-9)
        item = next(line["item"] for line in bare["bill"]["lines"] if line["group"] == "lead" and abs(line["count"] - sum(cuts[n] for n in patch_numbers)) < 1e-6)
        plug = next(line["item"] for line in bare["bill"]["lines"] if line["group"] == "plug")
        mounts = sum(int(1e3 * lead["route_m"] / 120 + 1e-9) for lead in bare["leads"] if lead["route_m"])
        # Two plugs a lead, 5 % more of them, rounded up; a mount each 120 mm of route, a tie each; four joints a lead.
        plugs = 2 * len(cuts) + math.ceil(0.05 * 2 * len(cuts))
        near(run, "plugs", line_of(bare, plug)["count"], plugs, 0)
        near(run, "mounts", line_of(bare, "tie mount")["count"], mounts + math.ceil(0.05 * mounts), 0)
        near(run, "ties", line_of(bare, "cable tie")["count"], mounts + math.ceil(0.05 * mounts), 0)
        joints = sum(line["count"] for line in bare["bill"]["lines"] if line["group"] == "joint")
        near(run, "joints", joints, 4 * len(cuts), 0)
        prices = "currency: crown\nprices:\n  %s:\n" % item
        prices += "".join("    - {pack: %g m, price: %.2f}\n" % reel for reel in reels)
        if drum is not None:
            prices += "    - {per: 1 m, price: %.2f}\n" % drum
        prices += "  %s:\n" % plug + "".join("    - {pack: %d, price: %.2f}\n" % pack for pack in packs)
        prices += "  tie mount: 0.35\n"
        priced = build(run, name, "--prices", run.write("prices.yaml", prices))
        if not priced:
            return
        wanted = cheapest_reels([cuts[n] for n in patch_numbers], reels, drum)
        lead_line, plug_line = line_of(priced, item), line_of(priced, plug)
        near(run, "reels, lengths %s, reels %s, drum %s" % (lengths, reels, drum), lead_line["total"], wanted, 0.004)
        near(run, "packs of %s" % packs, plug_line["total"], cheapest_packs(plugs, packs), 0.004)
        near(run, "mounts' price", line_of(priced, "tie mount")["total"], 0.35 * (mounts + math.ceil(0.05 * mounts)), 0.004)
        total = 0.0
        for line in priced["bill"]["lines"]:
            for purchase in line["purchases"]:
                near(run, "a purchase", purchase["total"], purchase["packs"] * purchase["price"] if not purchase["drum"] else
                     math.ceil(purchase["packs"] * purchase["pack"] - 1e-9) * purchase["price"], 0.005 + 1e-9)
                total += purchase["total"]
        near(run, "total", priced["bill"]["total"], total, 0.004)
        run.check(priced["bill"]["currency"] == "crown", "currency", priced["bill"]["currency"])
        check_reels_hold(run, "bill %d" % number, priced, cuts)
        # Without prices, off reels of one length: as few as can be.
        metres = 4.3
        few = build(run, run.write("bill.yaml", row_board(lengths, "  reel: %g m\n" % metres)))
        if few:
            used = sum(reel["item"] == item for reel in few["bill"]["reels"])
            near(run, "reels of %g m for %s" % (metres, lengths), used, cheapest_reels([cuts[n] for n in patch_numbers], [(metres, 1.0)]), 0)
            check_reels_hold(run, "few %d" % number, few, cuts)


def check_prices_bad(run):
    run.group("price files")
    name = run.write("bill.yaml", row_board([400, 500]))
    for what, text, line, word in (
            ("negative", "currency: EUR\nprices:\n  tie mount: -0.35\n", 3, ""),
            ("word", "currency: EUR\nprices:\n  tie mount: cheap\n", 3, ""),
            ("no unit", "currency: EUR\nprices:\n  lead 2: {pack: 3, price: 5}\n", 3, "m"),
            ("unknown key", "currency: EUR\nprices:\n  tie mount: {pak: 3, price: 5}\n", 3, "pack"),
            ("nan", "currency: EUR\nprices:\n  tie mount: nan\n", 3, ""),
            ("zero pack", "currency: EUR\nprices:\n  tie mount: {pack: 0, price: 5}\n", 3, "")):
        done = run.run("build", name, "--prices", run.write("bad.yaml", text))
        said = done.stderr.decode()
        run.check(done.returncode == 2 and done.stdout == b"", what, "ended with", done.returncode, said)
        place = re.match(r"bad\.yaml:(\d+):(\d+):", said)
        run.check(place and (line is None or int(place.group(1)) == line) and word in said, what, said)
    hostile = run.write("hostile.yaml", "currency: '<b>`touch x`'\nprices:\n  tie mount: 1\n")
    done = run.run("build", name, "--json", "--prices", hostile)
    run.check(done.returncode in (0, 2) and not os.path.exists(run.path("x")), "a hostile currency", done.returncode, done.stderr)


def run_all(run):
    check_by_hand(run)
    check_ways(run)
    check_drawn(run)
    check_tone(run)
    check_findings(run)
    check_force(run)
    check_bill(run)
    check_prices_bad(run)


if __name__ == "__main__":
    cases.main(run_all)
