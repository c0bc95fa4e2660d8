"""Soil-temperature logger files as loggers write them: read, checked, and made into days.

`load_log` does all of it; `read_log`, `check_readings` and `daily_soil` are its steps.
"""

from collections import Counter
from datetime import date
from pathlib import Path

import pandas as pd

from patchrisk.errors import Fault, InputError
from patchrisk.weather.daily import daily_soil
from patchrisk.weather.layout import (
    Column,
    Flag,
    Layout,
    Log,
    LoggedSoil,
    LogOptions,
    Probe,
    Tally,
)
from patchrisk.weather.quality import check_readings
from patchrisk.weather.reading import read_log

__all__ = [
    "Column",
    "Flag",
    "Layout",
    "Log",
    "LogOptions",
    "LoggedSoil",
    "Probe",
    "Tally",
    "check_readings",
    "daily_soil",
    "load_log",
    "read_log",
]

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
    path : Path
    options : LogOptions, optional
    air_daily : DataFrame, optional
        Daily air temperature, for the checks that need it; see `check_readings`.
    today : date, optional
        Readings after it are flagged.

    Raises
    ------
    InputError
        When the file can't be read with certainty, or no reading in it can be used.
    """
    log = read_log(path, options)
    readings, flags = check_readings(log, air_daily, today)
    days = daily_soil(readings)
    probes = []
    for name in map(str, readings.columns):
        kept = int(readings[name].notna().sum())
        flagged = sum(f.count for f in flags if f.left_out and f.probe in ("", name))
        tally = Tally(log.rows, kept, flagged, log.missing[name])
        daily = _with_extremes(days[name], log, name)
        probes.append(Probe(name, log.depth_cm(name), daily, tally))
    if not any(probe.tally.kept for probe in probes):
        raise InputError(_nothing_left(log, flags))
    return LoggedSoil(log.layout, tuple(probes), flags)


def _with_extremes(daily: pd.DataFrame, log: Log, probe: str) -> pd.DataFrame:
    """Add the minima and maxima that a file of one row a day may have in columns of its own."""
    out = daily.copy()
    for name, frame in (("soil_min_c", log.lows), ("soil_max_c", log.highs)):
        if probe in frame:
            given = frame[probe][~frame.index.duplicated()]
            given.index = pd.DatetimeIndex(given.index).normalize()
            out[name] = given.reindex(out.index).where(out["soil_c"].notna())
    return out


def _nothing_left(log: Log, flags: tuple[Flag, ...]) -> Fault:
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
