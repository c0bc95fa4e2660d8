"""Tables of many sites as sources: a DataFrame, a CSV, or Parquet, one file or a folder of them.

`patchrisk.study.table_rows` has their shape.
"""

import codecs
import csv
import hashlib
import io
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from patchrisk.base.errors import Fault, InputError
from patchrisk.base.user_files import LONGEST_LINE, check_line, check_width
from patchrisk.study.soil import Block
from patchrisk.study.sources import Extent, SiteSource, cut_into_parts, digest_of
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


@dataclass(frozen=True)
class _FramePart:
    source: str
    rows: pd.DataFrame
    sites: tuple[str, ...]
    reading: Reading

    def read(self) -> Block:
        return block_of(self.rows, self.source, self.sites, self.reading)


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
    extents = [Extent(str(name), np.datetime64(low, "D"), np.datetime64(high, "D"))
               for name, low, high in ends.itertuples()]  # fmt: skip
    parts = []
    for group in cut_into_parts(extents):
        sites = tuple(one.site for one in group)
        parts.append(_FramePart(source, rows[site.isin(sites).to_numpy()], sites, reading))
    digest = hashlib.sha256(pd.util.hash_pandas_object(rows, index=False).to_numpy().tobytes())
    not_read = tuple(name for name in names if name not in reading.columns)
    return SiteSource(source, "a DataFrame", parts, digest.hexdigest(), not_read)


_MISSING = ("", "NA", "N/A", "NaN", "nan", "null", "NULL", "None")


@dataclass(frozen=True)
class _CsvPart:
    path: Path
    columns: Mapping[int, str]  # names here, by place
    width: int
    reading: Reading
    sites: tuple[str, ...]
    start: int
    stop: int
    rows: int

    def read(self) -> Block:
        with self.path.open("rb") as file:
            file.seek(self.start)
            text = file.read(self.stop - self.start)
        words = {n for n, column in self.columns.items() if column in ("site", "date")}
        missing: Any = {n: _MISSING for n in self.columns if n not in words}
        frame = pd.read_csv(
            io.BytesIO(text),
            header=None,
            names=range(self.width),  # their own names may be there twice
            usecols=list(self.columns),
            dtype=dict.fromkeys(words, str),
            keep_default_na=False,  # a site may be called NA
            na_values=missing,
            skipinitialspace=True,
        )
        if len(frame) != self.rows:
            place = f"sites {self.sites[0]} to {self.sites[-1]}"
            found = f"{len(frame)} rows were read of {self.rows} lines"
            cure = "take out line ends and quotes inside the cells"
            raise InputError(Fault(str(self.path), place, found, cure))
        for n in words:
            frame[n] = frame[n].str.strip()
        named = frame.rename(columns=dict(self.columns))
        return block_of(named, str(self.path), self.sites, self.reading)


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
        found_sites = _find_sites(file, source, len(names), ours.index("site"), ours.index("date"))
    if not found_sites:
        raise InputError(
            Fault(source, "", "no row below the header", "add rows, one a site and day")
        )
    parts = []
    places = {n: name for n, name in enumerate(ours) if name is not None}
    n = 0
    for group in cut_into_parts([one.extent for one in found_sites]):
        some = found_sites[n : n + len(group)]
        sites, rows = tuple(e.site for e in group), sum(one.rows for one in some)
        shape = (path, places, len(names), reading, sites)
        parts.append(_CsvPart(*shape, some[0].start, some[-1].stop, rows))
        n += len(group)
    not_read = tuple(n for n in names if n and n not in reading.columns)
    return SiteSource(source, "a table (CSV)", parts, digest_of([path]), not_read)


@dataclass(frozen=True)
class _SiteLines:
    """The lines of one site: their days, where they begin and end in the file, how many."""

    extent: Extent
    start: int
    stop: int
    rows: int


def _find_sites(
    file: io.BufferedReader, source: str, width: int, site_at: int, date_at: int
) -> list[_SiteLines]:
    """Find each site's first and last day, and the place in the file where its rows stand.

    A line is a row here: text in quotes that runs over several lines is refused, for a quote
    without a partner looks no different, and would take the rows up to the next one with it.
    """
    found: dict[str, list[Any]] = {}  # by site: first and last day, where it begins and ends, rows
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
            found[name] = [day, day, begin, place, 0]
        one = found[name]
        one[:2] = min(one[0], day), max(one[1], day)
        one[3:] = place, one[4] + 1
    days = {name: (day_of(first), day_of(last)) for name, (first, last, *_) in found.items()}
    good = [ends for ends in days.values() if not np.isnat(ends).any()]
    if found and not good:
        wrong = [(f"site {name}, column date", f"{first!r} to {last!r} are no days")
                 for name, (first, last, *_) in found.items()]  # fmt: skip
        raise InputError([Fault(source, *one, "write YYYY-MM-DD") for one in wrong])
    # A site without a day is left out when it is read; until then it lies beside another.
    return [
        _SiteLines(Extent(name, *(good[0] if np.isnat(days[name]).any() else days[name])), *where)
        for name, (_, _, *where) in found.items()
    ]


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


@dataclass(frozen=True)
class _ParquetPart:
    source: str
    pieces: tuple[tuple[Path, int], ...]  # files and their row groups
    reading: Reading
    sites: tuple[str, ...]

    def read(self) -> Block:
        import pyarrow as pa
        import pyarrow.parquet as pq

        frames = []
        columns, wanted, faults = self.reading.columns, set(self.sites), dict[str, Fault]()
        for path, group in self.pieces:
            with _readable(path), pq.ParquetFile(path) as file:
                table = file.read_row_group(group, columns=list(columns), use_threads=False)
            frame = table.rename_columns([columns[n] for n in table.column_names])
            site, days = frame.column("site").cast(pa.string()), arrow_days(frame.column("date"))
            for at in np.flatnonzero(np.isnat(days)).tolist():
                if (name := str(site[at].as_py())) in wanted and name not in faults:
                    faults[name] = _no_arrow_day(self.source, site[at], frame.column("date")[at])
            for name, column in (("site", site), ("date", pa.array(days))):
                frame = frame.set_column(frame.schema.get_field_index(name), name, column)
            rows = frame.to_pandas(use_threads=False)
            frames.append(rows[rows["site"].isin(wanted)])
        told = [(fault, [name]) for name, fault in faults.items()]
        rows = pd.concat(frames, ignore_index=True)
        return block_of(rows, self.source, self.sites, self.reading, told)


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
    extents = [Extent(site, *(usual if np.isnat(span[0]) else span))
               for site, span in spans.items()]  # fmt: skip
    parts = []
    for some in cut_into_parts(extents):
        pieces = tuple(dict.fromkeys(piece for one in some for piece in where[one.site]))
        parts.append(_ParquetPart(source, pieces, reading, tuple(one.site for one in some)))
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
