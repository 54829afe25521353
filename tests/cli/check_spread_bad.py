#!/usr/bin/python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""Spreads and shards that cannot be: one clear line, the right exit status, and never an answer.

Usage: check_spread_bad.py BUILD_DIR
"""
import json
import os
import random
import resource
import signal
import struct
import subprocess

from cases import GUITAR, RIG, main
from check_attacks import KILL, STEMS, check_csv, is_quiet, no_mark
from shards import Part, rig_text

LONG = "long-cable.yaml"


def refuse(cases, words, *expected, status=2, **more):
    """A run that says one thing is wrong, in one line, and nothing else."""
    done = cases.run(*words, **more)
    said = done.stderr.decode(errors="replace")
    cases.check(done.returncode == status and not done.stdout, words, done)
    cases.check(said.count("\n") == 1 and said.startswith("toneload: error: "), words, said)
    cases.check(is_quiet(done.stderr), words, said)
    for word in expected:
        cases.check(word in said, word, "is not in", said)
    return said


# ---- options and rigs

def check_options(cases):
    cases.group("shards that are none, and what does not go with one")
    cases.clear()
    cases.write(LONG, rig_text(LONG))
    spread = ("spread", LONG, "--trials", "10", "--output", "x.part")
    for shard in ("0/0", "0/3", "4/3", "x/3", "1/", "/3", "/", "-1/3", "1/-3", "1//3", "1/3/3", " 1/3",
                  "1/3 ", "1 / 3", "0x1/3", "1.0/3", "1e0/3", "+1/3", "1", "9" * 400 + "/3",
                  "18446744073709551617/18446744073709551618"):
        refuse(cases, (*spread, "--shard", shard), "--shard '", "expected K/N with K from 1 to N")
    refuse(cases, (*spread, "--shard", ""), "--shard needs a value")
    for shard, count in (("1/11", "11"), ("1/99999999999", "99999999999")):
        refuse(cases, (*spread, "--shard", shard), f"{count} shards of 10 trials: some would be empty")
    refuse(cases, ("spread", LONG, "--resume"), "--resume goes with --shard")
    refuse(cases, ("spread", LONG, "--shard", "1/2"), "needs --output FILE")
    for more in (("--json",), ("--csv",), ("--plot", "x.svg"), ("--histograms", "x.svg"),
                 ("--dump", "x.csv"), ("--select", "chain[0].capacitance=low")):
        refuse(cases, (*spread, "--shard", "1/2", *more), "are shown by toneload merge")
    refuse(cases, ("spread", LONG, "--shard", "1/2", "--output", LONG), "would overwrite")
    for option, values in (("--trials", ("0", "-1", "1.5", "x", "1000000001", "", "1e99")),
                           ("--seed", ("-1", "x", "1.5", "18446744073709551616", ""))):
        for value in values:
            refuse(cases, ("spread", LONG, option, value), option)
    for option in ("--trials", "--seed", "--shard", "--jobs", "--worst-case", "--reference-hz"):
        refuse(cases, ("merge", "x.part", option, "1/1"), option)
    refuse(cases, ("merge",), "expected: toneload merge FILE.part")
    cases.check(os.listdir(cases.here) == [LONG], os.listdir(cases.here))
    kept = cases.read(LONG)
    refuse(cases, ("merge", LONG, "--output", LONG), "would overwrite")
    cases.check(cases.read(LONG) == kept, "the rig was overwritten")


def check_rigs(cases):
    cases.group("rigs that no spread can be made of: refused before anything is solved")
    cases.clear()
    rigs = [(RIG.replace("6 kohm", "6 kohm +-100 %"), "bad.yaml:3:", "the value could come to 0"),
            (RIG.replace("6 kohm", "6 kohm +-10"), "bad.yaml:3:", "a bare number"),
            ("rig: circle\n" + GUITAR + "chain:\n  - {cable: standard-coax, length: 1 m, follows: 'chain[1]'}\n"
             "  - {cable: standard-coax, length: 1 m, follows: 'chain[0]'}\namp: tube-input\n",
             "bad.yaml:5:", "follows"),
            (RIG.replace("length: 6 m", "length: 6"), "bad.yaml:6:", "a bare number"),
            ("rig: [a\n", "bad.yaml:", "YAML:")]
    for text, place, words in rigs:
        cases.write("bad.yaml", text)
        for more in (("--json",), ("--shard", "1/2", "--output", "x.part")):
            done = cases.run("spread", "bad.yaml", *more, timeout=10)
            said = done.stderr.decode()
            cases.check(done.returncode == 2 and not done.stdout and said.startswith(place) and
                        words in said, text, done)
            cases.check(sorted(os.listdir(cases.here)) == ["bad.yaml"], os.listdir(cases.here))
    cases.write("rig.yaml", RIG)
    refuse(cases, ("spread", "rig.yaml", "--only-stated"), "rig.yaml: no value that the sound depends on "
           "has a tolerance", "+-10 %")
    cases.write("rig.yaml", RIG.replace("6 kohm", "6 kohm +-10 %"))
    done = cases.run("spread", "rig.yaml", "--only-stated", "--trials", "5", "--json")
    cases.check(done.returncode == 0 and len(json.loads(done.stdout)["values"]) == 1, done)
    done = cases.run("spread", "rig.yaml", "--trials", "1000000", "--select", "amp=low", "--dump", "x.csv",
                     timeout=20)
    cases.check(done.returncode == 2 and done.stderr.startswith(b"--select:1:1: error: no value 'amp'"), done)
    refuse(cases, ("spread", "missing.yaml"), "missing.yaml: cannot be read")


# ---- shards that do not belong together

def make(cases, name, *more, trials="9", shard="1/2", rig=LONG, seed="1"):
    done = cases.run("spread", rig, "--trials", trials, "--seed", seed, "--shard", shard, "--output",
                     name, *more)
    cases.check(done.returncode == 0, name, done.stderr)
    return name


def check_strangers(cases):
    cases.group("shards that are missing, there twice, or of another run")
    cases.clear()
    cases.write(LONG, rig_text(LONG))
    cases.write("other.yaml", rig_text(LONG).replace("length: 6 m", "length: 6.1 m", 1))
    cases.write("named.yaml", rig_text(LONG).replace("\nrig: ", "\nrig: not ", 1))
    one, two = make(cases, "1.part"), make(cases, "2.part", shard="2/2")
    good = cases.run("merge", two, one, "--json")
    cases.check(good.returncode == 0 and json.loads(good.stdout)["done"] == 9, good)
    refuse(cases, ("merge", one), "of 2 shards these are missing: 2\n")
    refuse(cases, ("merge", two), "of 2 shards these are missing: 1\n")
    refuse(cases, ("merge", two, two), "2.part: shard 2 of 2 is there twice")
    refuse(cases, ("merge", one, two, "./1.part"), "./1.part: shard 1 of 2 is there twice")
    several = [make(cases, f"s{number}.part", shard=f"{number}/9") for number in (1, 5, 8)]
    refuse(cases, ("merge", *several), "of 9 shards these are missing: 2, 3, 4, 6, 7, 9\n")
    make(cases, "many.part", trials="100", shard="3/100")
    refuse(cases, ("merge", "many.part"), "of 100 shards these are missing: 1, 2, 4, 5,", " and 79 more\n")
    strangers = [make(cases, "a.part", shard="2/2", rig="other.yaml"),
                 make(cases, "b.part", shard="2/2", rig="named.yaml"),
                 make(cases, "c.part", shard="2/2", seed="2"),
                 make(cases, "d.part", shard="2/2", trials="10"),
                 make(cases, "e.part", shard="2/3"),
                 make(cases, "f.part", "--reference-hz", "201", shard="2/2"),
                 make(cases, "g.part", "--worst-case", shard="2/2")]
    for name in strangers:
        for order in ((one, name), (name, one), (one, two, name)):
            refuse(cases, ("merge", *order), f"{order[-1]}: of another run than the first one given")
    refuse(cases, ("merge", one, LONG), f"{LONG}: no shard of a spread: expected a file that")
    refuse(cases, ("merge", LONG, one), "no shard of a spread")
    done = cases.run("merge", one, two, "--select", "nonsense=low")
    cases.check(done.returncode == 2 and b"no value 'nonsense' is drawn" in done.stderr, done)


def check_versions(cases):
    cases.group("shards of another version or format, though their sums agree")
    one, two = cases.read("1.part"), cases.read("2.part")
    cases.check(Part(one).bytes() == one, "taken apart and put together it is another file")
    part = Part(one)
    version = part.words_at(0)[0].decode()
    for other in (b"0.0.9", b"99.1", b"", version.encode() + b"x", b"\x1b[31mred\n", b"%s%n", b"v" * 5000):
        part.put_words(0, other)
        cases.write("x.part", part.bytes())
        for order in (("x.part", "2.part"), ("2.part", "x.part")):
            refuse(cases, ("merge", *order), "x.part: this shard was written by toneload ",
                   f", this is {version}: shards of one run come from one version")
    for number in (0, 2, 256, 1 << 31, (1 << 32) - 1):
        part = Part(one)
        part.format = number
        cases.write("x.part", part.bytes())
        refuse(cases, ("merge", "x.part", "2.part"), "x.part: this shard is of another format")
        done = cases.run("spread", LONG, "--trials", "9", "--shard", "1/2", "--output", "x.part", "--resume")
        cases.check(done.returncode == 2 and cases.read("x.part") == part.bytes(), number, done)
    cases.check(two == cases.read("2.part"), "changed")


# ---- damage

def check_damage(cases):
    """A few of the many ways that tests/study/test_shard.c goes through."""
    seed = int.from_bytes(os.urandom(4), "little")
    chance = random.Random(seed)
    one = cases.read("1.part")
    lengths = sorted({0, 1, 11, 12, 19, 20, len(one) - 1, len(one) - 4, len(one) - 5,
                      *chance.sample(range(len(one)), 12)})
    cases.group(f"a shard cut at {len(lengths)} places (seed {seed})")
    for length in lengths:
        cases.write("x.part", one[:length])
        refuse(cases, ("merge", "x.part", "2.part"), "x.part: ",
               "no shard of a spread" if length < 12 else "cut short")
    for more in (b"\0", b"\n", one):
        cases.write("x.part", one + more)
        refuse(cases, ("merge", "x.part", "2.part"), "x.part: this shard goes on after its end")

    cases.group(f"bytes of a shard changed, one at a time (seed {seed})")
    places = [0, 8, 12, 20, len(Part(one).head) + 20, len(Part(one).head) + 24,
              *(chance.randrange(len(one)) for _ in range(14))]
    for at in places:
        broken = bytearray(one)
        broken[at] ^= chance.choice((1 << chance.randrange(8), chance.randrange(1, 256)))
        cases.write("x.part", broken)
        refuse(cases, ("merge", "x.part", "2.part"), "x.part: ")
    for at in places[::2]:
        broken = bytearray(one)
        broken[at] ^= 255
        cases.write("x.part", broken)
        done = cases.run("spread", LONG, "--trials", "9", "--shard", "1/2", "--output", "x.part", "--resume")
        cases.check(done.returncode == 2 and cases.read("x.part") == broken, at, done)


def little_time():
    """Too little for filling memory with what is claimed and not there."""
    resource.setrlimit(resource.RLIMIT_CPU, (10, 10))


def check_claims(cases):
    cases.group("shards that claim what they do not hold, with sums that agree")
    one = cases.read("1.part")
    huge = (10, 1000000000, 1000000001, 1 << 32, (1 << 61) + 1, (1 << 64) - 1)
    claims = []

    def claim(what, change):
        part = Part(one)
        change(part)
        claims.append((what, part.bytes()))

    for count in huge:
        def all_of_it(part, count=count):
            part.set_trials(count)
            part.place[:3] = [1, 1, count]
        claim(f"{count} trials, done", all_of_it)
        claim(f"{count} trials", lambda part, count=count: part.set_trials(count))
        claim(f"shard {count}", lambda part, count=count: part.place.__setitem__(0, count))
        claim(f"{count} shards", lambda part, count=count: part.place.__setitem__(1, count))
        claim(f"{count} done", lambda part, count=count: part.place.__setitem__(2, count))

        def as_many_shards(part, count=count):
            part.set_trials(count)
            part.place[:3] = [1, count, 1]
        claim(f"{count} shards of a trial", as_many_shards)
        for where in ("amps_at", "values_at"):
            claim(f"{count} at {where}", lambda part, where=where, count=count:
                  struct.pack_into("<Q", part.head, getattr(part, where)(), count))
    claim("shard 0", lambda part: part.place.__setitem__(0, 0))
    claim("no shards", lambda part: part.place.__setitem__(1, 0))
    for where in ("amps_at", "values_at"):
        claim(f"0 at {where}", lambda part, where=where:
              struct.pack_into("<Q", part.head, getattr(part, where)(), 0))
    claim("no trials", lambda part: part.set_trials(0))
    claim("long words", lambda part: struct.pack_into("<I", part.head, 0, (1 << 32) - 1))
    claim("no head", lambda part: part.head.clear())
    claim("half a head", lambda part: part.head.__delitem__(slice(len(part.head) // 2, None)))
    claim("more of a head", lambda part: part.head.extend(b"\0" * 1000))
    for index, (what, data) in enumerate(claims):
        cases.write("x.part", data)
        for words in (("x.part", "2.part"), ("x.part",)):
            refuse(cases, ("merge", *words), timeout=10, preexec_fn=little_time)
        if index % 4:
            continue
        done = cases.run("spread", LONG, "--trials", "9", "--shard", "1/2", "--output", "x.part", "--resume",
                         timeout=10)
        cases.check(done.returncode == 2 and cases.read("x.part") == data, what, done)
    for size in (1 << 26, (1 << 26) + 1, 1 << 40, (1 << 64) - 1):
        cases.write("x.part", one[:12] + struct.pack("<Q", size) + one[20:])
        refuse(cases, ("merge", "x.part", "2.part"), "x.part: this shard is ", timeout=10)
    chance = random.Random(5)
    answers = 0
    for _ in range(60):  # what a head says may be anything, once its sum agrees
        part = Part(one)
        for _ in range(chance.randrange(1, 4)):
            part.head[chance.randrange(len(part.head))] = chance.randrange(256)
        cases.write("x.part", part.bytes())
        done = cases.run("merge", "x.part", "2.part", timeout=10)
        answers += done.returncode == 0
        cases.check(done.returncode in (0, 2) and is_quiet(done.stdout + done.stderr), done)
    print(f"  {len(claims)} claims; of 60 heads that say anything {answers} were believed")


def check_no_files(cases):
    cases.group("no files: folders, devices, pipes, links to nowhere")
    os.mkdir(cases.path("folder"))
    os.mkfifo(cases.path("pipe"))
    os.symlink("nowhere", cases.path("dangling"))
    os.symlink("around", cases.path("around"))
    for name, words in (("folder", "no file"), ("pipe", "no file"), ("/dev/null", "no file"),
                        ("/dev/zero", "no file"), ("dangling", "No such file"), ("around", "Too many"),
                        ("missing.part", "No such file"), ("1.part/x", "Not a directory"),
                        ("n" * 300, "File name too long"), ("/proc/self/mem", "")):
        for order in ((name, "2.part"), ("1.part", name)):
            refuse(cases, ("merge", *order), words, timeout=5)
    cases.write("empty.part", b"")
    refuse(cases, ("merge", "empty.part"), "empty.part: no shard of a spread")
    shard = ("spread", LONG, "--trials", "9", "--shard", "1/2", "--output")
    for name, words in (("folder", "Is a directory"), ("pipe", "File exists"), ("/dev/full", "File exists"),
                        ("missing/x.part", "No such file")):
        refuse(cases, (*shard, name), f"{name}: cannot be written: {words}", status=1, timeout=10)
        if name[0] != "m":
            refuse(cases, (*shard, name, "--resume"), f"{name}: no file", timeout=10)
        refuse(cases, ("spread", LONG, "--trials", "9", "--dump", name), f"{name}: cannot be written",
               status=1, timeout=10)


# ---- full disks

def limit_size(size):
    """Files of at most so many bytes: a disk that fills up in the middle of a write."""
    def limit():
        signal.signal(signal.SIGXFSZ, signal.SIG_DFL)
        resource.setrlimit(resource.RLIMIT_FSIZE, (size, resource.RLIM_INFINITY))
    return limit


def check_full(cases):
    cases.group("a disk that fills up in the middle of a write")
    cases.clear()
    cases.write(LONG, rig_text(LONG))
    run = ("spread", LONG, "--trials", "50")
    shard = (*run, "--shard", "1/1", "--output")
    cases.run(*shard, "whole.part")
    cases.run(*run, "--dump", "whole.csv")
    for name, words in (("whole.part", shard), ("whole.csv", (*run, "--dump"))):
        size = os.path.getsize(cases.path(name))
        cases.check(size > 20000 - 10000 * name.endswith("csv"), name, size)
        cases.write("earlier", "an earlier one\n")
        for limit in (0, 1, 4096, size - 1):
            for path in ("earlier", "new"):
                refuse(cases, (*words, path), f"{path}: cannot be written: File too large", status=1,
                       preexec_fn=limit_size(limit))
        cases.check(cases.read("earlier") == b"an earlier one\n", "changed")
        done = cases.run(*words, "earlier", preexec_fn=limit_size(size))
        cases.check(done.returncode == 0 and cases.read("earlier") == cases.read(name), name, done)
    merged = ("merge", "whole.part", "--json", "--dump")
    refuse(cases, (*merged, "new"), "new: cannot be written: File too large", status=1,
           preexec_fn=limit_size(5000))
    cases.check(sorted(os.listdir(cases.here)) == ["earlier", LONG, "whole.csv", "whole.part"],
                os.listdir(cases.here))

    disk = os.path.join(cases.top, "disk")
    os.mkdir(disk)
    script = ("mount -t tmpfs -o size=16k tmpfs \"$1\" || exit 99; cp long-cable.yaml \"$1\"; cd \"$1\"; "
              "echo earlier > e; "
              "for how in '--shard 1/1 --output' --dump; do "
              "\"$0\" spread long-cable.yaml --trials 300 $how e >/dev/null; echo $? $(cat e) $(ls -A); done")
    done = subprocess.run(["unshare", "-m", "/bin/sh", "-c", script, cases.toneload, disk],
                          cwd=cases.here, capture_output=True, timeout=30, env=cases.environment)
    if done.returncode == 99 or b"unshare" in done.stderr:
        print("  (no right to mount a small disk here: left out)")
        return
    cases.check(done.stdout == b"1 earlier e long-cable.yaml\n" * 2, "small disk:", done)
    cases.check(done.stderr == b"toneload: error: e: cannot be written: No space left on device\n" * 2, done)


# ---- attacks

def check_names(cases):
    stems = [os.fsencode(stem) for stem in STEMS[::2]] + [b"\xff\xfe", b"--", b"-h", b"{}", b"*"]
    cases.group(f"shards of {len(stems)} hostile names: written, read, refused, and nothing run")
    cases.clear()
    cases.write("rig.yaml", RIG.replace("6 kohm", "6 kohm +-10 %"))
    run = ("spread", "rig.yaml", "--trials", "2", "--only-stated", "--jobs", "1", "--shard")
    cases.run(*run, "1/2", "--output", "plain.part")
    plain = cases.read("plain.part")
    os.remove(cases.path("plain.part"))
    answer = None
    for stem in stems:
        name = stem + b".part"
        path = os.path.join(os.fsencode(cases.here), name)
        for number in (b"1", b"2"):
            done = cases.run(*run, number + b"/2", b"--output=" + name + number)
            cases.check(done.returncode == 0 and is_quiet(done.stderr) and
                        done.stderr.count(b"\n") == 1, name, done)
        with open(path + b"1", "rb") as file:
            cases.check(file.read() == plain, name, "another file")
        done = cases.run("merge", "--csv", "--", name + b"2", name + b"1")
        answer = answer or done.stdout
        cases.check(done.returncode == 0 and done.stdout == answer, name, done)
        refuse(cases, ("merge", "--", name + b"1", name + b"1"), "is there twice")
        refuse(cases, ("merge", "--", name), "No such file")
        with open(path + b"1", "wb") as file:
            file.write(plain[:-1])
        refuse(cases, ("merge", "--", name + b"2", name + b"1"), "cut short")
        os.remove(path + b"1")
        os.remove(path + b"2")
        no_mark(cases, name)
    cases.check(sorted(os.listdir(cases.here)) == ["rig.yaml"], os.listdir(cases.here))


def check_words(cases):
    """Whoever sends a shard may have written anything into it."""
    mark = os.path.join(cases.top, "mark")
    hostile = [b"\x1b[31mred\x1b]0;owned\x07", b"a\nb\r\nc", f"`touch {mark}`".encode(),
               f"'; system('{KILL}'); '".encode(), f"=cmd|'/C touch {mark}'!A1".encode(), b"@SUM(1)", b"\xff\xfe\x9b31m",
               "\u202erev".encode(), b"%s%n%d", b"\"; !touch mark", b",\",\"", b"", b"-1+2", b" =1",
               f"<touch {mark}".encode(), b"{/Symbol=90 x}_2^3", b"x" * 3000]
    cases.group(f"{len(hostile)} hostile texts in every word of a shard")
    cases.clear()
    amp = "{resistance: 1 Mohm +-10 %}"
    cases.write("rig.yaml", "rig: plain\n" + GUITAR + "chain:\n  - split:\n    - {name: left, amp: " + amp +
                "}\n    - {name: right, amp: {resistance: 1 Mohm}}\n")
    cases.run("spread", "rig.yaml", "--trials", "2", "--only-stated", "--worst-case", "--shard", "1/1",
              "--output", "plain.part")
    plain = cases.read("plain.part")
    for text in hostile:
        part = Part(plain)
        for at in part.all_words():
            if at:  # but for the version
                part.put_words(at, text)
        cases.write("x.part", part.bytes())
        for form in (("--all",), ("--csv", "--dump", "dump.csv"), ("--json",),
                     ("--plot", "fan.svg", "--histograms", "bars.svg")):
            done = cases.run("merge", "x.part", *form)
            cases.check(done.returncode == 0 and is_quiet(done.stdout.replace(b"\r\n", b"\n")) and
                        is_quiet(done.stderr), text, form, done)
            if "--csv" in form:
                check_csv(cases, done.stdout, text)
                check_csv(cases, cases.read("dump.csv"), text)
            if "--json" in form:
                json.loads(done.stdout)
            no_mark(cases, text)
        refuse(cases, ("merge", "x.part", "x.part"), "is there twice")
    for title in ("'; system('touch mark'); '", "`touch mark`", "=1+1", "%n"):
        cases.write("rig.yaml", "rig: " + json.dumps(title) + "\n" + RIG.split("\n", 1)[1])
        cases.run("spread", "rig.yaml", "--trials", "2", "--shard", "1/1", "--output", "t.part")
        done = cases.run("merge", "t.part", "--plot", "fan.svg")
        cases.check(done.returncode == 0 and done.stdout.decode().startswith(title + "\n"), title, done)
        no_mark(cases, title)


def run(cases):
    check_options(cases)
    check_rigs(cases)
    check_strangers(cases)
    check_versions(cases)
    check_damage(cases)
    check_claims(cases)
    check_no_files(cases)
    check_full(cases)
    check_names(cases)
    check_words(cases)


if __name__ == "__main__":
    main(run)
