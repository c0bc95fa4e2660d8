"""What an area's diseases ask of applications, and what recorded ones still protect."""

from collections.abc import Iterator, Sequence
from functools import cache, partial

import numpy as np

from patchrisk.base.toml_files import load_numbers
from patchrisk.base.units import DAY, DayArray
from patchrisk.core.plan.besides import Factor
from patchrisk.core.plan.cover import Applied, grounds, on_ground
from patchrisk.core.plan.inputs import Concern, Numbers, Trials, numbers_of, works
from patchrisk.core.rules.windows import Rule
from patchrisk.core.verdict.case import Protection
from patchrisk.read.area import Area
from patchrisk.read.diseases import Disease, Library
from patchrisk.read.diseases.quantities import Number
from patchrisk.read.groups import load_groups

AHEAD_DAYS = 120  # of cover laid out from today on; no published interval is longer


@cache
def programme_numbers() -> Numbers:
    """Return the numbers of a programme from thresholds/programme.toml."""
    running_out = load_numbers("verdict")["cover.running_out"]
    return numbers_of(load_numbers("programme"), round(running_out.value))


def protection_of(
    disease: Disease,
    key: str,
    known_days: DayArray,
    applied: Sequence[Applied],
    resistant: frozenset[str],
) -> Protection:
    """Bring together what of an area's applications protects against one disease.

    Parameters
    ----------
    disease : Disease
    key : str
    known_days : ndarray of datetime64[D], shape (days,)
        Days of the soil; the first day that is not over follows the last.
    applied : sequence of Applied
        Of this area.
    resistant : frozenset of str
        Codes to which the fungus is known to be resistant there.
    """
    numbers, concern = programme_numbers(), concern_of(disease, key, resistant)
    today = known_days[-1] + DAY
    return Protection(
        key,
        applied,
        np.arange(known_days[0], today + AHEAD_DAYS * DAY),
        today,
        numbers.lasting(concern),
        partial(works, concern),
    )


def interval_of(disease: Disease, key: str) -> int:
    """Days that one application against a disease is counted on for [days]."""
    return programme_numbers().lasting(concern_of(disease, key)).days


def days_on(
    disease: Disease,
    key: str,
    applied: Sequence[Applied],
    resistant: frozenset[str],
    today: np.datetime64,
) -> tuple[np.datetime64, ...]:
    """Return the days on which the whole of an area was treated against a disease.

    What went on a day together is one application; of parts that make the whole, the days of the
    part that had the fewest.
    """
    concern, agree = concern_of(disease, key, resistant), programme_numbers().sizes_agree
    mine = [one for one in applied if key in one.targets or works(concern, one)]
    days = ({a.day for a in on_ground(mine, part)} for part in grounds(applied, today, agree))
    _, fewest = min((len(each), sorted(each)) for each in days)
    return tuple(fewest)


def resistant_of(library: Library, area: Area) -> dict[str, frozenset[str]]:
    """Return, by key of the disease, the codes that an area's site file tells to be lost on it."""
    groups = load_groups()
    return {
        library.find(name): groups.sort_codes(codes)[0] for name, codes in area.resistant.items()
    }


def concern_of(disease: Disease, key: str, resistant: frozenset[str] = frozenset()) -> Concern:
    """Put what a disease file says of treatment as plain values.

    Parameters
    ----------
    disease : Disease
    key : str
    resistant : frozenset of str
        Codes to which the fungus is known to be resistant.
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
