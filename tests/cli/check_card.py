#!/usr/bin/python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""The bench card on paper and as data: it prints, it has a place for every reading, one state of it is a form that can be
filled in, and what is wrong with `measure` is said where it stands.

Usage: check_card.py BUILD_DIR
"""

import csv
import io
import json
import os
import re

from cases import CHAIN, GUITAR, RIG, main

MODELS = os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "..", "models", "rigs")
DEMOS = ("buffered-board", "long-cable", "two-amps")
PRINTED = ("buffered-board", "two-amps")
COLUMNS = 98

TWO_ENDS = "rig: two\n" + GUITAR + CHAIN + """\
  - pedal: overdrive-true-bypass
    name: drive
    engaged: no
  - split:
      - {name: left, chain: [{cable: standard-coax, length: 5 m}], amp: tube-input}
      - {name: right, chain: [{cable: standard-coax, length: 5 m}], amp: tube-input}
"""


def demo(name):
    return os.path.join(MODELS, name + ".yaml")


def readings(value):
    """Every reading of a card's JSON: what has a place to be read."""
    if isinstance(value, dict):
        if "read" in value:
            yield value
        for inner in value.values():
            yield from readings(inner)
    elif isinstance(value, list):
        for inner in value:
            yield from readings(inner)


def paper(cases, cards):
    """Printed, every line fits, and there are as many boxes as readings."""
    cases.group("paper")
    for name in PRINTED:
        text = cases.run("card", demo(name)).stdout.decode()
        wide = [line for line in text.splitlines() if len(line) > COLUMNS]
        cases.check(not wide, name, "too wide:", wide[:2])
        table = text[text.index("\nLeads"):text.index("\nWhat is taken")]
        found = list(readings(cards[name]))
        ticked = [one for one in found if "must_be" in one]
        cases.check(table.count("[ ]") == len(ticked) > 0, name, "boxes to tick:", table.count("[ ]"))
        boxes = len(re.findall("_{5,}", table))
        cases.check(boxes == len(found) - len(ticked) > 30, name, "boxes to write in:", boxes, "not",
                    len(found) - len(ticked))
        for words in ("Order of work", "serial no.", "Cautions", "licensed person", "0.1 to 0.2 ohm", "Signed"):
            cases.check(words in text, name, "does not say", words)


def figures(cases, cards):
    """As data: what is expected lies between its limits, nothing is read yet, and CSV says the same."""
    cases.group("figures")
    for name, data in cards.items():
        for one in readings(data):
            cases.check(one["read"] is None, name, "is filled in:", one)
            known = [one[key] for key in ("low", "expected", "high") if one.get(key) is not None]
            cases.check(known == sorted(known), name, "out of order:", one)
        numbers = [lead["number"] for lead in data["leads"]]
        cases.check(numbers == list(range(1, len(numbers) + 1)), name, "numbers", numbers)
        for lead in data["leads"]:
            if lead["kind"] == "audio":
                c = lead["capacitance_farad"]
                cases.check(c["high"] < 2 * c["expected"] or lead["length_m"] < 0.16, name,
                            "a lead of twice the capacitance passes:", lead)
        cases.check(data["cautions"] and data["order"] and data["assumed"], name, "says too little")
    name = PRINTED[0]
    rows = list(csv.DictReader(io.StringIO(cases.run("card", demo(name), "--csv").stdout.decode())))
    cases.check(len(rows) == len(list(readings(cards[name]))), name, "CSV has", len(rows), "rows")
    cases.check(all(row["read"] == "" for row in rows), name, "CSV is filled in")
    levels = [float(row["expected"]) for row in rows if row["what"] == "level"]
    wanted = [row["expected"] for state in cards[name]["states"] for row in state["levels_db"]]
    cases.check(len(levels) == len(wanted) and all(abs(a - b) < 1e-6 for a, b in zip(levels, wanted)), "levels differ")


def board(cases, card):
    """With a board the leads have the numbers, lengths and ends of its cut list."""
    cases.group("board")
    name = demo("buffered-board")
    cut = json.loads(cases.run("build", name, "--json").stdout)
    cases.check(len(card["leads"]) == len(cut["leads"]), "not as many leads")
    for one, other in zip(card["leads"], cut["leads"]):
        same = all(one[key] == other[key] for key in ("number", "kind", "path", "length_m"))
        cases.check(same, "not the lead of the cut list:", one["number"], other["number"])
        cases.check(one["plugs"] == [other["from"]["plug"], other["to"]["plug"]], "other plugs:", one)
    cases.check({at["lead"] for at in card["dc"]} ==
                {lead["number"] for lead in cut["leads"] if lead["kind"] == "dc"}, "DC leads differ")
    stated = open(name, encoding="utf-8").read().replace(
        "  plug: flat\n", "  plug: {like: flat, capacitance: 4 pF}\n", 1)
    cases.write("stated.yaml", stated)
    after = json.loads(cases.run("card", "stated.yaml", "--json").stdout)
    gained = after["leads"][1]["capacitance_farad"]["expected"] - card["leads"][1]["capacitance_farad"]["expected"]
    cases.check(abs(gained - 8e-12) < 1e-15, "two plugs of 4 pF add", gained)


def worn(cases, card):
    """The worn joint of the rig is in the limit of its lead, and the card says so and what the lead reads once mended."""
    cases.group("worn joints")
    leads = [lead for lead in card["leads"] if lead["worn_ohm"]]
    cases.check([(lead["number"], lead["worn"], lead["worn_ohm"]) for lead in leads] == [(4, "clamped-worn", 2)], leads)
    sound = open(demo("buffered-board"), encoding="utf-8").read().replace("clamped-worn", "clamped-new")
    cases.write("sound.yaml", sound)
    mended = json.loads(cases.run("card", "sound.yaml", "--json").stdout)["leads"][3]
    off = mended["loop_ohm"]["high"] - leads[0]["mended_ohm"]
    cases.check(mended["worn_ohm"] == 0 and mended["mended_ohm"] is None and abs(off) < 0.025, "mended:", mended, off)
    text = " ".join(cases.run("card", demo("buffered-board")).stdout.decode().split())
    cases.check("limit of lead 4 holds a worn joint (clamped-worn, 2 ohm)" in text, "worn joint not told")


def form(cases):
    """One state at one end is a form: frequencies that rise, an empty level, and what is expected."""
    cases.group("form")
    cases.write("two.yaml", TWO_ENDS)
    done = cases.run("card", "two.yaml", "--state", "all off", "--end", "right", "--csv")
    rows = list(csv.DictReader(io.StringIO(done.stdout.decode())))
    cases.check(list(rows[0])[:2] == ["frequency_hz", "gain_db"], "columns:", list(rows[0]))
    hz = [float(row["frequency_hz"]) for row in rows]
    cases.check(len(hz) == 10 and hz == sorted(set(hz)), "frequencies:", hz)
    cases.check(all(row["gain_db"] == "" and row["amp"] == "right" for row in rows), "filled in:", rows[0])
    for row in rows:
        row["gain_db"] = "%.2f" % float(row["expected_db"])
    filled = io.StringIO()
    writer = csv.DictWriter(filled, rows[0].keys())
    writer.writeheader()
    writer.writerows(rows)
    cases.write("filled.csv", filled.getvalue())
    done = cases.run("accept", "two.yaml", "filled.csv", "--state", "all off", "--end", "right")
    cases.check(done.returncode == 0 and b"Accepted" in done.stdout, "the form as predicted:", done.stdout, done.stderr)
    wrong = filled.getvalue().replace("right,all off", "right,drive")
    cases.write("wrong.csv", wrong)
    done = cases.run("accept", "two.yaml", "wrong.csv", "--state", "all off", "--end", "right")
    cases.check(done.returncode == 2 and b"wrong.csv:2:" in done.stderr, "a form of another state:", done.stderr)
    for words, state in (("none", "all off"), ("drive", "drive")):
        answer = json.loads(cases.run("card", "two.yaml", "--state", words, "--json").stdout)
        cases.check({one["state"] for one in answer["states"]} == {state}, "--state", words, "gave", answer["states"])
        cases.check("a little wider" in answer["limits"]["words"], "limits of one state:", answer["limits"]["words"])
    name = demo("buffered-board")
    answer = json.loads(cases.run("card", name, "--state", "reverb, wah", "--json").stdout)
    cases.check([one["engaged"] for one in answer["states"]] == [["wah", "reverb"]], "a state not on the card:", answer["states"])
    for words, said in ((("--state", "al off"), b"did you mean 'all off'?"), (("--end", "rihgt"), b"did you mean 'right'?"),
                        (("--state", "drive", "--csv"), b"--end 'left'")):
        done = cases.run("card", "two.yaml", *words)
        cases.check(done.returncode == 2 and said in done.stderr and not done.stdout, words, done.stderr)


def wrong(cases):
    """What cannot be measured, or is said wrongly, is exit status 2 with its place."""
    cases.group("wrong")
    for measure, said in (
            ("measure: {dummy: {resistance: 6 kohm, inductance: 2.5 H, capacitance: 110 uF}}", b"not plausible"),
            ("measure: {dummy: {resistance: 6, inductance: 2.5 H, capacitance: 110 pF}}", b"ohm"),
            ("measure: {meter: {resistance: -1 Mohm}}", b"negative"),
            ("measure: {frequencies: [1 kHz, 500 Hz]}", b"from low to high"),
            ("measure: {frequencies: [1 kHz, 1 kHz]}", b"twice"),
            ("measure: {frequencies: [nan Hz]}", b"frequencies"),
            ("measure: {metre: {resistance: 1 Mohm}}", b"'meter'"),
            ("measure: [1]", b"expected")):
        cases.write("bad.yaml", RIG + measure + "\n")
        done = cases.run("card", "bad.yaml")
        place = b"bad.yaml:" + str(RIG.count("\n") + 1).encode() + b":"
        cases.check(done.returncode == 2 and said in done.stderr and place in done.stderr and b"^" in done.stderr,
                    measure, done.stderr)
    hostile = RIG.replace("rig: plain", 'rig: "=cmd|\' /C calc\'!A0 <script>`touch pwned`"')
    cases.write("hostile.yaml", hostile)
    done = cases.run("card", "hostile.yaml")
    cases.check(done.returncode == 0 and not os.path.exists(cases.path("pwned")), done.stderr)


def same_bytes(cases, card):
    """Whatever the number of workers; and written to a file as printed."""
    cases.group("same bytes")
    cases.run("card", demo("long-cable"), "--json", "--jobs", "3", "--output", "card.json")
    cases.check(json.loads(cases.read("card.json")) == card, "--jobs changes the answer")
    cases.check(b"'power'" in cases.run("card", cases.write("none.yaml", RIG)).stdout, "no word on what is not read")


def run(cases):
    cards = {name: json.loads(cases.run("card", demo(name), "--json").stdout) for name in DEMOS}
    paper(cases, cards)
    figures(cases, cards)
    board(cases, cards["buffered-board"])
    worn(cases, cards["buffered-board"])
    form(cases)
    wrong(cases)
    same_bytes(cases, cards["long-cable"])


if __name__ == "__main__":
    main(run)
