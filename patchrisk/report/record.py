"""Outlook and programme as JSON; their schemas are the .schema.json files beside this file."""

import json
import math
from datetime import datetime
from typing import Any

from patchrisk.base.pen import iso_day, words_of
from patchrisk.core.dates.infection import Pressure, Watch
from patchrisk.core.dates.soil_paths import ByOdds, Spread
from patchrisk.core.plan.programme import AreaPlan, Choice
from patchrisk.core.rules.windows import RuleToday
from patchrisk.core.soil.root_depth import SoilSeries
from patchrisk.core.verdict.judgement import Judgement, RuleStart
from patchrisk.read.diseases import Disease
from patchrisk.read.logger.layout import LoggedSoil
from patchrisk.read.weather.at_site import Weather
from patchrisk.report import words
from patchrisk.report.earlier_mornings import changes_words
from patchrisk.report.plan_sentences import measure_sentences, sentence, sentences, teller
from patchrisk.report.plan_words import Done, ToDo, notices_words, numbered
from patchrisk.report.records_words import (
    applications_record,
    applied_record,
    cover_record,
    past_label_record,
)
from patchrisk.report.view import view_of
from patchrisk.report.view.area import AreaView
from patchrisk.report.view.disease import DiseaseView
from patchrisk.report.words import (
    CAUTIONS_IN_FULL,
    by_number,
    name_of,
    pen_of,
    site_record,
)
from patchrisk.site_day.ahead import Prospect
from patchrisk.site_day.judging import Entry
from patchrisk.site_day.morning import AreaMorning, Morning
from patchrisk.site_day.season_plan import SitePlan


def verdict_record(morning: Morning, area: AreaMorning, judged: Judgement) -> dict[str, Any]:
    """Return a judgement on an area, dates as ISO and probabilities from 0 to 1."""
    j = judged
    disease = morning.library.diseases[j.disease]
    season = area.seasons.get(j.disease)
    pressure = None if season is None else season.pressure
    return {
        "disease": j.disease,
        "verdict": words_of(j.verdict),
        "reason": j.reason,
        "phase": words_of(j.phase),
        "season": {"id": j.span.id, "first": iso_day(j.first), "last": iso_day(j.last)},
        "start": {
            "date": iso_day(j.start),
            "stands": j.stands,
            **_by_odds(j),
            "usual": iso_day(j.usual),
            "chance_come": _share(j.odds_lasting),
            "chance_within_lead": _share(j.odds_lead),
        },
        "over": iso_day(j.over),
        "ends": iso_day(j.ends),
        "guidance": {
            "strength": j.guidance,
            "days_apart": j.apart,
            "rules": [_cited_rule(rule) for rule in j.rules],
        },
        "stakes": {
            "stake": j.case.stakes.stake.name.lower(),
            "known": j.case.stakes.known,
            "host": j.case.stakes.host.name.lower(),
            "young": j.case.stakes.young,
            "asked": j.case.stakes.asked,
            "seen": iso_day(j.seen),
        },
        "treatment": {
            "backing": j.case.backing.name.lower(),
            "late": words_of(j.case.late),
            "once_seen": words_of(j.case.once_seen),
            "until": iso_day(j.treat_until),
            "best_day": iso_day(j.best_day),
            "counted": int(j.counted),
            "number": int(j.case.number),
        },
        "roots": words_of(j.roots),
        "cover": None if j.cover is None else cover_record(j.cover),
        "damage": {
            "first": None if j.damage is None else iso_day(j.damage[0]),
            "last": None if j.damage is None else iso_day(j.damage[1]),
            "chance": _share(j.damage_odds),
            "scouting": j.scouting,
        },
        "chance_infecting": _share(j.infecting_odds),
        "watch": None if j.watch is None else _watch(disease, j.watch),
        "pressure": None if pressure is None else _pressure(pressure),
        "either": [words_of(verdict) for verdict in j.either],
        "following": None
        if j.following is None
        else {
            "id": j.following.span.id,
            "first": iso_day(j.following.first),
            **_by_odds(j.following),
        },
    }


def _by_odds(start: ByOdds) -> dict[str, str | None]:
    days = (start.early, start.middle, start.late)
    return {f"by_{n}": iso_day(day) for n, day in zip((10, 50, 90), days, strict=True)}


def _cited_rule(start: RuleStart) -> dict[str, Any]:
    return {
        "id": start.rule.id,
        "start": iso_day(start.start),
        "stands": start.stands,
        **_by_odds(start),
        "usual": iso_day(start.usual),
    }


def _weather_ahead(ground: Prospect | None) -> dict[str, Any] | None:
    """Return what weather the dates ahead rest on."""
    if ground is None:
        return None
    return {
        "forecast_days": ground.forecast_days,
        "years": list(ground.years),
        "enough_years": ground.enough,
        "until": iso_day(ground.ahead.dates[-1]),
    }


def _pressure(pressure: Pressure) -> dict[str, Any]:
    """Return the infection pressure of a season."""
    return {
        "season_first": iso_day(pressure.first),
        "season_last": iso_day(pressure.last),
        "so_far_days": _spread(pressure.so_far),
        "rest_days": _spread(pressure.rest),
        "usual_so_far_days": _spread(pressure.usual_so_far),
        "usual_rest_days": _spread(pressure.usual_rest),
        "share_of_years_with_less": None if pressure.place is None else round(pressure.place, 3),
        "wet_so_far_days": None if pressure.wet is None else round(pressure.wet, 1),
        "years": pressure.years,
    }


def _spread(spread: Spread[float]) -> dict[str, float]:
    return {
        "low": round(spread.low, 1),
        "middle": round(spread.middle, 1),
        "high": round(spread.high, 1),
    }


def _watch(disease: Disease, watch: Watch) -> dict[str, Any]:
    """Return when damage is to be looked for, and what to look for."""
    expression = disease.expression
    return {
        "basis": watch.basis,
        "first": iso_day(watch.first),
        "last": iso_day(watch.last),
        "chance": _share(watch.chance),
        "begun": _share(watch.begun),
        "yet": _share(watch.yet),
        "weeks": [{"from": iso_day(day), "chance": round(share, 3)} for day, share in watch.weeks],
        "scout_from": iso_day(watch.scout_from),
        "look_for": expression.look_for.text,
        "samples": expression.samples.text,
    }


def _share(chance: float | None) -> float | None:
    return None if chance is None else round(float(chance), 3)


OUTLOOK_SCHEMA = "patchrisk-outlook/2"


def outlook_json(morning: Morning) -> str:
    """Write a morning as JSON, temperatures in degC and depths in cm whatever the site prints."""
    view = {area.name: area for area in view_of(morning).areas}
    record = {
        "schema": OUTLOOK_SCHEMA,
        "site": words.site_record(morning.site.site),
        "as_of": morning.as_of.isoformat(),
        "areas": [_area(morning, area, view[area.area.name]) for area in morning.areas],
        "readings": [_readings(logged) for logged in morning.readings],
        "weather": _weather(morning.weather),
        "applications": applications_record(morning.applications),
        "ahead": _weather_ahead(morning.ground),
        "cautions": words.MORNING_CAUTIONS,
    }
    return json.dumps(record, ensure_ascii=False, indent=2, allow_nan=False)


def _area(morning: Morning, area: AreaMorning, view: AreaView) -> dict[str, Any]:
    library = morning.library
    rows = {row.key: row for row in view.rows}
    return {
        "name": area.area.name,
        "turf": area.area.turf_words or None,
        "use": area.area.use,
        "root_zone": area.area.root_zone,
        "today": {"verdict": view.words, "sentence": view.sentence, "story": list(view.story)},
        "soil": _soil(area.soil),
        "diseases": [_entry(morning, area, entry, rows[entry.key]) for entry in area.entries],
        "unknown_grasses": list(area.unknown),
        "no_forecast": [
            {"key": key, "name": d.name, "reason": d.no_forecast.text if d.no_forecast else ""}
            for key in area.without
            for d in [library.diseases[key]]
        ],
    }


def _soil(soil: SoilSeries) -> dict[str, Any]:
    return {
        "date": iso_day(soil.dates[-1]),
        "depth_cm": soil.depth_cm,
        "mean_c": _number(soil.mean_c[-1]),
        "max_c": _number(soil.max_c[-1]),
        "sd_c": _number(soil.sd_c[-1]),
        "from": str(soil.came_from[-1]) or None,
    }


def _entry(morning: Morning, area: AreaMorning, entry: Entry, row: DiseaseView) -> dict[str, Any]:
    before = max(((verdict, phase) for _, verdict, phase in entry.yesterday), default=None)
    return {
        "key": entry.key,
        "name": row.name,
        "verdict": verdict_record(morning, area, entry.first),
        "yesterday": None
        if before is None
        else {"verdict": words_of(before[0]), "phase": words_of(before[1])},
        "do": row.act,
        "members": [verdict_record(morning, area, one) for one in entry.members]
        if entry.key in morning.library.groups
        else [],
        "rules": [_rule(result) for result in area.rules[entry.key]],
    }


def _rule(result: RuleToday) -> dict[str, Any]:
    rule = result.rule
    return {
        "disease": result.member,
        "id": rule.id,
        "meaning": rule.meaning,
        "statistic": rule.statistic,
        "mean_of_days": rule.mean_days,
        "depth_cm": round(rule.depth_cm, 3),
        "direction": rule.direction,
        "low_c": _number(rule.low_c),
        "high_c": _number(rule.high_c),
        "strict": rule.strict,
        "days": rule.days,
        "state": result.state.words,
        "in_season": result.in_season,
        "value_c": _number(result.value_c),
        "run": result.run,
        "opened": iso_day(result.opened),
        "closed": iso_day(result.closed),
        "chance_open": _number(result.chance_open),
        "judged_on": dict(result.judged_on),
        "source": rule.source,
        "confidence": rule.confidence,
    }


def _readings(logged: LoggedSoil) -> dict[str, Any]:
    return {
        "file": logged.file,
        "probes": [
            {
                "name": probe.name,
                "depth_cm": _number(probe.depth_cm),
                "first": iso_day(probe.dates[0]) if len(probe.dates) else None,
                "last": iso_day(probe.dates[-1]) if len(probe.dates) else None,
            }
            for probe in logged.probes
        ],
        "flags": [
            {
                "kind": flag.kind,
                "probe": flag.probe,
                "first": iso_day(flag.first),
                "last": iso_day(flag.last),
                "count": flag.count,
                "reason": flag.reason,
            }
            for flag in logged.flags
        ],
    }


def _weather(weather: Weather) -> dict[str, Any]:
    def moment(when: datetime | None) -> str | None:
        return None if when is None else when.isoformat()

    forecast = weather.forecast
    return {
        "ages_days": {what: age.days for what, age in weather.ages.items()},
        "forecast_source": None if forecast is None else forecast.source,
        "forecast_issued": moment(None if forecast is None else forecast.issued_at),
        "fetched": moment(None if forecast is None else forecast.fetched_at),
        "attributions": list(weather.attributions),
        "notices": [str(notice) for notice in weather.notices],
    }


def _number(value: float | None) -> float | None:
    return None if value is None or math.isnan(value) else round(float(value), 3)


PLAN_SCHEMA = "patchrisk-plan/2"


def plan_json(plan: SitePlan) -> str:
    """Write the programme as JSON, in mm and days whatever the site prints."""
    record = {
        "schema": PLAN_SCHEMA,
        "site": site_record(plan.site.site),
        "as_of": plan.as_of.isoformat(),
        "areas": [_programme(plan, area) for area in plan.areas],
        "past_label": [
            past_label_record(past, pen_of(plan.morning)) for past in plan.morning.past_label_now
        ],
        "notices": list(notices_words(plan)),
        "cautions": list(CAUTIONS_IN_FULL),
    }
    return json.dumps(record, ensure_ascii=False, indent=2, allow_nan=False)


def _programme(plan: SitePlan, area: AreaPlan) -> dict[str, Any]:
    steps = list(numbered(plan.morning, area))
    covers, tell = plan.morning.covers(area.area), teller(plan.morning)
    return {
        "name": area.area,
        "until": iso_day(area.until),
        "verdicts": [_answer(plan, area, key) for key in area.answers],
        "changes": changes_words(plan, area),
        "done": [
            {"season": step.season, "number": step.number, **applied_record(step.item)}
            for step in steps
            if isinstance(step, Done)
        ],
        "planned": [
            {"season": step.season, "number": step.number, **_planned(step)}
            for step in steps
            if isinstance(step, ToDo)
        ],
        "pressure_to_come": [
            {
                "disease": key,
                "name": name_of(plan.library, key),
                "total_days": round(share.total, 2),
                "covered_by_done_days": round(share.by_done, 2),
                "covered_by_plan_days": round(share.by_plan, 2),
            }
            for key, share in area.shares.items()
        ],
        "cover": [{"disease": key, **cover_record(cover)} for key, cover in covers.items()],
        "advice": list(sentences(area.advice, tell)),
        "measures": list(measure_sentences(area.measures, tell, area.as_of)),
    }


def _answer(plan: SitePlan, area: AreaPlan, key: str) -> dict[str, Any]:
    judged, answer = plan.morning.judged(area.area)[key], area.answers[key]
    told, tell = (answer.waiting, answer.then), teller(plan.morning)
    return {
        "disease": key,
        "name": name_of(plan.library, key),
        "verdict": words_of(judged.verdict),
        "reason": judged.reason,
        "called_for": iso_day(answer.called),
        "planned_on": iso_day(answer.on),
        "choice": None if answer.choice is None else answer.choice.label,
        "because": [sentence(one, tell) for one in told if one is not None],
    }


def _planned(step: ToDo) -> dict[str, Any]:
    planned = step.item
    water, other = planned.watering, planned.runner_up
    return {
        "date": iso_day(planned.day),
        "earliest": iso_day(planned.day),
        "latest": iso_day(planned.latest),
        "choice": _choice(planned.choice),
        "targets": list(planned.targets),
        "covers_days": {key: round(value, 2) for key, value in planned.covers.items()},
        "watering_in": None
        if water is None
        else {
            "least_mm": round(water.least_mm, 2),
            "most_mm": round(water.most_mm, 2),
            "within_hours": water.hours,
            "rain_forecast_mm": None if water.rain_mm is None else round(water.rain_mm, 2),
            "words": step.watering,
        },
        "next_best": None
        if other is None
        else {
            "date": iso_day(planned.day),
            "choice": _choice(other.choice),
            "covers_less_days": round(other.less, 2),
        },
        "reasons": list(step.reasons),
        "cautions": list(step.cautions),
        "in_full": list(step.notes),
        "amounts_off_your_label": list(step.amounts),
    }


def _choice(choice: Choice) -> dict[str, Any]:
    return {
        "label": choice.label,
        "codes": sorted(choice.codes, key=by_number),
        "actives": list(choice.actives),
        "product": choice.product,
        "mixed": [part.product for part in choice.mixed],
        "evidence": dict(choice.evidence),
    }
