"""Disease files as text: the list, and one disease in full with its sources."""

from calendar import month_name
from collections.abc import Iterator, Sequence

from patchrisk.diseases import Disease, DiseaseGroup, Library, Number
from patchrisk.diseases.models import Culture, Observation, SiteFactor
from patchrisk.diseases.quantities import Source, Sourced
from patchrisk.diseases.rules import PublishedRule
from patchrisk.report.layout import heading, wrap
from patchrisk.report.words import Show, rule_words

_MEANING = {
    "treat": "Published timing of the preventive application",
    "infect": "Published conditions of infection",
    "express": "Published conditions of symptoms",
}


def write_list(library: Library, turf: str | None) -> str:
    """Write one entry for each disease and group, those of one grass when it is named."""
    return "\n".join(_list(library, turf))


def _list(library: Library, turf: str | None) -> Iterator[str]:
    for key, disease in library.diseases.items():
        if turf is not None and not disease.on(turf):
            continue
        rules = f"{len(disease.window)} rules" if disease.window else "no forecast"
        yield f"{key} ({rules})"
        hosts = ", ".join(dict.fromkeys(h.grass for h in disease.host))
        yield from wrap(f"{disease.in_short} Turf: {hosts}.", "    ")
    for key, group in library.groups.items():
        members = group.members_on(library.diseases, turf)
        if members:
            yield from wrap(f"{key} (a group: {', '.join(members)})", "", "  ")
            yield from wrap(group.in_short, "    ")


def write_disease(library: Library, name: str, show: Show) -> str:
    """Write a disease, or a group, in full."""
    key = library.find(name)
    if key in library.groups:
        return "\n".join(_group(library, library.groups[key], show))
    return "\n".join(_disease(library.diseases[key], show))


def _marks(item: Sourced) -> str:
    confidence = getattr(item, "confidence", None)
    parts = [item.short, item.seen, confidence]
    return "[" + "; ".join(p for p in parts if p) + "]"


def _note(note: str | None, indent: str) -> Iterator[str]:
    if note:
        yield from wrap(note, indent)


def _disease(d: Disease, show: Show) -> Iterator[str]:
    yield from heading(d.name)
    yield from wrap(d.in_short)
    for label, names in (("Also called", d.also), ("Formerly", d.former)):
        if names:
            yield from wrap(f"{label}: {', '.join(names)}.")
    for p in d.pathogen:
        former = f", formerly {', '.join(p.former)}" if p.former else ""
        yield from wrap(f"Pathogen: {p.name}{former}: {p.kind}. {_marks(p)}", "", "  ")
        yield from _note(p.note, "  ")
    for h in d.host:
        yield from wrap(
            f"Turf: {h.grass} ({h.species}), susceptibility {h.susceptibility}; "
            f"{', '.join(h.uses)}. {_marks(h)}",
            "",
            "  ",
        )
        yield from _note(h.note, "  ")
    if d.no_forecast is not None:
        yield from wrap(f"No temperature forecast: {d.no_forecast.text} {_marks(d.no_forecast)}")
    for meaning, title in _MEANING.items():
        rules = [w for w in d.window if w.meaning == meaning]
        if rules:
            yield ""
            yield from heading(title)
            for published in rules:
                yield from _rule(published, show)
    yield from _response(d)
    yield from _cultures(d.culture)
    yield from _expression(d)
    yield from _advice(d)
    if d.figure:
        yield ""
        yield from heading("Figures for reading; no rule uses them")
    for f in d.figure:
        yield from wrap(f"{f.text} {f.number.printed} {_marks(f.number)}", "- ", "  ")
        yield from _note(f.number.note, "  ")
    yield ""
    yield from _sources(d.sources)


def _rule(published: PublishedRule, show: Show) -> Iterator[str]:
    yield from wrap(f"{published.id}: {rule_words(published, show)}.", "- ", "  ")
    printed = {"threshold": published.threshold, **published.numbers}
    printed.pop("low" if published.direction != "falling" else "high", None)
    for name, number in printed.items():
        yield from wrap(
            f"{name.replace('_', ' ')} {number.printed} {_marks(number)}", "    ", "      "
        )
        yield from _note(number.note, "      ")
    yield from _note(published.statistic.note, "    ")
    season = published.season
    yield from wrap(
        f"season {season.start} to {season.end} (north) {_marks(season)}", "    ", "      "
    )
    yield from _note(season.note, "      ")
    yield from _note(published.note, "    ")


def _number(label: str, number: Number) -> Iterator[str]:
    yield from wrap(f"{label}: {number.printed} {_marks(number)}", "- ", "  ")
    yield from _note(number.note, "  ")


def _response(d: Disease) -> Iterator[str]:
    if d.response is None:
        return
    yield ""
    yield from heading("Response of infection to soil temperature")
    for label in ("minimum", "optimum", "maximum"):
        yield from _number(label, getattr(d.response, label))
    yield from wrap(d.response.basis, "  ")
    yield from _observations(d.response.observation, "- ")
    if d.response.wetness is not None:
        yield from wrap(f"{d.response.wetness.text} {_marks(d.response.wetness)}", "- ", "  ")


def _observations(observations: Sequence[Observation], bullet: str) -> Iterator[str]:
    """Write what each study saw, level by temperature."""
    indent = " " * len(bullet)
    for study in dict.fromkeys(o.study for o in observations):
        mine = [o for o in observations if o.study == study]
        seen = ", ".join(f"{o.temperature.printed} {o.level}" for o in mine)
        yield from wrap(f"{study}: {seen} {_marks(mine[0].temperature)}", bullet, indent)
        for o in mine:
            yield from _note(o.note and f"{o.temperature.printed}: {o.note}", indent)


def _cultures(cultures: Sequence[Culture]) -> Iterator[str]:
    if cultures:
        yield ""
        yield from heading("Growth on agar; never to be read as an infection window")
    for c in cultures:
        ends = {"minimum": c.minimum, "optimum": c.optimum, "maximum": c.maximum}
        told = [f"{name} {n.printed} {_marks(n)}" for name, n in ends.items() if n is not None]
        if c.colony is not None and c.after is not None and c.at is not None:
            grown = f"{c.colony.printed} in {c.after.printed} at {c.at.printed}"
            told.append(f"{grown} {_marks(c.colony)}")
        yield from wrap(f"{c.fungus}: {'; '.join(told) or 'see below'}", "- ", "  ")
        yield from _note(c.note, "  ")
        for number in (*ends.values(), c.colony):
            yield from _note(None if number is None else number.note, "  ")
        yield from _observations(c.observation, "  - ")


def _expression(d: Disease) -> Iterator[str]:
    e = d.expression
    yield ""
    yield from heading("What shows the damage, and when")
    yield from wrap(f"Shown by: {', '.join(e.shown_by)}.", "- ", "  ")
    months = ", ".join(month_name[m] for m in e.months.value)
    yield from wrap(f"Months (north): {months}. {_marks(e.months)}", "- ", "  ")
    yield from _note(e.months.note, "  ")
    if e.exposure is not None:
        yield from _number("days of infection before it", e.exposure)
    for item in (*e.stress, *e.lag, e.look_for, e.samples):
        yield from wrap(f"{item.text} {_marks(item)}", "- ", "  ")


def _advice(d: Disease) -> Iterator[str]:
    yield ""
    yield from heading("Mode-of-action groups (evidence; not a recommendation of a product)")
    for m in d.mode_of_action:
        actives = "; ".join(f"{name}: {how}" for name, how in m.actives.items())
        text = f"FRAC {m.frac}: {m.evidence}{f' ({actives})' if actives else ''} {_marks(m)}"
        yield from wrap(text, "- ", "  ")
        yield from _note(m.note, "  ")
    t = d.treatment
    for label, number in (
        ("interval", t.interval),
        ("number", t.number),
        ("watering in", t.watering_in),
        ("carrier", t.carrier),
    ):
        if number is not None:
            yield from _number(label, number)
    for note in t.note:
        yield from wrap(f"{note.text} {_marks(note)}", "- ", "  ")
    if d.site:
        yield ""
        yield from heading("Beyond the sprayer")
    for s in d.site:
        yield from _site(s)
    if d.dispute:
        yield ""
        yield from heading("Where the sources disagree")
    for p in d.dispute:
        yield from wrap(f"{p.about}: {p.text} {_marks(p)}", "- ", "  ")


def _site(s: SiteFactor) -> Iterator[str]:
    yield from wrap(f"{s.factor} ({s.effect}): {s.text} {_marks(s)}", "- ", "  ")
    ends = {"worse above": s.worse_above, "worse below": s.worse_below, "aim": s.aim}
    for name, number in ends.items():
        if number is not None:
            more = f"; {number.note}" if number.note else ""
            yield from wrap(f"{name} {number.printed}{more}", "  ", "    ")


def _group(library: Library, group: DiseaseGroup, show: Show) -> Iterator[str]:
    yield from heading(group.name)
    yield from wrap(group.in_short)
    for statement in group.common:
        yield from wrap(f"{statement.text} {_marks(statement)}", "- ", "  ")
    for told in filter(None, (group.look_for, group.samples)):
        yield from wrap(f"{told.text} {_marks(told)}", "- ", "  ")
    if group.watering_in is not None:
        yield from _number("watering in", group.watering_in)
    for published in group.window:
        yield from _rule(published, show)
    for s in group.site:
        yield from _site(s)
    for p in group.dispute:
        yield from wrap(f"{p.about}: {p.text} {_marks(p)}", "- ", "  ")
    yield ""
    yield from heading("Members (each in full with `patchrisk diseases NAME`)")
    for key, disease in group.members_on(library.diseases).items():
        yield from wrap(f"{key}: {disease.in_short}", "- ", "  ")
    yield ""
    yield from _sources(group.sources)


def _sources(sources: dict[str, Source]) -> Iterator[str]:
    yield from heading("Sources, and how each was read")
    for source in sources.values():
        yield from wrap(f"{source.short}: {source.citation} [{source.seen}]", "- ", "  ")
