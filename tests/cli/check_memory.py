#!/usr/bin/python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""Nothing read that was not written, and nothing leaked, as valgrind sees the optimised program.

Usage: check_memory.py BUILD_DIR. Builds what it runs in BUILD_DIR/optimised, with the warnings that
only an optimising compiler gives. The worker runs as it is: its guard stops valgrind. Only what is
lost for certain counts: udunits2 keeps its prefixes in a tree whose pointers valgrind cannot follow.
"""

import concurrent.futures
import pathlib
import subprocess
import sys
import tempfile

SOURCE = pathlib.Path(__file__).resolve().parents[2]
RIGS = SOURCE / "models/rigs"


def build(folder):
    configure = ["cmake", "-G", "Ninja", "-S", SOURCE, "-B", folder, "-DCMAKE_BUILD_TYPE=RelWithDebInfo", "-DTONELOAD_TESTS=OFF"]
    for command in (configure, ["cmake", "--build", folder, "--parallel", "2"]):
        done = subprocess.run(command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True)
        if done.returncode != 0:
            sys.exit(done.stdout)


def look(program, status, words):
    """Whether one run ends as it should with nothing to be said of its memory; and what is to be printed of it."""
    done = subprocess.run(["valgrind", "--quiet", "--error-exitcode=9", "--leak-check=full", "--show-leak-kinds=definite",
                           "--errors-for-leak-kinds=definite", "--suppressions=%s" % (SOURCE / "tests/cli/loader.supp"),
                           program, *words], capture_output=True, text=True, timeout=240)
    good = done.returncode == status and "==" not in done.stderr
    said = "%s  %s" % ("ok  " if good else "FAIL", " ".join(str(w) for w in words))
    return good, said if good else "%s\nexit status %d, expected %d\n%s" % (said, done.returncode, status, done.stderr)


def main():
    folder = pathlib.Path(sys.argv[1]).resolve() / "optimised"
    build(folder)
    with tempfile.TemporaryDirectory(prefix="memory-") as place:
        bad = pathlib.Path(place) / "bad.yaml"
        bad.write_text((RIGS / "long-cable.yaml").read_text().replace("length: 6 m", "length: 6 mm/m", 1))
        runs = [  # the longest first, so that both cores are busy to the end
            (0, "listen", RIGS / "long-cable.yaml", "--out", pathlib.Path(place) / "sound", "--match-level",
             "--vary", "chain[0].length=3 m,6 m"),
            (0, "response", RIGS / "long-cable.yaml", "--plot", pathlib.Path(place) / "plot.svg"),
            (0, "compare", RIGS / "long-cable.yaml", "--vary", "chain[0].cable=standard-coax,coiled-lead",
             "--vary", "chain[0].length=3 m,6 m", "--vary", "chain[drive].engaged=no,yes", "--jobs", "2"),
            (0, "power", RIGS / "buffered-board.yaml", "--plot", pathlib.Path(place) / "power.svg"),
            (0, "power", RIGS / "fuzz-first.yaml"),
            (0, "check", RIGS / "buffered-board.yaml"),
            (0, "parts"),
            (0, "netlist", RIGS / "two-amps.yaml"),
            (0, "response", RIGS / "two-amps.yaml"),
            (0, "response", RIGS / "fuzz-first.yaml", "--json", "--points", "50"),
            (2, "response", bad),
            (2, "compare", RIGS / "long-cable.yaml", "--vary", "chain[9].length=3 m,6 m"),
        ]
        with concurrent.futures.ThreadPoolExecutor(2) as pool:
            results = list(pool.map(lambda run: look(folder / "toneload", run[0], run[1:]), runs))
    for _, said in results:
        print(said)
    return sum(not good for good, _ in results)


if __name__ == "__main__":
    sys.exit(main())
