"""Tables of many sites as sources: a DataFrame, a CSV, or Parquet, one file or a folder of them.

`patchrisk.study.table_rows` has their shape.
"""

import codecs
import csv
import hashlib
import io
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from patchrisk.base.errors import Fault, InputError
from patchrisk.base.units import DayArray
from patchrisk.base.user_files import LONGEST_LINE, check_line, check_width
from patchrisk.study.soil import Block
from patchrisk.study.sources import SiteSource, cut_into_parts, digest_of
from patchrisk.study.table_rows import (
    Reading,
    arrow_days,
    block_of,
    day_of,
    no_day,
    read_day_column,
    reading_of,
)

if TYPE_CHECKING:
    import pyarrow as pa


def open_frame(
    frame: pd.DataFrame, columns: Mapping[str, str], missing: Sequence[float]
) -> SiteSource:
    """Cut a table into parts; InputError when a column is lacking, or there is no day at all."""
    source = "the DataFrame"
    names = [str(name) for name in frame.columns]
    reading = reading_of(source, names, columns, missing)
    rows = frame.set_axis(names, axis=1)[list(reading.columns)].rename(columns=reading.columns)
    days = read_day_column(rows["date"])
    if rows.empty or np.isnat(days).all():
        found = "no row" if rows.empty else "no day in any row"
        raise InputError(Fault(source, "column date", found, "write a day in each row"))
    site = rows["site"].astype(str)
    spans = pd.DataFrame({"site": site, "day": days}).groupby("site", sort=False)["day"]
    ends = spans.agg(["min", "max"])
    ends = ends.fillna(days[~np.isnat(days)].min())  # a site without a day is left out when read
    groups = [list(ends.index[some]) for some in cut_into_parts(*ends.to_numpy("M8[D]").T)]
    parts = [
        partial(block_of, rows[site.isin(some).to_numpy()], source, some, reading)
        for some in groups
    ]
    digest = hashlib.sha256(pd.util.hash_pandas_object(rows, index=False).to_numpy().tobytes())
    not_read = tuple(name for name in names if name not in reading.columns)
    return SiteSource(source, "a DataFrame", parts, digest.hexdigest(), not_read)


_MISSING = ("", "NA", "N/A", "NaN", "nan", "null", "NULL", "None")


@dataclass
class _Lines:
    """The lines of one site: first and last day as text, where they stand in the file, how many."""

    first: str
    last: str
    start: int
    stop: int
    rows: int = 0


def _read_lines(
    path: Path,
    columns: Mapping[int, str],
    width: int,
    reading: Reading,
    sites: Mapping[str, _Lines],
) -> Block:
    """Read the lines of neighbouring sites; ``columns`` are our names of those read, by place."""
    names, places = list(sites), list(sites.values())
    with path.open("rb") as file:
        file.seek(places[0].start)
        text = file.read(places[-1].stop - places[0].start)
    words = {n for n, column in columns.items() if column in ("site", "date")}
    missing: Any = {n: _MISSING for n in columns if n not in words}
    frame = pd.read_csv(
        io.BytesIO(text),
        header=None,
        names=range(width),  # their own names may be there twice
        usecols=list(columns),
        dtype=dict.fromkeys(words, str),
        keep_default_na=False,  # a site may be called NA
        na_values=missing,
        skipinitialspace=True,
    )
    rows = sum(one.rows for one in places)
    if len(frame) != rows:
        found = f"{len(frame)} rows were read of {rows} lines"
        cure = "take out line ends and quotes inside the cells"
        raise InputError(Fault(str(path), f"sites {names[0]} to {names[-1]}", found, cure))
    for n in words:
        frame[n] = frame[n].str.strip()
    return block_of(frame.rename(columns=dict(columns)), str(path), names, reading)


def open_csv(path: Path, columns: Mapping[str, str], missing: Sequence[float]) -> SiteSource:
    """Look through a CSV and cut it into parts.

    InputError when a column is lacking, no day can be read, or a site's rows stand apart.
    """
    source = str(path)
    with path.open("rb") as file:
        raw = file.readline(LONGEST_LINE + 2)
        head = _decoded(raw.removeprefix(codecs.BOM_UTF8), source, 1)
        if not head.strip():
            raise InputError(Fault(source, "line 1", "no header", "name the columns in it"))
        names = tuple(c.strip() for c in _cells(head, source, 1))
        check_width(len(names), source, "line 1")
        if len(names) == 1:
            cure = "part the columns by commas, and the decimals by points"
            raise InputError(Fault(source, "line 1", "a single column", cure))
        reading = reading_of(source, names, columns, missing)
        ours = [reading.columns.get(n) for n in names]
        sites = _find_sites(file, source, len(names), ours.index("site"), ours.index("date"))
    if not sites:
        raise InputError(
            Fault(source, "", "no row below the header", "add rows, one a site and day")
        )
    places = {n: name for n, name in enumerate(ours) if name is not None}
    read = partial(_read_lines, path, places, len(names), reading)
    lines = list(sites.items())
    parts = [partial(read, dict(lines[some])) for some in cut_into_parts(*_spans(source, sites))]
    not_read = tuple(n for n in names if n and n not in reading.columns)
    return SiteSource(source, "a table (CSV)", parts, digest_of([path]), not_read)


def _find_sites(
    file: io.BufferedReader, source: str, width: int, site_at: int, date_at: int
) -> dict[str, _Lines]:
    """Find the lines of each site.

    A line is a row here: text in quotes that runs over several lines is refused, for a quote
    without a partner looks no different, and would take the rows up to the next one with it.
    """
    found: dict[str, _Lines] = {}
    site, place = None, file.tell()
    for number, raw in enumerate(iter(lambda: file.readline(LONGEST_LINE + 2), b""), 2):
        line = _decoded(raw, source, number)
        cells = _cells(line, source, number) if '"' in line else line.split(",")
        begin, place = place, place + len(raw)
        if not line.strip():
            continue
        if len(cells) != width:
            cells_found = f"{len(cells)} cells under {width} headings"
            cure = "write a cell for each column, and decimals with a point"
            raise InputError(Fault(source, f"line {number}", cells_found, cure))
        name, day = cells[site_at].strip(), cells[date_at].strip()[:10]
        if not name:
            raise InputError(Fault(source, f"line {number}", "no site", "write its name"))
        if name != site:
            if name in found:
                again = f"site {name} again, after other sites"
                cure = "sort the table by site, or keep it as Parquet"
                raise InputError(Fault(source, f"line {number}", again, cure))
            site = name
            found[name] = _Lines(day, day, begin, place)
        one = found[name]
        one.first, one.last = min(one.first, day), max(one.last, day)
        one.stop, one.rows = place, one.rows + 1
    return found


def _spans(source: str, sites: Mapping[str, _Lines]) -> DayArray:
    """First and last day of each site, (2, sites); InputError when none has any."""
    days = np.array([[day_of(one.first), day_of(one.last)] for one in sites.values()], "M8[D]").T
    good = ~np.isnat(days).any(axis=0)
    if not good.any():
        wrong = [(f"site {name}, column date", f"{one.first!r} to {one.last!r} are no days")
                 for name, one in sites.items()]  # fmt: skip
        raise InputError([Fault(source, *one, "write YYYY-MM-DD") for one in wrong])
    # A site without a day is left out when it is read; until then it lies beside another.
    return np.where(good, days, days[:, [good.argmax()]])


def _cells(line: str, source: str, number: int) -> list[str]:
    try:
        return next(csv.reader([line], strict=True, skipinitialspace=True))
    except csv.Error:
        cure = "double or take out the quote that has no partner, and keep a row on one line"
        raise InputError(Fault(source, f"line {number}", "quotes that don't match", cure)) from None


def _decoded(raw: bytes, source: str, number: int) -> str:
    check_line(raw, source, number)
    try:
        if b"\0" not in raw:
            line = raw.decode().rstrip("\r\n")
            if "\r" not in line:
                return line
            found = "carriage returns alone for line ends"
            cure = "save it again as CSV UTF-8"
            raise InputError(Fault(source, "" if number == 1 else f"line {number}", found, cure))
    except UnicodeDecodeError:
        pass
    fault = Fault(source, f"line {number}", "bytes that are not UTF-8", "save it as CSV UTF-8")
    raise InputError(fault)


def _read_groups(
    source: str, groups: Iterable[tuple[Path, int]], reading: Reading, sites: Sequence[str]
) -> Block:
    """Read sites from the row groups of files that hold any of them."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    frames = []
    columns, wanted, faults = reading.columns, set(sites), dict[str, Fault]()
    for path, group in groups:
        with _readable(path), pq.ParquetFile(path) as file:
            table = file.read_row_group(group, columns=list(columns), use_threads=False)
        frame = table.rename_columns([columns[n] for n in table.column_names])
        site, days = frame.column("site").cast(pa.string()), arrow_days(frame.column("date"))
        for at in np.flatnonzero(np.isnat(days)).tolist():
            if (name := str(site[at].as_py())) in wanted and name not in faults:
                faults[name] = _no_arrow_day(source, site[at], frame.column("date")[at])
        for name, column in (("site", site), ("date", pa.array(days))):
            frame = frame.set_column(frame.schema.get_field_index(name), name, column)
        rows = frame.to_pandas(use_threads=False)
        frames.append(rows[rows["site"].isin(wanted)])
    told = [(fault, [name]) for name, fault in faults.items()]
    return block_of(pd.concat(frames, ignore_index=True), source, sites, reading, told)


def open_parquet(path: Path, columns: Mapping[str, str], missing: Sequence[float]) -> SiteSource:
    """Look through a table as Parquet and cut it into parts; errors as for `open_csv`."""
    try:
        import pyarrow as pa
        import pyarrow.parquet as pq
    except ImportError:
        cure = "install patchrisk[research], or write the table as CSV"
        raise InputError(Fault(str(path), "", "Parquet can't be read here", cure)) from None
    source = str(path)
    files = sorted(path.rglob("*.parquet")) if path.is_dir() else [path]
    where: dict[str, list[tuple[Path, int]]] = {}
    spans: dict[str, tuple[np.datetime64, np.datetime64]] = {}
    reading = Reading()
    not_read: dict[str, None] = {}
    for file in files:
        with _readable(file), pq.ParquetFile(file) as opened:
            names = opened.schema_arrow.names
            check_width(len(names), str(file))
            reading = reading_of(str(file), names, columns, missing)
            strange = (n for n in names if n not in reading.columns)
            not_read |= dict.fromkeys(n for n in strange if not n.startswith("__"))  # pandas' own
            theirs = {ours: name for name, ours in reading.columns.items()}
            for group in range(opened.num_row_groups):
                found = opened.read_row_group(group, columns=[theirs["site"], theirs["date"]])
                found = found.rename_columns([reading.columns[n] for n in found.column_names])
                sites = found.column("site").cast(pa.string())
                days = arrow_days(found.column("date"))
                if len(days) and np.isnat(days).all():  # with some, a site is left out when read
                    at = int(np.flatnonzero(np.isnat(days))[0])
                    raise InputError(_no_arrow_day(source, sites[at], found.column("date")[at]))
                found = pa.table({"site": sites, "date": days})
                found = found.group_by("site", use_threads=False)
                found = found.aggregate([("date", "min"), ("date", "max")])
                begins, ends = (
                    found.column(name).to_numpy().astype("datetime64[D]")
                    for name in ("date_min", "date_max")
                )
                for site, begin, end in zip(
                    found.column("site").to_pylist(), begins, ends, strict=True
                ):
                    where.setdefault(site, []).append((file, group))
                    before = spans.get(site, (begin, end))
                    spans[site] = np.fmin(before[0], begin), np.fmax(before[1], end)
    if not spans or None in spans:
        found_ = "no rows" if not spans else "rows without a site"
        raise InputError(Fault(source, "column site", found_, "write one row a site and day"))
    usual = next(span for span in spans.values() if not np.isnat(span[0]))
    ends = np.array([usual if np.isnat(span[0]) else span for span in spans.values()], "M8[D]")
    parts = []
    for some in cut_into_parts(*ends.T):
        names = list(spans)[some]
        groups = dict.fromkeys(group for name in names for group in where[name])
        parts.append(partial(_read_groups, source, list(groups), reading, names))
    return SiteSource(source, "a table (Parquet)", parts, digest_of(files), tuple(not_read))


def _no_arrow_day(source: str, site: "pa.Scalar[Any]", value: "pa.Scalar[Any]") -> Fault:
    cure = "write YYYY-MM-DD as text, or as a date type, so that it can be read"
    try:
        return no_day(source, str(site.as_py()), value.as_py(), cure)
    except (ValueError, OverflowError):  # a day that no calendar of Python's has
        return no_day(source, str(site.as_py()), f"{value.type} {value.value}", cure)


@contextmanager
def _readable(path: Path) -> Iterator[None]:
    import pyarrow as pa

    try:
        yield
    except (pa.ArrowException, OSError) as error:
        found = f"not a Parquet file that can be read ({str(error).partition(chr(10))[0][:80]})"
        raise InputError(Fault(str(path), "", found, "write it anew, or name a CSV")) from None
