"""Areas of a site file: grasses, how diseases are known, age, costs; every cure followed works."""

import re
from datetime import date, timedelta
from pathlib import Path

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from pydantic import ValidationError

from patchrisk.base.errors import InputError
from patchrisk.read.area import Area, HistoryEntry, read_history_entry
from patchrisk.read.site import read_site
from patchrisk.read.site_data import read_all

PLACE = "[site]\nlatitude = 40.0\nlongitude = -83.0\n"
AREA = PLACE + '[[area]]\nname = "Greens"\n'


@pytest.fixture
def read(tmp_path):
    """Read a site with one area of these lines, against the disease files."""

    def read(lines):
        path = tmp_path / "site.toml"
        path.write_text(AREA + lines)
        return read_all(path)[0].area[0]

    return read


def faults(read, lines):
    with pytest.raises(InputError) as caught:
        read(lines)
    return [str(fault).partition("site.toml, ")[2] for fault in caught.value.faults]


def test_a_list_of_names_means_seen(read):
    area = read('history = ["summer patch", "fairy-ring"]\n')
    assert area.history_known == {
        "summer patch": HistoryEntry("seen"),
        "fairy-ring": HistoryEntry("seen"),
    }


def test_a_table_says_how_each_is_known(read):
    area = read(
        'history = { "summer patch" = "laboratory", take-all-patch = "Suspected", '
        '"fairy ring" = "none in 5 years", "patch diseases" = "seen" }\n'
    )
    assert area.history_known == {
        "summer patch": HistoryEntry("laboratory"),
        "take-all-patch": HistoryEntry("suspected"),
        "fairy ring": HistoryEntry("none", 5),
        "patch diseases": HistoryEntry("seen"),
    }


def test_without_a_word_nothing_is_known(read):
    area = read("")
    assert area.history_known == {}
    assert area.grasses == ()
    assert area.turf_words == ""
    assert area.prevent == []
    assert area.age_years(date(2026, 5, 18)) is None
    assert (area.application_cost, area.outbreak_cost) == (None, None)


@given(st.integers(1, 99), st.sampled_from(["none in {} years", "  None  in {} YEAR "]))
def test_none_in_years_is_read_whatever_the_capitals_and_spaces(years, written):
    known = read_history_entry(written.format(years))
    assert known == HistoryEntry("none", years)
    assert read_history_entry(str(known)) == known


@given(
    st.one_of(
        st.text(max_size=40), st.integers(), st.floats(), st.booleans(), st.lists(st.integers())
    )
)
def test_whatever_else_is_written_is_a_fault_with_a_cure_and_never_a_guess(value):
    try:
        known = read_history_entry(value)
    except ValueError as error:
        found, cure = error.args
        assert found
        for word in re.findall(r'"([^"]+)"', cure):
            read_history_entry(word)
    else:
        assert read_history_entry(str(known)) == known
        assert isinstance(value, str)
        assert " ".join(value.split()).casefold().startswith(known.how)


@given(st.dictionaries(st.text("abcdef ", min_size=3, max_size=9), st.integers(0, 120)))
def test_one_wrong_entry_of_a_table_is_named_and_only_that(table):
    words = {name: f"none in {years} years" for name, years in table.items()}
    wrong = {name for name, years in table.items() if not 1 <= years <= 99}
    assume(len({name.strip() for name in words}) == len(words))
    if wrong:
        with pytest.raises(ValidationError) as caught:
            Area.model_validate({"history": words})
        assert {error["loc"][-1] for error in caught.value.errors()} == wrong
    else:
        known = Area.model_validate({"history": words}).history_known
        assert {name: how.years for name, how in known.items()} == table


SLIPS = [
    ('history = { "summer patch" = "sean" }', "area 1, history, summer patch: 'sean': write "),
    ('history = { "summer patch" = "seen: 2019" }', "'seen: 2019': write \"laboratory\", "),
    ('history = { "fairy ring" = "none in 0 years" }', "write whole years from 1 to 99"),
    ('history = { "fairy ring" = "none in 100 years" }', "write whole years from 1 to 99"),
    ('history = { "fairy ring" = "none" }', "'none': write "),
    ('history = { "fairy ring" = 5 }', "area 1, history, fairy ring: 5: write "),
    ('history = "summer patch"', "area 1, history: 'summer patch': write names, as ["),
    ("history = [3]", "area 1, history: [3]: write names, as ["),
    ('history = ["sumer patch"]', "'sumer patch': no disease of this name: write one of summer-"),
    ('history = { "sumer patch" = "seen" }', "no disease of this name: write one of summer-patch"),
    ('history = ["fairy ring", "fairy-ring"]', "are one disease: take one of the two out"),
    (
        'history = { "take-all root rot" = "seen", "bermudagrass decline" = "none in 2 years" }',
        "'take-all root rot' and 'bermudagrass decline' are one disease: take one of the two out",
    ),
    ('history = ["fairy ring", "Fairy ring"]', "'Fairy ring' stands there twice: take one"),
    ('prevent = "summer patch"', "area 1, prevent: 'summer patch': write a list of diseases"),
    ('prevent = ["sumer patch"]', "area 1, prevent: 'sumer patch': no disease of this name"),
    ('prevent = ["poa patch"]', "area 1, prevent: 'poa patch': no disease of this name"),
    ('prevent = ["fairy ring", "fairy-ring"]', "are one disease: take one of the two out"),
    ("sown = 19", "area 1, sown: '19': write a year, as 2019, a month"),
    ("sown = 1019", "area 1, sown: '1019': write a year from 1800 to 2200"),
    ("sown = true", "area 1, sown: True: write a year"),
    ('sown = "2019-13"', "area 1, sown: '2019-13': write a year"),
    ('sown = "2019-02-30"', "area 1, sown: '2019-02-30': write a year"),
    ('sown = "09/2019"', "area 1, sown: '09/2019': write a year"),
    ("sown = 2019-09-14T10:00:00", "area 1, sown: 2019-09-14 10:00:00: write a year"),
    ("age = 3", "area 1, age: 3: write whole years or months"),
    ('age = "3"', "area 1, age: '3': write whole years or months"),
    ('age = "2.5 years"', "area 1, age: '2.5 years': write whole years or months"),
    ('age = "201 years"', "area 1, age: '201 years': write up to 200 years"),
    ('sown = 2019\nage = "3 years"', "area 1: sown and age are both told: take age out"),
    ("application_cost = 0\noutbreak_cost = 5", "application_cost: 0: write a number above 0"),
    ("application_cost = nan\noutbreak_cost = 5", "application_cost: nan: write a number above"),
    ("application_cost = 1\noutbreak_cost = inf", "outbreak_cost: inf: write a number above 0"),
    ('application_cost = "9"\noutbreak_cost = 5', "application_cost: '9': write a number above"),
    ("application_cost = 9", "area 1: application_cost without outbreak_cost: add outbreak_cost"),
    ("outbreak_cost = 9", "area 1: outbreak_cost without application_cost: add application_cost"),
    ("turf = []", "area 1, turf: an empty list: name the grass, or leave the key away"),
    ('turf = ""', "area 1, turf: an empty name: write one, or leave the key away"),
    ("turf = 3", "area 1, turf: 3: write the grass, as"),
    ('turf = ["poa", 3]', "area 1, turf: ['poa', 3]: write the grass, as"),
    ('turf = ["poa", "Poa"]', "area 1, turf: 'Poa' stands there twice: take one of the two out"),
    ('turf = "creping bentgrass"', "knows 'creping bentgrass': did you mean \"creeping bentgra"),
    ('turf = "Bermuda grass"', 'did you mean "bermudagrass"'),
    ('turf = "bermuda"', 'did you mean "bermudagrass"?'),
    ('turf = "fescue"', 'did you mean "red fescue" or '),
    ('turf = "zoisia"', 'did you mean "zoysia"'),
    ('turf = ["poa", "creping bentgrass"]', 'did you mean "creeping bentgrass"?'),
    ('turf = "poa and bentgrass"', 'write a list: ["poa", "bentgrass"]'),
    ('turf = "poa, bentgrass"', 'write a list: ["poa", "bentgrass"]'),
]


@pytest.mark.parametrize(("lines", "said"), SLIPS)
def test_a_slip_is_one_clear_line(read, lines, said):
    (line,) = faults(read, lines + "\n")
    assert said in line


CURED = [
    ("history = 3", 'history = ["summer patch"]'),
    (
        "history = 3",
        'history = { "summer patch" = "laboratory", "fairy ring" = "none in 5 years" }',
    ),
    ("prevent = 3", 'prevent = ["summer patch"]'),
    ("sown = 3", "sown = 2019"),
    ("sown = 3", 'sown = "2019-09"'),
    ("sown = 3", 'sown = "2019-09-14"'),
    ("age = 3", 'age = "3 years"'),
    ("age = 3", 'age = "18 months"'),
    ("turf = 3", 'turf = "creeping bentgrass"'),
    ("turf = 3", 'turf = ["annual bluegrass", "creeping bentgrass"]'),
    ('turf = "poa/bentgrass"', 'turf = ["poa", "bentgrass"]'),
    ('turf = "bermuda"', 'turf = "bermudagrass"'),
    ('turf = "St Augustine"', 'turf = "St. Augustinegrass"'),
    ('turf = "Penncross creeping bentgrass"', 'turf = "creeping bentgrass"'),
]


@pytest.mark.parametrize(("slip", "cure"), CURED)
def test_what_a_fault_says_to_write_is_read(read, slip, cure):
    """The right-hand side of each cure stands in the message itself, word for word."""
    (line,) = faults(read, slip + "\n")
    value = cure.partition(" = ")[2]
    assert value in line
    assert isinstance(read(cure + "\n"), Area)


def test_every_near_name_offered_is_known(read):
    for slip in ("fescue", "bluegrass", "ryegras", "zoisia", "bermuda grass", "colonial bent"):
        (line,) = faults(read, f'turf = "{slip}"\n')
        for name in re.findall(r'"([^"]+)"', line.partition("did you mean")[2]):
            assert read(f'turf = "{name}"\n').turf == name


@pytest.mark.parametrize(
    "grass", ["crabgrass", "tall fescue", "velvet bentgrass", "annual ryegrass", "Texas bluegrass"]
)
def test_a_grass_that_no_file_knows_and_that_is_no_slip_is_accepted(read, grass):
    assert read(f'turf = "{grass}"\n').grasses == (grass,)


def test_a_mixture_and_its_words(read):
    area = read('turf = ["annual bluegrass", "creeping bentgrass"]\n')
    assert area.grasses == ("annual bluegrass", "creeping bentgrass")
    assert area.turf_words == "annual bluegrass and creeping bentgrass"
    assert read('turf = ["poa"]\n').turf == "poa"
    assert read('turf = "poa"\n').grasses == ("poa",)


DAY = date(2026, 5, 18)


@pytest.mark.parametrize(
    ("lines", "low", "high"),
    [
        ("sown = 2019", date(2019, 12, 31), date(2019, 1, 1)),
        ('sown = "2019"', date(2019, 12, 31), date(2019, 1, 1)),
        ('sown = "2019-09"', date(2019, 9, 30), date(2019, 9, 1)),
        ('sown = "2019-12"', date(2019, 12, 31), date(2019, 12, 1)),
        ("sown = 2019-09-14", date(2019, 9, 14), date(2019, 9, 14)),
        ("sown = 2026", DAY, date(2026, 1, 1)),
        ('sown = "2026-05"', DAY, date(2026, 5, 1)),
        ("sown = 2026-05-18", DAY, DAY),
    ],
)
def test_age_counts_from_the_first_and_the_last_day_that_is_meant(read, lines, low, high):
    youngest, oldest = read(lines + "\n").age_years(DAY)
    assert youngest == pytest.approx((DAY - low).days / 365.25)
    assert oldest == pytest.approx((DAY - high).days / 365.25)


@pytest.mark.parametrize(
    ("text", "ages"), [("3 years", (3, 4)), ("1 year", (1, 2)), ("18 months", (1.5, 19 / 12))]
)
def test_an_age_leaves_open_what_is_not_told(read, text, ages):
    assert read(f'age = "{text}"\n').age_years(DAY) == pytest.approx(ages)


@given(st.dates(date(1900, 1, 1), date(2026, 5, 18)))
def test_the_more_is_told_the_less_is_left_open(day):
    ages = [Area(sown=sown).age_years(DAY) for sown in (day.year, f"{day:%Y-%m}", day)]
    for (low, high), (lower, higher) in zip(ages[1:], ages, strict=False):
        assert lower <= low <= high <= higher
    assert ages[2][0] == ages[2][1] >= 0


def test_sown_after_the_day_judged_is_refused():
    area = Area(name="Greens", sown="2026-06")
    assert area.age_years(date(2026, 6, 1)) == (0, 0)
    with pytest.raises(InputError, match="2026-06 is after 2026-05-31"):
        area.age_years(date(2026, 6, 1) - timedelta(days=1))


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("us", "'us' is no country code: write two capital letters by ISO 3166-1"),
        ("USA", "'USA' is no country code"),
        ("UK", "'UK' is not its code: write \"GB\""),
        ("", "'' is no country code"),
    ],
)
def test_a_country_is_two_capital_letters(tmp_path, text, said):
    path = Path(tmp_path / "site.toml")
    path.write_text(f'{PLACE}country = "{text}"\n')
    with pytest.raises(InputError, match=re.escape(said)):
        read_site(path)
    path.write_text(f'{PLACE}country = "GB"\n')
    assert read_site(path).site.country == "GB"
