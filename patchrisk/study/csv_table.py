"""A table of many sites as CSV; `patchrisk.study.table_columns` has its shape."""

import codecs
import csv
import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from patchrisk.base.errors import Fault, InputError
from patchrisk.base.user_files import LONGEST_LINE, check_line, check_width
from patchrisk.study.sites import Extent, Reading, SiteSource, cut_into_parts, digest_of
from patchrisk.study.soil import Block
from patchrisk.study.table_columns import block_of, day_of, reading_of, wanted_columns

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


def open_csv(path: Path, columns: Mapping[str, str], missing: Sequence[float] = ()) -> SiteSource:
    """Look through a table and cut it into parts; ``columns`` are what it calls them, by ours.

    Numbers of ``missing`` stand for none.

    Raises
    ------
    InputError
        When a column is lacking, no day can be read, or a site's rows stand apart.
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
        wanted = wanted_columns(source, names, columns)
        places = {n: wanted[name] for n, name in enumerate(names) if name in wanted}
        order = [wanted.get(n) for n in names]
        found_sites = _find_sites(
            file, source, len(names), order.index("site"), order.index("date")
        )
    if not found_sites:
        raise InputError(
            Fault(source, "", "no row below the header", "add rows, one a site and day")
        )
    parts = []
    n = 0
    for group in cut_into_parts([one.extent for one in found_sites]):
        some = found_sites[n : n + len(group)]
        sites, rows = tuple(e.site for e in group), sum(one.rows for one in some)
        shape = (path, places, len(names), reading_of(wanted, missing), sites)
        parts.append(_CsvPart(*shape, some[0].start, some[-1].stop, rows))
        n += len(group)
    not_read = tuple(n for n in names if n and n not in wanted)
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
    faults, sites = [], []
    for name, (first, last, *where) in found.items():
        days = day_of(first), day_of(last)
        if np.isnat(days).any():
            none = f"{first!r} to {last!r} are no days"
            faults.append(Fault(source, f"site {name}, column date", none, "write YYYY-MM-DD"))
        sites.append(_SiteLines(Extent(name, *days), *where))
    if not faults:
        return sites
    if len(faults) == len(found):
        raise InputError(faults)
    # A site without a day is left out when it is read; until then it lies beside another.
    good = next(s.extent for s in sites if not np.isnat([s.extent.first, s.extent.last]).any())
    return [
        replace(s, extent=Extent(s.extent.site, good.first, good.last))
        if np.isnat([s.extent.first, s.extent.last]).any()
        else s
        for s in sites
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
