"""The page by mail, against a mail server on this computer that speaks TLS and asks for a login."""

import shutil
import socket
import ssl
import sys
import textwrap
from datetime import UTC, datetime
from email import message_from_bytes
from email.policy import default
from types import SimpleNamespace

import pytest
import trustme
from aiosmtpd.controller import Controller
from aiosmtpd.smtp import AuthResult
from click.testing import CliRunner

from patchrisk.base import resources
from patchrisk.base.errors import InputError, UnavailableError
from patchrisk.cli import main
from patchrisk.read.site import Mail, read_site
from patchrisk.report import mail

NOW = datetime(2026, 5, 18, 6, 5, tzinfo=UTC)
PAGE = "<!doctype html><title>Morning</title><p>Öffnen — 开 — مفتوح</p>"
TEXT = "Greens: open: summer patch.\n"


class Box:
    """Keeps what a server was handed, and refuses some."""

    def __init__(self):
        self.letters = []
        self.logins = []
        self.secret = []

    async def handle_RCPT(self, server, session, envelope, address, options):  # noqa: N802
        if address.startswith("gone"):
            return "550 no such box"
        envelope.rcpt_tos.append(address)
        return "250 OK"

    async def handle_DATA(self, server, session, envelope):  # noqa: N802
        self.secret.append(server.transport.get_extra_info("sslcontext") is not None)
        self.letters.append((envelope.mail_from, envelope.rcpt_tos, envelope.content))
        return "250 OK"

    def authenticate(self, server, session, envelope, mechanism, data):
        self.logins.append(data.login)
        right = (data.login, data.password) in (
            (b"greens", b"s3cret"),
            ("rasenpfleger-ö".encode(), "schlüssel-鍵".encode()),
        )
        return AuthResult(success=right, handled=False)


@pytest.fixture(scope="module")
def authority():
    return trustme.CA()


@pytest.fixture
def server(authority, tmp_path, monkeypatch):
    """Return a function that starts a mail server and gives its box and settings for it."""
    authority.cert_pem.write_to_path(tmp_path / "ca.pem")
    monkeypatch.setenv("SSL_CERT_FILE", str(tmp_path / "ca.pem"))
    running = []

    def start(tls="starttls", name="localhost", offered=True, **settings):
        context = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
        authority.issue_cert(name).configure_cert(context)
        box = Box()
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            port = probe.getsockname()[1]
        how = {"ssl_context": context, "auth_require_tls": False} if tls == "implicit" else {}
        if tls == "starttls" and offered:
            how = {"tls_context": context, "require_starttls": True}
        controller = Controller(
            box, hostname="127.0.0.1", port=port, server_hostname="localhost",
            authenticator=box.authenticate, auth_required=offered, **how,
        )  # fmt: skip
        controller.start()
        running.append(controller)
        told = {"host": "localhost", "port": port, "from": "greens@example.org",
                "to": ["me@example.org"], "user": "greens", "tls": tls}  # fmt: skip
        return box, Mail.model_validate({**told, **settings})

    yield start
    for controller in running:
        controller.stop()


def letter(settings, summary="Summer patch open"):
    return mail.letter(PAGE, summary, settings, text=TEXT, file_name="morning.html", now=NOW)


@pytest.mark.filterwarnings("ignore:Requiring AUTH while not:UserWarning")  # it is, from the start
@pytest.mark.parametrize("tls", ["starttls", "implicit"])
def test_a_letter_arrives_over_tls(server, tls):
    box, settings = server(tls)
    mail.send(letter(settings), settings, "s3cret")
    [(sender, to, content)] = box.letters
    assert (sender, to) == ("greens@example.org", ["me@example.org"])
    assert box.logins == [b"greens"]
    assert box.secret == [True]
    got = message_from_bytes(content, policy=default)
    assert got["Subject"] == "Summer patch open"
    assert got["Date"].datetime == NOW
    assert got.get_body().get_content().replace("\r\n", "\n") == TEXT
    [page] = got.iter_attachments()
    assert page.get_content_type() == "text/html"
    assert page.get_filename() == "morning.html"
    assert page.get_content() == PAGE


def test_no_password_goes_out_before_tls(server):
    box, settings = server(offered=False)
    with pytest.raises(UnavailableError, match="no TLS"):
        mail.send(letter(settings), settings, "s3cret")
    assert not box.letters
    assert not box.logins


def test_a_certificate_for_another_name_is_refused(server):
    box, settings = server(name="elsewhere.example")
    with pytest.raises(UnavailableError, match="certificate is not to be trusted"):
        mail.send(letter(settings), settings, "s3cret")
    assert not box.logins


def test_a_certificate_of_an_unknown_authority_is_refused(server, monkeypatch, tmp_path):
    box, settings = server()
    trustme.CA().cert_pem.write_to_path(tmp_path / "other.pem")
    monkeypatch.setenv("SSL_CERT_FILE", str(tmp_path / "other.pem"))
    with pytest.raises(UnavailableError, match="certificate is not to be trusted"):
        mail.send(letter(settings), settings, "s3cret")
    assert not box.logins


def test_a_wrong_password_is_told_and_never_repeated(server):
    _, settings = server()
    with pytest.raises(UnavailableError, match="refuses the user or the password") as caught:
        mail.send(letter(settings), settings, "s3cret-but-wrong")
    assert "s3cret" not in str(caught.value)


def test_an_address_the_server_does_not_know_is_told(server):
    box, settings = server(to=["me@example.org", "gone@example.org"])
    with pytest.raises(UnavailableError, match=r"sent, but not to gone@example\.org"):
        mail.send(letter(settings), settings, "s3cret")
    assert len(box.letters) == 1


def test_a_server_that_is_not_there_is_told(authority):
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    told = {"host": "localhost", "port": port, "from": "a@example.org", "to": ["b@example.org"]}
    settings = Mail.model_validate(told)
    with pytest.raises(UnavailableError, match=f"localhost:{port}"):
        mail.send(letter(settings), settings, None)


@pytest.mark.parametrize("end", ["\r\n", "\n", "\r", "\x0b", "\x85", "\u2028", "\x00"])
def test_a_summary_can_not_start_a_header_of_its_own(server, end):
    _, settings = server()
    made = letter(settings, f"Greens{end}Bcc: all@example.org")
    assert made["Subject"] == "Greens Bcc: all@example.org"
    assert made["Bcc"] is None
    assert b"\nBcc" not in bytes(made)


@pytest.mark.parametrize(
    "word",
    [
        "=?utf-8?q?x=0d=0aBcc:_all@example.org?=",
        "=?utf-8?b?eA0KQmNjOiBhbGxAZXhhbXBsZS5vcmc=?=",
        "==??utf-8?q?=0aBcc:_all@example.org?==?utf-8?q?=0aBcc:_all@example.org?=",
        "=?utf-8?q?" + "=0d=0aBcc:_all@example.org" * 9 + "?=",
    ],
)
def test_an_encoded_word_in_a_name_stays_text_on_the_wire(server, word):
    box, settings = server()
    mail.send(letter(settings, f"Quillfen {word}: summer patch open"), settings, "s3cret")
    [(_, to, content)] = box.letters
    head = content.partition(b"\r\n\r\n")[0]
    assert to == ["me@example.org"]
    assert b"bcc" not in {line.partition(b":")[0].lower() for line in head.splitlines()}
    got = message_from_bytes(content, policy=default)
    assert set(got.keys()) == set(letter(settings).keys())
    assert "\r" not in got["Subject"]
    assert "\n" not in got["Subject"]
    assert got["Subject"].strip().startswith("Quillfen =")


def test_what_would_steer_a_reader_is_written_out(server):
    box, settings = server()
    made = mail.letter(
        PAGE, "Greens \u202eneppo\u202c", settings,
        text="Greens\x1b[2J\u200b: Öl 开 👨\u200d🌾\nnext\n", file_name="a.html", now=NOW,
    )  # fmt: skip
    mail.send(made, settings, "s3cret")
    got = message_from_bytes(box.letters[0][2], policy=default)
    assert got["Subject"] == r"Greens \u202eneppo\u202c"
    body = got.get_body().get_content().replace("\r\n", "\n")
    assert body == "Greens\\x1b[2J\\u200b: Öl 开 👨\u200d🌾\nnext\n"


def test_user_and_password_may_have_any_letters(server):
    box, settings = server(user="rasenpfleger-ö")
    mail.send(letter(settings), settings, "schlüssel-鍵")
    assert len(box.letters) == 1
    with pytest.raises(UnavailableError, match="refuses the user or the password") as caught:
        mail.send(letter(settings), settings, "schlüssel")
    assert "schlüssel" not in str(caught.value)
    with pytest.raises(UnavailableError, match="refuses the user or the password"):
        mail.send(letter(settings), settings, "byte \udce4")  # as the environment gives it


def test_a_server_that_takes_only_ascii_is_told_without_the_password(server, monkeypatch):
    box, settings = server()
    monkeypatch.setattr(Controller, "factory", _only_login(Controller.factory))
    box, settings = server()
    with pytest.raises(UnavailableError, match="letters beyond ASCII") as caught:
        mail.send(letter(settings), settings, "schlüssel")
    assert "schlüssel" not in str(caught.value)
    assert not box.logins


def _only_login(factory):
    def made(self):
        self.SMTP_kwargs["auth_exclude_mechanism"] = ["PLAIN"]
        return factory(self)

    return made


def test_a_subject_keeps_any_script_and_a_readable_length(server):
    box, settings = server()
    mail.send(letter(settings, "ملعب 🏌️ <script> " * 20), settings, "s3cret")
    got = message_from_bytes(box.letters[0][2], policy=default)
    assert got["Subject"].startswith("ملعب 🏌️ <script>")
    assert len(got["Subject"]) <= 160


def test_the_password_comes_from_the_environment_else_it_is_asked_for(monkeypatch):
    monkeypatch.setitem(sys.modules, "keyring", None)  # as where it is not installed
    told = {"host": "h", "from": "a@example.org", "to": ["b@example.org"], "user": "greens"}
    settings = Mail.model_validate(told)
    assert mail.password_of(settings, {mail.PASSWORD: "x"}) == "x"
    with pytest.raises(UnavailableError, match=mail.PASSWORD):
        mail.password_of(settings, {})


class LockedError(Exception):
    """Stands for keyring's own error."""


@pytest.mark.parametrize("locked", [False, True])
def test_the_password_comes_from_the_keyring_where_there_is_one(monkeypatch, locked):
    asked = []

    def get_password(service, user):
        if locked:
            raise LockedError
        asked.append((service, user))
        return "from the keyring"

    keyring = SimpleNamespace(
        get_password=get_password, errors=SimpleNamespace(KeyringError=LockedError)
    )
    monkeypatch.setitem(sys.modules, "keyring", keyring)
    told = {"host": "h", "from": "a@example.org", "to": ["b@example.org"], "user": "greens"}
    settings = Mail.model_validate(told)
    if locked:
        with pytest.raises(UnavailableError, match="no password for greens"):
            mail.password_of(settings, {})
    else:
        assert mail.password_of(settings, {}) == "from the keyring"
        assert asked == [("patchrisk", "greens")]
        assert mail.password_of(settings, {mail.PASSWORD: "x"}) == "x"


# --- the command --------------------------------------------------------------------------------


@pytest.fixture
def course(tmp_path):
    """Return a function that copies the sample course and puts lines into its site file."""

    def copy(lines=""):
        folder = tmp_path / "course"
        shutil.copytree(resources.sample_weather(), folder)
        path = folder / "site.toml"
        path.write_text(path.read_text(encoding="utf-8") + lines, encoding="utf-8")
        return ["page", "--site", str(path), "--as-of", "2026-05-18", "--mail",
                "--out", str(tmp_path / "out")]  # fmt: skip

    return copy


def test_the_page_is_written_and_mailed(server, course, tmp_path, monkeypatch):
    box, settings = server()
    monkeypatch.setenv(mail.PASSWORD, "s3cret")
    args = course(
        f'[mail]\nhost = "localhost"\nport = {settings.port}\nuser = "greens"\n'
        'from = "greens@example.org"\nto = ["me@example.org"]\n'
    )
    result = CliRunner().invoke(main, args)
    assert result.exit_code == 0, result.output
    assert result.output.splitlines()[-1] == "Mailed to me@example.org"
    got = message_from_bytes(box.letters[0][2], policy=default)
    assert got["Subject"][:100] in result.output
    assert "Quillfen Dunes" in got["Subject"]
    [page] = got.iter_attachments()
    [written] = (tmp_path / "out").glob("*.html")
    assert page.get_filename() == written.name
    assert page.get_payload(decode=True) == written.read_bytes()
    assert "summer patch" in got.get_body().get_content()


def test_a_site_without_a_mail_table_is_told_and_its_page_written(course, tmp_path):
    result = CliRunner().invoke(main, course())
    assert result.exit_code == 2
    assert "add [mail] with host, from and to" in result.stderr
    assert list((tmp_path / "out").glob("*.html"))


# --- the site file ------------------------------------------------------------------------------

SITE = """
[site]
latitude = 40.0
longitude = -83.0

[mail]
host = "smtp.example.org"
from = "greens@example.org"
to = ["me@example.org"]
"""


def written(tmp_path, more="", text=SITE):
    path = tmp_path / "site.toml"
    path.write_text(textwrap.dedent(text) + more)
    return path


def test_usual_ports(tmp_path):
    # RFC 6409 (587 for submission), RFC 8314, 3.3 (465 for implicit TLS).
    assert read_site(written(tmp_path)).mail.port_used == 587
    assert read_site(written(tmp_path, 'tls = "implicit"\n')).mail.port_used == 465


def test_a_password_in_the_file_is_refused_with_a_cure_and_not_shown(tmp_path):
    with pytest.raises(InputError) as caught:
        read_site(written(tmp_path, 'password = "s3cret"\n'))
    [fault] = caught.value.faults
    assert "PATCHRISK_MAIL_PASSWORD" in fault.cure
    assert "s3cret" not in str(fault)


@pytest.mark.parametrize(
    "bad", ["me", "me@example.org, you@example.org", "a@b\\nBcc: c@d", "Me <me@example.org>", "@x"]
)
def test_what_is_no_address_is_refused(tmp_path, bad):
    text = SITE.replace('from = "greens@example.org"', f'from = "{bad}"')
    with pytest.raises(InputError, match="not a mail address"):
        read_site(written(tmp_path, text=text))


def test_tls_can_not_be_switched_off(tmp_path):
    with pytest.raises(InputError, match="starttls"):
        read_site(written(tmp_path, 'tls = "none"\n'))


@pytest.mark.parametrize(
    "bad", ["a..b", "x" * 64 + ".org", "-a.example.org", "a b", "a\\nb", "smtp.example.org/x", ""]
)
def test_what_is_no_server_is_refused(tmp_path, bad):
    with pytest.raises(InputError, match="no name of a server"):
        read_site(written(tmp_path, text=SITE.replace("smtp.example.org", bad)))


def test_the_name_of_a_server_may_have_any_letters(tmp_path):
    # The two forms of the name are an example of RFC 5891 and its kin: IDNA 2008 keeps the sharp s.
    text = SITE.replace("smtp.example.org", "smtp.faß.de")
    assert read_site(written(tmp_path, text=text)).mail.host == "smtp.xn--fa-hia.de"
    text = SITE.replace("smtp.example.org", "::1")
    assert read_site(written(tmp_path, text=text)).mail.host == "::1"


def test_an_encoded_word_is_no_address(tmp_path):
    text = SITE.replace("greens@", "=?utf-8?q?=0d=0ax?=@")
    with pytest.raises(InputError, match="not a mail address"):
        read_site(written(tmp_path, text=text))
