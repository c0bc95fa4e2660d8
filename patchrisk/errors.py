"""Errors that the library raises and the command line prints in one line each."""

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True, order=True)
class Fault:
    """One thing wrong with an input, in the four parts a user needs to mend it.

    Parameters
    ----------
    source : str
        File or option in which the fault was found.
    place : str
        Line, key, column or date inside the source; empty when the whole source is meant.
    found : str
        What was found.
    cure : str
        What to write, or do, instead.
    """

    source: str
    place: str
    found: str
    cure: str

    def __str__(self) -> str:
        where = f"{self.source}, {self.place}" if self.place else self.source
        line = f"{where}: {self.found}: {self.cure}"
        return "".join(c if c.isprintable() else ascii(c)[1:-1] for c in line)


def unreadable(path: Path, error: OSError) -> Fault:
    """Say why a file can't be read."""
    if isinstance(error, FileNotFoundError):
        return Fault(str(path), "", "no such file", "check the name")
    if isinstance(error, IsADirectoryError):
        return Fault(str(path), "", "this is a folder", "name the file inside it")
    if isinstance(error, PermissionError):
        cure = "give yourself the right to read it"
        return Fault(str(path), "", "not allowed to read it", cure)
    reason = (error.strerror or str(error)).lower()
    return Fault(str(path), "", f"can't read it ({reason})", "check the name")


class PatchriskError(Exception):
    """Base of every error a user can cause or meet.

    Parameters
    ----------
    faults : Fault or iterable of Fault
        Everything found wrong; all faults of a file are reported in one go.
    """

    exit_code = 1

    def __init__(self, faults: Fault | Iterable[Fault]) -> None:
        self.faults: tuple[Fault, ...] = (faults,) if isinstance(faults, Fault) else tuple(faults)
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
