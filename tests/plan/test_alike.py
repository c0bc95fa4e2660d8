"""Products that differ in name alone are one to the search; whatever else differs makes two."""

from dataclasses import fields, replace

import numpy as np
import pytest

from patchrisk.core.plan.labels import SharedLimit
from patchrisk.core.plan.options import one_of_each
from patchrisk.core.plan.problem import Option
from patchrisk.core.plan.programme import Choice

HOT = np.array([True, False])
A = Option(
    Choice("A", frozenset({"11"}), ("azoxystrobin",), {"x": "works"}, "A"),
    {"x": 1.0},
    {"x": frozenset({"11"})},
    most=2,
    least_days=14,
    not_before=0,
    held=HOT,
    most_after=2,
    longest_days=28,
)
OTHER = {
    "worth": {"x": 0.5},
    "against": {"x": frozenset()},
    "acting": {"x": frozenset({"11"})},
    "twice": frozenset({"11"}),
    "most": 3,
    "least_days": None,
    "not_before": 1,
    "held": ~HOT,
    "most_after": None,
    "longest_days": 21,
}


def named(name):
    return replace(A, held=HOT.copy(), choice=replace(A.choice, label=name, product=name))


def test_the_first_of_equals_stands_for_all():
    options = [named(name) for name in "ABCDE"]
    kept, limits = one_of_each(options, [SharedLimit((0.5,) * 5, 1.0)])
    assert [one.choice.product for one in kept] == ["A"]
    assert limits == [SharedLimit((0.5,), 1.0)]


@pytest.mark.parametrize("trait", OTHER)
def test_one_trait_makes_another(trait):
    assert set(OTHER) == {f.name for f in fields(Option)} - {"choice", "parts"}
    options = [A, named("B"), replace(named("C"), **{trait: OTHER[trait]}), named("D")]
    kept, _ = one_of_each(options, [])
    assert [one.choice.product for one in kept] == ["A", "C"]


@pytest.mark.parametrize(
    "change", [{"codes": frozenset({"3"})}, {"actives": ("pyraclostrobin",)}, {"product": None}]
)
def test_what_is_in_it_makes_another(change):
    other = replace(A, choice=replace(A.choice, **change))
    assert len(one_of_each([A, other], [])[0]) == 2


def test_a_dose_of_its_own_makes_another():
    kept, limits = one_of_each([named(n) for n in "ABC"], [SharedLimit((0.5, 0.25, 0.5), 0.75)])
    assert [one.choice.product for one in kept] == ["A", "B"]
    assert limits == [SharedLimit((0.5, 0.25), 0.75)]
