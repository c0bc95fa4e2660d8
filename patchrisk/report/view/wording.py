"""Parts of sentences on one judgement: when, why here, what is on, what shows, how strong."""

from dataclasses import dataclass

import numpy as np

from patchrisk.base.pen import Pen, chance, count_of, listed
from patchrisk.base.units import DAY
from patchrisk.core.rules.rule import Rule
from patchrisk.core.verdict.decision_table import RUNNING, Phase, Stake
from patchrisk.core.verdict.judgement import Judgement, in_time_until, look_now, stands_from
from patchrisk.read.area import Area
from patchrisk.read.diseases import Disease
from patchrisk.read.diseases.models import Help
from patchrisk.report.plan_sentences import covered_parts
from patchrisk.report.records_words import cover_words
from patchrisk.report.words import wording_number
from patchrisk.site_day.judging import verdict_settings
from patchrisk.site_day.morning import AreaMorning, Morning

_LOOK_BACK = 14  # days before a season that the longest mean of a rule holds


@dataclass(frozen=True, eq=False)
class Wording:
    """A judgement on an area, and each part of a sentence on it; empty for nothing to be said."""

    morning: Morning
    at: AreaMorning
    judged: Judgement
    pen: Pen

    @property
    def disease(self) -> Disease:
        """The disease that is judged."""
        return self.morning.library.diseases[self.judged.disease]

    @property
    def area(self) -> Area:
        """The area as the site file has it."""
        return self.at.area

    @property
    def as_of(self) -> np.datetime64:
        """The morning's day."""
        return np.datetime64(self.morning.as_of, "D")

    @property
    def lead(self) -> int:
        """Days ahead of a start from which product and water are made ready."""
        return verdict_settings(self.morning.site.programme.lead_days).lead

    @property
    def mend(self) -> str:
        """Say what brings missing days of the soil back."""
        site = self.morning.site
        air = "give air temperature of those days (`[[weather]]` in the site file)"
        if site.weather:
            air = "bring the weather file up to date"
        return f"download the logger, or {air}" if site.loggers_of(self.area) else air

    def day(self, day: np.datetime64 | None) -> str:
        """Write a day, with its year where that is another."""
        return self.pen.day(day)

    # --- when -----------------------------------------------------------------------------------

    @property
    def started(self) -> str:
        """Say what the soil did on the day the season started; empty where it did not."""
        j = self.judged
        if j.start is None:
            return ""
        timed = j.deciding
        if timed is None or timed.start != j.start or j.start == j.first:
            return f"soil right since the season began, {self.day(j.start)}"
        return f"{self.crossing(timed.rule)} on {self.day(j.start)}"

    def crossing(self, rule: Rule) -> str:
        """Say through which temperature the soil enters a season by a rule."""
        rising = self.judged.span.turn == "rising"
        edge = rule.low_c if rising else rule.high_c
        assert edge is not None
        what = "daily high of the soil" if rule.statistic.of_maximum else "soil"
        way = "came up to" if rising else "fell to"
        return f"{what} {way} {self.pen.show('soil temperature', edge, 0)}"

    @property
    def expected(self) -> str:
        """Say when the start is expected, with its 10 to 90 % range; empty where nothing is."""
        j = self.judged
        if j.middle is None:
            return ""
        assert j.early is not None
        if j.middle <= self.as_of:
            late = "" if j.late is None or j.late < self.as_of else f", by {self.day(j.late)}"
            return f"any day now{late}"
        early = max(j.early, self.as_of)
        span = "" if early == j.late else f" ({self.pen.days(early, j.late)})"
        return f"{self.day(j.middle)}{span}"

    @property
    def near_odds(self) -> str:
        """Say how likely the start is within the lead; empty without weather ahead."""
        odds = self.judged.odds_lead
        return "" if odds is None else f", {chance(odds)} within {self.lead} days"

    @property
    def when(self) -> str:
        """Say where the season stands in time."""
        j = self.judged
        if j.phase is Phase.OVER:
            return f"over since {self.day(j.over)}" if j.over is not None else "over"
        if j.start is not None and j.phase is not Phase.UNKNOWN:
            perhaps = "perhaps " if j.phase is Phase.COMING else ""
            return f"{perhaps}since {self.day(j.start)}"
        if j.phase is Phase.UNKNOWN:
            return self.estimate or "no estimate"
        expected = self.expected
        if expected:
            return f"expected {expected}"
        if j.odds_lead is None:
            return "no dates ahead"
        if j.early is not None:
            return f"from {self.day(j.early)}, more likely not"
        return "not likely this season" if j.first <= self.as_of else f"from {self.day(j.first)}"

    @property
    def estimate(self) -> str:
        """Say by the weather when it started or starts, where days of the soil are missing."""
        j = self.judged
        if j.odds_lasting is not None and j.odds_lasting >= wording_number("likely"):
            about = "" if j.middle is None else f" about {self.day(j.middle)}"
            return f"by estimate it started{about}, chance {chance(j.odds_lasting)}"
        expected = self.expected.replace(" (", ", ").removesuffix(")")
        return f"by estimate it starts {expected}" if expected else ""

    @property
    def provisional(self) -> str:
        """Say until when a start can be withdrawn; empty where it stands, or has not come."""
        firm, lasts = self._firm_from, self.judged.odds_lasting
        if firm is None:
            return ""
        odds = "" if lasts is None else f" (chance that it lasts: {chance(lasts)})"
        return f"the start stands from {self.day(firm)}; until then it can be withdrawn{odds}"

    @property
    def normal(self) -> str:
        """Hold the start against past years."""
        j = self.judged
        start = j.middle if j.start is None or j.phase is Phase.UNKNOWN else j.start
        if start is None or j.usual is None or j.phase is Phase.OVER:
            return ""
        days = int((j.usual - start).astype(int))
        if abs(days) <= wording_number("as_usual"):
            return "about the usual time"
        come = j.start is not None and j.phase is not Phase.UNKNOWN
        if not come and j.early is not None and j.late is not None and j.early <= j.usual <= j.late:
            return f"about the usual time, {self.day(j.usual)}"
        way = "early" if days > 0 else "late"
        return f"{count_of(abs(days), 'day')} {way} (usual {self.day(j.usual)})"

    @property
    def season(self) -> str:
        """Say where the season stands, against past years, and when it ends, in one sentence."""
        j = self.judged
        when = self.when
        if j.phase is Phase.UNKNOWN:
            return f"{when}; not to be told without the missing days"
        if j.phase is Phase.OVER:
            begun = f"season {when}"
        elif j.start is not None or when.startswith("expected any"):
            begun = f"infection {when}"
        elif when.startswith("expected"):
            begun = f"infection {when.replace('expected ', 'expected from ', 1)}"
        else:
            begun = f"infection: {when}"
        ends = self.ends.removeprefix("roots infected ")
        return ", ".join(part for part in (begun, self.normal, ends) if part)

    @property
    def sure(self) -> str:
        """Say in plain words how sure the season's dates are; empty where it is over."""
        j = self.judged
        if j.phase is Phase.OVER:
            return ""
        begun = j.start is not None or j.phase is Phase.UNKNOWN
        far = j.early is not None and j.early > self.as_of + self.lead * DAY  # says enough
        odds = "" if begun or far else self.near_odds.removeprefix(", ")
        if len(j.rules) == 1:
            rules = "one published rule only"
        else:
            rules = {
                "strong": "published rules agree",
                "mixed": "published rules differ",
                "weak": "little is published",
            }[j.guidance]
            span = self.rule_dates
            rules += f" ({span})" if span and j.guidance != "strong" else ""
        damage = "" if j.damage is None or j.damage[1] < self.as_of else self.damage_odds
        parts = (self.firm, odds and f"start {odds}", rules, damage)
        return "; ".join(part for part in parts if part)

    @property
    def firm(self) -> str:
        """Say when a start that can still be withdrawn is firm; empty where there is none."""
        firm, lasts = self._firm_from, self.judged.odds_lasting
        if firm is None:
            return ""
        odds = "" if lasts is None else f" ({chance(lasts)} that it lasts)"
        return f"not firm till {self.day(firm)}{odds}"

    @property
    def _firm_from(self) -> np.datetime64 | None:
        """First day on which a start stands that may not last; None where there is none."""
        lasts = self.judged.odds_lasting
        if lasts is not None and lasts >= wording_number("sure_to_last"):
            return None
        return stands_from(self.judged, verdict_settings())

    @property
    def ends(self) -> str:
        """Say when infection ends, or when the next season is expected."""
        j = self.judged
        if j.phase is Phase.OVER:
            following = self.following
            return f"next season {following}" if following else ""
        if j.start is None or j.ends <= self.as_of or j.phase is Phase.UNKNOWN:
            return ""
        return f"roots infected to about {self.day(j.ends - DAY)}"

    @property
    def following(self) -> str:
        """Say when the season after this one is expected; empty where there is none."""
        after = self.judged.following
        if after is None:
            return ""
        if after.middle is None:
            return f"from {self.day(after.first)} at the earliest"
        return f"about {self.day(after.middle)}"

    @property
    def next_start(self) -> str:
        """Say when the next season is to start, of this one or after it; empty without a date."""
        j = self.judged
        if j.start is not None or j.phase is Phase.OVER:
            return f"start {self.following}" if self.following else ""
        return self.when if j.middle is None else f"start about {self.day(j.middle)}"

    # --- why ------------------------------------------------------------------------------------

    @property
    def stake(self) -> str:
        """Say in a few words why it matters here, or that it does not."""
        j = self.judged
        if j.seen is not None:
            return f"seen {self.day(j.seen)}"
        known = {
            Stake.HISTORY: "found here by a laboratory"
            if j.case.stakes.known == "laboratory"
            else "seen here before",
            Stake.ASKED: "you asked to prevent it",
            Stake.YOUNG: "a young stand, of the age at risk",
            Stake.SUSPECTED: "suspected here",
            Stake.UNKNOWN: "history not told",
            Stake.NONE: "none here by your site file",
        }
        return known[j.case.stakes.stake]

    @property
    def grass(self) -> str:
        """Return the grass that it is about, in words."""
        mixed = len(self.area.grasses) > 1
        return "this mixed turf" if mixed else self.area.turf_words or "this turf"

    @property
    def bare(self) -> str:
        """Say since when roots are bare while infected; empty where they are covered."""
        cover = self.judged.cover
        if cover is None or cover.until is not None:
            return ""
        count, parts = len(cover.bare_open), covered_parts(cover, self.as_of)
        said = f"{count_of(count, 'day')} of infection without cover" if count else "no cover"
        return f"{said} but on {listed(parts)}" if parts else said

    @property
    def why(self) -> list[str]:
        """Stake, start and roots, each in a few words."""
        return [part for part in (self.stake, self.started, self.bare) if part]

    @property
    def covered_to(self) -> str:
        """Say to when it is covered, and how many days are left by the published intervals."""
        cover = self.judged.cover
        if cover is None or cover.until is None:
            return ""
        low, high = cover.days_left_range
        span = "" if low == high else f", {low} to {high}"
        days = count_of(cover.days_left, "day")
        return f"covered to {self.day(cover.until)} ({days} left{span})"

    @property
    def cover_ends(self) -> str:
        """Say when what is on runs out, or that it has."""
        until = self.judged.covered_until
        return "cover has run out" if until is None else f"cover ends {self.day(until)}"

    @property
    def sample_by(self) -> str:
        """Say by when to send a sample, so that the answer comes before the usual start."""
        usual = self.judged.usual
        if usual is None:
            return ""
        return f"by {self.day(usual - verdict_settings().sample_latest * DAY)}"

    @property
    def near(self) -> str:
        """Say what a season that is near has done, or when its start is expected."""
        if self.judged.start is not None:
            return f"{self.started}, not yet sure to last"
        return f"start {self.expected}{self.near_odds}"

    @property
    def best_day(self) -> str:
        """Say that a first application is waited with; empty where it is not."""
        j = self.judged
        if j.best_day is None or j.best_day <= self.as_of:
            return ""
        day = self.day(j.best_day)
        return f"an application about {day} covers more of the infection to come than one today"

    @property
    def in_time(self) -> str:
        """Say how long an application can wait."""
        last = in_time_until(self.judged, self.as_of)
        return "" if last is None else f"a first application is in time to {self.day(last)}"

    @property
    def count(self) -> str:
        """Say how many of a season's applications are on."""
        j = self.judged
        if not j.counted:
            return ""
        are = "is" if j.counted == 1 else "are"
        return f"{j.counted} of {j.case.number} applications of this season {are} on"

    def help_text(self, help_: Help | None) -> str:
        """Say what a disease file says that an application can still do, with its source."""
        if help_ is None:
            return ""
        return f"{self.pen.prose(help_.text).rstrip('.')} [{help_.short}]."

    @property
    def gap(self) -> str:
        """Name the days without a figure of the soil on which the verdict hangs."""
        days = self.at.gaps[self.at.gaps >= self.judged.first - _LOOK_BACK * DAY]
        if not days.size:
            return "soil figures are missing"
        first, last = days[0], days[-1]
        if (last - first) / DAY + 1 > len(days):
            return f"{len(days)} days of soil figures are missing, the last {self.day(last)}"
        if last + DAY == self.as_of:
            return f"soil figures are missing since {self.day(first)}"
        return f"soil figures of {self.pen.days(first, last)} are missing"

    # --- damage and guidance --------------------------------------------------------------------

    @property
    def damage_odds(self) -> str:
        """Say how likely the stress that shows damage is; empty where no figure is published."""
        j = self.judged
        if j.damage_odds is None:
            return ""
        kinds = [
            _stress(s.kind)
            for s in self.disease.expression.stress
            if s.soil_above or s.air_above or s.air_below
        ]
        what = " or ".join(dict.fromkeys(kinds)) or "stress"
        more = "more " if j.damage is not None and j.damage[0] < self.as_of else ""
        also = listed([_stress(kind) for kind in self.disease.expression.unmeasured])
        too = f", {also} not counted" if also and j.damage_odds < wording_number("likely") else ""
        return f"{more}{what} to bring damage out: {chance(j.damage_odds)}{too}"

    @property
    def shows(self) -> str:
        """Say when damage of this season shows, how likely that is, and when most likely."""
        j = self.judged
        if j.damage is None:
            return ""
        past, watched, first = j.damage[1] < self.as_of, j.watch, ""
        if watched is not None and watched.basis == "stress":
            first = f"first shows most likely {self.pen.days(watched.first, watched.last)}"
            if watched.begun is not None and watched.begun >= wording_number("likely"):
                first = f"likely showing since {self.day(watched.first)}"
        text = f"damage of this season {'showed' if past else 'shows'} {self.pen.days(*j.damage)}"
        return "; ".join(filter(None, (text, "" if past else self.damage_odds, first)))

    @property
    def scout(self) -> str:
        """Say from when to look: ``now``, a day, or nothing."""
        j = self.judged
        if j.case.stakes.stake is Stake.NONE:
            return ""
        if look_now(j):
            return "now"
        return "" if j.watch is None else f"from {self.day(j.watch.scout_from)}"

    @property
    def look(self) -> str:
        """Say to look for it, at once or from a day on."""
        scout = self.scout
        return "look for it" if scout in ("", "now") else f"look for it {scout}"

    @property
    def guidance(self) -> str:
        """Say how strong the published timing is, with the spread of its dates."""
        j = self.judged
        count = len(j.rules)
        rules = f"{count} published rules" if count > 1 else "one published rule"
        dates = self.rule_dates
        return f"guidance {j.guidance}: {rules}{f', {dates}' if dates else ''}"

    @property
    def rule_dates(self) -> str:
        """Write the days between which the published rules have the season start."""
        rules = self.judged.rules
        dated = [rule.dated for rule in rules if rule.dated is not None]
        if len(dated) < 2:
            return ""
        without = len(rules) - len(dated)
        span = self.pen.days(min(dated), max(dated))
        return f"{span}{f' and {without} without a date' if without else ''}"

    @property
    def cover(self) -> str:
        """Say what is on and how long, or since when the roots are bare."""
        j = self.judged
        if j.cover is None:
            return ""
        if j.cover.until is None and j.phase not in RUNNING:
            return ""  # roots without cover are as they should be
        return cover_words(j.cover, self.as_of, self.pen)


def _stress(kind: str) -> str:
    return "wet soil" if kind == "wetness" else kind
