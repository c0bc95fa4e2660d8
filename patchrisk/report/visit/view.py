"""A judged visit as one view: what terminal, page and JSON all say."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from patchrisk.base.pen import Pen, capital, count_of, listed
from patchrisk.base.toml_files import load_numbers
from patchrisk.core.visit.causes import ROOT_FAMILIES
from patchrisk.core.visit.findings import Cause, Place, Season
from patchrisk.core.visit.soil_tests import Judged
from patchrisk.read.groups import load_groups
from patchrisk.read.visit.file import VisitData
from patchrisk.read.visit.guidelines import visit_words
from patchrisk.report.story import AT_ONCE, next_start, usual_words, what_it_did
from patchrisk.report.visit import words
from patchrisk.report.words import MORNING_CAUTIONS, groups_by_evidence, name_of
from patchrisk.site_day.visit import VisitDay, warm_days

_MEASURED = {
    "air_filled": "Air-filled pores",
    "dead": "Turf long dead",
    "drop_time": "Water drop",
    "frost": "Frost",
}
_TOLD = ("Seen", "Roots", "Under the microscope")
_GROUND = {
    "drop_time": ("Water drop stands", "{:g} s"),
    "infiltration": ("Water goes in", "{:g} mm/h"),
    "moisture": ("Moisture", "{:g} %"),
    "air_filled": ("Air-filled pores", "{:g} %"),
}

_STRIP = (
    "One strip beside another is a look, no trial: what differs between them can be the ground as "
    "well. It shows whether it is worth looking again; three or more of each would begin to tell."
)
_PROPOSE_STRIP = (
    "To learn whether a treatment helps here, leave one strip untreated beside a treated one, mark "
    "both, and write them into the next visit under [strip]."
)


@dataclass(frozen=True)
class CauseView:
    """A cause in words: what speaks for it, against it, and stands beside it."""

    key: str
    name: str
    status: str
    speaks_for: tuple[str, ...]
    speaks_against: tuple[str, ...]
    beside: tuple[str, ...]


@dataclass(frozen=True)
class Row:
    """A row of the table of places: a label, a cell for each place, and what it is held against.

    ``told``: the cells are words, not figures.
    """

    label: str
    cells: tuple[str, ...]
    held: tuple[str, ...] = ()
    told: bool = False


@dataclass(frozen=True)
class VisitView:
    """Everything a visit's report says; texts are plain, to be escaped where they are shown."""

    site: str
    area: str
    turf: str
    day: str
    iso_day: str
    thinned: str
    answer: str
    opening: str
    firmness: str
    defers: str
    note: str
    places: tuple[str, ...]
    rows: tuple[Row, ...]
    order: str
    causes: tuple[CauseView, ...]
    unlooked: str
    tests: tuple[tuple[str, str], ...]
    season: tuple[str, ...]
    today: tuple[str, ...]
    month: tuple[str, ...]
    next_season: tuple[str, ...]
    strip: tuple[str, ...]
    compared: tuple[str, ...]
    history: tuple[str, ...]
    laboratory: tuple[str, ...]
    confirm: str
    published: tuple[str, ...]
    sources: tuple[str, ...]
    cautions: str


def view_of_visit(day: VisitDay) -> VisitView:
    """Put a judged visit in words."""
    file, found, area = day.data.file, day.findings, day.area.area
    library, site = day.morning.library, day.morning.site.site
    pen = Pen(site.units, file.date.year)
    thinned = "" if file.thinned is None else f"thin since {pen.day(np.datetime64(file.thinned))}"
    opening, firmness = words.answer_words(
        found,
        library,
        {
            c.key: _fit_words(c.season)
            for c in day.visit.candidates
            if c.season.infected_days is not None
        },
        bare=not any(_looked(p) for p in day.visit.places),
        untold=all(p.damage is None for p in file.place),
    )
    looked = [c for c in found.causes if c.status != "not looked at"]
    unlooked = [words.cause_name(c.key, library) for c in found.causes if c not in looked]
    wrong = found.answer != "nothing wrong"
    keys = {c.key for c in found.causes if c.status == "for"} | ({"damage"} if wrong else set())
    advice = [row for row in visit_words().advice if row.cause in keys]
    return VisitView(
        site=site.name,
        area=area.name,
        turf=area.turf_words,
        day=pen.long_day(np.datetime64(file.date)),
        iso_day=str(file.date),
        thinned=thinned,
        answer=found.answer,
        opening=opening,
        firmness=firmness,
        defers=words.DEFERS,
        note=file.note,
        places=tuple(p.name for p in file.place),
        rows=tuple(_rows(day, pen)),
        order=words.order_words(found, len(file.place)),
        causes=tuple(_cause(day, c, pen) for c in looked),
        unlooked=listed(list(dict.fromkeys(unlooked))),
        tests=tuple((pen.prose(capital(t.what)), pen.prose(t.changes)) for t in found.next_tests),
        season=tuple(_season_lines(day, pen)),
        today=(
            *([AT_ONCE] if wrong else []),
            *(f"{a.today} (Common practice, no source.)" for a in advice if a.today),
        ),
        month=tuple(a.month for a in advice if a.month),
        next_season=tuple(_next_season(day, pen)),
        strip=tuple(_strip(day, pen)),
        compared=tuple(_compared(day, pen)),
        history=tuple(_proposed_history(day)),
        laboratory=tuple(_laboratory(day.data)),
        confirm=_confirm(day.data),
        published=tuple(
            f"{p.text} [{p.source}]" for p in visit_words().published if p.of in found.standing
        ),
        sources=tuple(_sources(day)),
        cautions=MORNING_CAUTIONS,
    )


def _looked(place: Place) -> bool:
    """Whether anything but damage is told of a place."""
    return bool(place.roots_seen or place.soil or place.nematodes or place.ground or place.crowns)


def _fit_words(season: Season) -> str:
    days = season.infected_days
    if not days:
        return "no day of infection last season"
    fits = "damage shows now" if season.shows else "damage shows at another time"
    return f"{count_of(days, 'day')} of infection, {fits}"


def _cause(day: VisitDay, cause: Cause, pen: Pen) -> CauseView:
    library = day.morning.library
    said: dict[str, list[str]] = {"for": [], "against": [], "beside": []}
    for fact in cause.facts:
        said[fact.side].append(capital(words.fact_words(fact, pen, library)))
    divided = any(
        c.family == cause.family and c.status == "for" and c.key in library.diseases
        for c in day.findings.causes
    )
    name = words.cause_name(cause.key, library)
    return CauseView(
        cause.key,
        name.partition(",")[0] if divided else name,
        words.STATUS[cause.status],
        *(tuple(dict.fromkeys(said[side])) for side in ("for", "against", "beside")),
    )


def _rows(day: VisitDay, pen: Pen) -> Iterator[Row]:
    items, places, soil = day.data.file.place, day.visit.places, day.findings.soil
    table = day.data.tests
    black = {True: "yes", False: "no", None: ""}
    thatch = [p.ground.get("thatch") for p in places]
    cells = {
        "Thin or dead": ["" if p.damage is None else f"{p.damage:g} %" for p in items],
        "Seen": [p.seen for p in items],
        "Roots": [_roots(p, pen) for p in places],
        "Under the microscope": [_signs(p) for p in places],
        "Crowns": [p.crowns for p in places],
    }
    for key, (label, pattern) in _GROUND.items():
        cells[label] = [pattern.format(p.ground[key]) if key in p.ground else "" for p in places]
    cells["Black layer"] = [black[p.black_layer] for p in places]
    cells["Thatch"] = ["" if t is None else pen.show("depth", t, 1) for t in thatch]
    for label, texts in cells.items():
        if any(texts):
            yield Row(label, tuple(texts), told=label in _TOLD)
    for kind in dict.fromkeys(kind for p in places for kind in p.nematodes):
        limit = table.nematodes.get(kind)
        counts = [f"{p.nematodes[kind]:.0f}" if kind in p.nematodes else "" for p in places]
        held = "not in the table" if limit is None else f"table {limit:g} [{table.nematodes_short}]"
        yield Row(f"Nematodes, {kind}, in 100 cm3", tuple(counts), (held,))
    tests = {j.value.key for place in soil for j in place}
    for test in sorted(tests, key=lambda test: (test[0].casefold(), test[1])):
        at = [next((j for j in place if j.value.key == test), None) for place in soil]
        yield _soil_row(test, at, pen)


def _soil_row(key: tuple[str, str], at: Sequence[Judged | None], pen: Pen) -> Row:
    told = [j for j in at if j is not None]
    unit = words.unit_words(told[0].value.unit, pen)
    label = ", ".join(
        part for part in (capital(key[0]) if key[0] != "pH" else "pH", *key[1:]) if part
    )
    cells = ["" if j is None else _cell(j) for j in at]
    held = [words.guideline_words(h.guideline) for h in told[-1].held]
    if made := told[-1].value.worked_out:
        held.insert(0, f"worked out: {made}")
    return Row(f"{label} [{unit}]" if unit else label, tuple(cells), tuple(held) or ("not judged",))


def _cell(judged: Judged) -> str:
    mark = {"outside": " (outside)", "open": " (borderline)"}.get(judged.verdict, "")
    return words.figure_words(judged.value) + mark


def _roots(place: Place, pen: Pen) -> str:
    length = "" if place.length_cm is None else pen.show("depth", place.length_cm, 1)
    density = f"{place.density} roots" if place.density else ""
    return ", ".join(part for part in (length, place.colour, density) if part)


def _signs(place: Place) -> str:
    return "; ".join(f"{key.replace('_', ' ')} {amount}" for key, amount in place.signs.items())


def _season_lines(day: VisitDay, pen: Pen) -> Iterator[str]:
    area, library = day.then, day.morning.library
    stories = [k for k in day.findings.standing if k in area.stories and k in area.judged]
    for key in stories:
        yield what_it_did(area.stories[key], library, pen)
    heat_c = load_numbers("verdict")["turning.heat"].value
    warm = warm_days(area, heat_c)
    if warm is not None and day.visit.cool_season:
        days, of, usual, more_than = warm
        hot = pen.show("soil temperature", heat_c, 0)
        yield (
            f"On {count_of(days, 'day')} of the {of} before it thinned the soil was at {hot} or "
            f"above{usual_words(usual, more_than)}."
        )
    soil = area.soil.mean_c
    if not np.isfinite(soil).any():
        yield (
            "No soil temperature is known before this visit: neither a log nor daily weather "
            "reaches back so far, so that the season says nothing here."
        )
    elif not stories:
        yield "Of no disease that is left was the soil right for infection in the days on record."


def _next_season(day: VisitDay, pen: Pen) -> Iterator[str]:
    site, library = day.morning.site, day.morning.library
    gone = load_groups().gone(site.programme.without_groups, site.site.country)
    for key in day.findings.standing:
        text = next_start(day.area.judged[key], pen) if key in day.area.judged else ""
        if text:
            disease = library.diseases[key]
            stands = [f"FRAC {codes} {label}" for label, codes in groups_by_evidence(disease, gone)]
            groups = f" Groups: {'; '.join(stands)}." if stands else ""
            yield f"{capital(disease.name)}: {text[:1].lower()}{text[1:]}{groups}"


def _laboratory(data: VisitData) -> Iterator[str]:
    if data.laboratory is not None:
        yield f"{data.file.laboratory.file} was read so:"
        yield from data.laboratory.columns
        yield from data.laboratory.notes


def _confirm(data: VisitData) -> str:
    if data.laboratory is None or data.file.laboratory.confirmed:
        return ""
    return (
        "Look at how the laboratory's columns were read (below); when it is right, write "
        "confirmed = true under [laboratory]."
    )


def _sources(day: VisitDay) -> Iterator[str]:
    held = (h.guideline for p in day.findings.soil for j in p for h in j.held)
    yield from dict.fromkeys(guideline.citation for guideline in held)
    if any(p.nematodes for p in day.visit.places):
        yield day.data.tests.nematodes_source
    seen = {key for p in day.visit.places for key in p.ground}
    seen |= {"frost"} if "cold" in day.findings.standing else set()
    seen |= {"dead"} if day.findings.answer == "wrong place" else set()
    for key, name in _MEASURED.items():
        told = [n.source for at, n in load_numbers("visit").items() if f"ground.{key}." in at]
        if key in seen:
            yield f"{name}: {'; '.join(told)}"
    signs = {key for p in day.visit.places for key in p.signs}
    for sign in visit_words().sign:
        if sign.key in signs:
            yield f"{capital(sign.words)}: {sign.source}"


# --- from one visit to the next -------------------------------------------------------------------


def _strip(day: VisitDay, pen: Pen) -> Iterator[str]:
    """Compare a treated strip with an untreated one, or propose one where roots are diseased."""
    strip = day.data.file.strip
    if strip is None:
        causes = day.findings.causes
        if any(c.family in ROOT_FAMILIES and c.status == "for" for c in causes):
            yield _PROPOSE_STRIP
        return
    names = {p.name: p for p in day.visit.places}
    missing = [n for n in (strip.treated, strip.untreated) if n not in names]
    if missing:
        yield f"No place {missing[0]!r} in this visit: the strip is not compared."
        return
    treated, other = names[strip.treated], names[strip.untreated]
    since = pen.day(np.datetime64(strip.since))
    yield f"Treated with {strip.what} since {since}: {strip.treated}; untreated: {strip.untreated}."
    yield f"{_difference(treated, other, pen)} {_STRIP}"


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


def _compared(day: VisitDay, pen: Pen) -> Iterator[str]:
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


def _proposed_history(day: VisitDay) -> Iterator[str]:
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
