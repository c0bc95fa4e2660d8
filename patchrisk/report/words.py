"""The sentences of the outlook, the same wherever they are printed."""

from collections.abc import Callable, Iterator, Set
from datetime import date
from functools import cache

import numpy as np

from patchrisk.base.pen import Pen, count_of, words_of
from patchrisk.base.toml_files import figure, load_numbers
from patchrisk.base.units import DAY
from patchrisk.core.dates.hand_readings import HandErrors
from patchrisk.core.rules.rule import REFERENCE_CM
from patchrisk.core.rules.windows import RuleToday, State
from patchrisk.core.soil.conduction import MAX_UP_CM
from patchrisk.core.soil.root_depth import Probe
from patchrisk.core.verdict.decision_table import Phase, Verdict
from patchrisk.core.verdict.judgement import what_changed
from patchrisk.read.diseases import Disease, Library
from patchrisk.read.diseases.rules import PublishedRule
from patchrisk.read.logger.layout import LoggedSoil, offset_words
from patchrisk.read.site import Place
from patchrisk.site_day.morning import Morning

EIGHT_OF_TEN = 1.2816  # standard deviations that 8 of 10 lie within, of a normal distribution

Show = Callable[..., str]

_EVIDENCE = {
    "works": "worked in trials",
    "some": "some evidence in trials",
    "weak": "weak evidence in trials",
}
_LISTED_BY = {
    "universities": "named by universities, no figures read",
    "a university": "named by a university, no figures read",
    "trade": "named by the trade, no figures read",
    "common practice": "common practice, no source",
}

ASK = (
    "Write `history` in the site file, disease by disease: laboratory, seen, suspected, or none in "
    "so many years."
)

MORNING_CAUTIONS = (
    "Timing by mode-of-action group, not a prescription. The product label in force at your "
    "place is the law: it decides site, rate, interval, number and re-entry. Registrations "
    "differ by country and state. Buying and applying need the licence your law asks for; wear "
    "the protective equipment of the label, keep people off until re-entry, keep the buffer to "
    "water, and water in without run-off."
)

CAUTION = "Timing, not a prescription: the label, local law and a licensed adviser decide."

# The same whole, for what is carried to the shed.
CAUTIONS_IN_FULL = (
    "Timing by mode-of-action group, not a prescription. No rate is given here but what you "
    "entered off a label.",
    "The label in force at your place is the law: it decides site, rate, interval, number and "
    "re-entry, and comes before everything here.",
    "Registrations differ by country and state: check that the product may be used on this turf.",
    "Only people with the licence your law asks for may buy and apply it.",
    "Wear the protective equipment of the label for mixing, applying and early entry; keep people "
    "off until its re-entry interval is over.",
    "Keep its buffer to water, drains and wells; never on frozen or saturated turf.",
    "Water in so that nothing runs off, and no deeper than the roots: below them it leaches.",
)


@cache
def wording_number(name: str) -> float:
    """Return what is worth a word, from thresholds/outlook.toml: a share [1], or [days]."""
    return figure(load_numbers("outlook")[f"wording.{name}"])


def pen_of(morning: Morning) -> Pen:
    """Return the pen of a morning: dates of another year carry theirs."""
    return Pen(morning.site.site.units, morning.as_of.year)


def within(pen: Pen, sd_c: float) -> str:
    """Write the distance that 8 of 10 lie within, of a standard deviation [degC]."""
    return pen.show("temperature difference", EIGHT_OF_TEN * sd_c)


def left_out_words(hand: HandErrors | None) -> Iterator[str]:
    """Say how many readings by hand are not used, if any."""
    lost = 0 if hand is None else int((~hand.sound).sum())
    if lost:
        what = "1 spot reading is" if lost == 1 else f"{lost} spot readings are"
        yield f"{what} too far off to be used (see `patchrisk soil`)"


def name_of(library: Library, key: str) -> str:
    """Return the name of a disease or group."""
    return (library.diseases.get(key) or library.groups[key]).name


def rule_words(published: PublishedRule, show: Show) -> str:
    """Say what a rule compares, in the units of the site."""
    rule = published.rule
    what = rule.statistic.words(rule.mean_days)

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


def standing(result: RuleToday, pen: Pen) -> str:
    """Say where a rule stands: its figure today, the days counted, and since when."""
    value = "no reading"
    if not np.isnan(result.value_c):
        value = pen.show("soil temperature", result.value_c)
    count = f"{result.run} of {result.rule.days} days" if result.rule.days > 1 else ""
    if result.state is State.OPEN:
        count = f"since {pen.day(result.opened)}"
    elif result.state is State.CLOSED and result.closed is not None:
        count = f"closed {pen.day(result.closed)}"
    return ", ".join(part for part in (value, count) if part)


def change_words(before: tuple[Verdict, Phase], now: tuple[Verdict, Phase]) -> str:
    """Say what changed of a verdict and the phase of its season; empty when nothing to tell."""
    changed = what_changed(before, now)
    if changed == "verdict":
        return f"{words_of(now[0])}, was {words_of(before[0])}"
    return f"{words_of(now[1])}, was {words_of(before[1])}" if changed == "phase" else ""


def groups_by_evidence(disease: Disease, without: Set[str]) -> list[tuple[str, str]]:
    """Return the FRAC codes but some, by what stands behind them, the best first."""
    found: dict[str, list[str]] = {}
    for evidence in ("works", "some", "weak", "listed"):
        for row in disease.mode_of_action:
            if row.evidence == evidence and row.frac not in without:
                label = _EVIDENCE.get(evidence) or _LISTED_BY[row.listed_by or "trade"]
                found.setdefault(label, []).append(row.frac)
    return [(label, ", ".join(codes)) for label, codes in found.items()]


def depth_words(least_mm: float, most_mm: float, show: Show) -> str:
    """Write how deep to water in."""
    low, high = show("rain", least_mm), show("rain", most_mm)
    return low if low == high else between(low, high)


_BESIDES_AIR = {"corrected": " and spot readings", "shared": " and other areas' probes"}


def besides_air(kind: str) -> str:
    """Say what an estimated day of the soil rests on besides the air; empty for the air alone."""
    return _BESIDES_AIR.get(kind, "")


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


def published_rule(library: Library, result: RuleToday) -> PublishedRule:
    """Find a rule as it was published, of a disease or of a group."""
    owner = library.diseases.get(result.member) or library.groups[result.member]
    for published in owner.window:
        if published.id == result.rule.id:
            return published
    raise KeyError(result.rule.id)


def probe_words(logged: LoggedSoil, probe: Probe, as_of: date, pen: Pen) -> str:
    """Say what a probe gave, how old it is, and how much of it was left out."""
    today = np.datetime64(as_of, "D")
    days = probe.known[probe.known < today]
    depth = "depth not told" if np.isnan(probe.depth_cm) else pen.show("depth", probe.depth_cm)
    text = f"{logged.file}, {probe.name} ({depth}): "
    if not len(days):
        return f"{text}no day that can be used."
    text += f"to {pen.day(days[-1], year=True)}"
    if (age := int((today - days[-1]) / DAY)) > 1:
        text += f", {age} days old"
    if probe.depth_cm - REFERENCE_CM > MAX_UP_CM:
        text += f"; too deep to speak for {pen.show('depth', REFERENCE_CM)}"
    if probe.counts.flagged:
        text += f"; {count_of(probe.counts.flagged, 'reading')} left out"
    return text + "."


def site_record(place: Place) -> dict[str, str | float]:
    """Return what every JSON says of its site."""
    return {
        "name": place.name,
        "latitude": place.latitude,
        "longitude": place.longitude,
        "utc_offset": offset_words(place.standard_offset).removeprefix("UTC"),
    }
