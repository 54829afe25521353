# SPDX-License-Identifier: GPL-3.0-or-later
"""Small boards of pedals and outputs, and every assignment of them looked at in turn.

Written from the meaning of the rules, without the program's code: pedals have volts, a polarity and a draw; outputs have
them too and a limit; outputs of one supply that are not isolated share a return.
"""

import itertools
import math
import random

import numpy as np

NEG, POS, AC = "centre-negative", "centre-positive", "ac"
HEAD = """rig: a board for a check, invented
guitar: {pickup: {inductance: 2.5 H, resistance: 6 kohm, capacitance: 110 pF}}
chain:
  - cable: {capacitance: 100 pF/m}
    length: 6 m
amp: {resistance: 1 Mohm, capacitance: 20 pF}
"""


def random_board(seed):
    dice = random.Random(seed)
    supplies = []
    count = dice.randint(3, 4)
    for name in ["one"] if count < 3 or dice.random() < 0.6 else ["one", "two"]:
        supplies.append({"name": name, "power": dice.choice([None, None, None, 1, 2]), "outputs": []})
    for i in range(count):
        volts = dice.choice([[9], [9], [9], [9], [12], [9, 12], [9, 12, 18]])
        limit = dice.choice([50, 100, 100, 200, 300])
        supplies[i % len(supplies)]["outputs"].append({
            "name": str(i + 1), "volts": volts, "limit": limit,
            "peak": dice.choice([None, None, 2 * limit]),
            "polarity": POS if dice.random() < 0.12 else NEG, "isolated": dice.random() < 0.6})
    names = [s["name"] + "/" + o["name"] for s in supplies for o in s["outputs"]]
    pedals = []
    for i in range(dice.randint(2, 5)):
        current = dice.choice([round(dice.uniform(2, 120), 3), dice.randint(5, 90), 40, 15])
        pedals.append({
            "name": "p" + "abcde"[i], "volts": dice.choice([9] * 12 + [12, 18]),
            "polarity": POS if dice.random() < 0.05 else NEG, "current": current,
            "inrush": dice.choice([None, None, round(current * dice.uniform(1, 4), 3)]),
            "digital": dice.random() < 0.3, "high_gain": dice.random() < 0.25, "plus": dice.random() < 0.05,
            "given": dice.choice(names) if dice.random() < 0.08 else None})
    return {"headroom": dice.choice([0, 0.1, 0.2, 0.2]), "supplies": supplies, "pedals": pedals}


def board_yaml(board):
    def yes(flag):
        return "yes" if flag else "no"

    text = HEAD + "power:\n  headroom: %g %%\n  supplies:\n" % (100 * board["headroom"])
    for supply in board["supplies"]:
        text += "    - name: %s\n      kind: switching\n" % supply["name"]
        if supply["power"]:
            text += "      power: %g W\n" % supply["power"]
        text += "      outputs:\n"
        for o in supply["outputs"]:
            volts = "voltage: %g V" % o["volts"][0] if len(o["volts"]) == 1 else \
                "selectable: [%s]" % ", ".join("%g V" % v for v in o["volts"])
            peak = ", peak: %g mA" % o["peak"] if o["peak"] else ""
            text += "        - {name: %s, %s, current: %g mA, polarity: %s, isolated: %s%s}\n" % (
                o["name"], volts, o["limit"], o["polarity"], yes(o["isolated"]), peak)
    text += "  pedals:\n"
    for p in board["pedals"]:
        more = ", inrush: %.3f mA" % p["inrush"] if p["inrush"] else ""
        more += ", output: %s" % p["given"] if p["given"] else ""
        text += "    - {device: %s, voltage: %g V, polarity: %s, current: %.3f mA, digital: %s, high_gain: %s, " \
            "positive_ground: %s%s}\n" % (p["name"], p["volts"], p["polarity"], p["current"], yes(p["digital"]),
                                          yes(p["high_gain"]), yes(p["plus"]), more)
    return text


class Everything:
    """All assignments of a board: each pedal at each output, without one, or on one more output."""

    def __init__(self, board, without=False, fresh=False):
        self.board = board
        self.pedals = board["pedals"]
        self.outputs = [dict(o, supply=i, full=s["name"] + "/" + o["name"])
                        for i, s in enumerate(board["supplies"]) for o in s["outputs"]]
        self.P, self.O = len(self.pedals), len(self.outputs)
        self.NONE, self.NEW = self.O, self.O + 1
        choices = list(range(self.O)) + ([self.NONE] if without else []) + ([self.NEW] if fresh else [])
        self.at = np.array(list(itertools.product(choices, repeat=self.P)))
        self.current = np.array([p["current"] for p in self.pedals])
        self.volts = np.array([p["volts"] for p in self.pedals])
        self.group, groups = [], {}
        for i, o in enumerate(self.outputs):
            key = ("alone", i) if o["isolated"] else ("shared", o["supply"])
            self.group.append(groups.setdefault(key, len(groups)))
        self.groups = len(groups)
        # None and new stand at returns of their own.
        self.return_of = np.array(self.group + [-1, self.groups])
        self.share = 1 - board["headroom"]
        self.limit = np.array([o["limit"] for o in self.outputs])

    def loads(self):
        return np.stack([((self.at == o) * self.current).sum(1) for o in range(self.O)], 1)

    def watts(self):
        of = np.array([o["supply"] for o in self.outputs] + [-1, -2])
        return np.stack([((of[self.at] == s) * self.current * self.volts).sum(1) / 1e3
                         for s in range(len(self.board["supplies"]))], 1)

    def fits(self, turned=False):
        """By assignment and pedal: volts and polarity (or, turned, the other one on an isolated output)."""
        table = np.zeros((self.P, self.O + 2), bool)
        for i, p in enumerate(self.pedals):
            for j, o in enumerate(self.outputs):
                polarity = p["polarity"] == o["polarity"]
                table[i, j] = p["volts"] in o["volts"] and (
                    (not polarity and o["isolated"] and AC not in (p["polarity"], o["polarity"])) if turned else polarity)
        if not turned:
            table[:, self.NONE] = table[:, self.NEW] = True
        return np.stack([table[i, self.at[:, i]] for i in range(self.P)], 1)

    def stays(self):
        good = np.ones(len(self.at), bool)
        for i, p in enumerate(self.pedals):
            if p["given"]:
                at = self.at[:, i]
                good &= (at == [o["full"] for o in self.outputs].index(p["given"])) | (at == self.NONE) | (at == self.NEW)
        return good

    def moved(self):
        count = np.zeros(len(self.at), int)
        for i, p in enumerate(self.pedals):
            if p["given"]:
                count += self.at[:, i] != [o["full"] for o in self.outputs].index(p["given"])
        return count

    def pairs(self):
        """By assignment: pairs that hum, and whether volts, new outputs and positive grounds agree."""
        hum, good = np.zeros(len(self.at), int), np.ones(len(self.at), bool)
        returns = self.return_of[self.at]
        for i, j in itertools.combinations(range(self.P), 2):
            a, b = self.pedals[i], self.pedals[j]
            together = (returns[:, i] == returns[:, j]) & (returns[:, i] >= 0)
            same_output = (self.at[:, i] == self.at[:, j]) & (self.at[:, i] != self.NONE)
            if a["volts"] != b["volts"]:
                good &= ~same_output
            if a["polarity"] != b["polarity"]:
                good &= ~(same_output & (self.at[:, i] == self.NEW))
            if a["plus"] != b["plus"]:
                good &= ~together
            elif (a["digital"] and b["high_gain"]) or (b["digital"] and a["high_gain"]):
                hum += together
        return hum, good

    def sharing(self):
        returns = self.return_of[self.at]
        counts = np.stack([(returns == g).sum(1) for g in range(self.groups)], 1)
        return np.maximum(counts - 1, 0).sum(1)

    def surges(self):
        count = np.zeros(len(self.at), int)
        more = np.array([(p["inrush"] or p["current"]) - p["current"] for p in self.pedals])
        loads = self.loads()
        for o in range(self.O):
            extra = ((self.at == o) * more).max(1)
            peak = self.outputs[o]["peak"] or self.outputs[o]["limit"]
            count += (extra > 0) & (loads[:, o] + extra > peak + 1e-6)
        return count

    def strength(self):
        return np.append(self.limit, [0, 0])[self.at].sum(1)

    def within(self, share=None, skip_output=None, skip_supply=None):
        share = self.share if share is None else share
        loads, watts = self.loads(), self.watts()
        good = np.ones(len(self.at), bool)
        for o in range(self.O):
            if o != skip_output:
                good &= loads[:, o] <= share * self.limit[o] + 1e-6
        for s, supply in enumerate(self.board["supplies"]):
            if supply["power"] and s != skip_supply:
                good &= watts[:, s] <= share * supply["power"] + 1e-8
        return good

    def best(self):
        """The best assignment, or None."""
        hum, agree = self.pairs()
        good = self.fits().all(1) & self.stays() & agree & (hum == 0) & self.within()
        if not good.any():
            return None
        keys = np.column_stack([self.sharing(), self.surges(), self.strength(), self.at])[good]
        order = np.lexsort(keys.T[::-1])
        return [self.outputs[o]["full"] for o in self.at[good][order[0]]]


def smallest_changes(board):
    """The least of each kind of change that makes a board possible: {kind: amount}."""
    found = {}
    plain = Everything(board)
    hum, agree = plain.pairs()
    fits, stays = plain.fits(), plain.stays()
    proper = fits.all(1) & agree
    still = proper & stays & (hum == 0)
    ratio = (plain.loads() / plain.limit).max(1)
    for s, supply in enumerate(board["supplies"]):
        if supply["power"]:
            ratio = np.maximum(ratio, plain.watts()[:, s] / supply["power"])
    if board["headroom"] and (still & (ratio <= 1 + 1e-9)).any():
        found["headroom"] = 1 - ratio[still].min()
    turned = plain.fits(True)
    alone = np.ones(len(plain.at), bool)
    for i in range(plain.P):
        is_turned = turned[:, i] & ~fits[:, i]
        alone &= ~(is_turned & ((plain.at == plain.at[:, [i]]).sum(1) > 1))
    good = (fits | turned).all(1) & agree & alone & stays & (hum == 0) & plain.within()
    if good.any():
        found["adapter"] = int((turned & ~fits)[good].sum(1).min())
    if any(p["given"] for p in board["pedals"]):
        good = proper & (hum == 0) & plain.within()
        if good.any():
            found["move"] = int(plain.moved()[good].min())
    more = [((plain.loads()[:, o] / plain.share - plain.limit[o]), still & plain.within(skip_output=o))
            for o in range(plain.O)]
    more = [m[good].min() for m, good in more if good.any()]
    if more:
        found["current"] = min(more)
    more = [((plain.watts()[:, s] / plain.share - supply["power"]), still & plain.within(skip_supply=s))
            for s, supply in enumerate(board["supplies"]) if supply["power"]]
    more = [m[good].min() for m, good in more if good.any()]
    if more:
        found["supply"] = min(more)
    good = proper & stays & plain.within()
    if good.any():
        found["share"] = int(hum[good].min())
    added = Everything(board, fresh=True)
    hum, agree = added.pairs()
    good = added.fits().all(1) & added.stays() & agree & (hum == 0) & added.within()
    if good.any():
        load = ((added.at == added.NEW) * added.current).sum(1)[good]
        found["output"] = load.min() / added.share
    fewer = Everything(board, without=True)
    hum, agree = fewer.pairs()
    good = fewer.fits().all(1) & fewer.stays() & agree & (hum == 0) & fewer.within()
    left = (fewer.at == fewer.NONE)[good]
    least = left.sum(1).min()
    found["leave"] = (int(least), (left * fewer.current).sum(1)[left.sum(1) == least].min())
    assert math.isfinite(found["leave"][1])
    return found
