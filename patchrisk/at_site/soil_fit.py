"""What an area's own logger taught the soil model, kept in a file beside the site file."""

import zlib
from dataclasses import replace
from pathlib import Path

from patchrisk.atomic import write_text
from patchrisk.names import slug
from patchrisk.site import Area, Site
from patchrisk.soil.fit import SiteFit
from patchrisk.soil.surface import Surface, surface_of
from patchrisk.weather.decode import read_bytes


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
    if not path.exists():
        return None
    return SiteFit.from_toml(read_bytes(path).decode("utf-8", "replace"), str(path))


def keep_fit(site: Site, area: Area, fit: SiteFit) -> Path:
    """Write an area's fit beside the site file, whole or not at all."""
    path = fit_path(site, area)
    write_text(path, fit.to_toml())
    return path


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
