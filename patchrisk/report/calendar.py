"""The programme as an iCalendar file (RFC 5545): whole-day events of applications and upkeep."""

from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from unicodedata import category
from uuid import UUID, uuid5

import numpy as np
from icalendar import Calendar, Event, vText

from patchrisk import __version__
from patchrisk.base.errors import Fault, InputError
from patchrisk.base.pen import Pen, as_date
from patchrisk.base.user_files import is_there, read_file
from patchrisk.core.plan.programme import AreaPlan
from patchrisk.core.rules.rule import year_begins
from patchrisk.report.plan_sentences import (
    MEASURE_DONE,
    measure_name,
    measure_sentences,
    teller,
)
from patchrisk.report.plan_words import Done, ToDo, numbered
from patchrisk.report.words import CAUTIONS_IN_FULL, codes_words
from patchrisk.site_day.season_plan import SitePlan

_OURS = UUID("6f0c1f0e-6c0a-5d0b-9a53-1e6c5d9f4a27")  # names of our events; drawn once, kept
_MAKER = "-//patchrisk//programme"
_EPOCH = datetime(2020, 1, 1, tzinfo=UTC)
_MOST_BYTES = 5_000_000
_KEPT = ("uid", "dtstart", "dtend", "summary", "location", "transp", "categories")


def write_calendar(plan: SitePlan, now: datetime, before: Calendar | None = None) -> bytes:
    """Write the programme as a calendar that updates the one imported before.

    An event is known by the place, the area, the season and its number in the season, whatever
    day, group or disease it gets; so a new plan moves events instead of doubling them. With the
    calendar written before, a number that is not used any more is cancelled, and what is not part
    of this plan (other areas, earlier seasons) stays as it was.

    ``now`` is aware; it becomes DTSTAMP, and SEQUENCE counts minutes up to it, so that what is
    written later is the newer revision for every program that reads it. ``before`` is from
    `read_calendar`.
    """
    calendar = Calendar()
    calendar.add("prodid", f"{_MAKER} {__version__}//EN")
    calendar.add("version", "2.0")
    calendar.add("calscale", "GREGORIAN")
    calendar["X-WR-CALNAME"] = vText(_plain(f"{plan.site.site.name}: programme"))
    calendar.add("x-patchrisk-place", _id(plan))
    stamp = now.astimezone(UTC).replace(microsecond=0)
    written = set()
    for area in plan.areas:
        events = [e for step in numbered(plan.morning, area) for e in _events(plan, area, step)]
        for event in (*events, *_upkeep(plan, area)):
            _revise(event, stamp)
            calendar.add_component(event)
            written.add(str(event["uid"]))
    for event in _left(before):
        if str(event["uid"]) not in written:
            calendar.add_component(_cancelled(event, stamp) if _void(plan, event) else event)
    made: bytes = calendar.to_ical()
    return made


def read_calendar(path: Path, plan: SitePlan) -> Calendar | None:
    """Read the calendar that is about to be replaced; None when there is none.

    Raises
    ------
    InputError
        When the file is not a calendar of this site's programme: it must not be lost.
    """
    if not is_there(path):
        return None
    raw = read_file(path, _MOST_BYTES, "name another file, or move this one away")
    try:
        calendar = Calendar.from_ical(raw)
    except (ValueError, IndexError, RecursionError):
        found = "is there and is no calendar"
    else:
        place = str(calendar.get("x-patchrisk-place", ""))
        if place == _id(plan) and isinstance(calendar, Calendar):
            return calendar
        found = "holds the calendar of another site" if place else "holds other events"
    raise InputError(Fault(str(path), "", found, "name another file, or move this one away"))


def _id(plan: SitePlan, *parts: str) -> str:
    place = plan.site.site
    where = f"{place.latitude:.2f} {place.longitude:.2f}"
    return str(uuid5(_OURS, "\n".join([place.name, where, *parts])))


def _events(plan: SitePlan, area: AreaPlan, step: Done | ToDo) -> Iterator[Event]:
    """Yield an application, and its watering in as a task of its own while it is to come."""
    key = (str(step.season), str(step.number))
    event = _event(plan, area, step.day, step.day, *key)
    if isinstance(step, Done):
        event.add("status", "CONFIRMED")
        what = step.item.product or codes_words(step.item.codes) or "application"
        event.add("summary", _plain(f"{area.area}: {what} (done)"))
        event.add("description", "\n".join(["From your own records.", "", *CAUTIONS_IN_FULL]))
        yield event
        return
    label = step.item.choice.label
    event.add("status", "TENTATIVE")
    event.add("summary", _plain(f"{area.area}: {label} (planned)"))
    event.add("description", _plain(_description(plan, step)))
    yield event
    if step.water:
        task = _event(plan, area, step.day, step.day, *key, "water")
        task.add("status", "TENTATIVE")
        task.add("summary", _plain(f"{area.area}: water in {label}, {step.water}"))
        task.add("description", _plain("\n".join([step.watering, "", *CAUTIONS_IN_FULL])))
        yield task


def _upkeep(plan: SitePlan, area: AreaPlan) -> Iterator[Event]:
    """Yield what else holds its diseases, over the days that its source has it done."""
    tell = teller(plan.morning)
    for task in area.measures:
        if task.first is None or task.last is None:
            continue
        first, last = as_date(task.first), as_date(task.last)
        event = _event(plan, area, first, last, f"{first:%Y-%m}", task.finding.factor)
        event.add("status", "TENTATIVE")
        event.add("summary", _plain(f"{area.area}: {measure_name(task, tell)}"))
        told = (*measure_sentences([task], tell, area.as_of), MEASURE_DONE)
        event.add("description", _plain("\n".join(told)))
        yield event


def _event(plan: SitePlan, area: AreaPlan, first: date, last: date, *key: str) -> Event:
    event = Event()
    event.add("uid", _id(plan, area.area, *key))
    event.add("dtstart", first)
    event.add("dtend", last + timedelta(days=1))  # the first day that is not part of it
    event.add("transp", "TRANSPARENT")
    event.add("location", _plain(plan.site.site.name))
    event.add("categories", [_plain(area.area)])
    return event


def _description(plan: SitePlan, step: ToDo) -> str:
    made_on = Pen(plan.site.site.units).day(np.datetime64(plan.as_of), year=True)
    parts = (f"{heading}: {text}" for heading, text in step.parts.items())
    made = f"Planned {made_on}; plan anew after every real application."
    return "\n".join([step.choice, *parts, made, "", "Cautions", *CAUTIONS_IN_FULL])


def _plain(text: str) -> str:
    """Take out control characters, which a TEXT can't hold (RFC 5545, 3.3.11); lines may end."""
    return "".join(c for c in text.replace("\r\n", "\n") if c == "\n" or category(c) != "Cc")


def _revise(event: Event, stamp: datetime) -> None:
    event.add("dtstamp", stamp)
    event.add("last-modified", stamp)
    event.add("sequence", int((stamp - _EPOCH).total_seconds() // 60))


def _left(before: Calendar | None) -> Iterator[Event]:
    for event in () if before is None else before.walk("VEVENT"):
        if isinstance(event, Event) and {"UID", "DTSTART"} <= event.keys():
            yield event


def _void(plan: SitePlan, event: Event) -> bool:
    """Whether an event written before is one that this plan does without."""
    area = ", ".join(event.categories)
    elsewhere = {_plain(a.name) for a in plan.site.area} - {_plain(a.area) for a in plan.areas}
    southern = plan.site.site.southern
    over = _start(event) < year_begins(plan.as_of, southern=southern)
    return area not in elsewhere and not over


def _start(event: Event) -> date:
    start = event.start
    return start.date() if isinstance(start, datetime) else start


def _cancelled(event: Event, stamp: datetime) -> Event:
    gone = Event()
    for name in _KEPT:
        if name in event:
            gone[name.upper()] = event[name]
    gone.add("status", "CANCELLED")
    gone.add("description", "The plan made later does without it.")
    _revise(gone, stamp)
    return gone
