"""What a backtest is to work out, and what its metadata says of it."""

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import pandas as pd

from patchrisk import __version__, resources
from patchrisk.at_site.morning import settings
from patchrisk.backtest.engine import seasons_of
from patchrisk.backtest.ground import Block, SoilChoice, grounds_of
from patchrisk.backtest.tables import table_of, together
from patchrisk.diseases import load_library
from patchrisk.diseases.group import DiseaseGroup
from patchrisk.diseases.models import Disease
from patchrisk.errors import Fault, InputError
from patchrisk.infection import Cardinal
from patchrisk.outlook import Settings
from patchrisk.soil.air_to_soil import DEEPEST_CM, SHALLOWEST_CM
from patchrisk.windows import Rule, soil_depth_cm

MISSING_DAYS = (
    "A missing day never counts as met and ends a run; nothing is filled. opened_earliest and "
    "opened_latest say between which days the window can have opened had the missing days been "
    "anything that a change of {change:g} degC a day from the known days beside them allows; "
    "days_unknown counts the days on which they leave it in doubt whether it was open; days "
    "before and after the record are missing days. Sums leave missing days out. A season "
    "without any known day has no row."
)
SOIL = {
    "measured": "daily means as measured, moved by conduction from the nearest measured depth; a "
    "daily maximum that was not measured is the mean plus the swing that the soil model gives",
    "modelled": "daily mean and maximum from the day's air temperature, and rain and radiation "
    "where given, by the soil model",
}
_NUMBERS = ("outlook", "root_zones", "soil_cover", "soil_model")


@dataclass(frozen=True)
class Plan:
    """The rules, and how they are applied.

    Parameters
    ----------
    rules : sequence of (str, Rule)
        Each with the key of its disease or group of diseases.
    responses : mapping of str to Cardinal
        Response of infection to temperature, by disease.
    settings : Settings
    soil : {"either", "measured", "modelled", "both"}
    years : (int, int) or None
        First and last season wanted.
    hashes : mapping of str to str
        SHA-256 of every file that the numbers come from.
    """

    rules: Sequence[tuple[str, Rule]]
    responses: Mapping[str, Cardinal]
    settings: Settings
    soil: SoilChoice
    years: tuple[int, int] | None
    hashes: Mapping[str, str]

    def judge(self, block: Block) -> pd.DataFrame:
        """Return the seasons of a block of sites; see `patchrisk.backtest.tables.COLUMNS`."""
        tables = []
        for ground in grounds_of(block, [rule for _, rule in self.rules], self.soil):
            seasons = seasons_of(
                self.rules,
                ground.soil,
                southern=ground.southern,
                settings=self.settings,
                responses=self.responses,
            )
            tables.append(table_of(block, ground, seasons, self.years))
        return tables[0] if len(tables) == 1 else together(tables)

    def described(self) -> dict[str, Any]:
        """Return everything that the numbers hang on, for the metadata file."""
        return {
            "patchrisk": __version__,
            "options": {
                "soil": self.soil,
                "years": None if self.years is None else list(self.years),
                "nearing_c": self.settings.nearing_c,
                "max_change_c": self.settings.max_change_c,
            },
            "rules": [{"disease": key, **_plainly(rule)} for key, rule in self.rules],
            "responses": {key: asdict(cardinal) for key, cardinal in self.responses.items()},
            "sha256": dict(self.hashes),
        }


def make_plan(
    *,
    diseases: Sequence[str] = (),
    diseases_folder: Path | None = None,
    soil: SoilChoice = "either",
    years: tuple[int, int] | None = None,
) -> Plan:
    """Collect the rules.

    Parameters
    ----------
    diseases : sequence of str
        Keys or names; all diseases and groups with rules when empty.
    diseases_folder : Path, optional
        The user's own disease files; one of the same name takes a shipped one's place.
    soil : {"either", "measured", "modelled", "both"}
    years : (int, int), optional
        First and last season wanted.

    Raises
    ------
    InputError
        When a disease is unknown or has no rule, a disease file is faulty, or a rule speaks of a
        depth that the soil is not worked out for.
    """
    library = load_library(diseases_folder)
    owners: dict[str, Disease | DiseaseGroup] = {**library.diseases, **library.groups}
    keys = dict.fromkeys(library.find(name) for name in diseases) or owners
    rules = [(key, window.rule) for key in keys for window in owners[key].window]
    faults = [
        Fault(key, "", "has no rule to apply", "name a disease with rules")
        for key in (keys if diseases else ())
        if not owners[key].window
    ]
    for key, rule in rules:
        if not SHALLOWEST_CM <= soil_depth_cm(rule.depth_cm) <= DEEPEST_CM:
            cure = f"write {SHALLOWEST_CM:g} to {DEEPEST_CM:g} cm"
            faults.append(Fault(key, f"rule {rule.id}", f"depth {rule.depth_cm:g} cm", cure))
    if years is not None and years[0] > years[1]:
        faults.append(Fault("years", "", f"{years[0]} is after {years[1]}", "exchange them"))
    if faults:
        raise InputError(faults)
    responses = {
        key: disease.response.cardinal
        for key, disease in library.diseases.items()
        if disease.response is not None and key in keys
    }
    return Plan(rules, responses, settings(), soil, years, _hashes(keys, diseases_folder))


def key_of(described: Mapping[str, Any]) -> str:
    """SHA-256 of a description."""
    return hashlib.sha256(json.dumps(described, sort_keys=True).encode()).hexdigest()


def _plainly(rule: Rule) -> dict[str, Any]:
    plain = asdict(rule)
    plain["stated"] = sorted(rule.stated)
    plain["season"] = [list(rule.season.start), list(rule.season.end)]
    return plain


def _hashes(keys: Mapping[str, Any], own: Path | None) -> dict[str, str]:
    folder = resources.thresholds()
    files = {f"diseases/{key}.toml": folder / "diseases" / f"{key}.toml" for key in keys}
    for key in keys if own is not None else ():
        assert own is not None
        if (own / f"{key}.toml").is_file():
            files[f"diseases/{key}.toml"] = own / f"{key}.toml"
    files |= {f"{name}.toml": folder / f"{name}.toml" for name in _NUMBERS}
    return {n: hashlib.sha256(path.read_bytes()).hexdigest() for n, path in files.items()}
