"""Any number of a published rule, changed over a range: a grid of rules that nobody published."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from itertools import product
from math import prod
from typing import Any

from patchrisk.base.errors import Fault, InputError
from patchrisk.base.units import from_canonical, to_canonical
from patchrisk.core.rules.seasons import Season
from patchrisk.core.rules.windows import Rule

MOST_CELLS = 2000  # a grid that large says nothing that a smaller one does not

RULE_NUMBERS = {
    "low": "soil temperature",
    "high": "soil temperature",
    "close_above": "soil temperature",
    "close_below": "soil temperature",
    "days": "days",
    "mean_of": "days",
    "close_days": "days",
    "depth": "depth",
    "season_start": "date",
    "season_end": "date",
}
"""Numbers of a rule that can be changed, and the quantity of each."""


@dataclass(frozen=True)
class Vary:
    """One number of a rule and the values to try.

    Parameters
    ----------
    name : str
        One of `RULE_NUMBERS`.
    shown : tuple of float
        Values in ``unit``; of a date, as `year_day` counts it.
    unit : str
        As the user wrote it: degC, degF, cm, in, days; empty for a date.
    """

    name: str
    shown: tuple[float, ...]
    unit: str

    @property
    def quantity(self) -> str:
        """What is changed: soil temperature, depth, days or date."""
        return RULE_NUMBERS[self.name]

    @property
    def canonical(self) -> tuple[float, ...]:
        """The values in canonical units."""
        if self.quantity in ("days", "date"):
            return self.shown
        return tuple(to_canonical(self.quantity, v, self.unit) for v in self.shown)

    def published(self, rule: Rule) -> float | None:
        """Return the rule's own number, in the unit of ``shown``; None when it has none."""
        own = _own(rule, self.name)
        if own is None or self.quantity in ("days", "date"):
            return own
        return from_canonical(self.quantity, own, self.unit)


def year_day(month: int, day: int) -> int:
    """Days from 1 January to a date in a year without 29 February; ValueError when it is none."""
    return (date(2001, month, day) - date(2001, 1, 1)).days


def grid(rule: Rule, varies: Sequence[Vary]) -> list[tuple[tuple[float, ...], Rule | None]]:
    """Change a rule in every combination of the values.

    Parameters
    ----------
    rule : Rule
        As published.
    varies : sequence of Vary
        Different numbers of the rule.

    Returns
    -------
    list of (tuple of float, Rule or None)
        The shown values and the changed rule, the last number changing fastest; None where the
        values exclude each other, such as a lower threshold above the upper.

    Raises
    ------
    InputError
        When the rule has no such number, a number is named twice, or there are too many cells.
    """
    faults = []
    for vary in varies:
        if sum(v.name == vary.name for v in varies) > 1:
            faults.append(Fault("--vary", vary.name, "named twice", "give it one range"))
        elif _own(rule, vary.name) is None:
            there = ", ".join(n for n in RULE_NUMBERS if _own(rule, n) is not None)
            cure = f"it has {there}"
            faults.append(Fault("--vary", vary.name, f"{rule.id} has no such number", cure))
    cells = prod(len(v.shown) for v in varies)
    if cells > MOST_CELLS:
        cure = f"take wider steps: at most {MOST_CELLS} cells"
        faults.append(Fault("--vary", "", f"{cells} cells", cure))
    if faults:
        raise InputError(sorted(set(faults)))
    out = []
    for shown in product(*(v.shown for v in varies)):
        changed: Rule | None = rule
        for vary, number in zip(varies, shown, strict=True):
            value = vary.canonical[vary.shown.index(number)]
            changed = None if changed is None else change(changed, vary.name, value)
        out.append((shown, changed if changed is None or _possible(changed) else None))
    return out


def change(rule: Rule, name: str, value: float) -> Rule:
    """Return the rule with another number.

    A temperature that closes the window and stands on the threshold moves with it.

    Parameters
    ----------
    rule : Rule
    name : str
        One of `RULE_NUMBERS`, which the rule has.
    value : float
        In canonical units: [degC], [cm], [days], or as `year_day` counts.
    """
    days = round(value)
    at = date(2001, 1, 1) + timedelta(days=days)
    low_ties, high_ties = rule.close_below_c == rule.low_c, rule.close_above_c == rule.high_c
    changes: dict[str, Any] = {
        "low": {"low_c": value} | ({"close_below_c": value} if low_ties else {}),
        "high": {"high_c": value} | ({"close_above_c": value} if high_ties else {}),
        "close_above": {"close_above_c": value},
        "close_below": {"close_below_c": value},
        "depth": {"depth_cm": value},
        "mean_of": {"statistic": rule.statistic.over(days), "mean_days": days},
        "days": {"days": days},
        "close_days": {"close_days": days},
        "season_start": {"season": Season((at.month, at.day), rule.season.end)},
        "season_end": {"season": Season(rule.season.start, (at.month, at.day))},
    }
    return replace(rule, **changes[name])


def _own(rule: Rule, name: str) -> float | None:
    closes = rule.close_above_c is not None or rule.close_below_c is not None
    own = {
        "low": rule.low_c,
        "high": rule.high_c,
        "close_above": rule.close_above_c,
        "close_below": rule.close_below_c,
        "days": rule.days,
        "mean_of": None if rule.statistic.over(2) is None else rule.mean_days,
        "close_days": rule.close_days if closes else None,
        "depth": rule.depth_cm,
        "season_start": year_day(*rule.season.start),
        "season_end": year_day(*rule.season.end),
    }[name]
    return None if own is None else float(own)


def _possible(rule: Rule) -> bool:
    low, high, above = rule.low_c, rule.high_c, rule.close_above_c
    if low is not None and high is not None and low >= high:
        return False
    opens = high if rule.direction == "falling" else low
    if rule.direction != "band" and above is not None and opens is not None and opens >= above:
        return False
    return rule.season.start != rule.season.end
