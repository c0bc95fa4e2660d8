"""The programme as text for a terminal 80 columns wide."""

from collections.abc import Iterator

from patchrisk.programme.plan import AreaPlan, Planned
from patchrisk.report import plan_words as words
from patchrisk.report.cover import cover_words
from patchrisk.report.layout import ends, heading, wrap
from patchrisk.report.words import Show, day_words, name_of
from patchrisk.season_plan import SitePlan
from patchrisk.units import shower


def write_plan(plan: SitePlan) -> str:
    """Write the programme of a site."""
    return "\n".join(_lines(plan))


def _lines(plan: SitePlan) -> Iterator[str]:
    show = shower(plan.site.site.units)
    day = plan.as_of
    yield ends(plan.site.site.name, f"{day:%A} {day.day} {day:%B %Y}")
    yield from wrap("Programme of preventive applications against root-infecting fungi.")
    for area in plan.areas:
        yield from wrap(words.headline(area), "- ", "  ")
    for text in plan.notices:
        yield from wrap(text, "- ", "  ")
    for area in plan.areas:
        yield ""
        yield from _area(plan, area, show)
    yield ""
    yield from wrap("Cautions: " + " ".join(words.CAUTIONS))


def _area(plan: SitePlan, area: AreaPlan, show: Show) -> Iterator[str]:
    turf = next((a for a in plan.site.area if a.name == area.area), None)
    kind = "" if turf is None else f": {turf.turf or 'any turf'}, {turf.root_zone}"
    yield from heading(f"{area.area.upper()}{kind}, to {day_words(area.until, year=True)}")
    if area.done:
        on = "; ".join(words.applied_words(a) for a in sorted(area.done, key=lambda a: a.day))
        yield from wrap(f"On this season: {on}.")
    for key, cover in plan.cover.get(area.area, {}).items():
        told = cover_words(cover, area.as_of)
        if told:
            yield from wrap(f"{name_of(plan.library, key)}: {told}", "  ", "    ")
    for entry in words.numbered(plan, area):
        if isinstance(entry.item, Planned):
            yield from _planned(plan, area, entry.number, entry.item, show)
    shares = list(words.share_words(plan.library, area.shares))
    if shares:
        told = "; ".join(shares)
        yield from wrap(f"Pressure to come that is covered ({words.PRESSURE}): {told}.")
    for text in (*area.advice, *(f"Beyond the sprayer: {m}" for m in area.measures)):
        yield from wrap(text, "- ", "  ")


def _planned(
    plan: SitePlan, area: AreaPlan, number: int, planned: Planned, show: Show
) -> Iterator[str]:
    said = words.details(plan, area, planned, show)
    span = said.pop("Days", "")
    days = words.long_day(planned.day) + (f" ({span})" if span else "")
    head = f"{number}. {days}: {words.choice_words(planned.choice)}"
    yield from wrap(head, "  ", "     ")
    for label, text in said.items():
        yield from wrap(f"{label}: {_ended(text)}", "     ", "       ")


def _ended(text: str) -> str:
    return text if text.endswith((".", "!", "?")) else text + "."
