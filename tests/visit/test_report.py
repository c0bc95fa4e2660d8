"""The report of a visit: what it answers, shows, keeps from claiming, and proposes."""

import json
import re
from dataclasses import replace

import pytest
from click.testing import CliRunner

from patchrisk.cli import main
from patchrisk.report.visit.page import embedded
from patchrisk.report.visit.terminal import visit_json, write_visit
from patchrisk.report.visit.view import view_of_visit
from patchrisk.site_day.visit import judge_day
from tests.visit.conftest import NOW
from tests.visit.hostile import write_hostile_page


def test_winter_is_disease_by_season_and_the_group_undivided(winter):
    day, view = winter
    status = {c.key: c.status for c in day.findings.causes}
    assert view.answer == "named"
    assert [k for k, s in status.items() if s == "for"] == ["dark-root-infecting-fungi"]
    assert status["take-all-patch"] == status["summer-patch"] == "open"
    assert {status[k] for k in ("salt", "sodium", "nutrients", "nematodes", "heat")} == {"against"}
    assert "Which fungus it is, is not settled" in view.opening
    assert view.tests[0][0].startswith("Ask the laboratory for the species")


def test_order_is_set_beside_what_comes_by_chance(winter):
    day, view = winter
    measured = day.findings.order
    assert not {"ESP", "manganese index"} & {o.analyte for o in measured}  # they are worked out
    assert day.findings.by_chance == pytest.approx(len(measured) / 3)
    assert f"of {len(measured)} figures" in view.order
    assert "none is a cause" in view.order


def test_nothing_claims_a_diagnosis(winter, spring):
    for _, view in (winter, spring):
        text = write_visit(view, full=True)
        assert "This is no diagnosis" in text
        assert "The laboratory that has the plugs names the cause" in " ".join(text.split())
        assert not re.search(r"\d+ ?% (?:likely|probab|chance)", text)


def test_history_is_proposed_and_what_no_longer_stands_is_told(winter, spring):
    text = " ".join(winter[1].history)
    assert "take-all patch as none in 10 years" in text
    assert '"dark root-infecting fungi" = "laboratory"' in text
    assert '"Pythium root dysfunction" = "laboratory"' in text
    assert '"take-all patch" = "laboratory"' in " ".join(spring[1].history)


def test_the_next_visit_compares_and_looks_at_the_strip(spring):
    _, view = spring
    compared = " ".join(view.compared)
    assert "On Feb 3, 2026" in compared
    assert "thin or dead 25 % against 45 %" in compared.lower()
    assert "Strip: not in that visit" in compared
    strip = " ".join(view.strip)
    assert "thin or dead 18 % against 25 %" in strip.lower()
    assert "no trial" in strip


def test_a_strip_is_proposed_where_roots_are_diseased(winter):
    assert "leave one strip untreated" in " ".join(winter[1].strip)


def test_spring_judges_the_season_before_the_turf_thinned(spring):
    day, _ = spring
    story = day.then.stories["take-all-patch"]
    assert str(story.first).startswith("2025-09") or str(story.first).startswith("2025-08")
    take_all = day.findings.cause("take-all-patch")
    assert take_all.status == "for"
    assert day.findings.cause("summer-patch").status == "against"


def test_places_are_a_table_with_what_they_are_held_against(winter):
    rows = {row.label: row for row in winter[1].rows}
    calcium = rows["Calcium, Mehlich-3 [ppm]"]
    assert calcium.cells == ("820", "800", "840")
    assert any("common practice, no source" in text for text in calcium.held)
    assert any("331" in text for text in calcium.held)
    assert rows["Chloride, Mehlich-3 [ppm]"].cells[2] == "<5"
    assert rows["Nematodes, ring, in 100 cm3"].cells == ("210", "", "260")


def test_what_was_measured_on_the_ground_cites_its_own_sources(winter, spring):
    told = [text for _, view in (winter, spring) for text in view.sources]
    drop = [text for text in told if text.startswith("Water drop: ")]
    assert drop
    assert all("10 s a consultants' rule" in text and "USGA" not in text for text in drop)


def test_json_says_the_same(winter):
    record = json.loads(visit_json(winter[1]))
    assert record["schema"] == "patchrisk visit, version 1"
    assert record["opening"] == winter[1].opening
    assert {c["key"]: c["status"] for c in record["causes"]}["salt"] == "spoken against"


@pytest.fixture(scope="session")
def hostile_page(course):
    return write_hostile_page(course)


def test_everything_is_escaped_and_nothing_comes_from_outside(hostile_page):
    page = hostile_page.read_text(encoding="utf-8")
    assert "<img src=x" not in page
    assert "<b>Mid</b>" not in page
    assert "&lt;b&gt;Mid" in page
    assert re.findall(r"(?:src|href)=\"(?!data:image/jpeg;base64,)[^\"]*\"", page) == []
    assert "img-src data:" in page
    assert "<script" not in page


def test_a_photo_is_small_upright_and_bare(hostile_page):
    import base64
    import io

    from PIL import Image

    page = hostile_page.read_text(encoding="utf-8")
    raw = base64.b64decode(re.search(r"data:image/jpeg;base64,([^\"]+)", page)[1])
    assert b"SECRET" not in raw
    photo = Image.open(io.BytesIO(raw))
    assert max(photo.size) == 900
    assert photo.height > photo.width  # turned upright
    assert not photo.getexif()
    assert "comment" not in photo.info


def test_what_is_no_photo_is_told(tmp_path):
    from patchrisk.base.errors import InputError

    path = tmp_path / "photo.jpg"
    path.write_bytes(b"no photo at all")
    with pytest.raises(InputError, match="no photo"):
        embedded(path)


def run(*args):
    return CliRunner().invoke(main, ["visit", *map(str, args)])


def test_from_a_new_file_to_the_clients_page(course, tmp_path):
    path = tmp_path / "mine.toml"
    made = run("--new", "--site", course / "site.toml", "--date", "2026-05-12", "--out", path)
    assert made.exit_code == 0, made.output
    again = run("--new", "--site", course / "site.toml", "--out", path)
    assert again.exit_code == 2
    assert "there is one already" in again.output
    text = path.read_text(encoding="utf-8")
    for example in ("# damage = ", "# runner_hyphae = ", "# colour = ", "# length = ", "# pH = "):
        text = text.replace(example, example.removeprefix("# "))
    path.write_text(text, encoding="utf-8")
    page = tmp_path / "page.html"
    done = run(path, "--out", page)
    assert done.exit_code == 0, done.output
    assert "This is no diagnosis" in " ".join(done.output.split())
    assert page.read_text(encoding="utf-8").startswith("<!doctype html>")
    assert run(path, "--out", path).exit_code == 2  # never over the visit's own file


def by_post(course, folder, *more, turf="creeping bentgrass"):
    weather = course / "weather.csv"
    return run("--lat", 38.9, "--lon", -85.4, "--turf", turf, "--thinned", "2026-02-03",
               "--weather", weather, "--out", folder, *more)  # fmt: skip


def test_a_sample_by_post_needs_no_site(course, tmp_path):
    folder = tmp_path / "post"
    more = ["--use", "green", "--root-zone", "sand green"]
    done = by_post(course, folder, *more)
    assert done.exit_code == 0, done.output
    said = " ".join(done.output.split())
    assert "Not settled" in said
    assert "Take-all patch: from" in said
    assert "NEXT SEASON" in said
    assert "Wash the roots" in said
    assert "thinned = 2026-02-03" in (folder / "visit.toml").read_text(encoding="utf-8")
    assert by_post(course, folder, *more).exit_code == 2  # nothing is written over


def test_a_sample_by_post_says_what_it_lacks():
    done = run("--lat", 38.9, "--turf", "creeping bentgrass")
    assert done.exit_code == 2
    assert "--lon: not given" in done.output
    assert "--thinned: not given" in done.output


def test_a_sample_by_post_that_can_not_be_judged_leaves_no_files(course, tmp_path):
    done = by_post(course, tmp_path / "post", turf="creping bentgrass")
    assert done.exit_code == 2
    assert "did you mean" in done.output
    assert list((tmp_path / "post").iterdir()) == []


@pytest.mark.parametrize("fails", ["write_new_visit", "_judge"])
def test_a_sample_by_post_that_was_stopped_leaves_no_files(course, tmp_path, monkeypatch, fails):
    def stopped(*_args, **_more):
        raise KeyboardInterrupt

    monkeypatch.setattr(f"patchrisk.cli.visit.{fails}", stopped)
    assert by_post(course, tmp_path / "post").exit_code == 130
    assert list((tmp_path / "post").iterdir()) == []


def test_a_sample_by_post_is_kept_where_nobody_reads_its_report(course, tmp_path, monkeypatch):
    def closed(*_args, **_more):
        raise BrokenPipeError

    monkeypatch.setattr("patchrisk.cli.visit.echo", closed)
    by_post(course, tmp_path / "post")
    assert sorted(p.name for p in (tmp_path / "post").iterdir()) == ["site.toml", "visit.toml"]


def test_a_visits_file_that_is_there_is_kept_and_no_site_file_is_left_beside_it(course, tmp_path):
    kept = tmp_path / "visit.toml"
    kept.write_text("# mine\n", encoding="utf-8")
    done = by_post(course, tmp_path)
    assert done.exit_code == 2
    assert "visit.toml: there is one already" in done.output
    assert [path.name for path in tmp_path.iterdir()] == ["visit.toml"]
    assert kept.read_text(encoding="utf-8") == "# mine\n"


def test_what_was_written_is_said_once_and_never_in_the_json(course, tmp_path):
    done = by_post(course, tmp_path / "words")
    assert done.stdout.count("Wrote") == 1
    assert done.stdout.splitlines()[-1].startswith("Wrote ")
    done = by_post(course, tmp_path / "json", "--json")
    assert json.loads(done.stdout)["area"] == "Turf"
    assert done.stderr.count("Wrote") == 1


def test_groups_come_with_the_cautions(winter):
    view = winter[1]
    assert "next start about" in " ".join(view.next_season)
    assert "FRAC" in " ".join(view.next_season)
    assert "The product label in force at your place is the law" in view.cautions
    assert view.cautions in " ".join(write_visit(view).split())


def test_groups_that_the_site_leaves_out_are_not_named(winter):
    day, view = winter
    assert "FRAC 1, 11 named" in " ".join(view.next_season)
    programme = day.morning.site.programme.model_copy(update={"without_groups": ("11",)})
    site = day.morning.site.model_copy(update={"programme": programme})
    without = view_of_visit(replace(day, morning=replace(day.morning, site=site)))
    assert "FRAC 1 named" in " ".join(without.next_season)
    assert not re.search(r"FRAC [^;:]*\b11\b", " ".join(without.next_season))


def test_a_table_of_nematodes_of_ones_own_is_cited_by_its_own_name(course):
    (course / "counts.toml").write_text(
        '[nematodes]\ncount = { ring = 100 }\nsource = "mine"\nconfidence = "weak"\n'
        "evident_at = 2.5\n[sources]\n"
        'mine = { short = "my counts", citation = "Counts of my own", seen = "no source" }\n',
        encoding="utf-8",
    )
    text = (course / "visit_winter.toml").read_text(encoding="utf-8")
    path = course / "own_counts.toml"
    path.write_text(f'guidelines = "counts.toml"\n{text}', encoding="utf-8")
    said = " ".join(write_visit(view_of_visit(judge_day(path, NOW)), full=True).split())
    assert "table 100 [my counts]" in said
    assert "Counts of my own [no source]" in said
    assert "2.6 times the table's 100" in said
    assert "at 2.5 times" in said
    assert "UMass table" not in said
    assert "two to three times" not in said


def test_what_to_take_goes_by_the_season():
    done = run("--what-to-take", "--sample", "--area", "Greens")
    assert done.exit_code == 0, done.output
    assert "edge of the damage" in " ".join(done.output.split())
    assert "LIKELY NOW, BY THE SEASON" in done.output
    assert "Take-all patch (Greens): " in done.output
    assert "(Fairways)" not in done.output


def test_a_visit_before_any_soil_record_is_told(course):
    text = (course / "visit_winter.toml").read_text(encoding="utf-8")
    text = text.replace("2026-02-03", "2013-02-03").replace("2026-01-20", "2013-01-20")
    path = course / "early.toml"
    path.write_text(text, encoding="utf-8")
    view = view_of_visit(judge_day(path, NOW))
    assert "No soil temperature is known before this visit" in " ".join(view.season)
    assert view.answer == "named"  # the roots still speak


def test_pages_of_several_visits_go_to_one_folder(winter, spring, tmp_path):
    from patchrisk.cli.visit import _pages

    views = [winter[1], spring[1], replace(spring[1], site="Other")]
    names = [page.name for page in _pages(tmp_path / "out", views)]
    assert len(set(names)) == 3
    assert names[0] == "quillfen-dunes-invented-greens-2026-02-03.html"


def test_the_columns_of_a_table_ask_to_be_confirmed(winter):
    day, view = winter
    assert view.confirm == ""
    laboratory = day.data.file.laboratory.model_copy(update={"confirmed": False})
    file = day.data.file.model_copy(update={"laboratory": laboratory})
    assert (
        "confirmed = true" in view_of_visit(replace(day, data=replace(day.data, file=file))).confirm
    )
    assert any("'Ca': calcium, ppm, Mehlich-3" in text for text in view.laboratory)
