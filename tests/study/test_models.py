"""Chances against scikit-learn and by hand; a model that sees nothing ahead; local learning."""

from datetime import date

import numpy as np
import pandas as pd
import pytest
from sklearn.calibration import calibration_curve
from sklearn.metrics import brier_score_loss

from patchrisk.base.errors import InputError
from patchrisk.core.skill.chances import Belief, brier
from patchrisk.read.diseases import load_library
from patchrisk.study import fit_model, usual_terms

TODAY = date(2030, 1, 1)


def test_score_and_curve_are_those_of_scikit_learn():
    rng = np.random.default_rng(1)
    chance = rng.random(400).round(2)
    found = rng.random(400) < chance**1.5
    got = brier(chance, found)
    assert got.score == pytest.approx(brier_score_loss(found, chance))
    came, stated = calibration_curve(found, chance, n_bins=5)
    assert got.came == pytest.approx(came)
    assert got.stated == pytest.approx(stated)
    assert got.cases.sum() == 400


def test_the_parts_of_the_score_by_hand():
    """Ten cases told 0.1, of which 2 came; ten told 0.7, of which 6 came; 0.4 came in all."""
    chance = np.repeat([0.1, 0.7], 10)
    found = np.array([True] * 2 + [False] * 8 + [True] * 6 + [False] * 4)
    got = brier(chance, found)
    assert got.reliability == pytest.approx((0.1**2 + 0.1**2) / 2)
    assert got.resolution == pytest.approx((0.2**2 + 0.2**2) / 2)
    assert got.uncertainty == pytest.approx(0.4 * 0.6)
    assert got.within == pytest.approx(0, abs=1e-12)
    assert got.score == pytest.approx(0.01 - 0.04 + 0.24)


def invented(years=10, sites=5):
    """Sites whose disease comes after warm springs; a long series of weather, and what was seen."""
    rng = np.random.default_rng(4)
    day = pd.date_range("2001-01-01", f"{2000 + years}-12-31")
    frames, lines, warmth = [], ["place,disease,first_seen,looked,incidence"], {}
    for n in range(sites):
        spring = rng.normal(0, 3, years)
        shift = np.where(day.month.to_numpy() < 6, spring[day.year.to_numpy() - 2001], 0.0)
        turn = -np.cos(2 * np.pi * (day.day_of_year.to_numpy() - 20) / 365.25)
        mean = 12 + 11 * turn + shift + rng.normal(0, 1.5, len(day))
        frames.append(pd.DataFrame({"site": f"s{n}", "lat": 40.0, "lon": -80.0 - n, "date": day,
                                    "air_min_c": mean - 6, "air_max_c": mean + 6}))  # fmt: skip
        for year in range(2001, 2001 + years):
            there = rng.random() < 1 / (1 + np.exp(-1.2 * spring[year - 2001]))
            warmth[f"s{n}", year] = spring[year - 2001]
            seen = f"{year}-07-{rng.integers(1, 25):02d},," if there else f",{year}-08-20,not found"
            lines.append(f"s{n},summer patch,{seen}")
    return pd.concat(frames, ignore_index=True), "\n".join(lines) + "\n"


@pytest.fixture(scope="module")
def world(tmp_path_factory):
    table, text = invented()
    path = tmp_path_factory.mktemp("seen") / "seen.csv"
    path.write_text(text)
    return table, path


@pytest.fixture(scope="module")
def fitted(world):
    return fit_model(*world, "summer patch", today=TODAY)


def test_a_model_finds_what_is_there(fitted):
    model, climatology = fitted.scores["model"], fitted.scores["climatology"]
    assert model.score < 0.9 * climatology.score < fitted.scores["always"].score
    assert fitted.area > 0.7
    found, season = fitted.table["found"], fitted.table["season"]
    others = [found[season != one].mean() for one in season]
    assert climatology.score == pytest.approx(np.mean((others - found) ** 2))
    assert "rain" not in fitted.table
    assert (len(fitted.table), fitted.left_out) == (50, 0)


def test_the_landmark_is_the_least_lead_before_the_first_sight_of_all(world, fitted):
    first = pd.read_csv(world[1])["first_seen"].dropna().str[5:].min()  # none is of another season
    least = usual_terms(disease=load_library().diseases["summer-patch"]).least_lead
    assert least > 0
    assert (
        fitted.landmark == (pd.Timestamp(f"2010-{first}") - pd.Timestamp("2010-02-01")).days - least
    )


def test_nothing_after_the_landmark_moves_a_chance(world, fitted):
    table, path = world
    last = pd.Timestamp("2010-02-01") + pd.Timedelta(fitted.landmark, "D")
    hotter = np.where(table["date"] > last, 8.0, 0.0)  # in the last summer of all
    hot = table.assign(**{n: table[n] + hotter for n in ("air_min_c", "air_max_c")})
    again = fit_model(hot, path, "summer patch", today=TODAY)
    of_last = fitted.table["season"] == 2010
    assert of_last.sum() == 5
    # The modelled soil knows the mean of the whole record, and no more of what comes.
    apart = again.table.loc[of_last, "chance"] - fitted.table.loc[of_last, "chance"]
    assert apart.abs().max() < 0.003


def test_a_model_of_nothing_is_worth_nothing(world, tmp_path):
    table, path = world
    lines = path.read_text().splitlines()
    rng = np.random.default_rng(8)
    rest = [line.split(",", 2) for line in lines[1:]]
    order = rng.permutation(len(rest))
    mixed = []
    for (place, disease, own), n in zip(rest, order, strict=True):
        year = own.lstrip(",")[:4]
        other = rest[n][2]
        mixed.append(f"{place},{disease},{other.replace(other.lstrip(',')[:4], year, 1)}")
    shuffled = tmp_path / "seen.csv"
    shuffled.write_text("\n".join([lines[0], *mixed]) + "\n")
    got = fit_model(table, shuffled, "summer patch", leave_out="place", today=TODAY)
    assert got.scores["model"].score > 0.95 * got.scores["climatology"].score


def test_observations_of_one_kind_are_refused(world, tmp_path):
    path = tmp_path / "seen.csv"
    path.write_text("place,disease,first_seen\ns0,summer patch,2003-07-10\n")
    with pytest.raises(InputError, match="all of one kind"):
        fit_model(world[0], path, "summer patch", today=TODAY)


def test_the_chance_by_bayes_by_hand():
    """Disease in 3 of 10 seasons, told in 8 of 10 of those, falsely in 2 of 10 of the others."""
    belief = Belief.published(0.3, 0.8, 0.2, seasons=10)
    assert belief.chance(told=True) == pytest.approx(0.24 / (0.24 + 0.14))
    assert belief.chance(told=False) == pytest.approx(0.06 / (0.06 + 0.56))
    after = belief.learn(told=True, found=True)
    assert after.disease == pytest.approx((4, 7))
    assert after.told == pytest.approx((9, 2))
    assert after.false == belief.false


def learned(disease, hit, alarm, rng, *, honest, seasons=5):
    """Mean Brier score of later seasons at one site, published and after some seasons."""
    published = belief = Belief.published(0.5, 0.7, 0.3, seasons=6)
    for _ in range(seasons):
        found = rng.random() < disease
        told = rng.random() < (hit if found else alarm)
        belief = belief.learn(told=told, found=found if honest else bool(rng.random() < 0.5))

    def score(one):
        parts = [
            (disease if found else 1 - disease)
            * (rate if told else 1 - rate)
            * (one.chance(told=told) - found) ** 2
            for found, rate in ((True, hit), (False, alarm))
            for told in (True, False)
        ]
        return sum(parts)

    return score(published), score(belief)


def test_five_honest_seasons_beat_the_published_rule():
    """Sites differ in how often disease comes and how well the rule tells it."""
    rng = np.random.default_rng(2)
    scores = [learned(rng.beta(1.2, 1.2), rng.beta(4, 2), rng.beta(2, 4), rng, honest=True)
              for _ in range(3000)]  # fmt: skip
    published, after = np.mean(scores, axis=0)
    assert after < 0.93 * published


def test_seasons_noted_at_random_do_little_harm():
    """At sites that are as published, what is noted has nothing to do with what came."""
    rng = np.random.default_rng(3)
    scores = [learned(0.5, 0.7, 0.3, rng, honest=False) for _ in range(3000)]
    published, after = np.mean(scores, axis=0)
    assert after < 1.1 * published
    assert after < 0.25  # no worse than to know nothing
