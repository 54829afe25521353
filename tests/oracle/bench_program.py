# SPDX-License-Identifier: GPL-3.0-or-later
"""Runs `toneload bench --json`, and holds its figures against expected ones, printing each with its margin."""

import json
import os

import decks


class Held:
    """Comparisons, counted; `margin` is the difference over what is allowed: above 1 fails."""

    def __init__(self):
        self.failed = []
        self.count = 0

    def say(self, good, what, text):
        self.count += 1
        print("%-4s %-58s %s" % ("ok" if good else "FAIL", what, text))
        if not good:
            self.failed.append(what)
        return good

    def near(self, what, measured, wanted, relative=0.0, absolute=0.0):
        """Within a share of what is wanted, or an absolute difference, whichever is wider."""
        if measured is None:
            return self.say(False, what, "no value, wanted %.6g" % wanted)
        allowed = max(relative * abs(wanted), absolute)
        margin = abs(measured - wanted) / allowed if allowed > 0 else float(measured != wanted)
        return self.say(margin <= 1, what, "%.7g, wanted %.7g, %.2f of what is allowed" % (measured, wanted, margin))

    def meanings(self, what, rows, relative=0.0, absolute=0.0):
        """Rows (name, measured, {meaning: wanted}): one meaning must hold for all of them."""
        rows = [row for row in rows if row[1] is not None]
        if not rows:
            return self.say(False, what, "no values")
        worst = {}
        for meaning in rows[0][2]:
            margins = [(abs(value - wanted[meaning]) / max(relative * abs(wanted[meaning]), absolute), name)
                       for name, value, wanted in rows]
            worst[meaning] = max(margins)
        best = min(worst, key=lambda meaning: worst[meaning][0])
        return self.say(worst[best][0] <= 1, what, "%d values as '%s', worst %.2f of what is allowed (%s)" % (
            len(rows), best, worst[best][0], worst[best][1]))

    def finish(self):
        print("%d comparisons, %d failed" % (self.count, len(self.failed)))
        for what in self.failed:
            print("  failed: %s" % what)
        return 1 if self.failed else 0


class Measured:
    """What the program said of one design."""

    def __init__(self, entry):
        self.name = entry["name"]
        self.entry = entry
        self.figures = {figure["id"]: figure for figure in entry["figures"]}

    def value(self, name):
        """A number, or None: not measured, or no number."""
        value = self.figures.get(name, {}).get("value")
        return value if isinstance(value, (int, float)) and not isinstance(value, bool) else None

    def words(self, name):
        figure = self.figures.get(name, {})
        value = figure.get("value")
        return figure.get("words") or (value if isinstance(value, str) else "") or ""

    def beyond(self, name):
        """'over' or 'under' where the value is only a bound."""
        return self.figures.get(name, {}).get("beyond") or ""

    def trouble(self, name):
        figure = self.figures.get(name)
        return "no such figure" if figure is None else figure.get("trouble") or ""


def run(build, paths, folder, *options):
    """Measures designs in one run: a list of Measured, in order."""
    program = os.path.join(build, "toneload")
    text = decks.run([program, "bench", *paths, "--json", *options], folder, seconds=400)
    designs = json.loads(text)["designs"]
    if len(designs) != len(paths):
        raise decks.ProgramFailed("%d designs in, %d out" % (len(paths), len(designs)))
    return [Measured(entry) for entry in designs]


def write_design(folder, name, circuit, subcircuit, pins="{in: in, out: out, supply: vcc}", supply="9 V"):
    """A design file and its circuit, as a user would write them; returns the design's path."""
    decks.write_file(folder, name + ".cir", circuit)
    return decks.write_file(folder, name + ".yaml", "design: %s\ncircuit: %s.cir\nsubcircuit: %s\npins: %s\nsupply: %s\n" % (
        name, name, subcircuit, pins, supply))
