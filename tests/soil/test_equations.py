"""The model's equations as its head states them, solved another way, and published radiation."""

import numpy as np
import pytest

from patchrisk.core.soil.air_to_soil import run_stores
from patchrisk.core.soil.inputs import Climate, Surface, extraterrestrial_radiation
from tests.soil.by_arrays import MODEL, estimate_soil, prepare, run_model

DAYS = np.arange("2019-03-01", "2019-07-01", dtype="datetime64[D]")
PLACE = Climate(*(np.array([x]) for x in (12.0, -9.0, -4.0, 0.75)))


@pytest.mark.parametrize(
    ("latitude", "day", "printed"),
    # FAO-56 (Allen et al. 1998), examples 8, 10 and 18: 20 degrees south on 3 September, Rio de
    # Janeiro at 22.90 south on 15 May, Brussels at 50.80 north on 6 July [MJ m-2 d-1]
    [(-20.0, 246, 32.2), (-22.9, 135, 25.1), (50.8, 187, 41.1)],
)
def test_radiation_at_the_top_of_the_atmosphere(latitude, day, printed):
    found = extraterrestrial_radiation(np.array([[float(day)]]), np.array([latitude]))
    assert found == pytest.approx(printed, abs=0.05)


def test_no_sun_in_the_polar_night_and_all_day_in_summer():
    # Closed form: with the sun up for 24 h the day's sum is 24 h of the mean elevation's sine.
    found = extraterrestrial_radiation(np.array([[355.0], [172.0]]), np.array([80.0]))
    assert found[0, 0] == pytest.approx(0.0, abs=1e-9)
    w = 2 * np.pi * 172 / 365
    mean_sine = np.sin(np.radians(80)) * np.sin(0.409 * np.sin(w - 1.39))
    assert found[1, 0] == pytest.approx(1440 * 0.0820 * (1 + 0.033 * np.cos(w)) * mean_sine)


def test_demand_of_the_air_for_water():
    # FAO-56, example 20: Lyon at 45.72 north in July, 14.8 to 26.6 degC, Ra 40.6: 5.0 mm/day.
    # Its sun follows from the range by eq. 50; 0.17 makes of 0.0135 the 0.0023 of eq. 52.
    day = np.arange("2019-07-15", "2019-07-16", dtype="datetime64[D]")
    sun = np.array([[0.17 * np.sqrt(26.6 - 14.8) * 40.6]])
    found = prepare(
        np.array([[14.8]]), np.array([[26.6]]), dates=day, latitude=45.72, solar_mj_m2=sun
    )
    assert found.demand_mm == pytest.approx(5.0, abs=0.05)
    assert sun / found.clearness == pytest.approx(40.6, abs=0.05)


def test_rain_turns_to_snow_on_a_straight_line_below_a_degree_and_a_half():
    air = np.array([[2.0], [1.5], [1.0], [0.0], [-0.5], [-3.0]])
    found = prepare(air - 4, air + 4, dates=DAYS[:6], latitude=45.0, rain_mm=np.full((6, 1), 8.0))
    assert found.snowfall_mm[:, 0] == pytest.approx([0.0, 0.0, 2.0, 6.0, 8.0, 8.0])


@pytest.mark.parametrize("air", [25.0, 12.0, -5.0])
def test_rain_and_sun_of_days_that_are_all_alike(air):
    # Of days with one range throughout, only the columns for range and warmth are left: the
    # file's weights by hand, range 16 degC, relative range 1.
    flat = np.full((90, 1), air)
    given = {"dates": DAYS[:90], "latitude": 40.0}
    found = prepare(flat - 8, flat + 8, **given)
    w = MODEL.rain_guess
    rain = np.exp(
        w[0] + w[3] * 0.4 + w[4] * 0.16 + w[5] * (air - 12) / 10 + w[6] * min(air, 0) / 10
    )
    assert found.rain_mm == pytest.approx(rain)
    w = MODEL.radiation_air_only
    assert found.clearness == pytest.approx(w[0] + 4 * w[1] + 16 * w[2] + w[3] + w[4])
    w = MODEL.radiation_with_rain
    wet = prepare(flat - 8, flat + 8, **given, rain_mm=np.full((90, 1), 3.0))
    dry = w[0] + 4 * w[1] + 16 * w[2] + w[3] + w[4]
    assert wet.clearness == pytest.approx(dry + w[5] + w[6] * np.log(4.0))
    assert wet.sun_mj == pytest.approx(
        wet.clearness * extraterrestrial_radiation(np.arange(60.0, 150)[:, None], np.array([40.0]))
    )


def test_sun_that_is_guessed_is_no_more_than_of_a_clear_day_high_up():
    # FAO-56 eq. 37: on a clear day 0.75 + 2e-5 z of what comes in on top, 0.8 at z = 2500 m.
    half = np.full((90, 1), 25.0)  # no such weather, but a file may hold it
    half[40] = 40.0
    given = {"dates": DAYS[:90], "latitude": 40.0, "rain_mm": np.zeros((90, 1))}
    found = prepare(20 - half, 20 + half, **given)
    assert found.clearness.max() == found.clearness[40, 0] == pytest.approx(0.75 + 2e-5 * 2500)


def test_the_narrower_the_days_range_the_more_rain_is_guessed_up_to_a_bound():
    half = np.full((60, 6), 6.0)
    half[40] = [6.0, 4.0, 2.0, 1.0, 0.5, 0.3]
    found = prepare(20 - half, 20 + half, dates=DAYS[:60], latitude=40.0).rain_mm[40]
    assert (np.diff(found) >= 0).all()
    assert found[0] < found[-1] <= 30.0
    half[:40] = 3.0
    assert prepare(20 - half, 20 + half, dates=DAYS[:60], latitude=40.0).rain_mm[40, -1] == 30.0


def spring(seed, lanes=1):
    """Weather of a spring, with snow now and then but no frost that reaches the soil."""
    rng = np.random.default_rng(seed)
    shape = (len(DAYS), lanes)
    air = 7 + 8 * np.sin(np.arange(len(DAYS)) / 25)[:, None] + rng.normal(0, 2, shape)
    half = rng.uniform(2, 8, shape)
    rain = rng.exponential(9, shape) * (rng.random(shape) < 0.4)
    rain[::17] = 55.0  # more than counts
    return air - half, air + half, rain, rng.uniform(3, 28, shape)


def by_equations(f, p, cover):
    """Equations (1) to (6) and (8) a day at a time, (5) and (6) as two linear equations."""
    e, q = f.demand_mm[:, 0], np.minimum(f.rain_mm[:, 0], 40)
    fed = f.rain_mm[:, 0] - f.snowfall_mm[:, 0]
    arid, sun = f.climate.aridity[0], f.sun_mj[:, 0] * (1 - cover.shade)
    if cover.irrigation:
        watered = cover.irrigation * e * (f.air_c[:, 0] > 8)
        q, fed, arid = q + watered, fed + watered, arid / (1 + cover.irrigation * arid)
    fade, fade7 = np.exp(-1 / 30), np.exp(-1 / 7)
    e30, q30, air7 = e[:30].mean(), q[:30].mean(), f.air_c[:30].mean()
    year = f.climate.mean_c[0]
    t1, t2 = (float(f.climate.normal_c(f.angle[:1], lag)[0, 0]) + 1.5 for lag in (5, 30))
    water, snow = 2.5, 0.0
    rows = []
    for n in range(len(e)):
        air = f.air_c[n, 0]
        e30, q30 = fade * e30 + (1 - fade) * e[n], fade * q30 + (1 - fade) * q[n]
        air7 = fade7 * air7 + (1 - fade7) * air
        dry = e30 / (e30 + q30 + 0.1) - 0.6
        snow += f.snowfall_mm[n, 0]
        melt = min(snow, p["melt"] * max(air, 0))
        snow -= melt
        water = min(5, (water + fed[n] + melt) / (1 + e[n] / 5))
        wet = water / 5
        surface = (
            air
            + p["offset"]
            + p["continental"] * (f.climate.swing_c[0] - 10)
            + p["clear_sky"] * f.clearness[n, 0]
            + p["evaporation"] * arid * e[n] * wet
            + sun[n]
            * (p["sun"] + p["sun_arid"] * (arid - 0.6) + p["sun_dry"] * dry + p["sun_wet"] * wet)
        )
        h = p["exchange"] * np.exp(
            p["exchange_arid"] * (arid - 0.6)
            + p["exchange_dry"] * (arid - 0.6) * dry
            + p["exchange_rain"] * min(f.rain_mm[n, 0], 20)
            + p["exchange_frost"] * min(air7, 0)
        )
        h /= 1 + snow / p["snow_scale"]
        k2, k4, c2 = p["deep_exchange"], p["restoring"], p["deep_capacity"]
        left = np.array([[1 + h + k2, -k2], [-k2, c2 + k2 + k4]])
        t1, t2 = np.linalg.solve(left, [t1 + h * surface, c2 * t2 + k4 * year])
        rows.append((t1, t2, snow, h * (surface - t1)))
    return np.array(rows)


@pytest.mark.parametrize("inputs", ["air_rain_solar", "air_rain"])
@pytest.mark.parametrize(("shade", "irrigation"), [(0.0, 0.0), (0.3, 0.7)])
def test_stores_follow_the_equations(inputs, shade, irrigation):
    cover = Surface(**MODEL.plot.__dict__ | {"shade": shade, "irrigation": irrigation})
    p = MODEL.parameters[inputs]
    for seed in range(3):
        low, high, rain, sun = spring(seed)
        force = prepare(
            low,
            high,
            dates=DAYS,
            latitude=43.0,
            rain_mm=rain,
            solar_mj_m2=sun if "solar" in inputs else None,
            climate=PLACE,
        )
        found = run_stores(force, p, cover)
        expected = by_equations(force, p, cover)
        assert expected[:, 2].max() > 1  # snow did lie
        assert expected[:, :2].min() > 0  # and nothing froze
        for column, got in enumerate((found.near_c, found.deep_c, found.snow_mm, found.flux_c)):
            assert got[:, 0] == pytest.approx(expected[:, column], abs=1e-9)


def test_frost_slows_or_speeds_the_exchange_by_the_weeks_air():
    # Equation (4) at one bare, frozen day: all else alike, the exchange of two weeks of past
    # frost differs by exp(hF Ta7). Here the flux is H (Teq - T1), so H is flux over difference.
    p = MODEL.parameters["air"].with_values(
        dict.fromkeys(("offset", "sun", "sun_dry", "sun_arid", "sun_wet", "evaporation",
                       "clear_sky", "continental", "exchange_arid", "exchange_rain",
                       "exchange_dry"), 0.0)
    )  # fmt: skip
    air = np.full((60, 1), -6.0)
    force = prepare(
        air - 1, air + 1, dates=DAYS[:60], latitude=43.0, rain_mm=0 * air, climate=PLACE
    )
    found = run_stores(force, p, MODEL.plot)
    exchange = found.flux_c / (force.air_c - found.near_c)
    assert exchange == pytest.approx(p["exchange"] * np.exp(p["exchange_frost"] * -6.0))


def test_error_of_a_start_a_gap_and_a_season():
    low, high = np.full(800, 8.0), np.full(800, 22.0)
    dates = np.arange("2018-01-01", "2020-03-11", dtype="datetime64[D]")
    given = {"dates": dates, "latitude": 40.0, "climate": PLACE}
    whole = estimate_soil(low, high, **given).sd_c ** 2
    # A stranger's variance, 3 degC squared, fades by half in 12 ln(2) / 2 days: the same day of
    # the next year is without it.
    late = np.arange(800 - 365)
    assert whole[: len(late)] - whole[365:] == pytest.approx(
        9 * np.exp(-late / 6) - 9 * np.exp(-(late + 365) / 6), abs=0.02
    )
    # Through a gap of n days it grows to 1 - exp(-n/5), and fades from there.
    low[500:510] = np.nan
    more = estimate_soil(low, high, **given).sd_c ** 2 - whole
    assert np.nan_to_num(more[:510]) == pytest.approx(0.0, abs=1e-9)
    left = 9 * (1 - np.exp(-10 / 5)) * np.exp(-np.arange(1, 291) / 6)
    assert more[510:] == pytest.approx(left, abs=1e-9)


def test_error_varies_with_the_season_the_other_way_in_the_south():
    p = MODEL.parameters["air"]
    e = p.error_model
    flat = np.full(1000, 12.0)
    dates = np.arange("2018-01-01", "2020-09-27", dtype="datetime64[D]")
    angle = 2 * np.pi / 365.25 * ((dates - dates.astype("datetime64[Y]")).astype(int) + 1)
    for latitude, half in ((40.0, 1), (-40.0, -1)):
        got = estimate_soil(flat - 6, flat + 6, dates=dates, latitude=latitude, climate=PLACE)
        log = e["level"] + e["arid"] * (0.75 - 0.6)
        log = log + half * (e["cos"] * np.cos(angle) + e["sin"] * np.sin(angle))
        assert 2 * np.log(got.sd_c[200:]) == pytest.approx(log[200:], abs=1e-9)


def test_the_days_extremes_stand_about_the_mean_by_the_surfaces_skew():
    low, high, rain, sun = spring(4)
    cover = MODEL.plot
    run = run_model(low, high, dates=DAYS, latitude=43.0, rain_mm=rain, solar_mj_m2=sun)
    got = run.at(8.0)
    half = (cover.by_range * (high - low) / 2 + cover.by_sun * sun) * np.exp(
        -8.0 / cover.damping_cm
    )
    half = half / (1 + run.stores.snow_mm / MODEL.parameters["air_rain_solar"]["snow_scale"])
    assert (got.max_c - got.mean_c) == pytest.approx((1 + cover.skew) * half)
    assert (got.mean_c - got.min_c) == pytest.approx((1 - cover.skew) * half)


def test_a_sites_own_season_is_added_to_the_mean():
    low, high, rain, sun = (a[:, 0] for a in spring(5))
    own = {"shift": 0.4, "cos_1": 1.1, "sin_1": -0.7, "cos_2": 0.3, "sin_2": 0.2}
    given = {"dates": DAYS, "latitude": 43.0, "rain_mm": rain, "solar_mj_m2": sun}
    plain = estimate_soil(low, high, **given)
    p = MODEL.parameters["air_rain_solar"]
    moved = estimate_soil(low, high, **given, model=MODEL.with_parameters(p.with_values(own)))
    a = 2 * np.pi / 365.25 * (np.arange(len(DAYS)) + 31 + 28 + 1)  # 1 March is day 60
    wave = 0.4 + 1.1 * np.cos(a) - 0.7 * np.sin(a) + 0.3 * np.cos(2 * a) + 0.2 * np.sin(2 * a)
    assert moved.mean_c - plain.mean_c == pytest.approx(wave)
