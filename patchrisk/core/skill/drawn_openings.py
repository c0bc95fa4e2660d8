"""Openings on modelled soil, with the model's error counted: quantiles over draws of it."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from patchrisk.base.units import DayArray, FloatArray, IntArray
from patchrisk.core.dates.error_courses import error_courses
from patchrisk.core.dates.forecast_error import ErrorCovariance
from patchrisk.core.rules.states import Settings
from patchrisk.core.rules.windows import Rule
from patchrisk.core.skill.openings import DATINGS, Seasons, opening_days
from patchrisk.core.skill.rule_series import Soil
from patchrisk.core.skill.season_days import on_line

LEAST_DRAWS = 9
"""With fewer no draw marks the 10 % point."""
_AT_ONCE = 400_000  # days of all draws together: they stay in the cache


@dataclass(frozen=True)
class SoilDoubt:
    """How far modelled soil may be off.

    Parameters
    ----------
    sites : sequence of str
    first, last : ndarray of int, shape (sites,)
        Index of the first and the last day of each site's own record.
    sd_c : ndarray of float, shape (days, sites)
        Standard deviation of the error of the daily mean [degC].
    signs : ndarray of float, shape (2, days, sites)
        `patchrisk.core.dates.forecast_error.departures` of the weather [degC].
    """

    sites: Sequence[str]
    first: IntArray
    last: IntArray
    sd_c: FloatArray
    signs: FloatArray


@dataclass(frozen=True)
class Drawing:
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
    drawing: Drawing,
    *,
    southern: bool,
    settings: Settings,
) -> list[Seasons]:
    """Put quantiles of the opening, over draws of the soil's error, into what rules say.

    A missing day of a gap of up to ``line_days`` lies on the straight line between the known days
    beside it, as for the likely opening; every depth errs alike on a day, and the daily maximum
    with the mean. With n draws the points are those at 0.1, 0.5 and 0.9 (n + 1) in order, outward
    where that is none: 9 draws, 19 and 39 hold the truth of an exchangeable draw in 80 %.

    Parameters
    ----------
    found : sequence of Seasons
        As `seasons_of` gives them for these rules.
    rules, soil, southern, settings
        As for `seasons_of`.
    doubt : SoilDoubt
    drawing : Drawing
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
