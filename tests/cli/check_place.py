#!/usr/bin/python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""`place` against `states` of rigs with the buffer written in by hand.

Usage: check_place.py BUILD_DIR

common practice: the best single place for a buffer on a long unbuffered run is near the guitar, and a pair stands
first and last; a fuzz that must see the pickup gets no buffer before it.
"""

import json
import os
import subprocess
import sys
import tempfile

CABLE = "  - cable: {capacitance: 110 pF/m, resistance: 80 mohm/m}\n    length: %s\n"
FUZZ = ("  - pedal: {bypass: true-bypass, input: {resistance: 15 kohm}, output: {resistance: 5 kohm}%s}\n"
        "    name: fuzz\n    engaged: no\n")
WAH = "  - pedal: {bypass: loaded-bypass, input: {resistance: 150 kohm}, output: {resistance: 1 kohm}}\n    name: wah\n    engaged: no\n"
BUFFER = "{input: {resistance: 1 Mohm, capacitance: 10 pF}, output: {resistance: 100 ohm}}"
faults = []
held = 0


def hold(good, words, *values):
    global held
    held += 1
    if not good:
        faults.append(words % values if values else words)


def rig(gaps=(), needs=""):
    items = [CABLE % "4 m", FUZZ % needs, CABLE % "30 cm", WAH, CABLE % "9 m"]
    for gap in sorted(gaps, reverse=True):
        items.insert(gap, "  - buffer: %s\n" % BUFFER)
    return ("guitar: {pickup: {inductance: 2.4 H, resistance: 6 kohm, capacitance: 110 pF}}\nchain:\n%s"
            "amp: {resistance: 1 Mohm}\ndirect:\n%s" % ("".join(items), CABLE % "4 m"))


def run(build, folder, text, *words):
    with open(os.path.join(folder, "rig.yaml"), "w") as file:
        file.write(text)
    return subprocess.run([os.path.join(build, "toneload"), words[0], "rig.yaml", *words[1:]], cwd=folder,
                          capture_output=True, text=True, timeout=120)


def check_one(build, folder, placed, gaps):
    """The worst state of a rig with buffers written in, against what place says of these gaps."""
    whole = json.loads(run(build, folder, rig(gaps), "states", "--json").stdout)
    worst = max(abs(s["hearing"]["worst_db"]) for s in whole["states"])
    names = ["before chain[0] (cable)", "before chain[1] (pedal 'fuzz')", "before chain[2] (cable)",
             "before chain[3] (pedal 'wah')", "before chain[4] (cable)", "before the amp"]
    words = " and ".join(names[g] for g in gaps) or "no buffer"
    found = [p for p in placed["placements"] if p["place"] == words]
    hold(len(found) == 1, "'%s' stands %d times", words, len(found))
    if found:
        hold(abs(abs(found[0]["hearing"]["worst_db"]) - worst) < 1e-6, "%s: %r, by hand %r", words,
             found[0]["hearing"]["worst_db"], worst)


def main():
    build = os.path.abspath(sys.argv[1])
    with tempfile.TemporaryDirectory() as folder:
        one = json.loads(run(build, folder, rig(), "place", "--json", "--buffer", BUFFER).stdout)
        hold(len(one["placements"]) == 7 and one["states"] == 4, "%d placements", len(one["placements"]))
        for gaps in ((), (0,), (1,), (2,), (3,), (4,), (5,)):
            check_one(build, folder, one, gaps)
        sizes = [abs(p["hearing"]["worst_db"]) for p in one["placements"]]
        hold(sizes == sorted(sizes), "the ranking does not rise: %s", sizes)
        hold(one["placements"][0]["place"] == "before chain[1] (pedal 'fuzz')",
             "best is %s", one["placements"][0]["place"])

        two = json.loads(run(build, folder, rig(), "place", "--json", "--count", "2", "--buffer", BUFFER).stdout)
        hold(len(two["placements"]) == 16, "%d pairs", len(two["placements"]))
        for gaps in ((0, 5), (1, 4), (2, 3)):
            check_one(build, folder, two, gaps)

        needy = json.loads(run(build, folder, rig(needs=", needs_pickup: yes"), "place", "--json", "--buffer", BUFFER).stdout)
        allowed = {p["place"]: p["allowed"] for p in needy["placements"]}
        hold(needy["needs_pickup"] == "fuzz", "needs_pickup is %r", needy["needs_pickup"])
        hold(not allowed["before chain[0] (cable)"] and not allowed["before chain[1] (pedal 'fuzz')"]
             and allowed["before chain[2] (cable)"] and allowed["no buffer"], "allowed: %s", allowed)
        best = [p for p in needy["placements"] if p["allowed"]][0]
        hold(abs(needy["cost_db"] - (abs(best["hearing"]["worst_db"]) - sizes[0])) < 1e-6, "cost is %r", needy["cost_db"])
        table = run(build, folder, rig(needs=", needs_pickup: yes"), "place", "--buffer", BUFFER).stdout
        hold("'fuzz' must see the pickup" in table and "before chain[1]" not in table.split("must see")[0], "the table offers it")

        fixed = json.loads(run(build, folder, rig(), "place", "--json", "--buffer", BUFFER, "--fix", "fuzz=no").stdout)
        hold(fixed["states"] == 2, "a fix leaves %d states", fixed["states"])
        texts = {run(build, folder, rig(), "place", "--json", "--buffer", BUFFER, "--jobs", jobs).stdout for jobs in "123"}
        hold(len(texts) == 1, "--jobs changes the bytes")
        library = run(build, folder, rig(), "place", "--csv", "--buffer", "op-amp-follower")
        hold(library.returncode == 0 and len(library.stdout.strip().split("\n")) == 8, "CSV")
        for words, needed in (((), "--buffer op-amp-follower"), (("--buffer", "op-amp-folower"), "did you mean 'op-amp-follower'?"),
                              (("--buffer", "{input: {resistance: 1 Mohm}}"), "output.resistance"),
                              (("--buffer", BUFFER, "--count", "0"), "1 to 4"),
                              (("--buffer", BUFFER, "--fix", "fuz=no"), "did you mean 'fuzz'?")):
            done = run(build, folder, rig(), "place", *words)
            hold(done.returncode == 2 and needed in done.stderr and not done.stdout, "%s: %d, %s", words, done.returncode,
                 done.stderr)
    for fault in faults:
        print(fault)
    print("%d held, %d faults" % (held, len(faults)))
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main())
