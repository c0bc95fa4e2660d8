"""Errors that the library raises and the command line prints in one line each."""

from collections.abc import Iterable
from dataclasses import dataclass


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
        return f"{where}: {self.found}: {self.cure}"


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
