"""A disease file as frozen models: who, where, which rules, what follows."""

from typing import Annotated, Literal

from pydantic import AfterValidator, Field, model_validator

from patchrisk.diseases.quantities import (
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
from patchrisk.diseases.rules import PublishedRule, distinct
from patchrisk.infection import Cardinal
from patchrisk.site import Use
from patchrisk.windows import Meaning, Rule

Evidence = Literal["works", "some", "weak", "no effect", "no data", "outside spectrum"]
Level = Literal["none", "trace", "present", "low", "middle", "high", "most"]
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
    susceptibility: Literal["high", "moderate", "low", "unknown"] = "unknown"
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


class Expression(Table):
    """When and how the damage shows, long after the infection."""

    shown_by: SomeRows[StressKind]
    months: Months
    look_for: Statement
    samples: Statement
    exposure: Days | None = None
    stress: Rows[Stress] = ()
    lag: Rows[Lag] = ()

    def lags(self, *since: str) -> tuple[Lag, ...]:
        """Return the lags from such events that are short enough to be given in days."""
        return tuple(x for x in self.lag if x.since in since and x.time.quantity == "duration")

    def lag_days(self, *since: str) -> tuple[float, float] | None:
        """Return the shortest and the longest of these lags [days]; None without any."""
        spans = [lag.time.span for lag in self.lags(*since)]
        return (min(low for low, _ in spans), max(high for _, high in spans)) if spans else None


class ModeOfAction(Sourced):
    """How well a mode-of-action group did; the class is this project's reading of the trials."""

    frac: Text
    evidence: Evidence
    actives: dict[str, Evidence] = Field(default_factory=dict)
    note: Text | None = None


class Treatment(Table):
    """Interval, number and watering in; rates are on the label and never here."""

    interval: Days | None = None
    number: Count | None = None
    watering_in: Water | None = None
    carrier: Carrier | None = None
    note: Rows[Statement] = ()


class SiteFactor(Statement):
    """Something about the soil or the upkeep that makes the disease worse or better."""

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

    def rules(self, meaning: Meaning | None = None) -> tuple[Rule, ...]:
        """Return the published rules, of one meaning or of all, in the order of the file."""
        return tuple(w.rule for w in self.window if meaning in (None, w.meaning))

    def published(self, rule_id: str) -> PublishedRule:
        """Return a rule as published, each part with its provenance; KeyError when unknown."""
        for window in self.window:
            if window.id == rule_id:
                return window
        raise KeyError(rule_id)

    def on(self, grass: str) -> tuple[Host, ...]:
        """Return the hosts that go by this name; empty when the grass is not one of them."""
        return tuple(host for host in self.host if host.called(grass))
