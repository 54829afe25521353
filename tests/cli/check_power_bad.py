#!/usr/bin/python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""What cannot be used of a rig's `power` is refused with its place, the line, a caret, and what was expected.

Usage: check_power_bad.py BUILD_DIR
"""

import re

import boards
from cases import main

CHAIN = """guitar: {pickup: {inductance: 2.5 H, resistance: 6 kohm, capacitance: 110 pF}}
chain:
  - cable: {capacitance: 100 pF/m}
    length: 6 m
  - pedal: {bypass: true-bypass, input: {resistance: 1 Mohm}, output: {resistance: 1 kohm}}
    name: drive
    engaged: no
  - cable: {capacitance: 100 pF/m}
    length: 6 m
amp: {resistance: 1 Mohm, capacitance: 20 pF}
"""
POWER = """power:
  supplies:
    - name: brick
      kind: switching
      outputs:
        - {name: 1, voltage: 9 V, current: 100 mA}
        - {name: 2, voltage: 9 V, current: 100 mA}
  pedals:
    - {pedal: drive, voltage: 9 V, polarity: centre-negative, current: 20 mA}
"""

# What to put in the place of what, and what the error says; the words of the last column stand under the caret.
CASES = [
    (", current: 20 mA}", "}", "needs 'current'"),
    ("voltage: 9 V, current: 100 mA}\n        - {name: 2", "voltage: 9 V}\n        - {name: 2", "needs 'current'"),
    ("polarity: centre-negative, ", "", "needs 'polarity'"),
    ("polarity: centre-negative", "polarity: center-negative", "did you mean 'centre-negative'?"),
    ("polarity: centre-negative", "polarity: inside", "known are centre-negative, centre-positive, ac"),
    ("pedal: drive", "pedal: driev", "did you mean 'drive'?"),
    ("pedal: drive", "pedal: 'chain[0]'", "no pedal or buffer of the chain is named 'chain[0]'"),
    ("pedal: drive", "pedal: 'direct[0]'", "no pedal or buffer"),
    ("current: 20 mA}", "current: 20 mA, output: brick/3}", "did you mean 'brick/"),
    ("current: 20 mA}", "current: 20 mA, output: 1}", "expected SUPPLY/OUTPUT"),
    ("{name: 2,", "{name: 1,", "a second output of the name '1' in 'brick'"),
    ("current: 20 mA", "current: 20", "a bare number, without a unit"),
    ("current: 20 mA", "current: 20 V", "a current"),
    ("current: 20 mA", "current: 2000 A", "not plausible"),
    ("current: 20 mA", "current: -20 mA", "cannot be negative"),
    ("current: 20 mA", "curent: 20 mA", "did you mean 'current'?"),
    ("kind: switching", "kind: swiching", "did you mean 'switching'?"),
    ("      kind: switching\n", "", "needs 'kind'"),
    ("name: brick\n", "name: ../brick\n", "cannot be a name"),
    ("voltage: 9 V, current: 100 mA}\n  ped", "current: 100 mA}\n  ped", "either 'voltage' or 'selectable"),
    ("voltage: 9 V, current: 100 mA}\n  ped", "voltage: 9 V, selectable: [9 V], current: 100 mA}\n  ped", "either 'voltage' or"),
    ("voltage: 9 V, current: 100 mA}\n  ped", "selectable: [], current: 100 mA}\n  ped", "1 to 8 voltages"),
    ("voltage: 9 V, current: 100 mA}\n  ped", "selectable: [9 V, 9 A], current: 100 mA}\n  ped", "a voltage"),
    ("current: 100 mA}\n  ped", "current: 100 mA, peak: 50 mA}\n  ped", "cannot be less than 'current'"),
    ("current: 20 mA}", "current: 20 mA, inrush: 10 mA}", "cannot be less than 'current'"),
    ("current: 20 mA}", "current: 20 mA, pulse: {current: 5 mA, duty: 30 %}}", "'pulse.frequency' is missing"),
    ("current: 20 mA}", "current: 20 mA, pulse: {current: 5 mA, frequency: 1 kHz, duty: 130 %}}", "not plausible"),
    ("current: 20 mA}", "current: 20 mA, pulse: {current: 40 mA, frequency: 1 kHz, duty: 30 %}}", "cannot be more than that"),
    ("polarity: centre-negative, ", "", "(centre-negative, centre-positive or ac)"),
    ("  supplies:\n", "  mains: 230 V\n  supplies:\n", "write {voltage: 230 V, frequency: 50 Hz}"),
    ("  supplies:\n", "  tour: [120 V]\n  supplies:\n", "write {voltage: 230 V, frequency: 50 Hz}"),
    ("current: 20 mA}", "current: 20 mA, lead: {gauge: 24 AWG}}", "needs 'length'"),
    ("current: 20 mA}", "current: 20 mA, lead: {gauge: 24 AWG, length: 50 cm, joint: solderd}}", "did you mean 'soldered'?"),
    ("current: 20 mA}", "current: 20 mA, follows: drive}", "follows nothing"),
    ("current: 20 mA}", "current: 20 mA, device: x}", "expected 'pedal', which names one of the chain, or 'device'"),
    ("pedal: drive, ", "", "expected 'pedal', which names one of the chain, or 'device'"),
    ("pedal: drive", "device: '$(x)'", "cannot be a name"),
    ("current: 20 mA}\n", "current: 20 mA}\n    - {pedal: drive, voltage: 9 V, polarity: ac, current: 1 mA}\n",
     "'drive' stands twice"),
    ("current: 20 mA}\n", "current: 20 mA}\n    - {pedal: 'chain[1]', voltage: 9 V, polarity: ac, current: 1 mA}\n",
     "'chain[1]' stands twice"),
    ("  supplies:\n", "  headroom: 120 %\n  supplies:\n", "not plausible"),
    ("  supplies:\n", "  headrom: 20 %\n  supplies:\n", "did you mean 'headroom'?"),
    ("  supplies:\n", "  mains: {voltage: 230 V}\n  supplies:\n", "needs 'frequency'"),
    ("  supplies:\n", "  mains: {voltage: 12 V, frequency: 50 Hz}\n  supplies:\n", "not plausible"),
    ("  supplies:\n", "  tour: {voltage: 120 V, frequency: 60 Hz}\n  supplies:\n", "a tour"),
    ("      kind: switching\n", "      kind: switching\n      mains: {low: 240 V, high: 100 V}\n", "'mains.low' is more than 'mains.high'"),
    ("      kind: switching\n", "      kind: switching\n      mains: {low: 100 V}\n", "give both"),
    ("      kind: switching\n", "      kind: switching\n      power: 18\n", "18 W"),
    ("      kind: switching\n", "      kind: switching\n      efficiency: 0.8\n", "%"),
    ("      kind: switching\n", "      like: switching-univrsal\n", "did you mean 'switching-universal'?"),
    ("  pedals:\n    - {pedal: drive, voltage: 9 V, polarity: centre-negative, current: 20 mA}\n", "", "'power' needs 'pedals'"),
    ("  pedals:\n    - {pedal: drive, voltage: 9 V, polarity: centre-negative, current: 20 mA}\n", "  pedals: []\n", "1 to 64 pedals"),
    (POWER[7:], "  pedals: []\n", "'power' needs 'supplies'"),
    (POWER[6:], " 9 V\n", "'power'"),
]


def check_cases(cases):
    cases.group("what cannot be used")
    for number, (old, new, expected) in enumerate(CASES):
        text = CHAIN + POWER.replace(old, new, 1)
        cases.check(old in POWER, "nothing to replace:", old)
        name = cases.write("bad%d.yaml" % number, text)
        for command in ("power", "check"):
            done = cases.run(command, name)
            said = done.stderr.decode()
            cases.check(done.returncode == 2 and not done.stdout, name, new, "status", done.returncode, said)
            placed = re.match(r"bad%d\.yaml:(\d+):(\d+): error: " % number, said)
            cases.check(placed, new, "no place in:", said)
            cases.check(expected in said, new, "no", expected, "in:", said)
            lines = said.rstrip("\n").split("\n")
            if placed and cases.check(len(lines) == 3 and lines[2].strip() == "^", new, "no caret in:", said):
                line = text.split("\n")[int(placed.group(1)) - 1]
                shown = lines[1].strip().replace("... ", "").replace(" ...", "")  # long lines are cut
                cases.check(shown in line, new, "another line than", line, "in:", said)


def check_whole(cases):
    cases.group("the whole of it")
    cases.write("good.yaml", CHAIN + POWER)
    cases.check(cases.run("power", "good.yaml").returncode == 0, "the rig all cases are made of is no good")
    for words in (("power",), ("power", "good.yaml", "good.yaml"), ("power", "good.yaml", "--vary", "x"),
                  ("power", "good.yaml", "--plot", "x.txt"), ("power", "none.yaml")):
        done = cases.run(*words)
        cases.check(done.returncode == 2 and not done.stdout and done.stderr, words, done.returncode, done.stderr)
    done = cases.run("power", "good.yaml", "--output", "nowhere/answer")
    cases.check(done.returncode == 1, "an answer that cannot be written:", done.returncode)
    many = "".join("    - {device: d%s, voltage: 9 V, polarity: ac, current: 1 mA}\n" % ("a" * i) for i in range(65))
    cases.write("many.yaml", CHAIN + POWER.replace("  pedals:\n", "  pedals:\n" + many))
    done = cases.run("power", "many.yaml")
    cases.check(done.returncode == 2 and b"1 to 64 pedals" in done.stderr, done.stderr)
    cases.write("silent.yaml", boards.HEAD + POWER.replace("pedal: drive", "device: drive"))
    done = cases.run("power", "silent.yaml")
    cases.check(done.returncode == 0 and b"how the returns are wired" not in done.stdout
                and b"no 'pulse' is stated" in done.stdout, "a loop without pulses", done.stdout)


def run(cases):
    check_cases(cases)
    check_whole(cases)


if __name__ == "__main__":
    main(run)
