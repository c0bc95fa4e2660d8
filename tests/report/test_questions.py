"""The ten questions of docs/questions.md: each answer stands where the page of the docs says."""

import re
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest

from patchrisk.core.plan.programme import AreaPlan, Choice, Planned
from patchrisk.report.page import figures_of, write_page
from patchrisk.report.view import view_of

DOCS = (Path(__file__).parents[2] / "docs" / "questions.md").read_text(encoding="utf-8")
D = np.datetime64


class Parts(HTMLParser):
    """Text of the first card, of what follows unfolded, and of each fold by its summary."""

    def __init__(self, page):
        super().__init__(convert_charrefs=True)
        self.card, self.below, self.folds, self.cards, self.open = "", "", {}, 0, []
        self.feed(page)

    def handle_starttag(self, tag, attrs):
        if tag == "li" and ("class", "card") in [(k, (v or "")[:4]) for k, v in attrs]:
            self.cards += 1
        if tag == "details":
            self.open.append([])
        if tag == "summary":
            self.open[-1] = [""]
        if tag == "svg" and self.cards == 1:
            self.card += " " + (dict(attrs).get("aria-label") or "")

    def handle_endtag(self, tag):
        if tag == "details":
            self.open.pop()
        if tag == "summary":
            self.open[-1].append("")
        if tag == "ul" and self.cards >= 3:
            self.cards = 99

    def handle_data(self, data):
        text = " ".join(data.replace("\N{NO-BREAK SPACE}", " ").split())
        if self.open and len(self.open[0]) == 1:
            self.open[0][0] += text
        elif self.open:
            key = self.open[0][0]
            self.folds[key] = f"{self.folds.get(key, '')} {text}"
        elif self.cards == 1:
            self.card += f" {text}"
        elif self.cards == 99:
            self.below += f" {text}"


@pytest.fixture(scope="module")
def parts(shipped):
    choice = Choice("Shelf B", frozenset({"3"}), (), {}, "Shelf B")
    planned = Planned(D("2026-05-18"), D("2026-05-22"), choice, ("fairy-ring",), {})
    plan = AreaPlan("Fairways", D("2026-05-18"), D("2026-09-01"), (), (planned,))
    view = view_of(shipped, [plan])
    return Parts(write_page(view, figures_of(view)))


ANSWERS = {
    "What do I put on today?": (
        "card",
        r"Put on: Shelf B, planned May 18 to 22; by evidence FRAC 3 \(",
    ),
    "Why now?": ("card", r"Seen here before; soil came up to 55 °F on Apr 15; 32 days"),
    "Is it early this year?": ("card", r"ring: infection since Apr 15, 15 days early \(usual"),
    "Until when am I covered?": ("cards", r"covered to May 24"),
    "How warm is the soil, and where is it heading?": ("card", r"60\.4 °F .*65 to 73 °F by Jun 1"),
    "How sure is that?": ("card", r"How sure: published rules differ .*soil estimated from air"),
    "How likely is damage in July?": ("Each disease: what, when, why", r"Damage .*Jun 1 to Sep 30; "
                                      r"heat to bring damage out: over 99 %"),
    "What comes next, and when?": ("below", r"Coming up\s+May 18 \(to May 22\) , Fairways"),
    "What do I look for, and what do I send in?": ("What to look for and send in", r"two plugs"),
    "What if the logger was not downloaded?": ("card", r"nothing logged since May 11"),
}  # fmt: skip


@pytest.mark.parametrize("question", ANSWERS)
def test_the_answer_stands_where_the_docs_say(parts, shipped, question):
    assert f"| {question} |" in DOCS
    where, words = ANSWERS[question]
    if where == "cards":
        text = " ".join(area.sentence for area in view_of(shipped).areas)
    else:
        text = {"card": parts.card, "below": parts.below}.get(where) or parts.folds[where]
    assert re.search(words, text), text


def test_there_are_ten():
    asked = re.findall(r"^\| ([^|]*\?) \|", DOCS, re.MULTILINE)
    assert asked == list(ANSWERS)
