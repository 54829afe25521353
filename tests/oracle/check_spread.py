#!/usr/bin/python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""What `toneload spread` draws and sums up, against closed forms, SciPy's distributions and NumPy on its own dump.

Usage: check_spread.py BUILD_DIR

- Slopes: pickup L, R with winding and cable C in parallel (a cable without resistance) and the amp's resistance:
  H = 1 / (1 + (R + sL)(1/Rl + sC)) (computed; the circuit is the design's). With the denominator a s^2 + b s + c,
  a = LC, b = L/Rl + RC, c = 1 + R/Rl: peak at w^2 = (2ac - b^2) / (2a^2), pole at w^2 = c/a with Q = sqrt(ac)/b,
  -3 dB where |a s^2 + b s + c|^2 is 10^0.30103 of what it is at 200 Hz (computed; 3.0103 dB is the design's).
  Derivatives by complex steps (Squire and Trapp, SIAM Review 40(1), 1998; from memory).
- Variance: the sum of (slope x sigma)^2 (propagation of error; any textbook; from memory); sigma of the truncated
  normal and of the even distribution from SciPy (computed: 0.98658 / 3 and 1 / sqrt(3) of the tolerance).
- Draws: Kolmogorov-Smirnov against SciPy's truncnorm and uniform (computed); seeds are fixed, so that a run that
  has passed passes again.
- Percentiles, mean, deviation, bars, correlations: NumPy on the dumped trials (computed).
- Selection: the lowest of K even draws lies below x with 1 - (1 - x)^K (order statistics; from memory), and
  200,000 batches drawn from the dump itself (computed).
"""

import os
import sys
import tempfile

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
sys.dont_write_bytecode = True

import numpy as np
from scipy import stats

import rigs
import spreads

Off = rigs.Off
FAULTS = []

NOMINAL = {"L": 2.5, "R": 6e3, "C": 100e-12, "Rl": 1e6}
PATHS = {"L": "guitar.pickup.inductance", "R": "guitar.pickup.resistance", "C": "chain[0].capacitance",
         "Rl": "amp.resistance"}
WINDING, LENGTH = 110e-12, 6.0


def loaded_pickup(L, R, C, Rl, position=None):
    """The rig of the closed form; values may be rigs.Off."""
    guitar = {"pickup": {"inductance": L, "resistance": R, "capacitance": WINDING}}
    if position is not None:
        guitar["volume"] = {"pot": Off(250e3, "+-20 %"), "taper": "linear", "position": position}
    return {"rig": "loaded pickup", "guitar": guitar, "chain": [{"cable": {"capacitance": C, "resistance": 0.0},
                                                                "length": LENGTH}],
            "amp": {"resistance": Rl},
            "direct": [{"cable": {"capacitance": 96e-12, "resistance": 0.08}, "length": LENGTH}]}


CLOSED = loaded_pickup(*(Off(NOMINAL[k], "+-1 %") for k in ("L", "R", "C", "Rl")))
EVEN = loaded_pickup(*(Off(NOMINAL[k], "+-1 % uniform") for k in ("L", "R", "C", "Rl")))
ONE = loaded_pickup(Off(NOMINAL["L"], "+-10 % uniform"), NOMINAL["R"], NOMINAL["C"], NOMINAL["Rl"])
FAINT = loaded_pickup(Off(2.5, "+-7 %"), Off(6e3, "+-10 % uniform"), Off(120e-12, "+-8 %"), Off(1e6, "+-5 %"), 0.69)
DRAWN = {
    "rig": "many values",
    "guitar": {"pickup": {"inductance": Off(2.5, "+-7 %"), "resistance": Off(6e3, "+-10 % uniform"),
                          "capacitance": Off(110e-12, "\N{PLUS-MINUS SIGN} 20 %")},
               "volume": {"pot": Off(250e3, "+-0 %"), "taper": "audio", "position": 1.0}},
    "chain": [{"cable": {"capacitance": Off(100e-12, "+-8 %"), "resistance": Off(0.08, "+-25 % uniform")},
               "length": Off(9.0, "+-1 %"), "name": "lead"},
              {"contact": {"resistance": Off(0.5, "+-50 % uniform"), "leakage": Off(10e6, "+-50 %")}}],
    "amp": {"resistance": Off(1e6, "+-5 %"), "capacitance": Off(20e-12, "+-0 %")},
    "direct": [{"cable": {"capacitance": Off(95e-12, "+-4 % uniform"), "resistance": 0.08}, "length": 9.0}],
}
# The design: direct shares the guitar and the amp. Here it is the same lead too, so that nothing may differ.
SAME = {
    "rig": "direct is the same lead",
    "guitar": {"pickup": {"inductance": Off(2.5, "+-7 %"), "resistance": Off(6e3, "+-7 %"), "capacitance": 110e-12}},
    "chain": [{"cable": {"capacitance": Off(100e-12, "+-30 %"), "resistance": Off(0.08, "+-30 % uniform")},
               "length": Off(6.0, "+-10 %"), "name": "lead"}],
    "amp": {"resistance": Off(1e6, "+-5 %")},
    "direct": [{"cable": {"capacitance": Off(100e-12, "+-30 %"), "resistance": Off(0.08, "+-30 % uniform")},
                "length": Off(6.0, "+-10 %"), "follows": "lead"}],
}
TRIALS = 4000
BATCHES = 200000
HALF_DIGIT = 0.5000001   # JSON prints ten digits


def hold(what, good, detail=""):
    if not good:
        FAULTS.append("%s%s" % (what, ": " + detail if detail else ""))


def printed(got, want):
    """A printed number is the wanted one rounded to ten digits, or within 1e-12 of that."""
    if got is None or want is None or np.isnan(want):
        return got is None and (want is None or np.isnan(want))
    if want == 0:
        return abs(got) < 1e-15
    digit = 10.0 ** (np.floor(np.log10(abs(want))) - 9)
    return abs(got - want) <= HALF_DIGIT * digit + 1e-12 * abs(want)


def closed_form(L, R, C, Rl):
    """peak_hz, pole_hz, q, cutoff_hz; complex arguments give derivatives."""
    whole = WINDING + LENGTH * C
    a, b, c = L * whole, L / Rl + R * whole, 1 + R / Rl
    reference = (2 * np.pi * 200.0) ** 2
    level = a * a * reference ** 2 + (b * b - 2 * a * c) * reference + c * c
    p, q = (b * b - 2 * a * c) / (a * a), (c * c - level * 10 ** 0.30103) / (a * a)
    return {"peak_hz": np.sqrt((2 * a * c - b * b) / (2 * a * a)) / (2 * np.pi),
            "pole_hz": np.sqrt(c / a) / (2 * np.pi), "q": np.sqrt(a * c) / b,
            "cutoff_hz": np.sqrt(-p / 2 + np.sqrt(p * p / 4 - q)) / (2 * np.pi)}


def slope_of(key, letter):
    """Change per 1 %, exact to rounding."""
    values = dict(NOMINAL)
    values[letter] = NOMINAL[letter] * (1 + 1e-30j)
    return closed_form(**values)[key].imag / 1e-30 / 100.0


def check_closed_form(answer, dump):
    """Slopes of the rig as written; then every trial's figures."""
    got = {(s["metric"], s["path"]): s["slope"] for s in answer["sensitivity"]}
    worst = 0.0
    for key, nominal in closed_form(**NOMINAL).items():
        hold("closed form: nominal " + key, abs(answer["metrics"][key]["nominal"] / nominal - 1) < 1e-6)
        for letter, path in PATHS.items():
            want = slope_of(key, letter)
            off = abs(got[key, path] / want - 1)
            worst = max(worst, off)
            hold("closed form: slope of %s by %s" % (key, letter), off <= 2e-5,
                 "%.10g, closed form %.10g" % (got[key, path], want))
    trials = closed_form(*(dump[PATHS[k]] for k in ("L", "R", "C", "Rl")))
    each = max(np.abs(dump[key] / want - 1).max() for key, want in trials.items())
    hold("closed form: single trials", each <= 1e-6, "%.1e" % each)
    print("closed form: 16 slopes within %.1e; %d trials within %.1e" % (worst, len(dump["q"]), each))


def check_variance(name, answer, dump, sigma):
    """Deviation against propagation of error with the program's own slopes; 4 standard errors."""
    worst = 0.0
    for key in ("peak_hz", "peak_db", "pole_hz", "q", "cutoff_hz"):
        parts = [s["slope"] * sigma for s in answer["sensitivity"] if s["metric"] == key]   # tolerances of 1 %
        want, got = np.sum(np.square(parts)), answer["metrics"][key]["deviation"] ** 2
        z = dump[key] - dump[key].mean()
        error = want * np.sqrt((np.mean(z ** 4) / np.mean(z ** 2) ** 2 - 1) / len(z))
        worst = max(worst, abs(got - want) / error)
        hold("%s: variance of %s" % (name, key), abs(got - want) <= 4 * error,
             "%.6g, by propagation %.6g, standard error %.2g" % (got, want, error))
    print("%s: variance within %.1f standard errors (one is %.1f %%)" % (name, worst, 100 * error / want))


def check_draws(answer, dump, other):
    """Distributions, independence, what stays; then seeds, jobs and numbers of trials."""
    t = {v["path"]: spreads.shares(v, dump[v["path"]]) for v in answer["values"]}
    hold("draws: what is drawn", set(t) == {
        "guitar.pickup.inductance", "guitar.pickup.resistance", "guitar.pickup.capacitance", "chain[0].capacitance",
        "chain[0].resistance", "chain[0].length", "chain[1].resistance", "chain[1].leakage", "amp.resistance",
        "direct[0].capacitance"}, ", ".join(sorted(t)))
    least = 1.0
    for value in answer["values"]:
        path, share = value["path"], t[value["path"]]
        told = spreads.get(DRAWN, path)
        hold("draws: tolerance of " + path, abs(value["tolerance"] - spreads.tolerance_of(told)) < 1e-12
             and value["nominal"] == float(told) and value["distribution"] == (
                 "uniform" if "uniform" in told.off else "normal"), repr(value))
        if value["distribution"] == "normal":
            whole, scale, spread = stats.truncnorm(-3, 3), 3.0, spreads.TRUNCATED.std() / 3
        else:
            whole, scale, spread = stats.uniform(-1, 2), 1.0, np.sqrt(1 / 3)
        p = stats.kstest(scale * share, whole.cdf).pvalue
        least = min(least, p)
        hold("draws: distribution of " + path, p > 1e-4, "p = %.2g" % p)
        # Clipped draws would stand at the ends; untruncated ones beyond them.
        hold("draws: ends of " + path, np.abs(share).max() < 1 and len(np.unique(share)) == len(share))
        hold("draws: mean of " + path, abs(share.mean()) < 4 * spread / np.sqrt(len(share)))
        hold("draws: deviation of " + path, abs(share.std() / spread - 1) < 4 / np.sqrt(2 * len(share)),
             "%.4f, SciPy %.4f" % (share.std(), spread))
    table = np.array(list(t.values()))
    pairs = np.corrcoef(table)[np.triu_indices(len(table), 1)]
    ranks = np.corrcoef(np.abs(table))[np.triu_indices(len(table), 1)]
    bound = 4 / np.sqrt(table.shape[1])
    hold("draws: independence", np.abs(pairs).max() < bound and np.abs(ranks).max() < bound,
         "%.3f, %.3f" % (np.abs(pairs).max(), np.abs(ranks).max()))
    # One trial after another: what is drawn next does not depend on what was.
    after = max(abs(np.corrcoef(row[:-1], row[1:])[0, 1]) for row in table)
    hold("draws: trial after trial", after < bound, "%.3f" % after)
    seeds = [abs(np.corrcoef(row, spreads.shares(v, other[v["path"]])[:len(row)])[0, 1])
             for v, row in zip(answer["values"], table)]
    hold("draws: another seed", max(seeds) < bound, "%.3f" % max(seeds))
    print("draws: %d values, least p %.2g; correlations to %.3f and %.3f (of size), after each other %.3f, "
          "between seeds %.3f; bound %.3f" % (len(t), least, np.abs(pairs).max(), np.abs(ranks).max(), after,
                                              max(seeds), bound))


def check_same(dump, again):
    """Fewer trials with another number of workers: the same trials, to the last digit."""
    for name, column in again.items():
        hold("jobs and trials: " + name, np.array_equal(column, dump[name][:len(column)], equal_nan=True))


def check_follows(answer, dump):
    """A direct that is the rig's lead, value for value: no trial may differ by more than the solver's noise."""
    hold("follows: what is drawn", not any(v["path"].startswith("direct") for v in answer["values"]))
    hold("follows: what follows", {v["path"]: v["followed"] for v in answer["values"] if v["followed"]} == {
        "chain[0]." + word: "direct[0]." + word for word in ("capacitance", "resistance", "length")})
    worst = max(np.abs(dump[key]).max() for key in ("level_db", "presence_db", "worst_db", "rms_db",
                                                    "peak_shift_steps"))
    hold("follows: rig and direct", worst < 1e-6, "%.2g" % worst)
    hold("follows: the lead moves", np.std(dump["peak_hz"]) > 100)
    print("follows: with a deviation of the peak of %.0f Hz rig and direct differ by %.1e at most" % (
        np.std(dump["peak_hz"]), worst))


def check_sums(name, answer, dump):
    """Percentiles (linear between trials), mean, deviation, none, bars, correlations: NumPy on the dump."""
    for key in spreads.METRICS:
        metric, column = answer["metrics"][key], dump[key]
        there = column[~np.isnan(column)]
        hold("%s: none of %s" % (name, key), printed(metric["none_share"], np.mean(np.isnan(column))))
        wanted = {"p%02d" % p: np.percentile(there, p) for p in spreads.PERCENTS} if len(there) else {}
        wanted.update(mean=there.mean(), deviation=there.std(ddof=1), low=there.min(), high=there.max())
        for word, want in wanted.items():
            hold("%s: %s of %s" % (name, word, key), printed(metric[word], want),
                 "%r, NumPy %.13g" % (metric[word], want))
        bars = np.histogram(there, len(metric["bars"]), (there.min(), there.max()))[0]
        hold("%s: bars of %s" % (name, key), list(bars) == metric["bars"],
             "%r, NumPy %r" % (metric["bars"], list(bars)))
    seen = 0
    for entry in answer["sensitivity"]:
        figure, value = dump[entry["metric"]], dump[entry["path"]]
        there = ~np.isnan(figure)
        want = np.corrcoef(figure[there], value[there])[0, 1]
        # A correlation near 0 has lost digits to the rounding of its sums.
        hold("%s: correlation of %s with %s" % (name, entry["metric"], entry["path"]),
             abs(entry["correlation"] - want) < 2e-10, "%r, NumPy %.12g" % (entry["correlation"], want))
        hold("%s: share of %s from %s" % (name, entry["metric"], entry["path"]),
             abs(entry["variance_share"] - want ** 2) < 2e-10, "%r, NumPy %.12g" % (entry["variance_share"], want ** 2))
        seen += 1
    hold("%s: sensitivities" % name, seen == len(spreads.METRICS) * len(answer["values"]), str(seen))
    size = np.maximum(np.abs(dump["worst_db"]), np.nan_to_num(dump["peak_shift_steps"]))
    shares = np.histogram(size, [0, 0.5, 1, 3, np.inf])[0] / len(size)
    got = [answer["heard"][word] for word in ("not_audible", "borderline", "audible", "plain")]
    hold("%s: heard" % name, np.allclose(got, shares, rtol=0, atol=1e-9), "%r, NumPy %r" % (got, shares))
    print("%s: %d trials summed up; none: %s; heard: %s" % (name, len(size), ", ".join("%s %.3f" % (
        key, answer["metrics"][key]["none_share"]) for key in ("peak_hz", "pole_hz", "peak_shift_steps")), got))


def check_exact_choice(choices, trials):
    """One even value, a figure that falls with it: percentiles of the chosen from order statistics alone.

    The error is that of an empirical distribution, sqrt(u (1 - u) / N) at its quantile u, 4 of which are allowed.
    """
    worst = 0.0
    for words, below in (("lowest of 3", lambda p: 1 - (1 - p) ** (1 / 3)),
                         ("lowest of 10", lambda p: 1 - (1 - p) ** 0.1),
                         ("highest of 4", lambda p: p ** 0.25), ("low", lambda p: p / 3),
                         ("middle", lambda p: (1 + p) / 3), ("high", lambda p: (2 + p) / 3)):
        choice = next(c for c in choices if c["words"].endswith("=" + words))
        for key in ("peak_hz", "cutoff_hz", "pole_hz"):
            for percent in spreads.PERCENTS:
                u = below(1 - percent / 100)   # the figure falls as the value rises
                got = choice["metrics"][key]["p%02d" % percent]
                error = np.sqrt(u * (1 - u) / trials)
                at = [closed_form(**dict(NOMINAL, L=NOMINAL["L"] * (1 + 0.1 * (2 * v - 1))))[key]
                      for v in (u + error, u, u - error)]
                off = (got - at[1]) / ((at[2] - at[1]) if got > at[1] else (at[1] - at[0]))
                worst = max(worst, abs(off))
                hold("choice, exact: %s, p%02d of %s" % (words, percent, key), abs(off) <= 4,
                     "%.7g, order statistics %.7g, %.1f standard errors" % (got, at[1], off))
    print("choice, exact: percentiles within %.1f standard errors of %d trials" % (worst, trials))


def check_batches(name, choice, dump, path, pick, rng):
    """Batches of K of the dumped trials, one of each kept: percentiles within 5 standard errors of the batches."""
    how, size = pick
    value, nominal = dump[path], NOMINAL.get({v: k for k, v in PATHS.items()}.get(path))
    batch = rng.integers(0, len(value), (BATCHES, size))
    at = {"lowest": np.argmin, "highest": np.argmax,
          "nearest": lambda v, axis: np.argmin(np.abs(v - nominal), axis)}[how](value[batch], axis=1)
    kept = batch[np.arange(BATCHES), at]
    worst = 0.0
    for key in spreads.METRICS:
        figure = np.sort(dump[key][kept])
        figure = figure[~np.isnan(figure)]
        for percent in spreads.PERCENTS:
            p = percent / 100
            error = 5 * np.sqrt(p * (1 - p) / len(figure))
            # One place further: of N trials each stands for 1/N.
            low, high = np.quantile(figure, [max(p - error, 0), min(p + error, 1)])
            steps = np.unique(figure)
            low = steps[max(np.searchsorted(steps, low) - 1, 0)]
            high = steps[min(np.searchsorted(steps, high) + 1, len(steps) - 1)]
            got, middle = choice["metrics"][key]["p%02d" % percent], np.quantile(figure, p)
            worst = max(worst, abs(got - middle) / (figure[-1] - figure[0]))
            hold("%s, batches: %s of %d, p%02d of %s" % (name, how, size, percent, key),
                 low - 1e-9 * abs(low) <= got <= high + 1e-9 * abs(high),
                 "%.7g, %d batches %.7g (%.7g to %.7g)" % (got, BATCHES, middle, low, high))
    check_batch_shares("%s, batches: %s of %d" % (name, how, size), choice, dump, kept)
    # Without drawing a trial twice, the worst K - 1 of all are never kept.
    hold("%s, batches: %s of %d, trials" % (name, how, size), choice["trials"] == len(value) - size + 1,
         str(choice["trials"]))
    print("%s, batches: %s of %d by %s; percentiles within %.4f of each figure's range" % (
        name, how, size, path, worst))


def check_batch_shares(what, choice, dump, kept):
    """Deviations and what the ear makes of the chosen, within 5 standard errors of the batches."""
    for key in spreads.METRICS:
        figure = dump[key][kept]
        figure = figure[~np.isnan(figure)]
        z, want = figure - figure.mean(), figure.std()
        error = 5 * want * np.sqrt((np.mean(z ** 4) / want ** 4 - 1) / (4 * len(z)))
        # Each trial comes up many times: one place more or less of them is the sum's own grain.
        grain = want / len(np.unique(figure))
        hold("%s, deviation of %s" % (what, key), abs(choice["metrics"][key]["deviation"] - want) <= error + grain,
             "%.7g, batches %.7g" % (choice["metrics"][key]["deviation"], want))
    size = np.maximum(np.abs(dump["worst_db"]), np.nan_to_num(dump["peak_shift_steps"]))[kept]
    shares = np.histogram(size, [0, 0.5, 1, 3, np.inf])[0] / len(size)
    for word, want in zip(("not_audible", "borderline", "audible", "plain"), shares):
        hold("%s, %s" % (what, word), abs(choice["heard"][word] - want) <= 5 * np.sqrt(
            want * (1 - want) / len(size)) + 1.0 / len(dump["trial"]), "%.7g, batches %.7g" % (choice["heard"][word], want))


def main():
    build = sys.argv[1]
    with tempfile.TemporaryDirectory() as folder:
        common = ["--only-stated", "--jobs", "1", "--trials"]

        def start(name, rig, trials, seed, more=()):
            return spreads.Run(build, folder, name, rig, common + [str(trials), "--seed", str(seed)] + list(more))

        length = PATHS["L"]
        one = start("one", ONE, TRIALS, 21, [word for choice in (
            "lowest of 3", "lowest of 10", "highest of 4", "low", "middle", "high")
            for word in ("--select", length + "=" + choice)])
        drawn = start("drawn", DRAWN, TRIALS, 22)
        one_answer, one_dump = one.ask()
        closed = start("closed", CLOSED, TRIALS, 23, ["--select", PATHS["R"] + "=lowest of 5",
                                                      "--select", PATHS["C"] + "=nearest of 3"])
        drawn_answer, drawn_dump = drawn.ask()
        even = start("even", EVEN, TRIALS, 24)
        closed_answer, closed_dump = closed.ask()
        other = start("other", DRAWN, TRIALS, 25)
        even_answer, even_dump = even.ask()
        faint = start("faint", FAINT, 1500, 26, ["--select", "guitar.volume.pot=highest of 4"])
        _, other_dump = other.ask()
        again = spreads.Run(build, folder, "again", DRAWN,
                            ["--only-stated", "--jobs", "2", "--trials", "700", "--seed", "22"])
        faint_answer, faint_dump = faint.ask()
        same = start("same", SAME, 500, 27)

        check_closed_form(closed_answer, closed_dump)
        check_variance("normal", closed_answer, closed_dump, spreads.TRUNCATED.std() / 3)
        check_variance("even", even_answer, even_dump, stats.uniform(-1, 2).std())
        check_draws(drawn_answer, drawn_dump, other_dump)
        check_same(drawn_dump, again.ask()[1])
        check_follows(*same.ask())
        for name, answer, dump in (("closed", closed_answer, closed_dump), ("drawn", drawn_answer, drawn_dump),
                                   ("faint", faint_answer, faint_dump)):
            check_sums(name, answer, dump)
        hold("faint: peaks", 0.05 < faint_answer["metrics"]["peak_hz"]["none_share"] < 0.95)
        rng = np.random.default_rng(28)
        check_exact_choice(one_answer["choices"], TRIALS)
        check_batches("one", one_answer["choices"][0], one_dump, length, ("lowest", 3), rng)
        check_batches("closed", closed_answer["choices"][0], closed_dump, PATHS["R"], ("lowest", 5), rng)
        check_batches("closed", closed_answer["choices"][1], closed_dump, PATHS["C"], ("nearest", 3), rng)
        check_batches("faint", faint_answer["choices"][0], faint_dump, "guitar.volume.pot", ("highest", 4), rng)
    for fault in FAULTS:
        print(fault)
    print("%d faults" % len(FAULTS))
    return 1 if FAULTS else 0


if __name__ == "__main__":
    sys.exit(main())
