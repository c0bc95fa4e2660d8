"""The observations file: what is read, what is refused, and which season a sight belongs to."""

from datetime import date

import pandas as pd
import pytest

from patchrisk.base.errors import InputError
from patchrisk.core.skill.cases import tie
from patchrisk.core.skill.measures import Terms
from patchrisk.read.diseases import load_library
from patchrisk.study.observations import read_disease_observations

LIBRARY = load_library()
PLACES = {"North Green": 40.0, "South Green": -37.0}
TODAY = date(2024, 6, 30)
HEADER = "place,disease,first_seen,looked,incidence,note\n"


def read(tmp_path, text):
    path = tmp_path / "seen.csv"
    path.write_text(text, encoding="utf-8")
    return read_disease_observations(path, PLACES, LIBRARY, TODAY)


def faults(tmp_path, text):
    with pytest.raises(InputError) as caught:
        read(tmp_path, text)
    return [str(f).partition("seen.csv, ")[2] for f in caught.value.faults]


def test_one_row_a_place_disease_and_season(tmp_path):
    got = read(
        tmp_path,
        HEADER
        + "north green,Summer Patch,2020-07-10,,,a note\n"
        + "North Green,summer-patch,,2020-06-20,not found,\n"
        + "North Green,summer-patch,,2020-08-01,12 %,\n"
        + "North Green,summer-patch,,2021-08-01,0,\n"
        + "\n"
        + "South Green,summer-patch,,2021-01-15,3.5,\n",
    )
    assert list(got["place"]) == ["North Green", "North Green", "South Green"]
    assert list(got["season"]) == [2020, 2021, 2020]  # the south's season began in September
    assert list(got["found"]) == [True, False, True]
    assert got["first_seen"][0] == pd.Timestamp("2020-07-10")
    assert got["clear_on"][0] == pd.Timestamp("2020-06-20")
    assert got["incidence"][0] == 12
    assert got["clear_on"][1] == pd.Timestamp("2021-08-01")
    assert got["first_seen"][2] == pd.Timestamp("2021-01-15")
    assert got["lines"][0] == "2 3 4"


def test_spring_symptoms_belong_to_the_season_that_began_in_autumn(tmp_path):
    got = read(tmp_path, HEADER + "North Green,spring-dead-spot,2020-03-27,,,\n")
    assert list(got["season"]) == [2019]
    assert list(got["season_first"]) == [pd.Timestamp("2019-08-15")]


def test_a_look_before_the_disease_can_show_is_no_absence(tmp_path):
    # Summer patch shows from June to September in the north (its file), December to March south.
    rows = [("North Green", "2020-04-10"), ("North Green", "2021-07-10"),
            ("South Green", "2020-07-10"), ("South Green", "2022-01-10")]  # fmt: skip
    text = "".join(f"{place},summer-patch,,{day},not found,\n" for place, day in rows)
    got = read(tmp_path, HEADER + text).set_index(["place", "season"])["counts"]
    assert got.to_dict() == {
        ("North Green", 2020): False,
        ("North Green", 2021): True,
        ("South Green", 2019): False,
        ("South Green", 2021): True,
    }


def test_the_last_telling_look_stands_for_an_absence(tmp_path):
    got = read(
        tmp_path,
        HEADER
        + "North Green,summer-patch,,2020-08-10,not found,\n"
        + "North Green,summer-patch,,2020-11-10,not found,\n",
    )
    assert got["clear_on"][0] == pd.Timestamp("2020-08-10")


def test_every_fault_in_one_go(tmp_path):
    got = faults(
        tmp_path,
        HEADER
        + "Nroth Green,summer patch,2020-07-10,,,\n"
        + "North Green,summer pach,2020-07-10,,,\n"
        + "North Green,summer-patch,2024-07-01,,,\n"
        + "North Green,summer-patch,2021-02-30,,,\n"
        + "North Green,summer-patch,10/07/2021,,,\n"
        + "North Green,summer-patch,,2022-07-10,plenty,\n"
        + "North Green,summer-patch,,,5,\n"
        + "North Green,summer-patch,,,,\n"
        + "North Green,summer-patch,2022-07-10,2022-07-11,4,\n"
        + "North Green,pythium root rot,2022-07-10,,,\n"
        + "North Green,dark root infecting fungi,2022-07-10,,,\n"
        + "North Green,summer-patch,0202-07-10,,,\n"
        + "North Green,summer-patch,,2022-07-10,120,\n",
    )
    assert len(got) == 13
    assert [line.partition(",")[0] for line in got] == [f"row {n}" for n in range(2, 15)]
    assert got[0] == (
        "row 2, column 'place': no site 'Nroth Green': write the name of a site, "
        "such as North Green, South Green"
    )
    assert "column 'disease': no disease 'summer pach': write one of summer-patch" in got[1]
    assert "2024-07-01 is in the future: write 2024-06-30 or an earlier day" in got[2]
    for line in got[3:5]:
        assert "write a date of the calendar as YYYY-MM-DD" in line
    assert "'plenty': write percent from 0 to 100, or not found" in got[5]
    assert "an incidence without its date" in got[6]
    assert "no date: write first_seen, or looked and incidence" in got[7]
    assert "write two rows" in got[8]
    assert "pythium-root-rot has no rules" in got[9]
    assert "is a group of diseases" in got[10]
    assert "the year 202" in got[11]
    assert "'120'" in got[12]


def test_rows_that_contradict_each_other(tmp_path):
    got = faults(
        tmp_path,
        HEADER
        + "North Green,summer-patch,2020-07-10,,,\n"
        + "North Green,summer-patch,2020-07-12,,,\n"
        + "North Green,summer-patch,2020-07-10,,,\n"
        + "North Green,summer-patch,,2020-07-01,4,\n"
        + "North Green,summer-patch,,2020-07-10,not found,\n"
        + "North Green,summer-patch,,2020-07-10,5,\n"
        + "South Green,summer-patch,2020-07-10,,,\n",
    )
    assert [line.partition(",")[0] for line in got] == ["row 3", "row 4", "row 5", "row 6", "row 7"]
    assert "first seen on 2020-07-10 in row 2 already" in got[0]
    assert "the same as row 2: take one of them out" in got[1]
    assert "found on 2020-07-01, before it was first seen (2020-07-10, row 2)" in got[2]
    assert "not found on the day it was first seen (row 2)" in got[3]
    assert "a look on the same day in row 6 already" in got[4]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("plaec,disease,first_seen\n", "no column place"),
        ("place,disease\nNorth Green,summer-patch\n", "no column first_seen or looked"),
        ("place,disease,first_seen,incidnce\n", "did you mean incidence?"),
        ("place,disease,first_seen,first_seen\n", "there twice"),
        (HEADER, "no rows"),
        (HEADER + "North Green,summer-patch,2020-07-10,,,a,b\n", "7 cells under 6 columns"),
        (HEADER + "North Green,summer-patch,,2020-07-10,5,5,\n", "7 cells under 6 columns"),
        (
            HEADER + 'North Green,summer-patch,,2020-07-10,5,"a\nNorth Green,summer-patch,,x,5,\n',
            "line 2: quotes that don't match",
        ),
    ],
)
def test_a_file_of_another_shape(tmp_path, text, said):
    with pytest.raises(InputError, match=said.replace("?", r"\?")):
        read(tmp_path, text)


def test_semicolons_and_a_byte_order_mark(tmp_path):
    path = tmp_path / "seen.csv"
    path.write_text(
        "place;disease;first_seen\nNorth Green;summer-patch;2020-07-10\n", encoding="utf-8-sig"
    )
    assert len(read_disease_observations(path, PLACES, LIBRARY, TODAY)) == 1


def seasons_table(rows):
    """A seasons table of (site, rule, first, last, opened, complete)."""
    columns = ["site", "rule", "season_first", "season_last", "opened", "complete"]
    table = pd.DataFrame(rows, columns=columns)
    for name in ("season_first", "season_last", "opened"):
        table[name] = pd.to_datetime(table[name])
    return table.assign(
        soil="measured",
        disease="spring-dead-spot",
        meaning="treat",
        season=table["season_first"].dt.year,
        latitude=40.0,
        longitude=-80.0,
        pressure_season=5.0,
    )


def test_each_rule_answers_for_its_own_season(tmp_path):
    seen = read(
        tmp_path,
        HEADER
        + "North Green,spring-dead-spot,2020-03-27,,,\n"
        + "North Green,spring-dead-spot,,2021-04-20,not found,\n"
        + "North Green,spring-dead-spot,2023-04-01,,,\n"
        + "North Green,summer-patch,2020-07-10,,,\n",
    )
    table = seasons_table(
        [
            ("North Green", "a", "2018-08-15", "2018-12-15", "2018-10-01", True),
            ("North Green", "a", "2019-08-15", "2019-12-15", "2019-10-11", True),
            ("North Green", "a", "2020-08-15", "2020-12-15", None, True),
            ("North Green", "a", "2021-08-15", "2021-12-15", "2021-10-01", True),
            ("North Green", "a", "2023-08-15", "2023-12-15", "2023-10-01", True),
            ("South Green", "a", "2019-08-15", "2019-12-15", "2019-09-01", True),
            ("North Green", "b", "2019-08-15", "2020-05-31", "2019-09-20", False),
            ("North Green", "spring", "2019-04-15", "2019-05-31", "2019-05-01", True),
            ("North Green", "spring", "2020-04-15", "2020-05-31", "2020-05-02", True),
        ]
    )
    a, b, spring = tie(table, seen)
    assert (a.rule, b.rule) == ("a", "b")
    assert a.opened.astype(str).tolist() == ["2019-10-11", "NaT", "NaT"]
    # The season of 2022 is lacking: neither 2021 nor 2023 answers for the spring of 2023.
    assert a.known.tolist() == [True, True, False]
    assert a.found.tolist() == [True, False, True]
    assert a.season.tolist() == [2019, 2020, 2022]
    # The one sight, on 27 March, is day 225 of a season that begins on 15 August; 21 days before
    # it is 6 March, day 148 from 11 October with both counted.
    terms = Terms(21, 84, 3, 3)
    assert a.landmark(terms) == (date(2020, 3, 6) - date(2019, 8, 15)).days
    assert a.score("days since opening", terms)[:2].tolist() == [148.0, 0.0]
    assert a.places == ("North Green",) * 3
    assert b.known.tolist() == [False, False, False]
    # The likely opening counts, also where missing days could have moved it; two days do not.
    opened = table["opened"]
    likely = table.assign(complete=False, likely_from=opened, likely_to=opened)
    likely.loc[1, "likely_from"] -= pd.Timedelta(3, "D")
    moved, *_ = tie(likely, seen)
    assert moved.known.tolist() == [False, True, False]
    likely.loc[1, ["likely_from", "likely_to"]] = pd.Timestamp("2019-10-05")
    moved, *_ = tie(likely, seen)
    assert moved.known.tolist() == [True, True, False]
    assert str(moved.opened[0]) == "2019-10-05"
    # A rule whose season comes after the symptoms of 27 March opened too late, not a year before.
    assert spring.lead[0] == -36
