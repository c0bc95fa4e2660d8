"""What every rule says in every season of many sites at once.

Same answers as `patchrisk.windows.apply_rule`, in another way: a season's events instead of a
state for each day, by comparison of each day with each threshold once and bits from there on
(see `patchrisk.backtest.bits`). Days outside the record are missing days like any other.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from patchrisk.arrays import BoolArray, DayArray, FloatArray, IntArray
from patchrisk.backtest import bits
from patchrisk.backtest.bits import CHUNK, WORD, Bits
from patchrisk.backtest.dates import Calendar
from patchrisk.backtest.gaps import Gaps
from patchrisk.backtest.sums import REFERENCE_CM, Sums
from patchrisk.infection import Cardinal
from patchrisk.outlook import Settings
from patchrisk.windows import Edge, Rule, closing, compared, meeting, nearing, soil_depth_cm


@dataclass(frozen=True)
class Soil:
    """Daily soil temperature of some sites of one hemisphere, on common days.

    Parameters
    ----------
    dates : ndarray of datetime64[D], shape (days,)
        Consecutive days.
    mean_c, max_c : mapping of float to ndarray of float, shape (days, sites)
        Daily mean and maximum by depth [cm]; NaN where unknown.
    """

    dates: DayArray
    mean_c: Mapping[float, FloatArray]
    max_c: Mapping[float, FloatArray]


@dataclass(frozen=True)
class Seasons:
    """What one rule says in each season.

    Every array is (seasons, sites) unless said otherwise. A missing day is never met. Dates are
    NaT where the event did not come, or lies past the end of the record.

    Parameters
    ----------
    disease : str
        Key of the disease, or group of diseases, that the rule was published for.
    rule : Rule
    year : ndarray of int, shape (seasons,)
        Year in which the season began.
    start, end : ndarray of datetime64[D], shape (seasons,)
        First and last day of the season.
    known : ndarray of bool
        Whether the statistic is known on any day of the season.
    nearing, opened, closed : ndarray of datetime64[D]
        First day on which the window was nearing, before it opened; day on which it first
        opened; first day on which that window was open no more.
    days_open, times_opened : ndarray of int
        Over the whole season [days; 1].
    value_opened_c : ndarray of float
        The statistic when the window opened [degC].
    run_opened : ndarray of int
        Days in a row met when it opened; 0 when it did not [days].
    pressure_opened, pressure_season : ndarray of float
        Relative rate of infection at 5 cm summed up to the opening, and over the season [days at
        the optimum]; missing days add nothing. NaN without a response or without soil at 5 cm.
    degree_days_opened : ndarray of float
        Degree-days of the daily mean at the rule's depth above its threshold, from the first day
        of the season to the opening [degC d]; missing days add nothing.
    days_missing, days_unknown : ndarray of int
        Days of the season without the statistic; days on which the missing ones leave it in
        doubt whether the window is open [days].
    opened_earliest, opened_latest : ndarray of datetime64[D]
        First and last day on which the window can have first opened, whatever the missing days
        were like. NaT: it can't have opened; or it need not have.
    """

    disease: str
    rule: Rule
    year: IntArray
    start: DayArray
    end: DayArray
    known: BoolArray
    nearing: DayArray
    opened: DayArray
    closed: DayArray
    days_open: IntArray
    times_opened: IntArray
    value_opened_c: FloatArray
    run_opened: IntArray
    pressure_opened: FloatArray
    pressure_season: FloatArray
    degree_days_opened: FloatArray
    days_missing: IntArray
    days_unknown: IntArray
    opened_earliest: DayArray
    opened_latest: DayArray


def seasons_of(
    rules: Sequence[tuple[str, Rule]],
    soil: Soil,
    *,
    southern: bool,
    settings: Settings,
    responses: Mapping[str, Cardinal],
) -> list[Seasons]:
    """Apply rules to sites, season by season.

    Parameters
    ----------
    rules : sequence of (str, Rule)
        Each with the key of the disease that it was published for.
    soil : Soil
        With the daily mean at every depth that the rules ask for (`depths_of`) and at 5 cm,
        and the daily maximum at those of rules on it.
    southern : bool
        Whether the sites lie south of the equator.
    settings : Settings
    responses : mapping of str to Cardinal
        Response of infection to temperature of the diseases that have one.

    Returns
    -------
    list of Seasons
        In the order of ``rules``; every season that touches the days given.
    """
    calendar = Calendar.over([rule for _, rule in rules], soil.dates, southern)
    sums = Sums(soil.mean_c, calendar, responses)
    order: dict[tuple[float, str, int], list[int]] = {}
    for n, (_, rule) in enumerate(rules):
        order.setdefault((soil_depth_cm(rule.depth_cm), rule.statistic, rule.mean_days), []).append(
            n
        )
    out: dict[int, Seasons] = {}
    for (depth, _, _), members in sorted(order.items()):
        some = [rules[n][1] for n in members]
        value = compared(some[0], soil.mean_c[depth], soil.max_c.get(depth, soil.mean_c[depth]))
        series = _Series.of(value, some, calendar, settings)
        for n in members:
            out[n] = _apply(*rules[n], series, sums)
    return [out[n] for n in range(len(rules))]


def depths_of(rules: Sequence[Rule]) -> tuple[list[float], list[float]]:
    """Depths at which daily means, and daily maxima, are needed [cm]."""
    means = {REFERENCE_CM, *(soil_depth_cm(rule.depth_cm) for rule in rules)}
    maxima = {soil_depth_cm(rule.depth_cm) for rule in rules if rule.statistic == "daily maximum"}
    return sorted(means), sorted(maxima)


@dataclass(frozen=True)
class _Series:
    """One statistic at one depth, compared with everything that its rules ask."""

    value_c: FloatArray
    calendar: Calendar
    settings: Settings
    packed: Mapping[Edge, Bits]
    missing: Bits
    last_known: IntArray

    @classmethod
    def of(
        cls, value: FloatArray, rules: Sequence[Rule], calendar: Calendar, settings: Settings
    ) -> "_Series":
        margin = settings.nearing_c
        edges = {e for r in rules for e in (*meeting(r), *closing(r), *nearing(r, margin))}
        packed, known = _compare(value, sorted(edges), calendar)
        last = bits.last(known)
        inside = bits.first_days(calendar.stop - WORD * np.arange(calendar.words))
        missing = np.bitwise_and(np.invert(known, out=known), inside[:, None], out=known)
        return cls(value, calendar, settings, packed, missing, last)

    @cached_property
    def gaps(self) -> Gaps:
        """The missing days."""
        return Gaps.of(self.missing, self.value_c, self.calendar.lead, self.settings.max_change_c)

    def all_hold(self, edges: Sequence[Edge]) -> Bits:
        """Days on which every comparison holds."""
        out = self.packed[edges[0]]
        for edge in edges[1:]:
            out = out & self.packed[edge]
        return out

    def one_holds(self, edges: Sequence[Edge]) -> Bits:
        """Days on which at least one comparison holds."""
        out = np.zeros_like(self.missing)
        for edge in edges:
            out |= self.packed[edge]
        return out


def _compare(
    value: FloatArray, edges: Sequence[Edge], calendar: Calendar
) -> tuple[dict[Edge, Bits], Bits]:
    """Compare each day with each edge, and say which days are known; packed."""
    days, lanes = value.shape
    packed = np.zeros((len(edges) + 1, calendar.words, lanes), dtype=np.uint64)
    rows = max(1, CHUNK // (WORD * lanes)) * WORD
    flags = np.zeros((rows, -(-lanes // 8) * 8), dtype=bool)  # packed eight lanes at a time
    for top in range(0, days, rows):
        chunk = value[top : top + rows]
        word = (calendar.lead + top) // WORD
        words = -(-len(chunk) // WORD)
        flags[len(chunk) : WORD * words] = False
        some = flags[: WORD * words]
        for out, (operator, threshold) in zip(packed, edges, strict=False):
            compare = np.greater_equal if operator == ">=" else np.less_equal
            compare(chunk, threshold, out=some[: len(chunk), :lanes])
            out[word : word + words] = bits.pack(some)[:, :lanes]
        np.equal(chunk, chunk, out=some[: len(chunk), :lanes])
        packed[-1, word : word + words] = bits.pack(some)[:, :lanes]
    return dict(zip(edges, packed, strict=False)), packed[-1]


def _apply(disease: str, rule: Rule, series: _Series, sums: Sums) -> Seasons:
    calendar = series.calendar
    year, start, length, season = calendar.spans(rule)
    words = -(-int(length.max(initial=1)) // WORD)

    met = series.all_hold(meeting(rule))
    closes = series.one_holds(closing(rule))
    shut = bits.in_a_row(closes, rule.close_days)
    counted = met & season & ~shut
    near = series.all_hold(nearing(rule, series.settings.nearing_c)) & ~closes

    def seasonal(days: Bits) -> Bits:
        out = bits.cut(days, start, words)
        out &= within
        return out

    def windows(days: Bits, stops: Bits) -> Bits:
        return bits.latch(seasonal(bits.in_a_row(days, rule.days)), bits.cut(stops, start, words))

    at = WORD * np.arange(words)[:, None]
    within = bits.first_days(length - at)[..., None]
    open_ = windows(counted, shut) & within
    missing = seasonal(series.missing)
    days_missing = bits.count(missing)
    hopeful = doubtful = open_
    if series.gaps.any:
        # Of all the series that the gaps allow: one opens as soon and one closes as soon as any.
        hope, doubt = series.gaps.met(rule), series.gaps.closes(rule)
        hopeful = windows((met | hope) & season & ~shut, shut) & within
        shut_ = shut
        if doubt is not None:
            shut_ = bits.in_a_row(closes | doubt, rule.close_days)
        doubtful = windows(met & season & ~shut_, shut_) & within

    # The record ends on the last day that is known.
    reached = np.clip(series.last_known + 1 - start[:, None], 0, length[:, None])
    recorded = bits.first_days(reached - at[..., None])
    told = open_ & recorded
    opened = bits.first(told)
    ever = opened >= 0
    upto = bits.first_days(np.where(ever, opened + 1, reached) - at[..., None])
    shuts = bits.first(~open_ & recorded & ~upto)
    shuts = np.where(shuts < 0, np.where(reached == length[:, None], length[:, None], -1), shuts)
    turned_near = bits.first(seasonal(near) & ~open_ & upto & recorded)

    def day(offset: IntArray) -> IntArray:
        return np.where(offset >= 0, offset + start[:, None], -1)

    opened_on = day(opened)
    lane = np.arange(series.value_c.shape[1])
    value = series.value_c[np.maximum(opened_on - calendar.lead, 0), lane]
    pressure_opened = pressure_season = np.full(opened.shape, np.nan)
    pressure = sums.pressure(disease)
    if pressure is not None:
        before = pressure.upto(start[:, None] - 1)
        pressure_season = pressure.upto((start + length - 1)[:, None]) - before
        pressure_season = np.where(sums.no_pressure, np.nan, pressure_season)
        pressure_opened = np.where(
            ever & ~sums.no_pressure, pressure.upto(opened_on) - before, np.nan
        )
    warmth = sums.degree_days(rule)
    degree_days = warmth.upto(opened_on) - warmth.upto(start[:, None] - 1)
    return Seasons(
        disease=disease,
        rule=rule,
        year=year,
        start=calendar.date(start),
        end=calendar.date(start + length - 1),
        known=days_missing < length[:, None],
        nearing=calendar.date(day(turned_near)),
        opened=calendar.date(opened_on),
        closed=calendar.date(np.where(ever, day(shuts), -1)),
        days_open=bits.count(told),
        times_opened=bits.count(told & ~bits.later(open_, 1)),
        value_opened_c=np.where(ever, value, np.nan),
        run_opened=_run(counted, opened_on, rule.days),
        pressure_opened=pressure_opened,
        pressure_season=pressure_season,
        degree_days_opened=np.where(ever, degree_days, np.nan),
        days_missing=days_missing,
        days_unknown=bits.count(hopeful ^ doubtful),
        opened_earliest=calendar.date(day(bits.first(hopeful))),
        opened_latest=calendar.date(day(bits.first(doubtful))),
    )


def _run(counted: Bits, opened: IntArray, days: int) -> IntArray:
    """Days in a row met that end on the opening; 0 where there is none."""
    run = np.where(opened >= 0, days, 0)
    season, lane = np.nonzero(opened >= days)
    while season.size:  # longer only where one season follows on another
        back = opened[season, lane] - run[season, lane]
        go_on = back >= 0
        word, bit = np.divmod(np.maximum(back, 0), WORD)
        go_on &= (counted[word, lane] >> bit.astype(np.uint64)) & np.uint64(1) != 0
        season, lane = season[go_on], lane[go_on]
        run[season, lane] += 1
    return run
