"""The whole morning in words."""

from collections.abc import Iterator, Sequence

import numpy as np

from patchrisk.at_site.morning import Morning
from patchrisk.pen import Pen
from patchrisk.programme.plan import AreaPlan
from patchrisk.report import ahead, words
from patchrisk.report.check import flag_words, weather_lines
from patchrisk.report.cover import kept_lines
from patchrisk.report.view.area import area_view, changes_since_yesterday
from patchrisk.report.view.last import LastPage, changes_since
from patchrisk.report.view.model import AreaView, Level, MorningView, Remedy, Row, Scouting
from patchrisk.windows import State

_MESSAGE_NAMES = 6


def view_of(
    morning: Morning,
    plans: Sequence[AreaPlan] = (),
    last: LastPage | None = None,
) -> MorningView:
    """Put a morning into words.

    Parameters
    ----------
    morning : Morning
    plans : sequence of AreaPlan
        The programme of each area that has one.
    last : LastPage, optional
        What the page of an earlier morning said.
    """
    pen = Pen(morning.site.site.units)
    by_area = {plan.area: plan for plan in plans}
    areas = [area_view(morning, a, by_area.get(a.area.name), pen) for a in morning.areas]
    in_order = tuple(sorted(areas, key=lambda area: (-area.level, -_count(area))))
    as_of = np.datetime64(morning.as_of, "D")
    owed = tuple(morning.weather.attributions)
    return MorningView(
        site=morning.site.site.name,
        as_of=morning.as_of,
        day=pen.long_day(as_of),
        short_day=pen.day(as_of),
        areas=in_order,
        yesterday=tuple(c for area in in_order for c in changes_since_yesterday(area)),
        last_page="" if last is None else pen.day(np.datetime64(last.as_of, "D"), year=True),
        since_last=() if last is None else tuple(changes_since(last, morning, in_order, pen)),
        remedies=tuple(_remedies(morning, in_order, pen)),
        scouting=tuple(_scouting(morning, in_order, pen)),
        recorded=any(area.cover for area in morning.areas),
        data=tuple(_data(morning, pen, owed)),
        left_out=tuple(_left_out(morning)),
        credits=owed,
        cautions=words.CAUTIONS,
        message=_message(morning.site.site.name, pen.day(as_of), in_order),
    )


def _count(area: AreaView) -> int:
    return sum(row.level is area.level for row in area.rows)


def _remedies(morning: Morning, areas: Sequence[AreaView], pen: Pen) -> Iterator[Remedy]:
    """Say for each disease that asks for something, or is covered, where and with what."""
    where: dict[str, list[tuple[str, str]]] = {}
    names: dict[str, str] = {}
    for area in areas:
        for row in area.rows:
            said = _work(row)
            if said:
                where.setdefault(row.key, []).append((area.name, said))
                names[row.key] = row.name
    for key, places in where.items():
        disease = morning.library.diseases.get(key)
        worked = some = water = repeat = ""
        if disease is not None:
            worked, some = (", ".join(words.groups_by(disease, kind)) for kind in ("works", "some"))
            water, repeat = words.water_depth(disease, pen.show), words.interval_days(disease)
        yield Remedy(names[key], tuple(places), worked, some, water, repeat)


def _work(row: Row) -> str:
    """Say what there is to put on, to get ready, or left on; empty when nothing."""
    asked = ""
    if row.level is Level.DUE:
        asked = "due"
    elif row.level is Level.READY:
        asked = f"get ready, {row.when}" if row.when and not row.covered else "get ready"
    elif row.state is State.OPEN and not row.cover:
        asked = "keep on what is on"
    cover = row.cover if asked or row.covered else ""
    return "; ".join(part for part in (asked, cover) if part)


def _scouting(morning: Morning, areas: Sequence[AreaView], pen: Pen) -> Iterator[Scouting]:
    """Say for each disease what to look for, those to be looked for now first."""
    where: dict[str, list[tuple[str, str]]] = {}
    for area in areas:
        for row in area.rows:
            if row.scout:
                where.setdefault(row.key, []).append((area.name, row.scout))
    made = []
    for key, places in where.items():
        disease = morning.library.diseases.get(key)
        told = morning.library.groups[key] if disease is None else disease.expression
        begun = [name for name, since in places if since == "now"]
        said = begun or [f"{name} {since}" for name, since in places]
        look_for = "" if told.look_for is None else pen.prose(told.look_for.text)
        name = words.name_of(morning.library, key)
        samples = pen.prose(told.samples.text)
        made.append(Scouting(name, ", ".join(said), bool(begun), look_for, samples))
    yield from sorted(made, key=lambda s: not s.now)


def _data(morning: Morning, pen: Pen, owed: Sequence[str]) -> Iterator[str]:
    for reading in morning.readings:
        for probe in reading.logged.probes:
            yield words.probe_words(
                reading, probe, morning.as_of, pen.show, lambda day: pen.day(day, year=True)
            )
    for text in weather_lines(morning.weather, pen):
        if text not in owed:
            yield text
    yield from kept_lines(morning.applications, pen)
    yield ahead.ground_words(morning.ground)


def _left_out(morning: Morning) -> Iterator[str]:
    for reading in morning.readings:
        for flag in reading.logged.flags:
            yield f"{reading.logger.file}, {flag_words(flag)}"


def _message(site: str, day: str, areas: Sequence[AreaView]) -> str:
    """Say it all in one line that can be sent."""
    told = []
    for area in areas:
        named = [row.name for row in area.rows if row.level is area.level]
        if area.level in (Level.QUIET, Level.SCOUT):
            continue
        more = f" and {len(named) - _MESSAGE_NAMES} more" if len(named) > _MESSAGE_NAMES else ""
        said = f"{area.name} {area.level.words.upper()}: {', '.join(named[:_MESSAGE_NAMES])}{more}"
        told.append(said)
    fresh = [f"{area.name}, {row.name}" for area in areas for row in area.rows if row.fresh]
    new = f". Changed since yesterday: {'; '.join(fresh)}" if fresh else ""
    text = f"{site}, {day}: {'; '.join(told) or 'nothing due today'}{new}."
    return " ".join(text.split())  # one line, whatever stands in a name
