"""The programme as a table, one row an application, done or planned."""

import numpy as np

from patchrisk.at_site.season_plan import SitePlan
from patchrisk.programme.cover import Applied
from patchrisk.programme.plan import AreaPlan, Planned
from patchrisk.report import plan_words as words
from patchrisk.report.table import Cell, write_table
from patchrisk.report.words import by_number, codes_words

HEADER = (
    "site",
    "area",
    "season",
    "number",
    "status",
    "date",
    "earliest",
    "latest",
    "label",
    "frac_codes",
    "actives",
    "product",
    "diseases",
    "covers_days_at_the_optimum",
    "water_least_mm",
    "water_most_mm",
    "water_within_hours",
    "amounts_off_your_label",
    "why",
    "next_best",
    "in_full",
    "mind",
    "cautions",
)


def write_plan_table(plan: SitePlan) -> str:
    """Write the programme as CSV; every row carries the cautions."""
    rows = [_row(plan, area, entry) for area in plan.areas for entry in words.numbered(plan, area)]
    return write_table(HEADER, rows)


def _row(plan: SitePlan, area: AreaPlan, entry: words.Numbered) -> list[Cell]:
    head: list[Cell] = [plan.site.site.name, area.area, entry.season, entry.number]
    if isinstance(entry.item, Planned):
        return head + _planned(plan, area, entry.item)
    return head + _applied(entry.item)


def _planned(plan: SitePlan, area: AreaPlan, planned: Planned) -> list[Cell]:
    said = words.details(plan, area, planned)
    water = planned.watering
    return [
        "planned",
        str(planned.day),
        str(planned.earliest),
        str(planned.latest),
        planned.choice.label,
        _joined(planned.choice.codes),
        "; ".join(planned.choice.actives),
        " + ".join(part.product or "" for part in planned.choice.mixed) or planned.choice.product,
        "; ".join(planned.targets),
        "; ".join(f"{key}: {value:.1f}" for key, value in planned.covers.items()),
        None if water is None else round(water.least_mm, 1),
        None if water is None else round(water.most_mm, 1),
        None if water is None else water.hours,
        *(said.get(key, "") for key in ("Amount", "Why", "Next best", "In full", "Mind")),
        " ".join(words.CAUTIONS),
    ]


def _applied(applied: Applied) -> list[Cell]:
    water = None if np.isnan(applied.water_mm) else round(float(applied.water_mm), 1)
    return [
        "done",
        *[str(applied.day)] * 3,
        applied.product or codes_words(applied.codes),
        _joined(applied.codes),
        "; ".join(applied.actives),
        applied.product,
        "; ".join(applied.targets),
        None,
        water,
        water,
        *[None] * 6,
        " ".join(words.CAUTIONS),
    ]


def _joined(codes: frozenset[str]) -> str:
    return "; ".join(sorted(codes, key=by_number))
