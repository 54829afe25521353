#!/usr/bin/python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""A yardstick for Monte Carlo over a rig's tolerances: the same figures by NumPy alone, without SPICE.

Usage: bench_spread_numpy.py DECK FACTORS.json TRIALS [--processes 2] [--dump FILE.csv] [--values FILE]

DECK is what `toneload netlist` prints; of several amps the first is taken. FACTORS.json says what varies together:

    {"seed": 1, "factors": [{"path": "guitar.pickup.inductance", "tolerance": 0.07, "distribution": "normal",
                             "elements": ["l2", "l3", "l26", "l27"]}, ..]}

Each trial draws once a factor, `normal` (the tolerance is three sigma, and nothing lies beyond) or `uniform`, and
multiplies the elements' values by one plus the draw; with {"elements": {"c14": 1.1e-11}} only that much of an
element moves. Prints percentiles and, last, the seconds from having read the input to the last percentile.
--values writes what was drawn for tests/solve/bench_raw.c: names, then a line of values a trial.

Method. Rig and direct are circuits of their own, cut again at every controlled source. Nodes are eliminated one by
one, a block of trials at once, by star-mesh transformation: what a node leaves behind are admittances between its
neighbours, sums and never differences. The product of the pivots is the determinant of the nodal matrix; times a
power of s it is a polynomial, whose even and odd part are polynomials in the square of the frequency. So few solves
say everything (4 for the rig with long leads; degrees are tried at the start against solves held out). From there on
|H|^2 is a quotient of real polynomials: a matrix product gives it over the ear's bands (Gauss-Legendre) and on a
grid that brackets peak and -3 dB point, and Newton refines these. The poles are the zeros of the determinant, thus
the circuit's generalised eigenvalues: Bairstow's iteration from the nominal circuit's, real poles two and two, since
two in one trial may be a complex pair in the next; a trial that is lost goes to numpy.linalg.eigvals.

Tried, microseconds a trial on one core, for the rig with long leads and its direct:
- all of the above, with a share of the 20 ms before and after                                       about 13
- poles and residues by a batched numpy.linalg.eig of G^-1 C, the curves as sums over them, no more  about 105
- a batched numpy.linalg.solve of the nodal matrices at the same frequencies, no more                about 1,370
- the poles by Newton one by one, repelled by those found: a third of the trials was lost to the
  meeting of two real poles, and eigvals for these alone took                                        about 5
"""

import os

for library in ("OPENBLAS", "OMP", "MKL", "BLIS"):
    os.environ[library + "_NUM_THREADS"] = "1"

import argparse
import collections
import functools
import itertools
import json
import mmap
import multiprocessing
import operator
import re
import sys
import time

import numpy as np

REFERENCE_HZ, LAST_HZ = 200.0, 1e5
UNIT_RAD_S = 2e4 * np.pi  # frequencies and poles are in units of 10 kHz
HALF = 0.5
LEAST_PEAK = 10 ** 0.01  # 0.1 dB
COUNTS_FROM = 1e-4
BANDS = np.arange(3, 38)
PERCENTILES = (1, 5, 25, 50, 75, 95, 99)
SINGLE = ("peak_hz", "peak_db", "pole_hz", "q", "cutoff_hz")
HEARING = ("level_db", "presence_db", "worst_db", "worst_hz", "rms_db")
NAMES = [of + "." + name for of in ("rig", "direct") for name in SINGLE] + ["hearing." + name for name in HEARING]
REFINED_TOGETHER = 4  # blocks
BLOCK = 1024  # trials from one random stream, whose curves are in the cache together
MOST_DEGREES = 60
PLANNED_ON = 16  # trials, and the nominal circuit
GROUND, SOURCE = "ground", "source"


# The deck and what varies in it


def read_deck(path):
    """Elements {name: (node, node, value)}, sources {node: (gain, control)}, and the nodes of rig and direct."""
    elements, driven, outputs = {}, {}, []
    with open(path) as file:
        for line in file:
            words = line.split()
            output = re.match(r"\* \| output: (\w+) = (rig|direct)\b", line)
            if output:
                outputs.append(output.group(1))
            elif line[0] in "rlc":
                elements[words[0]] = (words[1], words[2], float(words[3]))
            elif line[0] == "v" and words[2] == "0":
                driven[words[1]] = (1.0, None)
            elif line[0] == "e" and words[2] == words[4] == "0":
                driven[words[1]] = (float(words[5]), words[3])
            elif line[0] not in "*.\n":
                sys.exit("cannot take: " + line.strip())
    return elements, driven, outputs[:2]


class Factors:
    """What varies together, and how far."""

    def __init__(self, path, elements):
        with open(path) as file:
            text = json.load(file)
        self.seed, factors = text["seed"], text["factors"]
        self.nominal = {name: value for name, (_, _, value) in elements.items()}
        self.shares = {}  # element: [(factor, the share of the element that it moves)]
        for index, factor in enumerate(factors):
            moved = factor["elements"]
            for name in moved:
                if name not in elements:
                    sys.exit("%s: no element %s in the deck" % (factor["path"], name))
                share = moved[name] / self.nominal[name] if isinstance(moved, dict) else 1.0
                self.shares.setdefault(name, []).append((index, share))
        self.alike = {}  # such a list: elements that it stands for
        for name, shares in self.shares.items():
            self.alike.setdefault(tuple(shares), []).append(name)
        self.is_uniform = np.array([factor["distribution"] == "uniform" for factor in factors])
        self.scale = np.array([factor["tolerance"] / (1 if uniform else 3)
                               for factor, uniform in zip(factors, self.is_uniform)])[:, None]

    def draw(self, number, count):
        """Every element's value: a number, or an array over the trials of this block."""
        rng = np.random.default_rng([self.seed, number])
        z = rng.standard_normal((len(self.scale), count))
        while (beyond := np.flatnonzero(np.abs(z) > 3)).size:
            z.flat[beyond] = rng.standard_normal(beyond.size)
        z[self.is_uniform] = rng.uniform(-1.0, 1.0, (np.count_nonzero(self.is_uniform), count))
        z *= self.scale
        values = dict(self.nominal)
        for shares, names in self.alike.items():
            ratio = np.ones(count)
            for index, share in shares:
                ratio += share * z[index]
            for name in names:
                values[name] = self.nominal[name] * ratio
        return values


# The circuit


class Stage:
    """The elements between one source and one node that is read; what else hangs there is part of it."""

    def __init__(self, elements, driven, out):
        self.out, self.source = out, None
        self.branches = []
        nodes, waiting = {out}, [out]
        while waiting:
            node = waiting.pop()
            for name, (a, b, _) in elements.items():
                if node not in (a, b) or any(name == known for known, _, _ in self.branches):
                    continue
                self.branches.append((name, self.terminal(a, driven), self.terminal(b, driven)))
                for other in {a, b} - nodes - {"0"} - set(driven):
                    nodes.add(other)
                    waiting.append(other)
        self.order = self.plan(nodes - {out})
        self.power = self.count_inductors()

    def terminal(self, node, driven):
        """The node, or what it is to this stage."""
        if node == "0":
            return GROUND
        if node not in driven:
            return node
        if self.source is None:
            self.source = node
        # Any number of pickups of 1 V are one source.
        if driven[node] != driven[self.source] or (node != self.source and driven[node][1] is not None):
            sys.exit("node %s: two sources drive one stage" % node)
        return SOURCE

    def plan(self, nodes):
        """Fewest neighbours first."""
        near = {}
        for _, a, b in self.branches:
            near.setdefault(a, set()).add(b)
            near.setdefault(b, set()).add(a)
        order = []
        while nodes:
            node = min(sorted(nodes), key=lambda n: len(near[n]))
            nodes = nodes - {node}
            order.append(node)
            around = near.pop(node)
            for a in around:
                near[a] |= around - {a}
                near[a].discard(node)
        return order

    def count_inductors(self):
        """The order of the determinant's pole at s = 0: inductors that close no loop of inductors."""
        island = {}

        def root(n):
            while n in island:
                n = island[n]
            return n

        island[SOURCE] = GROUND
        count = 0
        for name, a, b in self.branches:
            a, b = root(a), root(b)
            if name[0] == "l" and a != b:
                island[a] = b
                count += 1
        return count

    def solve(self, values, omega):
        """Numerator and determinant at s = j omega (a column), over the trials along the rows."""
        near = {}
        for name, a, b in self.branches:
            if name[0] == "r":
                y = 1 / values[name]
            elif name[0] == "c":
                y = 1j * (omega * values[name])
            else:
                y = -1j * (1 / values[name] / omega)
            join(near, a, b, y)
        det = (1j * omega / UNIT_RAD_S) ** self.power
        for node in self.order:
            around = near.pop(node)
            pivot = functools.reduce(operator.add, around.values())
            det = det * pivot
            share = invert(pivot)
            for a in around:
                del near[a][node]
            for a, b in itertools.combinations(around, 2):
                if {a, b} != {GROUND, SOURCE}:
                    join(near, a, b, around[a] * around[b] * share)
        around = near[self.out]
        num = det * around[SOURCE]
        return num, num + det * around[GROUND] if GROUND in around else num


def join(near, a, b, y):
    """Adds an admittance between two nodes."""
    for one, two in ((a, b), (b, a)):
        row = near.setdefault(one, {})
        row[two] = row[two] + y if two in row else y


def invert(y):
    """1 / y: three times as fast as NumPy's own, which looks out for overflow."""
    if not np.iscomplexobj(y):
        return 1 / y
    return np.conj(y) * (1 / (y.real * y.real + y.imag * y.imag))


# The response as a quotient of polynomials; coefficients ascend along the first axis


def invert_matrix(m):
    """The inverse, or what gives the least squares where there are more values than coefficients."""
    return np.linalg.inv(m) if m.shape[0] == m.shape[1] else np.linalg.pinv(m, rcond=1e-15)


class Fit:
    """Numerator or determinant as a polynomial in s, from its values on the imaginary axis."""

    def __init__(self, omega, values, degree):
        even = np.vander(omega ** 2, degree // 2 + 1, increasing=True)
        odd = np.vander(omega ** 2, (degree + 1) // 2, increasing=True) * omega[:, None]
        self.degree = degree
        weight = 1 / np.abs(values).max(axis=1)[:, None]
        self.to_even, self.to_odd = (invert_matrix(m * weight) * weight.T for m in (even, odd))

    def find(self, values):
        """Coefficients of s^0, s^1 .."""
        coefficients = np.empty((self.degree + 1, values.shape[1]))
        np.matmul(self.to_even, np.ascontiguousarray(values.real), out=coefficients[0::2])
        np.matmul(self.to_odd, np.ascontiguousarray(values.imag), out=coefficients[1::2])
        coefficients[2::4] *= -1
        coefficients[3::4] *= -1
        return coefficients


def multiply(one, two):
    """The product of polynomials."""
    result = np.zeros((len(one) + len(two) - 1, max(one.shape[1], two.shape[1])))
    for k, coefficient in enumerate(one):
        result[k:k + len(two)] += coefficient * two
    return result


def power_of(poly):
    """|poly(j w)|^2 as a polynomial in w^2."""
    degree = len(poly) - 1
    result = np.empty_like(poly)
    for k in range(degree + 1):
        low = max(0, 2 * k - degree)
        total = poly[k] ** 2
        for i in range(low, k):
            total += (2 - 4 * ((k - i) % 2)) * (poly[i] * poly[2 * k - i])
        result[k] = total
    return result


def evaluate(poly, x, slopes=1):
    """The polynomial of each trial at its own x, with its derivatives over their factorials."""
    values = [poly[-1] + 0 * x] + [np.zeros_like(x) for _ in range(slopes)]
    for coefficient in poly[-2::-1]:
        for k in range(slopes, 0, -1):
            values[k] *= x
            values[k] += values[k - 1]
        values[0] *= x
        values[0] += coefficient
    return values


def find_root(of, low, high, x):
    """Newton between brackets, for all trials; `of` gives a value that falls from low to high, and its slope."""
    low, high = low.copy(), high.copy()
    for _ in range(60):
        value, slope = of(x)
        above = value > 0
        low, high = np.where(above, x, low), np.where(above, high, x)
        with np.errstate(divide="ignore", invalid="ignore"):
            new = x - value / slope
        new = np.where((new >= low) & (new <= high), new, 0.5 * (low + high))
        moved = np.max(np.abs(new / x - 1), initial=0)
        x = new
        if moved < 1e-8:  # the next step would move it by the square of that
            break
    return x


def group_roots(roots):
    """Real factors, s + u or s^2 + u s + v, smallest first: what may be a pair in one trial and two in another."""
    real = sorted(-roots[roots.imag == 0].real)
    factors = [(-2 * root.real, abs(root) ** 2) for root in roots[roots.imag > 0]]
    while len(real) > 1:
        k = min(range(len(real) - 1), key=lambda k: abs(np.log(abs(real[k + 1] / real[k]))))
        factors.append((real[k] + real[k + 1], real[k] * real[k + 1]))
        del real[k:k + 2]
    return sorted(factors + [(root,) for root in real], key=lambda f: abs(f[-1]) ** (1 / len(f)))


def divide(poly, factor):
    """Descending polynomials over s + u or s^2 + u s + v: quotients, and below them the remainders."""
    result = np.empty_like(poly)
    for k, coefficient in enumerate(poly):
        row = coefficient
        for back, value in enumerate(factor[:k], 1):
            row = row - value * result[k - back]
        result[k] = row
    return result


def divide_out(poly, start):
    """Bairstow's iteration from the nominal factor: the quotients, the factor, and in which trials it was found."""
    order = len(start)
    if len(poly) == order + 1:
        return poly[:1], list(poly[1:] / poly[0]), np.ones(poly.shape[1], dtype=bool)
    factor = [np.full(poly.shape[1], value) for value in start]
    for _ in range(12):
        quotient = divide(poly, factor)
        slope = divide(quotient[:-1], factor)
        if order == 1:
            steps = [quotient[-1] / slope[-1]]
        else:
            below = slope[-3] if len(slope) > 2 else 0
            det = slope[-2] ** 2 - slope[-1] * below
            steps = [(quotient[-2] * slope[-2] - quotient[-1] * below) / det,
                     (quotient[-1] * slope[-2] - quotient[-2] * slope[-1]) / det]
        factor = [value + step for value, step in zip(factor, steps)]
        found = sum(np.abs(step / value) for step, value in zip(steps, factor)) < 1e-7
        if found.all():
            break
    return divide(poly, factor)[:-order], factor, found


def retry(den, which, pairs):
    """All poles of a few trials as eigenvalues of the companion matrix."""
    degree = len(den) - 1
    companion = np.zeros((which.size, degree, degree))
    companion[:, np.arange(1, degree), np.arange(degree - 1)] = 1
    companion[:, :, -1] = (-den[:-1, which] / den[-1, which]).T
    roots = np.linalg.eigvals(companion)
    for row, found in zip(pairs, np.sort_complex(np.where(roots.imag > 0, roots, np.nan)).T):
        row[which] = found


# The ear's bands and the grid


def hz_of(number):
    """Glasberg and Moore, Hearing Research 47, 1990."""
    return 1000 / 4.37 * (10 ** (np.asarray(number) / 21.4) - 1)


CENTRES_HZ = hz_of(BANDS)
LEVEL_ROWS = (CENTRES_HZ >= 200) & (CENTRES_HZ <= 1000)
PRESENCE_ROWS = (CENTRES_HZ >= 2000) & (CENTRES_HZ <= 5000)


class Grid:
    """The bands' nodes; their middles stand last and, with the reference and what is beyond, ascend."""

    def __init__(self, nodes):
        place, self.weight = np.polynomial.legendre.leggauss(nodes)
        self.weight = self.weight / 2
        hz = hz_of(BANDS + place[:, None] / 2)
        self.middle = nodes // 2
        below = int(np.sum(hz[self.middle] <= REFERENCE_HZ))
        beyond = np.geomspace(hz[self.middle, -1], LAST_HZ, 24)[1:]
        others = np.delete(hz, self.middle, axis=0)
        self.others = len(others) * len(BANDS)
        self.reference = self.others + below
        middle = np.insert(hz[self.middle], below, REFERENCE_HZ)
        self.hz = np.concatenate([others.ravel(), middle, beyond])
        self.x = (2 * np.pi * self.hz / UNIT_RAD_S) ** 2
        self.search_x = self.x[self.reference:]
        self.vander = np.vander(self.x, MOST_DEGREES, increasing=True)
        self.room = np.empty((2, len(self.x), BLOCK))

    def powers(self, num, den):
        """|H|^2 at every frequency, from the polynomials in w^2."""
        top, bottom = (self.room[k].ravel()[:len(self.x) * num.shape[1]].reshape(len(self.x), -1) for k in range(2))
        np.matmul(self.vander[:, :len(num)], num, out=top)
        np.matmul(self.vander[:, :len(den)], den, out=bottom)
        return np.divide(top, bottom, out=top)

    def bands(self, p):
        """The bands' powers."""
        split = self.reference
        total = np.concatenate([p[self.others:split], p[split + 1:split + 1 + len(BANDS) - (split - self.others)]])
        total *= self.weight[self.middle]
        for k, weight in enumerate(np.delete(self.weight, self.middle)):
            total += weight * p[k * len(BANDS):(k + 1) * len(BANDS)]
        return total


class Way:
    """The way from the pickup to one node: its stages, and how few solves tell all of each."""

    def __init__(self, elements, driven, out, some):
        self.stages, self.gain = [], 1.0
        while out is not None:
            stage = Stage(elements, driven, out)
            gain, out = driven[stage.source]
            self.gain *= gain
            self.choose(stage, some)
            self.stages.append(stage)
        self.num_degree, self.den_degree = (sum(f.degree for f in fits) for fits in zip(*(s.fits for s in self.stages)))

    def solve(self, values):
        """The numerator and each stage's determinant as polynomials."""
        num, dens = np.array([[self.gain]]), []
        for stage in self.stages:
            fit_num, fit_den = stage.fits
            n, d = stage.solve(values, stage.omega)
            num = multiply(num, fit_num.find(n))
            dens.append(fit_den.find(d))
        return num, dens

    def choose(self, stage, some):
        """The lowest degrees that agree with solves held out, on the nominal circuit and some trials."""
        check = np.geomspace(80, LAST_HZ, 24)[:, None] * 2 * np.pi
        held = stage.solve(some, check)

        def attempt(values, degree, held):
            fit = Fit(stage.omega[:, 0] / UNIT_RAD_S, values, degree)
            got = evaluate(fit.find(values), 1j * check / UNIT_RAD_S + np.zeros(held.shape), 0)[0]
            return fit if np.max(np.abs(got - held) / np.abs(held)) < 1e-9 else None

        for degree in range(2 * (stage.power // 2), MOST_DEGREES):
            if degree % 2 == 0:
                stage.omega = np.geomspace(500, LAST_HZ, degree // 2 + 1)[:, None] * 2 * np.pi
                num, den = stage.solve(some, stage.omega)
            fit_den = attempt(den, degree, held[1])
            if fit_den:
                tries = (attempt(num, lower, held[0]) for lower in range(degree + 1))
                stage.fits = next(filter(None, tries)), fit_den
                stage.factors = group_roots(np.roots(fit_den.find(den)[::-1, 0]))
                return
        sys.exit("no polynomial fits the circuit around node " + stage.out)


class Curves:
    """Of one way and some blocks of trials, what is left of the solves for the refinement."""

    def __init__(self, way, count):
        self.way = way
        self.num, self.den = np.empty((way.num_degree + 1, count)), np.empty((way.den_degree + 1, count))
        self.num_power, self.den_power = np.empty_like(self.num), np.empty_like(self.den)
        self.dens = [np.empty((stage.fits[1].degree + 1, count)) for stage in way.stages]
        self.reference, self.highest = np.empty(count), np.empty(count)
        self.top = np.empty(count, dtype=int)
        self.fall, self.fall_after_top = np.empty(count, dtype=int), np.empty(count, dtype=int)

    def solve(self, values, part, grid):
        """Solves one block; returns the bands' powers."""
        num, dens = self.way.solve(values)
        den = functools.reduce(multiply, dens)
        for all_trials, some in zip(self.dens, dens):
            all_trials[:, part] = some
        num_power, den_power = power_of(num), power_of(den)
        self.num[:, part], self.den[:, part] = num, den
        self.num_power[:, part], self.den_power[:, part] = num_power, den_power
        p = grid.powers(num_power, den_power)
        self.highest[part] = p.max(axis=0)
        self.search(p[grid.reference:], part)
        return grid.bands(p)

    def search(self, p, part):
        """Brackets: the row of the highest maximum inside (0: none), and the first row 3 dB down (0: none)."""
        top = np.argmax(p, axis=0)
        for trial in np.flatnonzero((top == 0) | (top == len(p) - 1)):
            row = p[:, trial]
            inside = np.flatnonzero((row[1:-1] > row[:-2]) & (row[1:-1] >= row[2:])) + 1
            top[trial] = inside[np.argmax(row[inside])] if inside.size else 0
        low = p <= HALF * p[0]
        fall = np.argmax(low, axis=0)
        after = fall.copy()
        for trial in np.flatnonzero((fall < top) & (fall > 0)):
            later = np.flatnonzero(low[top[trial]:, trial])
            after[trial] = top[trial] + later[0] if later.size else 0
        self.top[part], self.fall[part], self.fall_after_top[part] = top, fall, after
        self.reference[part] = p[0]

    def find_peak(self, x):
        """Where d|H|^2/dx is zero, and how far it stands above the reference."""
        def slope(at, num, den):
            n, dn, ddn = evaluate(num, at, 2)
            d, dd, ddd = evaluate(den, at, 2)
            return dn * d - n * dd, 2 * (ddn * d - n * ddd)

        peak = np.full(self.top.shape, np.nan)
        height = peak.copy()
        which = np.flatnonzero(self.top)
        top, num, den = self.top[which], self.num_power[:, which], self.den_power[:, which]
        peak[which] = at = find_root(lambda x: slope(x, num, den), x[top - 1], x[top + 1], x[top])
        height[which] = evaluate(num, at, 0)[0] / evaluate(den, at, 0)[0] / self.reference[which]
        is_peak = height >= LEAST_PEAK
        return np.where(is_peak, peak, np.nan), np.where(is_peak, height, np.nan)

    def find_cutoff(self, x, is_peak):
        """The first fall to 3 dB below the reference, above the peak where there is one."""
        cutoff = np.full(self.top.shape, np.nan)
        fall = np.where(is_peak, self.fall_after_top, self.fall)
        which = np.flatnonzero(fall)
        fall, poly = fall[which], -HALF * self.reference[which] * self.den_power[:, which]
        poly[:len(self.num_power)] += self.num_power[:, which]
        cutoff[which] = find_root(lambda at: evaluate(poly, at), x[fall - 1], x[fall], np.sqrt(x[fall - 1] * x[fall]))
        return cutoff

    def find_pairs(self):
        """Upper half plane poles, a row each; NaN where a trial has fewer."""
        pairs = [np.full(len(self.top), np.nan + 0j)]
        for stage, den in zip(self.way.stages, self.dens):
            poly, lost, first = den[::-1], np.zeros(len(self.top), dtype=bool), len(pairs)
            for start in stage.factors:
                poly, factor, found = divide_out(poly, start)
                lost |= ~found
                if len(factor) == 2:
                    with np.errstate(invalid="ignore"):
                        pairs.append(-factor[0] / 2 + 1j * np.sqrt(factor[1] - factor[0] ** 2 / 4))
            if lost.any():
                retry(den, np.flatnonzero(lost), pairs[first:])
        return np.array(pairs)

    def find_pole(self, peak):
        """The counting pair nearest to the peak, or the heaviest where there is none."""
        pairs = self.find_pairs()
        weight, omega = np.empty(pairs.shape), np.abs(pairs)
        for k, at in enumerate(pairs):
            with np.errstate(invalid="ignore"):
                weight[k] = np.abs(evaluate(self.num, at, 0)[0] / (evaluate(self.den, at)[1] * at))
        hz = omega * (UNIT_RAD_S / (2 * np.pi))
        counts = (weight >= COUNTS_FROM * np.sqrt(self.highest)) & (hz <= LAST_HZ)
        distance = np.abs(np.log(omega / np.sqrt(peak)))
        with_peak = np.where(counts & (distance <= np.log(2)), -distance, -np.inf)
        without = np.where(counts & (hz >= 500) & (hz <= 2e4), weight, -np.inf)
        merit = np.where(np.isnan(peak), without, with_peak)
        best = np.argmax(merit, axis=0)
        each = np.arange(len(best))
        chosen = np.where(merit[best, each] > -np.inf, pairs[best, each], np.nan)
        return np.abs(chosen) * (UNIT_RAD_S / (2 * np.pi)), np.abs(chosen) / (2 * np.abs(chosen.real))

    def measure(self, grid):
        """SINGLE, a row each."""
        peak, height = self.find_peak(grid.search_x)
        cutoff = self.find_cutoff(grid.search_x, ~np.isnan(peak))
        hz = UNIT_RAD_S / (2 * np.pi)
        return [np.sqrt(peak) * hz, 10 * np.log10(height), *self.find_pole(peak), np.sqrt(cutoff) * hz]


def hear(rig, direct):
    """HEARING, a row each, from the bands' powers."""
    difference = 10 / np.log(10) * np.log(rig / direct)
    level = difference[LEVEL_ROWS].mean(axis=0)
    difference -= level
    worst = np.argmax(np.abs(difference), axis=0)
    return [level, difference[PRESENCE_ROWS].mean(axis=0), difference[worst, np.arange(len(worst))],
            CENTRES_HZ[worst], np.sqrt(np.einsum("ij,ij->j", difference, difference) / len(BANDS))]


class Study:
    """Everything that is the same for all trials."""

    def __init__(self, deck, factors):
        elements, driven, outputs = deck
        self.factors = factors
        some = {name: np.concatenate([[factors.nominal[name]], value]) if np.ndim(value) else value
                for name, value in factors.draw(0, PLANNED_ON).items()}
        self.ways = [Way(elements, driven, out, some) for out in outputs]
        self.grid = self.choose_grid(some)

    def choose_grid(self, some):
        """As few nodes a band as keep every band within 2e-5 dB of two more."""
        count = PLANNED_ON + 1

        def solve(grid):
            return [np.log(Curves(way, count).solve(some, slice(0, count), grid)) for way in self.ways]

        grid = Grid(1)
        levels = solve(grid)
        for nodes in range(3, 40, 2):
            finer = Grid(nodes)
            finer_levels = solve(finer)
            if max(np.max(np.abs(a - b)) for a, b in zip(levels, finer_levels)) < 2e-5 * np.log(10) / 10:
                return grid
            grid, levels = finer, finer_levels
        sys.exit("a resonance too sharp for the bands")

    def run(self, blocks):
        """The figures of some blocks of trials: NAMES, a row each."""
        count = blocks[-1].end - blocks[0].start
        curves = [Curves(way, count) for way in self.ways]
        hearing = np.empty((len(HEARING), count))
        for block in blocks:
            part = slice(block.start - blocks[0].start, block.end - blocks[0].start)
            values = self.factors.draw(block.number, block.end - block.start)
            hearing[:, part] = hear(*(curve.solve(values, part, self.grid) for curve in curves))
        return [row for curve in curves for row in curve.measure(self.grid)] + [*hearing]


Block = collections.namedtuple("Block", "number start end")


def blocks_of(trials):
    """The blocks that make so many trials; the same ones whatever the number of processes."""
    return [Block(start // BLOCK, start, min(start + BLOCK, trials)) for start in range(0, trials, BLOCK)]


def run_all(study, trials, processes):
    """The figures of all trials, in memory that the processes share."""
    figures = np.frombuffer(mmap.mmap(-1, 8 * len(NAMES) * trials)).reshape(len(NAMES), trials)
    blocks = blocks_of(trials)
    edges = [len(blocks) * k // processes for k in range(processes + 1)]

    def work(first, end):
        for at in range(first, end, REFINED_TOGETHER):
            some = blocks[at:min(at + REFINED_TOGETHER, end)]
            figures[:, some[0].start:some[-1].end] = study.run(some)

    fork = multiprocessing.get_context("fork")
    others = [fork.Process(target=work, args=share) for share in zip(edges[1:-1], edges[2:])]
    for other in others:
        other.start()
    work(*edges[:2])
    for other in others:
        other.join()
        if other.exitcode != 0:
            sys.exit("a process failed")
    return figures


def summarise(figures):
    """Percentiles of each figure where there is one, and the share of trials where there is none."""
    rows = []
    for figure in figures:
        there = figure[~np.isnan(figure)]
        rows.append((np.percentile(there, PERCENTILES) if there.size else [np.nan] * len(PERCENTILES),
                     1 - there.size / figure.size))
    return rows


def write_values(path, factors, trials):
    """What was drawn, for tests/solve/bench_raw.c."""
    names = list(factors.shares)
    with open(path, "w") as file:
        file.write(" ".join(names) + "\n")
        for block in blocks_of(trials):
            values = factors.draw(block.number, block.end - block.start)
            np.savetxt(file, np.array([values[name] for name in names]).T, fmt="%.17g")


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("deck")
    parser.add_argument("factors")
    parser.add_argument("trials", type=int)
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--dump", metavar="FILE.csv", help="every trial's figures")
    parser.add_argument("--values", metavar="FILE", help="every trial's values, for bench_raw")
    arguments = parser.parse_args()
    deck = read_deck(arguments.deck)
    factors = Factors(arguments.factors, deck[0])
    start_s = time.perf_counter()
    study = Study(deck, factors)
    figures = run_all(study, arguments.trials, arguments.processes)
    rows = summarise(figures)
    took_s = time.perf_counter() - start_s
    print("%-20s" % "" + "".join("%12s" % ("p%02d" % p) for p in PERCENTILES) + "%12s" % "none")
    for name, (percentiles, none) in zip(NAMES, rows):
        print("%-20s" % name + "".join("%12.5g" % p for p in percentiles) + "%12.4f" % none)
    if arguments.dump:
        np.savetxt(arguments.dump, figures.T, fmt="%.12g", delimiter=",", header=",".join(NAMES), comments="")
    if arguments.values:
        write_values(arguments.values, factors, arguments.trials)
    print("%.6f" % took_s)


if __name__ == "__main__":
    main()
