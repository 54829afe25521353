# SPDX-License-Identifier: GPL-3.0-or-later
"""axe-core, the rules of accessibility that pages are held to: fetched with npm, once a build folder.

Its version and the checksum of its archive stand in axe/package-lock.json; npm holds the archive against it.
"""
import json
import os
import shutil
import subprocess

HERE = os.path.join(os.path.dirname(os.path.abspath(__file__)), "axe")
NAMES = ("package.json", "package-lock.json")
RULES = """axe.run(document).then(found => JSON.stringify(found.violations.map(one =>
    [one.id, one.help, one.nodes.map(node => node.html.slice(0, 200))])))"""


def script(build):
    """The text of axe-core. Raises with npm's words when it cannot be had."""
    folder = os.path.join(build, "axe")
    done = os.path.join(folder, "node_modules", "axe-core", "axe.min.js")
    same = all(os.path.exists(os.path.join(folder, name)) and
               open(os.path.join(folder, name), "rb").read() == open(os.path.join(HERE, name), "rb").read()
               for name in NAMES)
    if not (same and os.path.exists(done)):
        fetch(folder)
    with open(done, encoding="utf-8") as file:
        return file.read()


def fetch(folder):
    """Into a folder beside it first, so that a broken run leaves nothing that looks whole."""
    fresh = folder + ".new"
    shutil.rmtree(fresh, ignore_errors=True)
    os.makedirs(fresh)
    for name in NAMES:
        shutil.copy(os.path.join(HERE, name), fresh)
    npm = shutil.which("npm")
    if not npm:
        raise RuntimeError("axe-core cannot be fetched: there is no npm (Debian packages nodejs, npm)")
    done = subprocess.run([npm, "ci", "--ignore-scripts", "--no-audit", "--no-fund"], cwd=fresh, text=True,
                          capture_output=True, check=False, timeout=120)
    if done.returncode:
        raise RuntimeError("axe-core cannot be fetched with 'npm ci'; is the registry to be reached? npm says:\n"
                           + done.stderr)
    shutil.rmtree(folder, ignore_errors=True)
    os.rename(fresh, folder)


def faults(window, text):
    """What axe-core finds wrong with the page that a window shows."""
    window.ask(text + ";0")
    return json.loads(window.ask(RULES))
