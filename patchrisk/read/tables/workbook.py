"""Excel workbooks: a sheet written as text, parted by tabs, one line a row."""

import csv
import io
import warnings
import zipfile
from collections.abc import Iterable, Sequence
from datetime import date, datetime, time, timedelta

from patchrisk.base.errors import Fault, InputError
from patchrisk.base.user_files import MOST_EXPORT_BYTES

_MARK = b"PK\x03\x04"
_MOST_UNPACKED = (
    6 * MOST_EXPORT_BYTES
)  # text packs about this well; more is meant to fill the memory
_MOST_CELLS = 5_000_000  # ten years of hours in fifty columns
_HALF = timedelta(milliseconds=500)


def is_workbook(raw: bytes) -> bool:
    """Whether bytes are an Excel workbook of the kind that ends in .xlsx."""
    if not raw.startswith(_MARK):
        return False
    try:
        with zipfile.ZipFile(io.BytesIO(raw)) as archive:
            return "xl/workbook.xml" in archive.namelist()
    except (zipfile.BadZipFile, OSError, ValueError):
        return False


def read_sheets(raw: bytes, source: str, sheet_name: str | None) -> dict[str, str]:
    """Read the sheets of a workbook, or the one that is told, as text.

    Returns
    -------
    dict of str to str
        Cells parted by tabs, dates as ISO 8601, one line for each row of the sheet; sheets
        without a cell are left out.

    Raises
    ------
    InputError
        When openpyxl is missing, the workbook is damaged or too large, or has no such sheet.
    """
    try:
        import openpyxl  # an extra, and slow to import
    except ImportError:
        found = "this is an Excel workbook, and openpyxl, which reads it, is not installed"
        cure = "run: .venv/bin/pip install 'openpyxl>=3.1', or export the sheet as CSV"
        raise InputError(Fault(source, "", found, cure)) from None
    with zipfile.ZipFile(io.BytesIO(raw)) as archive:
        size = sum(item.file_size for item in archive.infolist())
    if size > _MOST_UNPACKED:
        found = f"{size / 1e6:.0f} MB when unpacked, more than {_MOST_UNPACKED / 1e6:.0f} MB"
        raise InputError(Fault(source, "", found, "export the sheet with the readings as CSV"))
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", UserWarning)  # of styles, which nothing here looks at
            book = openpyxl.load_workbook(io.BytesIO(raw), read_only=True, data_only=True)
        names = [sheet.title for sheet in book.worksheets]
        sheets = {}
        for name in _wanted(names, source, sheet_name):
            book[name].reset_dimensions()  # many programs write A1 there, whatever the sheet holds
            sheets[name] = _to_text(book[name].iter_rows(values_only=True), source, name)
    except InputError:
        raise
    except Exception as error:  # openpyxl lets any kind of error out of a damaged file
        found = f"this workbook can't be read ({type(error).__name__})"
        cure = "open it and save it again, or export the sheet as CSV"
        raise InputError(Fault(source, "", found, cure)) from None
    filled = {name: text for name, text in sheets.items() if text}
    if not filled:
        found = "no sheet holds a cell" if sheet_name is None else f"sheet {sheet_name!r} is empty"
        raise InputError(Fault(source, "", found, "name the workbook with the readings"))
    return filled


def _wanted(names: Sequence[str], source: str, sheet_name: str | None) -> list[str]:
    if sheet_name is None:
        return list(names)
    found = [name for name in names if name.casefold() == sheet_name.strip().casefold()]
    if not found:
        cure = f"write one of {', '.join(map(repr, names))}"
        raise InputError(Fault(source, "sheet", f"no sheet {sheet_name!r}", cure))
    return found


def _to_text(rows: Iterable[Sequence[object]], source: str, name: str) -> str:
    table: list[Sequence[object]] = []
    cells = 0
    for row in rows:
        filled = [n for n, cell in enumerate(row) if cell is not None]
        table.append(row[: filled[-1] + 1] if filled else ())
        cells += len(table[-1])
        if cells > _MOST_CELLS:
            found = f"more than {_MOST_CELLS:,} cells in sheet {name!r}"
            raise InputError(Fault(source, "", found, "export fewer columns or years as CSV"))
    while table and not table[-1]:
        table.pop()
    dates = _dates_alone(table)
    out = io.StringIO()
    writer = csv.writer(out, delimiter="\t", lineterminator="\n")
    for row in table:
        writer.writerow([_written(cell, n in dates) for n, cell in enumerate(row)])
    return out.getvalue()


def _dates_alone(table: Sequence[Sequence[object]]) -> set[int]:
    """Columns whose every date is at midnight: days, which Excel keeps with a time all the same."""
    timed: set[int] = set()
    dated: set[int] = set()
    for row in table:
        for n, cell in enumerate(row):
            if isinstance(cell, datetime):
                (dated if cell.time() == time() else timed).add(n)
    return dated - timed


def _written(cell: object, day_alone: bool) -> str:
    if cell is None:
        return ""
    if isinstance(cell, datetime):
        whole = (cell + _HALF).replace(microsecond=0)  # its parts of a day are rounded
        return f"{whole:%Y-%m-%d}" if day_alone else f"{whole:%Y-%m-%d %H:%M:%S}"
    if isinstance(cell, date):
        return f"{cell:%Y-%m-%d}"
    if isinstance(cell, time):
        return f"{cell:%H:%M:%S}"
    if isinstance(cell, float):
        return f"{cell:.15g}"
    return " ".join(str(cell).split())
