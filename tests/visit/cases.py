"""The invented visits of blind_cases.toml, made into what the core judges."""

import tomllib
from datetime import date
from pathlib import Path
from typing import Any

from patchrisk.core.visit.causes import Findings, judge_visit
from patchrisk.core.visit.findings import Season, Visit, Weather
from patchrisk.read.diseases import load_library
from patchrisk.read.visit.file import VisitFile, _soil_of, place_of, with_worked_out
from patchrisk.read.visit.guidelines import load_soil_tests, rules_of
from patchrisk.site_day.visit import candidates_of, cool_season

CASES: list[dict[str, Any]] = tomllib.loads(
    Path(__file__).with_name("blind_cases.toml").read_text(encoding="utf-8")
)["case"]


def judged(case: dict[str, Any], ground: str = "loam") -> Findings:
    """Judge one case."""
    library, tests = load_library(), load_soil_tests()
    file = VisitFile.model_validate({"area": "Greens", **case["visit"]})
    path, faults = Path("case.toml"), []
    places = tuple(
        with_worked_out(
            place_of(p, _soil_of(p, file.laboratory, tests, path, n, faults)), tests, ground, None
        )
        for n, p in enumerate(file.place, 1)
    )
    assert not faults
    seasons = {key: Season(*told) for key, told in case["season"].items()}
    visit = Visit(
        places=places,
        candidates=candidates_of(library, (case["turf"],), None, seasons),
        grasses=(case["turf"],),
        ground=ground,
        cool_season=cool_season(library, (case["turf"],)),
        weather=Weather(**case["weather"]),
        found={library.find(name): how for name, how in file.laboratory.found.items()},
        not_found={library.find(name): how for name, how in file.laboratory.not_found.items()},
        thinned=file.thinned is not None,
        pattern=file.pattern or "",
    )
    assert isinstance(file.date, date)
    return judge_visit(visit, rules_of(tests))
