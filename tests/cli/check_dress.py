#!/usr/bin/python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""toneload dress on the demo rigs and on rigs of its own: what is fair, what is enough, joints, and bad input.

Usage: check_dress.py BUILD_DIR
"""
import csv
import io
import json
import math
import os
import re
import sys
import xml.etree.ElementTree

sys.dont_write_bytecode = True
import cases as base

RIGS = os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "..", "models", "rigs")
LONG = os.path.join(RIGS, "long-cable.yaml")
BOARD = os.path.join(RIGS, "buffered-board.yaml")
TWO_AMPS = os.path.join(RIGS, "two-amps.yaml")
MAINS = ("{name: %s, lead: '%s', beside: mains, length: 1 m, spacing: 12 mm, height: 10 mm, diameter: 7 mm, pair: 3 mm, "
         "shield: {coverage: 95 %%, diameter: 5 mm}, voltage: 230 V, frequency: 50 Hz, current: 0.5 A}")
DC = ("{name: %s, lead: '%s', beside: dc, length: 15 cm, spacing: 6 mm, height: 5 mm, diameter: 4 mm, pair: 2 mm, "
      "shield: {coverage: 90 %%, diameter: 4 mm}, ripple: {voltage: 10 mV, frequency: 100 kHz, wave: triangle}, "
      "pulse: {current: 40 mA, frequency: 1 kHz, duty: 30 %%}}")


def read(path):
    with open(path, encoding="utf-8") as file:
        return file.read()


def answer(cases, text_or_path, *more):
    """The JSON of a rig, given as its text or path."""
    path = text_or_path if text_or_path.endswith(".yaml") else cases.write("rig.yaml", text_or_path)
    done = cases.run("dress", path, "--json", *more)
    if not cases.check(done.returncode == 0, path[-60:], "ended with", done.returncode, done.stderr):
        return None
    return json.loads(done.stdout)


def runs_of(found):
    return {run["name"]: run for run in found["runs"]}


def dressed(*runs, rig=base.RIG):
    return rig + "dressing:\n" + "".join("  - %s\n" % run for run in runs)


def near(a, b, share=1e-6):
    return abs(a - b) <= share * abs(b)


# ---- what is fair

def check_fairness(cases):
    cases.group("fairness")
    long = answer(cases, LONG)
    board = answer(cases, BOARD)
    lead = runs_of(long)["wall lead"]["amps"][0]
    cases.check(lead["verdict"] == "above", "a mains lead beside a lead that only the pickup drives:", lead)
    cases.check(lead["buffered"]["verdict"] == "buried", "behind a buffer it is buried:", lead["buffered"])
    guitar, amp = (runs_of(board)[name] for name in ("guitar lead", "amp lead"))
    cases.check(guitar["amps"][0]["verdict"] == "above" and amp["amps"][0]["verdict"] == "buried",
                "the same mains lead before and after the buffers:", guitar["amps"][0], amp["amps"][0])
    cases.check(guitar["amps"][0]["a_weighted_v"] > 30 * amp["amps"][0]["a_weighted_v"], "by 30 dB and more")
    cases.check(guitar["impedance_ohm"] > 5e3 and amp["impedance_ohm"] < 150, "because of what the cores see")
    for found in (long, board):
        for run in found["runs"]:
            if run["beside"] == "dc":
                cases.check(run["amps"][0]["verdict"] == "buried", "a short DC lead matters little:", run["amps"][0])
    cases.check(all((run["amps"][0]["crossing"]["a_weighted_v"] or 0) <= (run["amps"][0]["a_weighted_v"] or 0)
                    for found in (long, board) for run in found["runs"] if run["beside"] != "audio"), "crossing is never worse")
    # Common practice: a few DC leads beside audio do not raise the floor by 10 dB.
    text = read(LONG).split("dressing:")[0] + "dressing:\n"
    text += "".join("  - %s\n" % (DC % ("dc %s" % name, lead)) for name, lead in
                    zip("abcdef", ["chain[2]", "chain[4]", "chain[0]", "chain[6]", "chain[2]", "chain[4]"]))
    together = answer(cases, text)["amps"][0]["all_runs"]
    cases.check(10 * math.log10(1 + 10 ** (together["against_floor_db"] / 10)) < 0.1, "six DC leads:", together)


def check_buffer(cases):
    """"Behind a buffer" is what the rig itself gives with that buffer in it."""
    cases.group("behind a buffer")
    plain = answer(cases, dressed(MAINS % ("wall", "chain[0]")))
    with_buffer = base.RIG.replace("chain:\n", "chain:\n  - buffer: op-amp-follower\n")
    built = answer(cases, dressed(MAINS % ("wall", "chain[1]"), rig=with_buffer))
    wanted = plain["runs"][0]["amps"][0]["buffered"]["a_weighted_v"]
    got = built["runs"][0]["amps"][0]["a_weighted_v"]
    cases.check(near(got, wanted), "a rig with the buffer:", got, "foretold:", wanted)
    cases.check(near(built["runs"][0]["impedance_ohm"], plain["runs"][0]["buffered_ohm"]), "what the core sees there")
    noise_v = plain["runs"][0]["amps"][0]["buffered_noise_v"]
    cases.check(near(noise_v, built["amps"][0]["a_weighted_v"]) and noise_v > 1.05 * plain["amps"][0]["a_weighted_v"],
                "held against that rig's own noise:", noise_v, built["amps"][0]["a_weighted_v"])
    # In front of the first lead there is only the guitar.
    cases.check(plain["runs"][0]["buffer_in_guitar"] and built["runs"][0]["buffer_in_guitar"], "the first lead")
    text = read(LONG)
    first = text.replace("lead: chain[6]", "lead: chain[0]")
    for rig, guitar in ((text, False), (first, True)):
        words = " ".join(cases.run("dress", cases.write("rig.yaml", rig)).stdout.decode().split())
        cases.check("With a buffer in front of its lead" in words and ("have to sit in the guitar" in words) == guitar, words)
    # Behind a buffer already, one more is no advice.
    bare = (MAINS % ("wall", "chain[1]")).replace("length: 1 m,", "length: 1 m, bare: 50 cm,")
    found = answer(cases, dressed(bare, rig=with_buffer))["runs"][0]["amps"][0]
    words = " ".join(cases.run("dress", "rig.yaml").stdout.decode().split())
    cases.check(found["verdict"] != "buried" and "buffer in front" not in words, found["verdict"], words)


def check_enough(cases):
    """Running again at the spacing or angle that is said to be enough."""
    cases.group("what is enough")
    text = read(LONG)
    first = runs_of(answer(cases, LONG))["wall lead"]
    enough_m, enough_deg = first["amps"][0]["enough_m"], first["amps"][0]["enough_deg"]
    cases.check(0.012 < enough_m < 1 and 0 < enough_deg < 90, "both are found", enough_m, enough_deg)
    cases.check(near(enough_m * 1e3, round(enough_m * 1e3), 1e-9) and enough_deg == round(enough_deg), "whole mm and degrees")
    ends_m = math.hypot(0.012, 1 * math.sin(math.radians(enough_deg / 2)))
    cases.check(near(first["amps"][0]["ends_apart_m"], ends_m, 1e-9), "the ends of a metre at that angle", ends_m)
    for less, verdict in ((0, "buried"), (1, "near")):
        moved = text.replace("spacing: 12 mm", "spacing: %.0f mm" % (enough_m * 1e3 - less))
        at = runs_of(answer(cases, moved))["wall lead"]["amps"][0]
        cases.check(at["verdict"] == verdict and abs(at["against_floor_db"] + 10) < 1, less, "mm less:", at)
        turned = text.replace("spacing: 12 mm", "spacing: 12 mm\n    angle: %.0f deg" % (enough_deg - less))
        at = runs_of(answer(cases, turned))["wall lead"]["amps"][0]
        cases.check(at["verdict"] == verdict and abs(at["against_floor_db"] + 10) < 1, less, "deg less:", at)
    crossing = text.replace("spacing: 12 mm", "spacing: 12 mm\n    angle: 90 deg")
    at = runs_of(answer(cases, crossing))["wall lead"]["amps"][0]
    cases.check(near(at["a_weighted_v"], first["amps"][0]["crossing"]["a_weighted_v"], 1e-9), "crossing as foretold")
    # Nothing grounded near: the field falls off so slowly that no spacing is enough, and the text says so.
    free = text.replace("    height: 10 mm\n", "").replace("coverage: 95 %", "coverage: 80 %")
    at = runs_of(answer(cases, free))["wall lead"]["amps"][0]
    cases.check(at["enough_m"] is None and at["verdict"] == "above", "none up to 1 m:", at)
    said = cases.run("dress", cases.write("free.yaml", free)).stdout.decode()
    cases.check("no spacing up to 1 m is enough" in " ".join(said.split()), said)
    # A long run at an angle has its ends metres apart: no advice.
    long = text.replace("    length: 1 m", "    length: 9 m").replace("spacing: 12 mm", "spacing: 20 mm")
    at = runs_of(answer(cases, long))["wall lead"]["amps"][0]
    words = " ".join(cases.run("dress", "rig.yaml").stdout.decode().split())
    cases.check(at["ends_apart_m"] > 1 and "or an angle of" not in words and "from centre to centre" in words, at, words)


def check_sums(cases):
    cases.group("sums and states")
    found = answer(cases, BOARD)
    cases.check(found["amps"][0]["all_runs"]["verdict"] == "above" and found["amps"][0]["all_runs"]["move_first"] == "guitar lead",
                found["amps"])
    noise = json.loads(cases.run("noise", BOARD, "--json").stdout)
    cases.check(near(found["amps"][0]["a_weighted_v"], noise["a_weighted_v"], 1e-9), "the floor is that of noise")
    # Twice the length is twice the level while the lead's capacitance stays.
    one = answer(cases, dressed(MAINS % ("a", "chain[0]")))["runs"][0]
    two = answer(cases, dressed((MAINS % ("a", "chain[0]")).replace("length: 1 m", "length: 2 m")))["runs"][0]
    cases.check(near(two["capacitance_farad"], 2 * one["capacitance_farad"], 1e-9), "capacitance goes with length")
    cases.check(near(two["amps"][0]["a_weighted_v"], 2 * one["amps"][0]["a_weighted_v"], 1e-3), "and so does the level")
    said = [cases.run("dress", BOARD, "--json", "--jobs", jobs).stdout for jobs in ("1", "2")]
    cases.check(said[0] == said[1], "the same bytes with 1 job and 2")


def check_together(cases):
    """Runs that are buried one by one and not together; what moving the first of them does."""
    cases.group("together")
    names = ["wall a", "wall b"]

    def board(*spacings_mm):
        return dressed(*[(MAINS % (name, "chain[0]")).replace("spacing: 12 mm", "spacing: %g mm" % mm)
                         for name, mm in zip(names, spacings_mm)])
    one = answer(cases, board(52))
    two = answer(cases, board(52, 52))
    level = two["amps"][0]["all_runs"]
    cases.check(near(level["a_weighted_v"], 2 * one["amps"][0]["all_runs"]["a_weighted_v"], 1e-9),
                "mains leads of one frequency add as volts:", level)
    words = " ".join(cases.run("dress", "rig.yaml").stdout.decode().split())
    cases.check(all(run["amps"][0]["verdict"] == "buried" for run in two["runs"]) and level["verdict"] == "near", two["amps"])
    cases.check("Nothing is gained" not in words and "Buried each by itself: wall a, wall b." in words and
                "To bury all of it, move 'wall a' first: at" in words and "are taken to be one phase" in words, words)
    enough_mm = level["move_first_to_m"] * 1e3
    for less, verdict in ((0, "buried"), (1, "near")):
        moved = answer(cases, board(round(enough_mm) - less, 52))["amps"][0]["all_runs"]
        cases.check(moved["verdict"] == verdict, less, "mm less than", enough_mm, moved)
    words = " ".join(cases.run("dress", cases.write("rig.yaml", board(70, 70))).stdout.decode().split())
    cases.check("Buried as they lie: wall a, wall b. Nothing is gained by moving them." in words, words)
    # 60 Hz beside 50 Hz: powers.
    other = board(52, 52)[::-1].replace("zH 05", "zH 06", 1)[::-1]
    both = answer(cases, other)
    volts = [run["amps"][0]["a_weighted_v"] for run in both["runs"]]
    cases.check(near(both["amps"][0]["all_runs"]["a_weighted_v"], math.hypot(*volts), 1e-9), "50 and 60 Hz add as powers", volts)
    # More than one has to go.
    names.extend(["wall c", "wall d"])
    level = answer(cases, board(52, 52, 52, 52))["amps"][0]["all_runs"]
    words = " ".join(cases.run("dress", "rig.yaml").stdout.decode().split())
    cases.check(level["move_first_to_m"] is None and "move 'wall a' first, then 'wall b': with the first" in words, level, words)


def check_touching(cases):
    """Leads that touch, the commonest case, and what is taken where a run does not say."""
    cases.group("touching and not said")
    short = ("{name: a, lead: 'chain[0]', beside: mains, length: 1 m, spacing: %s, diameter: 7 mm, pair: 3 mm, "
             "voltage: 230 V, frequency: 50 Hz%s}")
    touching = answer(cases, dressed(short % ("6.5 mm", "")))["runs"][0]
    apart = answer(cases, dressed(short % ("7.5 mm", "")))["runs"][0]
    ratio = touching["capacitance_farad"] / apart["capacitance_farad"]
    cases.check(1 < ratio < 1.5, "a millimetre of air changes little:", ratio)
    said = answer(cases, dressed(short % ("6.5 mm", ", copper: 4.2 mm, jacket: 6 mm, shield: {coverage: 95 %, diameter: 5 mm}")))
    cases.check(said["runs"][0]["capacitance_farad"] == touching["capacitance_farad"], "what is taken is what is said to be")
    cases.check(said["runs"][0]["taken"] is None or said["runs"][0]["taken"] == "", said["runs"][0]["taken"])
    for words in ("copper is 4.2 mm thick", "covers 95 %", "shield is 5 mm thick", "from memory"):
        cases.check(words in touching["taken"], touching["taken"])
    built = answer(cases, dressed(short % ("8 mm", ""), rig=base.RIG.replace(
        "  - cable: {capacitance: 100 pF/m}", "  - cable: low-capacitance-coax", 1)))["runs"][0]
    cases.check("shield is 3.7 mm thick (the cable's insulation" in built["taken"], built["taken"])
    odd = short.replace("pair: 3 mm", "pair: 30 mm") % ("8 mm", ", return: 3 mm")
    odd = answer(cases, dressed(odd))["runs"][0]
    cases.check("two leads 30 mm apart" in odd["taken"] and "outside of its shield, 3 mm off" in odd["taken"], odd["taken"])
    words = " ".join(cases.run("dress", "rig.yaml").stdout.decode().split())
    cases.check("two leads 30 mm apart, since 'pair' is more" in words, words)
    # Nothing is told as nothing.
    tight = short % ("8 mm", ", shield: {coverage: 100 %}")
    found = answer(cases, dressed(tight))["runs"][0]["amps"][0]
    cases.check(all(found[key] is None for key in ("total_v", "a_weighted_v", "against_floor_db", "electric_share")) and
                found["verdict"] == "buried", found)
    said = cases.run("dress", "rig.yaml").stdout.decode()
    cases.check(re.search(r"^a +- +- +- +buried +-", said, re.M) and "e-" not in said.split("Assumed")[0].split("state")[1], said)
    row = list(csv.DictReader(io.StringIO(cases.run("dress", "rig.yaml", "--csv").stdout.decode())))[0]
    cases.check(row["a_weighted_v"] == "" and row["floor_db"] == "", row)
    far = cases.run("dress", cases.write("rig.yaml", dressed(short % ("10 m", "")))).stdout.decode()
    cases.check(re.search(r" 1 m +10 m +0 deg", far), far)


def check_hint(cases):
    """What is offered to a rig without runs, and what README shows, is good input."""
    cases.group("hint")
    said = cases.run("dress", cases.write("rig.yaml", base.RIG)).stdout.decode()
    block = said[said.index("\ndressing:\n") + 1:]
    block = block[:block.index("\n\n") + 1]
    found = answer(cases, base.RIG + block)
    cases.check([run["name"] for run in found["runs"]] == ["wall lead"] and found["runs"][0]["amps"], block)
    inside = base.RIG.replace("chain:\n", "chain:\n  - loop: {name: l, engaged: yes, chain: [{cable: patch-coax, length: 12 cm}]}\n")
    said = cases.run("dress", cases.write("rig.yaml", inside)).stdout.decode()
    cases.check("'chain[0].chain[0]', beside: mains, length: 12 cm" in said, said)
    readme = read(os.path.join(RIGS, "..", "..", "README.md"))
    section = readme[readme.index("## What the leads pick up"):]
    block = section[section.index("```yaml") + 7:]
    block = block[:block.index("```")]
    found = answer(cases, read(BOARD).split("dressing:")[0] + block)
    cases.check(found and len(found["runs"]) == 1, "README's example")


def check_fix(cases):
    cases.group("fix")
    rig = read(TWO_AMPS) + "dressing:\n  - %s\n" % (DC % ("dirt", "chain[3].chain[0]"))
    off = answer(cases, rig)
    on = answer(cases, rig, "--fix", "dirt=yes")
    cases.check(not off["runs"][0]["in_path"] and on["runs"][0]["in_path"], "the loop is on")
    noise = json.loads(cases.run("noise", cases.write("on.yaml", rig.replace("engaged: no", "engaged: yes", 1)), "--json").stdout)
    cases.check(off["amps"][0]["a_weighted_v"] != on["amps"][0]["a_weighted_v"] and on["fixed"] == "dirt=yes", on["fixed"], noise["command"])
    words = " ".join(cases.run("dress", "rig.yaml", "--fix", "dirt=yes").stdout.decode().split())
    cases.check("as it is written but for dirt=yes" in words, words)
    done = cases.run("dress", "rig.yaml", "--fix", "dirts=yes")
    cases.check(done.returncode == 2 and b"did you mean 'dirt'?" in done.stderr, done.stderr)


def check_two_amps(cases):
    cases.group("two amps")
    text = read(TWO_AMPS) + ("dressing:\n  - %s\n  - %s\n  - %s\n  - %s\n" % (
        MAINS % ("first", "chain[0]"), MAINS % ("left", "chain[6].split[left].chain[0]"),
        MAINS % ("right", "chain[6].split[right].chain[0]"),
        (DC % ("dirt", "chain[3].chain[0]"))))
    found = answer(cases, text)
    cases.check([amp["amp"] for amp in found["amps"]] == ["left", "right"], found["amps"])
    runs = runs_of(found)
    cases.check(len(runs["first"]["amps"]) == 2 and runs["first"]["in_path"], runs["first"]["amps"][0])
    for name, other in (("left", 1), ("right", 0)):  # nothing goes back through a buffer to the other amp
        volts = runs[name]["amps"][other]["buffered"]["a_weighted_v"]
        cases.check(volts is None, name, "at the other amp:", volts)
    cases.check(not runs["dirt"]["in_path"] and runs["dirt"]["amps"] == [], "a lead in a loop that is off:", runs["dirt"])
    said = cases.run("dress", "rig.yaml").stdout.decode()
    cases.check("out of the path" in " ".join(said.split()), "and the text says so")
    cases.check(" amp " in said, "the table names the amps")
    rows = list(csv.DictReader(io.StringIO(cases.run("dress", "rig.yaml", "--csv").stdout.decode())))
    cases.check([row["name"] for row in rows] == ["first"] * 2 + ["left"] * 2 + ["right"] * 2 + ["dirt"], rows)
    cases.check(rows[0]["amp"] == "left" and float(rows[0]["a_weighted_v"]) > 0 and rows[6]["a_weighted_v"] == "", rows[0])


def check_everywhere(cases):
    """Leads wherever a rig may have them, beside circuits of one's own and sources of 0 ohm."""
    cases.group("everywhere")
    circuits = os.path.join(RIGS, "..", "circuits")
    rig = ("rig: everywhere\nguitar:\n  source: {output: {resistance: 0 ohm}}\nchain:\n  - cable: {capacitance: 100 pF/m}\n"
           "    length: 1 m\n  - buffer: {circuit: %s/%%s.yaml}\n  - cable: {capacitance: 100 pF/m}\n    length: 6 m\n"
           "  - pot:\n      {pot: 250 kohm, taper: audio, position: 60 %%%%, tuner-out: {chain: [{cable: patch-coax, length: 1 m}], end: open}}\n"
           "  - loop: {name: l, engaged: yes, chain: [{cable: patch-coax, length: 1 m}, {pedal: {bypass: true-bypass, "
           "input: {resistance: 1 Mohm}, output: {resistance: 0 ohm}}, engaged: yes}]}\n"
           "  - cable: patch-coax\n    length: 1 m\n" % circuits) + base.AMP
    leads = ["chain[0]", "chain[2]", "chain[3].tuner-out.chain[0]", "chain[4].chain[0]", "chain[5]"]
    for name in ("op-amp-follower", "source-follower", "ideal-buffer", "push-pull"):
        found = answer(cases, dressed(*[MAINS % ("run%s" % "abcde"[i], lead) for i, lead in enumerate(leads)], rig=rig % name))
        if not found:
            continue
        ohms = [run["impedance_ohm"] for run in found["runs"]]
        cases.check(near(ohms[0], 1e-3, 1e-2) and near(ohms[4], 1e-3, 1e-2), "0 ohm is the joint's milliohm:", ohms)
        cases.check(ohms[1] < 2e3 and ohms[3] > 1e4 and near(ohms[1], ohms[2], 0.5), ohms)


def check_audio(cases):
    """Leads of one rig beside each other: nothing when shielded; a howl with much gain and bare core."""
    cases.group("audio beside audio")
    tied = ("{name: tied, lead: 'chain[0]', beside: audio, other: 'chain[2]', length: 1 m, spacing: 7 mm, diameter: 5 mm, "
            "shield: {coverage: 95 %, diameter: 5 mm}}")
    gain = ("rig: gain\n" + base.GUITAR + "chain:\n  - cable: {capacitance: 100 pF/m}\n    length: 3 m\n"
            "  - pedal: {bypass: true-bypass, input: {resistance: 1 Mohm}, gain: %s, output: {resistance: 1 kohm}}\n"
            "    engaged: yes\n  - cable: {capacitance: 100 pF/m}\n    length: 3 m\n" + base.AMP)
    quiet = answer(cases, dressed(tied, rig=gain % "10"))["runs"][0]
    cases.check(quiet["amps"][0]["hearing"]["verdict"] == "not audible" and not quiet["amps"][0]["unstable"], quiet)
    bare = tied.replace("95 %", "60 %").replace("length: 1 m,", "length: 1 m, bare: 50 cm,")
    some = answer(cases, dressed(bare, rig=gain % "-100"))["runs"][0]["amps"][0]
    cases.check(some["leak_db"] is not None and -120 < some["leak_db"] < 60, "with bare core it leaks:", some)
    loud = answer(cases, dressed(bare, rig=gain % "20000"))["runs"][0]["amps"][0]
    cases.check(loud["unstable"] and loud["unstable_hz"] > 0, "with a gain of 20000 it howls:", loud)
    words = " ".join(cases.run("dress", "rig.yaml").stdout.decode().split())
    cases.check("HOWLS" in words and "too much gain at" in words and "less gain between them" in words, "and the text says so", words)
    # The loop gain that is left: that much more gain, and it howls.
    some = answer(cases, dressed(bare, rig=gain % "200"))["runs"][0]
    left_db = some["loop_gain_left_db"]
    cases.check(5 < left_db < 20 and not some["may_lie"], "some is left:", some["loop_gain_left_db"])
    for more_db, howls in ((left_db - 0.1, False), (left_db + 0.02, True)):
        found = answer(cases, dressed(bare, rig=gain % ("%.6g" % (200 * 10 ** (more_db / 20)))))["runs"][0]
        cases.check(found["amps"][0]["unstable"] == howls and (found["loop_gain_left_db"] < 0) == howls, more_db, "dB more:", found)
    found = answer(cases, dressed(bare, rig=gain % ("%.6g" % (200 * 10 ** ((left_db + 0.02) / 20)))))["runs"][0]["amps"][0]
    cases.check(near(found["unstable_hz"], some["loop_hz"], 0.04), "where it howls:", found["unstable_hz"], some["loop_hz"])
    # Moved as far as is said it is good, a millimetre less and it is not.
    less = tied.replace("95 %", "60 %").replace("length: 1 m,", "length: 1 m, bare: 8 mm, height: 8 mm,")
    found = answer(cases, dressed(less, rig=gain % "2000"))["runs"][0]
    enough_mm = found["enough_m"] * 1e3
    words = " ".join(cases.run("dress", "rig.yaml").stdout.decode().split())
    cases.check(not found["may_lie"] and 7 < enough_mm < 1000 and "Move the leads" in words, found, words)
    for nearer, good in ((0, True), (1, False)):
        moved = answer(cases, dressed(less.replace("spacing: 7 mm", "spacing: %.0f mm" % (enough_mm - nearer)), rig=gain % "2000"))
        at = moved["runs"][0]
        within = at["loop_gain_left_db"] >= 20 and at["amps"][0]["leak_db"] <= -30
        cases.check(within == good, nearer, "mm nearer than", enough_mm, at)
        cases.check(not good or at["may_lie"], at)
    cases.write("rig.yaml", dressed(tied, rig=gain % "10"))
    words = " ".join(cases.run("dress", "rig.yaml").stdout.decode().split())
    cases.check("It may lie as it does." in words, words)
    cases.check(quiet["capacitance_farad"] < 1e-15, "two shields leave next to nothing:", quiet["capacitance_farad"])


# ---- joints

def check_joints(cases):
    cases.group("joints")
    found = answer(cases, BOARD)["joints"]
    kinds = {kind["name"]: kind for kind in found["kinds"]}
    text = read(BOARD)
    for name in ("soldered", "clamped-new", "clamped-worn", "socket-new"):
        count = len(re.findall(r"^  - contact: %s$" % name, text, re.M))
        cases.check(kinds[name]["count"] == count, name, kinds[name], count)
    cases.check(found["hearing"]["verdict"] == "not audible" and abs(found["hearing"]["worst_db"]) < 0.1,
                "joints do little to the tone:", found["hearing"])
    expected = sum(kind["openings_in_1000_h"] * kind["count"] for kind in found["kinds"]) * 3 / 1000
    cases.check(near(found["openings_a_gig"], expected, 1e-9), found["openings_a_gig"], expected)
    cases.check(near(found["gig_without_share"], math.exp(-expected), 1e-9), found["gig_without_share"])
    cases.check(found["opens_most"] == "clamped-worn" and found["gig_without_share_mended"] > found["gig_without_share"], found)
    # Mending it is what it says: soldered in place of clamped-worn.
    mended = answer(cases, text.replace("contact: clamped-worn", "contact: soldered"))["joints"]
    cases.check(near(mended["gig_without_share"], found["gig_without_share_mended"], 1e-9), mended["gig_without_share"])
    # A leak before a pickup is heard by the solver.
    leaky = base.RIG.replace("chain:\n", "chain:\n  - contact: {resistance: 1 kohm, leakage: 100 kohm}\n")
    found = answer(cases, leaky)["joints"]
    cases.check(abs(found["hearing"]["worst_db"]) > 0.5, "a bad leak is heard:", found["hearing"])
    cases.check(found["gig_without_share"] is None, "openings that nobody states are not made up")
    said = cases.run("dress", "rig.yaml").stdout.decode()
    cases.check("no joint states its 'openings'" in said and "\ndressing:\n" in said, said)
    cases.check("Supplies" not in said, "no plug is as bad as a kilohm", said)
    # Of two joints one does not say: the chance leaves it out, and says so.
    rig = base.RIG.replace("chain:\n", "chain:\n  - contact: {resistance: 1 ohm}\n  - contact: clamped-worn\n")
    found = answer(cases, rig)["joints"]
    words = " ".join(cases.run("dress", "rig.yaml").stdout.decode().split())
    cases.check(found["unsaid"] == 1 and "all 2 joints have to hold, but 1 of them does not say how often it opens" in words and
                "leaves it out" in words, words)
    rig = base.RIG.replace("chain:\n", "chain:\n  - contact: clamped-worn\n")
    words = " ".join(cases.run("dress", cases.write("rig.yaml", rig)).stdout.decode().split())
    cases.check("Reliability: the one joint has to hold." in words, words)
    rig = base.RIG.replace("chain:\n", "chain:\n  - contact: clamped-worn\n  - contact: socket-dirty\n  - contact: soldered\n")
    words = " ".join(cases.run("dress", cases.write("rig.yaml", rig)).stdout.decode().split())
    cases.check("the one clamped-worn and the one socket-dirty make 50 % each" in words, words)
    plain = cases.run("dress", cases.write("rig.yaml", base.RIG))
    cases.check(plain.returncode == 0 and b"No joints" in plain.stdout, plain.stdout)


def check_openings_elsewhere(cases):
    """How often a joint opens is no part of the circuit."""
    cases.group("openings elsewhere")
    rig = base.RIG.replace("chain:\n", "chain:\n  - contact: {resistance: 1 ohm%s}\n")
    for command in (["response", "--json"], ["netlist"], ["spread", "--trials", "20", "--json"]):
        said = [cases.run(command[0], cases.write("rig.yaml", rig % more), *command[1:]) for more in ("", ", openings: 20")]
        cases.check(said[0].stdout == said[1].stdout, command, said[0].stdout[:200], said[1].stdout[:200])
    listed = cases.run("check", "rig.yaml").stdout.decode()
    cases.check(re.search(r"openings +20 +rig.yaml:", listed), listed)
    done = cases.run("dress", cases.write("rig.yaml", rig % ", openings: 20 +-5 %"))
    cases.check(done.returncode == 2 and b"counted: it has no tolerance" in done.stderr, done.stderr)


# ---- how it is shown

def check_shown(cases):
    cases.group("shown")
    said = cases.run("dress", BOARD).stdout.decode()
    words = " ".join(said.split())
    for part in ("The rig's own noise there", "To bury it (10 dB under)", "Buried each by itself", "Assumed", "Reliability",
                 "Cautions", "licensed persons", "Never lift a mains earth", "Soldering", "All runs together",
                 "EN 50160", "up to the 39th", "The guitar's volume matters", "A copper shield does not stop it", "or an angle of"):
        cases.check(part in words, part, "is missing in", said)
    cases.check(max(map(len, said.splitlines())) <= 98, "lines stay narrow", max(map(len, said.splitlines())))
    found = json.loads(cases.run("dress", BOARD, "--json").stdout)
    cases.check(found["command"] == "dress" and len(found["cautions"]) == 4 and len(found["assumed"]) == 8, found["cautions"])
    done = cases.run("dress", BOARD, "--output", "answer.txt")
    cases.check(done.stdout == b"" and cases.read("answer.txt").decode() == said, "--output")
    rows = list(csv.DictReader(io.StringIO(cases.run("dress", BOARD, "--csv").stdout.decode())))
    for row, run in zip(rows, found["runs"]):
        if run["beside"] == "audio":
            cases.check(row["verdict"] == "not audible" and row["a_weighted_v"] == "", row)
        else:
            volts = run["amps"][0]["a_weighted_v"]
            cases.check(row["a_weighted_v"] == "" if volts is None else near(float(row["a_weighted_v"]), volts, 1e-8), row, volts)
    cases.check("out of the path" not in words, "nothing is out of the path")


def check_plot(cases):
    cases.group("plot")
    title = "rig: '`touch owned` ''quoted'' \"$(touch owned)\" ]]> & <b> \\n'\n"
    hostile = dressed(MAINS % ("a-name", "chain[0]"), rig=base.RIG.replace("rig: plain\n", title))
    cases.write("rig.yaml", hostile)
    for kind, start in (("svg", b"<?xml"), ("png", b"\x89PNG"), ("pdf", b"%PDF")):
        done = cases.run("dress", "rig.yaml", "--plot", "plot." + kind)
        cases.check(done.returncode == 0 and cases.read("plot." + kind).startswith(start), kind, done.stderr)
    text = cases.read("plot.svg").decode()
    xml.etree.ElementTree.fromstring(text)
    cases.check("band of the ear" in text and "a-name" in text and "uV rms" in text, "words of the plot")
    cases.check(not os.path.exists(cases.path("owned")), "a title ran")
    # What is not drawn is said, and stands in no legend.
    cases.run("dress", BOARD, "--plot", "board.svg")
    text = cases.read("board.svg").decode()
    cases.check("Not drawn: drive DC (too faint), out by in (audio)" in text and text.count("drive DC") == 1, "what is not drawn")
    done = cases.run("dress", cases.write("bare.yaml", base.RIG), "--plot", "none.svg")
    cases.check(done.returncode == 2 and b"nothing to draw" in done.stderr and not os.path.exists(cases.path("none.svg")), done.stderr)
    done = cases.run("dress", "rig.yaml", "--plot", "plot.gif")
    cases.check(done.returncode == 2, done.stderr)


# ---- bad input

RUN = {"name": "x", "lead": "'chain[0]'", "beside": "mains", "length": "50 cm", "spacing": "10 mm", "diameter": "7 mm",
       "shield": "{coverage: 95 %, diameter: 5 mm}", "voltage": "230 V", "frequency": "50 Hz"}
DC_RUN = {key: RUN[key] for key in ("name", "lead", "length", "spacing", "diameter", "shield")}
DC_RUN.update(beside="dc", pulse="{current: 40 mA, frequency: 1 kHz, duty: 30 %}")
BAD = [
    # what is changed (None: left out), words of the error, on whose line it points
    (RUN, {"spacing": "6 mm"}, "would lie inside each other; it must be 6.5 mm at least", "spacing"),
    (RUN, {"spacing": "6 mm", "copper": "7 mm", "jacket": "5 mm"}, "would touch; it must be more than 6 mm", "spacing"),
    (RUN, {"copper": "8 mm"}, "more copper (8 mm) than the whole lead is thick", "copper"),
    (RUN, {"copper": "4 mm", "pair": "5 mm"}, "two wires in one lead, 5 mm apart, are thicker together than its 'copper'", "pair"),
    (RUN, {"jacket": "4 mm"}, "a jacket of 4 mm over a shield of 5 mm", "jacket"),
    (RUN, {"return": "0 mm"}, "leave 'return' out for the usual 0.2 mm", "return"),
    (RUN, {"angle": "45\u00b0"}, "did you mean '45 deg'?", "angle"),
    (RUN, {"angle": "45 degrees"}, "did you mean '45 deg'?", "angle"),
    (RUN, {"spacing": "2 mm"}, "lie inside each other", "spacing"),
    (RUN, {"spacing": "-1 mm"}, "spacing cannot be negative", "spacing"),
    (RUN, {"height": "3 mm"}, "a lead of 7 mm would lie in the ground", "height"),
    (RUN, {"angle": "91 deg"}, "angle 91 deg is not plausible: expected 0 deg to 90 deg", "angle"),
    (RUN, {"angle": "-5 deg"}, "angle cannot be negative", "angle"),
    (RUN, {"angle": "45"}, "deg", "angle"),
    (RUN, {"length": "-50 cm"}, "length cannot be negative", "length"),
    (RUN, {"length": "7 m"}, "the lead is only 6 m long", "length"),
    (RUN, {"length": None}, "a run of leads needs 'length'", "name"),
    (RUN, {"spacing": None}, "a run of leads needs 'spacing'", "name"),
    (RUN, {"shield": "{coverage: 20 %, diameter: 5 mm}"}, "expected 50 % to 100 %", "shield"),
    (RUN, {"shield": "95 %"}, "shield", "shield"),
    (RUN, {"bare": "60 cm"}, "more core is bare than the leads run beside each other", "bare"),
    (RUN, {"lead": None}, "a run needs its 'lead'", "name"),
    (RUN, {"lead": "'chain[5]'"}, "this chain's items go from 0 to 2", "lead"),
    (RUN, {"lead": "guitar lede"}, "did you mean 'guitar lead'?", "lead"),
    (RUN, {"lead": "'chain[1]'"}, "'chain[1]' is a pedal, not a lead: expected a cable of the chain", "lead"),
    (RUN, {"lead": "amp"}, "is an amp, not a lead", "lead"),
    (RUN, {"lead": "'direct[0]'"}, "belongs to 'direct'", "lead"),
    (RUN, {"lead": "[a]"}, "a lead", "lead"),
    (RUN, {"lead": "''"}, "expected a lead", "lead"),
    (RUN, {"name": None}, "a run needs a 'name'", "lead"),
    (RUN, {"name": "'../x'"}, "cannot be a name", "name"),
    (RUN, {"beside": "main"}, "mains", "beside"),
    (RUN, {"beside": None}, "a run of leads needs 'beside'", "name"),
    (RUN, {"voltage": None}, "a run beside mains needs 'voltage', such as 230 V", "name"),
    (RUN, {"frequency": None}, "a run beside mains needs 'frequency', such as 50 Hz", "name"),
    (RUN, {"load": "plain"}, "there is none", "load"),
    (RUN, {"load": "resistor", "current": "1 A"}, "plain", "load"),
    (RUN, {"spacin": "10 mm"}, "did you mean 'spacing'?", "spacin"),
    (RUN, {"colour": "red"}, "unknown 'colour' for a run of leads", "colour"),
    (RUN, {"like": "standard-coax"}, "has no library", "like"),
    (RUN, {"follows": "'chain[0]'"}, "a run follows nothing", "follows"),
    (RUN, {"pulse": "{current: 1 mA, frequency: 1 kHz, duty: 50 %}"}, "'pulse.current' goes with a run beside dc", "pulse"),
    (RUN, {"other": "'chain[2]'"}, "'other' goes with a run beside audio", "other"),
    (RUN, {"voltage": "230"}, "without a unit", "voltage"),
    (RUN, {"voltage": "230 mV"}, "is not plausible", "voltage"),
    (DC_RUN, {"pulse": None}, "a run beside dc needs what moves in it", "name"),
    (DC_RUN, {"pulse": "{current: 40 mA, frequency: 1 kHz}"}, "'pulse.duty' is missing", "pulse"),
    (DC_RUN, {"ripple": "{voltage: 1 mV, frequency: 1 kHz}"}, "'ripple.wave' is missing", "ripple"),
    (DC_RUN, {"ripple": "{voltage: 1 mV, frequency: 1 kHz, wave: sinus}"}, "sine", "ripple"),
    (DC_RUN, {"voltage": "9 V"}, "of a dc lead only what moves counts", "voltage"),
    (DC_RUN, {"current": "1 A"}, "of a dc lead only what moves counts", "current"),
    (DC_RUN, {"pulse": "{current: 40 mA, frequency: 1 kHz, duty: 100 %}"}, "duty", "pulse"),
    (DC_RUN, {"beside": "audio", "pulse": None}, "a run beside audio needs the 'other' lead", "name"),
    (DC_RUN, {"beside": "audio", "pulse": None, "other": "'chain[0]'"}, "a lead beside itself", "other"),
    (DC_RUN, {"beside": "audio", "pulse": None, "other": "'chain[1]'"}, "not a lead", "other"),
    (DC_RUN, {"beside": "audio", "pulse": None, "other": "'chain[2]'", "length": "60 cm"}, "only 0.5 m long", "length"),
]


def check_bad(cases):
    cases.group("bad input")
    chain = ("chain:\n  - cable: {capacitance: 100 pF/m}\n    length: 6 m\n    name: guitar lead\n"
             "  - pedal: {bypass: true-bypass, input: {resistance: 1 Mohm}, output: {resistance: 1 kohm}}\n    engaged: no\n"
             "  - cable: {capacitance: 100 pF/m}\n    length: 50 cm\n")
    rig = "rig: bad\n" + base.GUITAR + chain + base.AMP + "direct:\n  - cable: standard-coax\n    length: 6 m\n"
    for run, change, words, at in BAD:
        values = {key: value for key, value in dict(run, **change).items() if value is not None}
        lines = ["    %s: %s" % pair for pair in values.items()]
        lines[0] = "  - " + lines[0].strip()
        text = rig + "dressing:\n" + "\n".join(lines) + "\n"
        done = cases.run("dress", cases.write("rig.yaml", text))
        line = 1 + next(i for i, row in enumerate(text.splitlines()) if row.strip(" -").startswith(at + ":")
                        and i >= len(rig.splitlines()))
        said = done.stderr.decode()
        cases.check(done.returncode == 2 and done.stdout == b"", change, "ended with", done.returncode, said)
        cases.check(words in said, change, "says", said)
        cases.check(said.startswith("rig.yaml:%d:" % line) and "\n      " in said and "^" in said, change, "at line", line, said)
    for text, words in (("dressing: 5\n", "dressing"), ("dressing: {a: 1}\n", "dressing"), ("dressing:\n  - wall\n", "a run of leads"),
                        ("dresing: []\n", "did you mean 'dressing'?"),
                        ("dressing: [%s, %s]\n" % (MAINS % ("a", "chain[0]"), MAINS % ("a", "chain[0]")), "a second run of the name 'a'")):
        done = cases.run("dress", cases.write("rig.yaml", rig + text))
        cases.check(done.returncode == 2 and words in done.stderr.decode(), text, done.stderr)
    # Every command that reads a rig refuses a bad run.
    cases.write("rig.yaml", dressed((MAINS % ("a", "chain[0]")).replace("12 mm", "1 mm")))
    cases.check(cases.run("response", "rig.yaml").returncode == 2, "response refuses it too")
    cases.check(cases.run("dress").returncode == 2 and cases.run("dress", LONG, LONG).returncode == 2, "one rig")
    cases.check(cases.run("dress", LONG, "--json", "--csv").returncode == 2, "JSON or CSV")


def run(cases):
    check_fairness(cases)
    check_buffer(cases)
    check_enough(cases)
    check_sums(cases)
    check_together(cases)
    check_touching(cases)
    check_hint(cases)
    check_fix(cases)
    check_two_amps(cases)
    check_everywhere(cases)
    check_audio(cases)
    check_joints(cases)
    check_openings_elsewhere(cases)
    check_shown(cases)
    check_plot(cases)
    check_bad(cases)


if __name__ == "__main__":
    base.main(run)
