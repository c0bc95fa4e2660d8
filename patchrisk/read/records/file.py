"""Records as plain CSV that a spreadsheet opens: read with every fault, and added to safely."""

import contextlib
import csv
import difflib
import io
import os
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from patchrisk.base.errors import Fault, InputError, UnavailableError
from patchrisk.base.safe_text import has_split_decimal, quote_formula, unquote_formula
from patchrisk.base.saving import write_bytes
from patchrisk.base.user_files import MOST_KEPT_BYTES, check_text, is_there
from patchrisk.read.tables.file_text import decode_text, read_bytes

LOCK_WAIT_S = 10.0


@dataclass(frozen=True)
class Row:
    """One record: the line it begins on, and its cells by column; a missing cell is empty."""

    line: int
    cells: Mapping[str, str]


@dataclass(frozen=True)
class RecordTable:
    """A record file as it stands; ``header`` is empty while there is none."""

    path: Path
    header: tuple[str, ...] = ()
    delimiter: str = ","
    encoding: str = "utf-8"
    rows: tuple[Row, ...] = ()
    faults: tuple[Fault, ...] = field(default=())


def read_table(path: Path, columns: Sequence[str]) -> RecordTable:
    """Read a record file; one that is not there, or is empty, has no rows.

    Commas, semicolons and tabs, every line end, a byte order mark, and further columns of the
    user's own are taken as they come.

    InputError when the columns can't be told: no text, no header, or a heading that is misspelt.
    """
    return _parse(path, _bytes(path), columns)


def _bytes(path: Path) -> bytes:
    return read_bytes(path, MOST_KEPT_BYTES) if is_there(path) else b""


@contextlib.contextmanager
def locked(path: Path) -> Iterator[None]:
    """Keep others from adding to the file at the same time.

    UnavailableError when another keeps it for longer than `LOCK_WAIT_S`, or the folder can't be
    written to.
    """
    from filelock import FileLock, Timeout

    cure = "name a folder you may write to"
    if not path.parent.is_dir():  # the lock would make one, whatever the slip of the pen
        raise UnavailableError(Fault(str(path), "", "there is no such folder", cure))
    lock = FileLock(path.with_name(f".{path.name}.lock"), timeout=LOCK_WAIT_S)
    try:
        lock.acquire()
    except Timeout:
        found = f"another `patchrisk record` has held it for {LOCK_WAIT_S:g} s"
        raise UnavailableError(Fault(str(path), "", found, "wait for it, or end it")) from None
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise UnavailableError(Fault(str(path), "", f"can't lock it ({reason})", cure)) from None
    try:
        yield
    finally:
        lock.release()


def add_row(
    path: Path,
    columns: Sequence[str],
    cells: Mapping[str, str],
    check: Callable[[RecordTable], None] | None = None,
) -> RecordTable:
    """Add one row at the end, under a lock; no byte that is there is changed.

    The new file takes the place of the old one whole, so that a computer that stops at any
    moment leaves one or the other.

    ``columns``: the columns of a new file; an old one keeps its own columns, order, delimiter and
    encoding. ``check``: given the sheet as it is, under the lock; raises to leave it so. Returns
    the file as it was before. InputError when its columns can't be told, it lacks one that is
    needed, or its encoding can't hold the text; UnavailableError when it can't be locked or
    written.
    """
    path = Path(os.path.realpath(path))  # the lock stands beside the file that a link leads to
    with locked(path):
        raw = _bytes(path)
        sheet = _parse(path, raw, columns)
        if check is not None:
            check(sheet)
        write_bytes(path, raw + _addition(sheet, raw, columns, cells))
    return sheet


def _addition(
    sheet: RecordTable, raw: bytes, columns: Sequence[str], cells: Mapping[str, str]
) -> bytes:
    header = sheet.header or tuple(columns)
    lost = [name for name, text in cells.items() if text and name not in header]
    if lost:
        found = f"no column {', '.join(lost)}"
        cure = f"add {sheet.delimiter}{sheet.delimiter.join(lost)} at the end of the first line"
        raise InputError(Fault(str(sheet.path), "line 1", found, cure))
    end = "\r\n" if b"\r\n" in raw else "\n"
    out = io.StringIO()
    writer = csv.writer(out, delimiter=sheet.delimiter, lineterminator=end)
    if not raw:
        out.write("\ufeff")  # without the mark some spreadsheets take UTF-8 for something older
    elif not raw.endswith((b"\n", b"\r")):
        out.write(end)
    if not sheet.header:
        writer.writerow(header)
    writer.writerow([quote_formula(cells.get(name, "")) for name in header])
    try:
        return out.getvalue().encode(sheet.encoding)
    except UnicodeEncodeError as error:
        found = f"{error.object[error.start]!r} can't be written in {sheet.encoding}"
        cure = "save the file as CSV UTF-8 from the spreadsheet"
        raise InputError(Fault(str(sheet.path), "", found, cure)) from None


def _parse(path: Path, raw: bytes, columns: Sequence[str]) -> RecordTable:
    if not raw.strip():
        return RecordTable(path)
    decoded = decode_text(raw, str(path))
    if decoded.encoding.startswith("utf-16"):
        cure = "save it as CSV UTF-8 from the spreadsheet"
        raise InputError(Fault(str(path), "", "the encoding is UTF-16", cure))
    text = decoded.text
    lines = text.splitlines()
    first = next((n for n, line in enumerate(lines) if line.strip(" ,;\t")), None)
    if first is None:
        return RecordTable(path)
    delimiter = max(",;\t", key=lines[first].count)
    faults: list[Fault] = []
    records = list(read_records(text, delimiter, str(path), faults))
    (_, names), *body = records or [(1, [])]
    header = _header(path, names, columns, first + 1)
    rows: list[Row] = []
    whole = text.endswith("\n")
    for n, (line, cells) in enumerate(body):
        if not whole and n == len(body) - 1 and len(cells) < len(header):
            found = f"{len(cells)} of {len(header)} cells: the last line is torn"
            cure = "finish it, or take it out and record it again"
            faults.append(Fault(str(path), f"line {line}", found, cure))
            continue
        more = cells[len(header) :]
        if any(cell.strip() for cell in more) or (
            more and has_split_decimal([c.strip() for c in cells])
        ):
            found = f"{len(cells)} cells under {len(header)} headings"
            between = {",": "commas", ";": "semicolons", "\t": "tabs"}[delimiter]
            cure = f'put text with {between} in "quotes"'
            faults.append(Fault(str(path), f"line {line}", found, cure))
            continue
        cells = [*cells, *[""] * (len(header) - len(cells))]
        paired = zip(header, cells, strict=False)
        rows.append(Row(line, {name: unquote_formula(cell).strip() for name, cell in paired}))
    encoding = "utf-8" if decoded.encoding == "utf-8-sig" else decoded.encoding
    return RecordTable(path, header, delimiter, encoding, tuple(rows), tuple(faults))


def read_records(
    text: str, delimiter: str, source: str, faults: list[Fault]
) -> Iterator[tuple[int, list[str]]]:
    """Yield every record that is not blank, with the line it begins on; add what is no record.

    A text in quotes may run over several lines, but not over what is a row by itself: two lone
    quotes would swallow every row between them.

    InputError when a line is too long, or has too many cells, for a table.
    """
    check_text(text, source, delimiter)
    lines = text.split("\n")
    start = 0
    dated: set[int] | None = None
    while True:
        below = (f"{lines[n]}\n" for n in range(start, len(lines)))
        reader = csv.reader(below, delimiter=delimiter, strict=True)
        line = start + 1
        try:
            for cells in reader:
                after = start + reader.line_num + 1
                if any(_is_row(inside, delimiter, dated) for inside in lines[line : after - 1]):
                    raise csv.Error
                if any(cell.strip() for cell in cells):
                    if dated is None:
                        dated = {n for n, name in enumerate(cells) if _plain(name) in _DATED}
                    yield line, cells
                line = after
            return
        except csv.Error:  # an open quote would swallow every row to the end: go on behind its line
            cure = "double or take out the quote that has no partner"
            faults.append(Fault(source, f"line {line}", "quotes that don't match", cure))
            start = line


_DATED = ("date", "first_seen", "looked")
_DATE = re.compile(r"\s*[\"']?\d{1,4}([-/.])\d{1,2}\1\d{1,4}\b.*")


def _is_row(line: str, delimiter: str, dated: set[int] | None) -> bool:
    """Whether a line inside a quoted text looks like a row: a date stands where dates stand."""
    cells = line.split(delimiter)
    dates = [n for n in dated or () if n < len(cells) and _DATE.fullmatch(cells[n])]
    return len(cells) > 2 and bool(dates)


def _header(path: Path, names: Sequence[str], columns: Sequence[str], line: int) -> tuple[str, ...]:
    """Return the headings as this package writes them; further ones stay as they are."""
    header = tuple(map(_plain, names))
    place = f"line {line}"
    if columns[0] not in header:
        found = f"no column {columns[0]!r}"
        cure = f"make the first line {','.join(columns)}"
        raise InputError(Fault(str(path), place, found, cure))
    faults = []
    for name in dict.fromkeys(header):
        if name and header.count(name) > 1:
            faults.append(Fault(str(path), place, f"two columns {name!r}", "take one out"))
        near = difflib.get_close_matches(name, columns, n=1, cutoff=0.8)
        if name not in columns and near and near[0] not in header:
            cure = f"did you mean {near[0]}?"
            faults.append(Fault(str(path), place, f"unknown column {name!r}", cure))
    if faults:
        raise InputError(faults)
    return header


def _plain(name: str) -> str:
    return re.sub(r"[\s-]+", "_", name.strip().casefold())
