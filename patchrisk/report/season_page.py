"""How the last season's calls did against what was seen and applied: one page for a committee."""

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from patchrisk.base.pen import Pen, capital, count_of
from patchrisk.base.units import DAY
from patchrisk.core.verdict.season_story import Story
from patchrisk.report.page import render
from patchrisk.report.records_words import went_on
from patchrisk.report.story import years_words
from patchrisk.report.words import CAUTION, pen_of
from patchrisk.site_day.morning import AreaMorning, Morning

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
    """Return a line for each disease whose last season had a day of infection.

    Parameters
    ----------
    morning : Morning
        Judged on any day after the season.
    """
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


def write_season_page(morning: Morning) -> str:
    """Write the page, a whole HTML document with nothing outside it."""
    pen, lines = Pen(morning.site.site.units), season_lines(morning)
    return render(
        "season.html.j2",
        site=morning.site.site.name,
        day=pen.long_day(np.datetime64(morning.as_of, "D")),
        lines=lines,
        summary=tuple(summary_sentences(lines)),
        caution=CAUTION,
    )
