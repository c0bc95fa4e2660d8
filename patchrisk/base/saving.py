"""What is written, and over what: files whole or not at all, and never over what a command reads.

All files of a command are checked before any is written. The folder of a study follows the same
rule by the list of its own files: `patchrisk.study.folder`.
"""

import contextlib
import os
import re
import stat
import tempfile
import time
import unicodedata
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import BinaryIO

from patchrisk.base.errors import Fault, InputError, UnavailableError, unreadable, unwritable

try:
    import fcntl
except ImportError:  # Windows
    fcntl = None  # type: ignore[assignment]

# What is written first goes by this name, whatever the file is called: short enough beside any
# name, and nobody else's.
_SCRATCH = re.compile(r"\.patchrisk-[a-z0-9_]{8}\.part")
_OLD_S = 3600.0  # where nothing can be locked, what is younger may be at work

_CURE_WRITE = "name a folder you may write to"


def write_text(path: Path, text: str) -> None:
    """Write a UTF-8 text file; see `replacing`."""
    write_bytes(path, text.encode("utf-8"))


def write_bytes(path: Path, data: bytes) -> None:
    """Write a file; see `replacing`."""
    with replacing(path) as file:
        file.write(data)


@contextmanager
def replacing(path: Path) -> Iterator[BinaryIO]:
    """Write a file so that readers see the old one or the new one, never a part.

    A new file gets the rights that new files get here. One that is replaced keeps its mode, its
    owner as far as the system lets us, its access list and other attributes; a link stays a link,
    and what it leads to is replaced. What killed writers left in the folder is cleared away.

    What is written takes its place when the block ends without an error. UnavailableError when the
    folder is missing or can't be written to, the file is protected or none, or the disk is full.
    """
    scratch: Path | None = None
    guard = -1
    try:
        target = Path(os.path.realpath(path))
        before = _before(target, path)
        clear_scratch_files(target.parent)
        scratch, handle, guard = _begin(target.parent)
        with os.fdopen(handle, "wb") as file:
            yield file
            file.flush()
            if before is None:
                _as_new(file.fileno())
            else:
                _like(target, before, file.fileno())
            os.fsync(file.fileno())
        scratch.replace(target)
        scratch = None
    except OSError as error:
        raise UnavailableError(unwritable(path, error, _CURE_WRITE)) from None
    finally:
        if scratch is not None:
            with contextlib.suppress(OSError):
                scratch.unlink()
        if guard >= 0:
            os.close(guard)


def clear_scratch_files(folder: Path) -> None:
    """Take away what killed writers left in a folder; what one is still writing stays."""
    with contextlib.suppress(OSError), os.scandir(folder) as entries:
        for entry in entries:
            if _SCRATCH.fullmatch(entry.name):
                with contextlib.suppress(OSError):
                    _sweep_one(Path(entry.path))


def is_scratch(name: str) -> bool:
    """Whether a file of this name is one that is being written here, or was left by a writer."""
    return _SCRATCH.fullmatch(name) is not None


def _sweep_one(scratch: Path) -> None:
    if fcntl is None:
        if time.time() - scratch.stat().st_mtime > _OLD_S:
            scratch.unlink()
        return
    handle = os.open(scratch, os.O_RDWR | os.O_NOFOLLOW)
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        scratch.unlink()  # its writer is gone: else it would hold the lock
    finally:
        os.close(handle)


def _before(target: Path, path: Path) -> os.stat_result | None:
    """Look at the file that is to be replaced; None when there is none."""
    try:
        found = target.stat()
    except FileNotFoundError:
        return None
    if not stat.S_ISREG(found.st_mode):
        what = "a folder" if stat.S_ISDIR(found.st_mode) else "no ordinary file"
        raise UnavailableError(Fault(str(path), "", f"this is {what}", "name a file"))
    if not os.access(target, os.W_OK):
        cure = "name another, or give yourself the right to write it"
        raise UnavailableError(Fault(str(path), "", "it is protected against writing", cure))
    return found


def _begin(folder: Path) -> tuple[Path, int, int]:
    """Make a scratch file: its path, a handle to write to, and one that holds its lock."""
    while True:
        handle, name = tempfile.mkstemp(dir=folder, prefix=".patchrisk-", suffix=".part")
        if fcntl is None:
            return Path(name), handle, -1
        with contextlib.suppress(OSError):  # it is just swept away, or this disk knows no locks
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        if os.fstat(handle).st_nlink:
            return Path(name), handle, os.dup(handle)
        os.close(handle)


def _as_new(handle: int) -> None:
    """Give a file the rights that new files get here."""
    umask = os.umask(0)
    os.umask(umask)
    if hasattr(os, "fchmod"):
        os.fchmod(handle, 0o666 & ~umask)


def _like(target: Path, before: os.stat_result, handle: int) -> None:
    """Give a new file the owner, mode, access list and attributes of the old one."""
    if hasattr(os, "fchown"):
        now = os.fstat(handle)
        for old, new, ids in (
            (before.st_uid, now.st_uid, (before.st_uid, -1)),
            (before.st_gid, now.st_gid, (-1, before.st_gid)),
        ):
            if old != new:
                with contextlib.suppress(OSError):  # only the system's keeper may give files away
                    os.fchown(handle, *ids)
        os.fchmod(handle, stat.S_IMODE(before.st_mode))
    if hasattr(os, "listxattr"):
        with contextlib.suppress(OSError):
            for name in os.listxattr(target):
                with contextlib.suppress(OSError):
                    os.setxattr(handle, name, os.getxattr(target, name))


_LOOK = 65_536  # bytes of a file's beginning, and of its end, in which its mark stands
_CURE_OUTPUT = "name another file, or delete this one yourself"


@dataclass(frozen=True)
class Kind:
    """A kind of file that this program writes, and how one that it wrote is known.

    ``name``: what messages call it; ``is_ours``: given the beginning and the end of a file.
    """

    name: str
    is_ours: Callable[[bytes, bytes], bool]


def marked(name: str, *marks: bytes) -> Kind:
    """Return a kind that any of these bytes near its beginning tells."""
    return Kind(name, lambda head, _: any(mark in head for mark in marks))


@dataclass(frozen=True)
class Output:
    """A file that is about to be written; the cure is told where it can't be."""

    path: Path
    kind: Kind
    cure: str = field(default=_CURE_OUTPUT)


def check_outputs(outputs: Iterable[Output], inputs: Mapping[Path, str]) -> None:
    """Refuse to write over what is read, or over what is not this program's own of the same kind.

    ``outputs``: all that a command is going to write; ``inputs``: what it reads, or would read,
    each with what it is. InputError with a fault for each file that can't be written; nothing was
    touched.
    """
    faults: list[Fault] = []
    taken: set[str] = set()
    for output in outputs:
        fault = _fault(output, inputs)
        if fault is None and _place(output.path) in taken:
            found = "two files are to be written under this name"
            fault = Fault(str(output.path), "", found, "give each its own")
        taken.add(_place(output.path))
        faults += [] if fault is None else [fault]
    if faults:
        raise InputError(faults)


def _fault(output: Output, inputs: Mapping[Path, str]) -> Fault | None:
    source = str(output.path)
    for path, what in inputs.items():
        if same_file(output.path, path):
            return Fault(
                source, "", f"this is {what}, and is not written over", "name another file"
            )
    try:
        found = output.path.stat()
        if stat.S_ISDIR(found.st_mode):
            return Fault(source, "", "this is a folder", "name a file")
        if not stat.S_ISREG(found.st_mode):
            return Fault(source, "", "no ordinary file", "name another file")
        if not output.kind.is_ours(*_ends(output.path, found.st_size)):
            return Fault(source, "", f"is there and is no {output.kind.name}", output.cure)
    except (FileNotFoundError, NotADirectoryError):
        return None
    except OSError as error:
        fault = unreadable(output.path, error)
        return Fault(source, "", fault.found, output.cure)
    return None


def same_file(one: Path, other: Path) -> bool:
    """Whether two names lead to one file: by links of either kind, or in other capitals."""
    if _place(one) == _place(other):
        return True
    try:
        return one.samefile(other)
    except OSError:  # one of them is not there
        return False


def _place(path: Path) -> str:
    """Return where a name leads, as a disk sees it that knows no capitals and one form of accents.

    Two files that differ in their capitals alone are not kept apart by every disk and sync.
    """
    return unicodedata.normalize("NFC", os.path.realpath(path)).casefold()


def _ends(path: Path, size: int) -> tuple[bytes, bytes]:
    with path.open("rb") as file:
        head = file.read(_LOOK)
        file.seek(max(0, size - _LOOK))
        return head, file.read(_LOOK)
