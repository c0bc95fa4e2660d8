"""One disease, or group of diseases, in one area in words; and the order in which they stand."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from patchrisk.base.pen import Pen, count_of, words_of
from patchrisk.core.dates.infection import Pressure
from patchrisk.core.rules.windows import RuleToday
from patchrisk.core.verdict.decision_table import RUNNING, Stake, Verdict
from patchrisk.core.verdict.judgement import RuleStart, think_again_on
from patchrisk.read.diseases import Library
from patchrisk.report import words
from patchrisk.report.view.reasons import reason_words
from patchrisk.report.view.wording import Wording
from patchrisk.site_day.judging import Entry

_RULES = {"treat": "timing", "infect": "infection", "express": "symptom"}
_HALF_A_DAY = 0.5  # at the optimum: less is written as 0
_EPOCH, _NEVER = np.datetime64(0, "D"), np.datetime64("9999-12-31", "D")
_KNOWN_HERE = (Stake.HISTORY, Stake.SUSPECTED)


@dataclass(frozen=True, eq=False)
class DiseaseView(Wording):
    """One disease, or group of diseases, in one area: the judgement that speaks for it, in words.

    Of a group that is its most urgent member's.
    """

    entry: Entry

    @property
    def library(self) -> Library:
        """All diseases."""
        return self.morning.library

    @property
    def key(self) -> str:
        """Key of the disease or group."""
        return self.entry.key

    @property
    def name(self) -> str:
        """Name of the disease or group."""
        return words.name_of(self.library, self.key)

    @property
    def verdict(self) -> Verdict:
        """What to do."""
        return self.judged.verdict

    @property
    def words(self) -> str:
        """The verdict as people read it."""
        return words_of(self.verdict)

    @property
    def changed(self) -> str:
        """What changed since yesterday."""
        return changed_since_yesterday(self.entry)

    @property
    def member(self) -> str:
        """The disease of a group whose verdict and dates these are."""
        return self.disease.name if self.key in self.library.groups else ""

    @property
    def members(self) -> tuple[str, ...]:
        """What each other disease of a group asks for, and when."""
        others = [Wording(self.morning, self.at, j, self.pen) for j in self.entry.members[1:]]
        said = [(words_of(o.judged.verdict), o.when, o.normal) for o in others]
        return tuple(
            f"{one.disease.name}: {', '.join(filter(None, parts))}"
            for one, parts in zip(others, said, strict=True)
        )

    @property
    def history(self) -> str:
        """How it is known here."""
        here = self.judged.case.stakes.stake in _KNOWN_HERE or self.judged.seen is not None
        return self.stake if here else ""

    @cached_property
    def act(self) -> str:
        """What to do, and why."""
        return reason_words(self)

    @property
    def warmth(self) -> str:
        """How much infection the season has allowed, beside the usual."""
        season = self.at.seasons.get(self.judged.disease)
        pressure = None if season is None else season.pressure
        return "" if pressure is None else _warmth(pressure, self.pen)

    @cached_property
    def rules(self) -> tuple[str, ...]:
        """Each published rule with its source: those that time a season with its start."""
        starts = {(j.disease, r.rule.id): r for j in self.entry.members for r in j.rules}
        published = self.at.rules[self.key]
        timed_first = sorted(published, key=lambda r: (r.member, r.rule.id) not in starts)
        return tuple(
            self._rule(today, starts.get((today.member, today.rule.id))) for today in timed_first
        )

    def _rule(self, today: RuleToday, start: RuleStart | None) -> str:
        of = "" if today.member == self.key else f" for {words.name_of(self.library, today.member)}"
        timed = "" if start is None else f"{_start(start, self.pen)}; "
        said = words.rule_words(words.published_rule(self.library, today), self.pen.show)
        return (
            f"{_RULES[today.rule.meaning]} rule{of}: {timed}{said}; by itself "
            f"{today.state.words}: {words.standing(today, self.pen)} "
            f"[{today.rule.source}; {today.rule.confidence}]"
        )


def changed_since_yesterday(entry: Entry) -> str:
    """Say what changed of an entry since the morning before; empty when nothing to tell."""
    before = {key: (verdict, phase) for key, verdict, phase in entry.yesterday}
    if not before:
        return ""
    verdict = max(verdict for verdict, _ in before.values())
    j = entry.first
    return words.change_words((verdict, before[j.disease][1]), (j.verdict, j.phase))


def rank(entry: Entry) -> tuple[int, bool, int, bool, np.datetime64, int]:
    """Most urgent first; then what is new, matters most here, goes on now, and comes next."""
    j = entry.first
    new = bool(changed_since_yesterday(entry))
    running = j.phase in RUNNING
    next_start = None if running else think_again_on(j, _EPOCH, 0)
    return (
        -j.verdict,
        not new,
        -j.case.stakes.stake,
        not running,
        _NEVER if next_start is None else next_start,
        -j.case.stakes.host,
    )


def _warmth(pressure: Pressure, pen: Pen) -> str:
    """Say how much infection the season has allowed, in full days, beside past years."""
    if pressure.so_far.high < _HALF_A_DAY and pressure.place is None:
        return f"counts from {pen.day(pressure.first)}"
    wet = ""
    if pressure.wet is not None and pressure.so_far.middle >= _HALF_A_DAY:
        wet = f" ({pressure.wet:.0f} of them in wet soil)"
    since = f"since {pen.day(pressure.first)}"
    text = f"{count_of(round(pressure.so_far.middle), 'full day')} of warmth {since}{wet}"
    if pressure.place is not None:
        text += f", usual {pressure.usual_so_far.middle:.0f}"
        if pressure.so_far.middle >= _HALF_A_DAY:  # else 0 is more than 0
            less = round(pressure.place * pressure.years)
            text += f", more than in {less} of {pressure.years} years"
    low, high = round(pressure.rest.low), round(pressure.rest.high)
    more = f"{low} to {high}" if low < high else f"{high}"
    return f"{text}; {more} more to come" if high else text


def _start(rule: RuleStart, pen: Pen) -> str:
    if rule.start is not None:
        firm = "" if rule.stands else ", to be withdrawn if the soil falls back"
        return f"started {pen.day(rule.start)}{firm}"
    if rule.middle is None:
        return "no start in sight"
    assert rule.early is not None
    usual = "" if rule.usual is None else f", usual {pen.day(rule.usual)}"
    return f"start {pen.day(rule.middle)} ({pen.days(rule.early, rule.late)}){usual}"
