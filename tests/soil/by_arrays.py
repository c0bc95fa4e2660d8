"""The soil model asked with its weather as plain arrays."""

from dataclasses import fields

from patchrisk.core.soil import air_to_soil, calibration, inputs
from patchrisk.core.soil.inputs import DailyWeather
from patchrisk.read.soil import load_soil_model

MODEL = load_soil_model()
_KINDS = {field.name for field in fields(DailyWeather)}


def _parted(low, high, given):
    """The weather, and what else was given."""
    weather = {name: value for name, value in given.items() if name in _KINDS}
    rest = {name: value for name, value in given.items() if name not in _KINDS}
    return DailyWeather(low, high, **weather), {"model": MODEL, **rest}


def estimate_soil(air_min_c, air_max_c, **given):
    weather, rest = _parted(air_min_c, air_max_c, given)
    return air_to_soil.estimate_soil(weather, **rest)


def run_model(air_min_c, air_max_c, **given):
    weather, rest = _parted(air_min_c, air_max_c, given)
    return air_to_soil.run_model(weather, **rest)


def prepare(air_min_c, air_max_c, **given):
    weather, rest = _parted(air_min_c, air_max_c, given)
    return inputs.prepare(weather, **rest)


def calibrate(air_min_c, air_max_c, logged_c, **given):
    weather, rest = _parted(air_min_c, air_max_c, given)
    return calibration.calibrate(weather, logged_c, **rest)
