# SPDX-License-Identifier: GPL-3.0-or-later
"""What the checks of style share: the sources, and running a tool over them, two at a time."""

import concurrent.futures
import json
import pathlib
import shlex
import subprocess

SOURCE = pathlib.Path(__file__).resolve().parents[2]


def list_sources(*endings):
    """Every file of ours that ends so."""
    return sorted(str(p) for room in ("include", "src", "tests") for p in (SOURCE / room).rglob("*")
                  if p.suffix in endings)


def read_commands(build):
    """How each source is compiled, by its path: everything is built with the same few switches."""
    entries = json.loads((pathlib.Path(build) / "compile_commands.json").read_text())
    return {entry["file"]: shlex.split(entry["command"]) for entry in entries}


def run_each(commands):
    """Runs commands, two at a time; prints what those that failed said and returns how many did."""
    def run(command):
        return subprocess.run(command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True)

    failed = 0
    with concurrent.futures.ThreadPoolExecutor(2) as pool:
        for done in pool.map(run, commands):
            if done.returncode != 0:
                failed += 1
                print(done.stdout)
    print("%d runs of %s, %d failed" % (len(commands), commands[0][0], failed))
    return failed
