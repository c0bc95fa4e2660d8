"""The outlook: what every rule of every disease says of one area this morning and the last."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from patchrisk.arrays import DayArray
from patchrisk.soil.series import SoilSeries
from patchrisk.windows import Rule, State, apply_rule, compared, is_open


@dataclass(frozen=True)
class Settings:
    """Numbers of the outlook itself; see thresholds/outlook.toml."""

    nearing_c: float
    max_change_c: float


@dataclass(frozen=True)
class RuleToday:
    """What one published rule says this morning.

    Parameters
    ----------
    member : str
        Key of the disease the rule was published for.
    rule : Rule
    state, yesterday : State
        This morning and the morning before.
    in_season : bool
        Whether the rule speaks of this time of year.
    value_c : float
        The statistic on the last complete day [degC]; NaN where unknown.
    run : int
        Days in a row met so far [days].
    opened, closed : datetime64[D] or None
    chance_open : float or None
        Probability that the window is open, given the error of the soil temperature; None when
        the state is unknown or the rule out of season.
    judged_on : dict of str to int
        Of the last ``days`` (at least 7) days: how many were logged, modelled, filled or unknown.
    """

    member: str
    rule: Rule
    state: State
    yesterday: State
    in_season: bool
    value_c: float
    run: int
    opened: np.datetime64 | None
    closed: np.datetime64 | None
    chance_open: float | None
    judged_on: Mapping[str, int]


@dataclass(frozen=True)
class DiseaseToday:
    """What the rules of one disease say together.

    ``state`` is that of the rules on timing (or, where there are none, on infection) that speak
    of this time of year: open when more than half of them are; closed when more than half have
    closed; else nearing when any is open or nearing; unknown when at least half are. The rules
    themselves stay apart in ``rules``; nothing is averaged.
    """

    key: str
    state: State
    yesterday: State
    rules: tuple[RuleToday, ...]

    @property
    def deciding(self) -> tuple[RuleToday, ...]:
        """The rules that decide the state, first to open first, not yet open last."""
        return tuple(sorted(deciding(self.rules), key=_order))

    @property
    def since(self) -> np.datetime64 | None:
        """Day on which the state became open, by the rule that made it so."""
        if self.state is not State.OPEN:
            return None
        days = [r.opened for r in self.deciding if r.state is State.OPEN and r.opened is not None]
        known = len([r for r in self.deciding if r.state is not State.UNKNOWN])
        return days[known // 2]


def _order(result: RuleToday) -> tuple[int, np.datetime64]:
    late = np.datetime64("9999-12-31")
    rank = {State.OPEN: 0, State.CLOSED: 1, State.NEARING: 2, State.NOT_YET: 3, State.UNKNOWN: 4}
    return rank[result.state], late if result.opened is None else result.opened


def deciding(rules: Sequence[RuleToday]) -> list[RuleToday]:
    """Return the rules that decide the state: on timing if there are any, and in season if any."""
    chosen = [r for r in rules if r.rule.meaning == "treat"]
    chosen = chosen or [r for r in rules if r.rule.meaning == "infect"]
    return [r for r in chosen if r.in_season] or chosen


def together(states: Sequence[State]) -> State:
    """Return the state that several rules' states add up to; see `DiseaseToday`."""
    known = [s for s in states if s is not State.UNKNOWN]
    if not known or 2 * (len(states) - len(known)) >= len(states):
        return State.UNKNOWN
    open_ = known.count(State.OPEN)
    closed = known.count(State.CLOSED)
    if 2 * open_ > len(known):
        return State.OPEN
    if 2 * closed > len(known):
        return State.CLOSED
    if open_ or State.NEARING in known:
        return State.NEARING
    return State.NOT_YET


def look(
    diseases: Mapping[str, Sequence[tuple[str, Rule]]],
    soil_at: Callable[[float], SoilSeries],
    *,
    southern: bool,
    settings: Settings,
) -> tuple[DiseaseToday, ...]:
    """Apply every rule of the diseases to an area's soil.

    Parameters
    ----------
    diseases : mapping of str to sequence of (str, Rule)
        For each disease, or group of diseases, by key: whose rule it is, and the rule.
    soil_at : callable
        Gives the area's `SoilSeries` at a depth [cm].
    southern : bool
        Whether the place lies south of the equator.
    settings : Settings

    Returns
    -------
    tuple of DiseaseToday
        In the order of ``diseases``.
    """
    out = []
    for key, rules in diseases.items():
        results = tuple(
            _look_rule(member, rule, soil_at(rule.depth_cm), southern=southern, settings=settings)
            for member, rule in rules
        )
        out.append(
            DiseaseToday(
                key,
                together([r.state for r in deciding(results)]),
                together([r.yesterday for r in deciding(results)]),
                results,
            )
        )
    return tuple(out)


def _look_rule(
    member: str, rule: Rule, soil: SoilSeries, *, southern: bool, settings: Settings
) -> RuleToday:
    window = apply_rule(
        rule,
        compared(rule, soil.mean_c, soil.max_c),
        soil.dates,
        southern=southern,
        nearing_c=settings.nearing_c,
        max_change_c=settings.max_change_c,
    )
    state = State(int(window.state[-1]))
    in_season = bool(window.in_season[-1])
    chance = None
    if in_season and state is not State.UNKNOWN:
        chance = _chance(rule, soil, southern=southern)
    recent = soil.came_from[-max(rule.days, rule.mean_days, 7) :]
    kinds, counts = np.unique(recent, return_counts=True)
    return RuleToday(
        member,
        rule,
        state,
        State(int(window.state[-2])),
        in_season,
        float(window.value_c[-1]),
        int(window.run[-1]),
        _day(soil.dates, window.opened[-1]),
        _day(soil.dates, window.closed[-1]),
        chance,
        {str(k) or "unknown": int(n) for k, n in zip(kinds, counts, strict=True)},
    )


def _day(dates: DayArray, index: np.signedinteger[Any]) -> np.datetime64 | None:
    return None if index < 0 else dates[int(index)]


def _chance(rule: Rule, soil: SoilSeries, *, southern: bool) -> float:
    """Share of the series the soil may really have followed for which the window is open."""
    count = len(soil.draws_c)
    swing = (soil.max_c - soil.mean_c)[-count:, None]
    value = compared(rule, soil.draws_c, soil.draws_c + swing)
    return float(is_open(rule, value, soil.dates[-count:], southern=southern)[-1].mean())
