import numpy as np
import pytest

from patchrisk.at_site.protection import concern_of, programme_numbers
from patchrisk.diseases import load_library
from patchrisk.groups import load_rules
from patchrisk.pen import Pen
from patchrisk.programme.area import plan_area
from patchrisk.programme.given import Demand, Ground
from patchrisk.programme.rotation import Guideline
from tests.programme.given_by_hand import DAYS, FROM


@pytest.fixture(scope="session")
def library():
    return load_library()


@pytest.fixture(scope="session")
def numbers():
    return programme_numbers()


@pytest.fixture(scope="session")
def guidelines():
    return tuple(
        Guideline(r.key, r.says, frozenset(r.codes), r.source, r.mark) for r in load_rules() if r.on
    )


@pytest.fixture
def plan(numbers, guidelines):
    def make(concerns, items, today="2024-01-01", applied=(), most=None, ground=None, **more):
        no_spray = more.pop("no_spray", np.zeros(len(DAYS), bool))
        start = more.pop("season_start", FROM)
        least = more.pop("least_days", None)
        return plan_area(
            "Area",
            concerns,
            items,
            dates=DAYS,
            today=int((np.datetime64(today) - FROM).astype(int)),
            applied=applied,
            season_start=start,
            demand=Demand(no_spray, most, least),
            guidelines=more.pop("guidelines", guidelines),
            numbers=more.pop("numbers", numbers),
            ground=ground or Ground(),
            show=Pen("metric").show,
            day=Pen("metric").day,
            **more,
        )

    return make


@pytest.fixture
def of_file(library):
    """A disease as its file has it, with pressure of our own."""

    def make(key, rate, **more):
        from dataclasses import replace

        disease = library.diseases[key]
        made = concern_of(disease, key, np.zeros(len(DAYS), bool))
        return replace(made, rate=np.asarray(rate, float), **more)

    return make
