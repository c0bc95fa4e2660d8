"""The soil model's error ahead: what the logger has taught of it, and what stays unknown.

For one season it is a matrix; through the whole record of many sites it is drawn day after day.
"""

import hashlib
import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache

import numpy as np

from patchrisk.base.units import BoolArray, DayArray, FloatArray, IntArray
from patchrisk.core.soil.air_to_soil import recent

NO_WAVE = np.zeros((1, 2))  # of the mean of a day
YEAR = 365.25  # mean length of the calendar year [days]
BLOCK = 30  # days that readings older than the daily ones are averaged over


@dataclass(frozen=True)
class ErrorCovariance:
    """How the error of modelled soil temperature hangs together over time.

    Shares are of the variance that the model states of its error; they need not add up to one.
    """

    # fast, slow, long: shares that are forgotten over `fast_days`, `slow_days` and `long_days` [1]
    fast: float
    fast_days: float
    slow: float
    slow_days: float
    long: float
    long_days: float
    lasting: float  # share that never changes at a site [1]
    # yearly, half_yearly: shares that come back at the same time of each year [1]
    yearly: float
    half_yearly: float
    probe: float  # variance of a reading's own error, as a share of the model's [1]
    # warmth, swing: variance of how far the error follows `departures` of the weather: air warmer
    # than it was of late, a daily range wider than usual [degC-2]
    warmth: float = 0.0
    swing: float = 0.0
    # Over which that way of following is forgotten: grass grows, soil dries [days]
    spell_days: float = 1.0
    # Share that never changes at a site of how the day's wave departs from the estimated one; the
    # rest is forgotten over `spell_days` [1]
    wave_lasting: float = 0.0
    # sibling_weather, sibling_site: correlation of two areas of one site in what is forgotten
    # within days, how the error follows the weather with it, and in all that lasts longer [1]
    sibling_weather: float = 0.0
    sibling_site: float = 0.0

    def weather(self, apart: FloatArray) -> FloatArray:
        """Covariance of the part that is forgotten within days, so many days apart [1]."""
        return np.asarray(self.fast * np.exp(-np.abs(apart) / self.fast_days))

    def site(self, apart: FloatArray) -> FloatArray:
        """Covariance of all that lasts longer, so many days apart [1]."""
        turn = 2 * np.pi * apart / YEAR
        return np.asarray(
            self.slow * np.exp(-np.abs(apart) / self.slow_days)
            + self.long * np.exp(-np.abs(apart) / self.long_days)
            + self.lasting
            + self.yearly * np.cos(turn)
            + self.half_yearly * np.cos(2 * turn)
        )

    def spell(self, apart: FloatArray) -> FloatArray:
        """Correlation of how the error follows the weather, so many days apart [1]."""
        return np.asarray(np.exp(-np.abs(apart) / self.spell_days))

    def wave(self, apart: FloatArray) -> FloatArray:
        """Correlation of how the day's wave departs from the estimated one, so many days apart."""
        return self.wave_lasting + (1 - self.wave_lasting) * self.spell(apart)


def departures(
    air_min_c: FloatArray, air_max_c: FloatArray, usual_days: float, usual_range_c: float
) -> FloatArray:
    """How each day's weather departs from the usual: what the model's error may follow.

    From daily extremes of the air, (days,) [degC], over how many days warmth that has become usual
    is forgotten again, and the daily range that counts as usual: daily mean above that of the past
    weeks, daily range above the usual, (days, 2) [degC]. A day without both extremes departs by
    nothing.
    """
    known = np.isfinite(air_min_c) & np.isfinite(air_max_c)
    if not known.any():
        return np.zeros((len(known), 2))
    day = np.arange(len(known))
    mean = np.interp(day, day[known], (air_min_c + air_max_c)[known] / 2)
    both = departures_of(mean[:, None], (air_max_c - air_min_c)[:, None], usual_days, usual_range_c)
    return np.where(known[:, None], both[..., 0].T, 0.0)


def departures_of(
    mean_c: FloatArray, range_c: FloatArray, usual_days: float, usual_range_c: float
) -> FloatArray:
    """As `departures`, of many lanes at once without a missing day: (days, lanes) to (2, ...)."""
    return np.stack([mean_c - recent(mean_c, usual_days), range_c - usual_range_c])


@dataclass(frozen=True)
class KnownErrors:
    """Errors known from readings, relative to the standard deviation stated for the day."""

    day: FloatArray  # (known,): when, on the count of days that the paths use; whole [days]
    error: FloatArray  # (known, lanes): (logged - modelled) / standard deviation [1]
    daily: BoolArray  # (known,): A single day, or the mean of `BLOCK` days
    signs: FloatArray  # (known, 2): the day's `departures` [degC]; none for a mean of days
    # One number of what follows stands for all of them.
    # (known,): variance of the reading's own error beyond a logger's, over the model's [1]
    noise: FloatArray = field(default_factory=lambda: np.zeros(1))
    # (known,): which area of the site it is of: 0 for the area itself, another number for each
    # sibling
    place: IntArray = field(default_factory=lambda: np.zeros(1, dtype=np.int64))
    # (known, 2): how far size and turn of the day's wave, one standard deviation off, move the
    # reading of a moment, over the model's [1]; nothing for the mean of a day
    wave: FloatArray = field(default_factory=lambda: NO_WAVE)

    def __post_init__(self) -> None:
        for name in ("noise", "place", "wave"):
            value = getattr(self, name)
            whole = np.broadcast_to(value, (len(self.day), *value.shape[1:]))
            object.__setattr__(self, name, whole)

    def and_those(self, more: "KnownErrors") -> "KnownErrors":
        """Return these and more of one lane, which are the same in every lane."""
        more = replace(more, error=np.repeat(more.error, self.error.shape[1], axis=1))
        both = zip(vars(self).values(), vars(more).values(), strict=True)
        return KnownErrors(*(np.concatenate(parts) for parts in both))

    def moved(self, days: float) -> "KnownErrors":
        """Return them on a count of days that began so much earlier [days]."""
        return replace(self, day=self.day + days)


def known_errors(
    day: FloatArray, error: FloatArray, signs: FloatArray, *, daily_from: float
) -> KnownErrors:
    """Keep the errors since a day one by one, and older ones as means of `BLOCK` days.

    ``day`` rises (days,), ``error`` is relative, (days, lanes) [1], NaN where nothing was logged;
    ``signs`` are the days' `departures`, ``daily_from`` the first day kept by itself.
    """
    known = np.isfinite(error).all(axis=1)
    late = known & (day >= daily_from)
    older = known & ~late
    at, mean = [], []
    block = np.floor((day - daily_from) / BLOCK)
    for number in np.unique(block[older]):
        rows = older & (block == number)
        if rows.sum() >= BLOCK / 2:
            at.append(round(float(day[rows].mean())))
            mean.append(error[rows].mean(axis=0))
    lanes = error.shape[1]
    return KnownErrors(
        np.r_[np.array(at), day[late]],
        np.vstack([np.array(mean).reshape(-1, lanes), error[late]]),
        np.r_[np.zeros(len(at), bool), np.ones(int(late.sum()), bool)],
        np.vstack([np.zeros((len(at), 2)), signs[late]]),
    )


@dataclass(frozen=True)
class ConditionalError:
    """What readings on some days tell of the errors of others, whatever the readings were."""

    # (days, known): times the known errors they give the error to expect of each day
    weights: FloatArray
    # (days, days): lower triangle; times standard normal numbers it gives errors around the
    # expected [1]
    root: FloatArray
    _drawn: dict[tuple[int, int], FloatArray] = field(default_factory=dict)

    @property
    def variance(self) -> FloatArray:
        """Variance of what stays unknown of each day, (days,) [1]."""
        return np.asarray((self.root**2).sum(axis=1))

    def expected(self, known: KnownErrors) -> FloatArray:
        """Error to expect of each day [1], (days, lanes); fades from the last reading on."""
        return self.weights @ known.error

    def drawn(self, count: int, seed: int) -> FloatArray:
        """Draw courses of what stays unknown [1], (days, count); same seed, same courses."""
        if (count, seed) not in self._drawn:
            self._drawn[count, seed] = self.root @ _noise(len(self.root), count, seed)
        return self._drawn[count, seed]


@lru_cache(maxsize=4)
def _noise(days: int, count: int, seed: int) -> FloatArray:
    noise = np.random.default_rng(seed).standard_normal((days, count))
    noise.flags.writeable = False
    return noise


@dataclass(frozen=True)
class ConditionalErrors:
    """`condition_error` under one covariance, kept: areas logged on the same days share it."""

    covariance: ErrorCovariance
    _kept: dict[tuple[bytes, ...], ConditionalError] = field(default_factory=dict)

    def of(
        self, day: FloatArray, signs: FloatArray, known: KnownErrors, wave: FloatArray = NO_WAVE
    ) -> ConditionalError:
        """As `condition_error`."""
        told = (known.day, known.daily, known.signs, known.noise, known.place, known.wave)
        key = tuple(np.ascontiguousarray(array).tobytes() for array in (day, signs, wave, *told))
        if key not in self._kept:
            self._kept[key] = condition_error(self.covariance, day, signs, known, wave)
        return self._kept[key]


def condition_error(
    covariance: ErrorCovariance,
    day: FloatArray,
    signs: FloatArray,
    known: KnownErrors,
    wave: FloatArray = NO_WAVE,
) -> ConditionalError:
    """Work out what the readings' days tell of other days.

    ``day`` counts whole days as ``known`` does, of which the errors themselves are not looked at;
    ``signs`` are their `departures`, (days, 2) [degC]. With ``wave``, as of `KnownErrors`, the
    error is that of a reading of a moment.

    Notes
    -----
    A Gaussian process conditioned on readings (Rasmussen & Williams 2006, Gaussian Processes for
    Machine Learning, eqs 2.22 to 2.24, equation numbers from memory). That the error follows the
    weather is a regression on its departures whose coefficients wander: products of the
    departures in the covariance (section 2.7 there). So are size and turn of the day's wave.
    """
    reach = np.concatenate([day, known.day])
    apart = np.arange(np.ptp(reach) + 1)  # days are whole, so each lag is reckoned once
    lasting, spell = covariance.site(apart), covariance.spell(apart)
    passing, wave_alike = covariance.weather(apart), covariance.wave(apart)
    shared, fresh = covariance.sibling_site * lasting, covariance.sibling_weather * passing
    by_lag = np.concatenate([lasting + passing, lasting, shared + fresh, shared])
    size = np.sqrt([covariance.warmth, covariance.swing])

    def between(a: KnownErrors, b: KnownErrors) -> FloatArray:
        lag = np.subtract.outer(a.day.astype(np.intp), b.day.astype(np.intp))
        np.abs(lag, out=lag)
        out: FloatArray = (a.signs * size) @ (b.signs * size).T
        out *= spell.take(lag)
        if a.wave.any() and b.wave.any():
            out += (a.wave @ b.wave.T) * wave_alike.take(lag)
        lag[~np.logical_and.outer(a.daily, b.daily)] += len(apart)  # what passes is not in a mean
        elsewhere = np.not_equal.outer(a.place, b.place)
        if elsewhere.any():
            lag[elsewhere] += 2 * len(apart)
            out[elsewhere] *= covariance.sibling_weather
        out += by_lag.take(lag)
        return out

    wanted = KnownErrors(day, np.empty((len(day), 0)), np.ones(len(day), bool), signs, wave=wave)
    left = between(wanted, wanted)
    weights = np.zeros((len(day), len(known.day)))
    if len(known.day):
        gram = between(known, known)
        # Variance of a mean of many days
        block = covariance.fast * 2 * covariance.fast_days / BLOCK
        own = np.where(known.daily, 0.0, block) + covariance.probe + known.noise
        gram[np.diag_indices_from(gram)] += own
        cross = between(wanted, known)
        weights = np.asarray(np.linalg.solve(gram, cross.T).T, dtype=np.float64)
        left -= weights @ cross.T
    left[np.diag_indices_from(left)] += 1e-6  # rounding leaves it barely short of positive
    root = np.linalg.cholesky(left)
    return ConditionalError(weights, np.asarray(root, dtype=np.float64))


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
    """Draw the error of modelled soil over its stated deviation [1], (days, sites, draws).

    Over the consecutive days of the sites' records, whose weather's `departures` are ``signs``, (2,
    days, sites) [degC]. Every number hangs on seed, draw, site and year alone, so a course is the
    same whatever sites are worked out beside it, and by whichever process; sites err independently
    of each other.
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
