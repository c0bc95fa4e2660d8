"""Products that differ in name alone are one to the search; whatever else differs makes two."""

from dataclasses import fields, replace

import numpy as np
import pytest

from patchrisk.core.plan.labels import YearlyLimit, YearSpent
from patchrisk.core.plan.options import one_of_each
from patchrisk.core.plan.problem import Option
from patchrisk.core.plan.programme import Choice
from patchrisk.core.plan.rotation import Target

HOT = np.array([True, False])
A = Option(
    Choice(
        "A", frozenset({"11"}), ("azoxystrobin",), {"x": "works"}, "A",
        least_days=14, longest_days=28,
    ),
    {"x": 1.0},
    {"x": Target(frozenset({"11"}), frozenset({"11"}))},
    most=2,
    most_after=2,
    not_before=0,
    held=HOT,
)  # fmt: skip
OTHER = {
    "worth": {"x": 0.5},
    "targets": {"x": Target(frozenset({"11"}), frozenset())},
    "most": 3,
    "most_after": None,
    "not_before": 1,
    "held": ~HOT,
}


def named(name):
    return replace(A, held=HOT.copy(), choice=replace(A.choice, label=name, product=name))


def spent(doses):
    return YearSpent(YearlyLimit("azoxystrobin", 1.0, doses), 0.25)


def test_the_first_of_equals_stands_for_all():
    options = [named(name) for name in "ABCDE"]
    kept = one_of_each(options, [spent(dict.fromkeys("ABCDE", 0.5))])
    assert [one.choice.product for one in kept] == ["A"]


@pytest.mark.parametrize("trait", OTHER)
def test_one_trait_makes_another(trait):
    assert set(OTHER) == {f.name for f in fields(Option)} - {"choice", "parts"}
    options = [A, named("B"), replace(named("C"), **{trait: OTHER[trait]}), named("D")]
    kept = one_of_each(options, [])
    assert [one.choice.product for one in kept] == ["A", "C"]


@pytest.mark.parametrize(
    "change",
    [
        {"codes": frozenset({"3"})},
        {"actives": ("pyraclostrobin",)},
        {"product": None},
        {"least_days": None},
        {"longest_days": 21},
    ],
)
def test_what_is_in_it_or_on_its_label_makes_another(change):
    other = replace(A, choice=replace(A.choice, **change))
    assert len(one_of_each([A, other], [])) == 2


def test_a_dose_of_its_own_makes_another():
    kept = one_of_each([named(n) for n in "ABC"], [spent({"A": 0.5, "B": 0.25, "C": 0.5})])
    assert [one.choice.product for one in kept] == ["A", "B"]
