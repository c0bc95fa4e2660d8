"""Rules of a researcher's own: a file of rules alone, a `Rule`, or a function of arrays."""

import hashlib
import inspect
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from patchrisk.base.errors import Fault, InputError
from patchrisk.base.units import DayArray, FloatArray
from patchrisk.core.rules.rule import Meaning, Rule, Season, Statistic
from patchrisk.core.skill.openings import Seasons
from patchrisk.read.diseases import read_rules
from patchrisk.study.soil import Block, BlockSoil

_WHOLE_YEAR = Season((1, 1), (12, 31))
OWN = "own"
"""Key of the disease that rules of one's own are told under."""


@dataclass(frozen=True)
class Days:
    """What a function of one's own is given; arrays are (days, sites), NaN where unknown.

    ``soil_mean_c`` is by depth [cm], those of the rule's ``depths_cm``; ``latitude`` is (sites,)
    [degrees north]; ``soil_moisture`` is the share of the volume [m3/m3].
    """

    dates: DayArray
    latitude: FloatArray
    soil_mean_c: dict[float, FloatArray]
    air_min_c: FloatArray
    air_max_c: FloatArray
    rain_mm: FloatArray
    solar_mj_m2: FloatArray
    soil_moisture: FloatArray


@dataclass(frozen=True)
class OwnRule:
    """A rule that is a function: the window opens on the day that completes its days in a row.

    ``function`` goes from `Days` to whether each day meets the rule: bool, or 1, 0 and NaN for
    unknown, (days, sites); over several processes it must be one of a module, not a lambda. ``id``
    is its name when not given. ``season`` has its first and last day, (month, day) each, in the
    north; ``days`` are those in a row, ``depths_cm`` those of the soil that the function asks for.
    """

    function: Callable[[Days], Any]
    id: str = ""
    season: Season = _WHOLE_YEAR
    days: int = 1
    depths_cm: tuple[float, ...] = (5.0,)
    meaning: Meaning = "treat"

    @property
    def name(self) -> str:
        """The id, or the function's name."""
        return self.id or getattr(self.function, "__name__", "function")

    @property
    def needs(self) -> list[Rule]:
        """Rules that ask for the soil that the function does."""
        return [replace(self._stand_in(0.0), depth_cm=depth) for depth in self.depths_cm]

    def described(self) -> dict[str, Any]:
        """Return what it is, for the metadata file: its source by its hash, where it has any."""
        try:
            text = inspect.getsource(self.function)
        except (OSError, TypeError):
            text = repr(self.function)
        digest = hashlib.sha256(text.encode()).hexdigest()
        return {"id": self.name, "function_sha256": digest, "days": self.days,
                "season": [*self.season.start, *self.season.end],
                "depths_cm": list(self.depths_cm), "meaning": self.meaning}  # fmt: skip

    def applied(self, block: Block, soil: BlockSoil, depth_cm: float) -> tuple[Rule, FloatArray]:
        """Return a rule on a series of 0 and 1, and the series, at a depth that no soil has.

        Raises
        ------
        InputError
            When the function gives an array of another shape.
        """
        names = ("air_min_c", "air_max_c", "rain_mm", "solar_mj_m2", "soil_moisture")
        series = {name: getattr(block, name) for name in names}
        if block.soil_moisture is None:
            series["soil_moisture"] = np.full_like(block.rain_mm, np.nan)
        days = Days(
            block.dates,
            block.latitude[soil.lanes],
            {depth: soil.soil.mean_c[depth] for depth in self.depths_cm},
            **{name: values[:, soil.lanes] for name, values in series.items()},
        )
        met = np.asarray(self.function(days), dtype=float)
        if met.shape != days.air_min_c.shape:
            found, cure = f"an array of {met.shape}", f"give one of {days.air_min_c.shape}"
            raise InputError(Fault("rules", self.name, found, f"{cure}: (days, sites)"))
        return self._stand_in(depth_cm), met

    def _stand_in(self, depth_cm: float) -> Rule:
        return Rule(self.name, self.meaning, Statistic.DAILY_MEAN, depth_cm, "rising", self.season,
                    low_c=0.5, days=self.days)  # fmt: skip


def without_temperature(found: Seasons) -> Seasons:
    """Take out what a function does not have: what it compares, degree-days, nearing."""
    nothing = np.full(found.value_opened_c.shape, np.nan)
    nat = np.full(found.opened.shape, np.datetime64("NaT", "D"))
    return replace(found, value_opened_c=nothing, degree_days_opened=nothing, nearing=nat)


AnyRule = Path | str | Rule | OwnRule | Callable[[Days], Any]


def read_own(
    rules: AnyRule | Iterable[AnyRule],
) -> tuple[list[tuple[str, Rule]], list[OwnRule], list[Path]]:
    """Tell rules, each under `OWN`, from functions, and read the files of rules; name the files.

    InputError when a file is faulty, or two go by one id.
    """
    given: Sequence[Any] = (
        [rules] if isinstance(rules, Path | str | Rule | OwnRule) or callable(rules)
        else list(rules)
    )  # fmt: skip
    plain: list[Rule] = []
    functions: list[OwnRule] = []
    files: list[Path] = []
    for one in given:
        if isinstance(one, Path | str):
            files.append(Path(one))
            plain += read_rules(Path(one))
        elif isinstance(one, Rule):
            plain.append(one)
        elif isinstance(one, OwnRule):
            functions.append(one)
        elif callable(one):
            functions.append(OwnRule(one))
        else:
            cure = "give a TOML file, a Rule, an OwnRule or a function"
            raise InputError(Fault("rules", "", f"{type(one).__name__}", cure))
    ids = [rule.id for rule in plain] + [one.name for one in functions]
    twice = sorted({name for name in ids if ids.count(name) > 1})
    if twice:
        raise InputError([Fault("rules", n, "there twice", "give each its own id") for n in twice])
    return [(OWN, rule) for rule in plain], functions, files
