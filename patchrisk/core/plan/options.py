"""What can go on: the stock as options of a schedule, alone and two to a tank."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import fields, replace
from itertools import combinations
from typing import Any

import numpy as np

from patchrisk.base.units import BoolArray
from patchrisk.core.plan.cover import PHOSPHONATE, Applied, by_ground
from patchrisk.core.plan.inputs import BACKED, PROVEN, Concern, Numbers
from patchrisk.core.plan.labels import YearSpent
from patchrisk.core.plan.problem import Option
from patchrisk.core.plan.programme import Choice
from patchrisk.core.plan.rotation import Target, family


def options_of(
    concerns: Sequence[Concern],
    stock: Sequence[Choice],
    season: Sequence[Applied],
    spent: Sequence[YearSpent],
    numbers: Numbers,
    *,
    today: np.datetime64,
    hot: BoolArray | None,
    held_codes: frozenset[str],
    mixtures: bool,
) -> tuple[Option, ...]:
    """Turn what is at hand into the options of a schedule.

    ``season`` is what went on this season in order of day, ``spent`` of each yearly limit what went
    on; what holds one of the ``held_codes`` is held back on the days of ``hot``, (days ahead,).
    """
    options = []
    for choice in stock:
        went_on = [one for one in season if _is_of(choice, one)]
        not_before = 0
        if went_on and choice.least_days is not None:
            not_before = choice.least_days - int((today - went_on[-1].day).astype(int))
        # A label counts on one ground: parts of an area are treated each by itself.
        gone = max(len(ground) for ground in by_ground(went_on))
        left = None if choice.most_year is None else max(0, choice.most_year - gone)
        options.append(
            Option(
                choice,
                *_against(concerns, choice, numbers),
                most=_least(left, *(s.limit.times(choice.product, s.kg_ha) for s in spent)),
                most_after=_least(
                    choice.most_year, *(s.limit.times(choice.product) for s in spent)
                ),
                not_before=not_before,
                held=hot if held_codes & choice.codes else None,
            )
        )
    single = one_of_each(options, spent)
    pairs = combinations(range(len(single)), 2) if mixtures else ()
    return (
        *single,
        *(
            mixture(concerns, single, (i, j), numbers)
            for i, j in pairs
            if may_mix(concerns, single[i], single[j])
        ),
    )


def _least(*numbers: int | None) -> int | None:
    """Return the smallest of the numbers that are told; None without any."""
    return min((number for number in numbers if number is not None), default=None)


def _is_of(choice: Choice, one: Applied) -> bool:
    """Whether a record is of a choice: by name, or by codes where one of them has no name."""
    if choice.product is not None and one.product:
        return choice.product.casefold() == one.product.casefold()
    return choice.codes == one.codes


def _against(
    concerns: Sequence[Concern], choice: Choice, numbers: Numbers
) -> tuple[dict[str, float], dict[str, Target]]:
    """Weight of a choice against each disease [1], and what of it acts on each."""
    worth = {c.key: numbers.weight(c, choice.codes, choice.actives) for c in concerns}
    return worth, targets_of(concerns, choice.codes, choice.actives)


def targets_of(
    concerns: Sequence[Concern], codes: frozenset[str], actives: tuple[str, ...]
) -> dict[str, Target]:
    """Return what of a tank acts on each disease and controls it, as trials have it, by its key.

    Nothing controls one to which a fungus of the area is resistant (FRAC SDHI recommendations,
    Mar 2022).
    """
    lost = frozenset[str]().union(*(c.resistant for c in concerns))
    out = {}
    for concern in concerns:
        evidence = {code: concern.evidence_of(code, actives) for code in codes}
        out[concern.key] = Target(
            frozenset(family(code) for code in codes if evidence[code] in BACKED),
            frozenset(code for code in codes - lost if evidence[code] in PROVEN),
        )
    return out


def one_of_each(options: Sequence[Option], spent: Sequence[YearSpent]) -> list[Option]:
    """Keep the first of those that a search can't tell apart, in their order.

    They have the same codes, actives, evidence, label limits and doses; so the same limits hold for
    the one that is kept as would for any. Its number is not multiplied: a second label of the same
    product is no leave to apply it twice as often.
    """
    first: dict[object, Option] = {}
    for option in options:
        doses = tuple(of.limit.dose(option.choice.product) for of in spent)
        first.setdefault((_traits(option), doses), option)
    return list(first.values())


def _traits(option: Option) -> object:
    """Everything of an option but its name."""
    choice = option.choice
    rest = (getattr(option, one.name) for one in fields(option) if one.name != "choice")
    traits = (
        choice.codes, set(choice.actives), choice.product is None, choice.evidence,
        choice.least_days, choice.longest_days, *rest,
    )  # fmt: skip
    return tuple(map(_hashable, traits))


def _hashable(trait: Any) -> object:
    if isinstance(trait, np.ndarray):
        return trait.tobytes()
    if isinstance(trait, Mapping):
        return frozenset(trait.items())
    return frozenset(trait) if isinstance(trait, set) else trait


def may_mix(concerns: Sequence[Concern], one: Option, two: Option) -> bool:
    """Whether a pair is worth proposing.

    Of two actives of one group the pair is no mixture (FRAC SDHI recommendations, Mar 2022; FRAC on
    QoI and 11A, 30 Sep 2020). Each must control a disease of the area by itself, as trials have it
    (the former). Phosphonates stay on the leaf, where the others are washed down.
    """
    first, second = one.choice, two.choice
    if first.product is None or second.product is None:
        return False
    if one.families & two.families:
        return False
    if (PHOSPHONATE in first.codes) is not (PHOSPHONATE in second.codes):
        return False
    return all(
        any(c.evidence(choice.codes, choice.actives) in PROVEN for c in concerns)
        for choice in (first, second)
    )


def mixture(
    concerns: Sequence[Concern], options: Sequence[Option], pair: tuple[int, int], numbers: Numbers
) -> Option:
    """Return two options as one: the stricter of both labels, and the better against a disease."""
    one, two = (options[n] for n in pair)
    first, second = one.choice, two.choice
    choice = replace(
        choice_of(
            concerns,
            f"{first.label} + {second.label}",
            first.codes | second.codes,
            (*first.actives, *second.actives),
        ),
        mixed=(first, second),
        longest_days=_least(first.longest_days, second.longest_days),
    )
    held = [part.held for part in (one, two) if part.held is not None]
    return Option(  # of numbers and intervals those of each of its products count
        choice,
        *_against(concerns, choice, numbers),
        not_before=max(one.not_before, two.not_before),
        held=np.any(held, axis=0) if held else None,
        parts=pair,
    )


def choice_of(
    concerns: Sequence[Concern],
    label: str,
    codes: frozenset[str],
    actives: tuple[str, ...],
    product: str | None = None,
) -> Choice:
    """Return something that can be applied, with its evidence against each disease."""
    evidence = {c.key: c.evidence(codes, actives) for c in concerns}
    return Choice(label, codes, actives, evidence, product)


def groups_at_hand(
    concerns: Sequence[Concern], unwanted: frozenset[str], *, mixtures: bool
) -> Iterator[Choice]:
    """Yield any product of a group with something behind it, or of two; for where no shelf is."""
    backed = {code for c in concerns for code in c.trials if c.evidence_of(code) in BACKED}
    usable = sorted(backed - unwanted, key=lambda code: (len(code), code))
    sets = [frozenset({code}) for code in usable]
    if mixtures:
        pairs = map(frozenset, combinations(usable, 2))
        sets += [pair for pair in pairs if _makes_mixture(concerns, pair)]
    for codes in sets:
        label = f"FRAC {' + '.join(code for code in usable if code in codes)}"
        yield choice_of(concerns, label, codes, _actives(concerns, codes))


def _actives(concerns: Sequence[Concern], codes: frozenset[str]) -> tuple[str, ...]:
    """Actives to which a group comes down, where the others of it have nothing behind them."""
    out: dict[str, None] = {}
    for concern in concerns:
        for code in sorted(codes & set(concern.trials)):
            tried = concern.trials[code].actives
            backed = [name for name, evidence in tried.items() if evidence in BACKED]
            if backed and len(backed) < len(tried):
                out |= dict.fromkeys(backed)
    return tuple(out)


def _makes_mixture(concerns: Sequence[Concern], pair: frozenset[str]) -> bool:
    """Whether two groups make a mixture: both act on one disease, and trials speak for one.

    A partner that the disease does not answer to manages no resistance (FRAC SDHI 2022).
    """
    if len(set(map(family, pair))) < 2:
        return False
    found = [[concern.evidence_of(code) for code in pair] for concern in concerns]
    return any(
        all(one in BACKED and one != "weak" for one in both) and any(one in PROVEN for one in both)
        for both in found
    )
