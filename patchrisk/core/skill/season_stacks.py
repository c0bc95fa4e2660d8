"""The same season of many years and sites, laid side by side."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from patchrisk.base.units import BoolArray, DayArray, FloatArray, IntArray
from patchrisk.core.rules.windows import REFERENCE_CM, bounded, soil_depth_cm
from patchrisk.core.skill.rule_series import Soil
from patchrisk.core.verdict.season_course import InfectionSpan


@dataclass(frozen=True)
class Stack:
    """Seasons of one length and calendar side by side: a lane is a season of a site.

    Parameters
    ----------
    dates : ndarray of datetime64[D], shape (days,)
        Those of one of the seasons; all have the same days of the year.
    top : ndarray of int, shape (seasons,)
        Row of the soil at which each begins.
    which : (year, first, last)
        Of the one season, rows counted from ``top``.
    mean_c, max_c : dict of float to ndarray of float, shape (days, lanes)
        By depth [cm].
    missing : ndarray of bool, shape (days, lanes)
        Days without soil at any of the depths.
    """

    dates: DayArray
    top: IntArray
    which: tuple[int, int, int]
    mean_c: dict[float, FloatArray]
    max_c: dict[float, FloatArray]
    missing: BoolArray

    def soil_at(self, depth_cm: float) -> tuple[FloatArray, FloatArray]:
        """Daily mean and maximum at a rule's depth."""
        depth = soil_depth_cm(depth_cm)
        return self.mean_c[depth], self.max_c.get(depth, self.mean_c[depth])

    @property
    def unknown(self) -> IntArray:
        """Days of the season without soil at the depth at which infection is judged, (lanes,)."""
        _, first, last = self.which
        some = np.isnan(self.mean_c[REFERENCE_CM][first : last + 1])
        return np.asarray(some.sum(axis=0))

    def bounds(self, lanes: IntArray, max_change_c: float) -> "Stack":
        """Return some lanes twice: their missing days as warm, and as cold, as they can be."""

        def laid(values: dict[float, FloatArray]) -> dict[float, FloatArray]:
            return {
                depth: np.concatenate(bounded(value[:, lanes], max_change_c), axis=1)
                for depth, value in values.items()
            }

        missing = np.tile(self.missing[:, lanes], 2)
        return Stack(self.dates, self.top, self.which, laid(self.mean_c), laid(self.max_c), missing)


def stacks(
    span: InfectionSpan,
    soil: Soil,
    first: IntArray,
    last: IntArray,
    before: int,
    after: int,
) -> Iterator[tuple[IntArray, Stack]]:
    """Lay seasons with the same days of the year side by side.

    Parameters
    ----------
    span : InfectionSpan
    soil : Soil
    first, last : ndarray of int, shape (seasons,)
        Rows of the soil on which each begins and ends; they may lie outside.
    before, after : int
        Days added at both ends.

    Yields
    ------
    some : ndarray of int
        Which of the seasons.
    stack : Stack
    """
    alike: dict[bytes, list[int]] = {}
    for n, (a, b) in enumerate(zip(first.tolist(), last.tolist(), strict=True)):
        days = soil.dates[0] + np.arange(a - before, b + after)
        month = days.astype("M8[M]")
        in_year = 32 * (month.astype(np.int64) % 12) + (days - month.astype("M8[D]")).astype(int)
        alike.setdefault(in_year.tobytes(), []).append(n)
    depths = {soil_depth_cm(rule.depth_cm) for rule in span.rules} | {REFERENCE_CM}
    hottest = {soil_depth_cm(rule.depth_cm) for rule in span.rules if rule.statistic.of_maximum}
    for members in alike.values():
        some = np.array(members)
        top, length = first[some] - before, int(last[some[0]] - first[some[0]]) + 1
        row = top + np.arange(before + length + after)[:, None]
        dates = soil.dates[0] + row[:, 0]
        mean_c = {depth: _cut(soil.mean_c[depth], row) for depth in sorted(depths)}
        max_c = {d: _cut(soil.max_c[d], row) for d in sorted(hottest)}
        missing = np.zeros_like(mean_c[REFERENCE_CM], dtype=bool)
        for value in (*mean_c.values(), *max_c.values()):
            missing |= np.isnan(value)
        which = int(dates[before].astype("M8[Y]").astype(int)) + 1970, before, before + length - 1
        yield some, Stack(dates, top, which, mean_c, max_c, missing)


def _cut(value: FloatArray, row: IntArray) -> FloatArray:
    """Cut stretches of days out of (days, sites), (days, stretches x sites); NaN outside."""
    out = value[np.clip(row, 0, len(value) - 1)]
    out[(row < 0) | (row >= len(value))] = np.nan
    return out.reshape(len(row), -1)
