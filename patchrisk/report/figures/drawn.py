"""What the four figures share: a drawing with its words and its table, and who comes first."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from patchrisk.ahead.openings import NEVER, RuleAhead
from patchrisk.at_site.morning import AreaMorning, Morning
from patchrisk.outlook import DiseaseToday
from patchrisk.report.figures.canvas import Sheet
from patchrisk.report.words import name_of
from patchrisk.windows import Rule, State

Days = npt.NDArray[np.datetime64]
DAY = np.timedelta64(1, "D")
STATES = (State.OPEN, State.NEARING, State.UNKNOWN, State.NOT_YET, State.CLOSED)


@dataclass(frozen=True)
class Drawing:
    """A figure: the question it answers, the answer in words, the drawing, the table behind it."""

    key: str
    title: str
    sheet: Sheet
    alt: str
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


def ranked(area: AreaMorning) -> list[DiseaseToday]:
    """Return the diseases, those whose windows are open first, then by their next opening."""

    def order(today: DiseaseToday) -> tuple[int, np.datetime64]:
        coming = area.ahead.get(today.key)
        middle = None if coming is None or coming.middle is None else coming.middle.middle
        return STATES.index(today.state), NEVER if middle is None else middle

    return sorted(area.diseases, key=order)


def speaking(area: AreaMorning, today: DiseaseToday) -> Rule | None:
    """Return the middle rule of a disease: of this season's, or of the next one's."""
    coming = area.ahead.get(today.key)
    in_season = any(r.in_season for r in today.deciding)
    if not in_season and coming is not None and coming.middle is not None:
        return coming.middle.rule
    rules = today.deciding
    return rules[len(rules) // 2].rule if rules else None


def ahead_of(area: AreaMorning, key: str, member: str, rule: Rule) -> RuleAhead | None:
    """Return what is to come of one rule."""
    coming = area.ahead.get(key)
    if coming is None:
        return None
    for ahead in coming.rules:
        if (ahead.member, ahead.rule.id) == (member, rule.id):
            return ahead
    return None


def title_of(morning: Morning, today: DiseaseToday) -> str:
    """Return the name of a disease, as at the beginning of a line."""
    name = name_of(morning.library, today.key)
    return name[:1].upper() + name[1:]
