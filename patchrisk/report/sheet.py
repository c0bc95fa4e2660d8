"""The programme as a sheet to print, carry to the shed and sign."""

from base64 import b64encode
from collections.abc import Iterator
from hashlib import sha256
from pathlib import Path
from typing import Any

import numpy as np

from patchrisk.base.pen import Pen
from patchrisk.base.saving import marked
from patchrisk.core.plan.programme import AreaPlan, Planned
from patchrisk.report import plan_words as words
from patchrisk.report.plan_sentences import caution_sentences, measure_sentences, sentences
from patchrisk.report.words import CAUTIONS_IN_FULL
from patchrisk.site_day.season_plan import SitePlan

_HERE = Path(__file__).parent
SHEET = marked("sheet of patchrisk", b'<meta name="generator" content="patchrisk sheet">')


def printed(name: str, **values: Any) -> str:
    """Write one page of HTML that needs nothing else, runs nothing and asks no other place.

    Everything a user wrote is escaped; the policy allows the style of this page and no more.
    """
    from jinja2 import Environment, FileSystemLoader, StrictUndefined
    from markupsafe import Markup

    sheets = [_HERE / "print.css", _HERE / f"{name}.css"]
    style = "".join(sheet.read_text(encoding="utf-8") for sheet in sheets)
    digest = b64encode(sha256(style.encode()).digest()).decode()
    environment = Environment(
        loader=FileSystemLoader(_HERE),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    return environment.get_template(f"{name}.html").render(
        name=name,
        style=Markup(style),  # ours, and named by its hash in the policy
        policy=f"default-src 'none'; style-src 'sha256-{digest}'; base-uri 'none'; "
        "form-action 'none'",
        **values,
    )


def write_sheet(plan: SitePlan) -> str:
    """Write the sheet of a programme."""
    pen, tell = words.plan_pen(plan), words.teller(plan)
    notes: list[str] = []
    rows = [row for area in plan.areas for row in _rows(plan, area, pen, notes)]
    rows.sort(key=lambda row: str(row["date"]))
    return printed(
        "sheet",
        site=plan.site.site.name,
        as_of=pen.day(np.datetime64(plan.as_of), year=True),
        rows=rows,
        notes=notes,
        advice=[
            f"{area.area}: {text}"
            for area in plan.areas
            if not area.planned
            for text in sentences(area.advice, tell)
        ],
        upkeep=[
            f"{area.area}, {text}"
            for area in plan.areas
            for text in measure_sentences(area.measures, tell, area.as_of)
        ],
        cautions=CAUTIONS_IN_FULL,
    )


def _rows(plan: SitePlan, area: AreaPlan, pen: Pen, notes: list[str]) -> Iterator[dict[str, Any]]:
    """Yield the rows of an area; what to mind goes to the notes, once for all, and is marked."""
    size = next((a.size for a in plan.site.area if a.name == area.area), None)
    for entry in words.numbered(plan, area):
        planned = entry.item
        if not isinstance(planned, Planned):
            continue
        covers = plan.cover(area.area)
        cautions = caution_sentences(planned, covers, words.teller(plan))
        notes += [text for text in cautions if text not in notes]
        yield {
            "date": planned.day,
            "number": entry.shown,
            "day": words.weekday(planned.day, pen),
            "span": words.span_words(planned, pen),
            "area": area.area,
            "size": size,
            "what": words.choice_words(planned.choice, full=False),
            "actives": ", ".join(planned.choice.actives),
            "targets": words.targets_words(planned, plan.library, {}),
            "marks": sorted(notes.index(text) + 1 for text in set(cautions)),
            "amounts": words.amounts_words(planned, pen.system),
            "carrier": words.carrier_words(planned, pen),
            "water": words.watering_words(planned.watering, pen.show),
        }
