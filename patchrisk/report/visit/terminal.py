"""A visit in the terminal, and as JSON."""

import json
from collections.abc import Iterator, Sequence
from dataclasses import asdict

from patchrisk.base.pen import capital
from patchrisk.report.layout import WIDE, wrap
from patchrisk.report.visit.build import Row, VisitView

SCHEMA = "patchrisk visit, version 1"
_LABEL = 34


def visit_json(view: VisitView) -> str:
    """Write all of a visit's report for another program."""
    return json.dumps({"schema": SCHEMA, **asdict(view)}, indent=2, ensure_ascii=False)


def write_visit(view: VisitView, *, full: bool = False) -> str:
    """Write a visit's report; ``full`` with what each figure is held against, and the sources."""
    return "\n".join(_lines(view, full))


def _lines(view: VisitView, full: bool) -> Iterator[str]:
    thinned = f", {view.thinned}" if view.thinned else ""
    yield from wrap(f"{view.site}, {view.area} ({view.turf}), {view.day}{thinned}", "", "  ", WIDE)
    yield ""
    yield from wrap(view.opening, "", "  ", WIDE)
    yield from wrap(f"{view.firmness} {view.defers}".strip(), "", "  ", WIDE)
    if view.confirm:
        yield from wrap(view.confirm, "! ", "  ", WIDE)
    yield from _items("TODAY", view.today)
    yield from _items("THIS MONTH", view.month)
    yield from _items("LOOK AT NEXT, CHEAPEST FIRST", [f"{a}: {b}." for a, b in view.tests])
    yield from _items("NEXT SEASON", view.next_season)
    yield from _items("HISTORY", view.history)
    yield ""
    yield "FOR AND AGAINST"
    for cause in view.causes:
        yield from wrap(f"{cause.status.upper()}: {cause.name}", "  ", "    ", WIDE)
        for mark, said in (
            ("+", cause.speaks_for),
            ("-", cause.speaks_against),
            ("o", cause.beside),
        ):
            for text in said:
                yield from wrap(text, f"    {mark} ", "      ", WIDE)
    if view.unlooked:
        yield from wrap(f"Not looked at: {view.unlooked}.", "  ", "    ", WIDE)
    yield ""
    yield "THE PLACES, FROM BEST TO WORST"
    for row in (Row("", view.places), *view.rows):
        yield from _row(row, full)
    if view.order:
        yield from wrap(view.order, "  ", "  ", WIDE)
    yield from _items("THE SEASON", view.season)
    yield from _items("SINCE THE LAST VISIT", view.compared)
    yield from _items("STRIP", view.strip)
    yield from _items("THE LABORATORY'S TABLE", view.laboratory)
    yield from _items("PUBLISHED OF THE TESTS", view.published)
    if full:
        yield from _items("SOURCES", view.sources)
    yield ""
    yield from wrap(view.cautions, width=WIDE)


def _items(title: str, texts: Sequence[str]) -> Iterator[str]:
    if texts:
        yield ""
        yield title
    for text in texts:
        yield from wrap(capital(text), "  - ", "    ", WIDE)


def _row(row: Row, full: bool) -> Iterator[str]:
    cells = " | ".join(cell or "-" for cell in row.cells)
    yield from wrap(cells, f"  {row.label:<{_LABEL}}", " " * (_LABEL + 2), WIDE)
    for text in row.held if full else ():
        yield from wrap(text, "      ", "        ", WIDE)
