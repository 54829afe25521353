# SPDX-License-Identifier: GPL-3.0-or-later
"""Finished boards on a second bench: built within their tolerances, or with one thing wrong, and read with a meter.

A board is a rig as nodal.py takes it, whose values may say how far they may be off (rigs.Off: "+-8 %", normal, three
standard deviations, nothing beyond; README, Tolerances). On the bench the pickup gives way to a dummy of real parts
behind a generator, and the amp to a voltmeter (README, the bench card); with `controls` the guitar's volume and tone stand
behind the dummy. Readings are in dB against the generator's open output.
"""

import copy

import numpy as np

import nodal
import rigs


def tolerance(value):
    """The share that a value may be off by, or 0."""
    words = getattr(value, "off", "").replace("+-", "").split()
    return float(words[0]) / 100 if words else 0.0


def draw_value(value, rng):
    share = tolerance(value)
    if not share:
        return value
    while True:
        z = rng.standard_normal()
        if abs(z) <= 3:
            return float(value) * (1 + share * z / 3)


def draw(part, rng):
    """The same tree with every value drawn within its tolerance."""
    if isinstance(part, dict):
        return {key: draw(value, rng) for key, value in part.items()}
    if isinstance(part, list):
        return [draw(item, rng) for item in part]
    return draw_value(part, rng) if isinstance(part, float) else part


def bare(part):
    """The same tree as written, plain numbers."""
    if isinstance(part, dict):
        return {key: bare(value) for key, value in part.items()}
    if isinstance(part, list):
        return [bare(item) for item in part]
    return float(part) if isinstance(part, float) else copy.copy(part)


def on_bench(board):
    """The rig that is measured: generator and dummy for the pickup, the meter for the amp."""
    measure = board["measure"]
    dummy = dict(measure["dummy"])
    dummy["resistance"] = dummy["resistance"] + measure["generator"]["resistance"]
    guitar = {"pickup": dummy}
    if measure.get("controls"):
        guitar.update({key: board["guitar"][key] for key in ("volume", "tone") if key in board["guitar"]})
    return {"guitar": guitar, "chain": board["chain"], "amp": measure["meter"]}


def levels(board, hz):
    """dB against the generator's open output."""
    circuit, outputs = nodal.build_rig(on_bench(board))
    return 20 * np.log10(np.abs(nodal.respond(circuit, outputs[0][2], hz)))


# ---- as a rig file

def quantity(value, unit):
    size, name = {
        "ohm": (1.0, "ohm"), "farad": (1e-12, "pF"), "henry": (1.0, "H"), "ohm/m": (1e-3, "mohm/m"),
        "farad/m": (1e-12, "pF/m"), "share": (1e-2, "%"), "volt": (1e-3, "mV"), "db": (1.0, "dB"), "hertz": (1.0, "Hz"),
    }[unit]
    return "%.12g %s%s" % (value / size, name, getattr(value, "off", ""))


KINDS = dict(rigs.FIELDS, level="volt", uncertainty="db", frequencies="hertz")


def flow(value, field="", inside=""):
    if isinstance(value, dict):
        inside = field if field == "cable" else inside
        return "{" + ", ".join("%s: %s" % (key, flow(item, key, inside)) for key, item in value.items()) + "}"
    if isinstance(value, (list, tuple)):
        return "[" + ", ".join(flow(item, field, inside) for item in value) + "]"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, str):
        return value
    if field == "gain":
        return "%.12g" % value
    if field == "length":
        return "%.12g m%s" % (value, getattr(value, "off", ""))
    kinds = {"resistance": "ohm/m", "capacitance": "farad/m"} if inside == "cable" else KINDS
    return quantity(value, kinds[field])


BESIDE = ("length", "engaged", "name")


def rig_text(board, title="a board of the outside check"):
    """The rig file, in flow style but for the items of the chain."""
    lines = ["rig: " + title, "guitar:"]
    lines += ["  %s: %s" % (key, flow(value, key)) for key, value in board["guitar"].items()]
    lines.append("chain:")
    for item in board["chain"]:
        words = ["%s: %s" % (key, flow(value, key)) for key, value in item.items()]
        lines.append("  - " + "\n    ".join(words))
    lines.append("amp: " + flow(board["amp"], "amp"))
    lines.append("measure:")
    lines += ["  %s: %s" % (key, flow(value, key)) for key, value in board["measure"].items()]
    return "\n".join(lines) + "\n"


def readings_text(hz, db, column="gain_db"):
    return "frequency_hz,%s\n" % column + "".join("%.6g,%.3f\n" % pair for pair in zip(hz, db))
