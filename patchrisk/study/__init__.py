r"""Rules held against past seasons: what they would have said, and how right they were.

From Python, without the command line. A table of sites is a file; here one is made of two invented
sites in two years, and every rule on summer patch is asked when it would have opened:

>>> import numpy as np, pandas as pd, tempfile
>>> from pathlib import Path
>>> from patchrisk.study import backtest
>>> day = pd.date_range("2021-01-01", "2022-12-31")
>>> air = 12 - 13 * np.cos(2 * np.pi * (day.day_of_year - 20) / 365.25)
>>> def site(name, latitude, warmer):
...     return pd.DataFrame({"site": name, "lat": latitude, "lon": -85.0, "date": day,
...                          "air_min_c": air - 6 + warmer, "air_max_c": air + 6 + warmer})
>>> folder = Path(tempfile.mkdtemp())
>>> table = pd.concat([site("north", 43.0, 0.0), site("south", 38.0, 3.0)])
>>> table.to_csv(folder / "sites.csv", index=False)

>>> found = backtest(folder / "sites.csv", diseases=["summer patch"])
>>> seasons = found.seasons
>>> len(seasons)  # 15 rules, 2 sites, 2 seasons
60
>>> one = seasons[seasons["rule"] == "rutgers-kent-5d"]
>>> print(one[["site", "season", "opened", "complete"]].to_string(index=False))
 site  season     opened  complete
north    2021 2021-05-17      True
north    2022 2022-05-17      True
south    2021 2021-05-03      True
south    2022 2022-05-03      True

With a folder as second argument the tables and their metadata are written there, and a run that
was stopped goes on from the parts that were done:

>>> _ = backtest(folder / "sites.csv", folder / "study", diseases=["summer patch"])
>>> sorted(path.name for path in (folder / "study").iterdir())
['metadata.json', 'seasons.csv', 'seasons.parquet', 'verdicts.csv', 'verdicts.parquet']

Beside the rules stands what the verdict itself would have been, a row for each site, disease and
season of infection: on which morning it would have called the season, and first said apply to
somebody who knows the disease to be there, or decide to somebody who does not:

>>> judged = found.verdicts
>>> print(judged[["site", "infection", "start", "called", "first_apply"]].to_string(index=False))
 site infection      start     called first_apply
north warm-soil 2021-05-15 2021-05-22  2021-05-22
north warm-soil 2022-05-15 2022-05-22  2022-05-22
south warm-soil 2021-05-01 2021-05-08  2021-05-08
south warm-soil 2022-05-01 2022-05-08  2022-05-08

What is made of such a table, one step at a time: the normal of each site and rule, how a rule did
against what was seen, and what other numbers in it would have done. Two years are too few for an
interval, and it says so:

>>> from patchrisk.study import (
...     assess, normal_openings, read_disease_observations, sweep_source, tie, usual_terms)
>>> normal_openings(one)[["site", "normal", "seasons"]].values.tolist()
[['north', '05-17', 2], ['south', '05-03', 2]]

>>> _ = (folder / "seen.csv").write_text(
...     "place,disease,first_seen,looked,incidence\n"
...     "north,summer patch,2021-07-04,,\n"
...     "south,summer patch,2021-05-20,,\n"
...     "south,summer patch,,2022-08-01,not found\n")
>>> from datetime import date
>>> from patchrisk.read.diseases import load_library
>>> latitudes = {"north": 43.0, "south": 38.0}
>>> seen = read_disease_observations(folder / "seen.csv", latitudes, load_library(),
...                                  date(2023, 1, 1))
>>> [rutgers] = tie(one, seen)
>>> terms = usual_terms()
>>> skill = assess(rutgers.cases, terms)
>>> skill.hit_rate.value, skill.lead.value, skill.hit_rate.lacking
(0.5, 32.5, 'too few seasons')

>>> swept = sweep_source(folder / "sites.csv", "summer patch", "rutgers-kent-5d",
...                      ["low=17:19:1degC"], observations=folder / "seen.csv")
>>> print(swept.table[["low", "opening", "skill"]].to_string(index=False))
 low opening  skill
17.0   04-28    1.0
18.0   05-02    0.5
19.0   05-06    0.5

`write_study` and `write_sweep` write all of it, figures included, into a folder:

>>> from patchrisk.study import write_sweep
>>> [path.name for path in write_sweep(folder / "sweep", swept)][:2]
['sweep_rutgers-kent-5d.csv', 'sweep_rutgers-kent-5d.md']

The shape of a table is in `patchrisk.study.table_columns`; what each column of the results is in
`patchrisk.study.tables`; when a study needs a cluster in `patchrisk.study.workers`. For arrays
that are in memory already, `patchrisk.core.skill.openings.seasons_of` and
`patchrisk.core.skill.verdicts.verdicts_of` go without files.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from patchrisk.core.skill.cases import tie as tie
    from patchrisk.core.skill.chances import Belief as Belief
    from patchrisk.core.skill.climatology import normal_openings as normal_openings
    from patchrisk.core.skill.climatology import warmest_years as warmest_years
    from patchrisk.core.skill.scores import assess as assess
    from patchrisk.core.skill.scores import compare_rules as compare_rules
    from patchrisk.core.skill.trends import trends as trends
    from patchrisk.study.models import fit_model as fit_model
    from patchrisk.study.observations import read_disease_observations as read_disease_observations
    from patchrisk.study.own_rules import Days as Days
    from patchrisk.study.own_rules import OwnRule as OwnRule
    from patchrisk.study.run import Backtest as Backtest
    from patchrisk.study.run import backtest as backtest
    from patchrisk.study.study import write_study as write_study
    from patchrisk.study.sweep_study import sweep_source as sweep_source
    from patchrisk.study.sweep_study import write_sweep as write_sweep
    from patchrisk.study.table_files import read_seasons as read_seasons
    from patchrisk.study.terms import usual_terms as usual_terms

_HOMES = {
    "Days": "patchrisk.study.own_rules",
    "OwnRule": "patchrisk.study.own_rules",
    "Backtest": "patchrisk.study.run",
    "Belief": "patchrisk.core.skill.chances",
    "assess": "patchrisk.core.skill.scores",
    "backtest": "patchrisk.study.run",
    "compare_rules": "patchrisk.core.skill.scores",
    "fit_model": "patchrisk.study.models",
    "normal_openings": "patchrisk.core.skill.climatology",
    "read_disease_observations": "patchrisk.study.observations",
    "read_seasons": "patchrisk.study.table_files",
    "sweep_source": "patchrisk.study.sweep_study",
    "tie": "patchrisk.core.skill.cases",
    "trends": "patchrisk.core.skill.trends",
    "usual_terms": "patchrisk.study.terms",
    "warmest_years": "patchrisk.core.skill.climatology",
    "write_study": "patchrisk.study.study",
    "write_sweep": "patchrisk.study.sweep_study",
}

__all__ = list(_HOMES)


def __dir__() -> list[str]:
    return sorted({*globals(), *_HOMES})


def __getattr__(name: str) -> Any:
    # Only when asked for: the arithmetic needs neither files nor the models of the site file.
    if name in _HOMES:
        return getattr(import_module(_HOMES[name]), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
