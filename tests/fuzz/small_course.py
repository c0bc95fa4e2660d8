"""A small course that keeps one good file of every kind, quick to read."""

import math
from datetime import date, timedelta
from pathlib import Path

from patchrisk.core.soil.calibration import SiteFit
from patchrisk.core.soil.inputs import NAMES
from patchrisk.read.soil import fit_text

FIRST, DAYS = date(2025, 4, 1), 40
LAST = FIRST + timedelta(days=DAYS - 1)

SITE = """\
forecast_file = "forecast.csv"
diseases_folder = "own"
shelf_file = "shelf.toml"
applications_file = "applications.csv"
observations_file = "observations.csv"

[site]
name = "Bad Input Field"
latitude = 40.0
longitude = -83.0
elevation = "250 m"
utc_offset = "-05:00"

[[area]]
name = "Greens"
turf = "creeping bentgrass"
use = "green"
root_zone = "sand green"
history = ["summer-patch"]
resistant = { "summer-patch" = ["11"] }
size = "0.4 ha"

[[logger]]
file = "log.csv"
areas = ["Greens"]
columns = { "Soil temp 5 cm (°C)" = "5 cm" }

[[weather]]
file = "weather.csv"
unit = "degC"

[programme]
most_applications = 5
no_spray = ["2026-06-13", "2026-07-01/2026-07-04", "weekends"]

[online]
use = false
"""
SHELF = """\
[[product]]
name = "Shelf A"
actives = ["azoxystrobin"]
rate = { value = 1.0, unit = "oz/1000 ft2" }
content = { azoxystrobin = { value = 10.0, unit = "%" } }
least_interval_days = 21
most_applications_year = 5
sites = ["green"]
note = "invented"
"""
APPLICATIONS = """\
date,area,product,codes,actives,for,water,unit,rate,note
2025-04-02,Greens,Shelf A,11,azoxystrobin,summer-patch,6,mm,1 oz/1000 ft2,invented
2025-04-20,Greens,,3,,,,,,
2025-05-01,Greens,Shelf A,,,,,,,"with, a comma"
"""
OBSERVATIONS = """\
date,area,disease,seen,share,note
2025-04-05,Greens,summer-patch,yes,5%,invented
2025-04-25,Greens,summer-patch,no,,
"""
SEEN = """\
place,disease,first_seen,looked,incidence
upland,summer patch,2015-07-10,,
valley,summer patch,,2016-07-20,not found
"""
KEPT = """\
{"schema": "patchrisk-page/1", "pages": [{"as_of": "2025-05-09", "areas":
 {"Greens": {"summer-patch": {"state": "open", "level": "due", "opens": "2025-05-20"}}}}]}
"""


def _soil(hour: int) -> float:
    return 12 + hour / 240 + math.sin((hour % 24 - 9) / 24 * 2 * math.pi)


def log() -> str:
    """Hours of one probe."""
    rows = [
        f"{FIRST + timedelta(days=n // 24)} {n % 24:02d}:00,{_soil(n):.2f},{n}\n"
        for n in range(DAYS * 24)
    ]
    return "Time,Soil temp 5 cm (°C),Battery (V)\n" + "".join(rows)


def weather(first: date = FIRST, days: int = DAYS) -> str:
    """Days of air temperature and rain."""
    rows = [
        f"{first + timedelta(days=n)},{6 + n % 7}.5,{17 + n % 9}.0,{n % 4}.2\n" for n in range(days)
    ]
    return "date,tmin (°C),tmax (°C),rain (mm)\n" + "".join(rows)


def table() -> str:
    """Two sites of a backtest."""
    rows = [
        f"{site},{latitude},-85.0,{date(2015, 1, 1) + timedelta(days=n)},{6 + n % 7}.5,"
        f"{17 + n % 9}.0,{12 + n % 5}.0\n"
        for site, latitude in (("upland", 44.0), ("valley", 38.5))
        for n in range(400)
    ]
    return "site,lat,lon,date,air_min_c,air_max_c,soil_5cm_c\n" + "".join(rows)


def fit() -> str:
    """What a log taught."""
    fit = SiteFit(
        "air", 5.0, "2025-05-01", "2024-05-01", "2025-05-01", 300, 2.0, 1.0, 0.5, 0.1, -0.2,
        {NAMES[0]: 1.0},
    )  # fmt: skip
    return fit_text(fit)


def disease(shipped: Path) -> str:
    """A disease file of the user's own."""
    return (shipped / "diseases" / "summer-patch.toml").read_text(encoding="utf-8")


def files(shipped: Path) -> dict[str, str]:
    """Every file of the course by its path."""
    return {
        "site.toml": SITE,
        "log.csv": log(),
        "weather.csv": weather(),
        "forecast.csv": weather(LAST + timedelta(days=1), 10),
        "shelf.toml": SHELF,
        "applications.csv": APPLICATIONS,
        "observations.csv": OBSERVATIONS,
        "own/summer-patch.toml": disease(shipped),
        "soil-fit-greens.toml": fit(),
        "table.csv": table(),
        "seen.csv": SEEN,
        "bad-input-field.kept.json": KEPT,
    }


def write(folder: Path, shipped: Path) -> Path:
    """Write the course and return its site file."""
    for name, text in files(shipped).items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
    return folder / "site.toml"
