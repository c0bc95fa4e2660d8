"""The page in a real browser: at every width, in light and dark, and on paper."""

import re
from pathlib import Path

import pytest

from tests.browser.hostile_names import AREAS, SITE

pytestmark = pytest.mark.browser
LOOK = (Path(__file__).parent / "look.js").read_text(encoding="utf-8")
WIDTHS = (360, 768, 1280)
# CSS pixels of the printed area: A4 210 mm and Letter 8.5 in, less margins of 12 mm.
PAPER = {"A4": 703, "Letter": 725}


class Opened:
    """A page in one colour scheme, and everything it did that it should not."""

    def __init__(self, browser, file, scheme):
        self.context = browser.new_context(
            color_scheme=scheme, viewport={"width": 360, "height": 780}
        )
        self.page = self.context.new_page()
        self.said, self.asked = [], []
        self.page.on("console", lambda message: self.said.append(message.text))
        self.page.on("pageerror", lambda error: self.said.append(str(error)))
        self.page.on("request", lambda request: self.asked.append(request.url))
        self.page.goto(file.as_uri())
        self.page.evaluate("document.fonts.ready")

    def look(self, width):
        self.page.set_viewport_size({"width": width, "height": 900})
        return self.page.evaluate(LOOK, width)


@pytest.fixture(scope="module", params=["light", "dark"])
def opened(browser, page_file, request):
    made = Opened(browser, page_file, request.param)
    yield made
    made.context.close()


@pytest.mark.parametrize("width", WIDTHS)
def test_nothing_is_cut_or_overlaps(opened, width):
    assert opened.look(width) == []


@pytest.mark.parametrize("width", WIDTHS)
def test_nothing_is_cut_or_overlaps_with_every_part_unfolded(opened, width):
    opened.page.evaluate("document.querySelectorAll('details').forEach(d => { d.open = true })")
    found = opened.look(width)
    opened.page.evaluate("document.querySelectorAll('details').forEach(d => { d.open = false })")
    assert found == []


def test_axe_finds_nothing(opened, axe):
    opened.page.set_viewport_size({"width": 360, "height": 780})
    opened.page.evaluate("document.querySelectorAll('details').forEach(d => { d.open = true })")
    opened.page.evaluate(axe)
    result = opened.page.evaluate("axe.run(document, {resultTypes: ['violations']})")
    opened.page.evaluate("document.querySelectorAll('details').forEach(d => { d.open = false })")
    told = [f"{v['id']}: {n['html'][:120]}" for v in result["violations"] for n in v["nodes"]]
    assert told == []
    # The rules really ran: colours, names and order were among them.
    assert result["testEngine"]["name"] == "axe-core"


def test_names_come_out_as_text(opened):
    text = opened.page.evaluate("document.body.textContent")
    assert SITE in text
    for name in AREAS.values():
        assert name in text
    assert opened.page.evaluate("window.hacked") is None
    assert opened.page.locator("img").count() == 0
    assert SITE in opened.page.title()


def test_the_keyboard_goes_through_in_reading_order(opened):
    page = opened.page
    page.set_viewport_size({"width": 360, "height": 780})
    stops = page.evaluate(
        "[...document.querySelectorAll('a[href], button, summary, [tabindex]')]"
        ".filter(e => e.tabIndex >= 0 && e.checkVisibility()).length"
    )
    assert stops > 3
    page.evaluate("document.activeElement.blur(); window.scrollTo(0, 0)")
    seen = []
    for _ in range(stops):
        page.keyboard.press("Tab")
        seen.append(
            page.evaluate(
                """() => {
                  const e = document.activeElement, s = getComputedStyle(e);
                  const all = [...document.querySelectorAll('*')];
                  const ring = s.outlineStyle !== 'none' && parseFloat(s.outlineWidth) >= 2;
                  return [all.indexOf(e), ring, e.tabIndex, e.outerHTML.slice(0, 80)];
                }"""
            )
        )
    places = [place for place, *_ in seen]
    assert places == sorted(set(places)), "focus goes back or stands still"
    assert [html for _, ring, _, html in seen if not ring] == [], "no visible mark of focus"
    assert all(index == 0 for _, _, index, _ in seen)


def test_what_can_be_pressed_is_big_enough_for_a_thumb(opened):
    # WCAG 2.2, 2.5.8: at least 24 by 24 CSS pixels, links within a sentence excepted.
    opened.page.set_viewport_size({"width": 360, "height": 780})
    small = opened.page.evaluate(
        """[...document.querySelectorAll('button, summary, nav a')]
           .filter(e => e.checkVisibility())
           .map(e => [e.getBoundingClientRect(), e.textContent.trim()])
           .filter(([b]) => b.width < 24 || b.height < 24).map(([, text]) => text)"""
    )
    assert small == []


@pytest.mark.parametrize("paper", PAPER)
def test_paper_is_light_and_whole(opened, paper):
    page = opened.page
    page.emulate_media(media="print")
    try:
        assert opened.look(PAPER[paper]) == []
        ground, ink = page.evaluate(
            "[getComputedStyle(document.documentElement).backgroundColor,"
            " getComputedStyle(document.body).color]"
        )
        assert _light(ground), f"paper is {ground}"
        assert not _light(ink)
        printed = page.pdf(format=paper)
        assert 1 <= len(re.findall(rb"/Type\s*/Page\b", printed)) <= 24
    finally:
        page.emulate_media(media="screen")


def _light(colour):
    numbers = [float(n) for n in re.findall(r"[\d.]+", colour)]
    return (len(numbers) == 4 and numbers[3] == 0) or sum(numbers[:3]) / 3 > 150


def test_figures_change_with_the_scheme(opened):
    colour = opened.page.evaluate(
        "getComputedStyle(document.querySelector('figure svg text')).fill"
    )
    dark = opened.page.evaluate("matchMedia('(prefers-color-scheme: dark)').matches")
    assert _light(colour) == dark


def test_each_figure_has_words_and_a_table(opened):
    figures = opened.page.evaluate(
        """[...document.querySelectorAll('figure')].map(f => [
             f.querySelector('svg').getAttribute('aria-label') || '',
             (f.querySelector('figcaption') || {textContent: ''}).textContent.trim(),
             f.querySelectorAll('table tbody tr').length])"""
    )
    assert len(figures) == 12  # four of each of three areas
    for label, caption, rows in figures:
        assert len(label) > 20
        assert "?" in caption
        assert rows > 2


def test_the_page_said_nothing_and_asked_for_nothing(opened, page_file):
    assert opened.said == []
    assert opened.asked == [page_file.as_uri()]
