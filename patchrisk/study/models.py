"""A model of disease on what the season brought up to the landmark, beside what knows no weather.

Logistic regression, penalised, by scikit-learn (extra ``models``). How strong the penalty is, is
chosen within the seasons that a model is fitted on, and every chance that is judged is of a season,
or a site, that the model has not seen.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
import pandas as pd

from patchrisk.base.errors import Fault, InputError
from patchrisk.base.toml_files import load_numbers
from patchrisk.base.units import DAY, BoolArray, FloatArray
from patchrisk.core.counters import compare, longest_run
from patchrisk.core.rules.infection import relative_rate
from patchrisk.core.rules.windows import REFERENCE_CM
from patchrisk.core.skill.chances import Brier, brier
from patchrisk.core.skill.measures import Terms, roc_area
from patchrisk.read.diseases import load_library
from patchrisk.study.observations import read_disease_observations
from patchrisk.study.sites import open_source
from patchrisk.study.soil import SoilChoice, site_soils
from patchrisk.study.terms import usual_terms

if TYPE_CHECKING:
    import xarray as xr

FEATURES = {
    "pressure": "infection by the soil at 5 cm [days at the optimum]",
    "degree_days": "of the daily mean at 5 cm above 10 degC [degC d]",
    "longest_run": "of days on which infection goes at half of its best rate or more [days]",
    "rain": "in all [mm]",
}
"""What a model is fitted on, each from the season's first day to the landmark."""
_PENALTIES = np.logspace(-3, 2, 6)  # 1 by this is how strong it is
_INNER_FOLDS = 4


@dataclass(frozen=True)
class ModelSkill:
    """Chances of disease in cases that the model had not seen, and how right they were.

    Parameters
    ----------
    table : DataFrame
        ``place, season, found``, the features, ``chance`` [1].
    scores : mapping of str to Brier
        Of ``model``; ``climatology`` (the share of the cases fitted on); ``always``, ``never``.
    area : float
        Under the ROC curve of the model's chances [1].
    landmark : int
        Day of the disease's season.
    left_out : int
        Cases without weather enough; in the others a missing day counts as the mean of the known.
    """

    table: pd.DataFrame
    scores: Mapping[str, Brier]
    area: float
    landmark: int
    left_out: int


def fit_model(
    source: "Path | str | pd.DataFrame | xr.Dataset",
    observations: Path,
    disease: str,
    *,
    leave_out: Literal["season", "place"] = "season",
    soil: SoilChoice = "either",
    columns: Mapping[str, str] | None = None,
    terms: Terms | None = None,
    today: date | None = None,
) -> ModelSkill:
    """Fit a model of a disease by nested cross-validation, and judge it.

    Parameters
    ----------
    source : path, DataFrame or xarray.Dataset
        As `patchrisk.study.run.backtest` takes it. Without rain the model goes without.
    observations : Path
        See `patchrisk.study.observations`; with looks in vain.
    disease : str
        Key or name.
    leave_out : {"season", "place"}
        What is left out as a whole.
    soil, columns
        As `backtest` takes them; soil of one kind.
    terms : Terms, optional
        For the landmark; the disease's own when not given.
    today : date, optional
        Later observations are refused; the day of the computer when not given.

    Raises
    ------
    InputError
        When scikit-learn is not installed, the disease has no response to temperature, or the
        observations are faulty, or all of one kind.
    """
    try:
        import sklearn  # noqa: F401 - told before all is read
    except ImportError:
        cure = "install patchrisk[models]"
        raise InputError(Fault("fit_model", "", "scikit-learn is not installed", cure)) from None
    library = load_library()
    key = library.find(disease)
    response = library.diseases[key].response if key in library.diseases else None
    if response is None:
        cure = "name a disease with one"
        raise InputError(Fault(key, "", "has no response to temperature", cure))
    blocks = [part.read() for part in open_source(source, columns or {}, offline=True).parts]
    places = {
        site: float(lat) for b in blocks for site, lat in zip(b.sites, b.latitude, strict=True)
    }
    seen = read_disease_observations(observations, places, library, today or date.today())
    seen = seen[seen["counts"] & (seen["disease"] == key)]
    if seen["found"].nunique() < 2:
        cure = "give sights and looks in vain"
        raise InputError(Fault(str(observations), key, "all of one kind", cure))
    terms = terms or usual_terms(disease=library.diseases[key])
    first_sight = (seen["first_seen"] - seen["season_first"])[seen["found"]].min()
    landmark = terms.landmark
    if landmark is None:
        landmark = int(first_sight.days) - terms.least_lead
    rows = []
    for block in blocks:
        for one in site_soils(block, [], soil):
            lanes = {block.sites[lane]: n for n, lane in enumerate(one.lanes)}
            for case in seen[seen["place"].isin(lanes)].itertuples():
                n = lanes[case.place]
                begin = np.datetime64(str(case.season_first)[:10], "D")
                inside = (block.dates >= begin) & (block.dates <= begin + landmark * DAY)
                weather = _features(
                    one.soil.mean_c[REFERENCE_CM][inside, n],
                    block.rain_mm[inside, one.lanes[n]],
                    relative_rate(one.soil.mean_c[REFERENCE_CM][inside, n], response.cardinal),
                    landmark + 1,
                )
                rows.append({"place": case.place, "season": case.season, "found": case.found}
                            | weather)  # fmt: skip
    table = pd.DataFrame(rows)
    if table["rain"].isna().all():
        table = table.drop(columns="rain")
    whole = table.dropna().reset_index(drop=True)
    names = [name for name in FEATURES if name in whole]
    found = whole["found"].to_numpy(bool)
    group = pd.factorize(whole[leave_out])[0]
    chance, base = _out_of_fold(whole[names].to_numpy(float), found, group)
    count = len(found)
    scores = {"model": chance, "climatology": base, "always": np.ones(count),
              "never": np.zeros(count)}  # fmt: skip
    return ModelSkill(
        whole.assign(chance=chance),
        {name: brier(stated, found) for name, stated in scores.items()},
        float(roc_area(np.ones((1, count)), chance, found)[0]),
        landmark,
        len(table) - count,
    )


def _features(mean: FloatArray, rain: FloatArray, rate: FloatArray, days: int) -> dict[str, float]:
    """Sum a season up to the landmark; NaN where too many of its days are missing."""
    numbers = load_numbers("skill")
    known, least = ~np.isnan(mean), numbers["model_known"].value * days
    base_c = numbers["model_base"].value
    if known.sum() < least:
        return dict.fromkeys(FEATURES, np.nan)
    share = days / known.sum()  # missing days are taken as the mean of the others
    run = longest_run(compare(rate[:, None], ">=", numbers["model_rate"].value))
    wet = ~np.isnan(rain)
    return {
        "pressure": float(np.nansum(rate)) * share,
        "degree_days": float(np.nansum(np.maximum(mean - base_c, 0))) * share,
        "longest_run": float(np.max(run)),
        "rain": float(np.nansum(rain)) * days / wet.sum() if wet.sum() >= least else np.nan,
    }


def _out_of_fold(
    weather: FloatArray, found: BoolArray, group: Any
) -> tuple[FloatArray, FloatArray]:
    """Chance of each case by a model of the other groups, and the share found among those."""
    from sklearn.linear_model import LogisticRegressionCV
    from sklearn.model_selection import GroupKFold
    from threadpoolctl import threadpool_limits  # scikit-learn's own dependency

    chance, base = np.empty(len(found)), np.empty(len(found))
    for one in np.unique(group):
        out = group == one
        base[out] = found[~out].mean() if (~out).any() else np.nan
        chance[out] = base[out]
        folds = min(_INNER_FOLDS, len(np.unique(group[~out])))
        if folds < 2 or len(np.unique(found[~out])) < 2:
            continue
        middle, spread = weather[~out].mean(axis=0), weather[~out].std(axis=0)
        scaled = (weather - middle) / np.where(spread > 0, spread, 1.0)
        inner = GroupKFold(folds).split(scaled[~out], groups=group[~out])
        splits = [s for s in inner if len(np.unique(found[~out][s[0]])) == 2]
        model = LogisticRegressionCV(
            Cs=_PENALTIES, cv=splits, scoring="neg_brier_score", max_iter=1000,
            l1_ratios=(0.0,), use_legacy_attributes=False,
        )  # fmt: skip
        with threadpool_limits(1):  # threads wait for each other longer than such a fit takes
            model.fit(scaled[~out], found[~out])
        chance[out] = model.predict_proba(scaled[out])[:, 1]
    return chance, base
