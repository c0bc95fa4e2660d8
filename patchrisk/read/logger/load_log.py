"""Soil-temperature logger files as loggers write them: read, checked, and made into days.

Its steps, each of use by itself: `read_log.read_log`, `quality.check_readings`, `daily.daily_soil`.
"""

from collections import Counter
from dataclasses import replace
from datetime import date
from pathlib import Path

import pandas as pd

from patchrisk.base.errors import Fault, InputError
from patchrisk.read.logger.columns import REACH_CM
from patchrisk.read.logger.daily import daily_soil
from patchrisk.read.logger.layout import (
    Flag,
    LoggedProbe,
    LoggedSoil,
    LogOptions,
    RawLog,
    RowCounts,
)
from patchrisk.read.logger.quality import check_readings, hour_of_day
from patchrisk.read.logger.read_log import read_log

# What to do when one kind of flag has taken every reading.
_CURES = {
    "out of range": "check unit, decimal and columns",
    "unit": "set unit as the reason says",
    "stuck": "check the probe and its cable",
    "out of the ground": "check where the probe lies, and columns",
    "duplicate": "export one row for each time",
    "clock jump": "correct the times",
    "future": "correct the logger's clock, or date_order",
}


def load_log(
    path: Path,
    options: LogOptions | None = None,
    air_daily: pd.DataFrame | None = None,
    today: date | None = None,
) -> LoggedSoil:
    """Read a logger file, judge its readings and make them into days.

    Parameters
    ----------
    air_daily : DataFrame, optional
        Daily air temperature, for the checks that need it; see `check_readings`.
    today : date, optional
        Readings after it are flagged.

    Raises
    ------
    InputError
        When the file can't be read with certainty, or no reading in it can be used.
    """
    log = _within_reach(read_log(path, options))
    readings, flags = check_readings(log, air_daily, today)
    days = daily_soil(readings)
    probes = []
    for name in map(str, readings.columns):
        kept = int(readings[name].notna().sum())
        flagged = sum(f.count for f in flags if f.left_out and f.probe in ("", name))
        probes.append(
            LoggedProbe(
                name=name,
                depth_cm=log.column(name).depth_cm,
                daily=_with_extremes(days[name], log, name),
                counts=RowCounts(log.rows, kept, flagged, log.missing[name]),
                hour=hour_of_day(log, name),
            )
        )
    if not any(probe.counts.kept for probe in probes):
        raise InputError(_nothing_left(log, flags))
    return LoggedSoil(log.layout, tuple(probes), flags)


def _within_reach(log: RawLog) -> RawLog:
    """Pass over, by name, probes on the surface and those that no layer of interest is near."""
    notes = []
    for probe in map(str, log.readings.columns):
        depth = log.column(probe).depth_cm
        if depth is None or 0 < depth <= REACH_CM:
            continue
        where = f"{depth:.4g} cm, deeper than {REACH_CM:g} cm, to where a probe is of use"
        where = "0 cm, on the surface" if depth <= 0 else where
        notes.append((probe, f"{probe!r} passed over: it lies at {where}"))
    if not notes:
        return log
    gone = [probe for probe, _ in notes]
    if len(gone) == len(log.readings.columns):
        found = f"no probe below the surface and above {REACH_CM:g} cm: {'; '.join(_depths(log))}"
        cure = "name a file with a shallower probe, or correct the depth"
        raise InputError(Fault(log.source, "", found, cure))
    columns = tuple(
        replace(c, role="set aside", why="lies too deep or on the surface", probe=None)
        if c.probe in gone
        else c
        for c in log.layout.columns
    )
    said = (*log.layout.notes, *(note for _, note in notes))
    return replace(
        log,
        layout=replace(log.layout, columns=columns, notes=said),
        readings=log.readings.drop(columns=gone),
        lows=log.lows.drop(columns=gone, errors="ignore"),
        highs=log.highs.drop(columns=gone, errors="ignore"),
        flags=tuple(f for f in log.flags if f.probe not in gone),
        missing={probe: count for probe, count in log.missing.items() if probe not in gone},
    )


def _depths(log: RawLog) -> list[str]:
    names = map(str, log.readings.columns)
    return [f"{probe!r} at {log.column(probe).depth_cm:.4g} cm" for probe in names]


def _with_extremes(daily: pd.DataFrame, log: RawLog, probe: str) -> pd.DataFrame:
    """Add the minima and maxima that a file of one row a day may have in columns of its own."""
    out = daily.copy()
    for name, frame in (("soil_min_c", log.lows), ("soil_max_c", log.highs)):
        if probe in frame:
            given = frame[probe][~frame.index.duplicated()]
            given.index = pd.DatetimeIndex(given.index).normalize()
            out[name] = given.reindex(out.index).where(out["soil_c"].notna())
    return out


def _nothing_left(log: RawLog, flags: tuple[Flag, ...]) -> Fault:
    counts = Counter[str]()
    for flag in flags:
        if flag.left_out:
            counts[flag.kind] += flag.count
    if not counts:
        cure = "name other columns, or export again"
        return Fault(log.source, "", f"{log.rows} rows, and every reading is missing", cure)
    worst = counts.most_common(1)[0][0]
    reason = next(f.reason for f in flags if f.kind == worst)
    listed = ", ".join(f"{kind} {count}" for kind, count in counts.most_common())
    found = f"no reading is left: {listed} ({reason})"
    return Fault(log.source, "", found, _CURES.get(worst, "check the file"))
