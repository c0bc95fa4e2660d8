"""Answers not taken, and what is said of whatever went wrong with one."""

import re
from urllib.parse import urlsplit

import requests
import urllib3

from patchrisk.read.web.reply import FetchError, WrongContentError, read_json


class RefusedError(requests.RequestException):
    """An answer not taken, or a request not made; ``final`` closes the host for this run."""

    def __init__(self, reason: str, *, final: bool = True) -> None:
        super().__init__(reason)
        self.reason, self.final = reason, final


def host_of(url: str | bytes | None) -> str:
    """Return the host, and port, of an address."""
    return urlsplit(str(url)).netloc


def status_line(response: requests.Response) -> str:
    """One line for an answer that is no data, with what the service itself says of it."""
    try:
        data = read_json(response.content)
    except WrongContentError:
        data = {}
    texts = (data.get("title"), data.get("reason"))
    said = next((text for text in texts if isinstance(text, str)), "")
    said = re.sub(r"[^ -~]+", " ", said)[:80]
    known = {404: "has no such data", 410: "has no such data", 429: "asks for fewer requests"}
    text = known.get(response.status_code, f"answered {response.status_code}")
    return f"{host_of(response.url)} {text}" + (f" ({said})" if said else "")


def describe_failure(error: Exception, host: str) -> str:
    """One line for what went wrong with an answer, whatever it was.

    What nobody foresaw is told by the name of its class, so that it can be found and mended.
    """
    text = str(error)
    if isinstance(error, FetchError | RefusedError):
        return error.reason
    if isinstance(error, WrongContentError):
        return f"{host} sent something else: {text[:120]}"
    if isinstance(error, requests.TooManyRedirects):
        return f"{host} sends round in circles"
    if isinstance(error, requests.exceptions.SSLError | urllib3.exceptions.SSLError):
        return (
            f"the certificate of {host} is not trusted "
            "(a wrong clock here, or a network that intercepts)"
        )
    if isinstance(error, requests.Timeout | urllib3.exceptions.TimeoutError):
        return f"no answer from {host} in time"
    if "NameResolution" in text:
        return f"the name {host} can't be looked up (no network?)"
    garbled = (urllib3.exceptions.ProtocolError, requests.exceptions.InvalidHeader)
    if isinstance(error, garbled):
        return f"the answer of {host} broke off or is garbled"
    if isinstance(error, requests.ConnectionError | urllib3.exceptions.HTTPError):
        return f"{host} can't be reached"
    return f"{host} sent what can't be used ({type(error).__name__})"
