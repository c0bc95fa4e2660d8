"""How the tables of a backtest are kept: part by part, and whole as Parquet and CSV."""

import io
import json
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, BinaryIO, Literal

import numpy as np
import pandas as pd

from patchrisk.base.errors import Fault, InputError
from patchrisk.base.safe_text import quote_formula, unquote_formula
from patchrisk.base.saving import replacing
from patchrisk.study.tables import SEASONS_LAYOUT, SeasonCounts, TableLayout

Form = Literal["parquet", "csv"]

_PARTS = "parts"  # the folder of what is done, until all is


def part_form() -> Form:
    """Return the form that parts are kept in: Parquet where it can be written."""
    try:
        import pyarrow  # noqa: F401
    except ImportError:
        return "csv"
    return "parquet"


def part_file(layout: TableLayout, number: int, ending: str) -> str:
    """Return the name of a file of a part, within the folder of the study."""
    return f"{_PARTS}/{layout.name}-{number:06d}.{ending}"


def part_bytes(frame: pd.DataFrame, form: Form) -> bytes:
    """Write a part's table as the bytes of a file."""
    out = io.BytesIO()
    if form == "csv":
        _append_csv(frame, out)
    else:
        frame.to_parquet(out, index=False, compression="zstd")
    return out.getvalue()


def read_part(table: Path | io.BytesIO, form: Form, layout: TableLayout) -> pd.DataFrame:
    """Read a table that was written as a file, or as the bytes of one."""
    if form == "parquet":
        return pd.read_parquet(table)
    found = pd.read_csv(
        table,
        dtype=dict.fromkeys(layout.words, "str"),
        parse_dates=list(layout.days),
        na_values=[""],
        keep_default_na=False,  # a site may be called NA
    )
    return found.assign(site=_each_name(found["site"], unquote_formula))


def read_seasons(folder: Path) -> pd.DataFrame:
    """Read the seasons that a backtest wrote, finished or not; InputError when there are none."""
    return read_table(folder, SEASONS_LAYOUT)


def read_table(folder: Path, layout: TableLayout) -> pd.DataFrame:
    """Read a table that a backtest wrote, finished or not; InputError when there is none."""
    forms: tuple[Form, ...] = ("parquet", "csv")
    for form in forms:
        files = [folder / f"{layout.name}.{form}"]
        if not files[0].is_file():
            files = sorted((folder / _PARTS).glob(f"{layout.name}-*.{form}"))
        if files:
            return layout.joined([read_part(file, form, layout) for file in files])
    found = f"no table of {layout.name}"
    raise InputError(Fault(str(folder), "", found, "name the folder that a backtest wrote"))


@dataclass(frozen=True)
class SeasonParts:
    """The finished seasons.parquet of a backtest, read again and again, some sites at a time."""

    folder: Path

    @property
    def _path(self) -> Path:
        return self.folder / "seasons.parquet"

    def __len__(self) -> int:
        import pyarrow.parquet as pq

        count: int = pq.read_metadata(self._path).num_row_groups
        return count

    def __iter__(self) -> Iterator[pd.DataFrame]:
        import pyarrow.parquet as pq

        with pq.ParquetFile(self._path) as file:
            for group in range(file.num_row_groups):
                rows = file.read_row_group(group, use_threads=False).to_pandas()
                yield SEASONS_LAYOUT.typed(rows)


def merge_parts(
    parts: Iterable[Path], form: Form, folder: Path, forms: Sequence[Form], layout: TableLayout
) -> SeasonCounts:
    """Put the parts together into the files of the table, one part at a time.

    Of another layout than that of the seasons nothing is counted. UnavailableError when the disk is
    full or the folder can't be written to.
    """
    counts = SeasonCounts()
    with ExitStack() as stack:
        writers = [
            stack.enter_context(
                _parquet_writer(stack.enter_context(replacing(path)), layout)
                if path.suffix == ".parquet"
                else csv_writer(path)
            )
            for path in (folder / f"{layout.name}.{wanted}" for wanted in forms)
        ]
        for part in parts:
            frame = layout.typed(read_part(part, form, layout))
            if layout is SEASONS_LAYOUT:
                counts.add(frame)
            for write in writers:
                write(frame)
    return counts


def _each_name(names: pd.Series, change: Callable[[str], str]) -> pd.Series:
    """Return names as changed; few are looked at, however many rows there are."""
    return names.map({name: change(name) for name in names.dropna().unique()})


def _append_csv(frame: pd.DataFrame, file: BinaryIO, digits: str | None = None) -> None:
    safe = {
        name: _each_name(column.astype("str").where(column.notna()), quote_formula)
        for name, column in frame.items()
        if column.dtype in ("str", "object", "category")
    }
    frame.assign(**{str(name): column for name, column in safe.items()}).to_csv(
        file,
        index=False,
        header=file.tell() == 0,
        float_format=digits,
        date_format="%Y-%m-%d",
        lineterminator="\n",
    )


@contextmanager
def csv_writer(path: Path, digits: str | None = None) -> Iterator[Callable[[pd.DataFrame], None]]:
    """Write a table as CSV one part after another; it is there when all of it is.

    No text in it is taken for a formula by a spreadsheet. ``digits`` is the format of decimal
    numbers, such as ``%.6g``. UnavailableError when it can't be written.
    """
    with replacing(path) as file:
        yield lambda part: _append_csv(part, file, digits)


def write_csv(path: Path, table: pd.DataFrame) -> None:
    """Write a table as CSV, decimals with six digits; see `csv_writer`."""
    with csv_writer(path, "%.6g") as write:
        write(table)


_POINT = np.dtype([("order", "u1"), ("kind", "<u4"), ("x", "<f8"), ("y", "<f8")])  # WKB


def write_geoparquet(path: Path, table: pd.DataFrame) -> None:
    """Write a table of places as GeoParquet, each row a point by ``longitude`` and ``latitude``.

    Source: GeoParquet 1.1.0; without ``crs`` points are in OGC:CRS84, degrees of WGS 84.
    UnavailableError when it can't be written.
    """
    import pyarrow as pa
    import pyarrow.compute as pc
    import pyarrow.parquet as pq

    points = np.zeros(len(table), _POINT)
    points["order"], points["kind"] = 1, 1  # little-endian, a point
    points["x"], points["y"] = table["longitude"], table["latitude"]
    packed: Any = pa.FixedSizeBinaryArray.from_buffers(
        pa.binary(_POINT.itemsize), len(points), [None, pa.py_buffer(points.tobytes())]
    )
    nowhere = pa.array(np.isnan(points["x"]) | np.isnan(points["y"]))
    geometry = pc.if_else(nowhere, None, packed.cast(pa.binary()))
    column: dict[str, Any] = {"encoding": "WKB", "geometry_types": ["Point"]}
    if nowhere.false_count:
        ends = (np.nanmin, np.nanmax)
        column["bbox"] = [float(end(points[name])) for end in ends for name in "xy"]
    about = {"version": "1.1.0", "primary_column": "geometry", "columns": {"geometry": column}}
    whole = pa.Table.from_pandas(table, preserve_index=False).append_column("geometry", geometry)
    whole = whole.replace_schema_metadata({"geo": json.dumps(about)})
    with replacing(path) as file:
        pq.write_table(whole, file, compression="zstd")


@contextmanager
def _parquet_writer(
    file: BinaryIO, layout: TableLayout
) -> Iterator[Callable[[pd.DataFrame], None]]:
    import pyarrow as pa
    import pyarrow.parquet as pq

    schema = pa.Schema.from_pandas(layout.empty(), preserve_index=False)
    with pq.ParquetWriter(file, schema, compression="zstd") as writer:

        def write(frame: pd.DataFrame) -> None:
            table = pa.Table.from_pandas(frame, schema=schema, preserve_index=False)
            writer.write_table(table, row_group_size=max(1, len(frame)))  # a part read as a whole

        yield write
