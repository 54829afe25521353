#!/usr/bin/python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""A lesson's page: its figures against `compare`, pencil and paper, and its own sound; that it needs
nothing but itself; and how it stands on a screen, a phone, A4 and Letter, where there is a browser.

Usage: check_lesson.py BUILD_DIR
"""
import base64
import io
import json
import math
import os
import re
import shutil
import subprocess
import wave
import xml.etree.ElementTree as tree

import numpy

import browser
from cases import main

RIGS = ("long-cable", "buffered-board", "fuzz-first", "two-amps")
LENGTHS = (1, 3, 6, 9, 12, 15)
HOSTILE = "</title><script>document.title='caught'</script><img src=x onerror=\"alert(1)\"> ' & ]]>"
PAPERS = {"A4": (210, 297), "Letter": (215.9, 279.4)}
UNITS = {"Hz": 1, "kHz": 1e3, "dB": 1, "pF": 1e-12, "nF": 1e-9, "H": 1, "mH": 1e-3, "\u03a9": 1, "k\u03a9": 1e3,
         "m\u03a9": 1e-3, "M\u03a9": 1e6}
XHTML = "{http://www.w3.org/1999/xhtml}"


class Page:
    """A page as data."""

    def __init__(self, text):
        self.text = text
        self.root = tree.fromstring(text)
        self.tables = {}
        for table in self.root.iter(XHTML + "table"):
            rows = [[words(cell) for cell in row] for row in table.iter(XHTML + "tr")]
            self.tables[words(table.find(XHTML + "caption"))] = rows
        self.legends = [[words(item) for item in one.iter(XHTML + "li")]
                        for one in self.root.iter(XHTML + "ul") if one.get("class") == "legend"]
        self.words = words(self.root.find(XHTML + "body"))

    def sounds(self):
        for player in self.root.iter(XHTML + "audio"):
            kind, coded = player.get("src").split(",", 1)
            assert kind == "data:audio/wav;base64", kind
            with wave.open(io.BytesIO(base64.b64decode(coded, validate=True))) as sound:
                assert (sound.getnchannels(), sound.getsampwidth()) == (1, 2)
                yield sound.getframerate(), numpy.frombuffer(sound.readframes(1 << 30), "<i2") / 32768


def words(element):
    return re.sub(r"\s+", " ", "".join(element.itertext())).strip()


def number(shown):
    """The first figure in words, and half of its last digit."""
    found = re.search(r"([+\u2212]?\d+(?:\.(\d+))?)(?: (\S+))?", shown)
    if not found:
        return math.nan, 0
    scale = UNITS.get((found[3] or "").rstrip(",;."), 1)
    value = float(found[1].replace("\u2212", "-"))
    digits = len(found[2] or "")
    if not found[2]:  # quantities drop zeros behind the point, and keep three digits in all
        digits = max(0, 2 - int(math.floor(math.log10(abs(value) or 1))))
    return value * scale, 0.50001 * 10 ** -digits * scale


def is_shown(cases, shown, value, *about):
    """Whether a figure on the page is the value, rounded."""
    if value is None:
        return cases.check(re.search("none|no peak|above", shown), about, shown, "for none")
    got, half = number(shown)
    return cases.check(abs(got - value) <= half, about, shown, "for", value)


def make(cases, rig, out="page.html", *more):
    done = cases.run("lesson", rig, "--out", out, *more)
    cases.check(done.returncode == 0 and not done.stdout and not done.stderr, rig, done)
    return Page(cases.read(out).decode())


def block(text, key):
    """The lines of a rig file from `key:` to the next key of that depth."""
    found = re.search(rf"^( *){key}:.*\n(?:\1[ -].*\n)*", text, re.M)
    return re.sub(f"^{found[1]}", "", found[0], flags=re.M)


def solve(cases, guitar, chain, amp, vary):
    """The line-up of a lesson written as a rig of its own, through `compare`."""
    lead = re.search(r"cable: .*", chain)[0]
    cases.write("hand.yaml", f"rig: by hand\n{guitar}chain:\n{chain}{amp}direct:\n  - {lead}\n    length: 1 m\n")
    done = cases.run("compare", "hand.yaml", "--json", "--points", "400", "--vary", vary)
    cases.check(done.returncode == 0, done.stderr)
    return json.loads(done.stdout)["variants"]


def at_5khz(variant):
    return next(one["db"] for one in variant["differences"][0]["points"] if one["hz"] == 5000)


def check_row(cases, row, variant, farad, held_against):
    rig = variant["responses"][0]
    for shown, value in zip(row[1:5], (farad, rig["peak_hz"], rig["q"], rig["cutoff_hz"])):
        is_shown(cases, shown, value, row[0])
    if held_against:
        is_shown(cases, row[5], at_5khz(variant), row[0])
        worst_db, worst_hz = row[6].split(" at ")
        is_shown(cases, worst_db, variant["hearing"]["worst_db"], row[0])
        is_shown(cases, worst_hz, variant["hearing"]["worst_hz"], row[0])
        cases.check(row[7] == variant["hearing"]["verdict"], row, variant["hearing"])


def check_formula(cases, page, variants):
    """f and Q from the values that the page lists, on paper."""
    text = page.words
    henry = number(re.search(r"inductance \((.*?)\)", text)[1])[0]
    ohm = number(re.search(r"a resistance \((.*?)\)", text)[1])[0]
    load = number(re.search(r"side by side they come to (.*?)\. At", text)[1])[0]
    for row, variant in zip(page.tables["The formula beside the solved circuit"][1:], variants):
        farad = number(row[1])[0]
        hz = 1 / (2 * math.pi * math.sqrt(henry * farad))
        q = 1 / (2 * math.pi * hz * henry / load + ohm / (2 * math.pi * hz * henry))
        cases.check(abs(number(row[2])[0] / hz - 1) < 0.006, "formula", row, hz)
        cases.check(abs(number(row[4])[0] / q - 1) < 0.012, "formula", row, q)
        rig = variant["responses"][0]
        for shown, value in zip((row[3], row[5], row[6]), (rig["pole_hz"], rig["q"], rig["peak_hz"])):
            is_shown(cases, shown, value, "solved", row)
        cases.check(abs(rig["pole_hz"] / hz - 1) < 0.08, "formula and solved are far apart", row)


def check_against_compare(cases, name, page):
    """Every figure of the tables and legends."""
    rig = open(os.path.join(cases.build, "models/rigs", name + ".yaml"), encoding="utf-8").read()
    guitar, amp = block(rig, "guitar"), block(rig, "amp")
    kind = re.search(r"cable: (\S+)", rig)[1]
    lead = f"  - cable: {kind}\n    length: %s m\n"
    metres = ",".join(f"{metre} m" for metre in LENGTHS)
    straight = solve(cases, guitar, lead % 1, amp, f"chain[0].length={metres}")
    buffer = re.search(r"- buffer: (\S+)", rig)
    buffer = f"  - buffer: {buffer[1] if buffer else 'op-amp-follower'}\n"
    buffered = solve(cases, guitar, lead % 1 + buffer + lead % 1, amp, f"chain[2].length={metres}")
    turned = solve(cases, guitar, lead % 6, amp, "guitar.volume.position=100 %,70 %,50 %")
    per_metre = number(re.search(r"\(\S+\) adds (\S+ \S+)\. ", page.words)[1])[0]
    rows = page.tables["Each length against the shortest"][1:]
    for i, metre in enumerate(LENGTHS):
        check_row(cases, rows[i], straight[i], per_metre * metre, i > 0)
    check_row(cases, rows[6], buffered[5], per_metre * 15, True)
    for legend, variants in zip(page.legends, (straight, buffered + straight[5:], turned)):
        cases.check(len(legend) == len(variants), legend)
        for shown, variant in zip(legend, variants):
            response = variant["responses"][0]
            is_shown(cases, shown[re.search("peak|no peak", shown).start():], response["peak_hz"], shown)
    check_formula(cases, page, straight)
    return straight, buffered


def check_whole_rig(cases, name, page):
    done = cases.run("response", os.path.join(cases.build, "models/rigs", name + ".yaml"), "--json")
    rig, direct = json.loads(done.stdout)["responses"][:2]
    said = re.search(r"This rig as it stands.*?straight in as its file says.*?to the ear: (\w+ ?\w*)\.",
                     page.words)
    shown = re.findall(r"(?:peak|at) (none|[\d.]+ k?Hz)[,.]", said[0])[:4]
    for one, value in zip(shown, (rig["peak_hz"], rig["cutoff_hz"], direct["peak_hz"], direct["cutoff_hz"])):
        is_shown(cases, one, value, said[0])
    cases.check(len(shown) == 4 and said[1] == rig["hearing"]["verdict"], said[0], rig["hearing"])


def level_at(variant, hz):
    points = variant["responses"][0]["points"]
    return numpy.interp(numpy.log(hz), numpy.log([one["hz"] for one in points]),
                        [one["db"] for one in points])


def check_sounds(cases, page, straight, buffered):
    """Each sound against the first: their spectra differ by what the circuits differ by."""
    sounds = list(page.sounds())
    if not cases.check(len(sounds) == 3, "sounds:", len(sounds)):
        return
    spectra = []
    for rate, samples in sounds:
        cases.check(rate == 44100 and len(samples) == 110250, rate, len(samples))
        cases.check(numpy.abs(samples).max() < 10 ** (-1 / 20), "loudest", numpy.abs(samples).max())
        spectra.append(numpy.abs(numpy.fft.rfft(samples)))
    hz = numpy.fft.rfftfreq(110250, 1 / 44100)
    worst_db = 0
    for index, variant in ((1, straight[5]), (2, buffered[5])):
        for low, high in ((200, 400), (800, 1200), (1800, 2200), (2800, 3200), (4500, 5500)):
            band = (hz > low) & (hz < high)
            wanted = spectra[0] * 10 ** ((level_at(variant, hz.clip(20)) - level_at(straight[0], hz.clip(20))) / 20)
            off_db = 10 * math.log10((spectra[index][band] ** 2).sum() / (wanted[band] ** 2).sum())
            worst_db = max(worst_db, abs(off_db))
            cases.check(abs(off_db) < 0.1, "sound", index, low, high, off_db)
    print(f"spectra of the sounds: off by {worst_db:.4f} dB at most")


def check_needs_nothing(cases, page):
    cases.check(len(page.text) < 3e6, "size", len(page.text))
    for element in page.root.iter():
        tag = element.tag.replace(XHTML, "")
        cases.check(tag not in ("script", "img", "iframe", "object", "embed", "use", "image", "a", "form"), tag)
        for key, value in element.attrib.items():
            cases.check(not key.startswith("on"), tag, key)
            if key.split("}")[-1] in ("src", "href", "srcset", "data", "action", "poster"):
                cases.check(value.startswith("data:"), tag, key, value[:60])
    style = words(page.root.find(f".//{XHTML}style"))
    cases.check("url(" not in style and "@import" not in style, "style")
    cases.check("break-inside:avoid" in style and "@media print" in style, "style for paper")


def check_figures(cases):
    for name in RIGS:
        page = make(cases, os.path.join(cases.build, "models/rigs", name + ".yaml"))
        check_needs_nothing(cases, page)
        straight, buffered = check_against_compare(cases, name, page)
        check_whole_rig(cases, name, page)
        check_sounds(cases, page, straight, buffered)
        listed = page.tables["Every value this page rests on"][1:]
        remembered = sum("from memory" in row[3] for row in listed)
        cases.check(f"{remembered} of the {len(listed)} values" in page.words, name, remembered, len(listed))
        cases.check(all(row[3] for row in listed), "a value without a source", listed)
    done = cases.run("lesson", "--out", "none.html")
    cases.check(done.returncode == 0, done.stderr)
    again = make(cases, os.path.join(cases.build, "models/rigs/long-cable.yaml"))
    cases.check(cases.read("none.html").decode() == again.text, "without a rig: not the long cable's page")


RIG = """rig: {title}
guitar:
  pickup: {{inductance: 2.4 H, resistance: 6 kohm, capacitance: 110 pF}}
  volume: {{pot: 250 kohm, taper: audio, position: 100 %}}
chain:
  - cable: {{capacitance: 100 pF/m}}
    length: 6 m
amp: {{resistance: 1 Mohm}}
"""


def check_odd_rigs(cases):
    """Guitars that lack something, turned-down controls, several pickups, loads that leave no peak."""
    odd = {
        "no volume": RIG.replace("  volume: {{pot: 250 kohm, taper: audio, position: 100 %}}\n", ""),
        "turned down": RIG.replace("position: 100 %", "position: 30 %"),
        "low input": RIG.replace("1 Mohm", "10 kohm"),
        "series": RIG.replace("  pickup: {{inductance: 2.4 H, resistance: 6 kohm, capacitance: 110 pF}}\n",
                              "  pickups:\n    - pickup: single-coil\n      volume: {{like: pot-250k-audio, "
                              "position: 50 %}}\n    - pickup: humbucker-medium\n  wiring: series\n"),
        "no cable": "rig: {title}\nguitar: {{pickup: single-coil}}\nchain:\n  - buffer: ideal-buffer\n"
                    "amp: bare-input\n",
        "tiny coil": RIG.replace("2.4 H", "1 mH"),
        "weak buffer": RIG.replace("amp:", "  - buffer: {{input: {{resistance: 1 Mohm}}, output: "
                                   "{{resistance: 50 kohm}}}}\namp:"),
    }
    seen = {}
    for name, text in odd.items():
        cases.write("odd.yaml", text.format(title=name))
        seen[name] = make(cases, "odd.yaml")
        check_needs_nothing(cases, seen[name])
        cases.check(not re.search(r"\b-?(nan|inf)\b", seen[name].words), name, "holds no number")
    cases.check("volume control turned down" not in seen["no volume"].words, "no volume")
    cases.check("some control is turned down" in seen["turned down"].words, "turned down")
    cases.check("no peak to move" in seen["low input"].words, "low input")
    for text, there in (("The circuit, solved, has no resonance there.", True), ("coil and capacitor do not swing at all", True), ("the more of the treble is lost", True),
                        ("Why the two differ a little", False), ("the lower the peak", False)):
        cases.check((text in seen["low input"].words) == there and (text in seen["turned down"].words) != there,
                    "low input", text)
    cases.check("2 pickups in series" in seen["series"].words, "series")
    cases.check("output is not strong enough" in seen["weak buffer"].words, "weak buffer")
    plain = seen["turned down"]
    up = RIG.format(title="turned down")
    cases.write("up.yaml", up)
    cases.check(make(cases, "up.yaml").tables["Each length against the shortest"]
                == plain.tables["Each length against the shortest"], "turned down: not full up in the lesson")


def check_hostile(cases):
    quoted = json.dumps(HOSTILE)
    os.makedirs(cases.path("parts"), exist_ok=True)
    cases.write("parts/cable.yaml", "kind: cable\nparts:\n  my-reel:\n    about: x\n    source: "
                + quoted + "\n    capacitance: 92 pF/m\n")
    cases.write("hostile.yaml", RIG.format(title=quoted).replace("{capacitance: 100 pF/m}", "my-reel"))
    page = make(cases, "hostile.yaml", "hostile.html", "--parts", "parts")
    check_needs_nothing(cases, page)
    cases.check(HOSTILE in page.words, "the title does not stand as it is")
    cases.check(any("<script>" in row[3] for row in page.tables["Every value this page rests on"]), "the source")


def fails(cases, status, holds, *words, **more):
    done = cases.run("lesson", *words, **more)
    cases.check(done.returncode == status and holds.encode() in done.stderr, words, done)


def check_whole_or_nothing(cases):
    cases.clear()
    cases.write("rig.yaml", RIG.format(title="plain"))
    cases.write("source.yaml", "rig: active\nguitar:\n  source: active-guitar\nchain:\n  - cable: standard-coax\n"
                "    length: 3 m\namp: tube-input\n")
    cases.write("bad.yaml", "rig: [\n")
    cases.write("kept.html", "an earlier page")
    before = cases.left()
    fails(cases, 2, "--out FILE.html", "rig.yaml")
    fails(cases, 2, "active source", "source.yaml", "--out", "kept.html")
    fails(cases, 2, "source.yaml:3:", "source.yaml", "--out", "kept.html")
    fails(cases, 2, "bad.yaml:", "bad.yaml", "--out", "kept.html")
    fails(cases, 2, "", "missing.yaml", "--out", "kept.html")
    fails(cases, 1, "cannot be written", "rig.yaml", "--out", "nowhere/page.html")
    fails(cases, 1, "", "rig.yaml", "--out", "/dev/full")
    done = subprocess.run(["/bin/sh", "-c", f"ulimit -f 100; exec {cases.toneload} lesson rig.yaml --out kept.html"],
                          cwd=cases.here, env=cases.environment, capture_output=True, check=False)
    cases.check(done.returncode == 1, "a full disk:", done)
    cases.check(cases.left() == before, "left:", cases.left())
    cases.check(cases.read("kept.html") == b"an earlier page", "the earlier page is gone")


def check_screen(cases, window, path, name):
    for width, phone in ((1200, False), (390, True)):
        window.open(path, width, phone=phone)
        wide = window.ask("document.documentElement.scrollWidth")
        cases.check(wide <= width, name, "is", wide, "wide on", width)
        cases.check(not window.said, name, "complains:", window.said)
        asked = [one for one in window.requests if not one.startswith("data:")]
        cases.check(asked == ["file://" + path], name, "asks for", asked)
        small = window.ask("""Math.min(...[...document.querySelectorAll(".plot text")].map(
            one => one.getBoundingClientRect().height))""")
        cases.check(small > 11, name, "letters of", small, "px at", width)
        apart = window.ask(OVERLAPS)
        cases.check(not apart, name, "words over each other at", width, apart)
    cases.check(window.ask("document.querySelectorAll('.answer')[1].offsetHeight") == 0, "answers stand open")
    window.ask("document.querySelectorAll('summary')[1].click()")
    cases.check(window.ask("document.querySelectorAll('.answer')[1].offsetHeight") > 40, "an answer stays shut")


# Pairs of words in one drawing that overlap by more than a px or two.
OVERLAPS = """[...document.querySelectorAll("figure svg[role=img]")].flatMap(svg => {
    const boxes = [...svg.querySelectorAll("text")].map(one => [one.textContent, one.getBoundingClientRect()]);
    return boxes.flatMap(([words, a], i) => boxes.slice(i + 1).filter(([other, b]) =>
        Math.min(a.right, b.right) - Math.max(a.left, b.left) > 1 &&
        Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top) > 4).map(([other]) => words + " / " + other));
})"""

PLAY = """(async () => {
    const heard = [];
    for (const one of document.querySelectorAll("audio")) {
        await one.play();
        for (let look = 0; look < 200 && one.currentTime <= 0.1; ++look)
            await new Promise(done => setTimeout(done, 50));
        heard.push([one.duration, one.currentTime, one.error === null]);
        one.pause();
    }
    return heard;
})()"""


def check_paper(cases, window, name):
    """Pages of the right size; every figure whole on one of them; answers open."""
    for paper, size in PAPERS.items():
        window.print(cases.path("page.pdf"), *size)
        about = subprocess.run(["pdfinfo", "page.pdf"], cwd=cases.here, capture_output=True, text=True, check=True)
        count = int(re.search(r"Pages: +(\d+)", about.stdout)[1])
        points = [float(one) for one in re.search(r"Page size: +([\d.]+) x ([\d.]+)", about.stdout).groups()]
        cases.check(5 <= count <= 14, name, paper, count, "pages")
        cases.check(all(abs(got - 72 * mm / 25.4) < 1 for got, mm in zip(points, size)), paper, points)
        laid = subprocess.run(["pdftotext", "-bbox", "page.pdf", "-"], cwd=cases.here, capture_output=True, text=True,
                              check=True)
        pages = re.findall(r"<page.*?</page>", laid.stdout, re.S)
        axes = captions = 0
        for sheet in pages:
            found = [(float(top), float(bottom), float(left), float(right), text) for left, top, right, bottom, text in
                     re.findall(r'<word xMin="(.*?)" yMin="(.*?)" xMax="(.*?)" yMax="(.*?)">(.*?)</word>', sheet)]
            cases.check(len(found) > 3, name, paper, "a page of", len(found), "words")
            for top, bottom, left, right, text in found:
                cases.check(top > 30 and bottom < points[1] - 30 and left > 30 and right < points[0] - 30,
                            name, paper, "over the edge:", text)
            on_page = [text for *_, text in found]
            highs, lows = on_page.count("frequency,"), on_page.count("Circle:")
            tops = sum(text == "dB" and nxt.startswith("100") is False for text, nxt in zip(on_page, on_page[1:]))
            cases.check(highs == lows, name, paper, "a plot is cut from its caption")
            cases.check(on_page.count("\u221224") >= highs and on_page.count("+6") >= highs and tops >= highs,
                        name, paper, "a plot is cut")
            axes += highs
            captions += lows
        cases.check(axes == captions == 3, name, paper, axes, captions)
        for answer in ("largest difference in a band of hearing", "It is not free", "Solder and good plugs"):
            text = subprocess.run(["pdftotext", "page.pdf", "-"], cwd=cases.here, capture_output=True, text=True,
                                  check=True).stdout
            cases.check(answer in re.sub(r"\s+", " ", text), name, paper, "lacks the answer", answer)
        cases.check("What it sounds like" in text, name, paper)


def check_browser(cases):
    with browser.Browser() as window:
        for name in RIGS:
            make(cases, os.path.join(cases.build, "models/rigs", name + ".yaml"))
            check_screen(cases, window, cases.path("page.html"), name)
            check_paper(cases, window, name)
            heard = window.ask(PLAY)
            cases.check(len(heard) == 3, heard)
            for duration, at, well in heard:
                cases.check(well and abs(duration - 2.5) < 0.01 and at > 0.1, name, "does not play:", heard)
        check_hostile(cases)
        window.open(cases.path("hostile.html"), 1200)
        title = window.ask("document.title")
        cases.check(title.startswith("Why long leads dull the top end: </title><script>"), title)
        cases.check(window.ask("document.scripts.length + document.images.length") == 0, "the title became markup")
        cases.check(not window.said and not [one for one in window.requests if not one.startswith(("data:", "file:"))],
                    window.said, window.requests)


def run(cases):
    cases.group("figures of the demo rigs")
    check_figures(cases)
    cases.group("odd rigs")
    check_odd_rigs(cases)
    cases.group("hostile words")
    check_hostile(cases)
    cases.group("whole or nothing")
    check_whole_or_nothing(cases)
    if os.path.exists(browser.PROGRAM) and shutil.which("pdftotext"):
        cases.group("in a browser")
        check_browser(cases)
    else:
        print("no browser here (Debian packages chromium, poppler-utils): screen and paper were not looked at")


main(run)
