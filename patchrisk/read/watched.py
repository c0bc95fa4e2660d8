"""A folder into which a logger's exports come by themselves: a new one is read at the next run."""

import time
from collections import Counter
from collections.abc import Iterator
from hashlib import sha256
from pathlib import Path
from typing import Any

from patchrisk.base.errors import Fault, InputError

SETTLED_S = 60.0  # a file that changed more lately may still be written: it waits for the next run
_ENDINGS = (".csv", ".txt", ".tsv", ".dat", ".xlsx", ".xls")
_MOST_FILES = 400


def with_watched(loggers: Any, site_file: Path) -> Any:
    """Put the files of each watched folder in place of its ``[[logger]]``.

    Parameters
    ----------
    loggers : list of dict
        ``logger`` of the site file as it was read; anything else is returned as it is.
    site_file : Path

    Returns
    -------
    list of dict
        With ``file`` for each export of a folder, and its other keys.

    Raises
    ------
    InputError
        When a folder is not there, or a table names a file beside it.
    """
    if not isinstance(loggers, list):
        return loggers
    out, faults = [], []
    for n, one in enumerate(loggers, 1):
        if not isinstance(one, dict) or not isinstance(one.get("folder"), str):
            out.append(one)
            continue
        place, folder = f"logger {n}, folder", site_file.parent / one["folder"]
        if "file" in one:
            faults.append(Fault(str(site_file), place, "both file and folder", "take one out"))
        elif not folder.is_dir():
            found = f"{one['folder']} is no folder that is there"
            faults.append(Fault(str(site_file), place, found, "correct the name"))
        else:
            rest = {key: value for key, value in one.items() if key != "folder"}
            names = [file.relative_to(folder).as_posix() for file in settled(folder, time.time())]
            out += [{**rest, "file": f"{one['folder'].rstrip('/')}/{name}"} for name in names]
    if faults:
        raise InputError(faults)
    return out


def settled(folder: Path, now: float) -> Iterator[Path]:
    """Yield the exports in a folder that are whole, by name; of equal ones the first.

    Parameters
    ----------
    folder : Path
    now : float
        Seconds since the epoch. A file that came, or changed, less than `SETTLED_S` before waits;
        so does one that is hidden, empty, or has a name that is given while it is copied.
    """
    whole = []
    for file in sorted(folder.iterdir())[:_MOST_FILES]:
        if file.name[0] in ".~" or file.suffix.lower() not in _ENDINGS or not file.is_file():
            continue
        state = file.stat()
        if state.st_size and now - max(state.st_mtime, state.st_ctime) >= SETTLED_S:
            whole.append((file, state.st_size))
    alike = Counter(size for _, size in whole)
    seen: set[bytes] = set()
    for file, size in whole:
        digest = sha256(file.read_bytes()).digest() if alike[size] > 1 else b""
        if not digest or digest not in seen:
            seen.add(digest)
            yield file
