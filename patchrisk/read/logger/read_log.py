"""One logger file read: its layout found, its times on the site's clock, its probes in degC."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pandas as pd

from patchrisk.base.errors import Fault, InputError
from patchrisk.base.toml_files import load_numbers
from patchrisk.base.units import BoolArray, FloatArray
from patchrisk.read.logger.columns import ColumnContents, classify_columns
from patchrisk.read.logger.heading import looks_like_kelvin, to_degc
from patchrisk.read.logger.layout import (
    DECIMALS,
    DELIMITERS,
    Column,
    ColumnStatistic,
    Flag,
    FlagKind,
    Log,
    LogLayout,
    LogOptions,
    TemperatureUnit,
    offset_words,
)
from patchrisk.read.logger.plausible import why_not_soil
from patchrisk.read.logger.summer_time import (
    describe_evidence,
    find_summer_time,
    rule_for,
    to_standard,
)
from patchrisk.read.logger.time_order import usual_step
from patchrisk.read.tables.cells import cell_unit, to_numbers
from patchrisk.read.tables.delimited import RawTable
from patchrisk.read.tables.raw_table import read_raw_table
from patchrisk.read.tables.timestamps import Moments, Stamps, find_offset, read_stamps
from patchrisk.read.weather.columns import find_service

_DAY = timedelta(days=1)
_CELL_UNITS: dict[str, TemperatureUnit] = {"C": "degC", "F": "degF"}
_SAMPLED = (0.13, 0.52, 0.87)  # where in a file the values shown of a column stand
_SPREAD = 2000  # cells from which a column of words is known
_WORDS = 0.8  # share of words among them; half of a column's cells make it one


class _Numbers(NamedTuple):
    """A column as numbers, and where it holds words instead."""

    degrees: FloatArray
    words: BoolArray

    @property
    def missing(self) -> BoolArray:
        return np.isnan(self.degrees) & ~self.words


def read_log(path: Path, options: LogOptions | None = None) -> Log:
    """Read a logger file: find its layout, its times and its probes.

    Parameters
    ----------
    options : LogOptions, optional
        What the user knows of the file; the rest is found, and shown in the log's layout.

    Raises
    ------
    InputError
        When the file is not there, no text, has no times or no soil temperature, or can be
        understood in more than one way.
    """
    options = options or LogOptions()
    source = str(path)
    _refuse_marks(options, source)
    table = read_raw_table(path, options)
    service = find_service(table)
    if service is not None and not service.soil and not options.columns:
        found = "daily weather as a weather service writes it, without soil temperature"
        raise InputError(Fault(source, "", found, "name it under [[weather]], not [[logger]]"))
    stamps = read_stamps(
        [table.cells[i] for i in table.time_columns], options.date_order, table.time_header, source
    )
    step = _step(stamps, table)
    refuse_long_steps(step, source)
    daily = stamps.days_only if step is None else step >= _DAY
    numbers = {
        i: _numbers(table.cells[i], table.decimal)
        for i in range(len(table.names))
        if i not in table.time_columns
    }
    filled = [
        _filled(table, i, numbers, stamps.moments, options.latitude)
        for i in range(len(table.names))
    ]
    columns = classify_columns(
        table.names, table.under, filled, table.time_columns, daily, options, source
    )
    columns = _with_units(_with_depth(columns, options, source), numbers, options, source)
    moments, clock, clock_flags = _to_site(table, stamps, step, options, source)
    soil = [c for c in columns if c.role == "soil temperature"]
    means = {str(c.probe): numbers[c.number - 1] for c in soil if c.statistic == "mean"}
    rows, flags = _count(
        table, moments, [c for c in soil if c.statistic == "mean"], numbers, source
    )
    timed = ~np.isnat(moments)
    sound = ~table.shifted[timed]
    of_probe: dict[tuple[str, ColumnStatistic], FloatArray] = {
        (str(c.probe), c.statistic): to_degc(
            np.where(sound, numbers[c.number - 1].degrees[timed], np.nan), c.unit or "degC"
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
        missing={probe: int((n.missing & rows).sum()) for probe, n in means.items()},
        lines=table.cells.index.to_numpy(np.int64)[timed],
        daily=daily,
    )


def refuse_long_steps(step: timedelta | None, source: str) -> None:
    """Refuse rows of weeks or months: what they say is true of no single day."""
    if step is not None and step >= timedelta(days=load_numbers("quality")["step.most"].value):
        cure = "export one row a day, or more"
        raise InputError(Fault(source, "", f"one row for {step.days} days", cure))


def _numbers(cells: "pd.Series[str]", decimal: str) -> _Numbers:
    """Read a column; one of words, as a spread of its cells shows, is not tried cell by cell."""
    filled = np.flatnonzero(cells.notna().to_numpy())
    if len(filled) > _SPREAD:
        some = cells.iloc[filled[np.linspace(0, len(filled) - 1, _SPREAD).astype(int)]]
        if to_numbers(some, decimal)[1].mean() > _WORDS:
            return _Numbers(np.full(len(cells), np.nan), cells.notna().to_numpy())
    return _Numbers(*to_numbers(cells, decimal))


def _refuse_marks(options: LogOptions, source: str) -> None:
    faults = [
        Fault(source, name, repr(given), f"write one of {', '.join(map(repr, known))}")
        for name, given, known in (
            ("delimiter", options.delimiter, DELIMITERS),
            ("decimal", options.decimal, DECIMALS),
        )
        if given is not None and given not in known
    ]
    if faults:
        raise InputError(faults)


def _step(stamps: Stamps, table: RawTable) -> timedelta | None:
    timed = ~np.isnat(stamps.moments)
    rows = [timed]
    if table.apart:
        values = [i for i in table.cells if i not in table.time_columns]
        rows = [timed & table.cells[i].notna().to_numpy() for i in values]
    found = (usual_step(stamps.moments[r].astype("datetime64[s]").astype(np.int64)) for r in rows)
    steps = [seconds for seconds in found if seconds is not None]
    return timedelta(seconds=min(steps)) if steps else None


def _filled(
    table: RawTable,
    index: int,
    columns: Mapping[int, _Numbers],
    moments: Moments,
    latitude: float | None,
) -> ColumnContents:
    if index not in columns:
        return ColumnContents(len(table.cells), 0)
    column = columns[index]
    values = column.degrees
    count = int((~column.missing).sum())
    cells = table.cells[index].dropna().head(50)
    unit = None if pd.api.types.is_numeric_dtype(cells) else cell_unit(map(str, cells))
    known = _CELL_UNITS.get(unit or "")

    def doubt(unit: TemperatureUnit | None) -> str:
        return why_not_soil(moments, values, unit, latitude)

    numbers = int((~np.isnan(values)).sum())
    vague = numbers > 0 and _unit_of(values)[0] is None
    return ColumnContents(count, numbers, known, _sample(values), doubt, vague)


def _unit_of(values: FloatArray) -> tuple[TemperatureUnit | None, float]:
    """Return the one unit that soil temperatures can be in, if there is one, and their median."""
    limits = load_numbers("quality")
    if looks_like_kelvin(values, "soil temperature"):
        return "K", float(np.nanmedian(values))
    values = values[np.abs(values) < 200]  # codes and broken wires say nothing of the unit
    middle = float(np.median(values)) if len(values) else 0.0
    if middle < limits["unit.mild"].value:
        return "degC", middle
    return "degF" if np.quantile(values, 0.9) > limits["unit.hot"].value else None, middle


def _sample(values: FloatArray) -> str:
    """Show a column by three of its values, from early, midway and late in the file."""
    known = values[~np.isnan(values)]
    some = known[(len(known) * np.array(_SAMPLED)).astype(int)] if len(known) else known
    return ", ".join(dict.fromkeys(f"{value:.6g}" for value in some))


def _with_depth(columns: Sequence[Column], options: LogOptions, source: str) -> tuple[Column, ...]:
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
    numbers: Mapping[int, _Numbers],
    options: LogOptions,
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
        unit, middle = _unit_of(numbers[column.number - 1].degrees)
        if unit is not None:
            why = f"{column.why}; no unit stated, median {middle:.1f} can only be {unit}"
            return replace(column, unit=unit, why=why)
        found = f"no unit is stated, and readings around {middle:.0f} can be degC or degF"
        place = f"column {column.number} {column.header!r}"
        faults.append(Fault(source, place, found, 'set unit = "degC" or unit = "degF"'))
        return column

    out = tuple(map(with_unit, columns))
    if faults:
        raise InputError(faults)
    return out


def _to_site(
    table: RawTable, stamps: Stamps, step: timedelta | None, options: LogOptions, source: str
) -> tuple[Moments, str, tuple[Flag, ...]]:
    """Move the file's times to the site's local standard time, and say how."""
    moments, site = stamps.moments, options.site_utc_offset
    if stamps.days_only:
        return moments, "days as the file names them", ()
    if step is not None and step >= _DAY and stamps.in_utc and _at_midnight(stamps.written):
        # A day is what the file names, whatever its midnight is called in UTC, in summer too.
        return stamps.written, "days as the file names them", ()
    if stamps.in_utc:
        offset, where = timedelta(), "every time carries its offset"
    elif options.utc_offset is not None:
        offset, where = options.utc_offset, f"as told, {offset_words(options.utc_offset)}"
    elif found := find_offset(table.time_header, table.titles):
        offset, where = found
    else:
        offset, where = None, "no offset from UTC in the file"
    flags: tuple[Flag, ...] = ()
    if step is not None and step < _DAY and not stamps.in_utc:
        moments, said, flags = _summer(moments, step, offset, options, source)
        where += said
    if site is None:
        return moments, f"{where}; times {'are UTC' if stamps.in_utc else 'as they stand'}", flags
    if offset is None:
        return moments, f"{where}; times taken as the site's standard time", flags
    shift = site - offset
    if not shift:
        return moments, f"{where}, which is the site's standard time", flags
    moved = f"{where}; times moved to the site's standard time, {offset_words(site)}"
    return moments + np.timedelta64(int(shift.total_seconds()), "s"), moved, flags


def _at_midnight(moments: Moments) -> bool:
    known = moments[~np.isnat(moments)]
    return bool((known == known.astype("datetime64[D]")).all())


def _summer(
    moments: Moments,
    step: timedelta,
    offset: timedelta | None,
    options: LogOptions,
    source: str,
) -> tuple[Moments, str, tuple[Flag, ...]]:
    evidence = find_summer_time(moments[~np.isnat(moments)], step)
    standard = options.site_utc_offset if offset is None else offset
    if options.summer_time:
        rule = evidence.rule if evidence else None
        if rule is None and standard is not None:
            rule = rule_for(standard)
        if rule is None:
            found = "no rule for summer time is known for this file"
            cure = "set utc_offset, or take summer_time out"
            raise InputError(Fault(source, "summer_time", found, cure))
        return to_standard(moments, rule), f"; summer time of {rule.name} taken out, as told", ()
    if evidence is None:
        return moments, "", ()
    days = sorted((*evidence.skipped, *evidence.doubled))
    reason = describe_evidence(evidence, options.site_utc_offset)
    flag = Flag("summer time", "", days[0], days[-1], len(days), reason, left_out=False)
    return moments, "; it looks like summer time in summer", (flag,)


def _count(
    table: RawTable,
    moments: Moments,
    soil: Sequence[Column],
    numbers: Mapping[int, _Numbers],
    source: str,
) -> tuple[BoolArray, list[Flag]]:
    """Tell rows with readings from other lines; flag words, and values without a time."""
    limits = load_numbers("quality")
    lines = table.cells.index.to_numpy(np.int64)
    timed = ~np.isnat(moments)
    valued = np.any([~np.isnan(n.degrees) for n in numbers.values()], axis=0)
    rows, lost = timed | valued, valued & ~timed
    if lost.sum() > limits["time.share"].value * valued.sum():
        found = f"{lost.sum()} rows with values but no time"
        cure = "write date and time in each row"
        raise InputError(Fault(source, f"line {lines[lost][0]}", found, cure))
    faults: list[Fault] = []
    flags: list[Flag] = []
    for column in soil:
        probe, cells = str(column.probe), numbers[column.number - 1]
        full = ~cells.missing & rows
        words, shifted = cells.words & rows & ~table.shifted, full & table.shifted
        late = lost & ~np.isnan(cells.degrees) & ~shifted
        if words.any():
            at = int(np.flatnonzero(words)[0])
            line = table.line(at, column.number - 1)
            found = f"{str(table.cells[column.number - 1].iloc[at])!r} in place of a number"
            if words.sum() > limits["text.share"].value * full.sum():
                place = f"line {line}, column {column.number} {column.header!r}"
                faults.append(Fault(source, place, found, "export plain numbers"))
            reason = f"{found}, first on line {line}"
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
