"""The weeks to come as a record."""

from typing import Any

import numpy as np

from patchrisk.ahead.expression import Watch
from patchrisk.ahead.openings import RuleAhead
from patchrisk.ahead.pressure import Pressure, Spread
from patchrisk.at_site.morning import AreaMorning, Morning
from patchrisk.at_site.prospect import Prospect
from patchrisk.diseases import Library


def ground_words(ground: Prospect | None) -> str:
    """Say what weather the dates ahead rest on."""
    if ground is None:
        return "No dates ahead: they need air temperature of past years at this place."
    years, days = ground.years, ground.forecast_days
    begin = f"{days} day{'s' if days > 1 else ''} of forecast, then" if days else "no forecast;"
    span = f"{years[0]} to {years[-1]}" if len(years) > 1 else f"{years[0]}"
    text = (
        f"Dates ahead: {begin} {len(years)} past year{'s' if len(years) > 1 else ''} ({span}); "
        "ranges are 10 to 90 %"
    )
    if not ground.enough:
        text += "; fewer than ten years: the ranges are wider for it, and what is normal is unsure"
    return text + "."


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
