"""What comes back from the network, where it is asked for, and the notice of what did not come."""

import json
import zlib
from collections.abc import Mapping
from dataclasses import dataclass, fields
from datetime import datetime, timedelta
from typing import Any, Generic, Literal, TypeVar
from urllib.parse import urlsplit

from patchrisk.base.errors import Fault, InputError

Severity = Literal["info", "warning"]


@dataclass(frozen=True)
class Notice:
    """One line about a source of weather.

    ``source``: where it comes from: a service, a station, a file, the cache; ``text``: what
    happened, and what is used instead; ``severity``: a warning when the result is poorer for it.
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

    ``reason``: one line for the user; ``absent``: true when the service says that it has no such
    data.
    """

    def __init__(self, reason: str, *, absent: bool = False) -> None:
        super().__init__(reason)
        self.reason, self.absent = reason, absent


@dataclass(frozen=True)
class Reply(Generic[_T]):
    """An answer, read.

    ``value``: what the reader made of the body. ``fetched_at``: when it was fetched from the
    service, UTC. ``problem``: why this is an old copy; empty when it isn't. ``absent``: whether
    that is because the service no longer has such data.
    """

    value: _T
    fetched_at: datetime
    problem: str = ""
    absent: bool = False


def read_json(content: bytes) -> Json:
    """Read a JSON object."""
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
    """Unpack gzip, whole, and no more of it than stated."""
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


LOOPBACK = frozenset({"127.0.0.1", "::1", "localhost"})

# Named here so that the command line and its help read the same list.
VARIABLES = {
    "meteostat": "PATCHRISK_METEOSTAT_URL",
    "nws": "PATCHRISK_NWS_URL",
    "metno": "PATCHRISK_METNO_URL",
    "openmeteo": "PATCHRISK_OPENMETEO_URL",
}


@dataclass(frozen=True)
class Endpoints:
    """Base addresses of the weather services, without a slash at the end.

    The environment variables PATCHRISK_METEOSTAT_URL, PATCHRISK_NWS_URL, PATCHRISK_METNO_URL and
    PATCHRISK_OPENMETEO_URL put a mirror, one's own server or a test server in their place. Plain
    http is accepted for this computer only (127.0.0.1, ::1, localhost).

    InputError when an address is neither https nor http to this computer.
    """

    meteostat: str = "https://data.meteostat.net"
    nws: str = "https://api.weather.gov"
    metno: str = "https://api.met.no/weatherapi"
    openmeteo: str = "https://api.open-meteo.com"

    def __post_init__(self) -> None:
        faults = []
        for field in fields(self):
            url = getattr(self, field.name)
            try:
                found = _fault(url)
            except ValueError as error:  # brackets or a port that are no address
                found = str(error)
            if found:
                cure = "write https://host, or http://127.0.0.1:port for a server of your own"
                faults.append(Fault(VARIABLES[field.name], "", f"{url!r} {found}", cure))
            object.__setattr__(self, field.name, url.rstrip("/"))
        if faults:
            raise InputError(faults)

    @classmethod
    def from_environment(cls, environment: Mapping[str, str]) -> "Endpoints":
        """Read the addresses that the environment sets; the rest stay the public ones."""
        given = {name: environment.get(variable) for name, variable in VARIABLES.items()}
        return cls(**{name: url for name, url in given.items() if url})


def _fault(url: str) -> str:
    parts = urlsplit(url)
    extras = (parts.username, parts.query, parts.fragment)
    if any(extras) or not parts.hostname or parts.port == 0:  # a bad port raises here
        return "is not a plain address"
    if parts.scheme == "https" or (parts.scheme == "http" and parts.hostname in LOOPBACK):
        return ""
    return "is not https"
