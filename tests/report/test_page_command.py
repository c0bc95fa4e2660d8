"""`patchrisk page` through the real command."""

import json
import re
from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from click.testing import CliRunner

import patchrisk.report.earlier_mornings
import patchrisk.site_day.morning
from patchrisk.base import resources
from patchrisk.base.errors import Fault, UnavailableError
from patchrisk.base.safe_text import slug, slugs
from patchrisk.cli import main
from patchrisk.core.plan.facts import NoForecast
from patchrisk.core.plan.programme import AreaPlan
from patchrisk.core.verdict.decision_table import Verdict
from patchrisk.read.site import ProgrammeSettings, read_site
from patchrisk.read.site_data import sample_morning
from patchrisk.site_day.season_plan import SitePlan, keeps_programme
from tests.report.judged import changed, only

DAY = "2026-05-18"


def run(*args, code=0):
    result = CliRunner().invoke(main, ["page", *map(str, args)], catch_exceptions=False)
    assert result.exit_code == code, result.stderr
    return result


@pytest.fixture
def prepared(morning, monkeypatch):
    """Whatever site is asked for, the sample course's morning under that site's own name."""
    real = read_site

    def prepare(path, as_of, now, **options):
        name = real(path).site.name
        if "unlucky" in name:
            raise UnavailableError(Fault(str(path), "", "no room", "make some"))
        site = morning.site.site.model_copy(update={"name": name})
        whole = morning.site.model_copy(update={"site": site})
        kept = dict.fromkeys(("applications", "observations"))
        return replace(morning, site=whole, as_of=as_of, readings=(), past_label=(), **kept)

    monkeypatch.setattr(patchrisk.site_day.morning, "prepare", prepare)


def course(folder, name):
    """Write a site file of that name; its data are the sample's, which the fixture stands for."""
    folder.mkdir()
    text = (resources.sample_weather() / "site.toml").read_text(encoding="utf-8")
    for file in resources.sample_weather().glob("*.csv"):
        (folder / file.name).touch()
    file = folder / "site.toml"
    file.write_text(text.replace("Quillfen Dunes (invented)", name), encoding="utf-8")
    return file


def test_the_sample_course_from_end_to_end(tmp_path):
    out = tmp_path / "new" / "folder"
    said = run("--sample", "--out", out).stdout.splitlines()
    file = out / "quillfen-dunes-invented.html"
    assert said[0] == f"Wrote {file}"
    assert said[1].startswith("Quillfen Dunes (invented), May 18: Fairways APPLY: fairy ring")
    assert len(said) == 2
    assert sorted(p.name for p in out.iterdir()) == [
        "quillfen-dunes-invented-programme.kept.json",
        file.name,
        "quillfen-dunes-invented.kept.json",
    ]
    page = file.read_text(encoding="utf-8")
    assert page.startswith("<!doctype html>")
    assert page.count("<figure>") == 12  # four of each area
    assert "Coming up" in page
    assert len(page.encode()) < 1_000_000
    kept = json.loads((out / "quillfen-dunes-invented.kept.json").read_text(encoding="utf-8"))
    assert [p["as_of"] for p in kept["pages"]] == [DAY]


def test_a_plan_is_on_the_page_when_asked_for_and_records_are_kept(
    tmp_path, unrecorded, monkeypatch
):
    day = np.datetime64(DAY)
    plan = AreaPlan("Greens", day, day, advice=(NoForecast("dead-spot"),))

    def made(morning, *_):
        return SitePlan(morning, (plan,))

    monkeypatch.setattr(patchrisk.report.earlier_mornings, "plan_all", made)
    run("--site", unrecorded, "--as-of", DAY, "--plan", "--out", tmp_path / "without")
    run("--sample", "--plan", "--out", tmp_path / "with")
    for folder, shown in (("without", False), ("with", True)):
        (page,) = (tmp_path / folder).glob("*.html")
        assert ("Dead spot: no forecast is offered" in page.read_text(encoding="utf-8")) == shown


def test_records_a_shelf_or_a_table_ask_for_a_programme(morning, shipped):
    assert keeps_programme(shipped)
    assert not keeps_programme(morning)
    wished = morning.site.model_copy(update={"programme": ProgrammeSettings()})
    assert keeps_programme(replace(morning, site=wished))
    assert keeps_programme(replace(morning, applications=shipped.applications))
    assert keeps_programme(replace(morning, site=shipped.site))


def test_the_next_morning_says_what_changed_since_the_last_page(tmp_path, prepared):
    site = course(tmp_path / "a", "Course")
    args = ("--site", site, "--out", tmp_path / "out")
    run(*args, "--as-of", "2026-05-17")
    run(*args, "--as-of", DAY, "--dated")
    names = ["course-2026-05-18.html", "course.html", "course.kept.json"]
    assert sorted(p.name for p in (tmp_path / "out").iterdir()) == names
    stable, dated = (tmp_path / "out" / name for name in ("course.html", "course-2026-05-18.html"))
    assert stable.read_bytes() == dated.read_bytes()
    text = stable.read_text(encoding="utf-8").replace("\N{NO-BREAK SPACE}", " ")
    assert "Since the last page, of May 17, 2026" in text
    # Written again in the same morning, it still speaks of the morning before.
    run(*args, "--as-of", DAY)
    assert stable.read_bytes() == dated.read_bytes()


def test_a_damaged_memory_makes_a_first_page(tmp_path, prepared):
    site = course(tmp_path / "a", "Course")
    (tmp_path / "course.kept.json").write_text("{", encoding="utf-8")
    run("--site", site, "--out", tmp_path, "--as-of", DAY)
    assert "Since the last page" not in (tmp_path / "course.html").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("verdict", "code"),
    [
        (Verdict.APPLY, 3),
        (Verdict.DECIDE, 3),
        (Verdict.CANNOT_SAY, 0),
        (Verdict.GET_READY, 0),
        (Verdict.SCOUT, 0),
    ],
)
def test_summary_alone_and_the_signal(tmp_path, prepared, monkeypatch, verdict, code):
    site = course(tmp_path / "a", "Course")
    whole = patchrisk.site_day.morning.prepare

    def judged(*args, **options):
        made = whole(*args, **options)
        return changed(only(made, "Lawns", "summer-patch"), "Lawns", "summer-patch",
                       verdict=verdict)  # fmt: skip

    monkeypatch.setattr(patchrisk.site_day.morning, "prepare", judged)
    args = ("--site", site, "--out", tmp_path, "--as-of", DAY, "--summary")
    lines = run(*args).stdout.splitlines()
    said = f"Lawns {verdict.name.replace('_', ' ')} summer patch"
    if verdict is Verdict.SCOUT:
        said = "nothing to put on"
    assert lines == [f"Course May 18: {said}", "Soil 60 F."]
    assert run(*args, "--signal", code=code).stdout.splitlines() == lines


def test_no_signal_when_nothing_is_due(tmp_path, prepared, morning, monkeypatch):
    site = course(tmp_path / "a", "Course")
    whole = patchrisk.site_day.morning.prepare

    def quiet(*args, **options):
        return replace(whole(*args, **options), areas=())

    monkeypatch.setattr(patchrisk.site_day.morning, "prepare", quiet)
    said = run("--site", site, "--out", tmp_path, "--as-of", DAY, "--summary", "--signal").stdout
    assert said == "Course May 18: nothing to put on\nNo soil figure.\n"


def test_several_sites_get_an_index_and_names_of_their_own(tmp_path, prepared):
    names = ["Twin", "twin!", "index", "⛳"]
    files = [course(tmp_path / str(n), name) for n, name in enumerate(names)]
    args = [part for file in files for part in ("--site", file)]
    out = tmp_path / "out"
    said = run(*args, "--out", out, "--as-of", DAY).stdout.splitlines()
    pages = ["twin.html", "twin-2.html", "index-2.html", "site.html"]
    assert said[:5] == [f"Wrote {out / name}" for name in (*pages, "index.html")]
    assert [line.split(",")[0] for line in said[5:]] == names
    index = (out / "index.html").read_text(encoding="utf-8")
    assert re.findall(r'href="([^"]*)"', index) == pages
    for page in pages:
        assert 'href="index.html"' in (out / page).read_text(encoding="utf-8")


def test_the_other_sites_are_written_whatever_befalls_one(tmp_path, prepared):
    good, unlucky = course(tmp_path / "a", "Good"), course(tmp_path / "b", "unlucky")
    args = ["--site", good, "--site", unlucky, "--out", tmp_path, "--as-of", DAY]
    result = run(*args, code=1)
    assert "no room" in result.stderr
    assert len(result.stderr.splitlines()) == 1
    assert (tmp_path / "good.html").is_file()
    assert "no room" in (tmp_path / "index.html").read_text(encoding="utf-8")
    # What the user must change outweighs bad luck.
    result = run(*args, "--site", tmp_path / "gone.toml", code=2)
    assert len(result.stderr.splitlines()) == 2


def test_a_folder_that_can_not_be_made_is_told(tmp_path, prepared):
    site = course(tmp_path / "a", "Course")
    (tmp_path / "file").touch()
    out = tmp_path / "file" / "below"
    result = run("--site", site, "--out", out, "--as-of", DAY, code=1)
    assert re.fullmatch(r"patchrisk: --out, .*can't make the folder.*\n", result.stderr)


def test_only_a_page_is_written_over(tmp_path, prepared):
    sites = [course(tmp_path / part, name) for part, name in (("a", "Course"), ("b", "Links"))]
    out = tmp_path / "out"
    out.mkdir()
    (out / "course.html").write_text("<title>Our course</title>", encoding="utf-8")
    (out / "course.json").write_text("{}", encoding="utf-8")
    result = run("--site", sites[0], "--out", out, "--as-of", DAY, code=2)
    assert result.stderr == (
        f"patchrisk: {out / 'course.html'}: is there and is no page of patchrisk: move it away, "
        "or name another folder with --out\n"
    )
    both = ("--site", sites[0], "--site", sites[1], "--out", out, "--as-of", DAY)
    for _ in range(2):  # the second time over its own pages
        run(*both, code=2)
        assert "is no page of patchrisk" in (out / "index.html").read_text(encoding="utf-8")
        assert "Links" in (out / "links.html").read_text(encoding="utf-8")
    assert (out / "course.html").read_text(encoding="utf-8") == "<title>Our course</title>"
    assert (out / "course.json").read_text(encoding="utf-8") == "{}"


def test_tomorrow_is_refused(tmp_path, prepared):
    site = course(tmp_path / "a", "Course")
    result = run("--site", site, "--out", tmp_path, "--as-of", "9999-12-31", code=2)
    assert "is in the future" in result.stderr
    assert not list(tmp_path.glob("*.html"))


@pytest.mark.parametrize(
    ("name", "made"),
    [
        ("Quillfen Dunes (invented)", "quillfen-dunes-invented"),
        ("../../etc/passwd", "etc-passwd"),
        ("C:\\Windows\\x", "c-windows-x"),
        ("Höhenweg Nº 9", "hohenweg-no-9"),
        ("ملعب", "site"),
        (".", "site"),
        ("CON", "site-con"),
        ("lpt1", "site-lpt1"),
        ("a" * 300, "a" * 60),
        ("<script>", "script"),
    ],
)
def test_names_of_files_are_plain(name, made):
    assert slug(name) == made


def test_names_of_files_are_all_different():
    assert slugs(["A", "a", "a-2", "A"], ["a"]) == ["a-2", "a-3", "a-2-2", "a-4"]


def test_the_day_of_the_sample_is_the_one_after_its_weather():
    assert sample_morning(resources.sample_weather() / "site.toml") == (date.fromisoformat(DAY))
