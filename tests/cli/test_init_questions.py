"""What ``patchrisk init`` asks where somebody can answer, slips and all, and what it writes."""

import math
from datetime import date, datetime, timedelta

import pytest
from click.testing import CliRunner

from patchrisk.base.errors import InputError
from patchrisk.cli import main
from patchrisk.read.area import HistoryEntry
from patchrisk.read.diseases import load_library
from patchrisk.read.site import read_site

# The diseases of creeping bentgrass as they are numbered: by name.
ON_BENT = sorted(
    key for key, disease in load_library().diseases.items() if disease.on("creeping bentgrass")
)
PLACE = ["Somewhere", "40.1", "-82.9", "", "", ""]
GREENS = ["", "", "", ""]


@pytest.fixture
def asked(tmp_path, monkeypatch):
    """Answer the questions of init; the output and the site that was written."""
    monkeypatch.setattr("patchrisk.cli.init._can_ask", lambda: True)
    path = tmp_path / "site.toml"

    def asked(*answers, options=()):
        told = "".join(f"{answer}\n" for answer in answers) + "\n\n"
        result = CliRunner().invoke(main, ["init", "--file", str(path), *options], input=told)
        assert result.exit_code == 0, result.output
        checked = CliRunner().invoke(main, ["check", "--site", str(path)])
        assert checked.exit_code == 0, checked.output
        return result.output, read_site(path)

    return asked


def number(key):
    return 1 + ON_BENT.index(key)


def test_history_and_age_are_written_as_answered(asked):
    _, site = asked(
        *PLACE, *GREENS, f"{number('dead-spot')}, summer patch, pythium-root-rot", "laboratory", "",
        "suspected", "2019-09", "", "",
    )  # fmt: skip
    (area,) = site.area
    assert area.history_known == {
        "dead spot": HistoryEntry("laboratory"),
        "summer patch": HistoryEntry("seen"),
        "Pythium root rot": HistoryEntry("suspected"),
    }
    assert area.sown_between == (date(2019, 9, 1), date(2019, 9, 30))


def test_who_does_not_know_says_nothing(asked):
    output, site = asked(*PLACE, *GREENS, "?", "?", "-", "")
    assert site.area[0].history_known == {}
    assert site.area[0].age_years(date(2026, 5, 1)) is None
    assert output.count(": I don't know)") == 2  # two questions, and none on each disease


def test_one_of_those_named_may_not_be_known(asked):
    named = f"{number('dead-spot')}, {number('fairy-ring')}"
    _, site = asked(*PLACE, *GREENS, named, "?", "none in 3 years", "?", "-", "")
    assert site.area[0].history_known == {"fairy ring": HistoryEntry("none", 3)}


def test_none_is_said_of_every_disease_that_can_come(asked):
    _, site = asked(*PLACE, *GREENS, "none", "0", "7", "?", "-", "")
    known = site.area[0].history_known
    assert set(known.values()) == {HistoryEntry("none", 7)}
    assert "summer patch" in known
    assert "large patch" not in known  # not on bentgrass


def test_a_group_that_nobody_told_apart(asked):
    _, site = asked(*PLACE, *GREENS, "patch diseases", "laboratory", "?", "-", "")
    assert site.area[0].history_known == {"dark root-infecting fungi": HistoryEntry("laboratory")}


@pytest.mark.parametrize(
    ("right", "slips", "said"),
    [
        (1, ["95", "nan", "north"], "write degrees north, from -90 to 90"),
        (3, ["5"], '"+HH:MM"'),
        (4, ["imperial"], "write one of 'metric' or 'us'"),
        (6, ["x" * 81], "write a name in quotes, of up to 80 characters"),
        (7, ["creping bentgrass"], 'did you mean "creeping bentgrass"?'),
        (7, ["bermuda"], 'did you mean "bermudagrass"?'),
        (8, ["gren"], "write one of 'green', 'tee'"),
        (9, ["gravel"], "write one of 'sand green'"),
        (10, ["99"], f"there is no number 99: write 1 to {len(ON_BENT)}"),
        (10, ["sumer patch"], "write one of summer-patch"),
        (10, ["large patch"], "large patch is not known on this grass"),
        (11, ["labratory", "none in 100 years"], 'write "laboratory", "seen", "suspected" or'),
        (12, ["19", "2019-13"], "write a year, as 2019"),
        (12, ["2199"], "2199 is after"),
        (13, ["greens"], "there is an area 'greens' already: give it another name"),
    ],
)
def test_a_slip_is_said_and_asked_again_and_nothing_is_lost(asked, right, slips, said):
    answers = [*PLACE, *GREENS, "summer patch", "seen", "2015", "-", ""]
    output, site = asked(*answers[:right], *slips, *answers[right:])
    assert said in output
    assert output.count("Error: ") == len(slips)
    (area,) = site.area
    assert (area.name, area.turf, area.use) == ("Greens", "creeping bentgrass", "green")
    assert area.history_known == {"summer patch": HistoryEntry("seen")}
    assert area.sown == "2015"


@pytest.mark.parametrize(
    "text",
    [
        "annual bluegrass, creeping bentgrass",
        'poa and "bentgrass"',
        "poa + bentgrass",
        f"{1 + load_library().grasses.index('annual bluegrass')}, creeping bentgrass",
    ],
)
def test_a_mixture(asked, text):
    _, site = asked(*PLACE, "Greens", text, "", "", "?", "?", "-", "")
    assert len(site.area[0].grasses) == 2


def test_a_grass_that_no_file_knows_must_be_meant(asked):
    output, site = asked(*PLACE, "Tees", "crabgrass", "n", "crabgrass", "y", "tee", "", "-", "")
    assert "No disease file knows crabgrass" in output
    assert site.area[0].turf == "crabgrass"


def test_several_areas_and_age_only_where_it_matters(asked):
    output, site = asked(
        *PLACE, *GREENS, "?", "2001", "Lawns", "centipedegrass", "lawn", "clay", "1", "seen",
        "Rough", "fine fescue", "rough", "loam", "?", "?", "none", "",
    )  # fmt: skip
    assert [area.name for area in site.area] == ["Greens", "Lawns", "Rough"]
    assert "When was Greens sown" in output
    assert "When was Lawns sown" not in output


def test_an_area_given_by_option_is_asked_for_its_history_alone(asked):
    output, site = asked(
        *PLACE, "1", "seen", "?", "",
        options=["--area", "Lawn: perennial ryegrass + fine fescue, lawn, clay"],
    )  # fmt: skip
    assert "Grass of" not in output
    assert site.area[0].grasses == ("perennial ryegrass", "fine fescue")
    assert list(site.area[0].history_known.values()) == [HistoryEntry("seen")]


def test_a_folder_that_is_not_there_is_said_before_anything_is_asked(tmp_path, monkeypatch):
    monkeypatch.setattr("patchrisk.cli.init._can_ask", lambda: True)
    result = CliRunner().invoke(main, ["init", "--file", str(tmp_path / "no" / "site.toml")])
    assert result.exit_code == 2
    assert "there is no such folder" in result.stderr
    assert "Name of the site" not in result.output


def hours(days, columns):
    """Rows of an hourly export with a daily wave in each column [degF]."""
    rows = []
    for n in range(24 * days):
        at = datetime(2026, 4, 1) + timedelta(hours=n)
        wave = math.sin((at.hour - 9) / 24 * 2 * math.pi)
        values = ",".join(f"{56 + n / 200 + 4 * wave / k:.1f}" for k in range(1, columns + 1))
        rows.append(f"{at:%Y-%m-%d %H:%M},{values},3.6\n")
    return "".join(rows)


@pytest.fixture
def files(tmp_path):
    """Exports of two loggers, one of which does not say what its ports are, and own weather."""
    greens = "Time,Soil temperature 2 in (degF),Battery V\n" + hours(40, 1)
    ports = "Time,Port 1,Port 2,Battery V\n" + hours(40, 2)
    days = [f"{date(2026, 4, 1) + timedelta(days=n)},{4 + n % 5},{15 + n % 7}\n" for n in range(40)]
    (tmp_path / "greens.csv").write_text(greens)
    (tmp_path / "ports.csv").write_text(ports)
    (tmp_path / "weather.csv").write_text("day,tmin (degC),tmax (degC)\n" + "".join(days))


COURSE = [
    *PLACE, *GREENS, "?", "?", "Fairways", "bermudagrass", "3", "3", "?", "?",
    "Lawns", "1", "lawn", "loam", "?", "?", "-",
]  # fmt: skip
FILES = ["greens.csv", "y", "1", "ports.csv", "2 = 2in, 3 = 4in", "y", "Fairways, 3", ""]


def test_three_areas_two_loggers_and_a_weather_file(asked, files, tmp_path):
    output, site = asked(*COURSE, *FILES, "weather.csv", "", "")
    assert [(a.name, a.use, a.root_zone) for a in site.area] == [
        ("Greens", "green", "sand green"),
        ("Fairways", "fairway", "loam"),
        ("Lawns", "lawn", "loam"),
    ]
    assert site.area[2].turf == "Kentucky bluegrass"
    greens, ports = site.logger
    assert greens.areas == ["Greens"]
    assert greens.columns_cm == {"Soil temperature 2 in (degF)": pytest.approx(5.08)}
    assert greens.unit is None  # the heading says it
    assert ports.areas == ["Fairways", "Lawns"]
    assert ports.columns_cm == {"Port 1": pytest.approx(5.08), "Port 2": pytest.approx(10.16)}
    assert ports.unit == "degF"
    (weather,) = site.weather
    assert weather.columns == {"air_min_c": "tmin (degC)", "air_max_c": "tmax (degC)"}
    assert "2 columns could be soil temperature: column 2 'Port 1'" in output
    assert "soil temperature at 5.1 cm in degF, as its values show" in output


@pytest.mark.parametrize(
    ("file", "old", "new", "said"),
    [
        ("ports.csv", "Port 2", "Port 7", "no column 'Port 2'"),
        ("weather.csv", "tmin", "grass min", "no column 'tmin (degC)'"),
    ],
)
def test_a_file_whose_columns_change_after_it_was_confirmed_is_refused(
    asked, files, tmp_path, file, old, new, said
):
    asked(*COURSE, *FILES, "weather.csv", "", "")
    path = tmp_path / file
    path.write_text(path.read_text().replace(old, new, 1))
    checked = CliRunner().invoke(main, ["check", "--site", str(tmp_path / "site.toml")])
    assert checked.exit_code == 2
    assert said in checked.stderr


@pytest.mark.parametrize(
    ("right", "slips", "said"),
    [
        (0, ["green.csv"], "no file 'green.csv'"),
        (2, ["", "Tees", "4"], "there is no number 4: write 1 to 3"),
        (4, ["2", "2 = 2", "2 = 90in"], "'2' says no pair: write column = depth"),
        (4, ["4 = 2in"], "this can't be soil temperature"),
    ],
)
def test_a_slip_in_what_is_said_of_a_file_loses_nothing(asked, files, right, slips, said):
    output, site = asked(*COURSE, *FILES[:right], *slips, *FILES[right:], "")
    assert said in output
    assert [logger.areas for logger in site.logger] == [["Greens"], ["Fairways", "Lawns"]]


def test_what_is_read_wrong_is_said_to_be_and_read_as_told(asked, files):
    wrong = ["greens.csv", "n", "2 = 4 in", "y", "all", "", ""]
    _, site = asked(*COURSE, *wrong)
    (logger,) = site.logger
    assert logger.columns_cm == {"Soil temperature 2 in (degF)": pytest.approx(10.16)}
    assert logger.areas == ["Greens", "Fairways", "Lawns"]


def test_a_file_may_be_left_out_after_all(asked, files):
    _, site = asked(*COURSE, "ports.csv", "", "", "")
    assert site.logger == []


def test_two_loggers_without_areas_are_a_question_where_there_are_two_areas(tmp_path):
    area, logger = '[[area]]\nname = "{}"\n', '[[logger]]\nfile = "{}.csv"\n'
    head = "[site]\nlatitude = 40.0\nlongitude = -80.0\n"
    two = head + area.format("Greens") + area.format("Tees") + logger.format("a")
    path = tmp_path / "site.toml"
    for name in "ab":
        (tmp_path / f"{name}.csv").write_text("")
    path.write_text(two + logger.format("b"))
    with pytest.raises(InputError) as caught:
        read_site(path)
    (fault,) = caught.value.faults
    assert fault.found == "'a.csv' and 'b.csv' name no areas, and there are 2"
    assert 'write areas = ["Greens"] under each [[logger]]' in fault.cure
    path.write_text(two + logger.format("b") + 'areas = ["Tees"]\n')
    assert len(read_site(path).logger) == 2
    path.write_text(head + logger.format("a") + logger.format("b"))
    assert len(read_site(path).logger) == 2
