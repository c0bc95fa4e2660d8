"""How much warmer than the air the soil is over a year, against a survey of other stations."""

import numpy as np
import pytest

from tests.soil.by_arrays import estimate_soil

DAYS = np.arange("2012-01-01", "2018-01-01", dtype="datetime64[D]")


def offset_c(mean, swing, latitude):
    """Mean of soil less mean of air [degC] of the years after the first, under 2.5 mm of rain."""
    n = np.arange(len(DAYS))
    # Spells of warm and cold: a year of smooth air hardly freezes in a mild place.
    air = mean - swing * np.cos(2 * np.pi * (n - 20) / 365.25) + 4 * np.sin(2 * np.pi * n / 9)
    rain = np.where(n % 3 == 0, 7.5, 0.0)
    soil = estimate_soil(
        air - 5.5,
        air + 5.5,
        dates=DAYS,
        latitude=latitude,
        rain_mm=rain,
        depth_cm=20,
    )
    return float(np.nanmean((soil.mean_c - air)[365:]))


def test_mean_soil_of_the_eastern_united_states():
    """D'Avello, Bathgate & Thompson 2021, Soil Sci. Soc. Am. J. (saj2.20320, seen abstract): mean
    annual soil is 2.49 + 0.91 times mean annual air at 69 stations of a network that the model was
    not fitted to, with an error of 0.74 degC; at 50 cm, which over years has the mean of 20 cm.
    Latitude, swing and rain that go with each mean are ours.
    """
    places = [(5, 15, 45), (10, 13, 42), (15, 11, 36), (20, 8, 31)]
    found = np.array([offset_c(*place) for place in places])
    published = np.array([2.49 + 0.91 * mean - mean for mean, _, _ in places])
    assert published == pytest.approx([2.04, 1.59, 1.14, 0.69], abs=0.5e-2 + 1e-9)
    assert np.sqrt(np.mean((found - published) ** 2)) < 0.74
    assert np.abs(found - published).max() < 2 * 0.74
