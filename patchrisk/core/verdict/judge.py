"""One disease on one area this morning: its season, its phase, and the verdict with its reason."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from patchrisk.base.units import DAY, BoolArray, DayArray
from patchrisk.core.dates.soil_paths import ByOdds
from patchrisk.core.plan.cover import Cover
from patchrisk.core.verdict.case import AheadSoil, Case, KnownSoil, Settings
from patchrisk.core.verdict.decision_table import (
    Facts,
    Phase,
    Roots,
    Stake,
    Verdict,
    decide,
    phase_of,
)
from patchrisk.core.verdict.judgement import Guidance, Judgement, NextSeason, RuleStart
from patchrisk.core.verdict.season_ahead import SeasonOutlook, at_hand
from patchrisk.core.verdict.season_course import (
    DatedSeason,
    InfectionSpan,
    SeasonCourse,
    damage_span,
    follow,
    treatment_ends,
)


def judge(
    case: Case,
    known: KnownSoil,
    ahead: AheadSoil | None,
    settings: Settings,
    *,
    southern: bool,
    like: "Judgement | None" = None,
) -> Judgement:
    """Judge one disease on one area; ``ahead`` is None without past years of weather.

    ``like`` is the judgement of the next morning: what it says of damage and of the days ahead is
    taken over.
    """
    if case.seen:
        case = replace(case, stakes=replace(case.stakes, stake=Stake.HISTORY))
    today = known.dates[-1] + DAY
    season, following = at_hand(case.spans, today, southern=southern)
    span, _, first, last = season
    if not _gaps_matter(known, season, settings):
        known = known.first_lane()
    here = _along_known(season, known, settings, southern)
    outlook = None
    if ahead is not None:
        outlook = SeasonOutlook(season, ahead, settings, southern=southern, today=today)
    row = len(known.dates)
    starts = here.start
    age = row - starts
    stands = age > settings.lasting.wait_days
    lasting = None if outlook is None else outlook.share_started(0)
    if lasting is None:
        sure = stands | (age >= settings.alone)
    else:
        sure = stands | (lasting >= settings.start_odds)
    coming = starts < row
    if outlook is not None:
        # The odds are those of the soil as it is known, whatever missing days can have been.
        likely_soon = outlook.share_started(settings.lead) >= settings.ready_odds
        coming[0] = likely_soon
        coming[1:] |= likely_soon

    began = [known.dates[n] if n < row else None for n in starts]
    start = began[0]
    days = np.arange(row)
    active = span.active(known.mean_c[:, 0]) & (days >= starts[0]) & (days < here.over[0])
    active &= sure[0]  # days since a start that may yet be withdrawn are not told as infected
    cover = None if case.cover is None else case.cover(active)
    roots = _roots(cover, settings)
    damage = damage_span(span.months, first, southern=southern)
    can_follow = damage is not None and bool(damage[1] >= today)
    # A start that may yet be withdrawn counts for no more than one to come.
    firm = [day if counts else None for day, counts in zip(began, sure, strict=True)]
    dates = ByOdds() if outlook is None else outlook.start
    expected = start if dates.middle is None else dates.middle
    served = [
        _served(
            case,
            season,
            start=day,
            expected=expected if day is None else day,
            today=today,
            southern=southern,
        )
        for day in firm
    ]
    treat_until, counted = served[0].until, served[0].counted
    seen = _seen(case.seen, first, damage, last, today, settings.seen_recent)

    watched = damage_odds = None
    infecting = None
    if like is not None:
        watched, damage_odds, infecting = like.watch, like.damage_odds, like.infecting_odds
    elif outlook is not None:
        watched = outlook.watch(case, start, damage)
        damage_odds = None if watched is None else watched.yet
        infecting = outlook.infecting(case.interval)
    unlikely = damage_odds is not None and damage_odds < settings.damage_least
    unmeasured = can_follow and unlikely and case.unmeasured
    if unlikely and not (unmeasured and case.stakes.asked):  # who asks for it all the same gets it
        can_follow = False
    best = None
    if outlook is not None and sure[0] and began[0] is not None and not counted:
        covered = None if cover is None else cover.until
        best = outlook.best_day(
            case.cardinal, case.interval, case.number, begun=True, covered=covered
        )
    scouting = watched is not None and bool(watched.scout_from <= today)
    if outlook is None and damage is not None:
        scouting = bool(damage[0] - settings.scout_before * DAY <= today <= damage[1])
    grows = _grows(known, span, settings)
    shown_by_cold = case.cold_shows and span.dormant_c is None
    looking = np.asarray(scouting & (shown_by_cold | grows))
    worth = case.ratio is None or damage_odds is None or damage_odds >= case.ratio
    usual = None if outlook is None else outlook.usual
    in_time = not case.by_sight and _sample_time(usual, today, settings)
    sampled = np.asarray(grows & in_time)

    phases = phase_of(
        row,
        start=starts,
        over=here.over,
        stands=sure,
        coming=coming,
        timely_days=case.interval,
        applied=np.array([one.timely for one in served]),
    )
    facts = Facts(
        phase=phases,
        stake=case.stakes.stake,
        host=case.stakes.host,
        roots=roots,
        backing=case.backing,
        damage=can_follow,
        infecting=_still_infecting(infecting, span, known, settings),
        room=np.array([one.room for one in served]),
        seen=seen is not None,
        late=case.late,
        once_seen=case.once_seen,
        worth=worth,
        sample_time=sampled,
        scouting=looking,
        better_later=best is not None and bool(best > today),
        unmeasured=unmeasured,
    )
    verdicts, lines = decide(facts, settings.table)
    alone = facts.of(0)
    phase, verdict, line = Phase(int(phases[0])), Verdict(int(verdicts[0])), int(lines[0])
    either: tuple[Verdict, ...] = ()
    likely: Verdict | None = None
    if len(phases) > 1:
        # What the missing days can have been is told; where it matters nothing else is said.
        read = {Verdict(int(v)) for v in verdicts[1:]}
        estimate = None
        if outlook is not None and outlook.in_sight:
            estimate = _by_estimate(alone, outlook, settings, case, counted > 0)
            likely = estimate[0]
        either = tuple(sorted(read if likely is None else read | {likely}))
        if len(either) > 1 or (either[0] is Verdict.NOTHING and len(set(phases[1:].tolist())) > 1):
            phase = Phase.UNKNOWN
            unsure = decide(replace(alone, phase=phase), settings.table)
            verdict, line = Verdict(int(unsure[0])), int(unsure[1])
        else:
            # The verdict stands in every reading; where they differ in the phase, the likely one
            # is told, and without an estimate the one that the known days alone make.
            verdict, line = either[0], int(lines[1])
            if phases[1] == phases[2]:
                phase = Phase(int(phases[1]))
            elif estimate is not None:
                phase = estimate[1]
    rules = _rules(span, here, outlook, known.dates, row, settings)
    dated = [rule.dated for rule in rules if rule.dated is not None]
    apart = int((max(dated) - min(dated)).astype(int)) if dated else None
    # A start that will more likely be withdrawn than not is not told: the one to come is.
    withdrawn = lasting is not None and lasting < settings.ready_odds
    untold = phase is Phase.RESTING or (phase is Phase.COMING and withdrawn)
    over = here.over[0]
    return Judgement(
        case=case,
        verdict=verdict,
        reason=settings.table[line].reason,
        phase=phase,
        span=span,
        first=first,
        last=last,
        rules=rules,
        start=None if untold else start,
        stands=bool(stands[0]) and start is not None,
        **vars(dates),
        usual=usual,
        odds_lasting=lasting,
        odds_lead=None if outlook is None else outlook.share_started(settings.lead),
        over=known.dates[0] + int(over) * DAY if over <= row else None,
        ends=last + DAY if outlook is None else outlook.ends,
        guidance=_guidance(rules, apart, len(dated), settings),
        apart=apart,
        seen=seen,
        treat_until=treat_until,
        best_day=best,
        counted=counted,
        cover=cover,
        roots=roots,
        damage=damage,
        damage_odds=damage_odds,
        usual_damage=None if outlook is None else outlook.usual_damage(case, damage),
        infecting_odds=infecting,
        watch=watched,
        scouting=bool(looking[0]),
        either=either,
        likely=likely,
        following=_following(following, ahead, settings, southern, today),
        active_days=active,
        facts=alone,
    )


def _gaps_matter(known: KnownSoil, season: DatedSeason, settings: Settings) -> bool:
    """Whether a day is missing of this season, or of those before it that its rules look back on.

    A gap of an earlier season changes nothing that is said of this one.
    """
    longest = max((max(rule.days, rule.mean_days) for rule in season.span.rules), default=0)
    back = max(settings.lasting.mean_days + longest, settings.lasting.over_days)
    row = int(np.searchsorted(known.dates, min(season.first, known.dates[-1]) - back * DAY))
    series = {(known.reference_cm, 0)}
    series |= {(r.depth_cm, int(r.statistic.of_maximum)) for r in season.span.rules}
    return any(bool(np.isnan(known.at(cm)[which][row:, 0]).any()) for cm, which in series)


def _along_known(
    season: DatedSeason, known: KnownSoil, settings: Settings, southern: bool
) -> SeasonCourse:
    span, rows = season.span, season.rows(known.dates)
    if rows[1] >= len(known.dates):  # not begun
        lanes = known.mean_c.shape[1]
        none = np.full((len(span.rules), lanes), len(known.dates))
        return SeasonCourse(none, none[0], none[0] + 10_000)
    return follow(
        span, known.at, known.mean_c, known.dates, rows, settings.lasting, southern=southern
    )


@dataclass(frozen=True)
class _Served:
    """What recorded applications are to a season with some start.

    ``until`` is the last day of its treatment span, None without a date for it; ``counted`` are
    the applications that count against its number, ``timely`` says whether one was in time, and
    ``room`` whether one of today would count.
    """

    until: np.datetime64 | None
    counted: int
    timely: bool
    room: bool


def _served(
    case: Case,
    season: DatedSeason,
    *,
    start: np.datetime64 | None,
    expected: np.datetime64 | None,
    today: np.datetime64,
    southern: bool,
) -> _Served:
    # Before the span an application may protect, and does not count: see `Threat.counted`.
    counted = 0 if start is None else sum(bool(start <= day <= today) for day in case.applied)
    until = treatment_ends(season, expected, case.number * case.interval, southern=southern)
    # Later than that it is a late one: the phase never goes back for it.
    timely = start is not None and any(
        abs(int((day - start).astype(int))) < case.interval for day in case.applied
    )
    # Without a date for it the season may yet begin, as early as today.
    still = until
    if expected is None:
        still = treatment_ends(season, today, case.number * case.interval, southern=southern)
    room = counted < case.number and still is not None and bool(today <= still)
    return _Served(until, counted, timely, room)


def _by_estimate(
    facts: Facts, outlook: SeasonOutlook, settings: Settings, case: Case, applied: bool
) -> tuple[Verdict, Phase]:
    """Return verdict and phase of the middle course of the weather that fills the missing days."""
    phase = phase_of(
        outlook.today,
        start=int(np.median(outlook.course.start)),
        over=int(np.median(outlook.course.over)),
        stands=outlook.share_started(0) >= settings.start_odds,
        coming=outlook.share_started(settings.lead) >= settings.ready_odds,
        timely_days=case.interval,
        applied=applied,
    )
    infecting = outlook.infecting(case.interval) >= settings.infecting_odds
    verdict, _ = decide(replace(facts, phase=phase, infecting=infecting), settings.table)
    return Verdict(int(verdict)), Phase(int(phase))


def _roots(cover: Cover | None, settings: Settings) -> Roots:
    if cover is None or cover.until is None:
        return Roots.BARE
    if cover.days_left <= settings.running_out:
        return Roots.ENDING_SOON
    return Roots.ENDING if cover.days_left <= settings.cover_left else Roots.COVERED


def _seen(
    days: Sequence[np.datetime64],
    first: np.datetime64,
    damage: tuple[np.datetime64, np.datetime64] | None,
    last: np.datetime64,
    today: np.datetime64,
    recent: int,
) -> np.datetime64 | None:
    """First day on which damage was seen that is this season's, or that is fresh."""
    end = last if damage is None else max(last, damage[1])
    mine = [day for day in days if first <= day <= end or today - recent * DAY <= day <= today]
    return min(mine, default=None)


def _still_infecting(
    odds: float | None, span: InfectionSpan, known: KnownSoil, settings: Settings
) -> BoolArray:
    """Whether an application would meet infection: by the weather ahead, else by the last days."""
    if odds is None:
        lately = span.active(known.mean_c[-settings.infecting_lately :])
        return np.asarray(lately.any(axis=0))
    return np.full(known.mean_c.shape[1], odds >= settings.infecting_odds)


def _grows(known: KnownSoil, span: InfectionSpan, settings: Settings) -> BoolArray:
    """Whether turf grows, so that damage is told from rest, (lanes,); also where none is known."""
    soil = known.mean_c[-settings.scout_mean :]
    days = np.isfinite(soil).sum(axis=0)
    mean = np.nansum(soil, axis=0) / np.maximum(days, 1)
    coldest = settings.scout_coldest_c if span.dormant_c is None else span.dormant_c
    return np.asarray((days == 0) | (mean >= coldest))


def _sample_time(usual: np.datetime64 | None, today: np.datetime64, settings: Settings) -> bool:
    if usual is None:
        return False
    ahead = int((usual - today).astype(int))
    return settings.sample_latest <= ahead <= settings.sample_earliest


def _rules(
    span: InfectionSpan,
    here: SeasonCourse,
    outlook: SeasonOutlook | None,
    dates: DayArray,
    row: int,
    settings: Settings,
) -> tuple[RuleStart, ...]:
    out = []
    for n, rule in enumerate(span.rules):
        start = int(here.by_rule[n, 0])
        began = dates[start] if start < row else None
        odds, usual = (ByOdds(), None) if outlook is None else outlook.rule(n)
        stands = row - start > settings.lasting.wait_days
        out.append(RuleStart(rule, began, stands, usual, **vars(odds)))
    return tuple(sorted(out, key=lambda one: str(one.dated)))  # "None" comes last


def _guidance(
    rules: Sequence[RuleStart], apart: int | None, dated: int, settings: Settings
) -> Guidance:
    """Say how strong the published timing is: by the sources, and by how far they lie apart."""
    few = dated < settings.least_dated * len(rules)
    if apart is not None and (apart > settings.apart or few):
        return "mixed"
    firm = sum(one.rule.confidence in ("strong", "moderate") for one in rules)
    return "strong" if firm >= settings.least_firm * len(rules) else "weak"


def _following(
    season: DatedSeason | None,
    ahead: AheadSoil | None,
    settings: Settings,
    southern: bool,
    today: np.datetime64,
) -> NextSeason | None:
    if season is None:
        return None
    if ahead is None:
        return NextSeason(season.span, season.first)
    outlook = SeasonOutlook(season, ahead, settings, southern=southern, today=today)
    return NextSeason(season.span, season.first, **vars(outlook.start))
