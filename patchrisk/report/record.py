"""The outlook and its verdicts as JSON, described by ``outlook.schema.json`` beside this file."""

import json
import math
from datetime import datetime
from typing import Any

from patchrisk.base.pen import iso_day
from patchrisk.core.dates.infection import Pressure, Watch
from patchrisk.core.dates.soil_paths import Spread
from patchrisk.core.rules.windows import RuleToday
from patchrisk.core.soil.root_depth import SoilSeries
from patchrisk.core.verdict.judgement import Judgement, RuleStart
from patchrisk.core.verdict.season_ahead import ByOdds
from patchrisk.read.diseases import Disease
from patchrisk.read.logger.layout import LoggedSoil
from patchrisk.read.weather.at_site import Weather
from patchrisk.report import words
from patchrisk.report.records_words import applications_record, cover_record
from patchrisk.report.view import view_of
from patchrisk.report.view.area import AreaView
from patchrisk.report.view.disease import DiseaseView
from patchrisk.report.words import phase_words, verdict_words
from patchrisk.site_day.ahead import Prospect
from patchrisk.site_day.judging import Entry
from patchrisk.site_day.morning import AreaMorning, Morning


def verdict_record(morning: Morning, area: AreaMorning, judged: Judgement) -> dict[str, Any]:
    """Return a judgement on an area, dates as ISO and probabilities from 0 to 1."""
    j = judged
    disease = morning.library.diseases[j.disease]
    season = area.seasons.get(j.disease)
    pressure = None if season is None else season.pressure
    return {
        "disease": j.disease,
        "verdict": verdict_words(j.verdict),
        "reason": j.reason,
        "phase": phase_words(j.phase),
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
            "late": j.case.late.name.lower().replace("_", " "),
            "once_seen": j.case.once_seen.name.lower().replace("_", " "),
            "until": iso_day(j.treat_until),
            "best_day": iso_day(j.best_day),
            "counted": int(j.counted),
            "number": int(j.case.number),
        },
        "roots": j.roots.name.lower().replace("_", " "),
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
        "either": [verdict_words(verdict) for verdict in j.either],
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
        else {"verdict": words.verdict_words(before[0]), "phase": words.phase_words(before[1])},
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
