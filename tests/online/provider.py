"""A weather service on this computer that speaks as the real ones do, and fails as they do.

It plays Meteostat's files, the US National Weather Service, MET Norway and Open-Meteo::

    with Provider() as provider:
        gather_weather(place, ..., endpoints=provider.endpoints)
        provider.set("503", "grid")          # from now on
        assert provider.count("grid") == 1

Commands run as subprocesses find it through ``provider.environment()``. The weather is a formula
(`truth`), so that a test knows what must come out for any day. Shapes are those documented:
dev.meteostat.net/data/timeseries/daily; the GeoJSON of api.weather.gov (/points, /gridpoints);
api.met.no locationforecast/2.0/complete; open-meteo.com/en/docs.
"""

import gzip
import json
import math
import os
import re
import sqlite3
import ssl
import threading
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from email.utils import format_datetime
from functools import cache
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from urllib.parse import parse_qsl, urlsplit

import trustme

from patchrisk.read.site import Place
from patchrisk.read.web.reply import VARIABLES, Endpoints
from patchrisk.read.web.transport import FetchLimits

HERE = Path(__file__).resolve().parent
SERVICES = ("station list", "daily", "points", "grid", "metno", "openmeteo")
LAPSE = 0.0065  # degC per metre: what the server's stations differ by

# For tests: no needless waiting, and room for a slow machine.
OHIO = Place(latitude=40.0, longitude=-83.0, elevation="250 m", utc_offset="-05:00")
PATIENT = FetchLimits(pause_s=0.01, max_bytes=1_000_000, max_download_bytes=1_000_000)

SIGN_IN = b"<!DOCTYPE html><html><head><title>Guest network</title></head><body>Sign in</body>"

# Faults that any service can have.
FAULTS = (
    "hang",  # takes the request and says nothing
    "slow headers",  # a byte of the header now and then, for ever
    "trickle",  # a byte of the body now and then, for ever
    "drop",  # closes the line without a word
    "cut",  # promises more than it sends
    "huge",  # sends without end
    "bomb",  # a small body that unpacks to twenty megabytes
    "html",  # the sign-in page of a guest network, status 200
    "404",
    "429",
    "500",
    "503",
    "to plain http",  # sends on to another host without encryption
    "round in circles",
    "nonsense",  # bytes that are nothing
    "other json",  # JSON of another kind
    "empty",
)


@dataclass(frozen=True)
class FakeStation:
    key: str
    name: str
    north_km: float
    higher_m: float
    completeness: float = 1.0
    starts: int = 1980
    ends: int | None = None  # year of the last day, or None while it reports
    bias_c: float = 0.0  # on top of what the height makes


STATIONS = (
    FakeStation("GONE0", "Given Up", 1.0, 0.0, ends=2001),
    FakeStation("HIGH0", "On the Hill", 2.0, 600.0),
    FakeStation("NEAR0", "Near", 6.0, 60.0, 0.98),
    FakeStation("HALF0", "Half the Time", 5.0, 0.0, 0.2, bias_c=1.0),
    FakeStation("NEXT0", "Next", 20.0, -40.0, 0.99, bias_c=0.4),
    FakeStation("FAR00", "Far Away", 90.0, 0.0),
)


@dataclass(frozen=True)
class Seen:
    """One request as it came in."""

    service: str
    path: str
    query: dict[str, str]
    headers: dict[str, str]


@cache
def truth(day: date) -> tuple[float, float, float, float]:
    """Minimum, maximum, mean [degC] and rain [mm] of a day at the site."""
    turn = 2 * math.pi * (day.timetuple().tm_yday - 105) / 365.25
    mean = round(12 + 12 * math.sin(turn) + 0.1 * (day.toordinal() * 37 % 11 - 5), 1)
    rain = 0.0 if day.toordinal() % 3 else 2.4 + day.toordinal() % 4
    return mean - 5.0, mean + 5.0, mean, rain


def air(local: datetime) -> float:
    """Temperature of a moment in local time [degC]: least at 3 h, greatest at 15 h."""
    hour = local.hour + local.minute / 60
    return truth(local.date())[2] - 5.0 * math.cos(2 * math.pi * (hour - 3) / 24)


class Provider:
    """The server, its weather, what it is asked, and how it fails.

    Parameters
    ----------
    now : datetime, optional
        Aware moment that its data are of; this very moment by default.
    place : Place, optional
        Where its weather is; in Ohio by default.
    tls : bool
        Speak https, with a certificate that nobody trusts.
    """

    def __init__(
        self, now: datetime | None = None, place: Place | None = None, *, tls: bool = False
    ) -> None:
        self.place = place or OHIO
        self.now = (now or datetime.now(UTC)).astimezone(UTC)
        self.seen: list[Seen] = []
        self._scenario = dict.fromkeys(SERVICES, "ok")
        self._odd: dict[str, Callable[[bytes], Iterable[bytes]]] = {}
        self._lock = threading.Lock()
        self.stopped = threading.Event()
        handler = _handler(self)
        # A port for each service, as each has its own host: one that fails costs no other.
        self._servers = {n: ThreadingHTTPServer(("127.0.0.1", 0), handler) for n in VARIABLES}
        if tls:
            context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
            trustme.CA().issue_cert("127.0.0.1").configure_cert(context)
            for server in self._servers.values():
                server.socket = context.wrap_socket(server.socket, server_side=True)
        scheme = "https" if tls else "http"
        self.bases = {
            name: f"{scheme}://127.0.0.1:{server.server_address[1]}/{name}"
            for name, server in self._servers.items()
        }

    @classmethod
    def at_dawn(cls, place: Place | None = None) -> "Provider":
        """A server whose moment is a quarter past five of the site's day, this computer's day."""
        server = cls(place=place)
        dawn = server.midnight(server.today) + timedelta(hours=5, minutes=15)
        server.now = dawn
        return server

    def __enter__(self) -> "Provider":
        for server in self._servers.values():
            threading.Thread(target=server.serve_forever, args=(0.01,), daemon=True).start()
        return self

    def __exit__(self, *error: object) -> None:
        self.stopped.set()
        for server in self._servers.values():
            server.shutdown()
            server.server_close()

    @property
    def today(self) -> date:
        """The site's day."""
        return self.place.local_day(self.now)

    @property
    def endpoints(self) -> Endpoints:
        """Addresses of the services played."""
        return Endpoints(**self.bases)

    @property
    def limits(self) -> FetchLimits:
        """The least waiting that shows the faults played, and only the time-out that is meant."""
        played = set(self._scenario.values())
        if played & {"slow headers", "trickle"}:
            return replace(PATIENT, total_s=0.4, download_s=0.4)
        return replace(PATIENT, read_s=0.8) if "hang" in played else PATIENT

    def environment(self, **extra: str) -> dict[str, str]:
        """Environment of a subprocess that is to find this server and nothing else."""
        addresses = {VARIABLES[name]: base for name, base in self.bases.items()}
        path = os.pathsep.join(filter(None, [str(HERE / "guard"), os.environ.get("PYTHONPATH")]))
        return {**os.environ, **addresses, "NO_PROXY": "*", "PYTHONPATH": path, **extra}

    def set(self, scenario: str, *services: str) -> None:
        """Let services (all of them, if none is named) play a scenario from now on."""
        for service in services or SERVICES:
            known = {"ok", *FAULTS, *_SPECIAL.get(service, ())}
            if service not in SERVICES or scenario not in known:
                raise ValueError(f"no {scenario!r} for {service!r}: {sorted(known)}")
            self._scenario[service] = scenario

    def answer(self, odd: Callable[[bytes], Iterable[bytes]] | None, *services: str) -> None:
        """Let services send what this makes of the good body, head and all; None: as ever."""
        for service in services or SERVICES:
            self._odd.pop(service, None)
            if odd is not None:
                self._odd[service] = odd

    def odd(self, service: str) -> Callable[[bytes], Iterable[bytes]] | None:
        """What makes the odd answers of a service."""
        return self._odd.get(service)

    def scenario(self, service: str) -> str:
        """What a service plays."""
        return self._scenario[service]

    def count(self, *services: str) -> int:
        """How many requests came in."""
        with self._lock:
            return sum(1 for seen in self.seen if not services or seen.service in services)

    def forget(self) -> None:
        """Begin the log anew."""
        with self._lock:
            self.seen.clear()

    def note(self, seen: Seen) -> None:
        """Add to the log."""
        with self._lock:
            self.seen.append(seen)

    def local(self, moment: datetime) -> datetime:
        """Local standard time of a moment, without zone."""
        return moment.astimezone(self.place.zone).replace(tzinfo=None)

    def midnight(self, day: date) -> datetime:
        """UTC moment at which a local day begins."""
        return datetime(day.year, day.month, day.day, tzinfo=self.place.zone).astimezone(UTC)


# What a service can do beyond the faults of all.
_SPECIAL = {
    "station list": ("other tables",),
    "daily": ("stopped", "model", "only next", "wrong year", "words", "gap", "young"),
    "points": ("moved",),
    "grid": (
        "yesterday",  # begins the day before it is issued
        "half a day",  # begins at noon
        "old",  # issued three days ago
        "from the future",
        "nulls",
        "fahrenheit",
        "kelvin",
        "absurd",  # kelvin that call themselves degC
        "no unit",
        "dry",  # no layer of rain
    ),
    "metno": ("old", "nulls", "kelvin", "deprecated", "no extremes"),
    "openmeteo": ("nulls", "fahrenheit", "kelvin", "no such model"),
}


# ------------------------------------------------------------------ bodies


STATION_TABLES = """
CREATE TABLE stations (id TEXT PRIMARY KEY, country TEXT, region TEXT, latitude REAL,
                       longitude REAL, elevation INTEGER, timezone TEXT);
CREATE TABLE names (station TEXT, language TEXT, name TEXT);
CREATE TABLE identifiers (station TEXT, key TEXT, value TEXT);
CREATE TABLE inventory (station TEXT, provider TEXT, parameter TEXT, start TEXT, end TEXT,
                        completeness REAL);
"""


def station_list(provider: Provider) -> bytes:
    place = provider.place
    base = sqlite3.connect(":memory:")
    base.executescript(STATION_TABLES)
    for station in STATIONS:
        north = place.latitude + station.north_km / 111.195
        row = (station.key, "US", "OH", north, place.longitude, 0, "America/New_York")
        height = (place.elevation_m or 0.0) + station.higher_m
        base.execute(
            "INSERT INTO stations VALUES (?, ?, ?, ?, ?, ?, ?)", (*row[:5], height, row[6])
        )
        base.execute("INSERT INTO names VALUES (?, 'en', ?)", (station.key, station.name))
        end = f"{station.ends}-12-31" if station.ends else str(provider.today - timedelta(days=2))
        for parameter in ("temp", "tmin", "tmax", "prcp"):
            base.execute(
                "INSERT INTO inventory VALUES (?, 'daily', ?, ?, ?, ?)",
                (station.key, parameter, f"{station.starts}-01-01", end, station.completeness),
            )
    base.commit()
    if provider.scenario("station list") == "other tables":
        base.execute("DROP TABLE inventory")
        base.commit()
    return base.serialize()


def daily(provider: Provider, year: int, key: str) -> bytes | None:
    """CSV of a station and year; None where there is none."""
    station = next((s for s in STATIONS if s.key == key), None)
    scenario = provider.scenario("daily")
    last = provider.today - timedelta(days=1)
    if scenario == "stopped" or (scenario == "only next" and key == "NEAR0"):
        last = provider.today - timedelta(days=20)
    if scenario == "model":
        last = provider.today + timedelta(days=4)
    young = scenario == "young" and year < provider.today.year - 2
    if station is None or young or year < station.starts or (station.ends or year) < year:
        return None
    names = ("temp", "tmin", "tmax", "prcp")
    head = ["year", "month", "day"] + [x for name in names for x in (name, f"{name}_source")]
    rows = [",".join(head)]
    day = date(year, 1, 1)
    while day.year == year and day <= last:
        low, high, mean, rain = truth(day)
        shift = station.bias_c - LAPSE * station.higher_m
        word = "ghcnd"
        if scenario == "model" and day >= provider.today - timedelta(days=2):
            word = "isd_lite dwd_mosmix"  # two days back partly, from today on only the model
        values = [f"{v:.1f}" for v in (mean + shift, low + shift, high + shift, rain)]
        if scenario == "words":
            values[0] = "warm"
        gap = scenario == "gap" and day == provider.today - timedelta(days=8)
        if not gap and not (station.completeness < 0.5 and day.toordinal() % 5):
            shown = year + 1 if scenario == "wrong year" else year
            cells = [x for value in values for x in (value, word)]
            rows.append(",".join([str(shown), str(day.month), str(day.day), *cells]))
        day += timedelta(days=1)
    return "\n".join(rows).encode() + b"\n" if len(rows) > 1 else None


def points(provider: Provider) -> dict:
    moved = provider.scenario("points") == "moved"
    grid = {"gridId": "ILN", "gridX": 80 + moved, "gridY": 77}
    address = f"{provider.bases['nws']}/gridpoints/ILN/{grid['gridX']},{grid['gridY']}"
    return {
        "type": "Feature",
        "properties": {**grid, "forecastGridData": address, "timeZone": "America/New_York"},
    }


def _hours(first: datetime, last: datetime, step_h: int = 1) -> Iterator[datetime]:
    while first < last:
        yield first
        first += timedelta(hours=step_h)


def grid(provider: Provider) -> dict:
    scenario = provider.scenario("grid")
    issued = provider.now - timedelta(hours=1)
    first = provider.midnight(provider.today)
    if scenario == "yesterday":
        first -= timedelta(days=1)
    if scenario == "half a day":
        first += timedelta(hours=12)
    if scenario == "old":
        issued -= timedelta(days=3)
        first -= timedelta(days=3)
    if scenario == "from the future":
        issued += timedelta(days=40)
        first += timedelta(days=40)
    last = first + timedelta(days=7, hours=13)
    unit, scale, offset = "wmoUnit:degC", 1.0, 0.0
    if scenario == "fahrenheit":
        unit, scale, offset = "wmoUnit:degF", 1.8, 32.0
    if scenario == "kelvin":
        unit, offset = "wmoUnit:K", 273.15
    if scenario == "absurd":
        offset = 273.15  # kelvin that call themselves degC
    warmth: list[dict] = []
    for hour in _hours(first, last):
        value: float | None = round(air(provider.local(hour)) * scale + offset, 6)
        if scenario == "nulls" and provider.local(hour).date() == provider.today + timedelta(
            days=2
        ):
            value = None
        warmth.append({"validTime": f"{hour.isoformat()}/PT1H", "value": value})
    rain = []
    for start in _hours(first, last, 6):
        value = truth(provider.local(start).date())[3] / 4
        if scenario == "nulls" and provider.local(start).date() == provider.today + timedelta(
            days=1
        ):
            value = None
        rain.append({"validTime": f"{start.isoformat()}/PT6H", "value": value})
    properties = {
        "updateTime": issued.isoformat(timespec="seconds"),
        "validTimes": f"{first.isoformat()}/P7DT13H",
        "gridId": "ILN",
        "temperature": {"uom": unit, "values": warmth},
        "quantitativePrecipitation": {"uom": "wmoUnit:mm", "values": rain},
    }
    if scenario == "no unit":
        del properties["temperature"]["uom"]
    if scenario == "dry":
        del properties["quantitativePrecipitation"]
    return {"type": "Feature", "properties": properties}


def metno(provider: Provider) -> dict:
    scenario = provider.scenario("metno")
    now = provider.now - timedelta(days=3 if scenario == "old" else 0)
    first = now.replace(minute=0, second=0, microsecond=0)
    turn = first + timedelta(hours=60)
    turn += timedelta(hours=-turn.hour % 6)
    times = [*_hours(first, turn), *_hours(turn, turn + timedelta(days=6, hours=6), 6)]
    shift = 273.15 if scenario == "kelvin" else 0.0
    series = []
    for n, time in enumerate(times):
        value = None if scenario == "nulls" else round(air(provider.local(time)) + shift, 6)
        data: dict = {"instant": {"details": {"air_temperature": value, "wind_speed": 2.0}}}
        following = [time + timedelta(hours=h) for h in range(6)]
        fallen = [truth(provider.local(h).date())[3] / 24 for h in following]
        warmth = [air(provider.local(h)) + shift for h in [*following, time + timedelta(hours=6)]]
        if n + 1 < len(times):
            six = {"precipitation_amount": sum(fallen)}
            if scenario != "no extremes":
                six |= {"air_temperature_max": max(warmth), "air_temperature_min": min(warmth)}
            data["next_6_hours"] = {"summary": {"symbol_code": "cloudy"}, "details": six}
            if times[n + 1] - time == timedelta(hours=1):
                data["next_1_hours"] = {"details": {"precipitation_amount": fallen[0]}}
        series.append({"time": f"{time:%Y-%m-%dT%H:%M:%SZ}", "data": data})
    kind = "kelvin" if scenario == "kelvin" else "celsius"
    units = dict.fromkeys(("air_temperature", "air_temperature_max", "air_temperature_min"), kind)
    units |= {"precipitation_amount": "mm", "wind_speed": "m/s"}
    issued = f"{now - timedelta(hours=1):%Y-%m-%dT%H:%M:%SZ}"
    meta = {"updated_at": issued, "units": units}
    return {"type": "Feature", "properties": {"meta": meta, "timeseries": series}}


def openmeteo(provider: Provider, query: dict[str, str]) -> dict:
    scenario = provider.scenario("openmeteo")
    start = provider.now.replace(hour=0, minute=0, second=0, microsecond=0)
    first = start - timedelta(days=int(query.get("past_days", "0")))
    times = [*_hours(first, start + timedelta(days=int(query.get("forecast_days", "7"))))]
    unit, scale, offset = "°C", 1.0, 0.0
    if scenario == "fahrenheit":
        unit, scale, offset = "°F", 1.8, 32.0
    if scenario == "kelvin":
        unit, offset = "K", 273.15
    warmth = [round(air(provider.local(t)) * scale + offset, 6) for t in times]
    before = [provider.local(t - timedelta(hours=1)).date() for t in times]
    return {
        "latitude": 40.01,
        "longitude": -83.02,
        "elevation": 248.0,
        "utc_offset_seconds": 0,
        "hourly_units": {"time": "iso8601", "temperature_2m": unit, "precipitation": "mm"},
        "hourly": {
            "time": [f"{t:%Y-%m-%dT%H:%M}" for t in times],
            "temperature_2m": [None] * len(times) if scenario == "nulls" else warmth,
            "precipitation": [truth(day)[3] / 24 for day in before],
        },
    }


@cache
def _bomb() -> bytes:
    return gzip.compress(b" " * 20_000_000, 1)


def good_body(provider: Provider, seen: Seen) -> bytes:
    """What a service would send, bare."""
    if seen.service == "station list":
        return station_list(provider)
    if seen.service == "daily":
        _, year, key = seen.path.removesuffix(".csv.gz").rsplit("/", 2)
        return gzip.compress(daily(provider, int(year), key) or b"", mtime=0)
    makers = {"points": points, "grid": grid, "metno": metno}
    if seen.service in makers:
        return json.dumps(makers[seen.service](provider)).encode()
    return json.dumps(openmeteo(provider, seen.query)).encode()


# ------------------------------------------------------------------ talking


def _handler(provider: Provider) -> type[BaseHTTPRequestHandler]:
    class Handler(_Handler):
        pass

    Handler.provider = provider
    return Handler


class _Handler(BaseHTTPRequestHandler):
    provider: Provider
    protocol_version = "HTTP/1.1"

    def log_message(self, *args: object) -> None:
        """Keep the tests' output clean."""

    def do_GET(self) -> None:
        parts = urlsplit(self.path)
        query = dict(parse_qsl(parts.query))
        service = _service(parts.path)
        seen = Seen(service, parts.path, query, dict(self.headers))
        self.provider.note(seen)
        self.close_connection = True
        try:
            odd = self.provider.odd(service)
            if not service:
                self._send(404, b"{}")
            elif odd is not None:
                for part in odd(good_body(self.provider, seen)):
                    self.wfile.write(part)
            elif not self._fail(self.provider.scenario(service)):
                self._serve(seen)
        except (BrokenPipeError, ConnectionResetError, ssl.SSLError):
            pass

    def _serve(self, seen: Seen) -> None:
        provider, service = self.provider, seen.service
        if service == "station list":
            self._send(200, station_list(provider), "application/octet-stream")
        elif service == "daily":
            _, year, key = seen.path.removesuffix(".csv.gz").rsplit("/", 2)
            text = daily(provider, int(year), key)
            if text is None:
                self._send(404, b"<html>Not Found</html>", "text/html")
            else:
                self._send(200, gzip.compress(text, mtime=0), "application/gzip")
        elif service == "points":
            self._json(points(provider), {"Cache-Control": "public, max-age=60"})
        elif service == "grid":
            cell = points(provider)["properties"]
            if seen.path.endswith(f"/{cell['gridX']},{cell['gridY']}"):
                vary = "Accept,Feature-Flags,Accept-Language"
                self._json(grid(provider), {"Cache-Control": "public, max-age=60", "Vary": vary})
            else:
                self._json({"title": "Not Found", "status": 404}, status=404)
        elif service == "metno":
            changed = format_datetime(provider.now - timedelta(hours=1), usegmt=True)
            expires = format_datetime(datetime.now(UTC) + timedelta(minutes=30), usegmt=True)
            headers = {"Last-Modified": changed, "Expires": expires}
            if self.headers.get("If-Modified-Since") == changed:
                self._send(304, b"", headers=headers)
            else:
                status = 203 if provider.scenario("metno") == "deprecated" else 200
                self._json(metno(provider), headers, status)
        elif provider.scenario("openmeteo") == "no such model":
            self._json({"error": True, "reason": "Cannot initialize model"}, status=400)
        else:
            self._json(openmeteo(provider, seen.query))

    def _json(self, data: dict, headers: dict[str, str] | None = None, status: int = 200) -> None:
        body = json.dumps(data).encode()
        if "gzip" in self.headers.get("Accept-Encoding", ""):
            body = gzip.compress(body, 1)
            headers = {**(headers or {}), "Content-Encoding": "gzip"}
        self._send(status, body, "application/json", headers)

    def _send(
        self,
        status: int,
        body: bytes,
        kind: str = "application/json",
        headers: dict[str, str] | None = None,
        length: int | None = None,
    ) -> None:
        self.send_response(status)
        self.send_header("Content-Type", kind)
        self.send_header("Content-Length", str(len(body) if length is None else length))
        self.send_header("Connection", "close")
        for name, value in (headers or {}).items():
            self.send_header(name, value)
        self.end_headers()
        self.wfile.write(body)

    def _drip(self, byte: bytes) -> None:
        while not self.provider.stopped.wait(0.02):
            self.wfile.write(byte)
            self.wfile.flush()

    def _fail(self, scenario: str) -> bool:
        """Play a fault; False when the scenario is none."""
        problem = {
            "404": {"title": "Data Unavailable For Requested Point", "status": 404},
            "429": {"title": "Too Many Requests", "status": 429},
            "500": {"title": "Unexpected Problem", "status": 500},
            "503": {"title": "Forecast Grid Expired", "status": 503},
        }
        plays: dict[str, Callable[[], object]] = {
            "hang": self.provider.stopped.wait,
            "drop": lambda: None,
            "cut": lambda: self._send(200, b'{"properties": {', length=50_000),
            "html": lambda: self._send(200, SIGN_IN, "text/html"),
            "nonsense": lambda: self._send(200, b"\x00\x01\x02" * 50),
            "other json": lambda: self._send(200, b'{"hello": "world"}'),
            "empty": lambda: self._send(200, b""),
            "to plain http": lambda: self._send(302, b"", headers={"Location": "http://a.test/"}),
            "round in circles": lambda: self._send(302, b"", headers={"Location": self.path}),
        }
        if scenario in problem:
            headers = {"Retry-After": "3600"} if scenario in ("429", "503") else None
            self._json(problem[scenario], headers, int(scenario))
        elif scenario in plays:
            plays[scenario]()
        elif scenario == "slow headers":
            self.wfile.write(b"HTTP/1.1 200 OK\r\nX-Slow: ")
            self._drip(b"z")
        elif scenario == "trickle":
            self._send(200, b"", length=50_000)
            self._drip(b" ")
        elif scenario == "huge":
            self._send(200, b"", length=50_000_000)
            for _ in range(50):
                self.wfile.write(b" " * 1_000_000)
        elif scenario == "bomb":
            self._send(200, _bomb(), headers={"Content-Encoding": "gzip"})
        else:
            return False
        return True


def _service(path: str) -> str:
    patterns = {
        r"/meteostat/stations\.db": "station list",
        r"/meteostat/daily/\d{4}/\w+\.csv\.gz": "daily",
        r"/nws/points/-?[\d.]+,-?[\d.]+": "points",
        r"/nws/gridpoints/[A-Z]{3}/\d+,\d+": "grid",
        r"/metno/locationforecast/2\.0/complete": "metno",
        r"/openmeteo/v1/forecast": "openmeteo",
    }
    return next((name for pattern, name in patterns.items() if re.fullmatch(pattern, path)), "")
