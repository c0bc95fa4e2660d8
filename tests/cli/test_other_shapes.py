"""Workbooks and files of weather services through the real entry point, with a site file."""

import pytest
from click.testing import CliRunner

from patchrisk.cli import main
from tests.weather import layout_files, service_files

SITE = """\
[site]
name = "Field of Shapes"
latitude = 40.0
longitude = -83.0
utc_offset = "-05:00"

[[area]]
name = "Greens"
turf = "creeping bentgrass"
use = "green"
root_zone = "sand green"

[online]
use = false
"""


@pytest.fixture
def check(tmp_path):
    def check(site, **given):
        for name, content in given.items():
            path = tmp_path / name.replace("_", ".")
            if not isinstance(content, bytes):
                content = ("\n".join(content) + "\n").encode()
            path.write_bytes(content)
        (tmp_path / "site.toml").write_text(SITE + site)
        return CliRunner().invoke(main, ["check", "--site", str(tmp_path / "site.toml")])

    return check


def test_the_sheet_of_a_workbook_is_told_in_the_site_file(check):
    sheets = {"2023": layout_files.soil_sheet(), "2024": layout_files.soil_sheet()}
    book = layout_files.workbook(sheets)
    asked = check('[[logger]]\nfile = "log.xlsx"\n', log_xlsx=book)
    assert asked.exit_code == 2
    assert 'set sheet = "2023"' in asked.stderr
    told = check('[[logger]]\nfile = "log.xlsx"\nsheet = "2023"\n', log_xlsx=book)
    assert told.exit_code == 0, told.stderr
    assert "sheet '2023'" in told.output


def test_maxima_without_minima_are_asked_for(check):
    files = {
        f"{what}_csv": service_files.australian_weather(what) for what in ("max", "min", "rain")
    }
    alone = '[[weather]]\nfile = "max.csv"\n[[weather]]\nfile = "rain.csv"\n'
    asked = check(alone, **files)
    assert asked.exit_code == 2
    assert "no minima in 'max.csv' or 'rain.csv'" in asked.stderr
    whole = check(alone + '[[weather]]\nfile = "min.csv"\n', **files)
    assert whole.exit_code == 0, whole.stderr


def test_a_workbook_of_weather(check):
    rows = [["date", "min (°C)", "max (°C)"], *[row[:3] for row in service_files.WEATHER]]
    book = layout_files.workbook({"Weather": rows})
    found = check('[[weather]]\nfile = "air.xlsx"\n', air_xlsx=book)
    assert found.exit_code == 0, found.stderr
