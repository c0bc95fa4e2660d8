"""Courses of the soil model's error through the whole record of many sites.

What `patchrisk.core.dates.forecast_error` says of one season as a matrix is drawn here day after
day. Every number hangs on seed, draw, site and year alone, so a course is the same whatever sites
are worked out beside it, and by whichever process.
"""

import hashlib
import math
from collections.abc import Sequence

import numpy as np

from patchrisk.base.units import DayArray, FloatArray
from patchrisk.core.dates.forecast_error import YEAR, ErrorCovariance

_LEAP_YEAR = 366
_OF_SITE = 0  # stands for the year of the numbers that a site keeps through all years
_LASTING = 5


def error_courses(
    covariance: ErrorCovariance,
    dates: DayArray,
    signs: FloatArray,
    sites: Sequence[str],
    draws: int,
    seed: int,
) -> FloatArray:
    """Draw the error of modelled soil temperature, relative to its stated standard deviation.

    Parameters
    ----------
    covariance : ErrorCovariance
    dates : ndarray of datetime64[D], shape (days,)
        Consecutive days of the sites' records.
    signs : ndarray of float, shape (2, days, sites)
        `patchrisk.core.dates.forecast_error.departures` of the weather [degC].
    sites : sequence of str
        Their names; sites err independently of each other.
    draws, seed : int

    Returns
    -------
    ndarray of float, shape (days, sites, draws)
        [1]
    """
    from scipy.signal import lfilter  # where it is used: scipy is slow to load

    c, days = covariance, len(dates)
    fading = ((c.fast, c.fast_days), (c.slow, c.slow_days), (c.long, c.long_days),
              (c.warmth, c.spell_days), (c.swing, c.spell_days))  # fmt: skip
    turn = 2 * np.pi * dates.astype(float) / YEAR
    waves = [np.ones(days), np.cos(turn), np.sin(turn), np.cos(2 * turn), np.sin(2 * turn)]
    shares = [c.lasting, c.yearly, c.yearly, c.half_yearly, c.half_yearly]
    always = np.stack([math.sqrt(s) * wave for s, wave in zip(shares, waves, strict=True)])
    out = np.empty((len(sites), draws, days))
    for n, site in enumerate(sites):
        noise, lasting = _numbers(site, dates, len(fading), draws, seed)
        out[n] = lasting @ always
        for part, (variance, kept) in enumerate(fading):
            fade = math.exp(-1 / kept)
            fresh = noise[:, part]
            fresh[:, 1:] *= math.sqrt(1 - fade**2)  # the first day is of the lasting state
            course = lfilter([math.sqrt(variance)], [1.0, -fade], fresh, axis=-1)
            out[n] += course if part < 3 else course * signs[part - 3, :, n]
    return np.ascontiguousarray(out.transpose(2, 0, 1))


def _numbers(
    site: str, dates: DayArray, parts: int, draws: int, seed: int
) -> tuple[FloatArray, FloatArray]:
    """Draw standard normal numbers of each day, (draws, parts, days), and site, (draws, 5)."""
    key = int.from_bytes(hashlib.sha256(site.encode()).digest()[:8], "little")
    years = dates.astype("M8[Y]")
    of_year = (dates - years).astype(np.int64)
    starts = np.flatnonzero(np.r_[True, years[1:] != years[:-1]])
    ends = np.r_[starts[1:], len(dates)]
    noise, lasting = np.empty((draws, parts, len(dates))), np.empty((draws, _LASTING))
    for draw in range(draws):

        def stream(year: int, draw: int = draw) -> np.random.Generator:
            counter = np.array([0, 0, draw, year], dtype=np.uint64)
            return np.random.Generator(
                np.random.Philox(key=np.array([key, seed], dtype=np.uint64), counter=counter)
            )

        lasting[draw] = stream(_OF_SITE).standard_normal(_LASTING)
        for start, end in zip(starts.tolist(), ends.tolist(), strict=True):
            year = int(years[start].astype(np.int64)) + 1970
            whole = stream(year).standard_normal((_LEAP_YEAR, parts))
            noise[draw, :, start:end] = whole[of_year[start] : of_year[start] + end - start].T
    return noise, lasting
