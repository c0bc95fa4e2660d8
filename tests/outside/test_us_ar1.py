"""FLUXNET2015 US-AR1, days of 2009 to 2012: a file that is daily already."""

from datetime import timedelta

import pandas as pd
import pytest

from patchrisk.errors import InputError
from patchrisk.weather.logger import load_log, read_log
from tests.outside.us_ar1 import save_days, workbook

pytestmark = pytest.mark.outside


@pytest.fixture
def table(outside, tmp_path):
    return save_days(outside, tmp_path / "US-AR1.csv")


def test_the_workbook_itself_is_refused(outside):
    with pytest.raises(InputError, match="export the readings as CSV"):
        read_log(workbook(outside))


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
