"""The programme written to files: a table, a calendar, a sheet."""

from datetime import datetime
from pathlib import Path

from patchrisk.at_site.season_plan import SitePlan
from patchrisk.atomic import write_bytes
from patchrisk.names import slug


def write_files(
    plan: SitePlan,
    now: datetime,
    *,
    table: Path | None = None,
    calendar: Path | None = None,
    sheet: Path | None = None,
) -> list[Path]:
    """Write those files that are asked for, each whole or not at all; return where they are.

    A folder gets a file named after the site and the year.

    Raises
    ------
    InputError
        When the calendar's file holds something else, before anything is written.
    UnavailableError
        When a file can't be written.
    """
    written: list[tuple[Path, bytes]] = []
    if calendar is not None:
        from patchrisk.report.calendar import read_calendar, write_calendar

        path = file_in(calendar, plan, ".ics")
        written.append((path, write_calendar(plan, now, read_calendar(path, plan))))
    if table is not None:
        from patchrisk.report.plan_table import write_plan_table

        # The mark at the front tells spreadsheets that it is UTF-8.
        written.append((file_in(table, plan, ".csv"), write_plan_table(plan).encode("utf-8-sig")))
    if sheet is not None:
        from patchrisk.report.sheet import write_sheet

        written.append((file_in(sheet, plan, ".html"), write_sheet(plan).encode()))
    for path, data in written:
        write_bytes(path, data)
    return [path for path, _ in written]


def file_in(path: Path, plan: SitePlan, suffix: str) -> Path:
    """Return the file that is meant: the path itself, or one inside it when it is a folder."""
    if not path.is_dir():
        return path
    return path / f"{slug(plan.site.site.name)}-programme-{plan.as_of.year}{suffix}"
