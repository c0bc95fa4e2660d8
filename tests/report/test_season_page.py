"""The page for a committee: the last season's calls against what was applied and seen."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from click.testing import CliRunner

from patchrisk.base.pen import Pen
from patchrisk.cli import main
from patchrisk.core.verdict.decision_table import Stake
from patchrisk.read.records.books import Records
from patchrisk.read.records.rows import Observation
from patchrisk.report.page import write_season_page
from patchrisk.report.story import in_short, season_lines, summary_sentences

D = np.datetime64


def line_of(morning, area, disease):
    (found,) = [n for n in season_lines(morning) if (n.area, n.disease) == (area, disease)]
    return found


def test_a_season_is_told_with_its_call_cover_and_damage(shipped):
    # sample_weather: spring dead spot on 2 % of the fairways on 20 April; Shelf B of 6 October.
    line = line_of(shipped, "Fairways", "Spring dead spot")
    (fairways,) = [a for a in shipped.areas if a.area.name == "Fairways"]
    story = fairways.stories["spring-dead-spot"]
    assert line.called.startswith("Sep 7, 2025 to Nov ")
    assert f"soil right on {story.infected_days} days" in line.called
    assert line.applied == "Shelf B of Oct 6, 2025"
    assert line.bare == f"{story.bare_days} of {story.infected_days} days"
    assert line.seen == "seen Apr 20, up to 2 % of the area"
    assert line.outcome == "called, not covered throughout, and seen"


@pytest.mark.parametrize(
    ("day", "seen", "area", "said"),
    [
        ("2026-05-01", False, "Fairways", "and not seen"),
        ("2026-05-01", True, "Fairways", "and seen"),
        ("2026-05-01", True, "Greens", "nobody wrote down a look"),  # another area's
        ("2025-05-01", True, "Fairways", "nobody wrote down a look"),  # of the season before
    ],
)
def test_only_looks_at_this_season_of_this_area_count(shipped, day, seen, area, said):
    row = Observation(D(day), area, "spring-dead-spot", seen, np.nan, "")
    then = replace(shipped, observations=Records((row,), ()))
    assert line_of(then, "Fairways", "Spring dead spot").outcome.endswith(said)


def test_the_counts_add_up_to_the_lines(shipped):
    lines = season_lines(shipped)
    first, *counted = summary_sentences(lines)
    assert first.startswith(f"{len(lines)} seasons of infection")
    assert sum(int(text.rstrip(".").rsplit(" ", 1)[1]) for text in counted) == len(lines)
    (only,) = summary_sentences(())
    assert only.startswith("No season")


def test_without_records_nothing_is_claimed(morning):
    for line in season_lines(morning):
        assert (line.applied, line.bare, line.seen) == ("not on record",) * 3
        assert line.outcome == "called; neither cover nor a look is on record"


def test_names_are_only_text(shipped):
    site = shipped.site.site.model_copy(update={"name": "<script>x</script>"})
    page = write_season_page(replace(shipped, site=shipped.site.model_copy(update={"site": site})))
    assert "<script" not in page
    assert "default-src" in page


def test_it_is_written_beside_the_page_and_over_nothing_else(tmp_path):
    args = ["page", "--sample", "--season", "--out", str(tmp_path)]
    result = CliRunner().invoke(main, args, catch_exceptions=False)
    assert result.exit_code == 0, result.stderr
    (file,) = tmp_path.iterdir()
    assert file.name == "quillfen-dunes-invented-season.html"
    file.write_text("mine", encoding="utf-8")
    assert CliRunner().invoke(main, args).exit_code == 2
    assert file.read_text(encoding="utf-8") == "mine"


@pytest.mark.parametrize(
    ("stakes", "days", "told"),
    [
        ((Stake.UNKNOWN, Stake.UNKNOWN), (30, 40), 1),  # more days of infection
        ((Stake.UNKNOWN, Stake.UNKNOWN), (40, 30), 0),
        ((Stake.HISTORY, Stake.UNKNOWN), (30, 40), 0),  # known here
    ],
)
def test_of_several_stories_the_one_that_matters_most_is_told(
    shipped, monkeypatch, stakes, days, told
):
    (fairways,) = (a for a in shipped.areas if a.area.name == "Fairways")
    monkeypatch.setattr("patchrisk.report.story.story_is_due", lambda *_: True)
    keys = list(fairways.stories)[:2]
    judged = {}
    for key, stake in zip(keys, stakes, strict=True):
        j = fairways.judged[key]
        case = replace(j.case, stakes=replace(j.case.stakes, stake=stake))
        judged[key] = replace(j, case=case, seen=None)
    stories = {
        key: replace(fairways.stories[key], infected_days=count)
        for key, count in zip(keys, days, strict=True)
    }
    area = SimpleNamespace(judged=judged, stories=stories, soil=fairways.soil)
    (line,) = in_short(area, shipped.library, Pen("us", 2026))
    assert f"right for {shipped.library.diseases[keys[told]].name} on {days[told]} days" in line
