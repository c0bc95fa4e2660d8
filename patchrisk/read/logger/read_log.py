"""Soil-temperature logger files as loggers write them: read, checked, and made into days.

The layout is found, times are put on the site's clock, probes in degC: `read_log`. Then readings
are judged (`quality.check_readings`) and made into days (`daily.by_day`): `load_log`.
"""

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pandas as pd

from patchrisk.base.errors import Fault, InputError
from patchrisk.base.units import BoolArray, FloatArray
from patchrisk.core.soil.root_depth import Probe, RowCounts
from patchrisk.read.logger.clock import to_site
from patchrisk.read.logger.columns import REACH_CM, FileColumn, classify_columns
from patchrisk.read.logger.daily import by_day, usual_step
from patchrisk.read.logger.heading import to_degc
from patchrisk.read.logger.layout import (
    Column,
    ColumnStatistic,
    Flag,
    FlagKind,
    Log,
    LoggedSoil,
    LogLayout,
    TemperatureUnit,
    quality_limits,
)
from patchrisk.read.logger.plausible import only_unit, why_not_soil
from patchrisk.read.logger.quality import check_readings, hour_of_day
from patchrisk.read.site import LoggerFile, Place
from patchrisk.read.tables.cells import cell_unit, to_numbers
from patchrisk.read.tables.delimited import RawTable
from patchrisk.read.tables.raw_table import read_raw_table, read_times
from patchrisk.read.tables.timestamps import Moments, Stamps
from patchrisk.read.weather.columns import find_service

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


_DAY = timedelta(days=1)
_CELL_UNITS: dict[str, TemperatureUnit] = {"C": "degC", "F": "degF"}
_SPREAD = 2000  # cells from which a column of words is known
_WORDS = 0.8  # share of words among them; half of a column's cells make it one


def load_log(
    path: Path,
    options: LoggerFile | None = None,
    place: Place | None = None,
    *,
    air_daily: pd.DataFrame | None = None,
    today: date | None = None,
) -> LoggedSoil:
    """Read a logger file, judge its readings and make them into days.

    ``air_daily``: daily air temperature, for the checks that need it; see `check_readings`.
    ``today``: readings after it are flagged. InputError when the file can't be read with certainty,
    or no reading in it can be used.
    """
    log = read_log(path, options, place)
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


def read_log(path: Path, options: LoggerFile | None = None, place: Place | None = None) -> Log:
    """Read a logger file: find its layout, its times and its probes.

    ``options``: what the user knows of the file; the rest is found, and shown in the log's layout.
    ``place``: with it times are moved to its local standard time, and the wave of the year is asked
    for in columns that are told. InputError when the file is not there, no text, has no times or no
    soil temperature, or can be understood in more than one way.
    """
    options = options or LoggerFile(file=path.name)
    source = str(path)
    table = read_raw_table(path, options)
    service = find_service(table)
    if service is not None and not service.soil and not options.columns:
        found = "daily weather as a weather service writes it, without soil temperature"
        raise InputError(Fault(source, "", found, "name it under [[weather]], not [[logger]]"))
    stamps = read_times(table, options)
    step = _step(stamps, table)
    refuse_long_steps(step, source)
    daily = stamps.days_only if step is None else step >= _DAY
    latitude = None if place is None else place.latitude
    given = [_column(table, i, stamps.moments, latitude) for i in range(len(table.names))]
    columns = classify_columns(given, daily, options, source)
    columns = _with_units(_with_depth(columns, options, source), given, options, source)
    offset = None if place is None else place.standard_offset
    moments, clock, clock_flags = to_site(table, stamps, step, options, offset)
    soil = [c for c in columns if c.role == "soil temperature"]
    means = [c for c in soil if c.statistic == "mean"]
    rows, flags = _count(table, moments, means, given)
    timed = ~np.isnat(moments)
    sound = ~table.shifted[timed]
    of_probe: dict[tuple[str, ColumnStatistic], FloatArray] = {
        (str(c.probe), c.statistic): to_degc(
            np.where(sound, given[c.number - 1].numbers[timed], np.nan), c.unit or "degC"
        )
        for c in soil
    }
    days = pd.DatetimeIndex(moments[timed]).normalize()
    again = days.duplicated()
    layout = LogLayout(
        encoding=table.encoding,
        delimiter=table.delimiter,
        decimal=table.decimal,
        header_line=table.header_line,
        first_line=table.first_line,
        date_order=stamps.order,
        step=step,
        clock=clock,
        columns=columns,
        notes=(*table.notes, *_notes(table, ~rows)),
    )
    return Log(
        source=source,
        layout=layout,
        seconds=moments[timed].astype("datetime64[s]").astype(np.int64),
        degc={probe: degc for (probe, stat), degc in of_probe.items() if stat == "mean"},
        extremes={
            key: pd.Series(degc[~again], days[~again])
            for key, degc in of_probe.items()
            if key[1] != "mean"
        },
        flags=[*clock_flags, *flags],
        rows=int(rows.sum()),
        missing={str(c.probe): int((given[c.number - 1].missing & rows).sum()) for c in means},
        lines=table.cells.index.to_numpy(np.int64)[timed],
        daily=daily,
    )


def refuse_long_steps(step: timedelta | None, source: str) -> None:
    """Refuse rows of weeks or months: what they say is true of no single day."""
    if step is not None and step >= timedelta(days=quality_limits()["step.most"]):
        cure = "export one row a day, or more"
        raise InputError(Fault(source, "", f"one row for {step.days} days", cure))


def _step(stamps: Stamps, table: RawTable) -> timedelta | None:
    timed = ~np.isnat(stamps.moments)
    rows = [timed]
    if table.apart:
        values = [i for i in table.cells if i not in table.time_columns]
        rows = [timed & table.cells[i].notna().to_numpy() for i in values]
    found = (usual_step(stamps.moments[r].astype("datetime64[s]").astype(np.int64)) for r in rows)
    steps = [seconds for seconds in found if seconds is not None]
    return timedelta(seconds=min(steps)) if steps else None


def _column(table: RawTable, index: int, moments: Moments, latitude: float | None) -> FileColumn:
    cells, time = table.cells[index], index in table.time_columns
    values, words = np.full(len(cells), np.nan), np.zeros(len(cells), bool)
    if not time:
        values, words = _numbers(cells, table.decimal)
    some = cells.dropna().head(50)
    plain = time or pd.api.types.is_numeric_dtype(some)
    return FileColumn(
        number=index + 1,
        name=table.names[index],
        under=table.under[index],
        time=time,
        cells=int((~np.isnan(values) | words).sum()),
        numbers=values,
        words=words,
        cell_unit=None if plain else _CELL_UNITS.get(cell_unit(map(str, some)) or ""),
        doubt=lambda unit: why_not_soil(moments, values, unit, latitude),
    )


def _numbers(cells: "pd.Series[str]", decimal: str) -> tuple[FloatArray, BoolArray]:
    """Read a column; one of words, as a spread of its cells shows, is not tried cell by cell."""
    filled = np.flatnonzero(cells.notna().to_numpy())
    if len(filled) > _SPREAD:
        some = cells.iloc[filled[np.linspace(0, len(filled) - 1, _SPREAD).astype(int)]]
        if to_numbers(some, decimal)[1].mean() > _WORDS:
            return np.full(len(cells), np.nan), cells.notna().to_numpy()
    return to_numbers(cells, decimal)


def _with_depth(columns: Sequence[Column], options: LoggerFile, source: str) -> tuple[Column, ...]:
    if options.depth_cm is None:
        return tuple(columns)
    probes = {c.probe for c in columns if c.role == "soil temperature"}
    if len(probes) > 1:
        found = f"one depth for {len(probes)} probes"
        cure = "give each its depth in columns"
        raise InputError(Fault(source, "depth", found, cure))
    return tuple(
        replace(c, depth_cm=options.depth_cm) if c.role == "soil temperature" else c
        for c in columns
    )


def _with_units(
    columns: Sequence[Column],
    given: Sequence[FileColumn],
    options: LoggerFile,
    source: str,
) -> tuple[Column, ...]:
    """Give every soil column a unit: as told, as its header says, or as its values show."""
    faults: list[Fault] = []

    def with_unit(column: Column) -> Column:
        if column.role != "soil temperature":
            return column
        if options.unit is not None:
            return replace(column, unit=options.unit, why=f"{column.why}; unit as told")
        if column.unit is not None:
            return column
        unit, middle = only_unit(given[column.number - 1].numbers)
        if unit is not None:
            why = f"{column.why}; no unit stated, median {middle:.1f} can only be {unit}"
            return replace(column, unit=unit, why=why)
        said = f"no unit is stated, and readings around {middle:.0f} can be degC or degF"
        place = f"column {column.number} {column.header!r}"
        faults.append(Fault(source, place, said, 'set unit = "degC" or unit = "degF"'))
        return column

    out = tuple(map(with_unit, columns))
    if faults:
        raise InputError(faults)
    return out


def _count(
    table: RawTable,
    moments: Moments,
    soil: Sequence[Column],
    given: Sequence[FileColumn],
) -> tuple[BoolArray, list[Flag]]:
    """Tell rows with readings from other lines; flag words, and values without a time."""
    limits = quality_limits()
    lines = table.cells.index.to_numpy(np.int64)
    timed = ~np.isnat(moments)
    valued = np.any([~np.isnan(of.numbers) for of in given], axis=0)
    rows, lost = timed | valued, valued & ~timed
    if lost.sum() > limits["time.share"] * valued.sum():
        said = f"{lost.sum()} rows with values but no time"
        cure = "write date and time in each row"
        raise InputError(table.fault(f"line {lines[lost][0]}", said, cure))
    faults: list[Fault] = []
    flags: list[Flag] = []
    for column in soil:
        probe, of = str(column.probe), given[column.number - 1]
        full = ~of.missing & rows
        words, shifted = of.words & rows & ~table.shifted, full & table.shifted
        late = lost & ~np.isnan(of.numbers) & ~shifted
        if words.any():
            at = int(np.flatnonzero(words)[0])
            line = table.line(at, column.number - 1)
            said = f"{str(table.cells[column.number - 1].iloc[at])!r} in place of a number"
            if words.sum() > limits["text.share"] * full.sum():
                place = f"line {line}, column {column.number} {column.header!r}"
                faults.append(table.fault(place, said, "export plain numbers"))
            reason = f"{said}, first on line {line}"
            flags.append(_flag("text", probe, moments[words], int(words.sum()), reason))
        if shifted.any():
            reason = f"more cells in the row than in others, first on line {lines[shifted][0]}"
            flags.append(_flag("cells", probe, moments[shifted], int(shifted.sum()), reason))
        if late.any():
            reason = f"values without a time, first on line {lines[late][0]}"
            flags.append(_flag("time", probe, moments[late], int(late.sum()), reason))
    if faults:
        raise InputError(faults)
    return rows, flags


def _flag(kind: FlagKind, probe: str, moments: Moments, count: int, reason: str) -> Flag:
    known = moments[~np.isnat(moments)]
    first, last = (
        (pd.Timestamp(m).date() for m in (known.min(), known.max())) if len(known) else (None, None)
    )
    return Flag(kind, probe, first, last, count, reason)


def _notes(table: RawTable, other: BoolArray) -> tuple[str, ...]:
    """Say which lines among the rows hold no readings."""
    if not other.any():
        return ()
    first = table.cells[other].iloc[0].dropna()
    text = " ".join(map(str, first))
    shown = text if len(text) <= 60 else text[:57] + "..."
    number = int(other.sum())
    lines = "1 line" if number == 1 else f"{number} lines"
    return (f"{lines} without readings set aside, first line {first.name}: {shown}",)
