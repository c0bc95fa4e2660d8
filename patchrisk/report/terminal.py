"""The outlook as text for a terminal 80 columns wide."""

from collections.abc import Iterator, Sequence

import numpy as np

from patchrisk.morning import AreaMorning, Morning
from patchrisk.outlook import DiseaseToday, RuleToday
from patchrisk.report import ahead, cover, words
from patchrisk.report.check import weather_lines
from patchrisk.report.layout import ends, heading, wrap
from patchrisk.report.words import Show
from patchrisk.units import shower
from patchrisk.windows import State

_ORDER = (State.OPEN, State.NEARING, State.UNKNOWN, State.CLOSED, State.NOT_YET)


def write_outlook(morning: Morning, *, full: bool = False) -> str:
    """Write the outlook of a morning."""
    return "\n".join(_lines(morning, full))


def _lines(morning: Morning, full: bool) -> Iterator[str]:
    show = shower(morning.site.site.units)
    title, day = (
        morning.site.site.name,
        f"{morning.as_of:%A} {morning.as_of.day} {morning.as_of:%B %Y}",
    )
    yield ends(title, day)
    yield from wrap("Infection windows of root-infecting fungi, on soil readings up to yesterday.")
    for area in morning.areas:
        yield from wrap(words.summary_words(morning.library, area), "- ", "  ")
    for area in morning.areas:
        yield ""
        yield from _area(morning, area, show, full)
    yield ""
    yield from _data(morning, show)
    yield from wrap(ahead.ground_words(morning.ground), "- ", "  ")
    yield ""
    yield from wrap("Cautions: " + words.CAUTIONS)
    if not full:
        yield from wrap(
            "Every rule with its source: add --full. What to look for and send to the laboratory: "
            "patchrisk diseases NAME. Readings: patchrisk check."
        )


def _area(morning: Morning, area: AreaMorning, show: Show, full: bool) -> Iterator[str]:
    head = f"{area.area.name.upper()}: {area.area.turf or 'any turf'}, {area.area.root_zone}"
    yield from heading(head)
    yield from wrap(_soil(area, show))
    before = {morning.library.find(name) for name in area.area.history}
    ranked = sorted(area.diseases, key=lambda d: (_ORDER.index(d.state), d.key not in before))
    quiet = [d for d in ranked if d.state in (State.NOT_YET, State.CLOSED)]
    for today in ranked:
        if today not in quiet:
            yield from _disease(morning, area, today, show, full)
    for state in (State.CLOSED, State.NOT_YET):
        names = [
            words.name_of(morning.library, d.key) + ahead.short_words(area.ahead.get(d.key))
            for d in quiet
            if d.state is state
        ]
        if names and not full:
            yield from wrap(f"{state.words.upper()}: {', '.join(names)}.", "  ", "    ")
    if full:
        for today in quiet:
            yield from _disease(morning, area, today, show, full)
    for key in area.without:
        disease = morning.library.diseases[key]
        assert disease.no_forecast is not None
        yield from wrap(f"NO FORECAST: {disease.name}. {disease.no_forecast.text}", "  ", "    ")


def _soil(area: AreaMorning, show: Show) -> str:
    soil = area.soil
    depth = show("depth", soil.depth_cm)
    if np.isnan(soil.mean_c[-1]):
        known = np.flatnonzero(~np.isnan(soil.mean_c))
        last = words.day_words(soil.dates[known[-1]], year=True) if known.size else "never"
        return f"Soil at {depth}: no figure for yesterday; the last is of {last}."
    how = str(soil.came_from[-1])
    error = show("temperature difference", 1.28 * float(soil.sd_c[-1]))
    text = (
        f"Soil at {depth} on {words.day_words(soil.dates[-1])}: mean "
        f"{show('soil temperature', float(soil.mean_c[-1]))} (80 % sure within {error}; {how})"
    )
    if len(soil.mean_c) > 7:
        change = float(soil.mean_c[-1] - np.nanmean(soil.mean_c[-8:-1]))
        way = "above" if change > 0 else "below"
        text += f", {show('temperature difference', abs(change))} {way} the week before"
    if not np.isnan(soil.max_c[-1]):
        text += f"; maximum {show('soil temperature', float(soil.max_c[-1]))}"
    recent = soil.came_from[-14:]
    logged = int((recent == "logged").sum())
    if logged < len(recent):
        text += f". Of the last 14 days {logged} were logged"
        modelled = int((recent == "modelled").sum())
        if modelled:
            text += f", {modelled} modelled from air temperature"
    return text + "."


def _disease(
    morning: Morning, area: AreaMorning, today: DiseaseToday, show: Show, full: bool
) -> Iterator[str]:
    before = today.key in {morning.library.find(name) for name in area.area.history}
    coming = area.ahead.get(today.key)
    since = f" since {words.day_words(today.since)}" if today.since is not None else ""
    change = words.change_words(today)
    marks = [m for m in ("seen here before" if before else "", change) if m]
    mark = f" ({'; '.join(marks)})" if marks else ""
    name = words.name_of(morning.library, today.key)
    yield f"  {today.state.words.upper()}{since}: {name}{mark}"
    on = area.cover.get(today.key)
    do = cover.do_with_cover(morning.library, today, on, show)
    yield from wrap(f"Do: {do}", "    ", "      ")
    yield from wrap(cover.cover_words(on, area.soil.dates[-1] + 1), "    ", "      ")
    if full or coming is None:
        why = [words.agreement(today), words.chance_words(today)]
        yield from wrap("Why: " + "; ".join(w for w in why if w) + ".", "    ", "      ")
    else:
        yield from wrap("Why: " + _why(morning, today, show), "    ", "      ")
    for text in ahead.ahead_lines(coming):
        yield from wrap(text, "    ", "      ")
    if coming is not None and not full:
        return
    for label, result in _chosen(today, full):
        published = words.published_rule(morning.library, today.key, result)
        text = (
            f"{label}{result.state.words}; {words.rule_words(published, show)}: "
            f"{words.standing(result, show)}. [{result.rule.source}; {result.rule.confidence}]"
        )
        yield from wrap(text, "    - ", "      ")


def _why(morning: Morning, today: DiseaseToday, show: Show) -> str:
    """Say how far the rules agree, and where the middle one stands."""
    rules = today.deciding
    middle = rules[len(rules) // 2]
    published = words.published_rule(morning.library, today.key, middle)
    which = f"{words.agreement(today)}; middle one: " if len(rules) > 1 else ""
    chance = words.chance_words(today)
    return (
        f"{which}{words.rule_words(published, show)}: {words.standing(middle, show)} "
        f"[{middle.rule.source}; {middle.rule.confidence}]{f'; {chance}' if chance else ''}."
    )


def _chosen(today: DiseaseToday, full: bool) -> Sequence[tuple[str, RuleToday]]:
    """Choose the rules to show: all, or the earliest, middle and latest of those that decide."""
    rules = today.deciding
    if full:
        return [("", r) for r in (*rules, *(r for r in today.rules if r not in rules))]
    if len(rules) <= 3:
        return [("", r) for r in rules]
    middle = rules[len(rules) // 2]
    return [("earliest: ", rules[0]), ("middle: ", middle), ("latest: ", rules[-1])]


def _data(morning: Morning, show: Show) -> Iterator[str]:
    yield from heading("Data")
    for reading in morning.readings:
        for probe in reading.logged.probes:
            yield from wrap(words.probe_words(reading, probe, morning.as_of, show), "- ", "  ")
    for text in (*weather_lines(morning.weather), *cover.kept_lines(morning.applications)):
        yield from wrap(text, "- ", "  ")
