r"""Rules held against past seasons: what they would have said, and how right they were.

From Python, without the command line. A table of sites is a file; here one is made of two invented
sites in two years, and every rule on summer patch is asked when it would have opened:

>>> import numpy as np, pandas as pd, tempfile
>>> from pathlib import Path
>>> from patchrisk.backtest import backtest
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
['metadata.json', 'seasons.csv', 'seasons.parquet']

What is made of such a table, one step at a time: the normal of each site and rule, how a rule did
against what was seen, and what other numbers in it would have done. Two years are too few for an
interval, and it says so:

>>> from patchrisk.backtest import (
...     assess, normals, read_observations, sweep_source, tie, usual_terms)
>>> normals(one)[["site", "normal", "seasons"]].values.tolist()
[['north', '05-17', 2], ['south', '05-03', 2]]

>>> _ = (folder / "seen.csv").write_text(
...     "place,disease,first_seen,looked,incidence\n"
...     "north,summer patch,2021-07-04,,\n"
...     "south,summer patch,2021-05-20,,\n"
...     "south,summer patch,,2022-08-01,not found\n")
>>> import textwrap
>>> from datetime import date
>>> from patchrisk.diseases import load_library
>>> seen = read_observations(folder / "seen.csv", {"north": 43.0, "south": 38.0}, load_library(),
...                          date(2023, 1, 1))
>>> [rutgers] = tie(one, seen)
>>> print(textwrap.fill(assess(rutgers.cases, usual_terms()).words(usual_terms()), 96))
In 1 of 2 cases the window had opened 21 to 84 days before the disease was seen (50 %); 1 later,
0 earlier, 0 not at all. Median lead 32 days. 1 case of looked, not found: too few (under 10) to
speak of false alarms. 1 season: too few (under 5) for an interval.

>>> swept = sweep_source(folder / "sites.csv", "summer patch", "rutgers-kent-5d",
...                      ["low=17:19:1degC"], observations=folder / "seen.csv")
>>> print(swept.table[["low", "opening", "skill"]].to_string(index=False))
 low opening  skill
17.0   04-28    1.0
18.0   05-02    0.5
19.0   05-06    0.5

`write_study` and `write_sweep` write all of it, figures included, into a folder:

>>> from patchrisk.backtest import write_sweep
>>> [path.name for path in write_sweep(folder / "sweep", swept)][:2]
['sweep_rutgers-kent-5d.csv', 'sweep_rutgers-kent-5d.md']

The shape of a table is in `patchrisk.backtest.table_source`, what each column of the result is in
`patchrisk.backtest.tables`, when a study needs a cluster in `patchrisk.backtest.cluster`. For
arrays that are in memory already, `patchrisk.backtest.engine.seasons_of` goes without files.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from patchrisk.backtest.cases import tie
    from patchrisk.backtest.observations import read_observations
    from patchrisk.backtest.run import Backtest, backtest
    from patchrisk.backtest.skill import assess, compare
    from patchrisk.backtest.slopes import trends
    from patchrisk.backtest.study import write_study
    from patchrisk.backtest.sweep_study import sweep_source, write_sweep
    from patchrisk.backtest.tables import read_seasons
    from patchrisk.backtest.terms import usual_terms
    from patchrisk.backtest.trend import normals, warmest_years

_HOMES = {
    "Backtest": "run",
    "assess": "skill",
    "backtest": "run",
    "compare": "skill",
    "normals": "trend",
    "read_observations": "observations",
    "read_seasons": "tables",
    "sweep_source": "sweep_study",
    "tie": "cases",
    "trends": "slopes",
    "usual_terms": "terms",
    "warmest_years": "trend",
    "write_study": "study",
    "write_sweep": "sweep_study",
}

__all__ = [
    "Backtest",
    "assess",
    "backtest",
    "compare",
    "normals",
    "read_observations",
    "read_seasons",
    "sweep_source",
    "tie",
    "trends",
    "usual_terms",
    "warmest_years",
    "write_study",
    "write_sweep",
]


def __getattr__(name: str) -> Any:
    # Only when asked for: the arithmetic needs neither files nor the models of the site file.
    if name in _HOMES:
        return getattr(import_module(f"{__name__}.{_HOMES[name]}"), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
