"""The page by mail, through the user's own mail server, never without TLS."""

import base64
import importlib
import os
import smtplib
import ssl
import unicodedata
from collections.abc import Mapping
from datetime import datetime
from email.message import EmailMessage
from email.policy import SMTP
from email.utils import format_datetime, make_msgid

from patchrisk.base.errors import Fault, UnavailableError
from patchrisk.base.safe_text import visible
from patchrisk.read.site import Mail

PASSWORD = "PATCHRISK_MAIL_PASSWORD"
KEYRING_SERVICE = "patchrisk"  # name under which a keyring keeps the password
_TIMEOUT_S = 30.0
_SUBJECT = 160  # characters


def password_of(settings: Mail, environment: Mapping[str, str] = os.environ) -> str | None:
    """Return it from the environment, else the keyring; UnavailableError when neither holds it."""
    if settings.user is None:
        return None
    password = environment.get(PASSWORD) or _from_keyring(settings.user)
    if not password:
        raise UnavailableError(
            Fault(
                "mail",
                "",
                f"no password for {settings.user}",
                f"set {PASSWORD}, or keep it with: keyring set {KEYRING_SERVICE} {settings.user}",
            )
        )
    return password


def _from_keyring(user: str) -> str | None:
    try:
        keyring = importlib.import_module("keyring")
    except ImportError:
        return None
    try:
        found: str | None = keyring.get_password(KEYRING_SERVICE, user)
    except keyring.errors.KeyringError:
        return None
    return found


def letter(
    page_html: str, summary: str, settings: Mail, *, text: str, file_name: str, now: datetime
) -> EmailMessage:
    """Write the mail: the summary as subject, plain text to read, the page attached.

    Whatever is in the summary is made one line; ``file_name`` is the attached page's; ``now`` is
    aware.
    """
    mail = EmailMessage(policy=SMTP)
    mail["Subject"] = _one_line(summary)
    mail["From"] = settings.sender
    mail["To"] = ", ".join(settings.to)
    mail["Date"] = format_datetime(now)
    mail["Message-ID"] = make_msgid(domain=settings.sender.rpartition("@")[2])
    mail["Auto-Submitted"] = "auto-generated"  # RFC 3834: nobody's absence note answers it
    mail.set_content(visible(text.rstrip("\n"), keep="\n") + "\n")
    # As bytes, so that no line end of the page changes on the way.
    page = page_html.encode("utf-8")
    charset = {"charset": "utf-8"}
    mail.add_attachment(page, "text", "html", filename=file_name, params=charset)
    return mail


def _one_line(text: str) -> str:
    """Make one line of what is text alone: nothing in it starts a header, or turns the line.

    An encoded word (RFC 2047) in it would be decoded, and line ends in that put on the wire as
    they are; parted from its first sign it is none.
    """
    spaced = "".join(" " if unicodedata.category(c) in ("Cc", "Zl", "Zp") else c for c in text)
    line = visible(" ".join(spaced.split())).replace("=?", "= ?")
    return line if len(line) <= _SUBJECT else line[: _SUBJECT - 1].rstrip() + "…"


def send(mail: EmailMessage, settings: Mail, password: str | None) -> None:
    """Hand a mail to the server, over TLS with its certificate checked.

    UnavailableError when it can't be reached, is not who it says, offers no TLS, or refuses.
    """
    trust = ssl.create_default_context()
    try:
        with _connect(settings, trust) as server:
            if settings.tls == "starttls":
                server.starttls(context=trust)
            if settings.user is not None:
                _log_in(server, settings.user, password or "")
            refused = server.send_message(mail)
    except (OSError, smtplib.SMTPException) as error:
        raise UnavailableError(_fault(settings, error)) from None
    if refused:
        names = ", ".join(sorted(refused))
        raise UnavailableError(
            Fault(_where(settings), "", f"sent, but not to {names}", "correct `to` under [mail]")
        )


def _connect(settings: Mail, trust: ssl.SSLContext) -> smtplib.SMTP:
    # A bare address in place of the computer's name, which is nobody's business.
    name = "[127.0.0.1]"
    if settings.tls == "implicit":
        return smtplib.SMTP_SSL(
            settings.host, settings.port_used, name, timeout=_TIMEOUT_S, context=trust
        )
    return smtplib.SMTP(settings.host, settings.port_used, name, timeout=_TIMEOUT_S)


def _log_in(server: smtplib.SMTP, user: str, password: str) -> None:
    """Log in; letters beyond ASCII go as UTF-8 (RFC 4616), which smtplib does not write."""
    if user.isascii() and password.isascii():
        server.login(user, password)
        return
    server.ehlo_or_helo_if_needed()
    if "PLAIN" not in server.esmtp_features.get("auth", "").upper().split():
        raise _BeyondAsciiError
    login = "\0".join(("", user, password)).encode("utf-8", "surrogateescape")
    code, reply = server.docmd("AUTH", "PLAIN " + base64.b64encode(login).decode("ascii"))
    if code != 235:
        raise smtplib.SMTPAuthenticationError(code, reply)


class _BeyondAsciiError(smtplib.SMTPException):
    """The server takes no user or password of more than ASCII."""


def _where(settings: Mail) -> str:
    return f"mail server {settings.host}:{settings.port_used}"


def _fault(settings: Mail, error: Exception) -> Fault:
    where = _where(settings)
    if isinstance(error, ssl.SSLCertVerificationError):
        reason = f"its certificate is not to be trusted ({error.verify_message})"
        return Fault(where, "", reason, "write the name that the certificate is for as `host`")
    if isinstance(error, ssl.SSLError):
        cure = 'write tls = "starttls" or "implicit", whichever the server speaks on this port'
        return Fault(where, "", "no TLS could be agreed on", cure)
    if isinstance(error, _BeyondAsciiError):
        cure = "set a password of plain letters, digits and signs"
        return Fault(where, "", "it takes no user or password with letters beyond ASCII", cure)
    if isinstance(error, smtplib.SMTPAuthenticationError):
        return Fault(
            where, "", "it refuses the user or the password", f"correct `user` or {PASSWORD}"
        )
    if isinstance(error, smtplib.SMTPNotSupportedError):
        cure = 'write tls = "implicit" with its port, or ask who keeps the server'
        return Fault(where, "", "it offers no TLS, or no login over it; nothing was sent", cure)
    if isinstance(error, smtplib.SMTPRecipientsRefused):
        return Fault(where, "", "it refuses every address of `to`", "correct `to` under [mail]")
    if isinstance(error, smtplib.SMTPSenderRefused):
        return Fault(where, "", "it refuses the sender", "correct `from` under [mail]")
    if isinstance(error, smtplib.SMTPResponseException):
        reply = error.smtp_error
        text = reply.decode("utf-8", "replace") if isinstance(reply, bytes) else str(reply)
        return Fault(
            where, "", f"it answers {error.smtp_code} {_one_line(text)}", "try again later"
        )
    reason = getattr(error, "strerror", None) or str(error) or type(error).__name__
    return Fault(where, "", _one_line(reason).lower(), "see that it is reachable, then try again")
