#!/usr/bin/python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""What to cut for a board: bad input with its place; answers that say the same as text, JSON and CSV; and that the tone
follows the layout in every command.

Usage: check_build.py BUILD_DIR
"""

import csv
import io
import json
import math
import os
import re

from cases import main

RIGS = os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "..", "models", "rigs")

RIG = """rig: two on a board
guitar: {pickup: {inductance: 2.5 H, resistance: 6 kohm, capacitance: 110 pF}}
chain:
  - cable: {capacitance: 100 pF/m}
    length: 6 m
  - pedal: {bypass: true-bypass, input: {resistance: 1 Mohm}, output: {resistance: 1 kohm}}
    name: one
    engaged: no
  - cable: {capacitance: 500 pF/m, outer: 4 mm, bend: 5}
    length: layout
  - pedal: {bypass: true-bypass, input: {resistance: 1 Mohm}, output: {resistance: 1 kohm}}
    name: two
    engaged: no
  - cable: {capacitance: 100 pF/m}
    length: 6 m
amp: {resistance: 1 Mohm, capacitance: 20 pF}
board:
  width: 900 mm
  depth: 300 mm
  slack: {share: 5 %, least: 15 mm}
  plug: {fits: jack-6.3, leaves: straight, room: 40 mm, body: 12 mm, preparation: 20 mm}
  pedals:
    - pedal: one
      left: 700 mm
      front: 50 mm
      width: 80 mm
      depth: 120 mm
      in: {side: right, at: 30 mm}
      out: {side: left, at: 30 mm}
    - pedal: two
      left: 20 mm
      front: 50 mm
      width: 80 mm
      depth: 120 mm
      in: {side: right, at: 30 mm}
      out: {side: left, at: 30 mm}
"""
# 600 mm between the faces, 520 between the plugs, 5 % are 26: 546, rounded up to 550 mm.

TWO = "    - pedal: two\n      left: 20 mm\n"

# What to put in the place of what, and what the error says.
CASES = [
    ("left: 20 mm", "left: 650 mm", "'two' and 'one' overlap, by 30 mm across and 120 mm in depth"),
    ("left: 20 mm", "left: 850 mm", "'two' stands 30 mm over the board's right edge"),
    ("left: 20 mm", "left: -20 mm", "left cannot be negative"),
    ("left: 20 mm", "left: 20", "a bare number, without a unit"),
    ("left: 20 mm", "left: 20 kg", "a length"),
    ("left: 20 mm", "left: nan", "a length"),
    ("left: 20 mm", "lefft: 20 mm", "did you mean 'left'?"),
    ("width: 900 mm", "width: -900 mm", "width cannot be negative"),
    ("width: 900 mm", "width: 900 m", "width 900 m is not plausible: expected 5 cm to 3 m"),
    ("  width: 900 mm\n", "", "needs 'width'"),
    ("      width: 80 mm\n", "", "needs 'width'"),
    ("      depth: 120 mm\n", "      depth: 120 mm\n      height: 0 mm\n", "height 0 m is not plausible"),
    ("      depth: 120 mm\n", "      depth: 120 mm\n      weight: 400\n", "a weight"),
    ("      depth: 120 mm\n", "      depth: 120 mm\n      weight: -1 g\n", "weight cannot be negative"),
    ("      depth: 120 mm\n", "      depth: 120 mm\n      turn: 30 deg\n", "expected 0, 90, 180 or 270 deg"),
    ("      depth: 120 mm\n", "      depth: 120 mm\n      turn: 90\n", "an angle"),
    ("      depth: 120 mm\n", "      depth: 120 mm\n      fastener: glue\n", "no fastener named 'glue'"),
    ("      depth: 120 mm\n", "      depth: 120 mm\n      area: 40 cm\n", "an area"),
    ("pedal: two\n      left", "pedal: tow\n      left", "did you mean 'two'?"),
    ("pedal: two\n      left", "pedal: one\n      left", "'one' stands twice on the board"),
    ("pedal: two\n      left", "pedal: chain[2]\n      left", "no pedal, buffer, pot or loop of the chain"),
    ("pedal: two\n      left", "pedal: two\n      device: two\n      left", "expected 'pedal', which names one"),
    (TWO, TWO.replace("left: 20 mm", "within: here"), "nothing named 'here' stands on the board before this"),
    (TWO, TWO.replace("left: 20 mm", "within: one"), "'front' goes with a box of its own"),
    ("in: {side: right, at: 30 mm}\n      out: {side: left, at: 30 mm}\n    -", "out: {side: left, at: 30 mm}\n    -",
     "'one' needs its jack 'in'"),
    ("side: right", "side: rihgt", "did you mean 'right'?"),
    ("side: right", "side: top", "known are left, right, front, back"),
    ("{side: right, at: 30 mm}", "{side: right}", "needs 'at'"),
    ("{side: right, at: 30 mm}", "{side: right, at: 130 mm}", "130 mm along its right side, which is 120 mm long"),
    ("{side: right, at: 30 mm}", "{side: right, at: 30 mm, plug: falt}", "did you mean 'flat'?"),
    ("{side: right, at: 30 mm}", "{side: right, at: 30 mm, plug: barrel-straight}", "a plug for a barrel does not go into a jack-6.3"),
    ("  slack:", "  dc_plug: flat\n  slack:", "a plug for a jack-6.3 does not go into a socket for DC"),
    ("{side: right, at: 30 mm}", "{side: right, at: 30 mm, towards: left}", "through its own pedal"),
    ("{side: right, at: 30 mm}", "right", "a jack"),
    ("leaves: straight, room", "leaves: sideways, room", "needs 'reach'"),
    ("room: 40 mm, body", "room: 40 mm, reach: 20 mm, body", "'reach' goes with a plug that lets its lead go sideways"),
    ("room: 40 mm", "room: 0 mm", "room 0 m is not plausible"),
    ("slack: {share: 5 %", "slack: {share: 5", "a share"),
    ("slack: {share: 5 %", "slack: {least: 1 mm, share: 5 %", "least"),
    ("  pedals:\n", "  supplies: []\n  pedal:\n", "did you mean 'pedals'?"),
    ("length: layout", "length: Layout", "or 'layout': as long as the board needs it"),
    ("length: layout", "length: {value: layout, tolerance: 5 %}", "the layout's has no tolerance of its own"),
    ("100 pF/m}\n    length: 6 m\n  - pedal", "100 pF/m}\n    length: layout\n  - pedal",
     "this lead leaves the board at 'guitar', so the board cannot say how long it is: state a length"),
    ("100 pF/m}\n    length: 6 m\namp", "100 pF/m}\n    length: layout\namp", "this lead leaves the board at 'amp'"),
    (RIG[RIG.index("    - pedal: two"):], "", "no place on the board for this lead's end at 'two in': name it under 'board'"),
    ("left: 20 mm", "left: 600 mm",
     "the plug at 'two in' runs into 'one'; the two plugs need 80 mm between them"),
    ("amp: {", "direct:\n  - cable: standard-coax\n    length: layout\namp: {", "'direct' stands on no board"),
    ("outer: 4 mm", "outer: 4", "without a unit"),
    ("outer: 4 mm", "outer: 4 m", "outer 4 m is not plausible"),
    ("outer: 4 mm", "build: {core: 24 AWG, insulation: pvc, diameter: 5 mm}, outer: 4 mm", "over the insulation inside it"),
]


def check_bad(cases):
    cases.group("bad input")
    for number, (old, new, expected) in enumerate(CASES):
        if not cases.check(old in RIG, old, "is not in the rig"):
            continue
        text = RIG.replace(old, new, 1)
        name = cases.write("bad%d.yaml" % number, text)
        done = cases.run("build" if number % 4 else "check", name)  # a rig is refused by all commands alike
        said = done.stderr.decode()
        cases.check(done.returncode == 2 and not done.stdout, name, new, "status", done.returncode, said)
        placed = re.match(r"bad%d\.yaml:(\d+):(\d+): error: " % number, said)
        cases.check(placed, new, "no place in:", said)
        cases.check(expected in said, new, "no", expected, "in:", said)
        lines = said.rstrip("\n").split("\n")
        if placed and cases.check(len(lines) == 3 and lines[2].strip() == "^", new, "no caret in:", said):
            line = text.split("\n")[int(placed.group(1)) - 1]
            shown = lines[1].strip().replace("... ", "").replace(" ...", "")
            cases.check(shown in line, new, "another line than", line, "in:", said)


def check_whole(cases):
    cases.group("the whole of it")
    bare = RIG[:RIG.index("board:")].replace("length: layout", "length: 1 m")
    cases.write("bare.yaml", bare)
    done = cases.run("build", "bare.yaml")
    cases.check(done.returncode == 2 and b"no 'board' in this rig" in done.stderr, done.stderr)
    cases.write("lost.yaml", bare.replace("length: 1 m", "length: layout"))
    done = cases.run("response", "lost.yaml")
    cases.check(done.returncode == 2 and b"this rig has no 'board' to take the length from" in done.stderr
                and b"lost.yaml:10:13" in done.stderr, done.stderr)
    cases.write("good.yaml", RIG)
    for words in (("build",), ("build", "good.yaml", "good.yaml"), ("build", "good.yaml", "--jobs", "2"),
                  ("build", "none.yaml"), ("build", "good.yaml", "--vary", "x=1")):
        done = cases.run(*words)
        cases.check(done.returncode == 2 and not done.stdout and done.stderr, words, done.returncode, done.stderr)
    done = cases.run("build", "good.yaml", "--output", "nowhere/answer")
    cases.check(done.returncode == 1, "an answer that cannot be written:", done.returncode)
    # A board as full as it may be: 80 things, and one more than that is refused.
    row = "    - {device: d%s, left: %d mm, front: %d mm, width: 30 mm, depth: 20 mm}\n"
    names = ["a" * (1 + i // 20) + chr(97 + i % 20) for i in range(79)]
    many = [row % (name, 200 + 40 * (i % 11), 28 + 33 * (i // 11)) for i, name in enumerate(names)]
    cases.write("full.yaml", RIG + "".join(many[:78]))
    done = cases.run("build", "full.yaml", "--json")
    if cases.check(done.returncode == 0, done.stderr):
        lead = json.loads(done.stdout)["leads"][1]
        cases.check(lead["route_m"] > 0.52 and lead["bend_m"] >= lead["bend_least_m"], "it goes around them:", lead)
    cases.write("over.yaml", RIG + "".join(many))
    done = cases.run("build", "over.yaml")
    cases.check(done.returncode == 2 and b"more than 80 things on a board" in done.stderr, done.stderr)


def curve(cases, *words):
    done = cases.run("response", *words, "--json", "--points", "20")
    cases.check(done.returncode == 0, words, done.stderr)
    return [answer["points"] for answer in json.loads(done.stdout)["responses"]]


def check_tone(cases):
    """What the layout gives is what the number gives, in every command that has it."""
    cases.group("the tone follows the layout")
    cases.write("laid.yaml", RIG)
    cases.write("number.yaml", RIG.replace("length: layout", "length: 550 mm"))
    cases.write("other.yaml", RIG.replace("length: layout", "length: 1 m"))
    laid, number, other = (curve(cases, name) for name in ("laid.yaml", "number.yaml", "other.yaml"))
    cases.check(laid == number, "a length of the layout and the number it comes to")
    cases.check(laid[0] != other[0] and laid[1] == other[1], "another length is another tone, and direct the same")
    # Moved by 100 mm: 420 between the plugs, and 5 % are 21: 441, rounded up to 445 mm.
    cases.write("moved.yaml", RIG.replace("left: 20 mm", "left: 120 mm"))
    cases.write("same.yaml", RIG.replace("length: layout", "length: 445 mm"))
    cases.check(curve(cases, "moved.yaml") == curve(cases, "same.yaml"), "a pedal moved is a lead of 445 mm")
    done = cases.run("compare", "laid.yaml", "--vary", "chain[2].length=layout,550 mm,1 m", "--json")
    if cases.check(done.returncode == 0, done.stderr):
        peaks = [v["responses"][0]["peak_hz"] for v in json.loads(done.stdout)["variants"]]
        cases.check(len(peaks) == 3 and peaks[0] == peaks[1] > peaks[2], "--vary overrides:", peaks)
    done = cases.run("compare", "number.yaml", "--vary", "chain[2].length=layout", "--json")
    cases.check(done.returncode == 0 and json.loads(done.stdout)["variants"][0]["responses"][0]["peak_hz"] == peaks[0],
                "--vary may lay out what the file does not:", done.stderr)
    done = cases.run("compare", "laid.yaml", "--vary", "chain[0].length=layout")
    cases.check(done.returncode == 2 and b"leaves the board at 'guitar'" in done.stderr, "where there is no place:", done.stderr)
    done = cases.run("check", "laid.yaml")
    cases.check(b"laid.yaml:10, by the layout of 'board'" in done.stdout and b"55 cm" in done.stdout, done.stdout)
    cases.check(b"board.pedals[1].in" in done.stdout, "check lists the board")
    done = cases.run("reach", "laid.yaml", "--vary", "chain[2].length", "--limit", "peak not below 2.5 kHz")
    cases.check(done.returncode == 0, "reach moves a length of the layout", done.stdout, done.stderr)
    longer = cases.run("reach", "number.yaml", "--vary", "chain[2].length", "--limit", "peak not below 2.5 kHz")
    cases.check(done.stdout == longer.stdout, "and finds what it finds from the number")


def check_answers(cases):
    cases.group("text, JSON and CSV")
    for name in ("buffered-board", "fuzz-first"):
        path = os.path.join(RIGS, name + ".yaml")
        answer = json.loads(cases.run("build", path, "--json").stdout)
        rows = list(csv.DictReader(io.StringIO(cases.run("build", path, "--csv").stdout.decode())))
        text = cases.run("build", path).stdout.decode()
        cases.check(answer["ready"] and not [f for f in answer["findings"] if f["verdict"] == "error"], name, "is ready")
        cases.check([lead["number"] for lead in answer["leads"]] == list(range(1, len(rows) + 1)), "numbers from 1 on")
        for lead, row in zip(answer["leads"], rows):
            for field in ("route_m", "slack_m", "length_m", "preparation_m", "cut_m", "stated_m", "bend_m", "bend_least_m"):
                value = float(row[field]) if row[field] else None
                same = value is None and lead[field] is None or value is not None and math.isclose(value, lead[field], rel_tol=1e-9)
                cases.check(same, name, lead["number"], field, value, lead[field])
            cases.check(row["from"] == lead["from"]["name"] and row["to"] == lead["to"]["name"], row)
            cases.check(re.search(r"^ *%d +%s +%s " % (lead["number"], lead["from"]["name"], lead["to"]["name"]), text, re.M),
                        lead["number"], "is in the text")
            cases.check(math.isclose(lead["cut_m"], lead["length_m"] + lead["preparation_m"]), "cut:", lead)
            if lead["route_m"] is not None:
                cases.check(math.isclose(lead["slack_m"], lead["length_m"] - lead["route_m"], abs_tol=1e-9), "slack:", lead)
        board = answer["board"]
        for box in answer["boxes"]:
            cases.check(box["left_m"] >= 0 and box["left_m"] + box["width_m"] <= board["width_m"] + 1e-9
                        and box["front_m"] >= 0 and box["front_m"] + box["depth_m"] <= board["depth_m"] + 1e-9, box)
        totals = answer["totals"]
        patches = [lead for lead in answer["leads"] if lead["kind"] == "audio" and lead["on_board"]]
        cases.check(totals["patch_leads"] == len(patches)
                    and math.isclose(totals["patch_length_m"], sum(lead["length_m"] for lead in patches)), totals)
        cases.check(cases.run("build", path).stdout.decode() == text, "the same bytes twice")
    # DC leads go by the assignment that `power` finds.
    path = os.path.join(RIGS, "buffered-board.yaml")
    plan = json.loads(cases.run("power", path, "--json").stdout)
    build = json.loads(cases.run("build", path, "--json").stdout)
    at = {row["pedal"]: row["output"] for row in plan["assignment"]}
    leads = {lead["to"]["name"]: lead["from"]["name"] for lead in build["leads"] if lead["kind"] == "dc"}
    cases.check(leads == {pedal + " power": output for pedal, output in at.items()}, leads, at)


def check_power(cases):
    cases.group("power that cannot be, or is not said")
    power = """power:
  supplies:
    - {name: brick, kind: switching, outputs: [{name: 1, voltage: 9 V, current: 10 mA}]}
  pedals:
    - {pedal: one, voltage: 18 V, polarity: centre-negative, current: 5 mA}
"""
    cases.write("no.yaml", RIG + power)
    done = cases.run("build", "no.yaml")
    text = " ".join(done.stdout.decode().split())
    cases.check(done.returncode == 0 and "No DC leads: no output can feed any of the pedals" in text, text, done.stderr)
    cases.check("It fits" not in text and "There is no power for all of it by the rules" in text
                and "'one' is left without an output: no output gives its volts" in text, text)
    # One of two cannot be fed: the other has its lead, in the cut list, on the card and in the bill alike.
    two = "    - {pedal: two, voltage: 9 V, polarity: centre-negative, current: 5 mA}\n"
    cases.write("half.yaml", RIG + power + two)
    answer = json.loads(cases.run("build", "half.yaml", "--json").stdout)
    dc = [lead["to"]["name"] for lead in answer["leads"] if lead["kind"] == "dc"]
    errors = [f for f in answer["findings"] if f["verdict"] == "error"]
    cases.check(dc == ["two power"] and not answer["ready"] and answer["no_dc"] is None, dc, answer["no_dc"])
    cases.check([f["kind"] for f in errors] == ["power", "power"] and errors[1]["box"] == "one", errors)
    card = json.loads(cases.run("card", "half.yaml", "--json").stdout)
    cases.check([lead["number"] for lead in card["leads"] if lead["kind"] == "dc"]
                == [lead["number"] for lead in answer["leads"] if lead["kind"] == "dc"], card["leads"])
    bill = " ".join(cases.run("build", "half.yaml", "--bill").stdout.decode().split())
    cases.check(bill.find("What to know: do not cut it like this") < bill.find("What it takes"), bill)
    cases.check("'one' is left without an output" in bill, bill)
    # Both on one output: a warning, no plugs in each other's way, and one plug of the two in the bill.
    supply = "  supplies:\n    - {supply: brick, under: yes, left: 300 mm, front: 100 mm, width: 80 mm, depth: 60 mm}\n"
    jacks = RIG.replace("      out: {side: left, at: 30 mm}\n",
                        "      out: {side: left, at: 30 mm}\n      power: {side: back, at: 30 mm}\n")
    cases.write("both.yaml", jacks + supply + power.replace("18 V", "9 V").replace("10 mA", "100 mA") + two)
    answer = json.loads(cases.run("build", "both.yaml", "--json").stdout)
    kinds = [(f["verdict"], f["kind"]) for f in answer["findings"] if f["kind"] in ("plugs", "splitter", "power")]
    cases.check(kinds == [("warning", "splitter")] and answer["ready"], answer["findings"])
    joined = [(lead["from"]["joined"], lead["to"]["joined"]) for lead in answer["leads"] if lead["kind"] == "dc"]
    cases.check(joined == [(False, False), (True, False)], joined)
    lines = {line["item"]: line["count"] - line["spare"] for line in answer["bill"]["lines"]}
    cases.check(lines["splitter for 2"] == 1 and lines["barrel-right-angle plug"] == 3, lines)
    text = cases.run("check", "both.yaml").stdout.decode()
    cases.check(text.endswith("Not looked at here: the power (`toneload power` does) and whether the board fits "
                              "(`toneload build` does).\n"), text)
    cases.write("yes.yaml", RIG + power.replace("18 V", "9 V"))
    done = cases.run("build", "yes.yaml")
    cases.check(b"brick/1" in done.stdout and b"No way for lead 4: the board does not say where the supply is" in
                b" ".join(done.stdout.split()), done.stdout)
    cases.write("plain.yaml", RIG)
    done = cases.run("build", "plain.yaml")
    cases.check(b"No DC leads: this rig says nothing of 'power'." in done.stdout, done.stdout)


def run(cases):
    check_bad(cases)
    check_whole(cases)
    check_tone(cases)
    check_answers(cases)
    check_power(cases)


if __name__ == "__main__":
    main(run)
