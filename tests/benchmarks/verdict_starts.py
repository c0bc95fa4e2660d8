"""The first call of a season against the last crossing of a threshold, by the rule for starts."""

import numpy as np
import pandas as pd
from station_mornings import FORECAST_DAYS
from verdict_cover import FADES_DAYS

from patchrisk.site_day.judging import verdict_settings


def timing(data):
    """First call against the last crossing, by the rule for starts, at three thresholds."""
    table = pd.read_parquet(data)
    table["station"] = table["station"].astype(str)
    wide = table.pivot(index="date", columns="station", values="st5").astype(float)  # noqa: PD010
    wide = wide.reindex(pd.date_range(wide.index.min(), wide.index.max()))
    mean = wide.interpolate(limit=5, limit_area="inside").rolling(5).mean()
    out = {}
    for words, threshold, sign, first, last in (
        ("65 degF rising", 18.333, 1, "02-01", "07-31"),
        ("55 degF rising", 12.778, 1, "02-01", "06-30"),
        ("70 degF falling", 21.111, -1, "08-01", "12-15"),
    ):
        courses, own = [], verdict_settings()
        calls = []
        for name in mean:
            years = {}
            for year in sorted(set(mean.index.year)):
                value = mean.loc[f"{year}-{first}" : f"{year}-{last}", name].to_numpy()
                if len(value) > 100 and not np.isnan(value).any():
                    years[year] = sign * (value - threshold)
            for year, value in years.items():
                cross = np.flatnonzero((value[1:] >= 0) & (value[:-1] < 0)) + 1
                if value[0] >= 0 or not cross.size:
                    continue
                courses.append((value, int(cross[-1])))
                others = [other for y, other in years.items() if y != year]
                calls.append(_by_odds(value, others, own) - int(cross[-1]))
        shares = {"verdict": _told(calls)}
        family = {
            (wait, ahead): _near(courses, wait, ahead, 0.0)
            for wait in range(15)
            for ahead in range(FORECAST_DAYS + 1)
        }
        best = max(family, key=lambda k: family[k]["within a week"])
        shares["best"] = {**family[best], "wait": best[0], "forecast": best[1]}
        shares["at once"] = _near(courses, 0, 0, 0.0)
        shares["of best"] = round(
            shares["verdict"]["within a week"] / shares["best"]["within a week"], 3
        )
        out[words] = {"seasons": len(courses), **shares}
    return out


def _near(courses, wait, ahead, back):
    """Call at so many days old, unless the forecast undoes it; against the last crossing."""
    gap = []
    for value, last in courses:
        begun, call = None, len(value)
        for day, now in enumerate(value):
            if begun is not None and now < -back:
                begun = None
            if begun is None and now >= 0:
                begun = day
            told = value[day : day + ahead + 1]
            if begun is not None and day - begun >= wait and not (told < -back).any():
                call = day
                break
        gap.append(call - last)
    return _told(gap)


def _by_odds(value, others, own):
    """Day of the call where a start counts by its odds, from other years after the forecast."""
    begun = None
    for day, now in enumerate(value):
        begun = None if now < -own.lasting.back_c else day if begun is None else begun
        if begun is None or day == begun:  # what is known of a morning is the day before
            continue
        known = min(day + FORECAST_DAYS, len(value))
        left = max(0, begun + own.lasting.wait_days - known)
        if (value[day:known] < -own.lasting.back_c).any():
            continue
        fades = np.exp(-np.arange(1, left + 1) / FADES_DAYS)
        ahead = [
            one[known : known + left] + (value[known - 1] - one[known - 1]) * fades[: n - known]
            for one, n in ((one, len(one)) for one in others)
            if n > known
        ]
        lasting = [not (one < -own.lasting.back_c).any() for one in ahead]
        if day - begun > own.lasting.wait_days or np.mean(lasting or [0]) >= own.start_odds:
            return day
    return len(value)


def _told(gap):
    gap = np.array(gap)
    return {
        "within a week": round(float(np.mean(np.abs(gap) <= 7)), 3),
        "early": round(float(np.mean(gap < -7)), 3),
        "late": round(float(np.mean(gap > 7)), 3),
    }
