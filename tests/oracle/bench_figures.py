# SPDX-License-Identifier: GPL-3.0-or-later
"""A buffer's figures worked out with `ngspice -b` and NumPy alone, by their ids, from what the ids say.

A group is a function: design -> {id: value}. Conditions: source shorted (0 ohm) unless the id says otherwise, load
1 Mohm and no lead unless it says otherwise, -3 dB at half power (3.0103 dB) below 1 kHz. A figure that words alone do
not settle comes as {meaning: value}; the check finds the one meaning that holds for all designs.
"""

import numpy as np

import bench_decks as bench

HALF_POWER_DB = 10 * np.log10(2)
SPOTS = {"100hz": 100.0, "1khz": 1e3, "10khz": 10e3}
LEVELS = {"100mv": 0.1, "500mv": 0.5, "1v": 1.0, "2v": 2.0}
RIPPLES = {"50hz": 50.0, "60hz": 60.0, "100hz": 100.0, "120hz": 120.0, "1khz": 1e3, "20khz": 20e3, "200khz": 200e3}
SWEEP = (200, 0.05, 100e6)


def decibel(h):
    return 20 * np.log10(np.maximum(np.abs(h), 1e-300))


def at(hz, values, spot):
    """Value at a frequency, by a straight line over log frequency between close points."""
    return np.interp(np.log(spot), np.log(hz), values)


def crossing(hz, db, level, upward):
    """Where the level is first crossed going away from 1 kHz; None inside the sweep's ends."""
    start = int(np.argmin(np.abs(np.log(hz / 1e3))))
    walk = range(start, len(hz) - 1) if upward else range(start, 0, -1)
    for i in walk:
        j = i + 1 if upward else i - 1
        if db[j] < level <= db[i]:
            share = (db[i] - level) / (db[i] - db[j])
            return float(np.exp(np.log(hz[i]) + share * np.log(hz[j] / hz[i])))
    return None


def rest(design):
    found = bench.rest(design.lines() + bench.source_lines() + bench.load_lines())
    return {"supply_current_a": -found["i(vsupply)"], "output_dc_v": found["v(out)"]}, found


def thump(design):
    """Largest voltage at the output while the supply comes up, and five seconds after."""
    figures = {}
    for name, ramp in (("1ms", 1e-3), ("100ms", 0.1)):
        lines = [line if not line.startswith(("vsupply", "vnegative")) else
                 "%s 0 pwl(0 0 %g %s)" % (" ".join(line.split()[:2]), ramp, line.split("dc ")[1].split()[0])
                 for line in design.lines()]
        answer = bench.simulate(lines + bench.source_lines(0, "dc 0") + bench.load_lines(), ["tran 0.5m 5 0 5m"])[0]
        figures["thump_%s_v" % name] = float(np.max(np.abs(answer["v(out)"])))
    return figures


def gain(design):
    hz, h = bench.gain(design.lines(), SWEEP)
    db, degrees = decibel(h), np.degrees(np.unwrap(np.angle(h)))
    degrees -= 360 * np.round(at(hz, degrees, 1e3) / 360)
    level = at(hz, db, 1e3)
    heard = np.concatenate([[at(hz, db, 20), at(hz, db, 20e3)], db[(hz > 20) & (hz < 20e3)]])
    return {"gain_1khz_db": level,
            "flatness_db": {"highest less lowest": np.ptp(heard), "furthest from 1 kHz": np.max(np.abs(heard - level)),
                            "half of highest less lowest": np.ptp(heard) / 2},
            "low_cutoff_hz": crossing(hz, db, level - HALF_POWER_DB, False),
            "high_cutoff_hz": crossing(hz, db, level - HALF_POWER_DB, True),
            "phase_20hz_deg": at(hz, degrees, 20), "phase_20khz_deg": at(hz, degrees, 20e3)}


def split(name, spot, z):
    """|Z|, and R parallel to C."""
    y = 1 / z if z else complex(np.inf)
    return {"%s_impedance_%s_ohm" % (name, spot): abs(z), "%s_resistance_%s_ohm" % (name, spot): 1 / y.real,
            "%s_capacitance_%s_farad" % (name, spot): y.imag / (2 * np.pi * SPOTS[spot])}


def impedances(design):
    figures = {}
    for spot, hz in SPOTS.items():
        figures.update(split("input", spot, bench.input_impedance(design.lines(), hz)))
        figures.update(split("output", spot, bench.output_impedance(design.lines(), hz)))
    return figures


def drive(design):
    """Loaded gain, cut-off, level at 20 kHz, and peaking, for every load."""
    figures, (hz, bare) = {}, bench.gain(design.lines(), (100, 10.0, 300e6))
    bare = decibel(bare)
    for c_name, farad in bench.LOADS_FARAD.items():
        for r_name, ohm in bench.LOADS_OHM.items():
            load = "%s_%s" % (c_name, r_name)
            hz, h = bench.gain(design.lines(), (100, 10.0, 300e6), farad, ohm)
            db = decibel(h)
            level = at(hz, db, 1e3)
            figures["drive_%s_gain_db" % load] = level - at(hz, bare, 1e3)
            figures["drive_%s_cutoff_hz" % load] = crossing(hz, db, level - HALF_POWER_DB, True)
            figures["drive_%s_20khz_db" % load] = {
                "against 1 kHz, same load": at(hz, db, 20e3) - level,
                "against 20 kHz, no load": at(hz, db, 20e3) - at(hz, bare, 20e3),
                "against 1 kHz, no load": at(hz, db, 20e3) - at(hz, bare, 1e3),
                "gain itself": at(hz, db, 20e3)}
            figures["peaking_%s_db" % load] = max(0.0, float(np.max(db[hz >= 1e3]) - level))
    worst = min((figures[k] for k in figures if k.endswith("gain_db")), key=lambda g: -abs(g))
    figures["drive_worst_gain_db"] = worst
    cutoffs = [v for k, v in figures.items() if k.endswith("cutoff_hz") and v]
    figures["drive_worst_cutoff_hz"] = min(cutoffs) if cutoffs else None
    figures["peaking_worst_db"] = max(v for k, v in figures.items() if k.startswith("peaking_"))
    return figures


def long_cable(design, ohm=bench.NO_LOAD_OHM):
    """Largest lead capacitance that costs 0.1 dB at 20 kHz: bisection over its logarithm."""
    lines = design.lines()
    bare = decibel(bench.gain(lines, 20e3, 0.0, ohm)[1][0])
    low, high = np.log(1e-12), np.log(10e-6)
    for _ in range(18):
        middle = (low + high) / 2
        lost = bare - decibel(bench.gain(lines, 20e3, np.exp(middle), ohm)[1][0])
        low, high = (middle, high) if lost < 0.1 else (low, middle)
    return {"cable_100mdb_20khz_farad": float(np.exp(low))}


def distortion(design):
    """THD and harmonics at 1 kHz. What clips moves its own bias: there it is given 0.3 s to settle."""
    figures = {}
    for name, volts in LEVELS.items():
        thd, shares = bench.distortion(design.lines(), volts, 1e3, steps=300, settle=4, periods=2)
        if thd > 0.3:
            _, shares = bench.distortion(design.lines(), volts, 1e3, steps=300, settle=300, periods=2)
        figures["thd_%s_percent" % name] = {"harmonics to %d" % last: np.sqrt(np.sum(shares[:last - 1] ** 2))
                                            for last in (6, 10, 20)}
        for n in range(2, 7):
            figures["harmonic_%d_%s_percent" % (n, name)] = shares[n - 2]
    return figures


def thd_at(design, volts, hz, supply_share=1.0):
    lines = design.lines(design.volts["positive"] * supply_share)
    return bench.distortion(lines, volts, hz, steps=300, settle=4, periods=2)[0]


def noise(design):
    figures = {}
    hz, density = bench.noise_density(design.lines())
    spot = float(np.exp(at(hz, np.log(density), 1e3)))
    level = abs(bench.gain(design.lines(), 1e3)[1][0])
    figures["noise_density_1khz_v_rthz"] = spot
    figures["input_noise_density_1khz_v_rthz"] = spot / level
    for name, ohm in (("short", 0.0), ("10k", 10e3)):
        if ohm:
            hz, density = bench.noise_density(design.lines(), ohm)
        figures["noise_%s_v" % name] = bench.noise_volts(hz, density)
        figures["noise_%s_a_v" % name] = bench.noise_volts(hz, density, bench.a_weight)
    return figures


def ripple(design):
    lines = [line.replace("ac 0", "ac 1") if line.startswith("vsupply") else line for line in design.lines()]
    level = decibel(bench.gain(design.lines(), 1e3)[1][0])
    figures = {}
    answers = bench.simulate(lines + bench.source_lines(0, "dc 0") + bench.load_lines(),
                             [bench.at_points(hz) for hz in RIPPLES.values()])
    for name, answer in zip(RIPPLES, answers):
        db = decibel(answer["v(out)"][0])
        figures["psrr_%s_db" % name] = {"output against supply": -db, "referred to the input": level - db}
    return figures


def pickup_noise(design, pickup, lead_m, lead_farad_m=100e-12):
    """(20 Hz to 20 kHz, A-weighted) behind a pickup and its lead."""
    share, eddy = pickup.get("eddy", (0.0, 1.0))
    lines = ["vsource emf 0 dc 0 ac 1", "lfree emf core %.12g" % (pickup["inductance"] * (1 - share)),
             "rwinding eddy in %.12g" % pickup["resistance"],
             "cpickup in 0 %.12g" % (pickup["capacitance"] + lead_m * lead_farad_m)]
    if share > 0:
        lines += ["leddy core eddy %.12g" % (pickup["inductance"] * share), "reddy core eddy %.12g" % eddy]
    else:
        lines += ["rjoin core eddy 1u"]
    answer = bench.simulate(design.lines() + lines + bench.load_lines(), ["noise v(out) vsource dec 100 10 100k"])[0]
    hz, density = answer["frequency"], answer["onoise_spectrum"]
    return bench.noise_volts(hz, density), bench.noise_volts(hz, density, bench.a_weight)


def pickup_network(pickup, lead_m, ohm, farad, lead_farad_m=100e-12):
    """(pole Hz, Q) of a pickup, a lead and an input: the roots of 1 + Zs (1/R + sC), by the pickup's own meaning:
    a share of the inductance lies beside the eddy resistance, then the winding's resistance, then all capacitance."""
    henry, series = pickup["inductance"], pickup["resistance"]
    total = pickup["capacitance"] + lead_m * lead_farad_m + farad
    share, eddy = pickup.get("eddy", (0.0, 1.0))
    source, below = np.poly1d([henry * (1 - share), series]), np.poly1d([1.0])
    if share > 0:
        below = np.poly1d([henry * share, eddy])
        source = source * below + np.poly1d([henry * share * eddy, 0])
    roots = [root for root in (source * np.poly1d([total, 1 / ohm]) + below).roots if root.imag > 0]
    if not roots:
        return None
    return abs(roots[0]) / (2 * np.pi), abs(roots[0]) / (-2 * roots[0].real)
