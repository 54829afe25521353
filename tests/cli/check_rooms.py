#!/usr/bin/python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""Data runs one way: holds the table of rooms in DEVELOPERS.md against the includes."""

import pathlib
import re
import sys

ROOT = pathlib.Path(__file__).resolve().parents[2]
MAY = {
    "base": set(),
    "parts": {"base"},
    "rig": {"parts", "base"},
    "circuit": {"parts", "rig", "base"},
    "solve": {"circuit", "base"},
    "response": {"base"},
    "study": {"base", "parts", "rig", "circuit", "solve", "response"},
    "show": {"base", "response"},
    "cli": set(),  # the public headers, like anyone else
}
# Public headers by the room that implements them.
PUBLIC = {
    "api.h": "base",
    "error.h": "base",
    "toneload.h": "base",
    "parts.h": "parts",
    "rig.h": "rig",
    "response.h": "response",
    "answer.h": "response",  # plain figures: study fills them, show draws them
    "report.h": "response",  # the same
    "lesson.h": "response",  # plain figures: study fills them, show draws them
    "card.h": "response",  # the same
    "spread.h": "response",  # the same
    "dress.h": "response",  # the same
    "power.h": "response",  # the same
    "noise.h": "response",  # the same
    "build.h": "base",  # plain figures too, and rig lays them out
    "fit.h": "response",  # the same
    "accept.h": "response",  # the same
    "meter.h": "response",  # the same
    "measured.h": "base",
    "design.h": "circuit",
    "bench.h": "study",
    "study.h": "study",
    "show.h": "show",
    "sound.h": "response",
    "wav.h": "show",
}


def includes(path):
    for number, line in enumerate(path.read_text().splitlines(), 1):
        match = re.match(r'\s*#\s*include\s+["<]([^">]+)[">]', line)
        if match:
            yield number, match.group(1)


def faults():
    files = 0
    for path in sorted((ROOT / "src").glob("*/*.[ch]")):
        room = path.parent.name
        files += 1
        if room not in MAY:
            yield f"{path}: the room {room} is not in the table"
            continue
        for number, name in includes(path):
            where = f"{path.relative_to(ROOT)}:{number}"
            if "sharedspice.h" in name and path.name != "worker.c":
                yield f"{where}: only worker.c includes ngspice"
            parts = name.split("/")
            if parts[0] == "toneload" and len(parts) == 2:
                other = PUBLIC[parts[1]]
                if room != "cli" and other not in MAY[room] | {room, "base"}:
                    yield f"{where}: {room} may not use {other}'s public header"
            elif len(parts) == 2 and parts[0] in MAY:
                if parts[0] != room and parts[0] not in MAY[room]:
                    yield f"{where}: {room} may not include from {parts[0]}"
    if files < 40:
        yield f"only {files} files found: the check looks in the wrong place"


def main():
    found = list(faults())
    for fault in found:
        print(fault)
    print(f"rooms: {len(found)} includes against the table")
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
