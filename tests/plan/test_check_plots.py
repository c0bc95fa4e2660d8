"""Untreated plots beside the rest of an area: what treatment was worth, and how sure that is."""

import numpy as np
import pytest
from click.testing import CliRunner
from scipy import stats

from patchrisk.cli import main
from patchrisk.core.plan import besides
from patchrisk.core.plan.besides import Look, PlotWorth
from patchrisk.site_day.disease import programme_numbers
from tests.cli.test_record_command import site  # noqa: F401 - a fixture
from tests.plan.given_by_hand import told

DAY = np.datetime64("2026-07-20")


def plot_worth(looks):
    numbers = programme_numbers()
    return besides.plot_worth(looks, numbers.plots_together_days, numbers.plots_confidence)


def look(plot, share, after=0, disease="summer-patch"):
    return Look(DAY + after, disease, plot, share)


def test_one_plot_cant_tell():
    (one,) = plot_worth([look("", 3.0), look("N", 12.0)])
    assert (one.plots, one.plot_share, one.rest_share) == (1, 12.0, 3.0)
    assert np.isnan([one.low, one.high]).all()
    assert told([one]) == (
        "1 untreated plot and summer patch, 20 Jul: 12 % and 3 % on the rest. One plot can't tell "
        "treatment from chance.",
    )


def test_several_plots_give_an_interval_as_students_t_does():
    shares = [12.0, 20.0, 7.0]
    (one,) = plot_worth([look("", 3.0), *(look(f"N{n}", s) for n, s in enumerate(shares))])
    by_scipy = stats.ttest_1samp(shares, 3.0).confidence_interval(0.95)
    assert (one.low, one.high) == pytest.approx((by_scipy.low - 3.0, by_scipy.high - 3.0))
    (said,) = told([one])
    assert (
        "3 untreated plots and summer patch, 20 Jul: 13 % on the mean and 3 % on the rest." in said
    )
    assert said.endswith("it may have been worth nothing.")
    (sure,) = plot_worth([look("", 1.0), look("A", 20.0), look("B", 22.0), look("C", 21.0)])
    assert "worth 20 points there (18 to 22 with 95 % confidence" in told([sure])[0]
    assert "nothing" not in told([sure])[0]


def test_looks_of_about_one_day_go_together_and_the_worst_counts():
    looks = [
        look("", 1.0), look("N", 4.0, 3), look("N", 9.0, 4),  # the second is four days off
        look("", 2.0, 30), look("N", 15.0, 29),
        look("", 5.0, 60), look("N", np.nan, 60),
        look("N", 50.0, disease="fairy-ring"),  # nothing of the rest
    ]  # fmt: skip
    assert list(plot_worth(looks)) == [
        PlotWorth("summer-patch", DAY + 30, 1, 15.0, 2.0, 0.95, pytest.approx(np.nan, nan_ok=True),
                  pytest.approx(np.nan, nan_ok=True))
    ]  # fmt: skip
    assert list(plot_worth([])) == []


def test_a_look_at_a_plot_is_recorded_beside_that_at_the_rest(site):  # noqa: F811
    args = ["record", "observation", "--site", str(site), "--area", "Lawns", "--date", "2026-05-12",
            "--disease", "summer patch"]  # fmt: skip
    for more, said in (
        (
            ["--share", "12%", "--plot", "N end"],
            "Lawns, untreated plot N end, summer patch seen",
        ),
        (["--not-seen"], "Lawns, summer patch looked for, not seen."),
    ):
        result = CliRunner().invoke(main, [*args, *more])
        assert result.exit_code == 0, result.output
        assert said in result.stdout
    text = (site.parent / "observations.csv").read_text("utf-8-sig").splitlines()
    assert text[0] == "date,area,disease,seen,share,note,plot"
    assert text[1].endswith(",N end")
