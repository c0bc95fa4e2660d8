"""The outlook ahead at a site: the sample course with its history cut short."""

import json
from datetime import UTC, date, datetime

import numpy as np
import pandas as pd
import pytest

from patchrisk import resources
from patchrisk.at_site.morning import prepare
from patchrisk.report.outlook_record import to_json
from patchrisk.report.terminal import write_outlook
from patchrisk.report.view import view_of
from patchrisk.soil.parameters import general
from patchrisk.soil.surface import reference_surface

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
    assert "fewer than ten years" in flat(write_outlook(view_of(short)))
    assert "fewer than ten years" not in flat(write_outlook(view_of(whole)))


def test_without_a_past_year_there_are_no_dates_but_today_is_judged(tmp_path):
    morning = course(tmp_path, "2025-11-01")
    assert morning.ground is None
    text = flat(write_outlook(view_of(morning)))
    assert "No dates ahead" in text
    assert "OPEN" in text
    said = json.loads(to_json(morning))
    assert said["ahead"] is None
    assert all(d["ahead"] is None for d in said["areas"][0]["diseases"])


def test_chances_rise_with_the_days_and_agree_with_the_dates(tmp_path):
    (area,) = course(tmp_path, "2014-01-01").areas
    rules = [rule for ahead in area.ahead.values() for rule in ahead.rules]
    assert len(rules) > 10
    for rule in rules:
        assert (np.diff(rule.opened_by) >= 0).all()
        assert rule.opened_by[-1] == pytest.approx(1 - rule.never)
        for share, day in ((0.1, rule.early), (0.5, rule.middle), (0.9, rule.late)):
            if day is not None and day >= rule.dates[0]:
                at = int((day - rule.dates[0]).astype(int))
                assert rule.opened_by[at] >= share
                assert at == 0 or rule.opened_by[at - 1] < share


def test_every_fit_has_its_own_run_of_the_model(tmp_path):
    # Fits are made, used and forgotten area by area; the next must not be taken for the last.
    ground = course(tmp_path, "2023-01-01").ground
    middle = [
        float(ground.estimate(5.0, with_shift(shift), reference_surface())[0].mean_c.mean())
        for shift in (0.0, 1.0, 2.0, 3.0)
    ]
    assert np.diff(middle) == pytest.approx([1.0, 1.0, 1.0])


def with_shift(shift_c):
    return general("air_rain").with_values({"shift": shift_c})
