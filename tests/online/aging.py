"""Makes what a cache folder holds older, as if the days had passed."""

import os
from datetime import timedelta
from pathlib import Path

from patchrisk.read.web.fetcher import ResponseStore


def age_cache(folder: Path, by: timedelta) -> int:
    """Let every copy have been fetched earlier; return how many there were."""

    def no_trouble(text: str) -> None:
        raise AssertionError(text)

    store = ResponseStore(folder / "answers", no_trouble)
    keys = list(store)
    for key in keys:
        answer = store[key]
        answer.created_at -= by
        if answer.expires is not None:
            answer.expires -= by
        store[key] = answer
    stations = folder / "stations.db"
    if stations.exists():
        then = stations.stat().st_mtime - by.total_seconds()
        os.utime(stations, (then, then))
    return len(keys)
