"""The session against a server that fails in every way a network does."""

import contextlib
import os
import socket
import subprocess
import sys
import tempfile
from dataclasses import fields
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from patchrisk.base.errors import InputError
from patchrisk.read.web.fetcher import Fetcher, ResponseStore
from patchrisk.read.web.reply import VARIABLES, Endpoints, FetchError, WrongContentError, read_json
from tests.online.aging import age_cache
from tests.online.provider import FAULTS, PATIENT, Provider

HOUR = timedelta(hours=1)
WEEK = timedelta(days=7)


def read_temperatures(content):
    try:
        return read_json(content)["hourly"]["temperature_2m"]
    except KeyError:
        raise WrongContentError("no hourly values") from None


class Client:
    """Fetches one address of the server, in a new session each time, as commands do."""

    def __init__(self, provider, folder):
        self.provider, self.folder = provider, folder
        self.url = f"{provider.bases['openmeteo']}/v1/forecast"
        self.host = self.url.split("/")[2]

    def fetcher(self, **options):
        usual = {"limits": self.provider.limits, "endpoints": self.provider.endpoints}
        return Fetcher(self.folder, **{**usual, **options})

    def get(self, fetcher=None, **options):
        with contextlib.ExitStack() as stack:
            fetcher = fetcher or stack.enter_context(self.fetcher())
            return fetcher.get(self.url, read_temperatures, **{"fresh": HOUR, **options})


@pytest.fixture
def client(provider, tmp_path):
    return Client(provider, tmp_path / "cache")


SAID = {
    "hang": "no answer from {host} in time",
    "slow headers": "no whole answer from {host} in 0.4 s",
    "trickle": "no whole answer from {host} in 0.4 s",
    "drop": "{host} can't be reached",
    "cut": "the answer of {host} broke off or is garbled",
    "huge": "{host} sent more than 1 MB: refused",
    "bomb": "{host} sent something else: more than 1 MB once unpacked",
    "html": "{host} sent a web page instead of data (a sign-in page of the network?)",
    "404": "{host} has no such data (Data Unavailable For Requested Point)",
    "429": "{host} asks for fewer requests (Too Many Requests)",
    "500": "{host} answered 500 (Unexpected Problem)",
    "503": "{host} answered 503 (Forecast Grid Expired)",
    "to plain http": "sent on to a.test by {host}: refused",
    "round in circles": "{host} sends round in circles",
    "nonsense": "{host} sent something else: not JSON, or cut short",
    "other json": "{host} sent something else: no hourly values",
    "empty": "{host} sent something else: not JSON, or cut short",
}


def test_every_fault_of_the_server_has_its_line():
    assert set(SAID) == set(FAULTS)


@pytest.mark.parametrize("fault", FAULTS)
def test_a_fault_without_a_copy_is_one_line(client, fault):
    client.provider.set(fault)
    with pytest.raises(FetchError) as caught:
        client.get()
    assert caught.value.reason == SAID[fault].format(host=client.host)
    assert caught.value.absent == (fault == "404")


@pytest.mark.parametrize("fault", FAULTS)
def test_a_fault_leaves_the_good_copy_to_be_used(client, fault):
    first = client.get()
    assert age_cache(client.folder, 5 * HOUR) == 1
    client.provider.set(fault)
    old = client.get()
    assert old.value == first.value
    assert old.problem == SAID[fault].format(host=client.host)
    assert timedelta(hours=4.9) < datetime.now(UTC) - old.fetched_at < timedelta(hours=5.1)
    client.provider.set("ok")
    assert client.get().problem == ""


def test_a_fresh_copy_is_used_without_asking(client):
    client.get()
    assert client.get().value == client.get().value
    assert client.provider.count() == 1


def test_a_copy_kept_for_good_is_never_renewed(client):
    client.get(fresh=None)
    age_cache(client.folder, timedelta(days=4000))
    assert client.get(fresh=None).problem == ""
    assert client.provider.count() == 1


@pytest.mark.parametrize("fault", ["hang", "429", "html", "drop", "slow headers"])
def test_a_host_that_fails_so_is_not_asked_again_in_the_run(client, fault):
    client.provider.set(fault)
    with client.fetcher() as fetcher:
        reasons = set()
        for year in range(30):
            with pytest.raises(FetchError) as caught:
                fetcher.get(f"{client.url}?year={year}", read_temperatures, fresh=HOUR)
            reasons.add(caught.value.reason)
    assert len(reasons) == 1
    assert client.provider.count() == (2 if fault == "drop" else 1)  # a drop is tried twice


def test_a_passing_503_is_tried_twice_and_a_lasting_one_closes_the_host(client):
    client.provider.set("503")
    with client.fetcher() as fetcher:
        for year in range(30):
            with pytest.raises(FetchError, match="503"):
                fetcher.get(f"{client.url}?year={year}", read_temperatures, fresh=HOUR)
    assert client.provider.count() == 4  # two tries each for the first two


def test_absence_is_believed_for_a_while_and_costs_no_good_copy(client):
    client.provider.set("404")
    for _ in range(3):
        with pytest.raises(FetchError) as caught:
            client.get(no_data=WEEK)
        assert caught.value.absent
    assert client.provider.count() == 1
    age_cache(client.folder, timedelta(days=8))
    client.provider.set("ok")
    good = client.get(no_data=WEEK)
    age_cache(client.folder, timedelta(days=8))
    client.provider.set("404")
    assert client.get(no_data=WEEK).value == good.value


def test_an_untrusted_certificate_is_refused(tmp_path):
    with Provider(tls=True) as provider:
        client = Client(provider, tmp_path)
        with pytest.raises(FetchError, match=r"certificate of 127\.0\.0\.1:\d+ is not trusted"):
            client.get()
        assert provider.count() == 0


def test_nobody_listening(client):
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    base = f"http://127.0.0.1:{port}"
    fetcher = Fetcher(client.folder, endpoints=Endpoints(openmeteo=base), limits=PATIENT)
    with fetcher, pytest.raises(FetchError, match=rf"127.0.0.1:{port} can't be reached"):
        fetcher.get(f"{base}/x", read_temperatures, fresh=HOUR)


def test_only_the_addresses_given_may_be_plain_http(client, tmp_path):
    fetcher = Fetcher(tmp_path, endpoints=Endpoints(nws="http://127.0.0.1:1"), limits=PATIENT)
    with fetcher, pytest.raises(FetchError, match="over plain http: refused"):
        fetcher.get(client.url, read_temperatures, fresh=HOUR)
    assert client.provider.count() == 0


@pytest.mark.parametrize(
    "url",
    [
        "http://data.meteostat.net",
        "ftp://127.0.0.1",
        "127.0.0.1:80",
        "https://",
        "http://127.0.0.1@example.org",
        "https://user@host.test",
        "https://host.test/?key=1",
        "https://host.test/#x",
        "https://[bad",
        "https://host:99999",
    ],
)
def test_other_addresses_are_refused_by_name_of_the_variable(url):
    with pytest.raises(InputError) as caught:
        Endpoints.from_environment({"PATCHRISK_NWS_URL": url, "PATCHRISK_METNO_URL": "https://m"})
    assert [fault.source for fault in caught.value.faults] == ["PATCHRISK_NWS_URL"]


def test_every_address_has_its_variable():
    assert set(VARIABLES) == {field.name for field in fields(Endpoints)}
    assert all(variable in Endpoints.__doc__ for variable in VARIABLES.values())


def test_addresses_come_from_the_environment():
    found = Endpoints.from_environment({"PATCHRISK_METNO_URL": "https://mirror.test/met/"})
    assert found.metno == "https://mirror.test/met"
    assert found.nws == "https://api.weather.gov"


def test_offline_uses_copies_of_any_age_and_asks_nobody(client):
    none = r"^working offline, and no copy is at hand$"
    with client.fetcher(offline=True) as fetcher, pytest.raises(FetchError, match=none):
        client.get(fetcher)
    good = client.get()
    age_cache(client.folder, timedelta(days=400))
    client.provider.forget()
    with client.fetcher(offline=True) as fetcher:
        old = client.get(fetcher)
    assert (old.value, old.problem) == (good.value, "working offline")
    assert client.provider.count() == 0


def test_expires_is_obeyed_and_renewal_is_conditional(client):
    # https://api.met.no/doc/TermsOfService: honour Expires, send If-Modified-Since.
    url = f"{client.provider.bases['metno']}/locationforecast/2.0/complete"
    with client.fetcher() as fetcher:
        first = fetcher.get(url, read_json, fresh=timedelta(seconds=1), obey_up_to=12 * HOUR)
    age_cache(client.folder, timedelta(minutes=10))
    with client.fetcher() as fetcher:
        again = fetcher.get(url, read_json, fresh=timedelta(seconds=1), obey_up_to=12 * HOUR)
    assert client.provider.count("metno") == 1
    age_cache(client.folder, HOUR)  # the server's Expires is half an hour away
    with client.fetcher() as fetcher:
        renewed = fetcher.get(url, read_json, fresh=timedelta(seconds=1), obey_up_to=12 * HOUR)
    assert "If-Modified-Since" in client.provider.seen[-1].headers
    assert first.value == again.value == renewed.value
    assert renewed.problem == ""


def test_the_user_agent_names_program_and_contact(client):
    with client.fetcher(contact="greens@club.example") as fetcher:
        client.get(fetcher)
    agent = client.provider.seen[-1].headers["User-Agent"]
    assert agent.startswith("patchrisk/")
    assert agent.endswith(" greens@club.example")


@pytest.mark.parametrize("contact", ["", "a b", "x\r\nHost: y", "grüner@club.example"])
def test_a_contact_that_would_break_the_header_is_refused(client, contact):
    with pytest.raises(InputError, match="contact"):
        client.fetcher(contact=contact)


def test_a_large_file_is_not_kept_in_the_cache(client):
    with client.fetcher() as fetcher:
        url = f"{client.provider.bases['meteostat']}/stations.db"
        body = fetcher.download(url, lambda body: body)
        assert body == fetcher.download(url, lambda body: body)
    assert client.provider.count("station list") == 2
    assert age_cache(client.folder, HOUR) == 0


# ------------------------------------------------------------------ the cache itself


def the_copy(client):
    (path,) = (client.folder / "answers").iterdir()
    return path


@pytest.mark.parametrize(
    "damage", [lambda raw: b"", lambda raw: raw[:-9], lambda raw: b"\xff" * 99, lambda raw: b"{}"]
)
def test_a_copy_that_cannot_be_read_is_fetched_again(client, damage):
    client.get()
    path = the_copy(client)
    path.write_bytes(damage(path.read_bytes()))
    assert client.get().problem == ""
    assert client.provider.count() == 2
    assert client.get().problem == ""
    assert client.provider.count() == 2


def test_a_copy_in_an_older_shape_is_fetched_again(client):
    with client.fetcher() as fetcher:
        fetcher.get(client.url, lambda content: content, fresh=HOUR)
        client.provider.set("other json")

    def read_more(content):
        raise WrongContentError("an older shape")

    with client.fetcher() as fetcher, pytest.raises(FetchError, match="an older shape"):
        fetcher.get(client.url, read_more, fresh=HOUR)
    assert client.provider.count() == 2


def test_a_folder_that_cannot_be_made(client):
    client.folder.write_text("a file where the folder should be")
    with client.fetcher() as fetcher:
        client.get(fetcher)
        client.get(fetcher)
        assert len(fetcher.notices) == 1
        assert "what is fetched now is not kept" in fetcher.notices[0].text
    assert client.provider.count() == 1


@contextlib.contextmanager
def as_nobody():
    """Without the right of an administrator to write anywhere."""
    if os.geteuid() != 0:
        yield
        return
    os.seteuid(65534)
    try:
        yield
    finally:
        os.seteuid(0)


@pytest.mark.skipif(os.name != "posix", reason="rights of POSIX")
def test_a_folder_that_may_only_be_read(provider):
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        client = Client(provider, folder)
        client.get()
        the_copy(client).chmod(0o444)
        folder.chmod(0o755)
        (folder / "answers").chmod(0o555)
        try:
            with as_nobody(), client.fetcher() as fetcher:
                client.get(fetcher)  # the copy can be read
                assert fetcher.notices == []
                fetcher.get(f"{client.url}?other=1", read_temperatures, fresh=HOUR)
                assert [n.text for n in fetcher.notices] == [
                    f"{folder / 'answers'} can't be written to (permission denied): "
                    "what is fetched now is not kept"
                ]
        finally:
            (folder / "answers").chmod(0o755)
    assert provider.count() == 2


@pytest.mark.skipif(os.name != "posix", reason="limits of POSIX")
def test_a_full_disk(client):
    import resource

    client.get()
    size = the_copy(client).stat().st_size // 2
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, before[1]))
    try:
        with client.fetcher() as fetcher:
            client.get(fetcher)  # the copy can be read
            for _ in range(2):
                fetcher.get(f"{client.url}?other=1", read_temperatures, fresh=HOUR)
            assert [n.text for n in fetcher.notices] == [
                f"{client.folder / 'answers'} can't be written to (file too large): "
                "what is fetched now is not kept"
            ]
            the_copy(client)  # and nothing is left of the other
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)
    assert client.provider.count() == 2


def test_a_copy_from_the_future_is_renewed_or_else_used(client):
    client.get()
    age_cache(client.folder, -timedelta(days=300))  # fetched before the clock was put back
    client.provider.set("503")
    assert "503" in client.get().problem
    client.provider.set("ok")
    assert client.get().problem == ""
    before = client.provider.count()
    assert client.get().problem == ""
    assert client.provider.count() == before


def test_two_processes_share_the_cache(client):
    code = """
import sys
from datetime import timedelta
from pathlib import Path
from patchrisk.read.web.fetcher import Fetcher
from patchrisk.read.web.reply import Endpoints, read_json
url, folder = sys.argv[1:]
with Fetcher(Path(folder), endpoints=Endpoints(openmeteo=url)) as fetcher:
    for n in range(20):
        fetcher.get(f"{url}?n={n}", read_json, fresh=timedelta(hours=1))
    print(*fetcher.notices)
"""
    command = [sys.executable, "-c", code, client.url, str(client.folder)]
    runs = [
        subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
        for _ in range(2)
    ]
    assert [run.communicate() for run in runs] == [("\n", "")] * 2
    assert age_cache(client.folder, HOUR) == 20


def test_the_store_is_a_mapping(tmp_path, client):
    client.get()
    store = ResponseStore(client.folder / "answers", pytest.fail)
    assert len(store) == 1
    store.clear()
    assert list(store) == []


def test_import_reaches_nothing_and_makes_no_folder(tmp_path):
    code = (
        "import patchrisk.read.weather.at_site, meteostat, pathlib;"
        "print(list(pathlib.Path.home().rglob('*')))"
    )
    environment = {**Provider().environment(), "HOME": str(tmp_path), "XDG_CACHE_HOME": ""}
    run = subprocess.run(
        [sys.executable, "-c", code], env=environment, capture_output=True, text=True, check=True
    )
    assert (run.stdout, run.stderr) == ("[]\n", "")
