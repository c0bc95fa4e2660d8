"""Soil-temperature logger files as loggers write them: read, checked, and made into days.

Its steps, each of use by itself: `read_log.read_log`, `quality.check_readings`, `daily.by_day`.
"""

from collections import Counter
from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd

from patchrisk.base.errors import Fault, InputError
from patchrisk.base.units import FloatArray
from patchrisk.core.soil.root_depth import Probe, RowCounts
from patchrisk.read.logger.columns import REACH_CM
from patchrisk.read.logger.daily import by_day
from patchrisk.read.logger.layout import ColumnStatistic, Log, LoggedSoil, LogOptions
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
    log = read_log(path, options)
    _pass_over(log)
    log = check_readings(log, air_daily, today)
    probes = tuple(_probe(log, name) for name in log.degc)
    if not any(probe.counts.kept for probe in probes):
        raise InputError(_nothing_left(log))
    return LoggedSoil(log.layout, probes, tuple(log.flags), file=path.name)


def _pass_over(log: Log) -> None:
    """Pass over, by name, probes on the surface and those that no layer of interest is near."""
    depths = {probe: log.column(probe).depth_cm for probe in log.degc}
    gone = {p: d for p, d in depths.items() if d is not None and not 0 < d <= REACH_CM}
    if not gone:
        return
    if len(gone) == len(depths):
        there = "; ".join(f"{probe!r} at {depth:.4g} cm" for probe, depth in gone.items())
        found = f"no probe below the surface and above {REACH_CM:g} cm: {there}"
        cure = "name a file with a shallower probe, or correct the depth"
        raise InputError(Fault(log.source, "", found, cure))
    notes = list(log.layout.notes)
    for probe, depth in gone.items():
        where = "0 cm, on the surface"
        if depth > 0:
            where = f"{depth:.4g} cm, deeper than {REACH_CM:g} cm, to where a probe is of use"
        notes.append(f"{probe!r} passed over: it lies at {where}")
        del log.degc[probe], log.missing[probe]
    columns = tuple(
        replace(c, role="set aside", why="lies too deep or on the surface", probe=None)
        if c.probe in gone
        else c
        for c in log.layout.columns
    )
    log.layout = replace(log.layout, columns=columns, notes=tuple(notes))
    log.flags = [flag for flag in log.flags if flag.probe not in gone]


def _probe(log: Log, name: str) -> Probe:
    degc, depth_cm = log.degc[name], log.column(name).depth_cm
    days = by_day(log.seconds, degc)

    def own(statistic: ColumnStatistic, of_readings: FloatArray) -> FloatArray:
        """Give the extremes that a file of one row a day may have in columns of their own."""
        given = log.extremes.get((name, statistic))
        if given is None:
            return of_readings
        found = given.reindex(pd.DatetimeIndex(days.dates)).to_numpy(float)
        return np.where(np.isnan(days.mean_c), np.nan, found)

    return replace(
        days,
        depth_cm=np.nan if depth_cm is None else depth_cm,
        min_c=own("min", days.min_c),
        max_c=own("max", days.max_c),
        hour=hour_of_day(log, name),
        name=name,
        counts=RowCounts(
            rows=log.rows,
            kept=int((~np.isnan(degc)).sum()),
            flagged=sum(f.count for f in log.flags if f.left_out and f.probe in ("", name)),
            missing=log.missing[name],
        ),
    )


def _nothing_left(log: Log) -> Fault:
    counts = Counter[str]()
    for flag in log.flags:
        if flag.left_out:
            counts[flag.kind] += flag.count
    if not counts:
        cure = "name other columns, or export again"
        return Fault(log.source, "", f"{log.rows} rows, and every reading is missing", cure)
    worst = counts.most_common(1)[0][0]
    reason = next(f.reason for f in log.flags if f.kind == worst)
    listed = ", ".join(f"{kind} {count}" for kind, count in counts.most_common())
    found = f"no reading is left: {listed} ({reason})"
    return Fault(log.source, "", found, _CURES.get(worst, "check the file"))
