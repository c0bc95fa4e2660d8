"""Counts of degree-days and days in a row as text, and day by day as a table."""

import re
from collections.abc import Callable, Iterator

import numpy as np

from patchrisk.base.pen import Pen, chance
from patchrisk.base.safe_text import Cell, write_table
from patchrisk.base.saving import Kind
from patchrisk.base.units import DAY, from_canonical
from patchrisk.core.dates.soil_paths import Spread
from patchrisk.core.rules.tally import Coming, Courses, DaysMet, DegreeDays, Threshold
from patchrisk.report.layout import as_text, ends, wrap
from patchrisk.site_day.counts import AreaCounts, SiteCounts

_HEADER = re.compile(
    rb'"area","date","mean_deg[CF]","maximum_deg[CF]","from"'
    rb'(?:,"(?:degree_days|total|met|days)_[^"\r\n]*")*\r\n'
)
COUNT_TABLE = Kind(
    "table of counts that patchrisk wrote", lambda head, _: bool(_HEADER.match(head))
)
_SURE = 0.995  # beyond this a thing has come about, or has not


@as_text
def write_counts(counts: SiteCounts) -> Iterator[str]:
    """Write what was counted, area by area."""
    pen = Pen(counts.site.site.units)
    yield ends(counts.site.site.name, pen.long_day(np.datetime64(counts.as_of, "D")))
    first, last = (np.datetime64(day, "D") for day in (counts.since, counts.as_of))
    span = f"{pen.day(first, year=True)} to {pen.day(last - DAY, year=True)}"
    years = max(area.courses.years for area in counts.areas)
    text = f"Soil at {_depth(counts, pen)}, counted from {span}."
    if years:
        past = f"{years} past years" if years > 1 else "one past year"
        text += f" Usual: the middle of {past}, and what 8 in 10 lie between."
    else:
        text += " No past year of air temperature is at hand: nothing is said of usual years or "
        text += "of the days ahead."
    yield from wrap(text, "", "")
    for area in counts.areas:
        yield ""
        yield from _area(area, pen)


def _area(counts: AreaCounts, pen: Pen) -> Iterator[str]:
    c = counts.courses
    told = {"logged": "logged", "modelled": "modelled", "corrected": "corrected by spot readings"}
    told["shared"] = "modelled with other areas' probes"
    kinds = [f"{int((c.came_from == kind).sum())} {words}" for kind, words in told.items()]
    kinds = [kind for kind in kinds if not kind.startswith("0 ")]
    if c.unknown:
        kinds.append(f"{c.unknown} unknown and not counted")
    days = f"{c.today} days: {', '.join(kinds)}" if c.today > 1 else f"1 day, {kinds[0][2:]}"
    yield from wrap(f"{counts.area.name.upper()}: {days}.", "", "  ")
    if counts.degree_days is not None:
        yield from _degree_days(counts.degree_days, c, pen)
    for met in counts.days_met:
        yield from _days_met(met, c, pen)


def _degree_days(sums: DegreeDays, c: Courses, pen: Pen) -> Iterator[str]:
    def total(value: float) -> str:
        return pen.show("degree-days", value)

    base = pen.show("soil temperature", sums.base_c)
    if sums.ceiling_c is not None:
        base += f" up to {pen.show('soil temperature', sums.ceiling_c)}"
    least = "at least " if c.unknown else ""
    text = f"Degree-days above {base}: {least}{_within(sums.so_far, total)}"
    if sums.usual is not None:
        text += f"; usual {_within(sums.usual, total)}"
    if sums.in_a_week is not None:
        text += f". In a week: {_within(sums.in_a_week, total)}"
    yield from wrap(f"{text}.", "  ", "    ")
    if sums.reaches is not None and sums.goal_c is not None:
        text = _comes(f"Total of {total(sums.goal_c)}", "reached", sums.reaches, c, pen)
        yield from wrap(f"{text}.", "    ", None)


def _days_met(met: DaysMet, c: Courses, pen: Pen) -> Iterator[str]:
    least = "at least " if c.unknown else ""
    text = f"Days {_threshold(met.threshold, pen)}: {least}{_within(met.so_far, _whole)}"
    if met.usual is not None:
        text += f"; usual {_within(met.usual, _whole)}"
    text += f". In a row now: {met.row_now}"
    if met.longest is not None:
        first, last, days = met.longest
        text += f"; the longest row {days}, {pen.days(first, last)}"
    yield from wrap(f"{text}.", "  ", "    ")
    if met.comes is not None:
        text = _comes(f"First {met.row} in a row", "complete", met.comes, c, pen)
        yield from wrap(f"{text}.", "    ", None)


def _comes(what: str, done: str, coming: Coming, c: Courses, pen: Pen) -> str:
    """Say when something has come about, or is to be expected, with odds."""
    usual = "" if coming.usual is None else f"; usual {pen.day(coming.usual)}"
    until = pen.day(coming.until, year=True)
    if coming.reached > _SURE and coming.middle is not None:
        return f"{what} {done} on {pen.day(coming.middle)}{usual}"
    already = "" if coming.reached < 1 - _SURE else f"{chance(coming.reached)} sure by now"
    if c.today == len(c.dates):
        return f"{what} {already or ('not by the days known' if c.unknown else 'not yet')}{usual}"
    if coming.never > _SURE:
        return f"{what} not to be expected by {until}{usual}"
    if coming.middle is None:
        odds = "; ".join(filter(None, (f"{chance(1 - coming.never)} by {until}", already)))
        return f"{what} in doubt: {odds}{usual}"
    assert coming.early is not None
    span = f"{pen.day(coming.early)} to later"
    if coming.late is not None:
        span = pen.days(coming.early, coming.late)
    span = "; ".join(filter(None, (span, already)))
    how = f"most likely {done}" if coming.reached >= 0.5 else "expected"
    sooner = ", or sooner for the days unknown" if c.unknown else ""
    return f"{what} {how} on {pen.day(coming.middle)} ({span}){sooner}{usual}"


def _within(spread: Spread[float], show: Callable[[float], str]) -> str:
    low, middle, high = (show(value) for value in (spread.low, spread.middle, spread.high))
    return middle if low == middle == high else f"{middle} ({low} to {high})"


def _whole(value: float) -> str:
    return f"{value:.0f}"


def _threshold(threshold: Threshold, pen: Pen) -> str:
    word = "at least" if threshold.operator == ">=" else "at most"
    kind = "a maximum" if threshold.statistic.of_maximum else "a mean"
    return f"with {kind} of {word} {pen.show('soil temperature', threshold.value_c)}"


def _depth(counts: SiteCounts, pen: Pen) -> str:
    unit = "in" if pen.system == "us" else "cm"
    return f"{round(from_canonical('depth', counts.asked.depth_cm, unit), 1):g} {unit}"


def write_count_table(counts: SiteCounts) -> str:
    """Write every day counted as CSV, in the units of the site."""
    unit = "degF" if counts.site.site.units == "us" else "degC"
    thresholds = counts.asked.thresholds
    header = ["area", "date", f"mean_{unit}", f"maximum_{unit}", "from"]
    if counts.asked.base_c is not None:
        header += [f"degree_days_{unit}", f"total_{unit}"]
    for threshold in thresholds:
        header += [f"met_{_column(threshold, unit)}", f"days_{_column(threshold, unit)}"]
    rows = [row for area in counts.areas for row in _rows(area, unit)]
    return write_table(header, rows)


def _column(threshold: Threshold, unit: str) -> str:
    value = from_canonical("soil temperature", threshold.value_c, unit)
    word = "least" if threshold.operator == ">=" else "most"
    kind = "maximum" if threshold.statistic.of_maximum else "mean"
    return f"{kind}_at_{word}_{round(value, 2):g}_{unit}"


def _rows(area: AreaCounts, unit: str) -> Iterator[list[Cell]]:
    c = area.courses
    columns: list[tuple[str, np.ndarray[tuple[int, ...], np.dtype[np.float64]]]] = []
    if area.degree_days is not None:
        daily = area.degree_days.daily
        columns += [("degree-days", daily), ("degree-days", np.nancumsum(daily))]
    for met in area.days_met:
        columns += [("count", met.daily), ("count", np.nancumsum(met.daily))]

    def cell(quantity: str, value: float) -> Cell:
        if np.isnan(value):
            return None
        shown = value if quantity == "count" else from_canonical(quantity, value, unit)
        return round(float(shown), 2)

    for n in range(c.today):
        soil = [cell("soil temperature", v[n]) for v in (c.best_mean_c, c.best_max_c)]
        rest = [cell(quantity, values[n]) for quantity, values in columns]
        yield [area.area.name, str(c.dates[n]), *soil, str(c.came_from[n]) or None, *rest]
