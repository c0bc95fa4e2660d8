"""The one order in which diseases stand, in words and in figures: the most urgent first."""

from patchrisk.core.verdict.decision_table import RUNNING
from patchrisk.core.verdict.judgement import Judgement
from patchrisk.report.words import change_words
from patchrisk.site_day.judging import Entry
from patchrisk.site_day.morning import AreaMorning


def changed_since_yesterday(entry: Entry) -> str:
    """Say what changed of an entry since the morning before; empty when nothing to tell."""
    before = {key: (verdict, phase) for key, verdict, phase in entry.yesterday}
    if not before:
        return ""
    verdict = max(verdict for verdict, _ in before.values())
    j = entry.first
    return change_words((verdict, before[j.disease][1]), (j.verdict, j.phase))


def rank(entry: Entry) -> tuple[int, bool, int, bool]:
    """Most urgent first; then what is new, what matters most here, and what goes on now."""
    j = entry.first
    new = bool(changed_since_yesterday(entry))
    return -j.verdict, not new, -j.stakes.stake, j.phase not in RUNNING


def judged_in_order(area: AreaMorning) -> list[Judgement]:
    """Return every judgement of an area once, members of groups among them."""
    entries = sorted(area.entries, key=rank)
    return list({one.disease: one for entry in entries for one in entry.members}.values())
