"""Outlook and plan never part: what the verdict calls for today is planned for today, no more.

Whole mornings through the site file, in invented weather of three climates, with and without
history, records, a shelf and days off.
"""

from datetime import date, datetime, timedelta

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from patchrisk.core.verdict.decision_table import RUNNING, Verdict
from patchrisk.site_day.morning import prepare
from patchrisk.site_day.season_plan import plan_all

NOW = datetime(2027, 1, 15, 6).astimezone()
YEARS = pd.date_range("2017-01-01", "2026-12-31")
SHELF = """
[[product]]
name = "Shelf P"
actives = ["azoxystrobin"]
least_interval_days = {least}
most_applications_year = {most}
[[product]]
name = "Shelf Q"
actives = ["tebuconazole"]
"""
TURF = {
    "creeping bentgrass": ("green", ("take-all patch", "summer patch", "Pythium root dysfunction")),
    "hybrid bermudagrass": ("fairway", ("spring dead spot", "take-all root rot", "fairy ring")),
    "Kentucky bluegrass": ("lawn", ("necrotic ring spot", "summer patch", "fairy ring")),
}
CLIMATES = {"cool": (38.9, 10.0, 13.0), "mild": (33.0, 17.0, 10.0), "south": (-37.8, 14.0, -9.0)}


def weather(mean, swing, rain_day):
    """Ten years of air that turns with the year and wanders, rain on some days."""
    rng = np.random.default_rng(7)
    day = np.arange(len(YEARS))
    wander = np.convolve(rng.standard_normal(len(day) + 40), np.ones(40) / 9, "same")[: len(day)]
    middle = (
        mean - swing * np.cos(2 * np.pi * (YEARS.day_of_year.to_numpy() - 20) / 365.25) + wander
    )
    rain = np.where(rng.random(len(day)) < rain_day, 4.0, 0.0)
    return pd.DataFrame(
        {"date": YEARS.strftime("%Y-%m-%d"), "air_min_c": (middle - 5).round(1),
         "air_max_c": (middle + 6).round(1), "rain_mm": rain}
    )  # fmt: skip


@pytest.fixture(scope="module")
def folders(tmp_path_factory):
    out = {}
    for name, (_, mean, swing) in CLIMATES.items():
        out[name] = tmp_path_factory.mktemp(name)
        weather(mean, swing, 0.2).to_csv(out[name] / "weather.csv", index=False)
    return out


def write(folder, climate, turf, known, records, shelf, off):
    use, diseases = TURF[turf]
    history = ", ".join(f'"{d}" = "{how}"' for d, how in zip(diseases, known, strict=True) if how)
    wishes = f"[programme]\nno_spray = {off}\n".replace("'", '"') if off else ""
    (folder / "site.toml").write_text(
        f"""
        [site]
        name = "Invented"
        latitude = {CLIMATES[climate][0]}
        longitude = 0.0
        [[area]]
        name = "A"
        turf = "{turf}"
        use = "{use}"
        root_zone = "loam"
        history = {{ {history} }}
        [[weather]]
        file = "weather.csv"
        [online]
        use = false
        {wishes}
        """
    )
    for name, text in (("applications.csv", records), ("shelf.toml", shelf)):
        if text is None:
            (folder / name).unlink(missing_ok=True)
        else:
            (folder / name).write_text(text)


hows = st.sampled_from(["laboratory", "seen", "suspected", "none in 5 years", None])
days_ago = st.lists(st.tuples(st.integers(0, 70), st.sampled_from(["3", "11", "7", "21"])),
                    max_size=3)  # fmt: skip


@given(
    climate=st.sampled_from(sorted(CLIMATES)),
    turf=st.sampled_from(sorted(TURF)),
    day=st.integers(0, 364),
    known=st.tuples(hows, hows, hows),
    went_on=st.none() | days_ago,
    shelf=st.none() | st.tuples(st.sampled_from([14, 28]), st.integers(0, 3)),
    off=st.integers(0, 3),
)
# One that went on before the season it protects: it counts no more than in the plan.
@example(climate="cool", turf="Kentucky bluegrass", day=245, known=("laboratory",) * 3,
         went_on=[(0, "3")], shelf=None, off=0)  # fmt: skip
# More on record than the season's number: none is added.
@example(climate="cool", turf="Kentucky bluegrass", day=0, known=("laboratory",) * 3,
         went_on=[(0, "3"), (27, "3"), (33, "3")], shelf=None, off=0)  # fmt: skip
@pytest.mark.timeout(900)
@settings(max_examples=30,
          suppress_health_check=[HealthCheck.function_scoped_fixture])  # fmt: skip
def test_outlook_and_plan_give_the_same_verdict(
    folders, climate, turf, day, known, went_on, shelf, off
):
    as_of = date(2025, 6, 1) + timedelta(days=day)
    records = None
    if went_on is not None:
        rows = [f"{as_of - timedelta(days=n)},A,{code}\n" for n, code in went_on]
        records = "date,area,codes\n" + "".join(rows)
    told = None if shelf is None else SHELF.format(least=shelf[0], most=max(1, shelf[1]))
    days_off = [] if not off else [f"{as_of}/{as_of + timedelta(days=off - 1)}"]
    write(folders[climate], climate, turf, known, records, told, days_off)
    morning = prepare(folders[climate] / "site.toml", as_of, NOW, offline=True)
    (area,), (plan,) = morning.areas, plan_all(morning).areas
    today = np.datetime64(as_of, "D")
    due = {key for key, one in area.judged.items() if one.verdict is Verdict.APPLY}
    assert list(plan.answers) == list(area.judged)
    now = [one for one in plan.planned if one.day == today]
    # Nothing goes on today that no verdict calls for.
    assert all(due & set(one.targets) for one in now)
    assert not (now and off)
    for key, judged in area.judged.items():
        answer = plan.answers[key]
        if key in due:
            assert answer.called == today
            assert answer.on == today or answer.waiting, key
            assert answer.on is None or answer.on >= today + off
            if not (went_on or shelf or off):
                assert answer.on == today, key
        elif not judged.treats:
            assert (answer.called, answer.on) == (None, None)
        else:
            assert answer.called is None or answer.called > today
        # None beyond the season's number, whatever the records have.
        start = judged.start if judged.phase in RUNNING else judged.middle
        until = judged.treat_until
        if until is None or until < today or start is None:
            continue
        mine = [p for p in plan.planned if key in p.targets and start <= p.day <= until]
        assert not mine or len(mine) + judged.counted <= judged.case.number
    assert [p.day for p in plan.planned] == sorted(p.day for p in plan.planned)
