#!/usr/bin/python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""A board's drawing: every box, plug and lead where the layout has it, to scale; what it refuses; and
how it stands in a browser and on paper, where there is one.

Usage: check_drawing.py BUILD_DIR
"""
import json
import math
import os
import re
import shutil
import subprocess
import xml.etree.ElementTree as tree

import browser
from cases import main

SVG = "{http://www.w3.org/2000/svg}"
PAPERS = {"A4": (210, 297), "A3": (297, 420), "Letter": (215.9, 279.4), "Tabloid": (279.4, 431.8)}
RIGS = ("buffered-board", "fuzz-first")
HOSTILE = "</title><script>alert(1)</script><image href='http://192.0.2.1/x.png'/> & ]]>"


def rig_path(cases, name):
    return os.path.join(cases.build, "models/rigs", name + ".yaml")


def draw(cases, rig, *more, out="board.svg"):
    done = cases.run("build", rig, "--json", "--drawing", out, *more)
    cases.check(done.returncode == 0 and not done.stderr, rig, more, done)
    return tree.fromstring(cases.read(out)), json.loads(done.stdout)


def of_class(root, name):
    return [one for one in root.iter() if one.get("class") == name]


def shift_of(root, element):
    """The sum of the translations that an element stands in."""
    parents = {child: parent for parent in root.iter() for child in parent}
    x = y = 0
    while element in parents:
        element = parents[element]
        found = re.fullmatch(r"translate\((\S+) (\S+)\)", element.get("transform", ""))
        if found:
            x, y = x + float(found[1]), y + float(found[2])
    return x, y


def near(got, wanted):
    return abs(got - wanted) <= 0.012


def check_geometry(cases, root, build, scale):
    """Boxes, plugs and ways against the layout's own metres."""
    width, depth = build["board"]["width_m"], build["board"]["depth_m"]
    ground = of_class(root, "board")[0].find(SVG + "rect")
    cases.check(near(float(ground.get("width")), width * 1000 / scale), "board's width", scale)
    cases.check(near(float(ground.get("height")), depth * 1000 / scale), "board's depth", scale)
    drawn = of_class(root, "box") + of_class(root, "under")
    boxes = sorted(build["boxes"], key=lambda box: bool(box["under"]))
    cases.check(len(drawn) == len(boxes), "boxes", len(drawn), len(boxes))
    for group, box in zip(drawn, boxes):
        rect = group.find(SVG + "rect")
        wanted = {"x": box["left_m"], "y": depth - box["front_m"] - box["depth_m"],
                  "width": box["width_m"], "height": box["depth_m"]}
        for name, metres in wanted.items():
            cases.check(near(float(rect.get(name)), metres * 1000 / scale), box["name"], name, scale)
    leads = {int(re.match(r"lead (\d+)", group.find(SVG + "title").text)[1]): group
             for group in of_class(root, "lead")}
    laid = [lead for lead in build["leads"] if lead["way_m"]]
    cases.check(len(laid) > 3, "ways", len(laid))
    for lead in laid:
        path = leads[lead["number"]].findall(SVG + "path")[-1].get("d")
        numbers = [float(one) for one in re.findall(r"-?\d+\.\d+", path)]
        for at, (x, y) in ((0, (numbers[0], numbers[1])), (-1, (numbers[-2], numbers[-1]))):
            right, back = lead["way_m"][at]
            wanted = (right * 1000 / scale, (depth - back) * 1000 / scale)
            cases.check(near(x, wanted[0]) and near(y, wanted[1]), lead["number"], (x, y), wanted)
    numbers = sorted("".join(one.itertext()) for one in of_class(root, "number"))
    cases.check(numbers == sorted(str(number) for number in leads), "numbers", numbers)


def check_sheets(cases):
    for rig in RIGS:
        for paper, (short, long) in PAPERS.items():
            if rig != RIGS[0] and paper != "A4":
                continue
            root, build = draw(cases, rig_path(cases, rig), "--paper", paper)
            size = [float(root.get(name).removesuffix("mm")) for name in ("width", "height")]
            cases.check(sorted(size) == [short, long], paper, size)
            cases.check(root.get("viewBox") == "0 0 {:g} {:g}".format(*size), paper, root.get("viewBox"))
            words = " ".join(root.itertext())
            scale = float(re.search(r"Scale 1:(\S+) on " + paper, words)[1])
            check_geometry(cases, root, build, scale)
            for element in root.iter(SVG + "text"):
                cases.check(float(element.get("font-size")) >= 3.2, "small letters", element.text)
    # The largest that fits: the next larger one does not.
    root, _ = draw(cases, rig_path(cases, "buffered-board"), "--scale", "1:4")
    done = cases.run("build", rig_path(cases, "buffered-board"), "--drawing", "no.svg", "--scale", "1:2.5")
    cases.check(done.returncode == 2 and b"that fits is 1:4" in done.stderr and b"A3" in done.stderr
                and not done.stdout and not os.path.exists(cases.path("no.svg")), done)
    first = cases.read("board.svg")
    draw(cases, rig_path(cases, "buffered-board"), "--scale", "1:4")
    cases.check(first == cases.read("board.svg"), "not the same bytes")


def check_refusals(cases):
    rig = rig_path(cases, "fuzz-first")
    for words, expected in (
            (("--drawing", "a.pdf"), b".svg"), (("--drawing", "a"), b".svg"),
            (("--drawing", "a.svg", "--scale", "2"), b"1:N"),
            (("--drawing", "a.svg", "--scale", "1:0.5"), b"1:N"),
            (("--drawing", "a.svg", "--paper", "A5"), b"A4"),
            (("--scale", "1:4"), b"--drawing"), (("--paper", "A3"), b"--drawing"),
            (("--drawing",), b"needs a value")):
        done = cases.run("build", rig, *words)
        cases.check(done.returncode == 2 and expected in done.stderr and not done.stdout, words, done)
        cases.check(not cases.left(), words, cases.left())
    done = cases.run("build", rig, "--drawing", "none/a.svg")
    cases.check(done.returncode == 1 and not done.stdout and not cases.left(), done)
    cases.write("own.svg", open(rig, "rb").read())
    before = cases.read("own.svg")
    done = cases.run("build", "own.svg", "--drawing", "own.svg")
    cases.check(done.returncode == 2 and cases.read("own.svg") == before, done)
    cases.clear()


def check_hostile(cases):
    """A title is free text."""
    text = open(rig_path(cases, "fuzz-first"), encoding="utf-8").read()
    cases.write("hostile.yaml", re.sub(r"^rig: .*$", lambda _: "rig: " + json.dumps(HOSTILE), text, flags=re.M))
    root, _ = draw(cases, "hostile.yaml", out="hostile.svg")
    names = {one.tag for one in root.iter()}
    allowed = {SVG + name for name in ("svg", "title", "desc", "style", "g", "rect", "path", "circle", "text")}
    cases.check(names <= allowed, "elements", names - allowed)
    for one in root.iter():
        for name, value in one.attrib.items():
            cases.check(not name.startswith("on") and "href" not in name and "url(" not in value, one.attrib)
    cases.check("<script>" in root.find(SVG + "title").text, "the title is not there as words")


OVERLAPS = """(() => {
  const boxes = [...document.querySelectorAll('text')].filter(t => t.textContent).map(t => {
    const b = t.getBoundingClientRect(), cut = 0.12 * Math.min(b.width, b.height);
    return {words: t.textContent, l: b.left + cut, r: b.right - cut, t: b.top + cut, b: b.bottom - cut}});
  const bad = [], page = document.documentElement.getBoundingClientRect();
  boxes.forEach((a, i) => {
    if (a.l < page.left + 30 || a.r > page.right - 30 || a.t < page.top + 30 || a.b > page.bottom - 30)
      bad.push(a.words + ' is off the frame');
    boxes.slice(0, i).forEach(b => {
      if (a.l < b.r && b.l < a.r && a.t < b.b && b.t < a.b) bad.push(a.words + ' on ' + b.words)})});
  return bad})()"""
BAR = """(() => { const b = document.querySelector('.bar path').getBoundingClientRect();
  return b.width * 25.4 / 96 })()"""


def check_in_browser(cases):
    """Real letters stand on nothing else, the bar measures 10 cm, and paper has its size."""
    with browser.Browser() as page:
        for rig, paper in (("buffered-board", "A4"), ("fuzz-first", "Letter"), ("buffered-board", "A3")):
            root, _ = draw(cases, rig_path(cases, rig), "--paper", paper, out="seen.svg")
            page.open(cases.path("seen.svg"), 1700, 1300)
            cases.check(len(page.requests) == 1 and not page.said, page.requests, page.said)
            cases.check(page.ask(OVERLAPS) == [], rig, paper, page.ask(OVERLAPS))
            cases.check(abs(page.ask(BAR) - 100) < 0.05, "the bar is", page.ask(BAR), "mm long")
        page.open(cases.path("hostile.svg"), 1200)
        cases.check(len(page.requests) == 1 and not page.said, page.requests, page.said)
        draw(cases, rig_path(cases, "fuzz-first"), "--paper", "Letter", out="seen.svg")
        page.open(cases.path("seen.svg"), 1200)
        page.print(cases.path("seen.pdf"), 279.4, 215.9)
    told = subprocess.run(["pdfinfo", cases.path("seen.pdf")], stdout=subprocess.PIPE, text=True, check=True).stdout
    size = [float(one) for one in re.search(r"Page size: +(\S+) x (\S+) pts", told).groups()]
    cases.check(re.search(r"Pages: +1\n", told) and math.isclose(size[0], 792, abs_tol=1.5)
                and math.isclose(size[1], 612, abs_tol=1.5), told)


def check_all(cases):
    cases.group("demo boards on four papers")
    check_sheets(cases)
    cases.clear()
    cases.group("what cannot be")
    check_refusals(cases)
    cases.group("hostile words")
    check_hostile(cases)
    if os.path.exists(browser.PROGRAM) and shutil.which("pdfinfo"):
        cases.group("in a browser")
        check_in_browser(cases)
    else:
        print("no browser here (Debian packages chromium, poppler-utils): screen and paper were not looked at")


main(check_all)
