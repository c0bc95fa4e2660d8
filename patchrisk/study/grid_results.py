"""A table of seasons laid out as an xarray Dataset, and written as NetCDF."""

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from patchrisk import __version__
from patchrisk.base.saving import write_bytes
from patchrisk.base.units import IntArray

if TYPE_CHECKING:
    import xarray as xr

_UNITS = {"opening_day": "days", "days_open": "days", "pressure_season": "days",
          "degree_days_opened": "K day"}  # fmt: skip


def to_dataset(seasons: pd.DataFrame, grid: Mapping[str, Any] | None) -> "xr.Dataset":
    """Lay a seasons table out as a Dataset, on the grid of its source where it had one.

    Parameters
    ----------
    seasons : DataFrame
        Of one kind of soil record; `patchrisk.study.tables.SEASON_COLUMNS`.
    grid : mapping or None
        As `SiteSource.grid`.

    Returns
    -------
    xarray.Dataset
        Dimensions ``rule`` (disease/rule), ``season`` and the grid's own, else ``site``; dates,
        and ``opening_day`` [days after the season's first day], with CF attributes.
    """
    import xarray as xr

    from patchrisk.core.skill.climatology import season_day
    from patchrisk.study.tables import SEASON_COLUMNS

    table = seasons.assign(rule=seasons["disease"].astype(str) + "/" + seasons["rule"].astype(str))
    table["opening_day"] = season_day(
        *(table[name].to_numpy("M8[D]") for name in ("season_first", "opened"))
    )
    shown = ["opened", "opened_earliest", "opened_latest", "opening_day", "days_open",
             "pressure_season", "degree_days_opened", "dating"]  # fmt: skip
    axes: list[tuple[str, list[Any], IntArray]] = []
    for name in ("rule", "season"):
        values = list(dict.fromkeys(table[name])) if name == "rule" else sorted(set(table[name]))
        axes.append((name, values, pd.Index(values).get_indexer(pd.Index(table[name]))))
    if grid is None:
        sites = list(dict.fromkeys(table["site"].astype(str)))
        axes.append(("site", sites, pd.Index(sites).get_indexer(pd.Index(table["site"]))))
    else:
        for what in ("latitude", "longitude"):
            own = np.asarray(grid[what]["values"], dtype=float)
            turned = (own + 180.0) % 360.0 - 180.0 if what == "longitude" else own
            place = pd.Index(np.round(turned, 5)).get_indexer(pd.Index(table[what].round(5)))
            axes.append((grid[what]["name"], own.tolist(), place))
    at, shape = tuple(a[2] for a in axes), tuple(len(a[1]) for a in axes)
    out = xr.Dataset(coords={name: values for name, values, _ in axes})
    for name in shown:
        column = table[name]
        kind = column.dtype.kind
        empty: Any = np.datetime64("NaT", "s") if kind == "M" else np.nan if kind in "if" else ""
        cells = np.full(shape, empty, dtype="M8[s]" if kind == "M" else float if kind in "if" else
                        object)  # fmt: skip
        cells[at] = column.to_numpy("M8[s]") if kind == "M" else column.to_numpy()
        words = SEASON_COLUMNS.get(name, "first opening, days after the season's first day")
        attributes = {"long_name": words} | ({"units": _UNITS[name]} if name in _UNITS else {})
        out[name] = (tuple(a[0] for a in axes), cells if kind in "Mif" else cells.astype(str),
                     attributes)  # fmt: skip
    out["rule"].attrs = {"long_name": "disease and rule"}
    out["season"].attrs = {"long_name": "year in which the season began"}
    units = {"latitude": "degrees_north", "longitude": "degrees_east"}
    for what, unit in units.items():
        if grid is None:
            each = table.groupby(table["site"].astype(str), sort=False)[what].first()
            out = out.assign_coords({what: ("site", each.to_numpy())})
        out[what if grid is None else grid[what]["name"]].attrs = {
            "standard_name": what, "units": unit, "long_name": what}  # fmt: skip
    return out.assign_attrs(
        Conventions="CF-1.11",
        title="When rules on root-infecting turf fungi would have opened in past seasons",
        source=f"patchrisk {__version__}; soil temperature {', '.join(set(table['soil']))}",
    )


def write_netcdf(path: Path, dataset: "xr.Dataset") -> None:
    """Write a Dataset of `to_dataset` as NetCDF 4 with CF attributes.

    Raises
    ------
    UnavailableError
        When it can't be written.
    """
    days = {"units": "days since 1970-01-01", "dtype": "float64"}
    encoding = {str(n): days for n, v in dataset.data_vars.items() if v.dtype.kind == "M"}
    content = dataset.to_netcdf(engine="h5netcdf", encoding=encoding)
    write_bytes(path, bytes(content))
