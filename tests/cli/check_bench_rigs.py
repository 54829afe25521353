#!/usr/bin/python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""Circuits where they live: designs in rigs, designs of which something cannot be measured, and their corners.

Usage: check_bench_rigs.py BUILD_DIR

A rig with a circuit that is linear must answer as the same rig with the same values written out; the exported deck,
solved by `ngspice -b`, must answer as `response` does, transistors and all.
"""
import json
import math
import os
import subprocess

from cases import AMP, CHAIN, GUITAR, main

ROOT = os.path.dirname(os.path.dirname(os.path.dirname(os.path.abspath(__file__))))
SHIPPED = os.path.join(ROOT, "models", "circuits")

PLAIN = """.subckt plain in out vcc gnd
r1 in gnd 470k
c1 in gnd 33p
e1 x gnd in gnd 0.9
r2 x y 1.5k
c2 y out 2.2u
r3 vcc gnd 10k
.ends
"""
BUFFER = "{input: {resistance: 470 kohm, capacitance: 33 pF}, gain: 0.9, output: {resistance: 1.5 kohm, coupling: 2.2 uF}}"
DESIGN = ("design: %s\ncircuit: %s.cir\nsubcircuit: %s\npins: {in: in, out: out, supply: vcc, ground: gnd}\n"
          "supply: 9 V\n")
LINE = "  - cable: standard-coax\n    length: 8 m\n"


def rig(buffer):
    return "rig: board\n" + GUITAR + CHAIN + "  - buffer: %s\n" % buffer + LINE + AMP


def write_design(cases, name, circuit, more="", folder=""):
    cases.write(os.path.join(folder, name + ".cir"), circuit)
    return cases.write(os.path.join(folder, name + ".yaml"), DESIGN % (name, name, name) + more)


def ask(cases, *words, status=0, timeout=120):
    done = cases.run(*words, "--json", timeout=timeout)
    cases.check(done.returncode == status, words, "ended with", done.returncode, done.stderr)
    return json.loads(done.stdout)


def check_same(cases, ours, theirs, what):
    for a, b in zip(ours["responses"], theirs["responses"]):
        for one, two in zip(a["points"], b["points"]):
            cases.check(abs(one["db"] - two["db"]) < 1e-6 and abs(one["deg"] - two["deg"]) < 1e-5, what, one, two)


def check_linear(cases):
    cases.group("a linear circuit is its values")
    os.mkdir(cases.path("circuits"))
    write_design(cases, "plain", PLAIN, folder="circuits")
    cases.write("circuit.yaml", rig("{circuit: circuits/plain.yaml}"))
    cases.write("values.yaml", rig(BUFFER))
    words = ("--points", "50")
    written = ask(cases, "response", "values.yaml", *words)
    check_same(cases, ask(cases, "response", "circuit.yaml", *words), written, "response")
    varied = ask(cases, "compare", "values.yaml", "--vary", "chain[1].buffer={circuit: circuits/plain.yaml}", *words)
    check_same(cases, varied["variants"][-1], written, "--vary")
    there = os.path.join(cases.here, "circuits")
    up = "chain[1].buffer={circuit: plain.yaml}"
    done = cases.run("compare", "../values.yaml", "--vary", up, "--json", *words, cwd=there)
    cases.check(done.returncode == 0, "a path typed is relative to where one is", done.stderr)
    check_same(cases, json.loads(done.stdout)["variants"][-1], written, "from another folder")
    for command in ("states", "place"):
        more = ("--buffer", "{circuit: circuits/plain.yaml}") if command == "place" else ()
        other = ("--buffer", BUFFER) if command == "place" else ()
        board = rig("op-amp-follower") + "\n"
        pedal = "  - pedal: {bypass: loaded-bypass, input: {resistance: 200 kohm}, output: {resistance: 1 kohm}}\n" \
                "    name: drive\n    engaged: no\n"
        cases.write("board.yaml", board.replace(LINE, pedal + LINE))
        ours, theirs = ask(cases, command, "board.yaml", *more), ask(cases, command, "board.yaml", *other)
        cases.check(len(str(ours)) > 300 and len(ours) == len(theirs), command, "answers")
        numbers = lambda answer: [round(x, 5) for x in walk_numbers(answer)]
        cases.check(numbers(ours) == numbers(theirs), command, "differs")
    listed = cases.run("check", "circuit.yaml")
    cases.check(b"circuit" in listed.stdout and b"plain" in listed.stdout, "check lists the circuit", listed.stdout)


def walk_numbers(answer):
    """The dB of an answer; how often it was solved may differ."""
    if isinstance(answer, dict):
        for key, value in answer.items():
            if key.endswith("_db") and isinstance(value, (int, float)):
                yield value
            else:
                yield from walk_numbers(value)
    elif isinstance(answer, list):
        for value in answer:
            yield from walk_numbers(value)


def read_printed(text, count):
    """Rows of `ngspice -b`'s .print: index, frequency, then values."""
    rows = {}
    for line in text.splitlines():
        words = line.split()
        if len(words) >= 3 and words[0].isdigit():
            try:
                rows.setdefault(int(words[0]), [float(words[1])]).extend(float(w.rstrip(",")) for w in words[2:])
            except ValueError:
                continue
    return [row for row in rows.values() if len(row) > count]


def check_netlist(cases):
    cases.group("the exported deck has the transistors in it")
    for name in ("source-follower", "push-pull", "op-amp-follower-two-rails"):
        cases.write("real.yaml", rig("{circuit: %s}" % os.path.join(SHIPPED, name + ".yaml")))
        done = cases.run("netlist", "real.yaml", "--output", "real.cir")
        cases.check(done.returncode == 0, name, done.stderr)
        printed = subprocess.run(["ngspice", "-b", "real.cir"], cwd=cases.here, capture_output=True, text=True, timeout=60).stdout
        rows = read_printed(printed, 4)
        ours = ask(cases, "response", "real.yaml", "--points", "2")["responses"]
        reference = [min(rows, key=lambda row: abs(row[0] - 200))] if rows else []
        cases.check(len(rows) > 290, name, "ngspice -b printed", len(rows), "rows")
        for row in reference:
            level = 20 * math.log10(math.hypot(row[1], row[2]))
            cases.check(abs(level - ours[0]["reference_db"]) < 0.01, name, level, ours[0]["reference_db"])
        # 75 frequencies a decade miss the top of a peak by a little.
        peak = max(rows, key=lambda row: math.hypot(row[1], row[2]))
        height = 20 * math.log10(math.hypot(peak[1], peak[2])) - level
        cases.check(abs(height - ours[0]["peak_db"]) < 0.03, name, "peak", height, ours[0]["peak_db"])


def check_words(cases):
    cases.group("circuits that cannot be used in a rig")
    write_design(cases, "plain", PLAIN)
    for buffer, needed in [
            ("{circuit: nowhere.yaml}", "nowhere.yaml"),
            ("{circuit: plain.yaml, gain: 2}", "'gain' beside a circuit"),
            ("{circuit: }", "expected the name of a design file"),
            ("{circuit: [plain.yaml]}", "name of a design file"),
            ("{circiut: plain.yaml}", "did you mean 'circuit'")]:
        cases.write("bad.yaml", rig(buffer))
        done = cases.run("response", "bad.yaml")
        cases.check(done.returncode == 2 and needed.encode() in done.stderr, buffer, done.returncode, done.stderr)
        cases.check(b"bad.yaml:" in done.stderr, buffer, "has no place:", done.stderr)
    cases.write("bad.yaml", rig("{circuit: plain.yaml}").replace("buffer", "pedal"))
    done = cases.run("response", "bad.yaml")
    cases.check(done.returncode == 2 and b"only a buffer" in done.stderr, "a pedal that is a circuit", done.stderr)
    cases.write("good.yaml", rig("{circuit: plain.yaml}"))
    done = cases.run("compare", "good.yaml", "--vary", "chain[1].gain=1,2")
    cases.check(done.returncode == 2 and b"is a circuit" in done.stderr, "a value of a circuit", done.stderr)


def check_warnings(cases):
    cases.group("what looks wrong is said, and measured all the same")
    model = ".model mine njf(vto=-0.6 beta=1.3m Isr=322.4f N=1 M=.36 rd=1 rs=1 mfg=Acme)"
    write_design(cases, "odd", ".subckt odd in out vcc gnd\nr1 in gnd 1M\nr2 in gnd 1meg\nc3 in gnd 1F\nj4 vcc in out mine\n"
                 "r5 out gnd 4.7k\nr6 out gnf 10k\n%s\n.ends\n" % model)
    done = cases.run("bench", "odd.yaml", timeout=120)
    cases.check(done.returncode == 0 and b"supply current" in done.stdout, done.returncode)
    for needed in ("odd.cir:2: r1 is 0.001 ohm", "1meg", "odd.cir:4: c3 is 1e-15 F", "odd.cir:7: node 'gnf' is reached by r6 alone",
                   "'isr' is left out", "'n' is left out", "'m' is left out", "'mfg' is left out"):
        cases.check(needed.encode() in done.stderr, "no", needed, "in", done.stderr)
    for name in sorted(os.listdir(SHIPPED)):
        if name.endswith(".yaml"):
            done = cases.run("bench", os.path.join(SHIPPED, name), "--limits", "nowhere.yaml")
            cases.check(b"warning" not in done.stderr, name, done.stderr)
    cases.write("text.cir", "* a text\n")
    done = cases.run("bench", "text.cir")
    cases.check(done.returncode == 2 and b"name the design file" in done.stderr, done.stderr)


def check_given_up(cases):
    cases.group("a design whose analyses do not end is given up")
    write_design(cases, "endless", PLAIN.replace("plain", "endless").replace(
        "e1 x gnd in gnd 0.9", "b1 x gnd v=v(in,x)>0?9:0"))
    done = cases.run("bench", "endless.yaml", "--json", "--time-limit", "0.5", timeout=60)
    found = figures(json.loads(done.stdout))
    cases.check(found["gain_1khz_db"]["value"] is None, found["gain_1khz_db"])
    cases.check(done.returncode in (0, 1), done.returncode)


def figures(answer):
    return {figure["id"]: figure for figure in answer["designs"][0]["figures"]}


def check_troubles(cases):
    cases.group("what cannot be measured")
    write_design(cases, "floating", ".subckt floating in out vcc gnd\nc1 in mid 100n\nc2 mid out 1u\n"
                 "r1 vcc gnd 10k\nr2 out gnd 100k\n.ends\n")
    found = figures(ask(cases, "bench", "floating.yaml", status=1))
    cases.check(all(f["value"] is None for f in found.values()), "a floating node has no figures")
    cases.check("'mid'" in found["gain_1khz_db"]["trouble"], "no name in", found["gain_1khz_db"]["trouble"])
    write_design(cases, "switched", PLAIN.replace("plain", "switched").replace(
        "r3 vcc gnd 10k", "r3 vcc gnd 10k\ns1 y z vcc gnd mine\nr4 z gnd 1g\n.model mine sw(vt=4 vh=0 ron=1 roff=1g)"))
    found = figures(ask(cases, "bench", "switched.yaml"))
    cases.check("switch" in found["gain_1khz_db"]["trouble"], found["gain_1khz_db"])
    cases.check(abs(found["supply_current_a"]["value"] - 9e-4) < 1e-6, "the rest", found["supply_current_a"])
    cases.check(found["thd_1v_percent"]["value"] is not None, "the rest", found["thd_1v_percent"])
    write_design(cases, "howling", PLAIN.replace("plain", "howling").replace(
        "e1 x gnd in gnd 0.9", "g1 gnd a in x 1m\nra a gnd 1meg\nca a gnd 10p\ng2 gnd b a gnd 1m\nrb b gnd 1k\n"
        "cb b gnd 20n\ne2 c gnd b gnd 1\nrc c d 1k\ncd d gnd 20n\ne1 x gnd d gnd 100"))
    found = figures(ask(cases, "bench", "howling.yaml"))
    cases.check(found["stability"]["words"] == "oscillates" and found["stability"]["verdict"] == "fail", found["stability"])
    cases.check(found["headroom_1khz_v"]["trouble"] == "it oscillates", found["headroom_1khz_v"])
    cases.check(found["supply_current_a"]["value"] is not None, "the rest", found["supply_current_a"])


MANY = ".subckt many in out vcc gnd\n%s\ne1 x gnd r12 gnd 1\nr13 x out 100\nr14 vcc gnd 10k\n.ends\n" % "\n".join(
    "r%d %s r%d 10k\nrg%d r%d gnd 10meg" % (i, "in" if i == 1 else "r%d" % (i - 1), i, i, i) for i in range(1, 13))


def check_corners(cases):
    cases.group("corners")
    more = "tolerances: {r1: 10 %, r2: 5 %, r3: 20 %}\n"
    write_design(cases, "plain", PLAIN, more)
    corners = ask(cases, "bench", "plain.yaml", "--corners", timeout=300)["designs"][0]["corners"]
    worst = {figure["id"]: figure for figure in corners["worst"]}
    cases.check(corners["specimens"] == 17 and not corners["by_slope"], corners["specimens"])
    current = 9 * 1.1 / (10e3 * 0.8)
    cases.check(abs(worst["supply_current_a"]["value"] / current - 1) < 1e-5, worst["supply_current_a"])
    for words in ("r3 -20 %", "supply +10 %"):
        cases.check(words in worst["supply_current_a"]["at"], worst["supply_current_a"])
    cases.check("r1 -10 %" in worst["input_impedance_1khz_ohm"]["at"], worst["input_impedance_1khz_ohm"])
    write_design(cases, "many", MANY, "tolerances: {%s}\n" % ", ".join("r%d: 10 %%" % i for i in range(1, 13)))
    corners = ask(cases, "bench", "many.yaml", "--corners", timeout=300)["designs"][0]["corners"]
    worst = {figure["id"]: figure for figure in corners["worst"]}
    cases.check(corners["by_slope"] and corners["specimens"] < 60, corners["specimens"], corners["by_slope"])
    at = worst["gain_1khz_db"]["at"]  # more in series, less gain
    cases.check(all("r%d +10 %%" % i in at for i in range(1, 13)), at)
    level, seen = 1.0, 1.0
    for _ in range(12):  # the ladder by hand, from its end
        impedance = 10e6 if seen == 1.0 else 1 / (1 / 10e6 + 1 / seen)
        level *= impedance / (impedance + 11e3)
        seen = impedance + 11e3
    cases.check(abs(worst["gain_1khz_db"]["value"] - 20 * math.log10(level)) < 2e-3, worst["gain_1khz_db"], level)


def check_rig(cases):
    cases.group("--rig")
    write_design(cases, "plain", PLAIN)
    cases.write("rig.yaml", rig("op-amp-follower"))
    cases.write("values.yaml", rig(BUFFER))
    found = figures(ask(cases, "bench", "plain.yaml", "--rig", "rig.yaml"))
    wanted = ask(cases, "response", "values.yaml")
    hearing = wanted["hearing"]
    cases.check(abs(found["rig_worst_db"]["value"] - hearing["worst_db"]) < 1e-6, found["rig_worst_db"], hearing)
    cases.check(abs(found["rig_peak_hz"]["value"] / wanted["responses"][0]["peak_hz"] - 1) < 1e-6, found["rig_peak_hz"])
    cases.check(found["rig_verdict"]["words"] == hearing["verdict"], found["rig_verdict"])
    # 4 k T R of what the amp sees, at audio frequencies almost all of it the output resistance's... and the pickup's,
    # so more than sqrt(4 k T 1.5k) and less than with the pickup's resonance at 1 Mohm.
    low = math.sqrt(4 * 1.380649e-23 * 300.15 * 1.5e3 * 10e3)
    cases.check(low < found["rig_noise_a_v"]["value"] < 50e-6, found["rig_noise_a_v"])
    cases.write("bare.yaml", "rig: bare\n" + GUITAR + CHAIN + AMP)
    done = cases.run("bench", "plain.yaml", "--rig", "bare.yaml", timeout=120)
    cases.check(done.returncode == 2 and b"has no buffer" in done.stderr, "a rig without a buffer", done.stderr)


def check_jobs(cases):
    cases.group("the same bytes whatever --jobs")
    design = os.path.join(SHIPPED, "source-follower.yaml")
    answers = {cases.run("bench", design, "--json", "--jobs", jobs, timeout=300).stdout for jobs in ("1", "2")}
    cases.check(len(answers) == 1 and len(max(answers)) > 10000, "differ")


def run(cases):
    for check in (check_linear, check_netlist, check_words, check_warnings, check_troubles, check_given_up, check_corners, check_rig, check_jobs):
        check(cases)
        cases.clear()


if __name__ == "__main__":
    main(run)
