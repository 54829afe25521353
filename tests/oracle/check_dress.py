#!/usr/bin/python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""What leads pick up, against an outside solver: the whole way from the other lead's voltage and current to the amp.

Usage: check_dress.py BUILD_DIR

- The way through the rig is nodal.py's: nodal equations with exact cables. A run's capacitance is an EMF of 1 V behind
  that capacitance at the lead's core; its induced voltage is an EMF in series with the lead.
- How the leads lie is worked out here a second time, from the formulas named in the program's answer; and the
  formulas for two wires are held against a 2-D electrostatic solution by the method of moments.
- Levels are added up here over the source's harmonics, with A-weighting as in IEC 61672-1 (from memory).
- The noise floor is that of `toneload noise`, which has an outside check of its own.
"""

import json
import os
import sys
import tempfile

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
sys.dont_write_bytecode = True

import numpy as np

import decks
import nodal

MODELS = os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "..", "models", "rigs")
E0 = 8.8541878128e-12
MU0 = 4e-7 * np.pi
PREFIX = {"": 1, "f": 1e-15, "p": 1e-12, "n": 1e-9, "u": 1e-6, "m": 1e-3, "c": 1e-2, "k": 1e3, "M": 1e6, "G": 1e9}
UNITS = ["ohm", "F", "H", "m", "S", "V", "A", "Hz", "deg"]
# Percent of the mains voltage's fundamental, as the program's source file has them.
MAINS = {1: 100, 3: 1, 5: 2.5, 7: 1.5, 9: 0.4, 11: 0.8, 13: 0.6, 15: 0.15, 17: 0.35, 19: 0.25, 21: 0.1, 23: 0.2, 25: 0.2,
         27: 0.08, 29: 0.15, 31: 0.12, 33: 0.06, 35: 0.1, 37: 0.1, 39: 0.05}

faults = []
held = 0


def hold(what, got, wanted, share):
    global held
    off = abs(got / wanted - 1) if wanted else abs(got)
    if off <= share:
        held += 1
        return off
    faults.append("%s: %.8g, wanted %.8g (off by %.2g, allowed %.2g)" % (what, got, wanted, off, share))
    return off


# ---- reading the program's own listing of a rig

def read_value(text):
    """A value as `toneload check` lists it: a number in SI units, or the word."""
    words = text.split()
    try:
        number = float(words[0])
    except ValueError:
        return text
    if len(words) == 1:
        return number
    if words[1] == "%":
        return number / 100
    if words[1] == "dB":
        return (number, "dB")
    unit = words[1].split("/")[0]
    for known in UNITS:
        if unit.endswith(known) and unit[:-len(known)] in PREFIX:
            return number * PREFIX[unit[:-len(known)]]
    raise ValueError("unit of %r" % text)


def put(where, field, value):
    parts = field.split(".")
    for part in parts[:-1]:
        where = where.setdefault(part, {})
    where[parts[-1]] = value


def read_rig(build, path):
    """A rig without loops and splits as nodal.py takes it, and its runs."""
    rows = json.loads(decks.run([build + "/toneload", "check", "--json", path], "/tmp"))["values"]
    rig, runs = {"guitar": {}, "chain": [], "amp": {}}, []
    for row in rows:
        head = row["part"].split(".")
        if head[0] in ("power", "board", "measure"):
            continue  # what feeds the pedals, where they stand, how all is measured: not in the circuit
        value = read_value(row["value"])
        if head[0] == "guitar":
            put(rig["guitar"].setdefault(head[1], {}), row["field"], value)
        elif head[0] == "amp":
            put(rig["amp"], row["field"], value)
        elif head[0].startswith("chain["):
            index = int(head[0][6:-1])
            while len(rig["chain"]) <= index:
                rig["chain"].append({})
            item = rig["chain"][index]
            part = item.setdefault(head[1], {})
            if row["field"] == "length":
                item["length"] = value
            elif row["field"] == "engaged":
                item["engaged"] = value == "yes"
            else:
                put(part, row["field"], value)
        elif head[0].startswith("dressing["):
            index = int(head[0][9:-1])
            while len(runs) <= index:
                runs.append({"about": row["about"]})
            runs[index][row["field"]] = value
    return rig, runs


# ---- how the leads lie

def metal(run):
    """Over the other lead's metal: `copper`, or 60 % of its diameter (beside audio not held here)."""
    return run.get("copper", 0.6 * run["diameter"])


def shield(run, cable):
    """Over the audio lead's shield: as said; the cable's insulation and half a millimetre of braid; 80 % of a jacket; 5 mm."""
    built = cable.get("build", {}).get("diameter")
    return run.get("shield.diameter", built + 0.5e-3 if built else 0.8 * run["jacket"] if "jacket" in run else 5e-3)


def per_metre(run, spacing, diameter):
    a, b, d = metal(run) / 2, diameter / 2, spacing
    if "height" not in run:
        return 2 * np.pi * E0 / np.arccosh((d * d - a * a - b * b) / (2 * a * b))
    h = run["height"]
    high, low = np.sqrt(h * h - a * a), np.sqrt(h * h - b * b)
    one, two = np.arccosh(h / a), np.arccosh(h / b)
    both = 0.5 * np.log((d * d + (high + low) ** 2) / (d * d + (high - low) ** 2))
    thick = np.log(d * d / (a * b)) / np.arccosh((d * d - a * a - b * b) / (2 * a * b))
    return 2 * np.pi * E0 * both / (one * two - both ** 2) * thick


def capacitance(run, cable):
    """Summed in 20001 pieces along the lead."""
    share = cable["capacitance"] * (1 - run.get("shield.coverage", 0.95)) ** 1.5 / (3 * E0 * run.get("shield.carriers", 16))
    s = (np.arange(20001) + 0.5) / 20001 * run["length"] - run["length"] / 2
    d = np.hypot(run["spacing"], s * np.sin(np.radians(run.get("angle", 0))))
    bare = run.get("bare", 0) / run["length"]
    each = (1 - bare) * share * per_metre(run, d, shield(run, cable)) + bare * per_metre(run, d, 0.6e-3)
    return np.mean(each) * run["length"]


def partial(length, d):
    return MU0 * length / (2 * np.pi) * (np.arcsinh(length / d) - np.hypot(1, d / length) + d / length)


def mutual(run):
    length, back = run["length"], run.get("return", 0.2e-3)
    pair = run.get("pair")
    near = run["spacing"] - (pair / 2 if pair and pair <= run["diameter"] else 0)
    wires = [(1, near), (-1, near + back)]
    if pair:
        wires += [(-1, near + pair), (1, near + pair + back)]
    return np.cos(np.radians(run.get("angle", 0))) * sum(sign * partial(length, d) for sign, d in wires)


def moments(centres, radii, volts, ground):
    """Charges per metre on round wires held at volts, by panels; ground is the plane y = 0, or the sum is 0."""
    count = 200
    turn = 2 * np.pi * (np.arange(count) + 0.5) / count
    x = np.concatenate([c[0] + r * np.cos(turn) for c, r in zip(centres, radii)])
    y = np.concatenate([c[1] + r * np.sin(turn) for c, r in zip(centres, radii)])
    width = np.repeat([2 * np.pi * r / count for r in radii], count)
    distance = np.hypot(x[:, None] - x, y[:, None] - y)
    np.fill_diagonal(distance, width / (2 * np.e))  # the mean of -ln over a flat panel seen from its middle
    p = -np.log(distance) / (2 * np.pi * E0)
    if ground:
        p += np.log(np.hypot(x[:, None] - x, y[:, None] + y)) / (2 * np.pi * E0)
        charge = np.linalg.solve(p, np.repeat(volts, count))
    else:  # potentials count from an unknown level, and all charge is on the two wires
        whole = np.block([[p, np.ones((len(x), 1))], [np.ones((1, len(x))), np.zeros((1, 1))]])
        charge = np.linalg.solve(whole, np.append(np.repeat(volts, count), 0))[:-1]
    return [np.sum(charge[i * count:(i + 1) * count]) for i in range(len(radii))]


def check_electrostatics():
    """The two formulas against the 2-D field, for leads as on boards."""
    worst = {"two wires": 0, "over ground": 0, "over ground, touching": 0}
    for spacing, a, b, height in ((12e-3, 3.5e-3, 2.5e-3, 10e-3), (6.2e-3, 3.5e-3, 2.5e-3, 10e-3), (30e-3, 3.5e-3, 2.5e-3, 10e-3),
                                  (100e-3, 3.5e-3, 2.5e-3, 10e-3), (10e-3, 2e-3, 2e-3, 5e-3), (12e-3, 3.5e-3, 0.3e-3, 10e-3),
                                  (12e-3, 3.5e-3, 2.5e-3, 4e-3), (12e-3, 3.5e-3, 2.5e-3, 1.0)):
        run = {"diameter": 2 * a, "copper": 2 * a}
        charge = moments([(0, 1), (spacing, 1)], [a, b], [1.0, 0.0], False)
        off = hold("two wires %g mm apart" % (1e3 * spacing), per_metre(run, spacing, 2 * b), -charge[1], 0.012)
        worst["two wires"] = max(worst["two wires"], off)
        run["height"] = height
        charge = moments([(0, height), (spacing, height)], [a, b], [1.0, 0.0], True)
        off = hold("over ground, %g mm apart" % (1e3 * spacing), per_metre(run, spacing, 2 * b), -charge[1],
                   0.16 if spacing < 1.1 * (a + b) else 0.02)
        kind = "over ground, touching" if spacing < 1.1 * (a + b) else "over ground"
        worst[kind] = max(worst[kind], off)
    for name, off in worst.items():
        print("2-D field by moments: %s within %.1f %%" % (name, 100 * off))


# ---- the source

def source(run):
    """[(Hz, volt, ampere)], rms."""
    lines = []
    if run["beside"] == "mains":
        n = np.arange(1, 41, 2)
        turn = (np.arange(24000) + 0.5) / 24000
        angle = np.abs(np.mod(turn, 0.5) - 0.25) * 360
        wave = np.where(angle < 30, np.cos(np.radians(3 * angle)), 0) * np.where(turn < 0.5, 1, -1)
        shape = np.abs(np.fft.rfft(wave))[n]
        if run.get("load") == "plain":
            shape = np.array([MAINS[k] for k in n], dtype=float)
        current = run.get("current", 0) * shape / np.sqrt(np.sum(shape ** 2))
        lines += [(k * run["frequency"], run["voltage"] * MAINS[k] / 100, i) for k, i in zip(n, current)]
    for key in ("ripple", "pulse"):
        if key + ".frequency" not in run:
            continue
        size = 100000  # every duty below is a whole number of samples
        turn = (np.arange(size) + 0.5) / size
        wave = {"sine": 0.5 * np.sin(2 * np.pi * turn), "triangle": 1 - np.abs(2 * turn - 1),
                "square": (turn < 0.5) * 1.0}[run["ripple.wave"]] if key == "ripple" else (turn < run["pulse.duty"]) * 1.0
        rms = np.abs(np.fft.rfft(wave)) / size * np.sqrt(2)
        for n in range(1, int(100e3 / run[key + ".frequency"] + 1e-9) + 1):
            hz = n * run[key + ".frequency"]
            lines.append((hz, run["ripple.voltage"] * rms[n], 0) if key == "ripple" else (hz, 0, run["pulse.current"] * rms[n]))
    return np.array(lines)


def a_weighting(f):
    f2 = f * f
    ratio = 12194 ** 2 * f2 ** 2 / ((f2 + 20.6 ** 2) * np.sqrt((f2 + 107.7 ** 2) * (f2 + 737.9 ** 2)) * (f2 + 12194 ** 2))
    return ratio * 10 ** (2.0 / 20)


# ---- the way to the amp

def disturbed(rig, index, how, buffer=None):
    """The rig, its guitar silent, with 1 V at chain[index]: `how` is a capacitance, or None for an EMF in series, or
    "impedance" for 1 A. Returns the circuit, the amp's node and the lead's."""
    circuit, outputs = nodal.Circuit(), []
    node = nodal.add_guitar(circuit, rig["guitar"])
    node = nodal.add_chain(circuit, rig["chain"][:index], node, outputs)
    circuit.branches += [(a, b, y, True) for a, b, y in circuit.emfs]
    circuit.emfs = []
    if buffer:
        node = nodal.add_stage(circuit, buffer, node, 1.0)
    lead = circuit.node()
    if how is None:
        circuit.emf(lead, node, lambda s: np.full_like(s, 1e-3))
    else:
        circuit.resistor(node, lead, 1e-3)
        ohm = 1e15  # 1 V behind it is a current of 1e-15 A, and loads nothing
        circuit.emf(lead, 0, (lambda s: np.full_like(s, ohm)) if how == "impedance" else (lambda s: 1 / (s * how)))
    end = nodal.add_chain(circuit, rig["chain"][index:], lead, outputs)
    out = nodal.add_amp(circuit, rig["amp"], end)
    circuit.ground_floating()
    return circuit, out, lead


def levels(rig, index, run, buffer=None):
    """Lines' rms at the amp, and their frequencies."""
    lines = source(run)
    hz = lines[:, 0]
    farad = capacitance(run, rig["chain"][index]["cable"])
    electric = 0 * hz
    if farad > 0:
        circuit, out, _ = disturbed(rig, index, farad, buffer)
        electric = lines[:, 1] * np.abs(nodal.respond(circuit, out, hz))
    circuit, out, _ = disturbed(rig, index, None, buffer)
    magnetic = lines[:, 2] * 2 * np.pi * hz * mutual(run) * np.abs(nodal.respond(circuit, out, hz))
    return hz, electric, magnetic


def sums(hz, electric, magnetic):
    heard = hz <= 20e3
    power = electric ** 2 + magnetic ** 2
    weighted = a_weighting(hz) ** 2 * heard
    loud = np.sum(weighted * power)
    return {"total_v": np.sqrt(np.sum(power[heard])), "above_hearing_v": np.sqrt(np.sum(power[~heard])),
            "a_weighted_v": np.sqrt(loud),
            "electric_share": np.sum(weighted * electric ** 2) / loud if loud > 0 else 0.0}


def together(rig, runs):
    """All runs A-weighted: mains of one frequency are one phase, so electric volts add, and magnetic ones; others as powers."""
    power, phases = 0, {}
    for run in runs:
        if run["beside"] == "audio":
            continue
        hz, electric, magnetic = levels(rig, int(run["about"].split("[")[1].split("]")[0]), run)
        weighted = a_weighting(hz) * (hz <= 20e3)
        if run["beside"] == "mains":
            sum_of = phases.setdefault(run["frequency"], [0 * hz, 0 * hz])
            sum_of[0] += weighted * electric
            sum_of[1] += weighted * magnetic
        else:
            power += np.sum(weighted ** 2 * (electric ** 2 + magnetic ** 2))
    return np.sqrt(power + sum(np.sum(e ** 2 + m ** 2) for e, m in phases.values()))


OP_AMP = {"input": {"resistance": 1e6, "capacitance": 10e-12}, "output": {"resistance": 100.0, "coupling": 10e-6}}


def check_run(build, rig, run, got, floor_v, worst):
    index = int(run["about"].split("[")[1].split("]")[0])
    what = got["name"]
    amp = got["amps"][0]
    hold(what + ", capacitance", got["capacitance_farad"], capacitance(run, rig["chain"][index]["cable"]), 1e-6)
    hold(what + ", mutual inductance", got["mutual_henry"], mutual(run), 1e-6)
    circuit, _, lead = disturbed(rig, index, "impedance")
    hold(what + ", impedance", got["impedance_ohm"], np.abs(nodal.respond(circuit, lead, [1000.0]))[0] * 1e15, 2e-3)
    for name, lie, buffer, entry in (("as is", run, None, amp), ("crossing", dict(run, angle=90.0), None, amp["crossing"]),
                                     ("behind a buffer", run, OP_AMP, amp["buffered"])):
        wanted = sums(*levels(rig, index, lie, buffer))
        for key in ("total_v", "a_weighted_v", "above_hearing_v", "electric_share"):
            # Crossing, the magnetic part is 0 in the program and the last digit of a cosine here.
            if entry[key] is None:  # nothing: under 1e-12 V
                if wanted["a_weighted_v" if key == "electric_share" else key] > 1.001e-12:
                    faults.append("%s, %s, %s: nothing, wanted %g" % (what, name, key, wanted[key]))
                continue
            off = hold("%s, %s, %s" % (what, name, key), entry[key], wanted[key], 2e-3)
            worst[key] = max(worst.get(key, 0), off)
        if entry["against_floor_db"] is not None:
            noise_v = floor_v if buffer is None else got["amps"][0]["buffered_noise_v"]
            off = abs(entry["against_floor_db"] - 20 * np.log10(wanted["a_weighted_v"] / noise_v))
            worst["dB"] = max(worst.get("dB", 0), off)
            if off > 0.02:
                faults.append("%s, %s: %.3f dB off the floor's distance" % (what, name, off))
    hz, electric, magnetic = levels(rig, index, run)
    wanted = {}
    for f, power in zip(hz, electric ** 2 + magnetic ** 2):
        if f <= 20e3:
            wanted[round(f, 6)] = wanted.get(round(f, 6), 0) + power
    for line in amp["lines"]:
        power = wanted.pop(round(line["hz"], 6), None)
        if power is None:
            faults.append("%s: a line at %g Hz that is not there" % (what, line["hz"]))
        elif line["v"] > max(1e-12, 1e-6 * (amp["total_v"] or 0)):
            hold("%s, line at %g Hz" % (what, line["hz"]), line["v"], np.sqrt(power), 2e-3)
    if any(np.sqrt(power) > max(1.001e-12, 1e-6 * (amp["total_v"] or 0)) for power in wanted.values()):
        faults.append("%s: lines are missing: %r" % (what, wanted))


ANOTHER = """rig: dressed otherwise
guitar:
  pickup: {inductance: 4 H, resistance: 8 kohm, capacitance: 120 pF}
  volume: {pot: 500 kohm, taper: audio, position: 50 %}
chain:
  - cable: {capacitance: 120 pF/m, resistance: 100 mohm/m}
    length: 5 m
  - contact: {resistance: 2 ohm, leakage: 20 Mohm}
  - buffer: {input: {resistance: 1 Mohm, capacitance: 20 pF}, gain: 3, output: {resistance: 220 ohm, coupling: 1 uF}}
  - cable: {capacitance: 120 pF/m, resistance: 100 mohm/m}
    length: 3 m
amp: {resistance: 1 Mohm, capacitance: 30 pF, stopper: 68 kohm, grid: 100 pF}
dressing:
  - {name: bare and far, lead: 'chain[0]', beside: mains, length: 2 m, spacing: 30 mm, angle: 20 deg, diameter: 8 mm, bare: 8 mm,
     shield: {coverage: 80 %, diameter: 4 mm, carriers: 24}, voltage: 120 V, frequency: 60 Hz, current: 2 A, load: plain, return: 3 mm}
  - {name: two wires, lead: 'chain[3]', beside: mains, length: 1.5 m, spacing: 15 mm, diameter: 2 mm, pair: 40 mm, height: 50 mm,
     shield: {coverage: 100 %, diameter: 4 mm}, voltage: 230 V, frequency: 50 Hz, current: 1 A}
  - {name: touching, lead: 'chain[0]', beside: mains, length: 40 cm, spacing: 6.5 mm, diameter: 7 mm, pair: 3 mm, voltage: 120 V, frequency: 60 Hz,
     current: 100 mA}
  - {name: bundle, lead: 'chain[3]', beside: mains, length: 2 m, spacing: 8 mm, diameter: 6 mm, copper: 5 mm, pair: 2.5 mm, jacket: 6 mm, height: 8 mm,
     voltage: 230 V, frequency: 50 Hz, current: 3 A, load: plain}
  - {name: whine, lead: 'chain[0]', beside: dc, length: 30 cm, spacing: 8 mm, diameter: 3 mm, bare: 2 mm, angle: 75 deg,
     shield: {coverage: 70 %, diameter: 4 mm}, ripple: {voltage: 50 mV, frequency: 3 kHz, wave: square}, pulse: {current: 80 mA, frequency: 300 Hz, duty: 12 %}}
"""


def check_rig(build, path, least, worst):
    rig, runs = read_rig(build, path)
    answer = json.loads(decks.run([build + "/toneload", "dress", "--json", path], "/tmp"))
    noise = json.loads(decks.run([build + "/toneload", "noise", "--json", path], "/tmp"))
    hold("floor", answer["amps"][0]["a_weighted_v"], noise["a_weighted_v"], 1e-9)
    measured = 0
    for run, got in zip(runs, answer["runs"]):
        if got["beside"] == "audio":
            continue
        check_run(build, rig, run, got, noise["a_weighted_v"], worst)
        measured += 1
    hold("together", answer["amps"][0]["all_runs"]["a_weighted_v"], together(rig, runs), 2e-3)
    if measured < least:
        faults.append("%s: only %d runs" % (path, measured))


def main():
    build = os.path.abspath(sys.argv[1])
    check_electrostatics()
    worst = {}
    check_rig(build, os.path.join(MODELS, "long-cable.yaml"), 2, worst)
    check_rig(build, os.path.join(MODELS, "buffered-board.yaml"), 3, worst)
    with tempfile.TemporaryDirectory(prefix="dress-") as folder:
        check_rig(build, decks.write_file(folder, "another.yaml", ANOTHER), 5, worst)
    for name in sorted(worst):
        print("largest difference from the nodal solver, %s: %.2g" % (name, worst[name]))
    for fault in faults[:30]:
        print("WRONG:", fault)
    print("%d held, %d did not" % (held, len(faults)))
    return 1 if faults or held < 100 else 0


if __name__ == "__main__":
    sys.exit(main())
