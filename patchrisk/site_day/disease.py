"""A disease as plain values for the core: what its file says, and what went on against it."""

import math
from collections.abc import Callable, Iterator, Sequence
from functools import cache

import numpy as np

from patchrisk.base.toml_files import load_numbers
from patchrisk.base.units import DAY, BoolArray, DayArray, to_canonical
from patchrisk.core.dates.infection import Shows, StressRule
from patchrisk.core.plan.besides import Factor
from patchrisk.core.plan.cover import Applied, Cover, cover, grounds, on_ground
from patchrisk.core.plan.inputs import Concern, Numbers, Trials, numbers_of
from patchrisk.core.rules.rule import Rule
from patchrisk.core.verdict.decision_table import Backing, Helps, Host
from patchrisk.core.verdict.season_course import InfectionSpan
from patchrisk.read.area import Area
from patchrisk.read.diseases import Disease, Library
from patchrisk.read.diseases.models import Help, InfectionSeason
from patchrisk.read.diseases.quantities import Number
from patchrisk.read.groups import load_groups

AHEAD_DAYS = 120  # of cover laid out from today on; no published interval is longer

_BACKING = {
    "universities": Backing.LISTED,
    "a university": Backing.LISTED,
    "trade": Backing.PRACTICE,
    "common practice": Backing.PRACTICE,
}
_TRIED = ("works", "some", "weak")


def spans_of(
    library: Library, disease: Disease, grasses: Sequence[str]
) -> tuple[InfectionSpan, ...]:
    """Return a disease's seasons of infection on an area's turf, as plain values.

    Of a mixture they are those of its most susceptible grass, and without a grass those of the
    most susceptible host: seasons of one grass do not overlap, those of two may.
    """
    hosts = disease.on(grasses) if grasses else disease.host
    for host in sorted(hosts, key=lambda host: -Host[host.susceptibility.upper()]):
        seasons = disease.seasons(host.grass)
        if seasons:
            dormant = dormant_below(library, grasses)
            return tuple(_span(disease, season, host.grass, dormant) for season in seasons)
    return ()


def _span(
    disease: Disease, season: InfectionSeason, grass: str, dormant_c: float | None
) -> InfectionSpan:
    response = disease.response
    low = season.infect_above or (None if response is None else response.minimum)
    high = season.infect_below or (None if response is None else response.maximum)
    assert low is not None
    assert high is not None
    published = map(disease.published, season.rules)
    until = season.treat_until
    return InfectionSpan(
        id=season.id,
        season=season.span.season,
        turn=season.turn,
        rules=tuple(rule.rule for rule in published if disease.named(rule.grass, grass)),
        above_c=low.canonical,
        below_c=high.canonical,
        months=tuple(season.shows.value),
        treat_until=None if until is None else _month_day(until.day),
        dormant_c=dormant_c,
        rests_c=None if response is None else min(low.canonical, response.minimum.canonical),
    )


def _month_day(text: str) -> tuple[int, int]:
    month, _, day = text.partition("-")
    return int(month), int(day)


def dormant_below(library: Library, grasses: Sequence[str]) -> float | None:
    """Return the soil below which all these grasses are dormant [degC]; None without a figure."""
    numbers, found = load_numbers("grasses"), []
    for name in grasses:
        known = [host.grass for d in library.diseases.values() for host in d.on(name)]
        key = f"dormant_below.{known[0].replace('.', '').replace(' ', '_')}" if known else ""
        if key not in numbers:
            return None
        found.append(to_canonical("soil temperature", numbers[key].value, numbers[key].unit))
    return min(found) if found else None


def shows_of(disease: Disease) -> Shows:
    """Put how a disease shows as plain numbers."""
    expression = disease.expression

    def number(item: Number | None) -> float | None:
        return None if item is None else item.canonical

    rules = (
        StressRule(
            number(s.soil_above),
            number(s.air_above),
            number(s.air_below),
            math.ceil(number(s.lasting) or 1),
        )
        for s in expression.stress
    )
    return Shows(
        tuple(rule for rule in rules if rule.has_figure),
        expression.lag_days("infection"),
        expression.lag_days("stress"),
        0 if expression.exposure is None else int(expression.exposure.canonical),
    )


def backing_of(disease: Disease, resistant: frozenset[str], unwanted: frozenset[str]) -> Backing:
    """Return the best that stands behind any group that can be used on an area."""
    best = Backing.NONE
    for row in disease.mode_of_action:
        if row.frac in resistant | unwanted:
            continue
        classes = {row.evidence, *row.actives.values()}
        if classes & set(_TRIED):
            best = Backing.TRIAL
        elif row.listed_by is not None:
            best = max(best, _BACKING[row.listed_by])
    return best


def number_of(disease: Disease) -> int:
    """Most applications of a season: by its file, else by thresholds/verdict.toml."""
    number = disease.treatment.number
    return round(load_numbers("verdict")["span.number"].value if number is None else number.span[1])


def helps_of(help_: Help | None) -> Helps:
    """Return what a disease file says of an application when its best time is gone."""
    if help_ is None:
        return Helps.NOT_KNOWN
    word = help_.helps
    return Helps[word.upper().replace(" ", "_")]


@cache
def programme_numbers() -> Numbers:
    """Return the numbers of a programme from thresholds/programme.toml."""
    running_out = load_numbers("verdict")["cover.running_out"]
    return numbers_of(load_numbers("programme"), round(running_out.value))


def interval_of(disease: Disease, key: str) -> int:
    """Days that one application against a disease is counted on for [days]."""
    return programme_numbers().lasting(concern_of(disease, key)).days


def resistant_of(library: Library, area: Area) -> dict[str, frozenset[str]]:
    """Return, by key of the disease, the codes that an area's site file tells to be lost on it."""
    groups = load_groups()
    return {
        library.find(name): groups.sort_codes(codes)[0] for name, codes in area.resistant.items()
    }


def concern_of(disease: Disease, key: str, resistant: frozenset[str] = frozenset()) -> Concern:
    """Put what a disease file says of treatment as plain values.

    ``resistant`` are codes to which the fungus is known to be resistant.
    """
    treatment = disease.treatment
    water = treatment.watering_in
    return Concern(
        key,
        disease.name,
        {
            row.frac: Trials(row.evidence, row.actives, row.short, row.note or "")
            for row in disease.mode_of_action
        },
        interval=None if treatment.interval is None else _days(treatment.interval),
        water_mm=None if water is None else (water.span[0], water.canonical, water.span[1]),
        water_source="" if water is None else f"{water.short} ({water.confidence})",
        carrier_l_ha=None if treatment.carrier is None else treatment.carrier.span,
        factors=tuple(
            Factor(
                f.factor,
                f.effect,
                f.text,
                f.short,
                f.confidence,
                tuple(f.months),
                None if f.worse_above is None else f.worse_above.canonical,
                None if f.worse_below is None else f.worse_below.canonical,
            )
            for f in disease.site
        ),
        up_to_c=dict(_warmest_by_season(disease)),
        resistant=resistant,
    )


def _warmest_by_season(disease: Disease) -> Iterator[tuple[str, float]]:
    """Yield seasons into which the soil rises, with the warmest of their times to treat [degC]."""
    rules = disease.rules("treat")
    for season in disease.season:
        edge = _warmest([rule for rule in rules if rule.id in season.rules])
        if season.turn == "rising" and edge is not None:
            yield season.id, edge


def _warmest(rules: Sequence[Rule]) -> float | None:
    """Warmest soil [degC] at which a rule has it applied; None where one has no upper edge."""
    edges = [rule.high_c for rule in rules if rule.high_c is not None]
    starts = [rule.low_c for rule in rules if rule.low_c is not None]
    if not edges or max(starts, default=-np.inf) > max(edges):
        return None  # a start that is warmer than every end: the ends are of other programmes
    return max(edges)


def _days(number: Number) -> tuple[int, int, int]:
    low, high = number.span
    return round(low), round(number.canonical), round(high)


def cover_of(
    disease: Disease,
    key: str,
    known_days: DayArray,
    applied: Sequence[Applied],
    resistant: frozenset[str],
) -> Callable[[BoolArray], Cover]:
    """Return what tells how far an area's applications still protect against one disease.

    ``resistant`` are codes to which the fungus is known to be resistant there. What is returned is
    asked with the days of infection among the known days, (known days,).
    """
    numbers, concern = programme_numbers(), concern_of(disease, key, resistant)
    today = known_days[-1] + DAY
    dates = np.arange(known_days[0], today + AHEAD_DAYS * DAY)

    def over(open_days: BoolArray) -> Cover:
        window = np.zeros(len(dates), dtype=bool)
        window[: len(open_days)] = open_days
        return cover(
            key,
            applied,
            dates,
            today,
            numbers.lasting(concern),
            works=concern.works,
            open_days=window,
        )

    return over


def days_on(
    disease: Disease,
    key: str,
    applied: Sequence[Applied],
    resistant: frozenset[str],
    today: np.datetime64,
) -> tuple[np.datetime64, ...]:
    """Return the days on which the whole of an area was treated against a disease.

    What went on a day together is one application; of parts that make the whole, the days of the
    part that had the fewest. What never got to the roots, washed off or with too little water, is
    none: no cover is lost to the count.
    """
    concern, agree = concern_of(disease, key, resistant), programme_numbers().sizes_agree
    lasting = programme_numbers().lasting(concern)
    mine = [
        one
        for one in applied
        if (key in one.targets or concern.works(one)) and lasting.delivered(one) > lasting.counts
    ]
    days = ({a.day for a in on_ground(mine, part)} for part in grounds(applied, today, agree))
    _, fewest = min((len(each), sorted(each)) for each in days)
    return tuple(fewest)
