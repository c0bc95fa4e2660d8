"""A file's bytes as text: encoding found or told, the sheets of a workbook written out."""

import codecs
import csv
import io
import warnings
import zipfile
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from functools import partial
from importlib import import_module
from pathlib import Path
from typing import Any

from patchrisk.base.errors import Fault, InputError
from patchrisk.base.user_files import LONGEST_LINE, MOST_EXPORT_BYTES, check_line, read_file

EXPORT = "export the readings as CSV and name that file"

_BINARY = (
    (b"PK\x03\x04", "a workbook or another zip archive"),
    (b"\xd0\xcf\x11\xe0", "a workbook"),
    (b"SQLite format 3\x00", "a database"),
    (b"%PDF", "a PDF"),
    (b"\x1f\x8b", "a compressed archive"),
)
_MARKS = (
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)
_LOOK = 65536  # bytes looked at to tell text from anything else
_CONTROL = bytes(c for c in range(32) if c not in b"\t\n\r\f\x1a")


@dataclass(frozen=True)
class DecodedText:
    """A file as text with plain line ends, and the encoding it was read in."""

    text: str
    encoding: str


def read_text(
    path: Path, encoding: str | None = None, most_bytes: int | None = None
) -> DecodedText:
    """Read a text file in whichever encoding it was written.

    ``encoding``: a Python encoding name; found from the bytes when not given. ``most_bytes``: a
    larger file is refused; `MOST_EXPORT_BYTES` when not given. InputError when there is no such
    file, it is no ordinary one, empty, too large, no text, has a line longer than any table has, or
    is not in the encoding that was told.
    """
    return decode_text(read_bytes(path, most_bytes), str(path), encoding)


def read_bytes(path: Path, most_bytes: int | None = None) -> bytes:
    """Read a file whole, if it is an ordinary one and not too large."""
    if most_bytes is None:
        return read_file(path, MOST_EXPORT_BYTES, "export fewer years or a longer step")
    return read_file(path, most_bytes, "keep the older rows in a file of their own")


def decode_text(raw: bytes, source: str, encoding: str | None = None) -> DecodedText:
    """Turn bytes into text; see `read_text`."""
    if not raw.strip():
        raise InputError(Fault(source, "", "the file is empty", EXPORT))
    for signature, what in _BINARY:
        if raw.startswith(signature):
            raise InputError(Fault(source, "", f"this is {what}, not text", EXPORT))
    name = encoding or _guess(raw, source)
    try:
        text = raw.decode(name)
    except LookupError:
        cure = 'write one such as "utf-8", "cp1252" or "utf-16"'
        raise InputError(Fault(source, "encoding", f"unknown encoding {name!r}", cure)) from None
    except UnicodeError as error:
        raise InputError(_undecodable(raw, source, name, error)) from None
    text = text.removeprefix("\ufeff").rstrip("\x1a")
    text = text.replace("\0", "\ufffd")  # a number would be read up to the zero, as if whole
    if "\r" in text:
        text = text.replace("\r\n", "\n").replace("\r", "\n")
    _refuse_long_lines(text, source)
    return DecodedText(text, name)


def _refuse_long_lines(text: str, source: str) -> None:
    """Find and refuse a line that is too long without parting the text into lines."""
    start = 0
    while start + LONGEST_LINE < len(text):
        end = text.rfind("\n", start, start + LONGEST_LINE + 1)
        if end < 0:
            line = text[start : start + LONGEST_LINE + 1]
            check_line(line, source, text.count("\n", 0, start) + 1)
        start = end + 1


def _guess(raw: bytes, source: str) -> str:
    for mark, name in _MARKS:
        if raw.startswith(mark):
            return name
    head = raw[:_LOOK]
    if b"\x00" in head:
        # Latin letters and digits in UTF-16 have a zero byte in every pair, always on one side.
        low, high = head[0::2].count(0) / len(head), head[1::2].count(0) / len(head)
        if high > 0.4 and low < 0.02:
            return "utf-16-le"
        if low > 0.4 and high < 0.02:
            return "utf-16-be"
    kept = head.translate(None, delete=_CONTROL)
    if len(kept) < 0.995 * len(head):
        raise InputError(Fault(source, "", "this is not a text file", EXPORT))
    for name in ("utf-8", "cp1252"):
        try:
            raw.decode(name)
        except UnicodeDecodeError:
            continue
        return name
    return "latin-1"


def _undecodable(raw: bytes, source: str, name: str, error: UnicodeError) -> Fault:
    if not isinstance(error, UnicodeDecodeError):
        return Fault(source, "encoding", f"the file is not {name}", "take the option out")
    line = raw[: error.start].count(b"\n") + 1
    byte = raw[error.start] if error.start < len(raw) else 0
    found = f"byte 0x{byte:02X} is not {name}"
    return Fault(source, f"line {line}", found, 'set encoding = "cp1252", or take the option out')


_WORKBOOK = b"PK\x03\x04"
_OLD_WORKBOOK = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"  # of .xls, and of a workbook with a password
_MOST_UNPACKED = (
    6 * MOST_EXPORT_BYTES
)  # text packs about this well; more is meant to fill the memory
_MOST_CELLS = 5_000_000  # ten years of hours in fifty columns
_HALF = timedelta(milliseconds=500)

_Rows = Iterator[Sequence[object]]


def is_workbook(raw: bytes) -> bool:
    """Whether bytes are an Excel workbook, of the kind that ends in .xlsx or in .xls."""
    if not raw.startswith(_WORKBOOK):
        return raw.startswith(_OLD_WORKBOOK)
    try:
        with zipfile.ZipFile(io.BytesIO(raw)) as archive:
            return "xl/workbook.xml" in archive.namelist()
    except (zipfile.BadZipFile, OSError, ValueError):
        return False


def read_sheets(raw: bytes, source: str, sheet_name: str | None) -> dict[str, str]:
    """Read the sheets of a workbook, or the one that is told, as text.

    Returns cells parted by tabs, dates as ISO 8601, one line for each row of the sheet; sheets
    without a cell are left out. InputError when the package that reads it is missing, the workbook
    is damaged or too large, or has no such sheet.
    """
    package, wanted, read = (
        ("openpyxl", "openpyxl>=3.1", _rows_of_xlsx)
        if raw.startswith(_WORKBOOK)
        else ("xlrd", "xlrd>=2.0.1", _rows_of_xls)
    )
    try:
        import_module(package)  # an extra, and slow to import
    except ImportError:
        found = f"this is an Excel workbook, and {package}, which reads it, is not installed"
        cure = f"run: .venv/bin/pip install '{wanted}', or export the sheet as CSV"
        raise InputError(Fault(source, "", found, cure)) from None
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", UserWarning)  # of styles, which nothing here looks at
            rows = read(raw, source)
            sheets = {
                name: _to_text(rows[name](), source, name)
                for name in _wanted(list(rows), source, sheet_name)
            }
    except InputError:
        raise
    except Exception as error:  # both packages let any kind of error out of a damaged file
        found = f"this workbook can't be read ({type(error).__name__})"
        cure = "open it and save it again without a password, or export the sheet as CSV"
        raise InputError(Fault(source, "", found, cure)) from None
    filled = {name: text for name, text in sheets.items() if text}
    if not filled:
        found = "no sheet holds a cell" if sheet_name is None else f"sheet {sheet_name!r} is empty"
        raise InputError(Fault(source, "", found, "name the workbook with the readings"))
    return filled


def _rows_of_xlsx(raw: bytes, source: str) -> dict[str, Callable[[], _Rows]]:
    import openpyxl

    with zipfile.ZipFile(io.BytesIO(raw)) as archive:
        size = sum(item.file_size for item in archive.infolist())
    if size > _MOST_UNPACKED:
        found = f"{size / 1e6:.0f} MB when unpacked, more than {_MOST_UNPACKED / 1e6:.0f} MB"
        raise InputError(Fault(source, "", found, "export the sheet with the readings as CSV"))
    book = openpyxl.load_workbook(io.BytesIO(raw), read_only=True, data_only=True)

    def rows(name: str) -> _Rows:
        book[name].reset_dimensions()  # many programs write A1 there, whatever the sheet holds
        return iter(book[name].iter_rows(values_only=True))

    return {sheet.title: partial(rows, sheet.title) for sheet in book.worksheets}


def _rows_of_xls(raw: bytes, _: str) -> dict[str, Callable[[], _Rows]]:
    import xlrd

    aside = io.StringIO()  # it prints what it makes of a damaged file
    book = xlrd.open_workbook(logfile=aside, file_contents=raw, on_demand=True, ragged_rows=True)

    def value(cell: Any) -> object:
        if cell.ctype in (xlrd.XL_CELL_EMPTY, xlrd.XL_CELL_BLANK):
            return None
        if cell.ctype == xlrd.XL_CELL_ERROR:
            return xlrd.error_text_from_code[cell.value]
        if cell.ctype == xlrd.XL_CELL_BOOLEAN:
            return bool(cell.value)
        if cell.ctype != xlrd.XL_CELL_DATE:
            return cell.value
        moment = xlrd.xldate_as_datetime(cell.value, book.datemode)
        return (moment + _HALF).time() if 0 <= cell.value < 1 else moment

    def rows(name: str) -> _Rows:
        return ([value(cell) for cell in row] for row in book.sheet_by_name(name).get_rows())

    return {name: partial(rows, name) for name in book.sheet_names()}


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
