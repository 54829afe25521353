# SPDX-License-Identifier: GPL-3.0-or-later
"""Noise of a rig, worked out beside the program: nodal.py's equations with a noise source on everything that makes noise.

- A branch of admittance Y makes a noise current of 4 k T Re Y (Nyquist 1928: 4 k T R in series; from memory), T = 27 degrees
  Celsius. So does a pickup's coil, whose real part holds its losses in cores and covers.
- A cable is a passive two-port at one temperature: its two noise currents have the correlation 4 k T Re [Y] (R. Q. Twiss,
  J. Appl. Phys. 26, 1955; from memory), so that no pi section is needed.
- A stage's stated noise is a voltage in series with its input and a current across it; both have the power en^2 (1 + fc / f)
  (Franco, Design with Operational Amplifiers, 3rd ed., section 7.1; transcribed). Its input resistance is then noiseless. A
  loaded bypass leaves the input on the signal: its current goes on, its voltage reaches nobody (by reasoning).
- An amp's current is at its jack, its voltage at the point where the response is read.
The transfer of every source at once is one row of the inverse: A^T w = e_out. A passive rig must agree with
4 k T Re Zout of the same equations (Nyquist's theorem for networks), which check_noise.py asserts.

Totals are integrals from 20 Hz to 20 kHz, by Gauss and Legendre in the logarithm of the frequency. A-weighting is the
formula of IEC 61672-1, annex E, with the poles that follow from its four given frequencies (computed).
A rig is a dict as in nodal.py, and a stage or amp may have `noise: {voltage, current, corner, current_corner}`, in SI units.
"""

import contextlib
import re

import numpy as np

import nodal

BOLTZMANN = 1.380649e-23
KELVIN = 300.15
FOUR_KT = 4 * BOLTZMANN * KELVIN
LOW_HZ, HIGH_HZ = 20.0, 20e3
PANELS, ORDER = 45, 8


def a_weight(hz):
    """The factor on power, 1 at 1 kHz."""
    def shape(f):
        one, two, three, four = 20.598997, 107.652649, 737.862231, 12194.217148
        return four ** 2 * f ** 4 / ((f ** 2 + one ** 2) * np.sqrt(f ** 2 + two ** 2) * np.sqrt(f ** 2 + three ** 2)
                                     * (f ** 2 + four ** 2))

    return (shape(np.asarray(hz, dtype=float)) / shape(1000.0)) ** 2


def make_grid():
    """Frequencies and weights of an integral over the band."""
    nodes, weights = np.polynomial.legendre.leggauss(ORDER)
    edges = np.linspace(np.log(LOW_HZ), np.log(HIGH_HZ), PANELS + 1)
    half = (edges[1:] - edges[:-1])[:, None] / 2
    middle = (edges[1:] + edges[:-1])[:, None] / 2
    hz = np.exp(middle + half * nodes).ravel()
    return hz, (half * weights).ravel() * hz


HZ, WEIGHT = make_grid()


class NoisyCircuit(nodal.Circuit):
    """A circuit that knows which part each of its noise sources belongs to."""

    def __init__(self):
        super().__init__()
        self.part = None     # what is being added; None makes no noise
        self.thermal = []    # (part, a, b, admittance)
        self.lossy = []      # (part, a, b, r, l, g, c, length)
        self.voltages = []   # (part, number of the controlled source, gain, noise)
        self.currents = []   # (part, node, noise)
        self.read = []       # (part, jack, node, noise): an amp, and the node where its response is read

    @contextlib.contextmanager
    def of(self, part):
        before, self.part = self.part, part
        yield
        self.part = before

    def resistor(self, a, b, ohm):
        super().resistor(a, b, ohm)
        if ohm != 0 and self.part:
            self.thermal.append((self.part, *self.branches[-1][:3]))

    def emf(self, a, b, impedance):
        super().emf(a, b, impedance)
        if self.part:
            self.thermal.append((self.part, *self.emfs[-1]))

    def cable(self, a, b, r, l, g, c, length):
        super().cable(a, b, r, l, g, c, length)
        self.lossy.append((self.part, a, b, r, l, g, c, length))

    def respond_backwards(self, hz, output):
        """V at the output of 1 A into each row of the equations (columns of the answer), and the rows of the nodes."""
        a, _ = self.matrices(2j * np.pi * hz)
        row, _ = self.index()
        unit = np.zeros((len(hz), a.shape[1], 1), dtype=complex)
        unit[:, row[output], 0] = 1
        w = np.linalg.solve(a.transpose(0, 2, 1), unit)[:, :, 0]
        return np.hstack([w, np.zeros((len(hz), 1))]), row  # index -1 is ground

    def densities(self, hz, output):
        """V^2/Hz at the output by part."""
        hz = np.asarray(hz, dtype=float)
        s = 2j * np.pi * hz
        w, row = self.respond_backwards(hz, output)
        found = {}

        def add(part, power):
            found[part] = found.get(part, 0.0) + power

        for part, a, b, admittance in self.thermal:
            add(part, FOUR_KT * np.real(admittance(s)) * np.abs(w[:, row[a]] - w[:, row[b]]) ** 2)
        for part, a, b, r, l, g, c, length in self.lossy:
            y11, y12 = nodal.line_admittances(s, r, l, g, c, length)
            wa, wb = w[:, row[a]], w[:, row[b]]
            add(part, FOUR_KT * (y11.real * (np.abs(wa) ** 2 + np.abs(wb) ** 2) + 2 * y12.real * np.real(wa * wb.conj())))
        nodes = len(set(row) - {-1})
        for part, number, gain, noise in self.voltages:
            add(part, stated(noise, "voltage", hz) * np.abs(gain * w[:, nodes + number]) ** 2)
        for part, node, noise in self.currents:
            add(part, stated(noise, "current", hz) * np.abs(w[:, row[node]]) ** 2)
        for part, jack, node, noise in self.read:
            add(part, stated(noise, "current", hz) * np.abs(w[:, row[jack]]) ** 2)
            if node == output:
                add(part, stated(noise, "voltage", hz))
        return found

    def output_impedance(self, hz, output):
        w, row = self.respond_backwards(np.asarray(hz, dtype=float), output)
        return w[:, row[output]]


def stated(noise, key, hz):
    """Stated noise as a power density: it rises as 1/f below its corner."""
    corner = noise.get("corner", 0.0)
    if key == "current":
        corner = noise.get("current_corner", corner)
    return noise[key] ** 2 * (1 + corner / hz)


def add_controls(circuit, holder, low, high, path):
    """As nodal.add_controls, a part at a time: the tone may hang on the wiper, so the volume comes first."""
    out = high
    if "volume" in holder:
        with circuit.of(path + ".volume"):
            out = nodal.add_controls(circuit, {"volume": holder["volume"]}, low, high)
    if "tone" in holder:
        at = out if holder["tone"].get("joins", "pickup") == "wiper" else high
        with circuit.of(path + ".tone"):
            nodal.add_controls(circuit, {"tone": holder["tone"]}, low, at)
    return out


def add_guitar(circuit, guitar):
    if "source" in guitar:
        with circuit.of("guitar.source"):
            return nodal.add_guitar(circuit, guitar)
    if "pickup" in guitar:
        high = circuit.node()
        with circuit.of("guitar.pickup"):
            nodal.add_pickup(circuit, guitar["pickup"], 0, high)
        return add_controls(circuit, guitar, 0, high, "guitar")
    parallel = guitar["wiring"] == "parallel"
    joint = circuit.node() if parallel else 0
    for i, part in enumerate(guitar["pickups"]):
        low, high = 0 if parallel else joint, circuit.node()
        path = "guitar.pickups[%d]" % i
        with circuit.of(path + ".pickup"):
            nodal.add_pickup(circuit, part["pickup"], low, high)
        out = add_controls(circuit, part, low, high, path)
        if parallel:
            circuit.wire(out, joint)
        else:
            joint = out
    return add_controls(circuit, guitar, 0, joint, "guitar")


def add_stage(circuit, part, node, gain, path):
    """An active stage; stated noise takes the place of its input resistance's."""
    noise = part.get("noise")
    with circuit.of(None if noise else path):
        nodal.add_input(circuit, part["input"], node)
    if noise:
        circuit.voltages.append((path, len(circuit.sources), gain, noise))
        circuit.currents.append((path, node, noise))
    ideal, out = circuit.node(), circuit.node()
    circuit.follower(ideal, node, gain)
    with circuit.of(path):
        circuit.resistor(ideal, out, part["output"]["resistance"])
    if "coupling" not in part["output"]:
        return out
    after = circuit.node()
    circuit.capacitor(out, after, part["output"]["coupling"])
    return after


def add_pedal(circuit, item, node, path):
    pedal = item["pedal"]
    if item["engaged"]:
        return add_stage(circuit, pedal, node, nodal.ratio(pedal.get("gain", 1.0)), path)
    if pedal["bypass"] == "buffered-bypass":
        return add_stage(circuit, pedal, node, 1.0, path)
    if pedal["bypass"] == "loaded-bypass":
        with circuit.of(None if "noise" in pedal else path):
            nodal.add_input(circuit, pedal["input"], node)
        if "noise" in pedal:
            circuit.currents.append((path, node, pedal["noise"]))
    return node


def add_amp(circuit, amp, node, path):
    """Returns where the response is read; the stopper is a part of its own."""
    jack = node
    with circuit.of(None if "noise" in amp else path):
        nodal.add_input(circuit, amp, node)
    if "stopper" in amp:
        grid = circuit.node()
        with circuit.of(path + " stopper"):
            circuit.resistor(node, grid, amp["stopper"])
        circuit.capacitor(grid, 0, amp["grid"])
        node = grid
    if "noise" in amp:
        circuit.read.append((path, jack, node, amp["noise"]))
    return node


def add_chain(circuit, chain, node, outputs, path):
    """As nodal.add_chain, with each item's path."""
    for i, item in enumerate(chain):
        here = "%s[%d]" % (path, i)
        if "pedal" in item:
            node = add_pedal(circuit, item, node, here + ".pedal")
        elif "buffer" in item:
            node = add_stage(circuit, item["buffer"], node, nodal.ratio(item["buffer"].get("gain", 1.0)), here + ".buffer")
        elif "pot" in item:
            pot = item["pot"]
            if "tuner-out" in pot:
                add_branch(circuit, pot["tuner-out"], node, outputs, here + ".tuner-out.")
            with circuit.of(here + ".pot"):
                node = nodal.add_pot(circuit, {k: v for k, v in pot.items() if k != "tuner-out"}, node, outputs)
        elif "loop" in item:
            if item["loop"]["engaged"]:
                node = add_chain(circuit, item["loop"]["chain"], node, outputs, here + ".chain")
        elif "split" in item:
            for branch in item["split"]:
                add_branch(circuit, branch, node, outputs, "%s.split[%s]." % (here, branch["name"]))
            return None
        else:
            kind = "cable" if "cable" in item else "contact"
            with circuit.of("%s.%s" % (here, kind)):
                node = nodal.add_chain(circuit, [item], node, outputs)
    return node


def add_branch(circuit, branch, node, outputs, path):
    node = add_chain(circuit, branch.get("chain", []), node, outputs, path + "chain")
    if node is None:
        return
    if "amp" in branch:
        outputs.append((branch.get("name", "amp"), branch["amp"],
                        add_amp(circuit, branch["amp"], node, branch.get("amp at", path + "amp"))))
    elif branch["end"] != "open":
        with circuit.of(path + "end"):
            circuit.resistor(node, 0, branch["end"]["resistance"])


def amp_paths(rig):
    """Where each amp stands in the file, by its name."""
    found = {}

    def walk(chain, path):
        for i, item in enumerate(chain):
            for branch in item.get("split", []):
                here = "%s[%d].split[%s]." % (path, i, branch["name"])
                if "amp" in branch:
                    found[branch["name"]] = here + "amp"
                walk(branch.get("chain", []), here + "chain")

    walk(rig["chain"], "chain")
    return found


def build(rig):
    """All that the program answers, in its order: [(rig or direct, amp's name, circuit, node)]."""
    circuit, outputs = NoisyCircuit(), []
    add_branch(circuit, {key: rig[key] for key in ("chain", "amp") if key in rig}, add_guitar(circuit, rig["guitar"]),
               outputs, "")
    circuit.ground_floating()
    answers, at = [], amp_paths(rig)
    for name, amp, node in outputs:
        answers.append(("rig", name, circuit, node))
        direct, ends = NoisyCircuit(), []
        node = add_chain(direct, rig["direct"], add_guitar(direct, rig["guitar"]), ends, "direct")
        node = add_amp(direct, amp, node, at.get(name, "amp"))
        direct.ground_floating()
        answers.append(("direct", name, direct, node))
    return answers


def measure(circuit, node):
    """Total and A-weighted volts, and each part's shares of power."""
    found = circuit.densities(HZ, node)
    plain = {part: np.sum(WEIGHT * power) for part, power in found.items()}
    weighted = {part: np.sum(WEIGHT * a_weight(HZ) * power) for part, power in found.items()}
    total, heard = sum(plain.values()), sum(weighted.values())
    return {"total_v": np.sqrt(total), "a_weighted_v": np.sqrt(heard),
            "shares": {part: (plain[part] / total, weighted[part] / heard) for part in found}}


# A rig read back from what `toneload check --json` lists, so that library parts need no second reader.

PREFIXES = {"": 1.0, "f": 1e-15, "p": 1e-12, "n": 1e-9, "u": 1e-6, "m": 1e-3, "c": 1e-2, "k": 1e3, "M": 1e6, "G": 1e9}
UNIT = re.compile(r"([fpnumckMG]?)(ohm|F|H|S|m|V|A|Hz)(/m|/rtHz)?$")


def read_value(text):
    """'110 pF/m' as 1.1e-10, '6 %' as 0.06, '3 dB' as (3, 'dB'), words as they are, yes and no as truth."""
    words = text.split()
    if text in ("yes", "no"):
        return text == "yes"
    try:
        number = float(words[0])
    except ValueError:
        return text
    if len(words) == 1:
        return number
    if words[1] == "%":
        return number / 100
    if words[1] == "dB":
        return number, "dB"
    return number * PREFIXES[UNIT.match(words[1]).group(1)]


def step_into(place, word):
    """The part of a rig that one word of a path names, made when it is not there: 'chain[2]', 'split[left]', 'amp'."""
    name, _, index = word.rstrip("]").partition("[")
    if not index:
        return place.setdefault(name, {})
    listed = place.setdefault(name, [])
    if not index.isdigit():
        for branch in listed:
            if branch["name"] == index:
                return branch
        listed.append({"name": index})
        return listed[-1]
    while len(listed) <= int(index):
        listed.append({})
    return listed[int(index)]


BESIDE = {"length", "engaged"}  # stand beside a cable or pedal and not among its values


def read_rig(values):
    """The rig of a list of {part, field, value}."""
    rig = {}
    for value in values:
        if value["field"].startswith("build.") or value["field"] == "capacitance of it all":
            continue
        if value["part"].split(".")[0] in ("power", "board", "measure"):
            continue  # what feeds the pedals, where they stand, how all is measured: not in the circuit
        *outer, kind = value["part"].split(".")
        place = rig
        for word in outer:
            place = step_into(place, word)
        if kind == "loop" or value["field"] not in BESIDE and value["part"] != "guitar.wiring":
            place = step_into(place, kind)
        *groups, last = value["field"].split(".")
        for group in groups:
            place = place.setdefault(group, {})
        place[last] = read_value(value["value"])
    settle(rig["chain"])
    return rig


def settle(chain):
    """Paths leave out the words `loop` and `pot`; here what is inside goes where nodal.py looks for it."""
    for item in chain:
        if "loop" in item:
            item["loop"]["chain"] = item.pop("chain")
            settle(item["loop"]["chain"])
        if "tuner-out" in item:
            item["pot"]["tuner-out"] = item.pop("tuner-out")
        for branch in item.get("split", []):
            settle(branch["chain"])
