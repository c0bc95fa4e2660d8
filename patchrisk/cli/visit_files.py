"""The files that `patchrisk visit` writes: a visit's, and the site file of a sample by post."""

import os
from collections.abc import Mapping, Sequence
from datetime import date
from pathlib import Path
from typing import Any

from patchrisk.base.errors import Fault, InputError
from patchrisk.base.saving import write_text
from patchrisk.base.toml_files import toml_value
from patchrisk.base.user_files import is_there

_VISIT = """\
# A visit, for `patchrisk visit {name}`. Write what you saw; whatever you leave out counts as not
# looked at. File names are relative to this file. A line with # in front is an example.
site = {site}
area = {area}
date = {date}
{thinned}         # the day on which the turf was first seen to thin
# pattern = "patches"       # rings, patches, streaks, whole area, low spots, wear lines, shade,
#   no shape
# texture = "coarse"        # of the root zone, where the site file does not tell: medium, fine
# previous = "visit-2025.toml"  # the visit before, to compare with
# guidelines = "my_soil_tests.toml"  # your own, written like thresholds/soil_tests.toml
# note = "anything else"

# What the laboratories sent. The table of soil tests is read as it comes, CSV or Excel; how it was
# read stands in the report. Only what it does not say need be written here.
[laboratory]
# file = "soil.csv"
# extractant = "Mehlich-3"  # Mehlich-3, Olsen, Bray P1, ammonium acetate, paste, ...
# ph_method = "1:1"         # 1:1, 1:2, paste, CaCl2
# conductivity_method = "paste"
# sheet = "Sheet1"          # of a workbook
# decimal = "."             # where commas could be either
# sure = ["sodium"]         # odd figures that are right
# depth = "4 in"            # of the sample, where contents are in lb/acre
# columns = {{ "Ca" = "calcium, ppm, Mehlich-3", "Lab no." = "left out" }}
# samples = {{ "S-101" = "Good", "S-102" = "Bad" }}
# confirmed = true          # when you looked at how it was read
# found = {{ "take-all patch" = "DNA" }}       # microscope, culture or DNA
# not_found = {{ "summer patch" = "DNA" }}

# A treated strip beside an untreated one, told by the names of two places.
# [strip]
# treated = "Strip"
# untreated = "Beside it"
# since = 2026-02-10
# what = "FRAC 11"

# The places, from best to worst. damage: share of the turf that is thin or dead [%].
# Amounts on the roots are "none", "few" or "many"; write what was looked for and not found, too.
"""
_PLACE = """
[[place]]
name = {name}
# damage = {damage}
# seen = "how the turf looks"
# shaded = false
# traffic = "usual"         # usual or heavy
# photos = ["photo.jpg"]
[place.roots]               # colour: white, tan, brown, dark; tips: usual, bulbous; crowns: dead
# length = "8 cm"
# colour = "white"
# density = "many"
# crowns = "sound"
# runner_hyphae = "none"    # under the microscope, as those below
# growth_cessation = "none"
# oospores = "none"
# root_hairs = "many"
# tips = "usual"
# rotten = "none"
# sheath_lesions = "none"
[place.ground]
# drop_time = "4 s"
# black_layer = false
# thatch = "10 mm"
# moisture = 20
# air_filled = 18
# mushrooms = "none"
# infiltration = "150 mm/h"
# organic_matter = {{ "0 to 2 cm" = 3.1 }}
[place.nematodes]
# ring = "200 per 100 cm3"
[place.soil]
# pH = "7.1, 1:1"
# conductivity = "1.2 dS/m, paste"
# calcium = "800 ppm, Mehlich-3"
"""
_SITE = """\
# Site file of patchrisk: one place, its areas, and where its readings are.
# Made for a sample by post: there is no logger and no record here.
"""


def refuse_existing(*paths: Path) -> None:
    """Leave files alone that are there; InputError names them."""
    there = [path for path in paths if is_there(path)]
    if there:
        cure = "name another with --out"
        raise InputError(Fault(str(path), "", "there is one already", cure) for path in there)


def name_beside(path: Path, folder: Path) -> str:
    """Return how files of a folder name another file."""
    try:
        return Path(os.path.relpath(path, folder)).as_posix()
    except ValueError:  # another drive
        return path.resolve().as_posix()


def write_new_visit(
    path: Path,
    *,
    site: str,
    area: str,
    day: date,
    thinned: date | None,
    places: Sequence[tuple[str, int]] = (("Good", 0), ("Middling", 20), ("Bad", 50)),
) -> None:
    """Write a commented visit's file; ``places`` with the damage of the example [%]."""
    head = _VISIT.format(
        name=path.name,
        site=toml_value(site),
        area=toml_value(area),
        date=day,
        thinned=f"# thinned = {day}" if thinned is None else f"thinned = {thinned}",
    )
    parts = [_PLACE.format(name=toml_value(p), damage=damage) for p, damage in places]
    write_text(path, head + "".join(parts))


def write_postal_site(
    path: Path, place: Mapping[str, Any], area: Mapping[str, Any], weather: Path | None
) -> None:
    """Write the site file of a sample by post: keys of its tables, those that are told."""
    tables = {"[site]": place, "[[area]]": area}
    if weather is not None:
        tables["[[weather]]"] = {"file": name_beside(weather, path.parent)}
        tables["[online]"] = {"use": False}
    text = _SITE
    for head, table in tables.items():
        told = (f"{key} = {toml_value(v)}\n" for key, v in table.items() if v is not None)
        text += f"\n{head}\n{''.join(told)}"
    write_text(path, text)
