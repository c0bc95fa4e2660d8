"""The served page: who is answered, what the forms write, and what is refused."""

import html
import re
import shutil
import socket
from datetime import UTC, datetime

import pytest
from click.testing import CliRunner

from patchrisk.base import resources
from patchrisk.cli import main
from patchrisk.read.records.books import NOTES
from patchrisk.read.records.rows import context_at
from patchrisk.report.serving import FORMS, make_app

NOW = datetime(2026, 5, 18, 12, tzinfo=UTC)
TOKEN = "a-token-of-the-test-0123456789"


@pytest.fixture
def site(tmp_path):
    shutil.copytree(resources.sample_weather(), tmp_path, dirs_exist_ok=True)
    return tmp_path / "site.toml"


@pytest.fixture
def made():
    return []


@pytest.fixture
def client(site, made):
    def page(day):
        made.append(day)
        return f"page of {day}"

    return make_app(site, page, lambda: NOW).test_client()


def hidden(answer):
    """What a blank form carries to be sent back."""
    text = answer.get_data(as_text=True)
    return {name: re.search(rf'name="{name}" value="([^"]*)"', text)[1] for name in
            ("form", "signed")}  # fmt: skip


APPLIED = {"area": "Greens", "date": "2026-05-17", "product": "Shelf A", "water": "6 mm",
           "for": "summer patch"}  # fmt: skip
SEEN = {"area": "Lawns", "date": "2026-05-17", "disease": "summer patch", "seen": "no"}
READ = {"area": "Lawns", "date": "2026-03-02", "at": "14:30", "depth": "2 in", "value": "41 F"}
NOTE = {"area": "Lawns", "date": "2026-05-17", "note": "Hollow tined, =1+1"}
FILLED = [("applied", APPLIED, "applications.csv"), ("seen", SEEN, "observations.csv"),
          ("reading", READ, "readings.csv"), ("note", NOTE, "notes.csv")]  # fmt: skip


def test_every_form_is_filled_in_here():
    assert {name for name, _, _ in FILLED} == set(FORMS)


def test_the_page_is_made_once_until_something_is_written(client, made):
    assert client.get("/").get_data(as_text=True) == "page of 2026-05-18"
    client.get("/")
    assert len(made) == 1
    client.post("/write/note", data={**NOTE, **hidden(client.get("/write/note"))})
    client.get("/")
    assert len(made) == 2


@pytest.mark.parametrize(("name", "filled", "file"), FILLED)
def test_a_form_writes_one_row_however_often_it_is_sent(client, site, name, filled, file):
    path = site.parent / file
    before = path.read_bytes() if path.exists() else b""
    sent = {**filled, **hidden(client.get(f"/write/{name}"))}
    for _ in range(2):
        answer = client.post(f"/write/{name}", data=sent)
        assert answer.status_code == 303
        said = client.get(answer.headers["Location"]).get_data(as_text=True)
        assert "Written down." in said
    after = path.read_bytes()
    assert after.startswith(before)
    assert len(after[len(before) :].strip().splitlines()) == (1 if before else 2)
    # The same in a new form, as after a new start of the server: told, and not written twice.
    again = client.post(f"/write/{name}", data={**filled, **hidden(client.get(f"/write/{name}"))})
    assert "written down before" in client.get(again.headers["Location"]).get_data(as_text=True)
    assert path.read_bytes() == after


def test_what_was_written_is_read_again(client, site):
    client.post("/write/note", data={**NOTE, **hidden(client.get("/write/note"))})
    (note,) = NOTES.read(context_at(site, NOW)).rows
    assert (str(note.day), note.area, note.text) == ("2026-05-17", "Lawns", "Hollow tined, =1+1")
    assert "'=1" not in note.text
    sent = {**APPLIED, "for": ["summer patch", "fairy ring"],
            **hidden(client.get("/write/applied"))}  # fmt: skip
    assert client.post("/write/applied", data=sent).status_code == 303
    last = (site.parent / "applications.csv").read_text(encoding="utf-8-sig").splitlines()[-1]
    assert last.startswith("2026-05-17,Greens,Shelf A,11,azoxystrobin,")
    assert "summer-patch + fairy-ring" in last


@pytest.mark.parametrize(
    ("name", "filled", "told"),
    [
        ("applied", {**APPLIED, "area": "Tees"}, "Area: no area &#39;Tees&#39;"),
        ("applied", {**APPLIED, "date": "2026-05-19"}, "Day: 2026-05-19 is in the future"),
        ("applied", {**APPLIED, "product": ""}, "nothing applied is named"),
        ("applied", {**APPLIED, "water": "much"}, "Watered in with: "),
        ("seen", {**SEEN, "disease": "<b>x"}, "Disease: "),
        ("reading", {**READ, "value": "warm"}, "What it showed: "),
        ("reading", {**READ, "at": "25:99"}, "Time on the clock: "),
        ("note", {**NOTE, "note": " "}, "Note: nothing is written"),
        ("note", {**NOTE, "date": "yesterday"}, "Day: "),
    ],
)
def test_a_fault_is_named_by_its_field_and_nothing_is_written(client, site, name, filled, told):
    files = {p.name: p.read_bytes() for p in site.parent.glob("*.csv")}
    answer = client.post(f"/write/{name}", data={**filled, **hidden(client.get(f"/write/{name}"))})
    assert answer.status_code == 422
    text = answer.get_data(as_text=True)
    assert told in text
    assert "<b>x" not in text
    for value in filled.values():  # what was filled in is still there
        assert value in ("Tees", "<b>x", "", " ") or value in text
    assert {p.name: p.read_bytes() for p in site.parent.glob("*.csv")} == files


@pytest.mark.parametrize(
    "spoil",
    [
        {"signed": ""},
        {"signed": "0" * 64},
        {"signed": "\u00fc"},
        {"form": "another"},
        {"form": ""},
    ],
)
def test_a_form_of_another_page_is_not_written(client, site, spoil):
    sent = {**NOTE, **hidden(client.get("/write/note")), **spoil}
    assert client.post("/write/note", data=sent).status_code == 409
    assert not (site.parent / "notes.csv").exists()


def test_a_form_sent_from_another_site_is_not_written(client, site):
    sent = {**NOTE, **hidden(client.get("/write/note"))}
    answer = client.post("/write/note", data=sent, headers={"Sec-Fetch-Site": "cross-site"})
    assert answer.status_code == 409
    assert not (site.parent / "notes.csv").exists()


def test_more_than_a_form_holds_is_refused(client, site):
    sent = {**NOTE, **hidden(client.get("/write/note")), "note": "x" * 20_000}
    assert client.post("/write/note", data=sent).status_code == 413
    assert not (site.parent / "notes.csv").exists()
    # A field that is too long for its place is cut to it, as the browser does.
    sent = {**NOTE, **hidden(client.get("/write/note")), "note": "x" * 5_000}
    client.post("/write/note", data=sent)
    assert len((site.parent / "notes.csv").read_text()) < 400


def test_another_name_for_this_computer_is_not_answered(client):
    assert client.get("/", headers={"Host": "evil.example"}).status_code == 403
    for host in ("localhost:8017", "127.0.0.1:8017", "[::1]:8017", "localhost"):
        assert client.get("/", headers={"Host": host}).status_code == 200


def test_on_the_network_every_request_needs_the_token(site):
    app = make_app(site, str, lambda: NOW, TOKEN)
    stranger = app.test_client()
    for path in ("/", "/write", "/write/note", "/none"):
        assert stranger.get(path).status_code == 403
        assert stranger.get(f"{path}?token=wrong").status_code == 403
    assert stranger.post("/write/note", data=NOTE).status_code == 403
    friend = app.test_client()
    answer = friend.get(f"/?token={TOKEN}")
    assert (answer.status_code, answer.headers["Location"]) == (302, "/")
    cookie = answer.headers["Set-Cookie"]
    assert "HttpOnly" in cookie
    assert "SameSite=Strict" in cookie
    assert friend.get("/").status_code == 200
    sent = {**NOTE, **hidden(friend.get("/write/note"))}
    assert friend.post("/write/note", data=sent).status_code == 303


def test_nothing_is_kept_by_others_and_no_script_runs(client):
    for path in ("/", "/write", "/write/applied", "/none"):
        answer = client.get(path)
        assert answer.headers["Cache-Control"] == "no-store"
        assert answer.headers["X-Content-Type-Options"] == "nosniff"
        text = html.unescape(answer.get_data(as_text=True))
        assert "<script" not in text
        if path.startswith("/write"):
            assert "default-src 'none'" in text
            assert ("form-action 'self'" in text) == (path == "/write/applied")


def test_a_broken_site_file_is_told_and_heals(client, site):
    text = site.read_text()
    site.write_text(text.replace("latitude", "lattitude"))
    answer = client.get("/write/note")
    assert answer.status_code == 503
    assert "lattitude" in answer.get_data(as_text=True)
    site.write_text(text)
    assert client.get("/write/note").status_code == 200


def test_the_command_refuses_the_sample_and_a_short_token(site, monkeypatch):
    result = CliRunner().invoke(main, ["serve", "--sample"])
    assert result.exit_code == 2
    assert "records can't be written to the sample" in result.stderr
    monkeypatch.setenv("PATCHRISK_SERVE_TOKEN", "short")
    result = CliRunner().invoke(main, ["serve", "--network", "--site", str(site)])
    assert result.exit_code == 2
    assert "the token is too short" in result.stderr


def test_a_note_by_command_stands_on_the_page(site):
    args = ["--site", str(site), "--as-of", "2026-05-18"]
    told = ["record", "note", "--site", str(site), "--area", "Lawns", "--date", "2026-05-17"]
    result = CliRunner().invoke(main, [*told, "--note", "Hollow <b>tined"], catch_exceptions=False)
    assert result.exit_code == 0, result.stderr
    out = site.parent / "out"
    CliRunner().invoke(
        main, ["page", *args, "--no-plan", "--out", str(out)], catch_exceptions=False
    )
    (page,) = out.glob("*.html")
    assert "Note of 2026-05-17: Hollow &lt;b&gt;tined" in page.read_text(encoding="utf-8")
    result = CliRunner().invoke(main, [*told, "--note", "Hollow <b>tined"])
    assert result.exit_code == 2
    assert "the same was recorded before" in result.stderr


def test_a_port_that_is_taken_is_one_line(site):
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = str(taken.getsockname()[1])
        result = CliRunner().invoke(main, ["serve", "--site", str(site), "--port", port])
    assert result.exit_code == 1
    (line,) = result.stderr.splitlines()
    assert line.startswith(f"patchrisk: --port, {port}: can't listen there (")
