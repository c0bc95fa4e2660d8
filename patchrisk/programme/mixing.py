"""Two products of the shelf in one tank: which may be proposed, and what the pair is."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from patchrisk.programme.given import PROVEN, Concern, Numbers
from patchrisk.programme.plan import Choice
from patchrisk.programme.problem import Option
from patchrisk.programme.rotation import family
from patchrisk.programme.watering import PHOSPHONATE

# Of the mixture itself; which labels allow it is nobody's but theirs to say.
IN_ONE_TANK = (
    "In one tank only if the label of each allows it with the other, each at its own rate; mix a "
    "little in a jar first and see that it stays smooth (common practice, no source)."
)


def may_mix(concerns: Sequence[Concern], one: Option, two: Option) -> bool:
    """Whether a pair is worth proposing.

    Of two actives of one group the pair is no mixture (FRAC SDHI recommendations, Mar 2022; FRAC on
    QoI and 11A, 30 Sep 2020). Each must control a disease of the area by itself, as trials have it
    (the former). Phosphonates stay on the leaf, where the others are washed down.
    """
    first, second = one.choice, two.choice
    if first.product is None or second.product is None:
        return False
    if set(map(family, first.codes)) & set(map(family, second.codes)):
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
    codes = one.choice.codes | two.choice.codes
    actives = (*one.choice.actives, *two.choice.actives)
    evidence = {c.key: c.evidence(codes, actives) for c in concerns}
    choice = Choice(
        f"{one.choice.label} + {two.choice.label}", codes, actives, evidence,
        mixed=(one.choice, two.choice),
    )  # fmt: skip
    held = [part.held for part in (one, two) if part.held is not None]
    long = [part.longest_days for part in (one, two) if part.longest_days is not None]
    return replace(
        one,
        choice=choice,
        worth={c.key: numbers.weight(c, codes, actives) for c in concerns},
        partners=one.partners | two.partners,
        against={
            c.key: one.against.get(c.key, frozenset()) | two.against.get(c.key, frozenset())
            for c in concerns
        },
        most=None if not _used_up(one, two) else 0,
        most_after=None,
        least_days=None,
        not_before=max(one.not_before, two.not_before),
        held=np.any(held, axis=0) if held else None,
        longest_days=min(long, default=None),
        parts=pair,
    )


def _used_up(one: Option, two: Option) -> bool:
    return 0 in (one.most, two.most)
