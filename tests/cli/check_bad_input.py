#!/usr/bin/python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""What bad input gets: a clear error at its place, the right exit status, and nothing half done.

Usage: check_bad_input.py BUILD_DIR

In the rigs below the mark ^^ stands in front of the character that the caret must point at; it is
taken out before the rig is written. Columns count bytes.
"""
import ctypes
import json
import os
import resource
import signal
import subprocess

from cases import AMP, CHAIN, GUITAR, RIG, main

MARK = "^^"
LENGTHS = "expected a length, such as 6 m or 20 ft"
OHMS = "expected a resistance, such as 250 kohm or 1 Mohm"


def put(old, new, rig=RIG):
    assert rig.count(old) == 1, (old, rig)
    return rig.replace(old, new)


def length(written):
    return put("6 m\n", f"{MARK}{written}\n")


def winding(written):
    return put("6 kohm", f"{MARK}{written}")


def load(written):
    return put("1 Mohm", f"{MARK}{written}")


def chain(*lines):
    return "rig: plain\n" + GUITAR + "chain:\n" + "".join(line + "\n" for line in lines)


CABLE = ("  - cable: standard-coax", "    length: 1 m")

SYNTAX = [
    ("rig: [a\n" + GUITAR.replace("pickup:", f"pickup{MARK}:"), "YAML:", "missing comma"),
    ("rig: " + MARK + "a\n b: c\n", "YAML:", "invalid multiline plain key"),
    (put("plain", f'{MARK}"plain'), "YAML:", "double-quoted"),
    (put("  pickup", f"{MARK}\tpickup"), "YAML:", "tab"),
    (put("plain", f"{MARK}@plain"), "YAML:", "cannot start with '@'"),
    (f"{MARK}just words\n", "a rig file: expected a mapping"),
    (f"{MARK}- a list\n", "a rig file: expected a mapping", "found a list"),
    (f"{MARK}", "there is nothing in it"),
    (f"{MARK}# only a remark\n", "there is nothing in it"),
    (put("amp:", f"amp: tube-input\n{MARK}amp:"), "'amp' stands here a second time"),
    (put("{capacitance: 100 pF/m}", f"{MARK}[standard-coax]"), "a cable", "found a list"),
    ("{rig: '\u266f\u00e9', guitar: {pickup: single-coil}, chain: " + MARK + "[], amp: tube-input}",
     "an empty chain"),
    (put("rig: plain", f"? {MARK}[a]\n: plain"), "a name must be plain words"),
]

NAMES = [
    (put("amp:", f"{MARK}ampp:"), "unknown 'ampp' in a rig file", "did you mean 'amp'?"),
    (put("guitar:", f"{MARK}guitat:"), "unknown 'guitat'", "did you mean 'guitar'?"),
    (put("inductance", f"{MARK}indutcance"), "unknown 'indutcance' for a pickup",
     "did you mean 'inductance'?"),
    (put("length", f"{MARK}lenght"), "unknown 'lenght' in this item", "did you mean 'length'?"),
    (put("cable:", f"{MARK}cabel:"), "unknown 'cabel' in a chain", "did you mean 'cable'?"),
    (put("{capacitance: 100 pF/m}", f"{MARK}standart-coax"),
     "no cable named 'standart-coax' in the library", "did you mean 'standard-coax'?",
     "toneload parts cable"),
    (put("pickup:", f"{MARK}pikcup:"), "unknown 'pikcup' in a guitar", "did you mean 'pickup'?"),
    (put(", resistance: 6 kohm", f", resistance: 6 kohm, eddy: {{{MARK}frction: 1 %}}"),
     "unknown 'frction'", "did you mean 'fraction'?"),
    (put("amp:", f"{MARK}zzz: 1\namp:"), "unknown 'zzz'", "known are", "guitar", "chain"),
    (chain(*CABLE, "  - pedal: overdrive-true-bypass", f"    engaged: {MARK}maybe") + AMP,
     "'maybe': expected yes or no"),
    (put("cable: {", f"cable: {{like: {MARK}patch-koax, "), "did you mean 'patch-coax'?"),
]

MISSING = [
    (CHAIN.replace("chain", f"{MARK}chain") + AMP, "a rig needs a 'guitar'"),
    (GUITAR.replace("guitar", f"{MARK}guitar") + AMP, "a rig needs a 'chain'"),
    (f"{MARK}" + GUITAR + CHAIN, "it needs an 'amp'"),
    (put(", capacitance: 110 pF", "").replace("{inductance", f"{MARK}{{inductance"),
     "a pickup needs 'capacitance' (a capacitance)"),
    (put("    length: 6 m\n", "").replace("cable", f"{MARK}cable"), "a cable needs 'length'"),
    (put("length: 6 m", f"{MARK}length:"), "length: ''", LENGTHS),
    (put("length: 6 m", f"length: {MARK}~"), LENGTHS),
    (put("chain:\n", f"{MARK}chain:\n").split("  - cable")[0] + AMP, "a chain: expected a list"),
    (chain(*CABLE, f"  - {MARK}pedal: overdrive-true-bypass") + AMP, "a pedal needs 'engaged'",
     "yes or no"),
    (put("{resistance: 1 Mohm, capacitance: 20 pF}",
         f"{MARK}{{resistance: 1 Mohm, stopper: 68 kohm}}"), "'stopper' and 'grid' belong together"),
]

UNITS = [
    (length("6"), "length: '6': a bare number, without a unit", LENGTHS),
    (length("20'"), "did you mean '20 ft'?", LENGTHS),
    (length('8"'), "did you mean '8 in'?", LENGTHS),
    (length("6 meters"), "did you mean '6 m'?"),
    (length("6 FT"), "did you mean '6 ft'?"),
    (length("6 kohm"), "'kohm' is not a unit that fits; " + LENGTHS),
    (length("6 q"), "'q' is not a unit that fits; " + LENGTHS),
    (length("six metres"), LENGTHS),
    (length("0x10 m"), LENGTHS),
    (length("nan m"), LENGTHS),
    (length("inf m"), LENGTHS),
    (length("1e999 m"), LENGTHS),
    (length("6,5 m"), LENGTHS),
    (length("\u0666 m"), LENGTHS),
    (length("[6 m]"), "expected a single value, found a list"),
    (length("{m: 6}"), "expected a single value, or {value: .., tolerance: ..}"),
    (length("-6 m"), "length cannot be negative"),
    (length("400 m"), "length 400 m is not plausible: expected 0 m to 300 m"),
    (winding("6"), "a bare number, without a unit", OHMS),
    (winding("250k"), "did you mean '250 kohm'?", OHMS),
    (winding("6 KOhm"), "did you mean '6 kohm'?", OHMS),
    (winding("6 V"), "'V' is not a unit that fits; " + OHMS),
    (winding("-6 kohm"), "resistance cannot be negative"),
    (load("1 MOhm"), "did you mean '1 Mohm'?"),
    (load("1 MEG"), "did you mean '1 Mohm'?"),
    (load("1M"), "did you mean '1 Mohm'?"),
    (load("1 mohm"), "is not plausible", "a small m is milli, a capital M is mega",
     "is it 1 Mohm?"),
    (put("100 pF/m", f"{MARK}100 pF"), "a capacitance per length", "100 pF/m"),
    (put("100 pF/m", f"{MARK}100"), "a bare number", "a capacitance per length"),
    (put("110 pF}", f"{MARK}110 pf}}"), "did you mean '110 pF'?"),
    (put("100 pF/m}", f"100 pF/m, resistance: {MARK}80 Mohm/m}}"), "is not plausible",
     "a capital M is mega", "is it 80 mohm/m?"),
]

TOLERANCES = [
    (put("6 kohm", f"6 kohm {MARK}+-10"), "+-10: a bare number; is it 10 %, or 10 ohm?"),
    (put("6 kohm", f"6 kohm {MARK}+-"), "expected a tolerance: a share (+-10 %)", "(+-E12)"),
    (put("6 kohm", f"6 kohm {MARK}\u00b1 ten %"), "'ten %': expected a tolerance"),
    (put("6 kohm", f"6 kohm {MARK}+-100 %"), "the value could come to 0"),
    (put("6 kohm", f"6 kohm {MARK}+-7 kohm"), "the value could come to 0"),
    (put("6 kohm", f"6 kohm {MARK}+--5 %"), "a tolerance cannot be negative"),
    (put("6 kohm", f"6 kohm {MARK}+-5 V"), "'V' is not a unit that fits; " + OHMS),
    (put("6 kohm", f"6 kohm {MARK}+-5 % unifrom"), "did you mean 'uniform'?"),
    (put("6 kohm", f"6 kohm {MARK}+-E12"), "is not one of the E12 series",
     "nearest are 5.6 kohm and 6.8 kohm"),
    (put("6 kohm", f"5.6 kohm {MARK}+-E21"), "unknown series 'E21'; did you mean 'E24'?"),
    (put("6 kohm", f'"11 ohm {MARK}+-20 %"'), "reaches from 8.8 ohm to 13.2 ohm"),
    (put("6 kohm", f"{{value: 6 kohm, tolerance: {MARK}10}}"), "a bare number"),
    (put("6 kohm", f"{{value: 6 kohm, tolerance: {MARK}100 %}}"), "the value could come to 0"),
    (put("6 kohm", f"{{value: 6 kohm, tolerance: 5 %, distribution: {MARK}flat}}"),
     "unknown distribution 'flat'", "known are normal, uniform"),
    (put("6 kohm", f"{{value: 6 kohm, {MARK}tolerence: 5 %}}"), "did you mean 'tolerance'?"),
    (put("length: 6 m", f"length: {{value: 6 m, distribution: {MARK}uniform}}"), "there is none"),
    (put("length: 6 m", f"length: 299 m {MARK}+-1 %"), "to 301.99 m", "within 0 m to 300 m"),
    (chain("  - pot: {pot: 1 Mohm, taper: linear, position: 100 % " + MARK + "+-5 %}") + AMP,
     "position 100 % +-5 % reaches from 95 % to 105 %", "0 % to 100 %"),
    (chain("  - pot: {pot: 1 Mohm, taper: linear " + MARK + "+-5 %, position: 50 %}") + AMP,
     "taper is a choice, not a number"),
    (chain(*CABLE, "  - pedal: looper", f"    engaged: yes {MARK}+-5 %") + AMP,
     "engaged is a choice, not a number"),
]

FOLLOWERS = [
    (chain(*CABLE, "    name: lead", *CABLE, f"    follows: {MARK}laed") + AMP,
     "there is no 'laed' here; did you mean 'lead'?"),
    (chain(*CABLE, f"    follows: {MARK}chain[0]") + AMP, "chain[0].cable follows itself"),
    (chain(*CABLE, f"    follows: {MARK}chain[1]", *CABLE, "    follows: chain[2]", *CABLE,
           "    follows: chain[0]") + AMP,
     "a circle: chain[0].cable follows chain[1].cable follows chain[2].cable follows "
     "chain[0].cable"),
    (chain(*CABLE, "  - buffer: line-driver", f"    follows: {MARK}chain[0]") + AMP,
     "a buffer cannot follow a cable (chain[0].cable)"),
    (chain(*CABLE, f"    follows: chain{MARK}[9]") + AMP, "items go from 0 to 0"),
    (chain(*CABLE, f"    {MARK}folows: chain[0]") + AMP, "did you mean 'follows'?"),
]

ZEROS = [
    (winding("0 ohm"), "resistance 0 ohm is not plausible"),
    (load("0 ohm"), "resistance 0 ohm is not plausible"),
    (chain("  - loop:", "      name: fx", "      engaged: yes", "      chain:",
           "        - buffer: {input: {resistance: " + MARK + "0 ohm}, "
           "output: {resistance: 1 kohm}}") + AMP, "input.resistance 0 ohm is not plausible"),
    (chain("  - loop:", "      name: fx", "      engaged: no", "      chain:",
           f"        - contact: {{resistance: 1 ohm, leakage: {MARK}0 ohm}}") + AMP,
     "leakage 0 ohm is not plausible"),
    (chain("  - pot: {pot: " + MARK + "0 ohm, taper: linear, position: 50 %}") + AMP,
     "pot 0 ohm is not plausible"),
    (chain("  - pot: {pot: 250 kohm, taper: linear, position: " + MARK + "0 %}") + AMP,
     "a volume at 0 % lets no signal through"),
    (chain("  - split:", "    - {name: amp, amp: tube-input}",
           f"    - {{name: tuner, end: {{resistance: {MARK}0 ohm}}}}"),
     "resistance 0 ohm is not plausible"),
    (chain("  - buffer: {input: {resistance: 1 Mohm}, gain: " + MARK +
           "0, output: {resistance: 1 ohm}}") + AMP, "a gain of 0 lets no signal through"),
]

SHAPES = [
    ("rig: plain\n" + GUITAR + f"chain: {MARK}[]\n" + AMP, "an empty chain"),
    ("rig: plain\n" + GUITAR + f"chain: {MARK}{{cable: standard-coax}}\n" + AMP,
     "a chain: expected a list"),
    (chain(f"  - loop: {{name: fx, engaged: yes, chain: {MARK}[]}}") + AMP, "an empty chain"),
    (chain("  - split:", f"      - {MARK}name: left", "        chain:",
           "          - cable: standard-coax", "            length: 1 m",
           "      - {name: right, amp: tube-input}"), "nothing at its end", "'amp'", "'end: open'"),
    (chain("  - split:", "      - {name: left, amp: tube-input}", f"  - {MARK}cable: standard-coax",
           "    length: 1 m"), "a split is the last item of its chain"),
    (chain("  - loop:", "      name: fx", "      engaged: yes", "      chain:",
           f"        - {MARK}split:", "            - {name: left, amp: tube-input}") + AMP,
     "a split cannot stand here"),
    (chain("  - split:", "      - {name: left, amp: tube-input}") + f"amp: {MARK}tube-input\n",
     "its chain ends in a split"),
    (chain("  - split:", f"      - {MARK}{{amp: tube-input}}"), "a branch of a split needs a 'name'"),
    (chain("  - split:", "      - {name: left, amp: tube-input}",
           f"      - {MARK}{{name: left, end: open}}"), "a second branch of the name 'left'"),
    (chain("  - split:", "      - {name: left, end: open}").replace("rig:", f"{MARK}rig:"),
     "no branch of this rig ends in an amp"),
    (chain(f"  - split: {MARK}[]"), "a split needs branches"),
    (chain("  - split:", f"      - {{name: left, end: {MARK}shut}}"), "'shut': expected 'open'"),
    (chain("  - split:", f"      - {{name: left, amp: tube-input, end: {MARK}open}}"),
     "it cannot have an 'end' too"),
    (chain(*CABLE, "    name: lead", f"  - {MARK}cable: standard-coax", "    length: 1 m",
           "    name: lead") + AMP, "a second item of the name 'lead'"),
    (chain(*CABLE, "    name: lead", "  - loop:", "      name: fx", "      engaged: yes",
           "      chain:", f"        - {MARK}cable: standard-coax", "          length: 1 m",
           "          name: lead") + AMP, "a second item of the name 'lead'"),
    ("rig: plain\nguitar:\n  pickups:\n    - {pickup: single-coil, name: neck}\n"
     f"    - {MARK}{{pickup: single-coil, name: neck}}\n  wiring: series\n" + CHAIN + AMP,
     "a second pickup of the name 'neck'"),
    ("rig: plain\nguitar:\n  " + MARK + "pickups: [single-coil, single-coil]\n" + CHAIN + AMP,
     "several pickups need 'wiring: parallel' or 'wiring: series'"),
    ("rig: plain\n" + GUITAR + f"  source: {MARK}{{output: {{resistance: 1 kohm}}}}\n" + CHAIN + AMP,
     "one of 'pickup', 'pickups' and 'source'"),
]

YAML_EXTRAS = [
    (put("{resistance: 1", f"{MARK}&a {{resistance: 1"), "an anchor ('&') is not used"),
    (put("amp: {resistance: 1 Mohm, capacitance: 20 pF}", f"amp: {MARK}*a"),
     "an alias ('*') is not used"),
    (put("{resistance: 1", f"{MARK}!amp {{resistance: 1"), "a tag ('!') is not used"),
    (put("plain", f"{MARK}!!python/object/apply:os.system ['touch x']"), "a tag ('!') is not used"),
    (put("length: 6 m", f"length: {MARK}!!str 6 m"), "a tag ('!') is not used"),
    (RIG + f"{MARK}---\nrig: another\n", "a second document ('---') is not used"),
    (put("amp: {", f"amp: {{{MARK}<<: {{stopper: 1 kohm}}, "), "unknown '<<'"),
]

HOSTILE_TEXT = [
    (put("plain", f'{MARK}"pl\\e[31main"'), "control characters", "title"),
    (put("plain", f'{MARK}"pl\\nain"'), "control characters", "title"),
    (put("plain", f'{MARK}"pl\\0ain"'), "NUL"),
    (put("plain", f"{MARK}pl\u202eain"), "title"),
    (put("plain", f"{MARK}{'x' * 300}"), "a rig's title of more than 200 bytes"),
    (put("plain", f"{MARK}[a, b]"), "a rig's title: expected a single value"),
    (put("6 m\n", f'6 m\n    name: {MARK}"a\\x07b"\n'), "'a\\x07b' cannot be a name"),
    (put("6 m\n", f'6 m\n    name: {MARK}"a\\nb"\n'), "'a\\x0ab' cannot be a name"),
    (put("6 m\n", f"6 m\n    name: {MARK}a`id`b\n"), "'a`id`b' cannot be a name",
     "letters, digits, blank, '-' and '_'"),
    (put("6 m\n", f"6 m\n    name: {MARK}{'n' * 49}\n"), "cannot be a name", "at most 48"),
    (put("6 m\n", f"6 m\n    name: {MARK}'12'\n"), "cannot be a name", "a letter in it"),
    (put("6 m\n", f"6 m\n    name: {MARK}''\n"), "cannot be a name"),
    (chain("  - split:", f"      - {{name: {MARK}'a$(id)', amp: tube-input}}"),
     "'a$(id)' cannot be a name"),
]

# Bytes, and where: a line and a column, or None for anywhere in the file.
HOSTILE_BYTES = [
    (RIG.encode().replace(b"plain", b"pl\0ain"), "1:8", "control character"),
    (RIG.encode() + b"\0more: [\n", "8:1", "control character"),
    (RIG.encode().replace(b"plain", b"pl\xff\xfeain"), "1:8", "UTF-8"),
    (RIG.encode().replace(b"plain", b"plain\xc3"), "1:11", "UTF-8"),
    (RIG.encode().replace(b"plain", b"pl\x1b[31main"), "1:8", "control character"),
    (RIG.encode().replace(b"6 m", b"6 m\x08"), "6:16", "control character"),
    (RIG.encode("utf-16"), "1:1", ""),
    (bytes(range(256)) * 20, "1:1", ""),
    (b"\x7fELF" + bytes(500), "1:1", ""),
]

GOOD = [RIG, "\ufeff" + RIG, RIG.replace("\n", "\r\n"), "---\n" + RIG, "%YAML 1.2\n---\n" + RIG,
        RIG.replace("plain", "caf\u00e9 \u266f"), RIG.replace("6 m", "20 ft"),
        RIG.replace("6 kohm", "6 k\u03a9"), RIG.replace("6 kohm", "6kohm"),
        "rig: plain\nguitar:\n  pickups: [single-coil]\n" + CHAIN + AMP]


def marked(text):
    """The rig without its mark, and the line, column, and the rest of the line after the mark."""
    before, after = text.split(MARK)
    line = before.count("\n") + 1
    start = before.rsplit("\n", 1)[-1]
    return before + after, line, len(start.encode()) + 1, start, after.split("\n")[0]


def check_caret(cases, said, start, rest):
    """The third line of an error points into the second where the mark stood."""
    lines = said.split("\n")
    if not cases.check(len(lines) == 4 and lines[3] == "", "not three lines:", said):
        return
    shown, caret = lines[1], lines[2]
    at = caret.find("^")
    cases.check(at >= 2 and caret.strip(" ") == "^", "no caret:", said)
    before = start.replace("\t", " ")[-30:]
    after = rest.replace("\t", " ").replace("\u202e", "\\xe2\\x80\\xae")[:30]
    cases.check(shown[:at].endswith(before) and shown[at:].startswith(after), "caret astray:", said)


def refuse_text(cases, text, *words, command=("response",)):
    """The rig is refused at the mark; an earlier answer stays, and nothing else appears."""
    content, line, column, start, rest = marked(text)
    cases.clear()
    cases.write("earlier.txt", "an earlier answer\n")
    cases.write("rig.yaml", content)
    before = cases.left()
    done = cases.run(*command, "rig.yaml", "--output", "earlier.txt")
    said = done.stderr.decode()
    cases.check(done.returncode == 2, "exit", done.returncode, content, said)
    cases.check(said.startswith(f"rig.yaml:{line}:{column}: error: "), "place, expected",
                f"{line}:{column}", said)
    for word in words:
        cases.check(word in said.split("\n")[0], "no word of", word, "in", said)
    check_caret(cases, said, start, rest)
    cases.check(done.stdout == b"", "said on standard output:", done.stdout)
    cases.check(cases.read("earlier.txt") == b"an earlier answer\n", "earlier answer changed")
    cases.check(cases.left() == before, "left behind:", cases.left())


def refuse(cases, words, status, *expected, **more):
    """A run that fails without a place in a file."""
    before = cases.left()
    done = cases.run(*words, **more)
    said = done.stderr.decode()
    cases.check(done.returncode == status, words, "exit", done.returncode, "expected", status, said)
    cases.check(not done.stdout, words, "said on standard output:", done.stdout)
    cases.check(said.startswith(("toneload: error: ", "--vary:")) and said.endswith("\n"), said)
    for word in expected:
        cases.check(word in said, words, "no word of", word, "in", said)
    cases.check(cases.left() == before, words, "left behind:", cases.left())
    return said


def check_rigs(cases):
    cases.group("good rigs, which all that follows is a change of")
    for rig in GOOD:
        cases.write("rig.yaml", rig)
        done = cases.run("response", "rig.yaml")
        cases.check(done.returncode == 0 and done.stdout and not done.stderr, rig, done)
    for name, group in (("wrong YAML", SYNTAX), ("unknown keys and names", NAMES),
                        ("missing values", MISSING), ("units and ranges", UNITS),
                        ("tolerances", TOLERANCES), ("parts that follow", FOLLOWERS),
                        ("0 ohm and nothing to measure", ZEROS), ("shapes of rig", SHAPES),
                        ("anchors, aliases, tags, documents", YAML_EXTRAS),
                        ("titles and names", HOSTILE_TEXT)):
        cases.group(f"{name}, {len(group)} rigs")
        for text, *words in group:
            refuse_text(cases, text, *words)
    cases.group("the same error from each command that reads a rig")
    for command in ("check", "netlist", "compare"):
        more = ("--vary", "amp.resistance=1 Mohm") if command == "compare" else ()
        refuse_text(cases, length("6"), "a bare number", command=(command, *more))


def check_bytes(cases):
    cases.group(f"bytes that are no text, {len(HOSTILE_BYTES)} files")
    for content, place, word in HOSTILE_BYTES:
        cases.clear()
        cases.write("rig.yaml", content)
        done = cases.run("check", "rig.yaml")
        cases.check(done.returncode == 2 and not done.stdout, content[:40], done)
        cases.check(done.stderr.startswith(f"rig.yaml:{place}: error: ".encode()), place, done)
        cases.check(word.encode() in done.stderr, word, done)
        cases.check(all(byte >= 0x20 or byte == 10 for byte in done.stderr), "controls", done)


def check_sizes(cases):
    cases.group("rigs too large or too deep")
    cases.clear()
    cases.write("rig.yaml", "rig: a\n" + "# remark\n" * 1200000)
    refuse(cases, ("check", "rig.yaml"), 2, "rig.yaml: is larger than 1000 kB", timeout=5)
    cases.write("rig.yaml", "rig: a\n")
    os.truncate(cases.path("rig.yaml"), 10 << 30)
    refuse(cases, ("check", "rig.yaml"), 2, "is larger than", timeout=5)
    for nest, sign in (("[", "["), ("{a: ", "{"), (" -", " -"), ("[\n ", "[")):
        head = "rig: a\nx:\n " + nest * 59  # with the mapping around them, 60 levels
        cases.write("rig.yaml", head + nest * 9941 + "\n")
        done = cases.run("check", "rig.yaml", timeout=10)
        cases.check(done.returncode == 2 and not done.stdout, nest, done)
        line = head.count("\n") + 1
        column = len(head.split("\n")[-1] + sign)
        cases.check(done.stderr.startswith(f"rig.yaml:{line}:{column}: error: nested deeper than "
                                           "60 levels\n".encode()), nest, line, column, done)
    cases.write("rig.yaml", "rig: a\n" + "x:\n" + "".join(" " * i + "a:\n" for i in range(1, 1200)))
    done = cases.run("check", "rig.yaml", timeout=10)
    cases.check(done.returncode == 2 and b"nested deeper than" in done.stderr, done)
    # The YAML library takes quadratic time for these: minutes, if nothing stopped them.
    slow = {"names in one mapping": "rig: a\nx:\n" + "".join(f"  {i:x}: 1\n" for i in range(90000)),
            "items in one list": "rig: [" + "a: b, " * 150000 + "]\n",
            "a directive of more than": "%" * 900000, "a tag of more than": "rig: !a!" + "%41" * 300000,
            "a gap of more than": "rig: a" + "\n" * 900000 + " b\n"}
    for words, content in slow.items():
        cases.write("rig.yaml", content)
        done = cases.run("check", "rig.yaml", timeout=10)
        cases.check(done.returncode == 2 and not done.stdout and words.encode() in done.stderr, done)
    refuse_text(cases, chain(*(CABLE * 1001)).replace("- cable", f"{MARK}- cable", 1) + AMP,
                "a chain of more than 1000 items")


# Words of --vary with the mark, and what is said.
VARIES = [
    (f"{MARK}amp", "expected PATH=V1,V2,..."),
    (f"{MARK}=3 m", "expected PATH=V1,V2,..."),
    (f"amp.resistance={MARK}", "expected a value"),
    (f"amp.resistance=1 Mohm,{MARK}", "expected a value"),
    (f"amp.resistance={MARK},1 Mohm", "expected a value"),
    (f"amp.resistance={MARK}1", "a bare number", OHMS),
    (f"amp.resistance=1 Mohm,{MARK}250k", "did you mean '250 kohm'?"),
    (f"amp.resistance={MARK}-1 Mohm", "cannot be negative"),
    (f"amp.resistance={MARK}0 ohm", "is not plausible"),
    (f"amp.resistance={MARK}1 mohm", "is it 1 Mohm?"),
    (f"{MARK}ampp.resistance=1 Mohm", "there is no 'ampp' here", "did you mean 'amp'?"),
    (f"amp.{MARK}rezistance=1 Mohm", "there is no 'rezistance' here", "'resistance'?"),
    (f"chain[0].{MARK}lenght=1 m", "there is no 'lenght' here", "did you mean 'length'?"),
    (f"chain{MARK}[1].length=1 m", "there is no item 1", "from 0 to 0"),
    (f"chain{MARK}[-1].length=1 m", "there is no '-1' here"),
    (f"chain{MARK}[99999999999999999999].length=1 m", "there is no"),
    (f"chain{MARK}[drive].engaged=yes", "there is no 'drive' here"),
    (f"chain{MARK}[0.length=1 m", "expected [number] or [name]"),
    (f"chain{MARK}[].length=1 m", "expected [number] or [name]"),
    (f"chain[0]{MARK}=1 m", "expected '.' and the name of a value"),
    (f"chain{MARK}=1 m", "expected [number] or [name]"),
    (f"chain[0].cable={MARK}standart-coax", "did you mean 'standard-coax'?"),
    (f"chain[0].cable={{capacitance: 100 pF/m, {MARK}colour: 1}}", "unknown 'colour' for a cable"),
    (f"chain[0].length={MARK}[1 m]", "expected a single value, found a list"),
    (f"chain[0].length={MARK}*a", "an alias ('*') is not used"),
    (f"chain[0].length={MARK}!t 1 m", "a tag ('!') is not used"),
    (f"chain[0].length=1 m,'{MARK}2 m", "YAML:", "without closing quote"),
    (f"guitar.volume{MARK}.position=50 %", "expected a guitar with a volume control"),
    (f"{MARK}rig=x", "there is no 'rig' here", "known are guitar, chain, amp, direct"),
    (f"{MARK}a\x1b[31m=1", "control characters"),
    (f"{MARK}a\nb=1", "control characters"),
]


def check_varies(cases):
    cases.group(f"--vary, {len(VARIES)} paths and values")
    cases.clear()
    cases.write("rig.yaml", RIG)
    for text, *words in VARIES:
        content, _, column, start, rest = marked(text)
        said = refuse(cases, ("compare", "rig.yaml", "--vary", content), 2, *words)
        cases.check(said.startswith(f"--vary:1:{column}: error: "), column, said)
        if "\x1b" not in content and "\n" not in content:
            check_caret(cases, said, start, rest)
    done = cases.run("compare", "rig.yaml", "--vary", "chain[0].cable={capacitance: 100 pF/m")
    cases.check(done.returncode == 2 and done.stderr.startswith(b"--vary:") and
                b"YAML:" in done.stderr and not done.stdout, done)
    done = cases.run("compare", "rig.yaml", "--vary", b"amp.resistance=\xff")
    cases.check(done.returncode == 2 and b"UTF-8" in done.stderr and not done.stdout, done)
    values = ",".join(f"{i} kohm" for i in range(1, 401))
    refuse(cases, ("compare", "rig.yaml", "--vary", "amp.resistance=" + values,
                   "--vary", "chain[0].length=" + ",".join(["1 m"] * 400)), 2,
           "more than 100000 variants")


def check_options(cases):
    cases.group("options and words of the command line")
    cases.clear()
    cases.write("rig.yaml", RIG)
    cases.write("riff.wav", "a recording")
    cases.write("home.yaml", RIG)
    rig = "rig.yaml"
    refused = [
        (("frob",), "there is no command 'frob'", "response, compare, ", "check, parts, netlist"),
        (("responce", rig), "there is no command 'responce'", "did you mean 'response'?"),
        (("",), "there is no command ''"),
        (("help", "frob"), "there is no command 'frob'"),
        (("response",), "expected: toneload response RIG.yaml"),
        (("response", rig, rig), "is one word too many"),
        (("response", rig, "--frob"), "'response' has no option '--frob'", "toneload response --help"),
        (("response", rig, "--out", "x"), "did you mean --output?"),
        (("response", rig, "-o", "x"), "has no option '-o'"),
        (("response", rig, "--jobs", "2"), "'response' has no option '--jobs'"),
        (("netlist", rig, "--json"), "'netlist' has no option '--json'"),
        (("response", rig, "--output"), "--output needs a value", "FILE"),
        (("response", rig, "--output="), "--output needs a value that is not empty"),
        (("response", rig, "--plot", ""), "--plot needs a value that is not empty"),
        (("response", rig, "--json=1"), "--json takes no value"),
        (("response", rig, "--json", "--csv"), "--json and --csv"),
        (("response", rig, "--points", "10"), "--points goes with --json"),
        (("compare", rig), "nothing to compare", "--vary PATH=V1,V2"),
        (("compare",), "expected: toneload compare"),
        (("response", rig, "--output", "./rig.yaml"), "would overwrite what was asked about"),
        (("netlist", rig, "--output", "rig.yaml"), "would overwrite what was asked about"),
        (("lesson", rig, "--out", "./rig.yaml"), "would overwrite what was asked about"),
        (("lesson", rig, "--out", "page.pdf"), "a page, not a picture", "ends in .html"),
        (("listen", rig, "--out", "x", "--input", "riff.wav", "--output", "riff.wav"), "would overwrite what was asked about"),
        (("listen", rig, "--out", "x", "--recorded-through", "home.yaml", "--output", "home.yaml"),
         "would overwrite what was asked about"),
        (("compare", rig, "--vary", "chain[0].length=1 m,2 m", "--vary", "chain[0].length=3 m"), "undo an earlier --vary"),
        (("compare", rig, "--vary", "chain[0].length=1 m", "--vary", "chain[0].cable={capacitance: 90 pF/m}"),
         "undo an earlier --vary", "a whole part before values of it"),
        (("parts", "cabel"), "no kind of part named 'cabel'", "did you mean 'cable'?"),
        (("parts", "frob"), "no kind of part named 'frob'", "pickup", "amp"),
    ]
    numbers = {
        "--points": ("whole number from 2 to 100000",
                     ("0", "1", "-5", "1.5", "x", "1e300", "nan", "0x10", "100001", "10 ", "9" * 400)),
        "--jobs": ("whole number from 1 to 256", ("0", "-1", "257", "1.5", "x", "1,2")),
        "--time-limit": ("number from 0.001 to 86400", ("0", "-1", "inf", "nan", "x", "1 s", "1e9")),
        "--reference-hz": ("number from 10 to 20000", ("0", "-1", "inf", "200 Hz", "30000")),
    }
    for option, (words, values) in numbers.items():
        for value in values:
            refused.append((("compare", rig, "--vary", "amp.resistance=1 Mohm", "--json", option,
                             value), f"{option} '{value}'", words))
    for plot in ("x", "x.gif", "|cmd", "x.svg.txt", "svg", "/"):
        refused.append((("response", rig, "--plot", plot), "ends in .svg, .png or .pdf"))
    for words, *expected in refused:
        refuse(cases, words, 2, *expected)
    done = cases.run()
    cases.check(done.returncode == 2 and b"expected a command" in done.stderr, done)
    cases.check(cases.run("help", "sweep").stdout == cases.run("sweep", "--help").stdout, "help sweep")
    cases.check(cases.run("help").stdout == cases.run("--help").stdout != b"", "help")


PR_CAPBSET_DROP = 24  # linux/prctl.h
CAP_DAC_OVERRIDE, CAP_DAC_READ_SEARCH = 1, 2  # linux/capability.h


def give_up_rights():
    """Takes from root what lets it read and write what nobody may; still it can run what lies in its home."""
    libc = ctypes.CDLL(None, use_errno=True)
    for capability in (CAP_DAC_OVERRIDE, CAP_DAC_READ_SEARCH):
        if libc.prctl(PR_CAPBSET_DROP, capability, 0, 0, 0) != 0:
            os._exit(99)


def as_nobody():
    """How to run a program that root's rights do not help to read and write."""
    return {"preexec_fn": give_up_rights} if os.getuid() == 0 else {}


def check_files(cases):
    cases.group("files that cannot be read")
    cases.clear()
    cases.write("rig.yaml", RIG)
    os.mkdir(cases.path("folder"))
    os.symlink("around", cases.path("around"))
    for command in (("check",), ("response",), ("netlist",)):
        refuse(cases, (*command, "missing.yaml"), 2, "missing.yaml: cannot be read", "No such file")
    refuse(cases, ("check", "folder"), 2, "folder: is a folder, expected a file")
    refuse(cases, ("check", "rig.yaml/x"), 2, "Not a directory")
    refuse(cases, ("check", "around"), 2, "around: cannot be read")
    refuse(cases, ("check", "n" * 300), 2, "File name too long")
    refuse(cases, ("check", ""), 2, "cannot be read")
    refuse(cases, ("check", "/proc/self/mem"), 2, "/proc/self/mem: cannot be read: Input/output error")
    refuse(cases, ("check", "/dev/zero"), 2, "is larger than", timeout=5)
    refuse(cases, ("compare", "rig.yaml", "missing.yaml"), 2, "missing.yaml: cannot be read")
    said = refuse(cases, ("check", "no\nsuch: error: \x1b[31mfile"), 2, "no\\x0asuch")
    cases.check(said.count("\n") == 1 and "\x1b" not in said, said)
    cases.write("secret.yaml", RIG)
    os.chmod(cases.path("secret.yaml"), 0)
    refuse(cases, ("check", "secret.yaml"), 2, "secret.yaml: cannot be read: Permission denied",
           **as_nobody())


def limit_size(size):
    """Files of at most so many bytes: a disk that fills up in the middle of a write."""
    def limit():
        signal.signal(signal.SIGXFSZ, signal.SIG_DFL)
        resource.setrlimit(resource.RLIMIT_FSIZE, (size, resource.RLIM_INFINITY))
    return limit


def check_outputs(cases):
    cases.group("answers that cannot be written")
    cases.clear()
    cases.write("rig.yaml", RIG)
    cases.write("earlier.txt", "an earlier answer\n")
    os.mkdir(cases.path("folder"))
    os.mkdir(cases.path("shut"), 0o555)
    os.symlink("nowhere/at/all", cases.path("dangling"))
    vary = ("--vary", "amp.resistance=1 Mohm,2 Mohm")
    commands = (("response", "rig.yaml"), ("compare", "rig.yaml", *vary), ("check", "rig.yaml"),
                ("parts",), ("netlist", "rig.yaml"))
    for command in commands:
        for form in (("--json",), ("--csv",), ()):
            if form and command[0] == "netlist":
                continue
            words = command + form
            refuse(cases, (*words, "--output", "/dev/full"), 1, "/dev/full: cannot be written",
                   "No space left on device")
            with open("/dev/full", "wb") as full:
                refuse(cases, words, 1, "standard output cannot be written", "No space left",
                       stdout=full)
    for path, words in {"missing/x.txt": "missing/x.txt: cannot be written: No such file",
                        "folder": "folder: is a folder", "rig.yaml/x": "Not a directory",
                        "/proc/x": "cannot be written", "n" * 300: "File name too long"}.items():
        refuse(cases, ("check", "rig.yaml", "--output", path), 1, words)
    refuse(cases, ("check", "rig.yaml", "--output", "shut/x.txt"), 1,
           "shut/x.txt: cannot be written: Permission denied", **as_nobody())
    for plot in ("missing/x.svg", "/proc/x.svg"):
        refuse(cases, ("response", "rig.yaml", "--plot", plot), 1, f"{plot}: cannot be written")
    for option in ("--help", "--version"):
        with open("/dev/full", "wb") as full:
            refuse(cases, (option,), 1, "standard output cannot be written", stdout=full)
    done = subprocess.run(["/bin/sh", "-c", f"exec '{cases.toneload}' check rig.yaml >&-"],
                          cwd=cases.here, stderr=subprocess.PIPE, timeout=20,
                          env=cases.environment)
    cases.check(done.returncode == 1 and b"standard output cannot be written" in done.stderr, done)
    read_end, write_end = os.pipe()
    os.close(read_end)
    refuse(cases, ("parts",), 1, "standard output cannot be written", "Broken pipe",
           stdout=write_end)
    os.close(write_end)

    cases.group("a disk that fills up in the middle of a write")
    full = cases.run("parts", "--json", "--output", "whole.json")
    size = os.path.getsize(cases.path("whole.json"))
    cases.check(full.returncode == 0 and size > 20000, size)
    for limit in (0, 1, 4096, size - 1):
        for path in ("earlier.txt", "new.txt"):
            refuse(cases, ("parts", "--json", "--output", path), 1,
                   f"{path}: cannot be written: File too large", preexec_fn=limit_size(limit))
        with open(cases.path("out.txt"), "wb") as out:
            done = cases.run("parts", "--json", stdout=out, preexec_fn=limit_size(limit))
        os.remove(cases.path("out.txt"))
        cases.check(done.returncode == 1 and b"standard output cannot be written" in done.stderr,
                    limit, done)
    done = cases.run("parts", "--json", "--output", "earlier.txt", preexec_fn=limit_size(size))
    cases.check(done.returncode == 0 and cases.read("earlier.txt") == cases.read("whole.json"),
                "with just enough room:", done)
    cases.write("earlier.svg", "an earlier plot\n")
    for path in ("earlier.svg", "new.svg"):
        refuse(cases, ("response", "rig.yaml", "--plot", path), 1,
               preexec_fn=limit_size(3000))
    cases.check(cases.read("earlier.svg") == b"an earlier plot\n", "earlier plot changed")
    check_small_disk(cases)


def check_small_disk(cases):
    """The real thing, where there are the rights to mount one."""
    disk = os.path.join(cases.top, "disk")
    os.mkdir(disk)
    script = ("mount -t tmpfs -o size=16k tmpfs \"$1\" || exit 99; cd \"$1\"; echo earlier > e.json; "
              "\"$0\" parts --json --output e.json; echo $? $(cat e.json) $(ls -A)")
    done = subprocess.run(["unshare", "-m", "/bin/sh", "-c", script, cases.toneload, disk],
                          stdout=subprocess.PIPE, stderr=subprocess.PIPE, timeout=20,
                          env=cases.environment)
    if done.returncode == 99 or b"unshare" in done.stderr:
        print("  (no right to mount a small disk here: left out)")
        return
    cases.check(done.stdout == b"1 earlier e.json\n", "small disk:", done)
    cases.check(b"e.json: cannot be written: No space left on device" in done.stderr, done)


PART = "kind: cable\nparts:\n  my-lead:\n    about: mine\n    source: from memory\n"
LIBRARIES = [
    ("kind: cable\nparts: {}\ntolerances: " + MARK + "8 %\n", "tolerances: expected a mapping"),
    ("kind: cable\nparts: {}\ntolerances:\n  " + MARK + "capacitanse: {tolerance: 8 %}\n",
     "did you mean 'capacitance'?"),
    ("kind: cable\nparts: {}\ntolerances:\n  capacitance: " + MARK + "{tolerance: 8 %}\n",
     "a tolerance needs its source"),
    ("kind: cable\nparts: {}\ntolerances:\n  capacitance: {source: me, tolerance: " + MARK +
     "8}\n", "a bare number; is it 8 %?"),
    (PART + f"    capacitance: 100 pF/m {MARK}+-8\n", "a bare number; is it 8 %, or 8 F/m?"),
    (PART + f"    capacitance: 100 pF/m\n    {MARK}follows: lead\n", "it stands in a rig"),
    ("kind: cable\nparts:\n  my-lead: {capacitance: 100 pF/m\n" + MARK, "YAML:"),
    (f"kind: {MARK}pedal\nparts: {{}}\n", "needs 'kind: cable'"),
    (f"{MARK}parts: {{}}\n", "needs 'kind: cable'"),
    (f"{MARK}kind: cable\n", "a library file needs 'parts'"),
    (f"kind: cable\nparts: {{}}\n{MARK}colour: red\n", "unknown 'colour' in a library file"),
    (f"kind: cable\nparts:\n  {MARK}'my`id`lead': {{}}\n", "'my`id`lead' cannot name a part"),
    ("kind: cable\nparts:\n  my-lead:\n    capacitance: " + MARK + "100 pF/m\n",
     "a library value needs its source"),
    (PART + f"    capacitance: {MARK}100 pF\n", "a capacitance per length"),
    (PART + f"    {MARK}capacitanse: 100 pF/m\n", "did you mean 'capacitance'?"),
    (PART + f"    {MARK}length: 6 m\n    capacitance: 100 pF/m\n", "unknown 'length'"),
    ("kind: cable\nparts:\n  my-lead:\n    capacitance: " + MARK + "{value: 100 pF/m}\n",
     "expected a value, or {value: .., source: ..}"),
    ("kind: cable\nparts:\n  my-lead: " + MARK + "{about: mine, source: from memory}\n",
     "a cable needs 'capacitance'"),
]


LOOSE = [("2.5 H", "2.5 H +-7 %"), ("6 kohm", "6 kohm \u00b1 0.5 kohm uniform"),
         ("110 pF", "{value: 110 pF, tolerance: E24}"), ("1 Mohm", "1 Mohm +-E6"),
         ("100 pF/m", "100 pF/m +-8 %"), ("6 m\n", "6 m +-1 %\n    follows: direct[0]\n")]


def check_tolerances(cases):
    cases.group("tolerances, which change no answer but are listed")
    cases.clear()
    direct = "direct:\n  - cable: {capacitance: 100 pF/m}\n    length: 5 m\n"
    loose = RIG
    for plain, with_tolerance in LOOSE:
        loose = put(plain, with_tolerance, loose)
    cases.write("plain.yaml", RIG + direct)
    cases.write("loose.yaml", loose + direct)
    vary = ("--vary", "chain[0].length=3 m,6 m")
    for command in (("response", "--json", "--points", "50"), ("compare", "--json", *vary),
                    ("netlist",)):
        plain, with_tolerances = (cases.run(command[0], name, *command[1:]).stdout
                                  for name in ("plain.yaml", "loose.yaml"))
        cases.check(plain and plain == with_tolerances, command, "differs")
    vary = cases.run("compare", "plain.yaml", "--json", "--vary", "amp.resistance=1 Mohm +-5 %")
    cases.check(vary.returncode == 0 and b"1 Mohm +-5 %" in vary.stdout, vary)
    listed = json.loads(cases.run("check", "loose.yaml", "--json").stdout)["values"]
    rows = {(row["part"], row["field"]): row for row in listed}
    for part, field, share, distribution, source in (
            ("guitar.pickup", "inductance", 0.07, "normal", "loose.yaml:3"),
            ("guitar.pickup", "resistance", 0.5 / 6, "uniform", "loose.yaml:3"),
            ("guitar.pickup", "capacitance", 0.05, "normal", "loose.yaml:3"),
            ("amp", "resistance", 0.2, "normal", "loose.yaml:8"),
            ("amp", "capacitance", 0.2, "normal", "from memory: strays and wiring"),
            ("chain[0].cable", "length", 0.01, "normal", "loose.yaml:6"),
            ("direct[0].cable", "length", None, None, None)):
        row = rows[part, field]
        near = row["tolerance"] == share or abs(row["tolerance"] - share) < 1e-9
        cases.check(near and row["distribution"] == distribution and
                    row["tolerance_source"] == source, row)
    cases.check(rows["chain[0].cable", "length"]["about"].endswith("follows direct[0]"), rows)
    text = cases.run("check", "loose.yaml").stdout.decode()
    for words in ("2.5 H +-7 %  ", "6 kohm +-8.333 % uniform", "20 pF (+-20 %)",
                  "\n    amp capacitance: from memory: strays and wiring\n"):
        cases.check(words in text, "no", words, "in", text)
    cases.check(b"\n    pot pot: " in cases.run("parts", "pot").stdout)


def check_parts(cases):
    cases.group(f"folders of parts, {len(LIBRARIES)} broken ones")
    cases.clear()
    os.mkdir(cases.path("own"))
    cases.write("rig.yaml", put("{capacitance: 100 pF/m}", "my-lead"))
    cases.write("own/cable.yaml", PART + "    capacitance: 100 pF/m\n")
    done = cases.run("check", "rig.yaml", "--parts", "own")
    cases.check(done.returncode == 0 and b"my-lead" in done.stdout, done)
    refuse(cases, ("check", "rig.yaml", "--parts", "missing"), 2,
           "missing: there is no such folder of parts")
    refuse(cases, ("check", "rig.yaml", "--parts", "rig.yaml"), 2,
           "rig.yaml: there is no such folder of parts")
    refuse(cases, ("parts", "--parts", "missing"), 2, "there is no such folder of parts")
    for text, *words in LIBRARIES:
        content, line, column, start, rest = marked(text)
        cases.write("own/cable.yaml", content)
        for command in (("check", "rig.yaml"), ("parts", "cable")):
            done = cases.run(*command, "--parts", "own")
            said = done.stderr.decode()
            cases.check(done.returncode == 2 and not done.stdout, command, content, done)
            cases.check(said.startswith(f"own/cable.yaml:{line}:{column}: error: "), line, column,
                        said)
            for word in words:
                cases.check(word in said, word, said)
            check_caret(cases, said, start, rest)
    os.remove(cases.path("own/cable.yaml"))
    os.mkdir(cases.path("own/cable.yaml"))
    refuse(cases, ("check", "rig.yaml", "--parts", "own"), 2, "own/cable.yaml: is a folder")


def run(cases):
    check_rigs(cases)
    check_bytes(cases)
    check_sizes(cases)
    check_varies(cases)
    check_options(cases)
    check_files(cases)
    check_outputs(cases)
    check_parts(cases)
    check_tolerances(cases)


if __name__ == "__main__":
    main(run)
