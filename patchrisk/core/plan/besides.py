"""Besides the sprayer: measures of soil and upkeep, and what untreated plots showed."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import stdtrit

from patchrisk.base.units import DAY

NOT_TO_DO = ("stand age", "organic matter")  # what a stand that is there has or has not
_CONFIDENCE = ("strong", "moderate", "weak", "expert opinion")


@dataclass(frozen=True)
class Factor:
    """What a source says of one thing about soil or upkeep.

    ``months`` are those of the north in which it has it done; ``above`` and ``below`` limits of a
    test past which it is worse, in the canonical unit.
    """

    factor: str
    effect: str
    text: str
    source: str
    confidence: str
    months: tuple[int, ...] = ()
    above: float | None = None
    below: float | None = None


@dataclass(frozen=True)
class Measure:
    """A measure of soil or upkeep to take on an area.

    Its source has it done next from ``first`` to ``last``; they are None where it names no season.
    ``found`` is the area's own test that speaks for it, past ``limit``, in one unit; ``differ``
    is whether another source saw nothing of it, or they part ways.
    """

    diseases: tuple[str, ...]
    finding: Factor
    first: np.datetime64 | None = None
    last: np.datetime64 | None = None
    found: float | None = None
    limit: float | None = None
    differ: bool = False


def upkeep(
    factors: Mapping[str, Sequence[Factor]],
    today: np.datetime64,
    *,
    tests: Mapping[str, tuple[float, float]],
    done: Mapping[str, Sequence[np.datetime64]],
    southern: bool,
    most: int,
    holds_days: int,
) -> tuple[Measure, ...]:
    """Choose the measures that matter most on an area, one of each factor, by day.

    First what the area's own tests speak for, then what no source disputes, what has a season, and
    what is surer. What the tests speak against is left out, and so is what was done within so
    many days.

    Parameters
    ----------
    factors : mapping of str to sequence of Factor
        By disease.
    today : datetime64[D]
    tests : mapping of str to tuple of float
        By factor, the least and the most that was found on the area, in the limit's unit.
    done : mapping of str to sequence of datetime64[D]
        By factor.
    southern : bool
        Whether seasons lie half a year later.
    most, holds_days : int
        Measures told, and for how long one that was done is not asked for again [days].
    """
    tasks: dict[Measure, list[str]] = {}
    for disease, some in factors.items():
        for factor in dict.fromkeys(one.factor for one in some):
            of_it = [one for one in some if one.factor == factor]
            task = _task(
                of_it, tests.get(factor), done.get(factor, ()), today, southern, holds_days * DAY
            )
            if task is not None:
                tasks.setdefault(task, []).append(disease)
    best: dict[str, Measure] = {}
    for task in sorted(tasks, key=_rank):
        best.setdefault(task.finding.factor, replace(task, diseases=tuple(tasks[task])))
    return tuple(
        sorted(list(best.values())[:most], key=lambda task: (task.first is None, str(task.first)))
    )


def _rank(task: Measure) -> tuple[bool, bool, bool, int, str]:
    sure = _CONFIDENCE.index(task.finding.confidence)
    return task.found is None, task.differ, task.first is None, sure, task.finding.text


def _task(
    some: Sequence[Factor],
    test: tuple[float, float] | None,
    done: Sequence[np.datetime64],
    today: np.datetime64,
    southern: bool,
    holds: np.timedelta64,
) -> Measure | None:
    """Return what to do about one factor of one disease; None where nothing is to be done."""
    of_use = [one for one in some if one.effect in ("better", "worse")]
    if not of_use or some[0].factor in NOT_TO_DO:
        return None
    crossed = [past for one in of_use if (past := _crossed(one, test)) is not None]
    limited = any(one.above is not None or one.below is not None for one in of_use)
    if test is not None and limited and not crossed:
        return None
    finding = min(of_use, key=lambda one: (
        not one.months, _crossed(one, test) is None, _CONFIDENCE.index(one.confidence)
    ))  # fmt: skip
    days = [day for day in done if day > today - holds]
    if days and not finding.months:
        return None
    begins = max(days) + holds if days else today
    first, last = _next(finding.months, begins, today, southern) or (None, None)
    found, limit = crossed[0] if crossed else (None, None)
    if found is None and first is None and finding.confidence in ("weak", "expert opinion"):
        return None  # worth saying of a disease, and nothing that this area calls for
    return Measure((), finding, first, last, found, limit, differ=len(of_use) < len(some))


def _crossed(finding: Factor, test: tuple[float, float] | None) -> tuple[float, float] | None:
    """Return the test that is past a finding's limit, and the limit; None where none is."""
    low, high = test or (np.nan, np.nan)
    if finding.above is not None and high > finding.above:
        return high, finding.above
    return (low, finding.below) if finding.below is not None and low < finding.below else None


def _next(
    months: Sequence[int], begins: np.datetime64, today: np.datetime64, southern: bool
) -> tuple[np.datetime64, np.datetime64] | None:
    """Return the next run of months, whole; from a day on where it is not to begin before."""
    if not months:
        return None
    month = np.timedelta64(1, "M")
    near = today.astype("datetime64[M]") + np.arange(-12, 36) * month
    on = np.isin((near.astype(int) + 6 * southern) % 12 + 1, months)
    first = near[on & ~np.roll(on, 1)].astype("datetime64[D]")
    after = (near + month)[on & ~np.roll(on, -1)].astype("datetime64[D]")
    after = after[after > first[0]]  # a run that began before the months in sight has no first
    first = first[: len(after)]
    n = int(np.argmax((after > today) & ((first >= begins) | (begins <= today))))
    return first[n], after[n] - DAY


@dataclass(frozen=True)
class Look:
    """A look at a disease: the untreated plot it was on, empty for the rest, and its share [%]."""

    day: np.datetime64
    disease: str
    plot: str
    share: float


@dataclass(frozen=True)
class PlotWorth:
    """What untreated plots showed more than the rest of an area, at its worst."""

    disease: str
    day: np.datetime64  # of the look at the rest
    plots: int
    plot_share: float  # share with the disease, on the mean of the plots and on the rest [%]
    rest_share: float
    confidence: float  # of the interval [1]
    # Interval of their difference, by the spread of the plots [%]; NaN with one plot, which tells
    # nothing of chance.
    low: float = float("nan")
    high: float = float("nan")


def plot_worth(looks: Sequence[Look], together_days: int, confidence: float) -> Iterator[PlotWorth]:
    """Compare untreated plots of an area with the rest in a season, disease by disease.

    Of each plot the look nearest to that at the rest is taken, so many days apart at the most; of
    several looks the one at which the plots were worst. The rest is one look and has no spread, so
    that the interval is by the plots alone (Student's t). A share that is not told, NaN, is passed
    over.
    """
    known = [look for look in looks if not np.isnan(look.share)]
    for disease in dict.fromkeys(look.disease for look in known):
        of_disease = [look for look in known if look.disease == disease]
        found = [
            one
            for rest in of_disease
            if not rest.plot
            for one in _beside(rest, of_disease, together_days, confidence)
        ]
        if found:
            yield max(found, key=lambda one: one.plot_share)


def _beside(
    rest: Look, looks: Sequence[Look], together_days: int, confidence: float
) -> Iterator[PlotWorth]:
    nearest: dict[str, Look] = {}
    for look in looks:
        apart = abs(int((look.day - rest.day).astype(int)))
        kept = nearest.get(look.plot)
        if look.plot and apart <= together_days:
            nearer = kept is None or apart < abs(int((kept.day - rest.day).astype(int)))
            nearest[look.plot] = look if nearer or kept is None else kept
    shares = np.array([look.share for look in nearest.values()])
    if not shares.size:
        return
    low = high = float("nan")
    if shares.size > 1:
        spread = float(shares.std(ddof=1)) / np.sqrt(shares.size)
        reach = float(stdtrit(shares.size - 1, (1 + confidence) / 2)) * spread
        gain = float(shares.mean()) - rest.share
        low, high = gain - reach, gain + reach
    yield PlotWorth(
        rest.disease, rest.day, shares.size, float(shares.mean()), rest.share, confidence, low, high
    )
