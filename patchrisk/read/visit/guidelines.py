"""What thresholds/ says of soil tests and of a visit: guidelines, signs, tests, with sources."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache, cached_property
from pathlib import Path
from typing import Annotated, Literal

from pydantic import BaseModel, Field, model_validator

from patchrisk.base import resources
from patchrisk.base.errors import Fault, InputError
from patchrisk.base.toml_files import load_numbers, read_toml, validate
from patchrisk.core.visit.amounts import UnitError, canonical
from patchrisk.core.visit.causes import NextTest, Rules, Sign
from patchrisk.core.visit.guidelines import Guideline, Kind
from patchrisk.core.visit.soil_causes import Limits
from patchrisk.read.area import STRICT, RootZone

PRACTICE = "common practice, no source"
FAMILIES = (
    ("dark", "dark-root-infecting-fungi", "ectotrophic dark root-infecting fungus"),
    ("pythium", "pythium", "oomycete, not a true fungus"),
)
_OWN_CURES = {
    "source": "name a table [sources.KEY] with short, citation and seen, or write practice = true",
    "unit": "add the unit that the source prints",
}


class _Table(BaseModel):
    model_config = STRICT


class Analyte(_Table):
    """Something that a soil is tested for; ``least`` to ``most`` is what a sound figure can be."""

    name: str
    also: list[str] = []
    unit: str = "mg/kg"
    equivalent: float | None = None
    least: float
    most: float
    nutrient: bool = False


class _Source(_Table):
    short: str
    citation: str
    seen: str


class _Guideline(_Table):
    id: str
    of: str
    kind: Kind
    method: str = ""
    low: float | None = None
    high: float | None = None
    sure: float | None = None
    unit: str
    grass: list[str] = []
    ground: list[RootZone] = []
    needs: Annotated[Literal["pH"] | None, Field(alias="with")] = None
    against: str = ""
    practice: bool = False
    source: str | None = None
    confidence: Literal["strong", "moderate", "weak", "expert opinion"] | None = None
    note: str = ""

    @model_validator(mode="after")
    def _check(self) -> "_Guideline":
        if self.practice == (self.source is not None):
            raise ValueError(
                "practice and source", "write source and confidence, or practice = true"
            )
        if self.low is None and self.high is None:
            raise ValueError("neither low nor high", "write low, high, or both")
        return self


class _Line(_Table):
    method: Literal["1:1", "1:2", "1:5"]
    texture: Literal["coarse", "medium", "fine"]
    slope: float
    offset: float
    source: str


class _Nematodes(_Table):
    count: dict[str, float]
    source: str
    confidence: str
    evident_at: float
    note: str = ""


class _SoilTests(_Table):
    analyte: list[Analyte] = []
    guideline: list[_Guideline] = []
    conductivity: list[_Line] = []
    nematodes: _Nematodes | None = None
    sources: dict[str, _Source] = {}


@dataclass(frozen=True)
class SoilTests:
    """All that a soil test and a nematode count can be held against.

    ``lines`` are slope and offset of the paste's conductivity, by mixture and texture;
    ``sources`` the citation of each guideline, by its id.
    """

    analytes: Mapping[str, Analyte]
    guidelines: tuple[Guideline, ...]
    lines: Mapping[tuple[str, str], tuple[float, float]]
    nematodes: Mapping[str, float]
    nematodes_source: str
    evident_at: float
    sources: Mapping[str, str]

    def find(self, name: str) -> Analyte | None:
        """Return the analyte that goes by a name or a sign, in whichever letters."""
        return self._names.get(plain_name(name))

    @cached_property
    def _names(self) -> dict[str, Analyte]:
        every = self.analytes.values()
        return {plain_name(name): one for one in every for name in (one.name, *one.also)}

    @property
    def equivalents(self) -> dict[str, float]:
        """Grams of one mole of charge, by analyte."""
        return {n: a.equivalent for n, a in self.analytes.items() if a.equivalent is not None}


def plain_name(text: str) -> str:
    """Return what is compared of a name: letters and digits, in small letters."""
    return "".join(c for c in text.casefold() if c.isalnum())


def load_soil_tests(own: Path | None = None) -> SoilTests:
    """Read the guidelines of thresholds/, and over them the user's own.

    Raises
    ------
    InputError
        With every fault of both files.
    """
    shipped = resources.thresholds() / "soil_tests.toml"
    files = [(shipped, _read(shipped))]
    if own is not None:
        files.append((own, _read(own)))
    analytes = {a.name: a for _, f in files for a in f.analyte}
    cited = {key: s for _, f in files for key, s in f.sources.items()}
    guidelines: dict[str, Guideline] = {}
    sources: dict[str, str] = {}
    faults: list[Fault] = []
    for path, file in files:
        for n, row in enumerate(file.guideline, 1):
            try:
                guidelines[row.id] = _guideline(row, analytes, cited)
            except UnitError as error:
                faults.append(Fault(str(path), f"guideline {n}", *map(str, error.args)))
                continue
            source = None if row.source is None else cited[row.source]
            sources[row.id] = PRACTICE if source is None else f"{source.citation} [{source.seen}]"
    if faults:
        raise InputError(faults)
    table = files[-1][1].nematodes or files[0][1].nematodes
    assert table is not None
    source = cited[table.source]
    return SoilTests(
        analytes,
        tuple(guidelines.values()),
        {
            (row.method, row.texture): (row.slope, row.offset)
            for _, f in files
            for row in f.conductivity
        },
        table.count,
        f"{source.citation} [{source.seen}]; {table.note}",
        table.evident_at,
        sources,
    )


def _read(path: Path) -> _SoilTests:
    return validate(_SoilTests, read_toml(path), str(path), _OWN_CURES)


def _guideline(
    row: _Guideline, analytes: Mapping[str, Analyte], cited: Mapping[str, _Source]
) -> Guideline:
    if row.source is not None and row.source not in cited:
        raise UnitError(f"source {row.source!r} is not described", _OWN_CURES["source"])
    analyte = analytes.get(row.of)
    worked = row.of in ("manganese index", "chloride and sulfur")
    if analyte is None and not worked:
        raise UnitError(f"{row.of!r} is no analyte", f"write one of {', '.join(analytes)}")
    unit = "mg/kg" if analyte is None else analyte.unit
    unit = "1" if row.of == "manganese index" else unit
    low, high, sure = (
        None
        if v is None
        else canonical(
            v, row.unit, unit, None if analyte is None else analyte.equivalent, paste=False
        )
        for v in (row.low, row.high, row.sure)
    )
    return Guideline(
        id=row.id, of=row.of, kind=row.kind, method=row.method, low=low, high=high, sure=sure,
        decides=not row.practice, grasses=tuple(row.grass), ground=tuple(row.ground),
        needs_ph=row.needs is not None, against=row.against,
        source=PRACTICE if row.source is None else cited[row.source].short,
        confidence=row.confidence or "", note=row.note,
    )  # fmt: skip


class _Sign(_Table):
    key: str
    words: str
    kind: str = ""
    disease: list[str] = []
    absent: Literal["against", "nothing"]
    source: str


class _Ground(_Table):
    low: float | None = None
    high: float | None = None
    sure: float | None = None
    most: float | None = None
    soil: float | None = None
    air: float | None = None
    unit: str
    source: str


class _Test(_Table):
    key: str
    cost: int
    fills: str
    settles: list[str]
    what: str
    changes: str


class _Advice(_Table):
    cause: str
    today: str = ""
    month: str = ""


class _Published(_Table):
    of: str
    text: str
    source: str


class VisitWords(_Table):
    """thresholds/visit.toml whole."""

    sign: list[_Sign]
    ground: dict[str, _Ground]
    test: list[_Test]
    advice: list[_Advice]
    published: list[_Published]


@cache
def visit_words() -> VisitWords:
    """Read thresholds/visit.toml."""
    path = resources.thresholds() / "visit.toml"
    return validate(VisitWords, read_toml(path), str(path))


def rules_of(tests: SoilTests) -> Rules:
    """Bring signs, limits, guidelines and tests together for `judge_visit`."""
    words = visit_words()

    def figure(place: str, key: str) -> float:
        found = getattr(words.ground[place], key)
        assert found is not None
        return float(found)

    limits = Limits(
        nematodes=tests.nematodes,
        evident_at=tests.evident_at,
        drop_s=figure("drop_time", "high"),
        drop_sure_s=figure("drop_time", "sure"),
        air_percent=figure("air_filled", "low"),
        frost_soil_c=figure("frost", "soil"),
        frost_air_c=figure("frost", "air"),
        heat_c=load_numbers("verdict")["turning.heat"].value,
        dead=figure("dead", "high"),
        sound=figure("sound", "most"),
        shorter=figure("shorter", "most"),
        nutrients=frozenset(a.name for a in tests.analytes.values() if a.nutrient),
    )
    return Rules(
        tuple(Sign(s.key, s.kind, tuple(s.disease), s.absent == "against") for s in words.sign),
        tuple(NextTest(t.key, t.cost, t.fills, tuple(t.settles)) for t in words.test),
        limits,
        tests.guidelines,
        FAMILIES,
    )
