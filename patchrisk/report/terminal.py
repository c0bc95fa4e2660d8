"""The outlook as text for a terminal, in two screens for a course of three areas."""

from collections.abc import Iterator

from patchrisk.report.layout import WIDE, beside, columns, ends, wrap
from patchrisk.report.view.model import AreaView, Change, Level, MorningView, Row
from patchrisk.windows import State

_SEEN = "*"
_MARKS = f"{_SEEN} seen here before; pressure in days at the optimum."
_HINT = "More: --full, or patchrisk page."
_STATE_WIDTH = 8
_NAME_WIDTH = 26
_INDENT = "    "
_REMEDY_WIDTHS = (28, 14, 12, 20, 0)


def write_outlook(view: MorningView, *, full: bool = False) -> str:
    """Write a morning, in short or with every rule and every word there is."""
    return "\n".join(_lines(view, full))


def _lines(view: MorningView, full: bool) -> Iterator[str]:
    yield ends(view.site, view.day, WIDE)
    yield from today_lines(view)
    for area in view.areas:
        yield ""
        yield from _area(area, full)
    yield ""
    yield from _remedies(view)
    yield from _scouting(view, full)
    yield ""
    yield from _data(view, full)
    yield from wrap(view.cautions, "CAUTIONS  ", "  ", WIDE)
    yield from wrap(_MARKS if full else f"{_MARKS} {_HINT}", "", "", WIDE)


def today_lines(view: MorningView) -> Iterator[str]:
    """Say what to do today and what changed, area by area."""
    yield "TODAY"
    levels = [area.level.words.upper() for area in view.areas]
    width = max(map(len, levels), default=0) + 2
    for area, level in zip(view.areas, levels, strict=True):
        yield from beside(level, f"{area.name}: {area.sentence}", width, WIDE)
    yield from _changed("CHANGED since yesterday: ", view.yesterday)
    if view.last_page:
        yield from _changed(f"CHANGED since the page of {view.last_page}: ", view.since_last)


def _data(view: MorningView, full: bool) -> Iterator[str]:
    said = (*view.data, *view.credits)
    if not full:
        yield from wrap(" ".join(said), "DATA  ", "  ", WIDE)
        return
    yield "DATA"
    for text in said:
        yield from wrap(text, "- ", "  ", WIDE)
    if view.left_out:
        yield "READINGS FLAGGED"
    for text in view.left_out:
        yield from wrap(text, "- ", "  ", WIDE)


def _changed(title: str, changes: tuple[Change, ...]) -> Iterator[str]:
    said = "; ".join(f"{change.area}, {change.text}" for change in changes) or "nothing"
    yield from wrap(f"{said}.", title, "  ", WIDE)


def _area(area: AreaView, full: bool) -> Iterator[str]:
    yield from wrap(
        f"{area.name.upper()}: {area.turf}. {area.soil} {area.last_on}".rstrip(), "", "  ", WIDE
    )
    for row in area.rows:
        yield from _row(row, full)
    for name, reason in area.without:
        text = reason if full else f"{reason.split('. ')[0].split(': ')[0].rstrip('.')}."
        yield from wrap(f"{name}: {text[:1].lower()}{text[1:]}", "  ", _INDENT, WIDE)
    for planned in area.planned:
        text = f"{planned.when}: {planned.what} against {planned.against}. {planned.how}"
        yield from wrap(text, "PLANNED ", "  ", WIDE)
    for text in area.advice:
        yield from wrap(text, "ADVICE  ", "  ", WIDE)


def _row(row: Row, full: bool) -> Iterator[str]:
    """Write one window: its state, when and how sure; then what else is known, and what to do."""
    state = row.state.words if row.state is State.NOT_YET else row.state.words.upper()
    cells = [(state, _STATE_WIDTH), (_marked(row), _NAME_WIDTH), (row.when, _NAME_WIDTH)]
    line = columns([*cells, (row.odds, 0)])
    known = [row.normal, row.rules, row.again]
    if len(line) > WIDE:
        line = columns(cells)
        known.insert(0, row.odds)
    yield line
    known.append(f"pressure {row.pressure}" if row.pressure else "")
    if full:
        known.append(row.pressure_more)
    yield from wrap("; ".join(part for part in known if part), _INDENT, _INDENT, WIDE)
    told = [row.cover if full else row.cover_in_short]
    if row.shows:
        told += [f"shows {row.shows}", f"scout {row.scout}"]
    text = "; ".join(part for part in told if part)
    act = row.act if full or not _said(row) else ""
    yield from wrap(". ".join(part for part in (text, act) if part), _INDENT, _INDENT, WIDE)
    for rule in row.why if full else ():
        yield from wrap(rule, "    - ", "      ", WIDE)


def _said(row: Row) -> bool:
    """Whether what to do about a window is said under TODAY, or by its cover."""
    return row.covered or (row.state is State.OPEN and row.level >= Level.READY)


def _marked(row: Row) -> str:
    """Mark what is new and what was seen here before."""
    return f"{row.name}{' (new)' if row.fresh.startswith('new') else ''}{_SEEN * row.seen_before}"


def _remedies(view: MorningView) -> Iterator[str]:
    """Write each disease's groups once, whichever areas have it."""
    shown = [r for r in view.remedies if any((r.worked, r.some, r.water, r.repeat))]
    if shown:
        heads = ("WHAT TRIALS SHOWED", "worked: FRAC", "some: FRAC", "water in", "repeat after")
        yield columns(list(zip(heads, _REMEDY_WIDTHS, strict=True)))
    for remedy in shown:
        cells = (f"  {remedy.name}", remedy.worked, remedy.some, remedy.water, remedy.repeat)
        texts = [cell or "-" for cell in cells]
        yield columns(list(zip(texts, _REMEDY_WIDTHS, strict=True)))
    none = ", ".join(r.name for r in view.remedies if r not in shown)
    if none:
        yield from wrap(f"no trial figures seen: {none}", "  ", "    ", WIDE)


def _scouting(view: MorningView, full: bool) -> Iterator[str]:
    now = [look for look in view.scouting if look.now or full]
    if now:
        yield "LOOK FOR, AND SEND TO THE LABORATORY"
    told: dict[str, str] = {}
    for look in now:
        shared = next((text for text in told if look.samples.startswith(text)), "")
        more = look.samples.removeprefix(shared).strip()
        samples = f"Send: as for {told[shared]}. {more}" if shared else f"Send: {more}"
        told.setdefault(look.samples, look.name)
        text = f"{look.name} ({look.where}): {look.look_for} {samples}"
        yield from wrap(text, "  ", "    ", WIDE)
