#!/usr/bin/python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""The report: its figures against those of the commands it gathers, hostile words, whole or nothing, and how it
stands on a screen, a phone, A4 and Letter, by the rules of axe-core.

Usage: check_report.py BUILD_DIR
"""
import json
import os
import re
import subprocess
import xml.etree.ElementTree as tree

import axe
import browser
from cases import AMP, CHAIN, GUITAR, main

XHTML = "{http://www.w3.org/1999/xhtml}"
SVG = "{http://www.w3.org/2000/svg}"
HEADINGS = ["What it is held against, and what is delivered", "With pedals on and off", "What hisses", "Power",
            "What the leads pick up", "The board to scale", "What to cut", "How it is held, and what it takes",
            "What the meter must read", "Looking after it", "Cautions", "For the file: where every value comes from"]
PAPERS = {"A4": (210, 297), "Letter": (215.9, 279.4)}
HOSTILE = "</title></style><script>document.title='caught'</script><img src=x onerror=\"alert(1)\"> ' & ]]> --><!--"
UNSEEN = "\u202eabc\u0007 <b>"  # a title may hold nothing that cannot be seen; a source is kept as it is
PEDAL = "{bypass: true-bypass, input: {resistance: 1 Mohm}, output: {resistance: 1 kohm}}"


class Page:
    """A page as data."""

    def __init__(self, text):
        self.text = text
        self.root = tree.fromstring(text)
        self.body = self.root.find(XHTML + "body")
        self.words = words(self.body)
        self.tables = {}
        for table in self.root.iter(XHTML + "table"):
            self.tables[words(table.find(XHTML + "caption"))] = [[words(cell) for cell in row]
                                                                for row in table.iter(XHTML + "tr")]

    def table(self, begins):
        return next((rows for name, rows in self.tables.items() if name.startswith(begins)), [])

    def section(self, name):
        return next(words(one) for one in self.root.iter(XHTML + "section") if one.get("id") == name)


def words(element):
    return re.sub(r"\s+", " ", "".join(element.itertext())).strip()


def make(cases, rig, *more, out="page.html"):
    done = cases.run("report", rig, "--out", out, *more)
    cases.check(done.returncode == 0 and not done.stdout and not done.stderr, rig, done)
    return Page(cases.read(out).decode())


def ask(cases, command, rig, *more):
    done = cases.run(command, rig, "--json", *more)
    cases.check(done.returncode == 0, command, done.stderr)
    return json.loads(done.stdout)


def shown(value, digits):
    """A number as the page sets it."""
    return f"{value:.{digits}f}".replace("-", "\u2212")


def check_needs_nothing(cases, page):
    """No other file, no script, nothing of the network; every heading there, in order."""
    for element in page.root.iter():
        name = element.tag.split("}")[1]
        cases.check(name not in ("script", "iframe", "object", "embed", "base", "form", "audio", "image", "img"), name)
        for attribute, value in element.attrib.items():
            attribute = attribute.split("}")[-1]
            cases.check(not attribute.startswith("on"), attribute)
            if attribute in ("href", "src"):
                cases.check(value.startswith(("#", "data:,")), attribute, value)
    cases.check(not re.search(r"url\(|@import|\b(nan|inf)\b", page.text.split("</style>")[0] + page.words), "url or nan")
    heads = [re.sub(r"^\d+\. ", "", words(one)) for one in page.root.iter(XHTML + "h2")][1:]
    cases.check(heads == HEADINGS, heads)
    ids = [one.get("id") for one in page.root.iter() if one.get("id")]
    cases.check(len(ids) == len(set(ids)), "an id twice")
    for one in page.root.iter(XHTML + "a"):
        cases.check(one.get("href")[1:] in ids, "leads nowhere:", one.get("href"))


def check_tone(cases, page, rig):
    """Curves, states and noise."""
    answer = ask(cases, "response", rig)["responses"]
    hearing = answer[0]["hearing"]
    said = page.section("tone")
    cases.check(f"Delivered: {hearing['verdict']} to the ear" in said, hearing)
    cases.check("Held against: the guitar plugged straight into the same amp with 6 m of standard-coax" in said, said[:400])
    cases.check("promise" not in page.words.lower(), "a promise that nobody gave")
    cases.check(f"{abs(hearing['worst_db']):.1f}\u00a0dB".replace("\u00a0", " ") in said.replace("\u00a0", " "), said[:400])
    rows = page.table("The figures")
    cases.check([row[0] for row in rows[1:3]] == ["through the rig", "plugged straight in"], rows)
    for row, one in zip(rows[1:], answer):
        cases.check(row[1].split()[0].replace("+", "") == shown(one["reference_db"], 2), row, one)
        for cell, hz in ((row[2], one["peak_hz"]), (row[4], one["pole_hz"])):
            cases.check(abs(float(cell.split()[0]) * (1000 if "kHz" in cell else 1) / hz - 1) < 0.001, cell, hz)
    states = ask(cases, "states", rig)
    rows = page.table("The combinations")
    alike = sum(1 + (int(row[1]) if "like" in rows[0][1] else 0) for row in rows[1:])
    more = re.search(r"(\d+) more lie nearer", page.section("states"))
    cases.check(alike + (int(more[1]) if more else 0) == len(states["states"]), "states told:", alike)
    worst = states["states"][states["ranking"][0]]
    cases.check(rows[1][0] == (" + ".join(worst["engaged"]) or "all off"), rows[1], worst["engaged"])
    cases.check(rows[1][-1] == worst["hearing"]["verdict"], rows[1], worst["hearing"])
    effects = page.table("What each pedal does")[1:]
    cases.check(sorted(row[0] for row in effects) == sorted(one["pedal"] for one in states["effects"]), effects)
    noise = ask(cases, "noise", rig)
    below = noise["amps"][0]["a_weighted_below_db"]
    cases.check(page.table("What is left")[1][-1].startswith(f"{below:.1f}"), page.table("What is left"), below)
    cases.check(page.table("Who makes it")[1][0] == noise["parts"][0]["name"], page.table("Who makes it")[1])


def check_board(cases, page, rig):
    """Power, leads, cut list, bill, card and sources."""
    power = ask(cases, "power", rig)
    rows = page.table("Which pedal goes")[1:]
    cases.check([row[1].split(" ")[0] for row in rows] == [one["output"] or "none" for one in power["assignment"]], rows)
    for one in power["findings"]:
        cases.check(re.sub(r"\s+", " ", one["words"]) in page.section("power"), one)
    dress = ask(cases, "dress", rig)
    rows = page.table("What arrives of it")[1:]
    told = [one for one in dress["runs"] if one["amps"] and "verdict" in one["amps"][0]]
    cases.check([(row[0], row[4]) for row in rows] == [(one["name"], one["amps"][0]["verdict"]) for one in told], rows)
    build = ask(cases, "build", rig)
    rows = page.table("Audio leads")[1:] + page.table("DC leads")[1:]
    cases.check([int(row[0]) for row in rows] == [one["number"] for one in build["leads"]], rows)
    for row, one in zip(rows, build["leads"]):
        metres = float(row[-1].split()[0]) / (1000 if row[-1].endswith("mm") else 1)
        cases.check(abs(metres - one["cut_m"]) < 0.0006 * max(1, metres), row, one["cut_m"])
    for one in build["findings"]:
        cases.check(re.sub(r"\s+", " ", one["words"]) in page.section("cuts"), one)
    drawings = [one for one in page.root.iter() if one.tag.endswith("}svg") and "drawing" in (one.get("class") or "")]
    cases.check(len(drawings) == 1 and re.match(r"[\d.]+mm$", drawings[0].get("width")), "the board's drawing")
    card = ask(cases, "card", rig)
    rows = page.table("Capacitance and insulation")[1:]
    cases.check([int(row[0]) for row in rows] == [one["number"] for one in card["leads"]], "leads of the card", rows)
    levels = [rows for name, rows in page.tables.items() if name.startswith("In dB against")]
    cases.check(len(levels) == len(card["states"]), "levels of", len(levels), "states")
    heads = [name for name in page.tables if name.startswith("In dB against")]
    for head, state in zip(heads, card["states"]):
        written = state["name"] if state["written"] else state["same_written"]
        told = re.findall(r"([^:;,]+) \(as the rig is written\)", head)
        cases.check([one.strip() for one in told] == ([written] if written else []), head, state["written"], written)
    cases.check([one["same_written"] for one in card["states"]].count("drive + reverb") == 1, "drive and reverb are on")
    for rows, state in zip(levels, card["states"]):
        for row, one in zip(rows[1:], state["levels_db"]):
            cases.check(abs(float(row[1].replace("\u2212", "-")) - one["expected"]) < 0.006, row, one)
    blank = [one for one in page.root.iter(XHTML + "td") if one.get("class") == "write"]
    cases.check(len(blank) > 3 * len(card["leads"]) and not any(words(one) for one in blank), "room to write")


def check_hand_over(cases, page, rig):
    """For who has the board and no rig file: its copy is told apart, leads and joints go by the cut list, no commands."""
    head = page.words.split("You can hear")[0]
    for said in ("Rig file: buffered-board.yaml.", "toneload 0.", "Built by:", "Date:", "Serial no.:"):
        cases.check(said in head, said, "is not in", head)
    paper = page.words.replace(page.section("sources"), "")
    for talk in (r"chain\[", r" --[a-z]", r"toneload(?! \d)"):
        cases.check(not re.search(talk, paper), talk, re.findall(".{60}" + talk, paper))
    numbers = {one["path"]: one for one in ask(cases, "build", rig)["leads"] if one["path"]}
    bridge = dict(words(one).split(": ", 1) for one in page.root.iter(XHTML + "li") if words(one).startswith("chain["))
    for path, one in numbers.items():
        ends = [one[end]["name"].rsplit(" ", 1)[0] if one[end]["name"].endswith((" in", " out")) else one[end]["name"]
                for end in ("from", "to")]
        cases.check(bridge.get(path) == f"lead {one['number']}, {ends[0]} to {ends[1]}", path, bridge.get(path), one["number"])
    worn = "lead 4, wah to compressor, at compressor"
    for place in (paper.split("Contents")[0], page.section("leads"), page.section("service")):
        cases.check(worn in place, "where the worn joint is:", place[:900])
    parts = [one for one in ask(cases, "noise", rig)["parts"] if one["path"].startswith("chain[14].")]
    cases.check([one["where"] for one in parts] == ["lead 4, wah to compressor"], parts)
    runs = [row[1] for row in page.table("Which lead runs")[1:]]
    cases.check(runs[0] == "lead 1, guitar to front buffer", runs)


def check_sources(cases, page, rig):
    """Every value with its origin."""
    values = ask(cases, "check", rig)["values"]
    own = page.table("What the rig's file says")[1:]
    library = page.table("What parts of the library")[1:]
    cases.check(f"rests on {len(values)} values" in page.section("sources"), len(values))
    for one in values:
        if "library part " in one["origin"]:
            source = one["origin"].split("library part ", 1)[1].split(": ", 1)[1]
            cases.check(any(row[0] == one["field"] and row[1].startswith(one["value"]) and row[2] == source
                            for row in library if len(row) == 3), one)
            cases.check(any(len(row) == 1 and re.search(rf"[: ]{re.escape(one['part'])}(,|$)", row[0])
                            for row in library), one)
        else:
            cases.check([f"{one['part']} {one['field']}", one["origin"]] in [[row[0], row[2]] for row in own], one)


def check_figures(cases):
    rig = os.path.join(cases.build, "models/rigs/buffered-board.yaml")
    page = make(cases, rig)
    check_needs_nothing(cases, page)
    check_tone(cases, page, rig)
    check_board(cases, page, rig)
    check_sources(cases, page, rig)
    check_hand_over(cases, page, rig)


def check_odd_rigs(cases):
    """Rigs that say little, or what others do not say."""
    odd = {
        "bare": "rig: bare\n" + GUITAR + CHAIN + AMP,
        "scenes": "rig: scenes\n" + GUITAR + CHAIN + "  - pedal: " + PEDAL + "\n    name: one\n    engaged: no\n"
                  + AMP + "scenes:\n  - {name: quiet, engaged: []}\n  - {name: loud, engaged: [one]}\n",
        "active": "rig: active\nguitar:\n  source: active-guitar\n" + CHAIN + AMP,
        "split": "rig: split\n" + GUITAR + CHAIN + "  - split:\n    - {name: dry, chain: [{cable: standard-coax, "
                 "length: 3 m}], amp: tube-input}\n    - {name: tuner, chain: [{cable: standard-coax, length: 1 m}], end: open}\n",
    }
    pages = {}
    for name, text in odd.items():
        cases.write(name + ".yaml", text)
        pages[name] = make(cases, name + ".yaml")
        check_needs_nothing(cases, pages[name])
    bare = pages["bare"]
    for section, said in (("states", "one state"), ("power", "says nothing of its power"), ("leads", "says nothing of how"),
                          ("board", "says nothing of a board"), ("cuts", "says nothing of a board")):
        cases.check(said in bare.section(section), section, bare.section(section))
    cases.check("is usual" in bare.section("tone"), "what it is held against is assumed")
    rows = pages["scenes"].table("The scenes")
    cases.check(sorted(row[0] for row in rows[1:]) == ["loud: one", "quiet: all off"], rows)


def check_hostile(cases):
    """Words of the user's stand as words: title, source, run, lead, supply."""
    quoted = json.dumps(HOSTILE)
    os.makedirs(cases.path("parts"), exist_ok=True)
    cases.write("parts/cable.yaml", "kind: cable\nparts:\n  my-reel:\n    about: x\n    source: "
                + json.dumps(HOSTILE + UNSEEN) + "\n    capacitance: 92 pF/m\n    resistance: 80 mohm/m\n")
    cases.write("hostile.yaml", f"rig: {quoted}\n" + GUITAR + "chain:\n  - cable: my-reel\n    length: 6 m\n" + AMP)
    page = make(cases, "hostile.yaml", "--parts", "parts", out="hostile.html")
    check_needs_nothing(cases, page)
    cases.check(words(page.root.find(f".//{XHTML}h1")) == HOSTILE, words(page.root.find(f".//{XHTML}h1")))
    cases.check(page.words.count(HOSTILE) >= 3, "words of the user's:", page.words.count(HOSTILE))
    cases.check(HOSTILE + "\\xe2\\x80\\xaeabc\\x07 <b>" in page.section("sources"), page.section("sources")[-900:])
    cases.check("\u202e" not in page.text and "\u0007" not in page.text, "what cannot be seen")


def fails(cases, status, holds, *what, **more):
    done = cases.run("report", *what, **more)
    cases.check(done.returncode == status and holds.encode() in done.stderr, what, done)


def check_one_file(cases):
    """Two answers that would go into one file, by whatever names."""
    os.symlink("kept.html", cases.path("link.pdf"))
    os.symlink("./new.html", cases.path("ahead.pdf"))
    os.symlink("ahead.pdf", cases.path("further.pdf"))
    os.link(cases.path("kept.html"), cases.path("hard.pdf"))
    for out, paper in (("kept.html", "kept.html"), ("new.html", "./new.html"), ("kept.html", "link.pdf"),
                       ("new.html", "ahead.pdf"), ("new.html", "further.pdf"), ("new.html", cases.path("new.html")),
                       ("kept.html", "hard.pdf"), ("../here/new.html", "new.html")):
        fails(cases, 2, "this one file", "rig.yaml", "--out", out, "--pdf", paper)
    done = cases.run("response", "rig.yaml", "--plot", "same.svg", "--output", "./same.svg")
    cases.check(done.returncode == 2 and b"this one file" in done.stderr and not os.path.exists(cases.path("same.svg")), done)
    done = cases.run("response", "rig.yaml", "--plot", "other.svg", "--output", "/dev/null")
    cases.check(done.returncode == 0 and os.path.exists(cases.path("other.svg")), done)
    for name in ("link.pdf", "ahead.pdf", "further.pdf", "hard.pdf", "other.svg"):
        os.remove(cases.path(name))


def check_whole_or_nothing(cases):
    """Bad input and trouble leave what was there; a page is written though nothing prints it."""
    cases.clear()
    cases.write("rig.yaml", "rig: plain\n" + GUITAR + CHAIN + AMP)
    cases.write("bad.yaml", "rig: [\n")
    cases.write("kept.html", "an earlier page")
    cases.write("kept.pdf", "an earlier paper")
    before = cases.left()
    fails(cases, 2, "--out FILE.html", "rig.yaml")
    fails(cases, 2, "ends in .html", "rig.yaml", "--out", "page.pdf")
    fails(cases, 2, "bad.yaml:", "bad.yaml", "--out", "kept.html")
    fails(cases, 2, "", "missing.yaml", "--out", "kept.html")
    fails(cases, 2, "overwrite", "rig.yaml", "--out", "kept.html", "--pdf", "rig.yaml")
    fails(cases, 2, "ends in .html", "rig.yaml", "--out", "page.txt")
    fails(cases, 2, "ends in .pdf", "rig.yaml", "--out", "page.html", "--pdf", "page.txt")
    check_one_file(cases)
    fails(cases, 1, "cannot be written", "rig.yaml", "--out", "nowhere/page.html")
    fails(cases, 1, "cannot be written", "rig.yaml", "--out", "kept.html", "--pdf", "nowhere/page.pdf")
    cases.check(cases.left() == before and cases.read("kept.html") == b"an earlier page", "left:", cases.left())
    os.mkdir(cases.path("bin"))
    no_printer = {"PATH": cases.path("bin")}
    fails(cases, 1, "Debian package chromium", "rig.yaml", "--out", "kept.html", "--pdf", "kept.pdf", env=no_printer)
    cases.check(cases.read("kept.pdf") == b"an earlier paper", "the earlier paper is gone")
    cases.check(cases.read("kept.html").endswith(b"</html>\n"), "the page is not whole")
    for name, text in (("chromium", "#!/bin/sh\necho no display today >&2\nexit 3\n"),
                       ("chromium", "#!/bin/sh\nexit 0\n")):
        with open(cases.path("bin/" + name), "w", encoding="ascii") as file:
            file.write(text)
        os.chmod(cases.path("bin/" + name), 0o755)
        fails(cases, 1, "no display today" if "today" in text else "gave no reason", "rig.yaml", "--out", "kept.html",
              "--pdf", "kept.pdf", env=no_printer)
    cases.check(cases.read("kept.pdf") == b"an earlier paper", "the earlier paper is gone")


def check_names(cases):
    """No part of a name becomes an option, or a word of a shell."""
    folder = "--x;$(touch caught) 'a\" `b`\n|&"
    os.makedirs(cases.path(folder), exist_ok=True)
    here = cases.path(folder)
    cases.write(os.path.join(folder, "-rig.yaml"), "rig: plain\n" + GUITAR + CHAIN + AMP)
    done = cases.run("report", "--out=--no-sandbox.html", "--pdf=--print-to-pdf=p.pdf", "--", "-rig.yaml", cwd=here)
    cases.check(done.returncode == 0, done)
    cases.check(sorted(os.listdir(here)) == ["--no-sandbox.html", "--print-to-pdf=p.pdf", "-rig.yaml"], os.listdir(here))
    with open(os.path.join(here, "--print-to-pdf=p.pdf"), "rb") as file:
        paper = file.read()
    cases.check(paper.startswith(b"%PDF") and paper.rstrip().endswith(b"%%EOF"), "no paper:", paper[:20])
    cases.check(not os.path.exists(cases.path("caught")), "a name was run")
    cases.write("paper.pdf", paper)
    about = subprocess.run(["pdfinfo", "paper.pdf"], cwd=cases.here, capture_output=True, text=True, check=True).stdout
    cases.check("(A4)" in about and "plain: report" in about, about)


# Contrast (WCAG 2.1, 1.4.3) of the words in drawings, which axe-core does not judge: all stand on white or near it.
FAINT = """(() => {
    const light = text => { const [r, g, b] = text.match(/[\\d.]+/g).map(one => one / 255).map(
        one => one <= 0.04045 ? one / 12.92 : ((one + 0.055) / 1.055) ** 2.4);
        return 0.2126 * r + 0.7152 * g + 0.0722 * b; };
    return [...document.querySelectorAll("svg text")].map(one => [one.textContent, getComputedStyle(one).fill])
        .filter(([words, fill]) => fill.startsWith("rgb(255, 255, 255") ? false : 1.05 / (light(fill) + 0.05) < 4.5);
})()"""


def check_screen(cases, window, path, rules):
    """Wide, a phone, and the narrowest there is."""
    for width in (1200, 360, 320):
        window.open(path, width, phone=width < 600)
        wide = window.ask("document.documentElement.scrollWidth")
        cases.check(wide <= width, path, "is", wide, "wide on", width)
        cases.check(not window.said, path, "complains:", window.said)
        asked = [one for one in window.requests if not one.startswith("data:")]
        cases.check(asked == ["file://" + path], path, "asks for", asked)
        if width == 320:
            continue
        cases.check(not window.ask(FAINT), "faint words:", window.ask(FAINT))
        for fault in axe.faults(window, rules):
            cases.check(False, path, "at", width, "axe-core:", fault)


def check_paper(cases, window, name):
    """Every word on paper, tables' heads again on each page, no caption parted from its figure."""
    for paper, size in PAPERS.items():
        window.print(cases.path("page.pdf"), *size)
        laid = subprocess.run(["pdftotext", "-bbox", "page.pdf", "-"], cwd=cases.here, capture_output=True, text=True,
                              check=True).stdout
        sheets = re.findall(r'<page width="([\d.]+)" height="([\d.]+)">(.*?)</page>', laid, re.S)
        cases.check(10 <= len(sheets) <= 45, name, paper, len(sheets), "pages")
        heads = 0
        for width, height, sheet in sheets:
            found = re.findall(r'<word xMin="(.*?)" yMin="(.*?)" xMax="(.*?)" yMax="(.*?)">(.*?)</word>', sheet)
            cases.check(len(found) > 3, name, paper, "a page of", len(found), "words")
            for left, top, right, bottom, text in found:
                cases.check(float(left) > 30 and float(right) < float(width) - 30 and float(top) > 30
                            and float(bottom) < float(height) - 10, name, paper, "over the edge:", text)
            tops = {text: [float(one[1]) for one in found if one[-1] == text] for text in ("value", "source")}
            heads += any(sum(abs(top - other) < 1 for other in tops["value"]) >= 2 for top in tops["source"])
        cases.check(heads >= 2, name, paper, "heads of the sources:", heads)


def check_browser(cases):
    rules = axe.script(cases.build)
    with browser.Browser() as window:
        for name in ("buffered-board", "two-amps"):
            make(cases, os.path.join(cases.build, f"models/rigs/{name}.yaml"))
            check_screen(cases, window, cases.path("page.html"), rules)
        make(cases, os.path.join(cases.build, "models/rigs/buffered-board.yaml"))
        window.open(cases.path("page.html"), 1200)
        check_paper(cases, window, "buffered-board")
        check_hostile(cases)
        window.open(cases.path("hostile.html"), 1200)
        cases.check(window.ask("document.title").startswith("</title></style><script>"), window.ask("document.title"))
        cases.check(window.ask("document.scripts.length + document.images.length") == 0, "words became markup")
        cases.check(not window.said, window.said)


def run(cases):
    cases.group("figures of the demo board")
    check_figures(cases)
    cases.group("odd rigs")
    check_odd_rigs(cases)
    cases.group("whole or nothing")
    check_whole_or_nothing(cases)
    cases.group("names")
    check_names(cases)
    cases.group("hostile words, on a screen and on paper")
    check_browser(cases)


main(run)
