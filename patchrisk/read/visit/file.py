"""The file of a visit: places from best to worst, and what was found at each."""

import datetime as dt
import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BeforeValidator, Field, model_validator

from patchrisk.base.errors import Fault, InputError
from patchrisk.base.safe_text import squeezed
from patchrisk.base.toml_files import plain, read_toml, validate
from patchrisk.base.units import MM_PER_INCH, read_measure
from patchrisk.base.user_files import is_there, not_there
from patchrisk.core.visit.findings import Amount, Place, SoilValue
from patchrisk.core.visit.soil_tests import worked_out
from patchrisk.read.area import Name, SiteTable
from patchrisk.read.site import File
from patchrisk.read.visit.guidelines import SoilTests, load_soil_tests
from patchrisk.read.visit.laboratory import Laboratory, LaboratoryTable, read_laboratory
from patchrisk.read.visit.soil_values import UnitError, read_text

Texture = Literal["coarse", "medium", "fine"]
Pattern = Literal[
    "rings", "patches", "streaks", "whole area", "low spots", "wear lines", "shade", "no shape"
]
_TEXTURES = {"sand green": "coarse", "loam": "medium", "clay": "fine"}
_NUMBER = r"(\d+(?:\.\d+)?)"
_COUNT = re.compile(rf"{_NUMBER}\s*(?:per|in|/)\s*{_NUMBER}\s*(?:cm3|cc|cm³|ml|g)", re.IGNORECASE)
_SECONDS = re.compile(rf"{_NUMBER}\s*(s|sec|seconds|min|minutes)", re.IGNORECASE)
_SPEED = re.compile(rf"{_NUMBER}\s*(mm|cm|in|inches)\s*/\s*(h|hr|hour|min)", re.IGNORECASE)
_MM = {"mm": 1.0, "cm": 10.0, "in": MM_PER_INCH, "inches": MM_PER_INCH}
_SIGNS = {
    *("runner_hyphae", "growth_cessation", "root_hairs", "oospores", "rotten", "sheath_lesions"),
}

VISIT_CURES = {
    "place": "write each place under a line [[place]], from best to worst",
    "date": "write the day of the visit without quotes, such as 2026-02-03",
    "thinned": "write the day without quotes, such as 2026-01-20",
    "damage": "write the share of the turf that is thin or dead, from 0 to 100",
    "length": 'write a length with its unit, such as "6 cm" or "2.5 in"',
    "thatch": 'write a depth with its unit, such as "12 mm"',
    "drop_time": 'write the seconds that a drop stands, such as "12 s"',
    "infiltration": 'write depth and time, such as "150 mm/h" or "6 in/h"',
    "nematodes": 'write each kind with count and soil: { ring = "300 per 100 cm3" }',
    "soil": 'write each test with unit and extractant: { calcium = "900 ppm, Mehlich-3" }',
    "found": 'write each name with its method: { "take-all patch" = "DNA" }',
    "moisture": "write percent by volume, from 0 to 100",
    "air_filled": "write percent of the volume, from 0 to 100",
    "columns": 'write each heading with what it is: { "Ca" = "calcium, ppm, Mehlich-3" }',
    "samples": 'write each sample with its place: { "S-101" = "Bad" }, or "left out"',
}


def _parts(pattern: re.Pattern[str], key: str, text: Any) -> list[str]:
    match = pattern.fullmatch(text.strip()) if isinstance(text, str) else None
    if match is None:
        raise ValueError(repr(text), VISIT_CURES[key])
    return [group.casefold() for group in match.groups()]


def _seconds(text: Any) -> float:
    number, unit = _parts(_SECONDS, "drop_time", text)
    return float(number) * (60 if unit.startswith("min") else 1)


def _mm_per_hour(text: Any) -> float:
    number, depth, time = _parts(_SPEED, "infiltration", text)
    return float(number) * _MM[depth] * (60 if time == "min" else 1)


def _in_100_cm3(text: Any) -> float:
    count, soil = _parts(_COUNT, "nematodes", text)
    return 100 * float(count) / float(soil)


def _texts(value: Any) -> Any:
    return [value] if isinstance(value, str) else value


_Length = Annotated[  # [cm]
    float,
    BeforeValidator(lambda text: read_measure("depth", str(text)), json_schema_input_type=str),
]
_Percent = Annotated[float, Field(ge=0, le=100)]


class RootsSeen(SiteTable):
    """The roots of a plug, by eye and under the microscope; amounts are none, few or many."""

    length: _Length | None = None
    colour: Literal["white", "tan", "brown", "dark"] | None = None
    density: Literal["none", "few", "many"] | None = None
    crowns: Literal["sound", "dead"] | None = None
    tips: Literal["usual", "bulbous"] | None = None
    runner_hyphae: Amount | None = None
    growth_cessation: Amount | None = None
    root_hairs: Amount | None = None
    oospores: Amount | None = None
    rotten: Amount | None = None
    sheath_lesions: Amount | None = None


class GroundSeen(SiteTable):
    """The ground at a place; organic matter by depth, as ``{ "0 to 2 cm" = 3.1 }`` [%]."""

    thatch: _Length | None = None
    organic_matter: dict[str, _Percent] = {}
    drop_time: Annotated[float, BeforeValidator(_seconds, json_schema_input_type=str)] | None = (
        None  # [s]
    )
    infiltration: (
        Annotated[float, BeforeValidator(_mm_per_hour, json_schema_input_type=str)] | None
    ) = None  # [mm/h]
    moisture: _Percent | None = None
    air_filled: _Percent | None = None
    black_layer: bool | None = None
    mushrooms: Amount | None = None


class VisitPlace(SiteTable):
    """One place of the visit; ``soil`` and ``nematodes`` carry their units."""

    name: Annotated[Name, Field(max_length=80)]
    damage: _Percent | None = None
    seen: Annotated[str, AfterValidator(plain), Field(max_length=400)] = ""
    shaded: bool | None = None
    traffic: Literal["usual", "heavy"] | None = None
    roots: RootsSeen = RootsSeen()
    ground: GroundSeen = GroundSeen()
    nematodes: dict[
        str, Annotated[float, BeforeValidator(_in_100_cm3, json_schema_input_type=str)]
    ] = {}
    soil: dict[str, Annotated[list[str], BeforeValidator(_texts)]] = {}
    photos: Annotated[list[File], Field(max_length=12)] = []


class Strip(SiteTable):
    """A treated strip beside an untreated one: names of two places, what went on, and when."""

    treated: str
    untreated: str
    since: dt.date
    what: Annotated[str, AfterValidator(plain), Field(max_length=200)]


class VisitFile(SiteTable):
    """A whole visit's file; places stand from best to worst.

    ``thinned`` is the day on which the turf was first seen to thin.
    """

    site: File = "site.toml"
    area: str
    date: dt.date
    thinned: dt.date | None = None
    pattern: Pattern | None = None
    texture: Texture | None = None
    note: Annotated[str, AfterValidator(plain), Field(max_length=2000)] = ""
    previous: File | None = None
    guidelines: File | None = None
    laboratory: Laboratory = Laboratory()
    strip: Strip | None = None
    place: Annotated[list[VisitPlace], Field(min_length=1, max_length=12)]

    @model_validator(mode="after")
    def _check(self) -> "VisitFile":
        names = [squeezed(p.name) for p in self.place]
        if len(set(names)) < len(names):
            raise ValueError("two places of one name", "give each place its own name")
        told = [p.damage for p in self.place if p.damage is not None]
        if told != sorted(told):
            damaged = [f"{p.name} {p.damage:g} %" for p in self.place if p.damage is not None]
            found = f"places in no order of damage: {', '.join(damaged)}"
            raise ValueError(found, "write the places from best to worst")
        if self.thinned is not None and self.thinned > self.date:
            raise ValueError(f"thinned {self.thinned} is after the visit", "correct one of the two")
        return self


@dataclass(frozen=True)
class VisitData:
    """A visit as read: ``places`` are what the core judges; ``laboratory`` None without a table."""

    path: Path
    file: VisitFile
    places: tuple[Place, ...]
    tests: SoilTests
    laboratory: LaboratoryTable | None
    previous: "VisitData | None" = None

    @property
    def folder(self) -> Path:
        """Where relative names start."""
        return self.path.parent

    @property
    def site_path(self) -> Path:
        """The site file."""
        return self.folder / self.file.site


def read_visit(path: Path, *, with_previous: bool = True) -> VisitData:
    """Read a visit's file, and the laboratory's table that it names; every fault at once."""
    if not is_there(path):
        cure = "check the name, or write one with `patchrisk visit --new`"
        raise InputError(Fault(str(path), "", "no such file", cure))
    file = validate(VisitFile, read_toml(path), str(path), VISIT_CURES)
    faults = not_there(str(path), path.parent, _named(file))
    if faults:
        raise InputError(faults)
    tests = load_soil_tests(path.parent / file.guidelines if file.guidelines else None)
    try:
        for name in file.laboratory.sure:
            tests.known(name)
    except UnitError as error:
        raise InputError(error.at(str(path), "laboratory, sure")) from None
    own = {
        p.name: _soil_of(p, file.laboratory, tests, path, n, faults)
        for n, p in enumerate(file.place, 1)
    }
    if faults:
        raise InputError(dict.fromkeys(faults))
    table = None
    if file.laboratory.file is not None:
        source = path.parent / file.laboratory.file
        table = read_laboratory(source, list(own), file.laboratory, tests)
    places = []
    for item in file.place:
        have = {v.key for v in own[item.name]}
        sent = () if table is None else table.values[item.name]
        values = own[item.name] + [v for v in sent if v.key not in have]
        places.append(place_of(item, values))
    previous = None
    if file.previous is not None and with_previous:
        previous = read_visit(path.parent / file.previous, with_previous=False)
    return VisitData(path, file, tuple(places), tests, table, previous)


def _named(file: VisitFile) -> Iterator[tuple[str, str]]:
    yield "previous", file.previous or ""
    yield "guidelines", file.guidelines or ""
    yield "laboratory, file", file.laboratory.file or ""
    for n, place in enumerate(file.place, 1):
        yield from ((f"place {n}, photos", photo) for photo in place.photos)


def _soil_of(
    item: VisitPlace,
    laboratory: Laboratory,
    tests: SoilTests,
    path: Path,
    number: int,
    faults: list[Fault],
) -> list[SoilValue]:
    out: list[SoilValue] = []
    sure = [tests.known(name) for name in laboratory.sure]
    for name, texts in item.soil.items():
        for text in texts:
            try:
                analyte = tests.known(name)
                usual = laboratory.method_for(analyte)
                out.append(read_text(text, analyte, usual, sure=analyte in sure))
            except UnitError as error:
                faults.append(error.at(str(path), f"place {number}, soil, {name}"))
    return out


def place_of(item: VisitPlace, values: list[SoilValue]) -> Place:
    """Return a place as plain values, with its figures of soil tests."""
    roots, ground = item.roots, item.ground
    signs = roots.model_dump(include=_SIGNS, exclude_none=True)
    if roots.tips is not None:
        signs["bulbous_tips"] = "many" if roots.tips == "bulbous" else "none"
    if ground.mushrooms is not None:
        signs["mushrooms"] = ground.mushrooms
    figures = {"drop_time", "infiltration", "moisture", "air_filled", "thatch"}
    organic = [
        SoilValue("organic matter", share, "%", depth)
        for depth, share in ground.organic_matter.items()
    ]
    return Place(
        name=item.name,
        damage=item.damage,
        soil=(*values, *organic),
        length_cm=roots.length,
        colour=roots.colour or "",
        density=roots.density or "",
        signs=signs,
        crowns=roots.crowns or "",
        nematodes={k.replace("_", "-").casefold(): n for k, n in item.nematodes.items()},
        ground=ground.model_dump(include=figures, exclude_none=True),
        black_layer=ground.black_layer,
        shaded=item.shaded,
        heavy_traffic=None if item.traffic is None else item.traffic == "heavy",
    )


def with_worked_out(place: Place, tests: SoilTests, ground: str, texture: str | None) -> Place:
    """Add to a place the figures that follow from others, such as SAR and the paste's salts."""
    known = texture or _TEXTURES.get(ground, "")
    return replace(place, soil=(*place.soil, *worked_out(place.soil, tests.formulas, known)))
