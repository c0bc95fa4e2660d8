"""Chances against scikit-learn and by hand; a model that sees nothing ahead; local learning."""

from datetime import date

import numpy as np
import pandas as pd
import pytest
from sklearn.calibration import calibration_curve
from sklearn.linear_model import LogisticRegression
from sklearn.metrics import brier_score_loss
from sklearn.preprocessing import SplineTransformer

from patchrisk.base.errors import InputError
from patchrisk.core.skill.measures import RATIOS, Belief, brier, expected_cost
from patchrisk.read.diseases import load_library
from patchrisk.study import fit_model, usual_terms
from patchrisk.study.findings import model_words, names_of
from patchrisk.study.models import fit_models, model_tables

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


def test_rain_and_soil_moisture_are_summed_where_they_are_given(world, fitted):
    table, seen = world
    wet = fit_model(table.assign(rain_mm=2.0, soil_moisture=0.25), seen, "summer patch",
                    today=TODAY).table  # fmt: skip
    days = fitted.landmark + 1
    assert wet["rain"].to_numpy() == pytest.approx(2.0 * days)
    assert wet["moisture"].to_numpy() == pytest.approx(0.25 * days)
    assert "moisture" not in fitted.table


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


def test_the_cost_of_acting_by_hand_and_its_law():
    """Acting on two of four at a ratio of 0.25: one right, one wrong, one missed."""
    chance, found = np.array([0.5, 0.3, 0.1, 0.0]), np.array([True, False, True, False])
    cost, benefit = expected_cost(chance, found, 0.25)
    assert cost == pytest.approx(0.25 * 2 / 4 + 1 / 4)
    assert benefit == pytest.approx(1 / 4 - 1 / 4 / 3)
    rng = np.random.default_rng(5)
    chance, found = rng.random(200), rng.random(200) < 0.3
    for ratio in RATIOS:
        cost, benefit = expected_cost(chance, found, ratio)
        assert cost == pytest.approx(found.mean() - (1 - ratio) * benefit)
        assert expected_cost(np.ones(200), found, ratio)[0] == pytest.approx(ratio)
        assert expected_cost(np.zeros(200), found, ratio)[0] == pytest.approx(found.mean())


@pytest.fixture(scope="module")
def by_week(world):
    return fit_model(*world, "summer patch", form="week", today=TODAY)


def test_weeks_end_with_the_sight_or_the_last_look(world, by_week):
    table, text = by_week.table, world[1].read_text().splitlines()[1:]
    cases = table.groupby(["place", "season"])
    assert len(cases) == 50
    for line in text:
        place, _, seen, looked, _ = line.split(",")
        day = pd.Timestamp(seen or looked)
        rows = cases.get_group((place, day.year))
        offset = (day - pd.Timestamp(day.year, 2, 1)).days  # 1 February: the disease's file
        assert rows["week"].tolist() == list(range(len(rows)))
        assert len(rows) == offset // 7 + bool(seen)
        assert rows["found"].tolist() == [False] * (len(rows) - 1) + [bool(seen)]
    # What a week is told of is the weather before it: it grows, and begins at nothing.
    assert (table.loc[table["week"] == 0, ["pressure", "degree_days"]] == 0).all(axis=None)
    assert (cases["degree_days"].diff().dropna() >= 0).all()


def test_a_survival_model_beats_the_calendar_where_weather_decides(by_week):
    scores = by_week.scores
    assert scores["model"].score < scores["calendar"].score < scores["climatology"].score
    assert by_week.area > 0.8
    found, week, season = (by_week.table[n].to_numpy() for n in ("found", "week", "season"))
    stated = np.empty(len(found))
    for n in range(len(found)):  # the share in the same week of the other seasons, eased
        others = season != season[n]
        alike = found[others & (week == week[n])]
        stated[n] = (alike.sum() + found[others].mean()) / (len(alike) + 1)
    assert scores["calendar"].score == pytest.approx(np.mean((stated - found) ** 2))


def test_hazards_are_those_of_scikit_learn_fitted_alone(by_week):
    """A season left out by hand: the same rows, scaled, by LogisticRegression of the penalty."""
    table = by_week.table
    out = (table["season"] == 2003).to_numpy()
    names = ["pressure", "degree_days", "longest_run"]
    course = SplineTransformer(10, include_bias=False).fit_transform(table[["week"]].to_numpy())
    x = np.hstack([table[names].to_numpy(float), course])
    x = (x - x[~out].mean(axis=0)) / x[~out].std(axis=0)
    apart = []
    for c in np.logspace(-3, 2, 6):
        one = LogisticRegression(C=c, max_iter=1000).fit(x[~out], table["found"][~out])
        apart.append(np.abs(one.predict_proba(x[out])[:, 1] - table["chance"][out]).max())
    assert sorted(apart)[0] < 0.01 < 0.1 < sorted(apart)[1]  # but for where the solver stops


def test_the_tables_and_words_of_models(fitted, by_week):
    tables = model_tables([fitted, by_week])
    assert list(tables) == ["models", "model_calibration", "model_decisions"]
    assert set(tables["models"]["name"]) == {"model", "climatology", "calendar", "always", "never"}
    parts = tables["models"]
    total = parts["reliability"] - parts["resolution"] + parts["uncertainty"] + parts["within"]
    np.testing.assert_allclose(parts["score"], total)
    lines = list(model_words(tables, {"summer-patch": names_of(load_library(), "summer-patch",
                                                               "metric")}))  # fmt: skip
    text = "\n".join(lines)
    assert text.count("## Summer patch: chance ") == 2
    assert "better than the best baseline on seasons that it had not seen" in text
    assert "50 cases" in text


def test_two_blocks_are_too_few_to_leave_one_out(tmp_path):
    """Three sites from 80 to 82 degrees west lie in two blocks of five degrees."""
    table, text = invented(years=4, sites=3)
    (tmp_path / "seen.csv").write_text(text)
    skills, faults = fit_models(
        table, tmp_path / "seen.csv", ["summer patch", "dead spot"], today=TODAY
    )
    fitted = [(one.form, one.leave_out) for one in skills]
    assert fitted == [(f, out) for f in ("season", "week") for out in ("season", "place")]
    said = list(map(str, faults))
    assert any("left out by block: 2 in all" in line for line in said)
    assert any("dead-spot" in line for line in said)


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
