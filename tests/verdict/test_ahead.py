"""What a plan is given of the seasons in sight, on the sample course's own morning."""

from dataclasses import replace
from datetime import date, datetime

import numpy as np
import pytest

from patchrisk.base import resources
from patchrisk.core.verdict.calls import calls_ahead
from patchrisk.core.verdict.decision_table import Phase, Verdict
from patchrisk.site_day.judging import verdict_settings
from patchrisk.site_day.morning import prepare

TODAY = np.datetime64("2026-05-18")


@pytest.fixture(scope="module")
def lawns():
    path = resources.sample_weather() / "site.toml"
    now = datetime.now().astimezone()
    return prepare(path, date(2026, 5, 18), now, only=["Lawns"], offline=True)


@pytest.fixture
def calls(lawns):
    """The seasons of summer patch in sight, with something of its judgement changed."""
    (area,) = lawns.areas
    judged = area.judged["summer-patch"]

    def make(**changes):
        some = replace(judged, **changes)
        return calls_ahead(some, area.ahead, TODAY, verdict_settings(), southern=False)

    return make


def test_today_is_called_for_when_the_verdict_is_to_apply_and_else_not(calls):
    begun = {"phase": Phase.STARTING, "start": TODAY - 9}
    (yes,) = calls(verdict=Verdict.APPLY, **begun)
    (no,) = calls(verdict=Verdict.GET_READY, **begun)
    assert (yes.first[0], yes.further[0]) == (True, True)
    assert (no.first[0], no.further[0]) == (False, False)
    assert yes.first[1:].tolist() == no.first[1:].tolist()


def test_what_counts_is_counted_and_a_number_used_up_leaves_the_season_out(lawns, calls):
    number = lawns.areas[0].judged["summer-patch"].case.number
    begun = {"phase": Phase.GOING_ON, "start": TODAY - 9}
    (call,) = calls(counted=number - 1, **begun)
    assert (call.done, call.number) == (number - 1, number)
    later = calls(counted=number, **begun)
    assert all(one.start > TODAY + 200 for one in later)


def test_a_start_to_come_is_called_for_from_its_best_day_on_and_to_the_spans_end(calls):
    (call,) = calls(phase=Phase.COMING, start=None, verdict=Verdict.NOTHING)
    assert not call.begun
    days = TODAY + np.flatnonzero(call.first)
    assert call.start <= days[0] < call.start + 28 - verdict_settings().spare
    assert days[-1] < call.start + 28  # a first one later than an interval is late, and disputed
    further = TODAY + np.flatnonzero(call.further)
    assert further[-1] <= call.until
    assert call.until == min(call.start + 3 * 28 - 1, np.datetime64("2026-08-15"))
    counted = TODAY + np.flatnonzero(call.counts)
    assert (counted[0], counted[-1]) == (call.start, call.until)
    reaches = TODAY + np.flatnonzero(call.reaches)
    assert reaches[0] == max(TODAY, call.start - 27)


def test_pressure_begins_with_the_season_and_ends_with_it(calls):
    (call,) = calls(phase=Phase.STARTING, start=TODAY + 0)
    assert call.rate[0] > 0
    assert not call.rate[np.datetime64("2026-11-01") <= TODAY + np.arange(len(call.rate))].any()


@pytest.mark.parametrize("phase", [Phase.OVER, Phase.UNKNOWN])
def test_nothing_of_a_season_that_is_over_or_not_known(calls, phase):
    assert all(one.start > TODAY + 200 for one in calls(phase=phase))
