"""Readings by hand taken out of a record of hours, and what they tell of its days."""

from dataclasses import dataclass, replace
from datetime import timedelta

import numpy as np
import pandas as pd

from patchrisk.base.toml_files import load_numbers
from patchrisk.core.dates.forecast_error import condition_error, departures
from patchrisk.core.dates.hand_readings import HandErrors, compare_readings, solar_hour
from patchrisk.core.soil.air_to_soil import SoilEstimate
from patchrisk.read.soil import load_soil_model
from patchrisk.site_day.area_soil import day_wave, error_covariance, usual_weather

REACH = 1.2816  # of a normal distribution, 80 %
MOST = 60  # readings that are looked back on: older ones say next to nothing


@dataclass(frozen=True)
class HourlySite:
    """A record of one probe: ``soil`` has whole days alone, ``air`` min and max of each day."""

    soil: pd.Series
    air: pd.DataFrame
    estimate: SoilEstimate
    depth_cm: float
    longitude: float
    offset: timedelta

    @property
    def mean(self) -> np.ndarray:
        days = self.soil.groupby(self.soil.index.normalize()).mean()
        return days.reindex(self.air.index).to_numpy()

    def readings(self, rows, hours) -> HandErrors:
        """Readings of these days at these hours; those that the record lacks are left out."""
        numbers, model = load_numbers("readings"), load_soil_model()
        usual = usual_weather()
        rows = np.asarray(rows)
        hours = np.broadcast_to(np.asarray(hours, float), rows.shape)
        read = self.soil.reindex(self.air.index[rows] + pd.to_timedelta(hours, "h")).to_numpy()
        dates = self.air.index.to_numpy().astype("datetime64[D]")[rows]
        signs = departures(self.air["min"].to_numpy(), self.air["max"].to_numpy(), *usual)
        offset_h = self.offset / timedelta(hours=1)
        return compare_readings(
            dates, solar_hour(hours, self.longitude, offset_h, dates),
            np.full(len(rows), self.depth_cm), read, self.estimate.since(rows), signs[rows],
            damping_cm=model.plot.damping_cm, wave=day_wave(),
            own_sd_c=numbers["error"].value, most_off=numbers["most_off"].value,
        )  # fmt: skip

    def off(self, hand: HandErrors) -> tuple[np.ndarray, np.ndarray]:
        """How far each reading's day is off as it and those before it tell; and its error."""
        first, memory, mean = hand.dates[0], error_covariance(), self.mean
        out = np.full((2, len(hand.dates)), np.nan)
        before = np.arange(len(hand.dates))
        for n in range(12, len(hand.dates)):
            known = hand.known(first, (before > n - MOST) & (before <= n))
            day = (hand.dates[[n]] - first) / np.timedelta64(1, "D")
            told = condition_error(memory, day, hand.signs[[n]], known)
            true = mean[(hand.dates[n] - self.first_day).astype(int)]
            out[0, n] = hand.estimate_c[n] + hand.sd_c[n] * told.expected(known)[0, 0] - true
            out[1, n] = hand.sd_c[n] * np.sqrt(told.variance[0])
        return out[0, 12:], out[1, 12:]

    @property
    def first_day(self) -> np.datetime64:
        return np.datetime64(self.air.index[0], "D")


def blind(hand: HandErrors) -> HandErrors:
    """The same readings where none tells of the wave of the others."""
    return replace(hand, wave_c=0 * hand.wave_c)


def root(off) -> float:
    return float(np.sqrt(np.mean(np.square(off))))
