"""When a rule's window opens along many soil traces: dates with odds."""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from patchrisk.arrays import BoolArray, DayArray, FloatArray, IntArray
from patchrisk.infection import Cardinal, relative_rate
from patchrisk.seasons import season_days
from patchrisk.windows import Rule, compared, is_open

NEVER = np.datetime64("9999-12-31")


@dataclass(frozen=True)
class SoilPaths:
    """Equally likely courses of an area's soil temperature at one depth.

    Parameters
    ----------
    dates : ndarray of datetime64[D], shape (days,)
        Consecutive days.
    today : int
        Index of the first day ahead; days before it are over.
    mean_c, max_c : ndarray of float, shape (days, paths)
        Daily mean and maximum [degC].
    traces : int
        How many years of weather the paths follow; years take turns among the paths.
    """

    dates: DayArray
    today: int
    mean_c: FloatArray
    max_c: FloatArray
    traces: int
    _rates: dict[Cardinal, FloatArray] = field(default_factory=dict, repr=False, compare=False)

    def rate(self, cardinal: Cardinal) -> FloatArray:
        """Relative rate of infection by the daily mean [1], (days, paths); reckoned once."""
        if cardinal not in self._rates:
            self._rates[cardinal] = relative_rate(self.mean_c, cardinal)
        return self._rates[cardinal]


@dataclass(frozen=True)
class RuleAhead:
    """What a rule's window does in the season at hand, or in the next.

    Dates and chances speak of weather and of the soil model's error, by this one rule.

    Parameters
    ----------
    member : str
        Key of the disease that the rule was published for.
    rule : Rule
    first, last : datetime64[D]
        The season, as far as it can be seen ahead.
    dates : ndarray of datetime64[D], shape (days,)
        Days from the season's start, or today if later, to ``last``.
    opened_by : ndarray of float, shape (days,)
        Probability that the window has opened in the season by the end of each day [1].
    early, middle, late : datetime64[D] or None
        Days by whose end the window has opened with 10, 50 and 90 % probability; None when not
        within the season.
    opened_before : float
        Probability that it had opened before today [1].
    open_today : float
        Probability that it is open at the end of the day before today [1].
    never : float
        Probability that it does not open in the season [1].
    again : float
        Probability that from today on it opens once more after closing, in the same season [1].
    closes : datetime64[D] or None
        Median day, from today on, on which it closes on the paths that are open until then; None
        when fewer than half of them close before the season's end, or none is open.
    normal : datetime64[D] or None
        Median opening in the past years, as a date of this season; None when it does not open
        in half of them, or when there is no past year.
    normal_never : float or None
        Share of past years in which it did not open [1].
    days_early : int or None
        Days that ``middle`` comes before ``normal`` [days]; negative when behind.
    traces : int
        Years of weather behind the odds.
    """

    member: str
    rule: Rule
    first: np.datetime64
    last: np.datetime64
    dates: DayArray
    opened_by: FloatArray
    early: np.datetime64 | None
    middle: np.datetime64 | None
    late: np.datetime64 | None
    opened_before: float
    open_today: float
    never: float
    again: float
    closes: np.datetime64 | None
    normal: np.datetime64 | None
    normal_never: float | None
    days_early: int | None
    traces: int


def rule_ahead(
    member: str,
    rule: Rule,
    paths: SoilPaths,
    past: SoilPaths | None,
    *,
    southern: bool,
    is_open_now: bool | None = None,
) -> RuleAhead | None:
    """Follow a rule along the paths through the season at hand, or the next one.

    Parameters
    ----------
    member : str
    rule : Rule
    paths : SoilPaths
        From before the season's start, where it has begun, to at least its first days.
    past : SoilPaths, optional
        The same days along past years, dated as this year's.
    southern : bool
        Whether the place lies south of the equator.
    is_open_now : bool, optional
        Whether the window is known to have opened before today; paths that say otherwise are
        left out, unless none agrees.

    Returns
    -------
    RuleAhead or None
        None when no day of a season can be seen ahead.
    """
    inside, label, _ = season_days(rule.season, paths.dates, southern=southern)
    coming = np.flatnonzero(inside[paths.today :])
    if not coming.size:
        return None
    season = label[paths.today + coming[0]]
    rows = np.flatnonzero(inside & (label == season))
    first, end = int(rows[0]), int(rows[-1]) + 1
    lead = max(0, first - rule.mean_days - 1)
    began = _openings(rule, paths, lead, first, end, southern)
    opening = began.first
    before = opening < paths.today
    if is_open_now is not None and (before == is_open_now).any():
        keep = before == is_open_now
        began = began.only(keep)
        opening = began.first
    day = np.arange(max(first, paths.today), end)
    opened_by = np.searchsorted(np.sort(opening), day, side="right") / len(opening)
    opened_by = np.asarray(opened_by, dtype=float)
    normal, normal_never = None, None
    if past is not None:
        then = _openings(rule, past, lead, first, end, southern).first
        normal_never = float(np.mean(then >= end))
        normal = _day(paths.dates, day_of_share(then, 0.5), end)
    middle = _day(paths.dates, day_of_share(opening, 0.5), end)
    closes = None
    living = began.closes[began.closes >= 0]  # a path that stays open has the season's end
    if living.size:
        closes = _day(paths.dates, day_of_share(living, 0.5), end)
    return RuleAhead(
        member,
        rule,
        paths.dates[first],
        paths.dates[end - 1],
        paths.dates[day],
        opened_by,
        _day(paths.dates, day_of_share(opening, 0.1), end),
        middle,
        _day(paths.dates, day_of_share(opening, 0.9), end),
        float(np.mean(opening < paths.today)),
        float(np.mean(began.open_today)),
        float(np.mean(opening >= end)),
        float(np.mean(began.again)),
        closes,
        normal,
        normal_never,
        None if middle is None or normal is None else int((normal - middle).astype(int)),
        paths.traces,
    )


@dataclass(frozen=True)
class _Openings:
    """Of each path: first opening, next closing, whether open today, whether it opens again.

    Indices of days; a first opening that never comes is late, a closing that can't is -1, and a
    path open to the season's end closes then.
    """

    first: IntArray
    closes: IntArray
    open_today: BoolArray
    again: BoolArray

    def only(self, keep: BoolArray) -> "_Openings":
        return _Openings(
            self.first[keep], self.closes[keep], self.open_today[keep], self.again[keep]
        )


def _openings(
    rule: Rule, paths: SoilPaths, lead: int, first: int, end: int, southern: bool
) -> _Openings:
    value = compared(rule, paths.mean_c[lead:end], paths.max_c[lead:end])
    open_ = is_open(rule, value, paths.dates[lead:end], southern=southern)
    open_[: first - lead] = False  # the tail of the season before
    before = np.vstack([np.zeros_like(open_[:1]), open_[:-1]])
    row = np.arange(lead, end)[:, None]
    ever = np.asarray(open_.any(axis=0))
    opening = np.where(ever, lead + open_.argmax(axis=0), len(paths.dates))
    shut = ~open_ & before & (row >= paths.today)
    closes = np.where(shut.any(axis=0), lead + shut.argmax(axis=0), end)
    is_still = open_[max(0, paths.today - lead) :].any(axis=0)
    turns = open_ & ~before & (row >= paths.today) & (row > opening)
    now = paths.today - 1 - lead
    today: BoolArray = np.zeros(open_.shape[1:], dtype=bool)
    if now >= 0:  # and the season is not over
        today = np.asarray(open_[now])
    return _Openings(
        opening, np.where(is_still | today, closes, -1), today, np.asarray(turns.any(0))
    )


def openings(rule: Rule, paths: SoilPaths, *, southern: bool) -> IntArray:
    """Index of the first day on which each path's window is open; their number when on none."""
    open_ = is_open(rule, compared(rule, paths.mean_c, paths.max_c), paths.dates, southern=southern)
    return np.where(open_.any(axis=0), open_.argmax(axis=0), len(paths.dates))


def day_of_share(days: IntArray, share: float) -> int:
    """First day by whose end at least the share of the paths have had theirs."""
    ranked = np.sort(days)
    return int(ranked[max(0, int(np.ceil(share * len(ranked))) - 1)])


def _day(dates: DayArray, index: int, end: int) -> np.datetime64 | None:
    return dates[index] if index < end else None


@dataclass(frozen=True)
class Dispute:
    """How far the rules of a disease lie apart, shown beside the weather and never added to it.

    Parameters
    ----------
    earliest, latest : RuleAhead
        The rules whose middle dates come first and last.
    days_apart : int or None
        Between the two middle dates [days]; None when a rule has none.
    never : int
        Rules that are more likely not to open in the season than to open.
    of : int
        Rules compared.
    """

    earliest: RuleAhead
    latest: RuleAhead
    days_apart: int | None
    never: int
    of: int


def disagreement(rules: Sequence[RuleAhead]) -> Dispute | None:
    """Lay rules of one disease side by side by their middle dates; None without a rule."""
    if not rules:
        return None
    ranked = sorted(rules, key=lambda r: NEVER if r.middle is None else r.middle)
    a, b = ranked[0].middle, ranked[-1].middle
    apart = None if a is None or b is None else int((b - a).astype(int))
    never = sum(r.middle is None for r in rules)
    return Dispute(ranked[0], ranked[-1], apart, never, len(rules))
