"""What every rule says in every season of many sites at once.

Same answers as `patchrisk.core.rules.windows.apply_rule`, in another way: a season's events instead
of a state for each day, by comparison of each day with each threshold once and bits from there on
(see `patchrisk.core.skill.day_bits`). Days outside the record are missing days like any other.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from patchrisk.base.units import BoolArray, DayArray, FloatArray, IntArray
from patchrisk.core.rules.infection import Cardinal
from patchrisk.core.rules.states import Settings
from patchrisk.core.rules.windows import (
    REFERENCE_CM,
    Rule,
    nearing,
    soil_depth_cm,
)
from patchrisk.core.skill import day_bits
from patchrisk.core.skill.day_bits import WORD, Bits
from patchrisk.core.skill.rule_series import RuleSeasons, RuleSeries, Soil, series_of
from patchrisk.core.skill.season_days import Calendar
from patchrisk.core.skill.totals import RunningTotals

DATINGS = (
    "not spanned",
    "none",
    "dated",
    "likely",
    "by first day",
    "between",
    "by latest",
    "from earliest",
    "unknown",
)
"""What is known of an opening; `patchrisk.study.tables.SEASON_COLUMNS` says what each means."""


@dataclass(frozen=True)
class Seasons:
    """What one rule says in each season.

    Arrays are (seasons, sites), but (seasons,) of ``year``, in which the season began, and of
    ``first`` and ``last``, its days. Every other array is what the column of its name in
    `patchrisk.study.tables.SEASON_COLUMNS` says: a datetime64[D], degC, days or days at the
    optimum. A missing day is never met. Dates are NaT where the event did not come, or lies past
    the end of the record; pressure is NaN without a response or without soil at 5 cm. ``dating``
    is the place of a word in `DATINGS`. ``known``
    says whether the statistic is known on any day of the season; ``disease`` is the key of the
    disease, or group of diseases, that the rule was published for.
    """

    disease: str
    rule: Rule
    year: IntArray
    first: DayArray
    last: DayArray
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
    likely_from: DayArray
    likely_to: DayArray
    dating: IntArray
    opened_p10: DayArray
    opened_p50: DayArray
    opened_p90: DayArray
    opened_share: FloatArray


def seasons_of(
    rules: Sequence[tuple[str, Rule]],
    soil: Soil,
    *,
    southern: bool,
    settings: Settings,
    responses: Mapping[str, Cardinal],
    line_days: int = 0,
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
    line_days : int
        The longest gap through which a straight line is likely [days]; of the bounds alone.

    Returns
    -------
    list of Seasons
        In the order of ``rules``; every season that touches the days given.
    """
    calendar = Calendar.over([rule for _, rule in rules], soil.dates, southern)
    sums = RunningTotals(soil.mean_c, calendar, responses)
    out: dict[int, Seasons] = {}
    for members, series in series_of(rules, soil, calendar, settings, line_days):
        for n in members:
            out[n] = _apply(*rules[n], series, sums)
    return [out[n] for n in range(len(rules))]


def opening_days(
    rules: Sequence[tuple[str, Rule]], soil: Soil, *, southern: bool, settings: Settings
) -> list[DayArray]:
    """Return the ``opened`` of `seasons_of` alone, (seasons, sites) of each rule, sooner."""
    calendar = Calendar.over([rule for _, rule in rules], soil.dates, southern)
    out: dict[int, DayArray] = {}
    for members, series in series_of(rules, soil, calendar, settings, 0, near=False):
        for n in members:
            season = RuleSeasons.of(rules[n][1], series)
            opened = day_bits.first(season.windows() & season.recorded)
            out[n] = calendar.date(np.where(opened >= 0, opened + season.start[:, None], -1))
    return [out[n] for n in range(len(rules))]


def depths_of(rules: Sequence[Rule]) -> tuple[list[float], list[float]]:
    """Depths at which daily means, and daily maxima, are needed [cm]."""
    means = {REFERENCE_CM, *(soil_depth_cm(rule.depth_cm) for rule in rules)}
    maxima = {soil_depth_cm(rule.depth_cm) for rule in rules if rule.statistic.of_maximum}
    return sorted(means), sorted(maxima)


def _apply(disease: str, rule: Rule, series: RuleSeries, sums: RunningTotals) -> Seasons:
    calendar, cut = series.calendar, RuleSeasons.of(rule, series)
    year, start, length, at = cut.year, cut.start, cut.length, cut.at
    counted = cut.met & cut.season & ~cut.shut()
    near = series.all_hold(nearing(rule, series.settings.nearing_c)) & ~cut.closes
    open_ = cut.windows()
    missing = cut.days(series.missing)
    days_missing = day_bits.popcount(missing)
    hopeful = doubtful = likely_first = likely_last = open_
    if series.gaps.any:
        # Of all the series that the gaps allow: one opens as soon and one closes as soon as any.
        hopeful = cut.windows(series.gaps.met(rule))
        doubtful = cut.windows(closing=series.gaps.closes(rule))
        likely_first, likely_last = (
            cut.windows(*series.gaps.likely(rule, hope=hope)) for hope in (True, False)
        )
    reached, recorded = cut.reached, cut.recorded
    on_record = open_ & recorded
    opened = day_bits.first(on_record)
    ever = opened >= 0
    upto = day_bits.first_days(np.where(ever, opened + 1, reached) - at[..., None])
    shuts = day_bits.first(~open_ & recorded & ~upto)
    shuts = np.where(shuts < 0, np.where(reached == length[:, None], length[:, None], -1), shuts)
    turned_near = day_bits.first(cut.days(near) & ~open_ & upto & recorded)

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
    earliest, latest = day_bits.first(hopeful), day_bits.first(doubtful)
    not_drawn = np.full(opened.shape, np.datetime64("NaT", "D"))
    likely = day_bits.first(likely_first), day_bits.first(likely_last)
    # A mean of several days is known only from the day that ends them.
    begun = start[:, None] + rule.mean_days - 1 >= series.first_known
    spanned = (series.last_known >= 0) & begun & (reached == length[:, None])
    warmth = sums.degree_days(rule)
    degree_days = warmth.upto(opened_on) - warmth.upto(start[:, None] - 1)
    return Seasons(
        disease=disease,
        rule=rule,
        year=year,
        first=calendar.date(start),
        last=calendar.date(start + length - 1),
        known=days_missing < length[:, None],
        nearing=calendar.date(day(turned_near)),
        opened=calendar.date(opened_on),
        closed=calendar.date(np.where(ever, day(shuts), -1)),
        days_open=day_bits.popcount(on_record),
        times_opened=day_bits.popcount(on_record & ~day_bits.later(open_, 1)),
        value_opened_c=np.where(ever, value, np.nan),
        run_opened=_run(counted, opened_on, rule.days),
        pressure_opened=pressure_opened,
        pressure_season=pressure_season,
        degree_days_opened=np.where(ever, degree_days, np.nan),
        days_missing=days_missing,
        days_unknown=day_bits.popcount(hopeful ^ doubtful),
        opened_earliest=calendar.date(day(earliest)),
        opened_latest=calendar.date(day(latest)),
        likely_from=calendar.date(day(likely[0])),
        likely_to=calendar.date(day(likely[1])),
        dating=_dating(*likely, earliest == latest, spanned, rule.days - 1),
        opened_p10=not_drawn,
        opened_p50=not_drawn,
        opened_p90=not_drawn,
        opened_share=np.full(opened.shape, np.nan),
    )


def _dating(
    earliest: IntArray, latest: IntArray, certain: BoolArray, spanned: BoolArray, soonest: int
) -> IntArray:
    """Say what is known of openings, from the days on which each likely came; -1 for none.

    On day ``soonest`` a season's own days complete a row for the first time: had the season begun
    before, so might the window.
    """
    none, always, before = earliest < 0, latest >= 0, earliest <= soonest
    words = [
        (~spanned, "not spanned"),
        (none, "none"),
        (always & (latest <= soonest), "by first day"),
        ((earliest == latest) & certain, "dated"),
        (earliest == latest, "likely"),
        (always & ~before, "between"),
        (always, "by latest"),
        (~before, "from earliest"),
    ]
    conditions, names = zip(*words, strict=True)
    codes = [DATINGS.index(name) for name in names]
    return np.select(conditions, codes, DATINGS.index("unknown"))


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
