"""The served forms on a phone: filled in and sent without a script, by a thumb, by anybody."""

import shutil
import threading
from datetime import UTC, datetime
from pathlib import Path

import pytest

from patchrisk.base import resources
from patchrisk.report.serving import make_app

pytestmark = pytest.mark.browser
LOOK = (Path(__file__).parent / "look.js").read_text(encoding="utf-8")
NOW = datetime(2026, 5, 18, 12, tzinfo=UTC)
FILLED = {
    "applied": ({"product": "Shelf A", "water": "6 mm"}, "applications.csv", "azoxystrobin"),
    "seen": ({"share": "5%"}, "observations.csv", "summer-patch,yes,5%"),
    "reading": (
        {"date": "2026-03-02", "at": "14:30", "depth": "2 in", "value": "41 F"},
        "readings.csv",
        "2026-03-02,14:30,Lawns,2 in,41 F",
    ),
    "note": ({"note": "Hollow tined"}, "notes.csv", "Lawns,Hollow tined"),
}


@pytest.fixture(scope="module")
def course(tmp_path_factory):
    folder = tmp_path_factory.mktemp("served")
    shutil.copytree(resources.sample_weather(), folder, dirs_exist_ok=True)
    return folder


@pytest.fixture(scope="module")
def address(course):
    server = pytest.importorskip("waitress.server", reason="waitress is not installed")
    app = make_app(course / "site.toml", lambda day: f"page of {day}", lambda: NOW)
    listening = server.create_server(app, host="127.0.0.1", port=0)
    threading.Thread(target=listening.run, daemon=True).start()
    yield f"http://127.0.0.1:{listening.effective_port}"
    listening.close()


@pytest.fixture
def phone(browser):
    """A phone whose browser runs no script of any page."""
    context = browser.new_context(viewport={"width": 390, "height": 844}, java_script_enabled=False)
    yield context.new_page()
    context.close()


@pytest.mark.parametrize("name", FILLED)
def test_each_form_is_filled_in_and_sent(phone, address, course, name):
    filled, file, written = FILLED[name]
    phone.goto(f"{address}/write")
    phone.click(f"a[href='/write/{name}']")
    phone.select_option("select[name=area]", "Lawns")
    for field, text in filled.items():
        phone.fill(f"input[name={field}]", text)
    if name == "seen":
        phone.select_option("select[name=disease]", "summer patch")
        phone.check("input[name=seen][value=yes]")
    if name == "applied":
        phone.check("input[name=for][value='summer patch']")
    phone.click("button")
    assert "Written down." in phone.text_content("[role=status]")
    assert written in (course / file).read_text(encoding="utf-8-sig").splitlines()[-1]


def test_a_fault_is_shown_and_what_was_filled_in_stays(phone, address):
    phone.goto(f"{address}/write/applied")
    phone.select_option("select[name=area]", "Lawns")
    phone.fill("input[name=product]", "a word of mine")
    phone.fill("input[name=water]", "a lot")
    phone.click("button")
    assert "Watered in with: " in phone.text_content("[role=alert]")
    assert phone.input_value("input[name=product]") == "a word of mine"
    assert phone.input_value("input[name=water]") == "a lot"


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize(
    "path", ["/write", "/write/applied", "/write/seen", "/write/reading", "/write/note"]
)
def test_forms_read_well_and_fit_a_thumb(browser, address, axe, path, scheme):
    context = browser.new_context(
        viewport={"width": 390, "height": 844}, color_scheme=scheme, bypass_csp=True
    )
    page = context.new_page()
    page.goto(f"{address}{path}")
    for width in (320, 390, 1440):
        page.set_viewport_size({"width": width, "height": 844})
        assert page.evaluate(LOOK, width) == []
    small = page.evaluate(
        """[...document.querySelectorAll('button, select, .go a, .pick, p > input')]
           .map(e => [e.getBoundingClientRect(), e.textContent.trim()])
           .filter(([b]) => b.width < 44 || b.height < 44).map(([, text]) => text)"""
    )
    assert small == []
    page.evaluate(axe)
    result = page.evaluate("axe.run(document, {resultTypes: ['violations']})")
    told = [f"{v['id']}: {n['html'][:120]}" for v in result["violations"] for n in v["nodes"]]
    assert told == []
    context.close()
