"""From one visit to the next: the strip, the visit before, and the history that follows."""

from collections.abc import Iterator

import numpy as np

from patchrisk.base.pen import Pen, capital
from patchrisk.core.visit.causes import ROOT_FAMILIES
from patchrisk.core.visit.findings import Place
from patchrisk.report.visit import words
from patchrisk.report.words import name_of
from patchrisk.site_day.visit import VisitDay

STRIP = (
    "One strip beside another is a look, no trial: what differs between them can be the ground as "
    "well. It shows whether it is worth looking again; three or more of each would begin to tell."
)
PROPOSE_STRIP = (
    "To learn whether a treatment helps here, leave one strip untreated beside a treated one, mark "
    "both, and write them into the next visit under [strip]."
)


def strip_lines(day: VisitDay, pen: Pen) -> Iterator[str]:
    """Compare a treated strip with an untreated one, or propose one where roots are diseased."""
    strip = day.data.file.strip
    if strip is None:
        causes = day.findings.causes
        if any(c.family in ROOT_FAMILIES and c.status == "for" for c in causes):
            yield PROPOSE_STRIP
        return
    names = {p.name: p for p in day.visit.places}
    missing = [n for n in (strip.treated, strip.untreated) if n not in names]
    if missing:
        yield f"No place {missing[0]!r} in this visit: the strip is not compared."
        return
    treated, other = names[strip.treated], names[strip.untreated]
    since = pen.day(np.datetime64(strip.since))
    yield f"Treated with {strip.what} since {since}: {strip.treated}; untreated: {strip.untreated}."
    yield f"{_difference(treated, other, pen)} {STRIP}"


def _difference(one: Place, other: Place, pen: Pen) -> str:
    parts = []
    if one.damage is not None and other.damage is not None:
        parts.append(f"thin or dead {one.damage:g} % against {other.damage:g} %")
    if one.length_cm is not None and other.length_cm is not None:
        a, b = (pen.show("depth", p, 1) for p in (one.length_cm, other.length_cm))
        parts.append(f"roots {a} against {b}")
    for key in sorted(set(one.signs) & set(other.signs)):
        if one.signs[key] != other.signs[key]:
            parts.append(f"{words.sign_words(key)} {one.signs[key]} against {other.signs[key]}")
    return f"{capital('; '.join(parts))}." if parts else "Nothing was looked at in both."


def compared(day: VisitDay, pen: Pen) -> Iterator[str]:
    """Set each place beside the one of its name in the visit before."""
    if day.before is None:
        return
    old, findings = day.before
    when = pen.day(np.datetime64(old.file.date), year=True)
    opening, _ = words.answer_words(findings, day.morning.library, {})
    yield f"On {when}: {opening}"
    before = {p.name.casefold(): p for p in old.places}
    for place in day.visit.places:
        then = before.get(place.name.casefold())
        if then is None:
            yield f"{place.name}: not in that visit."
            continue
        text = _difference(place, then, pen)
        values = {v.key: v.value for v in then.soil if not v.below}
        moved = [
            f"{v.analyte} {words.figure_words(v)} (was {values[v.key]:.3g})"
            for v in place.soil
            if v.key in values and not v.below and v.analyte in ("conductivity", "pH")
        ]
        more = f" {capital('; '.join(moved))}." if moved else ""
        yield f"{place.name}, now against then: {text}{more}"
    yield "Places of a green differ, and so do two plugs of one place: a small change says little."


def proposed_history(day: VisitDay) -> Iterator[str]:
    """Propose what the area's history would be; the user writes it."""
    library, area = day.morning.library, day.area.area
    known = {name: str(how) for name, how in area.history_known.items()}
    written = {library.find(name): name for name in known}
    fresh = dict.fromkeys(day.visit.found, "laboratory")
    dark = day.findings.cause("dark-root-infecting-fungi")
    members = {c.key for c in day.findings.causes if c.family == "dark"}
    if dark is not None and dark.status == "for" and not members & set(fresh):
        fresh[dark.key] = "suspected"
    changes = {k: how for k, how in fresh.items() if known.get(written.get(k, "")) != how}
    for key, how in changes.items():
        known.pop(written.get(key, ""), None)
        group = library.groups.get(key)
        for member in () if group is None else group.members:
            name = written.get(member, "")
            if known.get(name, "").startswith("none"):
                yield (
                    f"The site file has {name} as {known.pop(name)}: that no longer stands, and "
                    "is left out below."
                )
        known[name_of(library, key)] = how
    if changes:
        pairs = ", ".join(f'"{name}" = "{how}"' for name, how in known.items())
        yield f"Proposed for {area.name} in the site file, if you agree: history = {{ {pairs} }}"
