"""Learning from a logger: shrinks to the general model, approaches the truth, refuses rubbish."""

import numpy as np
import pytest

from patchrisk.base.errors import InputError
from patchrisk.core.soil.air_to_soil import run_stores, season_correction
from patchrisk.core.soil.calibration import (
    compare_by_season,
    from_fit,
    level_after,
    persistence_after,
    posterior,
    repeat_lanes,
    response,
    to_fit,
)
from patchrisk.read.soil import fit_text, parse_fit
from tests.soil.by_arrays import MODEL, calibrate, estimate_soil, prepare

DAYS = np.arange("2018-01-01", "2021-07-01", dtype="datetime64[D]")
RNG = np.random.default_rng(3)
N = np.arange(len(DAYS))
AIR = (
    12
    - 11 * np.cos(2 * np.pi * (N - 15) / 365.25)
    + np.convolve(RNG.normal(0, 4, len(N) + 4), np.ones(5) / 2.2, "valid")
)
LOW, HIGH = AIR - RNG.uniform(3, 8, len(N)), AIR + RNG.uniform(3, 8, len(N))
RAIN = RNG.exponential(8, len(N)) * (RNG.random(len(N)) < 0.3)
TRUTH = {"offset": 2.6, "exchange": 0.30, "clear_sky": -10.5, "sin_1": -0.5}
PLACE = {"dates": DAYS, "latitude": 40.0, "rain_mm": RAIN}


def logged(noise=0.3, seed=4):
    own = MODEL.parameters["air_rain"].with_values(TRUTH)
    soil = estimate_soil(LOW, HIGH, **PLACE, model=MODEL.with_parameters(own)).mean_c
    return soil + np.random.default_rng(seed).normal(0, noise, len(soil))


LOG = logged()


def only(days, first=500):
    log = np.full(len(DAYS), np.nan)
    log[first : first + days] = LOG[first : first + days]
    return log


def fit(log, **more):
    return calibrate(LOW, HIGH, log, **PLACE, today="2021-07-01", **more)


def test_without_a_log_nothing_moves():
    force = prepare(LOW[:, None], HIGH[:, None], dates=DAYS, latitude=40.0, rain_mm=RAIN[:, None])
    start = MODEL.parameters["air_rain"]
    same = posterior(force, np.full((len(DAYS), 1), np.nan), 5.0, MODEL)
    for name in MODEL.prior.names:
        assert same[name] == pytest.approx(start[name], rel=1e-9, abs=1e-9)


def test_the_fit_is_the_best_of_errors_and_distance_from_the_general_numbers():
    # Brute force: the sum of squares written out, at the fit and a step away along each number.
    force = prepare(LOW[:, None], HIGH[:, None], dates=DAYS, latitude=40.0, rain_mm=RAIN[:, None])
    start, prior, log = MODEL.parameters["air_rain"], MODEL.prior, only(365)[:, None]
    found = to_fit(posterior(force, log, 5.0, MODEL), prior.names)
    centre = to_fit(start, prior.names)
    steps = 0.2 * np.diag(np.sqrt(np.diag(prior.covariance)))
    tried = np.column_stack([found, centre, found[:, None] + steps, found[:, None] - steps])
    many, p = repeat_lanes(force, tried.shape[1]), from_fit(start, prior.names, tried)
    mean = run_stores(many, p, MODEL.plot).at(5.0, p) + season_correction(many, p)
    errors = np.nansum((mean - log) ** 2, axis=0) / MODEL.calibration["day_variance"]
    apart = tried - centre[:, None]
    best, general_, *others = errors + np.sum(apart * np.linalg.solve(prior.covariance, apart), 0)
    assert best < 0.5 * general_
    assert best < min(others)


def test_response_to_a_number_is_its_own_in_every_lane_and_depth():
    names, depths = ("exchange", "shift", "cos_2"), (5.0, 20.0)
    both = [np.stack([a, np.roll(a, 30)], axis=1) for a in (LOW, HIGH, RAIN)]
    forces = [
        prepare(low, high, dates=DAYS, latitude=40.0, rain_mm=rain)
        for low, high, rain in (both, *([a[:, [k]] for a in both] for k in (0, 1)))
    ]
    p = MODEL.parameters["air_rain"]
    (mean, slope), *alone = (response(force, p, names, depths, MODEL.plot) for force in forces)
    assert mean.shape == (2, len(DAYS), 2)
    for lane, (one_mean, one_slope) in enumerate(alone):
        assert mean[..., [lane]] == pytest.approx(one_mean, abs=1e-9)
        assert slope[..., [lane]] == pytest.approx(one_slope, abs=1e-6)
    # Closed form: a shift moves every day by itself, a season by its wave; an exchange that is
    # fitted as its logarithm, by a difference of two runs.
    assert slope[1] == pytest.approx(np.ones_like(mean), abs=1e-9)
    wave = np.broadcast_to(np.cos(2 * forces[0].angle), mean.shape)
    assert slope[2] == pytest.approx(wave, abs=1e-9)
    more, less = (
        estimate_soil(
            LOW, HIGH, **PLACE, model=MODEL.with_parameters(p.with_values({"exchange": value}))
        ).mean_c
        for value in (p["exchange"] * np.exp(0.04), p["exchange"] * np.exp(-0.04))
    )
    assert slope[0, 0, :, 0] == pytest.approx((more - less) / 0.08, abs=1e-6)


def test_what_a_log_takes_from_the_error_is_halfway_at_the_days_to_half():
    file = MODEL
    half = int(file.calibration["days_to_half"])
    assert level_after(half, MODEL) == pytest.approx(file.calibration["level_after_years"] / 2)
    assert persistence_after(0, MODEL) == pytest.approx(dict(file.persistence))
    before, after = file.persistence, persistence_after(half, MODEL)
    fast = (before["fast_share"] + file.calibration["fast_share_after"]) / 2
    assert after["fast_share"] == pytest.approx(fast)
    # What is left is shared between slow and lasting as before.
    lasting = [1 - p["fast_share"] - p["slow_share"] for p in (before, after)]
    assert after["slow_share"] / lasting[1] == pytest.approx(before["slow_share"] / lasting[0])


def test_more_days_come_nearer_to_the_truth():
    later = slice(1000, None)
    errors = []
    general_ = estimate_soil(LOW, HIGH, **PLACE).mean_c
    for days in (40, 365):
        site = fit(only(days, 500 if days == 40 else 600))
        got = estimate_soil(LOW, HIGH, **PLACE, model=site.applied_to(MODEL)).mean_c
        errors.append(np.sqrt(np.mean((got - logged(0.0))[later] ** 2)))
    errors.insert(0, np.sqrt(np.mean((general_ - logged(0.0))[later] ** 2)))
    assert errors[2] < errors[1] < errors[0]
    assert errors[2] < errors[0] / 2


def test_a_month_moves_less_than_a_year():
    start = MODEL.parameters["air_rain"]
    sd = dict(zip(MODEL.prior.names, np.sqrt(np.diag(MODEL.prior.covariance)),
                  strict=True))  # fmt: skip

    def distance(site):
        return sum(((site.values[n] - start[n]) / sd[n]) ** 2 for n in ("offset", "clear_sky"))

    month, year = fit(only(30)), fit(only(365))
    assert 0 < distance(month) < distance(year)
    assert year.days == 365
    assert level_after(365, MODEL) < level_after(30, MODEL) < 0


def test_fit_tells_what_it_rests_on_and_survives_its_file():
    site = fit(only(365))
    assert (site.first_day, site.last_day) == (str(DAYS[500]), str(DAYS[864]))
    assert site.error_after_c < site.error_before_c
    assert abs(site.bias_after_c) < abs(site.bias_before_c)
    again = parse_fit(fit_text(site).encode(), "fit")
    assert again.days == site.days
    one = estimate_soil(LOW, HIGH, **PLACE, model=site.applied_to(MODEL))
    two = estimate_soil(LOW, HIGH, **PLACE, model=again.applied_to(MODEL))
    assert two.mean_c == pytest.approx(one.mean_c, abs=1e-3)
    assert two.sd_c == pytest.approx(one.sd_c, abs=1e-6)
    assert one.sd_c[800] < estimate_soil(LOW, HIGH, **PLACE).sd_c[800]


def test_a_spoilt_fit_is_refused_with_every_fault():
    text = fit_text(fit(only(60)))
    spoilt = text.replace("days = 60", "days = 'sixty'").replace("exchange =", "exchange = -1 #", 1)
    spoilt = spoilt.replace("depth_cm = 5.0", "deep_cm = 5.0")
    with pytest.raises(InputError) as caught:
        parse_fit(spoilt.encode(), "greens.toml")
    told = str(caught.value)
    for word in ("days", "parameter, exchange", "deep_cm", "depth_cm", "greens.toml"):
        assert word in told
    with pytest.raises(InputError, match="not TOML"):
        parse_fit(b"= 3", "fit")


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"log": only(29)}, "29 days"),
        ({"log": np.where(np.isfinite(only(90)), 14.0, np.nan)}, "varies by only"),
        ({"log": 0.45 * (LOW + HIGH) + 1.0}, "as a probe in a pot does"),
        ({"log": np.where(N % 3 == 2, np.nan, 0.45 * (LOW + HIGH) + 1.0)}, "as a probe in a pot"),
        ({"air_f": True}, "degF"),
        ({"log": only(90) * 1.8 + 32}, "degF"),
        # By degF of winter, under 60, the means alone are too far apart.
        ({"air_f": True, "log": only(40, 735)}, "^air temperature: air and soil means .* degF"),
        ({"log": only(40, 735) * 1.8 + 32}, "^probe.csv: air and soil means .* degF"),
        ({"log": np.where(N == 520, 61.0, only(120))}, "degF"),
        ({"station_distance_km": 300.0}, "300 km away"),
        ({"station_height_m": 800.0}, "800 m above the site"),
        ({"station_height_m": -800.0}, "800 m below the site"),
        ({"logged_range_c": 1.4 * (HIGH - LOW)}, "as of a probe in the open"),
        ({"log": np.roll(LOG, 120)}, "off after fitting"),
    ],
    ids=[
        "few",
        "still",
        "pot",
        "pot with gaps",
        "air degF",
        "soil degF",
        "winter air degF",
        "winter soil degF",
        "one hot day",
        "far",
        "high",
        "low",
        "open",
        "shifted",
    ],
)
def test_rubbish_is_refused(change, told):
    low, high = LOW, HIGH
    log = change.pop("log", only(120))
    if change.pop("air_f", False):
        low, high = low * 1.8 + 32, high * 1.8 + 32
    with pytest.raises(InputError, match=told):
        calibrate(low, high, log, **PLACE, today="2021-07-01", source="probe.csv", **change)


def test_faults_of_the_station_are_told_together():
    with pytest.raises(InputError) as caught:
        fit(only(10), station_distance_km=300, station_height_m=800)
    assert len(caught.value.faults) == 3


def test_seasons_of_both_hemispheres():
    days = np.arange("2021-01-01", "2022-01-01", dtype="datetime64[D]")
    month = days.astype("datetime64[M]").astype(int) % 12 + 1
    log = np.zeros(365)
    off = np.where(np.isin(month, (12, 1, 2)), 2.0, -1.0)
    north = {r.season: r for r in compare_by_season(days, off, log, 45.0)}
    assert north["winter"].bias_c == pytest.approx(2.0)
    assert north["winter"].days == 90
    assert north["summer"].error_c == pytest.approx(1.0)
    assert north["year"].days == 365
    south = {r.season: r for r in compare_by_season(days, off, log, -45.0)}
    assert south["summer"].bias_c == pytest.approx(2.0)
    log[month < 12] = np.nan
    assert [r.season for r in compare_by_season(days, off, log, 45.0)] == ["winter", "year"]
