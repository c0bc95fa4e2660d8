"""What any model of soil temperature must do, and rows of a real winter."""

from functools import partial

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from patchrisk.base.errors import InputError
from patchrisk.base.toml_files import load_numbers
from patchrisk.core.soil import inputs
from patchrisk.core.soil.air_to_soil import Stores, run_stores
from patchrisk.core.soil.inputs import Climate, Surface, bridge
from patchrisk.read.soil import station_plot, surface_of
from tests.soil.by_arrays import MODEL, estimate_soil, prepare, run_model

climate_of = partial(inputs.climate_of, model=MODEL)

YEARS = np.arange("2018-01-01", "2021-01-01", dtype="datetime64[D]")


def weather(mean=11.0, swing=12.0, days=YEARS, seed=1, rainy=True):
    rng = np.random.default_rng(seed)
    n = np.arange(len(days))
    air = mean - swing * np.cos(2 * np.pi * (n - 15) / 365.25) + rng.normal(0, 3, len(n))
    span = rng.uniform(5, 16, len(n))
    rain = rng.exponential(8, len(n)) * (rng.random(len(n)) < 0.3) if rainy else None
    return air - span / 2, air + span / 2, rain


def estimate(**given):
    low, high, rain = weather()
    whole = {"dates": YEARS, "latitude": 41.0, "rain_mm": rain} | given
    return estimate_soil(low, high, **whole)


def plain(**changed):
    """Parameters without radiation, wetness or season: air exchange and storage alone."""
    p = MODEL.parameters["air"]
    none = dict.fromkeys(
        ("offset", "sun", "sun_dry", "sun_arid", "sun_wet", "evaporation", "clear_sky",
         "continental", "exchange_arid", "exchange_rain", "exchange_frost", "exchange_dry",
         "flux_5", "flux_10", "flux_20"), 0.0)  # fmt: skip
    return p.with_values(none | changed)


def constant(level, days=900):
    dates = YEARS[:days]
    c = Climate(*(np.array([x]) for x in (level, 0.0, 0.0, 0.6)))
    return {
        "air_min_c": np.full(len(dates), level - 5.0),
        "air_max_c": np.full(len(dates), level + 5.0),
        "dates": dates,
        "latitude": 0.0,
        "climate": c,
    }


def test_constant_air_gives_that_constant_and_the_offset():
    got = estimate_soil(**constant(15.0), model=MODEL.with_parameters(plain()))
    assert got.mean_c[600:] == pytest.approx(15.0, abs=1e-6)
    # Of an offset at the surface, all comes through but what the restoring store takes.
    p = plain(offset=2.0)
    got = estimate_soil(**constant(15.0), model=MODEL.with_parameters(p))
    h, k2, k4 = p["exchange"], p["deep_exchange"], p["restoring"]
    series = 1 / (1 / k2 + 1 / k4)
    assert got.mean_c[-1] == pytest.approx(15.0 + 2.0 * h / (h + series), abs=1e-6)


def test_depth_zero_is_the_surface_and_great_depth_the_year():
    # With an exchange that knows no resistance the store is the equilibrium surface itself;
    # where only the restoring acts, the deep store is the year's mean.
    low, high, _ = weather()
    shallow = run_stores(
        prepare(low[:, None], high[:, None], dates=YEARS, latitude=41.0),
        plain(exchange=1e9),
        MODEL.plot,
    )
    middle = 0.5 * (low + high)
    warm = np.minimum(middle, np.r_[middle[0], middle[:-1]]) > 0  # no ice today or yesterday
    assert shallow.near_c[warm, 0] == pytest.approx(middle[warm], abs=1e-5)
    p = plain(deep_exchange=1e-9, restoring=5.0)
    force = prepare(low[:, None], high[:, None], dates=YEARS, latitude=41.0)
    deep = run_stores(force, p, MODEL.plot).deep_c
    assert deep[100:] == pytest.approx(float(force.climate.mean_c[0]), abs=1e-5)


def annual(series):
    """Amplitude and day of the maximum of the annual wave."""
    angle = 2 * np.pi * np.arange(len(series)) / 365.25
    a, b = 2 * np.mean(series * np.cos(angle)), 2 * np.mean(series * np.sin(angle))
    return np.hypot(a, b), np.arctan2(b, a) % (2 * np.pi) / (2 * np.pi) * 365.25


@pytest.mark.parametrize("inputs", ["air", "air_rain"])
def test_deeper_is_damped_and_late(inputs):
    low, high, rain = weather()
    rain = rain if inputs == "air_rain" else None
    year = slice(365, 365 + 365)
    waves = []
    daily = []
    for depth in (2.0, 5.0, 10.0, 20.0):
        got = estimate_soil(low, high, dates=YEARS, latitude=41.0, rain_mm=rain, depth_cm=depth)
        waves.append(annual(got.mean_c[year]))
        daily.append((got.max_c - got.min_c)[year].mean())
    amplitude, day = zip(*waves, strict=True)
    assert list(amplitude) == sorted(amplitude, reverse=True)
    assert list(day) == sorted(day)
    assert daily == sorted(daily, reverse=True)


@given(st.lists(st.floats(-30, 30), min_size=30, max_size=60), st.floats(0.01, 3.0))
@settings(max_examples=50)
def test_never_leaves_the_range_of_what_drives_it(air, exchange):
    air = np.array(air)
    c = Climate(*(np.array([x]) for x in (10.0, 0.0, 0.0, 0.6)))
    got = estimate_soil(
        air - 3, air + 3, dates=YEARS[: len(air)], latitude=40.0, climate=c,
        model=MODEL.with_parameters(plain(exchange=exchange, deep_10=0.0)),
    ).mean_c  # fmt: skip
    # the stores start at the climate plus 1.5
    assert got.min() >= min(air.min(), 10.0) - 1e-9
    assert got.max() <= max(air.max(), 11.5) + 1e-9


@given(st.floats(0, 60), st.floats(0.5, 60), st.floats(-25, 25))
@settings(max_examples=50)
def test_more_snow_never_makes_a_larger_step(depth, more, air):
    def moved(snow_cm):
        c = Climate(*(np.array([x]) for x in (8.0, 0.0, 0.0, 0.6)))
        low, high = np.full(2, air - 4), np.full(2, air + 4)
        got = estimate_soil(
            low, high, dates=YEARS[:2], latitude=45.0, climate=c,
            snow_depth_cm=np.full(2, snow_cm),
            model=MODEL.with_parameters(plain(deep_exchange=1e-9)),
        ).mean_c  # fmt: skip
        return abs(got[0] - 9.5)  # the store starts at the climate plus 1.5

    assert moved(depth + more) <= moved(depth) + 1e-9


def test_freezing_ground_lingers_at_zero():
    # The zero curtain: latent heat must leave before the ground cools below freezing.
    air = np.r_[np.full(60, 3.0), np.full(30, -6.0)]
    c = Climate(*(np.array([x]) for x in (3.0, 0.0, 0.0, 0.6)))
    got = estimate_soil(
        air - 3,
        air + 3,
        dates=YEARS[:90],
        latitude=45.0,
        climate=c,
        model=MODEL.with_parameters(plain()),
    ).mean_c
    dry = estimate_soil(
        air - 3, air + 3, dates=YEARS[:90], latitude=45.0, climate=c,
        model=MODEL.with_parameters(plain(latent=1e-6)),
    ).mean_c  # fmt: skip
    assert np.sum((got > -1) & (got <= 0)) >= 5
    assert np.sum((dry > -1) & (dry <= 0)) <= 2


def test_one_lane_and_many_agree():
    low, high, rain = weather()
    sun = np.full(len(low), 14.0)
    sun[100:140] = np.nan
    low[400:403] = np.nan
    snow = np.where(np.arange(len(low)) % 7 == 0, np.nan, 3.0) * (low < -8)
    one = estimate_soil(low, high, dates=YEARS, latitude=41.0, rain_mm=rain, solar_mj_m2=sun,
                        snow_depth_cm=snow)  # fmt: skip

    def twice(a):
        return np.stack([a, a], axis=1)

    two = estimate_soil(twice(low), twice(high), dates=YEARS, latitude=[41.0, 41.0],
                        rain_mm=twice(rain), solar_mj_m2=twice(sun),
                        snow_depth_cm=twice(snow))  # fmt: skip
    for name in ("mean_c", "min_c", "max_c", "sd_c"):
        for lane in (0, 1):
            assert getattr(two, name)[:, lane] == pytest.approx(
                getattr(one, name), abs=1e-9, nan_ok=True
            )


def test_south_is_the_north_half_a_year_later():
    # The same weather half a year on, at the mirrored latitude.
    days = np.arange("2017-01-01", "2021-01-01", dtype="datetime64[D]")
    n = np.arange(len(days))
    north = 12 - 10 * np.cos(2 * np.pi * (n - 20) / 365.25)
    south = 12 + 10 * np.cos(2 * np.pi * (n - 20) / 365.25)
    got = [
        estimate_soil(a - 6, a + 6, dates=days, latitude=lat).mean_c
        for a, lat in ((north, 38.0), (south, -38.0))
    ]
    # Half a year is 182.6 days, and the sun is 7 % stronger in January: hence the tolerance.
    assert got[1][400 + 183 : 1200 + 183] == pytest.approx(got[0][400:1200], abs=1.0)


def test_a_gap_in_the_air_is_missing_and_widens_the_days_after():
    low, high, rain = weather()
    whole = estimate_soil(low, high, dates=YEARS, latitude=41.0, rain_mm=rain)
    low[500:520] = np.nan
    got = estimate_soil(low, high, dates=YEARS, latitude=41.0, rain_mm=rain)
    assert np.isnan(got.mean_c[500:520]).all()
    assert np.isfinite(got.mean_c[520:]).all()
    assert got.sd_c[520] > whole.sd_c[520] + 0.5
    assert got.sd_c[600] == pytest.approx(whole.sd_c[600], abs=0.02)
    assert np.abs(got.mean_c[600:] - whole.mean_c[600:]).max() < 0.5


def test_the_first_days_are_unsure():
    got = estimate()
    assert got.sd_c[0] > 3.0
    assert got.sd_c[0] > got.sd_c[5] > got.sd_c[20]


def test_cold_start_is_forgotten():
    low, high, rain = weather()
    c = prepare(low[:, None], high[:, None], dates=YEARS, latitude=41.0,
                rain_mm=rain[:, None]).climate  # fmt: skip
    long = estimate_soil(low, high, dates=YEARS, latitude=41.0, rain_mm=rain, climate=c)
    late = slice(700, None)
    short = estimate_soil(low[late], high[late], dates=YEARS[late], latitude=41.0,
                          rain_mm=rain[late], climate=c)  # fmt: skip
    apart = np.abs(short.mean_c - long.mean_c[700:])
    assert apart[0] > 0.1  # it did start wrong
    assert (apart < short.sd_c).mean() > 0.9
    assert apart[90:].max() < 0.2


def test_sandstone_winter_stays_above_freezing():
    # USCRN daily data, Sandstone MN, 1-6 January 2020: air -7.5 to -1.4 degC, soil at 5 cm 1.1
    # to 1.2 degC. Snow lay, though its depth is not in the rows: 30 cm is supplied, and both
    # stores start at 1.1.
    air = np.array([-7.5, -1.4, -4.5, -4.5, -2.7, -3.7])
    days = np.arange("2020-01-01", "2020-01-07", dtype="datetime64[D]")
    c = Climate(*(np.array([x]) for x in (1.1 - 1.5, 0.0, 0.0, 0.45)))
    got = estimate_soil(air - 4, air + 4, dates=days, latitude=46.1, rain_mm=np.zeros(6),
                        snow_depth_cm=np.full(6, 30.0), climate=c)  # fmt: skip
    assert got.mean_c == pytest.approx(1.1, abs=1.0)
    bare = estimate_soil(air - 4, air + 4, dates=days, latitude=46.1, rain_mm=np.zeros(6),
                         snow_depth_cm=np.zeros(6), climate=c)  # fmt: skip
    assert bare.mean_c[-1] < got.mean_c[-1] - 0.2


def test_faults_are_named_all_at_once():
    low, high, _ = weather()
    with pytest.raises(InputError) as caught:
        estimate_soil(low, high[:-1], dates=YEARS, latitude=41.0, depth_cm=50.0)
    text = str(caught.value)
    assert "50 cm" in text
    assert "2 to 20 cm" in text
    assert "equal shapes" in text
    one_day_late = YEARS.copy()
    one_day_late[-1] += 1
    for wrong in (YEARS[::-1], one_day_late):
        with pytest.raises(InputError, match="left out or out of order"):
            estimate_soil(low, high, dates=wrong, latitude=41.0)


def test_bridge_is_straight_and_carries_the_ends():
    x = np.array([[np.nan, 1.0, np.nan, np.nan, 4.0, np.nan]]).T
    assert bridge(x)[:, 0] == pytest.approx([1, 1, 2, 3, 4, 4])
    assert bridge(np.full((3, 1), np.nan))[:, 0] == pytest.approx([0, 0, 0])


def test_climate_of_years_is_theirs_and_of_nothing_the_latitudes():
    low, high, _ = weather(mean=14.0, swing=9.0)
    angle = (2 * np.pi / 365.25 * (np.arange(len(YEARS)) % 365.25 + 1))[:, None]
    air = (0.5 * (low + high))[:, None]
    years = climate_of(air, angle, np.array([41.0]))
    assert years.mean_c == pytest.approx([14.0], abs=0.5)
    assert years.swing_c == pytest.approx([9.0], abs=0.5)
    none = climate_of(np.full_like(air, np.nan), angle, np.array([41.0, -41.0]))
    assert none.mean_c[0] == pytest.approx(none.mean_c[1])
    assert none.cos_c[0] == pytest.approx(-none.cos_c[1])
    month = climate_of(air[180:210], angle[180:210], np.array([41.0]))
    assert 5 < float(month.mean_c[0]) < 18


def test_turf_changes_range_and_error():
    low, high, rain = weather()
    given = {"dates": YEARS, "latitude": 41.0, "rain_mm": rain}
    plot = estimate_soil(low, high, **given)
    sand = estimate_soil(low, high, **given, surface=surface_of(root_zone="sand green"))
    clay = estimate_soil(low, high, **given, surface=surface_of(root_zone="clay"))
    shade = estimate_soil(low, high, **given, surface=surface_of(root_zone="clay", shade=0.6))
    summer = slice(540, 600)
    assert (sand.max_c - sand.mean_c)[summer].mean() > (clay.max_c - clay.mean_c)[summer].mean()
    assert (sand.sd_c > plot.sd_c).all()
    assert shade.mean_c[summer].mean() < clay.mean_c[summer].mean() - 0.5
    arid = {"dates": YEARS, "latitude": 33.0, "rain_mm": np.zeros(len(YEARS))}
    dry = estimate_soil(low + 8, high + 8, **arid, surface=surface_of(root_zone="loam"))
    wet = estimate_soil(
        low + 8, high + 8, **arid, surface=surface_of(root_zone="loam", irrigated=True)
    )
    assert wet.mean_c[summer].mean() < dry.mean_c[summer].mean() - 0.5


def test_what_is_not_known_of_the_turf_adds_up_in_squares():
    # Variances of independent errors add. The figures are those of the file.
    number = {key: found.value for key, found in load_numbers("soil_cover").items()}
    bare = surface_of(root_zone="clay")
    both = number["cover.mown.offset_sd"] ** 2 + number["root_zone.offset_sd"] ** 2
    assert bare.offset_sd_c**2 == pytest.approx(both)
    wet = surface_of(root_zone="clay", irrigated=True)
    assert wet.offset_sd_c**2 == pytest.approx(both + number["irrigation.offset_sd"] ** 2)
    shade = surface_of(root_zone="clay", cover="rough", shade=0.5)
    rough = number["cover.rough.offset_sd"] ** 2 + number["root_zone.offset_sd"] ** 2
    assert shade.offset_sd_c**2 == pytest.approx(rough + (0.5 * number["shade.offset_sd"]) ** 2)
    assert (bare.irrigation, wet.irrigation) == (0.0, number["irrigation.share_of_demand"])
    assert (bare.shade, shade.shade) == (0.0, 0.5)
    assert (bare.offset_c, shade.offset_c) == (
        number["cover.mown.offset"],
        number["cover.rough.offset"],
    )
    assert bare.damping_cm == number["damping.clay"]


def test_turf_names_are_checked():
    with pytest.raises(InputError) as caught:
        surface_of(root_zone="gravel", cover="plastic", shade=2.0)
    assert len(caught.value.faults) == 3
    assert "sand green" in str(caught.value)


def test_daily_range_of_an_irrigated_crop():
    # AmeriFlux US-Tw3 (alfalfa), 2013-2018: median half-ranges of 5.46 and 3.21 degC at 4 and
    # 8 cm from June to August; air range 19 degC and 27 MJ m-2 are usual there. The site is the
    # one that gave the numbers, so this guards the units, not the physics.
    plot = station_plot()
    half = [float(plot.half_range_c(np.array(19.0), np.array(27.0), z)) for z in (4.0, 8.0)]
    assert half == pytest.approx([5.46, 3.21], rel=0.2)
    shaded = Surface(**{**plot.__dict__, "shade": 0.5})
    assert shaded.half_range_c(np.array(19.0), np.array(27.0), 4.0) < half[0]


def test_profile_meets_the_fitted_depths():
    p = MODEL.parameters["air"]
    stores = Stores(*(np.array([[x]]) for x in (10.0, 14.0, 0.0, 2.0)))
    for depth in (5, 10, 20):
        deep = 0.0 if depth == 5 else p[f"deep_{depth}"]
        expected = 10.0 + 4.0 * deep + 2.0 * p[f"flux_{depth}"]
        assert stores.at(float(depth), p)[0, 0] == pytest.approx(expected, abs=1e-12)


def test_one_run_of_the_model_is_read_at_any_depth_in_its_reach():
    days = np.arange(np.datetime64("2023-01-01"), np.datetime64("2023-12-31"))
    low = 8 - 12 * np.cos(2 * np.pi * np.arange(len(days)) / 365)
    low[40:43] = np.nan
    weather = {"dates": days, "latitude": 40.0, "rain_mm": np.full(len(days), 2.0)}
    run = run_model(low, low + 11, **weather)
    assert np.nanmax(np.abs(run.at(2.0).mean_c - run.at(20.0).mean_c)) > 0.3
    for beyond in (1.5, 25.0):
        with pytest.raises(InputError, match="2 to 20 cm"):
            run.at(beyond)
