"""The page and the index as text: what stands in them, and what may never."""

import base64
import hashlib
import itertools
import re
from dataclasses import replace
from datetime import date
from html.parser import HTMLParser
from pathlib import Path

import pytest

from patchrisk.base.pen import capital
from patchrisk.core.verdict.decision_table import Verdict
from patchrisk.report.earlier_mornings import keep_page, read_last_page
from patchrisk.report.page import Page, figures_of, write_index, write_page
from patchrisk.report.view import view_of
from patchrisk.report.words import MORNING_CAUTIONS
from tests.report.judged import changed, only

VOID = {"meta", "br", "hr", "img", "link", "input"}
HOSTILE = [
    "<script>alert(1)</script>",
    "'\"><img src=x onerror=alert(1)>",
    "</style></title><b>bold",
    "{{ 7 * 7 }}{% raw %}",
    "&amp;&lt;",
    "ملعب \u202eevil\u202c ⛳",
]


class Reader(HTMLParser):
    """Reads a page into tags and text, and stops where tags do not close in order."""

    def __init__(self, page):
        super().__init__(convert_charrefs=True)
        self.tags, self.open, self.text, self.style, self.headings = [], [], [], "", []
        self.feed(page)
        self.close()
        assert self.open == []

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)
        if re.fullmatch(r"h\d", tag):
            self.headings.append((int(tag[1]), ""))

    def handle_startendtag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        if self.open and self.open[-1] == "style":
            self.style += data
            return
        self.text.append(data)
        for level in range(1, 7):
            if f"h{level}" in self.open:
                depth, told = self.headings[-1]
                self.headings[-1] = (depth, told + data)

    @property
    def words(self):
        return " ".join(" ".join(self.text).replace("\N{NO-BREAK SPACE}", " ").split())


@pytest.fixture(scope="module")
def figures(morning):
    return figures_of(view_of(morning))


@pytest.fixture(scope="module")
def page(morning, figures):
    return write_page(view_of(morning), figures)


@pytest.fixture(scope="module")
def read(page):
    return Reader(page)


def check_that_nothing_runs_or_loads(page):
    """No script, no handler, no style attribute, no address but a neighbour's, one policy."""
    found = Reader(page)
    names = {tag for tag, _ in found.tags}
    assert not names & {"script", "img", "link", "iframe", "object", "embed", "form", "base"}
    for tag, attributes in found.tags:
        for name, value in attributes.items():
            assert not name.startswith("on"), (tag, name)
            assert name not in ("style", "src", "srcset", "action", "xlink:href"), (tag, name)
            if name == "href":
                assert re.fullmatch(r"[a-z0-9-]+\.html|#[a-z0-9-]+", value), value
    (policy,) = [
        a["content"] for t, a in found.tags if a.get("http-equiv") == "Content-Security-Policy"
    ]
    digest = base64.b64encode(hashlib.sha256(found.style.encode()).digest()).decode()
    assert policy == (
        f"default-src 'none'; style-src 'sha256-{digest}'; base-uri 'none'; form-action 'none'"
    )
    assert "url(" not in found.style
    assert "@import" not in found.style


def test_nothing_runs_or_loads(page):
    check_that_nothing_runs_or_loads(page)


def test_five_areas_stay_under_a_megabyte(morning, figures):
    names = [f"Area {n}" for n in range(5)]
    fullest = max(morning.areas, key=lambda area: len(area.entries))
    areas = tuple(replace(fullest, area=fullest.area.model_copy(update={"name": n})) for n in names)
    drawn = dict.fromkeys(names, figures[fullest.area.name])
    many = write_page(view_of(replace(morning, areas=areas)), drawn)
    assert len(many.encode()) < 1_000_000
    assert len(many.encode()) > 2 * len("".join(f.svg for f in drawn["Area 0"].drawings))


def test_it_reads_in_order(read):
    levels = [level for level, _ in read.headings]
    assert levels.count(1) == 1
    assert levels[0] == 1
    assert all(b <= a + 1 for a, b in itertools.pairwise(levels))
    assert [told for level, told in read.headings if level == 2] == [
        "Today",
        "Coming up",
        "What changed",
        "FairwaysUp from Fairways to today",
        "LawnsUp from Lawns to today",
        "GreensUp from Greens to today",
        "Data, rules and sources",
    ]
    assert {"header", "main", "footer"} <= {tag for tag, _ in read.tags}
    labels = [a["aria-labelledby"] for tag, a in read.tags if tag == "section"]
    ids = [a["id"] for _, a in read.tags if "id" in a]
    assert set(labels) <= set(ids)
    assert len(ids) == len(set(ids))
    assert ("html", {"lang": "en"}) in read.tags


def test_it_says_all_that_the_model_holds(morning, read):
    view = view_of(morning)
    told = [view.site, view.day, MORNING_CAUTIONS, *view.data, *view.left_out]
    for area in view.areas:
        told += [area.sentence, area.soil, area.ask, *area.whole_story]
        told += [area.soil_now, area.season, area.sure]
        told += [text for _, text in area.put_on]
        told += [capital(area.rest)]
        told += [*(reason for _, reason in area.without)]
        for row in area.rows:
            parts = [row.provisional, row.normal, row.ends, row.warmth, row.guidance, row.shows]
            parts += [row.cover, row.scout, row.words, *row.members, *row.rules]
            told += [part[:1].upper() + part[1:] for part in parts]
            told += [row.act, row.when[1:]]
    for look in view.scouting:
        told += [look.look_for, look.samples]
    tight = read.words.replace(" .", ".").replace(" ,", ",")
    for text in told:
        assert " ".join(text.split()) in tight, text
    assert not re.search(r"\bNone\b|\bnan\b|Verdict\.|Phase\.", read.words)


def test_every_verdict_has_a_shape_of_its_own_beside_the_word(shipped):
    shapes = {}
    for verdict in Verdict:
        then = changed(only(shipped, "Lawns", "summer-patch"), "Lawns", "summer-patch",
                       verdict=verdict)  # fmt: skip
        page = write_page(view_of(then), {})
        for svg, word in re.findall(r'class="(?:badge|state [^"]*)">(<svg.*?</svg>)([^<]+)', page):
            shapes.setdefault(word.strip(), set()).add(svg)
    assert set(shapes) == {v.name.replace("_", " ").capitalize() for v in Verdict}
    assert all(len(drawn) == 1 for drawn in shapes.values())
    assert len({next(iter(drawn)) for drawn in shapes.values()}) == len(Verdict)


def test_every_verdict_and_state_has_its_colour(page):
    style = Reader(page).style
    for verdict in Verdict:
        name = verdict.name.lower().replace("_", "-")
        assert re.search(rf"\.{name}[,{{]", style), name


def test_every_figure_has_words_and_a_table(read, figures):
    drawings = [a for tag, a in read.tags if tag == "svg" and a.get("role") == "img"]
    count = sum(len(shown.drawings) for shown in figures.values())
    assert count == sum(tag == "figure" for tag, _ in read.tags)
    assert len(drawings) == count + 2 * len(figures)  # a line and a bar on each card
    assert all(a["aria-label"] for a in drawings)
    for shown in figures.values():
        for figure in shown.drawings:
            assert " ".join(figure.answer.split()) in read.words
            assert figure.rows[-1][-1] in read.words


def test_small_drawings_are_hidden_from_what_reads_aloud(read):
    rest = [a for tag, a in read.tags if tag == "svg" and a.get("role") != "img"]
    assert rest
    assert all(a["aria-hidden"] == "true" for a in rest)


def test_the_same_morning_gives_the_same_page(morning, figures, page):
    assert write_page(view_of(morning), figures) == page


def test_a_later_page_says_what_changed(morning, read, tmp_path):
    assert "last page" not in read.words
    then = replace(morning, as_of=date(2026, 5, 16))
    keep_page(
        tmp_path / "kept.json",
        view_of(changed(then, "Greens", "fairy-ring", verdict=Verdict.APPLY)),
    )
    view = view_of(morning, last=read_last_page(tmp_path / "kept.json", morning.as_of))
    later = Reader(write_page(view, {})).words
    (row,) = [r for a in view.areas if a.name == "Greens" for r in a.rows if r.key == "fairy-ring"]
    said = f"Since the last page, of May 16, 2026: Greens , fairy ring: {row.words}, was apply."
    assert said in later


def test_cover_stands_on_the_card(morning, shipped):
    words = Reader(write_page(view_of(shipped), {})).words
    assert "Covered to Jun 7, 21 days left" in words
    assert "Nothing to put on today; covered to Jun 7" in words
    assert "No application is on record" not in words.split("Fairways Up")[0]
    assert "No application is on record" in Reader(write_page(view_of(morning), {})).words


def test_everything_is_open_on_the_full_page_and_nothing_else(morning):
    short, full = (write_page(view_of(morning), {}, full=full) for full in (False, True))
    assert "<details open" not in short
    assert full.count("<details") == full.count(" open>")


@pytest.mark.parametrize("name", HOSTILE)
def test_names_come_out_as_text(morning, name):
    site = morning.site.site.model_copy(update={"name": f"Site {name}"})
    area = morning.areas[0]
    renamed = replace(area, area=area.area.model_copy(update={"name": f"Area {name}"}))
    weather = replace(morning.weather, attributions=(f"Credit {name}",))
    hostile = replace(
        morning,
        site=morning.site.model_copy(update={"site": site}),
        areas=(renamed,),
        weather=weather,
    )
    view = view_of(hostile)
    pages = [
        write_page(view, figures_of(view)),
        write_index([Page(view, (Path("a.html"),))], [(name, name)]),
    ]
    for page in pages:
        check_that_nothing_runs_or_loads(page)
        words = Reader(page).words
        for kind in ("Site", "Area"):
            assert " ".join(f"{kind} {name}".split()) in words
    assert " ".join(f"Credit {name}".split()) in Reader(pages[0]).words


# --- several sites --------------------------------------------------------------------------------


def sites(morning):
    """Three sites: one with an application asked for, one with two, one with none."""

    def called(name, areas):
        site = morning.site.site.model_copy(update={"name": name})
        mine = replace(morning, site=morning.site.model_copy(update={"site": site}), areas=areas)
        return Page(view_of(mine), (Path(f"{name.lower()}.html"),))

    then = morning
    for area in ("Greens", "Fairways", "Lawns"):
        then = changed(then, area, "fairy-ring", verdict=Verdict.APPLY, reason="start")
    greens, fairways, lawns = then.areas
    quiet = replace(lawns, entries=(), stories={})
    return [
        called("Quiet", (quiet,)),
        called("One", (fairways, quiet)),
        called("Two", (greens, lawns)),
    ]


def test_the_index_has_the_most_urgent_first(morning):
    page = write_index(sites(morning))
    check_that_nothing_runs_or_loads(page)
    read = Reader(page)
    assert [told for level, told in read.headings if level == 2] == ["Two", "One", "Quiet"]
    assert [a["href"] for tag, a in read.tags if tag == "a"] == [
        "two.html",
        "one.html",
        "quiet.html",
    ]
    assert "Apply: 3 sites" in read.words
    for site in sites(morning):
        for area in site.view.areas:
            assert " ".join(area.sentence.split()) in read.words.replace(" .", ".")


def test_the_index_says_which_sites_have_no_page(morning):
    read = Reader(write_index(sites(morning)[:1], [("broken.toml", "line 3: no latitude")]))
    assert read.headings[1] == (2, "No page today")
    assert "broken.toml : line 3: no latitude" in read.words
    empty = Reader(write_index([], [("broken.toml", "gone")]))
    assert "broken.toml : gone" in empty.words
