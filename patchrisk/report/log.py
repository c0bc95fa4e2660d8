"""The season's log of applications: a page to print, a table, and the open ADAPT Standard."""

import json
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import numpy as np

from patchrisk.base.errors import Fault, InputError
from patchrisk.base.pen import Pen
from patchrisk.base.safe_text import write_table
from patchrisk.base.saving import Kind, Output, marked
from patchrisk.core.plan.cover import Applied
from patchrisk.core.plan.labels import PastLabel
from patchrisk.core.rules.rule import year_begins
from patchrisk.read.records.applications import lacking
from patchrisk.read.records.books import APPLICATIONS
from patchrisk.read.records.rows import RecordContext
from patchrisk.report.adapt import adapt_operations
from patchrisk.report.html import printed
from patchrisk.report.records_words import FIGURES, past_label_words
from patchrisk.report.words import codes_words, name_of

_A_PAGE = 10  # applications that print on one page
LOG_COLUMNS = (
    "site", "date", "area", "spot", "turf", "product", "registration", "codes", "actives", "for",
    "rate", "amount", "carrier", "treated", "start", "end", "wind", "air", "water", "watered",
    "applicator", "licence", "re_entry", "note", "past_label", "not_on_record",
)  # fmt: skip
LOG_SHEET = marked("log of patchrisk", b'<meta name="generator" content="patchrisk log">')
LOG_TABLE = Kind(
    "table of a log that patchrisk wrote",
    lambda head, _: head.startswith(write_table(LOG_COLUMNS, []).encode("utf-8-sig")),
)
LOG_ADAPT = marked("log in the ADAPT Standard that patchrisk wrote", b'"Written by patchrisk')
LOGS = (LOG_SHEET, LOG_TABLE, LOG_ADAPT)


@dataclass(frozen=True)
class Log:
    """The applications of a year up to a day in order of day, and what went on past a label."""

    context: RecordContext
    entries: tuple[Applied, ...]
    past: Sequence[PastLabel]

    def past_of(self, done: Applied) -> list[PastLabel]:
        """Return what of an application went on past its label."""
        key = (done.day, done.area, done.product.casefold())
        return [p for p in self.past if (p.day, p.area, p.product.casefold()) == key]

    def cells(self, done: Applied, past_label: str) -> dict[str, str]:
        """Return what the log has of an application, by column."""
        context = self.context
        site = context.site
        turf = next((a.turf_words for a in site.area if a.name == done.area), "")
        names = [name_of(context.library, key) for key in done.targets]
        water = f"{done.cells.get('water', '')} {done.cells.get('unit', '')}".strip()
        empty = dict.fromkeys(name for one in lacking(context, [done]) for name in one.columns)
        told = {
            **done.cells,
            "site": site.site.name,
            "turf": turf,
            "for": " + ".join((*names, *done.others)),
            "water": water,
            "past_label": past_label,
            "not_on_record": ", ".join(empty),
        }
        return {name: told.get(name, "") for name in LOG_COLUMNS}


def log_of(
    context: RecordContext, past: Sequence[PastLabel], as_of: date, areas: Sequence[str]
) -> Log:
    """Read the log of the year of a day, up to it, of some areas.

    Raises
    ------
    InputError
        When the columns of the records can't be told.
    """
    start = np.datetime64(year_begins(as_of, southern=context.site.site.southern), "D")
    entries = tuple(
        done
        for done in APPLICATIONS.read(context).until(np.datetime64(as_of, "D")).rows
        if done.day >= start and done.area in areas
    )
    return Log(context, entries, past)


def log_output(path: Path) -> Output:
    """Return what a file of the log is, by its ending.

    Raises
    ------
    InputError
        For any other ending.
    """
    kind = {".html": LOG_SHEET, ".csv": LOG_TABLE, ".json": LOG_ADAPT}.get(path.suffix.lower())
    if kind is None:
        cure = "name a file that ends in .html to print, .csv for a table, or .json for ADAPT"
        raise InputError(Fault(str(path), "", "can't tell how to write the log", cure))
    return Output(path, kind)


def write_log(log: Log, path: Path) -> bytes:
    """Write the log as the ending of its file says."""
    context, suffix = log.context, path.suffix.lower()
    pen = Pen(context.site.site.units)
    if suffix == ".html":
        return _page(log, pen).encode()
    if suffix == ".csv":
        said = [
            " ".join(past_label_words(one, pen) for one in log.past_of(done))
            for done in log.entries
        ]
        rows = [list(log.cells(*pair).values()) for pair in zip(log.entries, said, strict=True)]
        # The mark at the front tells spreadsheets that it is UTF-8.
        return write_table(LOG_COLUMNS, rows).encode("utf-8-sig")
    record = adapt_operations(context.site, context.shelf, log.entries)
    return json.dumps(record, ensure_ascii=False, indent=2, allow_nan=False).encode()


def _page(log: Log, pen: Pen) -> str:
    """Write a page to print: one sheet for ten applications."""
    rows = []
    for n, done in enumerate(log.entries, 1):
        cells = log.cells(done, ", ".join(FIGURES[one.figure] for one in log.past_of(done)))
        rows.append(cells | {"n": n, "groups": codes_words(done.codes), "day": pen.day(done.day)})
    return printed(
        "log",
        site=log.context.site.site.name,
        years=" and ".join(sorted({str(done.day)[:4] for done in log.entries})),
        pages=[rows[n : n + _A_PAGE] for n in range(0, len(rows), _A_PAGE)],
    )
