"""The parameter file: what is shipped is sound, and faults are found."""

import numpy as np
import pytest

from patchrisk.base import resources
from patchrisk.base.errors import InputError
from patchrisk.core.soil.inputs import GENERAL, INPUTS, POSITIVE
from patchrisk.read.soil import load_soil_model, read_soil_model

SHIPPED = resources.thresholds() / "soil_model.toml"


def test_shipped_file_is_whole_and_physical():
    found = load_soil_model()
    assert set(found.parameters) == set(INPUTS)
    for p in found.parameters.values():
        assert all(np.isfinite(p[n]) for n in GENERAL)
        assert all(p[n] > 0 for n in POSITIVE)
        assert all(p.errors[n] >= 0 for n in GENERAL)
        # Latent heat of 0.05 to 0.4 m3/m3 of water, 334 MJ/m3, in soil of 2.1 MJ m-3 K-1.
        assert 334 * 0.05 / 2.1 < p["latent"] < 334 * 0.4 / 2.1
        # The daily exchange of three published models: 0.20, 0.22, 0.25 a day (SWAT; Katterer &
        # Andren 2009; Zheng et al. 1993); here half as much again lies in the deep store.
        assert 0.15 < p["exchange"] < 0.7
        assert p["deep_20"] > p["deep_10"] > 0
    assert np.linalg.eigvalsh(found.prior.covariance).min() > 0
    shares = found.persistence["fast_share"] + found.persistence["slow_share"]
    assert 0 < shares < 1


def broken(tmp_path, before, after):
    text = SHIPPED.read_text(encoding="utf-8")
    assert before in text
    path = tmp_path / "soil_model.toml"
    path.write_text(text.replace(before, after, 1), encoding="utf-8")
    with pytest.raises(InputError) as caught:
        read_soil_model(path)
    return str(caught.value)


def test_missing_number_is_named(tmp_path):
    told = broken(tmp_path, "[air.parameter.melt]", "[air.parameter.molten]")
    assert "air, parameter, melt" in told
    assert "molten" in told


def test_unknown_and_infinite_numbers_are_named(tmp_path):
    told = broken(tmp_path, "[persistence]", "[persistence]\nfast_hours = 1\n")
    assert "fast_hours" in told
    told = broken(tmp_path, "day_variance = 20", "day_variance = inf")
    assert "calibration, day_variance" in told


def test_numbers_that_must_be_positive(tmp_path):
    text = SHIPPED.read_text(encoding="utf-8")
    start = text.index("[air_rain.parameter.exchange]")
    line = text[start:].splitlines()[1]
    told = broken(tmp_path, f"[air_rain.parameter.exchange]\n{line}",
                  "[air_rain.parameter.exchange]\nvalue = -0.4")  # fmt: skip
    assert "air_rain, parameter, exchange, value" in told
    assert "greater than 0" in told


def test_a_prior_that_is_no_prior(tmp_path):
    told = broken(tmp_path, "sd = [", "sd = [1.0, ")
    assert "prior" in told


def test_all_faults_at_once(tmp_path):
    path = tmp_path / "soil_model.toml"
    path.write_text("[air]\n", encoding="utf-8")
    with pytest.raises(InputError) as caught:
        read_soil_model(path)
    places = {fault.place for fault in caught.value.faults}
    assert {"air, parameter", "air_rain", "calibration", "persistence"} <= places
