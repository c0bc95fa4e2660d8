"""A disease file as frozen models: who, where, which rules, what follows."""

from collections.abc import Sequence
from itertools import combinations
from typing import Annotated, Literal, get_args

import numpy as np
from pydantic import AfterValidator, Field, model_validator

from patchrisk.core.rules.rule import Cardinal, Meaning, Rule, season_days
from patchrisk.read.area import Use
from patchrisk.read.diseases.quantities import (
    AirTemperature,
    AnyNumber,
    Carrier,
    Count,
    Days,
    Id,
    Length,
    LongTime,
    Rows,
    SoilTemperature,
    SomeRows,
    Source,
    Sourced,
    Statement,
    Table,
    Text,
    Water,
)
from patchrisk.read.diseases.rules import MonthDay, PublishedRule, SeasonLimits, distinct

Evidence = Literal["works", "some", "weak", "listed", "no data", "no effect", "outside spectrum"]
Level = Literal["none", "trace", "present", "low", "middle", "high", "most"]
Susceptibility = Literal["high", "moderate", "low", "unknown"]
StressKind = Literal["heat", "drought", "cold", "green-up", "wetness"]


class Pathogen(Sourced):
    """A fungus, or fungus-like organism, that causes the disease."""

    name: Text
    former: Rows[Text] = ()
    kind: Text
    note: Text | None = None


class Host(Sourced):
    """A grass that gets the disease, and on which turf."""

    grass: Text
    species: Text
    also: Rows[Text] = ()
    uses: SomeRows[Use]
    susceptibility: Susceptibility = "unknown"
    note: Text | None = None

    def called(self, name: str) -> bool:
        """Whether the grass goes by this name, common or botanical."""
        return name.strip().casefold() in {
            n.casefold() for n in (self.grass, self.species, *self.also)
        }


class Observation(Sourced):
    """What one study saw at one temperature; levels compare only inside the same study.

    *none*: nothing; *trace*: very little; *present*: it happened, how much is not known here;
    *low*, *middle*, *high*: in this order; *most*: the most of the study.
    """

    study: Text
    temperature: SoilTemperature
    level: Level
    note: Text | None = None


class Response(Table):
    """How infection of roots answers to temperature, and what was seen that it must agree with."""

    minimum: SoilTemperature
    optimum: SoilTemperature
    maximum: SoilTemperature
    basis: Text
    wetness: Statement | None = None
    observation: Rows[Observation] = ()

    @model_validator(mode="after")
    def _check_order(self) -> "Response":
        if not self.minimum.canonical < self.optimum.canonical < self.maximum.canonical:
            raise ValueError("temperatures out of order: write minimum < optimum < maximum")
        return self

    @property
    def cardinal(self) -> Cardinal:
        """Minimum, optimum and maximum [degC]."""
        return Cardinal(self.minimum.canonical, self.optimum.canonical, self.maximum.canonical)


class Culture(Sourced):
    """Growth of the fungus by itself on agar: never to be read as an infection window."""

    fungus: Text
    minimum: SoilTemperature | None = None
    optimum: SoilTemperature | None = None
    maximum: SoilTemperature | None = None
    colony: Length | None = None
    after: Days | None = None
    at: SoilTemperature | None = None
    note: Text | None = None
    observation: Rows[Observation] = ()

    @property
    def cardinal(self) -> Cardinal | None:
        """Minimum, optimum and maximum of growth on agar [degC], where all three are given."""
        if self.minimum is None or self.optimum is None or self.maximum is None:
            return None
        return Cardinal(self.minimum.canonical, self.optimum.canonical, self.maximum.canonical)


class Stress(Statement):
    """What brings damaged roots to light."""

    kind: StressKind
    soil_above: SoilTemperature | None = None
    air_above: AirTemperature | None = None
    air_below: AirTemperature | None = None
    lasting: Days | None = None


class Lag(Statement):
    """Time from one event to the symptoms."""

    since: Literal["infection", "stress", "inoculation", "planting", "threshold", "treatment"]
    time: LongTime


class Months(Sourced):
    """Months in which symptoms are seen in the north."""

    value: SomeRows[Annotated[int, Field(ge=1, le=12)]]
    note: Text | None = None


_GROWING = ("heat", "drought", "wetness")


class Expression(Table):
    """When and how the damage shows, long after the infection.

    ``by_sight``: whether it is known by sight, so that a laboratory adds little. ``plugs`` is how
    many one sample takes.
    """

    shown_by: SomeRows[StressKind]
    months: Months
    look_for: Statement
    samples: Statement
    plugs: Annotated[int, Field(ge=1)] | None = None
    by_sight: bool = False
    exposure: Days | None = None
    stress: Rows[Stress] = ()
    lag: Rows[Lag] = ()

    @property
    def unmeasured(self) -> tuple[str, ...]:
        """Stresses of growing turf that show it too, and for which no figure is published.

        Odds of the stresses that have one are then the least that can be expected.
        """
        return tuple(
            s.kind
            for s in self.stress
            if s.kind in _GROWING and not (s.soil_above or s.air_above or s.air_below)
        )

    def lags(self, *since: str) -> tuple[Lag, ...]:
        """Return the lags from such events that are short enough to be given in days."""
        return tuple(x for x in self.lag if x.since in since and x.time.quantity == "duration")

    def lag_days(self, *since: str) -> tuple[float, float] | None:
        """Return the shortest and the longest of these lags [days]; None without any."""
        spans = [lag.time.span for lag in self.lags(*since)]
        return (min(low for low, _ in spans), max(high for _, high in spans)) if spans else None


class ModeOfAction(Sourced):
    """How well a mode-of-action group did; the class is this project's reading of the trials.

    *listed*: named as effective or recommended by somebody, and no trial figures read;
    ``listed_by`` says by whom.
    """

    frac: Text
    evidence: Evidence
    actives: dict[str, Evidence] = Field(default_factory=dict)
    listed_by: Literal["universities", "a university", "trade", "common practice"] | None = None
    note: Text | None = None

    @model_validator(mode="after")
    def _check_listed(self) -> "ModeOfAction":
        if (self.evidence == "listed") != (self.listed_by is not None):
            raise ValueError(
                'listed_by goes with evidence = "listed", and only with it: write who names it'
            )
        return self


class Help(Statement):
    """What an application can still do when its best time is gone."""

    helps: Literal["yes", "no", "disputed", "not known"]


class Treatment(Table):
    """Interval, number and watering in; rates are on the label and never here.

    ``late`` is an application after the start was missed, while roots are still infected;
    ``once_seen`` one after the damage of the season has shown.
    """

    late: Help | None = None
    once_seen: Help | None = None
    interval: Days | None = None
    number: Count | None = None
    watering_in: Water | None = None
    carrier: Carrier | None = None
    note: Rows[Statement] = ()


class SiteFactor(Statement):
    """Something about the soil or the upkeep that makes the disease worse or better.

    ``months`` are those of the north in which its source has it done.
    """

    factor: Literal[
        "soil pH",
        "manganese",
        "nitrogen form",
        "nitrogen",
        "sulfur",
        "other nutrients",
        "irrigation and drainage",
        "mowing height",
        "thatch",
        "organic matter",
        "compaction",
        "stand age",
        "shade",
        "cultivation",
        "salinity",
    ]
    effect: Literal["worse", "better", "none", "disputed"]
    worse_above: AnyNumber | None = None
    worse_below: AnyNumber | None = None
    aim: AnyNumber | None = None
    months: Rows[Annotated[int, Field(ge=1, le=12)]] = ()


class LastDay(Sourced):
    """Last day of the year, in the north, on which an application for a season is worth making."""

    day: MonthDay
    note: Text | None = None


class InfectionSeason(Table):
    """A stretch of the year in which roots are infected, and the damage that follows from it.

    Seasons of one disease do not overlap. The soil enters it *rising* or *falling* through the
    thresholds of its ``rules``, which time its start; it is infected from ``infect_above`` to
    ``infect_below``, or where they are left away as far as the response of the disease file goes.
    ``shows`` are the months, in order after its start, in which the damage of its own infections
    shows: each month is the next of its name after the one before it.
    """

    id: Id
    span: SeasonLimits
    turn: Literal["rising", "falling"]
    rules: SomeRows[Id]
    infect_above: SoilTemperature | None = None
    infect_below: SoilTemperature | None = None
    treat_until: LastDay | None = None
    shows: Months
    grass: Rows[Text] = ()
    note: Text | None = None


class RiskAge(Sourced):
    """Age of a stand at which the disease comes without having been there before.

    A stand counts up to the high end; sources seldom say from when, and the first year counts too.
    """

    age: LongTime
    grass: Rows[Text] = ()
    note: Text | None = None


class Dispute(Sourced):
    """A point on which the sources part ways."""

    about: Text
    text: Text


class Figure(Sourced):
    """A published figure carried for reading; no rule uses it."""

    id: Id
    text: Text
    number: AnyNumber


class Disease(Table):
    """One disease file."""

    name: Text
    also: Rows[Text] = ()
    former: Rows[Text] = ()
    in_short: Text
    sources: dict[str, Source]
    no_forecast: Statement | None = None
    pathogen: SomeRows[Pathogen]
    host: SomeRows[Host]
    window: Annotated[Rows[PublishedRule], AfterValidator(distinct)] = ()
    season: Rows[InfectionSeason] = ()
    risk_age: RiskAge | None = None
    response: Response | None = None
    culture: Rows[Culture] = ()
    expression: Expression
    mode_of_action: Rows[ModeOfAction] = ()
    treatment: Treatment
    site: Rows[SiteFactor] = ()
    dispute: Rows[Dispute] = ()
    figure: Rows[Figure] = ()

    @model_validator(mode="after")
    def _check_forecast(self) -> "Disease":
        if (self.no_forecast is None) != bool(self.window):
            raise ValueError(
                "windows and no_forecast disagree: write [[window]] rules, or say in no_forecast "
                "why there are none"
            )
        return self

    @model_validator(mode="after")
    def _check_seasons(self) -> "Disease":
        known = {w.id: w for w in self.window}
        for season in self.season:
            strange = [name for name in season.rules if name not in known]
            if strange:
                raise ValueError(
                    f"season {season.id} names an unknown window {strange[0]!r}: "
                    f"write one of {', '.join(known)}"
                )
            edge = "low" if season.turn == "rising" else "high"
            without = [n for n in season.rules if getattr(known[n], edge) is None]
            if without:
                raise ValueError(
                    f"season {season.id} is {season.turn}, and window {without[0]!r} has no "
                    f"{edge} edge: take it out, or write the other turn"
                )
            open_ended = season.infect_above is None or season.infect_below is None
            if open_ended and self.response is None:
                raise ValueError(
                    f"season {season.id} has no bounds: write infect_above and infect_below, "
                    "as there is no [response]"
                )
        return self

    @model_validator(mode="after")
    def _check_grasses(self) -> "Disease":
        named = [(f"window {w.id}", w.grass) for w in self.window]
        named += [(f"season {s.id}", s.grass) for s in self.season]
        named += [("risk_age", self.risk_age.grass)] if self.risk_age else []
        for what, grasses in named:
            for grass in grasses:
                if not self.on(grass):
                    raise ValueError(
                        f"{what} names {grass!r}, which is no host here: "
                        f"write one of {', '.join(h.grass for h in self.host)}"
                    )
        return self

    @model_validator(mode="after")
    def _check_apart(self) -> "Disease":
        days = np.arange("2001-01-01", "2003-01-01", dtype="datetime64[D]")
        for host in self.host:
            for pair in combinations(self.seasons(host.grass), 2):
                for southern in (False, True):
                    one, other = (
                        season_days(s.span.season, days, southern=southern)[0] for s in pair
                    )
                    if (one & other).any():
                        raise ValueError(
                            f"seasons {pair[0].id} and {pair[1].id} overlap on {host.grass}: "
                            "end the one before the other begins"
                        )
        return self

    def rules(self, meaning: Meaning | None = None) -> tuple[Rule, ...]:
        """Return the published rules, of one meaning or of all, in the order of the file."""
        return tuple(w.rule for w in self.window if meaning in (None, w.meaning))

    def published(self, rule_id: str) -> PublishedRule:
        """Return a rule as published, each part with its provenance; KeyError when unknown."""
        for window in self.window:
            if window.id == rule_id:
                return window
        raise KeyError(rule_id)

    def on(self, grass: str | Sequence[str]) -> tuple[Host, ...]:
        """Return the hosts that go by this name, or by one of these; empty when none does."""
        names = (grass,) if isinstance(grass, str) else grass
        return tuple(host for host in self.host if any(map(host.called, names)))

    def susceptibility(
        self, grasses: str | Sequence[str], use: Use | None = None
    ) -> Susceptibility | None:
        """Return how susceptible turf of these grasses is: that of its most susceptible one.

        ``grasses``: one grass, or those of a mixture; none when the grass is not told. ``use``:
        only hosts of this use count; every host without it. Returns *high* before *moderate*, *low*
        and *unknown*; *unknown* when no grass is told and some host is of this use; None when no
        grass is a host.
        """
        hosts = [h for h in (self.on(grasses) if grasses else self.host) if use in (None, *h.uses)]
        if not hosts:
            return None
        told = {host.susceptibility for host in hosts} if grasses else set()
        return next((level for level in get_args(Susceptibility) if level in told), "unknown")

    def named(self, names: Rows[Text], grass: str | Sequence[str] | None) -> bool:
        """Whether a part of the file that names some grasses, or none, speaks of this turf.

        ``grass`` is one, or those of a mixture; where none is told every part speaks of it.
        """
        if not names or not grass:
            return True
        return any(host.called(name) for host in self.on(grass) for name in names)

    def seasons(self, grass: str | Sequence[str] | None = None) -> tuple[InfectionSeason, ...]:
        """Return the seasons that speak of a grass, or of a mixture, in the order of the file."""
        return tuple(s for s in self.season if self.named(s.grass, grass))
