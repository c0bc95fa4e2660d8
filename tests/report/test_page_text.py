"""The page and the index as text: what stands in them, and what may never."""

import base64
import hashlib
import itertools
import re
from dataclasses import replace
from html.parser import HTMLParser

import pytest

from patchrisk.report.figures import figures_of
from patchrisk.report.page import SitePage, write_index, write_page
from patchrisk.report.view import Change, view_of

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
    return {area.area.name: figures_of(morning, area) for area in morning.areas}


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
                assert re.fullmatch(r"[a-z0-9-]+\.html|#[a-z-]+", value), value
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
    fullest = max(morning.areas, key=lambda area: len(area.diseases))
    areas = tuple(replace(fullest, area=fullest.area.model_copy(update={"name": n})) for n in names)
    drawn = dict.fromkeys(names, figures[fullest.area.name])
    many = write_page(view_of(replace(morning, areas=areas)), drawn)
    assert len(many.encode()) < 1_000_000
    assert len(many.encode()) > 2 * len("".join(f.svg for f in drawn["Area 0"]))


def test_it_reads_in_order(read):
    levels = [level for level, _ in read.headings]
    assert levels.count(1) == 1
    assert levels[0] == 1
    assert all(b <= a + 1 for a, b in itertools.pairwise(levels))
    assert [told for level, told in read.headings if level == 2] == [
        "Today",
        "What changed",
        "Applications due and cover left",
        "Windows ahead",
        "Scouting: what to look for and send",
        "Figures",
        "Data behind it",
        "Cautions",
    ]
    assert {"header", "main", "footer"} <= {tag for tag, _ in read.tags}
    labels = [a["aria-labelledby"] for tag, a in read.tags if tag == "section"]
    ids = [a["id"] for _, a in read.tags if "id" in a]
    assert set(labels) <= set(ids)
    assert len(ids) == len(set(ids))
    assert ("html", {"lang": "en"}) in read.tags


def test_it_says_all_that_the_model_holds(morning, read):
    view = view_of(morning)
    told = [view.site, view.day, view.cautions, *view.data, *view.left_out]
    for area in view.areas:
        told += [area.sentence, area.soil, *(reason for _, reason in area.without)]
        for row in area.rows:
            parts = (row.when, row.odds, row.normal, row.rules, row.pressure, row.pressure_more)
            told += [*parts, row.shows, row.scout, row.act, row.state.words.capitalize()]
            told += [rule[:1].upper() + rule[1:] for rule in row.why]
    for look in view.scouting:
        told += [look.look_for, look.samples]
    tight = read.words.replace(" .", ".").replace(" ,", ",")
    for text in told:
        assert " ".join(text.split()) in tight, text
    assert not re.search(r"\bNone\b|\bnan\b|Level\.|State\.", read.words)


def test_states_and_levels_have_a_shape_beside_the_word(page):
    shapes = {}
    for svg, word in re.findall(r'class="(?:badge|state [^"]*)">(<svg.*?</svg>)([^<]+)', page):
        shapes.setdefault(word.strip(), set()).add(svg)
    assert {"Due", "Open", "Nearing", "Not yet"} <= set(shapes)
    assert all(len(drawn) == 1 for drawn in shapes.values())
    states = [shapes[word] for word in ("Open", "Nearing", "Not yet")]
    assert len({next(iter(drawn)) for drawn in states}) == 3


def test_every_figure_has_words_and_a_table(read, figures):
    drawings = [a for tag, a in read.tags if tag == "svg" and a.get("role") == "img"]
    count = sum(map(len, figures.values()))
    assert len(drawings) == count == sum(tag == "figure" for tag, _ in read.tags)
    assert all(a["aria-label"] for a in drawings)
    for shown in figures.values():
        for figure in shown:
            assert figure.rows[-1][-1] in read.words


def test_small_drawings_are_hidden_from_what_reads_aloud(read):
    rest = [a for tag, a in read.tags if tag == "svg" and a.get("role") != "img"]
    assert rest
    assert all(a["aria-hidden"] == "true" for a in rest)


def test_the_same_morning_gives_the_same_page(morning, figures, page):
    assert write_page(view_of(morning), figures) == page


def test_the_first_page_says_so_and_a_later_one_what_changed(morning, read):
    assert "This is the first page" in read.words
    changed = (Change("Greens", "fairy ring: open, was nearing"),)
    view = replace(view_of(morning), last_page="May 16, 2026", since_last=changed)
    later = Reader(write_page(view, {})).words
    assert "Since the last page, of May 16, 2026 Greens : fairy ring: open, was nearing." in later
    assert "first page" not in later
    assert "Figures" not in later


def test_cover_stands_where_applications_are_due(morning, covered):
    mixed = replace(morning, areas=(covered, *morning.areas[1:]))
    words = Reader(write_page(view_of(mixed), {})).words
    assert "Greens : covered to Jun 2, 16 days left (9 to 21), by FRAC 11 of May 4" in words
    assert "No application is on record" not in words


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
    drawn = {renamed.area.name: figures_of(hostile, renamed)}
    pages = [write_page(view, drawn), write_index([SitePage(view, "a.html")], [(name, name)])]
    for page in pages:
        check_that_nothing_runs_or_loads(page)
        words = Reader(page).words
        for kind in ("Site", "Area"):
            assert " ".join(f"{kind} {name}".split()) in words
    assert " ".join(f"Credit {name}".split()) in Reader(pages[0]).words


# --- several sites --------------------------------------------------------------------------------


def sites(morning):
    """Three sites: one with a window that is due, one with two, one with none."""

    def called(name, areas):
        site = morning.site.site.model_copy(update={"name": name})
        mine = replace(morning, site=morning.site.model_copy(update={"site": site}), areas=areas)
        return SitePage(view_of(mine), f"{name.lower()}.html")

    greens, fairways, lawns = morning.areas
    quiet = replace(lawns, diseases=())
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
    assert "Due: 3 sites" in read.words
    for site in sites(morning):
        for area in site.view.areas:
            assert " ".join(area.sentence.split()) in read.words.replace(" .", ".")


def test_the_index_says_which_sites_have_no_page(morning):
    read = Reader(write_index(sites(morning)[:1], [("broken.toml", "line 3: no latitude")]))
    assert read.headings[1] == (2, "No page today")
    assert "broken.toml : line 3: no latitude" in read.words
    empty = Reader(write_index([], [("broken.toml", "gone")]))
    assert "broken.toml : gone" in empty.words
