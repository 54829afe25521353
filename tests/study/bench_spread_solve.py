#!/usr/bin/python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""A second yardstick for Monte Carlo over a rig's tolerances: batched nodal analysis as most would write it.

Usage: bench_spread_solve.py DECK FACTORS.json TRIALS [--processes 2] [--dump FILE.csv]

The same input, draws, figures and output as bench_spread_numpy.py, which is some ten times as fast but knows its
circuits: ladders that star-mesh steps take apart, polynomials of low degree. Here any linear circuit goes through
stacked matrices G + s C (nodes, currents of inductors and sources): numpy.linalg.solve once a trial, numpy.linalg.eig
of (G + s0 C)^-1 C for poles and their weights, and all curves as sums over the poles; the peak by parabolas and the
-3 dB point by secants within their brackets, all trials at once.
"""

import argparse
import sys
import time

import bench_spread_numpy as plain  # sets the libraries' threads: before NumPy

import multiprocessing

import numpy as np

CHUNK = 512
NODES = 3  # a band
SEARCH_HZ = np.geomspace(plain.REFERENCE_HZ, plain.LAST_HZ, 96)
PLACES, WEIGHTS = np.polynomial.legendre.leggauss(NODES)
BAND_HZ = plain.hz_of(plain.BANDS[:, None] + PLACES / 2)
S0 = 2 * np.pi * 2000.0  # where the matrices are factored: real, so that all stays real but the poles


class Circuit:
    """One connected part of the deck as stacked matrices."""

    def __init__(self, elements, driven, out):
        island, waiting = {out}, [out]
        while waiting:
            node = waiting.pop()
            for a, b, _ in elements.values():
                for other in ({a, b} - {"0"} if node in (a, b) else ()):
                    if other not in island:
                        island.add(other)
                        waiting.append(other)
            control = driven.get(node, (0, None))[1]
            if control and control not in island:
                island.add(control)
                waiting.append(control)
        self.mine = {n: e for n, e in elements.items() if {e[0], e[1]} & island}
        self.row = {node: k for k, node in enumerate(sorted(island))}
        extra = [n for n in self.mine if n[0] == "l"] + [n for n in driven if n in island]
        self.extra = {name: len(self.row) + k for k, name in enumerate(extra)}
        self.driven = {n: driven[n] for n in driven if n in island}
        self.size = len(self.row) + len(self.extra)
        self.out = self.row[out]

    def matrices(self, values, count):
        """G, C and the sources' vector b."""
        g, c, b = np.zeros((count, self.size, self.size)), np.zeros((count, self.size, self.size)), np.zeros(self.size)
        for name, (one, two, _) in self.mine.items():
            ends = [self.row[n] for n in (one, two) if n != "0"]
            signs = [sign for n, sign in ((one, 1), (two, -1)) if n != "0"]
            if name[0] == "l":
                k = self.extra[name]
                for end, sign in zip(ends, signs):
                    g[:, end, k] += sign
                    g[:, k, end] += sign
                c[:, k, k] -= values[name]
                continue
            matrix, y = (g, 1 / values[name]) if name[0] == "r" else (c, values[name])
            for i, si in zip(ends, signs):
                for j, sj in zip(ends, signs):
                    matrix[:, i, j] += si * sj * y
        for node, (gain, control) in self.driven.items():
            k = self.extra[node]
            g[:, self.row[node], k] += 1
            g[:, k, self.row[node]] += 1
            if control is None:
                b[k] = gain
            else:
                g[:, k, self.row[control]] -= gain
        return g, c, b

    def modes(self, values, count):
        """H(s) = sum of w / (1 + (s - S0) m): weights w and modes m of each trial."""
        g, c, b = self.matrices(values, count)
        both = np.linalg.solve(g + S0 * c, np.concatenate([c, np.broadcast_to(b[:, None], (count, self.size, 1))], 2))
        m, vectors = np.linalg.eig(both[:, :, :-1])
        right = np.linalg.solve(vectors, both[:, :, -1:].astype(complex))[:, :, 0]
        return vectors[:, self.out] * right, m


def power(weights, m, hz):
    """|H|^2 at frequencies of each trial (trials, frequencies)."""
    s = 2j * np.pi * hz - S0
    return np.abs(np.einsum("tm,tmf->tf", weights, 1 / (1 + s[:, None, :] * m[:, :, None]))) ** 2


def search(weights, m, reference):
    """Peak, its height, and the -3 dB point."""
    count = len(weights)
    p = power(weights, m, np.broadcast_to(SEARCH_HZ, (count, len(SEARCH_HZ))))
    inside = (p[:, 1:-1] > p[:, :-2]) & (p[:, 1:-1] >= p[:, 2:])
    top = 1 + np.argmax(np.where(inside, p[:, 1:-1], 0), axis=1)
    low, high = SEARCH_HZ[top - 1], SEARCH_HZ[top + 1]
    for _ in range(4):  # a parabola through three points, in ever narrower brackets
        middle = np.sqrt(low * high)
        x = np.log(np.stack([low, middle, high], axis=1))
        y = np.log(power(weights, m, np.exp(x)))
        bend = (y[:, 0] - 2 * y[:, 1] + y[:, 2]) / ((x[:, 1] - x[:, 0]) ** 2)
        slope = (y[:, 2] - y[:, 0]) / (x[:, 2] - x[:, 0])
        with np.errstate(all="ignore"):
            at = np.exp(np.clip(x[:, 1] - slope / bend, x[:, 0], x[:, 2]))
        width = (high / low) ** 0.15
        low, high = at / width, at * width
    height = power(weights, m, at[:, None])[:, 0] / reference
    peak = np.where(inside.any(axis=1) & (height >= plain.LEAST_PEAK), at, np.nan)
    start = np.where(np.isnan(peak), 0, top)
    below = (p <= 0.5 * reference[:, None]) & (np.arange(len(SEARCH_HZ)) > start[:, None])
    fall = np.argmax(below, axis=1)
    low, high = SEARCH_HZ[fall - 1], SEARCH_HZ[fall]
    for _ in range(5):  # the secant of level over log frequency
        x = np.log(np.stack([low, high], axis=1))
        y = np.log(power(weights, m, np.exp(x)) / (0.5 * reference[:, None]))
        at = np.exp(x[:, 0] - y[:, 0] * (x[:, 1] - x[:, 0]) / (y[:, 1] - y[:, 0]))
        low, high = at / (1 + 1e-4), at * (1 + 1e-4)
    return peak, 10 * np.log10(np.where(np.isnan(peak), np.nan, height)), np.where(fall > 0, at, np.nan), p.max(axis=1)


def pick_pole(weights, m, peak, highest):
    """The pole that counts: see DESIGN's metrics."""
    with np.errstate(all="ignore"):
        pole = S0 - 1 / m
        size = np.abs(pole)
        weight = np.abs(weights / m) / size
        hz = size / (2 * np.pi)
        pair = (pole.imag > 1e-9 * size) & (weight >= plain.COUNTS_FROM * np.sqrt(highest)[:, None]) & (hz <= plain.LAST_HZ)
        near = -np.abs(np.log(hz / peak[:, None]))
        merit = np.where(np.isnan(peak)[:, None], np.where((hz >= 500) & (hz <= 2e4), weight, -np.inf),
                         np.where(near >= -np.log(2), near, -np.inf))
        merit = np.where(pair, merit, -np.inf)
    best = np.argmax(merit, axis=1)
    each = np.arange(len(best))
    chosen = np.where(merit[each, best] > -np.inf, pole[each, best], np.nan)
    return np.abs(chosen) / (2 * np.pi), np.abs(chosen) / (2 * np.abs(chosen.real))


def measure(circuits, values, count):
    rows, bands = [], []
    for circuit in circuits:
        weights, m = circuit.modes(values, count)
        hz = np.broadcast_to(np.append(BAND_HZ.ravel(), plain.REFERENCE_HZ), (count, BAND_HZ.size + 1))
        p = power(weights, m, hz)
        bands.append((p[:, :-1].reshape(count, len(plain.BANDS), NODES) @ (WEIGHTS / 2)).T)
        peak, height, cutoff, highest = search(weights, m, p[:, -1])
        pole, q = pick_pole(weights, m, peak, highest)
        rows += [peak, height, pole, q, cutoff]
    return rows + plain.hear(*bands)


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("deck")
    parser.add_argument("factors")
    parser.add_argument("trials", type=int)
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--dump", metavar="FILE.csv")
    arguments = parser.parse_args()
    elements, driven, outputs = plain.read_deck(arguments.deck)
    factors = plain.Factors(arguments.factors, elements)
    start_s = time.perf_counter()
    circuits = [Circuit(elements, driven, out) for out in outputs]
    blocks = plain.blocks_of(arguments.trials)

    def run(block):
        values = factors.draw(block.number, block.end - block.start)
        pieces = []
        for at in range(0, block.end - block.start, CHUNK):
            some = {n: v[at:at + CHUNK] if np.ndim(v) else v for n, v in values.items()}
            count = min(CHUNK, block.end - block.start - at)
            pieces.append(np.array(measure(circuits, some, count)))
        return np.concatenate(pieces, axis=1)

    global work  # what the processes inherit
    work = run
    if arguments.processes > 1:
        with multiprocessing.get_context("fork").Pool(arguments.processes) as pool:
            figures = np.concatenate(pool.map(call, blocks, chunksize=1), axis=1)
    else:
        figures = np.concatenate([run(block) for block in blocks], axis=1)
    rows = plain.summarise(figures)
    took_s = time.perf_counter() - start_s
    for name, (percentiles, none) in zip(plain.NAMES, rows):
        print("%-20s" % name + "".join("%12.5g" % p for p in percentiles) + "%12.4f" % none)
    if arguments.dump:
        np.savetxt(arguments.dump, figures.T, fmt="%.12g", delimiter=",", header=",".join(plain.NAMES), comments="")
    print("%.6f" % took_s)


def call(block):
    return work(block)


if __name__ == "__main__":
    sys.exit(main())
