#!/usr/bin/python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""`place` against `response` of rigs with the buffer written in by hand, state by state.

Usage: check_place.py BUILD_DIR
"""
import csv
import io
import itertools
import json

from cases import main

CABLE = "- cable: {capacitance: 110 pF/m, resistance: 80 mohm/m}\n  length: %s\n"
FUZZ = ("- pedal: {bypass: true-bypass, input: {resistance: 15 kohm}, output: {resistance: 5 kohm}%s}\n"
        "  name: fuzz\n  engaged: %s\n")
WAH = ("- pedal: {bypass: loaded-bypass, input: {resistance: 150 kohm}, output: {resistance: 1 kohm}}\n"
       "  name: wah\n  engaged: %s\n")
BUFFER = "{input: {resistance: 1 Mohm, capacitance: 10 pF}, output: {resistance: 100 ohm}}"
STATES = list(itertools.product((False, True), repeat=2))
worst_off_db = 0.0


def rig(gaps=(), needs="", fuzz=False, wah=False):
    words = {False: "no", True: "yes"}
    items = [CABLE % "4 m", FUZZ % (needs, words[fuzz]), CABLE % "30 cm", WAH % words[wah], CABLE % "9 m"]
    for gap in sorted(gaps, reverse=True):
        items.insert(gap, f"- buffer: {BUFFER}\n")
    return ("rig: by hand\nguitar: {pickup: {inductance: 2.4 H, resistance: 6 kohm, capacitance: 110 pF}}\n"
            f"chain:\n{''.join(items)}amp: {{resistance: 1 Mohm}}\ndirect:\n{CABLE % '4 m'}")


def place(cases, *words, text=None):
    cases.write("rig.yaml", text or rig())
    done = cases.run("place", "rig.yaml", "--json", "--buffer", BUFFER, *words)
    cases.check(done.returncode == 0, words, done.stderr)
    return json.loads(done.stdout)


def hearing(cases, gaps, **more):
    cases.write("hand.yaml", rig(gaps, **more))
    done = cases.run("response", "hand.yaml", "--json")
    return json.loads(done.stdout)["hearing"]


def check_by_hand(cases, placed, gaps):
    """The place of these gaps against a rig file for each state."""
    global worst_off_db
    paths = [f"chain[{gap}]" for gap in gaps]
    found = [one for one in placed["places"] if one["paths"] == paths]
    if not cases.check(len(found) == 1, paths, "stands", len(found), "times"):
        return
    heard = {state: hearing(cases, gaps, fuzz=state[0], wah=state[1]) for state in STATES}
    state = max(STATES, key=lambda one: abs(heard[one]["worst_db"]))
    said = found[0]
    off = abs(said["worst_db"] - heard[state]["worst_db"])
    worst_off_db = max(worst_off_db, off)
    cases.check(off < 1e-6, paths, said, heard[state])
    named = [name for name, on in zip(("fuzz", "wah"), state) if on]
    cases.check(said["worst_state"] == named, paths, said, named)
    cases.check(abs(said["worst_hz"] - heard[state]["worst_hz"]) < 1e-3, paths, said)
    rms = (sum(one["rms_db"] ** 2 for one in heard.values()) / len(STATES)) ** 0.5
    cases.check(abs(said["rms_db"] - rms) < 1e-6, paths, said["rms_db"], rms)
    order = ["not audible", "borderline", "audible", "plain"]
    verdict = max((one["verdict"] for one in heard.values()), key=order.index)
    cases.check(said["verdict"] == verdict, paths, said["verdict"], verdict)


def check_places(cases):
    cases.group("places against rigs written by hand")
    one = place(cases)
    cases.check(len(one["places"]) == 7 and one["states"] == 4, len(one["places"]), one["states"])
    for gaps in ((), (0,), (1,), (2,), (3,), (4,), (5,)):
        check_by_hand(cases, one, gaps)
    sizes = [abs(entry["worst_db"]) for entry in one["places"]]
    cases.check(all(b - a > -1e-6 for a, b in zip(sizes, sizes[1:])), "the ranking does not rise", sizes)
    cases.check([entry["rank"] for entry in one["places"]] == list(range(1, 8)), "ranks")
    cases.check(one["cost_of_needs_pickup_db"] is None, one["cost_of_needs_pickup_db"])
    two = place(cases, "--count", "2")
    cases.check(len(two["places"]) == 16, len(two["places"]))
    for gaps in ((0, 5), (1, 4), (2, 3)):
        check_by_hand(cases, two, gaps)
    print(f"largest difference from a rig written by hand: {worst_off_db:.2g} dB")


def check_needs_pickup(cases):
    cases.group("a pedal that must see the pickup")
    text = rig(needs=", needs_pickup: yes")
    needy = place(cases, text=text)
    allowed = {tuple(one["paths"]): one["allowed"] for one in needy["places"]}
    cases.check(allowed == {(): True, ("chain[0]",): False, ("chain[1]",): False, ("chain[2]",): True,
                            ("chain[3]",): True, ("chain[4]",): True, ("chain[5]",): True}, allowed)
    cases.check(needy["states_set_aside"] == 2, needy["states_set_aside"])
    left = [one for one in needy["places"] if not one["allowed"]]
    cases.check(all(one["rank"] is None and one["takes_pickup_from"] == "fuzz" for one in left), left)
    # Over the states judged, those without the fuzz, the places stand as when it is held off.
    held = place(cases, "--fix", "fuzz=no")
    there = {tuple(one["paths"]): one["worst_db"] for one in held["places"]}
    for one in needy["places"]:
        cases.check(abs(one["worst_db"] - there[tuple(one["paths"])]) < 1e-6, one)
    best = [one for one in needy["places"] if one["allowed"]][0]
    cost = abs(best["worst_db"]) - min(abs(db) for db in there.values())
    cases.check(abs(needy["cost_of_needs_pickup_db"] - cost) < 1e-6, needy["cost_of_needs_pickup_db"], cost)
    cases.write("rig.yaml", text)
    single = cases.run("place", "rig.yaml", "--buffer", BUFFER, "--fix", "wah=no").stdout.decode()
    cases.check("2 states of 1 pedal or loop (held: wah=no)" in single and "The 1 state in which it is on" in single, single)
    table = cases.run("place", "rig.yaml", "--buffer", BUFFER).stdout.decode()
    cases.check("before chain[0]" not in table.split("Best")[0], table)
    far = rig(needs=", needs_pickup: yes").replace("length: 4 m", "length: 9 m", 1)
    cases.write("rig.yaml", far)
    text = cases.run("place", "rig.yaml", "--buffer", BUFFER).stdout.decode()
    cases.check("Respecting 'fuzz', which must see the pickup, costs" in text, text)


def check_forms(cases):
    cases.group("forms and workers")
    cases.write("rig.yaml", rig())
    texts = {cases.run("place", "rig.yaml", "--json", "--buffer", BUFFER, "--count", "2", "--jobs", jobs).stdout
             for jobs in "123"}
    cases.check(len(texts) == 1, "--jobs changes the bytes")
    done = cases.run("place", "rig.yaml", "--csv", "--buffer", "op-amp-follower", "--output", "places.csv",
                     "--plot", "places.svg")
    cases.check(done.returncode == 0 and done.stdout == b"", done.stderr)
    lines = list(csv.DictReader(io.StringIO(cases.read("places.csv").decode())))
    cases.check(len(lines) == 7 and lines[0]["rank"] == "1" and lines[0]["allowed"] == "yes", lines)
    picture = cases.read("places.svg").decode()
    cases.check("no buffer" in picture and "direct" in picture and lines[0]["gaps"][:12] in picture, lines[0])


def check_bad_input(cases):
    cases.group("bad input")
    cases.write("rig.yaml", rig())
    for words, needed in (
            ((), "--buffer op-amp-follower"),
            (("--buffer", "op-amp-folower"), "did you mean 'op-amp-follower'?"),
            (("--buffer", "{input: {resistance: 1 Mohm}}"), "output.resistance"),
            (("--buffer", "{input: {resistance: 1 mohm}, output: {resistance: 100 ohm}}"), "is it 1 Mohm?"),
            (("--buffer", "[op-amp-follower]"), "found a list"),
            (("--buffer", "{input"), "--buffer:1:"),
            (("--buffer", ""), "not empty"),
            (("--buffer", BUFFER, "--count", "0"), "from 1 to 4"),
            (("--buffer", BUFFER, "--count", "5"), "from 1 to 4"),
            (("--buffer", BUFFER, "--fix", "fuz=no"), "did you mean 'fuzz'?"),
            (("--buffer", BUFFER, "--fix", "fuzz=maybe"), "expected yes or no"),
            (("--buffer", BUFFER, "--plot", "places.gif"), ".svg")):
        done = cases.run("place", "rig.yaml", *words)
        cases.check(done.returncode == 2 and needed in done.stderr.decode() and not done.stdout, words, done.stderr)
    cases.write("rig.yaml", rig().split("chain:")[0] + "chain:\n" + CABLE % "4 m" + "amp: {resistance: 1 Mohm}\n")
    done = cases.run("place", "rig.yaml", "--buffer", BUFFER, "--count", "3")
    cases.check(done.returncode == 2 and b"only 2 gaps for 3 buffers" in done.stderr, done.stderr)
    cases.write("rig.yaml", rig(needs=", needs_pickup: maybe"))
    done = cases.run("place", "rig.yaml", "--buffer", BUFFER)
    cases.check(done.returncode == 2 and b"expected yes or no" in done.stderr, done.stderr)


def run(cases):
    check_places(cases)
    check_needs_pickup(cases)
    check_forms(cases)
    check_bad_input(cases)


main(run)
