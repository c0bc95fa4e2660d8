"""The programme written to files: a table, a calendar, a sheet."""

from collections.abc import Mapping, Sequence
from datetime import date, datetime
from pathlib import Path
from types import MappingProxyType

import numpy as np

from patchrisk.base.safe_text import Cell, slug, write_table
from patchrisk.base.saving import Kind, Output, check_outputs, write_bytes
from patchrisk.core.plan.cover import Applied
from patchrisk.core.plan.programme import AreaPlan, Planned
from patchrisk.read.records.rows import record_context
from patchrisk.report import plan_words as words
from patchrisk.report.log import log_of, log_output, write_log
from patchrisk.report.plan_changes import keep_plan, plan_before
from patchrisk.report.words import CAUTIONS_IN_FULL, by_number, codes_words
from patchrisk.site_day.morning import Morning
from patchrisk.site_day.season_plan import SitePlan, plan_all

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

PLAN_TABLE = Kind(
    "table of a programme that patchrisk wrote",
    lambda head, _: head.startswith(write_table(HEADER, []).encode("utf-8-sig")),
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


_NOTHING: Mapping[Path, str] = MappingProxyType({})


def plan_beside(morning: Morning, path: Path | None) -> SitePlan:
    """Plan a morning, with what is not as in the plan before.

    Parameters
    ----------
    morning : Morning
    path : Path or None
        A folder, or a file in it, where what plans said is kept; without one nothing is known of
        an earlier plan.
    """
    name = morning.site.site.name
    return plan_all(morning, None if path is None else plan_before(path, name, morning.as_of))


def plan_outputs(
    name: str,
    as_of: date,
    *,
    table: Path | None = None,
    calendar: Path | None = None,
    sheet: Path | None = None,
    logs: Sequence[Path] = (),
) -> list[Output]:
    """Return the files that `write_files` writes: calendar, table, sheet, then logs.

    A folder gets a file named after the site and the year.

    Raises
    ------
    InputError
        For a log whose ending says no form.
    """
    outputs = []

    def add(path: Path, suffix: str, kind: Kind) -> None:
        file = path / f"{slug(name)}-programme-{as_of.year}{suffix}" if path.is_dir() else path
        outputs.append(Output(file, kind))

    if calendar is not None:
        from patchrisk.report.calendar import CALENDAR

        add(calendar, ".ics", CALENDAR)
    if table is not None:
        add(table, ".csv", PLAN_TABLE)
    if sheet is not None:
        from patchrisk.report.sheet import SHEET

        add(sheet, ".html", SHEET)
    return outputs + [log_output(path) for path in logs]


def write_files(
    plan: SitePlan,
    now: datetime,
    *,
    table: Path | None = None,
    calendar: Path | None = None,
    sheet: Path | None = None,
    logs: Sequence[Path] = (),
    inputs: Mapping[Path, str] = _NOTHING,
) -> list[Path]:
    """Write those files that are asked for, each whole or not at all; return where they are.

    All are checked before any is written.

    Parameters
    ----------
    plan : SitePlan
    now : datetime
    table, calendar, sheet : Path, optional
        See `plan_outputs`.
    logs : sequence of Path
        Of the year's log, each written as its ending says.
    inputs : mapping of Path to str, optional
        What the site is read from; see `patchrisk.base.saving.check_outputs`.

    Raises
    ------
    InputError
        When a file holds something else, or is read, before anything is written.
    UnavailableError
        When a file can't be written.
    """
    outputs = plan_outputs(
        plan.site.site.name, plan.as_of, table=table, calendar=calendar, sheet=sheet, logs=logs
    )
    check_outputs(outputs, inputs)
    left = iter(outputs)
    made: list[tuple[Path, bytes]] = []
    if calendar is not None:
        from patchrisk.report.calendar import read_calendar, write_calendar

        file = next(left).path
        made.append((file, write_calendar(plan, now, read_calendar(file, plan))))
    if table is not None:
        # The mark at the front tells spreadsheets that it is UTF-8.
        made.append((next(left).path, write_plan_table(plan).encode("utf-8-sig")))
    if sheet is not None:
        from patchrisk.report.sheet import write_sheet

        made.append((next(left).path, write_sheet(plan).encode()))
    if logs:
        known = record_context(plan.site, plan.library, plan.as_of)
        log = log_of(
            known, plan.morning.past_label_now, plan.as_of, [area.area for area in plan.areas]
        )
        made += [(output.path, write_log(log, output.path)) for output in left]
    for path, data in made:
        write_bytes(path, data)
    if len(made) > len(logs):
        keep_plan(made[0][0], plan)
    return [path for path, _ in made]
