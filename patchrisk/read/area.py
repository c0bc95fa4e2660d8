"""One area of a site file: its grass and soil, and what is at stake on it."""

import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, timedelta
from functools import partial
from typing import Annotated, Any, Literal

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    PlainValidator,
    model_validator,
)

from patchrisk.base.errors import Fault, InputError
from patchrisk.base.toml_files import plain
from patchrisk.base.units import read_measure

RootZone = Literal["sand green", "push-up green", "loam", "clay"]
Wetness = Literal["dry", "moist", "wet"]
SurfaceCover = Literal["mown", "close-mown", "rough", "dormant"]
Use = Literal["green", "tee", "fairway", "approach", "rough", "sports field", "lawn"]

AREA_CURES = {
    "name": "write a name in quotes, of up to 80 characters",
    "turf": 'write the grass, as "creeping bentgrass", or a list of those of a mixture, as '
    '["annual bluegrass", "creeping bentgrass"]',
    "size": 'write an area with its unit, such as "0.4 ha", "4000 m2", "10000 ft2" or "1.5 acre"',
    "shade": "write the share of the day's sun kept off, from 0.0 to 1.0",
    "most_applications": "write a whole number from 0 to 12",
    "resistant": 'write each disease with its FRAC codes: { "summer-patch" = ["1", "11"] }',
    "history": 'write names, as ["summer patch"], or how each is known, as '
    '{ "summer patch" = "laboratory", "fairy ring" = "none in 5 years" }',
    "prevent": 'write a list of diseases, as ["summer patch"]',
    "sown": 'write a year, as 2019, a month, as "2019-09", or a day, as "2019-09-14"',
    "age": 'write whole years or months, as "3 years" or "18 months"',
    "visit": 'name the file of its latest visit, such as "visit.toml"',
    "aerified": 'write the days of hollow tines in a list, as ["2026-05-20"]',
    "application_cost": "write a number above 0, in the unit of outbreak_cost",
    "outbreak_cost": "write a number above 0, in the unit of application_cost",
}

_HOW = '"laboratory", "seen", "suspected" or "none in 5 years"'
_NONE = re.compile(r"none in (\d{1,4}) years?", re.IGNORECASE)
_AGE = re.compile(r"(\d{1,4}) (year|month)s?", re.IGNORECASE)
_SOWN = re.compile(r"(\d{4})(?:-(\d{2})(?:-(\d{2}))?)?")
_OLDEST, _LATEST = 1800, 2200  # a year outside is a slip of the pen
_MOST_YEARS = {"year": 200, "month": 2400}
_DAYS_IN_YEAR = 365.25


@dataclass(frozen=True)
class HistoryEntry:
    """How it is known whether a disease has been on an area.

    ``years`` are those in which there was none; None for every other ``how``.
    """

    how: Literal["laboratory", "seen", "suspected", "none"]
    years: int | None = None

    def __str__(self) -> str:
        """Write it as the site file does."""
        if self.years is None:
            return self.how
        return f"none in {self.years} year{'s' if self.years > 1 else ''}"


def read_history_entry(text: Any) -> HistoryEntry:
    """Read how a disease is known: laboratory, seen, suspected, or none in N years.

    ValueError with what was found, and what to write.
    """
    if isinstance(text, HistoryEntry):
        return text
    words = " ".join(text.split()).casefold() if isinstance(text, str) else ""
    for how in ("laboratory", "seen", "suspected"):
        if words == how:
            return HistoryEntry(how)
    match = _NONE.fullmatch(words)
    if match is None:
        raise ValueError(_quoted(text), f"write {_HOW}")
    if not 1 <= int(match[1]) <= 99:
        raise ValueError(_quoted(text), 'write whole years from 1 to 99, as "none in 5 years"')
    return HistoryEntry("none", int(match[1]))


def read_name(text: str) -> str:
    """Return a name on one line; ValueError when it is empty or holds a control character."""
    text = plain(text)
    if not text:
        raise ValueError("an empty name: write one, or leave the key away")
    return text


Name = Annotated[str, AfterValidator(read_name)]


def checked(read: Callable[[str], object]) -> AfterValidator:
    """Return what checks that a text can be read, and keeps it as it is written."""

    def check(text: str) -> str:
        read(text)
        return text

    return AfterValidator(check)


def measure(quantity: str) -> AfterValidator:
    """Return what checks that a text is a measure of a quantity, such as "5 cm" of a depth."""
    return checked(partial(read_measure, quantity))


def read_turf(value: Any) -> str | tuple[str, ...] | None:
    """Read the grass of an area, or the grasses of a mixture; ValueError when it is neither."""
    if value is None or isinstance(value, str):
        return None if value is None else read_name(value)
    if not isinstance(value, list | tuple) or not all(isinstance(name, str) for name in value):
        raise ValueError(_quoted(value), AREA_CURES["turf"])
    names = tuple(map(read_name, value))
    if not names:
        raise ValueError("an empty list: name the grass, or leave the key away")
    twice = _first_twice(names)
    if twice:
        raise ValueError(f"{twice!r} stands there twice", "take one of the two out")
    return names[0] if len(names) == 1 else names


def _history(value: Any) -> Any:
    """Bring a list of names into the form of a table; what is neither is a fault."""
    if isinstance(value, dict):
        names, table = list(value), value
    elif isinstance(value, list | tuple) and all(isinstance(name, str) for name in value):
        names, table = list(value), dict.fromkeys(value, "seen")
    else:
        raise ValueError(_quoted(value), AREA_CURES["history"])
    twice = _first_twice(names)
    if twice:
        raise ValueError(f"{twice!r} stands there twice", "take one of the two out")
    return table


def read_sown(value: Any) -> str | None:
    """Read when an area was sown, as ``2019``, ``2019-09`` or ``2019-09-14``; ValueError else."""
    if value is None:
        return None
    if type(value) is date or type(value) is int:  # true and a time of day are neither
        value = str(value)
    try:
        first, _ = _days(value)
    except (TypeError, ValueError):
        raise ValueError(_quoted(value), AREA_CURES["sown"]) from None
    if not _OLDEST <= first.year <= _LATEST:
        raise ValueError(_quoted(value), f"write a year from {_OLDEST} to {_LATEST}")
    return str(value)


def _read_days(value: Any) -> tuple[date, ...]:
    """Read days, as ``2026-05-20`` with quotes or without; ValueError where one is none."""
    texts = [str(one) for one in value] if isinstance(value, list | tuple) else [str(value)]
    try:
        return tuple(date.fromisoformat(text) for text in texts)
    except ValueError:
        raise ValueError(_quoted(value), AREA_CURES["aerified"]) from None


def _days(sown: str) -> tuple[date, date]:
    """Return the first and the last day that a year, a month or a day can mean."""
    match = _SOWN.fullmatch(sown)
    if match is None:
        raise ValueError(sown)
    year, month, day = (None if part is None else int(part) for part in match.groups())
    assert year is not None
    if day is not None and month is not None:
        return date(year, month, day), date(year, month, day)
    first = date(year, month or 1, 1)
    after = date(year + 1, 1, 1) if month in (None, 12) else date(year, month + 1, 1)
    return first, after - timedelta(days=1)


def read_age(value: Any) -> str | None:
    """Check an age such as ``3 years`` or ``18 months``; ValueError when it is none."""
    if value is not None:
        _age_years(value)
    return None if value is None else str(value)


def _age_years(text: Any) -> tuple[float, float]:
    """Return the least and the greatest age [years] that whole years, or months, leave open."""
    match = _AGE.fullmatch(" ".join(text.split())) if isinstance(text, str) else None
    if match is None:
        raise ValueError(_quoted(text), AREA_CURES["age"])
    count, unit = int(match[1]), match[2].casefold()
    if count > _MOST_YEARS[unit]:
        raise ValueError(_quoted(text), f"write up to {_MOST_YEARS[unit]} {unit}s")
    parts = 1 if unit == "year" else 12
    return count / parts, (count + 1) / parts


def _quoted(value: Any) -> str:
    if isinstance(value, dict):
        return "a table"
    text = str(value) if isinstance(value, list | tuple | date) else repr(value)
    return text if len(text) <= 60 else text[:57] + "..."


def _first_twice(names: "list[str] | tuple[str, ...]") -> str:
    plainer = [name.strip().casefold() for name in names]
    return next((name for n, name in enumerate(names) if plainer[n] in plainer[:n]), "")


class SiteTable(BaseModel):
    """A table that a user writes: nothing unknown in it, nothing converted silently."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)


class Area(SiteTable):
    """A piece of turf that is managed as one.

    Without ``turf`` every disease is judged; without ``use`` those of any use of the turf.
    ``most_applications`` comes before that of the whole site. ``resistant`` tells, by disease, the
    FRAC codes to which its fungus on this area is known to be resistant. ``history_known`` is the
    key ``history``: how each disease is known, by the name as written; a disease that is not in it
    is *unknown*, which is not *none*. ``prevent`` are diseases to protect against without history.
    What an application and an outbreak cost is in any one unit. ``sprinkler_rate`` is the depth of
    water that its sprinklers give in an hour. ``visit`` is the file of its latest visit, whose soil
    tests the programme goes by; ``aerified`` are days of hollow tines, past or to come.
    """

    name: Annotated[Name, Field(max_length=80)] = "Turf"
    turf: Annotated[str | tuple[str, ...] | None, PlainValidator(read_turf)] = None
    use: Use | None = None
    root_zone: RootZone = "loam"
    wetness: Wetness = "moist"
    cover: SurfaceCover | None = None
    irrigated: bool = False
    shade: Annotated[float, Field(ge=0, le=1)] = 0.0
    diseases: list[str] | None = None
    history_known: Annotated[
        dict[str, Annotated[HistoryEntry, BeforeValidator(read_history_entry)]],
        BeforeValidator(_history),
    ] = Field(default={}, alias="history")
    prevent: list[str] = []
    sown: Annotated[str | None, PlainValidator(read_sown)] = None
    age: Annotated[str | None, PlainValidator(read_age)] = None
    application_cost: Annotated[float, Field(gt=0, allow_inf_nan=False)] | None = None
    outbreak_cost: Annotated[float, Field(gt=0, allow_inf_nan=False)] | None = None
    resistant: dict[str, list[str]] = {}
    size: Annotated[str, measure("area")] | None = None
    sprinkler_rate: Annotated[str, measure("sprinkler rate")] | None = None
    most_applications: Annotated[int, Field(ge=0, le=12)] | None = None
    visit: str | None = None
    aerified: Annotated[tuple[date, ...], BeforeValidator(_read_days)] = ()

    @model_validator(mode="after")
    def _check_pairs(self) -> "Area":
        if self.sown is not None and self.age is not None:
            raise ValueError("sown and age are both told", "take age out")
        if (self.application_cost is None) != (self.outbreak_cost is None):
            keys = ["application_cost", "outbreak_cost"]
            told, other = keys if self.outbreak_cost is None else keys[::-1]
            raise ValueError(f"{told} without {other}", f"add {other}, or take {told} out")
        return self

    @property
    def size_m2(self) -> float | None:
        """Size [m2]; None when it is not told."""
        return None if self.size is None else read_measure("area", self.size)

    @property
    def sprinkler_mm_h(self) -> float | None:
        """Depth of water that its sprinklers give in an hour [mm/h]; None when it is not told."""
        if self.sprinkler_rate is None:
            return None
        return read_measure("sprinkler rate", self.sprinkler_rate)

    @property
    def grasses(self) -> tuple[str, ...]:
        """The grass, or those of a mixture, as written; empty when none is told."""
        if self.turf is None:
            return ()
        return (self.turf,) if isinstance(self.turf, str) else self.turf

    @property
    def turf_words(self) -> str:
        """The grasses in words; empty when none is told."""
        *others, last = self.grasses or ("",)
        return f"{', '.join(others)} and {last}" if others else last

    @property
    def sown_between(self) -> tuple[date, date] | None:
        """First and last day on which it can have been sown; None when that is not told."""
        return None if self.sown is None else _days(self.sown)

    def age_years(self, as_of: date) -> tuple[float, float] | None:
        """Return the least and the greatest age of the stand [years] by what is told.

        An ``age`` is taken as it stands, whatever the day: only ``sown`` goes on counting.

        None when neither ``sown`` nor ``age`` is told; InputError when it is sown after that day.
        """
        if self.age is not None:
            return _age_years(self.age)
        if self.sown_between is None:
            return None
        first, last = self.sown_between
        if first > as_of:
            found, cure = f"{self.sown} is after {as_of}", "correct it, or judge a later day"
            raise InputError(Fault(self.name, "sown", found, cure))
        low = max((as_of - last).days, 0)
        return low / _DAYS_IN_YEAR, (as_of - first).days / _DAYS_IN_YEAR
