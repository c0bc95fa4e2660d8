"""A grid of daily air temperature to a map of openings; the page beside it shows this."""

import matplotlib.pyplot as plt
import numpy as np
import xarray as xr

from patchrisk.study import backtest
from patchrisk.study.figure_style import draw_coasts

# An invented climate on a grid: take your own instead, xr.open_dataset("daily.nc").
time = xr.date_range("2015-01-01", "2016-12-31")
lat, lon = np.arange(28.0, 48, 2.5), np.arange(-122.0, -70, 4.0)
turn = -np.cos(2 * np.pi * (time.day_of_year.to_numpy() - 20) / 365.25)[:, None, None]
mean = 285 + 13 * turn + 0.7 * (38 - lat)[:, None] + 2 * np.sin(lon / 9)
grid = {"time": time, "lat": lat, "lon": lon}
air = xr.Dataset({n: (tuple(grid), mean + off, {"units": "K"})
                  for n, off in (("tasmin", -6), ("tasmax", 6))}, grid)  # fmt: skip

found = backtest(air, diseases=["summer patch"])
rule = found.to_dataset().sel(rule="summer-patch/rutgers-kent-5d")
first = rule["opened"].dt.dayofyear.mean("season", keep_attrs=True)
first.plot(cbar_kwargs={"label": "day of the year"})
draw_coasts(plt.gca(), "white")
plt.title("Summer patch: five days at 18.3 °C, mean opening")
