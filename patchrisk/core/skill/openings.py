"""What every rule says in every season of many sites at once, and how the soil's error moves it.

Same answers as `patchrisk.core.rules.windows.apply_rule`, in another way: a season's events instead
of a state for each day, by comparison of each day with each threshold once and bits from there on
(see `patchrisk.core.skill.day_bits`). Days outside the record are missing days like any other.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from patchrisk.base.units import BoolArray, DayArray, FloatArray, IntArray
from patchrisk.core.dates.forecast_error import ErrorCovariance, error_courses
from patchrisk.core.rules.rule import (
    REFERENCE_CM,
    Cardinal,
    Rule,
    nearing,
    relative_rate,
    soil_depth_cm,
)
from patchrisk.core.rules.windows import WindowSettings
from patchrisk.core.skill import day_bits
from patchrisk.core.skill.day_bits import WORD, Bits
from patchrisk.core.skill.season_days import (
    Calendar,
    RuleSeasons,
    RuleSeries,
    Soil,
    on_line,
    series_of,
)

Upto = Callable[[IntArray], FloatArray]
"""Total of something daily at the end of days (seasons, sites) or (seasons, 1)."""


def running_total(
    mean_c: FloatArray, daily: Callable[[FloatArray], FloatArray], calendar: Calendar
) -> Upto:
    """Add up ``daily`` of the temperatures where it is above 0, which NaN adds nothing to.

    In two parts: within each word of days, and before it.
    """
    days, lanes = mean_c.shape
    words = -(-days // WORD)
    within, so_far = np.empty((words, WORD, lanes)), np.zeros((words, lanes))
    for n in range(WORD):  # the n-th day of every word at once, which stays in the cache
        some = mean_c[n::WORD]
        so_far[: len(some)] += np.fmax(daily(some), 0.0)
        within[:, n] = so_far
    before = np.zeros((words, lanes))
    np.cumsum(within[:-1, -1], axis=0, out=before[1:])

    def upto(day: IntArray) -> FloatArray:
        row = np.clip(day - calendar.lead, -1, calendar.days - 1)
        word, place = np.divmod(np.maximum(row, 0), WORD)
        lane = np.arange(lanes)
        return np.where(row >= 0, within[word, place, lane] + before[word, lane], 0.0)

    return upto


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
    settings: WindowSettings,
    responses: Mapping[str, Cardinal],
    line_days: int = 0,
) -> list[Seasons]:
    """Apply rules to sites, season by season: in their order, every season that touches the days.

    Each rule stands with the key of the disease that it was published for. ``soil`` has the daily
    mean at every depth that the rules ask for (`depths_of`) and at 5 cm, and the daily maximum at
    those of rules on it; ``responses`` of infection to temperature are by disease; ``line_days`` is
    the longest gap through which a straight line is likely [days], of the bounds alone.
    """
    calendar = Calendar.over([rule for _, rule in rules], soil.dates, southern)
    mean_c = soil.mean_c[REFERENCE_CM]
    nothing = np.where(np.isnan(mean_c).all(axis=0), np.nan, 0.0)  # NaN at sites without soil

    def pressure_of(disease: str) -> Upto:
        rate = partial(relative_rate, cardinal=responses[disease])
        total = running_total(mean_c, rate, calendar)
        return lambda day: total(day) + nothing

    asked = {disease for disease, _ in rules if disease in responses}
    pressures = {disease: pressure_of(disease) for disease in asked}
    warmth: dict[tuple[float, float], Upto] = {}
    out: dict[int, Seasons] = {}
    for members, series in series_of(rules, soil, calendar, settings, line_days):
        for n in members:
            disease, rule = rules[n]
            base = rule.high_c if rule.direction == "falling" else rule.low_c
            assert base is not None
            key = soil_depth_cm(rule.depth_cm), base
            if any(depth != key[0] for depth, _ in warmth):
                warmth.clear()  # done with that depth
            if key not in warmth:  # what is above 0 counts: degree-days
                above = partial(np.add, -base)
                warmth[key] = running_total(soil.mean_c[key[0]], above, calendar)
            out[n] = _apply(disease, rule, series, pressures.get(disease), warmth[key])
    return [out[n] for n in range(len(rules))]


def opening_days(
    rules: Sequence[tuple[str, Rule]], soil: Soil, *, southern: bool, settings: WindowSettings
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


def _apply(
    disease: str, rule: Rule, series: RuleSeries, pressure: Upto | None, warmth: Upto
) -> Seasons:
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
        hopeful, doubtful, likely_first, likely_last = (
            cut.windows(*series.gaps.judged(rule, hope=hope, line=line))
            for line in (False, True)
            for hope in (True, False)
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
    if pressure is not None:
        before = pressure(start[:, None] - 1)
        pressure_season = pressure((start + length - 1)[:, None]) - before
        pressure_opened = np.where(ever, pressure(opened_on) - before, np.nan)
    earliest, latest = day_bits.first(hopeful), day_bits.first(doubtful)
    not_drawn = np.full(opened.shape, np.datetime64("NaT", "D"))
    likely = day_bits.first(likely_first), day_bits.first(likely_last)
    # A mean of several days is known only from the day that ends them.
    begun = start[:, None] + rule.mean_days - 1 >= series.first_known
    spanned = (series.last_known >= 0) & begun & (reached == length[:, None])
    degree_days = warmth(opened_on) - warmth(start[:, None] - 1)
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


LEAST_DRAWS = 9
"""With fewer no draw marks the 10 % point."""
_AT_ONCE = 400_000  # days of all draws together: they stay in the cache


@dataclass(frozen=True)
class SoilDoubt:
    """How far modelled soil may be off.

    ``first`` and ``last`` are the days of each site's own record, by index; ``sd_c``, (days,
    sites), the standard deviation of the error of the daily mean [degC]; ``signs``, (2, days,
    sites), the `patchrisk.core.dates.forecast_error.departures` of the weather [degC].
    """

    sites: Sequence[str]
    first: IntArray
    last: IntArray
    sd_c: FloatArray
    signs: FloatArray


@dataclass(frozen=True)
class ErrorDraws:
    """How the error is drawn: so many times, from a seed, hanging together over time."""

    draws: int
    seed: int
    covariance: ErrorCovariance
    line_days: int


def drawn_openings(
    found: Sequence[Seasons],
    rules: Sequence[tuple[str, Rule]],
    soil: Soil,
    doubt: SoilDoubt,
    drawing: ErrorDraws,
    *,
    southern: bool,
    settings: WindowSettings,
) -> list[Seasons]:
    """Put quantiles of the opening, over draws of the soil's error, into what `seasons_of` gave.

    A missing day of a gap of up to ``line_days`` lies on the straight line between the known days
    beside it, as for the likely opening; every depth errs alike on a day, and the daily maximum
    with the mean. With n draws the points are those at 0.1, 0.5 and 0.9 (n + 1) in order, outward
    where that is none: 9 draws, 19 and 39 hold the truth of an exchangeable draw in 80 %.
    """
    means, maxima = ({d: _filled(v, drawing.line_days) for d, v in some.items()}
                     for some in (soil.mean_c, soil.max_c))  # fmt: skip
    shape = len(soil.dates), drawing.draws
    opened = [np.empty((*one.opened.shape, drawing.draws), dtype="M8[D]") for one in found]
    step = max(1, _AT_ONCE // (shape[0] * shape[1]))
    for span in np.unique(np.stack([doubt.first, doubt.last], axis=1), axis=0):
        lanes = np.flatnonzero((doubt.first == span[0]) & (doubt.last == span[1]))
        days = slice(int(span[0]), int(span[1]) + 1)
        for at in range(0, len(lanes), step):
            some = lanes[at : at + step]
            error = np.zeros((shape[0], len(some), drawing.draws))
            error[days] = error_courses(
                drawing.covariance, soil.dates[days], doubt.signs[:, days][..., some],
                [doubt.sites[n] for n in some], drawing.draws, drawing.seed,
            )  # fmt: skip
            error *= doubt.sd_c[:, some, None]
            one = Soil(
                soil.dates,
                *({d: (value[:, some, None] + error).reshape(shape[0], -1)
                   for d, value in values.items()} for values in (means, maxima)),
            )  # fmt: skip
            for days_, out in zip(
                opening_days(rules, one, southern=southern, settings=settings), opened, strict=True
            ):
                out[:, some] = days_.reshape(len(days_), len(some), -1)
    return [_with_quantiles(*pair) for pair in zip(found, opened, strict=True)]


def _filled(value: FloatArray, line_days: int) -> FloatArray:
    lane, row = np.nonzero(np.isnan(value).T)
    if not lane.size:
        return value
    out = value.copy()
    out[row, lane] = on_line(value, lane, row, line_days)
    return out


def _with_quantiles(found: Seasons, opened: DayArray) -> Seasons:
    """Sort the draws of each season; NaT, no opening, comes last."""
    count = opened.shape[-1]
    ordered = np.sort(opened, axis=-1)
    low_at = (count + 1) // 10 - 1
    spanned = (found.dating != DATINGS.index("not spanned")) & found.known
    nothing = np.datetime64("NaT", "D")
    low, middle, high = (np.where(spanned, ordered[..., n], nothing)
                         for n in (low_at, (count - 1) // 2, count - 1 - low_at))  # fmt: skip
    share = np.where(spanned, (~np.isnat(opened)).mean(axis=-1), np.nan)
    return replace(found, opened_p10=low, opened_p50=middle, opened_p90=high, opened_share=share)
