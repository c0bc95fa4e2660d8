"""Disease files as text: the list, and one disease in full with its sources."""

from calendar import month_name
from collections.abc import Iterable, Iterator, Sequence

from patchrisk.read.diseases import Disease, DiseaseGroup, Library, Number
from patchrisk.read.diseases.models import (
    Culture,
    Dispute,
    Expression,
    InfectionSeason,
    Observation,
    Response,
    SiteFactor,
)
from patchrisk.read.diseases.quantities import Source, Sourced
from patchrisk.read.diseases.rules import PublishedRule
from patchrisk.report.layout import as_text, heading, wrap
from patchrisk.report.words import Show, rule_words

_MEANING = {
    "treat": "Published timing of the preventive application",
    "infect": "Published conditions of infection",
    "express": "Published conditions of symptoms",
}


@as_text
def write_list(library: Library, turf: str | None) -> Iterator[str]:
    """Write one entry for each disease and group, those of one grass when it is named."""
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


@as_text
def write_disease(library: Library, name: str, show: Show) -> Iterator[str]:
    """Write a disease, or a group, in full."""
    key = library.find(name)
    if key in library.groups:
        yield from _group(library, library.groups[key], show)
    else:
        yield from _disease(library.diseases[key], show)


def _marks(item: Sourced) -> str:
    confidence = getattr(item, "confidence", None)
    parts = [item.short, item.seen, confidence]
    return "[" + "; ".join(p for p in parts if p) + "]"


def _note(note: str | None, indent: str) -> Iterator[str]:
    if note:
        yield from wrap(note, indent)


def _cited(
    text: str, item: Sourced, note: str | None = None, first: str = "- ", rest: str = "  "
) -> Iterator[str]:
    """Write a text with its source and how that was read, and a note under it."""
    yield from wrap(f"{text} {_marks(item)}", first, rest)
    yield from _note(note, rest)


def _under(text: str, item: Sourced, note: str | None = None) -> Iterator[str]:
    """Write the same set in, under what it belongs to."""
    return _cited(text, item, note, "    ", "      ")


def _section(title: str, lines: Iterable[str]) -> Iterator[str]:
    """Write lines under a heading; nothing where there are none."""
    lines = list(lines)
    if lines:
        yield from ("", *heading(title), *lines)


def _disputes(disputes: Iterable[Dispute]) -> Iterator[str]:
    for p in disputes:
        yield from _cited(f"{p.about}: {p.text}", p)


def _disease(d: Disease, show: Show) -> Iterator[str]:
    yield from heading(d.name)
    yield from wrap(d.in_short)
    for label, names in (("Also called", d.also), ("Formerly", d.former)):
        if names:
            yield from wrap(f"{label}: {', '.join(names)}.")
    for p in d.pathogen:
        former = f", formerly {', '.join(p.former)}" if p.former else ""
        yield from _cited(f"Pathogen: {p.name}{former}: {p.kind}.", p, p.note, "")
    for h in d.host:
        grass = f"Turf: {h.grass} ({h.species}), susceptibility {h.susceptibility}"
        yield from _cited(f"{grass}; {', '.join(h.uses)}.", h, h.note, "")
    if d.no_forecast is not None:
        text = f"No temperature forecast: {d.no_forecast.text}"
        yield from _cited(text, d.no_forecast, None, "", "")
    for meaning, title in _MEANING.items():
        rules = [line for w in d.window if w.meaning == meaning for line in _rule(w, show)]
        yield from _section(title, rules)
    yield from _section(
        "Seasons of infection, and the damage each leads to (north)",
        [line for s in d.season for line in _season(s)],
    )
    if d.risk_age is not None:
        on = f" on {', '.join(d.risk_age.grass)}" if d.risk_age.grass else ""
        yield from _number(f"stands at risk without a history{on}, up to", d.risk_age.age)
        yield from _note(d.risk_age.note, "  ")
    if d.response is not None:
        yield from _section("Response of infection to soil temperature", _response(d.response))
    yield from _section(
        "Growth on agar; never to be read as an infection window", _cultures(d.culture)
    )
    yield from _section("What shows the damage, and when", _expression(d.expression))
    yield from _section(
        "Mode-of-action groups (evidence; not a recommendation of a product)", _advice(d)
    )
    yield from _section("Beyond the sprayer", [line for s in d.site for line in _site(s)])
    yield from _section("Where the sources disagree", _disputes(d.dispute))
    figures = [
        line
        for f in d.figure
        for line in _cited(f"{f.text} {f.number.printed}", f.number, f.number.note)
    ]
    yield from _section("Figures for reading; no rule uses them", figures)
    yield from _sources(d.sources)


def _rule(published: PublishedRule, show: Show) -> Iterator[str]:
    yield from wrap(f"{published.id}: {rule_words(published, show)}.", "- ", "  ")
    printed = {"threshold": published.threshold, **published.numbers}
    printed.pop("low" if published.direction != "falling" else "high", None)
    for name, number in printed.items():
        yield from _under(f"{name.replace('_', ' ')} {number.printed}", number, number.note)
    yield from _note(published.statistic.note, "    ")
    season = published.season
    yield from _under(f"season {season.start} to {season.end} (north)", season, season.note)
    if published.grass:
        yield from wrap(f"only on {', '.join(published.grass)}", "    ", "      ")
    yield from _note(published.note, "    ")


def _number(label: str, number: Number) -> Iterator[str]:
    return _cited(f"{label}: {number.printed}", number, number.note)


def _season(s: InfectionSeason) -> Iterator[str]:
    on = f" on {', '.join(s.grass)}" if s.grass else ""
    yield from _cited(f"{s.id}{on}: {s.span.start} to {s.span.end}, soil {s.turn}", s.span)
    yield from _note(s.span.note, "    ")
    yield from wrap(f"begins by {', '.join(s.rules)}", "    ", "      ")
    for label, bound in (("above", s.infect_above), ("below", s.infect_below)):
        if bound is not None:
            text = f"roots are infected {label} {bound.printed}"
            yield from _under(text, bound, bound.note)
    if s.treat_until is not None:
        text = f"worth an application until {s.treat_until.day}"
        yield from _under(text, s.treat_until, s.treat_until.note)
    yield from _under(f"its damage shows in {_months(s.shows.value)}", s.shows, s.shows.note)
    yield from _note(s.note, "    ")


def _months(numbers: Iterable[int]) -> str:
    return ", ".join(month_name[m] for m in numbers)


def _response(response: Response) -> Iterator[str]:
    for label in ("minimum", "optimum", "maximum"):
        yield from _number(label, getattr(response, label))
    yield from wrap(response.basis, "  ")
    yield from _observations(response.observation, "- ")
    if response.wetness is not None:
        yield from _cited(response.wetness.text, response.wetness)


def _observations(observations: Sequence[Observation], bullet: str) -> Iterator[str]:
    """Write what each study saw, level by temperature."""
    indent = " " * len(bullet)
    for study in dict.fromkeys(o.study for o in observations):
        of_study = [o for o in observations if o.study == study]
        seen = ", ".join(f"{o.temperature.printed} {o.level}" for o in of_study)
        yield from _cited(f"{study}: {seen}", of_study[0].temperature, None, bullet, indent)
        for o in of_study:
            yield from _note(o.note and f"{o.temperature.printed}: {o.note}", indent)


def _cultures(cultures: Sequence[Culture]) -> Iterator[str]:
    for c in cultures:
        ends = {"minimum": c.minimum, "optimum": c.optimum, "maximum": c.maximum}
        parts = [f"{name} {n.printed} {_marks(n)}" for name, n in ends.items() if n is not None]
        if c.colony is not None and c.after is not None and c.at is not None:
            grown = f"{c.colony.printed} in {c.after.printed} at {c.at.printed}"
            parts.append(f"{grown} {_marks(c.colony)}")
        yield from wrap(f"{c.fungus}: {'; '.join(parts) or 'see below'}", "- ", "  ")
        yield from _note(c.note, "  ")
        for number in (*ends.values(), c.colony):
            yield from _note(None if number is None else number.note, "  ")
        yield from _observations(c.observation, "  - ")


def _expression(e: Expression) -> Iterator[str]:
    yield from wrap(f"Shown by: {', '.join(e.shown_by)}.", "- ", "  ")
    yield from _cited(f"Months (north): {_months(e.months.value)}.", e.months, e.months.note)
    if e.exposure is not None:
        yield from _number("days of infection before it", e.exposure)
    for item in (*e.stress, *e.lag, e.look_for, e.samples):
        yield from _cited(item.text, item)


def _advice(d: Disease) -> Iterator[str]:
    for m in d.mode_of_action:
        actives = "; ".join(f"{name}: {how}" for name, how in m.actives.items())
        by = f" by {m.listed_by}" if m.listed_by else ""
        text = f"FRAC {m.frac}: {m.evidence}{by}{f' ({actives})' if actives else ''}"
        yield from _cited(text, m, m.note)
    t = d.treatment
    for label in ("interval", "number", "watering_in", "carrier"):
        number = getattr(t, label)
        if number is not None:
            yield from _number(label.replace("_", " "), number)
    for when, help_ in (("late", t.late), ("once damage shows", t.once_seen)):
        if help_ is not None:
            yield from _cited(f"{when}, does it help: {help_.helps}. {help_.text}", help_)
    for note in t.note:
        yield from _cited(note.text, note)


def _site(s: SiteFactor) -> Iterator[str]:
    yield from _cited(f"{s.factor} ({s.effect}): {s.text}", s)
    ends = {"worse above": s.worse_above, "worse below": s.worse_below, "aim": s.aim}
    for name, number in ends.items():
        if number is not None:
            more = f"; {number.note}" if number.note else ""
            yield from wrap(f"{name} {number.printed}{more}", "  ", "    ")


def _group(library: Library, group: DiseaseGroup, show: Show) -> Iterator[str]:
    yield from heading(group.name)
    yield from wrap(group.in_short)
    for statement in filter(None, (*group.common, group.look_for, group.samples)):
        yield from _cited(statement.text, statement)
    if group.watering_in is not None:
        yield from _number("watering in", group.watering_in)
    for published in group.window:
        yield from _rule(published, show)
    for s in group.site:
        yield from _site(s)
    yield from _disputes(group.dispute)
    members = (
        line
        for key, disease in group.members_on(library.diseases).items()
        for line in wrap(f"{key}: {disease.in_short}", "- ", "  ")
    )
    yield from _section("Members (each in full with `patchrisk diseases NAME`)", members)
    yield from _sources(group.sources)


def _sources(sources: dict[str, Source]) -> Iterator[str]:
    lines = (
        line
        for source in sources.values()
        for line in wrap(f"{source.short}: {source.citation} [{source.seen}]", "- ", "  ")
    )
    yield from _section("Sources, and how each was read", lines)
