"""A programme put together by hand, with names that try to break what is written."""

from datetime import date
from pathlib import Path
from types import SimpleNamespace

import numpy as np

from patchrisk.core.plan.besides import Factor, Measure
from patchrisk.core.plan.cover import Applied, Cover
from patchrisk.core.plan.facts import (
    NoAirTemperature,
    NoForecast,
    NoTrialFigures,
    SeasonBegins,
)
from patchrisk.core.plan.programme import (
    Amount,
    AreaPlan,
    Choice,
    Planned,
    RunnerUp,
    Share,
    Watering,
)
from patchrisk.core.verdict.decision_table import Verdict
from patchrisk.read.area import Area
from patchrisk.read.diseases import load_library
from patchrisk.read.records.books import Records
from patchrisk.read.site import Place, Site
from patchrisk.site_day.morning import Morning
from patchrisk.site_day.season_plan import SitePlan

NASTY = '=cmd|"/c calc"!A1, <script>alert(1)</script>; \\ "é"\nline'
AS_OF = np.datetime64("2026-05-18")


def day(text):
    return np.datetime64(text)


ELEVEN = Choice("FRAC 11", frozenset({"11"}), (), {"summer-patch": "no data", "fairy-ring": "some"})
MIXED = Choice(
    "Shelf B", frozenset({"3", "7"}), ("tebuconazole", "fluopyram"), {"fairy-ring": "works"}, NASTY
)
WATER = Watering(3.0, 6.0, 1.0)
AMOUNT = Amount("Shelf B", "product mass", 1.2, rate="3 kg/ha", size="0.4 ha")
ACID = Factor("soil pH", "worse", "Keep pH at 5.5 to 6.0", "Missouri extension", "weak")


def planned(when, choice, **changes):
    about = {
        "day": day(when),
        "latest": day(when) + 3,
        "choice": choice,
        "targets": tuple(choice.evidence),
        "covers": dict.fromkeys(choice.evidence, 8.0),
        "watering": WATER,
        "runner_up": RunnerUp(MIXED, 2.25),
        "reasons": (SeasonBegins("summer-patch", day("2026-05-19"), begun=False),),
        "cautions": (NoTrialFigures("FRAC 11", ("summer-patch",)),),
    }
    return Planned(**{**about, **changes})


def applied(when, **changes):
    about = {"day": day(when), "area": "Greens", "codes": frozenset({"21"}), "product": "Shelf A"}
    return Applied(**{**about, **changes})


def cover(**changes):
    dates = np.arange(AS_OF - 20, AS_OF + 20)
    about = {
        "disease": "fairy-ring",
        "dates": dates,
        "share": np.zeros(len(dates)),
        "covered": np.zeros(len(dates), dtype=bool),
        "last": applied("2026-05-06", codes=frozenset({"11"}), product=""),
        "until": day("2026-06-03"),
        "days_left": 16,
        "days_left_range": (2, 23),
        "bare_open": np.array([], dtype="datetime64[D]"),
    }
    return Cover(**{**about, **changes})


def area_plan(name="Greens", **changes):
    about = {
        "area": name,
        "as_of": AS_OF,
        "until": day("2026-10-31"),
        "done": (applied("2026-05-06"),),
        "planned": (
            planned("2026-05-21", ELEVEN),
            planned("2026-06-18", MIXED, amounts=(AMOUNT,)),
        ),
        "shares": {"summer-patch": Share(80.0, 0.0, 20.0), "fairy-ring": Share(40.0, 10.0, 16.0)},
        "advice": (NoForecast("dead-spot"),),
        "measures": (Measure(("summer-patch",), ACID),),
    }
    return AreaPlan(**{**about, **changes})


def without_air(name="Lawns"):
    return area_plan(
        name,
        done=(),
        planned=(),
        shares={},
        advice=(NoAirTemperature(),),
        measures=(),
    )


def site_plan(*areas, name="Quillfen Dunes (invented)", latitude=38.9, past_label=(), **changes):
    areas = areas or (area_plan(), without_air())
    turf = "creeping bentgrass"
    # Not checked: what is written must be safe even with a name that no site file may hold.
    kept = [Area.model_construct(name=a.area, turf=turf, use="green", size="0.4 ha") for a in areas]
    place = Place(name=name, latitude=latitude, longitude=-85.4)
    greens = SimpleNamespace(
        area=SimpleNamespace(name="Greens"),
        judged={"fairy-ring": SimpleNamespace(cover=cover(), verdict=Verdict.KEEP_COVER)},
    )
    morning = Morning(
        site=Site(site=place, area=kept, folder=Path()),
        library=load_library(None),
        readings=(),
        weather=None,
        air=None,
        applications=Records(),
        observations=None,
        past_label=past_label,
        as_of=date(2026, 5, 18),
        areas=(greens,),
        ground=None,
    )
    return SitePlan(morning, tuple(areas), **changes)
