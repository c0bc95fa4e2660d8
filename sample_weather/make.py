"""Make the sample course's invented weather, logs and records, the same bytes every time.

Everything here is invented: no station, course or logger stands behind it. Soil temperature
comes from an hourly conduction column driven by the invented air, so that the daily model of
the package meets it as it would meet a real root zone. Faults are put in on purpose; they are
listed in README.md beside the files. Run ``python sample_weather/make.py`` to write them again.
"""

import math
from collections.abc import Callable, Iterator
from datetime import date, datetime, timedelta
from pathlib import Path
from random import Random

HERE = Path(__file__).parent
FIRST_DAY = date(2014, 1, 1)
FIRST_LOGGED = date(2024, 5, 18)
LAST_DAY = date(2026, 5, 17)
FORECAST_DAYS = 7

STEP_S = 1200.0  # below dz^2 / (2 k) = 1786 s at k = 7e-7 m2/s, where explicit conduction is stable
DZ_M = 0.05
LAYERS = 40


def gauss(rng: Random) -> float:
    """Draw a standard normal number from ``random()`` alone, whose stream never changes."""
    return math.sqrt(-2.0 * math.log(1.0 - rng.random())) * math.cos(2.0 * math.pi * rng.random())


def days_from(first: date, last: date) -> Iterator[date]:
    """Yield every day from the first to the last."""
    for n in range((last - first).days + 1):
        yield first + timedelta(days=n)


def make_air(rng: Random) -> dict[date, tuple[float, float, float]]:
    """Invent the day's least and greatest air temperature [degC] and rain [mm]."""
    weather: dict[date, tuple[float, float, float]] = {}
    slow = fast = 0.0
    wet = False
    for day in days_from(FIRST_DAY, LAST_DAY + timedelta(days=FORECAST_DAYS)):
        doy = day.timetuple().tm_yday
        season = -math.cos(2.0 * math.pi * (doy - 20) / 365.25)
        slow = 0.985 * slow + 0.14 * gauss(rng)
        fast = 0.72 * fast + (3.0 - 1.1 * season) * 0.69 * gauss(rng)
        wet = rng.random() < (0.52 if wet else 0.24)
        rain = round(-9.0 * math.log(1.0 - rng.random()), 1) if wet else 0.0
        mean = 12.4 + 12.3 * season + slow + fast - (0.8 if wet else 0.0)
        half = max(1.5, 5.6 + 0.9 * season + 1.3 * gauss(rng) - (2.2 if wet else 0.0))
        weather[day] = (round(mean - half, 1), round(mean + half, 1), rain)
    return weather


def hourly_air(weather: dict[date, tuple[float, float, float]], day: date, hour: float) -> float:
    """Air temperature through the day [degC]: least at 06 h, greatest at 15 h."""
    low, high, _ = weather[day]
    if 6.0 <= hour < 15.0:
        return (low + high) / 2 - (high - low) / 2 * math.cos(math.pi * (hour - 6.0) / 9.0)
    if hour < 6.0:
        before = weather.get(day - timedelta(days=1), weather[day])[1]
        return low + (before - low) * 0.5 * (1.0 + math.cos(math.pi * (hour + 9.0) / 15.0))
    after = weather.get(day + timedelta(days=1), weather[day])[0]
    return after + (high - after) * 0.5 * (1.0 + math.cos(math.pi * (hour - 15.0) / 15.0))


def make_soil(
    weather: dict[date, tuple[float, float, float]], diffusivity: float, warmth: float
) -> dict[datetime, tuple[float, float]]:
    """Conduct invented surface heat down a column; hourly soil at 5 and 10 cm [degC]."""
    column = [12.0] * LAYERS
    ratio = diffusivity * STEP_S / DZ_M**2
    out: dict[datetime, tuple[float, float]] = {}
    surface = 12.0
    for day in days_from(FIRST_LOGGED - timedelta(days=400), LAST_DAY):
        doy = day.timetuple().tm_yday
        sun = 0.5 - 0.5 * math.cos(2.0 * math.pi * (doy + 10) / 365.25)
        rain = weather[day][2]
        for hour in range(24):
            noon = max(0.0, math.sin(math.pi * (hour - 5.5) / 14.0)) if 5.5 < hour < 19.5 else 0.0
            gain = warmth * (0.6 + sun) + (1.0 if rain else 3.4) * sun * (noon - 0.4)
            target = hourly_air(weather, day, float(hour)) + gain
            for _ in range(3):
                surface += 0.12 * (target - surface)  # canopy and thatch hold the surface back
                top = column[0] + ratio * (2.0 * (surface - column[0]) + column[1] - column[0])
                inner = [
                    column[i] + ratio * (column[i - 1] - 2.0 * column[i] + column[i + 1])
                    for i in range(1, LAYERS - 1)
                ]
                column = [top, *inner, inner[-1]]
            # cell centres lie at 2.5 and 7.5 cm, then 12.5 cm
            five = (column[0] + column[1]) / 2
            ten = (column[1] + column[2]) / 2
            out[datetime(day.year, day.month, day.day, hour)] = (five, ten)
    return out


def write(name: str, lines: list[str], encoding: str = "utf-8", newline: str = "\n") -> None:
    """Write a text file whose bytes do not depend on the machine."""
    (HERE / name).write_bytes((newline.join(lines) + newline).encode(encoding))


def within(first: str, last: str) -> Callable[[datetime], bool]:
    """Return a test of whether a time lies from the first hour to the last."""
    start, end = datetime.fromisoformat(first), datetime.fromisoformat(last)
    return lambda when: start <= when <= end


def write_greens(
    soil: dict[datetime, tuple[float, float]], weather: dict[date, tuple[float, float, float]]
) -> None:
    """Greens: degF, 12-hour clock, month first, two probes, faults as listed in README.md."""
    rng = Random(71)
    flat_battery = within("2025-02-03T05:00", "2025-02-11T16:00")
    lifted = within("2025-09-09T07:00", "2025-09-11T17:00")
    stuck = within("2025-06-20T10:00", "2025-06-22T09:00")
    rows: list[str] = []
    for when, (five, ten) in sorted(soil.items()):
        if when.date() < FIRST_LOGGED or flat_battery(when):
            continue
        two, four = five + 0.08 * gauss(rng), ten + 0.05 * gauss(rng)
        if lifted(when):
            two = hourly_air(weather, when.date(), when.hour) + 0.3 * gauss(rng)
        if stuck(when):
            four = 21.46
        cells = [f"{value * 1.8 + 32.0:.2f}" for value in (two, four)]
        if when == datetime(2024, 8, 14, 15):
            cells[0] = "212.00"
        if when == datetime(2026, 3, 2, 4):
            cells[1] = "-321.70"
        if when == datetime(2026, 4, 12, 9):
            cells[0] = "ERR"
        volts = f"{3.62 - 0.15 * ((when - datetime(2024, 5, 18)).days % 263) / 263:.2f}"
        rows.append(f"{when:%m/%d/%Y %I:%M:%S %p},{cells[0]},{cells[1]},{volts}")
        if within("2025-11-30T00:00", "2025-11-30T05:00")(when):
            rows.append(rows[-1])  # the end of one download is the start of the next
    title = [
        "Sample course (invented data)",
        "Soil string, green 7",
        '"Date Time, GMT-05:00","Soil temp 2 in, °F","Soil temp 4 in, °F","Battery, V"',
    ]
    write("greens_probes.csv", [*title, *rows], newline="\r\n")


def write_fairways(soil: dict[datetime, tuple[float, float]]) -> None:
    """Fairways: degC, decimal comma, one probe; logging began a year later and ends early."""
    rng = Random(72)
    rows = []
    for when, (five, _) in sorted(soil.items()):
        if not datetime(2025, 4, 1) <= when < datetime(2026, 5, 12, 8):
            continue
        value = five + 0.06 * gauss(rng)
        if when == datetime(2025, 8, 3, 13):
            value += 14.0
        rows.append(f"{when:%Y-%m-%d;%H:%M};{value:.2f}".replace(".", ","))
    write("fairways_probe.csv", ["Datum;Zeit;Boden 5 cm (°C)", *rows], encoding="latin-1")


def write_weather(weather: dict[date, tuple[float, float, float]]) -> None:
    """Daily air and rain of the course's own station, and an invented forecast."""
    header = "date,air_min_c,air_max_c,rain_mm"
    gap = {date(2025, 7, 4), date(2025, 7, 5)}
    past = [
        f"{day},{low:.1f},{high:.1f},{rain:.1f}"
        for day, (low, high, rain) in weather.items()
        if day <= LAST_DAY and day not in gap
    ]
    write("weather.csv", [header, *past])
    rng = Random(73)
    ahead = []
    for lead, (day, (low, high, rain)) in enumerate(
        (item for item in weather.items() if item[0] > LAST_DAY), 1
    ):
        off = 0.6 * lead * 0.5 * gauss(rng)
        ahead.append(f"{day},{low + off:.1f},{high + off:.1f},{rain:.1f}")
    write("forecast.csv", [header, *ahead])


def write_records() -> None:
    """Invented applications and observations; the products are those of shelf.toml."""
    write(
        "applications.csv",
        [
            "date,area,product,codes,actives,for,water,unit,rate,note",
            "2025-10-06,Fairways,Shelf B,3,tebuconazole,spring-dead-spot,0.25,in,"
            "1 fl oz/1000 ft2,invented",
            "2026-03-30,Greens,Shelf C,21,cyazofamid,pythium-root-dysfunction,0.25,in,"
            "1 fl oz/1000 ft2,invented",
            "2026-04-27,Greens,Shelf D,3 + 11,pyraclostrobin + triticonazole,"
            "pythium-root-dysfunction + fairy-ring,0.25,in,1 fl oz/1000 ft2,invented",
            "2026-05-11,Lawns,Shelf A,11,azoxystrobin,summer-patch,0.2,in,1 oz/1000 ft2,invented",
        ],
    )
    write(
        "observations.csv",
        [
            "date,area,disease,seen,share,note",
            "2026-04-20,Fairways,spring-dead-spot,yes,2%,invented",
            "2026-05-15,Greens,pythium-root-dysfunction,no,,invented",
        ],
    )


def main() -> None:
    """Write every file."""
    weather = make_air(Random(70))
    write_weather(weather)
    write_greens(make_soil(weather, diffusivity=7.0e-7, warmth=1.0), weather)
    write_fairways(make_soil(weather, diffusivity=5.0e-7, warmth=0.6))
    write_records()


if __name__ == "__main__":
    main()
