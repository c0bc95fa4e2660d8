"""The estimate against the log, through the real command."""

import re

import pytest
from click.testing import CliRunner

from patchrisk import resources
from patchrisk.at_site.soil_fit import fit_path
from patchrisk.cli import main
from patchrisk.site import Area, read_site


def run(*args):
    result = CliRunner().invoke(main, [str(a) for a in args])
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    return result


@pytest.fixture
def own_site(tmp_path):
    """A copy of the sample course that belongs to the user."""
    source = resources.sample_weather()
    for path in (*source.glob("*.csv"), source / "site.toml"):
        (tmp_path / path.name).write_bytes(path.read_bytes())
    return tmp_path / "site.toml"


def errors(text):
    """General and taught RMSE of the year's row."""
    row = next(line for line in text.splitlines() if line.startswith("year"))
    return [float(x) for x in re.findall(r"([\d.]+) °F", row)][1::2]


def test_the_log_teaches_and_the_fit_is_kept_and_used(own_site):
    before = run("outlook", "--site", own_site, "--as-of", "2026-05-18", "--json").output
    result = run("soil", "--site", own_site, "--area", "Fairways", "--keep")
    assert result.exit_code == 0, result.stderr
    general, taught = errors(result.output)
    assert taught < general
    kept = own_site.parent / "soil-fit-fairways.toml"
    assert kept.is_file()
    text = kept.read_text()
    for key in ("first_day", "last_day", "error_before_c", "error_after_c"):
        assert key in text
    after = run("outlook", "--site", own_site, "--as-of", "2026-05-18", "--json").output
    assert after != before
    kept.unlink()
    again = run("outlook", "--site", own_site, "--as-of", "2026-05-18", "--json").output
    assert again == before


def test_a_fit_stays_with_its_area_and_no_two_areas_share_one(own_site):
    site = read_site(own_site)
    text = own_site.read_text(encoding="utf-8")
    first = text.index("[[area]]")
    new = '[[area]]\nname = "Nursery"\n'
    own_site.write_text(text[:first] + new + text[first:], encoding="utf-8")
    names = ["Fairways", "Fair-ways", "Fair ways", "Grüns", "Gruns", "果岭", "Ω", "a/b"]
    paths = [fit_path(site, Area(name=name)) for name in names]
    assert paths[0] == fit_path(read_site(own_site), Area(name="Fairways"))
    assert len(set(paths)) == len(names)
    assert all(re.fullmatch(r"soil-fit-[a-z0-9-]+\.toml", p.name) for p in paths)


def test_figure_and_what_it_may_be(tmp_path):
    for name, start in (("s.png", b"\x89PNG"), ("s.svg", b"<?xml")):
        result = run("soil", "--sample", "--figure", tmp_path / name)
        assert result.exit_code == 0, result.stderr
        assert (tmp_path / name).read_bytes().startswith(start)
    result = run("soil", "--sample", "--figure", tmp_path / "s.bmp")
    assert result.exit_code == 2
    assert "name a file ending in .png or .svg" in result.stderr


def test_an_area_without_a_probe_cannot_teach():
    result = run("soil", "--sample", "--area", "Lawns")
    assert result.exit_code == 2
    assert "no probe between 2 and 20 cm speaks for it" in result.stderr


def test_a_damaged_fit_is_named_key_by_key(own_site):
    (own_site.parent / "soil-fit-fairways.toml").write_text('inputs = "sky"\n')
    result = run("outlook", "--site", own_site, "--as-of", "2026-05-18")
    assert result.exit_code == 2
    assert "soil-fit-fairways.toml, inputs: 'sky'" in result.stderr
    assert "parameter: missing" in result.stderr


def test_thirty_days_at_least(own_site):
    log = own_site.parent / "fairways_probe.csv"
    lines = log.read_text(encoding="latin-1").splitlines(keepends=True)
    log.write_text("".join([lines[0], *lines[-24 * 20 :]]), encoding="latin-1")
    result = run("soil", "--site", own_site, "--area", "Fairways", "--keep")
    assert result.exit_code == 2
    assert re.search(r"\b(19|20) days with log and air", result.stderr)
    assert "log at least 30 days" in result.stderr
    assert not list(own_site.parent.glob("soil-fit*"))
