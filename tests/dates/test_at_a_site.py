"""The outlook ahead at a site: the sample course with its history cut short."""

import json
import re
from datetime import UTC, date, datetime

import numpy as np
import pandas as pd
import pytest

from patchrisk.base import resources
from patchrisk.read.soil import load_soil_model, station_plot
from patchrisk.report.record import outlook_json
from patchrisk.report.terminal import write_outlook
from patchrisk.report.view import view_of
from patchrisk.site_day.morning import prepare

MORNING = date(2026, 5, 18)


def course(folder, first):
    """The sample course's lawns from a day on."""
    source = resources.sample_weather()
    for name in ("greens_probes.csv", "fairways_probe.csv", "forecast.csv", "site.toml"):
        (folder / name).write_bytes((source / name).read_bytes())
    weather = pd.read_csv(source / "weather.csv", index_col="date", parse_dates=True)
    weather[weather.index >= first].to_csv(folder / "weather.csv", index_label="date")
    now = datetime(2026, 5, 18, 6, tzinfo=UTC)
    return prepare(folder / "site.toml", MORNING, now, only=["Lawns"], offline=True)


def flat(text):
    return " ".join(text.split())


def test_few_years_are_said_and_spread_the_dates(tmp_path):
    (tmp_path / "all").mkdir()
    (tmp_path / "few").mkdir()
    whole, short = course(tmp_path / "all", "2014-01-01"), course(tmp_path / "few", "2023-01-01")
    assert whole.ground.enough
    assert not short.ground.enough
    assert short.ground.years == (2023, 2024, 2025)
    # The season before 2023's is not on record, so that year makes no normal.
    assert short.ground.past.years == (2024, 2025)
    assert whole.ground.past.years == whole.ground.years[1:]
    assert "fewer than ten years" in flat(write_outlook(view_of(short), data=True))
    assert "fewer than ten years" not in flat(write_outlook(view_of(whole), data=True))


def test_without_a_past_year_there_are_no_dates_but_today_is_judged(tmp_path):
    morning = course(tmp_path, "2025-11-01")
    assert morning.ground is None
    text = flat(write_outlook(view_of(morning), full=True))
    assert "No dates ahead" in text
    assert re.search(r"(SCOUT|nothing) fairy ring: since (Apr|May) \d+", text)
    said = json.loads(outlook_json(morning))
    assert said["ahead"] is None
    for disease in said["areas"][0]["diseases"]:
        verdict = disease["verdict"]
        assert verdict["start"]["by_50"] is verdict["start"]["chance_come"] is None
        assert verdict["watch"] is verdict["pressure"] is None
        assert all(rule["by_50"] is None for rule in verdict["guidance"]["rules"])


def test_dates_of_the_start_are_in_order_and_agree_with_the_chances(tmp_path):
    (area,) = course(tmp_path, "2014-01-01").areas
    judged = area.judged.values()
    assert len(judged) == 3
    for j in judged:
        for one in (j, *j.rules):
            dates = [day for day in (one.early, one.middle, one.late) if day is not None]
            assert dates == sorted(dates)
        assert j.odds_lead >= j.odds_lasting
        if j.middle is not None:
            today = np.datetime64(MORNING)
            assert (j.odds_lasting >= 0.5) == (j.middle <= today)
            assert (j.odds_lead >= 0.5) == (j.middle < today + 14)


def test_every_fit_has_its_own_run_of_the_model(tmp_path):
    # Fits are made, used and forgotten area by area; the next must not be taken for the last.
    ground = course(tmp_path, "2023-01-01").ground
    middle = [
        float(ground.estimate(5.0, with_shift(shift), station_plot())[0].mean_c.mean())
        for shift in (0.0, 1.0, 2.0, 3.0)
    ]
    assert np.diff(middle) == pytest.approx([1.0, 1.0, 1.0])


def with_shift(shift_c):
    model = load_soil_model()
    return model.with_parameters(model.parameters["air_rain"].with_values({"shift": shift_c}))
