#!/usr/bin/python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""The installed tree: it runs from wherever it lies, others can build on it, and its manual is right.

Usage: check_install.py BUILD_DIR
"""

import os
import pathlib
import re
import shutil
import subprocess
import sys
import tempfile

SOURCE = pathlib.Path(__file__).resolve().parents[2]

READER = r"""
#include <toneload/toneload.h>

#include <stdio.h>

int main(int count, char** words) {
    tl_session_options options = {.jobs = 1, .solves = true};
    tl_error* error = tl_error_new();
    tl_session* session = NULL;
    tl_rig* rig = NULL;
    tl_answer* answer = NULL;
    tl_status status = count == 2 ? tl_session_new(&options, &session, error) : TL_BAD_INPUT;
    if (status == TL_OK)
        status = tl_rig_read(tl_session_library(session), words[1], &rig, error);
    if (status == TL_OK)
        status = tl_study_response(session, rig, 200, &answer, error);
    if (status == TL_OK)
        printf("%s %s %.1f\n", tl_version(), answer->solved[0].name, answer->solved[0].metrics.peak_hz);
    else
        fprintf(stderr, "%s\n", tl_error_text(error));
    tl_answer_free(answer);
    tl_rig_free(rig);
    tl_session_free(session);
    tl_error_free(error);
    return (int)status;
}
"""

# a lead of 1 nF/m under one of the library's names, and one under a name of its own
OWN_CABLES = """kind: cable
parts:
  standard-coax: {about: ours, source: from memory, capacitance: 300 pF/m, resistance: 80 mohm/m}
  own-lead: {about: ours, source: from memory, capacitance: 20 pF/m, resistance: 80 mohm/m}
"""

faults = []


def expect(good, words, *values):
    print("%s  %s" % ("ok  " if good else "FAIL", words % values))
    if not good:
        faults.append(words % values)


def run(arguments, **options):
    return subprocess.run([str(a) for a in arguments], capture_output=True, text=True, timeout=120, **options)


def read_cache(build):
    text = (build / "CMakeCache.txt").read_text()
    return dict(re.findall(r"^(\w+):\w+=(.*)$", text, re.MULTILINE))


def peak_of(program, rig, *options, folder="/"):
    """The rig's peak, asked from another folder and with nothing in the environment."""
    done = run([program, "response", rig, "--csv", *options], cwd=folder, env={})
    if done.returncode != 0:
        expect(False, "response exits with %d: %s", done.returncode, done.stderr.strip())
        return None
    heads, first = [line.split(",") for line in done.stdout.splitlines()[:2]]
    return float(first[heads.index("peak_hz")])


def find(prefix, tail):
    """The installed file whose path ends so; folders above it are the builder's choice."""
    found = list(prefix.rglob(tail))
    return found[0] if found else prefix / tail


def check_contents(prefix):
    tails = ["bin/toneload", "libtoneload.so", "toneload/toneload-worker", "pkgconfig/toneload.pc",
             "man1/toneload.1", "bash-completion/completions/toneload"]
    tails += [str(p.relative_to(SOURCE)) for p in (SOURCE / "include").rglob("*.h")]
    tails += ["toneload/" + str(p.relative_to(SOURCE)) for p in (SOURCE / "models").rglob("*.*")]
    missing = [t for t in tails if not find(prefix, t).is_file()]
    expect(not missing, "%d files installed; missing: %s", len(tails), missing or "none")
    for tail in tails[:3]:
        check_library_path(find(prefix, tail))


def check_library_path(program):
    """Libraries are looked for beside the program and by the system; an empty entry is the current folder."""
    header = run(["readelf", "-d", program]).stdout
    paths = ":".join(re.findall(r"\((?:RPATH|RUNPATH)\).*\[(.*)\]", header))
    good = not paths or all(p.startswith("$ORIGIN") for p in paths.split(":"))
    expect(good, "%s looks for libraries in '%s'", program.name, paths)


def check_runs(prefix, peak, words):
    rig = find(prefix, "toneload/models/rigs/long-cable.yaml")
    found = peak_of(prefix / "bin/toneload", rig)
    expect(found == peak, "%s: peak at %s Hz, in the build tree at %s Hz", words, found, peak)


def check_program(prefix, cache, folder, peak):
    """A program that knows the library only through pkg-config."""
    lib = find(prefix, "libtoneload.so").parent
    flags = run(["pkg-config", "--cflags", "--libs", "toneload"],
                env={**os.environ, "PKG_CONFIG_PATH": str(lib / "pkgconfig")})
    expect(flags.returncode == 0, "pkg-config says %s%s", flags.stdout.strip(), flags.stderr.strip())
    (folder / "reader.c").write_text(READER)
    sanitize = ["-fsanitize=address,undefined"] if cache.get("TONELOAD_SANITIZE") == "ON" else []
    built = run([cache["CMAKE_C_COMPILER"], "-std=c11", "-Wall", "-Wextra", "-Werror", *sanitize, "-o", "reader",
                 "reader.c", *flags.stdout.split()], cwd=folder)
    expect(built.returncode == 0, "a program is built against the library %s", built.stderr)
    done = run([folder / "reader", SOURCE / "models/rigs/long-cable.yaml"], cwd="/", env={"LD_LIBRARY_PATH": str(lib)})
    version = run([prefix / "bin/toneload", "--version"]).stdout.split()[-1]
    wanted = "%s rig %.1f\n" % (version, peak)
    expect(done.stdout == wanted, "it prints %r, wanted %r %s", done.stdout, wanted, done.stderr)


def check_own_parts(prefix, folder):
    """A user's own parts: in front of ours, and beside them."""
    program = prefix / "bin/toneload"
    parts = folder / "own parts"
    parts.mkdir()
    (parts / "cable.yaml").write_text(OWN_CABLES)
    rig = SOURCE / "models/rigs/long-cable.yaml"
    own_rig = folder / "own.yaml"
    own_rig.write_text(rig.read_text().replace("cable: standard-coax", "cable: own-lead"))
    ours = peak_of(program, rig)
    heavy = peak_of(program, rig, "--parts", parts)
    light = peak_of(program, own_rig, "--parts", "own parts", folder=folder)
    expect(heavy < ours < light, "peaks with own heavy lead, ours, own light lead: %s < %s < %s Hz", heavy, ours, light)
    without = run([program, "response", own_rig])
    expect(without.returncode == 2 and "own-lead" in without.stderr, "without --parts: status %d, %s",
           without.returncode, without.stderr.splitlines()[:1])
    listed = run([program, "parts", "cable", "--parts", parts]).stdout
    expect("own-lead" in listed and "300 pF/m" in listed and "patch-coax" in listed, "`parts` lists both")
    missing = run([program, "response", rig, "--parts", folder / "none"])
    expect(missing.returncode == 2, "--parts of no folder: status %d, %s", missing.returncode, missing.stderr.strip())


def list_help(program, start, *arguments):
    """First words of the lines of a help text that begin so."""
    return re.findall(r"^  (%s[a-z-]*)" % start, run([program, *arguments, "--help"]).stdout, re.MULTILINE)


def check_manual(prefix):
    page = find(prefix, "man/man1/toneload.1")
    done = run(["groff", "-mandoc", "-ww", "-Tutf8", page])
    expect(done.returncode == 0 and not done.stderr, "groff has nothing to say of the manual %s", done.stderr)
    if shutil.which("mandoc"):
        lint = run(["mandoc", "-T", "lint", "-W", "warning", page])
        expect(not lint.stdout, "nor has mandoc %s", lint.stdout)
    text = re.sub(r"\x1b\[[0-9]*m|.\x08", "", done.stdout)
    program = prefix / "bin/toneload"
    commands = [c for c in list_help(program, "") if c]
    options = {o for c in commands for o in list_help(program, "--", c)}
    unsaid = [w for w in [*commands, *options] if not re.search(r"^ +%s\b" % re.escape(w), text, re.MULTILINE)]
    expect(len(commands) >= 5 and len(options) >= 11 and not unsaid,
           "the manual has %d commands and %d options; it lacks %s", len(commands), len(options), unsaid or "none")
    whose = {o: [c for c in commands if o in list_help(program, "--", c)] for o in options - {"--help"}}
    for option, takers in sorted(whose.items()):
        said = re.search(r"^ +%s\b[^(]*\(([a-z, \n]*)\)" % option, text, re.MULTILINE)
        expect(sorted(takers) == sorted(commands) or (said and sorted(said[1].replace(",", " ").split()) == sorted(takers)),
               "the manual says who takes %s: %s", option, takers)


def complete(prefix, folder, *words):
    """What bash offers for the last of the words."""
    file = find(prefix, "bash-completion/completions/toneload")
    script = 'source "$1"; shift; COMP_WORDS=("$@"); COMP_CWORD=$(($# - 1)); _toneload; printf "%s\\n" "${COMPREPLY[@]}"'
    done = run(["bash", "-u", "-c", script, "bash", file, prefix / "bin/toneload", *words], cwd=folder)
    expect(not done.stderr, "completion of %s %s", words, done.stderr)
    return set(done.stdout.split("\n")) - {""}


def check_completion(prefix, folder):
    place = folder / "completion"
    (place / "boards").mkdir(parents=True)
    for name in ("rig.yaml", "rig.svg", "my rig.yaml", "rig.cir"):
        (place / name).touch()
    kinds = {p.stem for p in (SOURCE / "models/parts").glob("*.yaml")}
    options = set(list_help(prefix / "bin/toneload", "--", "compare"))
    for words, wanted in [
        (["c"], {"compare", "card", "check"}),
        (["--v"], {"--version"}),
        (["compare", "--"], options),
        (["netlist", "--p"], {"--parts"}),
        (["parts", ""], kinds),
        (["parts", "ca"], {"cable"}),
        (["response", ""], {"boards", "rig.yaml", "my rig.yaml"}),
        (["response", "rig.yaml", "--plot", ""], {"boards", "rig.svg"}),
        (["response", "rig.yaml", "--plot", "=", "r"], {"rig.svg"}),
        (["response", "rig.yaml", "--output", "="], {"boards", "rig.yaml", "rig.svg", "my rig.yaml", "rig.cir"}),
        (["check", "--parts", ""], {"boards"}),
        (["compare", "rig.yaml", "--jobs", ""], set()),
    ]:
        found = complete(prefix, place, *words)
        expect(found == wanted, "offers for %s: %s", words, sorted(found))


def main():
    build = pathlib.Path(sys.argv[1]).resolve()
    cache = read_cache(build)
    peak = peak_of(build / "toneload", SOURCE / "models/rigs/long-cable.yaml")
    check_library_path(build / "toneload")
    with tempfile.TemporaryDirectory(prefix="install-") as name:
        folder = pathlib.Path(name)
        prefix = folder / "first place"
        done = run(["cmake", "--install", build, "--prefix", prefix])
        expect(done.returncode == 0, "cmake --install %s", done.stderr)
        check_contents(prefix)
        check_runs(prefix, peak, "installed")
        moved = folder / "second"
        prefix.rename(moved)
        check_runs(moved, peak, "moved")
        (folder / "link").symlink_to(moved / "bin/toneload")
        found = peak_of(folder / "link", SOURCE / "models/rigs/long-cable.yaml")
        expect(found == peak, "through a link: peak at %s Hz", found)
        check_program(moved, cache, folder, peak)
        check_own_parts(moved, folder)
        check_manual(moved)
        check_completion(moved, folder)
    print("%d faults" % len(faults))
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main())
