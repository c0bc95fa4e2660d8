"""Where requests leave this computer: bounded in time and size, https only, bodies taken whole."""

import io
import re
import threading
import time
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from email.utils import parsedate_to_datetime
from typing import Any
from urllib.parse import urljoin, urlsplit

import requests
import urllib3
from requests.adapters import HTTPAdapter

from patchrisk.read.web.reply import FetchError, WrongContentError, read_json, unpack


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


_AGAIN = (502, 503, 504)
_WATCH_S = 0.05  # how often the waiting thread looks whether an answer makes progress

_CHUNK = 16384
_SENT_ON = (301, 302, 303, 307, 308)
# How a body may be packed, and whether it then is. Unpacking is done here, and once: libraries
# unpack gzip within gzip, a gigabyte out of a kilobyte, and take one that is cut short for whole.
_PACKINGS = {"": False, "identity": False, "gzip": True, "x-gzip": True}
# The only headers that anything is done with: all others end here.
_VALIDATORS = ("etag", "last-modified")
_MARK = re.compile(r"[!-~][ -~]{0,199}")  # sent back on renewal, so it must fit into a header


@dataclass(frozen=True)
class FetchLimits:
    """How long to wait and how much to take."""

    # connect_s, read_s: For the connection, and for each pause while reading [s]
    connect_s: float = 5.0
    read_s: float = 8.0
    # For one answer with everything in it: name look-up, a second try, redirects [s]
    total_s: float = 10.0
    # The same for the station list, which is some tens of megabytes, as long as it comes in faster
    # than ``least_rate`` [s]
    download_s: float = 180.0
    # Bytes a second below which a large file counts as not coming at all
    least_rate: float = 50_000.0
    # What is left for one answer, at least, after time was lost in this run on answers that did not
    # come: where all services are silent, a morning doesn't wait for each in full [s]
    hurry_s: float = 2.0
    run_s: float = 60.0  # For all the waiting of one run but that for the station list [s]
    pause_s: float = 1.0  # Before the second and last try after a passing fault [s]
    # max_bytes, max_download_bytes: Largest body taken, unpacked, and largest station list
    max_bytes: int = 5_000_000
    max_download_bytes: int = 200_000_000


class TimeBudget:
    """The time that answers may still take, in a run and in the request at hand."""

    def __init__(self, limits: FetchLimits) -> None:
        self._limits = limits
        self._used = self._in_vain = 0.0
        self._begun = self._most = self._allowed = 0.0
        self.received = 0
        self.large = False

    def begin(self, *, large: bool) -> None:
        """Begin a request, redirects and all; ``large`` for the station list."""
        limits = self._limits
        self.large, self.received, self._begun = large, 0, time.monotonic()
        least = min(limits.hurry_s, limits.total_s)
        self._allowed = max(least, limits.total_s - self._in_vain)
        self._most = limits.download_s
        if not large:
            left = limits.run_s - self._used
            # Too little for any answer is none: it would be the service that is blamed.
            self._allowed = min(self._allowed, left) if left >= least else 0.0
            self._most = self._allowed

    @property
    def over(self) -> bool:
        """Whether the run has no time left at all."""
        return not self.large and self._allowed <= 0.0

    @property
    def granted_s(self) -> float:
        """How long the request may take; what has come in earns a large file more."""
        earned = self.received / self._limits.least_rate if self.large else 0.0
        return min(self._most, self._allowed + earned)

    @property
    def left_s(self) -> float:
        """How long the request may still take."""
        return self.granted_s - (time.monotonic() - self._begun)

    def end(self, *, in_vain: bool) -> None:
        """Book a request."""
        took = time.monotonic() - self._begun
        if not self.large:
            self._used += took
        if in_vain:
            self._in_vain += took


class HostRefusals:
    """Remembers which hosts are not worth asking again in this run.

    ``offline`` lets nothing out; ``plain`` are the hosts that may be asked over plain http.
    """

    def __init__(self, *, offline: bool, plain: Iterable[str] = ()) -> None:
        self.offline = offline
        self._plain = frozenset(plain)
        self._closed: dict[str, str] = {}
        self._failures: dict[str, int] = {}

    def refuse(self, refused: RefusedError, host: str) -> RefusedError:
        """Note a refusal and return it to be raised."""
        if refused.final:
            self._closed.setdefault(host, refused.reason)
        return refused

    def check(self, url: str) -> None:
        """Raise when an address isn't to be asked."""
        host = host_of(url)
        if url.startswith("http://") and host not in self._plain:
            raise self.refuse(RefusedError(f"sent on to {host} over plain http: refused"), host)
        reason = "working offline" if self.offline else self._closed.get(host)
        if reason:
            raise RefusedError(reason)

    def note_status(self, host: str, response: requests.Response) -> None:
        """Note what a status says of the host."""
        code = response.status_code
        if code < 400:
            self._failures[host] = 0
            return
        if code >= 500:
            self._failures[host] = self._failures.get(host, 0) + 1
        if code == 429 or self._failures.get(host, 0) >= 2:
            self._closed.setdefault(host, status_line(response))


class BoundedTransport(HTTPAdapter):
    """Sends one request and takes its whole body, within a total time and size.

    The work is done in a thread that is left behind when the time is up: name look-up and
    headers that trickle in byte by byte obey no other time-out.
    """

    def __init__(self, hosts: HostRefusals, limits: FetchLimits) -> None:
        super().__init__(max_retries=0)
        self._hosts, self._limits = hosts, limits
        self.budget = TimeBudget(limits)
        self.max_bytes = limits.max_bytes
        self.longest: timedelta | None = None  # how long an answer's own lifetime is obeyed

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
        self._hosts.check(str(request.url))
        abandoned = threading.Event()
        outcome: list[requests.Response | Exception] = []
        most, longest, budget = self.max_bytes, self.longest, self.budget
        if budget.over:
            raise self._hosts.refuse(
                RefusedError(f"the {self._limits.run_s:g} s of this run are over"), host
            )

        def once() -> requests.Response:
            response = HTTPAdapter.send(self, request, True, timeout, verify, cert, proxies)
            taken = _read_whole(
                response, most=most, longest=longest, budget=budget, abandoned=abandoned
            )
            return self.build_response(request, taken)

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
        while thread.is_alive() and budget.left_s > 0:
            thread.join(max(0.0, min(_WATCH_S, budget.left_s)))
        if not outcome:
            abandoned.set()
            waited = f"{round(budget.granted_s, 1):g}"
            outcome.append(RefusedError(f"no whole answer from {host} in {waited} s"))
        result = outcome[0]
        if isinstance(result, requests.Response):
            self._hosts.note_status(host, result)
            return result
        if not isinstance(result, RefusedError):
            result = RefusedError(describe_failure(result, host))
        raise self._hosts.refuse(result, host)


def _read_whole(
    response: requests.Response,
    *,
    most: int,
    longest: timedelta | None,
    budget: TimeBudget,
    abandoned: threading.Event,
) -> urllib3.HTTPResponse:
    """Read the body, and return an answer of it and of the headers that something is done with."""
    host, url = host_of(response.url), response.url
    packing = response.headers.get("Content-Encoding", "").strip().lower()
    too_much = RefusedError(f"{host} sent more than {most / 1e6:g} MB: refused", final=False)
    body = io.BytesIO()
    try:
        if packing not in _PACKINGS:
            raise RefusedError(f"{host} packed its answer in a way not asked for", final=False)
        _bound(response, 2 * most + _CHUNK, too_much)
        while chunk := response.raw.read(_CHUNK, decode_content=False):
            body.write(chunk)
            budget.received = body.tell()
            if body.tell() > most:
                raise too_much
            if abandoned.is_set():
                raise RefusedError("abandoned")
    finally:
        response.close()
    content = body.getvalue()
    if _PACKINGS[packing] and content:
        content = unpack(content, most)
    headers = {}
    for name in _VALIDATORS:
        mark = response.headers.get(name, "")
        if _MARK.fullmatch(mark):
            headers[name] = mark
    lifetime = _lifetime(response.headers, longest) if longest else None
    if lifetime is not None:
        headers["cache-control"] = f"max-age={lifetime}"
    if "location" in response.headers and response.status_code in _SENT_ON:
        headers["location"] = _sent_on_to(url, response.headers["location"])
    return urllib3.HTTPResponse(
        body=io.BytesIO(content),
        headers=headers,
        status=response.status_code,
        reason=response.reason,
        preload_content=False,
    )


class _Bounded:
    """What an answer is read from, no more of which is taken than stated.

    A chunk that gives its length as -1 makes Python's own reader take all that ever comes, and
    one whose length has no end makes urllib3 do so before 2.8.
    """

    def __init__(self, source: Any, most: int, too_much: RefusedError) -> None:
        self._source, self._left, self._too_much = source, most, too_much

    def __getattr__(self, name: str) -> Any:
        return getattr(self._source, name)

    def _count(self, taken: int) -> None:
        self._left -= taken
        if self._left < 0:
            raise self._too_much

    def _most(self, asked: int | None) -> int:
        return self._left + 1 if asked is None or asked < 0 else min(asked, self._left + 1)

    def read(self, amount: int | None = -1) -> bytes:
        data: bytes = self._source.read(self._most(amount))
        self._count(len(data))
        return data

    def readline(self, amount: int = -1) -> bytes:
        data: bytes = self._source.readline(self._most(amount))
        self._count(len(data))
        return data

    def readinto(self, buffer: Any) -> int:
        taken: int = self._source.readinto(buffer)
        self._count(taken)
        return taken


def _bound(response: requests.Response, most: int, too_much: RefusedError) -> None:
    """Bound what is read of an answer that comes in chunks."""
    inner = getattr(response.raw, "_fp", None)
    if getattr(inner, "chunked", False) and getattr(inner, "fp", None) is not None:
        inner.fp = _Bounded(inner.fp, most, too_much)  # type: ignore[union-attr]


def _sent_on_to(url: str, location: str) -> str:
    """Return where an answer sends on to, if that is on the same host."""
    host = host_of(url)
    try:
        if not re.fullmatch(r"[!-~]+", location):
            raise ValueError
        there = urlsplit(urljoin(url, location))
        _ = there.port  # raises where it is none
    except ValueError:
        raise RefusedError(f"sent on to what is no address by {host}: refused") from None
    here = urlsplit(url)
    if (there.scheme, there.netloc) == (here.scheme, here.netloc):
        return there.geturl()
    how = " over plain http" if there.scheme == "http" and here.scheme != "http" else ""
    raise RefusedError(f"sent on to {there.netloc[:80] or 'nowhere'}{how} by {host}: refused")


def _lifetime(headers: Mapping[str, str], longest: timedelta) -> int | None:
    """Return for how many seconds a service says that its answer holds, 1 to ``longest``.

    An answer that says it has expired is kept a second, as the last good copy. None where the
    service says nothing that can be read: then the caller's own lifetime holds.
    """
    most = int(longest.total_seconds())
    said = headers.get("Cache-Control", "").lower()
    if re.search(r"\bno-(store|cache)\b", said):
        return 1
    age = re.search(r"(?<![\w-])max-age\s*=\s*\"?([0-9]+)", said)
    if age:
        return most if len(age[1]) > 9 else min(max(int(age[1]), 1), most)
    expires = headers.get("Expires", "").strip()
    if expires in ("0", "-1"):  # widely written for "at once"
        return 1
    end = _moment(expires)
    begin = _moment(headers.get("Date", "")) or datetime.now(UTC)
    return None if end is None else min(max(int((end - begin).total_seconds()), 1), most)


def _moment(text: str) -> datetime | None:
    try:
        moment = parsedate_to_datetime(text[:80])
        return moment.replace(tzinfo=moment.tzinfo or UTC).astimezone(UTC)
    except (TypeError, ValueError, IndexError, OverflowError):
        return None
