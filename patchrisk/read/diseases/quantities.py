"""Numbers of a disease file: value or range, unit, source, confidence, how it was seen."""

import re
from typing import Annotated, ClassVar, Literal, TypeVar

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    Strict,
    ValidationInfo,
    field_validator,
    model_validator,
)

from patchrisk.base import units

Confidence = Literal["strong", "moderate", "weak", "expert opinion"]
Seen = Literal["seen", "seen abstract", "trade", "second-hand", "memory", "inference", "no source"]
# Marks under which no publication stands behind a number: it is a reading or a custom.
OURS: frozenset[str] = frozenset({"inference", "no source"})

# Units as people write them, where that is not the symbol of the files.
_SYMBOLS = {
    "degC": "°C",
    "degF": "°F",
    "gal/1000 ft2": "gal/1000 ft²",
    "lb/1000 ft2": "lb/1000 ft²",
    "1": "",
}

Item = TypeVar("Item")


def _filled(text: str) -> str:
    if not text.strip():
        raise ValueError("empty text: write it out, or leave the key away")
    return text


def _named(text: str) -> str:
    if re.fullmatch(r"[a-z0-9]+(-[a-z0-9]+)*", text) is None:
        raise ValueError(f"{text!r} is no id: write small letters, digits and hyphens")
    return text


def _some(rows: tuple[Item, ...]) -> tuple[Item, ...]:
    if not rows:
        raise ValueError("an empty list: write at least one")
    return rows


Text = Annotated[str, AfterValidator(_filled)]
Id = Annotated[str, AfterValidator(_named)]
Rows = Annotated[tuple[Item, ...], Strict(False)]  # a TOML array arrives as a list
SomeRows = Annotated[tuple[Item, ...], Strict(False), AfterValidator(_some)]


class Table(BaseModel):
    """A table of a disease file: nothing unknown in it, nothing converted silently."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True, allow_inf_nan=False)


class Source(Table):
    """Where facts come from.

    ``seen`` says how: the text itself, its abstract, an article of the trade, another's account
    of it, from memory; or that it is an inference of this project, or has no source.
    """

    short: Text
    citation: Text
    year: int | Literal["undated"]
    seen: Seen
    url: Text | None = None

    @field_validator("year")
    @classmethod
    def _check_year(cls, value: int | str) -> int | str:
        if isinstance(value, int) and not 1900 <= value <= 2100:
            raise ValueError(f'{value} is no year of publication: write it as 2008, or "undated"')
        return value


def _look_up(value: object, info: ValidationInfo) -> object:
    """Turn a key, or a list of keys, of the [sources] table into the sources themselves."""
    keys = [value] if isinstance(value, str) else value
    if not isinstance(keys, list) or not keys or not all(isinstance(k, str) for k in keys):
        raise ValueError(
            f'{value!r} is no source: write the key of a table [sources.KEY], as "KEY"'
        )
    known: dict[str, Source] = info.context or {}
    for key in keys:
        if key not in known:
            others = f", or write one of {', '.join(sorted(known))}" if known else ""
            raise ValueError(f"unknown source {key!r}: add a table [sources.{key}]{others}")
    return tuple(known[key] for key in keys)


Sources = Annotated[tuple[Source, ...], BeforeValidator(_look_up)]


class Sourced(Table):
    """Anything that says where it comes from."""

    source: Sources
    seen_as: Seen | None = Field(default=None, alias="seen")

    @property
    def seen(self) -> Seen:
        """How it was seen: its own mark, else the mark of its first source."""
        return self.seen_as or self.source[0].seen

    @property
    def stated(self) -> bool:
        """Whether a publication says it, rather than this project's reading."""
        return self.seen not in OURS

    @property
    def citation(self) -> str:
        """The full citations."""
        return "; ".join(source.citation for source in self.source)

    @property
    def short(self) -> str:
        """The sources in short."""
        return "; ".join(source.short for source in self.source)


class Statement(Sourced):
    """A sentence of fact or advice."""

    text: Text
    confidence: Confidence


class Measured(Table):
    """What carries a unit; subclasses name the quantities it may be, looked up in this order."""

    kinds: ClassVar[tuple[str, ...]] = ()
    one_of: ClassVar[str] = ""  # before the units, where one is to be written

    unit: str

    @field_validator("unit")
    @classmethod
    def _check_unit(cls, unit: str) -> str:
        allowed = cls.units()
        if unit not in allowed:
            told = ", ".join(dict.fromkeys(allowed))
            if unit == "K":
                told += " (degC = K - 273.15)"
            raise ValueError(f"unit {unit!r}: write {cls.one_of}{told}")
        return unit

    @classmethod
    def units(cls) -> tuple[str, ...]:
        """Units in which it may be written."""
        return tuple(u.symbol for kind in cls.kinds for u in units.QUANTITIES[kind].units)

    @classmethod
    def _quantity(cls, unit: str) -> str:
        for kind in cls.kinds:
            if any(u.symbol == unit for u in units.QUANTITIES[kind].units):
                return kind
        raise KeyError(unit)

    @property
    def quantity(self) -> str:
        """Name of the quantity in the table of units."""
        return self._quantity(self.unit)


class Number(Measured, Sourced):
    """A number, or a range where the sources leave one.

    Write ``value``, or ``low`` and ``high`` with ``best`` where one of them is taken.
    """

    value: float | None = None
    low: float | None = None
    best: float | None = None
    high: float | None = None
    confidence: Confidence
    note: Text | None = None

    @field_validator("value", "low", "best", "high")
    @classmethod
    def _check_range(cls, printed: float | None, info: ValidationInfo) -> float | None:
        unit = info.data.get("unit")  # absent when it is at fault itself
        if printed is None or unit is None:
            return printed
        quantity = cls._quantity(unit)
        kind = units.QUANTITIES[quantity]
        if not kind.low <= units.to_canonical(quantity, printed, unit) <= kind.high:
            low, high = (units.from_canonical(quantity, v, unit) for v in (kind.low, kind.high))
            cure = f"write one from {low:g} to {high:g} {unit}"
            raise ValueError(f"{printed:g} {unit} can't be {quantity}: {cure}")
        return printed

    @model_validator(mode="after")
    def _check_values(self) -> "Number":
        if self.value is not None and (self.low, self.best, self.high) != (None, None, None):
            raise ValueError("both value and a range: write value, or low and high")
        if self.value is None and (self.low is None or self.high is None):
            raise ValueError("no value: write value = ..., or low = ... and high = ...")
        low, high = self.span
        if not low <= self.canonical <= high or (self.value is None and low == high):
            raise ValueError("low, best and high out of order: write them rising")
        return self

    @property
    def canonical(self) -> float:
        """The number taken, in the canonical unit: value, else best, else the middle."""
        if self.value is not None:
            return units.to_canonical(self.quantity, self.value, self.unit)
        if self.best is not None:
            return units.to_canonical(self.quantity, self.best, self.unit)
        low, high = self.span
        return (low + high) / 2

    @property
    def span(self) -> tuple[float, float]:
        """Lowest and highest of the sources, in the canonical unit."""
        low = self.value if self.low is None else self.low
        high = self.value if self.high is None else self.high
        assert low is not None
        assert high is not None
        return (
            units.to_canonical(self.quantity, low, self.unit),
            units.to_canonical(self.quantity, high, self.unit),
        )

    @property
    def printed(self) -> str:
        """The number as its source prints it, with the unit as people write it."""
        symbol = _SYMBOLS.get(self.unit, self.unit)
        if self.value == 1:
            symbol = symbol.removesuffix("s")
        text = f"{self.low:g} to {self.high:g}" if self.value is None else f"{self.value:g}"
        return f"{text} {symbol}".rstrip()


class SoilTemperature(Number):
    """A temperature of soil, thatch or culture."""

    kinds = ("soil temperature",)


class AirTemperature(Number):
    """A temperature of the air."""

    kinds = ("air temperature",)


class Depth(Number):
    """A depth below the turf's surface."""

    kinds = ("depth",)


class Days(Number):
    """A length of time in days."""

    kinds = ("duration",)


class WholeDays(Days):
    """A run of days, counted in whole days from one."""

    @model_validator(mode="after")
    def _check_whole(self) -> "WholeDays":
        if self.canonical < 1 or self.canonical % 1:
            raise ValueError(
                f"{self.canonical:g} days: write whole days from 1, with best = in a range"
            )
        return self


class Count(Number):
    """How many."""

    kinds = ("count",)


class Water(Number):
    """A depth of rain or irrigation."""

    kinds = ("rain",)


class Carrier(Number):
    """A volume of spray on an area."""

    kinds = ("spray volume",)


class Length(Number):
    """A length that is not a depth, such as a colony's diameter."""

    kinds = ("length",)


class LongTime(Number):
    """A length of time in days, or in years of a turf's life."""

    kinds = ("duration", "age")


class AnyNumber(Number):
    """A number whose unit says what it is."""

    kinds = (
        "soil acidity",
        "soil test",
        "nutrient",
        "age",
        "share",
        "water potential",
        "length",
        "duration",
        "count",
        "soil temperature",
    )
