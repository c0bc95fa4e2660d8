"""Errors that the library raises and the command line prints in one line each."""

import errno
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import islice
from pathlib import Path

from patchrisk.base.safe_text import visible

MOST_FAULTS = 200  # more lines than anybody reads before mending the first
_LONGEST = 600  # characters of each part of a fault


@dataclass(frozen=True, order=True)
class Fault:
    """One thing wrong with an input, in the four parts a user needs to mend it.

    ``source``: file or option in which the fault was found. ``place``: line, key, column or date
    inside the source; empty when the whole source is meant. ``found``: what was found. ``cure``:
    what to write, or do, instead.
    """

    source: str
    place: str
    found: str
    cure: str

    def __str__(self) -> str:
        place, found, cure = map(_short, (self.place, self.found, self.cure))
        where = f"{self.source}, {place}" if place else self.source
        return visible(f"{where}: {found}: {cure}")


def _short(text: str) -> str:
    """Keep a line readable whatever it quotes."""
    return text if len(text) <= _LONGEST else f"{text[: _LONGEST - 60]} ... {text[-50:]}"


def unreadable(path: Path, error: OSError) -> Fault:
    """Say why a file can't be read."""
    if isinstance(error, FileNotFoundError):
        found = "a link to a file that is not there" if path.is_symlink() else "no such file"
        return Fault(str(path), "", found, "check the name")
    if isinstance(error, IsADirectoryError):
        return Fault(str(path), "", "this is a folder", "name the file inside it")
    if isinstance(error, PermissionError):
        cure = "give yourself the right to read it"
        return Fault(str(path), "", "not allowed to read it", cure)
    reason = (error.strerror or str(error)).lower()
    return Fault(str(path), "", f"can't read it ({reason})", "check the name")


FULL = {errno.ENOSPC: "the disk is full", errno.EDQUOT: "your share of the disk is full"}


def unwritable(path: Path | str, error: OSError, cure: str) -> Fault:
    """Say why something can't be written; a full disk has a cure of its own."""
    if error.errno in FULL:
        cure = f"{FULL[error.errno]}: free some room, then give the same command again"
    reason = (error.strerror or str(error)).lower()
    return Fault(str(path), "", f"can't write it ({reason})", cure)


class PatchriskError(Exception):
    """Base of every error a user can cause or meet.

    ``faults``: everything found wrong; all faults of a file are reported in one go. Of more than
    `MOST_FAULTS` the first are kept and the others counted.
    """

    exit_code = 1

    def __init__(self, faults: Fault | Iterable[Fault]) -> None:
        given = iter((faults,) if isinstance(faults, Fault) else faults)
        kept = list(islice(given, MOST_FAULTS))
        if more := sum(1 for _ in given):
            kept.append(Fault(kept[-1].source, "", f"{more} more faults", "mend these first"))
        self.faults: tuple[Fault, ...] = tuple(kept)
        super().__init__("\n".join(map(str, self.faults)))

    def __reduce__(self) -> tuple[type["PatchriskError"], tuple[tuple[Fault, ...]]]:
        """Go whole from one process to another."""
        return type(self), (self.faults,)


class InputError(PatchriskError):
    """The input must be changed before anything can be computed (exit code 2)."""

    exit_code = 2


class UnavailableError(PatchriskError):
    """The input is right but the work could not be done: disk, network, time (exit code 1)."""

    exit_code = 1
