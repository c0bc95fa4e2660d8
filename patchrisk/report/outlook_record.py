"""The outlook as JSON; its shape is described by ``outlook.schema.json`` beside this file."""

import json
import math
from datetime import datetime
from typing import Any

import numpy as np

from patchrisk.at_site.gathering import Readings
from patchrisk.at_site.morning import AreaMorning, Morning
from patchrisk.outlook import DiseaseToday, RuleToday
from patchrisk.pen import Pen
from patchrisk.report import ahead, cover, words
from patchrisk.report.view import AreaView, Row, view_of
from patchrisk.soil.series import SoilSeries
from patchrisk.weather.gather import Weather

SCHEMA = "patchrisk-outlook/1"


def to_json(morning: Morning) -> str:
    """Write a morning as JSON, temperatures in degC and depths in cm whatever the site prints."""
    said = {area.name: area for area in view_of(morning).areas}
    record = {
        "schema": SCHEMA,
        "site": words.site_record(morning.site.site),
        "as_of": morning.as_of.isoformat(),
        "areas": [_area(morning, area, said[area.area.name]) for area in morning.areas],
        "readings": [_readings(reading) for reading in morning.readings],
        "weather": _weather(morning.weather),
        "applications": cover.kept_record(morning.applications),
        "ahead": ahead.ground_record(morning.ground),
        "cautions": words.CAUTIONS,
    }
    return json.dumps(record, ensure_ascii=False, indent=2, allow_nan=False)


def _area(morning: Morning, area: AreaMorning, said: AreaView) -> dict[str, Any]:
    library = morning.library
    rows = {row.key: row for row in said.rows}
    return {
        "name": area.area.name,
        "turf": area.area.turf,
        "use": area.area.use,
        "root_zone": area.area.root_zone,
        "today": {"level": said.level.words, "sentence": said.sentence},
        "soil": _soil(area.soil),
        "diseases": [_disease(morning, area, today, rows[today.key]) for today in area.diseases],
        "no_forecast": [
            {"key": key, "name": d.name, "reason": d.no_forecast.text if d.no_forecast else ""}
            for key in area.without
            for d in [library.diseases[key]]
        ],
    }


def _soil(soil: SoilSeries) -> dict[str, Any]:
    return {
        "date": _day(soil.dates[-1]),
        "depth_cm": soil.depth_cm,
        "mean_c": _number(soil.mean_c[-1]),
        "max_c": _number(soil.max_c[-1]),
        "sd_c": _number(soil.sd_c[-1]),
        "from": str(soil.came_from[-1]) or None,
    }


def _disease(morning: Morning, area: AreaMorning, today: DiseaseToday, row: Row) -> dict[str, Any]:
    on = area.cover.get(today.key)
    decide = {id(r) for r in today.deciding}
    return {
        "key": today.key,
        "name": row.name,
        "state": today.state.words,
        "yesterday": today.yesterday.words,
        "since": _day(today.since),
        "do": row.act,
        "agreement": words.agreement(today, Pen(morning.site.site.units).day),
        "rules": [{**_rule(r), "decides": id(r) in decide} for r in today.rules],
        "ahead": ahead.ahead_record(morning, area, today.key),
        "cover": None if on is None else cover.cover_record(on),
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
        "yesterday": result.yesterday.words,
        "in_season": result.in_season,
        "value_c": _number(result.value_c),
        "run": result.run,
        "opened": _day(result.opened),
        "closed": _day(result.closed),
        "chance_open": _number(result.chance_open),
        "judged_on": dict(result.judged_on),
        "source": rule.source,
        "confidence": rule.confidence,
    }


def _readings(reading: Readings) -> dict[str, Any]:
    return {
        "file": reading.logger.file,
        "probes": [
            {
                "name": probe.name,
                "depth_cm": _number(probe.depth_cm),
                "first": _day(probe.daily.index[0]) if len(probe.daily) else None,
                "last": _day(probe.daily.index[-1]) if len(probe.daily) else None,
            }
            for probe in reading.logged.probes
        ],
        "flags": [
            {
                "kind": flag.kind,
                "probe": flag.probe,
                "first": _day(flag.first),
                "last": _day(flag.last),
                "count": flag.count,
                "reason": flag.reason,
            }
            for flag in reading.logged.flags
        ],
    }


def _weather(weather: Weather) -> dict[str, Any]:
    def moment(when: datetime | None) -> str | None:
        return None if when is None else when.isoformat()

    return {
        "ages_days": {what: age.days for what, age in weather.ages.items()},
        "forecast_source": weather.forecast_source or None,
        "forecast_issued": moment(weather.forecast_issued),
        "fetched": moment(weather.fetched_at),
        "attributions": list(weather.attributions),
        "notices": [str(notice) for notice in weather.notices],
    }


def _number(value: float | None) -> float | None:
    return None if value is None or math.isnan(value) else round(float(value), 3)


def _day(value: Any) -> str | None:
    return None if value is None else str(np.datetime64(value, "D"))
