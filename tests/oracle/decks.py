# SPDX-License-Identifier: GPL-3.0-or-later
"""Reads exported decks, and runs gnucap and ngspice on them in a temporary folder with a bare environment.

Table comments of a deck: `* | output: NODE = rig|direct, NAME`. Values may carry SPICE's suffixes.
gnucap prints five digits; ngspice's raw file holds doubles (its layout: ngspice manual, chapter on the
rawfile format; from memory, and seen in files of version 39).
"""

import os
import re
import subprocess

import numpy as np

SUFFIXES = {"t": 1e12, "g": 1e9, "meg": 1e6, "k": 1e3, "m": 1e-3, "u": 1e-6, "n": 1e-9, "p": 1e-12, "f": 1e-15}
NUMBER = re.compile(r"([-+]?(?:\d+\.?\d*|\.\d+)(?:e[-+]?\d+)?)(meg|[tgkmunpf])?[a-z]*$", re.IGNORECASE)
OUTPUT = re.compile(r"^\*\s*\|\s*output:\s*(\S+)\s*=\s*(rig|direct)\b\s*,?\s*(.*?)\s*$")
SWEEP = re.compile(r"^\.ac\s+dec\s+(\d+)\s+(\S+)\s+(\S+)\s*$", re.IGNORECASE | re.MULTILINE)


class ProgramFailed(Exception):
    """A program ended badly or printed what cannot be read."""


def read_number(word):
    """A number as SPICE writes it: 1k, 22n, 1e-9, 1Meg, 10.M (gnucap prints 1e6 as Meg)."""
    match = NUMBER.match(word)
    if not match:
        raise ValueError("not a number: %r" % word)
    return float(match.group(1)) * SUFFIXES.get((match.group(2) or "").lower(), 1.0)


def read_outputs(deck):
    """[(node, rig or direct, amp's name)] in the order of the deck."""
    return [m.groups() for m in map(OUTPUT.match, deck.splitlines()) if m]


def read_elements(deck):
    """[(letter, name, nodes, value)] of the resistors, inductors, capacitors and sources."""
    elements = []
    for line in deck.splitlines()[1:]:
        words = line.split()
        if words and words[0][0].lower() in "rlc":
            elements.append((words[0][0].lower(), words[0], words[1:3], read_number(words[3])))
        elif words and words[0][0].lower() == "v":
            elements.append(("v", words[0], words[1:3], 0.0))
    return elements


def read_sweep(deck):
    """The frequencies of the deck's own .ac line."""
    match = SWEEP.search(deck)
    if not match:
        raise ProgramFailed("the deck has no `.ac dec` line")
    per_decade, first, last = int(match.group(1)), read_number(match.group(2)), read_number(match.group(3))
    count = int(round(per_decade * np.log10(last / first))) + 1
    return first * 10.0 ** (np.arange(count) / per_decade)


def replace_sweep(deck, line):
    changed, count = SWEEP.subn(line, deck)
    if count != 1:
        raise ProgramFailed("the deck has %d `.ac dec` lines" % count)
    return changed


def run(arguments, folder, seconds=30):
    """Runs a program in a folder of its own with next to no environment; returns its standard output."""
    environment = {"PATH": "/usr/bin:/bin", "HOME": folder, "LC_ALL": "C", "TMPDIR": folder}
    if "GNUCAP_PLUGPATH" in os.environ:
        environment["GNUCAP_PLUGPATH"] = os.environ["GNUCAP_PLUGPATH"]
    done = subprocess.run(arguments, cwd=folder, env=environment, stdin=subprocess.DEVNULL,
                          stdout=subprocess.PIPE, stderr=subprocess.PIPE, timeout=seconds, check=False)
    text = done.stdout.decode("utf-8", "replace")
    if done.returncode != 0:
        raise ProgramFailed("%s ended with %d: %s %s" % (
            arguments[0], done.returncode, text[-400:], done.stderr.decode("utf-8", "replace")[-1200:]))
    return text


def write_file(folder, name, text):
    path = os.path.join(folder, name)
    with open(path, "w", encoding="utf-8") as file:
        file.write(text)
    return path


def join_columns(names, table, where):
    """Columns vr(N) and vi(N) as complex columns: {node: array}."""
    columns = {}
    for i, name in enumerate(names):
        match = re.match(r"v([ri])\((\S+?)\)$", name.lower())
        if match:
            part = 1.0 if match.group(1) == "r" else 1j
            node = match.group(2)
            columns[node] = columns.get(node, 0.0) + part * table[:, i]
    if not columns:
        raise ProgramFailed("%s printed no vr() and vi() columns" % where)
    return columns


def snap(printed, exact, where):
    """Programs print frequencies with few digits: takes the exact ones when they are plainly the same."""
    if len(printed) != len(exact) or np.max(np.abs(printed / exact - 1)) > 2e-4:
        raise ProgramFailed("%s solved %d frequencies, not the deck's %d" % (where, len(printed), len(exact)))
    return exact


def run_gnucap(deck, folder):
    """(frequencies, {node: H}) by `gnucap -b`."""
    write_file(folder, "deck.cir", deck)
    text = run(["gnucap", "-b", "deck.cir"], folder)
    if "plugin not found" in text:
        raise ProgramFailed("gnucap has no plug-ins: Debian's package gnucap-default-plugins0 is missing")
    names, rows = None, []
    for line in text.splitlines():
        words = line.split()
        if words and words[0].lower() == "#freq":
            names, rows = words[1:], []
        elif names and len(words) == len(names) + 1:
            try:
                rows.append([read_number(w) for w in words])
            except ValueError:
                continue
    if not rows:
        raise ProgramFailed("gnucap printed no table: " + text[-600:])
    table = np.array(rows)
    return snap(table[:, 0], read_sweep(deck), "gnucap"), join_columns(names, table[:, 1:], "gnucap")


def run_ngspice_table(deck, folder):
    """(frequencies, {node: H}) by `ngspice -b`, from the tables that `.print` makes; seven digits."""
    write_file(folder, "deck.cir", deck)
    text = run(["ngspice", "-b", "deck.cir"], folder)
    columns, names, rows = {}, None, {}
    for line in text.splitlines():
        words = line.split()
        if words[:2] == ["Index", "frequency"]:
            # The header comes again on each page of a table; a new set of names begins a new table.
            if names != words[2:]:
                names, rows = words[2:], {}
        elif names and len(words) == len(names) + 2 and words[0].isdigit():
            rows[int(words[0])] = [float(w.rstrip(",")) for w in words[1:]]
            columns.setdefault(tuple(names), rows)
    if not columns:
        raise ProgramFailed("ngspice printed no table: " + text[-600:])
    exact, merged = read_sweep(deck), {}
    for heads, found in columns.items():
        table = np.array([found[i] for i in sorted(found)])
        snap(table[:, 0], exact, "ngspice")
        for node, part in join_columns(heads, table[:, 1:], "ngspice").items():
            merged[node] = merged.get(node, 0.0) + part
    return exact, merged


def run_ngspice_raw(deck, folder):
    """(frequencies, {node: H}) by `ngspice -b -r`, in full precision."""
    write_file(folder, "deck.cir", deck)
    text = run(["ngspice", "-b", "-r", "deck.raw", "deck.cir"], folder)
    path = os.path.join(folder, "deck.raw")
    if not os.path.exists(path):
        raise ProgramFailed("ngspice wrote no raw file: " + text[-600:])
    with open(path, "rb") as file:
        raw = file.read()
    os.remove(path)
    head, _, body = raw.partition(b"Binary:\n")
    lines = head.decode("ascii", "replace").splitlines()
    if not any(line.startswith("Flags:") and "complex" in line for line in lines):
        raise ProgramFailed("ngspice's raw file is not complex")
    first = lines.index("Variables:") + 1
    names = [line.split()[1].lower() for line in lines[first:] if line.strip()]
    table = np.frombuffer(body, dtype=complex).reshape(-1, len(names))
    values = {m.group(1): table[:, i] for i, m in enumerate(re.match(r"v\((\S+)\)$", n) for n in names) if m}
    return snap(table[:, 0].real, read_sweep(deck), "ngspice"), values
