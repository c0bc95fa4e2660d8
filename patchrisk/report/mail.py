"""The page by mail, through the user's own mail server, never without TLS."""

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

from patchrisk.errors import Fault, UnavailableError
from patchrisk.site import Mail

PASSWORD = "PATCHRISK_MAIL_PASSWORD"
SERVICE = "patchrisk"  # name under which a keyring keeps the password
_TIMEOUT_S = 30.0
_SUBJECT = 160  # characters


def password_of(settings: Mail, environment: Mapping[str, str] = os.environ) -> str | None:
    """Return the password from the environment, else from the computer's keyring.

    Returns
    -------
    str or None
        None when the server asks for no user.

    Raises
    ------
    UnavailableError
        When neither holds it.
    """
    if settings.user is None:
        return None
    told = environment.get(PASSWORD) or _from_keyring(settings.user)
    if not told:
        raise UnavailableError(
            Fault(
                "mail",
                "",
                f"no password for {settings.user}",
                f"set {PASSWORD}, or keep it with: keyring set {SERVICE} {settings.user}",
            )
        )
    return told


def _from_keyring(user: str) -> str | None:
    try:
        keyring = importlib.import_module("keyring")
    except ImportError:
        return None
    try:
        found: str | None = keyring.get_password(SERVICE, user)
    except keyring.errors.KeyringError:
        return None
    return found


def letter(
    page_html: str, summary: str, settings: Mail, *, text: str, file_name: str, now: datetime
) -> EmailMessage:
    """Write the mail: the summary as subject, plain text to read, the page attached.

    Parameters
    ----------
    page_html : str
    summary : str
        One line; anything else in it is made one.
    settings : Mail
    text : str
        The outlook in plain text.
    file_name : str
        Of the attached page.
    now : datetime
        Aware.
    """
    mail = EmailMessage(policy=SMTP)
    mail["Subject"] = _one_line(summary)
    mail["From"] = settings.sender
    mail["To"] = ", ".join(settings.to)
    mail["Date"] = format_datetime(now)
    mail["Message-ID"] = make_msgid(domain=settings.sender.rpartition("@")[2])
    mail["Auto-Submitted"] = "auto-generated"  # RFC 3834: nobody's absence note answers it
    mail.set_content(text.rstrip("\n") + "\n")
    # As bytes, so that no line end of the page changes on the way.
    page = page_html.encode("utf-8")
    charset = {"charset": "utf-8"}
    mail.add_attachment(page, "text", "html", filename=file_name, params=charset)
    return mail


def _one_line(text: str) -> str:
    """Make one line without control characters, which could start a header of their own."""
    spaced = "".join(" " if unicodedata.category(c) in ("Cc", "Zl", "Zp") else c for c in text)
    line = " ".join(spaced.split())
    return line if len(line) <= _SUBJECT else line[: _SUBJECT - 1].rstrip() + "…"


def send(mail: EmailMessage, settings: Mail, password: str | None) -> None:
    """Hand a mail to the server, over TLS with its certificate checked.

    Raises
    ------
    UnavailableError
        When the server can't be reached, is not who it says, offers no TLS, or refuses.
    """
    trust = ssl.create_default_context()
    try:
        with _connect(settings, trust) as server:
            if settings.tls == "starttls":
                server.starttls(context=trust)
            if settings.user is not None:
                server.login(settings.user, password or "")
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
        said = error.smtp_error
        text = said.decode("utf-8", "replace") if isinstance(said, bytes) else str(said)
        return Fault(
            where, "", f"it answers {error.smtp_code} {_one_line(text)}", "try again later"
        )
    reason = getattr(error, "strerror", None) or str(error) or type(error).__name__
    return Fault(where, "", _one_line(reason).lower(), "see that it is reachable, then try again")
