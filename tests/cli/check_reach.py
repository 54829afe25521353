#!/usr/bin/python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""`reach` against a closed form and against bisection with `response`.

Usage: check_reach.py BUILD_DIR

- An inductance with series resistance into a capacitance and a load is of second order (any circuits text): the
  length at which its -3 dB point, or its peak, falls to a frequency follows from the capacitance by hand.
- A limit in dB at a frequency, and a verdict, by bisection over separate `response` runs.
- common practice: a longer lead lowers the peak, every time.
"""

import json
import math
import os
import subprocess
import sys
import tempfile

FARAD_PER_M = 100e-12
L, R, CW, LOAD = 2.4, 6e3, 110e-12, 1e6
RIG = """guitar: {pickup: {inductance: 2.4 H, resistance: 6 kohm, capacitance: 110 pF}}
chain:
  - cable: {capacitance: 100 pF/m}
    length: %s
amp: {resistance: 1 Mohm}
direct:
  - cable: {capacitance: 100 pF/m}
    length: 3 m
"""

faults = []
held = 0


def hold(good, words, *values):
    global held
    held += 1
    if not good:
        faults.append(words % values if values else words)


def run(build, folder, *words, fails=False):
    done = subprocess.run([os.path.join(build, "toneload"), *words], cwd=folder, capture_output=True, text=True, timeout=120)
    if fails:
        return done
    if done.returncode != 0:
        raise SystemExit("toneload %s: %s" % (" ".join(words), done.stderr))
    return done.stdout


def write(folder, length):
    with open(os.path.join(folder, "rig.yaml"), "w") as file:
        file.write(RIG % length)


def reach(build, folder, path, *words):
    text = run(build, folder, "reach", "rig.yaml", "--json", "--vary", path, *words)
    return json.loads(text)["limits"]


def level(c, hz):
    """|H| of R + jwL into C parallel LOAD, by hand."""
    w = 2 * math.pi * hz
    y = 1 / LOAD + 1j * w * c
    return abs(1 / (1 + (R + 1j * w * L) * y))


def bisect(function, low, high):
    for _ in range(200):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if function(middle) > 0 else (low, middle)
    return 0.5 * (low + high)


def check_closed_form(build, folder):
    write(folder, "3 m")
    worst = 0
    for hz in (3000.0, 4000.0, 5500.0):
        row = reach(build, folder, "chain[0].length", "--limit", "-3 dB not below %g Hz" % hz)[0]
        # Half power of the level at 200 Hz, at hz, above the peak: 3.0103 dB.
        wanted = bisect(lambda m: level(CW + FARAD_PER_M * m, hz) / level(CW + FARAD_PER_M * m, 200) - math.sqrt(0.5),
                        0.1 if hz > 5000 else 1.0, 200.0)
        off = abs(row["to"] / wanted - 1)
        worst = max(worst, off)
        hold(row["met"] == "at" and off < 1e-4, "-3 dB at %g Hz: %r, by hand %g", hz, row, wanted)
    for hz in (2500.0, 3500.0):
        row = reach(build, folder, "chain[0].length", "--limit", "peak not below %g Hz" % hz)[0]
        # d|H|^2/dw = 0: w^2 = (1 + R/LOAD)/(L C) - (R/L + 1/(LOAD C))^2 / 2
        def peak(m):
            c = CW + FARAD_PER_M * m
            squared = (1 + R / LOAD) / (L * c) - (R / L + 1 / (LOAD * c)) ** 2 / 2
            return math.sqrt(squared) / (2 * math.pi) - hz
        wanted = bisect(peak, 1.0, 100.0)
        off = abs(row["to"] / wanted - 1)
        worst = max(worst, off)
        hold(row["met"] == "at" and off < 1e-4, "peak at %g Hz: %r, by hand %g", hz, row, wanted)
    print("closed forms met to %.1e" % worst)


def check_bisection(build, folder):
    def difference(m):
        write(folder, "%.12g m" % m)
        got = json.loads(run(build, folder, "response", "rig.yaml", "--json"))
        return [p["db"] for p in got["differences"][0]["points"] if p["hz"] == 5000][0] + 1

    low, high = 3.0, 10.0
    for _ in range(30):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if difference(middle) > 0 else (low, middle)
    write(folder, "3 m")
    row = reach(build, folder, "chain[0].length", "--limit", "-1 dB at 5 kHz")[0]
    hold(abs(row["to"] - low) < 1e-5, "-1 dB at 5 kHz: %r m, by bisection %r m", row["to"], low)
    print("-1 dB at 5 kHz: %.6f m, by bisection %.6f m" % (row["to"], low))

    row = reach(build, folder, "chain[0].length", "--limit", "verdict not worse than borderline")[0]
    for end, outward in ((row["from"], -1e-4), (row["to"], 1e-4)):
        for shift, good in ((-outward, True), (outward, False)):
            write(folder, "%.12g m" % (end * (1 + shift)))
            verdict = json.loads(run(build, folder, "response", "rig.yaml", "--json"))["hearing"]["verdict"]
            hold((verdict in ("borderline", "not audible")) == good, "at %g m: %s", end * (1 + shift), verdict)
    write(folder, "3 m")


def check_answers(build, folder):
    write(folder, "3 m")
    rows = reach(build, folder, "chain[0].length", "--limit", "-1 dB at 5 kHz", "--vary",
                 "chain[0].cable={capacitance: 50 pF/m},{capacitance: 100 pF/m},{capacitance: 200 pF/m}")
    lengths = [row["to"] for row in rows]
    hold(lengths == sorted(lengths, reverse=True), "more capacitance reaches further: %s", lengths)
    # A lead of no resistance is its capacitance: length times capacitance per metre is the same for all.
    products = [m * c for m, c in zip(lengths, (50, 100, 200))]
    hold(max(products) / min(products) < 1 + 1e-6, "capacitance reached differs: %s", products)
    hold(reach(build, folder, "chain[0].length", "--limit", "peak not below 20 Hz")[0]["met"] == "always", "always")
    hold(reach(build, folder, "chain[0].length", "--limit", "peak not below 19 kHz")[0]["met"] == "never", "never")
    hold("any (always met)" in run(build, folder, "reach", "rig.yaml", "--vary", "chain[0].length", "--limit",
                                   "peak not below 20 Hz"), "the table does not say always")
    compared = json.loads(run(build, folder, "compare", "rig.yaml", "--json", "--vary",
                              "chain[0].length=" + ",".join("%d m" % m for m in range(1, 31))))
    peaks = [v["responses"][0]["peak_hz"] for v in compared["variants"]]
    hold(all(a > b for a, b in zip(peaks, peaks[1:])), "a longer lead does not lower the peak: %s", peaks)


def check_bad(build, folder):
    write(folder, "3 m")
    for limit, needed in (("-1 dB", "dB at"), ("-1 dB at 5", "bare number"), ("peak not below 3", "bare number"),
                          ("verdict not worse than loud", "borderline"), ("whatever", "'-1 dB at 5 kHz'"),
                          ("-1 dB at 5 MHz", "20 kHz"), ("\x1b[31m", "control")):
        done = run(build, folder, "reach", "rig.yaml", "--vary", "chain[0].length", "--limit", limit, fails=True)
        hold(done.returncode == 2 and needed in done.stderr and not done.stdout and "\x1b" not in done.stderr,
             "limit %r: %d, %s", limit, done.returncode, done.stderr)
    for words, needed in ((("--vary", "chain[0].length"), "--limit"),
                          (("--limit", "-1 dB at 5 kHz"), "without values"),
                          (("--vary", "chain[0].length", "--vary", "amp.resistance", "--limit", "-1 dB at 5 kHz"), "two"),
                          (("--vary", "chain[0].cable", "--limit", "-1 dB at 5 kHz"), "shape"),
                          (("--vary", "chain[0].lenth", "--limit", "-1 dB at 5 kHz"), "did you mean 'length'?")):
        done = run(build, folder, "reach", "rig.yaml", *words, fails=True)
        hold(done.returncode == 2 and needed in done.stderr and not done.stdout, "%s: %d, %s", words, done.returncode,
             done.stderr)


def main():
    build = os.path.abspath(sys.argv[1])
    with tempfile.TemporaryDirectory() as folder:
        check_closed_form(build, folder)
        check_bisection(build, folder)
        check_answers(build, folder)
        check_bad(build, folder)
    for fault in faults:
        print(fault)
    print("%d held, %d faults" % (held, len(faults)))
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main())
