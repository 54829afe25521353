#!/usr/bin/python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""clang has nothing to say of any source either. Usage: check_clang.py BUILD_DIR"""

import sys

import sources


def with_clang(command):
    """A compile command as clang takes it, without writing an object file."""
    words = [w for w in command[1:] if not w.startswith("-fsanitize") and w != "-c"]
    at = words.index("-o")
    return ["clang", "-fsyntax-only", *words[:at], *words[at + 2:]]


commands = sources.read_commands(sys.argv[1])
unbuilt = set(sources.list_sources(".c")) - set(commands)
print("not in the build: %s" % (sorted(unbuilt) or "none"))
sys.exit(sources.run_each([with_clang(c) for c in commands.values()]))
