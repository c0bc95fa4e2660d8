"""The disease files read: the shipped ones, the user's own over them, and their groups."""

import difflib
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from pathlib import Path
from typing import Annotated, Any

from pydantic import AfterValidator, ValidationError

from patchrisk.base import resources
from patchrisk.base.errors import Fault, InputError, unreadable
from patchrisk.base.safe_text import squeezed
from patchrisk.base.toml_files import read_toml, validate
from patchrisk.core.rules.rule import Meaning, Rule
from patchrisk.read.diseases.models import Disease, Dispute, SiteFactor
from patchrisk.read.diseases.quantities import Rows, SomeRows, Source, Statement, Table, Text, Water
from patchrisk.read.diseases.rules import PublishedRule, distinct

_A_SLIP = 0.8  # of the letters alike: below it a name is another's
_LETTERS = 2  # more or fewer that a slip can leave


@dataclass(frozen=True)
class GroupRule:
    """A rule, and the key of the disease or group that it was published for."""

    member: str
    rule: Rule


class DiseaseGroup(Table):
    """Diseases by the same kind of fungus, and what holds for all of them."""

    name: Text
    also: Rows[Text] = ()
    in_short: Text
    members: SomeRows[Text]
    sources: dict[str, Source]
    common: Rows[Statement] = ()
    window: Annotated[Rows[PublishedRule], AfterValidator(distinct)] = ()
    look_for: Statement | None = None
    samples: Statement
    watering_in: Water | None = None
    site: Rows[SiteFactor] = ()
    dispute: Rows[Dispute] = ()

    def members_on(
        self, diseases: Mapping[str, Disease], grass: str | Sequence[str] | None = None
    ) -> dict[str, Disease]:
        """Return the members by key; only those on the grass, or the mixture, that is named."""
        return {key: diseases[key] for key in self.members if not grass or diseases[key].on(grass)}


_CURES = {
    "source": 'add source = "KEY" and describe it in a table [sources.KEY]',
    "unit": 'add unit = "degC", "degF", "cm", "in", "days" or the like',
    "confidence": "add confidence = strong, moderate, weak or expert opinion",
    "sources": "add a table [sources.KEY] with short, citation, year and seen",
    "value": 'write a plain number, such as value = 65, with unit = "degF" beside it',
}
_NEARLY, _NEARLY_SHORT = 0.85, 0.75  # annual ryegrass is not annual bluegrass misspelt
_SHORT = 8  # letters, in which one that is wrong weighs more
_BETWEEN = re.compile(r"\s*(?:[,;/+&]|\band\b)\s*")  # grasses of a mixture in one text
_LEAST_PART = 3  # letters that can be part of a grass's name


@dataclass(frozen=True)
class Library:
    """Every disease and every group of diseases, by key (the name of the file)."""

    diseases: dict[str, Disease]
    groups: dict[str, DiseaseGroup]

    def find(self, name: str) -> str:
        """Return the key of a disease or group from its key or any of its names.

        InputError when nothing goes by that name; says what comes near.
        """
        wanted, names = _plain(name), self._names
        if wanted in names:
            return names[wanted]
        near = difflib.get_close_matches(wanted, names, n=3)
        offered = dict.fromkeys(names[n] for n in near) or sorted(self.diseases)
        raise InputError(
            Fault(name, "", "no disease of this name", "write one of " + ", ".join(offered))
        )

    def misspelt(self, name: str) -> str:
        """Return the disease whose name this is but for a letter or two; empty where it is none."""
        plain = _plain(name)
        # A word more or less is another name: brown patch is not brown ring patch misspelt.
        alike = [known for known in self._names if abs(len(known) - len(plain)) <= _LETTERS]
        near = difflib.get_close_matches(plain, alike, n=1, cutoff=_A_SLIP)
        return self._names[near[0]] if near else ""

    @cached_property
    def _names(self) -> dict[str, str]:
        """Every name of a disease or group, and its key."""
        names: dict[str, str] = {}
        for key, disease in self.diseases.items():
            for known in (key, disease.name, *disease.also, *disease.former):
                names.setdefault(_plain(known), key)
        for key, group in self.groups.items():
            for known in (key, group.name, *group.also):
                names.setdefault(_plain(known), key)
        return names

    @cached_property
    def _grasses(self) -> dict[str, str]:
        """Every name of a host, as it is written, by what is left of it without spaces."""
        hosts = [host for disease in self.diseases.values() for host in disease.host]
        return {squeezed(name): name for h in hosts for name in (*h.also, h.species, h.grass)}

    @cached_property
    def grasses(self) -> tuple[str, ...]:
        """Every grass that some disease file has, by its usual name."""
        return tuple(sorted({h.grass for d in self.diseases.values() for h in d.host}))

    def knows(self, grass: str) -> bool:
        """Whether some disease file has this grass, by any of its names."""
        return any(disease.on(grass) for disease in self.diseases.values())

    def near_grasses(self, name: str) -> tuple[str, ...]:
        """Return known grasses that a name is nearly, or is a part of; the likeliest first."""
        wanted = squeezed(name)
        cutoff = _NEARLY if len(wanted) > _SHORT else _NEARLY_SHORT
        near = difflib.get_close_matches(wanted, self._grasses, n=3, cutoff=cutoff)
        near += [
            known
            for known, written in self._grasses.items()
            if (len(wanted) >= _LEAST_PART and (known.startswith(wanted) or known.endswith(wanted)))
            or (" " in written and known in wanted)  # a cultivar with its grass
        ]
        return tuple(self._grasses[known] for known in dict.fromkeys(near))[:3]

    def slip_in_grass(self, name: str) -> tuple[str, str] | None:
        """Return what was found and what to write where a grass is nearly one that is known.

        A grass that no disease file knows, and that is not nearly one, is no fault.
        """
        if self.knows(name):
            return None
        found = f"no disease file knows {name!r}"
        parts = split_grasses(name)
        if len(parts) > 1 and any(map(self.knows, parts)):
            return found, f"write a list: [{', '.join(_quoted(part) for part in parts)}]"
        near = [_quoted(known) for known in self.near_grasses(name)]
        return (found, f"did you mean {' or '.join(near)}?") if near else None

    def rules(
        self,
        name: str,
        grass: str | Sequence[str] | None = None,
        meaning: Meaning | None = None,
    ) -> tuple[GroupRule, ...]:
        """Return the rules of a disease, or of a group on a grass, each labelled by whose it is.

        ``grass`` may be those of a mixture: what holds for one of them is returned.
        A group's rules are its own and those of every member that the grass is a host of, so
        nothing is lost while a laboratory has not told them apart.

        InputError when nothing goes by that name.
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

    ``extra_folder``: the user's own files; one of the same name as a shipped file takes its place.
    InputError with every fault of every file, in one go.
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
            state = path.stat()
            read = _read(path, state.st_mtime_ns, state.st_size)
            if isinstance(read, DiseaseGroup):
                groups[key] = read
            else:
                diseases[key] = read
        except OSError as error:
            faults.append(unreadable(path, error))
            faulty.add(key)
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


@lru_cache(maxsize=64)
def _read(path: Path, _changed_ns: int, _size: int) -> Disease | DiseaseGroup:
    """Read one file; again only when it changed, for checking all of them takes half a second."""
    data = read_toml(path)
    known = _sources(data)
    if "members" in data:
        return validate(DiseaseGroup, data, str(path), _CURES, known)
    return validate(Disease, data, str(path), _CURES, known)


class _Rules(Table):
    """A file of rules alone: no pathogen, host or samples."""

    sources: dict[str, Source]
    window: Annotated[SomeRows[PublishedRule], AfterValidator(distinct)]


def read_rules(path: Path) -> list[Rule]:
    """Read a file of ``[[window]]`` and ``[sources.KEY]`` alone.

    InputError with every fault of the file, in one go.
    """
    data = read_toml(path)
    return [one.rule for one in validate(_Rules, data, str(path), _CURES, _sources(data)).window]


def load_diseases(extra_folder: Path | None = None) -> dict[str, Disease]:
    """Read every disease, by key; see `load_library`."""
    return load_library(extra_folder).diseases


def _files(folder: Path) -> list[Path]:
    try:
        return sorted(path for path in folder.iterdir() if path.suffix == ".toml")
    except OSError as error:
        raise InputError(unreadable(folder, error)) from None


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


def split_grasses(text: str) -> list[str]:
    """Split the grasses of a mixture that stand in one text."""
    return [part for part in _BETWEEN.split(text.strip()) if part]


def _quoted(name: str) -> str:
    return f'"{name}"'
