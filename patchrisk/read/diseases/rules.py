"""A published rule as a frozen model: each part of it with its own provenance."""

from calendar import monthrange
from functools import cached_property
from typing import Annotated

from pydantic import AfterValidator, Strict, model_validator

from patchrisk.core.rules.rule import Direction, Meaning, Rule, Season, Statistic
from patchrisk.read.diseases.quantities import (
    Depth,
    Id,
    Number,
    Rows,
    SoilTemperature,
    Sourced,
    Table,
    Text,
    WholeDays,
)


def _month_day(text: str) -> str:
    month, _, day = text.partition("-")
    digits = len(text) == 5 and month.isdigit() and day.isdigit() and 1 <= int(month) <= 12
    if digits and 1 <= int(day) <= monthrange(2001, int(month))[1]:
        return text
    raise ValueError(f'{text!r} is no day of the year: write month and day, as "04-15"')


MonthDay = Annotated[str, AfterValidator(_month_day)]


class PublishedStatistic(Sourced):
    """Which daily figure of the soil a rule speaks of."""

    value: Annotated[Statistic, Strict(False)]  # a TOML text arrives as one
    mean_of: WholeDays | None = None
    note: Text | None = None

    @model_validator(mode="after")
    def _check_length(self) -> "PublishedStatistic":
        if self.value.rolls != (self.mean_of is not None):
            raise ValueError(
                "mean_of and statistic disagree: write mean_of for a rolling mean, and only then"
            )
        return self


class SeasonLimits(Sourced):
    """First and last day of the year, in the north, on which a rule may be open."""

    start: MonthDay
    end: MonthDay
    note: Text | None = None

    @property
    def season(self) -> Season:
        """The limits as the rules use them."""
        (a, b), (c, d) = (map(int, text.split("-")) for text in (self.start, self.end))
        return Season((a, b), (c, d))


class PublishedRule(Table):
    """One published rule, each part of it with its own provenance."""

    id: Id
    meaning: Meaning
    statistic: PublishedStatistic
    depth: Depth
    direction: Direction
    low: SoilTemperature | None = None
    high: SoilTemperature | None = None
    strict: bool = False
    days: WholeDays
    season: SeasonLimits
    close_above: SoilTemperature | None = None
    close_below: SoilTemperature | None = None
    close_days: WholeDays | None = None
    grass: Rows[Text] = ()
    note: Text | None = None

    @model_validator(mode="after")
    def _check_edges(self) -> "PublishedRule":
        wanted = {"rising": (True, False), "falling": (False, True), "band": (True, True)}
        low, high = wanted[self.direction]
        if ((self.low is not None), (self.high is not None)) != (low, high):
            need = " and ".join(k for k, v in (("low", low), ("high", high)) if v)
            raise ValueError(f"a {self.direction} rule has the wrong edges: write {need} only")
        if self.low and self.high and self.low.canonical >= self.high.canonical:
            raise ValueError("low is not below high: exchange them")
        closes = self.close_above is not None or self.close_below is not None
        if closes != (self.close_days is not None):
            raise ValueError(
                "close_days and the closing temperature come together: write both or neither"
            )
        return self

    @property
    def threshold(self) -> SoilTemperature:
        """The temperature at which the rule opens: its low edge, or the high one when falling."""
        edge = self.high if self.direction == "falling" else self.low
        assert edge is not None
        return edge

    @property
    def numbers(self) -> dict[str, Number]:
        """Every number of the rule by the name of its part."""
        parts = {
            "low": self.low,
            "high": self.high,
            "days": self.days,
            "mean_of": self.statistic.mean_of,
            "depth": self.depth,
            "close_above": self.close_above,
            "close_below": self.close_below,
            "close_days": self.close_days,
        }
        return {name: number for name, number in parts.items() if number is not None}

    @cached_property
    def rule(self) -> Rule:
        """The rule in canonical units, as it is applied to a series."""

        def c(number: SoilTemperature | None) -> float | None:
            return None if number is None else number.canonical

        mean_of = self.statistic.mean_of
        stated = {
            name
            for name, part in (
                ("statistic", self.statistic),
                ("depth", self.depth),
                ("days", self.days),
                ("season", self.season),
            )
            if part.stated
        }
        return Rule(
            id=self.id,
            meaning=self.meaning,
            statistic=self.statistic.value,
            depth_cm=self.depth.canonical,
            direction=self.direction,
            season=self.season.season,
            low_c=c(self.low),
            high_c=c(self.high),
            strict=self.strict,
            days=round(self.days.canonical),
            mean_days=1 if mean_of is None else round(mean_of.canonical),
            close_above_c=c(self.close_above),
            close_below_c=c(self.close_below),
            close_days=1 if self.close_days is None else round(self.close_days.canonical),
            source=self.threshold.short,
            confidence=self.threshold.confidence,
            stated=frozenset(stated),
        )


def distinct(rows: tuple[PublishedRule, ...]) -> tuple[PublishedRule, ...]:
    """Refuse rules of the same id."""
    ids = [row.id for row in rows]
    for name in ids:
        if ids.count(name) > 1:
            raise ValueError(f"id {name!r} is there twice: give each window its own id")
    return rows
