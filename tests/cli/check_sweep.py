#!/usr/bin/python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""`sweep` against `compare` of the same values, its plots, and what it refuses.

Usage: check_sweep.py BUILD_DIR
"""

import json
import os
import re
import subprocess
import sys
import tempfile

RIG = """guitar: {pickup: {inductance: 2.4 H, resistance: 6 kohm, capacitance: 110 pF},
         volume: {pot: 250 kohm, taper: audio, position: 100 %}}
chain:
  - cable: {capacitance: 100 pF/m, resistance: 80 mohm/m}
    length: 5 m
amp: {resistance: 1 Mohm}
"""
faults = []
held = 0


def hold(good, words, *values):
    global held
    held += 1
    if not good:
        faults.append(words % values if values else words)


def run(build, folder, *words):
    return subprocess.run([os.path.join(build, "toneload"), *words], cwd=folder, capture_output=True, text=True, timeout=120)


def read(folder, name):
    with open(os.path.join(folder, name)) as file:
        return file.read()


def check_steep_map(build, folder):
    """Where contour lines lie close together their labels do not lie on each other."""
    done = run(build, folder, "sweep", "rig.yaml", "--vary", "chain[0].length=1 m..60 m:6", "--vary",
               "amp.resistance=1 Mohm..2 Mohm:6", "--metric", "cutoff_hz", "--plot", "steep.svg")
    hold(done.returncode == 0, "steep map: %s", done.stderr)
    labels = re.findall(r'translate\(([\d.]+),([\d.]+)\)"[^>]*>\s*<text> *(\d{4,})</text>', read(folder, "steep.svg"))
    inside = sorted({(float(x), float(y)) for x, y, _ in labels if float(x) < 750})  # each is drawn twice
    close = [(a, b) for i, a in enumerate(inside) for b in inside[:i] if abs(a[0] - b[0]) < 40 and abs(a[1] - b[1]) < 15]
    hold(len(inside) >= 4 and not close, "labels at %s, too close: %s", inside, close)


def check_words_of_plots(build, folder):
    """A line's gaps are explained, and a map of several amps says at which it is."""
    with open(os.path.join(folder, "two.yaml"), "w") as file:
        file.write(RIG.split("amp:")[0] + "  - split:\n      - {name: dry, chain: [{cable: standard-coax, length: 1 m}], "
                   "amp: tube-input}\n      - {name: wet, chain: [{cable: standard-coax, length: 2 m}], amp: tube-input}\n")
    run(build, folder, "sweep", "rig.yaml", "--vary", "amp.resistance=10 kohm..1 Mohm:3", "--plot", "gaps.svg")
    hold("peak (Hz); gaps: none" in read(folder, "gaps.svg"), "gaps are not explained")
    run(build, folder, "sweep", "two.yaml", "--vary", "guitar.volume.position=10 %..100 %:10", "--plot", "gaps.svg",
        "--vary", "chain[0].length=1 m..2 m:2")
    hold("peak (Hz) at amp dry" in read(folder, "gaps.svg"), "the map does not say at which amp")
    run(build, folder, "sweep", "two.yaml", "--vary", "guitar.volume.position=10 %..100 %:10", "--curves", "curves.svg")
    hold("wet: direct of volume position = 100 %" in read(folder, "curves.svg"), "40 curves are not told apart")


def main():
    build = os.path.abspath(sys.argv[1])
    with tempfile.TemporaryDirectory() as folder:
        with open(os.path.join(folder, "rig.yaml"), "w") as file:
            file.write(RIG)
        swept = json.loads(run(build, folder, "sweep", "rig.yaml", "--json", "--vary", "chain[0].length=1 m..9 m:5").stdout)
        hold(swept["command"] == "sweep", "command")
        compared = json.loads(run(build, folder, "compare", "rig.yaml", "--json", "--vary",
                                  "chain[0].length=1 m,3 m,5 m,7 m,9 m").stdout)
        hold(swept["variants"] == compared["variants"], "five lengths differ from compare's")
        grid = json.loads(run(build, folder, "sweep", "rig.yaml", "--json", "--vary", "chain[0].length=1 m..3 m:3", "--vary",
                              "guitar.volume.position=50 %..100 %:2").stdout)["variants"]
        hold([v["set"] for v in grid] == [{"chain[0].length": "%d m" % m, "guitar.volume.position": "%d %%" % p}
                                          for m in (1, 2, 3) for p in (50, 100)], "grid: %s", [v["set"] for v in grid])
        feet = json.loads(run(build, folder, "sweep", "rig.yaml", "--json", "--vary", "chain[0].length=10 ft..20 ft:2").stdout)
        hold([v["set"]["chain[0].length"] for v in feet["variants"]] == ["3.048 m", "6.096 m"], "feet")
        for metric in ("peak_hz", "q", "worst_db"):
            done = run(build, folder, "sweep", "rig.yaml", "--vary", "chain[0].length=1 m..9 m:5", "--metric", metric,
                       "--plot", metric + ".svg", "--curves", "family.svg")
            hold(done.returncode == 0, "%s: %s", metric, done.stderr)
            with open(os.path.join(folder, metric + ".svg")) as file:
                hold("chain[0].length (m)" in file.read(), "%s: the axis has no name", metric)
        with open(os.path.join(folder, "family.svg")) as file:
            hold("length = 9 m" in file.read(), "the family does not name its curves")
        done = run(build, folder, "sweep", "rig.yaml", "--vary", "chain[0].length=1 m..9 m:9", "--vary",
                   "guitar.volume.position=60 %..100 %:5", "--metric", "worst_db", "--plot", "map.svg")
        hold(done.returncode == 0, "map: %s", done.stderr)
        with open(os.path.join(folder, "map.svg")) as file:
            text = file.read()
        hold("worst band against direct (dB)" in text and "guitar.volume.position (%)" in text, "the map has no names")
        check_steep_map(build, folder)
        check_words_of_plots(build, folder)
        refused = [
            (("--vary", "chain[0].length=1 m..9 m"), "FROM..TO:STEPS"),
            (("--vary", "chain[0].length=1 m..9 m:1"), "2 to 1000 steps"),
            (("--vary", "chain[0].length=9 m..1 m:5"), "a range goes up"),
            (("--vary", "chain[0].length=1..9 m:5"), "bare number"),
            (("--vary", "chain[0].lenth=1 m..9 m:5"), "did you mean 'length'?"),
            (("--vary", "guitar.volume.taper=linear..audio:2"), "only a number"),
            ((), "one or two ranges"),
            (("--vary", "chain[0].length=1 m..9 m:5", "--metric", "peek_hz"), "did you mean 'peak_hz'?"),
            (("--vary", "chain[0].length=1 m..9 m:5", "--plot", "|x"), ".svg"),
        ]
        for words, needed in refused:
            done = run(build, folder, "sweep", "rig.yaml", *words)
            hold(done.returncode == 2 and needed in done.stderr and not done.stdout, "%s: %d, %s", words, done.returncode,
                 done.stderr)
    for fault in faults:
        print(fault)
    print("%d held, %d faults" % (held, len(faults)))
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main())
