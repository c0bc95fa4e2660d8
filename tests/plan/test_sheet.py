"""The sheet to print: whole in itself, safe, and with everything that must be on it."""

import io
import re
from base64 import b64encode
from dataclasses import replace
from hashlib import sha256
from html.parser import HTMLParser

import numpy as np
import pytest

from patchrisk.report.plan_files import write_sheet
from patchrisk.report.words import CAUTIONS_IN_FULL
from tests.plan.plans_by_hand import (
    AMOUNT,
    ELEVEN,
    MIXED,
    NASTY,
    area_plan,
    planned,
    site_plan,
    without_air,
)


class Page(HTMLParser):
    def __init__(self, text):
        super().__init__()
        self.tags, self.words, self.style, self.inside = [], [], "", ""
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))
        self.inside = tag

    def handle_endtag(self, tag):
        self.inside = ""

    def handle_data(self, data):
        if self.inside == "style":
            self.style += data
        self.words.append(data)

    @property
    def text(self):
        return " ".join(" ".join(self.words).split())


@pytest.fixture(scope="module")
def page():
    return Page(write_sheet(site_plan()))


def test_it_has_day_area_group_water_and_amount(page):
    for text in ("Thu 21 May", "to 24 May", "Greens", "0.4 ha", "FRAC 11", "no trial data"):
        assert text in page.text
    assert "3.0 to 6.0 mm within 1 h" in page.text
    assert "1.20 kg of Shelf B on 0.4 ha" in page.text


def test_without_a_label_entry_the_rate_is_left_to_write():
    text = Page(write_sheet(site_plan(area_plan(planned=(planned("2026-05-21", ELEVEN),))))).text
    assert "rate ________" in text
    rate = r"\d\s*(oz|fl|lb|kg|g|ml|l)\b[^.]*(acre|ha\b|1,?000)"
    assert not re.search(rate, text.split("Before anything is opened")[0].lower())


def test_every_caution_and_the_lines_to_sign_are_on_it(page):
    for caution in CAUTIONS_IN_FULL:
        assert caution in page.text
    for line in ("Label read", "licence no.", "Superintendent", "Keep off until"):
        assert line in page.text


def test_it_says_when_nothing_is_planned():
    text = Page(write_sheet(site_plan(without_air()))).text
    assert "No application is planned." in text
    assert "No programme: it needs air temperature" in text


def test_it_runs_nothing_and_asks_no_other_place(page):
    names = {tag for tag, _ in page.tags}
    assert not names & {"script", "link", "img", "iframe", "object", "form", "svg", "base"}
    for _, attributes in page.tags:
        assert not [name for name in attributes if name.startswith("on")]
        assert not {"src", "href", "style"} & attributes.keys()
    assert "url(" not in page.style
    assert "@import" not in page.style


def test_the_policy_names_this_style_by_its_hash(page):
    # Content Security Policy Level 3, 2.3.1: 'sha256-' and the digest in base64.
    (policy,) = [
        a["content"] for t, a in page.tags if a.get("http-equiv") == "Content-Security-Policy"
    ]
    digest = b64encode(sha256(page.style.encode()).digest()).decode()
    assert policy.startswith("default-src 'none';")
    assert f"style-src 'sha256-{digest}'" in policy
    assert "unsafe" not in policy


def test_what_a_user_wrote_stays_text():
    amounts = (replace(AMOUNT, note="<b onmouseover=alert(1)>2 kg</b>"),)
    plan = site_plan(
        area_plan(NASTY, planned=(planned("2026-06-18", MIXED, amounts=amounts),)), name=NASTY
    )
    html = write_sheet(plan)
    assert "<script" not in html
    assert "<b onmouseover" not in html
    assert "<script>alert(1)</script>" in Page(html).text


def test_applications_of_all_areas_are_in_order_of_day():
    early = area_plan("Tees", done=(), planned=(planned("2026-05-19", ELEVEN),))
    text = Page(write_sheet(site_plan(area_plan(), early))).text
    assert text.index("Tue 19 May") < text.index("Thu 21 May") < text.index("Thu 18 Jun")


@pytest.mark.browser
@pytest.mark.parametrize("rows", [12, 14, 15, 28])
def test_the_lines_to_sign_are_on_the_page_of_the_last_row_and_once(browser, tmp_path, rows):
    pypdf = pytest.importorskip("pypdf")
    days = [planned(str(np.datetime64("2026-05-20") + n), MIXED) for n in range(rows)]
    file = tmp_path / "sheet.html"
    file.write_text(write_sheet(site_plan(area_plan(planned=tuple(days)))))
    page = browser.new_page()
    page.goto(file.as_uri())
    printed = page.pdf(format="A4", landscape=True)
    page.close()
    sheets = [sheet.extract_text() for sheet in pypdf.PdfReader(io.BytesIO(printed)).pages]
    signed = [n for n, text in enumerate(sheets) if "Superintendent, date" in text]
    last = [n for n, text in enumerate(sheets) if f"no. {rows + 1}" in text]
    assert signed == last
    assert len(signed) == 1
