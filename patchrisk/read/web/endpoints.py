"""Addresses of the services, and the only way to point them elsewhere."""

from collections.abc import Mapping
from dataclasses import dataclass, fields
from urllib.parse import urlsplit

from patchrisk.base.errors import Fault, InputError

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

    Raises
    ------
    InputError
        When an address is neither https nor http to this computer.
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

    @property
    def bases(self) -> tuple[str, ...]:
        """Every address."""
        return tuple(getattr(self, field.name) for field in fields(self))


def _fault(url: str) -> str:
    parts = urlsplit(url)
    extras = (parts.username, parts.query, parts.fragment)
    if any(extras) or not parts.hostname or parts.port == 0:  # a bad port raises here
        return "is not a plain address"
    if parts.scheme == "https" or (parts.scheme == "http" and parts.hostname in LOOPBACK):
        return ""
    return "is not https"
