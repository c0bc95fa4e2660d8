"""Thirty breaches, each on an area of its own: named by record, check, plan and page alike.

What a label fixes is that of the EPA Label Review Manual, ch. 11; guidelines R1 to R9 are those of
CropLife Australia for turf and of FRAC's working groups, as thresholds/programme.toml cites them.
Every figure of a label is invented. Day 0 is 1 April 2025.
"""

import re
from datetime import date, timedelta

import pandas as pd
import pytest
from click.testing import CliRunner

from patchrisk.cli import main
from patchrisk.read.records.applications import APPLICATION_COLUMNS

SHELF = """\
[[product]]
name = "Eleven"
actives = ["azoxystrobin"]
rate = { value = 1.0, unit = "kg/ha" }
water = { value = 800, unit = "L/ha" }
least_interval_days = 14
most_applications_year = 3
sites = ["green", "tee"]
re_entry = "12 hours"
wind_most = { value = 4.5, unit = "m/s" }
[[product]]
name = "Another eleven"
actives = ["azoxystrobin"]
rate = { value = 1.0, unit = "kg/ha" }
content = { azoxystrobin = { value = 50.0, unit = "%" } }
most_active_year = { azoxystrobin = { value = 1.2, unit = "kg/ha" } }
[[product]]
name = "Third eleven"
actives = ["azoxystrobin"]
rate = { value = 2.0, unit = "kg/ha" }
content = { azoxystrobin = { value = 40.0, unit = "%" } }
"""
OF_CODES = {
    "Three": "3",
    "Four": "4",
    "Seven": "7",
    "Nineteen": "19",
    "Twenty-one": "21",
    "Forty-nine": "49",
}
ACTIVES = {"Metyltetraprole": "metyltetraprole", "Boscalid": "boscalid", "Isofetamid": "isofetamid"}
GREEN = 'turf = "creeping bentgrass"\nuse = "green"\n'
LAWN = GREEN.replace('"green"', '"lawn"')
TINES = 'turf = "hybrid bermudagrass"\nuse = "green"\naerified = ["2025-04-09"]\n'


def on(day, product, **cells):
    when = date(2025, 4, 1) + timedelta(days=day)
    return {"date": str(when), "product": product, "water": "6", "unit": "mm", **cells}


def every(days, *products, **cells):
    return [on(n * days, product, **cells) for n, product in enumerate(products)]


SUMMER = {"for": "summer patch"}
SPOT = {"spot": "hot spots"}
HALF = {"rate": "0.5 kg/ha"}
# What it is, what is named, the area, its records.
BREACHES = [
    # --- the label
    ("interval", "5 days after the one of", GREEN, every(5, "Eleven", "Eleven")),
    ("interval on a part of the area", "5 days after the one of", GREEN,
     [on(0, "Eleven"), on(5, "Eleven", **SPOT)]),
    ("a part and the whole on one day", "a second time that day on the same ground", GREEN,
     [on(0, "Eleven"), on(0, "Eleven", **SPOT)]),
    ("number of a year", "number 4 of the year, where its label allows 3", GREEN,
     every(20, *["Eleven"] * 4)),
    ("number of a year on a part", "number 4 of the year, where its label allows 3", GREEN,
     [*every(20, *["Eleven"] * 3), on(60, "Eleven", **SPOT)]),
    ("active of a year", "125 % of the azoxystrobin", GREEN, every(20, *["Another eleven"] * 3)),
    ("active of a year in two products", "108 % of the azoxystrobin", GREEN,
     every(20, "Another eleven", "Third eleven")),
    ("active of a year, by the rates that went on", "104 % of the azoxystrobin", GREEN,
     every(20, "Another eleven", "Another eleven", rate="1.25 kg/ha")),
    ("rate", "1.50 times the 1 kg/ha of its label", GREEN, [on(0, "Eleven", rate="1.5 kg/ha")]),
    ("rate by amount and size", "1.25 times the 1 kg/ha", GREEN,
     [on(0, "Eleven", amount="2.5 kg", treated="2 ha")]),
    ("rate in other units", "2.24 times the 1 kg/ha", GREEN, [on(0, "Eleven", rate="2 lb/acre")]),
    ("site", "on a lawn, where its label names green, tee alone", LAWN, [on(0, "Eleven")]),
    ("re-entry as an interval", "people back after 4 h, where its label asks for 12 hours", GREEN,
     [on(0, "Eleven", re_entry="4 hours")]),
    ("re-entry past midnight", "people back after 9.5 h", GREEN,
     [on(0, "Eleven", end="21:00", re_entry="06:30")]),
    ("wind", "in wind of 22 km/h, where its label allows 4.5 m/s", GREEN,
     [on(0, "Eleven", wind="6 m/s")]),
    ("carrier", "in 400 L/ha of water, where its label asks for 800 L/ha", GREEN,
     [on(0, "Eleven", carrier="800 L", treated="2 ha")]),
    # --- rotation
    ("R1", "FRAC 3 twice in a row, without a partner", GREEN, every(30, "Three", "Three")),
    ("R1 and R7: 11 and 11A are one", "FRAC 11 twice in a row", GREEN,
     every(30, "Third eleven", "Metyltetraprole")),
    ("R1 and R5: a partner controls the target", "FRAC 11 twice in a row", GREEN,
     [on(d, p, **SUMMER) for d, p in ((0, "Third eleven"), (30, "Three"), (30, "Third eleven"))]),
    ("R2 and R3", "FRAC 21 back after a run of 2, with fewer than 2 others between", GREEN,
     every(30, "Twenty-one", "Twenty-one", "Three", "Twenty-one")),
    ("R4: two of group 7 in a tank", "two of FRAC 7 in one tank", GREEN,
     [on(0, "Boscalid"), on(0, "Isofetamid")]),
    ("R7: two of group 11 in a tank", "two of FRAC 11 in one tank", GREEN,
     [on(0, "Third eleven"), on(0, "Metyltetraprole")]),
    ("R9: three in a row", "more than 2 of FRAC 4 in a row", GREEN,
     every(14, "Four", "Four", "Four")),
    ("R9: far apart", "two of FRAC 4 in a row 20 days apart, more than 14", GREEN,
     every(20, "Four", "Four")),
    ("R9: number of a year", "more than 4 of FRAC 4 in a year", GREEN,
     every(14, *["Four", "Three"] * 4, "Four")),
    ("R6: after damage", "FRAC 7 is for before damage shows", GREEN,
     [on(120, "Seven", **SUMMER)]),
    ("R8: part rates", "FRAC 11 in part rates, 50 % on", GREEN,
     every(20, "Eleven", "Eleven", **HALF)),
    ("OSBP inhibitors alone", "FRAC 49 without a partner", GREEN, [on(0, "Forty-nine")]),
    ("OSBP inhibitors too often", "more than 1 of FRAC 49 among 3 applications", GREEN,
     every(30, "Forty-nine", "Three", "Forty-nine")),
    ("group 3 near hollow tines", "group 3 within 8 days of hollow tines on 9 Apr", TINES,
     [on(0, "Three")]),
]  # fmt: skip
AREAS = [f"Area {n:02}" for n in range(1, len(BREACHES) + 1)]
SITE = """\
[site]
latitude = 40.0
longitude = -80.0
utc_offset = "-05:00"
[[weather]]
file = "weather.csv"
[online]
use = false
"""


def run(folder, *args):
    site = str(folder / "site.toml")
    result = CliRunner().invoke(main, [*args, "--site", site], catch_exceptions=False)
    assert result.exit_code == 0, result.output
    return result.output


@pytest.fixture(scope="module")
def said(tmp_path_factory):
    """What each command says once the last record of each area is made."""
    folder = tmp_path_factory.mktemp("thirty")
    areas = (f'[[area]]\nname = "{n}"\n{b[2]}' for n, b in zip(AREAS, BREACHES, strict=True))
    (folder / "site.toml").write_text(SITE + "".join(areas))
    more = [f'[[product]]\nname = "{n}"\ncodes = ["{code}"]\n' for n, code in OF_CODES.items()]
    more += [f'[[product]]\nname = "{n}"\nactives = ["{name}"]\n' for n, name in ACTIVES.items()]
    (folder / "shelf.toml").write_text(SHELF + "".join(more))
    days = pd.date_range("2025-09-01", periods=60)
    weather = {"date": days.date, "air_max_c": 20.0, "air_min_c": 10.0, "rain_mm": 0.0}
    pd.DataFrame(weather).to_csv(folder / "weather.csv", index=False)
    (damaged,) = (n for n, b in zip(AREAS, BREACHES, strict=True) if b[0] == "R6: after damage")
    (folder / "observations.csv").write_text(
        f"date,area,disease,seen,note\n2025-07-01,{damaged},summer patch,yes,\n"
    )
    before = [
        {**row, "area": name}
        for name, (*_, rows) in zip(AREAS, BREACHES, strict=True)
        for row in rows[:-1]
    ]
    pd.DataFrame(before, columns=APPLICATION_COLUMNS).to_csv(
        folder / "applications.csv", index=False
    )
    recorded = {}
    for name, (*_, rows) in zip(AREAS, BREACHES, strict=True):
        row = {**rows[-1], "area": name, "water": "6 mm", "unit": ""}
        options = [
            text
            for key, cell in row.items()
            if cell
            for text in (f"--{key.replace('_', '-')}", cell)
        ]
        recorded[name] = run(folder, "record", "application", *options)
    offline = ["--offline", "--as-of", "2025-10-30"]
    run(folder, "page", *offline, "--out", str(folder))
    (page,) = folder.glob("*.html")
    checked = run(folder, "check")
    return {
        "record": {name: [flat(text)] for name, text in recorded.items()},
        "check": {name: told(checked, "- ", name) for name in AREAS},
        "plan": in_sections(run(folder, "plan", *offline), "- ", r"\n(AREA \d\d):"),
        "page": in_sections(page.read_text(), "<p>", r"The whole season: <bdi>(Area \d\d)<"),
    }


def flat(text):
    return " ".join(text.split())


def told(text, begin, name):
    """The entries that name an area."""
    entries = (flat(one) for one in text.split(f"\n{begin}"))
    return [one for one in entries if name in one]


def in_sections(text, begin, title):
    """By area, its section, and the entries above all sections that name it."""
    above, *rest = re.split(title, text)
    sections = dict(zip(map(str.title, rest[::2]), rest[1::2], strict=True))
    return {name: [flat(sections[name]), *told(above, begin, name)] for name in AREAS}


def test_thirty():
    assert len(BREACHES) == 30
    assert len({what for what, *_ in BREACHES}) == 30


@pytest.mark.parametrize("n", range(len(BREACHES)), ids=[what for what, *_ in BREACHES])
def test_each_is_named(said, n):
    for command, by_area in said.items():
        texts = by_area[AREAS[n]]
        assert any(BREACHES[n][1] in text for text in texts), (command, texts)
