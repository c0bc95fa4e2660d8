"""What every published rule, by itself, says of one area this morning."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from patchrisk.base.units import DayArray
from patchrisk.core.rules.windows import Rule, State, apply_rule, compared, is_open
from patchrisk.core.soil.root_depth import SoilSeries


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
    state : State
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
    in_season: bool
    value_c: float
    run: int
    opened: np.datetime64 | None
    closed: np.datetime64 | None
    chance_open: float | None
    judged_on: Mapping[str, int]


def rules_today(
    rules: Sequence[tuple[str, Rule]],
    soil_at: Callable[[float], SoilSeries],
    *,
    southern: bool,
    settings: Settings,
) -> tuple[RuleToday, ...]:
    """Apply published rules to an area's soil, each by itself.

    Parameters
    ----------
    rules : sequence of (str, Rule)
        Whose rule it is, and the rule.
    soil_at : callable
        Gives the area's `SoilSeries` at a depth [cm].
    southern : bool
        Whether the place lies south of the equator.
    settings : Settings

    Returns
    -------
    tuple of RuleToday
        In the order of ``rules``.
    """
    return tuple(
        _look_rule(member, rule, soil_at(rule.depth_cm), southern=southern, settings=settings)
        for member, rule in rules
    )


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
        member=member,
        rule=rule,
        state=state,
        in_season=in_season,
        value_c=float(window.value_c[-1]),
        run=int(window.run[-1]),
        opened=_day(soil.dates, window.opened[-1]),
        closed=_day(soil.dates, window.closed[-1]),
        chance_open=chance,
        judged_on={str(k) or "unknown": int(n) for k, n in zip(kinds, counts, strict=True)},
    )


def _day(dates: DayArray, index: np.signedinteger[Any]) -> np.datetime64 | None:
    return None if index < 0 else dates[int(index)]


def _chance(rule: Rule, soil: SoilSeries, *, southern: bool) -> float:
    """Share of the series the soil may really have followed for which the window is open."""
    count = len(soil.draws_c)
    swing = (soil.max_c - soil.mean_c)[-count:, None]
    value = compared(rule, soil.draws_c, soil.draws_c + swing)
    return float(is_open(rule, value, soil.dates[-count:], southern=southern)[-1].mean())
