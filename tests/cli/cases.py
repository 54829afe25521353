# SPDX-License-Identifier: GPL-3.0-or-later
"""What the checks of the command line share: running it, and counting what held."""
import os
import shutil
import subprocess
import sys
import tempfile

GUITAR = "guitar:\n  pickup: {inductance: 2.5 H, resistance: 6 kohm, capacitance: 110 pF}\n"
CHAIN = "chain:\n  - cable: {capacitance: 100 pF/m}\n    length: 6 m\n"
AMP = "amp: {resistance: 1 Mohm, capacitance: 20 pF}\n"
RIG = "rig: plain\n" + GUITAR + CHAIN + AMP

CRASH_WORDS = (b"AddressSanitizer", b"LeakSanitizer", b"UndefinedBehaviorSanitizer",
               b"runtime error", b"Segmentation", b"Assertion", b"core dumped")


class Cases:
    """Runs toneload in a folder of its own, and counts groups of cases."""

    def __init__(self, build):
        self.build = os.path.abspath(build)
        self.toneload = os.path.join(self.build, "toneload")
        self.top = tempfile.mkdtemp(prefix="toneload-cli-")
        os.chmod(self.top, 0o755)
        self.here = os.path.join(self.top, "here")
        self.temporary = os.path.join(self.top, "tmp")  # where temporary files show, if they stay
        os.mkdir(self.here)
        os.mkdir(self.temporary)
        os.chmod(self.temporary, 0o1777)
        self.environment = {"PATH": "/usr/bin:/bin", "LANG": "C.UTF-8", "TMPDIR": self.temporary,
                            "HOME": self.here}
        self.wrong = 0
        self.held = 0
        self.group_name = None
        self.group_held = 0

    def path(self, name):
        return os.path.join(self.here, name)

    def write(self, name, content):
        with open(self.path(name), "wb") as file:
            file.write(content.encode() if isinstance(content, str) else content)
        return name

    def read(self, name):
        with open(self.path(name), "rb") as file:
            return file.read()

    def clear(self):
        shutil.rmtree(self.here)
        os.mkdir(self.here)

    def left(self):
        """Every file and folder here."""
        found = []
        for folder, folders, files in os.walk(os.fsencode(self.here)):
            found += [os.path.join(folder, name) for name in folders + files]
        return sorted(found)

    def run(self, *words, timeout=60, env=None, **more):
        """One run; whatever it is asked, it neither crashes nor leaves a temporary file."""
        more.setdefault("cwd", self.here)
        more.setdefault("stdin", subprocess.DEVNULL)
        more.setdefault("stdout", subprocess.PIPE)
        more.setdefault("stderr", subprocess.PIPE)
        environment = dict(self.environment)
        environment.update(env or {})
        done = subprocess.run([self.toneload, *words], timeout=timeout, env=environment, **more)
        said = (done.stderr or b"")
        self.check(done.returncode in (0, 1, 2), words, "ended with", done.returncode, said)
        self.check(not any(word in said for word in CRASH_WORDS), words, "crashed:", said)
        self.check(self.is_tidy(), words, "left", os.listdir(self.temporary))
        return done

    def is_tidy(self):
        """Whether nothing is left in the folder for temporary files."""
        return not os.listdir(self.temporary)

    def check(self, holds, *about):
        if holds:
            self.held += 1
            self.group_held += 1
            return True
        self.wrong += 1
        print("WRONG:", *(self.short(word) for word in about))
        return False

    @staticmethod
    def short(word):
        text = word if isinstance(word, str) else repr(word)
        return text if len(text) < 900 else text[:900] + "..."

    def group(self, name):
        self.end_group()
        self.group_name = name

    def end_group(self):
        if self.group_name:
            print(f"{self.group_name}: {self.group_held} checks held")
            sys.stdout.flush()
        self.group_name = None
        self.group_held = 0

    def finish(self):
        self.end_group()
        shutil.rmtree(self.top, ignore_errors=True)
        print(f"{self.held} checks held, {self.wrong} did not")
        return self.wrong != 0


def main(run):
    if len(sys.argv) != 2:
        sys.exit(f"usage: {sys.argv[0]} BUILD_DIR")
    cases = Cases(sys.argv[1])
    try:
        run(cases)
    finally:
        wrong = cases.finish()
    sys.exit(wrong)
