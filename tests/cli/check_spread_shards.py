#!/usr/bin/python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""A spread in shards: the same bytes as in one run, however it was interrupted on the way, by hand, by
GNU parallel, and as README says it is done on a cluster.

Usage: check_spread_shards.py BUILD_DIR
"""
import os
import signal
import subprocess
import time

from cases import main
from check_worker_death import Running
from shards import how_to, rig_text

LONG, TWO = "long-cable.yaml", "two-amps.yaml"
SELECT = {LONG: ("--select", "guitar.pickup.inductance=lowest of 5"),
          TWO: ("--select", "chain[2].capacitance=low")}
MIXED = (4, 7, 1, 3, 6, 2, 5)
FORMS = (("--json",), ("--csv",), (), ("--all",))


def good(cases, *words, **more):
    done = cases.run(*words, **more)
    cases.check(done.returncode == 0, words, done.stderr)
    return done


def shard(cases, words, number, shards, *more, name=None):
    name = name or f"{number}of{shards}.part"
    done = good(cases, "spread", *words, "--shard", f"{number}/{shards}", "--output", name, *more)
    cases.check(not done.stdout and done.stderr.startswith(b"shard %d/%d: " % (number, shards)), done)
    return name


def check_merging(cases):
    cases.group("seven shards in mixed order, or one: the bytes of one run")
    for rig in (LONG, TWO):
        cases.write(rig, rig_text(rig))
    kinds = [(LONG, 7, ()), (TWO, 31, ("--worst-case",)), (LONG, 32, ("--worst-case",)),
             (TWO, 33, ("--seed", "18446744073709551615")), (LONG, 1000, ())]
    for rig, trials, more in kinds:
        words = (rig, "--trials", str(trials), *more)
        names = [shard(cases, words, number, 7, "--jobs", str(number % 3 + 1)) for number in MIXED]
        for form in FORMS if trials in (7, 33) else FORMS[:1]:
            for select in ((), SELECT[rig]):
                whole = good(cases, "spread", *words, *form, *select, "--dump", "whole.csv")
                merged = good(cases, "merge", *names, *form, *select, "--dump", "merged.csv")
                cases.check(whole.stdout == merged.stdout, words, form, select, "differ")
                cases.check(cases.read("whole.csv") == cases.read("merged.csv"), words, "dumps differ")
                cases.check(not merged.stderr and len(merged.stdout) > 500, words, form, merged)
    one = shard(cases, words, 1, 1)
    cases.check(good(cases, "merge", one, "--json").stdout == good(cases, "merge", *names, "--json").stdout,
                "one shard and seven differ")
    words = (LONG, "--trials", "3")
    names = [shard(cases, words, number, 3, name=f"small{number}.part") for number in (1, 2, 3)]
    cases.check(good(cases, "merge", *names).stdout == good(cases, "spread", *words).stdout,
                "shards of one trial each")


def check_same_jobs(cases):
    cases.group("a shard's file is the same for 1, 2 and 3 workers")
    for rig in (LONG, TWO):
        found = {cases.read(shard(cases, (rig, "--trials", "250", "--worst-case"), 2, 3, "--jobs", jobs))
                 for jobs in "123"}
        cases.check(len(found) == 1, rig, "files differ")


def stop_shard(cases, words, how):
    """Starts a shard and stops it amid its trials; false when it was done before."""
    running = Running(cases, *words)
    running.await_worker(cases)
    time.sleep(cases.begins_s)
    running.process.send_signal(how)
    running.end(cases, 20)
    if running.status == 0:
        return False
    cases.check(running.status == 1 and not running.out, how, running.status, running.err)
    return running.err.decode()


def check_resume(cases):
    cases.group("a shard that is interrupted and resumed, once and again")
    base = (LONG, "--trials", "4000", "--worst-case", "--jobs", "2")
    began = time.monotonic()
    good(cases, "spread", LONG, "--trials", "1", "--worst-case", "--jobs", "2")
    cases.begins_s = time.monotonic() - began
    calm = cases.read(shard(cases, base, 1, 2, name="calm.part"))
    words = ("spread", *base, "--shard", "1/2", "--output", "cut.part", "--resume")
    cut = 0
    for round_ in range(40):
        said = stop_shard(cases, words, (signal.SIGINT, signal.SIGTERM)[round_ % 2])
        if not said:
            break
        counted = said.split(" of the 2000 trials of shard 1/2 are in cut.part; --resume goes on")
        cases.check(len(counted) == 2 and said.count("\n") == 1, said)
        count = int(counted[0].split()[-1])
        refused = cases.run("merge", "cut.part")
        cases.check(refused.returncode == 2 and not refused.stdout and
                    b"only %d of its 2000 trials are done: finish it with --resume" % count in
                    refused.stderr, refused)
        if count:
            cut += 1
        if cut == 3:
            break
        cases.begins_s *= 1 if count else 1.5
    cases.check(cut > 0, "never cut in the middle")
    kept = cases.read("cut.part")
    for other in (("--seed", "2"), ("--trials", "4001"), ("--shard", "2/2"), ("--shard", "1/3"),
                  ("--reference-hz", "300")):
        changed = list(words)
        if other[0] in changed:
            at = changed.index(other[0])
            changed[at:at + 2] = other
        else:
            changed += other
        done = cases.run(*changed)
        cases.check(done.returncode == 2 and b"cut.part: of another" in done.stderr and
                    b"cannot be resumed here" in done.stderr, other, done)
        cases.check(cases.read("cut.part") == kept, other, "changed the file")
    without = list(words)
    without.remove("--worst-case")
    cases.check(cases.run(*without).returncode == 2, "resumed without --worst-case")
    rig = rig_text(LONG).replace("length: 6 m", "length: 7 m", 1)
    cases.write("other.yaml", rig)
    done = cases.run("spread", "other.yaml", *words[2:])
    cases.check(done.returncode == 2 and b"cannot be resumed" in done.stderr, done)
    cases.check(cases.read("cut.part") == kept, "another rig changed the file")
    good(cases, *words)
    cases.check(cases.read("cut.part") == calm, "resumed", cut, "times: another file")
    done = good(cases, *words)
    cases.check(cases.read("cut.part") == calm and b"2000 trials" in done.stderr, "a finished one", done)
    for count in (0, 100, len(calm) - 1):
        cases.write("cut.part", calm[:count])
        done = cases.run(*words)
        cases.check(done.returncode == 2 and done.stderr.count(b"\n") == 1, count, done)
        cases.check(cases.read("cut.part") == calm[:count], count, "overwritten")
    print(f"  cut in the middle {cut} times")


CLOCK = """#define _GNU_SOURCE
#include <sys/syscall.h>
#include <time.h>
#include <unistd.h>
/* A clock that runs a thousand times as fast. */
int clock_gettime(clockid_t clock, struct timespec* now) {
    static struct timespec first;
    int status = (int)syscall(SYS_clock_gettime, clock, now);
    if (status || clock != CLOCK_MONOTONIC)
        return status;
    if (!first.tv_sec)
        first = *now;
    double s = 1e3 * ((double)(now->tv_sec - first.tv_sec) + 1e-9 * (double)(now->tv_nsec - first.tv_nsec));
    now->tv_sec = first.tv_sec + (time_t)s;
    now->tv_nsec = (long)(1e9 * (s - (double)(time_t)s));
    return 0;
}
"""


def check_killed(cases):
    cases.group("toneload killed in the middle: no file, or a whole one that can be resumed")
    words = ("spread", LONG, "--trials", "3000", "--jobs", "2", "--shard", "1/2", "--output", "killed.part",
             "--resume", "--time-limit", "86400")
    calm = cases.read(shard(cases, words[1:6], 1, 2, name="calm.part"))
    for again in range(6):
        running = Running(cases, *words)
        running.await_worker(cases)
        time.sleep(cases.begins_s / 2 ** again)
        running.process.kill()
        running.end(cases, 5)
        if running.status != 0:
            break
        os.remove(cases.path("killed.part"))  # it was over sooner
    cases.check(running.status == -signal.SIGKILL, "never killed in time:", running.status)
    left = sorted(os.listdir(cases.here))
    cases.check(not any("killed.part" in name for name in left), "before it was saved:", left)

    cases.write("clock.c", CLOCK)
    subprocess.run(["cc", "-shared", "-fPIC", "-O", "-o", cases.path("clock.so"), cases.path("clock.c")],
                   check=True, timeout=60)
    usual = cases.environment
    kills = saved = 0
    sizes = set()
    while kills < 60:
        cases.environment = dict(usual, LD_PRELOAD=cases.path("clock.so"),
                                 ASAN_OPTIONS="verify_asan_link_order=0")
        running = Running(cases, *words)
        cases.environment = usual
        running.await_worker(cases)
        time.sleep(cases.begins_s * (0.5 + kills % 5 / 4) * (1 if saved else 1.1 ** (kills // 5)))
        running.process.kill()
        running.end(cases, 5)
        kills += 1
        if running.status == 0:
            break
        if not os.path.exists(cases.path("killed.part")):
            continue
        saved += 1
        sizes.add(os.path.getsize(cases.path("killed.part")))
        done = cases.run("merge", "killed.part")
        about = (b"trials are done: finish it", b"these are missing: 2")
        cases.check(done.returncode == 2 and any(word in done.stderr for word in about), done)
        if len(sizes) >= 4:
            break
    cases.check(saved > 0 and len(sizes) > 1, "it was never saved on its way:", kills, saved, sizes)
    good(cases, *words)
    cases.check(cases.read("killed.part") == calm, "killed and resumed: another file")
    drafts = [name for name in os.listdir(cases.here) if name.startswith("killed.part.") or
              name.startswith(".killed")]
    cases.check(len(drafts) <= 1, drafts)  # one, if it was killed between its name and its place
    print(f"  killed {kills} times, {len(sizes)} states of the file, drafts left: {len(drafts)}")


TRIALS = "70"


def by_hand(cases, words, about, **more):
    """A command of README's, with few trials."""
    cases.check("--trials 1000000" in words or words.startswith("toneload merge"), about, words)
    environment = dict(cases.environment, PATH=cases.build + ":/usr/bin:/bin", **more)
    done = subprocess.run(["/bin/bash", "-c", words.replace("--trials 1000000", "--trials " + TRIALS)],
                          cwd=cases.here, env=environment, stdin=subprocess.DEVNULL, capture_output=True,
                          timeout=120)
    cases.check(done.returncode == 0, about, words, done.stdout, done.stderr)
    return done


def check_how_to(cases):
    commands, script = how_to()
    cases.group("README's commands for many machines, as they stand there")
    cases.clear()
    cases.write("rig.yaml", rig_text(LONG))
    whole = good(cases, "spread", "rig.yaml", "--trials", TRIALS, "--json").stdout
    cases.check([words.split()[:2] for words in commands] ==
                [["toneload", "spread"], ["toneload", "spread"], ["toneload", "merge"],
                 ["parallel", "toneload"], ["toneload", "merge"]], commands)
    for part in (commands[:3], commands[3:]):
        for words in part:
            if words.startswith("toneload merge"):
                words = words.replace(" --plot fan.svg", " --plot fan.svg --output plain.txt") + " --json"
            if words.startswith("parallel") and not os.path.exists("/usr/bin/parallel"):
                print("  (GNU parallel is not there: left out)")
                break
            said = by_hand(cases, words, "README").stdout
            if "plain.txt" in words:
                said = cases.read("plain.txt")
                cases.check(cases.read("fan.svg").count(b"<path") > 5, "no plot")
        else:
            cases.check(said == whole, "README's merge says something else")
        cases.clear()
        cases.write("rig.yaml", rig_text(LONG))

    cases.group("README's script for an array of tasks, as a cluster would run it")
    lines = script.split("\n")
    cases.check(lines[0] == "#!/bin/bash" and "#SBATCH --array=1-7" in lines, lines)

    def task(number, count):
        return by_hand(cases, script, f"task {number}", SLURM_ARRAY_TASK_ID=str(number),
                       SLURM_ARRAY_TASK_COUNT=str(count), SLURM_CPUS_PER_TASK="2", SLURM_JOB_ID="1")

    for number in MIXED:
        if number != 3:
            task(number, 7)
    done = cases.run("merge", *(f"spread-{number}.part" for number in MIXED if number != 3))
    cases.check(done.returncode == 2 and b"of 7 shards these are missing: 3\n" in done.stderr, done)
    task(3, 1)  # sent off again alone
    done = by_hand(cases, "toneload merge spread-*.part --json", "merge")
    cases.check(done.stdout == whole, "the array says something else")
    before = cases.read("spread-5.part")
    task(5, 1)
    cases.check(cases.read("spread-5.part") == before, "a finished task did something")


def run(cases):
    check_merging(cases)
    check_same_jobs(cases)
    check_resume(cases)
    check_killed(cases)
    check_how_to(cases)


if __name__ == "__main__":
    main(run)
