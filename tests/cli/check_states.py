#!/usr/bin/python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""`states` against separate `response` runs, and what common practice expects of it.

Usage: check_states.py BUILD_DIR

- Six pedals: 64 states, each the same as a rig file with those pedals on.
- common practice: with a buffer first and last, no state differs from another by 0.5 dB in any band; without them, a
  loaded bypass shows.
- Ranking, effects and spread worked out again from the states' own figures.
"""

import itertools
import json
import os
import subprocess
import sys
import tempfile

PEDALS = [
    ("drive", "{bypass: true-bypass, input: {resistance: 500 kohm, capacitance: 50 pF}, output: {resistance: 1 kohm}, gain: 12 dB}"),
    ("fuzz", "{bypass: true-bypass, input: {resistance: 12 kohm}, output: {resistance: 8 kohm, coupling: 100 nF}}"),
    ("wah", "{bypass: loaded-bypass, input: {resistance: 100 kohm}, output: {resistance: 10 kohm}}"),
    ("chorus", "{bypass: buffered-bypass, input: {resistance: 1 Mohm}, output: {resistance: 1 kohm}, gain: -1}"),
    ("swell", "{bypass: loaded-bypass, input: {resistance: 250 kohm}, output: {resistance: 250 ohm}}"),
    ("delay", "{bypass: true-bypass, input: {resistance: 1 Mohm}, output: {resistance: 470 ohm, coupling: 1 uF}}"),
]
BUFFER = "  - buffer: {input: {resistance: 1 Mohm, capacitance: 10 pF}, output: {resistance: 100 ohm}}\n"
HEAD = """rig: six pedals, invented for this check
guitar: {pickup: {inductance: 2.4 H, resistance: 6 kohm, capacitance: 110 pF},
         volume: {pot: 250 kohm, taper: audio, position: 100 %}}
chain:
  - cable: {capacitance: 100 pF/m, resistance: 80 mohm/m}
    length: 5 m
"""
TAIL = """  - cable: {capacitance: 100 pF/m, resistance: 80 mohm/m}
    length: 6 m
amp: {resistance: 1 Mohm, capacitance: 20 pF}
direct:
  - cable: {capacitance: 100 pF/m, resistance: 80 mohm/m}
    length: 5 m
"""

faults = []
held = 0


def hold(good, words, *values):
    global held
    held += 1
    if not good:
        faults.append(words % values if values else words)


def rig_text(on, first="", last="", pedals=PEDALS, more=""):
    items = "".join("  - pedal: %s\n    name: %s\n    engaged: %s\n  - cable: {capacitance: 110 pF/m}\n    length: 20 cm\n"
                    % (text, name, "yes" if name in on else "no") for name, text in pedals)
    return HEAD + first + items + last + TAIL + more


def run(build, folder, *words, fails=False):
    done = subprocess.run([os.path.join(build, "toneload"), *words], cwd=folder, capture_output=True, text=True, timeout=120)
    if fails:
        return done
    if done.returncode != 0:
        raise SystemExit("toneload %s: %s" % (" ".join(words), done.stderr))
    return done.stdout


def write(folder, text, name="rig.yaml"):
    with open(os.path.join(folder, name), "w") as file:
        file.write(text)


def check_all(build, folder):
    write(folder, rig_text(()))
    whole = json.loads(run(build, folder, "states", "rig.yaml", "--json"))
    states = whole["states"]
    names = [name for name, _ in PEDALS]
    hold(len(states) == 64, "%d states instead of 64", len(states))
    hold(len({tuple(s["engaged"]) for s in states}) == 64, "a state stands twice")
    worst = 0
    for count in range(7):
        for on in itertools.combinations(names, count):
            write(folder, rig_text(on), "one.yaml")
            one = json.loads(run(build, folder, "response", "one.yaml", "--json"))
            state = [s for s in states if set(s["engaged"]) == set(on)][0]
            got, want = state["responses"][0], one["responses"][0]
            for key in ("reference_db", "peak_hz", "peak_db", "pole_hz", "q", "bandwidth_q", "cutoff_hz"):
                if got[key] is None or want[key] is None:
                    hold(got[key] is want[key], "%s: %s is %r, alone %r", on, key, got[key], want[key])
                else:
                    off = abs(got[key] - want[key]) / max(1, abs(want[key]))
                    worst = max(worst, off)
                    hold(off < 1e-6, "%s: %s is %r, alone %r", on, key, got[key], want[key])
            for key in ("worst_db", "rms_db", "presence_db", "level_db"):
                off = abs(state["hearing"][key] - one["hearing"][key])
                worst = max(worst, off)
                hold(off < 1e-6, "%s: %s is %r, alone %r", on, key, state["hearing"][key], one["hearing"][key])
            hold(state["hearing"]["verdict"] == one["hearing"]["verdict"], "%s: verdict", on)
    ranked = [abs(states[i]["hearing"]["worst_db"]) for i in whole["ranking"]]
    hold(ranked == sorted(ranked, reverse=True), "the ranking does not fall")
    hold(sorted(whole["ranking"]) == list(range(64)), "the ranking leaves states out")
    effects = {e["pedal"]: e["worst_db"] for e in whole["effects"]}
    hold(set(effects) == set(names), "effects of %s", sorted(effects))
    # The first pedal takes the pickup off everything behind it when it is on: the loads of three others.
    hold(max(effects, key=lambda n: abs(effects[n])) == "drive", "the drive does not matter most: %s", effects)
    hold(effects["fuzz"] < -3, "the 12 kohm fuzz does not dull: %s", effects)
    print("64 states against 64 responses: worst difference %.1e" % worst)
    for jobs in ("1", "3"):
        hold(run(build, folder, "states", "rig.yaml", "--json", "--jobs", jobs) == json_text(whole, build, folder),
             "--jobs %s changes the bytes", jobs)


def json_text(_, build, folder):
    return run(build, folder, "states", "rig.yaml", "--json", "--jobs", "2")


def check_practice(build, folder):
    """common practice: a dedicated buffer first and last makes what is between them not matter."""
    plain = [p for p in PEDALS if p[0] != "fuzz"]
    write(folder, rig_text((), BUFFER, BUFFER, plain))
    buffered = json.loads(run(build, folder, "states", "rig.yaml", "--json"))["spread_db"]
    write(folder, rig_text((), "", "", plain))
    bare = json.loads(run(build, folder, "states", "rig.yaml", "--json"))
    hold(buffered < 0.5, "buffered board: spread %g dB", buffered)
    hold(bare["spread_db"] > 1, "board without buffers: spread only %g dB", bare["spread_db"])
    off = [s for s in bare["states"] if not s["engaged"]][0]
    write(folder, rig_text((), "", "", [p for p in plain if "loaded" not in p[1]]))
    unloaded = [s for s in json.loads(run(build, folder, "states", "rig.yaml", "--json"))["states"] if not s["engaged"]][0]
    hold(off["responses"][0]["peak_db"] < unloaded["responses"][0]["peak_db"] - 0.5,
         "loaded bypasses do not show: %r, %r", off["responses"][0]["peak_db"], unloaded["responses"][0]["peak_db"])
    print("spread: %.3f dB between two buffers, %.2f dB without" % (buffered, bare["spread_db"]))


def check_fixes_and_scenes(build, folder):
    write(folder, rig_text(()))
    fixed = json.loads(run(build, folder, "states", "rig.yaml", "--json", "--fix", "fuzz=no", "--fix", "chain[drive].engaged=yes"))
    hold(len(fixed["states"]) == 16, "two fixes leave %d states", len(fixed["states"]))
    scenes = "scenes:\n  - {name: clean, engaged: []}\n  - {name: lead, engaged: [drive, delay]}\n"
    write(folder, rig_text((), more=scenes))
    named = json.loads(run(build, folder, "states", "rig.yaml", "--json"))
    hold([(s["scene"], s["engaged"]) for s in named["states"]] == [("clean", []), ("lead", ["drive", "delay"])],
         "scenes: %s", named["states"])
    hold(len(json.loads(run(build, folder, "states", "rig.yaml", "--json", "--all"))["states"]) == 64, "--all")
    table = run(build, folder, "states", "rig.yaml")
    hold("lead: drive + delay" in table, "the table does not name the scene")
    csv = run(build, folder, "states", "rig.yaml", "--csv", "--all")
    hold(len(csv.strip().split("\n")) == 65, "CSV of %d lines", len(csv.strip().split("\n")))


def check_words(build, folder):
    write(folder, rig_text((), more="scenes:\n  - {name: a, engaged: [drive]}\n  - {name: b, engaged: [drive, fuzz]}\n"))
    two = run(build, folder, "states", "rig.yaml")
    hold("2 states of 6 pedals and loops, " in two and "library's standard-coax" not in two, "two scenes: %s", two)
    one = run(build, folder, "states", "rig.yaml", "--fix", "fuzz=no", "--plot", "one.svg")
    hold("2 states of 5 pedals and loops (held: fuzz=no), " in one, "what is held is not said: %s", one)
    hold("No pedal or loop is on in one state and off in another: nothing to compare." in one, "as good as one state: %s", one)
    hold(all(line.split()[1:] == ["never", "moves"] for line in one.split("---\n")[-1].split("\n\n")[0].splitlines()),
         "a pedal that never moves has a frequency: %s", one)
    write(folder, rig_text((), pedals=PEDALS[:1]).split("direct:")[0])
    assumed = "Direct is 6 m of the library's standard-coax: the file does not say."
    for words in (("response",), ("states",), ("place", "--buffer", "op-amp-follower"),
                  ("compare", "--vary", "chain[0].length=1 m,2 m"), ("sweep", "--vary", "chain[0].length=1 m..2 m:2"),
                  ("reach", "--vary", "chain[0].length", "--limit", "peak not below 2 kHz")):
        hold(assumed in run(build, folder, words[0], "rig.yaml", *words[1:]), "%s does not say what direct is", words[0])
    hold("2 states of 1 pedal or loop, " in run(build, folder, "states", "rig.yaml"), "one pedal")
    write(folder, rig_text((), pedals=PEDALS[:1]), "other.yaml")
    hold("standard-coax where a file does not say." in run(build, folder, "compare", "rig.yaml", "other.yaml"), "of two rigs")


def check_bad(build, folder):
    def refused(what, *needed, words=("states", "rig.yaml")):
        done = run(build, folder, *words, fails=True)
        hold(done.returncode == 2 and not done.stdout, "%s: exit status %d", what, done.returncode)
        for word in needed:
            hold(word in done.stderr, "%s: no '%s' in: %s", what, word, done.stderr)

    write(folder, rig_text((), more="scenes:\n  - {name: lead, engaged: [drve]}\n"))
    refused("unknown pedal in a scene", "rig.yaml:", "drve", "did you mean 'drive'?", "^")
    write(folder, rig_text((), more="scenes:\n  - {name: lead}\n"))
    refused("scene without engaged", "engaged")
    write(folder, rig_text((), more="scenes:\n  - {name: a, engaged: []}\n  - {name: a, engaged: []}\n"))
    refused("scene twice", "second scene")
    write(folder, rig_text(()))
    refused("unknown fix", "fuz", "did you mean 'fuzz'?", words=("states", "rig.yaml", "--fix", "fuz=no"))
    refused("fix without value", "NAME=yes", words=("states", "rig.yaml", "--fix", "fuzz"))
    refused("fix of no kind", "yes or no", words=("states", "rig.yaml", "--fix", "fuzz=maybe"))
    many = [("p%s" % chr(97 + i), PEDALS[0][1]) for i in range(17)]
    write(folder, rig_text((), pedals=many))
    refused("17 pedals", "65536", "--fix", "pa=no")
    write(folder, rig_text((), pedals=[]))
    refused("no pedal", "only one state")


def main():
    build = os.path.abspath(sys.argv[1])
    with tempfile.TemporaryDirectory() as folder:
        check_all(build, folder)
        check_practice(build, folder)
        check_fixes_and_scenes(build, folder)
        check_words(build, folder)
        check_bad(build, folder)
    for fault in faults:
        print(fault)
    print("%d held, %d faults" % (held, len(faults)))
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main())
