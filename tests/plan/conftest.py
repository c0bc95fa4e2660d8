from dataclasses import replace

import numpy as np
import pytest

from patchrisk.core.plan.area_plan import plan_area
from patchrisk.core.plan.inputs import Demand, Turf
from patchrisk.read.diseases import load_library
from patchrisk.read.groups import load_guidelines
from patchrisk.site_day.disease import concern_of, programme_numbers
from tests.plan.given_by_hand import DAYS, FROM, cut, season


@pytest.fixture(scope="session")
def library():
    return load_library()


@pytest.fixture(scope="session")
def numbers():
    return programme_numbers()


@pytest.fixture(scope="session")
def guidelines():
    return tuple(rule for rule in load_guidelines() if rule.on)


@pytest.fixture
def plan(numbers, guidelines):
    def make(concerns, items, today="2024-01-01", applied=(), most=None, turf=None, **more):
        no_spray = more.pop("no_spray", np.zeros(len(DAYS), bool))
        start = more.pop("season_start", FROM)
        now = int((np.datetime64(today) - FROM).astype(int))
        return plan_area(
            "Area",
            [cut(one, now) for one in concerns],
            items,
            dates=DAYS,
            today=now,
            applied=applied,
            season_start=start,
            demand=Demand(no_spray, most),
            guidelines=more.pop("guidelines", guidelines),
            numbers=more.pop("numbers", numbers),
            turf=turf or Turf(),
            **more,
        )

    return make


@pytest.fixture
def of_file(library):
    """A disease as its file has it, with pressure of our own."""

    def make(key, rate, number=None, **more):
        made = concern_of(library.diseases[key], key)
        most = library.diseases[key].treatment.number
        given = number or (2 if most is None else round(most.canonical))
        rising = (s.id for s in library.diseases[key].season if s.turn == "rising")
        call = replace(season(rate, number=given), season=next(rising, "hand"))
        return replace(made, calls=(call,), **more)

    return make
