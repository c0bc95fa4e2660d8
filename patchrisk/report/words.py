"""The sentences of the outlook, the same wherever they are printed."""

from collections.abc import Callable
from datetime import date

import numpy as np
import pandas as pd

from patchrisk.at_site.gathering import Readings
from patchrisk.at_site.morning import REFERENCE_CM
from patchrisk.diseases import Disease, Library
from patchrisk.diseases.rules import PublishedRule
from patchrisk.outlook import DiseaseToday, RuleToday
from patchrisk.site import Place
from patchrisk.soil.transfer import MAX_UP_CM
from patchrisk.weather.layout import offset_words
from patchrisk.weather.logger import Probe
from patchrisk.windows import State

Show = Callable[..., str]
DayWords = Callable[[np.datetime64 | None], str]

CAUTIONS = (
    "Timing by mode-of-action group, not a prescription. The product label in force at your "
    "place is the law: it decides site, rate, interval, number and re-entry. Registrations "
    "differ by country and state. Buying and applying need the licence your law asks for; wear "
    "the protective equipment of the label, keep people off until re-entry, keep the buffer to "
    "water, and water in without run-off."
)


def name_of(library: Library, key: str) -> str:
    """Return the name of a disease or group."""
    return (library.diseases.get(key) or library.groups[key]).name


def rule_words(published: PublishedRule, show: Show) -> str:
    """Say what a rule compares, in the units of the site."""
    rule = published.rule
    what: str = rule.statistic
    if rule.statistic == "rolling mean":
        what = f"{rule.mean_days}-day mean"

    def temperature(value: float | None) -> str:
        assert value is not None
        return show("soil temperature", value)

    if rule.direction == "band":
        asked = f"{temperature(rule.low_c)} to {temperature(rule.high_c)}"
    elif rule.direction == "rising":
        asked = f"{'above' if rule.strict else 'at least'} {temperature(rule.low_c)}"
    else:
        asked = f"{'below' if rule.strict else 'at most'} {temperature(rule.high_c)}"
    row = f", {rule.days} days in a row" if rule.days > 1 else ""
    return f"{what} at {show('depth', rule.depth_cm)} {asked}{row}"


def standing(result: RuleToday, show: Show, day: DayWords) -> str:
    """Say where a rule stands: its figure today, the days counted, and since when."""
    value = "no reading" if np.isnan(result.value_c) else show("soil temperature", result.value_c)
    count = f"{result.run} of {result.rule.days} days" if result.rule.days > 1 else ""
    if result.state is State.OPEN:
        count = f"since {day(result.opened)}"
    elif result.state is State.CLOSED and result.closed is not None:
        count = f"closed {day(result.closed)}"
    return ", ".join(part for part in (value, count) if part)


def agreement(today: DiseaseToday, day: DayWords) -> str:
    """Say how far the published rules agree, from the first to open to the last."""
    rules = today.deciding
    known = [r for r in rules if r.state is not State.UNKNOWN]
    opened = [r for r in rules if r.state is State.OPEN]
    kind = "timing" if rules[0].rule.meaning == "treat" else "infection"
    if len(rules) == 1:
        return f"one published {kind} rule"
    text = f"{len(opened)} of {len(known)} published {kind} rules open"
    if opened and len(opened) < len(known):
        first = day(opened[0].opened)
        text += f"; first {first}, last not yet"
    elif len(opened) > 1:
        text += f"; first {day(opened[0].opened)}, last {day(opened[-1].opened)}"
    return text


def chance_of(today: DiseaseToday) -> float | None:
    """Probability that the middle rule's window is open, given the soil's error."""
    chances = [r.chance_open for r in today.deciding if r.chance_open is not None]
    return chances[len(chances) // 2] if chances else None


def chance_percent(chance: float) -> str:
    """Write how sure that is; the soil's error is not known well enough for the last percent."""
    percent = min(99, max(1, round(100 * chance)))
    return {1: "under 2 %", 99: "over 98 %"}.get(percent, f"{percent} %")


def groups_by(disease: Disease, evidence: str) -> list[str]:
    """FRAC codes of the mode-of-action groups with a class of evidence on the disease."""
    return [row.frac for row in disease.mode_of_action if row.evidence == evidence]


def water_depth(disease: Disease, show: Show) -> str:
    """Write how deep trials watered it in; empty when no figure was seen."""
    water = disease.treatment.watering_in
    if water is None:
        return ""
    low, high = water.span
    return show("rain", low) if low == high else between(show("rain", low), show("rain", high))


def between(low: str, high: str) -> str:
    """Write a range of two shown numbers with its unit once."""
    number, _, unit = low.partition(" ")
    return f"{number if high.endswith(f' {unit}') else low} to {high}"


def interval_days(disease: Disease) -> str:
    """Write after how many days trials repeated it; empty when no figure was seen."""
    days = disease.treatment.interval
    if days is None:
        return ""
    low, high = (round(n) for n in days.span)
    return f"{low if low == high else f'{low} to {high}'} days"


def codes_words(codes: frozenset[str]) -> str:
    """Write FRAC codes, such as ``FRAC 3 + 11``; empty without any."""
    return f"FRAC {' + '.join(sorted(codes, key=by_number))}" if codes else ""


def by_number(code: str) -> tuple[int, str]:
    """Sort FRAC codes as people count: 3 before 11, lettered ones last."""
    digits = "".join(c for c in code if c.isdigit())
    return (int(digits) if code[:1].isdigit() and digits else 1000, code)


def change_words(today: DiseaseToday) -> str:
    """Say what changed since yesterday morning; empty when nothing did."""
    if today.state is today.yesterday:
        moved = [r for r in today.deciding if r.state is not r.yesterday]
        opened = [r for r in moved if r.state is State.OPEN]
        if opened:
            return f"{len(opened)} more rule{'s' if len(opened) > 1 else ''} open"
        return ""
    return f"{today.yesterday.words} yesterday"


def published_rule(library: Library, key: str, result: RuleToday) -> PublishedRule:
    """Find a rule as it was published, of a disease or of a group."""
    owner = library.diseases.get(result.member) or library.groups[result.member]
    for published in owner.window:
        if published.id == result.rule.id:
            return published
    raise KeyError(result.rule.id)


def probe_words(reading: Readings, probe: Probe, as_of: date, show: Show, day: DayWords) -> str:
    """Say what a probe gave, how old it is, and how much of it was left out."""
    days = probe.daily["soil_c"].dropna()
    days = days[days.index < pd.Timestamp(as_of)]
    depth = "depth not told" if probe.depth_cm is None else show("depth", probe.depth_cm)
    if days.empty:
        return f"{reading.logger.file}, {probe.name} ({depth}): no day that can be used."
    last = days.index.max()
    age = (pd.Timestamp(as_of) - last).days
    text = f"{reading.logger.file}, {probe.name} ({depth}): to {day(last.to_datetime64())}"
    if age > 1:
        text += f", {age} days old"
    flags = [f for f in reading.logged.flags if f.left_out and f.probe in ("", probe.name)]
    count = sum(flag.count for flag in flags)
    if probe.depth_cm is not None and probe.depth_cm - REFERENCE_CM > MAX_UP_CM:
        text += f"; too deep to speak for {show('depth', REFERENCE_CM)}"
    if count:
        text += f"; {count} reading{'s' if count > 1 else ''} left out"
    return text + "."


def site_record(place: Place) -> dict[str, str | float]:
    """Return what every JSON says of its site."""
    return {
        "name": place.name,
        "latitude": place.latitude,
        "longitude": place.longitude,
        "utc_offset": offset_words(place.standard_offset).removeprefix("UTC"),
    }
