"""A table of many sites: CSV, or Parquet as a file or a folder of files.

One row a site and day, in any order of columns; others than these are not read:

==================  ======  ==========================================================
column              unit
==================  ======  ==========================================================
site                        any text or number
lat, lon            deg     north and east positive
date                        local standard day, YYYY-MM-DD or a date type
air_min_c           degC    the day's extremes of air temperature
air_max_c           degC
rain_mm             mm      optional
solar_mj_m2         MJ/m2   optional
soil_<depth>cm_c    degC    optional: measured daily mean, such as soil_5cm_c, soil_10cm_c
==================  ======  ==========================================================

Where the name says so, a column is in degF or inches: air_min_f, air_max_f, rain_in, soil_2in_f.
Air, or at least one column of soil, must be there. Nothing, or NaN, is a missing value. In a CSV
the rows of a site stand together; in Parquet it is faster when they do.
"""

import codecs
import csv
import io
import re
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from patchrisk.backtest.ground import Block
from patchrisk.backtest.sites import WEATHER, Extent, Source, cut, digest_of, soil_depth, to_block
from patchrisk.errors import Fault, InputError
from patchrisk.units import to_canonical

_PLACE = ("site", "lat", "lon", "date")
_OTHER_UNITS = {"air_min_f": "air_min_c", "air_max_f": "air_max_c", "rain_in": "rain_mm"}
_SOIL = re.compile(r"soil_(\d+(?:\.\d+)?)(cm|in)_[cf]")
YEARS = (1800, 2200)  # no record, and no projection of the climate, has others
_MISSING = ("", "NA", "N/A", "NaN", "nan", "null", "NULL", "None")


def open_table(path: Path, columns: Mapping[str, str]) -> Source:
    """Look through a table and cut it into parts.

    Parameters
    ----------
    path : Path
        A ``.csv`` or ``.parquet`` file, or a folder of ``.parquet`` files.
    columns : mapping of str to str
        What the table calls a column, by its name here.

    Raises
    ------
    InputError
        When a column is lacking, no day can be read, or a site's rows stand apart in a CSV.
    """
    if path.suffix.lower() == ".csv":
        return _open_csv(path, columns)
    return _open_parquet(path, columns)


def _wanted(source: str, names: Sequence[str], columns: Mapping[str, str]) -> dict[str, str]:
    """Columns to read: their names here by what the table calls them.

    Raises
    ------
    InputError
        With everything that is lacking.
    """
    faults = []
    for ours, theirs in columns.items():
        if not _known(_meant(ours)):
            cure = "write site, lat, lon, date, air_min_c, air_max_c, rain_mm, solar_mj_m2 or "
            cure += "soil_<depth>cm_c before the =, or air_max_f and the like in degF"
            faults.append(Fault("--column", f"{ours}={theirs}", "no column of this name", cure))
        elif theirs not in names:
            cure = f"write one of {', '.join(names)} after the ="
            faults.append(Fault("--column", f"{ours}={theirs}", f"not in {source}", cure))
    renamed = {theirs: ours for ours, theirs in columns.items()}
    out = {n: renamed.get(n, n) for n in names if n in renamed or n not in columns}
    out = {n: c for n, c in out.items() if _known(_meant(c))}
    first: dict[str, str] = {}
    for name, column in out.items():
        other = first.setdefault(_meant(column), name)
        if other != name:
            found = f"says the same as column {other}"
            faults.append(Fault(source, f"column {name}", found, "keep one of them"))
    have = set(first)
    for column in sorted(n for n in out if names.count(n) > 1):
        faults.append(Fault(source, f"column {column}", "there twice", "take one of them out"))
    lacking = [c for c in _PLACE if c not in have and c not in columns]
    if not {"air_min_c", "air_max_c"} <= have and all(soil_depth(c) is None for c in have):
        lacking.append("air_min_c and air_max_c, or soil_5cm_c")
    for column in lacking:
        found = f"not among {', '.join(names)}"
        cure = f"add it, or say what it is called: --column {column.split()[0]}=NAME"
        faults.append(Fault(source, f"column {column}", found, cure))
    if faults:
        raise InputError(faults)
    return out


def _known(column: str) -> bool:
    return column in (*_PLACE, *WEATHER) or soil_depth(column) is not None


def _meant(column: str) -> str:
    """Name here of a column, whose own may say that it is in other units."""
    soil = _SOIL.fullmatch(column)
    if soil:
        return f"soil_{to_canonical('depth', float(soil[1]), soil[2]):g}cm_c"
    return _OTHER_UNITS.get(column, column)


def _in_canonical(frame: pd.DataFrame) -> pd.DataFrame:
    """Put every column into the unit that it has here, under its name here."""
    names = {str(column): _meant(str(column)) for column in frame.columns}
    other = {name: meant for name, meant in names.items() if name != meant}
    for name, meant in other.items():
        unit = {"_f": "degF", "_c": "degC", "in": "in"}[name[-2:]]
        quantity = WEATHER.get(meant, "soil temperature")
        frame[name] = to_canonical(quantity, frame[name].to_numpy(), unit)
    return frame.rename(columns=other)


def _block(frame: pd.DataFrame, source: str, order: Sequence[str]) -> Block:
    """Check the types of the columns and make arrays of them."""
    faults = []
    given = frame["date"]
    if given.dtype.kind in "Mif":  # of numbers nobody knows what they count
        days = given if given.dtype.kind == "M" else pd.Series(pd.NaT, given.index)
    else:
        days = pd.to_datetime(given, errors="coerce", format="ISO8601")
    if days.dt.tz is not None:
        days = days.dt.tz_localize(None)
    days = days.where(days.dt.year.between(*YEARS))
    if days.isna().any():
        at = int(np.flatnonzero(days.isna())[0])
        where = f"site {frame['site'].iloc[at]}, column date"
        faults.append(Fault(source, where, f"{given.iloc[at]!r} is no day", "write YYYY-MM-DD"))
    out = pd.DataFrame({"site": frame["site"].astype(str), "date": days})
    for column in frame.columns.difference(["site", "date"]):
        try:
            numbers = pd.to_numeric(frame[column], errors="coerce")
        except TypeError:  # lists, or tables in the table
            numbers = pd.Series(np.nan, frame.index)
        wrong = np.flatnonzero(numbers.isna() & frame[column].notna())
        if wrong.size:
            at = int(wrong[0])
            where = f"site {frame['site'].iloc[at]}, {given.iloc[at]}, column {column}"
            found = f"{frame[column].iloc[at]!r} in place of a number"
            faults.append(Fault(source, where, found, "write a number, or nothing where missing"))
        out[column] = numbers.astype(float)
    if faults:
        raise InputError(faults)
    return to_block(_in_canonical(out), source, order)


# CSV


@dataclass(frozen=True)
class _CsvPart:
    path: Path
    names: tuple[str, ...]
    columns: Mapping[str, str]
    sites: tuple[str, ...]
    start: int
    stop: int

    def read(self) -> Block:
        with self.path.open("rb") as file:
            file.seek(self.start)
            text = file.read(self.stop - self.start)
        frame = pd.read_csv(
            io.BytesIO(text),
            header=None,
            names=list(self.names),
            usecols=list(self.columns),
            dtype={n: str for n, c in self.columns.items() if c in ("site", "date")},
            keep_default_na=False,  # a site may be called NA
            na_values={n: _MISSING for n, c in self.columns.items() if c not in ("site", "date")},
            skipinitialspace=True,
        )
        for name, column in self.columns.items():
            if column in ("site", "date"):
                frame[name] = frame[name].str.strip()
        return _block(frame.rename(columns=dict(self.columns)), str(self.path), self.sites)


def _open_csv(path: Path, columns: Mapping[str, str]) -> Source:
    source = str(path)
    with path.open("rb") as file:
        head = _decoded(file.readline().removeprefix(codecs.BOM_UTF8), source, 1)
        if not head.strip():
            raise InputError(Fault(source, "line 1", "no header", "name the columns in it"))
        if "\r" in head:
            cure = "save it again as CSV UTF-8"
            raise InputError(Fault(source, "", "carriage returns alone for line ends", cure))
        names = tuple(c.strip() for c in next(csv.reader([head])))
        if len(names) == 1:
            cure = "part the columns by commas, and the decimals by points"
            raise InputError(Fault(source, "line 1", "a single column", cure))
        wanted = _wanted(source, names, columns)
        order = [wanted.get(n) for n in names]
        extents, starts = _look_through(
            file, source, len(names), order.index("site"), order.index("date")
        )
        end = file.tell()
    if not extents:
        raise InputError(
            Fault(source, "", "no row below the header", "add rows, one a site and day")
        )
    parts = []
    n = 0
    starts.append(end)
    for group in cut(extents):
        sites = tuple(e.site for e in group)
        parts.append(_CsvPart(path, names, wanted, sites, starts[n], starts[n + len(group)]))
        n += len(group)
    not_read = tuple(n for n in names if n and n not in wanted)
    return Source(source, "a table (CSV)", parts, digest_of([path]), not_read)


def _look_through(
    file: io.BufferedReader, source: str, width: int, site_at: int, date_at: int
) -> tuple[list[Extent], list[int]]:
    """Find each site's first and last day, and the place in the file where its rows begin."""
    starts: list[int] = []
    spans: dict[str, list[str]] = {}
    site, place, faults = None, file.tell(), []
    for number, raw in enumerate(file, 2):
        line = _decoded(raw, source, number)
        cells = next(csv.reader([line])) if '"' in line else line.split(",")
        begin, place = place, place + len(raw)
        if not line.strip():
            continue
        if len(cells) != width:
            found = f"{len(cells)} cells under {width} headings"
            cure = "write a cell for each column, and decimals with a point"
            raise InputError(Fault(source, f"line {number}", found, cure))
        name, day = cells[site_at].strip(), cells[date_at].strip()[:10]
        if not name:
            raise InputError(Fault(source, f"line {number}", "no site", "write its name"))
        if name != site:
            if name in spans:
                found = f"site {name} again, after other sites"
                cure = "sort the table by site, or keep it as Parquet"
                raise InputError(Fault(source, f"line {number}", found, cure))
            site = name
            starts.append(begin)
            spans[name] = [day, day]
        span = spans[name]
        span[0], span[1] = min(span[0], day), max(span[1], day)
    extents = []
    for name, (first, last) in spans.items():
        try:
            extents.append(Extent(name, np.datetime64(first, "D"), np.datetime64(last, "D")))
        except ValueError:
            found = f"{first!r} to {last!r} are no days"
            faults.append(Fault(source, f"site {name}, column date", found, "write YYYY-MM-DD"))
    if faults:
        raise InputError(faults)
    return extents, starts


def _decoded(raw: bytes, source: str, number: int) -> str:
    try:
        if b"\0" not in raw:
            return raw.decode().rstrip("\r\n")
    except UnicodeDecodeError:
        pass
    fault = Fault(source, f"line {number}", "bytes that are not UTF-8", "save it as CSV UTF-8")
    raise InputError(fault)


# Parquet


@dataclass(frozen=True)
class _ParquetPart:
    source: str
    pieces: tuple[tuple[Path, int], ...]  # files and their row groups
    columns: Mapping[str, str]
    sites: tuple[str, ...]

    def read(self) -> Block:
        import pyarrow as pa
        import pyarrow.parquet as pq

        frames = []
        wanted = set(self.sites)
        for path, group in self.pieces:
            with _readable(path), pq.ParquetFile(path) as file:
                table = file.read_row_group(group, columns=list(self.columns), use_threads=False)
            frame = table.rename_columns([self.columns[n] for n in table.column_names])
            site = frame.column("site").cast(pa.string())
            frame = frame.set_column(frame.schema.get_field_index("site"), "site", site)
            rows = frame.to_pandas(use_threads=False)
            frames.append(rows[rows["site"].isin(wanted)])
        return _block(pd.concat(frames, ignore_index=True), self.source, self.sites)


def _open_parquet(path: Path, columns: Mapping[str, str]) -> Source:
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
    wanted: dict[str, str] = {}
    not_read: dict[str, None] = {}
    for file in files:
        with _readable(file), pq.ParquetFile(file) as opened:
            names = opened.schema_arrow.names
            wanted = _wanted(str(file), names, columns)
            strange = (
                n for n in names if n not in wanted and not n.startswith("__")
            )  # pandas' own
            not_read |= dict.fromkeys(strange)
            theirs = {ours: name for name, ours in wanted.items()}
            for group in range(opened.num_row_groups):
                found = opened.read_row_group(group, columns=[theirs["site"], theirs["date"]])
                found = found.rename_columns([wanted[n] for n in found.column_names])
                found = found.group_by("site", use_threads=False)
                found = found.aggregate([("date", "min"), ("date", "max")])
                for site, first, last in zip(
                    found.column("site").cast(pa.string()).to_pylist(),
                    found.column("date_min").to_pylist(),
                    found.column("date_max").to_pylist(),
                    strict=True,
                ):
                    where.setdefault(site, []).append((file, group))
                    begin, end = _day(source, site, first), _day(source, site, last)
                    before = spans.get(site, (begin, end))
                    spans[site] = min(before[0], begin), max(before[1], end)
    if not spans or None in spans:
        found_ = "no rows" if not spans else "rows without a site"
        raise InputError(Fault(source, "column site", found_, "write one row a site and day"))
    extents = [Extent(site, first, last) for site, (first, last) in spans.items()]
    parts = [
        _ParquetPart(
            source,
            tuple(dict.fromkeys(piece for e in group for piece in where[e.site])),
            wanted,
            tuple(e.site for e in group),
        )
        for group in cut(extents)
    ]
    return Source(source, "a table (Parquet)", parts, digest_of(files), tuple(not_read))


def _day(source: str, site: str, value: Any) -> np.datetime64:
    try:
        if not isinstance(value, (int, float)):
            day = pd.Timestamp(value)
            if YEARS[0] <= day.year <= YEARS[1]:  # not a time that is none
                return np.datetime64(day.date(), "D")
    except (ValueError, TypeError):
        pass
    found = "no day" if value is None else f"{value!r} is no day"
    raise InputError(Fault(source, f"site {site}, column date", found, "write YYYY-MM-DD"))


@contextmanager
def _readable(path: Path) -> Iterator[None]:
    import pyarrow as pa

    try:
        yield
    except (pa.ArrowException, OSError) as error:
        found = f"not a Parquet file that can be read ({str(error).partition(chr(10))[0][:80]})"
        raise InputError(Fault(str(path), "", found, "write it anew, or name a CSV")) from None
