"""Models of disease on what the season has brought so far, beside what knows no weather.

Logistic regression, penalised, by scikit-learn (extra ``models``), of two forms: the chance of
disease in a season as of the landmark; and, as survival in discrete time, the chance in a week that
it is first seen in it, by the weather before that week. How strong the penalty is, is chosen within
the cases that a model is fitted on, and every chance that is judged is of a season, a site or a
block of space that the model has not seen.

References
----------
Allison P.D. 1982. Discrete-time methods for the analysis of event histories. Sociol. Methodol. 13:
61-98 (citation from memory).
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import product
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal, get_args

import numpy as np
import pandas as pd

from patchrisk.base.errors import Fault, InputError
from patchrisk.base.toml_files import load_numbers
from patchrisk.base.units import BoolArray, DayArray, FloatArray
from patchrisk.core.counters import compare, longest_run
from patchrisk.core.rules.rule import REFERENCE_CM, Cardinal, relative_rate
from patchrisk.core.skill.cases import blocks_of_space
from patchrisk.core.skill.measures import RATIOS, Brier, Terms, brier, expected_cost, roc_area
from patchrisk.read.diseases import load_library
from patchrisk.study.observations import read_disease_observations, usual_terms
from patchrisk.study.soil import Block, SoilChoice, site_soils
from patchrisk.study.sources import open_source, read_all

if TYPE_CHECKING:
    import xarray as xr

FEATURES = {
    "pressure": "infection by the soil at 5 cm [days at the optimum]",
    "degree_days": "of the daily mean at 5 cm above 10 degC [degC d]",
    "longest_run": "of days on which infection goes at half of its best rate or more [days]",
    "rain": "in all [mm]",
    "moisture": "of each day's share of the soil's volume, in all [m3/m3 d]",
}
"""What a model is fitted on, each from the season's first day on; by the week also its number."""
_WEEK = 7
_PENALTIES = np.logspace(-3, 2, 6)  # 1 by this is how strong it is
_INNER_FOLDS, _LEAST_GROUPS = 4, 3
_KNOTS = 10  # of the cubic spline over a season's weeks


Form = Literal["season", "week"]
LeaveOut = Literal["season", "place", "block"]


@dataclass(frozen=True)
class ModelSkill:
    """Chances of disease in cases that the model had not seen, and how right they were.

    ``table`` has a row for each case, or each week of it until the disease was seen, or was last
    looked for in vain: ``place, season, week, found``, the features, ``chance`` [1]. ``scores`` are
    of ``model``; ``climatology`` (the share of the rows fitted on); by the week ``calendar`` (that
    share in the same week); ``always``, ``never``. ``decisions`` has ``ratio`` (cost of acting over
    the loss averted), and of each ``name`` the ``cost`` and ``net_benefit`` of
    `patchrisk.core.skill.measures.expected_cost`. ``area`` is that under the ROC curve of the
    model's chances [1], ``landmark`` a day of the disease's season, ``left_out`` the rows without
    weather enough; in the others a missing day counts as the mean of the known.
    """

    disease: str
    form: Form
    leave_out: LeaveOut
    table: pd.DataFrame
    scores: Mapping[str, Brier]
    decisions: pd.DataFrame
    area: float
    landmark: int
    left_out: int


def fit_model(
    source: "Path | str | pd.DataFrame | xr.Dataset",
    observations: Path,
    disease: str,
    *,
    form: Form = "season",
    leave_out: LeaveOut = "season",
    soil: SoilChoice = "either",
    columns: Mapping[str, str] | None = None,
    missing_values: Sequence[float] = (),
    diseases_folder: Path | None = None,
    terms: Terms | None = None,
    today: date | None = None,
) -> ModelSkill:
    """Fit a model of a disease by nested cross-validation, and judge it.

    Parameters
    ----------
    source : path, DataFrame or xarray.Dataset
        As `patchrisk.study.run.backtest` takes it. Without rain, or soil moisture, the
        model goes without.
    observations : Path
        See `patchrisk.study.observations`; with looks in vain.
    disease : str
        Key or name.
    form : {"season", "week"}
        Whether a season has disease, as of the landmark; or when, week by week. A sight is taken
        as the day on which the disease began to show.
    leave_out : {"season", "place", "block"}
        What is left out as a whole; a block of space is `BLOCK_DEGREES` wide and high.
    soil, columns, missing_values, diseases_folder
        As `backtest` takes them; soil of one kind.
    terms : Terms, optional
        For the landmark; the disease's own when not given.
    today : date, optional
        Later observations are refused; the day of the computer when not given.

    Raises
    ------
    InputError
        When scikit-learn is not installed, the disease has no response to temperature, the
        observations are faulty or all of one kind, or there are fewer than three of what is left
        out: one to judge on, two to choose the penalty by.
    """
    try:
        import sklearn  # noqa: F401 - told before all is read
    except ImportError:
        cure = "install patchrisk[models]"
        raise InputError(Fault("fit_model", "", "scikit-learn is not installed", cure)) from None
    library = load_library(diseases_folder)
    key = library.find(disease)
    response = library.diseases[key].response if key in library.diseases else None
    if response is None:
        cure = "name a disease with one"
        raise InputError(Fault(key, "", "has no response to temperature", cure))
    opened = open_source(source, columns or {}, offline=True, missing=missing_values)
    blocks, faults = read_all(opened.parts)
    if not blocks:
        raise InputError(faults)
    at = pd.concat([pd.DataFrame({"site": b.sites, "latitude": b.latitude,
                                  "longitude": b.longitude}) for b in blocks])  # fmt: skip
    places = dict(zip(at["site"], at["latitude"].astype(float), strict=True))
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
    rows = _rows(blocks, soil, seen, response.cardinal, form, landmark)
    table = pd.DataFrame(list(rows))
    table["block"] = table["place"].map(blocks_of_space(at))
    table = table.drop(columns=[n for n in ("rain", "moisture")
                                if n in table and table[n].isna().all()])  # fmt: skip
    whole = table.dropna().reset_index(drop=True)
    names = [name for name in FEATURES if name in whole]
    weather = whole[names].to_numpy(float)
    week = whole["week"].to_numpy(float)
    if form == "week":  # how the chance goes through the season, whatever the weather
        from sklearn.preprocessing import SplineTransformer

        course = SplineTransformer(_KNOTS, include_bias=False).fit_transform(week[:, None])
        weather = np.hstack([weather, course])
    found, group = whole["found"].to_numpy(bool), pd.factorize(whole[leave_out])[0]
    if (count := len(np.unique(group))) < _LEAST_GROUPS:
        cure = "give observations of three, or leave another out"
        place = f"{key}, left out by {leave_out}"
        raise InputError(Fault(str(observations), place, f"{count} in all", cure))
    chance, base, calendar = _out_of_fold(weather, week, found, group)
    count = len(found)
    stated = {"model": chance, "climatology": base}
    stated |= {"calendar": calendar} if form == "week" else {}
    stated |= {"always": np.ones(count), "never": np.zeros(count)}
    decisions = [(ratio, name, *expected_cost(of, found, ratio))
                 for ratio in RATIOS.tolist() for name, of in stated.items()]  # fmt: skip
    return ModelSkill(
        key, form, leave_out,
        whole.assign(chance=chance),
        {name: brier(of, found) for name, of in stated.items()},
        pd.DataFrame(decisions, columns=pd.Index(["ratio", "name", "cost", "net_benefit"])),
        float(roc_area(np.ones((1, count)), chance, found)[0]),
        landmark,
        len(table) - count,
    )  # fmt: skip


def fit_models(
    source: "Path | str | pd.DataFrame | xr.Dataset",
    observations: Path,
    diseases: Sequence[str],
    **options: Any,
) -> tuple[list[ModelSkill], list[Fault]]:
    """Fit both forms, each by season, site and block of space, of each disease that has cases.

    ``options`` are those of `fit_model`; the faults are of the diseases that can't be fitted.
    """
    skills, faults = list[ModelSkill](), list[Fault]()
    for disease, form, out in product(diseases, get_args(Form), get_args(LeaveOut)):
        try:
            skills.append(
                fit_model(source, observations, disease, form=form, leave_out=out, **options)
            )
        except InputError as error:
            faults += error.faults
    return skills, list(dict.fromkeys(faults))


def model_tables(skills: Sequence[ModelSkill]) -> dict[str, pd.DataFrame]:
    """Return scores, calibration curves and decision curves, by the names of their files."""
    scores, curves, decisions = [], [], []
    for one in skills:
        named = {"disease": one.disease, "form": one.form, "leave_out": one.leave_out}
        cases = len(one.table[["place", "season"]].drop_duplicates())
        base = {"rows": len(one.table), "cases": cases,
                "found": int(one.table["found"].sum()), "left_out": one.left_out}  # fmt: skip
        for name, got in one.scores.items():
            parts = {n: getattr(got, n) for n in
                     ("score", "reliability", "resolution", "uncertainty", "within")}  # fmt: skip
            area = {"area": one.area if name == "model" else np.nan}
            scores.append({**named, "name": name, **parts, **area, **base})
            curve = {"stated": got.stated, "came": got.came, "rows": got.cases}
            curves.append(pd.DataFrame(curve).assign(**named, name=name))
        decisions.append(one.decisions.assign(**named))
    first = ["disease", "form", "leave_out", "name"]
    return {
        "models": pd.DataFrame(scores),
        "model_calibration": pd.concat(curves)[[*first, "stated", "came", "rows"]],
        "model_decisions": pd.concat(decisions)[[*first, "ratio", "cost", "net_benefit"]],
    }


def _rows(
    blocks: Sequence[Block],
    soil: SoilChoice,
    seen: pd.DataFrame,
    response: Cardinal,
    form: Form,
    landmark: int,
) -> Iterator[dict[str, Any]]:
    """Say of each case, or of each week of it, what the season had brought and whether it came."""
    for block in blocks:
        wet = {"rain": block.rain_mm, "moisture": block.soil_moisture}
        for one in site_soils(block, [], soil):
            lanes = {block.sites[lane]: n for n, lane in enumerate(one.lanes)}
            cases: Any = seen[seen["place"].isin(lanes)].itertuples()
            for case in cases:
                n = lanes[case.place]
                begin = np.datetime64(str(case.season_first)[:10], "D")
                mean = _from(begin, block.dates, one.soil.mean_c[REFERENCE_CM][:, n])
                here = {name: _from(begin, block.dates, series[:, one.lanes[n]])
                        for name, series in wet.items() if series is not None}  # fmt: skip
                rate = relative_rate(mean, response)
                when = (case.first_seen if case.found else case.clear_on) - case.season_first
                for number, days, came in _asked(case, form, when.days, landmark):
                    named = {"place": case.place, "season": case.season, "week": number}
                    yield named | {"found": came} | _features(mean, rate, here, days)


def _from(begin: np.datetime64, dates: DayArray, series: FloatArray) -> FloatArray:
    """Return a series from a day on; days before the record are missing."""
    offset = int((begin - dates[0]).astype(int))
    before = np.full(max(-offset, 0), np.nan)
    return np.concatenate([before, series[max(offset, 0) :]])


def _asked(case: Any, form: Form, last: int, landmark: int) -> list[tuple[int, int, bool]]:
    """Return the weeks of a case, the days before each, and whether the disease came in it."""
    if form == "season":
        return [(0, landmark + 1, bool(case.found))]
    weeks = last // _WEEK + bool(case.found)  # one not over when looked at tells nothing
    return [(n, _WEEK * n, bool(case.found) and n == weeks - 1) for n in range(weeks)]


def _features(
    mean: FloatArray, rate: FloatArray, wet: Mapping[str, FloatArray], days: int
) -> dict[str, float]:
    """Sum the first days of a season; NaN where too many of them are missing."""
    soil = ("pressure", "degree_days", "longest_run")
    if not days:
        none = {name: np.nan if np.isnan(series).all() else 0.0 for name, series in wet.items()}
        return dict.fromkeys(soil, 0.0) | none
    numbers = load_numbers("skill")
    mean, rate = mean[:days], rate[:days]
    known, least = ~np.isnan(mean), numbers["model_known"].value * days
    base_c = numbers["model_base"].value
    if known.sum() < least:
        return dict.fromkeys((*soil, *wet), np.nan)
    share = days / known.sum()  # missing days are taken as the mean of the others
    run = longest_run(compare(rate[:, None], ">=", numbers["model_rate"].value))

    def whole(series: FloatArray) -> float:
        told = ~np.isnan(series[:days])
        return (
            float(np.nansum(series[:days])) * days / told.sum() if told.sum() >= least else np.nan
        )

    return {
        "pressure": float(np.nansum(rate)) * share,
        "degree_days": float(np.nansum(np.maximum(mean - base_c, 0))) * share,
        "longest_run": float(np.max(run)),
        **{name: whole(series) for name, series in wet.items()},
    }


def _out_of_fold(
    weather: FloatArray, week: FloatArray, found: BoolArray, group: Any
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Chance of each row by a model of the other groups; share found among those, and by week."""
    from sklearn.linear_model import LogisticRegressionCV
    from sklearn.model_selection import GroupKFold
    from threadpoolctl import threadpool_limits  # scikit-learn's own dependency

    chance, base, calendar = np.full((3, len(found)), np.nan)
    for one in np.unique(group):
        out = group == one
        base[out] = found[~out].mean() if (~out).any() else np.nan
        chance[out] = base[out]
        alike = (week[out][:, None] == week[~out]).astype(float)
        # One row more, of the share in all weeks: a week seen seldom is not sure.
        calendar[out] = (alike @ found[~out] + base[out]) / (alike.sum(axis=1) + 1)
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
    return chance, base, calendar
