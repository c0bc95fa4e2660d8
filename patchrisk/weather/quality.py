"""Readings judged: what can't be soil temperature is flagged, counted and left out of the days.

The thresholds are in thresholds/quality.toml with their sources, the plausible range in
`patchrisk.units`. Every reading is flagged for one reason at most, the first that holds in the
order of the checks, so that rows read = kept + flagged + missing for each probe.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import date

import numpy as np
import pandas as pd

from patchrisk.arrays import BoolArray, FloatArray, IntArray
from patchrisk.errors import Fault, InputError
from patchrisk.numbers import load_numbers
from patchrisk.units import QUANTITIES, from_canonical, to_canonical
from patchrisk.weather.daily import daily_soil
from patchrisk.weather.layout import Flag, Log
from patchrisk.weather.sequence import (
    DAY_S,
    Sieve,
    merge_equal_times,
    put_in_order,
    share_at_odds,
    tell_clock_steps,
    usual_step,
)

_HOTTEST_F = from_canonical("soil temperature", QUANTITIES["soil temperature"].high, "degF")
_LONG_GAPS = 10  # gaps of a day and more that are told one by one


def check_readings(
    log: Log, air_daily: pd.DataFrame | None = None, today: date | None = None
) -> tuple[pd.DataFrame, tuple[Flag, ...]]:
    """Judge the readings of a logger file.

    Parameters
    ----------
    log : Log
    air_daily : DataFrame, optional
        air_min_c and air_max_c [degC], and air_mean_c if there is one, by local standard day.
        Without it a probe lying in the air can't be told.
    today : date, optional
        Readings after this day are flagged.

    Returns
    -------
    readings : DataFrame
        One column a probe [degC] on unique, rising times; NaN where missing or flagged.
    flags : tuple of Flag
        Those of the reading included.

    Raises
    ------
    InputError
        When so many times come twice with different values that they must have been misread, or
        a probe's unit changes within the file.
    """
    limits = {key: number.value for key, number in load_numbers("quality").items()}
    seconds = log.readings.index.to_numpy().astype("datetime64[s]").astype(np.int64)
    values = {str(p): log.readings[p].to_numpy(float, copy=True) for p in log.readings.columns}
    sieve = Sieve(seconds, values)
    if today is not None:
        after = np.datetime64(today, "s").astype(np.int64) + DAY_S
        sieve.take_all("future", seconds >= after, f"after today, {today}")
    if share_at_odds(sieve) > limits["doubled.share"]:
        raise InputError(_doubled(log))
    put_in_order(sieve, log.lines)
    merge_equal_times(sieve)
    if not log.daily:
        tell_clock_steps(sieve)
    present = {probe: ~np.isnan(v) for probe, v in sieve.degc.items()}
    step = usual_step(sieve.seconds)
    air = _air(air_daily, sieve.seconds)
    if faults := [f for probe in sieve.degc if (f := _unit_change(sieve, probe, log, limits))]:
        raise InputError(faults)
    for probe in sieve.degc:
        _take_wrong_unit(sieve, probe, log, air, limits)
        _take_out_of_range(sieve, probe, limits)
        if step is not None and step < DAY_S:
            _take_spikes(sieve, probe, step, limits)
            _take_stuck(sieve, probe, step, air, limits)
            if air_daily is not None:
                _take_lifted(sieve, probe, air_daily, limits)
        if step is not None:
            _tell_gaps(sieve, probe, present[probe], step, limits)
    _tell_once_a_day(sieve, log)
    index = pd.DatetimeIndex(sieve.seconds.astype("datetime64[s]"), name="time")
    clean = pd.DataFrame(sieve.degc, index=index)
    return clean, tuple(_join_probes([*log.flags, *sieve.flags], list(sieve.degc)))


def _doubled(log: Log) -> Fault:
    found = "many times come twice with different values"
    cure = (
        "a 12-hour clock without AM and PM, dates without their times, or one row for each depth: "
        "export one row for each time, with the full time"
    )
    return Fault(log.source, "", found, cure)


def _air(air_daily: pd.DataFrame | None, seconds: IntArray) -> dict[str, FloatArray]:
    """Air of the day of each reading [degC]: min, max, mean; empty without air."""
    if air_daily is None:
        return {}
    days = pd.DatetimeIndex((seconds // DAY_S).astype("datetime64[D]").astype("datetime64[s]"))
    low = air_daily["air_min_c"].reindex(days).to_numpy(float)
    high = air_daily["air_max_c"].reindex(days).to_numpy(float)
    mean = (low + high) / 2
    if "air_mean_c" in air_daily:
        told = air_daily["air_mean_c"].reindex(days).to_numpy(float)
        mean = np.where(np.isnan(told), mean, told)
    return {"min": low, "max": high, "mean": mean}


def _take_out_of_range(sieve: Sieve, probe: str, limits: Mapping[str, float]) -> None:
    kind = QUANTITIES["soil temperature"]
    degc = sieve.degc[probe]
    odd = (degc < kind.low) | (degc > kind.high)
    if not odd.any():
        return
    low, high = np.nanmin(degc[odd]), np.nanmax(degc[odd])
    seen = f"{low:.1f}" if low == high else f"{low:.1f} to {high:.1f}"
    reason = f"{seen} degC is outside {kind.low:g} to {kind.high:g} degC"
    if odd.sum() > limits["range.share"] * (~np.isnan(degc)).sum():
        odd = np.ones(len(degc), bool)
        reason += ", so are most readings: the few that are not are chance"
    sieve.take("out of range", probe, odd, reason)


def _unit_change(sieve: Sieve, probe: str, log: Log, limits: Mapping[str, float]) -> Fault | None:
    """Find where a probe leaps, for good, by as much as a change of unit does."""
    kept = np.flatnonzero(~np.isnan(sieve.degc[probe]))
    if len(kept) < 6:
        return None
    three = np.lib.stride_tricks.sliding_window_view(sieve.degc[probe][kept], 3)
    middle, calm = np.median(three, axis=1), np.ptp(three, axis=1) <= limits["unit.leap_match"]
    before, after = middle[:-3], middle[3:]
    low, high = np.minimum(before, after), np.maximum(before, after)
    leaps = (high - low >= limits["unit.leap"]) & (high < _HOTTEST_F) & calm[:-3] & calm[3:]
    leaps &= np.abs(high - (1.8 * low + 32)) <= limits["unit.leap_match"]
    seconds = sieve.seconds[kept]
    leaps &= np.diff(seconds)[2:-2] <= 2 * DAY_S
    at = seconds[3:-2]  # not the hours on the desk before it was buried, or after
    leaps &= (at - seconds[0] >= DAY_S) & (seconds[-1] - at >= DAY_S)
    if not leaps.any():
        return None
    first = int(leaps.argmax())
    when = pd.Timestamp(int(at[first]), unit="s")
    place = f"{probe}, {when:%Y-%m-%d %H:%M}"
    unit = next(c.unit for c in log.layout.columns if c.probe == probe and c.statistic == "mean")
    one, other = (
        f"{from_canonical('soil temperature', value, str(unit)):.1f}"
        for value in (before[first], after[first])
    )
    found = f"readings leap from {one} to {other}, as when the unit changes"
    cure = "export all in one unit, or part the file and set unit for each part"
    return Fault(log.source, place, found, cure)


def _take_wrong_unit(
    sieve: Sieve,
    probe: str,
    log: Log,
    air: Mapping[str, FloatArray],
    limits: Mapping[str, float],
) -> None:
    values = sieve.degc[probe]
    if np.isnan(values).all():
        return
    unit = next(c.unit for c in log.layout.columns if c.probe == probe and c.statistic == "mean")
    other = "degF" if unit == "degC" else "degC"
    reason = ""
    hottest = np.nanquantile(values, 0.9)
    if unit == "degC" and limits["unit.hot"] < hottest < _HOTTEST_F:
        reason = f"a tenth of the readings is over {limits['unit.hot']:g} degC: they look like degF"
    elif air:
        swapped = to_canonical("soil temperature", values, "degF")
        if unit == "degF":
            swapped = values * 1.8 + 32  # the numbers as they stand in the file
        here, there = (abs(_middle(v - air["mean"])) for v in (values, swapped))
        if here > limits["unit.off_air"] and there < here / 2:
            reason = f"readings lie {here:.0f} degC from the air's: they look like {other}"
    if reason:
        whole = np.ones(len(values), bool)
        sieve.take("unit", probe, whole, f'{reason}; set unit = "{other}"')


def _middle(values: FloatArray) -> float:
    return float(np.nanmedian(values)) if not np.isnan(values).all() else 0.0


def _take_spikes(sieve: Sieve, probe: str, step: int, limits: Mapping[str, float]) -> None:
    if step > limits["spike.longest_step"] * 3600:
        return
    kept = np.flatnonzero(~np.isnan(sieve.degc[probe]))
    values, seconds = sieve.degc[probe][kept], sieve.seconds[kept]
    if len(values) < 5:
        return
    middle = np.median(np.lib.stride_tricks.sliding_window_view(values, 5), axis=1)
    near = seconds[4:] - seconds[:-4] <= 6 * step
    off = near & (np.abs(values[2:-2] - middle) > limits["spike.jump"])
    where = np.zeros(len(sieve.seconds), bool)
    where[kept[2:-2][off]] = True
    reason = f"more than {limits['spike.jump']:g} degC off the readings around"
    sieve.take("spike", probe, where, reason)


def _take_stuck(
    sieve: Sieve,
    probe: str,
    step: int,
    air: Mapping[str, FloatArray],
    limits: Mapping[str, float],
) -> None:
    kept = np.flatnonzero(~np.isnan(sieve.degc[probe]))
    if len(kept) < 2:
        return
    degc, seconds = sieve.degc[probe][kept], sieve.seconds[kept]
    breaks = (np.diff(degc) != 0) | (np.diff(seconds) > 3 * step)
    starts = np.flatnonzero(np.append(True, breaks))
    ends = np.append(starts[1:], len(degc)) - 1
    hours = (seconds[ends] - seconds[starts] + step) / 3600
    # How long a value may stay: a probe that shows the daily wave can't lack it for long;
    # frozen soil, soil under snow, and soil below the reach of the wave can.
    swings = _daily_swing(seconds, degc, limits) >= limits["stuck.wave"]
    cold = degc[starts] <= limits["stuck.cold"]
    wait = np.where(cold, limits["stuck.hours_cold"], limits["stuck.hours"])
    wait = wait if swings else np.full(len(starts), limits["stuck.hours_deep"])
    near_zero = np.abs(degc[starts]) <= limits["stuck.cold"]
    long = (hours >= wait) & ~near_zero & (ends - starts + 1 >= limits["stuck.readings"])
    if air:
        long |= cold & (hours >= limits["stuck.hours"]) & (air["min"][kept[starts]] > 0)
    for start, end in zip(starts[long], ends[long], strict=True):
        rows = kept[start : end + 1]
        # Long constant spells near 0 degC under snow are real; under warm air they are not.
        if near_zero[starts == start][0] and not _warm(air["min"][rows], limits["stuck.warm_air"]):
            continue
        where = np.zeros(len(sieve.seconds), bool)
        where[rows] = True
        days = hours[starts == start][0] / 24
        sieve.take("stuck", probe, where, f"stuck at {degc[start]:.2f} degC for {days:.1f} days")


def _daily_swing(seconds: IntArray, degc: FloatArray, limits: Mapping[str, float]) -> float:
    """Return the median over unfrozen days of the day's range [degC], 0 where there are none."""
    days = pd.Series(degc).groupby(seconds // DAY_S).agg(["min", "max"])
    days = days[days["min"] > limits["stuck.cold"]]
    return float((days["max"] - days["min"]).median()) if len(days) else 0.0


def _warm(air_min: FloatArray, limit: float) -> bool:
    return not np.isnan(air_min).all() and bool(np.nanmin(air_min) > limit)


def _take_lifted(
    sieve: Sieve, probe: str, air_daily: pd.DataFrame, limits: Mapping[str, float]
) -> None:
    index = pd.DatetimeIndex(sieve.seconds.astype("datetime64[s]"))
    days = daily_soil(pd.DataFrame({probe: sieve.degc[probe]}, index=index))[probe]
    air = air_daily.reindex(days.index)
    span = (days["soil_max_c"] - days["soil_min_c"]).to_numpy(float)
    air_span = (air["air_max_c"] - air["air_min_c"]).to_numpy(float)
    near = (days["soil_min_c"] - air["air_min_c"]).to_numpy(float) <= limits["lifted.near_min"]
    wide = (air_span >= limits["lifted.air_range"]) & (
        span >= limits["lifted.range_share"] * air_span
    )
    like_air = near & wide
    # A shallow probe in open soil may follow the air all season; one that is pulled out starts to.
    with np.errstate(invalid="ignore", divide="ignore"):
        share = span / air_span
    usual = _around(np.where(like_air, np.nan, share), int(limits["lifted.window"]))
    like_air &= np.isnan(usual) | (share >= limits["lifted.times"] * usual)
    out = _runs(like_air, int(limits["lifted.days"]))
    if not out.any():
        return
    usual = _around(np.where(out, np.nan, span), int(limits["lifted.window"]))
    # Out for part of a day: the whole of it is left out.
    edge = np.append(out[1:], False) | np.append(False, out[:-1])
    out |= edge & (near | (span > limits["lifted.times"] * usual))
    first = sieve.seconds[0] // DAY_S
    for start, end in _spans(out):
        day = sieve.seconds // DAY_S - first
        where = (day >= start) & (day < end)
        reason = "the day's range is that of the air: the probe was out of the ground"
        sieve.take("out of the ground", probe, where, reason)


def _around(values: FloatArray, days: int) -> FloatArray:
    """Return the median of the days around each day; NaN where fewer than ten are known."""
    window = pd.Series(values).rolling(2 * days + 1, center=True, min_periods=10)
    return window.median().to_numpy(float)


def _runs(flags: BoolArray, least: int) -> BoolArray:
    out = np.zeros(len(flags), bool)
    for start, end in _spans(flags):
        if end - start >= least:
            out[start:end] = True
    return out


def _spans(flags: BoolArray) -> Iterator[tuple[int, int]]:
    edges = np.flatnonzero(np.diff(flags.astype(np.int8), prepend=0, append=0))
    yield from zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True)


def _tell_gaps(
    sieve: Sieve, probe: str, present: BoolArray, step: int, limits: Mapping[str, float]
) -> None:
    seconds = sieve.seconds[present]
    ahead = np.diff(seconds)
    gaps = np.flatnonzero(ahead > max(1.5 * step, limits["gap.shortest"] * 3600 + step))
    if not len(gaps):
        return
    lacking = np.rint(ahead / step).astype(np.int64) - 1
    long = gaps[ahead[gaps] >= DAY_S + step][:_LONG_GAPS]
    for n in long:
        days = (ahead[n] - step) / DAY_S
        reason = f"no readings for {days:.1f} days"
        sieve.tell("gap", probe, seconds[n : n + 2], int(lacking[n]), reason)
    rest = np.setdiff1d(gaps, long)
    if len(rest):
        number = "one stretch" if len(rest) == 1 else f"{len(rest)} stretches"
        hours = (ahead[rest].max() - step) / 3600
        reason = f"{number} without readings, the longest of {hours:.1f} hours"
        ends = np.concatenate([seconds[rest], seconds[rest + 1]])
        sieve.tell("gap", probe, ends, int(lacking[rest].sum()), reason)


def _tell_once_a_day(sieve: Sieve, log: Log) -> None:
    if not log.daily or not len(sieve.seconds):
        return
    hours = np.unique(sieve.seconds % DAY_S)
    if len(hours) == 1 and hours[0] != 0:
        time = pd.Timestamp(int(hours[0]), unit="s")
        reason = f"one reading a day, at {time:%H:%M}: it is not the day's mean"
        sieve.tell("once a day", "", sieve.seconds, len(sieve.seconds), reason)


def _join_probes(flags: Sequence[Flag], probes: Sequence[str]) -> Iterator[Flag]:
    """Make one flag of those that say the same of every probe; sort them by day."""
    same: dict[Flag, list[Flag]] = {}
    for flag in flags:
        same.setdefault(replace(flag, probe=""), []).append(flag)
    out: list[Flag] = []
    for whole, group in same.items():
        out += [whole] if len(probes) > 1 and len(group) == len(probes) else group
    yield from sorted(out, key=lambda f: (f.first or date.min, f.kind, f.probe))
