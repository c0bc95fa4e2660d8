"""Figures: the same bytes again, nothing left behind, words beside them, colours told apart."""

from dataclasses import replace
from itertools import combinations

import matplotlib as mpl
import numpy as np
import pandas as pd
import pytest

from patchrisk.core.rules.rule import Rule, Season, Statistic
from patchrisk.core.skill.climatology import (
    departure_counts,
    departures_from_normal,
    normal_openings,
    trends,
    trends_by_rule,
    warmest_by_rule,
    warmest_years,
)
from patchrisk.core.skill.measures import Terms
from patchrisk.core.skill.scores import PRESSURE, Cases, assess, merge_alike
from patchrisk.core.skill.sweep import Sweep, SweepSkill
from patchrisk.study import (
    figure_style,
    figures_dates,
    figures_skill,
)
from patchrisk.study.findings import DiseaseNames
from patchrisk.study.study_tables import skill_tables, summary_table
from patchrisk.study.sweep_study import read_vary

TERMS = Terms(21, 84, 3, 3, draws=100)
NAMES = DiseaseNames(
    "summer patch",
    {
        "first-10c": ("daily mean at 5 cm at least 10.0 °C", "A"),
        "second-12c": ("daily mean at 5 cm at least 12.0 °C", "B"),
        "same-12c": ("daily mean at 5 cm at least 12.0 °C", "C"),
        "late-18c": ("daily mean at 5 cm at least 18.0 °C", "A"),
        "one": ("5-day mean at 5 cm 12.8 °C to 15.6 °C", "D"),
        "two": ("daily maximum at 9 cm at least 18.3 °C, 3 days in a row", "E"),
    },
)
RULES = {"first-10c": 0, "second-12c": 9, "same-12c": 9, "late-18c": 40}


@pytest.fixture(scope="module")
def seasons():
    rng = np.random.default_rng(3)
    rows = []
    for n in range(5):
        for year in range(2008, 2022):
            warm = rng.normal(0, 6)
            for rule, later in RULES.items():
                day = 20 + 6 * n + later + round(warm)
                never = rule == "late-18c" and (n == 4 or year == 2012)
                first = pd.Timestamp(year, 3, 1)
                at = first + pd.Timedelta(day, "D")
                rows.append(
                    {
                        "site": f"Site {n}",
                        "latitude": 30.0 + 3 * n,
                        "longitude": -90.0 + 2 * n,
                        "soil": "measured",
                        "disease": "summer-patch",
                        "rule": rule,
                        "meaning": "express" if rule == "late-18c" else "treat",
                        "season": year,
                        "season_first": first,
                        "season_last": first + pd.Timedelta(days=180),
                        "opened": pd.NaT if never or year == 2015 else at,
                        "likely_from": pd.NaT if never else at,
                        "likely_to": pd.NaT if never else at + pd.Timedelta(4, "D"),
                        "dating": "none" if never else "between" if year == 2015 else "dated",
                        "complete": year != 2015,
                        "year_mean_c": 15 - warm / 5,
                    }
                )
    table = pd.DataFrame(rows)
    dated = table["dating"] == "dated"
    return table.assign(likely_to=table["likely_to"].where(~dated, table["opened"]))


def judged():
    rng = np.random.default_rng(4)
    out = []
    for rule in ("one", "two"):
        day = np.full(60, np.datetime64("2015-07-15"))
        opened = day - rng.integers(5, 110, 60)
        opened[:4] = np.datetime64("NaT")
        found = rng.random(60) < 0.7
        score = rng.normal(size=60) + found
        begins, site = np.full(60, np.datetime64("2015-03-01")), np.tile(np.arange(10), 6)
        season = np.repeat(np.arange(6), 10)
        one = Cases("measured", "summer-patch", rule, "treat", ("A",) * 60, opened, day, found,
                    np.ones(60, bool), begins, season, site, site // 2, score)  # fmt: skip
        out.append((one, assess(one, TERMS)))
    return out


RISING = Rule(
    "osu", "treat", Statistic.DAILY_MEAN, 5.0, "rising", Season((3, 1), (8, 31)), low_c=18.0
)


def swept(*texts):
    """A sweep whose skill is highest in its middle."""
    varies = tuple(read_vary(text) for text in texts)
    frame = pd.MultiIndex.from_product([v.shown for v in varies], names=[v.name for v in varies])
    table = frame.to_frame(index=False)
    count = len(table)
    skill = 1 - np.abs(np.arange(count) - count // 2) / count
    table = table.assign(
        possible=True, opening="05-01", opening_day=np.arange(count) * 2.0, opened_share=1.0,
        site_seasons=50, skill=skill, skill_low=skill - 0.1, skill_high=skill + 0.1,
        as_good=skill > 0.9,
    )  # fmt: skip
    best = int(skill.argmax())
    found = SweepSkill(
        "hit rate", best, 1, 0.7, {"season": 0.8}, seasons=9, presences=40, absences=2
    )
    return Sweep("Summer patch, a rule", RISING, varies, "03-01", table, found, TERMS)


@pytest.fixture(scope="module")
def plates(seasons):
    """Every figure once, by name."""
    normal = normal_openings(seasons)
    trend = trends(seasons, least_years=10, level=0.9)
    warmest = warmest_years(seasons, normal)
    summary = warmest_by_rule(warmest, least_years=10)
    one = [t[t["site"] == "Site 1"] for t in (seasons, normal, trend)]
    counts = departure_counts(departures_from_normal(seasons, normal))
    tables = {
        "normals": normal, "warmest_year_by_rule": summary,
        "trends_by_rule": trends_by_rule(trend, counts, least_years=10, level=0.9),
    }  # fmt: skip
    days = seasons[["soil", "disease", "rule"]].assign(spanned=1, by_first_day=0)
    rows = summary_table(tables, days, least_years=10, least_sites=3, level=0.9)
    pairs = judged()
    each = [skill_tables([pair], {"summer-patch": TERMS})["skill"] for pair in pairs]
    made = [
        figures_dates.draw_openings(*one, NAMES, 0.9),
        figures_dates.draw_latitudes(normal, NAMES),
        figures_dates.draw_summary(rows, NAMES, "measured", "1 Mar"),
        figures_dates.draw_where(warmest[warmest["rule"] == "first-10c"], NAMES),
        figures_skill.draw_leads(pairs, NAMES, TERMS),
        figures_skill.draw_roc([one for one, _ in pairs], pd.concat(each), PRESSURE, NAMES, TERMS),
        figures_skill.draw_sweep(swept("low=16:20:1degC")),
    ]
    maps = figures_skill.draw_sweep(swept("low=16:20:1degC", "days=1:4:1", "depth=5:6:1cm"))
    return {p.name: p for p in made} | {"maps": maps}


def plain(text):
    """A label on one line."""
    return text.replace("\n", " ").replace("\N{NO-BREAK SPACE}", " ")


def test_no_figure_or_caption_names_a_rule_by_its_id(plates):
    for one in plates.values():
        said = plain(" ".join([*texts(one.figure), one.caption, one.alt]))
        assert not any(rule in said for rule in (*RULES, "osu"))


def texts(figure):
    return [t.get_text() for t in figure.findobj(mpl.text.Text) if t.get_text()]


def test_every_figure_has_its_words(plates):
    for one in plates.values():
        assert one.caption.count("?") == 1  # one question each
        assert len(one.alt) > 30
        assert "nan" not in one.caption + one.alt


def test_no_letter_is_cut_at_the_edge(plates, tmp_path):
    # The names of the rows are the widest words, and stand at the edge.
    for name in ("lead_times", "summary_1-mar"):
        path = figure_style.save_figure(plates[name], tmp_path)[-1]
        drawn = mpl.image.imread(path)[..., :3].min(axis=2)
        assert drawn.min() < 0.5
        assert min(drawn[:, 0].min(), drawn[:, -1].min(), drawn[0].min(), drawn[-1].min()) > 0.99


def test_the_same_data_give_the_same_bytes(seasons, tmp_path):
    written = []
    for folder in (tmp_path / "a", tmp_path / "b"):
        folder.mkdir()
        drawn = figures_dates.draw_latitudes(normal_openings(seasons), NAMES)
        written.append(figure_style.save_figure(drawn, folder))
    assert [path.suffix for path in written[0]] == [".pdf", ".png"]
    for one, other in zip(*written, strict=True):
        assert one.read_bytes() == other.read_bytes()


def test_the_users_own_settings_stay(seasons):
    with mpl.rc_context({"font.size": 23, "axes.spines.top": True}):
        figure = figures_dates.draw_latitudes(normal_openings(seasons), NAMES).figure
        assert mpl.rcParams["font.size"] == 23
        # ... and do not get into the figure.
        assert all(axes.title.get_fontsize() < 12 for axes in figure.axes)


def test_rules_that_open_alike_share_a_panel(plates):
    titles = [axes.get_title(loc="left") for axes in plates["latitudes"].figure.axes]
    assert [plain(title) for title in titles[:3]] == [
        "daily mean at 5 cm at least 10.0 °C [A]",
        "daily mean at 5 cm at least 12.0 °C [B], and 1 more",
        "daily mean at 5 cm at least 18.0 °C [A]",
    ]
    assert len([t for t in titles if t]) == 3


def test_rules_that_answer_alike_share_a_line():
    (one, skill), other = judged()
    twin = replace(one, rule="same-12c")
    elsewhere = replace(one, rule="late-18c", meaning="express")  # said of something else
    pairs = merge_alike([(one, skill), other, (twin, skill), (elsewhere, skill)])
    assert [r.rules for r, _ in pairs] == [("one", "same-12c"), ("two",), ("late-18c",)]
    drawn = figures_skill.draw_leads(pairs, NAMES, TERMS).figure
    labels = [plain(t.get_text()) for t in drawn.axes[0].get_yticklabels()]
    assert sum(", and 1 more (n = " in label for label in labels) == 1


def test_one_wording_names_all_who_published_it():
    assert NAMES.joined(["second-12c", "same-12c", "one", "gone"]) == (
        "daily mean at 5 cm at least 12.0 °C [B; C]; 5-day mean at 5 cm 12.8 °C to 15.6 °C [D]; "
        "gone"
    )


def test_seasons_without_an_opening_are_shown_and_those_within_bounds_as_strokes(plates):
    panel = plates["openings"].figure.axes[2]
    points, crosses = (next(line for line in panel.lines if line.get_marker() == m) for m in "ox")
    assert crosses.get_xdata().tolist() == [2012]
    assert 2015 not in points.get_xdata()
    assert len(points.get_xdata()) == 12
    (strokes,) = (c for c in panel.collections if isinstance(c, mpl.collections.LineCollection))
    (low, high) = strokes.get_segments()[0]
    assert (low[0], high[0], high[1] - low[1]) == (2015, 2015, 4)


def test_dates_stand_where_they_belong(plates):
    axes = plates["latitudes"].figure.axes[0]
    ticks = dict(
        zip([t.get_text() for t in axes.get_yticklabels()], axes.get_yticks(), strict=True)
    )
    assert ticks["1 Apr"] == 31  # days after 1 March
    assert ticks["1 May"] == 61


def test_lead_times_show_the_useful_range(plates):
    axes = plates["lead_times"].figure.axes[0]
    span = axes.patches[0].get_bbox()
    assert (span.x0, span.x1) == (21, 84)


def test_roc_area_is_written_beside_its_curve(plates):
    said = [
        t for t in texts(plates["roc_pressure_of_the_whole_season"].figure) if t.startswith("area")
    ]
    assert len(said) == 2
    assert all("with," in t for t in said)


def test_the_caption_of_a_sweep_says_which_seasons_and_draws_it_rests_on(plates):
    said = plates["sweep_osu"].caption
    assert "90 % interval over draws of seasons and, where they are enough, sites;" in said
    assert "of all sites and seasons that the record spans." in said


def test_sweeps_mark_the_published_value_and_those_as_good(plates):
    lines, maps = plates["sweep_osu"].figure, plates["maps"].figure
    published = [ln for ln in lines.axes[0].lines if ln.get_linestyle() == "--"]
    assert published[0].get_xdata()[0] == pytest.approx(18.0)
    titles = [axes.get_title(loc="left") for axes in maps.axes]
    assert "hit rate" in titles
    assert "median first opening" in titles
    assert "depth 5 cm" in plates["maps"].caption or "depth 6 cm" in plates["maps"].caption


# Machado, Oliveira & Fernandes 2009, IEEE Trans. Vis. Comput. Graph. 15:1291-1298: what is seen,
# in linear sRGB, without the cones for long, middle or short waves (matrices from memory).
EYES = {
    "all cones": np.eye(3),
    "no long": [
        [0.152286, 1.052583, -0.204868],
        [0.114503, 0.786281, 0.099216],
        [-0.003882, -0.048116, 1.051998],
    ],
    "no middle": [
        [0.367322, 0.860646, -0.227968],
        [0.280085, 0.672501, 0.047413],
        [-0.011820, 0.042940, 0.968881],
    ],
    "no short": [
        [1.255528, -0.076749, -0.178779],
        [-0.078411, 0.930809, 0.147602],
        [0.004733, 0.691367, 0.303900],
    ],
}
# IEC 61966-2-1: sRGB to XYZ.
TO_XYZ = np.array(
    [
        [0.4124564, 0.3575761, 0.1804375],
        [0.2126729, 0.7151522, 0.0721750],
        [0.0193339, 0.1191920, 0.9503041],
    ]
)


def lab(colour, eye):
    """CIE 1976 L*a*b* of a colour as an eye sees it."""
    value = np.array(mpl.colors.to_rgb(colour))
    linear = np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)
    xyz = TO_XYZ @ np.clip(np.array(eye) @ linear, 0, 1) / [0.95047, 1.0, 1.08883]
    f = np.where(xyz > 0.008856, np.cbrt(xyz), 7.787 * xyz + 16 / 116)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


@pytest.mark.parametrize("eye", EYES)
def test_colours_are_told_apart_by_every_eye(eye):
    seen = [lab(colour, EYES[eye]) for colour in figure_style.COLOURS]
    # A difference of 2 to 3 is just seen side by side (common practice); this is ten times that.
    assert min(np.linalg.norm(a - b) for a, b in combinations(seen, 2)) > 25
