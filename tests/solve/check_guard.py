# SPDX-License-Identifier: GPL-3.0-or-later
"""Each thing that the worker's guard must refuse, tried for real under the shipped filter."""
import os
import platform
import signal
import subprocess
import sys
import tempfile

ROOT = os.path.dirname(os.path.dirname(os.path.dirname(os.path.abspath(__file__))))

# Must end the process at once.
DEADLY = """spawn clone execve execveat fork vfork clone3 system popen socket socketpair ptrace write
read-write create truncate-on-open tmpfile creat old-open openat2 io-uring rename mkdir link symlink
unlink rmdir chmod truncate mount kill tgkill-other peek bpf chdir ioctl loosen""".split()
if platform.machine() == "x86_64":
    DEADLY += ["32-bit", "x32"]

# Deed, and how it ends without the guard and with it.
DONE, REFUSED, KILLED, ABORTED = 0, 1, -signal.SIGSYS, -signal.SIGABRT
OTHERS = {
    "read": (DONE, REFUSED),
    "access": (DONE, REFUSED),
    "stat": (DONE, DONE),
    "memory": (DONE, DONE),
    "abort": (ABORTED, ABORTED),
}


def build(folder):
    probe = os.path.join(folder, "guard_probe")
    subprocess.run(["cc", "-std=c11", "-D_GNU_SOURCE", "-I" + os.path.join(ROOT, "src"),
                    "-I" + os.path.join(sys.argv[1], "generated"),
                    os.path.join(ROOT, "tests/solve/guard_probe.c"),
                    os.path.join(ROOT, "src/solve/guard.c"), "-o", probe], check=True)
    return probe


def main():
    wrong = 0
    with tempfile.TemporaryDirectory() as folder:
        probe = build(folder)

        def run(guarded, deed):
            return subprocess.run([probe, str(guarded), deed], cwd=folder, timeout=20,
                                  stdin=subprocess.DEVNULL, stderr=subprocess.DEVNULL).returncode

        for deed in DEADLY:
            free = run(0, deed)
            if free == KILLED or free in (2, 3):
                print(f"{deed}: the probe itself fails ({free})")
                wrong += 1
            for made in os.listdir(folder):
                path = os.path.join(folder, made)
                if path != probe:
                    os.rmdir(path) if os.path.isdir(path) else os.remove(path)
            if run(1, deed) != KILLED:
                print(f"{deed}: not killed")
                wrong += 1
        for deed, ends in OTHERS.items():
            for guarded in (0, 1):
                got = run(guarded, deed)
                if got != ends[guarded]:
                    print(f"{deed}, guarded {guarded}: ended with {got}, expected {ends[guarded]}")
                    wrong += 1
        left = [made for made in os.listdir(folder) if made != "guard_probe"]
        if left:
            print("left behind:", left)
            wrong += 1
    print(f"guard: {len(DEADLY)} deeds killed, {len(OTHERS)} others as expected"
          if not wrong else f"guard: {wrong} wrong")
    return wrong != 0


if __name__ == "__main__":
    sys.exit(main())
