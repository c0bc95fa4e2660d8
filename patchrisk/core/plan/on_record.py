"""What went on as the guidelines against resistance see it, and what of it they would not have."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import groupby, pairwise

import numpy as np

from patchrisk.core.plan import facts
from patchrisk.core.plan.cover import Applied, on_ground, parts_of
from patchrisk.core.plan.inputs import Concern, Numbers, Turf
from patchrisk.core.plan.options import targets_of
from patchrisk.core.plan.programme import twice_in
from patchrisk.core.plan.rotation import Caps, Guideline, Step, breaches, guideline

PREVENTIVE_RULE, SPLIT_RULE, TINES_RULE = "preventive-only", "no-split-rates", "dmi-aerification"


def grounds_on_record(
    known: Sequence[Concern],
    applied: Sequence[Applied],
    season_start: np.datetime64,
    today: np.datetime64,
    sizes_agree: float,
) -> tuple[tuple[tuple[Step, ...], ...], dict[str, tuple[Step, ...]]]:
    """Return what went on an area's own ground, or on each part of it, and on parts of it alone.

    Rotation is of a ground: what went on a part by itself counts there, and not on the rest. Where
    parts make up the whole each of them is the area's own.
    """
    parts, whole = parts_of(applied, today, sizes_agree)
    own = parts if whole else ("",)
    steps = {
        part: tuple(_steps(known, on_ground(applied, part), season_start))
        for part in (*own, *parts)
    }
    return tuple(steps[part] for part in own), {
        part: steps[part] for part in parts if part not in own
    }


def _steps(
    known: Sequence[Concern], before: Sequence[Applied], season_start: np.datetime64
) -> Iterator[Step]:
    """Applications as guidelines see them: what went on a day together is one mixture.

    Its targets are those it was recorded for, else all that it works on. Of what was for leaves
    alone no evidence is kept: any other group in the tank counts as its partner.
    """
    for day, same in groupby(before, key=lambda one: one.day):
        tank = list(same)
        codes = frozenset[str]().union(*(one.codes for one in tank))
        actives = tuple(active for one in tank for active in one.actives)
        targets = targets_of(known, codes, actives)
        named = {key for one in tank for key in one.targets}
        aimed = [
            target
            for key, target in targets.items()
            if key in named or (not named and target.acting)
        ]
        controlling = frozenset[str]().union(*(one.controlled_by for one in targets.values()))
        leaves = all(one.others and not one.targets for one in tank)
        months = day.astype("datetime64[M]") - season_start.astype("datetime64[M]")
        yield Step(
            codes,
            codes if leaves else controlling,
            day,
            () if leaves else tuple(aimed),
            twice_in(tank),
            int(months.astype(int)) // 12,
        )


def not_kept(
    season: Sequence[Applied],
    grounds: Sequence[Sequence[Step]],
    elsewhere: Mapping[str, Sequence[Step]],
    concerns: Sequence[Concern],
    *,
    guidelines: Sequence[Guideline],
    numbers: Numbers,
    turf: Turf,
) -> Iterator[facts.NotKept]:
    """Yield what guidelines would not have of a season's applications on an area.

    ``season`` is in order of day, ``grounds`` and ``elsewhere`` are as `grounds_on_record` returns
    them; ``concerns`` tell of damage that was seen before some of it went on.
    """
    yield from _broken(season, grounds, elsewhere, guidelines, numbers.caps)
    for one in season:
        aimed = [c for c in concerns if (c.key in one.targets if one.targets else c.works(one))]
        late = after_damage(guidelines, one.codes, aimed, one.day)
        if late is not None:
            yield replace(late, done=one.day)
    for rule in guidelines:
        if rule.key == SPLIT_RULE:
            yield from _part_rates(season, rule, numbers)
        elif rule.key == TINES_RULE and turf.is_of(rule):
            for one in season:
                near = [day for day in turf.aerified if _apart(day, one) <= numbers.aerified_days]
                if near and one.codes & rule.codes:
                    yield facts.NearTines(rule, one.day, min(near, key=lambda d: _apart(d, one)))


def _apart(day: np.datetime64, one: Applied) -> int:
    return abs(int((day - one.day).astype(int)))


def _broken(
    season: Sequence[Applied],
    grounds: Sequence[Sequence[Step]],
    elsewhere: Mapping[str, Sequence[Step]],
    guidelines: Sequence[Guideline],
    caps: Caps,
) -> Iterator[facts.BrokenOnRecord]:
    findings: set[object] = set()
    for part, steps in (*(("", own) for own in grounds), *elsewhere.items()):
        for breach in breaches(steps, guidelines, caps):
            of_season = season and (breach.day is None or breach.day >= season[0].day)
            if of_season and (breach.day, breach.finding) not in findings:
                findings.add((breach.day, breach.finding))
                yield facts.BrokenOnRecord(breach, part)


def _part_rates(
    season: Sequence[Applied], rule: Guideline, numbers: Numbers
) -> Iterator[facts.PartRates]:
    """Yield where part rates of group 11 followed each other within the published interval."""
    parts = [a for a in season if a.codes & rule.codes and a.part < numbers.whole_rate]
    for one, two in pairwise(parts):
        if 0 < (two.day - one.day).astype(int) <= numbers.interval:
            yield facts.PartRates(rule, ((one.day, one.part), (two.day, two.part)))


def after_damage(
    guidelines: Sequence[Guideline],
    codes: frozenset[str],
    concerns: Sequence[Concern],
    day: np.datetime64,
) -> facts.AfterDamage | None:
    """Tell that groups for before damage go on after it; None where they don't, or no rule is on.

    Damage counts through the season in which it was seen, and no further: the next season's
    infection is yet to come.
    """
    rule = guideline(guidelines, PREVENTIVE_RULE)
    if rule is None or not codes & rule.codes:
        return None
    seen = tuple(
        (c.key, c.damage[0])
        for c in concerns
        if c.damage is not None and c.damage[0] <= day <= c.damage[1]
    )
    return facts.AfterDamage(rule, codes & rule.codes, seen) if seen else None
