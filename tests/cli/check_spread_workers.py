#!/usr/bin/python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""A spread whose workers are killed or hang while it runs: the same bytes.

Usage: check_spread_workers.py BUILD_DIR
"""
import json
import os
import random
import signal
import time

from cases import main
from check_spread_jobs import LONG, await_trials, begins_s, prepare, read_on, start
from check_worker_death import strike


def is_guarded(pid):
    """Whether a worker has started: its guard is up."""
    try:
        with open(f"/proc/{pid}/status", encoding="ascii", errors="replace") as file:
            return "\nSeccomp:\t2\n" in file.read()
    except OSError:
        return False


def kill_some(running, chance, most, ripe_s):
    """Kills workers at random until a run ends; returns how many. They have worked for a while: a trial
    whose workers all die, four in a row, is given up."""
    since = {}
    killed = 0
    ended = False
    while not ended:
        now = time.monotonic()
        guarded = [pid for pid in running.workers() if is_guarded(pid)]
        ripe = [pid for pid in guarded if now - since.setdefault(pid, now) > ripe_s]
        if ripe and killed < most:
            killed += strike(chance.choice(ripe), signal.SIGKILL)
        ended = read_on(running, chance.uniform(0.01, 0.05))
    return killed


def check_kills(cases):
    """Kills begin with the trials, before which there is little that another worker could do."""
    seed = int.from_bytes(os.urandom(4), "little")
    chance = random.Random(seed)
    cases.group(f"200 workers killed at random (seed {seed})")
    cases.begins_s = begins_s(cases)
    began = time.monotonic()
    cases.run("spread", LONG, "--trials", "1000", "--jobs", "3")
    trials = int(1000 * max(1, (3 + 2 * cases.begins_s) / (time.monotonic() - began)))
    words = (LONG, "--trials", str(trials), "--json", "--jobs", "3")
    undisturbed = cases.run("spread", *words, "--dump", "calm.csv")
    cases.check(undisturbed.returncode == 0, undisturbed)
    kills = runs = 0
    while kills < 200 and runs < 30:
        running = start(cases, *words, "--dump", "killed.csv")
        await_trials(cases, running)
        killed = kill_some(running, chance, 60, cases.begins_s / 3)
        runs += 1
        kills += killed
        if cases.check(running.status == 0 and not running.err, running.status, running.err):
            cases.check(running.out == undisturbed.stdout, "other figures after", killed, "kills:",
                        json.loads(running.out)["failures"])
            cases.check(cases.read("killed.csv") == cases.read("calm.csv"), "other trials")
    cases.check(kills >= 200, "only", kills, "workers were killed")
    print(f"  {kills} workers killed in {runs} runs of {trials} trials, {time.monotonic() - began:.0f} s")


def check_stopped_workers(cases):
    cases.group("workers that hang: they are replaced")
    words = (LONG, "--trials", "3000", "--csv", "--jobs", "2")
    calm = cases.run("spread", *words).stdout
    running = start(cases, *words, "--time-limit", "0.5")  # for each of the 32 trials that a worker is at
    await_trials(cases, running)  # what comes before them is one short job, which a busy machine may hold up twice
    stopped = set()
    ended = False
    while not ended:
        for pid in running.workers():
            if len(stopped) < 2 and is_guarded(pid) and strike(pid, signal.SIGSTOP):
                stopped.add(pid)
        ended = read_on(running, 0.05)
    hung = len(stopped)
    cases.check(hung > 0 and not running.orphans(), "nothing hung, or a worker was left")
    cases.check(running.status == 0 and running.out == calm and not running.err,
                "after", hung, "hung:", running.status, running.err)


def run(cases):
    prepare(cases)
    check_kills(cases)
    check_stopped_workers(cases)
    cases.check(cases.is_tidy(), os.listdir(cases.temporary))


if __name__ == "__main__":
    main(run)
