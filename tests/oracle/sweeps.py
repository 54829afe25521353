# SPDX-License-Identifier: GPL-3.0-or-later
"""A pickup on a second bench: what an impedance meter or a voltmeter reads, and a least-squares fit by SciPy.

Written from the meaning of the parts alone (nodal.py solves the circuits; cables are exact there). It shares no
code with the program. Values are plain numbers in SI units.

- |Z| is seen from the jack: the guitar's pickup with its EMF silent, its controls, and if there is one the lead.
- A response is the voltage at the load for an EMF of 1 V in the coil.
- Touchstone 1-port files (version 1.1, as seen in translation and in two readers: SOURCES section 8): an option line
  `# UNIT PARAMETER FORM R ohms`, defaults GHz S MA R 50; S = (Z - R)/(Z + R); Z and Y values are normalised to R
  (Z in ohm = value x R, Y in siemens = value / R); DB is 20 log10 of the magnitude; angles are in degrees.
- CSV as in RFC 4180: records end in CRLF (the last may lack it), fields that hold comma, quote or line break stand in
  quotes, a quote inside is doubled.
"""

import numpy as np
from scipy import optimize, stats

import nodal

UNITS = {"Hz": 1.0, "kHz": 1e3, "MHz": 1e6, "GHz": 1e9}


# ---- the bench

def pickup_impedance(s, part):
    """The coil's branch without the winding capacitance."""
    z = part["resistance"] + s * part["inductance"]
    eddy = part.get("eddy")
    if eddy:
        share = s * part["inductance"] * eddy["fraction"]
        z = z - share + share * eddy["resistance"] / (share + eddy["resistance"])
    return z


def add_silent_guitar(circuit, guitar):
    """The guitar with its pickup silent; returns its jack."""
    high = circuit.node()
    circuit.branches.append((high, 0, lambda s: 1.0 / pickup_impedance(s, guitar["pickup"]), True))
    circuit.capacitor(high, 0, guitar["pickup"].get("capacitance", 0.0))
    return nodal.add_controls(circuit, guitar, 0, high)


def jack_impedance(hz, guitar, chain=()):
    """Z seen from the far end of what hangs at the jack (nothing: the jack itself)."""
    circuit = nodal.Circuit()
    node = nodal.add_chain(circuit, list(chain), add_silent_guitar(circuit, guitar), [])
    circuit.ground_floating()
    probe = 1e6  # a meter of 1 V behind 1 Mohm, whose reading is turned into Z
    circuit.emf(node, 0, lambda s: np.full_like(s, probe))
    v = nodal.respond(circuit, node, hz)
    return probe * v / (1.0 - v)


def jack_response(hz, guitar, chain=(), load=None):
    """Volts across the load for 1 V in the coil."""
    circuit = nodal.Circuit()
    node = nodal.add_chain(circuit, list(chain), nodal.add_guitar(circuit, guitar), [])
    if load:
        nodal.add_input(circuit, load, node)
    circuit.ground_floating()
    return nodal.respond(circuit, node, hz)


def log_sweep(first, last, points):
    return np.geomspace(first, last, points)


def noisy(z, share, rng, phase=True):
    """A meter that is off by so much of the value (standard deviation), in size and in angle."""
    size = np.abs(z) * np.exp(share * rng.standard_normal(len(z)))
    angle = np.angle(z) + (share * rng.standard_normal(len(z)) if phase else 0.0)
    return size * np.exp(1j * angle)


# ---- writers

def quote(field):
    return '"%s"' % field.replace('"', '""')


def csv_text(names, columns, end="\r\n", last_end=True, quoted=False, mark=False):
    """A table as RFC 4180 has it, or with the other line ends in use."""
    rows = [[quote(name) if quoted or any(c in name for c in ',"\r\n') else name for name in names]]
    for values in zip(*columns):
        rows.append([quote("%.12g" % v) if quoted else "%.12g" % v for v in values])
    text = end.join(",".join(row) for row in rows) + (end if last_end else "")
    return ("\ufeff" if mark else "") + text


def touchstone_value(z, parameter, reference):
    if parameter == "S":
        return (z - reference) / (z + reference)
    return z / reference if parameter == "Z" else reference / z


def touchstone_pair(value, form):
    if form == "RI":
        return value.real, value.imag
    size = 20 * np.log10(abs(value)) if form == "DB" else abs(value)
    return size, np.degrees(np.angle(value))


def touchstone_text(hz, z, unit="GHz", parameter="S", form="MA", reference=50.0, option=None, digits=12):
    """`option` is the option line as it is to stand there; the others say what the values are."""
    if option is None:
        option = "# %s %s %s R %g" % (unit, parameter, form, reference)
    lines = ["! a pickup by itself, written by the outside check", option]
    for f, value in zip(hz, z):
        pair = touchstone_pair(touchstone_value(value, parameter, reference), form)
        lines.append("%.*g %.*g %.*g" % (digits, f / UNITS[unit], digits, pair[0], digits, pair[1]))
    return "\n".join(lines) + "\n"


# ---- the fit

def pack(part):
    """What is fitted, without bounds: logarithms, and for the fraction its log odds."""
    values = [np.log(part["inductance"]), np.log(part["resistance"]), np.log(part["capacitance"])]
    if "eddy" in part:
        f = part["eddy"]["fraction"]
        values += [np.log(f / (1 - f)), np.log(part["eddy"]["resistance"])]
    return np.array(values)


def unpack(x):
    part = {"inductance": np.exp(x[0]), "resistance": np.exp(x[1]), "capacitance": np.exp(x[2])}
    if len(x) > 3:
        part["eddy"] = {"fraction": 1 / (1 + np.exp(-x[3])), "resistance": np.exp(x[4])}
    return part


class Fit:
    """A least-squares fit of a model, |model| in logarithms and the phase (where there is one) in radians."""

    def __init__(self, model, measured, start, phase=True, loss="linear", scale=1.0, offset=False):
        self.model, self.measured, self.phase, self.offset = model, measured, phase, offset
        x0 = pack(start)
        if offset:
            x0 = np.append(x0, 0.0)
        self.done = optimize.least_squares(self.residuals, x0, jac="3-point", x_scale="jac", loss=loss, f_scale=scale,
                                           xtol=1e-13, ftol=1e-13, gtol=1e-13)
        self.part = unpack(self.done.x[:-1] if offset else self.done.x)
        self.freedom = len(self.done.fun) - len(x0)
        # A straight Jacobian by central differences: the spread of the values for residuals of equal weight.
        self.jacobian = self.slopes(self.done.x)
        self.variance = np.sum(self.done.fun ** 2) / self.freedom
        self.covariance = self.variance * np.linalg.pinv(self.jacobian.T @ self.jacobian)

    def residuals(self, x):
        gain = x[-1] if self.offset else 0.0
        values = self.model(unpack(x[:-1] if self.offset else x))
        off = np.log(np.abs(values)) + gain - np.log(np.abs(self.measured))
        if not self.phase:
            return off
        return np.concatenate([off, np.angle(values / self.measured)])

    def slopes(self, x):
        columns = []
        for i in range(len(x)):
            step = np.zeros(len(x))
            step[i] = 1e-4
            columns.append((self.residuals(x + step) - self.residuals(x - step)) / 2e-4)
        return np.array(columns).T

    def errors(self):
        """Standard errors, relative (of the fraction: absolute)."""
        share = np.sqrt(np.diag(self.covariance))
        names = ["inductance", "resistance", "capacitance"]
        found = dict(zip(names, share))
        if "eddy" in self.part:
            f = self.part["eddy"]["fraction"]
            found["fraction"], found["eddy_resistance"] = share[3] * f * (1 - f), share[4]
        return found

    def half_width(self, level=0.95):
        """How many standard errors the interval is to either side (Student's t)."""
        return stats.t.ppf(0.5 + level / 2, self.freedom)


def resonance(part, extra=0.0):
    """1 / (2 pi sqrt(L C)) of the coil with a lead's capacitance."""
    return 1 / (2 * np.pi * np.sqrt(part["inductance"] * (part["capacitance"] + extra)))
