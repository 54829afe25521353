#!/usr/bin/python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""The bench on the shipped designs against decks of our own for `ngspice -b`, and its verdicts against the limits file.

Usage: check_bench.py BUILD_DIR

Every figure is worked out again in bench_figures.py and bench_decks.py: own decks, own resampling and FFT, own
integrals. Both sides use the same simulator, so what is tested is what is done with it: conditions, readings, units.
"""

import concurrent.futures
import os
import re
import sys
import tempfile

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
sys.dont_write_bytecode = True

import numpy as np

import bench_decks
import bench_figures
import bench_program

ROOT = os.path.dirname(os.path.dirname(os.path.dirname(os.path.abspath(__file__))))
CIRCUITS = os.path.join(ROOT, "models", "circuits")
NAMES = ("source-follower", "emitter-follower", "emitter-follower-bootstrapped", "op-amp-follower",
         "op-amp-follower-two-rails", "push-pull", "poor-in-pedal-buffer", "ideal-buffer")

# Voltages that a transistor stands at, by hand from each circuit: pairs of nodes.
MARGINS = {
    "source-follower": [("vp", "xdut.s")],
    "emitter-follower": [("vp", "xdut.e")],
    "emitter-follower-bootstrapped": [("vp", "xdut.e")],
    "push-pull": [("vp", "xdut.t"), ("vp", "xdut.e1"), ("xdut.e2", "0"), ("xdut.l", "xdut.k")],
    "poor-in-pedal-buffer": [("vp", "xdut.e")],
}

# What is allowed: (pattern of the id, relative, absolute). The first that fits counts.
ALLOWED = [
    (r"supply_current_a", 1e-4, 1e-9),
    (r"output_dc_v", 1e-3, 1e-6),
    (r"bias_margin_v", 1e-3, 1e-6),
    (r"thump_", 0.03, 5e-3),
    (r"(gain_1khz|flatness)_db", 0, 2e-3),
    (r"cutoff_hz|_cutoff_hz", 3e-3, 0),
    (r"phase_", 0, 0.1),
    (r"(in|out)put_(impedance|resistance)_", 2e-3, 0.01),
    (r"input_capacitance_", 0.01, 0.05e-12),
    (r"output_capacitance_", 0.02, 20e-12),
    (r"drive_.*_db", 0, 5e-3),
    (r"peaking_", 0, 0.05),  # against 1 kHz, or against the best there is in hearing: they differ by 0.04 dB
    (r"cable_", 0.01, 0),
    (r"harmonic_\d_2v_", 0.02, 5e-4),  # a bias that clipping moves settles for ever
    (r"thd_|harmonic_", 0.01, 5e-4),
    (r"noise_density|input_noise", 2e-3, 0),
    (r"noise_", 5e-3, 1e-12),
    (r"psrr_", 0, 0.05),
]


def allowed(name):
    for pattern, relative, absolute in ALLOWED:
        if re.match(pattern, name) or re.search(pattern, name):
            return relative, absolute
    raise KeyError(name)


def hold_figure(held, label, found, name, wanted):
    """One figure; where either side ran out of its range, only that they do not contradict each other."""
    what = "%s: %s" % (label, name)
    value, beyond = found.value(name), found.beyond(name)
    if beyond or wanted is None:
        if value is None and wanted is None:
            return held.say(True, what, "neither side found one")
        fits = value is not None and (wanted is None or (wanted >= 0.99 * value if beyond == "over" else
                                                         wanted <= 1.01 * value))
        # Nothing within our own sweep (0.05 Hz to 100 MHz): what it found must lie outside.
        if fits and not beyond:
            fits = value <= 0.06 or value >= 90e6
        return held.say(fits, what, "%s %s, own answer %s" % (beyond or "at", value, wanted))
    relative, absolute = allowed(name)
    return held.near(what, value, wanted, relative, absolute)


def measure(path):
    """All groups of one design, by our own means."""
    design = bench_decks.Design(path)
    label = os.path.basename(path)[:-5]
    figures, found = bench_figures.rest(design)
    found = dict(found, **{"v(0)": 0.0})
    if label in MARGINS:
        figures["bias_margin_v"] = min(found["v(%s)" % a] - found["v(%s)" % b] for a, b in MARGINS[label])
    for group in (bench_figures.thump, bench_figures.gain, bench_figures.impedances, bench_figures.drive,
                  bench_figures.long_cable, bench_figures.distortion, bench_figures.noise, bench_figures.ripple):
        figures.update(group(design))
    return figures


def hold_groups(held, found, expected):
    """Plain figures one by one; those with several meanings all designs together."""
    several = {}
    for label in expected:
        for name, wanted in expected[label].items():
            if isinstance(wanted, dict):
                family = re.sub(r"(?<=^(?:thd|psr|dri)).*", "...", name)
                several.setdefault((family, allowed(name)), []).append((label + " " + name, found[label].value(name), wanted))
            else:
                hold_figure(held, label, found[label], name, wanted)
    for (family, (relative, absolute)), rows in several.items():
        if family.startswith("psr"):  # what is not there at all may be reported as no value
            rows = [row for row in rows if min(row[2].values()) < 150]
        held.meanings(family, rows, relative, absolute)


def hold_headroom(held, found, names):
    """THD of our own runs must be below 1 % just below the headroom, and above it just above."""
    spots = (("100hz", 100.0, 1.0), ("1khz", 1e3, 1.0), ("5khz", 5e3, 1.0), ("sag_100hz", 100.0, 7 / 9), ("sag_5khz", 5e3, 7 / 9))
    jobs = [(label, "headroom_%s_v" % spot, share, hz) for label in names for spot, hz, share in spots]

    def around(job):
        label, name, share, hz = job
        volts = found[label].value(name)
        if volts is None or found[label].beyond(name):
            return None
        design = bench_decks.Design(found[label].path)
        return [bench_figures.thd_at(design, scale * volts, hz, share) for scale in (0.98, 1.02)]

    with concurrent.futures.ThreadPoolExecutor(2) as pool:
        for (label, name, _, _), pair in zip(jobs, pool.map(around, jobs)):
            what = "%s: %s" % (label, name)
            if pair is None:
                held.say(label == "ideal-buffer", what, "no end found (%s)" % found[label].value(name))
            else:
                held.say(pair[0] < 1 < pair[1], what, "%.4g V: THD %.3f %% 2 %% below it, %.3f %% 2 %% above" % (
                    found[label].value(name), *pair))


def hold_sums(held, label, found):
    """Summary lines are the worst of their details."""
    def worst(pattern, key):
        values = [found.value(name) for name in found.figures if re.match(pattern, name)]
        values = [v for v in values if v is not None]
        return key(values) if values else None

    for name, pattern, key in (
            ("drive_worst_gain_db", r"drive_\d.*_gain_db", lambda v: max(v, key=abs)),
            ("drive_worst_cutoff_hz", r"drive_\d.*_cutoff_hz", min),
            ("peaking_worst_db", r"peaking_\d.*_db", max),
            ("overshoot_worst_percent", r"overshoot_\d.*_percent", max),
            ("pickup_worst_q_share_percent", r"pickup_(?!loss-free).*_q_vs_1mohm_percent", lambda v: max(v, key=abs)),
            ("pickup_worst_pole_share_percent", r"pickup_(?!loss-free).*_pole_vs_1mohm_percent", lambda v: max(v, key=abs))):
        wanted = worst(pattern, key)
        if wanted is None:
            held.say(False, "%s: %s" % (label, name), "no details")
        else:
            held.near("%s: %s is the worst of its details" % (label, name), found.value(name), wanted, 1e-6, 1e-9)


def read_pickups():
    """models/parts/pickup.yaml, by its lines: {name: {field: number}}."""
    scale = {"H": 1.0, "ohm": 1.0, "kohm": 1e3, "pF": 1e-12, "%": 0.01}
    parts, name = {}, None
    with open(os.path.join(ROOT, "models", "parts", "pickup.yaml"), encoding="utf-8") as file:
        for line in file:
            if match := re.match(r"  ([\w-]+):$", line.rstrip()):
                name = parts.setdefault(match.group(1), {})
            elif match := re.match(r"    eddy: \{fraction: ([\d.]+) %, resistance: ([\d.]+) kohm\}", line):
                name["eddy"] = (float(match.group(1)) / 100, float(match.group(2)) * 1e3)
            elif match := re.match(r"    (\w+): (?:\{value: )?([\d.]+) (\w+)", line):
                name[match.group(1)] = float(match.group(2)) * scale[match.group(3)]
    return parts


def hold_pickups(held, label, found, path):
    """Pole and Q with the input taken as R parallel C at 3 kHz (our own run), for every pickup and lead. A pole that is
    damped below a Q of 1.5 is left out: there a small change of the input moves it far."""
    z = bench_decks.input_impedance(bench_decks.Design(path).lines(), 3e3)
    ohm, farad = 1 / (1 / z).real, (1 / z).imag / (2 * np.pi * 3e3)
    count, worst = 0, [(0.0, "")] * 6
    for name, pickup in read_pickups().items():
        for lead, metres in (("300mm", 0.3), ("1m", 1.0), ("3m", 3.0)):
            here = bench_figures.pickup_network(pickup, metres, ohm, farad)
            if here is None or here[1] < 1.5:
                continue
            wanted = {"pole_hz": here[0], "q": here[1]}
            for end, ohms in (("1mohm", 1e6), ("open", 1e15)):
                other = bench_figures.pickup_network(pickup, metres, ohms, 0.0)
                wanted["pole_vs_%s_percent" % end] = 100 * (here[0] / other[0] - 1)
                wanted["q_vs_%s_percent" % end] = 100 * (here[1] / other[1] - 1)
            for i, (what, value) in enumerate(wanted.items()):
                given = found.value("pickup_%s_%s_%s" % (name, lead, what))
                # Shares in percentage points; the input is not quite a constant R parallel C.
                allowance = 0.7 if what.endswith("percent") else 0.01 * value
                margin = abs(given - value) / allowance if given is not None else 1e9
                worst[i] = max(worst[i], (margin, "%s %s" % (name, lead)))
                count += 1
    for (margin, where), what in zip(worst, ("pole", "Q", "pole against 1 Mohm", "Q against 1 Mohm",
                                             "pole against open", "Q against open")):
        held.say((count > 0 or label.startswith("poor")) and margin <= 1, "%s: pickups, %s" % (label, what),
                 "%d values in all, worst %.2f of what is allowed (%s)" % (count, margin, where))


def hold_pickup_noise(held, found, paths):
    """Noise behind the pickup that the answer names, with one length of lead for all designs."""
    pickups, rows = read_pickups(), {"noise_pickup_v": [], "noise_pickup_a_v": []}
    for label, path in paths.items():
        named = [noise["source"] for noise in found[label].entry.get("noise", [])]
        name = next((n for text in named for n in sorted(pickups, key=len, reverse=True) if text.startswith(n)), None)
        if name is None:
            held.say(False, "%s: noise with a pickup" % label, "no pickup of the library among %s" % named)
            continue
        answers = {"%g m" % metres: bench_figures.pickup_noise(bench_decks.Design(path), pickups[name], metres)
                   for metres in (0.0, 0.3, 1.0, 3.0, 6.0)}
        for i, figure in enumerate(rows):
            rows[figure].append(("%s, %s" % (label, name), found[label].value(figure),
                                 {lead: pair[i] for lead, pair in answers.items()}))
    for figure, values in rows.items():
        held.meanings(figure, values, 5e-3)


def read_limits(path):
    """The limits file, by its lines: {figure: {pass, marginal}}."""
    limits, now = {}, None
    with open(path, encoding="utf-8") as file:
        for line in file:
            match = re.match(r"\s+(?:- )?(figure|pass|marginal): (.*)$", line.rstrip())
            if match and match.group(1) == "figure":
                now = limits.setdefault(match.group(2), {})
            elif match:
                now[match.group(1)] = match.group(2)
    return limits


def bounds(text):
    """(low, high) in SI units and percent of 'below 1 kohm', 'above X', 'X to Y'; None for words."""
    prefixes = {"p": 1e-12, "n": 1e-9, "u": 1e-6, "m": 1e-3, "": 1.0, "k": 1e3, "M": 1e6, "G": 1e9}

    def number(word):
        match = re.match(r"([-+]?[\d.]+) ([pnumkMG]?)(A|V/us|V/rtHz|V|ohm|F|Hz|dB|deg|%)$", word)
        return float(match.group(1)) * prefixes[match.group(2)] * (1e6 if match.group(3) == "V/us" else 1.0)

    if text.startswith("below "):
        return -float("inf"), number(text[6:])
    if text.startswith("above "):
        return number(text[6:]), float("inf")
    if " to " in text:
        return tuple(number(part) for part in text.split(" to "))
    return None


def grade(limit, value, words):
    """pass, marginal or fail, from the limits file and a figure; None for words held to bounds ("no transistors")."""
    if value is None and bounds(limit["pass"]):
        return None
    for word in ("pass", "marginal"):
        if word in limit:
            pair = bounds(limit[word])
            if pair is None and words.startswith(limit[word]):
                return word
            if pair and value is not None and pair[0] <= value <= pair[1]:
                return word
    return "fail"


def hold_verdicts(held, label, found, limits):
    wrong, count = [], 0
    for name, limit in limits.items():
        if name.startswith("rig_"):
            continue
        figure = found.figures.get(name)
        if figure is None:
            wrong.append("%s is not on the card" % name)
            continue
        if found.trouble(name) or found.beyond(name) or (found.value(name) is None and not found.words(name)):
            continue
        if found.value(name) is None and bounds(limit["pass"]):
            continue  # words in place of a number: a circuit without transistors has no least voltage across one
        count += 1
        wanted = grade(limit, found.value(name), found.words(name))
        if figure["verdict"] != wanted:
            wrong.append("%s: %s, wanted %s (%s)" % (name, figure["verdict"], wanted, found.value(name)))
    held.say(not wrong and count > 30, "%s: verdicts" % label, "%d graded; %s" % (count, "; ".join(wrong) or "all as the limits file has them"))


def hold_reasons(held, found):
    """The poor one fails for what is wrong with it, and the sound ones do not fail there."""
    poor = found["poor-in-pedal-buffer"]
    for name in ("input_impedance_1khz_ohm", "pickup_worst_q_share_percent", "low_cutoff_hz", "output_impedance_1khz_ohm",
                 "drive_worst_cutoff_hz", "headroom_1khz_v", "headroom_sag_1khz_v", "psrr_100hz_db", "thd_1v_percent"):
        held.say(poor.figures.get(name, {}).get("verdict") == "fail", "the poor one fails: %s" % name, str(poor.value(name)))
    for label in ("op-amp-follower", "op-amp-follower-two-rails", "push-pull", "ideal-buffer"):
        fails = [name for name, figure in found[label].figures.items() if figure.get("verdict") == "fail"]
        held.say(not fails, "%s fails nowhere" % label, ", ".join(fails) or "none")
    for label in ("source-follower", "emitter-follower"):
        marginal = [name for name, figure in found[label].figures.items() if figure.get("verdict") == "marginal"]
        held.say(bool(marginal), "%s is marginal somewhere" % label, ", ".join(marginal) or "nowhere")


def main(build):
    held = bench_program.Held()
    paths = {name: os.path.join(CIRCUITS, name + ".yaml") for name in NAMES}
    with tempfile.TemporaryDirectory() as folder:
        answers = bench_program.run(os.path.abspath(build), list(paths.values()), folder)
    found = dict(zip(paths, answers))
    for label in found:
        found[label].path = paths[label]
    with concurrent.futures.ThreadPoolExecutor(2) as pool:
        expected = dict(zip(paths, pool.map(measure, paths.values())))
    hold_groups(held, found, expected)
    hold_headroom(held, found, NAMES)
    hold_pickup_noise(held, found, paths)
    limits = read_limits(os.path.join(ROOT, "models", "limits", "default.yaml"))
    for label in NAMES:
        held.say(found[label].words("stability").startswith("stable"), "%s: stability" % label, found[label].words("stability"))
        hold_sums(held, label, found[label])
        hold_pickups(held, label, found[label], paths[label])
        hold_verdicts(held, label, found[label], limits)
    hold_reasons(held, found)
    floor = [found[label].value("thd_floor_percent") for label in NAMES]
    held.say(all(f is not None and f < 5e-4 for f in floor), "numerical floor of THD below 0.0005 %", str(floor))
    return held.finish()


if __name__ == "__main__":
    sys.exit(main(sys.argv[1]))
