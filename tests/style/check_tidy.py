#!/usr/bin/python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""clang-tidy, with .clang-tidy in the root, has nothing to say. Usage: check_tidy.py BUILD_DIR"""

import sys

import sources

files = sorted(sources.read_commands(sys.argv[1]))  # one a run: clang-tidy 14 sees ghosts in the second
sys.exit(sources.run_each([["clang-tidy", "--quiet", "-p", sys.argv[1], file] for file in files]))
