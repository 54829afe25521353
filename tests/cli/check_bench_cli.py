#!/usr/bin/python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""`bench` at the command line: its table, JSON, CSV and picture agree, and nothing hostile runs.

Usage: check_bench_cli.py BUILD_DIR

The figures themselves are held elsewhere; here it is about what a user types and gets.
"""
import csv
import io
import json
import re
import xml.etree.ElementTree as xml

from cases import RIG, main

CIRCUIT = """* a follower without secrets
.subckt follower in out vcc gnd
rin in gnd 1meg
e1 x gnd in gnd 0.98
rout x out 470
rload vcc gnd 10k
.ends
"""
DESIGN = ("design: %s\ncircuit: follower.cir\nsubcircuit: follower\n"
          "pins: {in: in, out: out, supply: vcc, ground: gnd}\nsupply: 9 V\n"
          "tolerances: {rout: 10 %%}\n")
GRADES = {"pass", "marginal", "fail", None}
CURVES = {"gain": ("hz", "db"), "gain_loaded": ("hz", "db"), "input_impedance": ("hz", "ohm"),
          "thd": ("v", "percent"), "noise_density": ("hz", "v_rthz")}


def write_designs(cases, *names):
    cases.write("follower.cir", CIRCUIT)
    files = [cases.write(f"design-{i}.yaml", DESIGN % json.dumps(name)) for i, name in enumerate(names)]
    return files


def check_words(cases):
    cases.group("what is typed")
    done = cases.run("bench", "--help")
    for option in ("--rig", "--limits", "--corners", "--all", "--plot", "--json", "--csv", "--output",
                   "--parts", "--jobs", "--time-limit"):
        cases.check(option.encode() in done.stdout, "--help does not name", option)
    for words, needed in [
            ((), "expected: toneload bench DESIGN.yaml"),
            (("nowhere.yaml",), "nowhere.yaml"),
            (("a.yaml", "--limit"), "--limits"),
            (("a.yaml", "--corner"), "--corners"),
            (("a.yaml", "--vary", "x=1"), "no option '--vary'"),
            (("a.yaml", "--json", "--csv"), "one of them"),
            (("a.yaml", "--plot", "bench.txt"), ".svg, .png or .pdf"),
            (("a.yaml", "--rig"), "--rig needs a value"),
            (("a.yaml",) * 65, "one word too many")]:
        done = cases.run("bench", *words)
        cases.check(done.returncode == 2 and not done.stdout, words, "ended with", done.returncode)
        cases.check(needed.encode() in done.stderr, words, "no", needed, "in", done.stderr)


def check_overwriting(cases):
    cases.group("what would be overwritten")
    files = write_designs(cases, "one")
    cases.write("limits.yaml", "limits: []\n")
    cases.write("rig.yaml", RIG)
    for target in ("design-0.yaml", "limits.yaml", "rig.yaml"):
        before = cases.read(target)
        done = cases.run("bench", *files, "--rig", "rig.yaml", "--limits", "limits.yaml", "--output", target)
        cases.check(done.returncode == 2 and b"would overwrite" in done.stderr, target, done.stderr)
        cases.check(cases.read(target) == before, target, "was changed")


def check_shape(cases):
    """JSON, CSV and table say the same."""
    cases.group("answers")
    files = write_designs(cases, "one, with a comma", "two")
    done = cases.run("bench", *files, "--json", "--plot", "two.svg", timeout=300)
    if not cases.check(done.returncode == 0, "bench ended with", done.returncode, done.stderr):
        return
    answer = json.loads(done.stdout)
    cases.check(list(answer) == ["toneload", "command", "rig", "designs"], "keys", list(answer))
    cases.check(answer["command"] == "bench" and answer["rig"] is None, "head of the JSON")
    cases.check([d["name"] for d in answer["designs"]] == ["one, with a comma", "two"], "names")
    ids = [[f["id"] for f in d["figures"]] for d in answer["designs"]]
    cases.check(len(ids[0]) == len(set(ids[0])) and len(ids[0]) > 20, "ids", len(ids[0]))
    cases.check(ids[0] == ids[1], "designs have different lines")
    for design in answer["designs"]:
        cases.check(set(design) == {"name", "file", "figures", "noise", "curves"}, "keys", set(design))
        for figure in design["figures"]:
            check_figure(cases, figure)
        for name, keys in CURVES.items():
            points = design["curves"].get(name)
            cases.check(points is not None and all(set(p) == set(keys) for p in points), name, "curve")
    for i, name in enumerate(ids[0]):
        best = [d["figures"][i]["best"] for d in answer["designs"]]
        cases.check(sum(best) <= 1, name, "has two best designs")
    alone = cases.run("bench", *files, "--json", "--jobs", "1", timeout=300)
    cases.check(alone.stdout == done.stdout, "--jobs changes the bytes")
    check_csv(cases, files, answer)
    check_table(cases, files, answer)
    picture = xml.fromstring(cases.read("two.svg"))
    words = " ".join("".join(t.itertext()) for t in picture.iter("{http://www.w3.org/2000/svg}text"))
    for needed in ("one, with a comma", "two", "Input impedance", "frequency (Hz)", "THD (%)", "level (V peak)"):
        cases.check(needed in words, "the picture lacks", needed)


def check_figure(cases, figure):
    keys = set(figure) - {"beyond", "words", "trouble"}
    cases.check(keys == {"id", "group", "title", "value", "unit", "limit", "verdict", "best"}, figure["id"], keys)
    cases.check(figure["verdict"] in GRADES, figure["id"], figure["verdict"])
    cases.check(figure.get("beyond") in (None, "over", "under"), figure["id"], figure.get("beyond"))
    said = figure["value"] is not None or figure.get("words") or figure.get("trouble")
    cases.check(said, figure["id"], "has neither a value nor words nor a reason")
    if figure["limit"] is None:
        cases.check(figure["verdict"] is None, figure["id"], "has a verdict without a limit")
    elif figure["verdict"] is not None and figure["value"] is not None and "pass_low" in figure["limit"]:
        low, high = figure["limit"]["pass_low"], figure["limit"]["pass_high"]
        inside = (low is None or figure["value"] >= low) and (high is None or figure["value"] <= high)
        cases.check(inside == (figure["verdict"] == "pass"), figure["id"], figure["value"], figure["verdict"])


def check_csv(cases, files, answer):
    done = cases.run("bench", *files, "--csv", timeout=300)
    rows = list(csv.DictReader(io.StringIO(done.stdout.decode())))
    figures = [(d["name"], f) for d in answer["designs"] for f in d["figures"]]
    cases.check(len(rows) == len(figures), "CSV has", len(rows), "rows, JSON", len(figures), "figures")
    for row, (name, figure) in zip(rows, figures):
        same = row["name"] == name and row["id"] == figure["id"] and row["verdict"] == (figure["verdict"] or "")
        value = float(row["value"]) if row["value"] else None
        cases.check(same and value == figure["value"], "CSV", row, "JSON", figure)
        cases.check((row["best"] == "yes") == figure["best"], figure["id"], "best")


def check_table(cases, files, answer):
    done = cases.run("bench", *files, timeout=300)
    text = done.stdout.decode()
    cases.check(not re.search(r" $", text, re.MULTILINE), "blanks at the end of a line")
    titles = {f["title"] for f in answer["designs"][0]["figures"]}
    shown = [t for t in titles if "\n  %s " % t in text]
    cases.check(20 < len(shown) <= len(titles), "the table has", len(shown), "of", len(titles), "lines")
    marks = {"fail": "!", "marginal": "~"}
    summary = text[text.index("What fails or is marginal"):]
    for design in answer["designs"]:
        for figure in design["figures"]:
            mark = marks.get(figure["verdict"])
            if mark:
                cases.check("  %s %s: " % (mark, figure["title"]) in summary, figure["id"], "is not in the summary")
    one = cases.run("bench", files[0], "--all", "--output", "one.txt", timeout=300)
    card = cases.read("one.txt").decode()
    cases.check(not one.stdout and card.startswith("one, with a comma\n"), "--output")
    lacking = [t for t in titles if "\n  %s " % t not in re.sub(r"(?m)^[!~?] ", "  ", card)]
    cases.check(not lacking, "the card of all lines lacks", lacking)


def check_corners(cases):
    cases.group("corners")
    files = write_designs(cases, "one")
    answer = json.loads(cases.run("bench", *files, "--corners", "--json", timeout=500).stdout)
    corners = answer["designs"][0].get("corners")
    if cases.check(corners, "no corners"):
        cases.check(corners["specimens"] > 1, "specimens", corners["specimens"])
        cases.check(len(corners["worst"]) == len(answer["designs"][0]["figures"]), "worst of each figure")


def check_limits(cases):
    cases.group("limits")
    files = write_designs(cases, "one")
    for text, *needed in [
            ("limits:\n- {figure: output_impedance_1khz_om, pass: below 1 kohm}\n", "limits.yaml:2:12: error: ",
             "did you mean 'output_impedance_1khz_ohm'?", "^"),
            ("limits:\n- {figure: output_impedance_1khz_ohm, pass: below 1 V}\n", "limits.yaml:2:45: error: ", "kohm"),
            ("limits:\n- {figure: output_impedance_1khz_ohm, pass: 1 kohm}\n", "below X"),
            ("limits: [{}]\n", "needs 'figure'"), ("limit: []\n", "did you mean 'limits'?"), ("", "nothing in it")]:
        cases.write("limits.yaml", text)
        done = cases.run("bench", *files, "--limits", "limits.yaml", timeout=300)
        cases.check(done.returncode == 2 and not done.stdout, text, "ended with", done.returncode)
        for words in needed:
            cases.check(words.encode() in done.stderr, text, "no", words, "in", done.stderr)
    done = cases.run("bench", *files, "--limits", "nowhere.yaml", timeout=300)
    cases.check(done.returncode == 2 and b"nowhere.yaml" in done.stderr, done.stderr)


def check_hostile(cases):
    """No design's name runs anything (tests/show has more of them)."""
    cases.group("hostile names")
    names = ["`touch mark` '; system('touch mark'); ' '.system('touch mark').' $(touch mark) %s%n%d%1$s",
             "=cmd|'/C touch mark'!A1 " + r"\033[31m{/Symbol=90 x}_2^3 \\n <b>&amp;</b>]]>" + "x" * 90]
    files = write_designs(cases, *names)
    done = cases.run("bench", *files, "--json", "--plot", "hostile.svg", timeout=600)
    if cases.check(done.returncode == 0, "ended with", done.returncode, done.stderr):
        cases.check([d["name"] for d in json.loads(done.stdout)["designs"]] == names, "names changed in JSON")
        xml.fromstring(cases.read("hostile.svg"))
    cases.check(b"mark" not in b" ".join(f.rsplit(b"/", 1)[1] for f in cases.left()), "left:", cases.left())


def run(cases):
    check_words(cases)
    check_overwriting(cases)
    check_shape(cases)
    check_corners(cases)
    check_limits(cases)
    check_hostile(cases)


main(run)
