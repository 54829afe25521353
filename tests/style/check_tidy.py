#!/usr/bin/python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""clang-tidy, with .clang-tidy in the root, has nothing to say.

Usage: check_tidy.py BUILD_DIR [--deep]

The analyzer follows a function's paths up to a number of states: 50,000 here, which takes less than half
the time of its own 225,000. --deep leaves it that.
"""

import sys

import sources

files = sorted(sources.read_commands(sys.argv[1]))  # one a run: clang-tidy 14 sees ghosts in the second
BOUND = [f"--extra-arg={word}" for word in ("-Xclang", "-analyzer-config", "-Xclang", "max-nodes=50000")]
tidy = ["clang-tidy", "--quiet", "-p", sys.argv[1], *([] if "--deep" in sys.argv[2:] else BOUND)]
sys.exit(sources.run_each([[*tidy, file] for file in files]))
