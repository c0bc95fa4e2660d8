"""Seasons of infection: apart on every grass, north and south, and each with damage after it."""

from datetime import date, timedelta

import numpy as np
import pytest

from patchrisk.base.errors import InputError
from patchrisk.base.toml_files import load_numbers
from patchrisk.core.rules.rule import season_days
from patchrisk.read.diseases import load_library
from tests.diseases.published_figures import EVIDENCE
from tests.diseases.test_loading import FORECAST

DISEASES = load_library().diseases
FORECAST_DISEASES = sorted(key for key, disease in DISEASES.items() if disease.window)
# Leap years too, and enough for a season that runs over the new year.
DAYS = np.arange("2003-01-01", "2009-01-01", dtype="datetime64[D]")


def inside(season, southern):
    return season_days(season.span.season, DAYS, southern=southern)[0]


def hosts():
    return [(key, host) for key in FORECAST_DISEASES for host in DISEASES[key].host]


@pytest.mark.parametrize("southern", [False, True], ids=["north", "south"])
@pytest.mark.parametrize(("key", "host"), hosts(), ids=lambda v: getattr(v, "grass", v))
def test_no_day_is_of_two_seasons_and_every_host_has_one(key, host, southern):
    seasons = DISEASES[key].seasons(host.grass)
    assert seasons, f"{key} on {host.grass}"
    assert sum(inside(s, southern).astype(int) for s in seasons).max() == 1


@pytest.mark.parametrize(("key", "host"), hosts(), ids=lambda v: getattr(v, "grass", v))
def test_the_rules_of_a_season_speak_of_its_grass_and_of_its_time(key, host):
    disease = DISEASES[key]
    for season in disease.seasons(host.grass):
        for name in season.rules:
            rule = disease.published(name)
            assert disease.named(rule.grass, host.grass), (season.id, name)
            speaks = season_days(rule.season.season, DAYS, southern=False)[0]
            assert (speaks & inside(season, southern=False)).any(), (season.id, name)


@pytest.mark.parametrize("key", FORECAST_DISEASES)
def test_a_season_begins_by_treatment_rules_where_there_are_any(key):
    disease = DISEASES[key]
    meaning = "treat" if disease.rules("treat") else "infect"
    for season in disease.season:
        assert {disease.published(name).meaning for name in season.rules} == {meaning}


@pytest.mark.parametrize("key", FORECAST_DISEASES)
def test_every_treatment_rule_begins_a_season_or_says_why_not(key):
    disease = DISEASES[key]
    used = {name for season in disease.season for name in season.rules}
    left = {rule.id for rule in disease.rules("treat")} - used
    # a programme for fairy ring that its authors credit against summer patch too
    assert left == ({"missouri-2011-5d-mean"} if key == "summer-patch" else set())


def shown(season):
    """First days of the months in which a season of 2003 shows, each the next of its name."""
    month, _ = (int(part) for part in season.span.start.split("-"))
    at = 12 * 2003 + month - 1
    out = []
    for wanted in season.shows.value:
        at += (wanted - 1 - at) % 12 if not out else (wanted - 1 - at - 1) % 12 + 1
        out.append(date(at // 12, at % 12 + 1, 1))
    return out


@pytest.mark.parametrize("key", FORECAST_DISEASES)
def test_damage_follows_its_own_season_within_a_year_of_its_end(key):
    for season in DISEASES[key].season:
        days = DAYS[inside(season, southern=False)].astype(object)
        begins = next(day for day in days if f"{day:%m-%d}" == season.span.start)
        ends = next(day for day in days if day > begins and f"{day:%m-%d}" == season.span.end)
        months = shown(season)
        assert months[-1] - months[0] < timedelta(days=366), season.id  # no month is told twice
        assert begins.replace(day=1) <= months[0] <= ends + timedelta(days=184), season.id
        assert months[-1] < ends + timedelta(days=366), season.id


@pytest.mark.parametrize("key", FORECAST_DISEASES)
def test_nothing_is_treated_after_its_season(key):
    for season in DISEASES[key].season:
        if season.treat_until is not None:
            last = np.array([np.datetime64(f"2003-{season.treat_until.day}")])
            assert season_days(season.span.season, last, southern=False)[0].all()


@pytest.mark.parametrize("key", FORECAST_DISEASES)
def test_bounds_of_infection_lie_within_what_the_file_says_of_it(key):
    disease = DISEASES[key]
    for season in disease.season:
        low, high = season.infect_above, season.infect_below
        if low and high:
            assert low.canonical < high.canonical
        if disease.response is not None:
            kind = disease.response.cardinal
            assert low is None or kind.minimum_c <= low.canonical < kind.maximum_c
            assert high is None or kind.minimum_c < high.canonical <= kind.maximum_c


def test_take_all_patch_is_at_work_at_54_degrees_in_january_and_not_at_36():
    """UC IPM (seen): in California principally late fall and winter. Rutgers: from 40 F up."""
    (season,) = (s for s in DISEASES["take-all-patch"].season if s.id == "autumn")
    january = np.array(["2004-01-15"], dtype="datetime64[D]")
    assert season_days(season.span.season, january, southern=False)[0].all()
    low, high = season.infect_above.canonical, season.infect_below.canonical
    assert low < (54 - 32) / 1.8 < high
    assert low > (36 - 32) / 1.8
    assert {12, 1} <= set(season.shows.value)


def test_ages_at_risk():
    """Take-all patch: extension pages; dead spot: Penn State; root dysfunction: NC State."""
    said = {
        key: (disease.risk_age.age.span[1], set(disease.risk_age.grass))
        for key, disease in ((key, DISEASES[key]) for key in EVIDENCE)
        if disease.risk_age
    }
    bents = {"creeping bentgrass", "colonial bentgrass", "velvet bentgrass"}
    assert said == {
        "take-all-patch": (10, bents),
        "dead-spot": (3, bents),
        "pythium-root-dysfunction": (10, {"creeping bentgrass"}),
    }


def test_cold_that_no_source_speaks_of_says_so():
    (cold,) = (s for s in DISEASES["summer-patch"].expression.stress if s.kind == "cold")
    assert cold.seen == "no source"
    assert "no source" in cold.text
    assert "cold" not in DISEASES["summer-patch"].expression.shown_by


def test_bentgrass_gets_summer_patch_more_than_seldom():
    """NC State keeps it to high pH; Missouri and Purdue (August 2025) find it on many greens."""
    (host,) = DISEASES["summer-patch"].on("creeping bentgrass")
    assert host.susceptibility == "moderate"
    assert "our reading" in host.note


@pytest.mark.parametrize(
    ("grass", "diseases"),
    [
        ("tall fescue", {"fairy-ring", "take-all-patch"}),
        ("velvet bentgrass", {"fairy-ring", "take-all-patch", "dead-spot"}),
        ("rough bluegrass", {"dead-spot", "necrotic-ring-spot"}),
    ],
)
def test_grasses_that_pages_name_beside_the_usual_ones(grass, diseases):
    """UC IPM, Rutgers and Penn State (seen); of fairy ring no source was read for them."""
    assert {key for key in EVIDENCE if DISEASES[key].on(grass)} == diseases


def test_grasses_that_rest():
    """UC IPM (seen): warm-season grasses may go dormant below 50 to 55 F of air or soil."""
    numbers = load_numbers("grasses")
    grasses = {host.grass for d in DISEASES.values() for host in d.host}
    for key, number in numbers.items():
        kind, _, name = key.partition(".")
        assert kind in ("dormant_below", "green_up_above")
        assert name in {g.replace(" ", "_").replace(".", "") for g in grasses}
        assert number.unit == "degF"
        assert number.confidence in ("expert opinion", "weak")
    rest = {k.partition(".")[2]: n for k, n in numbers.items() if k.startswith("dormant_below")}
    assert "centipedegrass" not in rest  # said to have no true dormancy
    assert {(n.value, n.low, n.high) for n in rest.values()} == {(50, 50, 55)}
    for name in ("bermudagrass", "hybrid_bermudagrass", "zoysiagrass"):
        wakes = numbers[f"green_up_above.{name}"]
        assert (wakes.value, wakes.low, wakes.high) == (60, 60, 65)
        assert numbers[f"green_up_above.{name}"].value > rest[name].value


SEASON = """
[[season]]
id = "{id}"
span = {{ start = "{start}", end = "{end}", source = "book" }}
turn = "{turn}"
rules = ["{rule}"]
infect_above = {{ value = 50, unit = "degF", source = "book", confidence = "weak" }}
infect_below = {{ value = 80, unit = "degF", source = "book", confidence = "weak" }}
shows = {{ value = [7], source = "book" }}
grass = ["{grass}"]
"""
GOOD = {"id": "one", "start": "03-01", "end": "08-31", "turn": "rising", "rule": "a",
        "grass": "creeping bentgrass"}  # fmt: skip


def fault(folder, *seasons):
    text = FORECAST + "".join(SEASON.format(**GOOD | changed) for changed in seasons)
    (folder / "mine.toml").write_text(text, encoding="utf-8")
    try:
        load_library(folder)
    except InputError as error:
        (found,) = error.faults
        return found.found, found.cure
    return None


def test_seasons_of_a_users_own_file(tmp_path):
    assert fault(tmp_path, {}) is None
    assert fault(tmp_path, {}, {"id": "two", "start": "09-01", "end": "02-15"}) is None
    found, cure = fault(tmp_path, {}, {"id": "two", "start": "08-31", "end": "02-15"})
    assert found == "seasons one and two overlap on creeping bentgrass"
    assert cure == "end the one before the other begins"


def test_seasons_that_meet_only_in_the_south(tmp_path):
    """30 and 31 August are both the last of February there."""
    found, _ = fault(tmp_path, {"end": "08-30"}, {"id": "two", "start": "08-31", "end": "02-15"})
    assert "overlap" in found


def test_a_season_of_a_grass_that_is_no_host(tmp_path):
    found, cure = fault(tmp_path, {"grass": "creping bentgrass"})
    assert found == "season one names 'creping bentgrass', which is no host here"
    assert cure == "write one of creeping bentgrass"


def test_a_season_by_a_window_that_is_not_there_or_has_no_such_edge(tmp_path):
    assert fault(tmp_path, {"rule": "b"})[0] == "season one names an unknown window 'b'"
    found, _ = fault(tmp_path, {"turn": "falling"})
    assert found == "season one is falling, and window 'a' has no high edge"
