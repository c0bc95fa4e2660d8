"""Any number of a published rule, changed over a range: a grid of rules that nobody published."""

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import product
from math import prod

import numpy as np

from patchrisk.errors import Fault, InputError
from patchrisk.seasons import Season
from patchrisk.units import QUANTITIES, from_canonical, to_canonical
from patchrisk.windows import Rule

MOST_CELLS = 2000  # a grid that large says nothing that a smaller one does not

_TEMPERATURES = ("low", "high", "close_above", "close_below")
_COUNTS = ("days", "mean_of", "close_days")
_DATES = ("season_start", "season_end")
NAMES = (*_TEMPERATURES, *_COUNTS, "depth", *_DATES)
_WORDS = {
    "low": "lower threshold",
    "high": "upper threshold",
    "close_above": "temperature that closes from above",
    "close_below": "temperature that closes from below",
    "days": "days in a row",
    "mean_of": "days of the rolling mean",
    "close_days": "days in a row that close",
    "depth": "depth",
    "season_start": "first day of the season",
    "season_end": "last day of the season",
}
_SYMBOLS = {"degC": "°C", "degF": "°F", "cm": "cm", "in": "in", "days": "days", "": ""}
_RANGE = re.compile(
    r"\s*(?P<name>[a-z_]+)\s*=\s*(?P<first>[^:\s]+)\s*:\s*(?P<last>[^:\s]+?)\s*"
    r"(?::\s*(?P<step>\d+(?:\.\d+)?)\s*)?(?P<unit>[A-Za-z]*)\s*"
)
_EXAMPLE = "write such as low=16:20:0.5degC, days=3:7:1 or season_start=02-01:04-01:15"


@dataclass(frozen=True)
class Vary:
    """One number of a rule and the values to try.

    Parameters
    ----------
    name : str
        One of ``NAMES``.
    shown : tuple of float
        Values in ``unit``; of a date, days after 1 January in a year without 29 February.
    unit : str
        As the user wrote it: degC, degF, cm, in, days; empty for a date.
    """

    name: str
    shown: tuple[float, ...]
    unit: str

    @property
    def canonical(self) -> tuple[float, ...]:
        """The values in canonical units."""
        if self.name in _TEMPERATURES:
            return tuple(to_canonical("soil temperature", v, self.unit) for v in self.shown)
        if self.name == "depth":
            return tuple(to_canonical("depth", v, self.unit) for v in self.shown)
        return self.shown

    @property
    def words(self) -> str:
        """What is changed, as people read it."""
        return _WORDS[self.name]

    @property
    def symbol(self) -> str:
        """The unit as people read it; empty for a date."""
        return _SYMBOLS[self.unit]

    def show(self, number: float) -> str:
        """Write one of the shown values, without its unit."""
        if self.name in _DATES:
            day = np.datetime64("2001-01-01") + int(number)
            return str(day)[5:]
        return f"{number:.4g}"

    def said(self, number: float) -> str:
        """Write what is changed and one of the shown values: ``lower threshold 18 °C``."""
        unit = "" if self.symbol == "days" else self.symbol  # the words speak of days already
        return f"{self.words} {self.show(number)} {unit}".strip()

    def published(self, rule: Rule) -> float | None:
        """Return the rule's own number, in the unit of ``shown``; None when it has none."""
        own = _own(rule, self.name)
        if own is None:
            return None
        if self.name in _TEMPERATURES:
            return from_canonical("soil temperature", own, self.unit)
        return from_canonical("depth", own, self.unit) if self.name == "depth" else own


def read_vary(text: str) -> Vary:
    """Read ``name=first:last:step`` with a unit: ``low=16:20:0.5degC``; the step may be left out.

    Raises
    ------
    InputError
        When the name, a number, or the unit is wrong, or the range runs backwards.
    """

    def fault(found: str, cure: str) -> InputError:
        return InputError(Fault("--vary", text, found, cure))

    match = _RANGE.fullmatch(text)
    if match is None:
        raise fault("not a range", _EXAMPLE)
    name, unit = match["name"], match["unit"]
    if name not in NAMES:
        raise fault(f"no number {name!r} in a rule", f"write one of {', '.join(NAMES)}")
    wanted = {"depth": ("cm", "in"), **dict.fromkeys(_TEMPERATURES, ("degC", "degF"))}
    if name in wanted and unit not in wanted[name]:
        found = f"the unit {unit!r}" if unit else "no unit"
        raise fault(found, f"end it in {' or '.join(wanted[name])}")
    if name not in wanted and unit not in ("", "days"):
        raise fault(f"the unit {unit!r}", "leave the unit away: it is days")
    try:
        first, last = (_number(name, match[end]) for end in ("first", "last"))
    except ValueError:
        raise fault("not a range", _EXAMPLE) from None
    step = float(match["step"] or 1)
    if step <= 0 or last < first:
        raise fault("an empty range", "write the lower number first, and a step above 0")
    whole = name in _COUNTS or name in _DATES
    if whole and not all(float(v).is_integer() for v in (first, last, step)):
        raise fault("a part of a day", "write whole days")
    if name in _COUNTS and first < 1:
        raise fault(f"{first:g} days", "write 1 or more")
    count = int(np.floor((last - first) / step + 1e-9)) + 1
    if count > MOST_CELLS:
        raise fault(f"{count} values", f"take a wider step: at most {MOST_CELLS}")
    shown = tuple(round(first + n * step, 9) for n in range(count))
    vary = Vary(name, shown, "" if name in _DATES else unit or "days")
    kind = "soil temperature" if name in _TEMPERATURES else "depth"
    limits = QUANTITIES[kind]
    if name in wanted and not all(limits.low <= v <= limits.high for v in vary.canonical):
        cure = f"write {limits.low:g} to {limits.high:g} {limits.canonical}"
        raise fault("out of range", cure)
    return vary


def _number(name: str, text: str) -> float:
    if name in _DATES:
        month, day = (int(part) for part in text.split("-"))
        at = np.datetime64(f"2001-{month:02d}-{day:02d}", "D")
        return float((at - np.datetime64("2001-01-01")).astype(int))
    return float(text)


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
            there = ", ".join(n for n in NAMES if _own(rule, n) is not None)
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
        One of ``NAMES``, which the rule has.
    value : float
        In canonical units: [degC], [cm], [days], or days after 1 January.
    """
    if name == "low":
        tied = rule.close_below_c == rule.low_c
        return replace(rule, low_c=value, close_below_c=value if tied else rule.close_below_c)
    if name == "high":
        tied = rule.close_above_c == rule.high_c
        return replace(rule, high_c=value, close_above_c=value if tied else rule.close_above_c)
    if name == "close_above":
        return replace(rule, close_above_c=value)
    if name == "close_below":
        return replace(rule, close_below_c=value)
    if name == "depth":
        return replace(rule, depth_cm=value)
    if name == "mean_of":
        days = round(value)
        return replace(
            rule, statistic="daily mean" if days == 1 else "rolling mean", mean_days=days
        )
    if name == "days":
        return replace(rule, days=round(value))
    if name == "close_days":
        return replace(rule, close_days=round(value))
    at = np.datetime64("2001-01-01") + round(value)
    day = (int(str(at)[5:7]), int(str(at)[8:]))
    start, end = rule.season.start, rule.season.end
    season = Season(day, end) if name == "season_start" else Season(start, day)
    return replace(rule, season=season)


def _own(rule: Rule, name: str) -> float | None:
    closes = rule.close_above_c is not None or rule.close_below_c is not None
    own = {
        "low": rule.low_c,
        "high": rule.high_c,
        "close_above": rule.close_above_c,
        "close_below": rule.close_below_c,
        "days": rule.days,
        "mean_of": None if rule.statistic == "daily maximum" else rule.mean_days,
        "close_days": rule.close_days if closes else None,
        "depth": rule.depth_cm,
        "season_start": _number("season_start", "{:02d}-{:02d}".format(*rule.season.start)),
        "season_end": _number("season_end", "{:02d}-{:02d}".format(*rule.season.end)),
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
