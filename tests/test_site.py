"""Site files: what they mean, and every fault named at once."""

from datetime import timedelta

import pytest

from patchrisk.base.errors import InputError
from patchrisk.read.site import read_site

GOOD = """\
[site]
name = "Nowhere Green"
latitude = -33.5
longitude = 150.25
elevation = "820 ft"
utc_offset = "+10:00"
units = "us"

[[area]]
name = "Greens"
turf = "creeping bentgrass"
use = "green"
root_zone = "sand green"

[[area]]
name = "Fairways"
turf = "hybrid bermudagrass"
use = "fairway"
root_zone = "loam"

[[logger]]
file = "log.csv"
areas = ["Greens"]
depth = "2 in"
"""


@pytest.fixture
def write(tmp_path):
    (tmp_path / "log.csv").write_text("x")

    def write(text):
        path = tmp_path / "site.toml"
        path.write_text(text)
        return path

    return write


def faults(path):
    with pytest.raises(InputError) as caught:
        read_site(path)
    return [str(f).removeprefix(str(path)).lstrip(", :") for f in caught.value.faults]


def test_lengths_offsets_and_hemisphere(write):
    site = read_site(write(GOOD))
    assert site.site.elevation_m == pytest.approx(249.936)  # 820 ft, NIST SP 811 B.8
    assert site.site.standard_offset == timedelta(hours=10)
    assert site.site.southern
    assert site.logger[0].depth_cm == pytest.approx(5.08)
    assert [lg.file for lg in site.loggers_of(site.area[0])] == ["log.csv"]
    assert site.loggers_of(site.area[1]) == []


def test_west_of_greenwich(write):
    site = read_site(write(GOOD.replace('"+10:00"', '"-03:30"')))
    assert site.site.standard_offset == -timedelta(hours=3, minutes=30)


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("-33.5", "91.0", "site, latitude: 91.0: write degrees north, from -90 to 90"),
        ("latitude", "lattitude", "unknown key 'lattitude': did you mean latitude?"),
        ('"sand green"', '"gravel"', "area 1, root_zone: 'gravel': write one of 'sand green'"),
        ('"+10:00"', '"10"', "site, utc_offset: '10' is not an offset: write the local standard"),
        ('"2 in"', '"2"', "logger 1, depth: '2' says no depth: write a number and cm, mm, m, in"),
        ('"2 in"', '"2 ft"', "logger 1, depth: '2 ft' says no depth"),
        ('"2 in"', '"2 m"', "logger 1, depth: '2 m' is out of range: write 0 to 100 cm"),
        ('["Greens"]', '["Grens"]', "logger 1 speaks for an unknown area 'Grens'"),
        ('"Fairways"', '"Greens"', "two areas are called 'Greens'"),
        ('"Fairways"', '"GREENS"', "two areas are called 'Greens'"),
        ('"log.csv"', '"none.csv"', "logger 1, file: none.csv is not there"),
        ("[site]", "folder = 'x'\n[site]", "folder: unknown key 'folder'"),
        ("[[logger]]", "[logger]", "logger: a table"),
    ],
)
def test_one_clear_line(write, old, new, said):
    assert any(said in line for line in faults(write(GOOD.replace(old, new))))


def test_all_faults_at_once(write):
    text = GOOD.replace("-33.5", "91.0").replace('"loam"', '"moon"').replace('"green"', '"moor"')
    assert len(faults(write(text))) == 3


@pytest.mark.parametrize(("longitude", "hours"), [(150.25, 10), (-83.0, -6), (7.4, 0), (-7.6, -1)])
def test_without_an_offset_the_longitude_tells_the_standard_time(write, longitude, hours):
    text = GOOD.replace('utc_offset = "+10:00"\n', "").replace("150.25", str(longitude))
    assert read_site(write(text)).site.standard_offset == timedelta(hours=hours)


def test_a_place_is_enough(write):
    site = read_site(write("[site]\nlatitude = 40.0\nlongitude = -83.0\n"))
    assert [area.turf for area in site.area] == [None]
    assert site.online.use


PLACE = "[site]\nlatitude = 40.0\nlongitude = -83.0\n[programme]\n"


def test_days_off_are_dates_spans_and_weekdays(write):
    text = 'no_spray = ["2026-06-13", 2026-06-14, "2026-07-01/2026-07-04", "weekends", "Mondays"]'
    off = read_site(write(PLACE + text)).programme.days_off
    assert off.weekdays == {0, 5, 6}
    assert [(str(a), str(b)) for a, b in off.spans] == [
        ("2026-06-13", "2026-06-13"),
        ("2026-06-14", "2026-06-14"),
        ("2026-07-01", "2026-07-04"),
    ]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("most_applications = 13", "most_applications: 13: write a whole number from 0 to 12"),
        ('no_spray = "2026-06-13"', "no_spray: '2026-06-13': write a list, as"),
        ('no_spray = ["funday"]', "'funday' is no day, span or weekday: write \"2026-06-13\""),
        ('no_spray = ["20260613"]', "'20260613' is no day, span or weekday"),
        ('no_spray = ["2026-02-29"]', "'2026-02-29' is no day, span or weekday"),
        ('no_spray = ["2026-07-04/2026-07-01"]', "ends before it begins: exchange the two days"),
        ("no_spray = [2026-06-13T10:00:00]", "'2026-06-13 10:00:00' is no day, span or weekday"),
        ("no_spray = [3]", "'3' is no day, span or weekday"),
        ('without_groups = "3"', "without_groups: '3': write a list of FRAC codes in quotes"),
        ("mixture = true", "unknown key 'mixture': did you mean mixtures?"),
    ],
)
def test_wishes_that_cannot_be_read_are_one_clear_line(write, text, said):
    assert len(faults(write(PLACE + text))) == 1
    assert said in faults(write(PLACE + text))[0]
