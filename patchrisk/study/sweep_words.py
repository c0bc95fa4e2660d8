"""The words of a sweep: ranges as users write them, and what the grid says."""

import re
from collections.abc import Mapping, Sequence
from datetime import date, timedelta

import numpy as np

from patchrisk.base.errors import Fault, InputError
from patchrisk.base.pen import count_of
from patchrisk.base.units import QUANTITIES
from patchrisk.core.skill.measures import Terms
from patchrisk.core.skill.scores import HIT_RATE
from patchrisk.core.skill.sweep import MOST_CELLS, RULE_NUMBERS, Sweep, Vary, year_day

_CALLED = {
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
_SIGNS = {"degC": "°C", "degF": "°F", "cm": "cm", "in": "in", "days": "days", "": ""}
_UNITS = {"soil temperature": ("degC", "degF"), "depth": ("cm", "in")}
_RANGE = re.compile(
    r"\s*(?P<name>[a-z_]+)\s*=\s*(?P<first>[^:\s]+)\s*:\s*(?P<last>[^:\s]+?)\s*"
    r"(?::\s*(?P<step>\d+(?:\.\d+)?)\s*)?(?P<unit>[A-Za-z]*)\s*"
)
_EXAMPLE = "write such as low=16:20:0.5degC, days=3:7:1 or season_start=02-01:04-01:15"


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
    if name not in RULE_NUMBERS:
        raise fault(f"no number {name!r} in a rule", f"write one of {', '.join(RULE_NUMBERS)}")
    kind = RULE_NUMBERS[name]
    whole = kind in ("days", "date")
    if whole and unit not in ("", "days"):
        raise fault(f"the unit {unit!r}", "leave the unit away: it is days")
    if not whole and unit not in _UNITS[kind]:
        found = f"the unit {unit!r}" if unit else "no unit"
        raise fault(found, f"end it in {' or '.join(_UNITS[kind])}")
    try:
        first, last = (
            float(year_day(*map(int, end.split("-"))) if kind == "date" else end)
            for end in (match["first"], match["last"])
        )
    except (TypeError, ValueError):
        raise fault("not a range", _EXAMPLE) from None
    if not np.isfinite([first, last]).all():
        raise fault("not a range", _EXAMPLE)
    step = float(match["step"] or 1)
    if step <= 0 or last < first:
        raise fault("an empty range", "write the lower number first, and a step above 0")
    if whole and not all(v.is_integer() for v in (first, last, step)):
        raise fault("a part of a day", "write whole days")
    if kind == "days" and first < 1:
        raise fault(f"{first:g} days", "write 1 or more")
    count = int(np.floor((last - first) / step + 1e-9)) + 1
    if count > MOST_CELLS:
        raise fault(f"{count} values", f"take a wider step: at most {MOST_CELLS}")
    shown = tuple(round(first + n * step, 9) for n in range(count))
    vary = Vary(name, shown, "" if kind == "date" else unit or "days")
    if not whole:
        limits = QUANTITIES[kind]
        if not all(limits.low <= v <= limits.high for v in vary.canonical):
            cure = f"write {limits.low:g} to {limits.high:g} {limits.canonical}"
            raise fault("out of range", cure)
    return vary


def number_name(vary: Vary) -> str:
    """Return what is changed, as people read it."""
    return _CALLED[vary.name]


def unit_sign(vary: Vary) -> str:
    """Return the unit as people read it; empty for a date."""
    return _SIGNS[vary.unit]


def value_text(vary: Vary, value: float) -> str:
    """Write one of the shown values, without its unit."""
    if vary.quantity == "date":
        return f"{date(2001, 1, 1) + timedelta(days=int(value)):%m-%d}"
    return f"{value:.4g}"


def with_unit(vary: Vary, value: float) -> str:
    """Write what is changed and one of the shown values: ``lower threshold 18 °C``."""
    unit = "" if vary.unit == "days" else unit_sign(vary)  # the words speak of days already
    return f"{number_name(vary)} {value_text(vary, value)} {unit}".strip()


def sweep_sentences(swept: Sweep) -> list[str]:
    """Say what the sweep found, and how sharply, in sentences."""
    if swept.skill is None:
        return ["Without a case that can be judged nothing is said of skill: opening dates only."]
    table, skill, terms = swept.table, swept.skill, swept.terms
    best = {name: float(table[name][skill.best]) for name in ("skill", "skill_low", "skill_high")}
    at = ", ".join(with_unit(v, float(table[v.name][skill.best])) for v in swept.varies)
    out = [
        f"Best {skill.of}: {best['skill']:.2f}{_interval(best, skill.seasons, terms)} at {at}"
        + (f", the midst of {skill.ties} cells as high" if skill.ties > 1 else "")
        + f". {skill.presences} cases with disease and {skill.absences} without, "
        f"{count_of(skill.seasons, 'season')}.",
        f"The rule as published: {skill.published:.2f}. Picking the best without each "
        f"{_held_out(skill.held_out)}; expect that where it was not picked.",
        f"A window is of use when it opens {terms.least_lead} to {terms.most_lead} days before the "
        f"disease is seen ({terms.lead_from}).",
    ]
    if skill.seasons < terms.least_seasons:
        out.append(
            f"Too few seasons (under {terms.least_seasons}) to say how sharp the best value is."
        )
        return out
    if skill.of != HIT_RATE and best["skill_low"] <= 0:
        where = "lies below" if best["skill_high"] < 0 else "holds"
        out.append(f"That interval {where} zero: no better than a window opened blindly.")
    good = table[table["as_good"]]
    for vary in swept.varies:
        values = [v for v in vary.shown if v in set(good[vary.name])]
        out.append(_as_good(vary, values, alone=len(swept.varies) == 1))
    share = len(good) / max(1, int(table["possible"].sum()))
    if share == 1:
        out.append("No value tried can be told from the best: these observations can't decide.")
    elif len(swept.varies) > 1:
        out.append(f"{len(good)} of {int(table['possible'].sum())} cells do as well as the best.")
    return out


def _held_out(worth: Mapping[str, float]) -> str:
    known = [f"{fold}, and trying it there: {value:.2f}" if n == 0 else f"{fold}: {value:.2f}"
             for n, (fold, value) in enumerate(worth.items()) if not np.isnan(value)]  # fmt: skip
    return ", ".join(known) or "season can't be tried: there is one alone"


def _as_good(vary: Vary, values: Sequence[float], *, alone: bool) -> str:
    """Say which values of a number do as well as the best, and whether the range tried ends it."""
    place = [vary.shown.index(v) for v in values]
    runs: list[list[int]] = []
    for n in place:
        if runs and n == runs[-1][-1] + 1:
            runs[-1].append(n)
        else:
            runs.append([n])
    parts = [
        value_text(vary, vary.shown[run[0]])
        if len(run) == 1
        else f"{value_text(vary, vary.shown[run[0]])} to {value_text(vary, vary.shown[run[-1]])}"
        for run in runs
    ]
    unit = f" {unit_sign(vary)}" if vary.unit else ""
    free = "" if alone else ", with a fitting choice of the rest,"
    text = f"{number_name(vary).capitalize()}: "
    if len(values) == 1:
        text += f"no other value{free} does as well as {parts[0]}{unit}"
    else:
        text += f"values{free} from {' and '.join(parts)}{unit} do as well"
    edges = [
        word
        for end, word in ((0, "lower"), (len(vary.shown) - 1, "higher"))
        if end in place and len(vary.shown) > 1
    ]
    return text + (f"; {' and '.join(edges)} ones were not tried." if edges else ".")


def _interval(row: Mapping[str, float], seasons: int, terms: Terms) -> str:
    if seasons < terms.least_seasons:
        return ""
    if np.isnan(row["skill_low"]):
        return " (the same in every season, so nothing shows how sure it is)"
    return (
        f" ({100 * terms.level:.0f} % interval {row['skill_low']:.2f} to {row['skill_high']:.2f})"
    )
