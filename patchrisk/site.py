"""The site file: the place, its areas, its loggers and its own weather, as the user keeps them."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, field_validator, model_validator

from patchrisk.document import plain, read_toml, validate
from patchrisk.errors import Fault, InputError
from patchrisk.units import System, read_measure

RootZone = Literal["sand green", "push-up green", "loam", "clay"]
Wetness = Literal["dry", "moist", "wet"]
Cover = Literal["mown", "close-mown", "rough", "dormant"]
Use = Literal["green", "tee", "fairway", "approach", "rough", "sports field", "lawn"]

_ADDRESS = re.compile(r"[A-Za-z0-9.!#$%&'*+/=?^_`{|}~-]+@[A-Za-z0-9.-]+")  # HTML standard, roughly
_OFFSET = re.compile(r"([+-])(\d{2}):?(\d{2})")

CURES = {
    "latitude": "write degrees north, from -90 to 90, such as 40.1",
    "longitude": "write degrees east, from -180 to 180, such as -82.9",
    "utc_offset": 'write the local standard time as "+HH:MM" or "-HH:MM"',
    "depth": 'write a length with its unit, such as "5 cm" or "2 in"',
    "elevation": 'write a height with its unit, such as "250 m" or "820 ft"',
    "size": 'write an area with its unit, such as "0.4 ha", "4000 m2", "10000 ft2" or "1.5 acre"',
    "shade": "write the share of the day's sun kept off, from 0.0 to 1.0",
    "from": 'write one address, such as "greens@example.org"',
    "to": 'write a list of addresses, such as ["me@example.org"]',
    "host": 'write the name of the mail server, such as "smtp.example.org"',
    "name": "write a name in quotes, of up to 80 characters",
    "area": "write each area under a line [[area]]",
    "site": "write name, latitude and longitude under a line [site]",
    "turf": 'write the grass, such as "creeping bentgrass"',
    "most_applications": "write a whole number from 0 to 12",
    "no_spray": 'write a list, as ["2026-06-13", "2026-07-01/2026-07-04", "weekends"]',
    "resistant": 'write each disease with its FRAC codes: { "summer-patch" = ["1", "11"] }',
    "without_groups": 'write a list of FRAC codes in quotes, as ["14", "M05"]',
}
WEEKDAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
_DAY_OFF = 'write "2026-06-13", "2026-07-01/2026-07-04", "weekends" or a weekday'


def _offset_text(text: str) -> str:
    match = _OFFSET.fullmatch(text)
    if match is None or not (int(match[2]) <= 14 and int(match[3]) < 60):
        raise ValueError(f"{text!r} is not an offset: {CURES['utc_offset']}")
    return text


def _offset(text: str) -> timedelta:
    match = _OFFSET.fullmatch(text)
    assert match is not None
    size = timedelta(hours=int(match[2]), minutes=int(match[3]))
    return -size if match[1] == "-" else size


def _name(text: str) -> str:
    text = plain(text)
    if not text:
        raise ValueError("an empty name: write one, or leave the key away")
    return text


def _file(text: str) -> str:
    plain(text)
    return text


Name = Annotated[str, AfterValidator(_name)]
File = Annotated[str, AfterValidator(_file)]


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)


class Place(_Table):
    """Where the site is, and how it counts days and writes numbers.

    Without ``utc_offset`` the standard time of the longitude is taken, 15 degrees an hour.
    """

    name: Annotated[Name, Field(max_length=120)] = "Unnamed site"
    latitude: Annotated[float, Field(ge=-90, le=90)]
    longitude: Annotated[float, Field(ge=-180, le=180)]
    elevation: str | None = None
    utc_offset: str | None = None
    units: System = "metric"

    @field_validator("elevation")
    @classmethod
    def _check_elevation(cls, value: str | None) -> str | None:
        if value is not None:
            read_measure("elevation", value)
        return value

    @field_validator("utc_offset")
    @classmethod
    def _check_offset(cls, value: str | None) -> str | None:
        return None if value is None else _offset_text(value)

    @property
    def elevation_m(self) -> float | None:
        """Height above sea level [m]."""
        return None if self.elevation is None else read_measure("elevation", self.elevation)

    @property
    def standard_offset(self) -> timedelta:
        """Local standard time minus UTC."""
        if self.utc_offset is None:
            return timedelta(hours=round(self.longitude / 15))
        return _offset(self.utc_offset)

    @property
    def southern(self) -> bool:
        """Whether seasons are shifted by half a year."""
        return self.latitude < 0


class _Readings(_Table):
    file: File


class Weather(_Readings):
    """Daily weather that the user keeps; columns are guessed, shown, and can be fixed here."""

    columns: dict[str, str] = {}
    unit: Literal["degC", "degF"] | None = None
    rain_unit: Literal["mm", "in"] | None = None
    date_order: Literal["day first", "month first", "year first"] | None = None


class Online(_Table):
    """Which weather services to ask, and where to keep what they gave."""

    use: bool = True
    forecast: Literal["auto", "nws", "metno", "openmeteo", "none"] = "auto"
    past_years: Annotated[int, Field(ge=0, le=60)] = 30
    contact: str | None = None
    cache: File | None = None


class Logger(_Readings):
    """One export of a soil-temperature logger, and which areas its probes speak for."""

    areas: list[str] = []
    time: str | None = None
    depth: str | None = None
    columns: dict[str, str] = {}
    unit: Literal["degC", "degF"] | None = None
    date_order: Literal["day first", "month first", "year first"] | None = None
    utc_offset: str | None = None
    summer_time: bool = False
    delimiter: str | None = None
    decimal: Literal[".", ","] | None = None
    encoding: str | None = None
    header_line: Annotated[int, Field(ge=1)] | None = None

    @field_validator("depth")
    @classmethod
    def _check_depth(cls, value: str | None) -> str | None:
        if value is not None:
            read_measure("depth", value)
        return value

    @field_validator("columns")
    @classmethod
    def _check_columns(cls, value: dict[str, str]) -> dict[str, str]:
        for depth in value.values():
            read_measure("depth", depth)
        return value

    @field_validator("utc_offset")
    @classmethod
    def _check_offset(cls, value: str | None) -> str | None:
        return None if value is None else _offset_text(value)

    @property
    def depth_cm(self) -> float | None:
        """Depth of the only probe [cm]."""
        return None if self.depth is None else read_measure("depth", self.depth)

    @property
    def offset(self) -> timedelta | None:
        """The logger's clock minus UTC."""
        return None if self.utc_offset is None else _offset(self.utc_offset)

    @property
    def columns_cm(self) -> dict[str, float]:
        """Depth of each column named in the site file [cm]."""
        return {name: read_measure("depth", depth) for name, depth in self.columns.items()}


@dataclass(frozen=True)
class DaysOff:
    """Days on which nothing can be sprayed.

    ``weekdays`` counts Monday as 0; ``spans`` are first and last day.
    """

    weekdays: frozenset[int]
    spans: tuple[tuple[date, date], ...]


def _days_off(items: Sequence[Any]) -> DaysOff:
    weekdays: set[int] = set()
    spans: list[tuple[date, date]] = []
    for item in items:
        if type(item) is date:  # a time of day is a date too, to Python
            spans.append((item, item))
            continue
        if not isinstance(item, str):
            raise ValueError(f"{str(item)!r} is no day, span or weekday: {_DAY_OFF}")
        word = item.strip().lower()
        if word in ("weekend", "weekends"):
            weekdays |= {5, 6}
        elif word.removesuffix("s") in WEEKDAYS:
            weekdays.add(WEEKDAYS.index(word.removesuffix("s")))
        else:
            spans.append(_span(item))
    return DaysOff(frozenset(weekdays), tuple(spans))


def _span(text: str) -> tuple[date, date]:
    first, slash, last = (part.strip() for part in text.partition("/"))
    try:
        if not all(re.fullmatch(r"\d{4}-\d{2}-\d{2}", day) for day in (first, last) if day):
            raise ValueError
        begin = date.fromisoformat(first)
        end = date.fromisoformat(last) if slash else begin
    except ValueError:
        raise ValueError(f"{text!r} is no day, span or weekday: {_DAY_OFF}") from None
    if end < begin:
        raise ValueError(f"{text!r} ends before it begins: exchange the two days")
    return begin, end


class Wishes(_Table):
    """What the programme of applications may use: ``[programme]`` in the site file.

    ``fraction_caps`` turns on the rules on shares of all applications, known from memory only.
    """

    most_applications: Annotated[int, Field(ge=0, le=12)] | None = None
    no_spray: list[Any] = []
    mixtures: bool = True
    fraction_caps: bool = False
    without_groups: list[str] = []

    @field_validator("no_spray")
    @classmethod
    def _check_days(cls, value: list[Any]) -> list[Any]:
        _days_off(value)
        return value

    @property
    def days_off(self) -> DaysOff:
        """Days on which nothing can be sprayed."""
        return _days_off(self.no_spray)


class Area(_Table):
    """A piece of turf that is managed as one.

    Without ``turf`` every disease is judged; without ``use`` those of any use of the turf.
    ``most_applications`` comes before that of the whole site. ``resistant`` tells, by disease, the
    FRAC codes to which its fungus on this area is known to be resistant.
    """

    name: Annotated[Name, Field(max_length=80)] = "Turf"
    turf: str | None = None
    use: Use | None = None
    root_zone: RootZone = "loam"
    wetness: Wetness = "moist"
    cover: Cover | None = None
    irrigated: bool = False
    shade: Annotated[float, Field(ge=0, le=1)] = 0.0
    diseases: list[str] | None = None
    history: list[str] = []
    resistant: dict[str, list[str]] = {}
    size: str | None = None

    @field_validator("size")
    @classmethod
    def _check_size(cls, value: str | None) -> str | None:
        if value is not None:
            read_measure("area", value)
        return value

    @property
    def size_m2(self) -> float | None:
        """Size [m2]; None when it is not told."""
        return None if self.size is None else read_measure("area", self.size)

    most_applications: Annotated[int, Field(ge=0, le=12)] | None = None


class Mail(_Table):
    """Where to send the page, through which server; the password is never kept in the file."""

    host: Annotated[str, Field(pattern=r"^[A-Za-z0-9.:-]+$")]
    port: Annotated[int, Field(ge=1, le=65535)] | None = None
    sender: Annotated[str, Field(alias="from")]
    to: Annotated[list[str], Field(min_length=1)]
    user: Annotated[str, Field(min_length=1)] | None = None
    tls: Literal["starttls", "implicit"] = "starttls"

    @model_validator(mode="before")
    @classmethod
    def _refuse_password(cls, data: Any) -> Any:
        if isinstance(data, dict) and "password" in data:
            raise ValueError(
                "a password does not belong in a file: take it out, and set "
                "PATCHRISK_MAIL_PASSWORD or use the computer's keyring"
            )
        return data

    @field_validator("sender", "to")
    @classmethod
    def _check_addresses(cls, value: str | list[str]) -> str | list[str]:
        for address in [value] if isinstance(value, str) else value:
            if _ADDRESS.fullmatch(address) is None:
                raise ValueError(f"{address!r} is not a mail address: {CURES['from']}")
        return value

    @property
    def port_used(self) -> int:
        """The port told, else the usual one: 587 with STARTTLS (RFC 6409), 465 (RFC 8314)."""
        return self.port or {"starttls": 587, "implicit": 465}[self.tls]


class Site(_Table):
    """A whole site file.

    Use `read_site`; the folder is where relative file names start.
    """

    site: Place
    area: Annotated[list[Area], Field(min_length=1)] = [Area()]
    logger: list[Logger] = []
    weather: list[Weather] = []
    forecast_file: File | None = None
    online: Online = Online()
    programme: Wishes = Wishes()
    mail: Mail | None = None
    diseases_folder: File | None = None
    shelf_file: File | None = None
    applications_file: File | None = None
    observations_file: File | None = None
    folder: Annotated[Path, Field(exclude=True, strict=False)] = Path()

    @model_validator(mode="after")
    def _check_names(self) -> "Site":
        names = [area.name for area in self.area]
        alike = [name.casefold() for name in names]
        twice = [name for name in names if alike.count(name.casefold()) > 1]
        if twice:
            raise ValueError(f"two areas are called {twice[0]!r}: give each area its own name")
        for index, logger in enumerate(self.logger, 1):
            for name in logger.areas:
                if name not in names:
                    raise ValueError(
                        f"logger {index} speaks for an unknown area {name!r}: "
                        f"write one of {', '.join(names)}"
                    )
        return self

    def areas_named(self, names: Sequence[str]) -> list[Area]:
        """Return the areas of these names, in the order of the file; all when there are none.

        Raises
        ------
        InputError
            When no area goes by one of them.
        """
        strangers = sorted(set(names) - {area.name for area in self.area})
        if strangers:
            known = ", ".join(area.name for area in self.area)
            cure = f"write one of {known}"
            raise InputError(Fault("--area", "", f"no area {strangers[0]!r}", cure))
        return [area for area in self.area if not names or area.name in names]

    def loggers_of(self, area: Area) -> list[Logger]:
        """Return the loggers that speak for an area; one that names no area speaks for all."""
        return [lg for lg in self.logger if not lg.areas or area.name in lg.areas]


def read_site(path: Path) -> Site:
    """Read and check a site file.

    Raises
    ------
    InputError
        With every fault of the file, and files it names that are not there.
    """
    data = read_toml(path)
    if "folder" in data:
        raise InputError(Fault(str(path), "folder", "unknown key 'folder'", "take it out"))
    site = validate(Site, {**data, "folder": path.parent}, str(path), CURES)
    named: list[tuple[str, Sequence[_Readings]]] = [
        ("logger", site.logger),
        ("weather", site.weather),
    ]
    faults = [
        Fault(str(path), f"{kind} {i}, file", f"{item.file} is not there", "correct the name")
        for kind, items in named
        for i, item in enumerate(items, 1)
        if not (site.folder / item.file).is_file()
    ]
    for key, file in (("forecast_file", site.forecast_file), ("shelf_file", site.shelf_file)):
        if file and not (site.folder / file).is_file():
            faults.append(Fault(str(path), key, f"{file} is not there", "correct the name"))
    if faults:
        raise InputError(faults)
    return site
