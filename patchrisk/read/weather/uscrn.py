"""Daily files of the US Climate Reference Network: air, rain, sun and soil of one station a file.

Format: NOAA National Centers for Environmental Information, readme of the product daily01:
28 columns parted by blanks, one row for each local standard day, no header. Cite Diamond et al.
2013, doi:10.1175/BAMS-D-12-00170.1; for the soil probes Bell et al. 2013,
doi:10.1175/JHM-D-12-0146.1.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from patchrisk.base.errors import Fault, InputError
from patchrisk.read.tables.file_text import read_text

DEPTHS_CM = (5, 10, 20, 50, 100)

# Of the 28 columns those that are read, by their place counted from 0.
_READ = {
    6: "air_min_c",  # T_DAILY_MIN
    5: "air_max_c",  # T_DAILY_MAX
    8: "air_mean_c",  # T_DAILY_AVG, the mean of the day; T_DAILY_MEAN is (max + min) / 2
    9: "rain_mm",  # P_DAILY_CALC
    10: "solar_mj_m2",  # SOLARAD_DAILY
} | {23 + n: f"soil_{depth}cm_c" for n, depth in enumerate(DEPTHS_CM)}
_COLUMNS = 28
_STATION, _DATE, _LONGITUDE, _LATITUDE, _KIND = 0, 1, 3, 4, 11
_MISSING = (-9999.0, -99.0)
_NAME = "CRND0103-*.txt"


@dataclass(frozen=True)
class UscrnStation:
    """One station with its days.

    ``number``: WBAN number. ``latitude``, ``longitude``: north and east positive [degrees].
    ``daily``: air_min_c, air_max_c, air_mean_c [degC], rain_mm [mm], solar_mj_m2 [MJ/m2] and
    soil_5cm_c to soil_100cm_c [degC] by local standard day; NaN where missing.
    """

    number: str
    latitude: float
    longitude: float
    daily: pd.DataFrame


def read_stations(paths: Path | Iterable[Path]) -> tuple[UscrnStation, ...]:
    """Read daily files, of one or more stations and years.

    ``paths``: files, or folders whose ``CRND0103-*.txt`` are read. Returns by number, each with the
    days of all its files in order. InputError with every fault of every file: not in the format, no
    numbers, a day twice with different values.
    """
    files = _files([paths] if isinstance(paths, Path) else list(paths))
    faults: list[Fault] = []
    tables = []
    for file in files:
        try:
            tables.append(_read(file))
        except InputError as error:
            faults += error.faults
    if faults:
        raise InputError(faults)
    rows = pd.concat(tables, ignore_index=True)
    twice = rows.drop_duplicates(subset=[c for c in rows.columns if c not in ("file", "line")])
    twice = twice[twice.duplicated(subset=["station", "date"], keep="first")]
    if len(twice):
        again = twice.iloc[0]
        found = f"{again['date']:%Y-%m-%d} again, with other values"
        place = f"line {again['line']}"
        raise InputError(Fault(again["file"], place, found, "keep one file for each year"))
    return tuple(_station(number, days) for number, days in rows.groupby("station", sort=True))


def _files(paths: Sequence[Path]) -> list[Path]:
    files: list[Path] = []
    for path in paths:
        if path.is_dir():
            found = sorted(path.glob(_NAME))
            if not found:
                fault = Fault(str(path), "", f"no file {_NAME} in this folder", "name the files")
                raise InputError(fault)
            files += found
        else:
            files.append(path)
    if not files:
        raise InputError(Fault("files", "", "none named", "name files or a folder"))
    return files


def _read(path: Path) -> pd.DataFrame:
    source = str(path)
    lines = read_text(path, "utf-8").text.split("\n")
    numbered = [(n, line.split()) for n, line in enumerate(lines, 1) if line.strip()]
    wrong = [(n, len(row)) for n, row in numbered if len(row) != _COLUMNS]
    if wrong:  # told once: a file of another format has this fault on every line
        n, width = wrong[0]
        cure = "name a daily01 file as NOAA publishes it"
        found = f"{width} columns in place of {_COLUMNS}"
        raise InputError(Fault(source, f"line {n}", found, cure))
    faults = []
    cells = pd.DataFrame([row for _, row in numbered], index=[n for n, _ in numbered])
    days = pd.to_datetime(cells[_DATE], format="%Y%m%d", errors="coerce")
    values = cells.drop(columns=[_DATE, _KIND]).apply(pd.to_numeric, errors="coerce")
    for n in cells.index[days.isna()][:1]:
        found = f"{cells.loc[n, _DATE]!r} is no day"
        faults.append(Fault(source, f"line {n}", found, "write YYYYMMDD"))
    for column in values.columns[values.isna().any()]:
        n = values.index[values[column].isna()][0]
        found = f"{cells.loc[n, column]!r} in place of a number"
        faults.append(Fault(source, f"line {n}, column {column + 1}", found, "download it again"))
    if faults:
        raise InputError(faults)
    values = values.mask(values.isin(_MISSING))
    out: pd.DataFrame = values[list(_READ)].rename(columns=_READ)
    out.insert(0, "station", cells[_STATION])
    out.insert(1, "date", days)
    out["latitude"], out["longitude"] = values[_LATITUDE], values[_LONGITUDE]
    out["file"], out["line"] = source, out.index
    return out


def _station(number: object, days: pd.DataFrame) -> UscrnStation:
    # Coordinates may be given with more digits in later years.
    last = days.sort_values("date").iloc[-1]
    daily = days.drop_duplicates(subset="date").set_index("date").sort_index()
    daily.index.name = "date"
    latitude, longitude = float(last["latitude"]), float(last["longitude"])
    return UscrnStation(str(number), latitude, longitude, daily[list(_READ.values())])
