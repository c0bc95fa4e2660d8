"""Where requests leave this computer: bounded in time and size, https only."""

import io
import json
import re
import threading
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlsplit

import requests
import urllib3
from requests.adapters import HTTPAdapter

ALLOWED_CODES = (200, 203)  # 203: MET Norway marks a version of its service that will go away
ABSENT_CODES = (404, 410)
_AGAIN = (502, 503, 504)
_CHUNK = 4096


@dataclass(frozen=True)
class Limits:
    """How long to wait and how much to take.

    Parameters
    ----------
    connect_s, read_s : float
        For the connection, and for each pause while reading [s].
    total_s : float
        For one request with everything in it: name look-up, redirects' own requests apart [s].
    download_s : float
        The same for the station list, which is some tens of megabytes [s].
    pause_s : float
        Before the second and last try after a passing fault [s].
    lock_s : float
        For another process that holds the cache [s].
    max_bytes, max_download_bytes : int
        Largest body taken, and largest station list.
    """

    connect_s: float = 5.0
    read_s: float = 15.0
    total_s: float = 30.0
    download_s: float = 600.0
    pause_s: float = 1.0
    lock_s: float = 2.0
    max_bytes: int = 5_000_000
    max_download_bytes: int = 300_000_000


class RefusedError(requests.RequestException):
    """An answer not taken, or a request not made; ``final`` closes the host for this run."""

    def __init__(self, reason: str, *, final: bool = True) -> None:
        super().__init__(reason)
        self.reason, self.final = reason, final


class Doorman:
    """Remembers which hosts are not worth asking again in this run, and what went wrong last.

    Parameters
    ----------
    offline : bool
        Let nothing out.
    """

    def __init__(self, *, offline: bool) -> None:
        self.offline = offline
        self.problem = ""
        self.absent = False
        self._closed: dict[str, str] = {}
        self._failures: dict[str, int] = {}

    def forget_problem(self) -> None:
        """Begin a new request."""
        self.problem, self.absent = "", False

    def refuse(self, refused: RefusedError, host: str) -> RefusedError:
        """Note a refusal and return it to be raised."""
        self.problem = refused.reason
        if refused.final:
            self._closed.setdefault(host, refused.reason)
        return refused

    def before(self, host: str) -> None:
        """Raise when the host isn't to be asked."""
        reason = "working offline" if self.offline else self._closed.get(host)
        if reason:
            self.problem = reason
            raise RefusedError(reason)

    def after(self, host: str, response: requests.Response) -> None:
        """Note what a status says of the host."""
        code = response.status_code
        if code < 400:
            self._failures[host] = 0
            return
        self.problem, self.absent = status_line(response), code in ABSENT_CODES
        if code >= 500:
            self._failures[host] = self._failures.get(host, 0) + 1
        if code == 429 or self._failures.get(host, 0) >= 2:
            self._closed.setdefault(host, self.problem)


class NoDoor(HTTPAdapter):
    """Where plain http ends."""

    def __init__(self, doorman: Doorman) -> None:
        super().__init__()
        self._doorman = doorman

    def send(self, request: requests.PreparedRequest, *args: Any, **kwargs: Any) -> Any:
        """Raise: the request doesn't go out."""
        host = host_of(request.url)
        refused = RefusedError(f"sent on to {host} over plain http: refused")
        raise self._doorman.refuse(refused, host)


class Door(HTTPAdapter):
    """Sends one request and takes its whole body, within a total time and size.

    The work is done in a thread that is left behind when the time is up: name look-up and
    headers that trickle in byte by byte obey no other time-out.
    """

    def __init__(self, doorman: Doorman, limits: Limits) -> None:
        super().__init__(max_retries=0)
        self._doorman, self._limits = doorman, limits
        self.total_s, self.max_bytes = limits.total_s, limits.max_bytes

    def send(
        self,
        request: requests.PreparedRequest,
        stream: bool = False,
        timeout: Any = None,
        verify: bool | str = True,
        cert: Any = None,
        proxies: Mapping[str, str] | None = None,
    ) -> requests.Response:
        """Send a request; raise `RefusedError` for anything but a whole answer."""
        host = host_of(request.url)
        self._doorman.before(host)
        abandoned = threading.Event()
        outcome: list[requests.Response | Exception] = []
        size = self.max_bytes

        def once() -> requests.Response:
            response = HTTPAdapter.send(self, request, True, timeout, verify, cert, proxies)
            return self._take(request, response, size, abandoned)

        def work() -> None:
            try:
                try:
                    result = once()
                    passing = result.status_code in _AGAIN
                except requests.ConnectionError as error:
                    if isinstance(error, requests.Timeout | requests.exceptions.SSLError):
                        raise
                    passing = True
                if passing and not abandoned.wait(self._limits.pause_s):
                    result = once()
                outcome.append(result)
            except Exception as error:  # handed to the thread that waits
                outcome.append(error)

        thread = threading.Thread(target=work, daemon=True)
        thread.start()
        thread.join(self.total_s)
        if not outcome:
            abandoned.set()
            outcome.append(RefusedError(f"no whole answer from {host} in {self.total_s:g} s"))
        result = outcome[0]
        if isinstance(result, requests.Response):
            self._doorman.after(host, result)
            return result
        if not isinstance(result, RefusedError):
            if not isinstance(result, requests.RequestException | urllib3.exceptions.HTTPError):
                raise result
            result = RefusedError(explain(result, host))
        raise self._doorman.refuse(result, host)

    def _take(
        self,
        request: requests.PreparedRequest,
        response: requests.Response,
        max_bytes: int,
        abandoned: threading.Event,
    ) -> requests.Response:
        """Read the body and return a response that holds it."""
        body = io.BytesIO()
        try:
            for chunk in response.raw.stream(_CHUNK, decode_content=True):
                body.write(chunk)
                if body.tell() > max_bytes:
                    reason = (
                        f"{host_of(request.url)} sent more than {max_bytes / 1e6:g} MB: refused"
                    )
                    raise RefusedError(reason, final=False)
                if abandoned.is_set():
                    raise RefusedError("abandoned")
        finally:
            response.close()
        dropped = ("content-encoding", "transfer-encoding", "content-length")
        headers = {k: v for k, v in response.headers.items() if k.lower() not in dropped}
        body.seek(0)
        whole = urllib3.HTTPResponse(
            body=body,
            headers=headers,
            status=response.status_code,
            reason=response.reason,
            preload_content=False,
        )
        return self.build_response(request, whole)


def host_of(url: str | bytes | None) -> str:
    """Return the host, and port, of an address."""
    return urlsplit(str(url)).netloc


def status_line(response: requests.Response) -> str:
    """One line for an answer that is no data, with what the service itself says of it."""
    said = ""
    try:
        data = json.loads(response.content)
        said = str(data.get("title") or data.get("reason") or "")
    except (ValueError, AttributeError):
        pass
    said = re.sub(r"[^ -~]+", " ", said)[:80]
    known = {404: "has no such data", 410: "has no such data", 429: "asks for fewer requests"}
    text = known.get(response.status_code, f"answered {response.status_code}")
    return f"{host_of(response.url)} {text}" + (f" ({said})" if said else "")


def explain(error: Exception, host: str) -> str:
    """One line for what went wrong on the way."""
    if isinstance(error, RefusedError):
        return error.reason
    if isinstance(error, requests.TooManyRedirects):
        return f"{host} sends round in circles"
    text = str(error)
    if isinstance(error, requests.exceptions.SSLError | urllib3.exceptions.SSLError):
        return (
            f"the certificate of {host} is not trusted "
            "(a wrong clock here, or a network that intercepts)"
        )
    timeouts = (requests.Timeout, urllib3.exceptions.TimeoutError)
    if isinstance(error, timeouts):
        return f"no answer from {host} in time"
    if "NameResolution" in text:
        return f"the name {host} can't be looked up (no network?)"
    if isinstance(error, urllib3.exceptions.ProtocolError | urllib3.exceptions.DecodeError):
        return f"the answer of {host} broke off or is garbled"
    return f"{host} can't be reached"
