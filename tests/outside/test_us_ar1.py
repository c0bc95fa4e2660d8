"""FLUXNET2015 US-AR1, days of 2009 to 2012: a file that is daily already."""

import re
import zipfile
from datetime import timedelta
from html import unescape

import pandas as pd
import pytest

from patchrisk.errors import InputError
from patchrisk.weather.logger import load_log, read_log

pytestmark = pytest.mark.outside

NAME = "FLX_US-AR1_FLUXNET2015_SUBSET_DD_2009-2012_1-3.xlsx"


@pytest.fixture(scope="module")
def table(outside, tmp_path_factory):
    """The workbook's only sheet, saved as comma-separated text."""
    with zipfile.ZipFile(outside / "flux" / NAME) as book:
        words = book.read("xl/sharedStrings.xml").decode()
        sheet = book.read("xl/worksheets/sheet1.xml").decode()
    shared = [unescape(t) for t in re.findall(r"<t[^>]*>([^<]*)</t>", words)]
    lines = []
    for row in re.findall(r"<row .*?</row>", sheet):
        cells = re.findall(r'<c r="[A-Z]+\d+"([^>]*)><v>([^<]*)</v></c>', row)
        assert len(cells) == 75
        lines.append(",".join(shared[int(v)] if 't="s"' in kind else v for kind, v in cells))
    path = tmp_path_factory.mktemp("flux") / "US-AR1.csv"
    path.write_text("\n".join(lines) + "\n")
    return path


def test_the_workbook_itself_is_refused(outside):
    with pytest.raises(InputError, match="export the readings as CSV"):
        read_log(outside / "flux" / NAME)


def test_days_pass_through(table):
    """1461 days; TS_F_MDS_1 by eye from the sheet, -9999 missing; F is no unit here."""
    logged = load_log(table)
    (probe,) = logged.probes
    assert probe.name == "TS_F_MDS_1"
    assert logged.layout.step == timedelta(days=1)
    (column,) = [c for c in logged.layout.columns if c.probe]
    assert column.unit == "degC"
    assert probe.tally.rows == 1461
    assert probe.tally.missing == 104
    assert probe.daily["soil_c"].max() == pytest.approx(37.721, abs=0.0005)
    assert probe.daily.index[0] == pd.Timestamp("2009-01-01")
    assert probe.daily.index[-1] == pd.Timestamp("2012-12-31")
    assert probe.daily[["soil_min_c", "soil_max_c"]].isna().all().all()
