#!/usr/bin/python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""`noise` on the command line: text, CSV, JSON and plot tell the same, and hostile titles run nothing.

Usage: check_noise.py BUILD_DIR

What the figures are is held against the outside by tests/oracle/check_noise.py.
"""
import csv
import io
import json
import math
import os
import xml.etree.ElementTree as xml

from cases import main
from check_attacks import is_quiet, no_mark, rig_of, shell_free, titles

PEDALS = """rig: two pedals, invented for this check
guitar:
  pickup: single-coil
  volume: {like: pot-250k-audio, position: 50 %}
chain:
  - cable: standard-coax
    length: 5 m
  - pedal: {bypass: true-bypass, input: {resistance: 1 Mohm}, output: {resistance: 1 kohm}, gain: 20 dB,
            noise: {voltage: 100 nV/rtHz, current: 1 pA/rtHz}}
    name: roar
    engaged: no
  - pedal: {bypass: loaded-bypass, input: {resistance: 100 kohm}, output: {resistance: 1 kohm}}
    name: wah
    engaged: no
  - cable: standard-coax
    length: 5 m
amp: {resistance: 1 Mohm, noise: {voltage: 5 nV/rtHz, current: 0.13 pA/rtHz}}
"""
SCENES = "scenes:\n  - {name: calm, engaged: []}\n  - {name: storm, engaged: [roar]}\n"
BRANCHES = """chain:
  - split:
      - {name: one, chain: [{cable: standard-coax, length: 5 m}], amp: {resistance: 1 Mohm}}
      - {name: two, chain: [{cable: standard-coax, length: 1 m}], amp: {resistance: 100 kohm}}
"""


def answer_of(cases, *words):
    return json.loads(cases.run("noise", *words, "--json").stdout)


def check_forms(cases):
    cases.group("text, CSV and JSON tell the same")
    cases.write("rig.yaml", PEDALS)
    answer = answer_of(cases, "rig.yaml")
    text = cases.run("noise", "rig.yaml").stdout.decode()
    rows = list(csv.DictReader(io.StringIO(cases.run("noise", "rig.yaml", "--csv").stdout.decode())))
    cases.check(len(rows) == len(answer["states"]) == 4, rows)
    order = [answer["states"][i] for i in answer["ranking"]]
    for row, state in zip(rows, order):
        amp = state["amps"][0]
        cases.check(row["engaged"] == (" + ".join(state["engaged"]) or "all off"), row, state)
        for field, value in (("total_v", amp["total_v"]), ("a_weighted_v", amp["a_weighted_v"]),
                             ("signal_v", amp["signal_v"]), ("a_weighted_below_db", amp["a_weighted_below_db"])):
            cases.check(math.isclose(float(row[field]), value, rel_tol=1e-9), row, field, value)
        cases.check(f'{amp["a_weighted_below_db"]:.1f} dB' in text, amp)
    below = [state["amps"][0]["a_weighted_below_db"] for state in order]
    cases.check(below == sorted(below), "not ranked", below)
    first = answer["parts"][0]
    cases.check(f'The {first["name"]} ' in text and first["name"] == "volume pot at 50 %", text)
    cases.check(math.isclose(sum(part["power_share"] for part in answer["parts"]), 1, rel_tol=1e-6) and
                math.isclose(sum(part["a_weighted_power_share"] for part in answer["parts"]), 1, rel_tol=1e-6),
                answer["parts"])
    cases.check(sum(part["name"] == "everything else" for part in answer["parts"]) == 0, answer["parts"])
    cases.check(answer["states_no_noise"] == ["wah"] and "stated by wah." in text, answer["states_no_noise"])
    for words in ("6 m of the library's standard-coax", "Hum is not in it", "100 mV rms"):
        cases.check(words in text, words, "is not said")


def check_states(cases):
    cases.group("states are the rig written that way, and scenes and fixes hold")
    cases.write("rig.yaml", PEDALS)
    answer = answer_of(cases, "rig.yaml")
    for state in answer["states"]:
        text = PEDALS
        for name in state["engaged"]:
            text = text.replace(f"name: {name}\n    engaged: no", f"name: {name}\n    engaged: yes")
        cases.write("state.yaml", text)
        alone = answer_of(cases, "state.yaml")
        amp = state["amps"][0]
        cases.check(math.isclose(alone["total_v"], amp["total_v"], rel_tol=1e-9), state["engaged"])
        cases.check(math.isclose(alone["amps"][0]["signal_v"], amp["signal_v"], rel_tol=1e-6), state["engaged"])
        cases.check(alone["parts"][0]["name"] == amp["loudest"], state["engaged"])
    switched = PEDALS.replace("bypass: true-bypass", "bypass: buffered-bypass").replace("gain: 20 dB", "gain: 1")
    cases.write("alike.yaml", switched)
    text = cases.run("noise", "alike.yaml").stdout.decode()
    cases.check("(2 of them, which hiss like one of these, are left out)" in text, text)
    cases.check(len(cases.run("noise", "alike.yaml", "--csv").stdout.splitlines()) == 5, "CSV has all")
    cases.write("scenes.yaml", PEDALS + SCENES)
    scenes = answer_of(cases, "scenes.yaml")["states"]
    cases.check([scene["scene"] for scene in scenes] == ["calm", "storm"], scenes)
    cases.check(len(answer_of(cases, "scenes.yaml", "--all")["states"]) == 4, "--all")
    held = answer_of(cases, "rig.yaml", "--fix", "roar=yes")
    cases.check(len(held["states"]) == 2 and held["parts"][0]["name"] == "roar", held["parts"][:2])
    done = cases.run("noise", "rig.yaml", "--fix", "rore=yes")
    cases.check(done.returncode == 2 and b"roar" in done.stderr, done)
    louder = answer_of(cases, "rig.yaml", "--level", "200 mV")
    cases.check(math.isclose(louder["amps"][0]["a_weighted_below_db"] - answer["amps"][0]["a_weighted_below_db"],
                             20 * math.log10(2), rel_tol=1e-6), "--level")
    bytes_of = {cases.run("noise", "rig.yaml", "--json", "--jobs", jobs).stdout for jobs in ("1", "2", "5")}
    cases.check(len(bytes_of) == 1, "another answer with other --jobs")


def check_amps(cases):
    cases.group("every amp has its own")
    cases.write("rig.yaml", "rig: two amps, invented\nguitar: {pickup: single-coil}\n" + BRANCHES)
    answer = answer_of(cases, "rig.yaml")
    cases.check([(at["amp"], at["name"]) for at in answer["amps"]] ==
                [("one", "rig"), ("one", "direct"), ("two", "rig"), ("two", "direct")], answer["amps"])
    text = cases.run("noise", "rig.yaml", "--plot", "two.svg").stdout.decode()
    cases.check("at amp one" in text and "At amp two, the rig as written" in text, text)
    words = "".join(xml.fromstring(cases.read("two.svg")).itertext())
    cases.check("noise at amp one" in words and "noise at amp two" in words, words)


def check_bad(cases):
    cases.group("bad levels")
    cases.write("rig.yaml", PEDALS)
    for level, said in (("5", b"V"), ("-1 mV", b"between"), ("0 V", b"between"), ("1 kV", b"between"),
                        ("1 mA", b"mV"), ("\x1b[31m", b"\\x1b"), ("", b"needs a value")):
        done = cases.run("noise", "rig.yaml", "--level", level)
        cases.check(done.returncode == 2 and said in done.stderr and not done.stdout, level, done)
        cases.check(is_quiet(done.stderr), level, done.stderr)


def check_titles(cases):
    mark = os.path.join(cases.here, "mark")
    dangerous = titles(mark)[::4]
    cases.group(f"{len(dangerous)} hostile titles in table, plot, CSV and JSON")
    for title in dangerous:
        cases.write("rig.yaml", rig_of(title))
        text = shell_free(cases, "noise", "rig.yaml", "--plot", "plot.svg").stdout
        cases.check(is_quiet(text), title, text)
        words = ["".join(one.itertext()).strip() for one in xml.fromstring(cases.read("plot.svg")).iter()
                 if one.tag.endswith("text")]
        start = title.strip()[:20]
        cases.check(not start or any(start in word for word in words), title, "is not on the plot", words)
        cases.check(answer_of(cases, "rig.yaml")["rig"] == title, title, "changed in JSON")
        no_mark(cases, title)


def run(cases):
    for check in (check_forms, check_states, check_amps, check_bad, check_titles):
        check(cases)
        cases.clear()


if __name__ == "__main__":
    main(run)
