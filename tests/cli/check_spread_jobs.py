#!/usr/bin/python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""A spread whatever --jobs says, and a spread that is stopped.

Usage: check_spread_jobs.py BUILD_DIR
"""
import json
import os
import signal
import subprocess
import time

from cases import main
from check_worker_death import Running, strike
from shards import rig_text

LONG, TWO = "long-cable.yaml", "two-amps.yaml"
SELECT = {LONG: ("--select", "guitar.pickup.inductance=lowest of 5"),
          TWO: ("--select", "chain[2].capacitance=low")}
ENDLESS = ("--trials", "1000000")


def prepare(cases):
    for name in (LONG, TWO):
        cases.write(name, rig_text(name))


def answers(cases, words, *forms):
    """What a spread says in each form, with all its trials."""
    said = []
    for form in forms:
        done = cases.run("spread", *words, *form, "--dump", "dump.csv")
        cases.check(done.returncode == 0 and not done.stderr, words, form, done.stderr)
        said += [done.stdout, cases.read("dump.csv")]
    return said


def check_jobs(cases):
    cases.group("the same bytes for 1, 2 and 3 workers")
    prepare(cases)
    number, text, table = ("--json",), (), ("--csv",)
    kinds = [((TWO, "--trials", "1000"), (number,)),
             ((LONG, "--trials", "1000", "--worst-case", *SELECT[LONG]), (text,))]
    for count in ("1", "31", "32", "33"):
        kinds += [((LONG, "--trials", count, "--seed", count), (number, table))]
    for count in ("1", "33"):
        kinds += [((TWO, "--trials", count, "--worst-case", *SELECT[TWO]), (text,))]
    seen = set()
    for words, forms in kinds:
        said = [answers(cases, (*words, "--jobs", jobs), *forms) for jobs in "123"]
        cases.check(said[0] == said[1] == said[2], "bytes differ:", words)
        cases.check(said[0][1].count(b"\n") == int(words[2]) + 1, "lines of the dump:", words)
        seen.add(said[0][0])
    cases.check(len(seen) == len(kinds), "different runs say the same")
    other = answers(cases, (LONG, "--trials", "33", "--seed", "34"), number)
    cases.check(other[1] != answers(cases, (LONG, "--trials", "33"), number)[1], "a seed has no say")


def start(cases, *words):
    return Running(cases, "spread", *words)


def begins_s(cases):
    """Seconds that a run takes to get as far as its first trials."""
    began = time.monotonic()
    cases.run("spread", TWO, "--trials", "1", "--worst-case")
    return time.monotonic() - began


def await_trials(cases, running, again=0):
    """Lets a run get as far as its trials, by what one of a single trial takes; longer when told again."""
    running.await_worker(cases)
    time.sleep((2 * cases.begins_s + 0.2) * 2 ** again)


def read_on(running, seconds):
    """Gives a run time, reading what it says; whether it has ended."""
    try:
        running.out, running.err = running.process.communicate(timeout=seconds)
    except subprocess.TimeoutExpired:
        return False
    return True


def no_orphans(cases, running, about):
    deadline = time.monotonic() + 5
    while running.orphans() and time.monotonic() < deadline:
        time.sleep(0.02)
    cases.check(not running.orphans(), about, "workers live on:", running.orphans())


def check_first(cases, running, words, about):
    """The answer of a run that was stopped: that of a run of as many trials."""
    answer = json.loads(running.out)
    done = answer["done"]
    cases.check(0 < done < answer["trials"] == 1000000, about, done)
    cases.check(running.err.decode() == "toneload: error: stopped: the answer is of the first "
                f"{done} of 1000000 trials\n", about, running.err)
    whole = cases.run("spread", *words, "--trials", str(done), "--dump", "whole.csv")
    shorter = json.loads(whole.stdout)
    shorter["trials"] = 1000000
    cases.check(shorter == answer, about, "other figures than those of", done, "trials")
    cases.check(cases.read("whole.csv") == cases.read("first.csv"), about, "other trials")
    return done


TOO_EARLY = b"toneload: error: stopped before any trial was done: there is no answer\n"


def interrupt(cases, words, how, whole_group=False):
    """A run that is told to stop amid its trials."""
    for again in range(5):
        running = start(cases, *words)
        await_trials(cases, running, again)
        if whole_group:  # as a terminal does
            os.killpg(running.process.pid, how)
        else:
            running.process.send_signal(how)
        running.end(cases, 20)
        if running.err != TOO_EARLY:
            break
    cases.check(running.status == 1, words, running.status, running.err)
    no_orphans(cases, running, words)
    return running


def check_interrupts(cases):
    cases.group("Ctrl-C and SIGTERM in the middle: an answer of what is done")
    calls = [(signal.SIGINT, LONG, False), (signal.SIGTERM, TWO, False), (signal.SIGINT, TWO, True)]
    for how, rig, whole_group in calls:
        about = (how.name, rig, "to the group" if whole_group else "to toneload")
        words = (rig, "--json", "--worst-case", *SELECT[rig], "--jobs", "3")
        running = interrupt(cases, (*words, *ENDLESS, "--dump", "first.csv"), how, whole_group)
        done = check_first(cases, running, words, about)
        print(f"  {about[0]} {about[2]}: {done} trials")
    running = interrupt(cases, (LONG, *ENDLESS), signal.SIGINT)
    cases.check(b"of 1000000 trials" in running.err and b"1000000" in running.out,
                "the table does not say how many:", running.out[:300])


def check_second_interrupt(cases):
    cases.group("a second signal ends at once, and nothing is written")
    for how in (signal.SIGINT, signal.SIGTERM):
        cases.write("first.csv", "an earlier dump\n")
        running = start(cases, LONG, "--json", *ENDLESS, "--jobs", "2", "--dump", "first.csv")
        await_trials(cases, running)
        stopped = set()
        while len(stopped) < 2 and running.process.poll() is None:  # so that it cannot end by itself
            for worker in set(running.workers()) - stopped:
                strike(worker, signal.SIGSTOP)
                stopped.add(worker)
            time.sleep(0.01)
        running.await_rest(cases)  # whoever had answered is asked again, and waited for
        running.process.send_signal(how)
        # Well over the half second in which a second signal counts as the first one sent twice.
        cases.check(not read_on(running, 1.5), how, "ended while its workers hang")
        running.process.send_signal(how)
        running.end(cases, 5)
        cases.check(running.status == -how and not running.out, how, running.status, running.out)
        no_orphans(cases, running, how)
        cases.check(cases.read("first.csv") == b"an earlier dump\n", how, "dump changed")


def check_too_early(cases):
    cases.group("stopped before any trial is done: no answer, and an earlier one stays")
    cases.write("earlier.json", "an earlier answer\n")
    cases.write("first.csv", "an earlier dump\n")
    pipe = cases.path("rig.yaml")
    os.mkfifo(pipe)
    running = start(cases, "rig.yaml", "--json", *ENDLESS, "--output", "earlier.json", "--dump",
                    "first.csv", "--jobs", "1")
    worker = running.await_worker(cases)
    strike(worker, signal.SIGSTOP)
    with open(pipe, "w", encoding="utf-8") as file:
        file.write(rig_text(LONG))
    running.await_rest(cases)  # the rig is read, and its first question lies at the worker's door
    running.process.send_signal(signal.SIGINT)
    time.sleep(0.1)
    strike(worker, signal.SIGCONT)
    running.end(cases, 20)
    cases.check(running.status == 1 and running.err == TOO_EARLY,
                running.status, running.err)
    cases.check(cases.read("earlier.json") == b"an earlier answer\n" and
                cases.read("first.csv") == b"an earlier dump\n", "an earlier answer changed")
    os.remove(pipe)


def run(cases):
    check_jobs(cases)
    cases.begins_s = begins_s(cases)
    check_interrupts(cases)
    check_second_interrupt(cases)
    check_too_early(cases)
    cases.check(cases.is_tidy(), os.listdir(cases.temporary))
    names = sorted(os.path.basename(name) for name in cases.left())
    cases.check(all(name.count(b".") == 1 for name in names), "drafts left:", names)


if __name__ == "__main__":
    main(run)
