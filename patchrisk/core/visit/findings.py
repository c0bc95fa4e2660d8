"""What a visit found, as plain values: places from best to worst, and the season's soil."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import Literal

Amount = Literal["none", "few", "many"]
Status = Literal["for", "open", "not looked at", "against"]
Side = Literal["for", "against", "beside"]


@dataclass(frozen=True)
class SoilValue:
    """One figure of a soil test.

    ``value`` is in the canonical ``unit``: ``mg/kg``, ``mg/L`` (of an extract), ``dS/m``, ``%``,
    ``meq/100 g``, ``pH`` or ``1``. ``method`` is the extractant, or mixture of soil and water;
    empty where none is told. ``below`` is whether the laboratory gave it as less than ``value``;
    ``worked_out`` from what other figures it follows.
    """

    analyte: str
    value: float
    unit: str
    method: str = ""
    below: bool = False
    worked_out: str = ""

    @property
    def key(self) -> tuple[str, str]:
        """What was tested, and by which method: one figure of a place."""
        return self.analyte, self.method


@dataclass(frozen=True)
class Place:
    """One place of a visit; None, empty or absent is what was not looked at.

    ``damage`` is the share of the turf that is thin or dead [%]; ``length_cm``, ``colour`` and
    ``density`` are of the roots; ``signs`` those of thresholds/visit.toml: none, few or many;
    ``crowns`` sound or dead; ``nematodes`` in 100 cm3 of soil, by kind. ``ground`` holds
    ``drop_time`` [s], ``air_filled`` [%], ``infiltration`` [mm/h], ``moisture`` [%] and
    ``thatch`` [cm].
    """

    name: str
    damage: float | None = None
    soil: tuple[SoilValue, ...] = ()
    length_cm: float | None = None
    colour: str = ""
    density: str = ""
    signs: Mapping[str, Amount] = field(default_factory=dict)
    crowns: str = ""
    nematodes: Mapping[str, float] = field(default_factory=dict)
    ground: Mapping[str, float] = field(default_factory=dict)
    black_layer: bool | None = None
    shaded: bool | None = None
    heavy_traffic: bool | None = None

    @property
    def roots_seen(self) -> bool:
        """Whether anything is told of the roots."""
        return bool(self.length_cm or self.colour or self.signs)


@dataclass(frozen=True)
class Season:
    """What the last season of a disease did by the day on which the turf thinned.

    ``infected_days`` is None where the soil is not known; ``shows`` says whether damage of it
    shows at that time of the year, None where no season is known.
    """

    infected_days: int | None = None
    shows: bool | None = None


@dataclass(frozen=True)
class Candidate:
    """A disease that the turf can have.

    ``kinds`` are those of its fungi, as its file names them; ``ph_worse`` the soil pH from which
    it is called worse, None without a figure; ``likely`` that the grass is highly susceptible.
    """

    key: str
    kinds: frozenset[str]
    season: Season = Season()
    ph_worse: float | None = None
    likely: bool = False


@dataclass(frozen=True)
class Weather:
    """The soil and air before the turf thinned [degC]; None where not known.

    ``soil_c`` is the mean of the last fortnight; the coldest are daily figures of the half year.
    """

    soil_c: float | None = None
    coldest_soil_c: float | None = None
    coldest_air_c: float | None = None


@dataclass(frozen=True)
class Visit:
    """A visit, ready to be judged; ``places`` stand from best to worst, at least one.

    ``ground`` is the root zone as the site file names it; ``cool_season`` whether a grass of the
    area grows in cool soil and rests in hot. ``found`` and ``not_found`` are what a laboratory
    named, by key of disease or group, and by which method; ``thinned`` whether it is told since
    when the turf thins.
    """

    places: tuple[Place, ...]
    candidates: tuple[Candidate, ...] = ()
    grasses: tuple[str, ...] = ()
    ground: str = ""
    cool_season: bool = True
    weather: Weather = Weather()
    found: Mapping[str, str] = field(default_factory=dict)
    not_found: Mapping[str, str] = field(default_factory=dict)
    thinned: bool = False
    pattern: str = ""

    def up_to(self, has: Callable[[Place], bool]) -> "Visit":
        """Return the visit without the places after the last one, besides the best, that has it.

        The whole where no such place does.
        """
        told = [n for n in range(not self.alone, len(self.places)) if has(self.places[n])]
        return replace(self, places=self.places[: told[-1] + 1]) if told else self

    @property
    def alone(self) -> bool:
        """Whether there is no other place to compare with."""
        return len(self.places) == 1

    @property
    def best(self) -> Place:
        """The place with the least damage."""
        return self.places[0]

    @property
    def worst(self) -> Place:
        """The place with the most damage."""
        return self.places[-1]


@dataclass(frozen=True)
class Fact:
    """One thing that speaks for a cause, against it, or stands beside it.

    ``direct`` is a sign or a measurement at the place, or a laboratory's result; what only fits
    (season, weather, pattern) never makes a cause by itself.
    """

    kind: str
    side: Side
    direct: bool = False
    told: Mapping[str, object] = field(default_factory=dict)


@dataclass(frozen=True)
class Cause:
    """Something that it could be, with what speaks for and against it."""

    key: str
    family: str
    status: Status
    facts: tuple[Fact, ...]
    weight: float = 0.0

    @property
    def stands(self) -> bool:
        """Whether it is spoken for, or open."""
        return self.status in ("for", "open")
