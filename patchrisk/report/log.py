"""The season's log of applications: a page to print, a table, and the open ADAPT Standard."""

import json
from base64 import b64encode
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from hashlib import sha256
from pathlib import Path

import numpy as np

from patchrisk.base.errors import Fault, InputError
from patchrisk.base.pen import Pen
from patchrisk.base.safe_text import Cell, write_table
from patchrisk.base.saving import Kind, Output, marked
from patchrisk.core.plan.past_label import PastLabel
from patchrisk.core.rules.seasons import year_begins
from patchrisk.read.records.books import LogEntry, read_log
from patchrisk.read.records.required import lacking
from patchrisk.read.records.rows import RecordContext
from patchrisk.report.adapt import adapt_operations
from patchrisk.report.log_words import FIGURES, past_label_words
from patchrisk.report.words import codes_words, name_of

_HERE = Path(__file__).parent
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


@dataclass(frozen=True)
class Log:
    """The applications of a year up to a day, with what they leave to be told.

    Parameters
    ----------
    context : RecordContext
    entries : tuple of LogEntry
        In order of day.
    past : mapping of (datetime64[D], str, str) to tuple of PastLabel
        By day, area and product.
    empty : mapping of int to tuple of str
        By the place of an entry, columns that a list asks for and that are empty.
    """

    context: RecordContext
    entries: tuple[LogEntry, ...]
    past: Mapping[tuple[np.datetime64, str, str], tuple[PastLabel, ...]]
    empty: Mapping[int, tuple[str, ...]]

    @property
    def pen(self) -> Pen:
        """The pen of the site."""
        return Pen(self.context.site.site.units)

    def past_of(self, n: int) -> tuple[PastLabel, ...]:
        """Return what of an application went on past its label."""
        done = self.entries[n].applied
        return self.past.get((done.day, done.area, done.product.casefold()), ())

    def cells(self, n: int) -> dict[str, str]:
        """Return what the log has of an application, by column."""
        entry, site = self.entries[n], self.context.site
        done = entry.applied
        turf = next((a.turf_words for a in site.area if a.name == done.area), "")
        names = [name_of(self.context.library, key) for key in done.targets]
        water = f"{entry.cells.get('water', '')} {entry.cells.get('unit', '')}".strip()
        return {
            **entry.cells,
            "site": site.site.name,
            "turf": turf,
            "for": " + ".join((*names, *done.others)),
            "water": water,
            "past_label": " ".join(past_label_words(one, self.pen) for one in self.past_of(n)),
            "not_on_record": ", ".join(self.empty.get(n, ())),
        }


def log_of(
    context: RecordContext,
    past: Sequence[PastLabel],
    as_of: date,
    areas: Sequence[str],
) -> Log:
    """Read the log of the year of a day, up to it, of some areas.

    Raises
    ------
    InputError
        When the columns of the records can't be told.
    """
    start = np.datetime64(year_begins(as_of, southern=context.site.site.southern), "D")
    entries = tuple(
        entry
        for entry in read_log(context)
        if start <= entry.applied.day <= np.datetime64(as_of, "D") and entry.applied.area in areas
    )
    by_key: dict[tuple[np.datetime64, str, str], tuple[PastLabel, ...]] = {}
    for one in past:
        key = (one.day, one.area, one.product.casefold())
        by_key[key] = (*by_key.get(key, ()), one)
    empty: dict[int, tuple[str, ...]] = {}
    for lack in lacking(context, entries):
        n = next(k for k, entry in enumerate(entries) if entry is lack.entry)
        empty[n] = tuple(dict.fromkeys((*empty.get(n, ()), *lack.columns)))
    return Log(context, entries, by_key, empty)


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
    suffix = path.suffix.lower()
    if suffix == ".html":
        return _page(log).encode()
    if suffix == ".csv":
        rows: list[list[Cell]] = []
        for n in range(len(log.entries)):
            cells = log.cells(n)
            rows.append([cells.get(name, "") for name in LOG_COLUMNS])
        # The mark at the front tells spreadsheets that it is UTF-8.
        return write_table(LOG_COLUMNS, rows).encode("utf-8-sig")
    record = adapt_operations(log.context.site, log.context.shelf, log.entries)
    return json.dumps(record, ensure_ascii=False, indent=2, allow_nan=False).encode()


def _page(log: Log) -> str:
    """Write a page of HTML that needs nothing else: one sheet for ten applications."""
    from jinja2 import Environment, FileSystemLoader, StrictUndefined
    from markupsafe import Markup

    style = (_HERE / "log.css").read_text(encoding="utf-8")
    digest = b64encode(sha256(style.encode()).digest()).decode()
    environment = Environment(
        loader=FileSystemLoader(_HERE),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    rows = []
    for n, entry in enumerate(log.entries):
        cells = {name: log.cells(n).get(name, "") for name in LOG_COLUMNS}
        cells["past_label"] = ", ".join(FIGURES[one.figure] for one in log.past_of(n))
        groups = codes_words(entry.applied.codes)
        rows.append(cells | {"n": n + 1, "groups": groups, "day": log.pen.day(entry.applied.day)})
    years = sorted({str(entry.applied.day)[:4] for entry in log.entries})
    return environment.get_template(
        "log.html"
    ).render(
        site=log.context.site.site.name,
        years=" and ".join(years),
        style=Markup(style),  # ours, and named by its hash in the policy
        policy=f"default-src 'none'; style-src 'sha256-{digest}'; base-uri 'none'; "
        "form-action 'none'",
        pages=[rows[n : n + _A_PAGE] for n in range(0, len(rows), _A_PAGE)],
    )
