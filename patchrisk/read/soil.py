"""What the soil is reckoned with: numbers of thresholds/, and what an area's logger taught.

The model from air, the root zones and the covers are shipped; a fit to an area's own logger is kept
in a file beside the site file.
"""

import json
import zlib
from collections.abc import Iterable, Mapping
from dataclasses import fields, replace
from functools import cache, reduce
from operator import getitem
from pathlib import Path
from types import MappingProxyType
from typing import Annotated, Any, Literal, get_type_hints

import numpy as np
from pydantic import BaseModel, ConfigDict, Field, create_model

from patchrisk.base import resources
from patchrisk.base.errors import Fault, InputError
from patchrisk.base.safe_text import slug
from patchrisk.base.saving import marked, write_text
from patchrisk.base.toml_files import load_numbers, parse_toml, read_toml, validate
from patchrisk.base.user_files import is_there
from patchrisk.core.soil.calibration import SiteFit
from patchrisk.core.soil.inputs import (
    GENERAL,
    INPUTS,
    NAMES,
    POSITIVE,
    SEASON,
    Parameters,
    Prior,
    SoilModel,
    Surface,
)
from patchrisk.read.area import Area, SiteTable
from patchrisk.read.site import Site
from patchrisk.read.tables.file_text import read_bytes

_ERROR = ("level", "cos", "sin", "arid", "snow")
_PERSISTENCE = ("fast_days", "fast_share", "slow_days", "slow_share", "lasting_days")
_CALIBRATION = (
    "day_variance", "level_after_years", "days_to_half", "scale_days", "fast_share_after",
    "least_days", "least_variation", "most_response", "most_air_above", "most_soil_above",
    "most_distance", "most_height", "most_error", "least_steps", "most_range",
    "range_from_depth", "most_surprise", "stranger_error", "stranger_days", "gap_days",
    "weather_variance", "weather_days", "usual_days", "usual_demand", "usual_rain",
)  # fmt: skip
_RADIATION = ("one", "root_range", "range", "relative", "relative_squared", "wet", "log_rain")
_RAIN = ("one", "lower", "lower_squared", "range", "range_squared", "warmth", "frost")
_CLIMATE, _LINE = ("mean", "cos", "sin"), ("at_40", "slope", "sd")


@cache
def load_soil_model() -> SoilModel:
    """Return the shipped model from air; see `read_soil_model`."""
    return read_soil_model(resources.thresholds() / "soil_model.toml")


def read_soil_model(path: Path) -> SoilModel:
    """Read a parameter file; InputError with everything missing, unknown or impossible in it."""
    data = validate(_model_file(), read_toml(path), str(path)).model_dump()

    def numbers(*tables: str, names: tuple[str, ...]) -> dict[str, float]:
        table = reduce(getitem, tables, data)
        return {name: table[name] for name in names}

    def fitted(inputs: str, field: str) -> dict[str, float]:
        return {name: data[inputs]["parameter"][name][field] for name in GENERAL}

    return SoilModel(
        parameters={
            inputs: Parameters(
                inputs,
                {**fitted(inputs, "value"), **dict.fromkeys(SEASON, 0.0)},
                fitted(inputs, "standard_error"),
                numbers(inputs, "error", names=_ERROR),
            )
            for inputs in INPUTS
        },
        prior=_prior(data["prior"], str(path)),
        persistence=numbers("persistence", names=_PERSISTENCE),
        calibration=numbers("calibration", names=_CALIBRATION),
        radiation_with_rain=tuple(numbers("radiation", "with_rain", names=_RADIATION).values()),
        radiation_air_only=tuple(numbers("radiation", "air_only", names=_RADIATION[:5]).values()),
        rain_guess=tuple(numbers("rain_guess", names=_RAIN).values()),
        climate={n: tuple(numbers("climate", n, names=_LINE).values()) for n in _CLIMATE},
        plot=station_plot(),
    )


class _Told(BaseModel):
    """A table of the parameter file, with what may be told of its numbers."""

    model_config = ConfigDict(extra="forbid", strict=True, allow_inf_nan=False)

    source: str = ""
    unit: str = ""
    fitted: str = ""
    note: str = ""
    confidence: str = ""
    year: int | None = None


@cache
def _model_file() -> type[BaseModel]:
    """Return what the parameter file is read by: every table with every name there is."""

    def table(kinds: Mapping[str, Any]) -> type[BaseModel]:
        columns: dict[str, Any] = {name: (kind, ...) for name, kind in kinds.items()}
        return create_model("Table", __base__=_Told, **columns)

    def numbers(names: Iterable[str]) -> type[BaseModel]:
        return table(dict.fromkeys(names, float))

    fitted = numbers(("value", "standard_error"))
    above_zero = table({"value": Annotated[float, Field(gt=0)], "standard_error": float})
    parameter = table({name: above_zero if name in POSITIVE else fitted for name in GENERAL})
    inputs = table({"parameter": parameter, "error": numbers(_ERROR)})
    name = Literal[NAMES]  # type: ignore[valid-type]
    prior = {"names": list[name], "sd": list[float], "correlation": list[list[float]]}
    guesses = {"with_rain": numbers(_RADIATION), "air_only": numbers(_RADIATION[:5])}
    return table(
        {
            **dict.fromkeys(INPUTS, inputs),
            "prior": table(prior),
            "persistence": numbers(_PERSISTENCE),
            "calibration": numbers(_CALIBRATION),
            "radiation": table(guesses),
            "rain_guess": numbers(_RAIN),
            "climate": table(dict.fromkeys(_CLIMATE, numbers(_LINE))),
        }
    )


def _prior(table: Mapping[str, Any], source: str) -> Prior:
    names, sd, correlation = table["names"], np.array(table["sd"]), table["correlation"]
    size, again = len(names), "fit the model again"
    if not size or len(sd) != size or [len(row) for row in correlation] != [size] * size:
        raise InputError(Fault(source, "prior", "names, sd and correlation differ in size", again))
    covariance = sd[:, None] * np.array(correlation) * sd
    if np.linalg.eigvalsh(covariance).min() <= 0:
        raise InputError(Fault(source, "prior, correlation", "not a correlation matrix", again))
    return Prior(tuple(names), covariance)


@cache
def station_plot() -> Surface:
    """Return the plot the model was fitted on: no adjustment."""
    number = load_numbers("soil_cover")
    return Surface(
        offset_c=0.0,
        offset_sd_c=0.0,
        shade=0.0,
        irrigation=0.0,
        damping_cm=number["damping.station"].value,
        by_range=number["daily_range.by_range"].value,
        by_sun=number["daily_range.by_sun"].value,
        skew=number["daily_range.skew"].value,
        snow_half_cm=number["snow.half_depth"].value,
    )


def surface_of(
    *,
    root_zone: str,
    cover: str = "mown",
    irrigated: bool = False,
    shade: float = 0.0,
) -> Surface:
    """Describe a piece of turf from thresholds/soil_cover.toml.

    ``root_zone``: ``sand green``, ``push-up green``, ``loam`` or ``clay``. ``cover``: ``mown``,
    ``close-mown`` (greens), ``rough`` or ``dormant``. ``shade``: share of the day's sun kept off by
    trees or buildings, 0 to 1. InputError when a name is unknown or the shade is out of range.
    """
    number = load_numbers("soil_cover")
    faults = [
        Fault("turf", key, repr(given), f"write one of {', '.join(known)}")
        for key, given, known in (
            ("root_zone", root_zone, _names("damping")),
            ("cover", cover, _names("cover")),
        )
        if given not in known
    ]
    if not 0 <= shade <= 1:
        faults.append(Fault("turf", "shade", f"{shade:g}", "write a share from 0 to 1"))
    if faults:
        raise InputError(faults)
    offset = number[f"cover.{cover}.offset"]
    spread = [
        number[f"cover.{cover}.offset_sd"].value,
        number["root_zone.offset_sd"].value,
        number["irrigation.offset_sd"].value if irrigated else 0.0,
        number["shade.offset_sd"].value * shade,
    ]
    return replace(
        station_plot(),
        offset_c=offset.value,
        offset_sd_c=float(np.hypot.reduce(spread)),
        shade=shade,
        irrigation=number["irrigation.share_of_demand"].value if irrigated else 0.0,
        damping_cm=number[f"damping.{root_zone}"].value,
    )


def _names(table: str) -> Iterable[str]:
    keys = load_numbers("soil_cover")
    return sorted({key.split(".")[1] for key in keys if key.startswith(f"{table}.")} - {"station"})


def diffusivity_of(root_zone: str, wetness: str) -> float:
    """Return a root zone's thermal diffusivity from thresholds/root_zones.toml [m2/s].

    ``root_zone``: such as ``sand green`` or ``loam``. InputError when the root zone or the wetness
    is unknown; names the known ones.
    """
    numbers = load_numbers("root_zones")
    zones, wets = (tuple(dict.fromkeys(key.split(".")[n] for key in numbers)) for n in (0, 1))
    for kind, name, known in (("root zone", root_zone, zones), ("wetness", wetness, wets)):
        if name not in known:
            cure = f"write one of {', '.join(known)}"
            raise InputError(Fault(kind, "", f"unknown {name!r}", cure))
    return numbers[f"{root_zone}.{wetness}.diffusivity"].value


FIRST_LINE = "# Soil model fitted to this site's logger; delete it to go back to the general one."
_LARGEST = 1e6  # far above any number of the model, far below what a sum can't hold
FIT = marked("soil model that patchrisk fitted", FIRST_LINE.encode())


def fit_path(site: Site, area: Area) -> Path:
    """Return the file of an area's fit: it hangs on the area's name alone, and is safe.

    A name that is more than plain letters, digits and single spaces gets digits of its digest, so
    that no two areas share a file.
    """
    plain = slug(area.name)
    if plain.split("-") != area.name.lower().split(" "):
        plain += f"-{zlib.crc32(area.name.encode()):08x}"
    return site.folder / f"soil-fit-{plain}.toml"


def read_fit(site: Site, area: Area) -> SiteFit | None:
    """Read an area's fit; None when none is kept, InputError when the file is no fit."""
    path = fit_path(site, area)
    return parse_fit(read_bytes(path), str(path)) if is_there(path) else None


def keep_fit(site: Site, area: Area, fit: SiteFit) -> Path:
    """Write an area's fit beside the site file, whole or not at all."""
    path = fit_path(site, area)
    write_text(path, fit_text(fit))
    return path


def fit_text(fit: SiteFit) -> str:
    """Write a fit as a small file that people can read."""
    lines = [FIRST_LINE]
    head = {f.name: getattr(fit, f.name) for f in fields(fit) if f.name != "values"}
    lines += [f"{k} = {json.dumps(v) if isinstance(v, str) else repr(v)}" for k, v in head.items()]
    general = load_soil_model().parameters[fit.inputs]
    lines += ["", "[parameter]  # general value in the comment"]
    lines += [f"{n} = {v:.6g}  # {general[n]:.4g}" for n, v in fit.values.items()]
    return "\n".join(lines) + "\n"


def parse_fit(raw: bytes, source: str) -> SiteFit:
    """Read what `fit_text` wrote; InputError with every key that is amiss."""
    model = _fit_model()
    again = dict.fromkeys((*model.model_fields, *NAMES), "fit the site again")
    kept = validate(model, parse_toml(raw, source), source, again).model_dump(exclude_unset=True)
    values = kept.pop("parameter")
    if not values:
        raise InputError(Fault(source, "parameter", "missing", "fit the site again"))
    return SiteFit(**kept, values=MappingProxyType(values))


@cache
def _fit_model() -> type[BaseModel]:
    """Return what a fit is read by: the columns of `SiteFit`, within bounds."""
    number = Annotated[float, Field(gt=-_LARGEST, lt=_LARGEST)]
    above_zero = Annotated[float, Field(gt=0, lt=_LARGEST)]
    moved: dict[str, Any] = {n: (above_zero if n in POSITIVE else number, None) for n in NAMES}
    values = create_model("Values", __base__=SiteTable, **moved)
    kinds: dict[Any, Any] = {float: number, int: Annotated[int, Field(ge=1, lt=_LARGEST)], str: str}
    columns: dict[str, Any] = {n: (kinds.get(k), ...) for n, k in get_type_hints(SiteFit).items()}
    del columns["values"]
    columns |= {"inputs": (Literal[INPUTS], ...), "parameter": (values, ...)}
    return create_model("Fit", __base__=SiteTable, **columns)


def model_at(fit: SiteFit | None) -> SoilModel:
    """Return the soil model as a logger taught it; the general one without a fit."""
    general = load_soil_model()
    return general if fit is None else fit.applied_to(general)


def surface_at(area: Area, fit: SiteFit | None) -> Surface:
    """Describe an area's turf to the soil model.

    A fit was made from the turf itself, so that only how the daily range fades with depth is
    still taken from the published figures.
    """
    cover = area.cover or {"green": "close-mown", "rough": "rough"}.get(area.use or "", "mown")
    surface = surface_of(
        root_zone=area.root_zone, cover=cover, irrigated=area.irrigated, shade=area.shade
    )
    if fit is None:
        return surface
    return replace(surface, offset_c=0.0, offset_sd_c=0.0, shade=0.0, irrigation=0.0)
