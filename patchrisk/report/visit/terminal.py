"""A visit in the terminal, and as JSON; and what to take, before it."""

import json
from collections.abc import Iterator, Sequence
from dataclasses import asdict

from patchrisk.base.pen import Pen, capital, listed
from patchrisk.core.verdict.decision_table import RUNNING, Verdict
from patchrisk.read.visit.guidelines import visit_words
from patchrisk.report.layout import WIDE, as_text, wrap
from patchrisk.report.visit.view import Row, VisitView
from patchrisk.report.words import name_of
from patchrisk.site_day.morning import AreaMorning, Morning

SCHEMA = "patchrisk visit, version 1"
_LABEL = 34


def visit_json(view: VisitView) -> str:
    """Write all of a visit's report for another program."""
    return json.dumps({"schema": SCHEMA, **asdict(view)}, indent=2, ensure_ascii=False)


@as_text
def write_visit(view: VisitView, *, full: bool = False) -> Iterator[str]:
    """Write a visit's report; ``full`` with what each figure is held against, and the sources."""
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


_MOST = 3


@as_text
def write_to_take(morning: Morning) -> Iterator[str]:
    """Write what to take: what holds everywhere, then what the season makes likely in each area."""
    pen = Pen(morning.site.site.units, morning.as_of.year)
    yield "WHAT TO TAKE"
    for step in visit_words().take:
        yield step.title.upper()
        for text in step.texts:
            yield from wrap(pen.prose(text), "  - ", "    ", WIDE)
    yield "LIKELY NOW, BY THE SEASON"
    places: dict[str, list[str]] = {}
    for area in morning.areas:
        for key in _likely(area):
            places.setdefault(key, []).append(area.area.name)
    if not places:
        yield "  - Nothing in particular."
    for key, areas in places.items():
        shows = morning.library.diseases[key].expression
        name = capital(name_of(morning.library, key))
        text = f"{name} ({listed(areas)}): {shows.look_for.text} {shows.samples.text}"
        yield from wrap(pen.prose(text), "  - ", "    ", WIDE)


def _likely(area: AreaMorning) -> Iterator[str]:
    """Yield the diseases that the season makes likely, the likeliest first."""
    rated = []
    for key, judged in area.judged.items():
        story = area.stories.get(key)
        shows = story is not None and story.shows(area.soil.dates[-1])
        score = 2 * shows + judged.scouting + (judged.phase in RUNNING)
        if score or judged.verdict >= Verdict.GET_READY:
            rated.append((-score, key))
    yield from (key for _, key in sorted(rated)[:_MOST])
