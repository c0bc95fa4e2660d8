"""The page in a real browser: at every width, in light and dark, and on paper."""

import re
from pathlib import Path

import pytest

from tests.browser.hostile_names import AREAS, SITE

pytestmark = pytest.mark.browser
LOOK = (Path(__file__).parent / "look.js").read_text(encoding="utf-8")
WIDTHS = (320, 390, 820, 1440)
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
    # WCAG 2.2, 2.5.5: at least 44 by 44 CSS pixels, links within a sentence excepted.
    opened.page.set_viewport_size({"width": 360, "height": 780})
    small = opened.page.evaluate(
        """[...document.querySelectorAll('button, summary, .go a, a.go')]
           .filter(e => e.checkVisibility())
           .map(e => [e.getBoundingClientRect(), e.textContent.trim()])
           .filter(([b]) => b.width < 44 || b.height < 44).map(([, text]) => text)"""
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
        assert len(re.findall(rb"/Type\s*/Page\b", printed)) >= 1
    finally:
        page.emulate_media(media="screen")


def _light(colour):
    numbers = [float(n) for n in re.findall(r"[\d.]+", colour)]
    return (len(numbers) == 4 and numbers[3] == 0) or sum(numbers[:3]) / 3 > 150


def test_figures_change_with_the_scheme(opened):
    colour = opened.page.evaluate("getComputedStyle(document.querySelector('.card svg text')).fill")
    dark = opened.page.evaluate("matchMedia('(prefers-color-scheme: dark)').matches")
    assert _light(colour) == dark


def test_each_figure_has_words_and_a_table(opened):
    figures = opened.page.evaluate(
        """[...document.querySelectorAll('figure')].map(f => [
             f.querySelector('svg').getAttribute('aria-label') || '',
             (f.querySelector('figcaption') || {textContent: ''}).textContent.trim(),
             f.querySelectorAll('table tbody tr').length])"""
    )
    assert len(figures) == 11  # four of each of three areas; no cover where nothing is on
    for label, caption, rows in figures:
        assert len(label) > 20
        # The answer stands above, and is what is read aloud.
        assert label == caption.replace("\N{NO-BREAK SPACE}", " ")
        assert rows > 2


def test_the_page_said_nothing_and_asked_for_nothing(opened, page_file):
    assert opened.said == []
    assert opened.asked == [page_file.as_uri()]


PHONE = {"width": 390, "height": 844}


@pytest.fixture
def sample(browser, sample_page):
    """The sample course's page as it is delivered, on a phone."""
    context = browser.new_context(viewport=PHONE)
    page = context.new_page()
    page.goto(sample_page.as_uri())
    yield page
    context.close()


def test_the_morning_is_short_on_a_phone(sample):
    # The cards of three areas within one and a half screens, all within four, plan included.
    cards = sample.evaluate("document.querySelector('.cards').getBoundingClientRect().bottom")
    assert cards <= 1.5 * PHONE["height"] + 1
    whole = sample.evaluate("document.scrollingElement.scrollHeight")
    assert whole <= 4 * PHONE["height"]
    words = sample.evaluate("document.body.innerText.split(/\\s+/).length")
    assert 300 < words <= 900
    assert "Coming up" in sample.evaluate("document.body.innerText")


def test_every_link_within_the_page_leads_to_a_part(sample):
    lost = sample.evaluate(
        "[...document.querySelectorAll('a[href^=\"#\"]')].filter(a =>"
        " !document.getElementById(a.getAttribute('href').slice(1))).length"
    )
    assert lost == 0
    assert sample.locator("a[href^='#']").count() == 6


@pytest.mark.parametrize("paper", PAPER)
def test_one_page_for_the_wall(sample, paper):
    printed = sample.pdf(format=paper)
    assert len(re.findall(rb"/Type\s*/Page\b", printed)) == 1
    sample.emulate_media(media="print")
    text = sample.evaluate("document.body.innerText")
    assert "Done on, at, by whom" in text
    assert "Fairways" in text


def test_text_of_figures_grows_with_the_readers_font(sample):
    def size():
        return sample.evaluate(
            """Math.min(...[...document.querySelectorAll('.card svg text')].map(t => {
                 const svg = t.closest('svg');
                 const scale = svg.getBoundingClientRect().width / svg.viewBox.baseVal.width;
                 return parseFloat(getComputedStyle(t).fontSize) * scale; }))"""
        )

    usual = size()
    assert usual >= 12
    sample.evaluate("document.documentElement.style.fontSize = '200%'")
    assert size() >= 1.5 * usual
    assert sample.evaluate("document.scrollingElement.scrollWidth") <= PHONE["width"]


@pytest.mark.parametrize("paper", PAPER)
def test_the_season_is_one_page_for_a_committee(browser, season_page, axe, paper):
    context = browser.new_context(viewport={"width": 320, "height": 780}, bypass_csp=True)
    page = context.new_page()
    page.goto(season_page.as_uri())
    assert page.evaluate(LOOK, 320) == []
    page.evaluate(axe)
    result = page.evaluate("axe.run(document, {resultTypes: ['violations']})")
    assert [v["id"] for v in result["violations"]] == []
    assert len(re.findall(rb"/Type\s*/Page\b", page.pdf(format=paper))) == 1
    context.close()
