"""A table of many sites as Parquet: one file, or a folder of files."""

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from patchrisk.base.errors import Fault, InputError
from patchrisk.base.user_files import check_width
from patchrisk.study.sites import Extent, Reading, SiteSource, cut_into_parts, digest_of
from patchrisk.study.soil import Block
from patchrisk.study.table_columns import arrow_days, block_of, no_day, reading_of, wanted_columns

if TYPE_CHECKING:
    import pyarrow as pa


@dataclass(frozen=True)
class _ParquetPart:
    source: str
    pieces: tuple[tuple[Path, int], ...]  # files and their row groups
    columns: Mapping[str, str]
    reading: Reading
    sites: tuple[str, ...]

    def read(self) -> Block:
        import pyarrow as pa
        import pyarrow.parquet as pq

        frames = []
        wanted, faults = set(self.sites), dict[str, Fault]()
        for path, group in self.pieces:
            with _readable(path), pq.ParquetFile(path) as file:
                table = file.read_row_group(group, columns=list(self.columns), use_threads=False)
            frame = table.rename_columns([self.columns[n] for n in table.column_names])
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


def open_parquet(
    path: Path, columns: Mapping[str, str], missing: Sequence[float] = ()
) -> SiteSource:
    """Look through a table and cut it into parts; errors as for `open_csv`."""
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
            check_width(len(names), str(file))
            wanted = wanted_columns(str(file), names, columns)
            strange = (
                n for n in names if n not in wanted and not n.startswith("__")
            )  # pandas' own
            not_read |= dict.fromkeys(strange)
            theirs = {ours: name for name, ours in wanted.items()}
            for group in range(opened.num_row_groups):
                found = opened.read_row_group(group, columns=[theirs["site"], theirs["date"]])
                found = found.rename_columns([wanted[n] for n in found.column_names])
                sites = found.column("site").cast(pa.string())
                days = arrow_days(found.column("date"))
                if np.isnat(days).all():  # a site with some is left out when it is read
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
    parts = [
        _ParquetPart(
            source,
            tuple(dict.fromkeys(piece for e in group for piece in where[e.site])),
            wanted,
            reading_of(wanted, missing),
            tuple(e.site for e in group),
        )
        for group in cut_into_parts(extents)
    ]
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
