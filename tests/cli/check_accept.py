#!/usr/bin/python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""`toneload accept` as it is called: one file and several, text, JSON, CSV and plot, names from outside, bad input.

Usage: check_accept.py BUILD_DIR

Whether its verdicts and causes are right is held in tests/study/test_accept.c and tests/oracle/check_accept.py.
"""

import csv
import io
import json
import math
import os
import xml.etree.ElementTree

from cases import main

RIG = """rig: "<b>`touch ran`</b> $(touch ran) 'x'"
guitar: {pickup: {inductance: 2.5 H, resistance: 6 kohm, capacitance: 110 pF}}
chain:
  - {cable: {capacitance: 100 pF/m}, length: 6 m}
  - pedal: {bypass: true-bypass, input: {resistance: 1 Mohm}, output: {resistance: 1 kohm}}
    name: drive
    engaged: no
amp: {resistance: 1 Mohm, capacitance: 20 pF}
"""
HOSTILE = "it's `touch ran` <i>.csv"


def level_db(hz, farad):
    """The dummy (2.5 H, 6 kohm and the generator's 50 ohm, 110 pF) into lead and meter of 10 Mohm and 20 pF."""
    w = 2 * math.pi * hz
    shunt = 1 / (1 / 10e6 + 1j * w * (110e-12 + farad + 20e-12))
    return 20 * math.log10(abs(shunt / (shunt + 6050 + 1j * w * 2.5)))


def sweep(farad, count=24, column="gain_db", offset=0.0):
    rows = [f"frequency_hz,{column}"]
    for i in range(count):
        hz = 60 * 2 ** (i * 8 / (count - 1))
        rows.append("%.6f,%.4f" % (hz, level_db(float("%.6f" % hz), farad) + offset))
    return "\n".join(rows) + "\n"


def check_one(run):
    """A lead of 1.2 nF instead of 600 pF, in every form, from a file whose name and rig would like to run something."""
    run.write("rig.yaml", RIG)
    run.write(HOSTILE, sweep(1.2e-9))
    done = run.run("accept", "rig.yaml", HOSTILE, "--plot", "plot.svg")
    run.check(done.returncode == 0, "accept ended with", done.returncode, done.stderr)
    text = done.stdout.decode()
    for words in ("Rejected:", "the lead chain[0] (lead 1, guitar to drive) has 1.2 nF (", "instead of 600 pF", "12 m of its own kind",
                  "a generator of 50 ohm", "all off", "No offset taken off"):
        run.check(words in " ".join(text.split()), repr(words), "is not in", text)
    run.check(max(len(line) for line in text.splitlines()) <= 98, "lines over 98 columns in", text)
    run.check(not any(name.endswith(b"ran") for name in run.left()), "something ran:", run.left())
    root = xml.etree.ElementTree.fromstring(run.read("plot.svg"))
    drawn = " ".join("".join(node.itertext()) for node in root.iter() if node.tag.endswith("}text"))
    run.check("the lead chain[0] (lead 1, guitar to drive) has 1.2 nF" in drawn and "`touch ran`" in drawn, "in the plot:", drawn)

    rows = list(csv.DictReader(io.StringIO(run.run("accept", "rig.yaml", HOSTILE, "--csv").stdout.decode())))
    run.check(len(rows) == 24, "rows:", len(rows))
    for row in rows:
        hz = float(row["frequency_hz"])
        predicted = level_db(hz, 600e-12)
        run.check(abs(float(row["predicted_db"]) - predicted) < 1e-3, hz, "predicted", row["predicted_db"], predicted)
        inside = float(row["low_db"]) <= float(row["measured_db"]) <= float(row["high_db"])
        run.check(row["verdict"] == ("inside" if inside else "outside"), row)
        run.check(float(row["low_db"]) < predicted < float(row["high_db"]), row)


def check_many(run):
    """Several boards: a line each, the same bytes from any number of workers, the order that of the command line."""
    run.write("rig.yaml", RIG)
    run.write("good.csv", sweep(600e-12, column="level_db", offset=-31.5))
    run.write("lead.csv", sweep(1.2e-9))
    run.write("few.csv", sweep(615e-12, count=4))
    files = ["lead.csv", "good.csv", "few.csv"]
    answers = [run.run("accept", "rig.yaml", *files, "--json", "--jobs", jobs).stdout for jobs in ("1", "3")]
    run.check(answers[0] == answers[1], "other bytes from 3 workers than from 1")
    answer = json.loads(answers[0])
    run.check([b["file"] for b in answer["boards"]] == files, "files:", [b["file"] for b in answer["boards"]])
    run.check([b["verdict"] for b in answer["boards"]] == ["rejected", "accepted", "accepted"], "verdicts:", answer["boards"])
    run.check(answer["rejected"] == 1, "rejected:", answer["rejected"])
    lead, good, few = answer["boards"]
    run.check(good["offset"] == "removed" and abs(good["offset_db"] + 31.5) < 0.01, "offset:", good["offset"], good["offset_db"])
    run.check(good["misfit"] < 0.1 and good["classes"] == [], "a perfect board:", good["misfit"], good["classes"])
    run.check(lead["offset"] == "kept" and lead["explained"], "lead:", lead["offset"], lead["explained"])
    run.check(len(few["readings"]) == 4, "few:", few["readings"])
    cause = lead["classes"][0]["causes"][0]
    run.check((cause["kind"], cause["path"], cause["unit"]) == ("lead", "chain[0].length", "F"), cause)
    run.check(cause["low"] < 1.2e-9 < cause["high"] and abs(cause["stated"] - 600e-12) < 1e-15, cause)
    total = sum(c["probability"] for c in lead["classes"]) + lead["none_probability"]
    run.check(0.999 < total < 1.000001, "probabilities come to", total)

    rows = list(csv.DictReader(io.StringIO(run.run("accept", "rig.yaml", *files, "--csv").stdout.decode())))
    run.check([row["verdict"] for row in rows] == ["rejected", "accepted", "accepted"], rows)
    run.check("chain[0]" in rows[0]["cause"] and rows[1]["cause"] == "", rows)
    text = run.run("accept", "rig.yaml", *files).stdout.decode()
    run.check("1 of 3 rejected." in text and "REJECTED" in text, text)


def with_state(text, *states):
    """A sweep with a column of states, the first for half of the rows."""
    rows = text.splitlines()
    half = (len(rows) - 2 + len(states)) // len(states)
    return "\n".join([rows[0] + ",state"] + [row + "," + states[i // half] for i, row in enumerate(rows[1:])]) + "\n"


def check_state(run):
    """What a filled form says of its state is taken; what contradicts it is refused where it stands."""
    rig = RIG.replace("engaged: no", "engaged: yes")
    run.write("rig.yaml", rig)
    run.write("off.csv", with_state(sweep(600e-12), "all off"))
    run.write("bare.csv", sweep(600e-12))
    run.write("on.csv", with_state(sweep(600e-12), " drive "))
    run.write("both.csv", with_state(sweep(600e-12), "all off", "drive"))
    twice = sweep(600e-12, count=8)
    run.write("twice.csv", with_state(twice + "".join(twice.splitlines(True)[1:]), "all off", "drive"))
    run.write("odd.csv", with_state(sweep(600e-12), "drvie"))
    for words, state, source, verdict in ((["off.csv"], "all off", "file", "accepted"), (["on.csv"], "drive", "file", "rejected"),
                                          (["bare.csv"], "drive", "rig", "rejected"),
                                          (["bare.csv", "--state", "none"], "all off", "option", "accepted"),
                                          (["off.csv", "--state", "none"], "all off", "option", "accepted")):
        answer = json.loads(run.run("accept", "rig.yaml", *words, "--json").stdout or "{}")
        found = answer and (answer["state"], answer["state_from"], answer["boards"][0]["verdict"])
        run.check(found == (state, source, verdict), words, "gave", found)
    text = run.run("accept", "rig.yaml", "off.csv").stdout.decode()
    run.check("pedals: all off (as the file says)" in " ".join(text.split()), text)
    refused(run, ["rig.yaml", "off.csv", "--state", "drive"], "off.csv:2:", "'all off'", "--state says 'drive'")
    refused(run, ["rig.yaml", "off.csv", "on.csv"], "on.csv:2:", "off.csv says 'all off'")
    refused(run, ["rig.yaml", "off.csv", "bare.csv"], "bare.csv: does not say", "--state")
    refused(run, ["rig.yaml", "both.csv"], "both.csv:14:", "a second state, 'drive'", "a file for each state")
    refused(run, ["rig.yaml", "twice.csv"], "twice.csv:10:", "a second state, 'drive'", "a file for each state")
    refused(run, ["rig.yaml", "odd.csv"], "odd.csv:2:", "did you mean 'drive'?")


def check_blind(run):
    """An accepted board's answer says what it cannot see: a buffer that is not missed, and how far off a lead is seen. Just
    inside the limits the board is accepted, just outside it is not."""
    buffered = RIG.replace("  - pedal", "  - buffer: {input: {resistance: 1 Mohm}, output: {resistance: 100 ohm}}\n    name: front\n"
                           "  - cable: {capacitance: 100 pF/m}\n    length: 1 m\n"
                           "  - buffer: {input: {resistance: 10 Mohm}, output: {resistance: 100 ohm}}\n    name: back\n"
                           "  - cable: {capacitance: 100 pF/m}\n    length: 2 m\n  - pedal", 1)
    run.write("rig.yaml", RIG)
    run.write("good.csv", sweep(600e-12))
    board = json.loads(run.run("accept", "rig.yaml", "good.csv", "--json").stdout)["boards"][0]
    lead = [one for one in board["not_seen"] if one["kind"] == "lead"][0]
    run.check(lead["path"] == "chain[0].length" and lead["seen_below"] < 600e-12 < lead["seen_above"], lead)
    for farad, verdict in ((lead["seen_below"] * 0.98, "rejected"), (lead["seen_below"] * 1.02 + 3e-12, "accepted"),
                           (lead["seen_above"] * 0.98 - 3e-12, "accepted"), (lead["seen_above"] * 1.02, "rejected")):
        run.write("edge.csv", sweep(farad))
        found = json.loads(run.run("accept", "rig.yaml", "edge.csv", "--json").stdout)["boards"][0]
        run.check(found["verdict"] == verdict, farad, "is", found["verdict"])
        run.check((found["not_seen"] == []) == (verdict == "rejected"), "not_seen of", verdict, found["not_seen"])
    run.write("buffered.yaml", buffered)
    rows = json.loads(run.run("card", "buffered.yaml", "--state", "none", "--json").stdout)["states"][0]["levels_db"]
    run.write("form.csv", "frequency_hz,gain_db\n" + "".join("%g,%.3f\n" % (row["hz"], row["expected"]) for row in rows))
    board = json.loads(run.run("accept", "buffered.yaml", "form.csv", "--json").stdout)["boards"][0]
    buffers = [one["about"] for one in board["not_seen"] if one["kind"] == "missing-buffer"]
    run.check(buffers == ["back"], "buffers not seen:", buffers)
    text = run.run("accept", "buffered.yaml", "form.csv").stdout.decode()
    for words in ("cannot be seen at these readings", "buffers not seen when missing or bridged: chain[3] (back)", "seen only below"):
        run.check(words in text, repr(words), "is not in", text)
    run.write("low.csv", "frequency_hz,gain_db\n" + "".join("%g,%.3f\n" % (row["hz"], row["expected"] - 2) for row in rows))
    text = run.run("accept", "buffered.yaml", "low.csv").stdout.decode()
    run.check("Rejected" in text and "dB too low" in text and "dB too high" not in text, "2 dB low everywhere:", text)
    run.check("the farthest by the width of its band at" in text and "times what its band allows" in text, text)


def refused(run, words, *expected):
    done = run.run("accept", *words)
    said = done.stderr.decode()
    run.check(done.returncode == 2 and not done.stdout, words, "ended with", done.returncode, said)
    for one in expected:
        run.check(one in said, words, "does not say", repr(one), "but", said)


def check_bad(run):
    run.write("rig.yaml", RIG)
    run.write("good.csv", sweep(600e-12))
    run.write("z.csv", "frequency_hz,impedance_ohm\n50,6000\n60,6000\n70,6000\n80,6000\n")
    run.write("low.csv", "frequency_hz,level_db\n5,0\n60,0\n70,0\n80,0\n")
    run.write("three.csv", "frequency_hz,level_db\n50,0\n60,0\n70,0\n")
    run.write("bent.yaml", RIG.replace("6 m", "6"))
    refused(run, ["rig.yaml"], "expected: toneload accept RIG.yaml FILE.csv")
    refused(run, ["rig.yaml", "none.csv"], "none.csv")
    refused(run, ["rig.yaml", "z.csv"], "z.csv:1:1: error:", "impedance", "level_db")
    refused(run, ["rig.yaml", "good.csv", "low.csv"], "low.csv:2:1: error:", "10 Hz to 100 kHz", "  5,0\n  ^")
    refused(run, ["rig.yaml", "three.csv"], "three.csv")
    refused(run, ["bent.yaml", "good.csv"], "bent.yaml:4:", "bare number")
    refused(run, ["rig.yaml", "good.csv", "--state", "drvie"], "--state:1:1: error:", "did you mean 'drive'?")
    refused(run, ["rig.yaml", "good.csv", "--end", "left"], "'left'")
    refused(run, ["rig.yaml", "good.csv", "--offset", "drop"], "expected keep, remove")
    refused(run, ["rig.yaml", "good.csv", "--output", "good.csv"], "overwrite")
    refused(run, ["rig.yaml", "good.csv", "--plot", "plot.gif"], "plot.gif")
    run.check(run.read("good.csv").decode() == sweep(600e-12), "good.csv was changed")


def check_active(run):
    """A rig without a pickup: a generator behind the active guitar's resistance; and a dummy that is left out."""
    active = RIG.replace("pickup: {inductance: 2.5 H, resistance: 6 kohm, capacitance: 110 pF}",
                         "source: {output: {resistance: 1 kohm, coupling: 10 uF}}")
    run.write("active.yaml", active)
    run.write("bare.yaml", RIG + "measure: {dummy: none}\n")
    run.write("flat.csv", "frequency_hz,gain_db\n" + "".join("%d,0\n" % hz for hz in (100, 300, 1000, 3000, 9000)))
    for rig in ("active.yaml", "bare.yaml"):
        done = run.run("accept", rig, "flat.csv", "--json")
        run.check(done.returncode == 0, rig, "ended with", done.returncode, done.stderr)
        answer = json.loads(done.stdout)
        run.check(answer["boards"][0]["verdict"] == "accepted", rig, answer["boards"][0])
        run.check("pickup" not in answer["through"] and ("1 kohm" in answer["through"]) == (rig == "active.yaml"),
                  answer["through"])


def check_as_written(run):
    """The board of nine pedals with the rig's own guitar: a variant that no fit holds for stops nothing."""
    rig = os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "..", "models", "rigs", "buffered-board.yaml")
    solved = json.loads(run.run("response", rig, "--points", "30", "--json").stdout or "{}")
    points = solved["responses"][0]["points"]
    run.write("rig.csv", "frequency_hz,gain_db\n" + "".join("%.6g,%.3f\n" % (p["hz"], p["db"]) for p in points))
    done = run.run("accept", rig, "rig.csv", "--as-written", "--json")
    run.check(done.returncode == 0, "ended with", done.returncode, done.stderr)
    run.check(done.stdout and json.loads(done.stdout)["boards"][0]["verdict"] == "accepted", done.stdout[:300])


def run_all(run):
    for name, check in (("one board", check_one), ("several boards", check_many), ("no pickup", check_active), ("states", check_state),
                        ("what is not seen", check_blind), ("as written", check_as_written),
                        ("bad input", check_bad)):
        run.group(name)
        check(run)
        run.clear()


main(run_all)
