"""Invented sites, small enough to be judged in a moment."""

import numpy as np
import pandas as pd
import pytest

from tests.study.parts import draw_nothing, part_small, saved

SITES = {"upland": 44.0, "valley": 38.5, "coast": 35.0, "antipodes": -37.0, "short": 40.0}


def invented(years=3, seed=1):
    """A row a site and day: air everywhere; soil at three sites; gaps; one short record."""
    rng = np.random.default_rng(seed)
    day = pd.date_range("2015-01-01", f"{2014 + years}-12-31")
    tables = []
    for n, (name, latitude) in enumerate(SITES.items()):
        turn = np.cos(2 * np.pi * (day.day_of_year.to_numpy() - 20) / 365.25)
        mean = 27 - 0.4 * abs(latitude) - 12 * np.sign(latitude) * turn + rng.normal(0, 2, len(day))
        half = rng.uniform(3, 7, len(day))
        soil = pd.Series(mean).rolling(8, min_periods=1).mean().to_numpy() + 1.5
        table = pd.DataFrame(
            {
                "site": name,
                "lat": latitude,
                "lon": -85.0 + n,
                "date": day,
                "air_min_c": np.round(mean - half, 1),
                "air_max_c": np.round(mean + half, 1),
                "rain_mm": np.round(rng.exponential(2, len(day)), 1),
                "soil_5cm_c": np.round(soil, 1) if n < 3 else np.nan,
                "soil_10cm_c": np.round(soil - 0.5, 1) if n < 2 else np.nan,
            }
        )
        table.loc[rng.integers(0, len(day), 40), "soil_5cm_c"] = np.nan
        table.loc[200:230, ["air_min_c", "air_max_c"]] = np.nan
        tables.append(table if name != "short" else table.iloc[400:700])
    return pd.concat(tables, ignore_index=True)


@pytest.fixture(scope="session")
def sites():
    return invented()


@pytest.fixture(scope="session")
def table(sites, tmp_path_factory):
    """The invented sites as a CSV, which no test changes."""
    return saved(sites, tmp_path_factory.mktemp("table") / "sites.csv")


@pytest.fixture
def small_parts(monkeypatch):
    part_small(monkeypatch)


@pytest.fixture
def undrawn(monkeypatch):
    draw_nothing(monkeypatch)
