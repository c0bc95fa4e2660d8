"""The weeks to come, in words and as a record."""

from collections.abc import Iterator
from typing import Any

import numpy as np

from patchrisk.ahead.look import DiseaseAhead
from patchrisk.ahead.openings import RuleAhead
from patchrisk.diseases import Library
from patchrisk.expression import Watch
from patchrisk.morning import AreaMorning, Morning
from patchrisk.pressure import Pressure, Spread
from patchrisk.prospect import Prospect
from patchrisk.report.words import day_words

_LIKELY = 0.5
_SURE = 0.98
_WORTH = 0.1  # a chance worth a word
_ODDS_DAYS = (7, 14, 28)


def ground_words(ground: Prospect | None) -> str:
    """Say what weather the dates ahead rest on."""
    if ground is None:
        return "No dates ahead: they need air temperature of past years at this place."
    years = ground.years
    text = (
        f"Dates ahead: {ground.forecast_days} days of forecast, then the weather of "
        f"{len(years)} past years ({years[0]} to {years[-1]}); 10 to 90 % range in brackets"
    )
    if not ground.enough:
        text += "; fewer than ten years: the ranges are wider for it, and what is normal is unsure"
    return text + "."


def ahead_lines(ahead: DiseaseAhead | None) -> Iterator[str]:
    """Yield the paragraphs on one disease: dates, then pressure and what will show."""
    if ahead is None:
        return
    if ahead.middle is not None:
        yield "Ahead: " + _dates(ahead, ahead.middle)
    told = []
    if ahead.pressure is not None:
        told.append("Pressure: " + pressure_words(ahead.pressure))
    if ahead.watch is not None:
        told.append("Watch: " + watch_words(ahead.watch))
    if told:
        yield " ".join(told)


def short_words(ahead: DiseaseAhead | None) -> str:
    """Say in half a line when a window that is not open opens next; empty when not known."""
    if ahead is None or ahead.middle is None:
        return ""
    rule = ahead.middle
    if rule.middle is None:
        return f" ({_never(rule)})"
    if rule.opened_before > _LIKELY:
        return ""
    return f" (opens {_with_range(rule)}{_against_normal(rule)})"


def _dates(ahead: DiseaseAhead, rule: RuleAhead) -> str:
    several = len(ahead.coming) > 1
    text = "middle rule " if several else ""
    if rule.opened_before >= _SURE:
        text += f"first opened {day_words(rule.middle)}{_against_normal(rule)}"
    elif rule.middle is None:
        text += _never(rule)
    elif rule.opened_before > _LIKELY:
        text += f"first opened, it seems, {_with_range(rule)}{_against_normal(rule)}"
    else:
        text += f"opens {_with_range(rule)}{_against_normal(rule)}{_odds(rule)}"
    if rule.closes is not None and rule.open_today > _LIKELY:
        text += f", closes about {day_words(rule.closes)}"
    elif rule.opened_before > _LIKELY and rule.open_today < 1 - _LIKELY:
        text += ", closed since"
    if rule.again >= _WORTH:
        text += f", opens once more in {_percent(rule.again)} of cases"
    dispute = ahead.dispute
    if several and dispute is not None and dispute.earliest.middle is not None:
        dated = [r for r in ahead.coming if r.middle is not None]
        first, last = day_words(dispute.earliest.middle), day_words(dated[-1].middle)
        text += f"; by the earliest and latest rule {first} and {last}"
        if dispute.never:
            text += f", {dispute.never} not at all"
    return text + "."


def _odds(rule: RuleAhead) -> str:
    told = []
    for days in _ODDS_DAYS:
        if rule.dates[0] > rule.first and days <= len(rule.opened_by):
            chance = float(rule.opened_by[days - 1])
            told.append(f"{_percent(chance)} within {days} days")
            if chance >= _SURE:
                break
    return "; " + ", ".join(told) if told else ""


def _never(rule: RuleAhead) -> str:
    chance = f"{_percent(1 - rule.never)} chance that it opens by {day_words(rule.last)}"
    if rule.normal_never is not None and rule.normal_never > _LIKELY:
        return f"does not usually open in this climate; {chance}"
    return f"most likely not before the season's end; {chance}"


def _with_range(rule: RuleAhead) -> str:
    late = "or not this season" if rule.late is None else f"to {day_words(rule.late)}"
    return f"{day_words(rule.middle)} ({day_words(rule.early)} {late})"


def _against_normal(rule: RuleAhead) -> str:
    if rule.days_early is None:
        return ", though not in a normal year" if (rule.normal_never or 0) > _LIKELY else ""
    days = abs(rule.days_early)
    if days < 2:
        return ", as in a normal year"
    way = "early" if rule.days_early > 0 else "late"
    return f", {days} days {way} (normal {day_words(rule.normal)})"


def pressure_words(pressure: Pressure) -> str:
    """Say how much infection the season allowed so far, and what usually follows."""
    if pressure.so_far.high < _LIKELY and pressure.place is None:
        return f"season from {day_words(pressure.first)}."
    text = f"{pressure.so_far.middle:.0f} days at the optimum since {day_words(pressure.first)}"
    if pressure.usual_so_far is not None and pressure.place is not None:
        text += (
            f" (usual {pressure.usual_so_far.middle:.0f}; more than in "
            f"{_percent(pressure.place)} of {pressure.years} years)"
        )
    if pressure.wet is not None:
        text += f", {pressure.wet:.0f} in wet soil"
    return text + f"; {pressure.rest.low:.0f} to {pressure.rest.high:.0f} to come."


def watch_words(watch: Watch) -> str:
    """Say when to expect symptoms and when to scout."""
    span = f"{day_words(watch.first)} to {day_words(watch.last)}"
    if watch.basis == "stress" and watch.begun is not None and watch.begun >= _LIKELY:
        text = f"the stress that shows it has come, about {day_words(watch.first)}"
    elif watch.basis == "stress":
        text = f"likely to show first {span}"
        best = sorted(watch.weeks, key=lambda w: -w[1])[:2]
        weeks = ", ".join(f"{day_words(day)} {_percent(share)}" for day, share in sorted(best))
        text += f" (week of {weeks})"
    else:
        text = f"seen {span}"
        if watch.chance is not None:
            text += f" ({_percent(watch.chance)} chance of the heat that is published)"
    return f"{text}; scout from {day_words(watch.scout_from)}."


def _percent(share: float) -> str:
    percent = round(100 * share)
    return {0: "under 1 %", 100: "over 99 %"}.get(percent, f"{percent} %")


def act_words(ahead: DiseaseAhead | None) -> str:
    """Say which day to be ready for; empty when the window is open or nothing is known."""
    rule = None if ahead is None else ahead.middle
    if rule is None or rule.middle is None or rule.early is None or rule.opened_before > _LIKELY:
        return ""
    return f"Be ready by {day_words(rule.early)}."


# --- as a record --------------------------------------------------------------------------------


def ground_record(ground: Prospect | None) -> dict[str, Any] | None:
    """Return what weather the dates ahead rest on."""
    if ground is None:
        return None
    return {
        "forecast_days": ground.forecast_days,
        "years": list(ground.years),
        "enough_years": ground.enough,
        "until": _date(ground.ahead.dates[-1]),
    }


def ahead_record(morning: Morning, area: AreaMorning, key: str) -> dict[str, Any] | None:
    """Return everything known of the weeks to come of one disease."""
    ahead = area.ahead.get(key)
    if ahead is None:
        return None
    dispute = ahead.dispute
    return {
        "rules": [_rule(rule, rule in ahead.coming) for rule in ahead.rules],
        "middle_rule": None if ahead.middle is None else ahead.middle.rule.id,
        "dispute": None
        if dispute is None
        else {
            "rules": dispute.of,
            "earliest": _date(dispute.earliest.middle),
            "latest": _date(dispute.latest.middle),
            "days_apart": dispute.days_apart,
            "not_opening": dispute.never,
        },
        "pressure": None if ahead.pressure is None else _pressure(ahead.pressure),
        "watch": None if ahead.watch is None else _watch(morning.library, key, ahead.watch),
        "act": act_words(ahead),
    }


def _rule(rule: RuleAhead, coming: bool) -> dict[str, Any]:
    odds: list[dict[str, Any]] = []
    for day, chance in zip(rule.dates[6::7], rule.opened_by[6::7], strict=True):
        said = round(float(chance), 3)
        if not odds or odds[-1]["chance"] != said:
            odds.append({"date": _date(day), "chance": said})
    return {
        "disease": rule.member,
        "id": rule.rule.id,
        "coming": coming,
        "season_first": _date(rule.first),
        "season_last": _date(rule.last),
        "opened_by_10": _date(rule.early),
        "opened_by_50": _date(rule.middle),
        "opened_by_90": _date(rule.late),
        "closes_50": _date(rule.closes),
        "chance_opened_before_today": round(rule.opened_before, 3),
        "chance_open_today": round(rule.open_today, 3),
        "chance_never": round(rule.never, 3),
        "chance_again": round(rule.again, 3),
        "opened_by": odds,
        "normal": _date(rule.normal),
        "normal_never": None if rule.normal_never is None else round(rule.normal_never, 3),
        "days_early": rule.days_early,
        "years": rule.traces,
    }


def _pressure(pressure: Pressure) -> dict[str, Any]:
    return {
        "season_first": _date(pressure.first),
        "season_last": _date(pressure.last),
        "so_far_days": _spread(pressure.so_far),
        "rest_days": _spread(pressure.rest),
        "usual_so_far_days": _spread(pressure.usual_so_far),
        "usual_rest_days": _spread(pressure.usual_rest),
        "share_of_years_with_less": None if pressure.place is None else round(pressure.place, 3),
        "wet_so_far_days": None if pressure.wet is None else round(pressure.wet, 1),
        "years": pressure.years,
    }


def _spread(spread: Spread | None) -> dict[str, float] | None:
    if spread is None:
        return None
    return {
        "low": round(spread.low, 1),
        "middle": round(spread.middle, 1),
        "high": round(spread.high, 1),
    }


def _watch(library: Library, key: str, watch: Watch) -> dict[str, Any]:
    expression = library.diseases[key].expression
    return {
        "basis": watch.basis,
        "first": _date(watch.first),
        "last": _date(watch.last),
        "chance": None if watch.chance is None else round(watch.chance, 3),
        "begun": None if watch.begun is None else round(watch.begun, 3),
        "weeks": [{"from": _date(day), "chance": round(share, 3)} for day, share in watch.weeks],
        "scout_from": _date(watch.scout_from),
        "look_for": expression.look_for.text,
        "samples": expression.samples.text,
    }


def _date(day: np.datetime64 | None) -> str | None:
    return None if day is None else str(day.astype("datetime64[D]"))
