"""One area in words: what to do today, its soil, its windows in order of urgency."""

from collections.abc import Callable, Iterator, Mapping, Sequence

import numpy as np

from patchrisk.at_site.morning import AreaMorning, Morning
from patchrisk.outlook import DiseaseToday
from patchrisk.pen import Pen
from patchrisk.programme.cover import Cover
from patchrisk.programme.plan import AreaPlan
from patchrisk.programme.plan import Planned as PlannedApplication
from patchrisk.report import words
from patchrisk.report.cover import water_words, went_on
from patchrisk.report.view.model import AreaView, Change, Level, Planned, Row, Task
from patchrisk.report.view.row import LIKELY, row_of, rule_open
from patchrisk.soil.series import SoilSeries
from patchrisk.windows import State

_OLD_DAYS = 3  # days without a soil figure that are said under what to do
_IN_DOUBT = 0.8  # an open window that is less sure than this is named with its chance
_ORDER = (State.OPEN, State.NEARING, State.UNKNOWN, State.CLOSED, State.NOT_YET)


def area_view(morning: Morning, area: AreaMorning, plan: AreaPlan | None, pen: Pen) -> AreaView:
    """Put an area into words."""
    library = morning.library
    as_of = np.datetime64(morning.as_of, "D")
    pairs = [(today, row_of(library, area, today, as_of, pen)) for today in area.diseases]
    pairs.sort(key=lambda pair: _rank(*pair))
    rows = tuple(row for _, row in pairs)
    level = max((row.level for row in rows), default=Level.QUIET)
    reasons = ((library.diseases[key].name, library.diseases[key].no_forecast)
               for key in area.without)  # fmt: skip
    turf = ", ".join(t for t in (area.area.turf or "any turf", area.area.root_zone) if t)
    name = library_name(morning)
    planned = () if plan is None else tuple(_planned(p, name, pen) for p in plan.planned)
    return AreaView(
        area.area.name,
        turf,
        level,
        tuple(_tasks(area, pairs, pen)),
        _soil(area.soil, pen),
        _last_on(morning, area, pen),
        rows,
        tuple((name, "" if reason is None else pen.prose(reason.text)) for name, reason in reasons),
        planned,
        () if plan is None else (*plan.advice, *map(pen.prose, plan.measures)),
    )


def changes_since_yesterday(area: AreaView) -> list[Change]:
    """Return what changed since the morning before, window by window."""
    return [
        Change(area.name, f"{row.name}: {row.state.words}, {row.fresh.removeprefix('new, ')}")
        if row.fresh.startswith("new, ")
        else Change(area.name, f"{row.name}: {row.fresh}")
        for row in area.rows
        if row.fresh
    ]


def library_name(morning: Morning) -> Callable[[str], str]:
    """Return a function that names a disease by its key."""
    return lambda key: words.name_of(morning.library, key)


def _rank(today: DiseaseToday, row: Row) -> tuple[int, int, bool, bool, float]:
    """Most urgent first; then what is new, what was seen here before, and what is surest."""
    sure = words.chance_of(today)
    return (
        -row.level if row.level > Level.SCOUT else 0,
        _ORDER.index(row.state),
        today.state is today.yesterday,
        not row.seen_before,
        -(sure or 0.0),
    )


def _tasks(area: AreaMorning, pairs: Sequence[tuple[DiseaseToday, Row]], pen: Pen) -> list[Task]:
    """Say what to do today, most urgent first; scouting only where there is nothing else."""

    def of(level: Level) -> list[tuple[DiseaseToday, Row]]:
        return [pair for pair in pairs if pair[1].level is level]

    told = []
    if of(Level.DUE):
        known = all(row.key in area.cover for _, row in of(Level.DUE))
        lead = "Preventive due today:" if known else "Preventive due today unless one is on:"
        told.append(Task(lead, _list([_named(*pair, area.cover) for pair in of(Level.DUE)])))
    if of(Level.READ_OUT):
        names = _list([row.name for _, row in of(Level.READ_OUT)])
        told.append(Task("Read out the logger or give air temperature: no telling for", names))
    urgent = bool(told)
    ending = [row for today, row in of(Level.READY) if today.state is State.OPEN]
    told += _ending(area, ending, pen)
    coming = [_coming(area, t, row, pen) for t, row in of(Level.READY) if t.state is not State.OPEN]
    if coming:
        told.append(Task("Get ready for", _list(coming)))
    if not told and of(Level.SCOUT):
        names = _list([row.name for _, row in of(Level.SCOUT)])
        told.append(Task("Scout for", names))
    if told and not urgent:
        first = told[0]
        lead = f"Nothing to put on today; {first.lead[:1].lower()}{first.lead[1:]}"
        told[0] = Task(lead, first.names)
    return [
        *(told or [Task(f"Nothing to do today{_next(area, pairs, pen)}", "")]),
        *_old(area.soil, pen),
    ]


def _old(soil: SoilSeries, pen: Pen) -> Iterator[Task]:
    """Say that figures stopped coming, also where nothing hangs on them this morning."""
    known = np.flatnonzero(~np.isnan(soil.mean_c))
    if known.size and len(soil.dates) - 1 - known[-1] >= _OLD_DAYS:
        yield Task(f"No soil figure since {pen.day(soil.dates[known[-1]], year=True)}", "")


def _named(today: DiseaseToday, row: Row, cover: Mapping[str, Cover]) -> str:
    sure = words.chance_of(today)
    marks = []
    if today.state is not today.yesterday:
        marks.append("new")
    if sure is not None and sure < _IN_DOUBT:
        marks.append(f"{words.chance_percent(sure)} sure")
    bare = len(cover[row.key].bare_open) if row.key in cover else 0
    if bare > 1:
        marks.append(f"{bare} days unprotected")
    if row.seen_before:
        marks.append("seen here before")
    return f"{row.name} ({', '.join(marks)})" if marks else row.name


def _ending(area: AreaMorning, rows: Sequence[Row], pen: Pen) -> Iterator[Task]:
    """Say whose cover ends, day by day."""
    by_day: dict[np.datetime64, list[str]] = {}
    for row in rows:
        until = area.cover[row.key].until
        assert until is not None
        by_day.setdefault(until, []).append(row.name)
    for until in sorted(by_day):
        yield Task(f"Last protected day {pen.day(until)}:", _list(by_day[until]))


def _coming(area: AreaMorning, today: DiseaseToday, row: Row, pen: Pen) -> str:
    ahead = area.ahead.get(row.key)
    rule = None if ahead is None else ahead.middle
    if rule_open(today):
        opened = sum(r.state is State.OPEN for r in today.deciding)
        return f"{row.name} ({opened} of {len(today.deciding)} published rules open)"
    if rule is None or rule.middle is None or rule.opened_before > LIKELY:
        return row.name
    return f"{row.name} (about {pen.day(rule.middle)})"


def _next(area: AreaMorning, pairs: Sequence[tuple[DiseaseToday, Row]], pen: Pen) -> str:
    """Name the window that opens next."""
    dated = []
    for today, row in pairs:
        ahead = area.ahead.get(today.key)
        rule = None if ahead is None else ahead.middle
        if rule is None or rule.middle is None or rule.opened_before > LIKELY:
            continue
        if today.state in (State.NOT_YET, State.CLOSED, State.NEARING):
            dated.append((rule.middle, row.name))
    if not dated:
        return ""
    day, name = min(dated)
    return f"; next is {name}, about {pen.day(day)}"


def _list(names: Sequence[str]) -> str:
    if len(names) < 2:
        return "".join(names)
    return f"{', '.join(names[:-1])} and {names[-1]}"


def _last_on(morning: Morning, area: AreaMorning, pen: Pen) -> str:
    """Name the latest application on record; empty where no records are kept."""
    if morning.applications is None:
        return ""
    mine = [one for one in morning.applications.rows if one.area == area.area.name]
    if not mine:
        return "No application on record."
    last = max(mine, key=lambda one: one.day)
    wet = water_words(last, pen)
    return f"Last application: {went_on(last, pen)}{f', {wet}' if wet else ''}."


def _soil(soil: SoilSeries, pen: Pen) -> str:
    depth = pen.show("depth", soil.depth_cm)
    if np.isnan(soil.mean_c[-1]):
        known = np.flatnonzero(~np.isnan(soil.mean_c))
        last = "yet"
        if known.size:
            last = f"for yesterday; the last is of {pen.day(soil.dates[known[-1]], year=True)}"
        return f"Soil at {depth}: no figure {last}."
    error = pen.show("temperature difference", 1.2816 * float(soil.sd_c[-1]))
    text = (
        f"Soil at {depth} on {pen.day(soil.dates[-1])}: "
        f"{pen.show('soil temperature', float(soil.mean_c[-1]))} within {error}, "
        f"{soil.came_from[-1]}{_soil_from(soil)}"
    )
    if not np.isnan(soil.max_c[-1]):
        text += f", highest {pen.show('soil temperature', float(soil.max_c[-1]))}"
    week = soil.mean_c[-8:-1]
    if np.isfinite(week).any():
        change = float(soil.mean_c[-1] - np.nanmean(week))
        shown = pen.show("temperature difference", abs(change))
        way = f"{shown} {'above' if change > 0 else 'below'}"
        text += f"; {'as' if shown.startswith('0.0 ') else way} last week"
    return text + "."


def _soil_from(soil: SoilSeries) -> str:
    """Say where the fortnight's days came from, unless they are all of the last day's kind."""
    recent = soil.came_from[-14:]
    if (recent == recent[-1]).all():
        return ""
    kinds = [(str(kind) or "unknown", int((recent == kind).sum())) for kind in np.unique(recent)]
    told = ", ".join(f"{count} {kind}" for kind, count in sorted(kinds, key=lambda k: -k[1]))
    return f" ({told} in {len(recent)} days)"


def _planned(planned: PlannedApplication, name: Callable[[str], str], pen: Pen) -> Planned:
    amounts = "; ".join(planned.amounts)
    return Planned(
        f"{pen.day(planned.day)} ({pen.days(planned.earliest, planned.latest)})"
        if planned.earliest != planned.latest
        else pen.day(planned.day),
        planned.choice.label,
        _list([name(key) for key in planned.targets]),
        " ".join(_sentences(planned.watering.words if planned.watering else "", amounts)),
        (*planned.reasons, *planned.cautions),
    )


def _sentences(*texts: str) -> Iterator[str]:
    for text in texts:
        if text:
            yield f"{text[:1].upper()}{text[1:].rstrip('.')}."
