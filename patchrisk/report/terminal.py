"""The outlook as text for a terminal: the cards of the page, as wide as the terminal is."""

from collections.abc import Iterator, Sequence

from patchrisk.base.pen import capital
from patchrisk.core.verdict.decision_table import Verdict
from patchrisk.report.layout import WIDTH, as_text, ends, wrap
from patchrisk.report.view.area import AreaView
from patchrisk.report.view.disease import DiseaseView
from patchrisk.report.view.morning import MorningView
from patchrisk.report.words import ASK, CAUTION, MORNING_CAUTIONS

_LEAST_WIDE, _MOST_WIDE = 40, 120
_HINT = "More: --full, --scout, --data, --cautions, or patchrisk page."
_MARKS = (
    "Dates ahead are the likeliest, with the 10 to 90 % range in brackets. Warmth for "
    "infection is counted in full days: one as warm as suits the fungus best counts one, others "
    "less."
)
_INDENT = "  "


@as_text
def write_outlook(
    view: MorningView,
    *,
    width: int = WIDTH,
    full: bool = False,
    scout: bool = False,
    data: bool = False,
    cautions: bool = False,
) -> Iterator[str]:
    """Write a morning so many letters wide.

    ``scout`` adds what to look for and send, ``data`` what it rests on, ``cautions`` all of them;
    ``full`` is all of these and every rule.
    """
    wide = min(max(width, _LEAST_WIDE), _MOST_WIDE)
    scout, data, cautions = scout or full, data or full, cautions or full
    yield ends(view.site, view.day, wide)
    for text in view.past_label:
        yield from wrap(text, "PAST ITS LABEL ", _INDENT, wide)
    for area in view.areas:
        if full:
            yield ""
        yield from _card(area, wide)
        if full:
            yield from _part(area, wide)
    yield from _changed("CHANGED since yesterday: ", view.yesterday, wide)
    if view.last_page:
        title = f"CHANGED since the page of {view.last_page}: "
        yield from _changed(title, view.since_last, wide)
    for text in () if data else view.not_had:
        yield from wrap(text, "NOT HAD ", _INDENT, wide)
    if scout:
        yield from _scouting(view, wide)
    if data:
        yield from _data(view, wide)
    yield from wrap(MORNING_CAUTIONS if cautions else CAUTION, "CAUTION ", _INDENT, wide)
    yield from wrap(_MARKS if full else _HINT, "", "", wide)


def _card(area: AreaView, wide: int) -> Iterator[str]:
    """Write the card of an area: what to do and why, what goes on, the soil, the season."""
    figure = f"{area.soil_now} {area.soil_more}".strip()
    soil = ". ".join(part for part in (figure, area.soil_ahead) if part)
    head = f"{area.words.upper()}  {area.name}: {area.sentence}"
    yield from wrap(head, "", _INDENT, wide)
    for lead, text in area.put_on:
        yield from wrap(f"{lead} {text}", _INDENT, _INDENT * 2, wide)
    if area.season:
        sure = "" if area.sure == "." else f" How sure: {area.sure}"
        yield from wrap(f"{area.season}{sure}", _INDENT, _INDENT * 2, wide)
    for text in area.story[:1] if area.put_on else area.story:
        yield from wrap(text, _INDENT, _INDENT * 2, wide)
    rest = f" {capital(area.rest)}." if area.rest else ""
    yield from wrap(f"{capital(soil)}.{rest}", _INDENT, _INDENT * 2, wide)


def _changed(title: str, changes: Sequence[tuple[str, str]], wide: int) -> Iterator[str]:
    text = "; ".join(f"{area}, {what}" for area, what in changes) or "nothing"
    yield from wrap(f"{text}.", title, _INDENT, wide)


def _part(area: AreaView, wide: int) -> Iterator[str]:
    text = f"{area.name.upper()}: {area.turf}. {area.soil} {area.last_on}".rstrip()
    yield from wrap(text, "", _INDENT, wide)
    for row in area.rows:
        yield from _row(row, wide)
    for n, text in enumerate(area.whole_story):
        yield from wrap(text, _INDENT * 2 if n else "  SEASONS  ", _INDENT * 2, wide)
    for name, reason in area.without:
        yield from wrap(f"{name}: {reason}", _INDENT, _INDENT * 2, wide)
    for step in area.planned:
        what = step.item.choice.label
        text = f"{step.when}: {what} against {step.against}. {step.how}"
        yield from wrap(text, "  PLANNED ", _INDENT * 2, wide)
    for text in area.advice:
        yield from wrap(text, "  ADVICE  ", _INDENT * 2, wide)
    if area.ask:
        yield from wrap(f"{area.ask}. {ASK}", "  HISTORY NOT TOLD  ", _INDENT * 2, wide)


def _row(row: DiseaseView, wide: int) -> Iterator[str]:
    """Write one disease: its verdict and when; then what to do, and all else that is known."""
    word = row.words if row.verdict is Verdict.NOTHING else row.words.upper()
    whose = f"{row.member}: " if row.member else ""
    when = ", ".join(part for part in (f"{whose}{row.when}", row.normal, row.ends) if part)
    yield from wrap(f"{word}  {row.name}: {when}", "", _INDENT * 2, wide)
    look = f"look for it {row.scout}" if row.scout else ""
    parts = (row.act, row.provisional, *row.members, row.guidance, row.warmth, row.cover)
    said = [*parts, "" if row.shows and row.shows in row.act else row.shows, look]
    text = " ".join(f"{capital(p).rstrip('.')}." for p in said if p)
    yield from wrap(text, _INDENT * 2, None, wide)
    for rule in row.rules:
        yield from wrap(rule, "    - ", "      ", wide)


def _scouting(view: MorningView, wide: int) -> Iterator[str]:
    if view.scouting:
        yield "LOOK FOR, AND SEND TO THE LABORATORY"
    for look in view.scouting:
        text = f"{look.name} ({look.where}): {look.look_for} Send: {look.samples}"
        yield from wrap(text, _INDENT, _INDENT * 2, wide)


def _data(view: MorningView, wide: int) -> Iterator[str]:
    yield "DATA"
    for text in (*view.data, *view.credits):
        yield from wrap(text, "- ", _INDENT, wide)
    if view.left_out:
        yield "READINGS LEFT OUT OR FLAGGED"
    for text in view.left_out:
        yield from wrap(text, "- ", _INDENT, wide)
