"""The one order in which diseases stand, in words and in figures: the most urgent first."""

import numpy as np

from patchrisk.core.verdict.decision_table import RUNNING
from patchrisk.core.verdict.judgement import Judgement
from patchrisk.core.verdict.this_morning import think_again_on
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


_EPOCH, _NEVER = np.datetime64(0, "D"), np.datetime64("9999-12-31", "D")


def rank(entry: Entry) -> tuple[int, bool, int, bool, int, np.datetime64]:
    """Most urgent first; then what is new, matters most here, goes on now, and comes next."""
    j = entry.first
    new = bool(changed_since_yesterday(entry))
    next_start = think_again_on(j, _EPOCH, 0)
    return (
        -j.verdict,
        not new,
        -j.stakes.stake,
        j.phase not in RUNNING,
        -j.stakes.host,
        _NEVER if next_start is None else next_start,
    )


def judged_in_order(area: AreaMorning) -> list[Judgement]:
    """Return every judgement of an area once, members of groups among them."""
    entries = sorted(area.entries, key=rank)
    return list({one.disease: one for entry in entries for one in entry.members}.values())
