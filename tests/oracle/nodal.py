# SPDX-License-Identifier: GPL-3.0-or-later
"""A second, independent solver for rigs, written from the words of the design alone.

It shares no code and no method with the C program: the program exports a SPICE deck with cables as pi
sections and fits a rational function to solved points; this file sets up complex nodal equations
(modified nodal analysis: C.-W. Ho, A. Ruehli, P. Brennan, IEEE Trans. Circuits and Systems CAS-22(6), 1975;
from memory) and treats a cable exactly, as the two-port of the telegrapher's equations (from memory, any
textbook of transmission lines):

    z = r + s l, y = g + s c (per metre), gamma = sqrt(z y), Zc = sqrt(z / y)
    Y11 = Y22 = coth(gamma len) / Zc, Y12 = Y21 = -1 / (Zc sinh(gamma len))

A rig is a Python dict that mirrors the rig file; every value is a plain number in SI units (ohm, farad,
henry, metre, ohm/m, F/m, H/m, S/m; positions and fractions as 0..1). A gain is a number (a ratio) or a
tuple (number, "dB").

Where the design says nothing, these conventions hold:
- every pickup's EMF is 1 V; with series wiring the first listed pickup is on the ground side;
- with several pickups, each one's own controls come before the joining, the guitar's controls after it;
- a contact's leakage hangs after its series resistance (seen from the guitar);
- a volume pedal's tuner-out branch hangs at its input, before the pot;
- an island of nodes without a direct-current path to ground gets one resistor of 1e13 ohm to ground.
"""

import numpy as np

FLOATING_OHM = 1e13


def taper(part):
    """The share of the pot below the wiper (audio law: a tenth at half travel, common practice)."""
    x = part["position"]
    if part.get("taper", "audio") == "linear":
        return x
    return (81.0 ** x - 1.0) / 80.0


def line_admittances(s, r, l, g, c, length):
    """Y11 and Y12 of a cable; both are even in gamma, so the branch of the square root does not matter."""
    z = r + s * l
    y = g + s * c
    gamma = np.sqrt(z * y)
    theta = gamma * length
    y11 = gamma / (z * np.tanh(theta))
    y12 = -gamma / (z * np.sinh(theta))
    return y11, y12


class Circuit:
    """Nodes are integers, 0 is ground. wire() makes two nodes one."""

    def __init__(self):
        self.parent = [0]
        self.branches = []   # (a, b, admittance(s), conducts)
        self.emfs = []       # (a, b, admittance(s)): 1 V behind that admittance, plus at a
        self.lines = []      # (a, b, r, l, g, c, length)
        self.sources = []    # (out, in, gain): voltage-controlled voltage source to ground

    def node(self):
        self.parent.append(len(self.parent))
        return len(self.parent) - 1

    def find(self, n):
        while self.parent[n] != n:
            n = self.parent[n]
        return n

    def wire(self, a, b):
        a, b = sorted((self.find(a), self.find(b)))
        self.parent[b] = a

    def resistor(self, a, b, ohm):
        """A part that comes to 0 ohm is a wire, not an element."""
        if ohm == 0:
            self.wire(a, b)
        else:
            self.branches.append((a, b, lambda s: np.full_like(s, 1.0 / ohm), True))

    def capacitor(self, a, b, farad):
        if farad:
            self.branches.append((a, b, lambda s: s * farad, False))

    def emf(self, a, b, impedance):
        """1 V in series with an impedance, between b (minus) and a (plus)."""
        self.emfs.append((a, b, lambda s: 1.0 / impedance(s)))

    def cable(self, a, b, r, l, g, c, length):
        self.lines.append((a, b, r, l, g, c, length))

    def follower(self, out, control, gain):
        self.sources.append((out, control, gain))

    def ground_floating(self):
        """Gives each island without a path for direct current its explicit resistor, once."""
        island = {n: n for n in map(self.find, range(len(self.parent)))}

        def root(n):
            n = self.find(n)
            while island[n] != n:
                n = island[n]
            return n

        def join(a, b):
            a, b = sorted((root(a), root(b)))
            island[b] = a

        for a, b, _, conducts in self.branches:
            if conducts:
                join(a, b)
        for a, b, _ in self.emfs:
            join(a, b)
        for a, b, _, _, g, _, _ in self.lines:
            join(a, b)
            if g > 0:
                join(a, 0)
        for out, _, _ in self.sources:
            join(out, 0)
        for n in sorted({root(n) for n in island} - {root(0)}):
            self.resistor(n, 0, FLOATING_OHM)

    def index(self):
        """Row numbers of the nodes that remain after wires are joined; ground is -1."""
        live = sorted({self.find(n) for n in range(len(self.parent))} - {self.find(0)})
        row = {n: i for i, n in enumerate(live)}
        row[self.find(0)] = -1
        return [row[self.find(n)] for n in range(len(self.parent))], len(live)

    def matrices(self, s):
        """The equations A x = b for each complex frequency in s (rad/s): shapes (len(s), n, n), (len(s), n)."""
        s = np.asarray(s, dtype=complex)
        row, nodes = self.index()
        n = nodes + len(self.sources)
        # One row and column too many: index -1, ground, lands there and is cut off at the end.
        a_all = np.zeros((len(s), n + 1, n + 1), dtype=complex)
        b_all = np.zeros((len(s), n + 1), dtype=complex)

        def stamp(a, b, y):
            a_all[:, a, a] += y
            a_all[:, b, b] += y
            a_all[:, a, b] -= y
            a_all[:, b, a] -= y

        for a, b, admittance, _ in self.branches:
            stamp(row[a], row[b], admittance(s))
        for a, b, admittance in self.emfs:
            y = admittance(s)
            stamp(row[a], row[b], y)
            b_all[:, row[a]] += y
            b_all[:, row[b]] -= y
        for a, b, r, l, g, c, length in self.lines:
            y11, y12 = line_admittances(s, r, l, g, c, length)
            i, j = row[a], row[b]
            a_all[:, i, i] += y11
            a_all[:, j, j] += y11
            a_all[:, i, j] += y12
            a_all[:, j, i] += y12
        for k, (out, control, gain) in enumerate(self.sources):
            q = nodes + k
            a_all[:, row[out], q] += 1.0
            a_all[:, q, row[out]] += 1.0
            a_all[:, q, row[control]] -= gain
        return a_all[:, :n, :n], b_all[:, :n]

    def solve(self, s, outputs):
        """Voltages at the given nodes: shape (len(outputs), len(s))."""
        a, b = self.matrices(s)
        x = np.linalg.solve(a, b[:, :, None])[:, :, 0]
        row, _ = self.index()
        zero = np.zeros(len(b), dtype=complex)
        return np.array([x[:, row[n]] if row[n] >= 0 else zero for n in outputs])

    def newton_poles(self, starts, steps=25):
        """Zeros of det A near the starting points: Newton on the determinant, d(log det A)/ds = tr(A^-1 A').

        Returns the points it converged to, to 1e-9; starts that got lost or went in circles leave none.
        """
        found = []
        s = np.array(starts, dtype=complex)
        for _ in range(steps):
            step = self.newton_step(s)
            size = np.abs(step) / np.abs(s)
            found.extend(s[size < 1e-9])
            going = (size >= 1e-9) & np.isfinite(size)
            if not going.any():
                break
            s, step, size = s[going], step[going], size[going]
            s = s + step * np.minimum(1.0, 0.3 / size)
        return np.array(found, dtype=complex)

    def newton_step(self, s):
        """-det A / (det A)' at each point."""
        h = 1e-5 * np.abs(s)
        a, above, below = np.split(self.matrices(np.concatenate([s, s + h, s - h]))[0], 3)
        slope = (above - below) / (2 * h)[:, None, None]
        # Scaling the rows leaves the trace as it is and keeps the elimination quiet.
        scale = 1.0 / np.abs(a).max(axis=2)[:, :, None]
        try:
            return -1.0 / np.trace(np.linalg.solve(a * scale, slope * scale), axis1=1, axis2=2)
        except np.linalg.LinAlgError:
            # A point has hit a zero of the determinant to the last digit: step aside and back.
            return self.newton_step(s * (1.0 + 1e-11))

    def residue(self, pole, output):
        """Residue at a single pole, by the mean of (s - p) H over a small circle."""
        radius = 1e-4 * abs(pole)
        around = radius * np.exp(2j * np.pi * np.arange(8) / 8)
        return np.mean(around * self.solve(pole + around, [output])[0])


def ratio(gain):
    """A gain given in dB as a ratio."""
    if isinstance(gain, tuple):
        return 10.0 ** (gain[0] / 20.0)
    return float(gain)


def add_pickup(circuit, part, low, high):
    """EMF, inductance (with its eddy share) and resistance in series; winding capacitance over the terminals."""
    eddy = part.get("eddy")

    def impedance(s):
        if not eddy:
            return part["resistance"] + s * part["inductance"]
        shunted = s * part["inductance"] * eddy["fraction"]
        rest = s * part["inductance"] * (1.0 - eddy["fraction"])
        return part["resistance"] + rest + shunted * eddy["resistance"] / (shunted + eddy["resistance"])

    circuit.emf(high, low, impedance)
    circuit.capacitor(high, low, part.get("capacitance", 0.0))


def add_bleed(circuit, part, high, wiper):
    """Treble bleed over the volume's upper part."""
    if "resistor" not in part:
        circuit.capacitor(high, wiper, part["capacitor"])
    elif part["wiring"] == "parallel":
        circuit.capacitor(high, wiper, part["capacitor"])
        circuit.resistor(high, wiper, part["resistor"])
    else:
        middle = circuit.node()
        circuit.capacitor(high, middle, part["capacitor"])
        circuit.resistor(middle, wiper, part["resistor"])


def add_controls(circuit, holder, low, high):
    """Volume, bleed and tone of a pickup or of the guitar; returns the node the signal leaves from."""
    out = high
    if "volume" in holder:
        volume = holder["volume"]
        out = circuit.node()
        circuit.resistor(high, out, (1.0 - taper(volume)) * volume["pot"])
        circuit.resistor(out, low, taper(volume) * volume["pot"])
        if "bleed" in volume:
            add_bleed(circuit, volume["bleed"], high, out)
    if "tone" in holder:
        tone = holder["tone"]
        hangs_at = out if tone.get("joins", "pickup") == "wiper" else high
        middle = circuit.node()
        circuit.resistor(hangs_at, middle, taper(tone) * tone["pot"])
        circuit.capacitor(middle, low, tone["capacitor"])
    return out


def add_guitar(circuit, guitar):
    """The whole guitar; returns its jack's hot node."""
    if "source" in guitar:
        output = guitar["source"]["output"]
        out = circuit.node()
        circuit.emf(out, 0, lambda s: np.full_like(s, output["resistance"]))
        if "coupling" not in output:
            return out
        jack = circuit.node()
        circuit.capacitor(out, jack, output["coupling"])
        return jack
    if "pickup" in guitar:
        high = circuit.node()
        add_pickup(circuit, guitar["pickup"], 0, high)
        return add_controls(circuit, guitar, 0, high)
    joint = 0
    if guitar["wiring"] == "parallel":
        joint = circuit.node()
    for part in guitar["pickups"]:
        low = 0 if guitar["wiring"] == "parallel" else joint
        high = circuit.node()
        add_pickup(circuit, part["pickup"], low, high)
        out = add_controls(circuit, part, low, high)
        if guitar["wiring"] == "parallel":
            circuit.wire(out, joint)
        else:
            joint = out
    return add_controls(circuit, guitar, 0, joint)


def add_input(circuit, part, node):
    circuit.resistor(node, 0, part["resistance"])
    circuit.capacitor(node, 0, part.get("capacitance", 0.0))


def add_stage(circuit, part, node, gain):
    """An active stage: input load, gain, output resistance, then the coupling capacitor in series."""
    add_input(circuit, part["input"], node)
    ideal, out = circuit.node(), circuit.node()
    circuit.follower(ideal, node, gain)
    circuit.resistor(ideal, out, part["output"]["resistance"])
    if "coupling" not in part["output"]:
        return out
    after = circuit.node()
    circuit.capacitor(out, after, part["output"]["coupling"])
    return after


def add_pedal(circuit, item, node):
    pedal = item["pedal"]
    if item["engaged"]:
        return add_stage(circuit, pedal, node, ratio(pedal.get("gain", 1.0)))
    if pedal["bypass"] == "buffered-bypass":
        return add_stage(circuit, pedal, node, 1.0)
    if pedal["bypass"] == "loaded-bypass":
        add_input(circuit, pedal["input"], node)
    return node


def add_cable(circuit, item, node):
    cable = item["cable"]
    far = circuit.node()
    circuit.cable(node, far, cable["resistance"], cable.get("inductance", 0.0), cable.get("leakage", 0.0),
                  cable["capacitance"], item["length"])
    return far


def add_pot(circuit, pot, node, outputs):
    """A volume pedal: the tuner-out branch hangs at its input."""
    if "tuner-out" in pot:
        add_branch(circuit, pot["tuner-out"], node, outputs)
    out = circuit.node()
    circuit.resistor(node, out, (1.0 - taper(pot)) * pot["pot"])
    circuit.resistor(out, 0, taper(pot) * pot["pot"])
    return out


def add_contact(circuit, contact, node):
    out = circuit.node()
    circuit.resistor(node, out, contact["resistance"])
    if "leakage" in contact:
        circuit.resistor(out, 0, contact["leakage"])
    return out


def add_amp(circuit, amp, node):
    """The load at the jack; returns where the response is read."""
    add_input(circuit, amp, node)
    if "stopper" not in amp:
        return node
    grid = circuit.node()
    circuit.resistor(node, grid, amp["stopper"])
    circuit.capacitor(grid, 0, amp["grid"])
    return grid


def add_chain(circuit, chain, node, outputs):
    """Adds the items in order; returns the end, or None where a split has taken the signal away."""
    for item in chain:
        if "cable" in item:
            node = add_cable(circuit, item, node)
        elif "pedal" in item:
            node = add_pedal(circuit, item, node)
        elif "buffer" in item:
            node = add_stage(circuit, item["buffer"], node, ratio(item["buffer"].get("gain", 1.0)))
        elif "contact" in item:
            node = add_contact(circuit, item["contact"], node)
        elif "pot" in item:
            node = add_pot(circuit, item["pot"], node, outputs)
        elif "loop" in item:
            if item["loop"]["engaged"]:
                node = add_chain(circuit, item["loop"]["chain"], node, outputs)
        elif "split" in item:
            for branch in item["split"]:
                add_branch(circuit, branch, node, outputs)
            return None
        else:
            raise ValueError("unknown item %r" % item)
    return node


def add_branch(circuit, branch, node, outputs):
    """A branch of a split, a tuner-out, or the whole rig behind the guitar: a chain and what it ends in."""
    node = add_chain(circuit, branch.get("chain", []), node, outputs)
    if node is None:
        return
    if "amp" in branch:
        outputs.append((branch.get("name", ""), branch["amp"], add_amp(circuit, branch["amp"], node)))
    elif branch["end"] != "open":
        circuit.resistor(node, 0, branch["end"]["resistance"])


def build_rig(rig):
    """The rig's circuit and its outputs [(amp's name, amp, node)] in the order of the file."""
    circuit, outputs = Circuit(), []
    jack = add_guitar(circuit, rig["guitar"])
    add_branch(circuit, {key: rig[key] for key in ("chain", "amp") if key in rig}, jack, outputs)
    circuit.ground_floating()
    return circuit, outputs


def build_direct(rig, amp):
    """The same guitar through the direct's chain into one amp: the circuit and the node to read."""
    circuit, outputs = Circuit(), []
    jack = add_guitar(circuit, rig["guitar"])
    add_branch(circuit, {"chain": rig["direct"], "amp": amp}, jack, outputs)
    circuit.ground_floating()
    return circuit, outputs[0][2]


def build_outputs(rig):
    """All that the program answers, in its order: [(rig or direct, amp's name, circuit, node)]."""
    circuit, outputs = build_rig(rig)
    answers = []
    for name, amp, node in outputs:
        answers.append(("rig", name, circuit, node))
        answers.append(("direct", name) + build_direct(rig, amp))
    return answers


def respond(circuit, node, hz):
    """H at one node over frequencies in Hz."""
    return circuit.solve(2j * np.pi * np.asarray(hz, dtype=float), [node])[0]
