"""A schedule as a mixed-integer programme, which HiGHS solves to a proven optimum.

It holds every plan that serves the calls: what goes on is called for, and what is called for goes
on where days, intervals and numbers leave anything for it. Guidelines: the end of a run alone, and
that with at most one application a day. Where two go on one day, it allows a little more than a
walk through the days does, so that its optimum is never too low.
"""

from collections import defaultdict
from itertools import pairwise

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import csr_array


class Programme:
    """Variables and rows by name; every row is ``sum of coefficients <= most``."""

    def __init__(self):
        self.column, self.gain, self.whole, self.top = {}, [], [], []
        self.entries, self.most = ([], [], []), []

    def add(self, *name, gain=0.0, whole=1, top=1.0):
        self.column[name] = len(self.gain)
        self.gain.append(gain)
        self.whole.append(whole)
        self.top.append(top)

    def at_most(self, most, terms):
        for name, factor in terms:
            self.entries[0].append(factor)
            self.entries[1].append(len(self.most))
            self.entries[2].append(self.column[name])
        self.most.append(most)

    def best(self, seconds):
        value, row, column = self.entries
        shape = len(self.most), len(self.gain)
        rows = LinearConstraint(csr_array((value, (row, column)), shape=shape), ub=self.most)
        limits = {"time_limit": seconds, "mip_rel_gap": 1e-6}
        return milp(
            -np.array(self.gain),
            integrality=self.whole,
            bounds=Bounds(0, self.top),
            constraints=rows,
            options=limits,
        )


def times(factor, names):
    return [(name, factor) for name in names]


def optimum(problem, seconds=60.0):
    """Return the most that a plan can be worth: proven, and as far as HiGHS got."""
    made, days, turn = Programme(), len(problem.dates), problem.year_ends
    options, threats = problem.options, problem.threats
    called = [np.any([s.first | s.further for s in t.seasons], axis=0) for t in threats]
    moves = [
        (d, o)
        for d, o in np.argwhere(problem.usable).tolist()
        if any(problem.weight[t, o] > 0 and called[t][d] for t in range(len(threats)))
    ]
    for d, o in moves:
        made.add("on", d, o, gain=-problem.cost * options[o].products)
    on = {move: ("on", *move) for move in moves}
    by_day = defaultdict(list)
    for d, o in moves:
        by_day[d].append(o)

    every = np.ones(len(options), bool)
    limits = []  # of the options that count: which, the most before and after the turn, dose
    limits.append((every, problem.most, problem.most_after, every.astype(float)))
    limits += [(h, p.most, p.most_after, h.astype(float)) for p, h in problem.holding]
    for one, dose in zip(problem.spent, problem.doses, strict=True):
        limits.append((dose > 0, one.left + 2e-6, 1 + 2e-6, dose))
    spaced = [(every, problem.least_days)]
    spaced += [
        (holds, product.choice.least_days)
        for product, holds in problem.holding
        if product.choice.least_days is not None
    ]
    for _, this, later, dose in limits:
        for most, year in ((this, range(turn)), (later, range(turn, days))):
            if most is not None:
                made.at_most(most, [(on[m], dose[m[1]]) for m in moves if m[0] in year])
    for holds, least in spaced:
        for d in by_day if least else ():
            window = [on[m] for m in moves if d <= m[0] < d + least and holds[m[1]]]
            made.at_most(1, times(1, window))
    runs = runs_of(made, problem, by_day, on)

    def used_up(d, o):
        """What can keep an option off a day: each of these is 1 only where a limit is reached."""
        gone = [m for m in moves if m[0] <= d and (m[0] < turn) is (d < turn) and m != (d, o)]
        reasons = [
            (most + 1e-6 - dose[o], [(on[m], dose[m[1]]) for m in gone if dose[m[1]] > 0])
            for holds, this, later, dose in limits
            for most in [this if d < turn else later]
            if holds[o] and most is not None
        ] + runs(d, o)
        names = []
        for n, (room, terms) in enumerate(reasons):
            made.add("off", d, o, n)
            # More than the room that is left is gone.
            made.at_most(0, [(("off", d, o, n), room + 1e-4), *((name, -f) for name, f in terms)])
            names.append(n)
        return names

    for t, threat in enumerate(threats):
        disease(made, problem, (t, threat), by_day, on)
    for (d, o), name in on.items():
        asked = [("called", t, d) for t in range(len(threats)) if problem.weight[t, o] > 0]
        made.at_most(0, [(name, 1), *times(-1, [a for a in asked if a in made.column])])
    kept_off = {(d, o): used_up(d, o) for d, o in moves}
    for d, at in by_day.items():
        asked = [("called", t, d) for t in range(len(threats)) if ("called", t, d) in made.column]
        made.at_most(0, [*times(1, [on[d, o] for o in at]), *times(-1, asked)])
        for _, t, _ in asked:
            acting = [o for o in at if problem.weight[t, o] > 0]
            serving = times(-1, [on[d, o] for o in acting])
            for o in acting:  # unless something keeps it off
                off = [("off", d, o, n) for n in kept_off[d, o]]
                for holds, least in spaced:
                    if holds[o] and least:
                        near = [m for m in moves if d - least < m[0] <= d and holds[m[1]]]
                        off += [on[m] for m in near]
                made.at_most(0, [(("called", t, d), 1), *serving, *times(-1, off)])
    found = made.best(seconds)
    plan = [] if found.x is None else [m for m in moves if found.x[made.column[on[m]]] > 0.5]
    return -found.fun if found.status == 0 else None, plan


def disease(made, problem, which, by_day, on):
    """Variables and rows of one disease: what protects, counts, covers and is called for."""
    t, threat = which
    days, worth = len(problem.dates), problem.weight[t]
    lasts = [threat.lasts(option) for option in problem.options]
    moves = [(d, o) for d, at in by_day.items() for o in at if worth[o] > 0 and threat.reaches[d]]
    for d, o in moves:
        made.add("protects", t, d, o)
    name = {move: ("protects", t, *move) for move in moves}
    for s, season in enumerate(threat.seasons):
        mine = [m for m in moves if season.counts[m[0]]]
        room = max(season.number - season.done, 0)
        made.at_most(room, times(1, [name[m] for m in mine]))
        for d in sorted({m[0] for m in mine} | {d for d in by_day if season.counts[d]}):
            made.add("full", t, s, d)
            gone = [name[m] for m in mine if m[0] < d]
            if room:
                made.at_most(0, [(("full", t, s, d), room), *times(-1, gone)])
    seasons = list(enumerate(threat.seasons))
    for d, o in moves:
        made.at_most(0, [(name[d, o], 1), (on[d, o], -1)])
        counting = [s for s, season in seasons if season.reaches[d] and season.counts[d]]
        free = any(season.reaches[d] and not season.counts[d] for _, season in seasons)
        others = [] if free else [name[d, b] for b in by_day[d] if b != o and (d, b) in name]
        full = [] if free else [("full", t, s, d) for s in counting]
        made.at_most(0, [(on[d, o], 1), *times(-1, [name[d, o], *full, *others])])
    for d in by_day:
        end = min(d + threat.running_out, days - 1)
        if threat.cover[end] > 0 and not (d == 0 and threat.is_due):
            continue
        over = [m for m in moves if m[0] < d and m[0] <= end < m[0] + lasts[m[1]]]
        asking = [(s, season) for s, season in seasons if season.first[d] or season.further[d]]
        if not asking:
            continue
        call = ("called", t, d)
        made.add(*call)
        for m in over:
            made.at_most(1, [(call, 1), (name[m], 1)])
        least = times(-1, [name[m] for m in over])
        for s, season in asking:
            room = max(season.number - season.done, 0)
            gone = [name[m] for m in moves if season.counts[m[0]] and m[0] < d]
            share = 1 / max(room, 1)
            full = [(("full", t, s, d), -1)] if season.counts[d] else []
            if len(asking) == 1:
                made.at_most(room, [(call, 1), *times(1, gone)])
            if not room:
                continue
            begun = bool(season.done)
            if season.further[d] and (season.first[d] or begun):
                made.at_most(-1, [(call, -1), *least, *full])
            elif season.first[d] and not begun:
                made.at_most(-1, [(call, -1), *least, *times(-1, gone)])
                if len(asking) == 1:
                    made.at_most(1, [(call, 1), *times(share, gone)])
            elif season.further[d]:
                made.at_most(0, [(call, -1), *least, *full, *times(share, gone)])
                if len(asking) == 1:
                    made.at_most(0, [(call, 1), *times(-1, gone)])
    steps = sorted({0.0, *worth[worth > 0].tolist()})
    for d in np.flatnonzero(threat.rate > 0).tolist():
        over = [m for m in moves if m[0] <= d < m[0] + lasts[m[1]]]
        for low, high in pairwise(steps):
            gain = max(0.0, high - max(low, float(threat.cover[d])))
            here = [name[m] for m in over if worth[m[1]] >= high - 1e-12]
            if gain > 0 and here:
                made.add("covers", t, d, high, gain=gain * float(threat.rate[d]), whole=0)
                made.at_most(0, [(("covers", t, d, high), 1), *times(-1, here)])


def runs_of(made, problem, by_day, on):
    """Rows of the end of a run, and what keeps an option off by it."""
    groups = {g for rule in problem.guidelines for g in rule.families}
    most, days = problem.caps.run, sorted(by_day)
    has = {g: [g in option.families for option in problem.options] for g in groups}
    for g in groups:
        run = 0
        for step in reversed(problem.done[0]):
            if g not in step.families:
                break
            run += 1
        last = None
        for d in days:
            made.add("run", g, d, whole=0, top=float(max(most, run)))
            mine = [on[d, o] for o in by_day[d] if has[g][o]]
            others = [on[d, o] for o in by_day[d] if not has[g][o]]
            held = [] if last is None else [(("run", g, last), 1)]
            begun = run if last is None else 0
            this = ("run", g, d)
            ended = times(-max(most, run), others)
            made.at_most(-begun, [*held, *times(1, mine), *ended, (this, -1)])
            made.at_most(begun, [(this, 1), *times(-1, mine), *((n, -f) for n, f in held)])
            made.at_most(max(most, run), [(this, 1), *times(max(most, run), others)])
            if mine:
                made.at_most(max(most, run), [(this, 1), *times(max(0, run - most), mine)])
            last = d

    def off(d, o):
        at = days.index(d)
        if not at:
            return []
        return [(most - 0.5, [(("run", g, days[at - 1]), 1)]) for g in groups if has[g][o]]

    return off
