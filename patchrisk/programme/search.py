"""Plans grown application by application: a beam search (Lowerre 1976) over the days.

Of all beginnings that end on a day the best few are kept for every number of applications, those
that have used up the same of every number once. Best is by what they cover, and by what each
disease for itself still hopes for with what is left of its number. A day's cover is that of the
best application still at work on it.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, fields, replace

import numpy as np
import numpy.typing as npt

from patchrisk.arrays import BoolArray, FloatArray
from patchrisk.programme.problem import Plan, Problem, helpful_days, step_of, weights
from patchrisk.programme.rotation import PHENYLAMIDE, Limit, Step, limits, totals
from patchrisk.programme.yearly import ROUNDING

Ints = npt.NDArray[np.intp]
Bits = npt.NDArray[np.uint64]

MOST_APPLICATIONS = 12
_MANY = 160  # looked at for each day and number of applications
_BEST = 32  # beginnings kept for each day and number of applications
_DIGITS = 9  # what differs by less is equal, so that every computer finds the same
_WORD = 64
_ONE = np.uint64(1)


@dataclass(frozen=True)
class _Order:
    """Guidelines on neighbours as bits: one for each test of a limit, by word and option.

    A state has the bits of the tests that a row ending in the last application has passed (the
    shift-and algorithm of exact matching, Baeza-Yates & Gonnet 1992, Commun. ACM 35(10):74-82).
    """

    begin: Bits
    end: Bits
    passed: Bits  # (options, words)
    start: Bits

    @classmethod
    def of(cls, known: Sequence[Limit], done: Sequence[Step], steps: Sequence[Step]) -> "_Order":
        places, used = [], [0]
        for limit in known:
            if used[-1] + len(limit.tests) > _WORD:
                used.append(0)
            places.append((len(used) - 1, used[-1]))
            used[-1] += len(limit.tests)
        begin, end = np.zeros((2, len(used)), dtype=np.uint64)
        passed = np.zeros((len(done) + len(steps), len(used)), dtype=np.uint64)
        for limit, (word, first) in zip(known, places, strict=True):
            begin[word] |= _ONE << np.uint64(first)
            end[word] |= _ONE << np.uint64(first + len(limit.tests) - 1)
            for n, (test, wanted) in enumerate(limit.tests, first):
                holds = np.array([test(s) is wanted for s in (*done, *steps)], dtype=np.uint64)
                passed[:, word] |= holds << np.uint64(n)
        state = np.zeros(len(used), dtype=np.uint64)
        for row in passed[: len(done)]:
            state = (state << _ONE | begin) & row & ~end
        return cls(begin, end, passed[len(done) :], state)

    def after(self, state: Bits, option: Ints) -> tuple[Bits, BoolArray]:
        """Return the state after an option, and whether that keeps every limit; any shape."""
        on = (state << _ONE | self.begin) & self.passed[option]
        return on & ~self.end, np.asarray(~(on & self.end).any(axis=-1))


@dataclass
class _Begun:
    """Beginnings of plans, a row each.

    Parameters
    ----------
    day : ndarray of int, shape (rows,)
        Of the last application; 0 before any.
    value : ndarray of float, shape (rows,)
    move : ndarray of int, shape (rows,)
        The last application; -1 before any.
    before : ndarray of int, shape (rows,)
        Row of that to which it adds.
    used : ndarray of float, shape (rows, numbers)
    state : ndarray of uint64, shape (rows, words)
    counted : ndarray of int, shape (rows, threats)
        How many count against each number.
    last : ndarray of float, shape (rows, options)
        Day on which each option went on last.
    gains : ndarray of float, shape (rows, threats, places)
        What the applications that count against a number bring; infinite where there is none.
    cover : ndarray of float, shape (rows, threats, days)
        From the day on, as long as any application lasts.
    """

    day: Ints
    value: FloatArray
    move: Ints
    before: Ints
    used: FloatArray
    state: Bits
    counted: Ints
    last: FloatArray
    gains: FloatArray
    cover: FloatArray

    def rows(self, which: Ints) -> "_Begun":
        """Return some of the rows, as copies."""
        return _Begun(*(getattr(self, f.name)[which] for f in fields(self)))

    def and_more(self, more: "_Begun") -> "_Begun":
        """Return these and more."""
        both = ((getattr(self, f.name), getattr(more, f.name)) for f in fields(self))
        return _Begun(*map(np.concatenate, both))


class _Search:
    def __init__(self, problem: Problem, days: Ints) -> None:
        self.problem = problem
        options, threats = problem.options, problem.threats
        at, self.option = np.nonzero(helpful_days(problem)[days])
        self.day = days[at]
        self.weight = np.array([weights(problem, t)[self.day, self.option] for t in threats])
        self._spare()
        lasts = np.array([[t.lasts(o) for o in options] for t in threats])
        self.until = np.minimum(self.day + lasts[:, self.option], len(problem.dates))
        self.long = int(lasts.max())
        beyond = ((0, 0), (0, self.long))
        self.rate = np.pad(np.nan_to_num([t.rate * t.weight for t in threats]), beyond)
        self.kept = np.pad(np.array([t.kept for t in threats]), beyond)
        levels = [np.unique(weight[weight > 0]) for weight in self.weight]
        self.far = {
            (n, level): np.r_[0.0, np.cumsum(self.rate[n] * np.clip(level - self.kept[n], 0, None))]
            for n in range(len(threats))
            for level in levels[n]
        }
        self.hope = self._hopes()
        # Which options each one holds: itself, and in a mixture its parts.
        self.holds = np.array(
            [
                [n == o or n in option.parts for n in range(len(options))]
                for o, option in enumerate(options)
            ]
        )
        self.number, self.most = self._numbers()
        self.cost = np.array([problem.cost * options[o].products for o in self.option])
        self.least = np.array([o.least_days or 0 for o in options])
        length = len(problem.done) + int(min(problem.most_in_all, MOST_APPLICATIONS))
        moves = zip(self.day.tolist(), self.option.tolist(), strict=True)
        made = [replace(step_of(problem, move), day=None) for move in moves]
        steps = list(dict.fromkeys(made))
        places = {step: n for n, step in enumerate(steps)}
        self.step = np.array([places[step] for step in made], dtype=np.intp)
        known = limits(problem.guidelines, problem.caps, length)
        # One whose last test nothing at hand passes is never broken.
        known = [one for one in known if any(map(one.tests[-1][0], steps))]
        self.order = _Order.of(known, problem.done, steps)
        on = any(g.key == "phenylamide-limits" for g in problem.guidelines)
        self.phenylamide = np.array([on and PHENYLAMIDE in o.step.families for o in options])
        rng = np.random.default_rng(1)  # names for what is used up: any will do
        self.names = (
            rng.integers(1, 2**40, len(self.most) + self.order.begin.size + len(threats) + 1) | 1
        )

    def _spare(self) -> None:
        """Let each move also not count in one of the numbers, which a better one may need."""
        threats = self.problem.threats
        self.counts = np.array([t.most is not None for t in threats])[:, None] & (self.weight > 0)
        moves = [np.arange(len(self.day))]
        weight = [self.weight]
        for n in range(len(threats)):
            serves = (self.weight > 0).sum(axis=0) > 1
            mine = np.flatnonzero(self.counts[n] & serves)
            moves.append(mine)
            weight.append(np.where(np.arange(len(threats))[:, None] == n, 0, self.weight[:, mine]))
        order = np.argsort(np.concatenate(moves), kind="stable")
        which = np.concatenate(moves)[order]
        self.day, self.option = self.day[which], self.option[which]
        self.weight = np.concatenate(weight, axis=1)[:, order]
        self.counts = self.counts[:, which] & (self.weight > 0)

    def _hopes(self) -> FloatArray:
        """Work out the most still to be covered from a day on, (threats, days, numbers left).

        By each disease for itself, with as many applications of the best option.
        """
        threats, days = self.problem.threats, len(self.problem.dates)
        places = max((t.most or 0 for t in threats), default=0)
        out = np.zeros((len(threats), days + self.long + 1, places + 2))
        for n, threat in enumerate(threats):
            best = self.weight[n].max(initial=0.0)
            new = self.rate[n] * np.clip(best - self.kept[n], 0, None)
            total = np.r_[0.0, np.cumsum(new)]
            for day in range(days - 1, -1, -1):
                window = total[min(day + threat.cover_days, days)] - total[day]
                one = window + out[n, min(day + threat.cover_days, days), :-1]
                out[n, day, 1:] = np.maximum(out[n, day + 1, 1:], one)
            out[n, :, -1] = total[-1] - total[: days + self.long + 1]
        return out

    def _numbers(self) -> tuple[FloatArray, FloatArray]:
        """Return what each move takes of every number, (numbers, moves), and the most of each."""
        problem = self.problem
        turn = len(problem.dates) if problem.turn is None else problem.turn
        this, later = (self.day < turn).astype(float), (self.day >= turn).astype(float)
        rows = [this + later, this, later]
        most: list[float] = [MOST_APPLICATIONS, problem.most, problem.most_after]
        for o, option in enumerate(problem.options):
            mine = self.holds[self.option, o]
            for number, year in ((option.most, this), (option.most_after, later)):
                if number is not None:
                    rows.append(mine * year)
                    most.append(number)
        for limit in problem.shared:
            dose = np.array(limit.doses)[self.option]
            rows += [dose * this, dose * later]
            most += [limit.left + ROUNDING, 1 + ROUNDING]
        length = len(problem.done) + int(min(problem.most_in_all, MOST_APPLICATIONS))
        for total in totals(problem.guidelines, problem.caps, length):
            holds = np.array([total.test(o.step) for o in problem.options], dtype=float)
            rows.append(holds[self.option])
            most.append(max(0, total.most - sum(map(total.test, problem.done))))
        return np.array(rows), np.array(most, dtype=float)

    def run(self) -> Iterator[Plan]:
        """Yield the plans of every beginning, by what they seem worth, best first."""
        begun = self._root()
        onward = self._onward(begun)
        for day in np.unique(self.day).tolist():
            made = self._made(day, begun, onward)
            if made is not None:
                begun = begun.and_more(made)
                onward = np.concatenate([onward, self._onward(made)])
        for row in np.argsort(-begun.value.round(_DIGITS), kind="stable").tolist():
            plan: list[tuple[int, int]] = []
            while (move := int(begun.move[row])) >= 0:
                plan.append((int(self.day[move]), int(self.option[move])))
                row = int(begun.before[row])
            yield tuple(plan[::-1])

    def _root(self) -> _Begun:
        problem = self.problem
        places = max((t.most or 0 for t in problem.threats), default=0)
        gains = np.full((1, len(problem.threats), max(1, places)), np.inf)
        for n, threat in enumerate(problem.threats):
            gains[0, n, : threat.most] = np.inf if threat.most is None else 0.0
        return _Begun(
            np.zeros(1, dtype=np.intp),
            np.zeros(1),
            np.full(1, -1),
            np.zeros(1, dtype=np.intp),
            np.zeros((1, len(self.most))),
            self.order.start[None],
            np.zeros((1, len(problem.threats)), dtype=np.intp),
            np.full((1, len(problem.options)), -np.inf),
            gains,
            self.kept[None, :, : self.long],
        )

    def _onward(self, begun: _Begun) -> FloatArray:
        """Return the value with each move added, (rows, moves); -inf where it may not be.

        All of the rows end on one day.
        """
        problem, day = self.problem, int(begun.day[0])
        root = begun.move[0] < 0
        first = int(np.searchsorted(self.day, day if root else day + max(1, problem.least_days)))
        out = np.full((len(begun.value), len(self.day)), -np.inf)
        some = slice(first, None)
        option = self.option[some]
        if not option.size:
            return out
        gain = np.repeat(-self.cost[None, some], len(begun.value), axis=0)
        for n in range(len(problem.threats)):
            gain += self._gain(begun, n, some)
        used = begun.used[:, None, :] + self.number.T[some]
        fits = (used <= self.most + 1e-9).all(axis=-1) & (gain > 0)
        free = (begun.last + self.least)[:, None, :]  # from this day on, by each label
        free = np.where(self.holds, free, -np.inf).max(axis=-1)
        fits &= self.day[some] >= free[:, option]
        fits &= self.order.after(begun.state[:, None, :], self.step[some])[1]
        if self.phenylamide.any():
            if root:
                done = problem.done[-1:]
                again = np.array([any(PHENYLAMIDE in s.families for s in done)])
                gap = self.day[some] + (problem.since or 0)
            else:
                again, gap = self.phenylamide[self.option[begun.move]], self.day[some] - day
            far = gap > problem.caps.phenylamide_days
            fits &= ~(again[:, None] & (self.phenylamide[option] & far))
        out[:, some] = np.where(fits, begun.value[:, None] + gain, -np.inf)
        return out

    def _gain(self, begun: _Begun, n: int, some: slice) -> FloatArray:
        """Pressure of a disease that each move brings under cover anew, (rows, moves)."""
        start, until = self.day[some], self.until[n, some]
        weight = self.weight[n, some]
        first = int(begun.day[0])
        end = first + self.long
        near = self.rate[n, first:end]
        out = np.zeros((len(begun.value), start.size))
        for level in np.unique(weight[weight > 0]):
            mine = np.flatnonzero(weight == level)
            # Up to each day: as long as anything lasts row by row, beyond it the same for all.
            close = np.zeros((len(out), self.long + 1))
            np.cumsum(near * np.clip(level - begun.cover[:, n], 0, None), axis=1, out=close[:, 1:])
            far = self.far[n, level]
            ends = []
            for day in (start[mine], until[mine]):
                beyond = far[np.maximum(day, end)] - far[end]
                ends.append(close[:, np.minimum(day - first, self.long)] + beyond)
            out[:, mine] = ends[1] - ends[0]
        if self.problem.threats[n].most is None:
            return out
        return np.asarray(np.clip(out - begun.gains[:, n].min(axis=1)[:, None], 0, None))

    def _made(self, day: int, begun: _Begun, onward: FloatArray) -> _Begun | None:
        """Return the best beginnings that end on a day; None without any."""
        mine = np.flatnonzero(self.day == day)
        before, which = np.nonzero(np.isfinite(onward[:, mine]))
        if not before.size:
            return None
        value, move = onward[:, mine][before, which], mine[which]
        count = begun.used[before, 0]
        counted = begun.counted[before] + self.counts[:, move].T
        hope = value + self._hoped(day, move, counted)
        order = np.lexsort((move, -hope.round(_DIGITS)))
        order = np.concatenate([order[count[order] == n][:_MANY] for n in np.unique(count)])
        before, value, move = before[order], value[order], move[order]
        option = self.option[move]
        used = begun.used[before] + self.number.T[move]
        state, _ = self.order.after(begun.state[before], self.step[move])
        marks = [np.rint(used * 1e6).astype(np.int64), state.view(np.int64), counted[order]]
        name = np.column_stack([*marks, option]) @ self.names
        first = np.sort(np.unique(name, return_index=True)[1])
        number = used[first, 0]
        some = np.concatenate([first[number == n][:_BEST] for n in np.unique(number)])
        return self._grown(day, begun, before[some], move[some], value[some])

    def _hoped(self, day: int, move: Ints, counted: Ints) -> FloatArray:
        """Return what is still hoped for after moves of a day, (moves,)."""
        out = np.zeros(len(move))
        for n, threat in enumerate(self.problem.threats):
            works = self.weight[n, move] > 0
            since = np.where(works, self.until[n, move], day + self.problem.least_days)
            left = -1 if threat.most is None else np.clip(threat.most - counted[:, n], 0, None)
            out += self.hope[n, np.minimum(since, self.hope.shape[1] - 1), left]
        return out

    def _grown(
        self, day: int, begun: _Begun, before: Ints, move: Ints, value: FloatArray
    ) -> _Begun:
        """Add a move to beginnings."""
        out = begun.rows(before)
        option, row = self.option[move], np.arange(len(move))
        days = np.arange(self.long)
        at = days + (day - out.day)[:, None]
        old = np.take_along_axis(out.cover, np.minimum(at, self.long - 1)[:, None, :], axis=2)
        kept = self.kept[:, day : day + self.long]
        out.cover = np.where((at < self.long)[:, None, :], old, kept)
        for n, threat in enumerate(self.problem.threats):
            on = days < (self.until[n, move] - day)[:, None]
            weight = np.where(on, self.weight[n, move][:, None], 0.0)
            new = np.maximum(out.cover[:, n], weight)
            if threat.most is not None:  # it counts in place of the one that brings the least
                gain = (new - out.cover[:, n]) @ self.rate[n, day : day + self.long]
                least = out.gains[:, n].argmin(axis=1)
                counts = gain > out.gains[row, n, least]
                out.gains[row[counts], n, least[counts]] = gain[counts]
                new = np.where(counts[:, None], new, out.cover[:, n])
            out.cover[:, n] = new
        out.state, _ = self.order.after(out.state, self.step[move])
        out.last[self.holds[option]] = day
        out.used += self.number.T[move]
        out.counted += self.counts[:, move].T
        out.before, out.move, out.value = before, move, value
        out.day = np.full(len(move), day)
        return out


def plans_on(problem: Problem, days: Ints) -> Iterator[Plan]:
    """Yield plans on some days, by what they seem worth, best first; the empty one among them.

    Parameters
    ----------
    problem : Problem
    days : ndarray of int
        Indices of the days that are looked at, in order.

    Yields
    ------
    Plan
        Numbers, intervals and guidelines on neighbours are kept. What only a whole plan shows is
        not looked at: shares of the whole, and an application that brings too little beside later
        ones.
    """
    return _Search(problem, days).run()
