"""Reading disease files: what is refused, how it is said, and the user's own files."""

import pytest

from patchrisk.base import resources
from patchrisk.base.errors import InputError
from patchrisk.read.diseases import load_diseases, load_library

SHIPPED = resources.thresholds() / "diseases"

SMALL = """
name = "test blight"
in_short = "Only for tests."

[no_forecast]
text = "None."
source = "book"
confidence = "weak"

[[pathogen]]
name = "Testus"
kind = "oomycete"
source = "book"

[[host]]
grass = "creeping bentgrass"
species = "Agrostis stolonifera"
uses = ["green"]
source = "book"

[expression]
shown_by = ["heat"]
months = { value = [7], source = "book" }
look_for = { text = "Spots.", source = "book", confidence = "weak" }
samples = { text = "One plug.", source = "book", confidence = "weak" }

[treatment]
interval = { value = 28, unit = "days", source = "book", confidence = "weak" }

[sources.book]
short = "Book 2001"
citation = "A book."
year = 2001
seen = "memory"
"""

RULE = """
[[window]]
id = "a"
meaning = "treat"
statistic = { value = "daily mean", source = "book" }
depth = { value = 2, unit = "in", source = "book", confidence = "weak" }
direction = "rising"
low = { value = 65, unit = "degF", source = "book", confidence = "weak" }
days = { value = 3, unit = "days", source = "book", confidence = "weak" }
season = { start = "03-01", end = "08-31", source = "book" }
"""

FORECAST = SMALL.replace(SMALL[SMALL.index("[no_forecast]") : SMALL.index("[[pathogen]]")], RULE)


def refused(folder, text, name="test-blight"):
    (folder / f"{name}.toml").write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as caught:
        load_library(folder)
    assert {fault.source for fault in caught.value.faults} == {str(folder / f"{name}.toml")}
    return [(fault.place, fault.found, fault.cure) for fault in caught.value.faults]


def test_every_shipped_file_is_valid():
    library = load_library()
    assert {*library.diseases, *library.groups} == {path.stem for path in SHIPPED.glob("*.toml")}
    assert library.diseases


def test_the_small_files_are_valid(tmp_path):
    (tmp_path / "one.toml").write_text(SMALL, encoding="utf-8")
    (tmp_path / "two.toml").write_text(FORECAST, encoding="utf-8")
    diseases = load_diseases(tmp_path)
    assert diseases["one"].rules() == ()
    assert diseases["two"].rules("treat")[0].low_c == pytest.approx(18 + 1 / 3, abs=1e-12)
    assert diseases["two"].rules("infect") == ()


def test_a_rule_that_closes_after_a_run_of_days(tmp_path):
    number = 'unit = "{}", source = "book", confidence = "weak" }}'
    closing = f"""close_above = {{ value = 28, {number.format("degC")}
close_days = {{ value = 4, {number.format("days")}
"""
    (tmp_path / "one.toml").write_text(
        FORECAST.replace("[[pathogen]]", closing + "[[pathogen]]"), encoding="utf-8"
    )
    (rule,) = load_diseases(tmp_path)["one"].rules()
    assert (rule.close_above_c, rule.close_below_c, rule.close_days) == (28, None, 4)


@pytest.mark.parametrize(
    ("old", "new", "place", "found", "cure"),
    [
        ("low = {", "lo = {", "window 1, lo", "unknown key 'lo'", "did you mean low?"),
        (
            'low = { value = 65, unit = "degF", ',
            "low = { value = 65, ",
            "window 1, low, unit",
            "missing",
            'add unit = "degC", "degF", "cm", "in", "days" or the like',
        ),
        (
            'unit = "degF", source = "book", ',
            'unit = "degF", ',
            "window 1, low, source",
            "missing",
            'add source = "KEY" and describe it in a table [sources.KEY]',
        ),
        (
            'unit = "degF", source = "book"',
            'unit = "degF", source = "boook"',
            "window 1, low, source",
            "unknown source 'boook'",
            "add a table [sources.boook], or write one of book",
        ),
        (
            'value = 65, unit = "degF"',
            'value = 291.5, unit = "K"',
            "window 1, low, unit",
            "unit 'K'",
            "write degC, degF (degC = K - 273.15)",
        ),
        (
            'value = 65, unit = "degF"',
            'value = 65, unit = "degC"',
            "window 1, low, value",
            "65 degC can't be soil temperature",
            "write one from -30 to 60 degC",
        ),
        (
            "value = 65",
            'value = "65"',
            "window 1, low, value",
            "'65'",
            'write a plain number, such as value = 65, with unit = "degF" beside it',
        ),
        (
            "value = 65",
            "value = nan",
            "window 1, low, value",
            "nan",
            'write a plain number, such as value = 65, with unit = "degF" beside it',
        ),
        (
            "value = 3, ",
            "value = 2.5, ",
            "window 1, days",
            "2.5 days",
            "write whole days from 1, with best = in a range",
        ),
        (
            "value = 65",
            "low = 70, high = 65",
            "window 1, low",
            "low, best and high out of order",
            "write them rising",
        ),
        (
            "value = 65",
            "value = 65, high = 70",
            "window 1, low",
            "both value and a range",
            "write value, or low and high",
        ),
        (
            "value = 65",
            "low = 65",
            "window 1, low",
            "no value",
            "write value = ..., or low = ... and high = ...",
        ),
        (
            '"rising"',
            '"falling"',
            "window 1",
            "a falling rule has the wrong edges",
            "write high only",
        ),
        (
            '"rising"',
            '"up"',
            "window 1, direction",
            "'up'",
            "write one of 'rising', 'falling' or 'band'",
        ),
        (
            '"daily mean"',
            '"rolling mean"',
            "window 1, statistic",
            "mean_of and statistic disagree",
            "write mean_of for a rolling mean, and only then",
        ),
        (
            'start = "03-01"',
            'start = "02-30"',
            "window 1, season, start",
            "'02-30' is no day of the year",
            'write month and day, as "04-15"',
        ),
        (
            'id = "a"',
            'id = "A b"',
            "window 1, id",
            "'A b' is no id",
            "write small letters, digits and hyphens",
        ),
        (
            "year = 2001",
            "year = 20001",
            "sources, book, year",
            "20001 is no year of publication",
            'write it as 2008, or "undated"',
        ),
        ('uses = ["green"]', "uses = []", "host 1, uses", "an empty list", "write at least one"),
        (
            'shown_by = ["heat"]',
            'shown_by = "heat"',
            "expression, shown_by",
            "'heat'",
            "write a list, in [square brackets]",
        ),
        (
            "value = [7]",
            "value = [13]",
            "expression, months, value 1",
            "13",
            "input should be less than or equal to 12",
        ),
        (
            'name = "test blight"',
            'name = " "',
            "name",
            "empty text",
            "write it out, or leave the key away",
        ),
        (
            RULE,
            "",
            "",
            "windows and no_forecast disagree",
            "write [[window]] rules, or say in no_forecast why there are none",
        ),
        (RULE, RULE + RULE, "window", "id 'a' is there twice", "give each window its own id"),
        (
            "[treatment]",
            "[treatment]\nrate = 3",
            "treatment, rate",
            "unknown key 'rate'",
            "did you mean late?",
        ),
    ],
)
def test_one_fault_one_line_with_its_cure(tmp_path, old, new, place, found, cure):
    assert old in FORECAST
    assert refused(tmp_path, FORECAST.replace(old, new, 1)) == [(place, found, cure)]


def test_a_plain_number_for_a_table(tmp_path):
    text = FORECAST.replace('{ value = 2, unit = "in", source = "book", confidence = "weak" }', "2")
    ((place, found, cure),) = refused(tmp_path, text)
    assert (place, found) == ("window 1, depth", "2")
    assert "value" in cure
    assert "unit" in cure
    assert "source" in cure


def test_wrong_syntax_names_the_line(tmp_path):
    ((place, found, _),) = refused(tmp_path, "name = \n")
    assert place.startswith("line 1")
    assert "not TOML" in found


def test_a_faulty_source_is_told_once(tmp_path):
    places = [
        p for p, _, _ in refused(tmp_path, FORECAST.replace('seen = "memory"', 'seen = "heard"'))
    ]
    assert places == ["sources, book, seen"]


def test_all_faults_of_all_files_in_one_go(tmp_path):
    several = FORECAST.replace('unit = "degF", source = "book", ', 'unit = "degF", ')
    several = several.replace("value = 65", "value = 650").replace("name =", "nmae =", 1)
    (tmp_path / "a.toml").write_text(several, encoding="utf-8")
    (tmp_path / "b.toml").write_text("x = [", encoding="utf-8")
    (tmp_path / "c.toml").write_text(SMALL.replace("value = 28, ", ""), encoding="utf-8")
    with pytest.raises(InputError) as caught:
        load_library(tmp_path)
    said = [(fault.source.rsplit("/", 1)[-1], fault.place) for fault in caught.value.faults]
    assert sorted(said) == [
        ("a.toml", "name"),
        ("a.toml", "nmae"),
        ("a.toml", "window 1, low, source"),
        ("a.toml", "window 1, low, value"),
        ("b.toml", caught.value.faults[4].place),
        ("c.toml", "treatment, interval"),
    ]


def test_a_file_of_the_users_takes_the_place_of_a_shipped_one(tmp_path):
    text = (SHIPPED / "summer-patch.toml").read_text(encoding="utf-8")
    changed = text.replace("low = { value = 65,", "low = { value = 66,", 1)
    (tmp_path / "summer-patch.toml").write_text(changed, encoding="utf-8")
    (tmp_path / "my-blight.toml").write_text(SMALL, encoding="utf-8")
    own, shipped = load_diseases(tmp_path), load_diseases()
    assert set(own) - set(shipped) == {"my-blight"}
    rule = own["summer-patch"].published("rutgers-max-5d").rule
    assert rule.low_c == pytest.approx((66 - 32) * 5 / 9, abs=1e-12)
    assert shipped["summer-patch"].rules()[0].low_c != rule.low_c
    assert own["take-all-patch"] == shipped["take-all-patch"]


def test_a_folder_that_is_not_there(tmp_path):
    with pytest.raises(InputError, match="no such folder"):
        load_library(tmp_path / "nowhere")


def test_an_unknown_disease_says_what_comes_near(library):
    with pytest.raises(InputError, match="summer-patch"):
        library.find("sumer patch")


@pytest.mark.parametrize(
    ("name", "key"),
    [
        ("summer-patch", "summer-patch"),
        ("Summer Patch", "summer-patch"),
        ("bermudagrass decline", "take-all-root-rot"),
        ("Ophiobolus patch", "take-all-patch"),
        ("ERI fungi", "dark-root-infecting-fungi"),
    ],
)
def test_diseases_go_by_all_their_names(library, name, key):
    assert library.find(name) == key


def test_a_number_tells_where_it_comes_from(library):
    published = library.diseases["summer-patch"].published("rutgers-kent-5d")
    low = published.numbers["low"]
    assert (low.printed, low.quantity) == ("65 °F", "soil temperature")
    assert (low.source[0].year, low.confidence, low.seen) == (2009, "expert opinion", "seen")
    assert "Clarke" in low.citation
    days = published.numbers["days"]
    assert (days.printed, days.canonical, days.span) == ("5 to 6 days", 5, (5, 6))
    assert set(published.numbers) == {"low", "days", "depth"}


def test_files_once_read_cannot_be_changed(library):
    with pytest.raises(ValueError, match="frozen"):
        library.diseases["summer-patch"].published("msu-first-65f").low.value = 1.0
