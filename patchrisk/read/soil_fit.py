"""What an area's own logger taught the soil model, kept in a file beside the site file."""

import zlib
from dataclasses import replace
from pathlib import Path
from types import MappingProxyType
from typing import TypeGuard, cast

from patchrisk.base.errors import Fault, InputError
from patchrisk.base.safe_text import slug
from patchrisk.base.saving import marked, write_text
from patchrisk.base.toml_files import parse_toml
from patchrisk.base.user_files import is_there
from patchrisk.core.soil.calibration import SiteFit
from patchrisk.core.soil.parameters import INPUTS, NAMES, POSITIVE, SoilModel
from patchrisk.core.soil.surface import Surface
from patchrisk.read.area import Area
from patchrisk.read.site import Site
from patchrisk.read.soil import load_soil_model, surface_of
from patchrisk.read.tables.decode import read_bytes

FIRST_LINE = "# Soil model fitted to this site's logger; delete it to go back to the general one."
_LARGEST = 1e6  # far above any number of the model, far below what a sum can't hold
_HEAD: dict[str, type] = {
    "inputs": str,
    "depth_cm": float,
    "fitted_on": str,
    "first_day": str,
    "last_day": str,
    "days": int,
    "error_before_c": float,
    "error_after_c": float,
    "bias_before_c": float,
    "bias_after_c": float,
    "level": float,
}
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
    """Read an area's fit; None when none is kept.

    Raises
    ------
    InputError
        When the file is not a fit; names key and cure.
    """
    path = fit_path(site, area)
    if not is_there(path):
        return None
    return parse_fit(read_bytes(path).decode("utf-8", "replace"), str(path))


def keep_fit(site: Site, area: Area, fit: SiteFit) -> Path:
    """Write an area's fit beside the site file, whole or not at all."""
    path = fit_path(site, area)
    write_text(path, fit_text(fit))
    return path


def fit_text(fit: SiteFit) -> str:
    """Write a fit as a small file that people can read."""
    lines = [FIRST_LINE]
    for name in _HEAD:
        value = getattr(fit, name)
        lines.append(f'{name} = "{value}"' if isinstance(value, str) else f"{name} = {value!r}")
    general = load_soil_model().parameters[fit.inputs]
    lines += ["", "[parameter]  # general value in the comment"]
    lines += [f"{n} = {v:.6g}  # {general[n]:.4g}" for n, v in fit.values.items()]
    return "\n".join(lines) + "\n"


def parse_fit(text: str, source: str = "site fit") -> SiteFit:
    """Read what `fit_text` wrote.

    Raises
    ------
    InputError
        With every key that is missing, unknown or not a usable number.
    """
    data = parse_toml(text.encode(), source)
    faults: list[Fault] = []
    values = data.pop("parameter", {})
    for name in sorted(set(_HEAD) - data.keys()):
        faults.append(Fault(source, name, "missing", "fit the site again"))
    for name in sorted(data.keys() - set(_HEAD)):
        faults.append(Fault(source, name, "unknown key", "take it out"))
    for name, kind in _HEAD.items():
        value = data.get(name)
        if value is None:
            continue
        right = type(value) is kind if kind is str else _is_sane(value)
        right = right and not (kind is int and (type(value) is not int or value < 1))
        if not right:
            faults.append(Fault(source, name, repr(value), f"write a {kind.__name__}"))
    if isinstance(data.get("inputs"), str) and data["inputs"] not in INPUTS:
        known = ", ".join(INPUTS)
        faults.append(Fault(source, "inputs", repr(data["inputs"]), f"write one of {known}"))
    for name, value in values.items() if isinstance(values, dict) else ():
        place = f"parameter.{name}"
        if name not in NAMES:
            faults.append(Fault(source, place, "unknown parameter", "take it out"))
        elif not _is_sane(value):
            faults.append(Fault(source, place, repr(value), "write a number"))
        elif name in POSITIVE and value <= 0:
            faults.append(Fault(source, place, repr(value), "write a number above 0"))
    if not isinstance(values, dict) or not values:
        faults.append(Fault(source, "parameter", "missing table", "fit the site again"))
    if faults:
        raise InputError(faults)
    return SiteFit(**data, values=MappingProxyType({k: float(v) for k, v in values.items()}))


def _is_sane(value: object) -> TypeGuard[float]:
    """Whether a value is a number that a fit can give: none is as large as `_LARGEST`."""
    return type(value) in (int, float) and abs(cast("float", value)) < _LARGEST


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
