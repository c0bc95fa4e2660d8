"""The one way to the network: cached, bounded in time and size, https only."""

import contextlib
import hashlib
import logging
import os
import re
import tempfile
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from types import TracebackType
from typing import Any, TypeVar
from urllib.parse import urlencode, urlsplit

import requests
from requests_cache.backends.base import BaseCache
from requests_cache.backends.filesystem import FileDict
from requests_cache.models.response import CachedResponse
from requests_cache.policy.expiration import NEVER_EXPIRE
from requests_cache.session import CachedSession

from patchrisk import __version__
from patchrisk.base.errors import Fault, InputError
from patchrisk.read.web.reply import CLOCK_TOLERANCE, Endpoints, FetchError, Notice, Reply
from patchrisk.read.web.transport import (
    BoundedTransport,
    FetchLimits,
    HostRefusals,
    RefusedError,
    describe_failure,
    host_of,
    status_line,
)


class ResponseStore(FileDict):
    """Answers as JSON, each a file of a folder; in memory where the folder won't have them.

    Each is written beside its place and put there whole. What can't be read again is no copy: it is
    asked for anew. Where nothing can be written that is said once, by ``warn``, and what is fetched
    is kept until the end of the run.
    """

    def __init__(self, folder: Path, warn: Callable[[str], None]) -> None:
        self._folder, self._tell, self._writable = folder, warn, True
        self._memory: dict[str, str] = {}
        try:
            super().__init__(folder)
        except OSError as error:
            self._give_up(error)

    def _give_up(self, error: OSError) -> None:
        self._writable = False
        reason = (error.strerror or str(error)).lower()
        said = f"can't be written to ({reason}): what is fetched now is not kept"
        self._tell(f"{self._folder} {said}")

    def __getitem__(self, key: str) -> CachedResponse:
        response: CachedResponse | None = None
        with contextlib.suppress(Exception):  # whatever stands there, it is no copy
            text = self._memory.get(key)
            response = super().__getitem__(key) if text is None else self.deserialize(key, text)
        if response is None:
            raise KeyError(key)
        return response

    def __setitem__(self, key: str, value: CachedResponse) -> None:
        text = str(self.serialize(value))
        if self._writable:
            part = self._folder / f"{key}.{os.getpid()}.part"
            try:
                part.write_text(text, encoding="utf-8")
                part.replace(self._key2path(key))
                return
            except OSError as error:
                self._give_up(error)
                with contextlib.suppress(OSError):
                    part.unlink(missing_ok=True)
        self._memory[key] = text

    def __delitem__(self, key: str) -> None:
        self._memory.pop(key, None)
        super().__delitem__(key)  # type: ignore[no-untyped-call]


class ResponseCache(BaseCache):
    """The cache over a `ResponseStore`, in which an answer from the future counts as old."""

    def __init__(self, store: ResponseStore) -> None:
        super().__init__("patchrisk")
        self.responses = store

    def get_response(
        self, key: str, default: CachedResponse | None = None
    ) -> CachedResponse | None:
        """Return the answer kept under a key; expired when the clock was put back since."""
        response = super().get_response(key, default)
        now = datetime.now(UTC)
        if response is not None and response.created_at > now + CLOCK_TOLERANCE:
            response.expires = now - timedelta(seconds=1)
        return response


_T = TypeVar("_T")
ALLOWED_CODES = (200, 203)  # 203: MET Norway marks a version of its service that will go away
ABSENT_CODES = (404, 410)

# What requests-cache logs would, without a handler, reach the terminal of people who never set up
# logging.
logging.getLogger("requests_cache").addHandler(logging.NullHandler())


class Fetcher:
    """A cached session that never raises anything but `FetchError`.

    A host that can't be reached, times out, asks for patience (429) or shows a sign-in page is
    not asked again in the same run: thirty station-years must not mean thirty time-outs.

    ``cache_dir``: folder of the cache; None for the platform's folder. It is made on first use.
    ``endpoints``: where the services are; those on plain http are let through, nothing else is.
    ``contact``: mail address or page by which the services can reach the user; some ask for it.
    ``offline``: never touch the network.
    """

    def __init__(
        self,
        cache_dir: Path | None = None,
        *,
        endpoints: Endpoints | None = None,
        contact: str | None = None,
        offline: bool = False,
        limits: FetchLimits | None = None,
    ) -> None:
        self.limits = limits or FetchLimits()
        self.offline = offline
        self.folder = cache_dir or default_folder()
        self.notices: list[Notice] = []
        store = ResponseStore(
            self.folder / "answers", lambda text: self.notices.append(Notice("cache", text))
        )
        self._cache = ResponseCache(store)
        self._session = CachedSession(backend=self._cache, allowable_codes=ALLOWED_CODES)
        self._session.max_redirects = 5
        self._session.headers["User-Agent"] = _user_agent(contact)
        self._session.headers["Accept-Encoding"] = "gzip"
        self.endpoints = endpoints or Endpoints()
        addresses = vars(self.endpoints).values()
        plain = (urlsplit(base).netloc for base in addresses if base.startswith("http://"))
        self._hosts = HostRefusals(offline=offline, plain=plain)
        self._transport = BoundedTransport(self._hosts, self.limits)
        self._session.mount("https://", self._transport)
        self._session.mount("http://", self._transport)
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
        read: Callable[[bytes], _T],
        *,
        fresh: timedelta | None,
        params: Mapping[str, str] | None = None,
        obey_up_to: timedelta | None = None,
        no_data: timedelta | None = None,
    ) -> Reply[_T]:
        """Fetch an address, or take the copy at hand.

        ``read``: makes the value out of the body. When it raises anything, `WrongContentError`
        where it knows what is wrong, the body is refused and a good copy kept. ``fresh``: how long
        a copy needs no renewal; None for ever. ``params``: the query. ``obey_up_to``: let the
        service's own Expires and Cache-Control decide instead, up to this long. ``no_data``: how
        long an answer of 404 is believed. FetchError when there is neither an answer nor a copy.
        """
        host = host_of(url)
        query = urlencode(sorted((params or {}).items()))
        absence = "absent-" + hashlib.sha256(f"{url}?{query}".encode()).hexdigest()
        self._transport.longest = obey_up_to
        self._session.settings.expire_after = NEVER_EXPIRE if fresh is None else fresh
        self._session.settings.cache_control = obey_up_to is not None
        with self._answering(host):
            known = self._cache.get_response(absence) if no_data else None
            if known is not None and not known.is_expired:
                raise FetchError(f"{host} has no such data", absent=True)
            request = requests.Request("GET", url, params=dict(params or {}))
            copy, is_fresh = self._copy(self._cache.create_key(request.prepare()), read)
        if copy is not None and is_fresh:
            return copy
        try:
            with self._answering(host):
                return self._renewed(url, read, params, copy)
        except FetchError as error:
            if copy is not None:
                return replace(copy, problem=error.reason, absent=error.absent)
            if self.offline:
                raise FetchError(f"{error.reason}, and no copy is at hand") from None
            if error.absent and no_data is not None:
                self._note_absence(absence, url, no_data)
            raise

    @contextmanager
    def _answering(self, host: str, *, large: bool = False) -> Iterator[None]:
        """Turn whatever goes wrong with an answer, reading it included, into a `FetchError`.

        The one place that does: no answer from outside ends a command.
        """
        self._transport.budget.begin(large=large)
        failed = True
        try:
            yield
            failed = False
        except FetchError:
            raise
        except Exception as error:
            raise FetchError(describe_failure(error, host)) from error
        finally:
            self._transport.budget.end(in_vain=failed)

    def _copy(self, key: str, read: Callable[[bytes], _T]) -> tuple[Reply[_T] | None, bool]:
        """Read the copy at hand, and say whether it needs no renewal.

        A copy that can't be read was written by an earlier version of this package, or on a
        failing disk: it is dropped.
        """
        kept = self._cache.get_response(key)
        if kept is None:
            return None, False
        try:
            return Reply(read(kept.content), kept.created_at), not kept.is_expired
        except Exception:
            self._cache.delete(key)
            return None, False

    def _renewed(
        self,
        url: str,
        read: Callable[[bytes], _T],
        params: Mapping[str, str] | None,
        copy: Reply[_T] | None,
    ) -> Reply[_T]:
        """Ask the service; raise anything at all where no good answer comes of it."""
        values: list[_T] = []

        def inspect(response: requests.Response, *args: Any, **kwargs: Any) -> None:
            if values or isinstance(response, CachedResponse):
                return
            if response.status_code in ALLOWED_CODES:  # read before it is kept
                values.append(self._read(response, read))

        response = self._ask(url, params=dict(params or {}), hooks={"response": inspect})
        if values:
            return Reply(values[0], datetime.now(UTC))
        assert isinstance(response, CachedResponse)
        if copy is not None and copy.fetched_at == response.created_at:  # it hasn't changed
            return copy
        return Reply(read(response.content), response.created_at)

    def _ask(self, url: str, **given: Any) -> requests.Response:
        limits = self.limits
        response: requests.Response = self._session.get(
            url, timeout=(limits.connect_s, limits.read_s), **given
        )
        if response.status_code not in ALLOWED_CODES:
            raise FetchError(status_line(response), absent=response.status_code in ABSENT_CODES)
        return response

    def _read(self, response: requests.Response, read: Callable[[bytes], _T]) -> _T:
        if response.content.lstrip()[:1] == b"<":
            host = host_of(response.url)
            reason = f"{host} sent a web page instead of data (a sign-in page of the network?)"
            raise self._hosts.refuse(RefusedError(reason), host)
        return read(response.content)

    def _note_absence(self, key: str, url: str, believed: timedelta) -> None:
        """Remember that a service has no such data."""
        until = datetime.now(UTC) + believed
        self._cache.responses[key] = CachedResponse(status_code=404, url=url, expires=until)

    def forget(self, url: str) -> None:
        """Drop the copy of an address whose answer has turned out to be out of date."""
        self._cache.delete(urls=[url])

    def download(self, url: str, read: Callable[[bytes], _T]) -> _T:
        """Fetch a large file without keeping a copy in the cache."""
        with self._answering(host_of(url), large=True):
            self._transport.max_bytes = self.limits.max_download_bytes
            try:
                response = self._ask(url, headers={"Cache-Control": "no-store"})
            finally:
                self._transport.max_bytes = self.limits.max_bytes
            return self._read(response, read)


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
