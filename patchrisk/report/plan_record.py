"""The programme as JSON; its shape is described by ``plan.schema.json`` beside this file."""

import json
from typing import Any

import numpy as np

from patchrisk.at_site.season_plan import SitePlan
from patchrisk.programme.plan import AreaPlan, Choice, Planned
from patchrisk.report import plan_words as words
from patchrisk.report.cover import applied_record, cover_record
from patchrisk.report.words import by_number, name_of, site_record

SCHEMA = "patchrisk-plan/1"


def to_json(plan: SitePlan) -> str:
    """Write the programme as JSON, in mm and days whatever the site prints."""
    record = {
        "schema": SCHEMA,
        "site": site_record(plan.site.site),
        "as_of": plan.as_of.isoformat(),
        "areas": [_area(plan, area) for area in plan.areas],
        "notices": list(plan.notices),
        "cautions": list(words.CAUTIONS),
    }
    return json.dumps(record, ensure_ascii=False, indent=2, allow_nan=False)


def _area(plan: SitePlan, area: AreaPlan) -> dict[str, Any]:
    entries = list(words.numbered(plan, area))
    covers = plan.cover.get(area.area, {})
    return {
        "name": area.area,
        "until": _day(area.until),
        "done": [
            {"season": e.season, "number": e.number, **applied_record(e.item)}
            for e in entries
            if not isinstance(e.item, Planned)
        ],
        "planned": [
            {"season": e.season, "number": e.number, **_planned(e.item)}
            for e in entries
            if isinstance(e.item, Planned)
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
        "advice": list(area.advice),
        "measures": list(area.measures),
    }


def _planned(planned: Planned) -> dict[str, Any]:
    water, other = planned.watering, planned.runner_up
    return {
        "date": _day(planned.day),
        "earliest": _day(planned.earliest),
        "latest": _day(planned.latest),
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
            "words": water.words,
        },
        "next_best": None
        if other is None
        else {
            "date": _day(other.day),
            "choice": _choice(other.choice),
            "covers_less_days": round(other.less, 2),
        },
        "reasons": list(planned.reasons),
        "cautions": list(planned.cautions),
        "in_full": list(planned.notes),
        "amounts_off_your_label": list(planned.amounts),
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


def _day(day: np.datetime64) -> str:
    return str(day.astype("datetime64[D]"))
