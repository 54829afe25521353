# SPDX-License-Identifier: GPL-3.0-or-later
"""Random rigs for the outside check, and a writer that turns one into a rig file.

A rig is a Python dict as described in nodal.py, in SI units. Ranges are those of everyday parts, wide enough
to take in odd ones (common practice); every value is rounded to four significant digits so that the file
and the dict agree. The writer picks among the units a builder would write.
"""

import random

# kind of quantity: (size of the unit in SI, unit's name), smallest first
UNITS = {
    "ohm": [(1e-3, "mohm"), (1.0, "ohm"), (1e3, "kohm"), (1e6, "Mohm")],
    "farad": [(1e-12, "pF"), (1e-9, "nF"), (1e-6, "uF")],
    "henry": [(1e-3, "mH"), (1.0, "H")],
    "ohm/m": [(1e-3, "mohm/m"), (1.0, "ohm/m")],
    "farad/m": [(1e-12, "pF/m")],
    "henry/m": [(1e-9, "nH/m"), (1e-6, "uH/m")],
    "siemens/m": [(1e-12, "pS/m"), (1e-9, "nS/m")],
    "share": [(1e-2, "%")],
    "volt/rthz": [(1e-9, "nV/rtHz"), (1e-6, "uV/rtHz")],
    "ampere/rthz": [(1e-15, "fA/rtHz"), (1e-12, "pA/rtHz")],
    "hertz": [(1.0, "Hz"), (1e3, "kHz")],
}
LENGTHS = [(1.0, "m"), (1e-2, "cm"), (0.3048, "ft")]

# what a field of a rig file is; inside `cable` the same words are per metre, inside `noise` per root hertz
FIELDS = {
    "inductance": "henry", "resistance": "ohm", "capacitance": "farad", "capacitor": "farad",
    "resistor": "ohm", "pot": "ohm", "position": "share", "fraction": "share", "coupling": "farad",
    "leakage": "ohm", "stopper": "ohm", "grid": "farad",
}
CABLE_FIELDS = {
    "inductance": "henry/m", "resistance": "ohm/m", "capacitance": "farad/m", "leakage": "siemens/m",
}
NOISE_FIELDS = {
    "voltage": "volt/rthz", "current": "ampere/rthz", "corner": "hertz", "current_corner": "hertz",
}
FIELDS_INSIDE = {"cable": CABLE_FIELDS, "noise": NOISE_FIELDS}


class Off(float):
    """A number that says how far it may be off, as a rig file would: Off(6e3, "+-10 % uniform")."""

    def __new__(cls, value, off=""):
        self = float.__new__(cls, value)
        self.off = " " + off if off else ""  # a copy gets its words back from the original
        return self


FEATURES = 55  # how many names name_features() can give


def write_quantity(value, field, inside, rng):
    """One number with a unit that suits its size; lengths in whichever unit comes up."""
    if field == "length":
        size, unit = rng.choice(LENGTHS)
        return "%.15g %s%s" % (value / size, unit, getattr(value, "off", ""))
    if field == "gain":
        return "%.15g dB" % value[0] if isinstance(value, tuple) else "%.15g" % value
    kind = FIELDS_INSIDE.get(inside, FIELDS)[field]
    fitting = [u for u in UNITS[kind] if u[0] <= abs(value)] or UNITS[kind][:1]
    size, unit = fitting[-1]
    return "%.12g %s%s" % (value / size, unit, getattr(value, "off", ""))


def write_flow(value, field, inside, rng):
    """A value in YAML's flow style."""
    if isinstance(value, dict):
        inside = field if field in ("cable", "pickup", "noise") else inside
        return "{" + ", ".join("%s: %s" % (k, write_flow(v, k, inside, rng)) for k, v in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(write_flow(v, "", "", rng) for v in value) + "]"
    if isinstance(value, bool):
        return rng.choice(["yes", "true"] if value else ["no", "false"])
    if isinstance(value, str):
        return value
    return write_quantity(value, field, inside, rng)


def write_chain(name, chain, rng):
    lines = [name + ":" if chain else name + ": []"]
    for item in chain:
        for i, (key, value) in enumerate(item.items()):
            lines.append("  %s %s: %s" % ("-" if i == 0 else " ", key, write_flow(value, key, "", rng)))
    return lines


def write_rig(rig, seed=0):
    """The rig file's text."""
    rng = random.Random(seed)
    lines = ["rig: " + rig["rig"], "guitar:"]
    for key, value in rig["guitar"].items():
        lines.append("  %s: %s" % (key, write_flow(value, key, "", rng)))
    lines += write_chain("chain", rig["chain"], rng)
    if "amp" in rig:
        lines.append("amp: " + write_flow(rig["amp"], "amp", "", rng))
    lines += write_chain("direct", rig["direct"], rng)
    return "\n".join(lines) + "\n"


class Maker:
    """Draws one rig; every named thing gets a number of its own."""

    def __init__(self, seed):
        self.rng = random.Random(seed)
        self.count = 0

    def chance(self, share):
        return self.rng.random() < share

    def between(self, low, high):
        """Even in the logarithm, four significant digits."""
        return float("%.4g" % (low * (high / low) ** self.rng.random()))

    def name(self, word):
        self.count += 1
        return "%s %d" % (word, self.count)

    def pickup(self):
        part = {"inductance": self.between(1, 12), "resistance": self.between(2e3, 20e3),
                "capacitance": self.between(50e-12, 300e-12)}
        if self.chance(0.4):
            part["eddy"] = {"fraction": self.rng.randrange(5, 61) / 100, "resistance": self.between(30e3, 1e6)}
        return part

    def potentiometer(self, lowest):
        return {"pot": self.rng.choice([100e3, 250e3, 300e3, 500e3, 1e6]),
                "taper": self.rng.choice(["audio", "linear"]),
                "position": 1.0 if self.chance(0.3) else self.rng.randrange(lowest, 100) / 100}

    def volume(self):
        part = self.potentiometer(20)
        if self.chance(0.45):
            part["bleed"] = {"capacitor": self.between(100e-12, 2e-9)}
            if self.chance(0.8):
                part["bleed"]["resistor"] = self.between(50e3, 300e3)
                part["bleed"]["wiring"] = self.rng.choice(["series", "parallel"])
        return part

    def tone(self, with_volume):
        part = self.potentiometer(1)
        if self.chance(0.12):
            part["position"] = 0.0
        if self.chance(0.3):
            del part["taper"]  # audio when not said
        part["capacitor"] = self.between(4.7e-9, 100e-9)
        if self.chance(0.6):
            part["joins"] = self.rng.choice(["pickup", "wiper"]) if with_volume else "pickup"
        return part

    def controls(self, share):
        part = {}
        if self.chance(share):
            part["volume"] = self.volume()
        if self.chance(share):
            part["tone"] = self.tone("volume" in part)
        return part

    def guitar(self):
        kind = self.rng.random()
        if kind < 0.15:
            output = {"resistance": self.between(50, 10e3)}
            if self.chance(0.6):
                output["coupling"] = self.between(0.1e-6, 10e-6)
            return {"source": {"output": output}}
        if kind < 0.6:
            return {"pickup": self.pickup(), **self.controls(0.8)}
        pickups = [{"pickup": self.pickup(), **self.controls(0.5)} for _ in range(self.rng.choice([2, 2, 3]))]
        return {"pickups": pickups, "wiring": self.rng.choice(["parallel", "series"]), **self.controls(0.5)}

    def cable(self, shortest, longest):
        part = {"capacitance": self.between(30e-12, 250e-12), "resistance": self.between(20e-3, 300e-3)}
        if self.chance(0.7):
            part["inductance"] = self.between(0.1e-6, 1e-6)
        if self.chance(0.35):
            part["leakage"] = self.between(1e-12, 5e-8)
        return {"cable": part, "length": self.between(shortest, longest)}

    def input(self):
        part = {"resistance": self.between(20e3, 4.7e6)}
        if self.chance(0.6):
            part["capacitance"] = self.between(10e-12, 500e-12)
        return part

    def stage(self):
        part = {"input": self.input()}
        if self.chance(0.5):
            part["gain"] = self.rng.choice([-1.0, -2.5, 2.0, self.between(0.3, 8), (6.0, "dB"), (-3.5, "dB")])
        part["output"] = {"resistance": self.between(50, 20e3)}
        if self.chance(0.5):
            part["output"]["coupling"] = self.between(47e-9, 10e-6)
        return part

    def pedal(self):
        bypass = self.rng.choice(["true-bypass", "buffered-bypass", "loaded-bypass"])
        return {"pedal": {"bypass": bypass, **self.stage()}, "name": self.name("pedal"),
                "engaged": self.chance(0.5)}

    def contact(self):
        part = {"resistance": self.between(5e-3, 2)}
        if self.chance(0.6):
            part["leakage"] = self.between(1e6, 1e9)
        return {"contact": part}

    def end(self):
        return "open" if self.chance(0.5) else {"resistance": self.between(100e3, 2e6)}

    def volume_pedal(self):
        part = self.potentiometer(25)
        if self.chance(0.6):
            part["tuner-out"] = {"chain": [self.cable(0.3, 3)], "end": self.end()}
        return {"pot": part}

    def loop(self):
        chain = [self.cable(0.2, 2), self.pedal(), self.cable(0.2, 2)]
        if self.chance(0.3):
            chain.insert(2, self.contact())
        return {"loop": {"name": self.name("loop"), "engaged": self.chance(0.6), "chain": chain}}

    def amp(self):
        part = self.input()
        if self.chance(0.4):
            part["stopper"] = self.between(1e3, 100e3)
            part["grid"] = self.between(20e-12, 200e-12)
        return part

    def branch(self, depth, amp):
        part = {"name": self.name("branch"), "chain": self.boxes(self.rng.randrange(0, 2))}
        if depth == 0 and self.chance(0.12):
            part["chain"].append(self.split(depth + 1))
        elif amp:
            part["amp"] = self.amp()
        else:
            part["end"] = self.end()
        return part

    def split(self, depth=0):
        branches = [self.branch(depth, True)]
        for _ in range(self.rng.choice([1, 1, 2])):
            branches.append(self.branch(depth, self.chance(0.5)))
        self.rng.shuffle(branches)
        return {"split": branches}

    def boxes(self, count):
        """Boxes with leads between, as on a board."""
        chain = [self.cable(0.2, 15)]
        for _ in range(count):
            chain.append(self.rng.choices([self.pedal, self.stage_item, self.contact, self.volume_pedal,
                                           self.loop], [4, 1.5, 1, 1, 1.5])[0]())
            if self.chance(0.8):
                chain.append(self.cable(0.2, 1))
        if self.chance(0.7):
            chain.append(self.cable(0.5, 15))
        return chain

    def stage_item(self):
        return {"buffer": self.stage()}

    def rig(self, number):
        rig = {"rig": "random rig %d" % number, "guitar": self.guitar(), "chain": self.boxes(self.rng.randrange(0, 6))}
        if self.chance(0.25):
            rig["chain"].append(self.split())
        else:
            rig["amp"] = self.amp()
        rig["direct"] = [self.cable(1, 15)]
        if self.chance(0.3):
            rig["direct"].insert(self.rng.randrange(2), self.contact())
        return rig


def random_rig(seed, number):
    return Maker(seed * 1000003 + number).rig(number)


def walk(value):
    """Every mapping in a rig, with the key it stands under."""
    stack = [("", value)]
    while stack:
        key, part = stack.pop()
        if isinstance(part, dict):
            yield key, part
            stack.extend(part.items())
        elif isinstance(part, list):
            stack.extend((key, p) for p in part)


def name_stage(part):
    """Which features an active stage has."""
    found = set()
    gain = part.get("gain")
    if gain is not None:
        found.add("gain in dB" if isinstance(gain, tuple) else "gain inverting" if gain < 0 else "gain as ratio")
    if "coupling" in part["output"]:
        found.add("stage with coupling")
    return found


def name_features(rig):
    """The shapes a rig takes in, by name, so that a run can show that none was left out."""
    found = set()
    guitar = rig["guitar"]
    if "pickups" in guitar:
        found.add("pickups in " + guitar["wiring"])
        found.update("several pickups, guitar's " + c for c in ("volume", "tone") if c in guitar)
        found.update("several pickups, own " + c for c in ("volume", "tone") if any(c in p for p in guitar["pickups"]))
    elif "source" in guitar:
        found.add("source with coupling" if "coupling" in guitar["source"]["output"] else "source")
    else:
        found.add("single pickup")
        found.update("no " + c for c in ("volume", "tone") if c not in guitar)
    for key, part in walk(rig):
        if key in ("volume", "tone"):
            found.add("%s %s" % (key, part.get("taper", "taper not said")))
            if part["position"] in (0.0, 1.0):
                found.add("%s at %d %%" % (key, 100 * part["position"]))
        if key == "tone":
            found.add("tone joins " + part.get("joins", "not said"))
        if key == "bleed":
            found.add("bleed " + part.get("wiring", "capacitor alone"))
        if key == "eddy":
            found.add("eddy")
        if key == "cable":
            found.add("cable inductance" if "inductance" in part else "cable without inductance")
            if "leakage" in part:
                found.add("cable leakage")
        if key == "contact":
            found.add("contact leakage" if "leakage" in part else "contact")
        if key == "amp":
            found.add("amp with grid" if "grid" in part else "amp")
        if "pedal" in part:
            found.add("%s, %s" % (part["pedal"]["bypass"], "engaged" if part["engaged"] else "not engaged"))
            found.update(name_stage(part["pedal"]))
        if "buffer" in part:
            found.add("buffer")
            found.update(name_stage(part["buffer"]))
        if isinstance(part.get("pot"), dict):
            found.add("volume pedal " + part["pot"]["taper"])
            if "tuner-out" in part["pot"]:
                found.add("tuner-out " + ("open" if part["pot"]["tuner-out"]["end"] == "open" else "loaded"))
        if key == "loop":
            found.add("loop engaged" if part["engaged"] else "loop not engaged")
        if "split" in part:
            found.add("split")
            if any("split" in i for b in part["split"] for i in b["chain"]):
                found.add("split within a split")
            if sum("amp" in b for b in part["split"]) > 1:
                found.add("split into several amps")
        if key == "split" and "end" in part:
            found.add("branch end " + ("open" if part["end"] == "open" else "loaded"))
    return found
