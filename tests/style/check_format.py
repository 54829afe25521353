#!/usr/bin/python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""Every source stands as .clang-format in the root has it."""

import sys

import sources

sys.exit(sources.run_each([["clang-format", "--dry-run", "-Werror", *sources.list_sources(".c", ".h")]]))
