"""The client's page of a visit in a real browser: at every width, light and dark, and on paper."""

import shutil

import pytest

from patchrisk.base import resources
from tests.browser.test_page import PAPER, WIDTHS, Opened
from tests.visit.hostile import HOSTILE, MIDDLE, write_hostile_page

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def visit_file(tmp_path_factory):
    folder = tmp_path_factory.mktemp("visit") / "course"
    shutil.copytree(resources.sample_weather(), folder)
    return write_hostile_page(folder)


@pytest.fixture(scope="module", params=["light", "dark"])
def opened(browser, visit_file, request):
    made = Opened(browser, visit_file, request.param)
    yield made
    made.context.close()


@pytest.mark.parametrize("width", WIDTHS)
def test_nothing_is_cut_or_overlaps(opened, width):
    assert opened.look(width) == []


@pytest.mark.parametrize("paper", PAPER)
def test_paper_is_whole(opened, paper):
    opened.page.emulate_media(media="print")
    try:
        assert opened.look(PAPER[paper]) == []
    finally:
        opened.page.emulate_media(media="screen")


def test_axe_finds_nothing(opened, axe):
    opened.page.set_viewport_size({"width": 360, "height": 780})
    opened.page.evaluate("document.querySelectorAll('details').forEach(d => { d.open = true })")
    opened.page.evaluate(axe)
    result = opened.page.evaluate("axe.run(document, {resultTypes: ['violations']})")
    assert [f"{v['id']}: {n['html'][:120]}" for v in result["violations"] for n in v["nodes"]] == []


def test_names_are_text_the_photo_shows_and_nothing_is_asked(opened, visit_file):
    text = opened.page.evaluate("document.body.textContent")
    assert HOSTILE in text
    assert MIDDLE in text
    assert opened.page.evaluate("window.hacked") is None
    assert opened.page.evaluate("[...document.images].map(i => i.naturalWidth > 0)") == [True]
    assert opened.said == []
    assert [url for url in opened.asked if not url.startswith("data:")] == [visit_file.as_uri()]
