"""Figures: what is drawn lies where the numbers are, reads in any light, and keeps to itself."""

import io
import re
import xml.etree.ElementTree as ET
from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest
from click.testing import CliRunner
from colorspacious import cspace_convert, deltaE
from matplotlib.image import imread

from patchrisk.cli import main
from patchrisk.pen import Pen
from patchrisk.programme.plan import AreaPlan, Choice, Planned
from patchrisk.report.figures import PAGE_WIDTH, drawings_of, figures_of
from patchrisk.report.figures.axes import Frame, ticks
from patchrisk.report.figures.canvas import DARK, LIGHT, Line, Shape, Sheet, Words
from patchrisk.report.figures.raster import to_bytes
from patchrisk.report.figures.svg import style_sheet, to_svg
from patchrisk.report.words import name_of
from patchrisk.site import Area
from patchrisk.windows import State

D = np.datetime64
US = Pen("us")  # the sample course's


def drawn(morning, area, plans=()):
    return {d.key: d for d in drawings_of(morning, area, plans, PAGE_WIDTH)}


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
        for figure in figures_of(morning, area):
            seen.add(figure.key)
            assert len(figure.svg) < 40_000
            root = ET.fromstring(figure.svg)
            names = {name for node in root.iter() for name in node.attrib}
            assert not names & {"id", "style", "class", "href", "onload"}
            tags = {node.tag.rpartition("}")[2] for node in root.iter()}
            assert tags <= {"svg", "path", "circle", "text"}
            assert root.get("aria-label") == figure.alt
            assert "nan" not in figure.svg.lower().replace("dominan", "")
            colours = set(re.findall(r'(?:fill|stroke)="([^"]+)"', figure.svg))
            assert colours <= {"none", *(f"var(--fig-{role})" for role in LIGHT)}
    assert seen == {"soil", "windows", "pressure"}


def test_the_same_morning_gives_the_same_bytes(morning):
    assert figures_of(morning, morning.areas[0]) == figures_of(morning, morning.areas[0])


def test_hostile_text_is_only_text():
    text = "<script>alert('1')</script> \"&\" \x00\x08 مرحبا 🏌️"
    sheet = Sheet(100, 20, [Words(0, 10, text)])
    root = ET.fromstring(to_svg(sheet, text))
    clean = text.replace("\x00\x08", "")
    assert root.get("aria-label") == clean
    assert "".join(root.itertext()) == clean
    assert not [node for node in root.iter() if node.tag.endswith("script")]


def test_steps_of_a_path_add_up_to_its_points():
    rng = np.random.default_rng(3)
    points = [tuple(p) for p in rng.uniform(-50, 400, size=(400, 2))]
    svg = to_svg(Sheet(400, 400, [Line(points, "ink")]), "line")
    path = re.search(r' d="M([^"]+)"', svg)[1]
    numbers = [float(n) for n in re.findall(r"-?\d*\.?\d+", path.replace("l", " "))]
    walked = np.cumsum(np.reshape(numbers, (-1, 2)), axis=0)
    np.testing.assert_allclose(walked, points, atol=0.0501)


# --- soil ---------------------------------------------------------------------------------------


def lines(drawing, colour):
    return [i for i in drawing.sheet.items if isinstance(i, Line) and i.colour == colour]


def test_logged_and_modelled_days_are_drawn_unlike(morning):
    fairways = drawn(morning, morning.areas[1])["soil"]
    past = [line for line in lines(fairways, "soil") if len(line.points) > 2]
    solid = [line for line in past if not line.dash]
    dashed = [line for line in past if line.dash == (5.0, 2.5)]
    assert solid
    assert dashed
    # 11 May is the last logged day: the dashes go on from there (sample_weather/README.md).
    assert dashed[0].points[0] == solid[-1].points[-1]
    assert [w.text for w in fairways.sheet.items if isinstance(w, Words)][:2] == [
        "logged",
        "modelled from air",
    ]


def test_the_last_day_lies_where_its_temperature_is(morning):
    area = morning.areas[0]
    drawing = drawn(morning, area)["soil"]
    levels = {
        float(w.text): w.y - 4
        for w in drawing.sheet.items
        if isinstance(w, Words) and w.anchor == "end" and re.fullmatch(r"-?\d+", w.text)
    }
    (v0, y0), (v1, y1) = sorted(levels.items())[:2]
    solid = [line for line in lines(drawing, "soil") if not line.dash and len(line.points) > 2]
    y = solid[-1].points[-1][1]
    shown_f = v0 + (y - y0) * (v1 - v0) / (y1 - y0)
    assert shown_f == pytest.approx(float(area.soil.mean_c[-1]) * 9 / 5 + 32, abs=0.05)


def test_the_table_of_the_soil_holds_the_series(morning):
    area = morning.areas[0]
    drawing = drawn(morning, area)["soil"]
    rows = {row[0]: row for row in drawing.rows}
    at = int(np.flatnonzero(area.soil.dates == D("2026-05-10"))[0])
    fahrenheit = float(area.soil.mean_c[at]) * 9 / 5 + 32
    assert rows["May 10"][1:3] == (f"{fahrenheit:.1f} °F", "logged")
    assert rows["May 24"][2] == "forecast"
    assert rows["May 31"][2] == "weather of past years"
    assert rows["May 17"][1] in drawing.alt


def test_without_past_years_there_is_still_the_soil_and_the_windows(morning):
    area = replace(morning.areas[0], ahead={}, course=None)
    made = drawn(replace(morning, ground=None), area)
    assert set(made) == {"soil", "windows"}
    assert "forecast" not in [w.text for w in made["soil"].sheet.items if isinstance(w, Words)]


def test_a_site_without_a_reading_has_no_figure_of_soil(morning):
    area = morning.areas[0]
    blank = replace(area.soil, mean_c=np.full_like(area.soil.mean_c, np.nan))
    assert "soil" not in drawn(morning, replace(area, soil=blank))


# --- windows ------------------------------------------------------------------------------------


def test_open_windows_begin_where_they_opened_and_reach_today(morning):
    area = morning.areas[0]
    drawing = drawn(morning, area)["windows"]
    frame = Frame(2, 0, PAGE_WIDTH - 8, 1, D("2026-05-18") - 90, D("2026-05-18") + 210)
    bars = {
        (round(shape.points[0][0], 3), round(shape.points[1][0], 3))
        for shape in drawing.sheet.items
        if isinstance(shape, Shape) and shape.fill == "open" and len(shape.points) == 4
    }
    count = 0
    for disease in area.diseases:
        for result in disease.deciding:
            if result.state is State.OPEN:
                ends = (frame.x(result.opened), frame.x(D("2026-05-18")))
                assert tuple(round(e, 3) for e in ends) in bars
                count += 1
    assert count > 5


def test_the_table_of_windows_has_every_deciding_rule(morning):
    for area in morning.areas:
        rows = drawn(morning, area)["windows"].rows
        for disease in area.diseases:
            mine = [
                row
                for row in rows
                if row[0].lower() == name_of(morning.library, disease.key).lower()
            ]
            opened = sorted(row[2] for row in mine)
            decide = sorted(US.day(r.opened) for r in disease.deciding)
            assert [day for day in decide if day not in opened] == []
            assert len(mine) >= len(decide)
            assert sum(row[1].endswith("(middle)") for row in mine) == 1


def test_a_window_to_come_has_its_rule_and_range_in_the_table(morning):
    area = morning.areas[1]
    rule = area.ahead["spring-dead-spot"].middle
    rows = drawn(morning, area)["windows"].rows
    [row] = [r for r in rows if r[1].endswith("(middle)") and r[0] == "Spring dead spot"]
    assert row[1] == "daily mean at 2 in at most 70.0 °F (middle)"
    assert row[4:6] == (US.day(rule.middle), f"{US.day(rule.early)} to {US.day(rule.late)}")


# --- pressure and cover -------------------------------------------------------------------------


def test_pressure_counts_the_years_with_less(morning):
    area = morning.areas[0]
    course = area.ahead["summer-patch"].course
    at = course.today - 1
    less = int((course.past_totals[at] < course.total.middle[at]).sum())
    alt = drawn(morning, area)["pressure"].alt
    assert f"Summer patch: {course.total.middle[at]:.0f} days at the optimum" in alt
    assert f"more than in {less} of {course.past_totals.shape[1]} past years" in alt


def test_at_most_four_diseases_share_the_figure_of_pressure(morning):
    for area in morning.areas:
        drawing = drawn(morning, area)["pressure"]
        assert 1 <= len({row[0] for row in drawing.rows}) <= 4


def test_cover_is_drawn_only_where_something_went_on(morning, covered):
    assert "cover" not in drawn(morning, morning.areas[0])
    assert "cover" in drawn(morning, covered)


def test_half_cover_takes_half_of_the_pressure(morning, covered):
    drawing = drawn(morning, covered)["cover"]
    course = covered.ahead["summer-patch"].course
    rows = {row[1]: row for row in drawing.rows}
    week = (course.dates >= D("2026-05-18")) & (course.dates < D("2026-05-25"))
    pressure = float(course.rate[week].sum())
    assert rows["May 18"][2:4] == (f"{pressure:.1f}", f"{pressure / 2:.1f}")
    assert rows["Jun 8"][3] == "0.0"
    assert rows["May 4"][4] == "applied May 4"
    assert "covered to Jun 2" in drawing.alt


def test_a_programme_is_drawn_with_its_days(morning):
    area = morning.areas[0]
    choice = Choice("FRAC 11", frozenset({"11"}), (), {})
    planned = Planned(
        D("2026-06-10"), D("2026-06-06"), D("2026-06-15"), choice, ("summer-patch",),
        {}, None, None, (), (),
    )  # fmt: skip
    plan = AreaPlan(area.area.name, D("2026-05-18"), D("2026-09-01"), (), (planned,), {}, (), ())
    drawing = drawn(morning, area, [plan])["cover"]
    assert "Planned: Jun 10." in drawing.alt
    assert any(row[4] == "planned Jun 10: FRAC 11" for row in drawing.rows)
    assert "cover" not in drawn(morning, area, [replace(plan, area="elsewhere")])


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
    drawing = drawn(morning, morning.areas[0])["windows"]
    first, second = (to_bytes(drawing.sheet, "pdf") for _ in range(2))
    assert first.startswith(b"%PDF")
    assert first == second


def test_names_no_font_has_draw_without_a_warning(recwarn):
    sheet = Sheet(200, 40, [Words(0, 20, "⛳ $x$ ملعب \U0001f3cc")])
    assert to_bytes(sheet, "png").startswith(b"\x89PNG")
    assert not recwarn.list


def test_an_area_of_any_name_is_drawn(morning):
    area = replace(morning.areas[0], area=Area(name="<b>&'\"", turf="creeping bentgrass"))
    for figure in figures_of(morning, area):
        ET.fromstring(figure.svg)
