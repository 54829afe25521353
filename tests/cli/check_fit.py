#!/usr/bin/python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""toneload fit: what it prints and writes, what it refuses, and that names from outside stay inert."""
import csv
import io
import json
import os

import numpy as np

import cases

L, R, C, SHARE, BRIDGE = 2.4, 6000.0, 110e-12, 0.35, 100e3


def pickup(hz):
    """Impedance of a pickup, from the README's words."""
    w = 2 * np.pi * hz
    u = 1j * w * L * SHARE
    z = R + 1j * w * L * (1 - SHARE) + u * BRIDGE / (u + BRIDGE)
    return z, 1 / (1 / z + 1j * w * C)


HZ = np.array([float(f"{x:.6g}") for x in np.geomspace(50, 20000, 80)])


def rows(head, *columns):
    return head + "\r\n" + "".join(",".join(f"{x:.9g}" for x in row) + "\r\n"
                                   for row in zip(*columns))


def near(cases_, what, got, expected, within):
    cases_.check(abs(got / expected - 1) <= within, what, got, expected)


def values_of(done):
    return {one["name"]: one for one in json.loads(done.stdout)["values"]}


def check_values(c, done, what, within=1e-4):
    if not c.check(done.returncode == 0, what, done.stderr):
        return
    values = values_of(done)
    for name, truth in zip(("inductance", "resistance", "capacitance", "eddy.fraction",
                            "eddy.resistance"), (L, R, C, SHARE, BRIDGE)):
        near(c, f"{what}: {name}", values[name]["value"], truth, within)


def check_forms(c):
    """The same pickup from every form of file."""
    z = pickup(HZ)[1]
    w = 2 * np.pi * HZ
    c.group("forms")
    c.write("a.csv", rows("frequency_hz,impedance_ohm,phase_deg", HZ, abs(z), np.angle(z, True)))
    check_values(c, c.run("fit", "a.csv", "--json"), "polar")
    c.write("b.csv", rows("f (kHz),Re(Z) [ohm],Im(Z) [ohm]", HZ / 1e3, z.real, z.imag))
    check_values(c, c.run("fit", "b.csv", "--json"), "parts")
    s = (z - 600) / (z + 600)
    c.write("c.s1p", "! made up\n# Hz S RI R 600\n" +
            "".join(f"{f:.9g} {x.real:.12g} {x.imag:.12g}\n" for f, x in zip(HZ, s)))
    check_values(c, c.run("fit", "c.s1p", "--json"), "S", 1e-3)
    c.write("d.z1p", "# kHz Z MA R 50\n" + "".join(
        f"{f / 1e3:.9g} {abs(x) / 50:.12g} {np.angle(x, True):.12g}\n" for f, x in zip(HZ, z)))
    check_values(c, c.run("fit", "d.z1p", "--json"), "Z")
    # Behind controls and a lead: pots at ten, 3 m of 100 pF/m and 80 mohm/m, as one pi section.
    far = 300e-12
    y = 1 / z + 1 / 250e3 + 1 / (250e3 + 1 / (1j * w * 22e-9)) + 1j * w * far / 2
    jack = 1 / (1 / (1 / y + 0.24) + 1j * w * far / 2)
    c.write("e.csv", rows("Hz,|Z| (ohm),phase_rad", HZ, abs(jack), np.angle(jack)))
    check_values(c, c.run("fit", "e.csv", "--json", "--cable", "standard-coax=3 m",
                          "--with-controls", "{volume: {pot: 250 kohm, taper: audio, position: 100 "
                          "%}, tone: {pot: 250 kohm, capacitor: 22 nF, position: 100 %}}"), "jack",
                 1e-3)
    zs = pickup(HZ)[0]
    h = 1 / (1 + zs * (1j * w * (C + 470e-12) + 1 / 1e6))
    c.write("f.csv", rows("frequency_hz,ratio,phase_deg", HZ, abs(h), np.angle(h, True)))
    check_values(c, c.run("fit", "f.csv", "--json", "--hold", "{resistance: 6 kohm}", "--load",
                          "{resistance: 1 Mohm, capacitance: 470 pF}"), "response", 1e-3)


def check_shown(c):
    """Text, CSV, plots, and the part in a rig."""
    c.group("shown")
    text = c.run("fit", "a.csv").stdout.decode()
    for words in ("impedance and phase at 80 frequencies from 50.0 Hz to 20.00 kHz", "2.4 H",
                  "6 kohm", "110 pF", "95 % interval", "Eddy losses are in the model"):
        c.check(words in text, words, text)
    table = list(csv.DictReader(io.StringIO(c.run("fit", "a.csv", "--csv").stdout.decode())))
    c.check([row["name"] for row in table] ==
            ["inductance", "resistance", "capacitance", "eddy.fraction", "eddy.resistance",
             "resonance", "q"], table)
    near(c, "CSV", float(table[0]["value"]), L, 1e-4)
    for kind, start in (("svg", b"<?xml"), ("png", b"\x89PNG"), ("pdf", b"%PDF")):
        c.run("fit", "a.csv", "--plot", f"plot.{kind}")
        c.check(c.read(f"plot.{kind}").startswith(start), kind)
    os.mkdir(c.path("own"))
    done = c.run("fit", "a.csv", "--part", "own/pickup.yaml", "--name", "my coil")
    c.check(done.returncode == 0 and not done.stderr, done.stderr)
    c.write("rig.yaml", cases.RIG.replace("{inductance: 2.5 H, resistance: 6 kohm, capacitance: "
                                          "110 pF}", "my coil"))
    c.check(c.run("check", "rig.yaml", "--parts", "own").returncode == 0, "the part in a rig")
    done = c.run("fit", "a.csv", "--part", "other.yaml")
    c.check(done.returncode == 0 and b"only as pickup.yaml" in done.stderr, done.stderr)
    c.check(b"\n  'a':\n" in c.read("other.yaml"), c.read("other.yaml"))


def check_hostile(c):
    """Names run nothing, in gnuplot, YAML or a terminal."""
    c.group("hostile")
    name = "x'; system('touch gone') #`touch gone`\x1b[2J.csv"
    c.write(name, c.read("a.csv"))
    for kind in ("svg", "png"):
        done = c.run("fit", name, "--plot", f"hostile.{kind}", "--part", f"{kind}.yaml")
        c.check(done.returncode == 0, done.stderr)
        c.check(b"\x1b" not in done.stdout and b"\x1b" not in c.read(f"{kind}.yaml"), done.stdout)
        c.check(not os.path.exists(c.path("gone")), "a name was run")
    note = c.write("note.csv", "frequency_hz,impedance_ohm,note\n" + "".join(
        f'{f:.6g},{abs(x):.6g},"=cmd|\'/c calc\'!A1 `touch gone`"\n'
        for f, x in zip(HZ, pickup(HZ)[1])))
    c.check(c.run("fit", note, "--plot", "note.svg").returncode == 0, "notes")
    c.check(not os.path.exists(c.path("gone")), "a note was run")


def check_bad(c):
    c.group("bad")
    head = "frequency_hz,impedance_ohm\n"
    for text, place, words in (
            (head + "1,2\n2,2\n3,2\n", "4:1", "3 frequencies only"),
            (head + "1,2\n2,2\n2,3\n4,2\n", "4:1", "2 Hz a second time"),
            (head + "1,2\n3,2\n2,3\n4,2\n", "4:1", "2 Hz after 3 Hz"),
            (head + "1,nan\n", "2:3", "no finite number"),
            ("frequency,impedance_ohm\n1,2\n", "1:1", "expected frequency_hz or frequency_khz"),
            ("frequency_hz,impedanse_ohm\n1,2\n", "1:14", "did you mean 'impedance_ohm'?"),
            ("frequency_hz;impedance_ohm\n1;2\n", "1:1", "semicolons")):
        done = c.run("fit", c.write("bad.csv", text), "--plot", "bad.svg", "--part", "bad.yaml")
        said = done.stderr.decode()
        c.check(done.returncode == 2 and f"bad.csv:{place}: error: " in said and words in said
                and "^" in said and not done.stdout, text, said)
    for words, said in (
            (("nowhere.csv",), "nowhere.csv: cannot be read"),
            (("a.csv", "--name", "x"), "--name goes with --part"),
            (("a.csv", "--part", "bad.yaml", "--name", "a/b"), "cannot name a part"),
            (("a.csv", "--part", "other.yaml", "--name", "b"), "a file of that name is there"),
            (("a.csv", "--plot", "bad.gif"), ".svg"),
            (("a.csv", "--cable", "standard-coax=3"), "--cable:1:15: error: "),
            (("a.csv", "--hold", "{resistance: 6}"), "--hold:1:14: error: "),
            (("a.csv", "--load", "nothing"), "--load:1:1: error: ")):
        done = c.run("fit", *words)
        c.check(done.returncode == 2 and said in done.stderr.decode() and not done.stdout, words,
                done.stderr)
    c.check(not any(os.path.exists(c.path(name)) for name in ("bad.svg", "bad.yaml", "bad.gif")),
            c.left())
    done = c.run("fit", "a.csv", "--output", "nowhere/x")
    c.check(done.returncode == 1, "a folder that is not there", done.stderr)


def check_odd_winding(c):
    """Responses through controls and lead that a mirror of the pickup meets, of less inductance and a winding
    of 4 nF, nearly as well: whichever is shown, it is never shown alone without a word."""
    c.group("an unusual winding")
    hz = np.geomspace(60, 20000, 120)
    s = 2j * np.pi * hz
    share, bridge = 0.25 * 3.4, 300e3
    coil = 7200 + s * (3.4 - share) + s * share * bridge / (s * share + bridge)
    load = 1e-6 + s * 320e-12 + 1 / 250e3 + 1 / (250e3 + 1 / (s * 22e-9))
    gain = 20 * np.log10(np.abs(1 / (1 + coil * (s * 140e-12 + load))))
    controls = ("{volume: {pot: 250 kohm, taper: audio, position: 100 %}, "
                "tone: {pot: 250 kohm, capacitor: 22 nF, position: 100 %}}")
    odd = 0
    for seed in (1, 2, 5, 7):
        c.write("odd.csv", rows("frequency_hz,gain_db", hz,
                                gain + 0.05 * np.random.default_rng(seed).standard_normal(len(hz))))
        done = c.run("fit", "odd.csv", "--with-controls", controls, "--cable", "standard-coax=3 m", "--load",
                     "{resistance: 1 Mohm, capacitance: 20 pF}", "--hold", "{resistance: 7.2 kohm}", "--json")
        answer = json.loads(done.stdout)
        farad = next(value["value"] for value in answer["values"] if value["name"] == "capacitance")
        said = [words for words in answer["warnings"] if "is not usual (80 to 200 pF)" in words]
        odd += bool(said)
        told = said or any("Another pickup fits" in words for words in answer["warnings"])
        c.check(farad < 1e-9 and not said or farad >= 1e-9 and told, seed, farad, answer["warnings"])
    c.check(odd, "no such sweep came out odd")


def check(c):
    check_forms(c)
    check_odd_winding(c)
    check_shown(c)
    check_hostile(c)
    check_bad(c)


cases.main(check)
