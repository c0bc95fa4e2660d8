"""The programme written to files: a table, a calendar, a sheet."""

from collections.abc import Sequence
from datetime import date, datetime
from pathlib import Path

import numpy as np

from patchrisk.base.safe_text import Cell, slug, write_table
from patchrisk.base.saving import Kind, Output, marked, write_bytes
from patchrisk.core.plan.cover import Applied
from patchrisk.read.records.rows import record_context
from patchrisk.report.html import printed
from patchrisk.report.log import LOGS, log_of, log_output, write_log
from patchrisk.report.plan_changes import keep_plan
from patchrisk.report.plan_sentences import measure_sentences, sentences, teller
from patchrisk.report.plan_words import Done, ToDo, numbered, steps, targets_words
from patchrisk.report.words import CAUTIONS_IN_FULL, by_number, codes_words, pen_of
from patchrisk.site_day.season_plan import SitePlan

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

# Whose events a file holds is looked at where it is read: `read_calendar`.
CALENDAR = Kind("calendar", lambda *_: True)
SHEET = marked("sheet of patchrisk", b'<meta name="generator" content="patchrisk sheet">')
PLAN_TABLE = Kind(
    "table of a programme that patchrisk wrote",
    lambda head, _: head.startswith(write_table(HEADER, []).encode("utf-8-sig")),
)


def write_plan_table(plan: SitePlan) -> str:
    """Write the programme as CSV; every row carries the cautions."""
    rows = [
        [plan.site.site.name, area.area, step.season, step.number, *_cells(step)]
        for area in plan.areas
        for step in numbered(plan.morning, area)
    ]
    return write_table(HEADER, rows)


def _cells(step: Done | ToDo) -> list[Cell]:
    if isinstance(step, Done):
        return _applied(step.item)
    planned, said = step.item, step.parts
    water = planned.watering
    return [
        "planned",
        str(planned.day),
        str(planned.day),
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
        " ".join(CAUTIONS_IN_FULL),
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
        " ".join(CAUTIONS_IN_FULL),
    ]


def _joined(codes: frozenset[str]) -> str:
    return "; ".join(sorted(codes, key=by_number))


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


def plan_outputs(
    name: str,
    as_of: date,
    *,
    table: Path | None = None,
    calendar: Path | None = None,
    sheet: Path | None = None,
    logs: Sequence[Path] = (),
) -> list[Output]:
    """Return the files that `write_files` is to write; a folder gets one named by site and year.

    Raises
    ------
    InputError
        For a log whose ending says no form.
    """
    asked = ((calendar, ".ics", CALENDAR), (table, ".csv", PLAN_TABLE), (sheet, ".html", SHEET))
    outputs = []
    for path, suffix, kind in asked:
        if path is not None:
            own = path / f"{slug(name)}-programme-{as_of.year}{suffix}" if path.is_dir() else path
            outputs.append(Output(own, kind))
    return outputs + [log_output(path) for path in logs]


def write_files(plan: SitePlan, now: datetime, outputs: Sequence[Output]) -> list[Path]:
    """Write the files of `plan_outputs`, each whole or not at all; return where they are.

    All are made before any is written. Beside the first that is no log, what the plan says is
    kept.

    Raises
    ------
    InputError
        When a calendar there is another's, before anything is written.
    UnavailableError
        When a file can't be written.
    """
    made = [(output.path, _written(plan, now, output)) for output in outputs]
    for path, data in made:
        write_bytes(path, data)
    plans = [output.path for output in outputs if output.kind not in LOGS]
    if plans:
        keep_plan(plans[0], plan)
    return [path for path, _ in made]


def _written(plan: SitePlan, now: datetime, output: Output) -> bytes:
    """Write a programme, or the log of its year, as the kind of a file says."""
    if output.kind is PLAN_TABLE:
        # The mark at the front tells spreadsheets that it is UTF-8.
        return write_plan_table(plan).encode("utf-8-sig")
    if output.kind is SHEET:
        return write_sheet(plan).encode()
    if output.kind in LOGS:
        known = record_context(plan.site, plan.library, plan.as_of)
        log = log_of(
            known, plan.morning.past_label_now, plan.as_of, [area.area for area in plan.areas]
        )
        return write_log(log, output.path)
    from patchrisk.report.calendar import read_calendar, write_calendar

    return write_calendar(plan, now, read_calendar(output.path, plan))
