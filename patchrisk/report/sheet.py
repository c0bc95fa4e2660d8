"""The programme as a sheet to print, carry to the shed and sign."""

from base64 import b64encode
from hashlib import sha256
from pathlib import Path
from typing import Any

import numpy as np

from patchrisk.base.saving import marked
from patchrisk.report.plan_sentences import measure_sentences, sentences, teller
from patchrisk.report.plan_words import steps, targets_words
from patchrisk.report.words import CAUTIONS_IN_FULL, pen_of
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
    pen, tell = pen_of(plan.morning), teller(plan.morning)
    sizes = {area.name: area.size for area in plan.site.area}
    rows = [(area, step) for area in plan.areas for step in steps(plan.morning, area)]
    # What to mind stands below, once for all, and is marked.
    notes = list(dict.fromkeys(text for _, step in rows for text in step.cautions))
    return printed(
        "sheet",
        site=plan.site.site.name,
        as_of=pen.day(np.datetime64(plan.as_of), year=True),
        rows=[
            {
                "step": step,
                "area": area.area,
                "size": sizes.get(area.area),
                "targets": targets_words(step.item, tell, {}),
                "marks": sorted(notes.index(text) + 1 for text in set(step.cautions)),
            }
            for area, step in sorted(rows, key=lambda row: row[1].day)
        ],
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
