"""How a logger file was understood, and what was wrong in it."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import cache
from typing import TYPE_CHECKING, Literal

import numpy as np

from patchrisk.base.toml_files import load_numbers
from patchrisk.base.units import BoolArray, FloatArray, IntArray
from patchrisk.core.soil.root_depth import Probe

if TYPE_CHECKING:
    import pandas as pd

DateOrder = Literal["day first", "month first", "year first"]
TemperatureUnit = Literal["degC", "degF", "K"]
Role = Literal["time", "soil temperature", "set aside", "text", "empty"]
ColumnStatistic = Literal["mean", "min", "max"]
FlagKind = Literal[
    "time",
    "text",
    "cells",
    "future",
    "order",
    "clock jump",
    "summer time",
    "duplicate",
    "out of range",
    "unit",
    "spike",
    "stuck",
    "out of the ground",
    "gap",
    "once a day",
]

DELIMITERS = {"\t": "tab", ";": "semicolon", ",": "comma", "|": "bar", " ": "blanks"}
DECIMALS = {".": "point", ",": "comma", " ": "blank"}


@dataclass(frozen=True)
class Column:
    """One column of the file and what it was taken for.

    ``number`` counts from 1; ``why`` is a plain phrase; ``depth_cm`` [cm] and ``unit`` are None
    where they are not known or do not apply.
    """

    number: int
    header: str
    role: Role
    why: str
    probe: str | None = None
    unit: TemperatureUnit | None = None
    depth_cm: float | None = None
    statistic: ColumnStatistic = "mean"


@dataclass(frozen=True)
class LogLayout:
    """How a file was understood."""

    encoding: str
    delimiter: str
    decimal: str
    header_line: int | None
    first_line: int
    date_order: str
    step: timedelta | None
    clock: str
    columns: tuple[Column, ...]
    notes: tuple[str, ...] = ()

    def lines(self) -> Iterator[str]:
        """Describe it for people."""
        header = f"line {self.header_line}" if self.header_line else "none"
        delimiter, decimal = DELIMITERS[self.delimiter], DECIMALS[self.decimal]
        yield f"encoding {self.encoding}, delimiter {delimiter}, decimal {decimal}"
        yield f"header {header}, readings from line {self.first_line}"
        yield f"dates: {self.date_order}"
        yield f"clock: {self.clock}"
        yield f"step: {_step_words(self.step)}"
        for column in self.columns:
            depth = "" if column.depth_cm is None else f" at {column.depth_cm:g} cm"
            unit = f" [{column.unit}]" if column.unit else ""
            name = f"column {column.number} {column.header!r}"
            yield f"{name}: {column.role}{depth}{unit}: {column.why}"
        yield from self.notes


@dataclass(frozen=True)
class Flag:
    """Something found wrong, or to be known, about readings of a file."""

    kind: FlagKind
    probe: str  # The probe's name; empty when every probe of the file is meant
    # first, last: The local standard days between which it lies
    first: date | None
    last: date | None
    count: int  # Readings concerned (for a gap: readings that are lacking)
    reason: str  # One plain phrase
    left_out: bool = True  # Whether the readings were kept from the daily values


@dataclass
class Log:
    """A logger file's readings, as read and then as judged: what is left out is flagged."""

    source: str
    layout: LogLayout
    seconds: IntArray  # Time of each row [s since 1970, on the site's standard clock]
    # Each probe's readings [degC]; NaN where there is none, or where it was left out
    degc: dict[str, FloatArray]
    lines: IntArray  # Line of the file for each row, in the order of the file
    # The ``min`` and ``max`` of a probe by day [degC], in files of one row a day with them
    extremes: "dict[tuple[str, ColumnStatistic], pd.Series[float]]"
    flags: list[Flag]
    rows: int  # Rows with readings, those included whose time could not be read
    missing: dict[str, int]  # Cells of each probe without a reading
    daily: bool  # Whether the file has one row a day

    def column(self, probe: str) -> Column:
        """Return the column with the means of a probe."""
        return next(c for c in self.layout.columns if c.probe == probe and c.statistic == "mean")

    def leave_out(self, kind: FlagKind, probe: str, where: BoolArray, reason: str) -> None:
        """Leave out readings of one probe; those that are missing already don't count."""
        where = where & ~np.isnan(self.degc[probe])
        if where.any():
            self.note(kind, probe, self.seconds[where], int(where.sum()), reason, left_out=True)
            self.degc[probe][where] = np.nan

    def leave_out_rows(self, kind: FlagKind, where: BoolArray, reason: str) -> None:
        """Leave out rows of every probe."""
        for probe in self.degc:
            self.leave_out(kind, probe, where, reason)

    def note(
        self,
        kind: FlagKind,
        probe: str,
        seconds: IntArray,
        count: int,
        reason: str,
        *,
        left_out: bool = False,
    ) -> None:
        """Flag readings, which stay in where nothing else is said."""
        first, last = (moment_of(s).date() for s in (seconds.min(), seconds.max()))
        self.flags.append(Flag(kind, probe, first, last, count, reason, left_out))


def moment_of(seconds: int) -> datetime:
    """Return the moment of a count of seconds since 1970."""
    return datetime(1970, 1, 1) + timedelta(seconds=int(seconds))


@dataclass(frozen=True)
class LoggedSoil:
    """A logger file as days, with how it was understood and what was wrong in it.

    ``file`` and ``areas`` are as the site file names them; without areas it speaks for all.
    """

    layout: LogLayout
    probes: tuple[Probe, ...]
    flags: tuple[Flag, ...]
    file: str = ""
    areas: tuple[str, ...] = ()

    def speaks_for(self, area: str) -> bool:
        """Whether its probes speak for an area."""
        return not self.areas or area in self.areas


@cache
def quality_limits() -> Mapping[str, float]:
    """Return the numbers of thresholds/quality.toml by their keys."""
    return {key: number.value for key, number in load_numbers("quality").items()}


def _step_words(step: timedelta | None) -> str:
    """Write a step for people."""
    if step is None:
        return "unknown, one reading"
    seconds = int(step.total_seconds())
    for size, name in ((86400, "day"), (3600, "hour"), (60, "minute")):
        if seconds >= size and seconds % size == 0:
            number = seconds // size
            return f"{number} {name}{'s' if number > 1 else ''}"
    return f"{seconds} seconds"


def offset_words(offset: timedelta) -> str:
    """Write an offset from UTC as UTC-05:00."""
    minutes = round(offset.total_seconds() / 60)
    return f"UTC{'-' if minutes < 0 else '+'}{abs(minutes) // 60:02d}:{abs(minutes) % 60:02d}"
