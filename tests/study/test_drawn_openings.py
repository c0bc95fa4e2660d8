"""Draws of the soil model's error: as it was fitted, of site and year, and in the dates."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from patchrisk.base.errors import InputError
from patchrisk.core.dates.forecast_error import KnownErrors, condition_error, error_courses
from patchrisk.core.skill.openings import opening_days, seasons_of
from patchrisk.site_day.area_soil import error_covariance
from patchrisk.study import backtest
from patchrisk.study.plan import plan_backtest
from patchrisk.study.soil import CAME_FROM, site_soils
from patchrisk.study.sources import open_source

MEMORY = error_covariance()
DAYS = np.arange(np.datetime64("2001-03-01"), np.datetime64("2003-04-01"))
FEW = ["summer-patch", "take-all-patch"]


def courses(draws, signs=None, dates=DAYS, sites=("a",), seed=1):
    signs = np.zeros((2, len(dates), len(sites))) if signs is None else signs
    return error_courses(MEMORY, dates, signs, sites, draws, seed)


def test_their_covariance_is_that_of_the_outlook():
    """Against the matrix that `condition_error` draws a season from, with nothing known."""
    rng = np.random.default_rng(3)
    signs = rng.normal(0, 4, (2, len(DAYS), 1))
    drawn = courses(3000, signs)[:, 0]
    some = np.array([0, 1, 3, 30, 180, 200, 365, 366, 700])
    none = KnownErrors(np.empty(0), np.empty((0, 1)), np.empty(0, bool), np.empty((0, 2)))
    wanted = condition_error(MEMORY, some.astype(float), signs[:, some, 0].T, none)
    wanted = wanted.root @ wanted.root.T
    got = drawn[some] @ drawn[some].T / drawn.shape[1]
    # Standard error of a covariance of normal numbers: sqrt((c_ij^2 + c_ii c_jj) / n)
    size = np.diag(wanted)
    error = np.sqrt((wanted**2 + np.outer(size, size)) / drawn.shape[1])
    assert np.abs((got - wanted) / error).max() < 4
    assert np.abs(drawn[some].mean(axis=1)).max() < 4 * np.sqrt(size.max() / drawn.shape[1])


def test_a_course_hangs_on_its_site_its_year_and_the_seed_alone():
    both = courses(9, sites=("a", "b"))
    np.testing.assert_array_equal(both[:, :1], courses(9))
    np.testing.assert_array_equal(both[:, 1:, :4], courses(4, sites=("b",)))
    assert abs(np.corrcoef(both[:, 0].ravel(), both[:, 1].ravel())[0, 1]) < 0.5
    assert not np.array_equal(courses(9), courses(9, seed=2))
    # A record that begins a year sooner is the same but for what is remembered of its start.
    longer = np.arange(np.datetime64("1991-01-01"), DAYS[-1] + 1)
    apart = courses(400, dates=longer)[-100:] - courses(400)[-100:]
    fast = MEMORY.fast + MEMORY.slow
    assert apart.std() < np.sqrt(2 * MEMORY.long)
    assert fast > 0.4


@pytest.fixture(scope="module")
def ground(table):
    block = open_source(table, {}, offline=True).parts[0]()
    for air in (block.air_min_c, block.air_max_c):
        air[500:506] = np.nan  # a gap short enough for a line; that of conftest is too long
    plan = plan_backtest(diseases=FEW, soil="modelled", draws=9)
    rules = [rule for _, rule in plan.rules]
    return block, plan, list(site_soils(block, rules, "modelled", doubt=True))


def test_openings_alone_are_those_of_the_whole_row(ground):
    _, plan, soils = ground
    for one in soils:
        given = {"southern": one.southern, "settings": plan.settings}
        whole = seasons_of(plan.rules, one.soil, responses={}, **given)
        for found, opened in zip(whole, opening_days(plan.rules, one.soil, **given), strict=True):
            np.testing.assert_array_equal(opened, found.opened)


def test_quantiles_are_those_of_draws_judged_one_at_a_time(ground):
    """Nine draws, in order: the first, the fifth and the ninth opening, no opening being last."""
    block, plan, soils = ground
    (north,) = (one for one in soils if not one.southern)
    table, _ = plan.tables(block)
    wanted = []
    site = block.sites.index("upland")
    lane = int(np.flatnonzero(north.lanes == site)[0])
    own = slice(int(block.first[site]), int(block.last[site]) + 1)
    dates = north.soil.dates[own]
    error = error_courses(
        MEMORY, dates, north.doubt.signs[:, own, lane : lane + 1], ["upland"], 9, plan.seed
    )[:, 0]
    for draw in range(9):
        off = (error[:, draw] * north.doubt.sd_c[own, lane])[:, None]
        filled = {}
        for kind in ("mean_c", "max_c"):
            filled[kind] = {}
            for depth, value in getattr(north.soil, kind).items():
                line = pd.Series(value[own, lane])
                line[499:507] = line[499:507].interpolate()
                filled[kind][depth] = line.to_numpy()[:, None] + off
        soil = replace(north.soil, dates=dates, **filled)
        found = seasons_of(plan.rules, soil, southern=False, settings=plan.settings, responses={})
        wanted.append([one.opened[:, 0] for one in found])
    for n, (key, rule) in enumerate(plan.rules):
        mine = table[(table["site"] == "upland") & (table["rule"] == rule.id)]
        mine = mine[mine["disease"] == key]
        draws = np.sort(np.stack([one[n] for one in wanted]), axis=0)
        draws = draws[:, np.isin(found[n].year, mine["season"])]
        spanned = (mine["dating"] != "not spanned").to_numpy()
        for place, name in ((0, "opened_p10"), (4, "opened_p50"), (8, "opened_p90")):
            got = mine[name].to_numpy("M8[D]")
            np.testing.assert_array_equal(got[spanned], draws[place][spanned])
            assert np.isnat(got[~spanned]).all()
        share = (~np.isnat(draws)).mean(axis=0)
        np.testing.assert_allclose(mine["opened_share"][spanned], share[spanned], atol=1e-3)


def test_without_draws_and_of_measured_soil_nothing_is_drawn(table):
    with_draws = backtest(table, diseases=FEW, soil="both")
    assert with_draws.metadata["options"]["draws"] == 9
    assert with_draws.metadata["options"]["seed"] == 1
    seasons = with_draws.seasons
    modelled = seasons["soil"] == "modelled"
    assert seasons.loc[modelled, "opened_p50"].notna().mean() > 0.5
    assert seasons.loc[~modelled, "opened_share"].isna().all()
    ordered = seasons.dropna(subset="opened_p90")
    assert (ordered["opened_p10"] <= ordered["opened_p50"]).all()
    assert (ordered["opened_p50"] <= ordered["opened_p90"]).all()
    none = backtest(table, diseases=FEW, soil="both", draws=0).seasons
    names = [n for n in none if n not in ("opened_p10", "opened_p50", "opened_p90", "opened_share")]
    pd.testing.assert_frame_equal(seasons[names], none[names])
    assert none["opened_share"].isna().all()
    with pytest.raises(InputError, match="--draws: 4 draws: write 0 for none, or 9 or more"):
        backtest(table, diseases=FEW, draws=4)


def test_a_maximum_made_of_a_mean_is_not_called_measured(table):
    found = backtest(table, diseases=FEW, soil="measured", draws=0)
    of_maximum = {r["id"] for r in found.metadata["rules"] if "maximum" in r["statistic"]}
    assert of_maximum
    seasons = found.seasons
    mixed = seasons["rule"].isin(of_maximum)
    assert set(seasons.loc[mixed, "soil"]) == {"mixed"}
    assert set(seasons.loc[~mixed, "soil"]) == {"measured"}
    assert set(found.verdicts["soil"]) <= set(CAME_FROM)
