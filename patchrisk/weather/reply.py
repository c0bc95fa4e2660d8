"""What comes back from the network; apart from what fetches, which is slow to load."""

import json
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Generic, TypeVar

T = TypeVar("T")
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
class Reply(Generic[T]):
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

    value: T
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
        data = json.loads(content)
    except (ValueError, RecursionError):
        raise WrongContentError("not JSON, or cut short") from None
    if not isinstance(data, dict):
        raise WrongContentError("JSON, but no object")
    return data
