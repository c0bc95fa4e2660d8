"""The one door to the network: cached, bounded in time and size, https only."""

import hashlib
import logging
import re
import tempfile
import threading
from collections.abc import Callable, Iterable, Mapping
from datetime import UTC, datetime, timedelta
from pathlib import Path
from types import TracebackType
from typing import Any, TypeVar
from urllib.parse import urlencode, urlsplit

import requests
from requests_cache.models.response import CachedResponse
from requests_cache.policy.expiration import NEVER_EXPIRE
from requests_cache.session import CachedSession

from patchrisk import __version__
from patchrisk.errors import Fault, InputError
from patchrisk.weather.cache import ResponseCache, ResponseStore
from patchrisk.weather.door import (
    ALLOWED_CODES,
    Door,
    Doorman,
    Limits,
    NoDoor,
    RefusedError,
    explain,
    host_of,
    status_line,
)
from patchrisk.weather.notice import Notice
from patchrisk.weather.reply import FetchError, Reply, WrongContentError

T = TypeVar("T")

# requests-cache logs a traceback when it serves an old copy; without a handler it would reach
# the terminal of people who never set up logging.
logging.getLogger("requests_cache").addHandler(logging.NullHandler())


class Fetcher:
    """A cached session that never raises anything but `FetchError`.

    A host that can't be reached, times out, asks for patience (429) or shows a sign-in page is
    not asked again in the same run: thirty station-years must not mean thirty time-outs.

    Parameters
    ----------
    cache_dir : Path or None
        Folder of the cache; None for the platform's folder. It is made on first use.
    bases : iterable of str
        Addresses of the services; those on plain http are let through, nothing else is.
    contact : str, optional
        Mail address or page by which the services can reach the user; some ask for it.
    offline : bool
        Never touch the network.
    limits : Limits
    """

    def __init__(
        self,
        cache_dir: Path | None = None,
        *,
        bases: Iterable[str] = (),
        contact: str | None = None,
        offline: bool = False,
        limits: Limits | None = None,
    ) -> None:
        self.limits = limits or Limits()
        self.offline = offline
        self.folder = cache_dir or default_folder()
        self.notices: list[Notice] = []
        store = ResponseStore(
            self.folder / "answers.sqlite",
            self.limits.lock_s,
            lambda text: self.notices.append(Notice("cache", text)),
        )
        self._cache = ResponseCache(store)
        self._session = CachedSession(
            backend=self._cache, stale_if_error=True, allowable_codes=ALLOWED_CODES
        )
        self._session.max_redirects = 5
        self._session.headers["User-Agent"] = _user_agent(contact)
        self._session.headers["Accept-Encoding"] = "gzip, deflate"
        self._doorman = Doorman(offline=offline)
        self._door = Door(self._doorman, self.limits)
        self._session.mount("https://", self._door)
        self._session.mount("http://", NoDoor(self._doorman))
        for base in bases:
            if base.startswith("http://"):
                self._session.mount(
                    f"{base.split('/', 3)[0]}//{urlsplit(base).netloc}/", self._door
                )
        self._lock = threading.Lock()
        self._scratch: tempfile.TemporaryDirectory[str] | None = None

    def __enter__(self) -> "Fetcher":
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._session.close()  # type: ignore[no-untyped-call]
        if self._scratch is not None:
            self._scratch.cleanup()

    def scratch(self) -> Path:
        """Return a folder that lives as long as this fetcher, for what the cache can't take."""
        if self._scratch is None:
            self._scratch = tempfile.TemporaryDirectory(prefix="patchrisk-")
        return Path(self._scratch.name)

    def get(
        self,
        url: str,
        read: Callable[[bytes], T],
        *,
        fresh: timedelta | None,
        params: Mapping[str, str] | None = None,
        obey_headers: bool = False,
        no_data: timedelta | None = None,
    ) -> Reply[T]:
        """Fetch an address, or take the copy at hand.

        Parameters
        ----------
        url : str
        read : callable
            Makes the value out of the body; raises `WrongContentError`, upon which the body is
            refused and a good copy kept.
        fresh : timedelta or None
            How long a copy needs no renewal; None for ever.
        params : mapping of str to str, optional
            The query.
        obey_headers : bool
            Let the service's own Expires and Cache-Control decide instead.
        no_data : timedelta, optional
            How long an answer of 404 is believed.

        Raises
        ------
        FetchError
            When there is neither an answer nor a copy.
        """
        with self._lock:
            self._doorman.forget_problem()
            self._door.total_s = self.limits.total_s
            self._door.max_bytes = self.limits.max_bytes
            query = urlencode(sorted((params or {}).items()))
            absence = "absent-" + hashlib.sha256(f"{url}?{query}".encode()).hexdigest()
            known = self._cache.get_response(absence) if no_data else None
            if known is not None and not known.is_expired:
                raise FetchError(f"{host_of(url)} has no such data", absent=True)
            settings = self._session.settings
            settings.expire_after = NEVER_EXPIRE if fresh is None else fresh
            settings.cache_control = obey_headers
            response, values = self._send(url, read, params)
            if response.status_code not in ALLOWED_CODES:
                reason = status_line(response)
                if response.status_code in (404, 410) and no_data is not None:
                    expires = datetime.now(UTC) + no_data
                    self._cache.save_response(response, absence, expires)
                    raise FetchError(reason, absent=True)
                raise FetchError(
                    self._doorman.problem or reason, absent=response.status_code == 404
                )
            if not isinstance(response, CachedResponse):
                return Reply(values[-1], datetime.now(UTC))
            try:
                value = read(response.content)
            except WrongContentError:
                # Written by an earlier version of this package, or on a failing disk.
                self._cache.delete(str(response.cache_key))
                response, values = self._send(url, read, params)
                if response.status_code not in ALLOWED_CODES:
                    raise FetchError(status_line(response)) from None
                return Reply(values[-1], datetime.now(UTC))
            if not response.is_expired:
                return Reply(value, response.created_at)
            # Every failure is noted where it happens, but for one that requests finds.
            problem = self._doorman.problem or f"{host_of(url)} sends round in circles"
            return Reply(value, response.created_at, problem, self._doorman.absent)

    def _send(
        self, url: str, read: Callable[[bytes], T], params: Mapping[str, str] | None
    ) -> tuple[requests.Response, list[T]]:
        values: list[T] = []

        def inspect(response: requests.Response, *args: Any, **kwargs: Any) -> None:
            if isinstance(response, CachedResponse) or response.status_code not in ALLOWED_CODES:
                return
            host = host_of(response.url)
            if response.content.lstrip()[:1] == b"<":
                reason = f"{host} sent a web page instead of data (a sign-in page of the network?)"
                raise self._doorman.refuse(RefusedError(reason), host)
            try:
                values.append(read(response.content))
            except WrongContentError as error:
                refused = RefusedError(f"{host} sent something else: {error}", final=False)
                raise self._doorman.refuse(refused, host) from None

        try:
            response: requests.Response = self._session.get(
                url,
                params=dict(params or {}),
                hooks={"response": inspect},
                timeout=(self.limits.connect_s, self.limits.read_s),
            )
        except requests.RequestException as error:
            reason = self._doorman.problem or explain(error, host_of(url))
            raise FetchError(
                reason + (", and no copy is at hand" if self.offline else "")
            ) from None
        return response, values

    def forget(self, url: str) -> None:
        """Drop the copy of an address whose answer has turned out to be out of date."""
        self._cache.delete(urls=[url])

    def download(self, url: str, read: Callable[[bytes], T]) -> T:
        """Fetch a large file without keeping a copy in the cache.

        Raises
        ------
        FetchError
        """
        with self._lock:
            self._doorman.forget_problem()
            self._door.total_s = self.limits.download_s
            self._door.max_bytes = self.limits.max_download_bytes
            try:
                response = self._session.get(
                    url,
                    headers={"Cache-Control": "no-store"},
                    timeout=(self.limits.connect_s, self.limits.read_s),
                )
            except requests.RequestException as error:
                raise FetchError(self._doorman.problem or explain(error, host_of(url))) from None
            if response.status_code not in ALLOWED_CODES:
                raise FetchError(status_line(response), absent=response.status_code == 404)
            try:
                return read(response.content)
            except WrongContentError as error:
                raise FetchError(f"{host_of(url)} sent something else: {error}") from None


def default_folder() -> Path:
    """Return the platform's cache folder of the package, without making it."""
    from platformdirs import user_cache_path

    return user_cache_path("patchrisk", appauthor=False)


def _user_agent(contact: str | None) -> str:
    if contact is None:
        return f"patchrisk/{__version__}"
    if not re.fullmatch(r"[!-~]+", contact):
        cure = "write a mail address or a web page, in plain letters without blanks"
        raise InputError(Fault("contact", "", repr(contact), cure))
    return f"patchrisk/{__version__} {contact}"
