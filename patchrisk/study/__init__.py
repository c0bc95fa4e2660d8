"""Rules held against past seasons: what they would have said, and how right they were.

>>> import numpy as np, pandas as pd
>>> from patchrisk.study import backtest, normal_openings
>>> day = pd.date_range("2021-01-01", "2022-12-31")
>>> air = 12 - 13 * np.cos(2 * np.pi * (day.day_of_year - 20) / 365.25)
>>> table = pd.DataFrame({"site": "north", "lat": 43.0, "lon": -85.0, "date": day,
...                       "air_min_c": air - 6, "air_max_c": air + 6})
>>> seasons = backtest(table, diseases=["summer patch"]).seasons
>>> normal_openings(seasons[seasons["rule"] == "rutgers-kent-5d"])["normal"].tolist()
['05-17']

The documentation goes on from here, in docs/tutorials/researcher.md and docs/api.md. For arrays in
memory, `patchrisk.core.skill.openings.seasons_of` and `patchrisk.core.skill.verdicts.verdicts_of`
go without tables.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from patchrisk.core.skill.cases import tie as tie
    from patchrisk.core.skill.climatology import normal_openings as normal_openings
    from patchrisk.core.skill.climatology import trends as trends
    from patchrisk.core.skill.climatology import warmest_years as warmest_years
    from patchrisk.core.skill.measures import Belief as Belief
    from patchrisk.core.skill.scores import assess as assess
    from patchrisk.core.skill.scores import compare_rules as compare_rules
    from patchrisk.study.models import fit_model as fit_model
    from patchrisk.study.observations import read_disease_observations as read_disease_observations
    from patchrisk.study.observations import usual_terms as usual_terms
    from patchrisk.study.own_rules import Days as Days
    from patchrisk.study.own_rules import OwnRule as OwnRule
    from patchrisk.study.run import Backtest as Backtest
    from patchrisk.study.run import backtest as backtest
    from patchrisk.study.study import write_study as write_study
    from patchrisk.study.sweep_study import sweep_source as sweep_source
    from patchrisk.study.sweep_study import write_sweep as write_sweep
    from patchrisk.study.table_files import read_seasons as read_seasons

_HOMES = {
    "patchrisk.core.skill.cases": "tie",
    "patchrisk.core.skill.climatology": "normal_openings trends warmest_years",
    "patchrisk.core.skill.measures": "Belief",
    "patchrisk.core.skill.scores": "assess compare_rules",
    "patchrisk.study.models": "fit_model",
    "patchrisk.study.observations": "read_disease_observations usual_terms",
    "patchrisk.study.own_rules": "Days OwnRule",
    "patchrisk.study.run": "Backtest backtest",
    "patchrisk.study.study": "write_study",
    "patchrisk.study.sweep_study": "sweep_source write_sweep",
    "patchrisk.study.table_files": "read_seasons",
}
_HOME_OF = {name: home for home, names in _HOMES.items() for name in names.split()}

__all__ = sorted(_HOME_OF)


def __dir__() -> list[str]:
    return sorted({*globals(), *_HOME_OF})


def __getattr__(name: str) -> Any:
    # Only when asked for: the arithmetic needs neither files nor the models of the site file.
    if name in _HOME_OF:
        return getattr(import_module(_HOME_OF[name]), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
