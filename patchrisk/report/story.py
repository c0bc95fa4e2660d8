"""The story of a season in words: when roots were infected, what that means, how its call did."""

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from patchrisk.base.pen import Pen, capital, count_of
from patchrisk.base.units import DAY
from patchrisk.core.verdict.decision_table import Phase
from patchrisk.core.verdict.judgement import Judgement, story_is_due
from patchrisk.core.verdict.season_story import Spell, Story
from patchrisk.read.diseases import Disease, Library
from patchrisk.report.records_words import went_on
from patchrisk.report.words import pen_of
from patchrisk.site_day.judging import verdict_settings
from patchrisk.site_day.morning import AreaMorning, Morning

_MOST_SPELLS = 3
_SHOWING = {
    "cold": "in soil of {soil} nothing grows back, so short roots show now (no source)",
    "heat": "soil of {soil} asks more of the roots than short ones can give",
    "green-up": "it shows as the turf greens up in soil of {soil}",
    "cool": "in soil of {soil} growth is slow and hides less (no source)",
}
_STRESS = {"cold": "cold", "heat": "heat", "green-up": "green-up"}
AT_ONCE = (
    "At once: keep traffic off the thin places, mow higher, water by hand little and often, feed "
    "lightly once it grows (common practice, no source)."
)
TRY_IT = (
    "No trial of winter recovery was read. Groups 1 and 11 are used; a treated strip beside an "
    "untreated one would tell."
)


def in_short(area: AreaMorning, library: Library, pen: Pen) -> list[str]:
    """Return two or three lines for the outlook: the story of a season that is over, in a sentence.

    Where damage was seen, that of each season it can come from, and what to do.
    """
    today = np.datetime64(area.soil.dates[-1] + DAY, "D")
    judged, settings = area.judged, verdict_settings()
    stories = [
        s for s in area.stories.values() if story_is_due(s, judged[s.disease], today, settings)
    ]
    stories.sort(key=lambda s: (-judged[s.disease].case.stakes.stake, -s.infected_days))
    lines = [_in_a_line(s, area.judged[s.disease], library, pen) for s in stories]
    fresh = [s for s in stories if area.judged[s.disease].seen is not None]
    if not fresh:
        return lines[:1]
    names = " and ".join(library.diseases[s.disease].name for s in fresh)
    alike = f"Only a laboratory tells {names} apart; until then reckon with each. "
    lines.append(f"{alike if len(fresh) > 1 else ''}{AT_ONCE}")
    return lines


def _in_a_line(story: Story, judged: Judgement, library: Library, pen: Pen) -> str:
    """Tell a story in three sentences: what the season did, why it shows, when the next starts.

    The line before it often begins with the disease's name, so this one does not.
    """
    did = capital(_days(story, pen, library.diseases[story.disease].name))
    now = "" if judged.seen is None else _now(story, pen)
    return " ".join(filter(None, (f"{did}.", now, next_start(judged, pen))))


def in_full(area: AreaMorning, library: Library, pen: Pen) -> list[str]:
    """Return every story whole."""
    lines: list[str] = []
    for key, story in area.stories.items():
        lines += _whole(story, area.judged[key], library.diseases[key], pen)
    if lines:
        lines += [AT_ONCE, TRY_IT]
    return lines


def what_it_did(story: Story, library: Library, pen: Pen) -> str:
    """Say what the season did and why it shows, also where no record tells of damage."""
    name = library.diseases[story.disease].name
    return f"{capital(name)}: {_days(story, pen)}. {_now(story, pen)}"


def _days(story: Story, pen: Pen, what: str = "infection") -> str:
    first, last = story.spells[0][0], story.spells[-1][1]
    span = f"since {pen.day(first)}" if story.goes_on else f"from {pen.days(first, last)}"
    usual = usual_words(story.usual_days, story.more_than)
    unknown = f", {count_of(story.unknown_days, 'day')} unknown" if story.unknown_days else ""
    return (
        f"{span} the soil was right for {what} on "
        f"{count_of(story.infected_days, 'day')}{usual}{unknown}{_bare(story)}"
    )


def usual_words(usual: int | None, more_than: tuple[int, int] | None) -> str:
    """Say in brackets what is usual, and in how many years there were fewer; empty if unknown."""
    if usual is None:
        return ""
    return f" (usual {usual}{f'; {years_words(*more_than)}' if more_than else ''})"


def years_words(beaten: int, years: int) -> str:
    """Say in how many of past years there were fewer."""
    if beaten == 0:
        return f"no more than in any of {years} years"
    return f"more than in {'all' if beaten == years else beaten} of {years} years"


def _bare(story: Story) -> str:
    if story.bare_days is None:
        return "; what protected the roots is not on record"
    if not story.bare_days:
        return "; the roots were covered throughout"
    if story.bare_days == story.infected_days:
        return ", all of them without cover"
    return f", {story.bare_days} of them without cover"


def _now(story: Story, pen: Pen) -> str:
    """Say why it shows now, and whether anything can still be done about this season."""
    if story.goes_on:
        still = "roots can still be infected"
    else:
        still = "an application now does little for the roots already lost"
    if story.showing is None:
        return f"{capital(still)}."
    soil = pen.show("soil temperature", story.soil_c)
    return f"{capital(_SHOWING[story.showing].format(soil=f'about {soil}'))}; {still}."


def next_start(judged: Judgement, pen: Pen) -> str:
    """Name the dates of the next season."""
    coming = judged if judged.phase in (Phase.RESTING, Phase.COMING) else judged.following
    if coming is None or coming.middle is None:
        return ""
    early = coming.middle if coming.early is None else coming.early
    return f"Next start about {pen.day(coming.middle)} ({pen.days(early, coming.late)})."


def _whole(story: Story, judged: Judgement, disease: Disease, pen: Pen) -> Iterator[str]:
    yield f"{capital(disease.name)}: {_days(story, pen)}."
    if len(story.spells) > 1:
        yield f"Stretches of infection: {_spells(story.spells, pen)}."
    if story.bare_spells and story.bare_days != story.infected_days:
        yield f"Without cover: {_spells(story.bare_spells, pen)}."
    if story.damage is not None:
        first, last = (pen.day(day) for day in story.damage)
        yield f"The file has damage of that season show from {first} to {last}."
    if judged.seen is not None:
        yield _now(story, pen)
    stress = [s for s in disease.expression.stress if s.kind == _STRESS.get(story.showing or "")]
    yield from (f"{pen.prose(s.text)} [{s.short}]" for s in stress)
    for words in (disease.treatment.late if story.goes_on else None, disease.treatment.once_seen):
        if words is not None:
            yield f"{pen.prose(words.text)} [{words.short}; {words.confidence}]"
    coming = next_start(judged, pen)
    if coming:
        yield coming


def _spells(spells: tuple[Spell, ...], pen: Pen) -> str:
    """Write the longest stretches, in order."""
    longest = sorted(spells, key=lambda spell: spell[0] - spell[1])[:_MOST_SPELLS]
    text = ", ".join(pen.days(*spell) for spell in sorted(longest, key=lambda spell: spell[0]))
    more = len(spells) - len(longest)
    return f"{text}{f' and {more} more' if more else ''}"


# --- how the last season's calls did against what was seen and applied ----------------------------

_OUTCOMES = {  # covered throughout, or not; damage seen, looked for in vain, or not looked for
    (True, "seen"): "called and covered, and seen all the same",
    (True, "in vain"): "called and covered, and not seen",
    (True, "not told"): "called and covered; nobody wrote down a look",
    (False, "seen"): "called, not covered throughout, and seen",
    (False, "in vain"): "called, not covered throughout, and not seen",
    (False, "not told"): "called, not covered throughout; nobody wrote down a look",
    (None, "seen"): "called, and seen; what went on is not on record",
    (None, "in vain"): "called, and not seen; what went on is not on record",
    (None, "not told"): "called; neither cover nor a look is on record",
}


@dataclass(frozen=True)
class SeasonLine:
    """The last season of a disease on an area: call, what went on, what was seen, what became."""

    area: str
    disease: str
    called: str
    applied: str
    bare: str
    seen: str
    outcome: str


def season_lines(morning: Morning) -> tuple[SeasonLine, ...]:
    """Return a line for each disease whose last season had a day of infection."""
    pen = pen_of(morning)
    return tuple(
        _line(morning, area, story, pen)
        for area in morning.areas
        for story in sorted(area.stories.values(), key=lambda s: s.first)
    )


def _line(morning: Morning, area: AreaMorning, story: Story, pen: Pen) -> SeasonLine:
    name = morning.library.diseases[story.disease].name
    seen, look = _seen(morning, area, story, pen)
    covered = None if story.bare_days is None else story.bare_days == 0
    begun = pen.day(story.spells[0][0] if story.start is None else story.start)
    span = f"since {begun}" if story.goes_on else f"{begun} to {pen.day(story.over - DAY)}"
    usual = "" if story.usual_days is None else f", usual {story.usual_days}"
    more = "" if story.more_than is None else f", {years_words(*story.more_than)}"
    days = count_of(story.infected_days, "day")
    return SeasonLine(
        area=area.area.name,
        disease=capital(name),
        called=f"{span}: soil right on {days}{usual}{more}",
        applied=_applied(morning, area, story, pen),
        bare="not on record" if covered is None else f"{story.bare_days} of {days}",
        seen=seen,
        outcome=_OUTCOMES[covered, look],
    )


def _applied(morning: Morning, area: AreaMorning, story: Story, pen: Pen) -> str:
    if morning.applications is None:
        return "not on record"
    mine = [
        went_on(row, pen)
        for row in morning.applications.rows
        if row.area == area.area.name
        and story.first - 28 * DAY <= row.day <= story.over
        and (not row.targets or story.disease in row.targets)
    ]
    return "; ".join(mine) or "nothing"


def _seen(morning: Morning, area: AreaMorning, story: Story, pen: Pen) -> tuple[str, str]:
    """Say what was seen of the season's damage, and which of the three it is."""
    if morning.observations is None:
        return "not on record", "not told"
    today = np.datetime64(morning.as_of, "D")
    last = today if story.damage is None else min(story.damage[1], today)
    rows = [
        row
        for row in morning.observations.rows
        if row.area == area.area.name
        and row.disease == story.disease
        and story.first <= row.day <= last
    ]
    found = [row for row in rows if row.seen]
    if found:
        share = max((row.share for row in found if np.isfinite(row.share)), default=np.nan)
        part = f", up to {share:g} % of the area" if np.isfinite(share) else ""
        return f"seen {pen.day(found[0].day)}{part}", "seen"
    if rows:
        days = ", ".join(pen.day(row.day) for row in rows)
        return f"looked for in vain {days}", "in vain"
    return "no look on record", "not told"


def summary_sentences(lines: tuple[SeasonLine, ...]) -> Iterator[str]:
    """Count the lines by what became of the call."""
    if not lines:
        yield "No season with a day of infection lies behind the areas of this site."
        return
    yield f"{count_of(len(lines), 'season')} of infection, an area and a disease each."
    counted = Counter(line.outcome for line in lines)
    for outcome in _OUTCOMES.values():
        if counted[outcome]:
            yield f"{capital(outcome)}: {counted[outcome]}."
