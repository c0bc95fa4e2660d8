"""Answers kept on disk, in a way that never stands in the way of the work."""

import contextlib
import sqlite3
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, cast

from requests_cache.backends.base import BaseCache, BaseStorage
from requests_cache.models.response import CachedResponse

from patchrisk.read.web.reply import CLOCK_TOLERANCE

_DAMAGED = ("SQLITE_NOTADB", "SQLITE_CORRUPT")
_REASONS = (
    ("SQLITE_BUSY", "it is locked by another program"),
    ("SQLITE_LOCKED", "it is locked by another program"),
    ("SQLITE_READONLY", "it can't be written to"),
    ("SQLITE_CANTOPEN", "it can't be opened"),
    ("SQLITE_FULL", "the disk is full"),
    ("SQLITE_IOERR", "the disk is full or failing"),
    ("SQLITE_NOTADB", "it is damaged"),
    ("SQLITE_CORRUPT", "it is damaged"),
)


class ResponseStore(BaseStorage[str, CachedResponse]):
    """Responses by key in one SQLite file; in memory where the file won't have them.

    The SQLite store of requests-cache waits for a lock for ever, and loses writes to a full or
    read-only disk without a word. This one waits ``lock_s``, says once what is wrong, and goes
    on: reading what can be read, keeping new answers in memory until the end of the run.

    Parameters
    ----------
    path : Path or None
        The file; None keeps everything in memory.
    lock_s : float
        How long to wait for another process [s].
    warn : callable
        Receives one line when the file can't be used as it should.
    """

    def __init__(self, path: Path | None, lock_s: float, warn: Callable[[str], None]) -> None:
        super().__init__(serializer="json")
        self._path, self._lock_s, self._tell = path, lock_s, warn
        self._memory: dict[str, str] = {}
        self._connection: sqlite3.Connection | None = None
        self._readable = self._writable = path is not None
        if path is not None:
            self._open(path)

    def _open(self, path: Path) -> None:
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            self._give_up(f"the folder can't be made ({(error.strerror or str(error)).lower()})")
            return
        for _ in range(2):  # the second time after a damaged file was set aside
            try:
                self._connection = sqlite3.connect(
                    path, timeout=self._lock_s, isolation_level=None, check_same_thread=False
                )
                self._connection.execute("PRAGMA synchronous = NORMAL")
                self._connection.execute(
                    "CREATE TABLE IF NOT EXISTS answers (key TEXT PRIMARY KEY, value TEXT)"
                )
                return
            except sqlite3.Error as error:
                if not self._mend(error, reading=True):
                    return

    def _mend(self, error: sqlite3.Error, *, reading: bool) -> bool:
        """Set a damaged file aside; else stop using the file for what failed."""
        assert self._path is not None
        code = str(getattr(error, "sqlite_errorname", ""))
        if code.startswith(_DAMAGED):
            self.close()
            aside = self._path.with_name(self._path.name + ".damaged")
            with contextlib.suppress(OSError):
                self._path.replace(aside)
                self._tell(f"{self._path} was damaged: set aside as {aside.name}, begun anew")
                return True
        reason = next((text for start, text in _REASONS if code.startswith(start)), str(error))
        if reading:
            self.close()
            self._readable = False
        self._give_up(reason)
        return False

    def _give_up(self, reason: str) -> None:
        if self._writable:
            self._writable = False
            self._tell(f"{self._path}: {reason}: what is fetched now is not kept")

    def _run(self, sql: str, values: tuple[str, ...], *, reading: bool) -> list[tuple[str, ...]]:
        """Run one statement on the file; raise KeyError where it can't be used."""
        usable = self._readable if reading else self._writable
        if not usable or self._connection is None:
            raise KeyError
        try:
            return self._connection.execute(sql, values).fetchall()
        except sqlite3.Error as error:
            assert self._path is not None
            if self._mend(error, reading=reading):
                self._open(self._path)
            raise KeyError from None

    def __getitem__(self, key: str) -> CachedResponse:
        text = self._memory.get(key)
        if text is None:
            rows = self._run("SELECT value FROM answers WHERE key = ?", (key,), reading=True)
            if not rows:
                raise KeyError(key)
            text = rows[0][0]
        try:
            response: CachedResponse | None = self.deserialize(key, cast(Any, text))
        except Exception:  # whatever stands there, it is no copy
            response = None
        if response is None:
            raise KeyError(key)
        return response

    def __setitem__(self, key: str, value: CachedResponse) -> None:
        text = str(self.serialize(value))
        try:
            self._run("INSERT OR REPLACE INTO answers VALUES (?, ?)", (key, text), reading=False)
        except KeyError:
            self._memory[key] = text

    def __delitem__(self, key: str) -> None:
        self._memory.pop(key, None)
        with contextlib.suppress(KeyError):
            self._run("DELETE FROM answers WHERE key = ?", (key,), reading=False)

    def __iter__(self) -> Iterator[str]:
        keys = set(self._memory)
        with contextlib.suppress(KeyError):
            keys.update(row[0] for row in self._run("SELECT key FROM answers", (), reading=True))
        return iter(sorted(keys))

    def __len__(self) -> int:
        return sum(1 for _ in self)

    def clear(self) -> None:
        """Forget every answer."""
        for key in list(self):
            del self[key]

    def close(self) -> None:
        """Close the file."""
        if self._connection is not None:
            self._connection.close()
            self._connection = None


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
