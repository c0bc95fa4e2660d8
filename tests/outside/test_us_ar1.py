"""FLUXNET2015 US-AR1, days of 2009 to 2012: a file that is daily already."""

from datetime import timedelta

import pandas as pd
import pytest

from patchrisk.read.logger.read_log import load_log
from tests.outside.us_ar1 import save_days, workbook
from tests.weather.log_files import by_date

pytestmark = pytest.mark.outside


@pytest.fixture
def table(outside, tmp_path):
    return save_days(outside, tmp_path / "US-AR1.csv")


def test_the_workbook_is_read_as_the_text_made_from_it(outside, table):
    (probe,) = load_log(workbook(outside)).probes
    (from_text,) = load_log(table).probes
    assert (probe.name, probe.counts) == (from_text.name, from_text.counts)
    pd.testing.assert_frame_equal(by_date(probe), by_date(from_text))
    # The column itself, read by nothing of ours.
    sheet = pd.read_csv(table, na_values=["-9999"])
    assert by_date(probe)["mean_c"].to_numpy() == pytest.approx(
        sheet["TS_F_MDS_1"].to_numpy(), nan_ok=True, abs=1e-9
    )
    days = pd.to_datetime(sheet["TIMESTAMP"].astype(str), format="%Y%m%d")
    assert (by_date(probe).index == days).all()


def test_days_pass_through(table):
    """1461 days; TS_F_MDS_1 by eye from the sheet, -9999 missing; F is no unit here."""
    logged = load_log(table)
    (probe,) = logged.probes
    assert probe.name == "TS_F_MDS_1"
    assert logged.layout.step == timedelta(days=1)
    (column,) = [c for c in logged.layout.columns if c.probe]
    assert column.unit == "degC"
    assert probe.counts.rows == 1461
    assert probe.counts.missing == 104
    assert by_date(probe)["mean_c"].max() == pytest.approx(37.721, abs=0.0005)
    assert by_date(probe).index[0] == pd.Timestamp("2009-01-01")
    assert by_date(probe).index[-1] == pd.Timestamp("2012-12-31")
    assert by_date(probe)[["min_c", "max_c"]].isna().all().all()
