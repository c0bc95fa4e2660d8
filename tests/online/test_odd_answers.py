"""Odd answers: the good ones are taken and kept, the others leave the last good copy."""

import contextlib
import re
import time
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from patchrisk.read.web.fetcher import Fetcher
from patchrisk.read.web.reply import FetchError, WrongContentError, read_json
from tests.fuzz.budget import within_budget
from tests.online.aging import age_cache
from tests.online.odd import REFUSED, TAKEN
from tests.online.provider import PATIENT

HOUR = timedelta(hours=1)
HASTY = replace(PATIENT, total_s=1.5, hurry_s=1.5, read_s=1.0)
PATHS = (
    "meteostat/daily/2020/NEAR0.csv.gz",
    "nws/points/40,-83",
    "metno/locationforecast/2.0/complete",
    "openmeteo/v1/forecast",
)


def read(content):
    try:
        return read_json(content)["hourly"]["temperature_2m"]
    except KeyError:
        raise WrongContentError("no hourly values") from None


class Client:
    def __init__(self, provider, folder):
        self.provider, self.folder = provider, folder
        self.url = f"{provider.bases['openmeteo']}/v1/forecast"

    def get(self, *, offline=False, read=read, limits=HASTY):
        endpoints = self.provider.endpoints
        with (
            within_budget(),
            Fetcher(self.folder, endpoints=endpoints, limits=limits, offline=offline) as fetcher,
        ):
            return fetcher.get(self.url, read, fresh=HOUR, obey_up_to=12 * HOUR)


@pytest.fixture
def client(provider, tmp_path):
    return Client(provider, tmp_path / "cache")


@pytest.mark.parametrize("name", TAKEN)
def test_a_good_answer_in_an_odd_dress_is_taken_and_renewed_and_stays_as_the_last_copy(
    client, name
):
    client.provider.answer(TAKEN[name])
    first = client.get()
    assert (first.value[:2], first.problem) != ([], "x")
    assert first.problem == ""
    age_cache(client.folder, 13 * HOUR)  # past any lifetime that is obeyed
    asked = client.provider.count()
    assert client.get().problem == ""
    assert client.provider.count() == asked + 1
    age_cache(client.folder, 13 * HOUR)
    client.provider.answer(None)
    client.provider.set("503")
    old = client.get()
    assert old.value == first.value
    assert "answered 503" in old.problem
    client.provider.forget()
    assert client.get(offline=True).problem == "working offline"
    assert client.provider.count() == 0


@pytest.mark.parametrize(
    ("name", "held_s"),
    [
        ("max-age in quotes", 60),
        ("expires after a date of its own", 3600),
        ("expires impossible", 3600),  # nothing that can be read: the hour that was asked for
        ("max-age of twenty digits", 12 * 3600),
        ("immutable", 12 * 3600),
    ],
)
def test_a_lifetime_is_obeyed_as_far_as_it_can_be_meant(client, name, held_s):
    client.provider.answer(TAKEN[name])
    client.get()
    age_cache(client.folder, timedelta(seconds=held_s - 30))
    client.get()
    assert client.provider.count() == 1
    age_cache(client.folder, timedelta(seconds=60))
    client.get()
    assert client.provider.count() == 2


@pytest.mark.parametrize("name", REFUSED)
def test_an_answer_of_no_use_is_one_line_and_leaves_the_last_good_copy(client, name):
    odd, said = REFUSED[name]
    client.provider.answer(odd)
    with pytest.raises(FetchError) as caught:
        client.get()
    reason = caught.value.reason
    assert re.search(said, reason), reason
    assert reason.isprintable()
    assert len(reason) < 200
    client.provider.answer(None)
    good = client.get()
    age_cache(client.folder, 5 * HOUR)
    client.provider.answer(odd)
    old = client.get()
    assert old.value == good.value
    if name == "status 304 unasked":  # it was asked for now, by nothing that the copy has
        return
    assert re.search(said, old.problem), old.problem
    assert timedelta(hours=4.9) < datetime.now(UTC) - old.fetched_at < timedelta(hours=5.1)


@pytest.mark.parametrize(
    "error", [RecursionError(), MemoryError(), ZeroDivisionError(), TypeError("x" * 9000)]
)
def test_a_reader_that_breaks_is_told_by_the_name_of_what_was_raised(client, error):
    def breaks(content):
        raise error

    with pytest.raises(FetchError, match=rf"can't be used \({type(error).__name__}\)"):
        client.get(read=breaks)
    good = client.get()
    age_cache(client.folder, 5 * HOUR)
    calls = []

    def breaks_on_the_new(content):
        calls.append(content)
        if len(calls) > 1:
            raise error
        return read(content)

    old = client.get(read=breaks_on_the_new)
    assert old.value == good.value
    assert old.problem.endswith(f"({type(error).__name__})")


@pytest.mark.parametrize("stop", [KeyboardInterrupt, SystemExit])
def test_being_stopped_is_no_answer(client, stop):
    def stopped(content):
        raise stop

    with pytest.raises(stop):
        client.get(read=stopped)


def test_a_deadline_holds_for_all_redirects_together(client, monkeypatch):
    def slowly(body):
        time.sleep(0.5)
        yield b"HTTP/1.1 302 Found\r\nContent-Length: 0\r\nLocation: "
        yield f"?n={time.monotonic()}\r\nConnection: close\r\n\r\n".encode()

    client.provider.answer(slowly)
    start = time.monotonic()
    with pytest.raises(FetchError, match=r"no whole answer from .* in 1\.5 s"):
        client.get()
    assert time.monotonic() - start < 4.0  # a machine may be busy with other things


def test_a_large_file_may_take_long_but_not_trickle(client):
    def at(rate):
        def odd(body):
            yield b"HTTP/1.1 200 OK\r\nContent-Length: 400000\r\nConnection: close\r\n\r\n"
            for _ in range(100):
                time.sleep(4000 / rate)
                yield b"x" * 4000

        return odd

    limits = replace(PATIENT, total_s=1.2, download_s=30.0, least_rate=20_000.0)
    url = f"{client.provider.bases['meteostat']}/stations.db"
    endpoints = client.provider.endpoints

    def timed(rate):
        client.provider.answer(at(rate), "station list")
        with Fetcher(client.folder, endpoints=endpoints, limits=limits) as fetcher:
            start = time.monotonic()
            try:
                return fetcher.download(url, len), time.monotonic() - start
            except FetchError as error:
                return error.reason, time.monotonic() - start

    size, took = timed(200_000)
    assert size == 400_000
    assert took > 1.5
    reason, took = timed(2_000)
    assert "no whole answer" in reason
    assert took < 10.0  # of the two hundred that it would have taken


def test_services_that_are_all_silent_share_the_patience_of_one(provider, tmp_path):
    provider.set("hang")
    limits = replace(PATIENT, total_s=1.0, read_s=5.0, hurry_s=0.2)
    start = time.monotonic()
    with Fetcher(tmp_path, endpoints=provider.endpoints, limits=limits) as fetcher:
        for path in PATHS:
            service, _, rest = path.partition("/")
            with pytest.raises(FetchError, match="no whole answer"):
                fetcher.get(f"{provider.bases[service]}/{rest}", read, fresh=HOUR)
    assert time.monotonic() - start < 3.5  # one after another would take four


def test_a_run_has_a_time_of_its_own_and_goes_on_the_next_time(provider, tmp_path):
    def slowly(body):
        time.sleep(0.3)
        yield from TAKEN["packed as itself"](body)

    provider.answer(slowly, "openmeteo")
    limits = replace(PATIENT, total_s=1.0, run_s=1.0, hurry_s=0.1)
    url = f"{provider.bases['openmeteo']}/v1/forecast"
    got = [0]
    while got[-1] < 8 and len(got) < 20:  # a busy machine takes more runs, each as short
        done = 0
        with Fetcher(tmp_path, endpoints=provider.endpoints, limits=limits) as fetcher:
            for n in range(8):
                with contextlib.suppress(FetchError):
                    fetcher.get(f"{url}?n={n}", read, fresh=HOUR)
                    done += 1
            if done < 8:
                with pytest.raises(FetchError, match=r"no whole answer|1 s of this run"):
                    fetcher.get(f"{url}?n=last", read, fresh=HOUR)
        got.append(done)
    assert got[1] < 4
    assert got == sorted(got)
    assert got[-1] == 8
