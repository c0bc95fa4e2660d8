"""Mode-of-action groups by FRAC code, and the rules on them that a programme keeps."""

import difflib
import re
from collections.abc import Iterable
from functools import cache, cached_property
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field, field_validator

from patchrisk.base import resources
from patchrisk.base.errors import Fault, InputError
from patchrisk.base.toml_files import read_toml, validate
from patchrisk.core.plan.rotation import Guideline
from patchrisk.read.diseases.quantities import (
    Confidence,
    Rows,
    SomeRows,
    Source,
    Sourced,
    Sources,
    Table,
    Text,
)

Mobility = Literal["contact", "local", "translaminar", "acropetal", "ambimobile"]
Risk = Literal["high", "medium to high", "medium", "low to medium", "low", "not known"]

_PREFIX = re.compile(r"^(frac|group|code|moa|[\s.:#-])+", re.IGNORECASE)
_CODE = re.compile(r"([A-Z]*)0*(\d+)([A-Z]*)(?:\.0)?")
_BETWEEN = re.compile(r"\s*(?:[+,;/&|]|\band\b)\s*", re.IGNORECASE)
_CURES = {
    "source": 'add source = "KEY" and describe it in a table [sources.KEY]',
    "confidence": "add confidence = strong, moderate, weak or expert opinion",
}


class Active(Table):
    """An active ingredient by its ISO common name, and how it moves in the plant.

    ``mobility`` is None where none was found, and ``mobility_source`` says how it was seen.
    """

    name: Text
    also: Rows[Text] = ()
    mobility: Mobility | None = None
    mobility_source: Sources | None = None
    note: Text | None = None

    @field_validator("mobility_source")
    @classmethod
    def _check_one(cls, value: tuple[Source, ...] | None) -> tuple[Source, ...] | None:
        if value is not None and len(value) != 1:
            raise ValueError("more than one source of the mobility: write the key of one")
        return value


class Group(Sourced):
    """A mode-of-action group.

    ``year`` is that of the list in which the row was seen; None when it is from memory.
    ``counts_with`` is the code it is counted under where FRAC manages two codes as one.
    """

    code: Text
    aliases: Rows[Text] = ()
    name: Text
    moa: Text
    target: Text
    chemistry: Text
    risk: Risk
    cross_resistance: Text
    counts_with: Text | None = None
    actives: SomeRows[Active]
    year: Annotated[int, Field(ge=1990, le=2100)] | None = None
    confidence: Confidence
    note: Text | None = None


class NotHad(Sourced):
    """A group of which no product is to be had for turf in some countries (ISO 3166-1 alpha-2)."""

    code: Text
    countries: SomeRows[Annotated[str, Field(pattern="^[A-Z]{2}$")]]
    text: Text
    confidence: Confidence


class Groups(Table):
    """Every group, and the warning that goes with every list made from them."""

    warning: Text
    sources: dict[str, Source]
    group: SomeRows[Group]
    rows_not_had: Annotated[Rows[NotHad], Field(alias="not_had")] = ()

    def not_had(self, country: str | None) -> dict[str, str]:
        """Return the groups known not to be had in a country, by code, and why, with the source.

        A group that is not named may still not be had: only what was read stands in the file.
        Empty for a country that is not told.
        """
        return {
            row.code: f"{row.text} ({row.short})"
            for row in self.rows_not_had
            if country in row.countries
        }

    def gone(self, without: Iterable[str], country: str | None) -> frozenset[str]:
        """Return the codes that a site leaves out, and those not to be had in its country."""
        return self.sort_codes(without)[0] | self.not_had(country).keys()

    @cached_property
    def _by_code(self) -> dict[str, Group]:
        return {_plain(c): g for g in self.group for c in (g.code, *g.aliases)}

    @cached_property
    def _by_active(self) -> dict[str, tuple[Group, Active]]:
        return {_word(n): (g, a) for g in self.group for a in g.actives for n in (a.name, *a.also)}

    @property
    def codes(self) -> tuple[str, ...]:
        """Every code, in the order of the file."""
        return tuple(group.code for group in self.group)

    def find(self, code: str | int) -> Group:
        """Return the group of a code: "33" is P07, "M5" is M05, "FRAC 03" is 3.

        InputError when no group has the code; names those known.
        """
        group = self._by_code.get(_plain(str(code)))
        if group is None:
            known = ", ".join(self.codes)
            found = f"no FRAC code {str(code).strip()!r} in the list"
            raise InputError(Fault("code", "", found, f"write one of {known}"))
        return group

    def sort_codes(self, codes: Iterable[str | int]) -> tuple[frozenset[str], tuple[Fault, ...]]:
        """Return the codes that are known, as the list writes them, and a fault for each other."""
        known: set[str] = set()
        faults: list[Fault] = []
        for code in codes:
            try:
                known.add(self.find(code).code)
            except InputError as error:
                faults += error.faults
        return frozenset(known), tuple(faults)

    def active(self, name: str) -> Active | None:
        """Return the active of this name, ISO or other; None when the list has none."""
        found = self._by_active.get(_word(name))
        return None if found is None else found[1]

    def group_of(self, active: str) -> Group | None:
        """Return the group of an active; None when the list does not have it."""
        found = self._by_active.get(_word(active))
        return None if found is None else found[0]

    def codes_of(self, actives: Iterable[str]) -> frozenset[str]:
        """Return the codes of actives; those that the list does not have give none."""
        groups = (self.group_of(name) for name in actives)
        return frozenset(group.code for group in groups if group is not None)

    def near(self, active: str) -> str:
        """Return the name that comes nearest to one that is not in the list; empty without."""
        close = difflib.get_close_matches(_word(active), self._by_active, n=1, cutoff=0.75)
        return self._by_active[close[0]][1].name if close else ""


class _Rule(Table):
    key: Text
    on: bool
    grass: str = ""
    diseases: Rows[Text] = ()
    says: Text
    codes: SomeRows[Text]
    source: Text
    mark: Text


class _Rules(Table):
    rule: SomeRows[_Rule]


@cache
def load_groups() -> Groups:
    """Read ``thresholds/groups.toml``.

    InputError with every fault of the file.
    """
    return read_groups(resources.thresholds() / "groups.toml")


def read_groups(path: Path) -> Groups:
    """Read a file of groups; see `load_groups`."""
    data = read_toml(path)
    tables = {"sources": data.get("sources") or {}}
    known = validate(_SourceTable, tables, str(path), _CURES).sources
    groups = validate(Groups, data, str(path), _CURES, known)
    codes = [c for g in groups.group for c in {_plain(c) for c in (g.code, *g.aliases)}]
    names = [_word(n) for g in groups.group for a in g.actives for n in (a.name, *a.also)]
    twice = sorted({item for many in (codes, names) for item in many if many.count(item) > 1})
    if twice:
        found = f"{', '.join(twice)}: more than once"
        raise InputError(Fault(str(path), "group", found, "leave one"))
    strange = [row.code for row in groups.rows_not_had if row.code not in groups.codes]
    if strange:
        found, cure = f"no group {strange[0]!r}", f"write one of {', '.join(groups.codes)}"
        raise InputError(Fault(str(path), "not_had", found, cure))
    return groups


class _SourceTable(Table):
    sources: dict[str, Source]


@cache
def load_guidelines() -> tuple[Guideline, ...]:
    """Read the rules of ``thresholds/programme.toml``, the numbers of which are read apart."""
    path = resources.thresholds() / "programme.toml"
    rules = validate(_Rules, {"rule": read_toml(path).get("rule", [])}, str(path)).rule
    return tuple(Guideline(**{**dict(rule), "codes": frozenset(rule.codes)}) for rule in rules)


def split_list(text: str) -> list[str]:
    """Split what stands together in one cell: ``11 + 3``, ``11, 3`` and ``11; 3`` are the same."""
    return [part for part in _BETWEEN.split(text.strip()) if part]


def _plain(code: str) -> str:
    """Bring a code to one writing: no prefix, capitals, no leading zero, no ``.0`` of a sheet."""
    text = _PREFIX.sub("", code.strip()).upper().replace(" ", "")
    match = _CODE.fullmatch(text)
    return text if match is None else "".join(match.groups())


def _word(name: str) -> str:
    return re.sub(r"[\s_-]+", " ", name.strip().casefold())
