"""What comes back from the network, and the notice of what did not; light to load."""

import json
import zlib
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Generic, Literal, TypeVar

Severity = Literal["info", "warning"]


@dataclass(frozen=True)
class Notice:
    """One line about a source of weather.

    Parameters
    ----------
    source : str
        Where it comes from: a service, a station, a file, the cache.
    text : str
        What happened, and what is used instead.
    severity : {"info", "warning"}
        A warning when the result is poorer for it.
    """

    source: str
    text: str
    severity: Severity = "warning"

    def __str__(self) -> str:
        return f"{self.source}: {self.text}"


_T = TypeVar("_T")
Json = dict[str, Any]
# A copy from later than this in the future was written before the clock was put back.
CLOCK_TOLERANCE = timedelta(minutes=5)


class WrongContentError(ValueError):
    """A body that isn't what the service documents; the message says what was found."""


class FetchError(Exception):
    """Nothing could be had from an address.

    Parameters
    ----------
    reason : str
        One line for the user.
    absent : bool
        True when the service says that it has no such data.
    """

    def __init__(self, reason: str, *, absent: bool = False) -> None:
        super().__init__(reason)
        self.reason, self.absent = reason, absent


@dataclass(frozen=True)
class Reply(Generic[_T]):
    """An answer, read.

    Parameters
    ----------
    value : object
        What the reader made of the body.
    fetched_at : datetime
        When it was fetched from the service, UTC.
    problem : str
        Why this is an old copy; empty when it isn't.
    absent : bool
        Whether that is because the service no longer has such data.
    """

    value: _T
    fetched_at: datetime
    problem: str = ""
    absent: bool = False


def read_json(content: bytes) -> Json:
    """Read a JSON object.

    Raises
    ------
    WrongContentError
    """
    try:
        data = json.loads(content, parse_constant=_no_number)
    except (ValueError, RecursionError):
        raise WrongContentError("not JSON, or cut short") from None
    if not isinstance(data, dict):
        raise WrongContentError("JSON, but no object")
    return data


def _no_number(word: str) -> float:
    """Refuse NaN and Infinity, which JSON doesn't have."""
    raise ValueError(word)


def unpack(content: bytes, most: int) -> bytes:
    """Unpack gzip, whole, and no more of it than stated.

    Raises
    ------
    WrongContentError
    """
    unpacker = zlib.decompressobj(wbits=31)
    try:
        text = unpacker.decompress(content, most + 1)
    except zlib.error:
        raise WrongContentError("gzip that is damaged") from None
    if len(text) > most:
        raise WrongContentError(f"more than {most / 1e6:g} MB once unpacked")
    if not unpacker.eof:
        raise WrongContentError("gzip that was cut short")
    if unpacker.unused_data:
        raise WrongContentError("gzip with something behind it")
    return text
