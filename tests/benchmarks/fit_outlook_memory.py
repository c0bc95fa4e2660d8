"""Fit how the soil model's error hangs together: the numbers under [memory] in outlook.toml.

Run with ``--data FILE``, the same file as outlook_skill.py. The scaled error of each station,
(logged - modelled) / stated standard deviation, is multiplied with itself so many days later and
averaged over days and stations; the shares are the non-negative least squares fit to that curve,
the times those of a coarse grid that fit best. ``--spell`` instead looks for how the error follows
the weather: the least error one to seven days after a reading of 90 days, true weather given, of
the model fitted to the station's log. Give another ``--first`` to try it at other stations.
"""

import argparse
from itertools import product
from pathlib import Path

import numpy as np
from outlook_skill import read
from scipy.optimize import nnls

from patchrisk.core.dates.forecast_error import departures
from patchrisk.site_day.area_soil import error_covariance, usual_weather

LAGS = np.r_[0:30, 30:120:5, 120:1500:15]
MOST = 16.0  # a product counts at most so much, that one broken probe does not make the curve


def curve(path, every):
    total = np.zeros(len(LAGS))
    month = np.zeros(12)
    count = 0
    for station in read(path, every, fitted=False):
        error = next(iter(station.scaled.values()))
        products = [error[lag:] * error[: len(error) - lag] for lag in LAGS]
        total += [np.nanmean(np.clip(p, -MOST, MOST)) for p in products]
        of = station.days.astype("datetime64[M]").astype(int) % 12
        month += [np.nanmean(np.clip(error[of == m] ** 2, 0, MOST)) for m in range(12)]
        count += 1
    return total / count, month / count


def fit(seen):
    near = LAGS < 120
    weight = np.where(near, 2.0, 1.0)
    turn = 2 * np.pi * LAGS / 365.25
    best = None
    for fast, slow, long in product((1.0, 1.5, 2, 3, 4), (15, 20, 30, 45, 60), (400, 1000, 2000)):
        parts = [np.exp(-LAGS / t) for t in (fast, slow, long)]
        columns = np.stack([*parts, np.ones(len(LAGS)), np.cos(turn), np.cos(2 * turn)], axis=1)
        shares, left = nnls(columns * weight[:, None], seen * weight)
        if best is None or left < best[0]:
            best = (left, (fast, slow, long), shares)
    return best


KNOWN, AHEAD = 90, 7
SPELLS = [
    (0.0, 0.0, 60),
    *((w, s, 60) for w in (0.0012, 0.0024, 0.0048) for s in (0.0008, 0.0017, 0.0034)),
]
SPELLS += [(0.0024, 0.0017, days) for days in (20, 200)]


def spell(path, every, first):
    """Root mean square of the scaled error 1, 3 and 7 days ahead for each of `SPELLS`."""
    held, usual = error_covariance(), usual_weather()
    row = np.arange(-KNOWN, AHEAD)
    apart = np.abs(row[:, None] - row).astype(float)
    squares = []
    for station in read(path, every, first):
        error = list(station.scaled.values())[2]
        issue = np.arange(500, len(error) - AHEAD, 5)[:, None] + row
        issue = issue[np.isfinite(error[issue]).all(axis=1)]
        signs = departures(station.low, station.high, *usual)[issue]
        told = error[issue]
        each = []
        for warmth, swing, days in SPELLS:
            scaled = signs * np.sqrt([warmth, swing])
            alike = scaled @ scaled.swapaxes(1, 2) * np.exp(-apart / days)
            whole = held.weather(apart) + held.site(apart) + alike
            gram = whole[:, :KNOWN, :KNOWN] + held.probe * np.eye(KNOWN)
            weights = np.linalg.solve(gram, told[:, :KNOWN, None])
            left = told[:, KNOWN:] - (whole[:, KNOWN:, :KNOWN] @ weights)[..., 0]
            each.append(np.minimum(left**2, MOST).mean(axis=0)[[0, 2, 6]])
        squares.append(each)
    for (warmth, swing, days), figures in zip(
        SPELLS, np.sqrt(np.mean(squares, axis=0)), strict=True
    ):
        print(f"warmth {warmth:.4f} swing {swing:.4f} days {days:3}: {figures.round(3).tolist()}")


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--data", type=Path, required=True)
    parser.add_argument("--stations", type=int, default=1)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--spell", action="store_true")
    given = parser.parse_args()
    if given.spell:
        spell(given.data, given.stations, given.first)
        return
    seen, month = curve(given.data, given.stations)
    left, times, shares = fit(seen)
    names = ("fast", "slow", "long", "lasting", "yearly", "half_yearly")
    print("misfit", round(left, 3), "days", dict(zip(names, times, strict=False)))
    print("shares", {n: round(float(s), 3) for n, s in zip(names, shares, strict=True)})
    print("mean square of the scaled error by month", month.round(2).tolist())
    print(
        "lag 0, 1, 7, 30, 182, 365:",
        [round(float(np.interp(k, LAGS, seen)), 2) for k in (0, 1, 7, 30, 182, 365)],
    )


if __name__ == "__main__":
    main()
