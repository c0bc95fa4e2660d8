"""The schedule as a mixed-integer programme, solved by HiGHS.

Binaries say which option goes on which day. A day's cover is that of the best application still
at work on it: by each class of evidence a layer, covered or not, whose weight is what it adds to
the one below.
"""

import os
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from patchrisk.programme.problem import Problem, Solution, Threat, value_of, weights
from patchrisk.programme.rotation import Limit, totals
from patchrisk.programme.yearly import ROUNDING
from patchrisk.units import FloatArray

# Branches of a search after which the best so far is taken; most end at the first. A count and
# not a time, so that the same morning gets the same plan on any computer.
_NODES = 200
_GAP = 1e-3  # relative gap at which HiGHS may stop
_LATER = 1e-5  # what a day later costs, beside the whole pressure: ties go to the earliest day


@dataclass(frozen=True)
class Moves:
    """The binaries: day and option of each column, and which application of a pinned plan."""

    day: npt.NDArray[np.intp]
    option: npt.NDArray[np.intp]
    slot: npt.NDArray[np.intp]


def solve(
    problem: Problem,
    moves: Moves,
    most: int,
    kept: Sequence[Limit],
    *,
    pinned: bool,
) -> Solution:
    """Solve for some days and options.

    Parameters
    ----------
    problem : Problem
    moves : Moves
        What may go on when.
    most : int
        Applications.
    kept : sequence of Limit
        Guidelines on neighbours to keep; those on totals always are.
    pinned : bool
        Whether each of ``most`` applications is made, on one of its own moves.
    """
    from scipy.optimize import Bounds, LinearConstraint, milp
    from scipy.sparse import csr_array

    count = len(moves.day)
    if not count:
        return Solution((), 0.0, True)
    rows = _Rows()
    rows.add(np.arange(count), 1.0, float(most))
    if problem.turn is not None:
        rows.add(np.flatnonzero(moves.day < problem.turn), 1.0, float(problem.most))
        rows.add(np.flatnonzero(moves.day >= problem.turn), 1.0, float(problem.most_after))
    gain = np.full(count, -float(problem.cost))
    whole = sum(float(t.weight * np.nansum(t.rate)) for t in problem.threats)
    gain -= _LATER * max(whole, 1.0) * (moves.day + moves.option / (1 + len(problem.options)))
    gains = [gain]

    def width() -> int:
        return sum(map(len, gains))

    _intervals(problem, moves, rows)
    _labels(problem, moves, rows)
    _totals(problem, moves, len(problem.done) + most, rows)
    if pinned:
        _sequence(problem, moves, most, kept, rows)
    else:
        gains.append(_neighbours(problem, moves, kept, rows, width()))
    counted: list[tuple[npt.NDArray[np.intp], npt.NDArray[np.intp]]] = []
    free = np.zeros(count, dtype=bool)  # moves that help against something without a number
    for threat in problem.threats:
        weight = weights(problem, threat)[moves.day, moves.option]
        lasts = np.array([threat.lasts(option) for option in problem.options])[moves.option]
        gains.append(_cover(threat, weight, lasts, moves, rows, width(), counted))
        if threat.most is None:
            free |= weight > 0
    for day in np.unique(moves.day[~free]):
        # Every other application counts in some number: none is made just to part two others.
        mine = np.flatnonzero(~free & (moves.day == day))
        told = np.concatenate([columns[at == day] for at, columns in counted])
        rows.add(np.r_[mine, told], np.r_[np.ones(mine.size), -np.ones(told.size)], 0.0)
    matrix = csr_array(
        (np.concatenate(rows.value), (np.concatenate(rows.row), np.concatenate(rows.column))),
        shape=(len(rows.most), width()),
    )
    with _quiet():
        made = milp(
            -np.concatenate(gains),
            integrality=np.r_[np.ones(count), np.zeros(width() - count)],
            bounds=Bounds(0, 1),
            constraints=LinearConstraint(matrix, -np.inf, np.array(rows.most)),
            options={"node_limit": _NODES, "mip_rel_gap": _GAP},
        )
    if made.x is None:
        return Solution((), 0.0, False)
    chosen = np.flatnonzero(made.x[:count] > 0.5)
    plan = tuple(sorted((int(moves.day[k]), int(moves.option[k])) for k in chosen))
    return Solution(plan, value_of(problem, plan), made.status == 0)


@contextmanager
def _quiet() -> Iterator[None]:
    """Keep HiGHS from writing to standard output, as on some problems it does when told not to.

    What it writes would stand in the midst of JSON.
    """
    try:
        kept = os.dup(1)
    except OSError:  # there is none
        yield
        return
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, 1)
    try:
        yield
    finally:
        os.dup2(kept, 1)
        os.close(kept)
        os.close(nowhere)


class _Rows:
    """Rows of a sparse constraint matrix: sum of coefficient times column, at most a bound."""

    def __init__(self) -> None:
        self.row: list[npt.NDArray[np.intp]] = []
        self.column: list[npt.NDArray[np.intp]] = []
        self.value: list[FloatArray] = []
        self.most: list[float] = []

    def add(self, columns: npt.ArrayLike, values: npt.ArrayLike, most: float) -> None:
        column = np.asarray(columns, dtype=np.intp)
        self.row.append(np.full(column.shape, len(self.most), dtype=np.intp))
        self.column.append(column)
        self.value.append(np.broadcast_to(np.asarray(values, dtype=np.float64), column.shape))
        self.most.append(most)


def _intervals(problem: Problem, moves: Moves, rows: _Rows) -> None:
    """No two sooner than the least interval."""
    for day in np.unique(moves.day):
        soon = (moves.day >= day) & (moves.day < day + max(1, problem.least_days))
        rows.add(np.flatnonzero(soon), 1.0, 1.0)


def _labels(problem: Problem, moves: Moves, rows: _Rows) -> None:
    for o, option in enumerate(problem.options):
        mine = np.flatnonzero(moves.option == o)
        later = (
            np.zeros(mine.size, bool) if problem.turn is None else moves.day[mine] >= problem.turn
        )
        if option.most is not None:
            rows.add(mine[~later], 1.0, float(option.most))
        if option.most_after is not None:
            rows.add(mine[later], 1.0, float(option.most_after))
        if option.least_days is not None and option.least_days > problem.least_days:
            for day in np.unique(moves.day[mine]):
                soon = (moves.day[mine] >= day) & (moves.day[mine] < day + option.least_days)
                rows.add(mine[soon], 1.0, 1.0)

    for limit in problem.shared:
        dose = np.array(limit.doses)[moves.option]
        later = moves.day >= (np.inf if problem.turn is None else problem.turn)
        for year, left in ((~later, limit.left), (later, 1.0)):
            at = np.flatnonzero(year & (dose > 0))
            rows.add(at, dose[at], left + ROUNDING)


def _totals(problem: Problem, moves: Moves, length: int, rows: _Rows) -> None:
    steps = [option.step for option in problem.options]
    for total in totals(problem.guidelines, problem.caps, length):
        used = sum(total.test(step) for step in problem.done)
        holds = np.array([total.test(step) for step in steps])
        mine = np.flatnonzero(holds[moves.option])
        if mine.size:
            rows.add(mine, 1.0, float(max(0, total.most - used)))


def _sequence(
    problem: Problem, moves: Moves, slots: int, kept: Sequence[Limit], rows: _Rows
) -> None:
    """Keep guidelines where the order is known: every place is used, each by one of its moves."""
    done, steps = problem.done, [option.step for option in problem.options]
    for n in range(slots):
        mine = np.flatnonzero(moves.slot == n)
        rows.add(mine, 1.0, 1.0)
        rows.add(mine, -1.0, -1.0)
    for limit in kept:
        size, history = len(limit.tests), len(done)
        for first in range(max(0, history - size + 1), history + slots - size + 1):
            most, parts = limit.most, []
            for place, (test, wanted) in enumerate(limit.tests, first):
                if place < history:
                    most -= int(test(done[place]) is wanted)
                    continue
                holds = np.array([test(step) is wanted for step in steps])
                parts.append(np.flatnonzero((moves.slot == place - history) & holds[moves.option]))
            if len(parts) > most:
                rows.add(np.concatenate(parts), 1.0, float(max(most, 0)))


def _neighbours(
    problem: Problem, moves: Moves, kept: Sequence[Limit], rows: _Rows, start: int
) -> FloatArray:
    """Keep guidelines on applications that follow each other.

    For each test a column per day and place back says whether the last application before the
    day, the one before it, and so on passed; each application moves them on by one place.
    """
    days = np.unique(moves.day)
    steps = [option.step for option in problem.options]
    on = [np.flatnonzero(moves.day == day) for day in days]
    used = 0
    for limit in kept:
        size = len(limit.tests) - 1
        now = np.array([limit.tests[-1][0](step) for step in steps], dtype=bool)
        if not now.any():
            continue
        passed = np.array([limit.tests[0][0](step) for step in steps], dtype=bool)
        # Column of the state before each day, by places back: 0 is the last application.
        state = start + used + np.arange(days.size * size).reshape(days.size, size)
        used += state.size
        past = [limit.tests[0][0](step) for step in problem.done[::-1]]
        for back in range(size):
            known = float(back < len(past) and past[back])
            rows.add([state[0, back]], [1.0], known)
            rows.add([state[0, back]], [-1.0], -known)
        for k, mine in enumerate(on):
            does = mine[passed[moves.option[mine]]]
            counts = mine[now[moves.option[mine]]]
            if counts.size:
                signs = [1.0 if wanted else -1.0 for _, wanted in limit.tests[:-1]]
                free = sum(not wanted for _, wanted in limit.tests)
                columns = np.r_[counts, state[k, ::-1]]
                values = np.r_[np.ones(counts.size), signs]
                rows.add(columns, values, float(limit.most - free))
            if k + 1 == days.size:
                continue
            ones = np.ones(mine.size)
            for back in range(size):
                after, same = state[k + 1, back], state[k, back]
                if size == 1:  # all that matters is that the state is not told too low
                    rest = np.setdiff1d(mine, does)
                    rows.add(np.r_[same, after, rest], np.r_[1.0, -np.ones(1 + rest.size)], 0.0)
                    rows.add(np.r_[does, after], np.r_[np.ones(does.size), -1.0], 0.0)
                    continue
                # Without an application on the day the state stays.
                rows.add(np.r_[after, same, mine], np.r_[1.0, -1.0, -ones], 0.0)
                rows.add(np.r_[same, after, mine], np.r_[1.0, -1.0, -ones], 0.0)
                if back == 0:  # with one, it is whether that one passes
                    rest = np.setdiff1d(mine, does)
                    rows.add(np.r_[does, after], np.r_[np.ones(does.size), -1.0], 0.0)
                    rows.add(np.r_[after, rest], np.ones(rest.size + 1), 1.0)
                else:  # and the places further back move up
                    older = state[k, back - 1]
                    rows.add(np.r_[after, older, mine], np.r_[1.0, -1.0, ones], 1.0)
                    rows.add(np.r_[older, after, mine], np.r_[1.0, -1.0, ones], 1.0)
    return np.zeros(used)


def _cover(
    threat: Threat,
    weight: FloatArray,
    lasts: npt.NDArray[np.intp],
    moves: Moves,
    rows: _Rows,
    start: int,
    counted: list[tuple[npt.NDArray[np.intp], npt.NDArray[np.intp]]],
) -> FloatArray:
    """Add a disease's layers of cover; return what their columns gain.

    With a limit of ``most`` applications, what counts is a part of what is applied: its days and
    columns are added to ``counted``.
    """
    levels = np.unique(weight[weight > 0])
    there: npt.NDArray[np.intp] = np.flatnonzero(threat.rate > 0)
    limited = threat.most is not None
    gains: list[FloatArray] = []
    used = 0
    below = 0.0
    lower: dict[tuple[int, int], int] | None = None
    for level in levels:
        mine = np.flatnonzero(weight >= level)
        gain = threat.rate[there] * np.clip(level - np.maximum(below, threat.kept[there]), 0, None)
        day, length, columns = moves.day[mine], lasts[mine], mine
        if limited:
            at, which = np.unique(np.stack([day, length]), axis=1, return_inverse=True)
            columns = start + used + np.arange(at.shape[1])
            for k, column in enumerate(columns):
                alike = mine[which.ravel() == k]
                rows.add(np.r_[column, alike], np.r_[1.0, -np.ones(alike.size)], 0.0)
            day, length = at
            pairs = list(zip(day.tolist(), length.tolist(), strict=True))
            if lower is None:
                rows.add(columns, 1.0, float(threat.most or 0))
                counted.append((day, columns))
            else:  # what counts at this level counts at the one below
                for pair, column in zip(pairs, columns, strict=True):
                    rows.add(np.array([column, lower[pair]]), [1.0, -1.0], 0.0)
            lower = dict(zip(pairs, columns.tolist(), strict=True))
            gains.append(np.zeros(columns.size))
            used += columns.size
        # Days covered by the same applications are one: fewer rows, the same optimum.
        pays = there[gain > 0]
        value = threat.weight * gain[gain > 0]
        order = np.lexsort((day, length))
        groups = np.flatnonzero(np.r_[True, np.diff(length[order]) > 0])
        ends = []  # by length of cover, where those begin and end that are at work on the day
        for begin, part in zip(groups, np.split(day[order], groups[1:]), strict=True):
            since = pays - length[order[begin]] + 1
            ends.append(begin + np.searchsorted(part, since, side="left"))
            ends.append(begin + np.searchsorted(part, pays, side="right"))
        windows, which = np.unique(np.stack(ends), axis=1, return_inverse=True)
        value = np.bincount(which.ravel(), weights=value, minlength=windows.shape[1])
        keep = (windows[1::2] > windows[::2]).any(axis=0)
        for window, v in zip(windows.T[keep], value[keep], strict=True):
            spans = zip(window[::2], window[1::2], strict=True)
            work = np.concatenate([order[a:b] for a, b in spans])
            rows.add(np.r_[start + used, columns[work]], np.r_[1.0, -np.ones(work.size)], 0.0)
            gains.append(np.array([v]))
            used += 1
        below = float(level)
    return np.concatenate(gains) if gains else np.zeros(0)
