"""What a backtest works out: its rules, its diseases on their grass, and its parts."""

import hashlib
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, astuple, dataclass, replace
from pathlib import Path
from typing import Any

import pandas as pd

from patchrisk import __version__
from patchrisk.base import resources
from patchrisk.base.errors import Fault, InputError, UnavailableError
from patchrisk.base.toml_files import load_numbers
from patchrisk.core.rules.rule import Cardinal, Rule, soil_depth_cm
from patchrisk.core.rules.windows import WindowSettings
from patchrisk.core.skill.openings import LEAST_DRAWS, ErrorDraws, drawn_openings, seasons_of
from patchrisk.core.skill.verdicts import DiseaseOnGrass, answers_of, verdicts_of
from patchrisk.core.soil.air_to_soil import DEEPEST_CM, SHALLOWEST_CM
from patchrisk.core.verdict.case import Settings as VerdictSettings
from patchrisk.core.verdict.decision_table import Host
from patchrisk.read.diseases import Library, load_library
from patchrisk.read.diseases.library import DiseaseGroup
from patchrisk.read.diseases.models import Disease
from patchrisk.site_day.area_soil import error_covariance
from patchrisk.site_day.disease import backing_of, helps_of, interval_of, number_of, spans_of
from patchrisk.site_day.judging import verdict_settings
from patchrisk.site_day.morning import settings
from patchrisk.study.folder import sha256_of
from patchrisk.study.own_rules import (
    OWN,
    AnyRule,
    OwnRule,
    read_own,
    without_temperature,
)
from patchrisk.study.scenarios import Shift, shifted
from patchrisk.study.soil import Block, SoilChoice, site_soils
from patchrisk.study.sources import Part
from patchrisk.study.table_files import Form, part_bytes
from patchrisk.study.table_rows import AllLeftOutError
from patchrisk.study.tables import LAYOUTS, seasons_table, verdicts_table

_NUMBERS = (
    "grasses",
    "outlook",
    "programme",
    "quality",
    "root_zones",
    "soil_cover",
    "soil_model",
    "verdict",
)


@dataclass(frozen=True)
class BacktestPlan:
    """The rules, and how they are applied.

    ``rules`` stand with the key of their disease or group of diseases, ``responses`` of infection
    to temperature by disease; ``infections`` are the diseases that have seasons of infection on
    ``grass``, or without one on each disease's most susceptible grass; ``functions`` are rules that
    are functions; ``hashes`` the SHA-256 of every file that the numbers come from. ``years`` are
    the first and last season wanted; ``line_days`` is the longest gap that a straight line is
    likely in [days]; ``shift_air_c`` is added to the air of every day, or of each month's [degC];
    ``draws`` and ``seed`` are of the error of modelled soil.
    """

    rules: Sequence[tuple[str, Rule]]
    responses: Mapping[str, Cardinal]
    settings: WindowSettings
    soil: SoilChoice
    years: tuple[int, int] | None
    hashes: Mapping[str, str]
    grass: str | None
    infections: Sequence[DiseaseOnGrass]
    verdicts: VerdictSettings
    functions: Sequence[OwnRule] = ()
    line_days: int = 0
    shift_air_c: Shift = 0.0
    draws: int = 0
    seed: int = 1

    def tables(self, block: Block) -> list[pd.DataFrame]:
        """Return the seasons of a block of sites by rule, and the verdicts on them."""
        seasons, verdicts = [], []
        if self.shift_air_c:
            block = shifted(block, self.shift_air_c)
        rules = [*(rule for _, rule in self.rules), *(r for _, r in _span_rules(self.infections))]
        rules += [rule for one in self.functions for rule in one.needs]
        for soil in site_soils(block, rules, self.soil, doubt=self.draws > 0):
            # A function's days stand beside the soil, at depths that no soil has.
            own = [one.applied(block, soil, -n) for n, one in enumerate(self.functions, 1)]
            series = {rule.depth_cm: met for rule, met in own}
            of_rules = seasons_of(
                [*self.rules, *((OWN, rule) for rule, _ in own)],
                replace(soil.soil, mean_c={**soil.soil.mean_c, **series}),
                southern=soil.southern,
                settings=self.settings,
                responses=self.responses,
                line_days=self.line_days,
            )
            if soil.doubt is not None and self.rules:
                of_rules[: len(self.rules)] = drawn_openings(
                    of_rules[: len(self.rules)],
                    self.rules,
                    soil.soil,
                    soil.doubt,
                    ErrorDraws(self.draws, self.seed, error_covariance(), self.line_days),
                    southern=soil.southern,
                    settings=self.settings,
                )
            of_rules[len(self.rules) :] = map(without_temperature, of_rules[len(self.rules) :])
            seasons.append(seasons_table(block, soil, of_rules, self.years))
            of_infections = verdicts_of(
                self.infections,
                soil.soil,
                southern=soil.southern,
                settings=self.verdicts,
                max_change_c=self.settings.max_change_c,
            )
            verdicts.append(verdicts_table(block, soil, of_infections, self.years))
        both = list(zip(LAYOUTS, (seasons, verdicts), strict=True))
        return [some[0] if len(some) == 1 else layout.joined(some) for layout, some in both]

    def described(self) -> dict[str, Any]:
        """Return everything that the numbers hang on, for the metadata file."""
        return {
            "patchrisk": __version__,
            "options": {
                "soil": self.soil,
                "years": None if self.years is None else list(self.years),
                "nearing_c": self.settings.nearing_c,
                "max_change_c": self.settings.max_change_c,
                "line_days": self.line_days,
                "shift_air_c": self.shift_air_c,
                "draws": self.draws,
                "seed": self.seed,
                "grass": self.grass,
            },
            "rules": [{"disease": key, **_plain_rule(rule)} for key, rule in self.rules],
            "functions": [one.described() for one in self.functions],
            "infections": [_plain_infection(one) for one in self.infections],
            "responses": {key: asdict(cardinal) for key, cardinal in self.responses.items()},
            "sha256": dict(self.hashes),
        }


def plan_backtest(
    *,
    diseases: Sequence[str] = (),
    diseases_folder: Path | None = None,
    soil: SoilChoice = "either",
    years: tuple[int, int] | None = None,
    grass: str | None = None,
    rules: AnyRule | Iterable[AnyRule] = (),
    shift_air_c: Shift = 0.0,
    draws: int = 0,
) -> BacktestPlan:
    """Collect the rules; parameters are those of `patchrisk.study.run.backtest`.

    InputError when a disease or the grass is unknown, a disease has no rule, a disease file is
    faulty, or a rule speaks of a depth that the soil is not worked out for.
    """
    library = load_library(diseases_folder)
    owners: dict[str, Disease | DiseaseGroup] = {**library.diseases, **library.groups}
    own, functions, files = read_own(rules)
    published = owners if not (own or functions) else {}
    keys = dict.fromkeys(library.find(name) for name in diseases) or published
    all_rules = [(key, window.rule) for key in keys for window in owners[key].window] + own
    faults = [
        Fault(key, "", "has no rule to apply", "name a disease with rules")
        for key in (keys if diseases else ())
        if not owners[key].window
    ]
    infections = diseases_on_grass(library, keys, grass)
    asked = [(OWN, rule) for one in functions for rule in one.needs]
    for key, rule in dict.fromkeys([*all_rules, *asked, *_span_rules(infections)]):
        if not SHALLOWEST_CM <= soil_depth_cm(rule.depth_cm) <= DEEPEST_CM:
            cure = f"write {SHALLOWEST_CM:g} to {DEEPEST_CM:g} cm"
            faults.append(Fault(key, f"rule {rule.id}", f"depth {rule.depth_cm:g} cm", cure))
    if shift_air_c and soil != "modelled":
        cure = "write --soil modelled"
        faults.append(Fault("--shift-air", "", "soil as it was measured stays as it is", cure))
    if draws and draws < LEAST_DRAWS:
        cure = f"write 0 for none, or {LEAST_DRAWS} or more"
        faults.append(Fault("--draws", "", f"{draws} draws", cure))
    if years is not None and years[0] > years[1]:
        faults.append(Fault("years", "", f"{years[0]} is after {years[1]}", "exchange them"))
    if faults:
        raise InputError(faults)
    responses = {
        key: disease.response.cardinal
        for key, disease in library.diseases.items()
        if disease.response is not None and key in keys
    }
    read = dict.fromkeys([*keys, *(one.disease for one in infections)])
    return BacktestPlan(
        rules=all_rules,
        responses=responses,
        settings=settings(),
        soil=soil,
        years=years,
        hashes=_hashes(read, diseases_folder, files),
        grass=grass,
        infections=infections,
        verdicts=verdict_settings(),
        functions=functions,
        line_days=round(load_numbers("skill")["line_days"].value),
        shift_air_c=shift_air_c,
        draws=draws,
    )


def _span_rules(infections: Sequence[DiseaseOnGrass]) -> list[tuple[str, Rule]]:
    """Return the rules that begin seasons of infection, each with its disease."""
    return [(one.disease, r) for one in infections for span in one.spans for r in span.rules]


def diseases_on_grass(
    library: Library, keys: Iterable[str], grass: str | None
) -> tuple[DiseaseOnGrass, ...]:
    """Return every disease that has seasons of infection on the grass, in the order of the keys.

    ``keys`` are diseases and groups; of a group each member. Without a grass each disease is judged
    on its most susceptible one. InputError when no disease file knows the grass.
    """
    if grass is not None and not any(d.on(grass) for d in library.diseases.values()):
        known = sorted({host.grass for d in library.diseases.values() for host in d.host})
        cure = f"write one of {', '.join(known)}"
        raise InputError(Fault("--grass", grass, "no disease file knows this grass", cure))
    members = [
        member
        for key in keys
        for member in (library.groups[key].members if key in library.groups else (key,))
    ]
    made = (_on_grass(library, key, grass) for key in dict.fromkeys(members))
    return tuple(one for one in made if one is not None)


def _on_grass(library: Library, key: str, grass: str | None) -> DiseaseOnGrass | None:
    disease, numbers = library.diseases[key], verdict_settings()
    if grass is None:  # the most susceptible on which it has seasons
        hosts = sorted(disease.host, key=lambda host: -Host[host.susceptibility.upper()])
        grass = next((host.grass for host in hosts if disease.seasons(host.grass)), None)
    spans = () if grass is None else spans_of(library, disease, (grass,))
    if grass is None or not spans:
        return None
    treatment = disease.treatment
    host = Host[(disease.susceptibility(grass) or "unknown").upper()]
    return DiseaseOnGrass(
        disease=key,
        grass=grass,
        host=host,
        spans=spans,
        interval=interval_of(disease, key),
        number=number_of(disease),
        answers=answers_of(
            host,
            backing_of(disease, frozenset(), frozenset()),
            helps_of(treatment.late),
            helps_of(treatment.once_seen),
            numbers.table,
        ),
    )


def run_key(described: Mapping[str, Any]) -> str:
    """SHA-256 of a description: what makes two backtests the same."""
    return hashlib.sha256(json.dumps(described, sort_keys=True).encode()).hexdigest()


def _plain_rule(rule: Rule) -> dict[str, Any]:
    return asdict(rule) | {"stated": sorted(rule.stated), "season": astuple(rule.season)}


def _plain_infection(one: DiseaseOnGrass) -> dict[str, Any]:
    return {
        "disease": one.disease,
        "grass": one.grass,
        "host": one.host.name.lower(),
        "interval": one.interval,
        "number": one.number,
        "seasons": [
            asdict(span)
            | {"season": astuple(span.season), "rules": [rule.id for rule in span.rules]}
            for span in one.spans
        ],
    }


def _hashes(keys: Mapping[str, Any], own: Path | None, rules: Sequence[Path]) -> dict[str, str]:
    folder = resources.thresholds()
    files = {f"diseases/{key}.toml": folder / "diseases" / f"{key}.toml" for key in keys}
    for key in keys:
        if own is not None and (own / f"{key}.toml").is_file():
            files[f"diseases/{key}.toml"] = own / f"{key}.toml"
    files |= {f"rules/{path.name}": path for path in rules}
    files |= {f"{name}.toml": folder / f"{name}.toml" for name in _NUMBERS}
    return {n: sha256_of(path) for n, path in files.items()}


@dataclass(frozen=True)
class PartJob:
    """One part to be judged, the form its tables are wanted in, and by which version."""

    number: int
    part: Part
    plan: BacktestPlan
    form: Form
    version: str = __version__

    def run(self) -> "PartResult":
        """Read the part and judge it.

        InputError with the faults of the data; UnavailableError when a worker of a cluster runs
        another version.
        """
        if self.version != __version__:
            found = f"a worker runs patchrisk {__version__} for {self.version}"
            cure = "install the same version on every worker"
            raise UnavailableError(Fault("--scheduler", "", found, cure))
        try:
            block = self.part()
        except AllLeftOutError as error:
            tables = [layout.empty() for layout in LAYOUTS]
            note: dict[str, Any] = dict.fromkeys(("sites", "sites_without_soil", "site_days"), 0)
            note |= {"set_aside": {}, "left_out": list(map(astuple, error.faults))}
        else:
            tables = self.plan.tables(block)
            note = {
                "sites": len(block.sites),
                "sites_without_soil": len(set(block.sites) - set(tables[0]["site"])),
                "site_days": int((block.last - block.first + 1).sum()),
                "set_aside": dict(block.set_aside),
                "left_out": list(map(astuple, block.left_out)),
            }
        return PartResult(self.number, [part_bytes(one, self.form) for one in tables], note)


@dataclass(frozen=True)
class PartResult:
    """A judged part: its tables, by `LAYOUTS`, as bytes of files, and what is to be said of it."""

    number: int
    tables: Sequence[bytes]
    note: Mapping[str, Any]
