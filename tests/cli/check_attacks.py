#!/usr/bin/python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""Hostile titles, names, paths, start-up files and variables: nothing of them is ever run.

Usage: check_attacks.py BUILD_DIR

Each attack is first shown to work on plain ngspice or gnuplot, used the naive way: a file named
`mark` (ngspice makes letters small) appears, or the program that runs the command is killed by it.
toneload then gets the same.
"""
import csv
import io
import json
import os
import subprocess
import xml.etree.ElementTree as xml

from cases import AMP, CHAIN, GUITAR, RIG, main

DIRECT = "direct:\n  - cable: standard-coax\n    length: 6 m\n"


def titles(mark):
    """Texts that are allowed as a rig's title, and dangerous somewhere."""
    touch = f"touch {mark}"
    return [
        f"`{touch}`", f"a'; system('{touch}'); '", f"'.system('{touch}').'", f"''; !{touch}",
        f'"; system("{touch}"); "', f"$({touch})", f"; {touch};", f"|{touch}", f"<{touch}",
        f"# shell {touch}", f"*# shell {touch}", f"#shell {touch}", f"> !{touch}",
        f".control shell {touch} .endc", f"=cmd|'/C {touch}'!A1", "@SUM(1)", "+1+2", "-1+2", "  =1",
        "%s%n%d%1$s", r"\n\033[31m\t\\", r"\\', 'x", "{/Symbol=90 big} x_2^3", "@macro", "$curve0",
        "a,b;c\"d\"'e", "<b>&amp;</b>", "caf\u00e9 \u266f \U0001f3b8", "x" * 200, "--output=mark", "'",
        '"', "`", "\\", "END", "null",
    ]


def rig_of(title):
    return f"rig: {json.dumps(title, ensure_ascii=False)}\n" + GUITAR + CHAIN + AMP + DIRECT


# ---- what is shown

def is_quiet(data):
    """Whether bytes do nothing to a terminal: UTF-8 without controls, but for line ends."""
    try:
        text = data.decode()
    except UnicodeDecodeError:
        return False
    turns = set(range(0x202a, 0x202f)) | set(range(0x2066, 0x206a)) | {0x200e, 0x200f, 0x2028, 0x2029}
    return all(sign == "\n" or (ord(sign) >= 0x20 and not 0x7f <= ord(sign) <= 0x9f and
                                ord(sign) not in turns) for sign in text)


def is_number(cell):
    try:
        float(cell)
        return True
    except ValueError:
        return False


def check_csv(cases, data, about):
    """Whatever a spreadsheet would reckon out is a number of ours, or made words."""
    cases.check(is_quiet(data.replace(b"\r\n", b"\n")), about, data)
    rows = list(csv.reader(io.StringIO(data.decode(), newline=""), strict=True))
    cases.check(len(rows) > 1 and len({len(row) for row in rows}) == 1, about, rows)
    for row in rows:
        for cell in row:
            formula = cell.lstrip(" ")[:1] in tuple("=+-@\t\r\n") and cell.strip() != ""
            cases.check(not formula or is_number(cell), about, "a formula:", cell)
    return rows


def svg_words(cases, name, about):
    """The texts of a plot, which must be a whole picture."""
    try:
        tree = xml.fromstring(cases.read(name))
    except (OSError, xml.ParseError) as trouble:
        cases.check(False, about, "no plot:", trouble)
        return []
    cases.check(len([path for path in tree.iter() if path.tag.endswith("path")]) > 5, about,
                "an empty plot")
    return ["".join(text.itertext()).strip() for text in tree.iter() if text.tag.endswith("text")]


def no_mark(cases, *about):
    for folder in (cases.here, cases.top, "/tmp"):
        path = os.path.join(folder, "mark")
        if not cases.check(not os.path.exists(path), "RAN:", *about):
            os.remove(path)


def shell_free(cases, *words, **more):
    """A run that must work and must not run anything."""
    done = cases.run(*words, **more)
    cases.check(done.returncode == 0, words, done)
    cases.check(not done.stderr, words, done.stderr)
    no_mark(cases, words)
    return done


# ---- the proofs

def appears(cases, command, content, env=None, where=None):
    """Whether mark appears when a program is fed something."""
    mark = os.path.join(cases.top, "mark")
    if os.path.exists(mark):
        os.remove(mark)
    environment = dict(cases.environment)
    environment.update(env or {})
    done = subprocess.run(command, input=content, capture_output=True, timeout=30, env=environment,
                          cwd=where or cases.here)
    there = os.path.exists(mark)
    if there:
        os.remove(mark)
    return there, done


DECK = "v1 1 0 ac 1\nr1 1 0 1k\n.ac dec 5 10 100k\n.print ac v(1)\n.end\n"


def check_proofs(cases):
    cases.group("the attacks work on plain programs used the naive way")
    mark = os.path.join(cases.top, "mark")
    for title in (f"# shell touch {mark}", f"#shell touch {mark}"):
        cases.write("naive.cir", f"naive\n*{title}\n" + DECK)
        there, done = appears(cases, ["ngspice", "-b", "naive.cir"], None)
        cases.check(there, "ngspice did not run", title, done)
    cases.write("naive.cir", f"naive\n* of: \n.control\nshell touch {mark}\n.endc\n" + DECK)
    cases.check(appears(cases, ["ngspice", "-b", "naive.cir"], None)[0], "no .control block")
    for script in (f'set title "`touch {mark}`"\n', f"set title 'a'; system('touch {mark}'); ''\n",
                   f"set title ''.system('touch {mark}').''\n", f"set title ''\n!touch {mark}\n",
                   f"set term svg\nset output '|touch {mark}'\nplot x\n",
                   f"set term svg\nset output 'x.svg'\nplot '<touch {mark}; echo 1 2'\n",
                   f'set output "`touch {mark}`.svg"\n'):
        there, done = appears(cases, ["gnuplot"], script.encode())
        cases.check(there, "gnuplot did not run", script, done)
    there, done = appears(cases, ["gnuplot"], b'set title "`kill -9 $PPID`"\nprint 1\n')
    cases.check(done.returncode == -9, "gnuplot was not killed", done)
    gnucap = subprocess.run(["gnucap", "-b", cases.write("naive.cir", "naive\n*>nonsense\n.end\n")],
                            cwd=cases.here, capture_output=True, timeout=30)
    cases.check(b"no match" in gnucap.stdout, "gnucap reads no circuit in comments", gnucap)
    cases.clear()


# ---- titles

def check_title(cases, title, elements):
    cases.clear()
    cases.write("rig.yaml", rig_of(title))
    table = shell_free(cases, "response", "rig.yaml", "--plot", "plot.svg").stdout
    cases.check(is_quiet(table) and table.decode().startswith(title + "\n\n"), "table of", title, table)
    words = svg_words(cases, "plot.svg", title)
    shown = [word for word in words if word == title.strip() or
             (len(title) > 80 and word[:40] == title[:40])]
    cases.check(shown or not title.strip(), title, "is not on the plot:", words)
    check_csv(cases, shell_free(cases, "response", "rig.yaml", "--csv").stdout, title)
    answer = json.loads(shell_free(cases, "response", "rig.yaml", "--json", "--points", "3").stdout)
    cases.check(answer["rig"] == title, title, answer["rig"])
    listing = shell_free(cases, "check", "rig.yaml").stdout
    cases.check(is_quiet(listing), "check of", title)
    check_deck(cases, title, elements)


def element_lines(deck):
    return [line for line in deck.split("\n") if line and not line.startswith("*")]


def check_deck(cases, title, elements):
    """The exported deck: a harmless comment, the same circuit, and nothing run by its readers."""
    deck = shell_free(cases, "netlist", "rig.yaml", "--output", "rig.cir")
    text = cases.read("rig.cir")
    cases.check(not deck.stdout and all(byte == 10 or 0x20 <= byte < 0x7f for byte in text), title, text)
    lines = text.decode().split("\n")
    cases.check(lines[0].startswith("* rig and direct, written by toneload ") and
                all(line.startswith("* | ") for line in lines[1:] if line.startswith("*")), title, lines)
    cases.check(element_lines(text.decode()) == elements, title, "changes the circuit")
    done = subprocess.run(["ngspice", "-b", "rig.cir"], cwd=cases.here, capture_output=True,
                          timeout=30, env=cases.environment)
    no_mark(cases, "the deck of", title)
    cases.check(done.returncode == 0 and done.stdout.count(b"e+0") > 300, title, done)


def check_titles(cases):
    all_titles = titles(os.path.join(cases.top, "mark"))
    cases.group(f"{len(all_titles)} titles in table, plot, CSV, JSON, listing and deck")
    cases.write("rig.yaml", rig_of("plain"))
    elements = element_lines(shell_free(cases, "netlist", "rig.yaml").stdout.decode())
    cases.check(len(elements) > 10, elements)
    for title in all_titles:
        check_title(cases, title, elements)
    cases.group("the deck of a hostile title in gnucap")
    done = subprocess.run(["gnucap", "-b", cases.write("quiet.cir", cases.read("rig.cir"))],
                          cwd=cases.here, capture_output=True, timeout=30)
    cases.write("rig.yaml", rig_of(">nonsense"))
    shell_free(cases, "netlist", "rig.yaml", "--output", "rig.cir")
    again = subprocess.run(["gnucap", "-b", "rig.cir"], cwd=cases.here, capture_output=True, timeout=30)
    cases.check(b"no match" not in again.stdout and again.returncode == 0, again)
    cases.check(done.stdout.split(b"#")[-1] == again.stdout.split(b"#")[-1], "other answers")


def check_comparisons(cases):
    hostile = [title for title in titles(os.path.join(cases.top, "mark"))
               if "," not in title and title.strip() and len(title) < 150]
    cases.group(f"{len(hostile)} texts in the values of --vary, and titles of rigs compared")
    cases.clear()
    cases.write("rig.yaml", RIG + DIRECT)
    cases.write("plain.yaml", rig_of("plain"))
    for text in hostile:
        vary = f"chain[0].length=3 m # {text}"
        table = shell_free(cases, "compare", "rig.yaml", "--vary", vary, "--plot", "plot.svg").stdout
        cases.check(is_quiet(table), text, table)
        words = svg_words(cases, "plot.svg", text)
        cases.check(any(f"3 m # {text}".strip()[:20] in word for word in words), text, words)
        answer = json.loads(shell_free(cases, "compare", "rig.yaml", "--vary", vary, "--json").stdout)
        cases.check(answer["variants"][0]["set"] == {"chain[0].length": f"3 m # {text}".strip()}, answer)
        check_csv(cases, shell_free(cases, "compare", "rig.yaml", "--vary", vary, "--csv").stdout, text)
        cases.write("hostile.yaml", rig_of(text))
        rows = check_csv(cases, shell_free(cases, "compare", "plain.yaml", "hostile.yaml", "--csv").stdout,
                         text)
        cases.check(any(row[0].lstrip("' ") == text.lstrip("' ") for row in rows), text, rows)
    table = shell_free(cases, "compare", "plain.yaml", "hostile.yaml", "--plot", "plot.svg").stdout
    cases.check(is_quiet(table), table)


def check_branches(cases):
    refused = [title for title in titles(os.path.join(cases.top, "mark")) if title not in
               ("END", "null", "x" * 200)]
    cases.group(f"{len(refused)} names of branches, items, pickups and library parts, all refused")
    cases.clear()
    os.mkdir(cases.path("own"))
    for name in refused:
        quoted = json.dumps(name, ensure_ascii=False)
        rigs = ("rig: a\n" + GUITAR + f"chain:\n  - split:\n    - {{name: {quoted}, amp: tube-input}}\n",
                "rig: a\n" + GUITAR + CHAIN + f"    name: {quoted}\n" + AMP,
                f"rig: a\nguitar:\n  pickups:\n    - {{pickup: single-coil, name: {quoted}}}\n" + CHAIN +
                AMP)
        for rig in rigs:
            cases.write("rig.yaml", rig)
            done = cases.run("response", "rig.yaml", "--plot", "plot.svg")
            cases.check(done.returncode == 2 and not done.stdout and is_quiet(done.stderr) and
                        b"cannot be a name" in done.stderr, name, done)
        cases.write("own/cable.yaml", f"kind: cable\nparts:\n  {quoted}:\n    source: from memory\n"
                                      "    capacitance: 100 pF/m\n")
        done = cases.run("parts", "cable", "--parts", "own")
        cases.check(done.returncode == 2 and not done.stdout and is_quiet(done.stderr) and
                    b"cannot name a part" in done.stderr, name, done)
        no_mark(cases, name)
    cases.check(not os.path.exists(cases.path("plot.svg")), "a plot appeared")

    cases.group("names that are allowed and look like options, formulas or words of a script")
    for name in ("-1-2 x", "--output", "-e", "plot x", "set output", "END", "shell touch mark"):
        cases.write("rig.yaml", "rig: a\n" + GUITAR + f"chain:\n  - split:\n    - {{name: '{name}', "
                    "amp: tube-input}\n    - {name: other, amp: tube-input}\n")
        shell_free(cases, "response", "rig.yaml", "--plot", "plot.svg")
        words = svg_words(cases, "plot.svg", name)
        cases.check(any(name in word for word in words), name, words)
        check_csv(cases, shell_free(cases, "response", "rig.yaml", "--csv").stdout, name)
        shell_free(cases, "netlist", "rig.yaml", "--output", "rig.cir")
        subprocess.run(["ngspice", "-b", "rig.cir"], cwd=cases.here, capture_output=True, timeout=30)
        no_mark(cases, name)


def check_library_words(cases):
    words = ["\\e[31mred", "\\e]0;owned\\a", "=cmd|'/C calc'!A1", "`touch mark`", "a\\nb", "\\u202erev",
             "\\x9b31m", "%s%n", "$(touch mark)", "@SUM(1)", "\\r=1"]
    cases.group(f"{len(words)} descriptions and sources in a library of one's own")
    cases.clear()
    os.mkdir(cases.path("own"))
    cases.write("rig.yaml", RIG.replace("{capacitance: 100 pF/m}", "mine"))
    for word in words:
        cases.write("own/cable.yaml", f'kind: cable\nparts:\n  mine:\n    about: "{word}"\n'
                                      f'    source: "{word}"\n    capacitance: 100 pF/m\n')
        for command in (("parts", "cable"), ("check", "rig.yaml")):
            cases.check(is_quiet(shell_free(cases, *command, "--parts", "own").stdout), word)
            check_csv(cases, shell_free(cases, *command, "--parts", "own", "--csv").stdout, word)
            data = shell_free(cases, *command, "--parts", "own", "--json").stdout
            cases.check(is_quiet(data) and any("library part mine" in row["origin"]
                                               for row in json.loads(data)["values"]), word)


# ---- paths

# A path holds no '/', so the command in it kills whoever runs it through a shell.
KILL = "kill -9 $PPID"
STEMS = ["# shell touch mark", "#shell touch mark", "`touch mark`", f"`{KILL}`", f"$({KILL})",
         f"'; system('{KILL}'); '", f'"; system("{KILL}"); "', f"|{KILL}", f"<{KILL}", f"| {KILL} #", f"; {KILL};", f"!{KILL}",
         "new\nline", "es\x1b[31mcape", "\x9b31m", "a'b", 'a"b', " blank ", "back\\slash", "%s%n%d",
         "{x}_2^3", "@a", "-dash", "--output=x", "=cmd", "tab\there", "\u202erev", "-", "x" * 200]


def check_rig_paths(cases):
    stems = [os.fsencode(stem) for stem in STEMS] + [b"\xff\xfe", b"caf\xe9"]
    cases.group(f"{len(stems)} names of rig files without a title")
    cases.clear()
    rig = (GUITAR + CHAIN + AMP).encode()
    for stem in stems:
        name = stem + b".yaml"
        cases.write(name.decode("utf-8", "surrogateescape"), rig)
        done = shell_free(cases, "response", "--plot", "plot.svg", "--", name)
        cases.check(is_quiet(done.stdout), name, done.stdout)
        svg_words(cases, "plot.svg", name)
        for command in ("response", "check"):
            data = shell_free(cases, command, "--json", "--", name).stdout
            answer = json.loads(data)
            cases.check(is_quiet(data) and answer["rig"].endswith(".yaml"), name, answer["rig"])
            if command == "check":
                cases.check(len(answer["values"]) > 4, name, "values are missing:", answer)
            check_csv(cases, shell_free(cases, command, "--csv", "--", name).stdout, name)
        cases.check(is_quiet(shell_free(cases, "check", "--", name).stdout), name)
        deck = shell_free(cases, "netlist", "--", name).stdout
        cases.check(all(byte == 10 or 0x20 <= byte < 0x7f for byte in deck), name, deck)
        with open(cases.path("exported.cir"), "wb") as file:
            file.write(deck)
        subprocess.run(["ngspice", "-b", "exported.cir"], cwd=cases.here, capture_output=True, timeout=30)
        no_mark(cases, "the deck of", name)
        os.remove(os.path.join(os.fsencode(cases.here), name))
        missing = cases.run("response", "--", name)
        cases.check(missing.returncode == 2 and is_quiet(missing.stderr) and
                    missing.stderr.count(b"\n") == 1, name, missing)
    cases.write("-rig.yaml", rig)
    done = cases.run("response", "-rig.yaml")
    cases.check(done.returncode == 2 and b"has no option '-rig.yaml'" in done.stderr, done)
    shell_free(cases, "response", "./-rig.yaml")

    cases.group("folders of such names, with a broken rig in them")
    for stem in stems:
        folder = os.path.join(os.fsencode(cases.here), stem)
        os.mkdir(folder)
        with open(os.path.join(folder, b"rig.yaml"), "wb") as file:
            file.write(rig.replace(b"6 m", b"6"))
        done = cases.run("response", "--", stem + b"/rig.yaml")
        cases.check(done.returncode == 2 and is_quiet(done.stderr) and done.stderr.count(b"\n") == 3 and
                    b"a bare number" in done.stderr, stem, done)
        done = cases.run("parts", "--parts", stem)
        cases.check(done.returncode == 0, stem, done)


def check_output_paths(cases):
    cases.group(f"{len(STEMS)} names for --plot and --output: a file of just that name, or nothing")
    cases.clear()
    cases.write("rig.yaml", RIG)
    answer = shell_free(cases, "response", "rig.yaml", "--json").stdout
    shell_free(cases, "response", "rig.yaml", "--plot", "plain.svg")
    plain = cases.read("plain.svg")
    os.remove(cases.path("plain.svg"))
    for stem in STEMS:
        for form in ((f"--plot={stem}.svg", f"--output={stem}"), ("--plot", stem + ".svg", "--output", stem)):
            done = shell_free(cases, "response", "rig.yaml", "--json", *form)
            cases.check(not done.stdout, stem, done.stdout)
            found = sorted(os.listdir(cases.here))
            if not cases.check(found == sorted([stem, stem + ".svg", "rig.yaml"]), stem, found):
                continue
            cases.check(cases.read(stem) == answer, stem, "another answer")
            cases.check(cases.read(stem + ".svg") == plain, stem, "another plot")
            os.remove(cases.path(stem))
            os.remove(cases.path(stem + ".svg"))
    for plot in (f"|{KILL}", f"`{KILL}`", f"<{KILL}"):
        done = cases.run("response", "rig.yaml", "--plot", plot)
        cases.check(done.returncode == 2 and b"ends in .svg, .png or .pdf" in done.stderr, plot, done)
    cases.check(os.listdir(cases.here) == ["rig.yaml"], os.listdir(cases.here))


# ---- start-up files and variables

def check_surroundings(cases):
    cases.group("start-up files and variables, each first shown to work on plain programs")
    cases.clear()
    mark = os.path.join(cases.top, "mark")
    home = os.path.join(cases.top, "home")
    scripts = os.path.join(cases.top, "scripts")
    rigs = os.path.join(cases.here, "rigs")
    for folder in (home, scripts, rigs):
        os.mkdir(folder)
    shell = f"shell touch {mark}\n"
    system = f"system('touch {mark}')\n"
    cases.write("quiet.cir", "quiet\n" + DECK)
    deck = cases.path("quiet.cir")
    clean = {"HOME": cases.temporary, "SPICE_SCRIPTS": cases.temporary}

    def plant(path, content):
        with open(path, "w", encoding="ascii") as file:
            file.write(content)

    ngspice = ["ngspice", "-b", deck]
    cases.check(not appears(cases, ngspice, None, env=clean)[0], "mark without an attack")
    for where in (cases.here, rigs):
        plant(os.path.join(where, ".spiceinit"), shell)
        cases.check(appears(cases, ngspice, None, env=clean, where=where)[0], ".spiceinit in", where)
    plant(os.path.join(home, ".spiceinit"), shell)
    cases.check(appears(cases, ngspice, None, env={**clean, "HOME": home}, where=scripts)[0],
                ".spiceinit in HOME")
    plant(os.path.join(scripts, "spinit"), shell)
    cases.check(appears(cases, ngspice, None, env={**clean, "SPICE_SCRIPTS": scripts}, where=home)[0],
                "spinit through SPICE_SCRIPTS")
    for where in (home, cases.here, rigs):
        plant(os.path.join(where, ".gnuplot"), system)
    cases.check(appears(cases, ["gnuplot", "-e", "print 1"], None, env={"HOME": home})[0],
                ".gnuplot in HOME")
    broken = appears(cases, ["gnuplot", "-e", "print 1"], None,
                     env={"GNUTERM": f"nonsense; system 'touch {mark}'", "HOME": cases.temporary})[1]
    cases.check(b"during initialization" in broken.stderr, "GNUTERM is not read", broken)

    with open(os.path.join(rigs, "rig.yaml"), "w", encoding="utf-8") as file:
        file.write(RIG)
    quiet = shell_free(cases, "response", "rigs/rig.yaml", "--json", cwd=cases.here,
                       env={"HOME": cases.temporary}).stdout
    hostile = {
        "HOME": home, "SPICE_SCRIPTS": scripts, "SPICE_LIB_DIR": scripts, "SPICE_EXEC_DIR": scripts,
        "SPICE_PATH": scripts, "NGSPICE_INPUT_DIR": scripts, "SPICE_ASCIIRAWFILE": "1",
        "SPICE_EDITOR": f"touch {mark}", "EDITOR": f"touch {mark}",
        "GNUTERM": f"nonsense; system 'touch {mark}'", "GNUPLOT_LIB": home, "GNUPLOT_LUA_DIR": home,
        "GNUHELP": mark, "FIT_SCRIPT": system, "FIT_LOG": mark, "GNUPLOT_PS_DIR": home,
        "GNUPLOT_FONTPATH": home, "GNUPLOT_DEFAULT_GDFONT": "`touch mark`",
        "PAGER": f"touch {mark}", "SHELL": f"/bin/touch {mark}", "ENV": os.path.join(home, ".gnuplot"),
        "BASH_ENV": os.path.join(home, ".gnuplot"), "XDG_CONFIG_HOME": home, "LC_ALL": "C",
    }
    for where, rig in ((cases.here, "rigs/rig.yaml"), (rigs, "rig.yaml"), (home, rigs + "/rig.yaml")):
        plot = os.path.join(cases.top, "plot.svg")
        done = shell_free(cases, "response", rig, "--json", "--plot", plot, cwd=where, env=hostile)
        cases.check(done.stdout == quiet, "another answer from", where)
        cases.check(os.path.getsize(plot) > 5000, "no plot from", where)
        os.remove(plot)
        shell_free(cases, "compare", rig, "--vary", "chain[0].length=3 m,6 m,9 m", "--plot", plot,
                   cwd=where, env=hostile)
        os.remove(plot)
        for command in (("check", rig), ("netlist", rig), ("parts",)):
            shell_free(cases, *command, cwd=where, env=hostile)
    cases.check(not os.path.exists(mark), "a variable's path was written to")


def run(cases):
    check_proofs(cases)
    check_titles(cases)
    check_comparisons(cases)
    check_branches(cases)
    check_library_words(cases)
    check_rig_paths(cases)
    check_output_paths(cases)
    check_surroundings(cases)


if __name__ == "__main__":
    main(run)
