"""What thresholds/ says of soil tests and of a visit: guidelines, signs, tests, with sources."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache, cached_property
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field, model_validator

from patchrisk.base import resources
from patchrisk.base.errors import Fault, InputError
from patchrisk.base.safe_text import squeezed
from patchrisk.base.toml_files import load_numbers, read_toml, validate
from patchrisk.core.visit.soil_causes import NextTest, Rules, Sign
from patchrisk.core.visit.soil_tests import Formulas, Guideline, Kind
from patchrisk.read.area import RootZone
from patchrisk.read.diseases.quantities import Confidence, Seen, Table
from patchrisk.read.visit.soil_values import Analyte, UnitError, canonical

PRACTICE = "common practice, no source"
_WORKED_OUT = {"manganese index": "1", "chloride and sulfur": "mg/kg"}  # canonical units
_CURES = {
    "source": "name a table [sources.KEY] with short, citation and seen, or write practice = true",
    "unit": "add the unit that the source prints",
}


class _Source(Table):
    short: str
    citation: str
    seen: Seen

    @property
    def full(self) -> str:
        return f"{self.citation} [{self.seen}]"


class _Guideline(Table):
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
    practice: bool = False
    source: str | None = None
    confidence: Confidence | None = None
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


class _Line(Table):
    method: Literal["1:1", "1:2", "1:5"]
    texture: Literal["coarse", "medium", "fine"]
    slope: float
    offset: float
    source: str


class _Nematodes(Table):
    count: dict[str, float]
    source: str
    confidence: Confidence
    evident_at: float
    note: str = ""


class _SoilTests(Table):
    analyte: list[Analyte] = []
    guideline: list[_Guideline] = []
    conductivity: list[_Line] = []
    nematodes: _Nematodes | None = None
    sources: dict[str, _Source] = {}


@dataclass(frozen=True, eq=False)
class SoilTests:
    """All that a soil test and a nematode count can be held against.

    ``lines`` are slope and offset of the paste's conductivity, by mixture and texture; the table
    of ``nematodes`` goes by its source in short, and in full with what is noted of it.
    """

    analytes: Mapping[str, Analyte]
    guidelines: tuple[Guideline, ...]
    lines: Mapping[tuple[str, str], tuple[float, float]]
    nematodes: Mapping[str, float]
    nematodes_short: str
    nematodes_source: str
    evident_at: float

    def find(self, name: str) -> Analyte | None:
        """Return the analyte that goes by a name or a sign, in whichever letters."""
        return self._names.get(squeezed(name))

    def known(self, name: str) -> Analyte:
        """Return the analyte of a name; UnitError tells which there are."""
        found = self.find(name)
        if found is None:
            cure = f"write one of {', '.join(self.analytes)}"
            raise UnitError(f"no analyte {name!r}", cure)
        return found

    @cached_property
    def _names(self) -> dict[str, Analyte]:
        every = self.analytes.values()
        return {squeezed(name): one for one in every for name in (one.name, *one.also)}

    @property
    def formulas(self) -> Formulas:
        """What other figures are worked out by."""
        have = {n: a.equivalent for n, a in self.analytes.items() if a.equivalent is not None}
        return Formulas(have, self.lines, _figures())


def load_soil_tests(own: Path | None = None) -> SoilTests:
    """Read the guidelines of thresholds/, and over them the user's own; all faults at once."""
    paths = [resources.thresholds() / "soil_tests.toml", *([] if own is None else [own])]
    files = [(path, validate(_SoilTests, read_toml(path), str(path), _CURES)) for path in paths]
    analytes = {a.name: a for _, f in files for a in f.analyte}
    cited = {key: source for _, f in files for key, source in f.sources.items()}
    guidelines: dict[str, Guideline] = {}
    faults: list[Fault] = []
    for path, file in files:
        told = [(f"guideline {n}", row.source) for n, row in enumerate(file.guideline, 1)]
        told += [(f"conductivity {n}", row.source) for n, row in enumerate(file.conductivity, 1)]
        told += [("nematodes", file.nematodes.source)] if file.nematodes else []
        for place, key in told:
            if key is not None and key not in cited:
                cure = f"add a table [sources.{key}] with short, citation and seen"
                faults.append(Fault(str(path), place, f"source {key!r} is not described", cure))
        for n, row in enumerate(file.guideline, 1):
            try:
                guidelines[row.id] = _guideline(row, analytes, cited)
            except UnitError as error:
                faults.append(error.at(str(path), f"guideline {n}"))
    if faults:
        raise InputError(faults)
    table = next(f.nematodes for _, f in files[::-1] if f.nematodes is not None)
    source = cited[table.source]
    return SoilTests(
        analytes,
        tuple(guidelines.values()),
        {(r.method, r.texture): (r.slope, r.offset) for _, f in files for r in f.conductivity},
        table.count,
        source.short,
        "; ".join(part for part in (source.full, table.note) if part),
        table.evident_at,
    )


def _guideline(
    row: _Guideline, analytes: Mapping[str, Analyte], cited: Mapping[str, _Source]
) -> Guideline:
    analyte = analytes.get(row.of)
    if analyte is None and row.of not in _WORKED_OUT:
        raise UnitError(f"{row.of!r} is no analyte", f"write one of {', '.join(analytes)}")
    unit = _WORKED_OUT[row.of] if analyte is None else analyte.unit
    equivalent = None if analyte is None else analyte.equivalent
    low, high, sure = (
        None if v is None else canonical(v, row.unit, unit, equivalent, paste=False)
        for v in (row.low, row.high, row.sure)
    )
    source = cited.get(row.source or "")
    return Guideline(
        id=row.id, of=row.of, kind=row.kind, method=row.method, low=low, high=high, sure=sure,
        decides=not row.practice, grasses=tuple(row.grass), ground=tuple(row.ground),
        needs_ph=row.needs is not None, source=source.short if source else PRACTICE,
        citation=source.full if source else PRACTICE, confidence=row.confidence or "",
    )  # fmt: skip


class _Advice(Table):
    cause: str
    today: str = ""
    month: str = ""


class _Published(Table):
    of: str
    text: str
    source: str


class _Take(Table):
    title: str
    texts: list[str]


class VisitWords(Table):
    """The lists of thresholds/visit.toml; its numbers are read apart."""

    sign: list[Sign]
    test: list[NextTest]
    advice: list[_Advice]
    published: list[_Published]
    take: list[_Take]


@cache
def visit_words() -> VisitWords:
    """Read the lists of thresholds/visit.toml."""
    path = resources.thresholds() / "visit.toml"
    lists = {key: item for key, item in read_toml(path).items() if isinstance(item, list)}
    return validate(VisitWords, lists, str(path))


def rules_of(tests: SoilTests) -> Rules:
    """Bring signs, figures, guidelines and tests together for `judge_visit`."""
    words = visit_words()
    return Rules(
        signs=tuple(words.sign),
        tests=tuple(words.test),
        guidelines=tests.guidelines,
        figures=_figures(),
        nematodes=tests.nematodes,
        evident_at=tests.evident_at,
        heat_c=load_numbers("verdict")["turning.heat"].value,
        nutrients=frozenset(a.name for a in tests.analytes.values() if a.nutrient),
    )


def _figures() -> dict[str, float]:
    return {key: number.value for key, number in load_numbers("visit").items()}
