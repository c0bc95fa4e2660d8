"""The site file: the place, its areas, its loggers and its own weather, as the user keeps them."""

import re
import time
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta, timezone
from hashlib import sha256
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, Field, field_validator, model_validator

from patchrisk.base.errors import Fault, InputError
from patchrisk.base.toml_files import plain, read_toml, validate
from patchrisk.base.units import System, read_measure
from patchrisk.base.user_files import is_there, not_there
from patchrisk.read.area import AREA_CURES, Area, Name, SiteTable, checked, measure
from patchrisk.read.logger.layout import DateOrder, TemperatureUnit

SETTLED_S = 60.0  # a file that changed more lately may still be written: it waits for the next run
_ENDINGS = (".csv", ".txt", ".tsv", ".dat", ".xlsx", ".xls")
_MOST_FILES = 400


_ADDRESS = re.compile(r"[A-Za-z0-9.!#$%&'*+/=?^_`{|}~-]+@[A-Za-z0-9.-]+")  # HTML standard, roughly
_OFFSET = re.compile(r"([+-])(\d{2}):?(\d{2})")

CURES = {
    **AREA_CURES,
    "latitude": "write degrees north, from -90 to 90, such as 40.1",
    "longitude": "write degrees east, from -180 to 180, such as -82.9",
    "country": 'write two capital letters by ISO 3166-1, as "US"',
    "utc_offset": 'write the local standard time as "+HH:MM" or "-HH:MM"',
    "depth": 'write a length with its unit, such as "5 cm" or "2 in"',
    "elevation": 'write a height with its unit, such as "250 m" or "820 ft"',
    "from": 'write one address, such as "greens@example.org"',
    "to": 'write a list of addresses, such as ["me@example.org"]',
    "host": 'write the name of the mail server, such as "smtp.example.org"',
    "area": "write each area under a line [[area]]",
    "site": "write name, latitude and longitude under a line [site]",
    "lead_days": "write whole days from 1 to 60",
    "sample_price": "write what one sample costs you, a number above 0, such as 75",
    "no_spray": 'write a list, as ["2026-06-13", "2026-07-01/2026-07-04", "weekends"]',
    "record_needs": 'write columns of applications.csv, as ["applicator", "wind"]',
    "without_groups": 'write a list of FRAC codes in quotes, as ["14", "M05"]',
}
WEEKDAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
_DAY_OFF = 'write "2026-06-13", "2026-07-01/2026-07-04", "weekends" or a weekday'


def _offset(text: str) -> timedelta:
    match = _OFFSET.fullmatch(text)
    if match is None or not (int(match[2]) <= 14 and int(match[3]) < 60):
        raise ValueError(f"{text!r} is not an offset: {CURES['utc_offset']}")
    size = timedelta(hours=int(match[2]), minutes=int(match[3]))
    return -size if match[1] == "-" else size


def _host(text: str) -> str:
    """Return a server's name as it goes over the wire (IDNA 2008); an address as it is."""
    if re.fullmatch(r"[0-9.]+|[0-9A-Fa-f:.]*:[0-9A-Fa-f:.]*", text):
        return text
    import idna

    try:
        return idna.encode(text, uts46=True, std3_rules=True).decode("ascii")
    except idna.IDNAError:
        raise ValueError(f"{text!r} is no name of a server: {CURES['host']}") from None


File = Annotated[str, checked(plain)]
_Offset = Annotated[str, checked(_offset)]
_Depth = Annotated[str, measure("depth")]


class Place(SiteTable):
    """Where the site is, and how it counts days and writes numbers.

    Without ``utc_offset`` the standard time of the longitude is taken, 15 degrees an hour.
    ``summer_time`` tells whether the clocks on the walls go forward in summer, for times that are
    read off them. ``country`` (ISO 3166-1 alpha-2) tells which mode-of-action groups are not to be
    had.
    """

    name: Annotated[Name, Field(max_length=120)] = "Unnamed site"
    latitude: Annotated[float, Field(ge=-90, le=90)]
    longitude: Annotated[float, Field(ge=-180, le=180)]
    elevation: Annotated[str, measure("elevation")] | None = None
    utc_offset: _Offset | None = None
    summer_time: bool | None = None
    country: str | None = None
    units: System = "metric"

    @field_validator("country")
    @classmethod
    def _check_country(cls, value: str | None) -> str | None:
        if value == "UK":
            raise ValueError("'UK' is not its code", 'write "GB"')
        if value is not None and not re.fullmatch("[A-Z]{2}", value):
            raise ValueError(f"{value!r} is no country code", CURES["country"])
        return value

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
    def zone(self) -> timezone:
        """Local standard time, the year round."""
        return timezone(self.standard_offset)

    def local_day(self, moment: datetime) -> date:
        """Return the local standard day in which an aware moment lies."""
        return moment.astimezone(self.zone).date()

    @property
    def southern(self) -> bool:
        """Whether seasons are shifted by half a year."""
        return self.latitude < 0


class _Readings(SiteTable):
    file: File


class WeatherFile(_Readings):
    """Daily weather that the user keeps; columns are guessed, shown, and can be fixed here."""

    time: str | None = None
    columns: dict[str, str] = {}
    unit: TemperatureUnit | None = None
    rain_unit: Literal["mm", "cm", "m", "in"] | None = None
    sheet: str | None = None
    date_order: DateOrder | None = None


class Online(SiteTable):
    """Which weather services to ask, and where to keep what they gave."""

    use: bool = True
    forecast: Literal["auto", "nws", "metno", "openmeteo", "none"] = "auto"
    past_years: Annotated[int, Field(ge=0, le=60)] = 30
    contact: str | None = None
    cache: File | None = None


class LoggerFile(_Readings):
    """One export of a soil-temperature logger, and which areas its probes speak for.

    With ``folder`` in place of ``file`` every export in that folder is read as one of its own; see
    `settled`.
    """

    folder: File | None = None
    areas: list[str] = []
    time: str | None = None
    depth: _Depth | None = None
    columns: dict[str, _Depth] = {}
    unit: TemperatureUnit | None = None
    date_order: DateOrder | None = None
    utc_offset: _Offset | None = None
    summer_time: bool = False
    delimiter: Literal["\t", ";", ",", "|", " "] | None = None
    decimal: Literal[".", ","] | None = None
    encoding: str | None = None
    header_line: Annotated[int, Field(ge=1)] | None = None
    sheet: str | None = None

    @property
    def depth_cm(self) -> float | None:
        """Depth of the only probe [cm]."""
        return None if self.depth is None else read_measure("depth", self.depth)

    @property
    def offset(self) -> timedelta | None:
        """The logger's clock minus UTC."""
        return None if self.utc_offset is None else _offset(self.utc_offset)

    def speaks_for(self, area: str) -> bool:
        """Whether its probes speak for an area; one that names no area speaks for all."""
        return not self.areas or area in self.areas

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


# Of applications.csv, besides date and area: what a record can be asked to have.
Column = Literal[
    "product", "for", "water", "watered", "rate", "amount", "carrier", "treated", "start", "end",
    "wind", "air", "applicator", "licence", "registration", "re_entry", "note",
]  # fmt: skip


class ProgrammeSettings(SiteTable):
    """What the programme of applications may use: ``[programme]`` in the site file.

    ``lead_days`` is how long before a likely start to be told to get ready [days];
    ``fraction_caps`` turns on the rules on shares of all applications, known from memory only;
    ``record_needs`` are columns of applications.csv that every record is to have;
    ``sample_price`` is what a laboratory asks you for one sample, in your own money.
    """

    most_applications: Annotated[int, Field(ge=0, le=12)] | None = None
    no_spray: list[Any] = []
    mixtures: bool = True
    fraction_caps: bool = False
    lead_days: Annotated[int, Field(ge=1, le=60)] | None = None
    without_groups: list[str] = []
    record_needs: list[Column] = []
    sample_price: Annotated[float, Field(gt=0, allow_inf_nan=False)] | None = None

    @field_validator("no_spray")
    @classmethod
    def _check_days(cls, value: list[Any]) -> list[Any]:
        _days_off(value)
        return value

    @property
    def days_off(self) -> DaysOff:
        """Days on which nothing can be sprayed."""
        return _days_off(self.no_spray)


class Mail(SiteTable):
    """Where to send the page, through which server; the password is never kept in the file."""

    host: Annotated[str, AfterValidator(_host)]
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
            # An encoded word (RFC 2047) is no address, and could hide line ends.
            if _ADDRESS.fullmatch(address) is None or "=?" in address:
                raise ValueError(f"{address!r} is not a mail address: {CURES['from']}")
        return value

    @property
    def port_used(self) -> int:
        """The port told, else the usual one: 587 with STARTTLS (RFC 6409), 465 (RFC 8314)."""
        return self.port or {"starttls": 587, "implicit": 465}[self.tls]


class Site(SiteTable):
    """A whole site file.

    Use `read_site`; the folder is where relative file names start.
    """

    site: Place
    area: Annotated[list[Area], Field(min_length=1)] = [Area()]
    logger: list[LoggerFile] = []
    weather: list[WeatherFile] = []
    forecast_file: File | None = None
    online: Online = Online()
    programme: ProgrammeSettings = ProgrammeSettings()
    mail: Mail | None = None
    diseases_folder: File | None = None
    shelf_file: File | None = None
    applications_file: File | None = None
    observations_file: File | None = None
    readings_file: File | None = None
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
        silent = [logger.file for logger in self.logger if not logger.areas]
        if len(silent) > 1 and len(names) > 1:
            raise ValueError(
                f"{' and '.join(map(repr, silent))} name no areas, and there are {len(names)}",
                f'write areas = ["{names[0]}"] under each [[logger]], or the areas it speaks for',
            )
        return self

    def areas_named(self, names: Sequence[str]) -> list[Area]:
        """Return the areas of these names, in the order of the file; all when there are none.

        InputError when no area goes by one of them.
        """
        strangers = sorted(set(names) - {area.name for area in self.area})
        if strangers:
            known = ", ".join(area.name for area in self.area)
            cure = f"write one of {known}"
            raise InputError(Fault("--area", "", f"no area {strangers[0]!r}", cure))
        return [area for area in self.area if not names or area.name in names]

    def loggers_of(self, area: Area) -> list[LoggerFile]:
        """Return the loggers that speak for an area."""
        return [logger for logger in self.logger if logger.speaks_for(area.name)]


def _with_watched(loggers: Any, site_file: Path) -> Any:
    """Put a table for each export of a watched folder in place of its ``[[logger]]``.

    A folder into which exports come by themselves: a new one is read at the next run. InputError
    when a folder is not there, or a table names a file beside it.
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

    ``now``: seconds since the epoch. A file that came, or changed, less than `SETTLED_S` before
    waits; so does one that is hidden, empty, or has a name that is given while it is copied.
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


def read_site(path: Path) -> Site:
    """Read and check a site file.

    InputError with every fault of the file, and files it names that are not there.
    """
    if not is_there(path):
        cure = "check the name, or write one with `patchrisk init`"
        raise InputError(Fault(str(path), "", "no such file", cure))
    data = read_toml(path)
    if "folder" in data:
        raise InputError(Fault(str(path), "folder", "unknown key 'folder'", "take it out"))
    data["logger"] = _with_watched(data.get("logger", []), path)
    site = validate(Site, {**data, "folder": path.parent}, str(path), CURES)
    tables: tuple[tuple[str, Sequence[_Readings]], ...] = (
        ("logger", site.logger),
        ("weather", site.weather),
    )
    named = [(f"{key} {n}, file", t.file) for key, some in tables for n, t in enumerate(some, 1)]
    named += [(f"area {n}, visit", a.visit or "") for n, a in enumerate(site.area, 1)]
    named += [("forecast_file", site.forecast_file or ""), ("shelf_file", site.shelf_file or "")]
    faults = not_there(str(path), site.folder, named)
    if faults:
        raise InputError(faults)
    return site
