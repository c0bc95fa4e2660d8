"""Texts of other shapes made plain, one row a time: annotated CSV, GHCN-Daily, dates in columns."""

import csv
import io
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import lru_cache

import numpy as np

from patchrisk.base.units import IntArray
from patchrisk.read.site import LoggerFile
from patchrisk.read.tables.cells import MONTHS, is_day, is_moment, is_time_of_day, split_cells


@dataclass(frozen=True)
class RewrittenText:
    """A text made plain."""

    text: str
    note: str  # What was done to the file, for people
    delimiter: str  # Between the cells of ``text``
    # Line of the file for each line of ``text``; None where they are the same
    lines: IntArray | None = None


_ANNOTATION = re.compile(r"#(?:datatype|group|default|constant|concat)\b")
_ANNOTATED_HEADER = re.compile(r",?result,table,")
_OWN = frozenset({"", "result", "table", "_start", "_stop", "_time", "_value"})


def rewrite_annotated_csv(text: str) -> RewrittenText | None:
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


def rewrite_ghcn_daily(text: str) -> RewrittenText | None:
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


# Dates in columns of their own: year, month and day, or year and day of the year.
_SAMPLE = 400  # lines in which the header and the first rows are looked for
_ROWS = 50  # rows that must hold dates that can be
_FIRST_YEAR, _LAST_YEAR = 1900, 2100
_HOUR, _MINUTES = 60, 1440

_NAMES = {
    "date": r"date|datum|fecha|data|dato|lst[ _]date",
    "year": r"year|yr|yyyy|jahr|ann[eé]e|an|año|ano|anno|jaar|år",
    "month": r"month|mon|mo|mm|monat|mois|mes|m[eê]s|mese|maand|måned",
    "day": r"day|dd|dy|da|dom|day ?of ?month|tag|jour|d[ií]a|giorno|dag",
    "doy": r"doy|jday|yday|julian(?: ?day)?|jd|jul(?:day)?|day ?of ?(?:the ?)?year|dayofyear"
    r"|tag ?des ?jahres|jour ?julien|d[ií]a ?juliano",
    "hour": r"hour|hr|hrs|hh|hours|stunde|std|heure|hora|ora|uur|time",
    "minute": r"minute|minutes|min|mn|mi|minuto|minuut",
    "clock": r"hhmm|hrmn|hour ?min(?:ute)?|time ?hhmm|hour ?hhmm",
}
_KINDS = {kind: re.compile(names) for kind, names in _NAMES.items()}
_WHOLE = re.compile(r"\d{1,4}(?:\.0*)?")


@dataclass(frozen=True)
class _Parts:
    """Where the parts of the date stand, by kind, and the header they stand in."""

    delimiter: str
    header: int
    at: dict[str, int]
    of_year: bool
    hhmm: bool


def join_date_columns(text: str, options: LoggerFile) -> RewrittenText | None:
    """Write the parts of each row's date into one cell; None where the file has dates as usual.

    The stamp takes the place of the year (or of the date beside which hour and minute stand), and
    the other parts' cells are emptied, so that every column keeps its number and no month or hour
    is left to be taken for a reading.
    """
    if options.time is not None:
        return None
    sample = text[: 2000 * _SAMPLE].split("\n")[:_SAMPLE]
    tried = (options.delimiter,) if options.delimiter else ("\t", ";", ",", "|", " ")
    found = (_find(sample, delimiter, options) for delimiter in tried)
    parts = next((p for p in found if p is not None), None)
    return None if parts is None else _rewrite(text, parts)


def _find(sample: Sequence[str], delimiter: str, options: LoggerFile) -> _Parts | None:
    only = None if options.header_line is None else options.header_line - 1
    for n, line in enumerate(sample):
        if delimiter not in line or (only is not None and n != only):
            continue
        at = _named(split_cells(line, delimiter))
        if at is None:
            continue
        rows = [cells for line in sample[n + 1 :] if (cells := split_cells(line, delimiter))]
        rows = [r for r in rows if len(r) > max(at.values()) and _is_row(r, at)][:_ROWS]
        parts = _judge(delimiter, n, at, rows)
        if parts is not None:
            return parts
    return None


def _named(header: Sequence[str]) -> dict[str, int] | None:
    """Columns whose header is a part of a date; None unless together they make a day."""
    at: dict[str, int] = {}
    for column, cell in enumerate(header):
        plain = re.sub(r"[\[(].*?[\])]", "", cell).casefold()
        plain = re.sub(r"[_\s.]+", " ", plain).strip(" #*\"'")
        for kind, names in _KINDS.items():
            if names.fullmatch(plain) and kind not in at:
                at[kind] = column
                break
    # Alone these words head rain, minima and much else: they count beside their neighbours only.
    if "minute" in at and at["minute"] - 1 != at.get("hour"):
        del at["minute"]
    if "month" in at and not ({at["month"] - 1, at["month"] + 1} & {at.get("year"), at.get("day")}):
        del at["month"]
    if "date" in at:
        keep = {"date", "hour", "minute"}
        return {k: v for k, v in at.items() if k in keep} if {"hour", "minute"} <= set(at) else None
    if "year" not in at or not ({"day", "doy"} & set(at)):
        return None
    return at


def _is_row(cells: Sequence[str], at: dict[str, int]) -> bool:
    lead = cells[at["date"] if "date" in at else at["year"]]
    return is_day(lead) if "date" in at else bool(_WHOLE.fullmatch(lead))


def _judge(
    delimiter: str, header: int, at: dict[str, int], rows: Sequence[Sequence[str]]
) -> _Parts | None:
    """Take the parts for a date when every row of the sample then has one."""
    if not rows:
        return None
    dated = {i for row in rows for i, cell in enumerate(row) if is_moment(cell)}
    if dated - ({at["date"]} if "date" in at else set()):
        return None  # a whole date stands beside them
    of_year = "date" not in at and ("month" not in at or "day" not in at)
    if of_year and "doy" not in at:
        days = [row[at["day"]] for row in rows]
        if all(cell.isdigit() and int(cell) <= 31 for cell in days):
            return None  # a day of some month: which, the file does not say
        at = {**{k: v for k, v in at.items() if k != "day"}, "doy": at["day"]}
    if not of_year:
        at = {k: v for k, v in at.items() if k != "doy"}
    if "clock" in at:
        at = {k: v for k, v in at.items() if k not in ("hour", "minute")}
        at["hour"] = at.pop("clock")
        hhmm = True
    else:
        hours = [row[at["hour"]] for row in rows] if "hour" in at else []
        whole = [int(float(h)) for h in hours if _WHOLE.fullmatch(h)]
        hhmm = bool(whole) and max(whole) > 24 and "minute" not in at
        if any(":" in h for h in hours):
            hhmm = False
    parts = _Parts(delimiter, header, at, of_year, hhmm)
    fit = sum(_stamp(row, parts) is not None for row in rows)
    return parts if fit == len(rows) else None


def _stamp(cells: Sequence[str], parts: _Parts) -> str | None:
    """Write the moment of a row as ISO 8601; None where its parts are none."""
    at = parts.at
    if max(at.values()) >= len(cells):
        return None
    if "date" in at:
        day = cells[at["date"]]
        found = (day, 0.0) if is_day(day) else None
    elif parts.of_year:
        found = _day_of_year(cells[at["year"]], cells[at["doy"]])
    else:
        found = _day(cells[at["year"]], cells[at["month"]], cells[at["day"]])
    if found is None:
        return None
    day, part = found
    if "hour" in at:
        minute = cells[at["minute"]] if "minute" in at else None
        clock = None if part else _clock(cells[at["hour"]], minute, parts.hhmm)
        return None if clock is None else f"{day} {clock}"
    if not part:
        return day
    minutes = round(part * _MINUTES)
    if minutes == _MINUTES:
        return f"{day} 24:00"
    return f"{day} {minutes // 60:02d}:{minutes % 60:02d}"


@lru_cache(4096)
def _day(year: str, month: str, day: str) -> tuple[str, float] | None:
    low = month.casefold()[:3]
    try:
        number = MONTHS.index(low) + 1 if low in MONTHS else _whole(month)
        found = date(_year(year), number, _whole(day))
    except ValueError:
        return None
    return found.isoformat(), 0.0


@lru_cache(4096)
def _day_of_year(year: str, day: str) -> tuple[str, float] | None:
    """Day of the year, from 1, and what part of the day is over."""
    try:
        number, first = float(day), date(_year(year), 1, 1)
        found = first + timedelta(days=int(number) - 1)
    except (ValueError, OverflowError):
        return None
    return (found.isoformat(), number % 1) if found.year == first.year else None


def _year(cell: str) -> int:
    year = _whole(cell)
    if not _FIRST_YEAR <= year <= _LAST_YEAR:
        raise ValueError
    return year


def _whole(cell: str) -> int:
    number = float(cell)
    if number % 1:
        raise ValueError
    return int(number)


@lru_cache(4096)
def _clock(hour: str, minute: str | None, hhmm: bool) -> str | None:
    """Write a time of day as HH:MM, from hours, hours and minutes, or both in one number."""
    try:
        if ":" in hour:
            return hour if is_time_of_day(hour) else None
        if hhmm:
            number = _whole(hour)
            minutes = number // 100 * 60 + number % 100 if number % 100 < _HOUR else -1
        elif minute is None:
            minutes = round(float(hour) * _HOUR)
        else:
            more = _whole(minute)
            minutes = _whole(hour) * _HOUR + more if 0 <= more < _HOUR else -1
    except (ValueError, OverflowError):
        return None
    return f"{minutes // 60:02d}:{minutes % 60:02d}" if 0 <= minutes <= _MINUTES else None


def _rewrite(text: str, parts: _Parts) -> RewrittenText:
    # Blanks cannot hold an emptied cell.
    delimiter = "\t" if parts.delimiter == " " else parts.delimiter
    place = parts.at["date"] if "date" in parts.at else parts.at["year"]
    emptied = [column for column in parts.at.values() if column != place]
    out: list[str] = []
    for n, line in enumerate(text.split("\n")):
        cells = _split(line, parts.delimiter)
        if n == parts.header:
            names = [cells[i] for i in sorted(parts.at.values())]
            cells[place] = f"time: {' '.join(names)}"
        elif n > parts.header and (stamp := _stamp(cells, parts)) is not None:
            cells[place] = stamp
            for column in emptied:
                cells[column] = ""
        elif parts.delimiter != " ":
            out.append(line)
            continue
        out.append(_join(cells, delimiter))
    kinds = ", ".join(kind for kind, _ in sorted(parts.at.items(), key=lambda item: item[1]))
    named = kinds.replace("doy", "day of the year")
    note = f"times put together from the columns of {named}"
    return RewrittenText("\n".join(out), note, delimiter)


def _split(line: str, delimiter: str) -> list[str]:
    if '"' in line:
        return split_cells(line, delimiter)
    # Without quotes the same, and several times as fast.
    return line.split() if delimiter == " " else [cell.strip() for cell in line.split(delimiter)]


def _join(cells: Sequence[str], delimiter: str) -> str:
    line = delimiter.join(cells)
    if '"' not in line and line.count(delimiter) == len(cells) - 1:
        return line
    out = io.StringIO()
    csv.writer(out, delimiter=delimiter, lineterminator="").writerow(cells)
    return out.getvalue()
