"""How right a rule was: its openings held against what was seen."""

from dataclasses import dataclass
from enum import IntEnum

import numpy as np

from patchrisk.arrays import BoolArray, DayArray, FloatArray, IntArray
from patchrisk.backtest.measures import Estimate, Terms, estimate, gain_statistic, middle, rate

LEAST_CASES = 5  # of fewer no 10 and 90 % points are written


class Outcome(IntEnum):
    """What became of a rule in one case."""

    HIT = 0
    LATE = 1
    EARLY = 2
    NEVER = 3
    FALSE_ALARM = 4
    CORRECT_SILENCE = 5
    UNJUDGED = 6

    @property
    def words(self) -> str:
        """The outcome as people read it."""
        return self.name.replace("_", " ").lower()


@dataclass(frozen=True)
class Cases:
    """One rule against what was seen; every array is (cases,).

    Parameters
    ----------
    opened : ndarray of datetime64[D]
        First opening in the season of the case; NaT when it did not open.
    day : ndarray of datetime64[D]
        Day on which the disease was first seen, or last looked for in vain.
    found : ndarray of bool
        Whether it was there.
    known : ndarray of bool
        Whether enough days were known to say that, and when, the window opened.
    season : ndarray of int
        Season of the observation: what is drawn, and left out, as a whole.
    """

    opened: DayArray
    day: DayArray
    found: BoolArray
    known: BoolArray
    season: IntArray

    @property
    def lead(self) -> FloatArray:
        """Days from opening to the day of the case [days]; NaN when it did not open."""
        days = (self.day.astype("M8[D]") - self.opened.astype("M8[D]")).astype(float)
        return np.where(np.isnat(self.opened) | np.isnat(self.day), np.nan, days)


@dataclass(frozen=True)
class Skill:
    """What a rule was worth against what was seen.

    Parameters
    ----------
    counts : dict of Outcome to int
    hit_rate : Estimate
        Hits among the judged cases with disease.
    false_alarm_rate, gain : Estimate or None
        False alarms among the judged absences; hit rate less false-alarm rate (Peirce's skill
        score). None when absences are too few.
    lead : Estimate
        Median lead time of the windows that opened, useful or not [days].
    lead_range : tuple of float
        10 and 90 % points of the lead times [days]; NaN without any.
    """

    counts: dict[Outcome, int]
    hit_rate: Estimate
    false_alarm_rate: Estimate | None
    gain: Estimate | None
    lead: Estimate
    lead_range: tuple[float, float]

    @property
    def presences(self) -> int:
        """Judged cases with disease."""
        misses = (Outcome.HIT, Outcome.LATE, Outcome.EARLY, Outcome.NEVER)
        return sum(self.counts[o] for o in misses)

    @property
    def absences(self) -> int:
        """Judged cases of looked, not found."""
        return self.counts[Outcome.FALSE_ALARM] + self.counts[Outcome.CORRECT_SILENCE]

    def words(self, terms: Terms) -> str:
        """Say it in a few sentences."""
        return " ".join(self.sentences(terms))

    def sentences(self, terms: Terms) -> list[str]:
        """Say it, sentence by sentence."""
        if not self.presences and not self.absences:
            return [f"No case could be judged ({self.counts[Outcome.UNJUDGED]} left out)."]
        parts = [
            f"In {self.counts[Outcome.HIT]} of {self.presences} cases the window had opened "
            f"{terms.least_lead} to {terms.most_lead} days before the disease was seen"
            f"{_within(self.hit_rate, 100, '%')}; "
            f"{self.counts[Outcome.LATE]} later, {self.counts[Outcome.EARLY]} earlier, "
            f"{self.counts[Outcome.NEVER]} not at all."
        ]
        opened = self.presences - self.counts[Outcome.NEVER]
        if opened:
            low, high = self.lead_range
            span = f" (10 to 90 %: {low:.0f} to {high:.0f})" if opened >= LEAST_CASES else ""
            parts.append(f"Median lead {self.lead.value:.0f} days{span}.")
        if self.false_alarm_rate is None:
            looked = f"{self.absences} case{'s' * (self.absences != 1)} of looked, not found"
            parts.append(
                f"{looked}: too few (under {terms.least_absences}) to speak of false alarms."
            )
        else:
            parts.append(
                f"It was open without disease in {self.counts[Outcome.FALSE_ALARM]} of "
                f"{self.absences} cases{_within(self.false_alarm_rate, 100, '%')}."
            )
        if self.hit_rate.lacking == "too few seasons":
            parts.append(
                f"{self.hit_rate.seasons} season{'s' * (self.hit_rate.seasons != 1)}: too few "
                f"(under {terms.least_seasons}) for an interval."
            )
        elif self.hit_rate.lacking == "the same in every season":
            parts.append("The same in every season, so nothing shows how sure the rate is.")
        return parts


def _within(estimate: Estimate, scale: float, unit: str) -> str:
    if np.isnan(estimate.value):
        return ""
    text = f" ({scale * estimate.value:.0f} {unit}"
    if estimate.low is not None and estimate.high is not None:
        text += f", {scale * estimate.low:.0f} to {scale * estimate.high:.0f} {unit}"
    return text + ")"


def outcomes(cases: Cases, least_lead: int, most_lead: int) -> IntArray:
    """Say what became of the rule in each case.

    The rule calls for disease by a day when it opened at least ``least_lead`` days before it.
    With disease that is a *hit*, unless it opened more than ``most_lead`` days before, which is
    *early*; less time is *late*, no opening *never*. Without disease it is a *false alarm*
    however long ago it opened, and anything else *correct silence*.

    Returns
    -------
    ndarray of int, shape (cases,)
        `Outcome` of each.
    """
    lead = cases.lead
    with np.errstate(invalid="ignore"):
        called = lead >= least_lead
        early = lead > most_lead
    with_disease = np.select(
        [np.isnan(lead), early, called], [Outcome.NEVER, Outcome.EARLY, Outcome.HIT], Outcome.LATE
    )
    without = np.where(called, Outcome.FALSE_ALARM, Outcome.CORRECT_SILENCE)
    out = np.where(cases.found, with_disease, without)
    unjudged = ~cases.known | np.isnat(cases.day)
    return np.where(unjudged, Outcome.UNJUDGED, out).astype(np.int64)


def assess(cases: Cases, terms: Terms) -> Skill:
    """Judge a rule on its cases."""
    became = outcomes(cases, terms.least_lead, terms.most_lead)
    judged = became != Outcome.UNJUDGED
    presence, absence = judged & cases.found, judged & ~cases.found
    hit, alarm = became == Outcome.HIT, became == Outcome.FALSE_ALARM
    lead = np.where(presence, cases.lead, np.nan)
    false_alarm_rate = gain = None
    if absence.sum() >= terms.least_absences:
        false_alarm_rate = estimate(lambda w: rate(w, alarm, absence), cases.season, absence, terms)
        if presence.any():
            gain = estimate(
                gain_statistic(hit, presence, alarm, absence), cases.season, judged, terms
            )
    known = lead[~np.isnan(lead)]
    edges = np.quantile(known, [0.1, 0.9]) if known.size else [np.nan, np.nan]
    return Skill(
        {o: int((became == o).sum()) for o in Outcome},
        estimate(lambda w: rate(w, hit, presence), cases.season, presence, terms),
        false_alarm_rate,
        gain,
        estimate(lambda w: middle(w, lead), cases.season, ~np.isnan(lead), terms),
        (float(edges[0]), float(edges[1])),
    )


@dataclass(frozen=True)
class Comparison:
    """One rule less another on the same cases.

    Parameters
    ----------
    of : str
        "hit rate", or "hit rate less false-alarm rate" where absences are enough.
    difference : Estimate
    both, first_only, second_only, neither : int
        Judged cases with disease that were hits of both, of one, or of neither.
    """

    of: str
    difference: Estimate
    both: int
    first_only: int
    second_only: int
    neither: int


def compare(a: Cases, b: Cases, terms: Terms) -> Comparison:
    """Compare two rules on the same cases and the same draws of seasons.

    Parameters
    ----------
    a, b : Cases
        Of the same observations in the same order; those that either rule can't be judged on are
        left out of both.
    terms : Terms

    Raises
    ------
    ValueError
        When the two are not of the same observations.
    """
    same = np.array_equal(a.day, b.day, equal_nan=True) and np.array_equal(a.found, b.found)
    if not (same and np.array_equal(a.season, b.season)):
        raise ValueError("two rules are compared on the same observations only")
    first, second = (outcomes(c, terms.least_lead, terms.most_lead) for c in (a, b))
    judged = (first != Outcome.UNJUDGED) & (second != Outcome.UNJUDGED)
    presence, absence = judged & a.found, judged & ~a.found
    hit_a, hit_b = first == Outcome.HIT, second == Outcome.HIT
    enough = bool(absence.sum() >= terms.least_absences)

    def apart(w: FloatArray) -> FloatArray:
        hits = rate(w, hit_a, presence) - rate(w, hit_b, presence)
        if not enough:
            return hits
        alarms = [rate(w, o == Outcome.FALSE_ALARM, absence) for o in (first, second)]
        return hits - alarms[0] + alarms[1]

    return Comparison(
        "hit rate less false-alarm rate" if enough else "hit rate",
        estimate(apart, a.season, judged if enough else presence, terms),
        int((presence & hit_a & hit_b).sum()),
        int((presence & hit_a & ~hit_b).sum()),
        int((presence & ~hit_a & hit_b).sum()),
        int((presence & ~hit_a & ~hit_b).sum()),
    )
