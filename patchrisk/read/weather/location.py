"""Where the weather is wanted, and whose midnight ends its days."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta, timezone


@dataclass(frozen=True)
class Location:
    """A point on the map with its local standard time.

    Parameters
    ----------
    latitude, longitude : float
        North and east positive [degrees].
    elevation_m : float or None
        Height above sea level [m]; None when it isn't known.
    utc_offset : timedelta
        Local standard time minus UTC.
    """

    latitude: float
    longitude: float
    elevation_m: float | None
    utc_offset: timedelta

    @property
    def zone(self) -> timezone:
        """Local standard time, the year round."""
        return timezone(self.utc_offset)

    def local_day(self, moment: datetime) -> date:
        """Return the local standard day in which an aware moment lies."""
        return moment.astimezone(self.zone).date()
