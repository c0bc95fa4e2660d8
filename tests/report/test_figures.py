"""Figures: what is drawn lies where the numbers are, reads in any light, and keeps to itself."""

import io
import re
import shutil
import xml.etree.ElementTree as ET
from dataclasses import replace
from datetime import date
from itertools import combinations

import numpy as np
import pytest
from click import Context
from click.testing import CliRunner
from colorspacious import cspace_convert, deltaE
from matplotlib.image import imread

from patchrisk.base import resources
from patchrisk.base.pen import Pen
from patchrisk.cli import main
from patchrisk.core.plan.programme import AreaPlan, Choice, Planned
from patchrisk.core.verdict.decision_table import Phase
from patchrisk.read.area import Area
from patchrisk.report.figures import FIGURES, PAGE_WIDTH, drawings_of, seasons
from patchrisk.report.figures.axes import Frame, ticks
from patchrisk.report.figures.canvas import (
    DARK,
    LIGHT,
    Canvas,
    Label,
    Polygon,
    Stroke,
    style_sheet,
    to_bytes,
    to_svg,
)
from patchrisk.report.figures.seasons import bar_of
from patchrisk.report.view import view_of
from patchrisk.report.view.area import AreaView
from patchrisk.report.words import pen_of
from patchrisk.site_day.morning import prepare
from tests.report.conftest import AS_OF, NOON

D = np.datetime64
US = Pen("us")  # the sample course's


MONTHS = [date(2025, 7, 20), date(2025, 10, 20), date(2026, 1, 20), date(2026, 4, 20), AS_OF]


@pytest.fixture(scope="module", params=MONTHS, ids=str)
def month(request):
    """Every area of the sample course, with its records, on a morning of a month."""
    morning = prepare(resources.sample_weather() / "site.toml", request.param, NOON)
    return [(morning, area) for area in morning.areas]


@pytest.fixture(scope="module")
def grouped(unrecorded, tmp_path_factory):
    """The sample's greens, asked for a group, a member of it, and another disease."""
    folder = tmp_path_factory.mktemp("grouped")
    shutil.copytree(unrecorded.parent, folder, dirs_exist_ok=True)
    site = folder / "site.toml"
    asked = 'diseases = ["summer patch", "dark root-infecting fungi", "fairy ring"]'
    turf = 'turf = "creeping bentgrass"'
    site.write_text(site.read_text().replace(turf, f"{turf}\n{asked}", 1))
    return prepare(site, AS_OF, NOON, only=["Greens"])


def viewed(morning, area, plan=None):
    return AreaView(morning, area, plan, pen_of(morning))


def drawn(morning, area, plans=()):
    return {d.key: d for d in drawings_of(viewed(morning, area, *plans))}


# --- colours ------------------------------------------------------------------------------------


def luminance(colour):
    # WCAG 2.2, definition of relative luminance.
    parts = [int(colour[n : n + 2], 16) / 255 for n in (1, 3, 5)]
    linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(a, b):
    dark, light = sorted((luminance(a), luminance(b)))
    return (light + 0.05) / (dark + 0.05)


def test_contrast_by_the_two_ends_of_the_published_scale():
    # WCAG 2.2, definition of contrast ratio: from 1 to 21.
    assert contrast("#000000", "#ffffff") == pytest.approx(21, abs=0.5e-9)
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.005)  # W3C, G18 examples


@pytest.mark.parametrize("palette", [LIGHT, DARK], ids=["light", "dark"])
def test_words_and_marks_stand_out_from_the_paper(palette):
    # WCAG 2.2, 1.4.6 (7 for text: a page read in the sun) and 1.4.11 (3 for graphics).
    for role in ("ink", "soft"):
        assert contrast(palette[role], palette["paper"]) >= 7, role
    for role in ("soil", "open", "cover", "past"):
        assert contrast(palette[role], palette["paper"]) >= 3, role


@pytest.mark.parametrize("palette", [LIGHT, DARK], ids=["light", "dark"])
@pytest.mark.parametrize("kind", ["deuteranomaly", "protanomaly", "tritanomaly"])
def test_colours_stay_apart_for_the_colour_blind(palette, kind):
    # Machado et al. 2009 at full severity, as colorspacious gives it; distance in CAM02-UCS,
    # where 1 is about a just noticeable difference: ten times that is asked for.
    blind = {"name": "sRGB1+CVD", "cvd_type": kind, "severity": 100}

    def seen(role):
        rgb = [int(palette[role][n : n + 2], 16) / 255 for n in (1, 3, 5)]
        return np.clip(cspace_convert(rgb, blind, "sRGB1"), 0, 1)

    for a, b in combinations(("soil", "open", "cover", "past"), 2):
        assert deltaE(seen(a), seen(b), input_space="sRGB1") > 10, (a, b)


def test_both_palettes_name_the_same_roles():
    assert set(LIGHT) == set(DARK)
    sheet = style_sheet()
    for palette in (LIGHT, DARK):
        for role, colour in palette.items():
            assert f"--fig-{role}:{colour}" in sheet


# --- the SVG ------------------------------------------------------------------------------------


def test_the_svg_keeps_to_itself(morning):
    seen = set()
    for area in morning.areas:
        for figure in drawings_of(viewed(morning, area)):
            seen.add(figure.key)
            assert len(figure.svg) < 40_000
            root = ET.fromstring(figure.svg)
            names = {name for node in root.iter() for name in node.attrib}
            assert not names & {"id", "style", "class", "href", "onload"}
            tags = {node.tag.rpartition("}")[2] for node in root.iter()}
            assert tags <= {"svg", "path", "circle", "text"}
            assert root.get("aria-label") == figure.answer
            assert "nan" not in figure.svg.lower().replace("dominan", "")
            colours = set(re.findall(r'(?:fill|stroke)="([^"]+)"', figure.svg))
            assert colours <= {"none", *(f"var(--fig-{role})" for role in LIGHT)}
    assert seen == {"soil", "seasons", "pressure"}


def test_the_same_morning_gives_the_same_bytes(morning):
    first, second = (drawings_of(viewed(morning, morning.areas[0])) for _ in range(2))
    assert [d.svg for d in first] == [d.svg for d in second]


def test_hostile_text_is_only_text():
    text = "<script>alert('1')</script> \"&\" \x00\x08 مرحبا 🏌️"
    sheet = Canvas(100, 20, [Label(0, 10, text)])
    root = ET.fromstring(to_svg(sheet, text))
    clean = text.replace("\x00\x08", "")
    assert root.get("aria-label") == clean
    assert "".join(root.itertext()) == clean
    assert not [node for node in root.iter() if node.tag.endswith("script")]


def test_steps_of_a_path_add_up_to_its_points():
    rng = np.random.default_rng(3)
    points = [tuple(p) for p in rng.uniform(-50, 400, size=(400, 2))]
    svg = to_svg(Canvas(400, 400, [Stroke(points, "ink")]), "line")
    path = re.search(r' d="M([^"]+)"', svg)[1]
    numbers = [float(n) for n in re.findall(r"-?\d*\.?\d+", path.replace("l", " "))]
    walked = np.cumsum(np.reshape(numbers, (-1, 2)), axis=0)
    np.testing.assert_allclose(walked, points, atol=0.0501)


# --- soil ---------------------------------------------------------------------------------------


def lines(drawing, colour):
    return lines_of(drawing.canvas, colour)


def test_logged_and_modelled_days_are_drawn_unlike(morning):
    fairways = drawn(morning, morning.areas[1])["soil"]
    past = [line for line in lines(fairways, "soil") if len(line.points) > 2]
    solid = [line for line in past if not line.dash]
    dashed = [line for line in past if line.dash == (5.0, 2.5)]
    assert solid
    assert dashed
    # 11 May is the last logged day: the dashes go on from there (sample_weather/README.md).
    assert dashed[0].points[0] == solid[-1].points[-1]
    assert "logged, or estimated from the air where it is dashed" in fairways.note


def test_the_last_day_lies_where_its_temperature_is(morning):
    area = morning.areas[0]
    drawing = drawn(morning, area)["soil"]
    solid = [line for line in lines(drawing, "soil") if not line.dash and len(line.points) > 2]
    y = solid[-1].points[-1][1]
    # A twentieth of a degree Fahrenheit is less than a fifth of a pixel.
    assert y == pytest.approx(place_of(drawing)(float(area.soil.mean_c[-1])), abs=0.2)


def test_the_table_of_the_soil_holds_the_series(morning):
    area = morning.areas[0]
    drawing = drawn(morning, area)["soil"]
    rows = {row[0]: row for row in drawing.rows}
    at = int(np.flatnonzero(area.soil.dates == D("2026-05-10"))[0])
    fahrenheit = float(area.soil.mean_c[at]) * 9 / 5 + 32
    assert rows["May 10"][1:3] == (f"{fahrenheit:.1f} °F", "logger")
    assert rows["May 24"][2] == "forecast"
    assert rows["May 31"][2] == "weather of past years"
    assert rows["May 17"][1] in drawing.answer


def test_without_past_years_there_is_still_the_soil_and_the_seasons(morning):
    area = replace(morning.areas[0], seasons={}, course=None)
    made = drawn(replace(morning, ground=None), area)
    assert set(made) == {"soil", "seasons"}
    assert "forecast" not in [w.text for w in made["soil"].canvas.marks if isinstance(w, Label)]


def test_a_site_without_a_reading_has_no_figure_of_soil(morning):
    area = morning.areas[0]
    blank = replace(area.soil, mean_c=np.full_like(area.soil.mean_c, np.nan))
    assert "soil" not in drawn(morning, replace(area, soil=blank))


def place_of(drawing):
    """Where a temperature lies up the figure of the soil, read off the numbers at its side."""
    levels = {
        float(w.text): w.y - 4
        for w in drawing.canvas.marks
        if isinstance(w, Label) and w.anchor == "end" and re.fullmatch(r"-?\d+", w.text)
    }
    (v0, y0), (v1, y1) = sorted(levels.items())[:2]
    return lambda celsius: y0 + (celsius * 9 / 5 + 32 - v0) * (y1 - y0) / (v1 - v0)


def diamonds(canvas, size):
    """Middles of the diamonds of a size."""
    return [
        shape.points[0][0]
        for shape in canvas.marks
        if isinstance(shape, Polygon)
        and len(shape.points) == 4
        and shape.points[0][0] == shape.points[2][0]
        and shape.points[2][1] - shape.points[0][1] == pytest.approx(2 * size)
    ]


def test_the_soil_is_drawn_with_the_start_that_the_text_speaks_of(month):
    shown = 0
    for morning, area in month:
        drawing = drawn(morning, area)["soil"]
        (at,) = [w for w in drawing.canvas.marks if isinstance(w, Label) and "starts" in w.text][:1]
        degrees = float(at.text.split()[0])
        views = {view.name: view for view in view_of(morning).areas}
        j = area.judged[views[area.area.name].rows[0].judged.disease]
        if j.phase is not Phase.OVER:  # else the next to start is shown
            level = j.deciding.rule.low_c if j.span.turn == "rising" else j.deciding.rule.high_c
            assert abs(level * 9 / 5 + 32 - degrees) <= 0.5
            assert morning.library.diseases[j.disease].name.split()[0] in at.text
            shown += 1
    assert shown or morning.as_of.month in (10, 1)


# --- seasons --------------------------------------------------------------------------------------


def bar_frame(today, width=PAGE_WIDTH):
    return Frame(Canvas(width, 0), 1, 0, width - 1, 1, today - 100, today + 230)


def bars(canvas, fill):
    return [
        (m.points[0][0], m.points[1][0])
        for m in canvas.marks
        if isinstance(m, Polygon) and m.fill == fill and m.points[0][1] == 24 - 6
    ]


def test_the_bar_holds_the_days_of_infection_and_what_is_ahead_begins_today(month):
    seen = 0
    for morning, area in month:
        today = D(morning.as_of)
        frame = bar_frame(today)
        for key, one in area.judged.items():
            canvas = bar_of(viewed(morning, area), key, PAGE_WIDTH)
            past, ahead = bars(canvas, "open"), bars(canvas, "open-pale")
            infected = area.soil.dates[one.active_days]
            infected = infected[infected >= frame.first]
            if infected.size:
                assert past[0][0] == pytest.approx(frame.x(infected[0]))
                assert past[-1][1] == pytest.approx(frame.x(infected[-1] + 1))
                seen += 1
            else:
                assert not past
            assert len(ahead) <= 1
            assert all(a >= frame.x(today) - 1e-6 for a, _ in ahead)
    assert seen


def test_a_start_by_odds_never_lies_before_today_and_is_that_of_the_judgement(month):
    seen = 0
    for morning, area in month:
        today = D(morning.as_of)
        frame = bar_frame(today)
        for key, one in area.judged.items():
            odds = seasons.start_by_odds(one, today)
            found = diamonds(bar_of(viewed(morning, area), key, PAGE_WIDTH), 5.5)
            if odds is None or odds[0] >= frame.last:
                assert not found
                continue
            assert all(day >= today for day in odds)
            coming = one if one.start is None and one.phase is not Phase.OVER else one.following
            assert odds[1] == max(coming.middle, today)
            assert found == [pytest.approx(frame.x(odds[1]))]
            seen += 1
    assert seen > 1


def test_labels_of_a_bar_lie_apart_and_inside(month):
    from patchrisk.report.figures.canvas import text_width

    for morning, area in month:
        for key in area.judged:
            canvas = bar_of(viewed(morning, area), key, PAGE_WIDTH)
            labels = [m for m in canvas.marks if isinstance(m, Label)]
            assert {"today"} <= {m.text for m in labels}
            for one in labels:
                wide = text_width(one.text, bold=one.bold)
                left = one.x - (wide / 2 if one.anchor == "middle" else 0)
                assert left >= -1, one
                assert left + wide <= canvas.width + 14, one
            for one, other in combinations([m for m in labels if m.halo], 2):
                assert one.y != other.y or not (
                    one.x < other.x + text_width(other.text)
                    and other.x < one.x + text_width(one.text)
                )


def test_cover_lies_below_the_bar_on_its_days(shipped):
    (lawns,) = [a for a in shipped.areas if a.area.name == "Lawns"]
    canvas = bar_of(viewed(shipped, lawns), "summer-patch", PAGE_WIDTH)
    frame = bar_frame(D("2026-05-18"))
    (line,) = lines_of(canvas, "cover")
    assert line.points[0][0] == pytest.approx(frame.x(D("2026-05-11")))
    until = lawns.judged["summer-patch"].cover.until
    assert line.points[1][0] == pytest.approx(frame.x(until + 1), abs=1)
    assert "covered to Jun 7" in [m.text for m in canvas.marks if isinstance(m, Label)]


def lines_of(canvas, colour):
    return [m for m in canvas.marks if isinstance(m, Stroke) and m.colour == colour]


def test_figure_text_and_table_of_seasons_say_the_same(month):
    for morning, area in month:
        drawing = drawn(morning, area)["seasons"]
        assert len(drawing.rows) == len(area.judged)
        rows = {row[0].lower(): row for row in drawing.rows}
        for key, one in area.judged.items():
            row = rows[morning.library.diseases[key].name.lower()]
            pen = Pen("us", morning.as_of.year)
            assert f"{row[0]}: " in drawing.answer
            if one.start is not None and one.phase not in (Phase.OVER, Phase.UNKNOWN):
                assert f"since {pen.day(one.start)}" in row[1]
            assert row[2] == str(int(one.active_days.sum()))
            assert row[4] == pen.days(*one.damage)


def test_members_of_a_group_are_drawn_once(grouped):
    drawing = drawn(grouped, grouped.areas[0])["seasons"]
    # Summer patch was asked for by itself as well: it is drawn once.
    assert sorted(row[0] for row in drawing.rows) == sorted(
        {row[0] for row in drawing.rows} | {"Summer patch", "Take-all patch", "Fairy ring"}
    )


# --- pressure and cover -------------------------------------------------------------------------


def test_pressure_counts_the_years_with_less(morning):
    area = morning.areas[0]
    course = area.seasons["pythium-root-dysfunction"].course
    at = course.today - 1
    less = int((course.past_totals[at] < course.total.middle[at]).sum())
    alt = drawn(morning, area)["pressure"].answer
    assert f"Pythium root dysfunction: {course.total.middle[at]:.0f} full days of warmth" in alt
    assert f"more than in {less} of {course.past_totals.shape[1]} past years" in alt


def test_pressure_speaks_of_the_season_judged_and_ends_with_its_infection(month):
    for morning, area in month:
        drawing = drawn(morning, area).get("pressure")
        if drawing is None:
            continue
        last = {}
        for row in drawing.rows:
            last[row[0].partition(",")[0].lower()] = row[1]
        for key, one in area.judged.items():
            name = morning.library.diseases[key].name.lower()
            if name in last and one.over is not None and one.first <= one.over <= one.last:
                begins = area.seasons[key].course
                if begins.dates[begins.first] <= one.last:
                    assert last[name] == Pen("us", morning.as_of.year).day(one.over - 1)


def test_at_most_three_diseases_share_the_figure_of_pressure(month):
    for morning, area in month:
        drawing = drawn(morning, area).get("pressure")
        assert drawing is None or 1 <= len({row[0] for row in drawing.rows}) <= 3


def test_cover_is_drawn_only_where_something_went_on(morning, covered):
    assert "cover" not in drawn(morning, morning.areas[0])
    assert "cover" in drawn(morning, covered)


def test_half_cover_takes_half_of_the_pressure(morning, covered):
    drawing = drawn(morning, covered)["cover"]
    course = covered.seasons["summer-patch"].course
    rows = {row[1]: row for row in drawing.rows}
    week = (course.dates >= D("2026-05-18")) & (course.dates < D("2026-05-25"))
    pressure = float(course.rate[week].sum())
    assert rows["May 18"][2:4] == (f"{pressure:.1f}", f"{pressure / 2:.1f}")
    assert rows["Jun 8"][3] == "0.0"
    assert rows["May 4"][6] == "applied May 4"
    assert "covered to Jun 2" in drawing.answer


def test_days_of_infection_are_told_covered_or_bare(shipped):
    # The greens' applications of 30 March and 27 April, and the days on which roots were infected.
    area = shipped.areas[0]
    drawing, checked = drawn(shipped, area)["cover"], 0
    for key, one in area.judged.items():
        name = shipped.library.diseases[key].name.lower()
        mine = [row for row in drawing.rows if row[0].lower().startswith(name)]
        if not mine or not one.active_days.any():
            continue
        total, bare = int(one.active_days.sum()), len(one.cover.bare_open)
        assert f"of {total} days of infection so far {bare} were without cover" in drawing.answer
        for row in mine:
            if row[4] == "-":
                continue
            week = next(d for d in area.soil.dates if US.day(d) == row[1] and d >= D("2026-01-01"))
            days = (area.soil.dates >= week) & (area.soil.dates < week + 7)
            covered_days = dict(zip(one.cover.dates, one.cover.covered, strict=True))
            infected = list(area.soil.dates[days & one.active_days])
            assert row[4] == str(len(infected))
            assert row[5] == str(sum(not covered_days[d] for d in infected))
            checked += int(row[4] != row[5])
    assert checked > 3


def test_a_programme_is_drawn_with_its_days(morning):
    area = morning.areas[0]
    choice = Choice("FRAC 11", frozenset({"11"}), (), {})
    planned = Planned(D("2026-06-10"), D("2026-06-15"), choice, ("summer-patch",), {})
    plan = AreaPlan(area.area.name, D("2026-05-18"), D("2026-09-01"), (), (planned,))
    drawing = drawn(morning, area, [plan])["cover"]
    assert "Planned: Jun 10." in drawing.answer
    assert any(row[6] == "planned Jun 10: FRAC 11" for row in drawing.rows)
    elsewhere = view_of(morning, [replace(plan, area="elsewhere")])
    assert all(a.plan is None for a in elsewhere.areas)


# --- axes ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(("low", "high"), [(-3.2, 41.0), (20.0, 88.0), (0, 7), (0, 0.9), (0, 640)])
def test_ticks_are_round_inside_and_apart(low, high):
    at = ticks(low, high, 170, 28)
    assert 2 <= len(at) <= 7
    assert at[0] >= low
    assert at[-1] <= high
    step = at[1] - at[0]
    assert step / (high - low) * 170 >= 28
    assert re.fullmatch(r"[125]0*", f"{step * 10:.0f}")


# --- files --------------------------------------------------------------------------------------


def run(tmp_path, name, *more):
    out = tmp_path / name
    args = ["figure", "soil", "--sample", "--area", "Lawns", "--out", str(out), *more]
    return out, CliRunner().invoke(main, args)


def test_a_png_has_two_dots_to_a_pixel(tmp_path):
    out, result = run(tmp_path, "soil.png", "--width", "500")
    assert result.exit_code == 0, result.output
    image = imread(io.BytesIO(out.read_bytes()))
    assert image.shape[1] == 1000
    assert 300 < image.shape[0] < 1400
    assert image[..., :3].min() < 0.3  # there is ink on it
    assert image[0, 0, :3].min() == 1


def test_an_svg_for_a_report_needs_no_page(tmp_path):
    out, result = run(tmp_path, "soil.svg")
    assert result.exit_code == 0, result.output
    root = ET.fromstring(out.read_text(encoding="utf-8"))
    text = " ".join(root.itertext())
    assert "var(" not in out.read_text(encoding="utf-8")
    assert "Lawns, Quillfen Dunes (invented), May 18, 2026" in text
    assert root.get("width") == "640"


def test_the_command_knows_every_figure_and_what_each_needs(morning, covered):
    (which,) = (p for p in main.get_command(Context(main), "figure").params if p.name == "which")
    made = {d.key for area in (*morning.areas, covered) for d in drawings_of(viewed(morning, area))}
    assert made == set(which.type.choices) == set(FIGURES)


def test_other_endings_are_refused(tmp_path):
    out, result = run(tmp_path, "soil.gif")
    assert result.exit_code == 2
    assert "name a file ending in .png, .svg or .pdf" in result.stderr
    assert not out.exists()


def test_a_figure_with_nothing_to_show_says_what_it_needs(unrecorded, tmp_path):
    args = ["--site", str(unrecorded), "--as-of", "2026-05-18", "--out", str(tmp_path / "c.png")]
    result = CliRunner().invoke(main, ["figure", "cover", *args])
    assert result.exit_code == 1
    assert "recorded application" in result.stderr


def test_the_figure_of_cover_shows_what_is_on_and_what_is_planned(tmp_path):
    out = tmp_path / "cover.svg"
    args = ["figure", "cover", "--sample", "--area", "Lawns", "--out", str(out)]
    result = CliRunner().invoke(main, args)
    assert result.exit_code == 0, result.output
    assert "Summer patch: covered to Jun 7" in result.output
    assert re.search(r"Planned: (Jun|Jul) \d+", result.output)
    assert out.is_file()


def test_a_pdf_is_the_same_every_time(morning):
    drawing = drawn(morning, morning.areas[0])["seasons"]
    first, second = (to_bytes(drawing.canvas, "pdf") for _ in range(2))
    assert first.startswith(b"%PDF")
    assert first == second


def test_names_no_font_has_draw_without_a_warning(recwarn):
    sheet = Canvas(200, 40, [Label(0, 20, "⛳ $x$ ملعب \U0001f3cc")])
    assert to_bytes(sheet, "png").startswith(b"\x89PNG")
    assert not recwarn.list


def test_an_area_of_any_name_is_drawn(morning):
    area = replace(morning.areas[0], area=Area(name="<b>&'\"", turf="creeping bentgrass"))
    for figure in drawings_of(viewed(morning, area)):
        ET.fromstring(figure.svg)
