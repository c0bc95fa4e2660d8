"""Files of other shapes made into plain text with one row a time: annotated, GHCN, unheaded."""

import csv
import io
import re
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from patchrisk.base.units import IntArray
from patchrisk.read.logger.layout import LogOptions
from patchrisk.read.tables.delimited import RawTable


@dataclass(frozen=True)
class RewrittenText:
    """A text made plain.

    Attributes
    ----------
    note : str
        What was done to the file, for people.
    delimiter : str
        Between the cells of ``text``.
    lines : array of int or None
        Line of the file for each line of ``text``; None where they are the same.
    """

    text: str
    note: str
    delimiter: str
    lines: IntArray | None = None


_ANNOTATION = re.compile(r"#(?:datatype|group|default|constant|concat)\b")
_ANNOTATED_HEADER = re.compile(r",?result,table,")
_OWN = frozenset({"", "result", "table", "_start", "_stop", "_time", "_value"})


def rewrite_annotated_csv(text: str, options: LogOptions) -> RewrittenText | None:
    """Put the tables of an annotated CSV under one header; None for any other file.

    Each record keeps its time, its value and the name of its series: ``_field``, and whichever
    tags differ within the file. Layout:
    https://docs.influxdata.com/influxdb/v2/reference/syntax/annotated-csv/
    """
    head = text[:4000].lstrip()
    if not (_ANNOTATION.match(head) or _ANNOTATED_HEADER.match(head)):
        return None
    names: list[str] = []
    records: list[dict[str, str]] = []
    lines: list[int] = []
    for number, line in enumerate(text.split("\n"), 1):
        if not line.strip() or line.startswith("#"):
            names = [] if line.startswith("#") else names
            continue
        cells = next(csv.reader([line]), [])
        if not names or "_time" in cells:
            names = cells
            lines = lines or [number]  # of the header
            continue
        records.append(dict(zip(names, cells, strict=False)))
        lines.append(number)
    if not records or not any("_time" in record for record in records):
        return None
    if any("_value" in record for record in records):
        table = _series(records)
    else:
        wide = dict.fromkeys(name for r in records for name in r if name not in _OWN)
        table = [["time", *wide]]
        table += [[r.get("_time", ""), *(r.get(name, "") for name in wide)] for r in records]
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerows(table)
    place = np.array([*lines, lines[-1]], np.int64)
    return RewrittenText(
        out.getvalue(), "annotated CSV: its tables put under one header", ",", place
    )


def _series(records: list[dict[str, str]]) -> list[list[str]]:
    tags = dict.fromkeys(name for r in records for name in r if name not in _OWN)
    differ = [tag for tag in tags if tag == "_field" or len({r.get(tag, "") for r in records}) > 1]
    named = sorted(differ, key=lambda tag: tag == "_field")
    rows = [["time", "series", "value"]]
    for r in records:
        series = " ".join(filter(None, (r.get(tag, "") for tag in named)))
        rows.append([r.get("_time", ""), series, r.get("_value", "")])
    return rows


# Station (11), year (4), month (2), element (4), then 31 times value (5) and three flags.
_STATION = r"[A-Z]{2}[A-Z0-9_-]{9}"
_MONTH = re.compile(_STATION + r"(?:18|19|20)\d{2}(?:0[1-9]|1[0-2])[A-Z0-9]{4}[ \d-]{5}.*")
_DAY = re.compile(_STATION + r",(?:18|19|20)\d{6},[A-Z0-9]{4},-?\d+,")
_GHCN_HEADER = re.compile(r'"?ID"?,"?(?:DATE|YEAR/MONTH/DAY)"?,"?ELEMENT"?,"?(?:DATA[_ ])?VALUE"?,')
_DAYS_FROM, _DAY_WIDTH = 21, 8
_MISSING = "-9999"
GHCN_STATION = "GHCN-Daily station"

_Figure = tuple[str, str, str, str, int]  # station, day, element, figure, line


def rewrite_ghcn_daily(text: str, options: LogOptions) -> RewrittenText | None:
    """Put the elements of a day side by side; None for any other file.

    Figures that failed a check of the archive's (a quality flag that is not blank) and -9999 are
    left empty, both as the archive's readme.txt says: ncei.noaa.gov/pub/data/ghcn/daily.
    """
    first = text[:400].split("\n", 1)[0]
    if _MONTH.fullmatch(first):
        figures = _of_months(text)
    elif _DAY.match(first) or _GHCN_HEADER.match(first):
        figures = _of_days(text)
    else:
        return None
    days: dict[tuple[str, str], dict[str, str]] = {}
    lines: dict[tuple[str, str], int] = {}
    elements: dict[str, None] = {}
    for station, day, element, figure, line in figures:
        elements[element] = None
        days.setdefault((station, day), {})[element] = figure
        lines.setdefault((station, day), line)
    if not days:
        return None
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow([GHCN_STATION, "DATE", *elements])
    for (station, day), figures_of in days.items():
        writer.writerow([station, day, *(figures_of.get(name, "") for name in elements)])
    place = np.array([1, *lines.values(), 1], np.int64)
    return RewrittenText(
        out.getvalue(), "GHCN-Daily: the elements of a day put side by side", ",", place
    )


def _of_months(text: str) -> Iterator[_Figure]:
    for number, line in enumerate(text.split("\n"), 1):
        if not _MONTH.fullmatch(line):
            continue
        month = f"{line[11:15]}-{line[15:17]}"
        for n, at in enumerate(range(_DAYS_FROM, len(line), _DAY_WIDTH), 1):
            figure, flags = line[at : at + 5].strip(), line[at + 5 : at + 8].ljust(3)
            if figure and figure != _MISSING:
                kept = "" if flags[1].strip() else figure
                yield line[:11], f"{month}-{n:02d}", line[17:21], kept, number


def _of_days(text: str) -> Iterator[_Figure]:
    for number, row in enumerate(csv.reader(io.StringIO(text)), 1):
        if len(row) < 6 or not row[1].replace("-", "").isdigit():
            continue
        station, day, element, figure, _, quality = row[:6]
        kept = "" if quality.strip() or figure == _MISSING else figure
        yield station, day, element, kept, number


# Quarters of an hour from UTC; beyond the widest zones the third column is something else.
_ZONES = range(-48, 57)
_COUNTED = 0.9
_WITH_COUNTS = (6, 7)  # columns after the zone; a row may end in a semicolon


def name_microclimate_columns(table: RawTable) -> RawTable:
    """Name the columns of ``n;date;zone;T1;T2;T3;...``: a counter, the time in UTC, the zone.

    The temperatures stay without a name, as which of them lies in the soil depends on the logger
    and on how it was set: they are asked for by their position.

    The maker's description of the file (its page on data, as copied into R/tomst.R of
    github.com/atkinsjeff/MicroData): index, date and time in UTC, time zone, T1, T2, T3, moisture
    count, shake, error flag; "all measurement runs in UTC".
    """
    if table.header_line is not None or table.delimiter != ";" or len(table.names) < 6:
        return table
    if table.time_columns != (1,):
        return table
    count, zone = table.cells[0], table.cells[2]
    if not all(pd.api.types.is_integer_dtype(column) for column in (count, zone)):
        return table
    # A logger read in parts starts its count anew; nearly every row is one more than the last.
    if not zone.isin(_ZONES).all() or float((count.diff().dropna() == 1).mean()) < _COUNTED:
        return table
    rest = table.names[3:]
    counts = [pd.api.types.is_integer_dtype(table.cells[n]) for n in range(6, len(table.names))]
    if len(rest) in _WITH_COUNTS and all(counts[:3]):
        rest = (*rest[:3], "moisture count", "shake", "error flag", *rest[6:])
    names = ("record", "time UTC", "time zone", *rest)
    note = "no header: columns as a microclimate logger writes them, times in UTC"
    return replace(table, names=names, notes=(*table.notes, note))
