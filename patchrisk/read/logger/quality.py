"""Readings judged: what can't be soil temperature is flagged, counted and left out of the days.

The thresholds are in thresholds/quality.toml with their sources, the plausible range in
`patchrisk.base.units`. Every reading is flagged for one reason at most, the first that holds in the
order of the checks, so that rows read = kept + flagged + missing for each probe.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import date

import numpy as np
import pandas as pd

from patchrisk.base.errors import Fault, InputError
from patchrisk.base.units import (
    QUANTITIES,
    BoolArray,
    FloatArray,
    IntArray,
    from_canonical,
    to_canonical,
)
from patchrisk.read.logger.daily import (
    DAY_S,
    by_day,
    merge_equal_times,
    note_clock_steps,
    put_in_order,
    share_contradicting,
    usual_step,
)
from patchrisk.read.logger.heading import find_hour, from_degc, says_mean
from patchrisk.read.logger.layout import Flag, Log, moment_of, quality_limits

_HOTTEST_F = from_canonical("soil temperature", QUANTITIES["soil temperature"].high, "degF")
_LONG_GAPS = 10  # gaps of a day and more that are told one by one


def check_readings(
    log: Log, air_daily: pd.DataFrame | None = None, today: date | None = None
) -> Log:
    """Judge the readings of a logger file.

    ``air_daily``: air_min_c and air_max_c [degC], and air_mean_c if there is one, by local standard
    day. Without it a probe lying in the air can't be told. ``today``: readings after this day are
    flagged. Returns the log on unique, rising times. InputError when so many
    times come twice with different values that they must have been misread, or a probe's unit
    changes within the file.
    """
    limits = quality_limits()
    log = replace(log, degc={p: v.copy() for p, v in log.degc.items()}, flags=list(log.flags))
    if today is not None:
        after = np.datetime64(today, "s").astype(np.int64) + DAY_S
        log.leave_out_rows("future", log.seconds >= after, f"after today, {today}")
    if share_contradicting(log) > limits["doubled.share"]:
        raise InputError(_doubled(log))
    put_in_order(log)
    merge_equal_times(log)
    if not log.daily:
        note_clock_steps(log)
    present = {probe: ~np.isnan(v) for probe, v in log.degc.items()}
    step = usual_step(log.seconds)
    air = _air(air_daily, log.seconds)
    if faults := [f for probe in log.degc if (f := _unit_change(log, probe))]:
        raise InputError(faults)
    for probe in log.degc:
        _leave_out_wrong_unit(log, probe, air)
        _leave_out_of_range(log, probe)
        if step is not None and step < DAY_S:
            _leave_out_spikes(log, probe, step)
            _leave_out_stuck(log, probe, step, air)
            if air_daily is not None:
                _leave_out_lifted(log, probe, air_daily)
        if step is not None:
            _note_gaps(log, probe, present[probe], step)
        _note_once_a_day(log, probe)
    log.flags = list(_join_probes(log.flags, list(log.degc)))
    return log


def _doubled(log: Log) -> Fault:
    found = "many times come twice with different values"
    cure = (
        "a 12-hour clock without AM and PM, dates without their times, or one row for each probe: "
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
        given = air_daily["air_mean_c"].reindex(days).to_numpy(float)
        mean = np.where(np.isnan(given), mean, given)
    return {"min": low, "max": high, "mean": mean}


def _leave_out_of_range(log: Log, probe: str) -> None:
    limits = quality_limits()
    kind = QUANTITIES["soil temperature"]
    degc = log.degc[probe]
    odd = (degc < kind.low) | (degc > kind.high)
    if not odd.any():
        return
    low, high = np.nanmin(degc[odd]), np.nanmax(degc[odd])
    seen = f"{low:.1f}" if low == high else f"{low:.1f} to {high:.1f}"
    reason = f"{seen} degC is outside {kind.low:g} to {kind.high:g} degC"
    if odd.sum() > limits["range.share"] * (~np.isnan(degc)).sum():
        odd = np.ones(len(degc), bool)
        reason += ", so are most readings: the few that are not are chance"
    log.leave_out("out of range", probe, odd, reason)


def _unit_change(log: Log, probe: str) -> Fault | None:
    """Find where a probe leaps, for good, by as much as a change of unit does."""
    limits = quality_limits()
    kept = np.flatnonzero(~np.isnan(log.degc[probe]))
    if len(kept) < 6:
        return None
    three = np.lib.stride_tricks.sliding_window_view(log.degc[probe][kept], 3)
    middle, calm = np.median(three, axis=1), np.ptp(three, axis=1) <= limits["unit.leap_match"]
    before, after = middle[:-3], middle[3:]
    low, high = np.minimum(before, after), np.maximum(before, after)
    leaps = (high - low >= limits["unit.leap"]) & (high < _HOTTEST_F) & calm[:-3] & calm[3:]
    leaps &= np.abs(high - (1.8 * low + 32)) <= limits["unit.leap_match"]
    seconds = log.seconds[kept]
    leaps &= np.diff(seconds)[2:-2] <= 2 * DAY_S
    at = seconds[3:-2]  # not the hours on the desk before it was buried, or after
    leaps &= (at - seconds[0] >= DAY_S) & (seconds[-1] - at >= DAY_S)
    if not leaps.any():
        return None
    first = int(leaps.argmax())
    when = moment_of(at[first])
    place = f"{probe}, {when:%Y-%m-%d %H:%M}"
    unit = log.column(probe).unit or "degC"
    left, right = (f"{from_degc(value, unit):.1f}" for value in (before[first], after[first]))
    found = f"readings leap from {left} to {right}, as when the unit changes"
    cure = "export all in one unit, or part the file and set unit for each part"
    return Fault(log.source, place, found, cure)


def _leave_out_wrong_unit(log: Log, probe: str, air: Mapping[str, FloatArray]) -> None:
    limits = quality_limits()
    values = log.degc[probe]
    if np.isnan(values).all():
        return
    unit = log.column(probe).unit
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
        log.leave_out("unit", probe, whole, f'{reason}; set unit = "{other}"')


def _middle(values: FloatArray) -> float:
    return float(np.nanmedian(values)) if not np.isnan(values).all() else 0.0


def _leave_out_spikes(log: Log, probe: str, step: int) -> None:
    limits = quality_limits()
    if step > limits["spike.longest_step"] * 3600:
        return
    kept = np.flatnonzero(~np.isnan(log.degc[probe]))
    values, seconds = log.degc[probe][kept], log.seconds[kept]
    if len(values) < 5:
        return
    jump = limits["spike.jump"]
    middle = np.median(np.lib.stride_tricks.sliding_window_view(values, 5), axis=1)
    near = seconds[4:] - seconds[:-4] <= 6 * step
    off = near & (np.abs(values[2:-2] - middle) > jump)
    # The top of a sharp but smooth wave: the lines through the readings on either side lead to it.
    rise, fall = 2 * values[1:-3] - values[:-4], 2 * values[3:-1] - values[4:]
    off &= ~((np.abs(values[2:-2] - rise) <= jump) & (np.abs(values[2:-2] - fall) <= jump))
    where = np.zeros(len(log.seconds), bool)
    where[kept[2:-2][off]] = True
    reason = f"more than {limits['spike.jump']:g} degC off the readings around"
    log.leave_out("spike", probe, where, reason)


def _leave_out_stuck(log: Log, probe: str, step: int, air: Mapping[str, FloatArray]) -> None:
    limits = quality_limits()
    kept = np.flatnonzero(~np.isnan(log.degc[probe]))
    if len(kept) < 2:
        return
    degc, seconds = log.degc[probe][kept], log.seconds[kept]
    breaks = (np.diff(degc) != 0) | (np.diff(seconds) > 3 * step)
    starts = np.flatnonzero(np.append(True, breaks))
    ends = np.append(starts[1:], len(degc)) - 1
    hours = (seconds[ends] - seconds[starts] + step) / 3600
    # How long a value may stay: a probe that shows the daily wave, on the days about as well as
    # on the whole, can't lack it for long; frozen soil, soil under snow, and soil below the reach
    # of the wave can, and a coarse probe can more easily.
    wave = max(limits["stuck.wave"], limits["stuck.steps"] * _resolution(degc))
    swings = _swings_about(seconds, degc, starts, ends, wave, int(limits["stuck.about"]))
    swings &= _daily_swing(seconds, degc) >= wave
    cold = degc[starts] <= limits["stuck.cold"]
    wait = np.where(cold, limits["stuck.hours_cold"], limits["stuck.hours"])
    wait = np.where(swings, wait, limits["stuck.hours_deep"])
    near_zero = np.abs(degc[starts]) <= limits["stuck.cold"]
    long = (hours >= wait) & ~near_zero & (ends - starts + 1 >= limits["stuck.readings"])
    if air:
        long |= cold & (hours >= limits["stuck.hours"]) & (air["min"][kept[starts]] > 0)
    for start, end in zip(starts[long], ends[long], strict=True):
        rows = kept[start : end + 1]
        # Long constant spells near 0 degC under snow are real; under warm air they are not.
        if near_zero[starts == start][0] and not _warm(air["min"][rows], limits["stuck.warm_air"]):
            continue
        where = np.zeros(len(log.seconds), bool)
        where[rows] = True
        stuck = _long(hours[starts == start][0] / 24, "day")
        log.leave_out("stuck", probe, where, f"stuck at {degc[start]:.2f} degC for {stuck}")


def _daily_swing(seconds: IntArray, degc: FloatArray) -> float:
    """Return the median over unfrozen days of the day's range [degC], 0 where there are none."""
    limits = quality_limits()
    days = pd.Series(degc).groupby(seconds // DAY_S).agg(["min", "max"])
    days = days[days["min"] > limits["stuck.cold"]]
    return float((days["max"] - days["min"]).median()) if len(days) else 0.0


def _resolution(degc: FloatArray) -> float:
    """Return the least step between two values of a probe [degC]."""
    steps = np.diff(np.unique(np.round(degc, 3)))
    return float(np.median(np.sort(steps)[: max(1, len(steps) // 4)])) if len(steps) else 0.0


def _swings_about(
    seconds: IntArray,
    degc: FloatArray,
    starts: IntArray,
    ends: IntArray,
    wave: float,
    about: int,
) -> BoolArray:
    """Whether the days before and after each run of one value show the daily wave.

    A side without readings says nothing against it: a probe that is stuck may stay so.
    """
    out = np.ones(len(starts), bool)
    for n, (start, end) in enumerate(zip(starts.tolist(), ends.tolist(), strict=True)):
        if seconds[end] - seconds[start] < DAY_S:
            continue
        first, last = seconds[start] // DAY_S, seconds[end] // DAY_S
        for low, high in ((first - about, first), (last + 1, last + 1 + about)):
            part = slice(*np.searchsorted(seconds, (low * DAY_S, high * DAY_S)))
            if part.stop - part.start < 2 or seconds[part][-1] - seconds[part][0] < DAY_S / 2:
                continue
            days = pd.Series(degc[part]).groupby(seconds[part] // DAY_S)
            out[n] &= float((days.max() - days.min()).median()) >= wave
    return out


def _warm(air_min: FloatArray, limit: float) -> bool:
    return not np.isnan(air_min).all() and bool(np.nanmin(air_min) > limit)


def _leave_out_lifted(log: Log, probe: str, air_daily: pd.DataFrame) -> None:
    limits = quality_limits()
    soil = by_day(log.seconds, log.degc[probe])
    air = air_daily.reindex(pd.DatetimeIndex(soil.dates))
    air_low = air["air_min_c"].to_numpy(float)
    span, air_span = soil.max_c - soil.min_c, air["air_max_c"].to_numpy(float) - air_low
    near = soil.min_c - air_low <= limits["lifted.near_min"]
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
    first = log.seconds[0] // DAY_S
    for start, end in _spans(out):
        day = log.seconds // DAY_S - first
        where = (day >= start) & (day < end)
        reason = "the day's range is that of the air: the probe was out of the ground"
        log.leave_out("out of the ground", probe, where, reason)


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


def _long(number: float, unit: str) -> str:
    """Write a length of time to a tenth: ``2 days``, ``8.5 days``."""
    tenths = f"{number:.1f}".removesuffix(".0")
    return f"{tenths} {unit}{'' if tenths == '1' else 's'}"


def _note_gaps(log: Log, probe: str, present: BoolArray, step: int) -> None:
    limits = quality_limits()
    seconds = log.seconds[present]
    ahead = np.diff(seconds)
    gaps = np.flatnonzero(ahead > max(1.5 * step, limits["gap.shortest"] * 3600 + step))
    if not len(gaps):
        return
    lacking = np.rint(ahead / step).astype(np.int64) - 1
    long = gaps[ahead[gaps] >= DAY_S + step][:_LONG_GAPS]
    for n in long:
        days = (ahead[n] - step) / DAY_S
        reason = f"no readings for {_long(days, 'day')}"
        log.note("gap", probe, seconds[n : n + 2], int(lacking[n]), reason)
    rest = np.setdiff1d(gaps, long)
    if len(rest):
        number = "one stretch" if len(rest) == 1 else f"{len(rest)} stretches"
        hours = (ahead[rest].max() - step) / 3600
        reason = f"{number} without readings, the longest of {_long(hours, 'hour')}"
        ends = np.concatenate([seconds[rest], seconds[rest + 1]])
        log.note("gap", probe, ends, int(lacking[rest].sum()), reason)


def _note_once_a_day(log: Log, probe: str) -> None:
    hours = hour_of_day(log, probe)
    if hours is None:
        return
    first, middle, last = (
        f"{moment_of(round(h * 3600)):%H:%M}" for h in np.nanquantile(hours, [0.05, 0.5, 0.95])
    )
    about = middle if first == last else f"{middle} ({first} to {last})"
    reason = f"one reading a day, at {about}: it is not the day's mean"
    log.note("once a day", probe, log.seconds, len(log.seconds), reason)


def hour_of_day(log: Log, probe: str) -> FloatArray | None:
    """Return the hour of the one reading of each day [h], from the first day to the last.

    None where each stands for its whole day: midnight is how a day's own value is stamped, and a
    heading may say that it is a mean; or at which hour of the day it was read.
    """
    header = log.column(probe).header
    if not log.daily or not len(log.seconds) or says_mean(header):
        return None
    day, hour = np.divmod(log.seconds, DAY_S)
    if not hour.any():
        said = find_hour(header)
        if said is None:
            return None
        hour = np.full(len(day), said * 3600)
    out = np.full(day[-1] - day[0] + 1, np.nan)
    out[day - day[0]] = hour / 3600
    return out


def _join_probes(flags: Sequence[Flag], probes: Sequence[str]) -> Iterator[Flag]:
    """Make one flag of those that say the same of every probe; sort them by day."""
    same: dict[Flag, list[Flag]] = {}
    for flag in flags:
        same.setdefault(replace(flag, probe=""), []).append(flag)
    out: list[Flag] = []
    for whole, group in same.items():
        out += [whole] if len(probes) > 1 and len(group) == len(probes) else group
    yield from sorted(out, key=lambda f: (f.first or date.min, f.kind, f.probe))
