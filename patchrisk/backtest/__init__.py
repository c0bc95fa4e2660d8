"""Rules held against past seasons: what they would have said, and how right they were.

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

The shape of a table is in `patchrisk.backtest.table_source`, what each column of the result is in
`patchrisk.backtest.tables`, when a study needs a cluster in `patchrisk.backtest.cluster`. For
arrays that are in memory already, `patchrisk.backtest.engine.seasons_of` goes without files.
"""

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from patchrisk.backtest.run import Backtest, backtest
    from patchrisk.backtest.tables import read_seasons

__all__ = ["Backtest", "backtest", "read_seasons"]


def __getattr__(name: str) -> Any:
    # Only when asked for: the arithmetic needs neither files nor the models of the site file.
    if name in ("Backtest", "backtest"):
        from patchrisk.backtest import run

        return getattr(run, name)
    if name == "read_seasons":
        from patchrisk.backtest.tables import read_seasons

        return read_seasons
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
