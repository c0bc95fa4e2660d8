"""Files that a user names: ordinary files, no larger than they can be, no line without end."""

import io
import os
import stat
from collections.abc import Iterable
from pathlib import Path

from patchrisk.base.errors import Fault, InputError, unreadable

_KINDS = (
    (stat.S_ISFIFO, "a pipe"),
    (stat.S_ISSOCK, "a socket"),
    (stat.S_ISCHR, "a device"),
    (stat.S_ISBLK, "a device"),
)
# A pipe without a writer must not hold the program up.
_NO_WAIT = getattr(os, "O_NONBLOCK", 0)


def read_file(path: Path, most_bytes: int, cure: str) -> bytes:
    """Read a file whole.

    ``most_bytes``: a larger file is refused without reading it, also one that grows meanwhile;
    ``cure``: what to do about a file that is too large. InputError when it is not there, not
    allowed, too large, a folder, or a pipe, device or socket, which may never end.
    """
    try:
        _refuse_kind(path, path.stat())  # before opening: that alone can set a device off
        opener = lambda name, flags: os.open(name, flags | _NO_WAIT)  # noqa: E731
        with io.BufferedReader(io.FileIO(path, opener=opener)) as file:
            status = os.fstat(file.fileno())
            _refuse_kind(path, status)
            size, raw = status.st_size, b""
            if size <= most_bytes:
                raw = file.read(most_bytes + 1)
                size = max(size, len(raw))
    except OSError as error:
        raise InputError(unreadable(path, error)) from None
    if size > most_bytes:
        found = f"{size / 1e6:.1f} MB, more than {most_bytes / 1e6:g} MB"
        raise InputError(Fault(str(path), "", found, cure))
    return raw


def is_there(path: Path) -> bool:
    """Whether a folder holds something of this name, be it of use or not.

    A link that leads nowhere, or a file that may not be looked at, is there: reading it says what
    is wrong, where passing it over would lose it.
    """
    try:
        path.lstat()
    except FileNotFoundError:
        return False
    except OSError:
        return True
    return True


def not_there(source: str, folder: Path, named: Iterable[tuple[str, str]]) -> list[Fault]:
    """Return a fault for each file of a folder that a key of another names and is not there."""
    return [
        Fault(source, key, f"{name} is not there", "correct the name")
        for key, name in named
        if name and not is_there(folder / name)
    ]


def _refuse_kind(path: Path, status: os.stat_result) -> None:
    if stat.S_ISDIR(status.st_mode):
        raise InputError(Fault(str(path), "", "this is a folder", "name the file inside it"))
    if not stat.S_ISREG(status.st_mode):
        what = next((name for test, name in _KINDS if test(status.st_mode)), "no ordinary file")
        raise InputError(Fault(str(path), "", f"this is {what}", "save it as a file and name that"))


# Our choice: every logger's export and table seen stays far below, and what is larger takes
# minutes, or gigabytes, before it turns out to be no table.
LONGEST_LINE = 100_000  # characters; shorter than the longest cell that Python's csv takes
MOST_COLUMNS = 2_000
MOST_EXPORT_BYTES = 100_000_000  # five years of minutes with five columns
MOST_KEPT_BYTES = 10_000_000  # of a table kept by hand: a hundred thousand rows
MOST_TOML_BYTES = 5_000_000


def check_line(line: str | bytes, source: str, number: int) -> None:
    """Refuse a line that is no row of a table, before anything takes minutes to part it.

    ``line``: as it stands in the file; ``number``: of the line, from 1.
    """
    if len(line) > LONGEST_LINE:
        found = f"more than {LONGEST_LINE:,} characters in one line"
        cure = "name a table with a line for each row"
        raise InputError(Fault(source, f"line {number}", found, cure))


def check_width(columns: int, source: str, place: str = "") -> None:
    """Refuse a table with too many columns; InputError names their number."""
    if columns > MOST_COLUMNS:
        found = f"{columns:,} columns, more than {MOST_COLUMNS:,}"
        raise InputError(Fault(source, place, found, "keep those that are needed"))


def check_text(text: str, source: str, delimiters: str = ",;\t") -> None:
    """Refuse a text before it is read as a table: see `check_line` and `check_width`.

    Lines are taken as they stand: a delimiter inside quotes counts as one.
    """
    for number, line in enumerate(text.split("\n"), 1):
        if len(line) > MOST_COLUMNS:
            check_line(line, source, number)
            columns = max(line.count(delimiter) for delimiter in delimiters) + 1
            check_width(columns, source, f"line {number}")
