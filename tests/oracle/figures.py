# SPDX-License-Identifier: GPL-3.0-or-later
"""Peak, cut-off, bandwidth and poles of a response, found by plain search on the oracle itself.

`level` below is always a function from an array of Hz to dB. Everything is relative to the level at the
reference frequency, as the design's section on metrics says; the band ends at 100 kHz.
"""

import numpy as np

LAST_HZ = 1e5
HALF_POWER_DB = 3.0103
LEAST_PEAK_DB = 0.1
COUNTS_FROM = 1e-4


def zoom_maximum(level, low, high):
    """The maximum of a single hump between two frequencies."""
    for _ in range(7):
        hz = np.geomspace(low, high, 25)
        best = int(np.argmax(level(hz)))
        low, high = hz[max(best - 1, 0)], hz[min(best + 1, 24)]
    return hz[best], level(hz[best:best + 1])[0]


def zoom_crossing(level, target, low, high):
    """Where the level goes through the target between two frequencies that lie on either side of it."""
    for _ in range(7):
        hz = np.geomspace(low, high, 25)
        above = level(hz) > target
        first = int(np.argmax(above != above[0]))
        low, high = hz[first - 1], hz[first]
    return np.sqrt(low * high)


def measure(level, reference_hz=200.0):
    """reference_db, peak_hz, peak_db, cutoff_hz, bandwidth_q; None where the design says null."""
    hz = np.geomspace(reference_hz, LAST_HZ, 1081)
    db = level(hz)
    found = {"reference_db": db[0], "peak_hz": None, "peak_db": None, "cutoff_hz": None, "bandwidth_q": None,
             "highest_db": None}
    inner = np.flatnonzero((db[1:-1] > db[:-2]) & (db[1:-1] >= db[2:])) + 1
    start = 0
    if len(inner):
        top = inner[np.argmax(db[inner])]
        peak_hz, peak_db = zoom_maximum(level, hz[top - 1], hz[top + 1])
        found["highest_db"] = peak_db - db[0]
        if peak_db - db[0] >= LEAST_PEAK_DB:
            found["peak_hz"], found["peak_db"] = peak_hz, peak_db - db[0]
            start = top
            found["bandwidth_q"] = measure_bandwidth(level, hz, db, top, peak_hz, peak_db)
    below = np.flatnonzero(db[start:] <= db[0] - HALF_POWER_DB)
    if len(below):
        k = start + below[0]
        found["cutoff_hz"] = zoom_crossing(level, db[0] - HALF_POWER_DB, hz[k - 1], hz[k])
    return found


def measure_bandwidth(level, hz, db, top, peak_hz, peak_db):
    """Peak frequency over the width 3.0103 dB below the peak, when both points exist above the reference."""
    target = peak_db - HALF_POWER_DB
    left = np.flatnonzero(db[:top] <= target)
    right = np.flatnonzero(db[top:] <= target)
    if not len(left) or not len(right):
        return None
    low = zoom_crossing(level, target, hz[left[-1]], hz[left[-1] + 1])
    high = zoom_crossing(level, target, hz[top + right[0] - 1], hz[top + right[0]])
    return peak_hz / (high - low)


def describe_pole(pole):
    """Frequency and Q of a complex pole."""
    return abs(pole) / (2 * np.pi), abs(pole) / (2 * abs(pole.real))


def pole_from(hz, q):
    """The pole in the upper half plane with that frequency and Q (Q over 0.5)."""
    return 2 * np.pi * hz * (-0.5 / q + 1j * np.sqrt(max(1.0 - 0.25 / q ** 2, 0.0)))


def collect_pairs(circuit, node, lowest_hz, highest_hz, largest, more=()):
    """Counting complex pairs with frequencies in a range: [(pole, weight)], weight = |residue| / |p| / max|H|.

    Newton from a lattice of starting points; a pole is kept when its weight is at least half the design's
    threshold, so that the caller can see those near it.
    """
    starts = [pole_from(f, q) for f in np.geomspace(lowest_hz, highest_hz, max(5, int(
        6 * np.log2(highest_hz / lowest_hz)))) for q in (0.52, 0.8, 2.0, 8.0)]
    pairs = []
    for pole in circuit.newton_poles(starts + list(more)):
        if pole.imag < 0:
            pole = pole.conjugate()
        if pole.imag < 1e-6 * abs(pole) or any(abs(pole - p) < 1e-5 * abs(p) for p, _ in pairs):
            continue
        if not 0.999 * lowest_hz <= abs(pole) / (2 * np.pi) <= 1.001 * highest_hz:
            continue
        weight = abs(circuit.residue(pole, node)) / abs(pole) / largest
        if weight >= 0.5 * COUNTS_FROM:
            pairs.append((pole, weight))
    return pairs
