#!/usr/bin/python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""Workers that die or hang while toneload runs: the same bytes, or a clear error, never a hang.

Usage: check_worker_death.py BUILD_DIR
"""
import os
import random
import signal
import subprocess
import time

from cases import CRASH_WORDS, GUITAR, RIG, main

SHAPES = ("rig: shapes\n" + GUITAR + "chain:\n  - cable: standard-coax\n    length: 3 m\n"
          "  - pedal: overdrive-true-bypass\n    name: drive\n    engaged: no\n"
          "  - split:\n    - {name: left, chain: [{cable: patch-coax, length: 1 m}], amp: tube-input}\n"
          "    - {name: right, amp: {resistance: 1 Mohm}}\n")


def many(count):
    """--vary words for 100 x count variants of the plain rig."""
    return ("--vary", "amp.resistance=" + ",".join(f"{100 + 9 * i} kohm" for i in range(100)),
            "--vary", "chain[0].length=" + ",".join(f"{100 + i} cm" for i in range(count)))


def enough(cases):
    """How many times 100 variants keep toneload busy for a second or two."""
    start = time.monotonic()
    cases.run("compare", "rig.yaml", "--csv", *many(10))
    return max(5, min(80, int(15 / (time.monotonic() - start))))


def read_stat(pid):
    """A process's name, state, parent and session; None when it is gone."""
    try:
        with open(f"/proc/{pid}/stat", encoding="ascii", errors="replace") as file:
            name, rest = file.read().rsplit(")", 1)
    except OSError:
        return None
    state, parent, _, session = rest.split()[:4]
    return name, state, int(parent), int(session)


def all_workers():
    """Number, parent and session of each worker process that is not dead yet."""
    found = []
    for name in os.listdir("/proc"):
        stat = read_stat(name) if name.isdigit() else None
        if stat and "(toneload-worker" in stat[0] and stat[1] != "Z":
            found.append((int(name), *stat[2:]))
    return found


def is_asleep(pid):
    """Whether no thread of a process runs or could run."""
    try:
        for thread in os.listdir(f"/proc/{pid}/task"):
            with open(f"/proc/{pid}/task/{thread}/stat", encoding="ascii", errors="replace") as file:
                if file.read().rsplit(")", 1)[1].split()[0] != "S":
                    return False
    except OSError:
        return False
    return True


def is_waiting(pid):
    try:
        with open(f"/proc/{pid}/status", encoding="ascii", errors="replace") as file:
            text = file.read()
    except OSError:
        return False
    return "\nState:\tS" in text and "\nSeccomp:\t2\n" in text


class Running:
    """A toneload at work, whose workers can be found."""

    def __init__(self, cases, *words):
        self.process = subprocess.Popen([cases.toneload, *words], cwd=cases.here,
                                        stdin=subprocess.DEVNULL, stdout=subprocess.PIPE,
                                        stderr=subprocess.PIPE, env=cases.environment,
                                        start_new_session=True)
        self.out = self.err = None

    def workers(self):
        """Its worker processes, those that are not dead yet."""
        return [pid for pid, parent, _ in all_workers() if parent == self.process.pid]

    def orphans(self):
        """The same, whoever their parent is by now."""
        return [pid for pid, _, session in all_workers() if session == self.process.pid]

    def await_worker(self, cases):
        """Its only worker, once it has started: it is under its guard and waits."""
        for _ in range(2000):
            workers = self.workers()
            if workers and is_waiting(workers[0]):
                return workers[0]
            time.sleep(0.005)
        cases.check(False, "no worker showed up")
        return None

    def await_rest(self, cases):
        """Lets it get as far as it can by itself: what it has asked lies at a stopped worker's door."""
        asleep = 0
        deadline = time.monotonic() + 30
        while asleep < 10 and time.monotonic() < deadline:
            time.sleep(0.01)
            asleep = asleep + 1 if is_asleep(self.process.pid) else 0
        cases.check(asleep == 10, "never waits for its worker")

    def end(self, cases, limit_s):
        """Waits for its end; running longer than the limit is a hang."""
        try:
            self.out, self.err = self.process.communicate(timeout=limit_s)
        except subprocess.TimeoutExpired:
            self.process.kill()
            self.out, self.err = self.process.communicate()
            cases.check(False, "HANGS", self.err)
        cases.check(not any(word in self.err for word in CRASH_WORDS), self.err)

    @property
    def status(self):
        return self.process.returncode


def strike(pid, how):
    try:
        os.kill(pid, how)
        return 1
    except ProcessLookupError:
        return 0


def is_alive(pid):
    """Whether a process still runs: its sockets close some time after it was killed."""
    stat = read_stat(pid)
    return stat is not None and stat[1] != "Z"


def is_clear(error, *words):
    """One error of toneload that names the rig, and nothing else."""
    text = error.decode()
    return text.startswith("toneload: error: rig.yaml") and all(word in text for word in words)


def check_jobs(cases):
    cases.group("the same bytes for 1, 2, 3 and 7 workers")
    cases.write("rig.yaml", RIG)
    cases.write("shapes.yaml", SHAPES)
    mixed = ("--vary", "chain[0].cable=standard-coax,coiled-lead,{capacitance: 50 pF/m}",
             "--vary", "chain[drive].engaged=no,yes", "--vary",
             "chain[0].length=" + ",".join(f"{i} m" for i in range(1, 31)))
    kinds = [("compare", "rig.yaml", *many(5)), ("compare", "shapes.yaml", *mixed),
             ("compare", "rig.yaml", "shapes.yaml")]
    for words in kinds:
        for form in ((), ("--csv",), ("--json", "--points", "5")):
            answers = [cases.run(*words, *form, "--jobs", jobs) for jobs in ("1", "2", "3", "7")]
            cases.check(all(done.returncode == 0 and not done.stderr for done in answers), words, form)
            cases.check(len({done.stdout for done in answers}) == 1, "bytes differ", words, form)
            cases.check(len(answers[0].stdout) > 500, "too little", words, form)


def check_random_kills(cases, size):
    seed = int.from_bytes(os.urandom(4), "little")
    chance = random.Random(seed)
    cases.group(f"workers killed at random (seed {seed})")
    undisturbed = cases.run("compare", "rig.yaml", "--csv", *many(size))
    cases.check(undisturbed.returncode == 0 and undisturbed.stdout.count(b"\n") > 100 * size, undisturbed)
    survived = failed = kills = 0
    for _ in range(6):
        running = Running(cases, "compare", "rig.yaml", "--csv", "--jobs", "3", *many(size))
        killed = 0
        while running.process.poll() is None and killed < 12:
            workers = running.workers()
            if workers:
                killed += strike(chance.choice(workers), signal.SIGKILL)
            try:  # reads meanwhile, so that its answer does not wait for us
                running.out, running.err = running.process.communicate(timeout=chance.uniform(0.02, 0.1))
            except subprocess.TimeoutExpired:
                continue
        if running.out is None:
            running.end(cases, 60)
        kills += killed
        if running.status == 0:
            survived += 1
            cases.check(running.out == undisturbed.stdout, "other bytes after", killed, "kills")
            cases.check(not running.err, running.err)
        else:
            failed += 1
            cases.check(running.status == 1 and not running.out and
                        is_clear(running.err, "variant", "the solver died (signal 9)"),
                        running.status, running.err)
    cases.check(kills >= 6, "only", kills, "workers were killed")
    cases.check(survived > 0, "no run lived through its kills")
    print(f"  {kills} workers killed in 6 runs: {survived} gave the same bytes, {failed} a clear error")


def check_every_kill(cases, size):
    cases.group("every worker killed as it shows up")
    undisturbed = cases.run("compare", "rig.yaml", *many(size))
    for jobs in ("1", "3"):
        running = Running(cases, "compare", "rig.yaml", "--jobs", jobs, *many(size))
        deadline = time.monotonic() + 30
        while running.process.poll() is None and time.monotonic() < deadline:
            for worker in running.workers():
                strike(worker, signal.SIGKILL)
            time.sleep(0.001)
        running.end(cases, 5)
        # On a busy machine a worker may get its answers out between two looks at who is there.
        failed = running.status == 1 and not running.out and is_clear(running.err, "variant ",
                                                                      "the solver died (signal 9)")
        cases.check(failed or (running.status == 0 and running.out == undisturbed.stdout),
                    jobs, running.status, running.err)
    cases.check(cases.is_tidy(), os.listdir(cases.temporary))


def feed(cases, words, disturb, limit_s, *more):
    """A run that waits for its rig, which comes once its worker has been disturbed."""
    pipe = cases.path("rig.yaml")
    os.mkfifo(pipe)
    running = Running(cases, *words, *more)
    worker = running.await_worker(cases)
    later = disturb(worker)
    with open(pipe, "w", encoding="ascii") as file:
        file.write(RIG)
    start = time.monotonic()
    if later:
        later(running)
    running.end(cases, limit_s)
    os.remove(pipe)
    return running, time.monotonic() - start


def check_lone_worker(cases):
    cases.group("the only worker of a run, killed or stopped")
    cases.clear()
    cases.write("rig.yaml", RIG)
    response = ("response", "rig.yaml", "--json")
    compare = ("compare", "rig.yaml", "--json", "--jobs", "1", *many(1))
    good = {words: cases.run(*words).stdout for words in (response, compare)}
    os.remove(cases.path("rig.yaml"))
    limit = ("--time-limit", "1")

    def stop(worker):
        strike(worker, signal.SIGSTOP)

    def kill(worker):
        strike(worker, signal.SIGKILL)
        while is_alive(worker):
            time.sleep(0.001)

    def stop_then_kill(worker):
        strike(worker, signal.SIGSTOP)

        def later(running):
            running.await_rest(cases)
            strike(worker, signal.SIGKILL)
        return later

    def stop_all(worker):
        strike(worker, signal.SIGSTOP)

        def later(running):
            deadline = time.monotonic() + 8
            while running.process.poll() is None and time.monotonic() < deadline:
                for one in running.workers():
                    strike(one, signal.SIGSTOP)
                time.sleep(0.001)
        return later

    for words in (response, compare):
        ran, _ = feed(cases, words, kill, 10)
        cases.check(ran.status == 0 and ran.out == good[words] and not ran.err,
                    "killed before it was asked:", words, ran.status, ran.err)
    ran, took_s = feed(cases, response, stop, 8, *limit)
    cases.check(ran.status == 1 and not ran.out and
                is_clear(ran.err, "the solver did not answer within 1 s and was stopped"),
                "stopped:", ran.status, ran.err)
    cases.check(0.8 < took_s < 4, "stopped: took", took_s)
    ran, took_s = feed(cases, response, stop_then_kill, 8)
    cases.check(ran.status == 1 and not ran.out and is_clear(ran.err, "the solver died (signal 9)"),
                "killed at work:", ran.status, ran.err)
    cases.check(took_s < 4, "killed at work: took", took_s)
    ran, took_s = feed(cases, compare, stop, 8, *limit)
    cases.check(ran.status == 0 and ran.out == good[compare] and not ran.err,
                "one of compare stopped:", ran.status, ran.err)
    ran, _ = feed(cases, compare, stop_then_kill, 8)
    cases.check(ran.status == 0 and ran.out == good[compare] and not ran.err,
                "one of compare killed at work:", ran.status, ran.err)
    ran, took_s = feed(cases, compare, stop_all, 12, *limit)
    cases.check(ran.status == 1 and not ran.out and
                is_clear(ran.err, "variant ", "the solver did not answer within 1 s"),
                "all of compare stopped:", ran.status, ran.err)
    cases.check(1.8 < took_s < 8, "all of compare stopped: took", took_s)
    print(f"  all of compare stopped: an error after {took_s:.1f} s")
    cases.check(cases.is_tidy(), os.listdir(cases.temporary))


def check_own_end(cases, size):
    cases.group("toneload itself ended: its workers end too, and an earlier answer stays")
    cases.clear()
    cases.write("rig.yaml", RIG)
    for how in (signal.SIGKILL, signal.SIGTERM, signal.SIGINT):
        cases.write("earlier.json", "an earlier answer\n")
        running = Running(cases, "compare", "rig.yaml", "--json", "--jobs", "2", "--output",
                          "earlier.json", *many(size))
        running.await_worker(cases)
        time.sleep(0.1)
        cases.check(running.orphans(), "no workers found")
        running.process.send_signal(how)
        running.end(cases, 5)
        cases.check(running.status == -how, how, running.status, running.err)
        deadline = time.monotonic() + 5
        while running.orphans() and time.monotonic() < deadline:
            time.sleep(0.02)
        cases.check(not running.orphans(), how, "workers live on:", running.orphans())
        cases.check(cases.read("earlier.json") == b"an earlier answer\n", how, "earlier answer changed")
        cases.check(cases.left() == [os.fsencode(cases.path(name)) for name in
                                     ("earlier.json", "rig.yaml")], how, cases.left())
        cases.check(cases.is_tidy(), how, os.listdir(cases.temporary))


def run(cases):
    check_jobs(cases)
    size = enough(cases)
    check_random_kills(cases, size)
    check_every_kill(cases, size)
    check_lone_worker(cases)
    check_own_end(cases, size)


if __name__ == "__main__":
    main(run)
