"""The programme as JSON; its shape is described by ``plan.schema.json`` beside this file."""

import json
from typing import Any

from patchrisk.base.pen import iso_day
from patchrisk.core.plan.programme import Answer, AreaPlan, Choice
from patchrisk.report.plan_changes import changes_words
from patchrisk.report.plan_sentences import measure_sentences, sentence, sentences, teller
from patchrisk.report.plan_words import Done, ToDo, notices_words, numbered
from patchrisk.report.records_words import applied_record, cover_record, past_label_record
from patchrisk.report.words import (
    CAUTIONS_IN_FULL,
    by_number,
    name_of,
    pen_of,
    site_record,
    verdict_words,
)
from patchrisk.site_day.season_plan import SitePlan

SCHEMA = "patchrisk-plan/2"


def to_json(plan: SitePlan) -> str:
    """Write the programme as JSON, in mm and days whatever the site prints."""
    record = {
        "schema": SCHEMA,
        "site": site_record(plan.site.site),
        "as_of": plan.as_of.isoformat(),
        "areas": [_area(plan, area) for area in plan.areas],
        "past_label": [
            past_label_record(past, pen_of(plan.morning)) for past in plan.morning.past_label_now
        ],
        "notices": list(notices_words(plan)),
        "cautions": list(CAUTIONS_IN_FULL),
    }
    return json.dumps(record, ensure_ascii=False, indent=2, allow_nan=False)


def _area(plan: SitePlan, area: AreaPlan) -> dict[str, Any]:
    steps = list(numbered(plan.morning, area))
    covers, tell = plan.morning.covers(area.area), teller(plan.morning)
    return {
        "name": area.area,
        "until": iso_day(area.until),
        "verdicts": [_answer(plan, answer) for answer in area.answers.values()],
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


def _answer(plan: SitePlan, answer: Answer) -> dict[str, Any]:
    told, tell = (answer.waiting, answer.then), teller(plan.morning)
    return {
        "disease": answer.disease,
        "name": name_of(plan.library, answer.disease),
        "verdict": verdict_words(answer.verdict),
        "reason": answer.reason,
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
