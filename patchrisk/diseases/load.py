"""Reading the disease files: the shipped ones, and the user's own over them."""

import difflib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from patchrisk import resources
from patchrisk.diseases.group import DiseaseGroup, GroupRule
from patchrisk.diseases.models import Disease
from patchrisk.diseases.quantities import Source
from patchrisk.document import read_toml, validate
from patchrisk.errors import Fault, InputError
from patchrisk.windows import Meaning

_CURES = {
    "source": 'add source = "KEY" and describe it in a table [sources.KEY]',
    "unit": 'add unit = "degC", "degF", "cm", "in", "days" or the like',
    "confidence": "add confidence = strong, moderate, weak or expert opinion",
    "sources": "add a table [sources.KEY] with short, citation, year and seen",
    "value": 'write a plain number, such as value = 65, with unit = "degF" beside it',
}


@dataclass(frozen=True)
class Library:
    """Every disease and every group of diseases, by key (the name of the file).

    Parameters
    ----------
    diseases : dict of str to Disease
    groups : dict of str to DiseaseGroup
    """

    diseases: dict[str, Disease]
    groups: dict[str, DiseaseGroup]

    def find(self, name: str) -> str:
        """Return the key of a disease or group from its key or any of its names.

        Raises
        ------
        InputError
            When nothing goes by that name; says what comes near.
        """
        wanted = _plain(name)
        names: dict[str, str] = {}
        for key, disease in self.diseases.items():
            for known in (key, disease.name, *disease.also, *disease.former):
                names.setdefault(_plain(known), key)
        for key, group in self.groups.items():
            for known in (key, group.name, *group.also):
                names.setdefault(_plain(known), key)
        if wanted in names:
            return names[wanted]
        near = difflib.get_close_matches(wanted, names, n=3)
        offered = dict.fromkeys(names[n] for n in near) or sorted(self.diseases)
        raise InputError(
            Fault(name, "", "no disease of this name", "write one of " + ", ".join(offered))
        )

    def rules(
        self, name: str, grass: str | None = None, meaning: Meaning | None = None
    ) -> tuple[GroupRule, ...]:
        """Return the rules of a disease, or of a group on a grass, each labelled by whose it is.

        A group's rules are its own and those of every member that the grass is a host of, so
        nothing is lost while a laboratory has not told them apart.

        Raises
        ------
        InputError
            When nothing goes by that name.
        """
        key = self.find(name)
        if key in self.diseases:
            owners: dict[str, Disease | DiseaseGroup] = {key: self.diseases[key]}
        else:
            owners = {key: self.groups[key], **self.groups[key].members_on(self.diseases, grass)}
        return tuple(
            GroupRule(owner, published.rule)
            for owner, item in owners.items()
            for published in item.window
            if meaning in (None, published.meaning)
        )


def load_library(extra_folder: Path | None = None) -> Library:
    """Read every disease file and check it.

    Parameters
    ----------
    extra_folder : Path, optional
        The user's own files; one of the same name as a shipped file takes its place.

    Raises
    ------
    InputError
        With every fault of every file, in one go.
    """
    paths = {path.stem: path for path in _files(resources.thresholds() / "diseases")}
    if extra_folder is not None:
        if not extra_folder.is_dir():
            raise InputError(
                Fault(str(extra_folder), "", "no such folder", "name a folder of disease files")
            )
        paths |= {path.stem: path for path in _files(extra_folder)}
    diseases: dict[str, Disease] = {}
    groups: dict[str, DiseaseGroup] = {}
    faults: list[Fault] = []
    faulty: set[str] = set()
    for key, path in sorted(paths.items()):
        try:
            data = read_toml(path)
            known = _sources(data)
            if "members" in data:
                groups[key] = validate(DiseaseGroup, data, str(path), _CURES, known)
            else:
                diseases[key] = validate(Disease, data, str(path), _CURES, known)
        except InputError as error:
            faults += error.faults
            faulty.add(key)
    for key, group in groups.items():
        for n, member in enumerate(group.members, start=1):
            if member not in diseases and member not in faulty:
                near = difflib.get_close_matches(member, diseases, n=1)
                cure = f"did you mean {near[0]}?" if near else "write the name of a disease file"
                place = f"members {n}"
                faults.append(Fault(str(paths[key]), place, f"no disease {member!r}", cure))
    if faults:
        raise InputError(faults)
    return Library(diseases, groups)


def load_diseases(extra_folder: Path | None = None) -> dict[str, Disease]:
    """Read every disease, by key; see `load_library`."""
    return load_library(extra_folder).diseases


def _files(folder: Path) -> list[Path]:
    return sorted(folder.glob("*.toml"))


def _sources(data: Mapping[str, Any]) -> dict[str, Source]:
    """Read the sources that numbers may refer to; their own faults are found with the file's."""
    tables = data.get("sources")
    if not isinstance(tables, dict):
        return {}
    known = {}
    for key, table in tables.items():
        try:
            known[key] = Source.model_validate(table)
        except ValidationError:
            known[key] = Source(short=key, citation=key, year="undated", seen="no source")
    return known


def _plain(name: str) -> str:
    return name.strip().casefold().replace("_", " ").replace("-", " ")
