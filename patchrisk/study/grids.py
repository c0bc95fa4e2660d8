"""Grids and rows of stations as xarray Datasets: as sources, and the seasons laid out again."""

import hashlib
import warnings
from collections.abc import Hashable, Mapping, Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from patchrisk import __version__
from patchrisk.base.errors import Fault, InputError
from patchrisk.base.saving import write_bytes
from patchrisk.base.units import FloatArray
from patchrisk.core.skill.climatology import season_day
from patchrisk.study.soil import Block
from patchrisk.study.sources import SiteSource, cut_into_parts, digest_of
from patchrisk.study.table_rows import block_of
from patchrisk.study.tables import SEASON_COLUMNS

if TYPE_CHECKING:
    import xarray as xr

# Names by which the variables of gridded records go, daily or hourly, in the CF standard and in
# widely used archives; any other is named by `columns`.
_NAMES = {
    "air_min_c": ("air_min_c", "tasmin", "tmin", "tmmn", "mn2t", "t2m_min"),
    "air_max_c": ("air_max_c", "tasmax", "tmax", "tmmx", "mx2t", "t2m_max"),
    "rain_mm": ("rain_mm", "pr", "prcp", "precip", "tp"),
    "solar_mj_m2": ("solar_mj_m2", "rsds", "ssrd", "srad"),
    "soil_moisture": ("soil_moisture", "swvl1"),
}
_HOURLY_AIR = ("t2m", "tas", "air_temperature", "2m_temperature")
_UNITS = {"air_min_c": "degC", "air_max_c": "degC", "rain_mm": "mm", "solar_mj_m2": "MJ/m**2",
          "soil_moisture": "m**3/m**3"}  # fmt: skip
_PLACES = {
    "latitude": ("lat", "latitude", "nav_lat"),
    "longitude": ("lon", "longitude", "nav_lon"),
}
_HOUR = np.timedelta64(1, "h")


def _read_cells(
    source: str,
    hourly: bool,
    data: "xr.Dataset",
    sites: Sequence[str],
    latitude: FloatArray,
    longitude: FloatArray,
) -> Block:
    """Read the cells of a Dataset of (time, cell); backed by Dask, it is read only now."""
    times = data["time"].to_numpy().astype("datetime64[h]")
    arrays = {str(n): np.asarray(v.transpose("time", "cell").to_numpy(), dtype=float)
              for n, v in data.data_vars.items()}  # fmt: skip
    if hourly:
        days, arrays = _standard_days(times, arrays.pop("air"), longitude)
    else:
        days = times.astype("datetime64[D]")
    frame = pd.DataFrame({name: value.ravel() for name, value in arrays.items()})
    lane = np.tile(np.arange(len(sites)), len(days))
    frame = frame.assign(
        site=np.array(sites, dtype=object)[lane],
        lat=latitude[lane],
        lon=longitude[lane],
        date=np.repeat(days, len(sites)),
    )
    return block_of(frame, source, sites)


def _standard_days(
    times: np.ndarray, air_c: FloatArray, longitude: FloatArray
) -> tuple[np.ndarray, dict[str, FloatArray]]:
    """Least and greatest of each day of local standard time, by the hours of UTC.

    The zone is that of the longitude, one hour for every 15 degrees. A day of which an hour is
    missing, as the first and the last are in most places, has none.
    """
    step = int(np.diff(times).min() / _HOUR)
    zones = np.round(longitude / 15).astype(int)
    first = times[0].astype("datetime64[D]") - np.timedelta64(1, "D")
    count = int((times[-1].astype("datetime64[D]") - first).astype(int)) + 2
    out = np.full((2, count, len(longitude)), np.nan)
    for zone in np.unique(zones):
        lanes = np.flatnonzero(zones == zone)
        day = ((times + zone * _HOUR).astype("datetime64[D]") - first).astype(int)
        starts = np.flatnonzero(np.r_[True, np.diff(day) != 0])
        whole = np.diff(np.r_[starts, len(day)]) == 24 // step
        some = air_c[:, lanes]
        for end, reduce in zip(out, (np.minimum, np.maximum), strict=True):
            found = reduce.reduceat(some, starts, axis=0)  # NaN where an hour is
            end[np.ix_(day[starts[whole]], lanes)] = found[whole]
    return first + np.arange(count), {"air_min_c": out[0], "air_max_c": out[1]}


def open_grid(
    data: "xr.Dataset",
    columns: Mapping[str, str],
    missing: Sequence[float] = (),
    source: str = "the Dataset",
    digest: str | None = None,
) -> SiteSource:
    """Cut a grid, or a row of stations, into parts of cells; one backed by Dask is read by part.

    ``data`` have a dimension ``time``, daily or, of the air temperature, hourly in UTC; coordinates
    of latitude and longitude, of any shape; every variable with CF units. Longitudes may run to
    360. ``columns`` say what it calls a variable, by our name: ``{"soil_5cm_c": "tsl"}``;
    ``missing`` numbers, in the unit of the variable, stand for none. ``digest`` is the SHA-256 of
    the data, made of all of them when not given. InputError when a dimension, a coordinate, a
    variable or a unit is lacking.
    """
    if "time" not in data.dims or data["time"].dtype.kind != "M":
        cure = "name it time; of another calendar: ds.convert_calendar('standard')"
        raise InputError(Fault(source, "dimension time", "none of days or hours", cure))
    data = data.sortby("time")
    steps = np.unique(np.diff(data["time"].to_numpy().astype("datetime64[m]"))).astype(int)
    hourly = bool(len(steps)) and int(steps.min()) < 24 * 60
    if hourly and (len(steps) > 1 or 24 * 60 % steps[0] or steps[0] % 60):
        cure = "give every hour, or every day"
        raise InputError(Fault(source, "dimension time", "steps that are not alike", cure))
    names = _variables(data, columns, hourly)
    if not names:
        cure = "name them with columns, as columns={'air_min_c': 'tasmin', 'air_max_c': 'tasmax'}"
        found = "no air temperature by the hour" if hourly else "no daily least and greatest air"
        raise InputError(Fault(source, ", ".join(map(str, data.data_vars)), found, cure))
    chosen = data[list(names)].rename(names)
    for number in missing:  # as the variable's own kind of number holds it
        chosen = chosen.map(lambda v, number=number: v.where(v != v.dtype.type(number)))
    # As the variables have them: in what order a file lists its coordinates is chance.
    laid = (d for variable in chosen.data_vars.values() for d in variable.dims)
    space = [d for d in dict.fromkeys(laid) if d != "time"]
    places = {what: next((n for n in wanted if n in data.variables), "")
              for what, wanted in _PLACES.items()}  # fmt: skip
    if lacking := [what for what, name in places.items() if not name]:
        cures = {what: f"add a coordinate {_PLACES[what][0]} in degrees" for what in lacking}
        raise InputError(
            [Fault(source, f"coordinate {w}", "not there", cure) for w, cure in cures.items()]
        )
    shape = chosen[next(iter(chosen.data_vars))].isel(time=0, drop=True)
    place = {
        what: data[name].broadcast_like(shape).transpose(*space).to_numpy().ravel()
        for what, name in places.items()
    }
    longitude = (place["longitude"] + 180.0) % 360.0 - 180.0
    if space:
        cells_only = chosen.stack(cell=space, create_index=False)  # noqa: PD013
    else:
        cells_only = chosen.expand_dims("cell")
    stacked = _in_canonical(cells_only.reset_coords(drop=True), source)
    sites = _names(data, space, place["latitude"], longitude)
    ends = (np.full(len(sites), data["time"].to_numpy()[n]) for n in (0, -1))
    parts = [
        partial(_read_cells, source, hourly, stacked.isel(cell=cells), sites[cells],
                place["latitude"][cells], longitude[cells])
        for cells in cut_into_parts(*ends)
    ]  # fmt: skip
    if digest is None:
        whole = hashlib.sha256(repr((sorted(names.items()), dict(data.sizes), sites)).encode())
        for name in names:
            about = sorted((k, str(v)) for k, v in data[name].attrs.items())
            whole.update(repr(about).encode() + _content(data[name]))
        digest = whole.hexdigest()
    not_read = tuple(str(n) for n in data.data_vars if n not in names)
    kind = f"an xarray Dataset, {'hourly' if hourly else 'daily'}"
    return SiteSource(source, kind, parts, digest, not_read, _grid(data, places, space))


def _content(variable: "xr.DataArray") -> bytes:
    """Return what tells a variable from any other: of one backed by Dask, how it is made."""
    if variable.chunks is not None:
        from dask.base import tokenize

        return str(tokenize(variable.data)).encode()
    return hashlib.sha256(np.ascontiguousarray(variable.to_numpy()).tobytes()).digest()


def open_grid_file(
    path: Path, columns: Mapping[str, str], missing: Sequence[float] = ()
) -> SiteSource:
    """Open a NetCDF file or a Zarr store as `open_grid` does, read part by part by Dask.

    InputError when xarray, or what it reads the file with, is not installed.
    """
    try:
        import xarray as xr

        engine = "zarr" if path.suffix == ".zarr" else None
        with warnings.catch_warnings():  # a store without a list of what it holds is read too
            warnings.simplefilter("ignore", RuntimeWarning)
            data = xr.open_dataset(path, engine=engine, chunks={})  # as they lie on disk
    except (ImportError, ValueError) as error:
        cure = "install patchrisk[grid]"
        found = f"can't be read here ({str(error).splitlines()[0][:80]})"
        raise InputError(Fault(str(path), "", found, cure)) from None
    return open_grid(
        data, columns, missing, str(path), None if path.is_dir() else digest_of([path])
    )


def _variables(data: "xr.Dataset", columns: Mapping[str, str], hourly: bool) -> dict[Hashable, str]:
    """Return our name of each variable that is read."""
    out: dict[Hashable, str] = {theirs: ours for ours, theirs in columns.items() if theirs in data}
    if hourly:
        air = next((n for n in _HOURLY_AIR if n in data), None)
        return {air: "air"} if air is not None else {}
    for ours, names in _NAMES.items():
        found = next((n for n in names if n in data and n not in out), None)
        if ours not in columns and found is not None:
            out[found] = ours
    has = set(out.values())
    soil = any(name.startswith("soil_") for name in has)
    return out if soil or {"air_min_c", "air_max_c"} <= has else {}


def _in_canonical(data: "xr.Dataset", source: str) -> "xr.Dataset":
    """Put every variable into our unit by the units that it names; one backed by Dask lazily."""
    try:
        from cf_xarray.units import units
    except ImportError:
        cure = "install patchrisk[grid]"
        raise InputError(Fault(source, "", "cf-xarray and pint are not installed", cure)) from None
    for name in map(str, data.data_vars):
        given = data[name].attrs.get("units")
        wanted = _UNITS.get(name, "degC")
        try:
            if given is None:
                raise ValueError("no units")
            factor, offset = _factors(units, units.Unit(str(given)), wanted)
        except Exception as error:  # pint's faults are of many kinds
            found = f"units {given!r}" if given is not None else "no units"
            cure = f"give it units that are of {wanted}, as CF writes them ({type(error).__name__})"
            raise InputError(Fault(source, f"variable {name}", found, cure)) from None
        data = data.assign({name: data[name] * factor + offset})
    return data


def _factors(units: Any, unit: Any, wanted: str) -> tuple[float, float]:
    """Return by what to multiply, and what to add: rates are those of a day, water has 1 kg/l."""
    if wanted == "degC":
        low, high = (units.Quantity(value, unit).to("degC").magnitude for value in (0.0, 1.0))
        return high - low, low
    scale = units.Quantity(1.0, unit)
    if wanted == "mm" and scale.check("[mass] / [length] ** 2 / [time]"):
        scale = scale / units.Quantity(1000.0, "kg/m**3")
    if wanted == "mm" and scale.check("[mass] / [length] ** 2"):
        scale = scale / units.Quantity(1000.0, "kg/m**3")
    if not scale.check(f"[{'length' if wanted == 'mm' else 'mass'}]") and "[time]" in str(
        (scale / units.Quantity(1.0, wanted)).dimensionality
    ):
        scale = scale * units.Quantity(1.0, "day")
    return float(scale.to(wanted).magnitude), 0.0


def _names(
    data: "xr.Dataset", space: Sequence[Hashable], latitude: FloatArray, longitude: FloatArray
) -> list[str]:
    if len(space) == 1 and space[0] in data.coords and data[space[0]].dtype.kind in "OUST":
        return [str(name) for name in data[space[0]].to_numpy()]
    places = zip(latitude.tolist(), longitude.tolist(), strict=True)
    return [f"{lat:.5f},{lon:.5f}" for lat, lon in places]


def _grid(
    data: "xr.Dataset", places: Mapping[str, str], space: Sequence[Hashable]
) -> dict[str, Any] | None:
    """Return how to lay results out as the source was; None where it is no grid of degrees."""
    names = [places[what] for what in ("latitude", "longitude")]
    if set(names) != {str(d) for d in space}:
        return None
    return {what: {"name": name, "values": data[name].to_numpy().tolist()}
            for what, name in places.items()}  # fmt: skip


_RESULT_UNITS = {"opening_day": "days", "days_open": "days", "pressure_season": "days",
          "degree_days_opened": "K day"}  # fmt: skip


def to_dataset(seasons: pd.DataFrame, grid: Mapping[str, Any] | None) -> "xr.Dataset":
    """Lay a seasons table, of one kind of soil record, out as a Dataset, on the grid of its source.

    Dimensions are ``rule`` (disease/rule), ``season`` and the grid's own, else ``site``; the
    variables dates, and ``opening_day`` [days after the season's first day], with CF attributes.
    """
    table = seasons.assign(rule=seasons["disease"].astype(str) + "/" + seasons["rule"].astype(str))
    table["opening_day"] = season_day(
        *(table[name].to_numpy("M8[D]") for name in ("season_first", "opened"))
    )
    shown = ["opened", "opened_earliest", "opened_latest", "opening_day", "days_open",
             "pressure_season", "degree_days_opened", "dating"]  # fmt: skip
    axes: dict[str, list[Any]] = {
        "rule": list(dict.fromkeys(table["rule"])),
        "season": sorted(set(table["season"])),
    }
    if grid is None:
        table["site"] = table["site"].astype(str)
        axes["site"] = list(dict.fromkeys(table["site"]))
    else:
        for what in ("latitude", "longitude"):
            own = np.asarray(grid[what]["values"], dtype=float)
            turned = (own + 180.0) % 360.0 - 180.0 if what == "longitude" else own
            place = pd.Index(np.round(turned, 5)).get_indexer(pd.Index(table[what].round(5)))
            table[grid[what]["name"]] = own[place]
            axes[grid[what]["name"]] = own.tolist()
    out = table.set_index(list(axes))[shown].to_xarray().reindex(axes)
    for name in shown:
        kind = table[name].dtype.kind
        laid = out[name] if kind == "M" else out[name].astype(float) if kind in "if" else (
            out[name].fillna("").astype(str))  # fmt: skip
        words = SEASON_COLUMNS.get(name, "first opening, days after the season's first day")
        units = {"units": _RESULT_UNITS[name]} if name in _RESULT_UNITS else {}
        out[name] = laid.assign_attrs(long_name=words, **units)
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
    """Write a Dataset of `to_dataset` as NetCDF 4; UnavailableError when it can't be written."""
    days = {"units": "days since 1970-01-01", "dtype": "float64"}
    encoding = {str(n): days for n, v in dataset.data_vars.items() if v.dtype.kind == "M"}
    content = dataset.to_netcdf(engine="h5netcdf", encoding=encoding)
    write_bytes(path, bytes(content))
