"""What an area's readings by hand have taught, and what one more a month would be worth."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from patchrisk.base.toml_files import load_numbers
from patchrisk.core.dates.forecast_error import ConditionalErrors
from patchrisk.core.dates.hand_readings import HandErrors, error_with_more, forward_errors
from patchrisk.read.area import Area
from patchrisk.read.records.rows import Reading
from patchrisk.read.site_data import SiteData
from patchrisk.site_day.area_soil import days_of, soil_of, spot_readings
from patchrisk.site_day.weather_ahead import error_covariance

MONTH_DAYS = 28


@dataclass(frozen=True)
class HandLessons:
    """What readings by hand taught.

    Attributes
    ----------
    area : Area
    readings : sequence of Reading
        Those that the estimate could be held against, as ``errors`` has them.
    without : int
        How many had no estimate of their day.
    errors : HandErrors
    bias_c, error_c, taught_c : float
        Of the sound readings: mean and root mean square of estimate less reading, and the latter
        once the readings of the days before had corrected the estimate [degC].
    alone_c, now_c, monthly_c : float
        Error to expect of a day of the coming year: by the estimate alone, with the readings so
        far, and with one more each month [degC].
    """

    area: Area
    readings: Sequence[Reading]
    without: int
    errors: HandErrors
    bias_c: float
    error_c: float
    taught_c: float
    alone_c: float
    now_c: float
    monthly_c: float

    @property
    def enough(self) -> bool:
        """Whether there are as many as it takes to say what they teach."""
        return int(self.errors.sound.sum()) >= load_numbers("readings")["least"].value


def lessons(gathered: SiteData, area: Area, today: date) -> HandLessons | None:
    """Return what an area's readings by hand taught; None where there are none with air."""
    mine = spot_readings(gathered, area, days_of(today))
    hand = soil_of(gathered, area, today, []).hand if mine else None
    if hand is None or not len(hand.rows):
        return None
    memory = ConditionalErrors(error_covariance())
    off = (hand.estimate_c - hand.mean_c)[hand.sound]
    sd_c = float(np.sqrt(np.mean(hand.sd_c**2)))
    own_c = float(np.sqrt(np.mean(hand.own_sd_c**2)))
    day = np.datetime64(today, "D")

    def expected(readings: HandErrors | None, every_days: int | None) -> float:
        return error_with_more(
            readings, memory, today=day, sd_c=sd_c, own_sd_c=own_c, every_days=every_days
        )

    some = bool(hand.sound.any())
    return HandLessons(
        area=area,
        readings=[mine[n] for n in hand.rows],
        without=len(mine) - len(hand.rows),
        errors=hand,
        bias_c=float(off.mean()) if some else 0.0,
        error_c=float(np.sqrt(np.mean(off**2))) if some else 0.0,
        taught_c=float(np.sqrt(np.mean(forward_errors(hand, memory) ** 2))) if some else 0.0,
        alone_c=expected(None, None),
        now_c=expected(hand, None),
        monthly_c=expected(hand, MONTH_DAYS),
    )
