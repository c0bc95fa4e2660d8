"""What is said while turf rests, and after days without a figure: nothing more than it is worth.

Weather and soil are those of `test_bent_green`.
"""

import json

import pytest

from tests.verdict.test_bent_green import FROZEN, MILD, outlook, words, write_site

ZOYSIA = '{ "spring dead spot" = "laboratory", "large patch" = "seen" }'


def made(folder, course, turf, history):
    folder.mkdir(exist_ok=True)
    site = write_site(folder, course, history)
    text = site.read_text(encoding="utf-8")
    use = "green" if turf == "creeping bentgrass" else "fairway"
    text = text.replace('use = "green"', f'use = "{use}"')
    text = text.replace('"creeping bentgrass"', f'"{turf}"').replace(
        'diseases = ["dark-root-infecting-fungi"]\n', ""
    )
    site.write_text(text, encoding="utf-8")
    return site


@pytest.fixture(scope="module")
def zoysia(tmp_path_factory):
    return made(tmp_path_factory.mktemp("zoysia"), FROZEN, "zoysiagrass", ZOYSIA)


@pytest.fixture(scope="module")
def bent(tmp_path_factory):
    return made(tmp_path_factory.mktemp("bent"), FROZEN, "creeping bentgrass", "{}")


def verdicts(site, as_of):
    (area,) = json.loads(outlook(site, as_of, "--json"))["areas"]
    return {d["key"]: (d["verdict"]["verdict"], d["verdict"]["reason"]) for d in area["diseases"]}


def without(site, first, last):
    """Take days out of the log."""
    log = site.parent / "log.csv"
    rows = log.read_text(encoding="utf-8").splitlines(keepends=True)
    log.write_text("".join(row for row in rows if not first <= row[:10] <= last), encoding="utf-8")
    weather = site.parent / "weather.csv"
    rows = weather.read_text(encoding="utf-8").splitlines(keepends=True)
    weather.write_text(
        "".join(row for row in rows if not first <= row[:10] <= last), encoding="utf-8"
    )


@pytest.mark.parametrize("as_of", ["2025-01-31", "2025-03-10", "2025-04-01"])
def test_dormant_turf_is_not_scouted(zoysia, as_of):
    # Zoysiagrass is dormant in soil below 50 degF: thresholds/grasses.toml.
    assert "scout" not in {said for said, _ in verdicts(zoysia, as_of).values()}


def test_at_green_up_it_is(zoysia):
    assert verdicts(zoysia, "2025-05-02")["spring-dead-spot"][0] == "scout"


def test_no_sample_is_asked_for_from_frozen_ground(bent):
    reasons = {as_of: {r for _, r in verdicts(bent, as_of).values()}
               for as_of in ("2025-02-20", "2025-03-25")}  # fmt: skip
    assert "sample in time" not in reasons["2025-02-20"]
    assert "sample in time" in reasons["2025-03-25"]


def test_turf_that_no_disease_file_is_for_is_not_passed_over(tmp_path):
    site = made(tmp_path, FROZEN, "zoysiagrass", "{}")
    site.write_text(site.read_text("utf-8").replace('"fairway"', '"green"'), encoding="utf-8")
    text = words(site, "2025-05-02")
    assert "CANNOT SAY Greens: Cannot say: no disease file is for zoysiagrass on a green." in text


def test_a_gap_of_last_season_says_nothing_of_this_one(tmp_path):
    whole = made(tmp_path / "whole", MILD, "zoysiagrass", ZOYSIA)
    holed = made(tmp_path / "holed", MILD, "zoysiagrass", ZOYSIA)
    without(holed, "2024-08-05", "2024-08-20")
    for as_of in ("2025-02-20", "2025-04-12"):
        assert verdicts(holed, as_of) == verdicts(whole, as_of)


def test_a_gap_of_this_season_is_named(tmp_path):
    site = made(tmp_path, FROZEN, "zoysiagrass", ZOYSIA)
    without(site, "2025-04-08", "2025-04-20")
    text = words(site, "2025-04-21")
    assert (
        "CANNOT SAY Greens: Likely, by estimate, an application is due against large patch" in text
    )
    assert "Mend first: download the logger, or bring the weather file up to date. Soil " in text
