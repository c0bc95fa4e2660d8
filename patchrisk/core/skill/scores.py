"""How right rules were, alone, in pairs and the best of many: openings held against sights."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from enum import IntEnum

import numpy as np

from patchrisk.base.pen import words_of
from patchrisk.base.units import BoolArray, DayArray, FloatArray, IntArray
from patchrisk.core.skill.measures import (
    Clusters,
    Estimate,
    Terms,
    estimate,
    rate,
    weighted_median,
)

HIT_RATE, GAIN = "hit rate", "share told less false-alarm rate"  # what a skill is


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
        return words_of(self)


PRESSURE = "pressure of the whole season"
SCORES = {
    "days since opening": "days from opening to the landmark [days], 0 where it had not opened",
    PRESSURE: "infection pressure of the whole season [days at the optimum], most of which nobody "
    "knows on the day to act",
}


@dataclass(frozen=True)
class Cases:
    """One rule, on one kind of soil record, against what was seen of its disease.

    All but names is (cases,), the same cases for every rule: ``places``, their sites; ``opened``,
    the first opening in the season of the case, NaT when there was none, and whether it is
    ``known`` that and when; ``day``, on which the disease was first seen, or last looked for in
    vain, and whether it was ``found``; ``begins``, the first day of the disease's season;
    ``season``, ``site`` and ``block`` of space as numbers, which are drawn, or left out, as a
    whole; ``pressure``, that of infection over the season [days at the optimum], NaN unknown.
    ``also`` are other rules that give every case the same answer.
    """

    soil: str
    disease: str
    rule: str
    meaning: str
    places: tuple[str, ...]
    opened: DayArray
    day: DayArray
    found: BoolArray
    known: BoolArray
    begins: DayArray
    season: IntArray
    site: IntArray
    block: IntArray
    pressure: FloatArray
    also: tuple[str, ...] = ()

    @property
    def rules(self) -> tuple[str, ...]:
        """The rule, and those that answer alike."""
        return self.rule, *self.also

    @property
    def clusters(self) -> Clusters:
        """Seasons and sites."""
        return self.season, self.site

    def score(self, name: str, terms: Terms) -> FloatArray:
        """Return one of `SCORES`; higher is nearer to disease, NaN where unknown."""
        return self.pressure if name == PRESSURE else self.days_open_by_landmark(terms)

    def landmark(self, terms: Terms) -> int | None:
        """Day of the disease's season as of which rules are asked; None without any sight."""
        if terms.landmark is not None:
            return terms.landmark
        sights = (self.day - self.begins)[self.found & ~np.isnat(self.day)]
        return int(sights.min().astype(int)) - terms.least_lead if len(sights) else None

    def days_open_by_landmark(self, terms: Terms) -> FloatArray:
        """Days from the opening to the landmark [days], 0 where it had not opened; NaN unknown.

        Without a sight there is no landmark, and the day of the case is taken, less the least
        useful lead.
        """
        landmark = self.landmark(terms)
        asked = self.day - np.timedelta64(terms.least_lead, "D")
        if landmark is not None:
            asked = self.begins + np.timedelta64(landmark, "D")
        days = (asked - self.opened).astype(float) + 1
        open_ = np.where(np.isnat(self.opened), 0.0, np.maximum(days, 0.0))
        return np.where(self.known, open_, np.nan)

    @property
    def lead(self) -> FloatArray:
        """Days from opening to the day of the case [days]; NaN when it did not open."""
        days = (self.day.astype("M8[D]") - self.opened.astype("M8[D]")).astype(float)
        return np.where(np.isnat(self.opened) | np.isnat(self.day), np.nan, days)


@dataclass(frozen=True)
class Skill:
    """What a rule was worth against what was seen.

    ``hit_rate`` is of the judged cases with disease, ``false_alarm_rate`` the openings by the
    landmark among the judged absences, ``gain`` their share among the judged cases with disease
    less that: 1 is perfect, 0 what a rule gets that is always, never or blindly open (Peirce C.S.
    1884. The numerical measure of the success of predictions. Science 4: 453-454; citation from
    memory). Both are None when absences are too few. ``lead`` is the median lead time of the
    windows that opened, useful or not, ``lead_range`` its 10 and 90 % points [days].
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


def outcomes(cases: Cases, terms: Terms) -> IntArray:
    """Say what became of the rule in each case, (cases,): places in `Outcome`.

    With disease a rule that opened at least ``least_lead`` days before the sight is a *hit*, unless
    it opened more than ``most_lead`` days before, which is *early*; less time is *late*, no opening
    *never*. Without disease it is a *false alarm* when it had opened by the landmark, however long
    before, and anything else *correct silence*: of what it did later in the season nothing was
    known on the day to act.
    """
    lead = cases.lead
    with np.errstate(invalid="ignore"):
        called = lead >= terms.least_lead
        early = lead > terms.most_lead
    with_disease = np.select(
        [np.isnan(lead), early, called], [Outcome.NEVER, Outcome.EARLY, Outcome.HIT], Outcome.LATE
    )
    told = told_by_landmark(cases, terms)
    without = np.where(told, Outcome.FALSE_ALARM, Outcome.CORRECT_SILENCE)
    out = np.where(cases.found, with_disease, without)
    unjudged = ~cases.known | np.isnat(cases.day)
    return np.where(unjudged, Outcome.UNJUDGED, out).astype(np.int64)


def told_by_landmark(cases: Cases, terms: Terms) -> BoolArray:
    """Whether the window had opened by the landmark, of each case."""
    return np.asarray(cases.days_open_by_landmark(terms) > 0)


def assess(cases: Cases, terms: Terms) -> Skill:
    """Judge a rule on its cases."""
    answers, clusters = answers_of([cases], terms), cases.clusters
    presence, absence = answers.presence, answers.absence
    (hit,), (told,) = answers.hit, answers.told
    became = outcomes(cases, terms)
    lead = np.where(presence, cases.lead, np.nan)
    opened = ~np.isnan(lead)

    def hits(weights: FloatArray) -> FloatArray:
        return rate(weights, hit, presence)

    def alarms(weights: FloatArray) -> FloatArray:
        return rate(weights, told, absence)

    false_alarm_rate = gain = None
    if absence.sum() >= terms.least_absences:
        false_alarm_rate = estimate(alarms, clusters, absence, terms, "share")
        if presence.any():
            gain = estimate(
                lambda w: rate(w, told, presence) - alarms(w),
                clusters,
                presence | absence,
                terms,
                "difference",
            )
    ends = np.quantile(lead[opened], [0.1, 0.9]).tolist() if opened.any() else (np.nan, np.nan)
    return Skill(
        counts={o: int((became == o).sum()) for o in Outcome},
        hit_rate=estimate(hits, clusters, presence, terms, "share"),
        false_alarm_rate=false_alarm_rate,
        gain=gain,
        lead=estimate(lambda w: weighted_median(w, lead), clusters, opened, terms, "any"),
        lead_range=(ends[0], ends[1]),
    )


@dataclass(frozen=True)
class Answers:
    """What many rules said in the same cases.

    ``hit`` (whether it was one) and ``told`` (whether it had opened by the landmark) are (rules,
    cases); ``presence`` and ``absence`` the cases that every rule can be judged on; ``of`` is
    `GAIN` where absences are enough, else `HIT_RATE`.
    """

    hit: BoolArray
    told: BoolArray
    presence: BoolArray
    absence: BoolArray
    of: str

    @property
    def used(self) -> BoolArray:
        """The cases that the skill rests on."""
        return self.presence | self.absence if self.of == GAIN else self.presence

    def skill(self, weights: FloatArray) -> FloatArray:
        """Skill of each rule by weights (draws, cases): (draws, rules)."""
        if self.of == HIT_RATE:
            return rate(weights, self.hit, self.presence)
        return rate(weights, self.told, self.presence) - rate(weights, self.told, self.absence)

    def only(self, rule: IntArray) -> "Answers":
        """Return the answers of one rule, which may be another in each case."""
        case = np.arange(len(self.presence))
        return Answers(
            self.hit[rule, case][None], self.told[rule, case][None],
            self.presence, self.absence, self.of,
        )  # fmt: skip


def answers_of(rules: Sequence[Cases], terms: Terms) -> Answers:
    """Judge many rules on the cases that each of them can be judged on."""
    became = np.array([outcomes(one, terms) for one in rules])
    judged = (became != Outcome.UNJUDGED).all(axis=0)
    found = rules[0].found
    absence = judged & ~found
    enough = int(absence.sum()) >= terms.least_absences
    return Answers(
        hit=became == Outcome.HIT,
        told=np.array([told_by_landmark(one, terms) for one in rules]),
        presence=judged & found,
        absence=absence,
        of=GAIN if enough else HIT_RATE,
    )


@dataclass(frozen=True)
class Comparison:
    """One rule less another on the same cases, of `GAIN` where absences are enough.

    ``both`` to ``neither`` are judged cases with disease that were hits of both, one, or neither.
    """

    of: str
    difference: Estimate
    both: int
    first_only: int
    second_only: int
    neither: int


def compare_rules(a: Cases, b: Cases, terms: Terms) -> Comparison:
    """Compare two rules on the same cases and the same draws of seasons.

    Cases that either rule can't be judged on are left out of both. ValueError when the two are not
    of the same observations in the same order.
    """
    same = np.array_equal(a.day, b.day, equal_nan=True) and np.array_equal(a.found, b.found)
    if not (same and np.array_equal(a.season, b.season) and np.array_equal(a.site, b.site)):
        raise ValueError("two rules are compared on the same observations only")
    answers = answers_of([a, b], terms)
    hit, other = answers.hit & answers.presence

    def apart(weights: FloatArray) -> FloatArray:
        skill = answers.skill(weights)
        return skill[:, 0] - skill[:, 1]

    return Comparison(
        of=answers.of,
        difference=estimate(apart, a.clusters, answers.used, terms, "any"),
        both=int((hit & other).sum()),
        first_only=int((hit & ~other).sum()),
        second_only=int((~hit & other).sum()),
        neither=int((answers.presence & ~hit & ~other).sum()),
    )


def merge_alike(judged: Sequence[tuple[Cases, Skill]]) -> list[tuple[Cases, Skill]]:
    """Put rules of one meaning that give every case the same answer together, in order."""
    groups: dict[tuple[object, ...], list[tuple[Cases, Skill]]] = {}
    for one, skill in judged:
        answers = [one.opened, one.known, one.pressure]
        key = (one.soil, one.disease, one.meaning, *(a.tobytes() for a in answers))
        groups.setdefault(key, []).append((one, skill))
    return [
        (replace(group[0][0], also=tuple(one.rule for one, _ in group[1:])), group[0][1])
        for group in groups.values()
    ]


FOLDS = ("season", "site", "block")
"""What is left out in turn: a season, a site, or the sites of a block of space."""


def held_out(
    answers: Answers, fold: IntArray, pick: Callable[[FloatArray], int] | None = None
) -> tuple[float, int]:
    """Pick the best rule without each fold in turn, and try it there.

    ``fold``, (cases,), is what is left out as a whole; ``pick`` goes from skills, (rules,), to the
    rule to take: the first of the highest when not given. Returns the skill of all folds together,
    NaN with fewer than two, and how many there are.
    """
    used = answers.used
    labels = np.unique(fold[used])
    chosen, tried = np.zeros(len(used), dtype=np.int64), np.zeros(len(used), dtype=bool)
    for label in labels:
        others = answers.skill((used & (fold != label))[None].astype(float))[0]
        if not np.isnan(others).all():
            here = used & (fold == label)
            chosen[here] = np.nanargmax(others) if pick is None else pick(others)
            tried |= here
    if len(labels) < 2:
        return np.nan, len(labels)
    return float(answers.only(chosen).skill(tried[None].astype(float))[0, 0]), len(labels)
