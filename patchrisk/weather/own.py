"""Daily weather that the user keeps in a file: date, air temperature, rain."""

import re
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path
from typing import Literal

import numpy as np
import pandas as pd

from patchrisk.arrays import FloatArray
from patchrisk.errors import Fault, InputError
from patchrisk.numbers import load_numbers
from patchrisk.site import Weather
from patchrisk.units import QUANTITIES, to_canonical
from patchrisk.weather.clock import read_stamps
from patchrisk.weather.columns import find_unit
from patchrisk.weather.decode import read_text
from patchrisk.weather.layout import LogOptions, TemperatureUnit
from patchrisk.weather.numerals import to_numbers
from patchrisk.weather.table import Table, read_table

_QUANTITY = {
    "air_min_c": "air temperature",
    "air_max_c": "air temperature",
    "rain_mm": "rain",
    "snow_depth_cm": "snow depth",
    "solar_mj_m2": "solar radiation",
}
Hot = Literal["maxima", "means of the soil"]

_NEEDED = ("air_min_c", "air_max_c")
_AHEAD = timedelta(days=16)  # as far as forecasts reach
_YEAR = 360  # days with a figure that make a whole year
# What headers call each column; read in this order, the first that fits takes the header.
_CALLED = {
    "snow_depth_cm": re.compile(r"snow", re.IGNORECASE),
    "rain_mm": re.compile(r"rain|prec|prcp", re.IGNORECASE),
    "solar_mj_m2": re.compile(r"solar|radiation", re.IGNORECASE),
    "air_min_c": re.compile(r"(?<![a-z])(t?min|minimum|low|least)", re.IGNORECASE),
    "air_max_c": re.compile(r"(?<![a-z])(t?max|maximum|high|greatest)", re.IGNORECASE),
}
_UNIT = re.compile(r"(?<![a-z])(mm|cm|inches|inch|in)(?![a-z])", re.IGNORECASE)


def read_daily_weather(
    path: Path, options: Weather | None = None, today: date | None = None
) -> pd.DataFrame:
    """Read a file of daily weather.

    Parameters
    ----------
    path : Path
    options : Weather, optional
        What the site file says of it.
    today : date, optional
        Days further ahead of it than any forecast reaches are refused.

    Returns
    -------
    DataFrame
        Every day from the first to the last: ``air_min_c``, ``air_max_c`` [degC] and whichever
        of ``rain_mm`` [mm], ``snow_depth_cm`` [cm], ``solar_mj_m2`` [MJ/m2] there are; NaN where
        missing.

    Raises
    ------
    InputError
        When columns or units can't be told, a figure can't be true, or a day stands twice with
        different figures; every fault in one go.
    """
    source = str(path)
    options = options or Weather(file=path.name)
    text = read_text(path)
    table = read_table(text.text, text.encoding, source, LogOptions(date_order=options.date_order))
    stamps = read_stamps(
        [table.cells[c] for c in table.time_columns],
        options.date_order,
        table.names[table.time_columns[0]],
        source,
    )
    faults: list[Fault] = []
    columns = _find_columns(table, options, source)
    frame = pd.DataFrame(index=pd.DatetimeIndex(stamps.moments).normalize().rename("date"))
    for name, number in columns.items():
        values, words = to_numbers(table.cells[number], table.decimal)
        for line in table.cells.index[words]:
            cell = str(table.cells.loc[line, number])
            place = f"line {line}, column {table.names[number]!r}"
            faults.append(
                Fault(source, place, repr(cell[:40]), "write a number, or leave it empty")
            )
        frame[name] = _convert(values, name, table.names[number], options, source)
    faults += _undated(frame, table, source)
    dated = frame.index.notna()
    table = replace(table, cells=table.cells[dated], shifted=table.shifted[dated])
    frame = frame[dated]
    faults += _untrue(frame, table, source) or _other_unit(
        frame, source, fahrenheit=_degrees(table.names[columns["air_max_c"]], options) == "degF"
    )
    if today is not None:
        faults += _far_ahead(frame, table, today, source)
    faults += _twice(frame, table, source) + _shifted(table, source)
    if faults:
        raise InputError(faults)
    if frame.empty:
        raise InputError(Fault(source, "", "no day with its date", "write one row a day"))
    daily = frame[~frame.index.duplicated()].sort_index()
    return daily.reindex(pd.date_range(daily.index[0], daily.index[-1], name="date"))


def _find_columns(table: Table, options: Weather, source: str) -> dict[str, int]:
    found: dict[str, int] = {}
    for name, header in options.columns.items():
        if name not in _QUANTITY:
            known = ", ".join(_QUANTITY)
            raise InputError(Fault(source, "columns", f"unknown {name!r}", f"write one of {known}"))
        if header not in table.names:
            there = ", ".join(map(repr, table.names))
            raise InputError(Fault(source, name, f"no column {header!r}", f"write one of {there}"))
        found[name] = table.names.index(header)
    for number, header in enumerate(table.names):
        if number in table.time_columns or number in found.values():
            continue
        plain = header.replace("_", " ")
        called = next((n for n, words in _CALLED.items() if words.search(plain)), None)
        if called is None or "soil" in plain.lower():
            continue
        if called in found and called not in options.columns:
            two = f"two columns for {called}: {table.names[found[called]]!r}, {header!r}"
            cure = f'say which in the site file: columns = {{ {called} = "{header}" }}'
            raise InputError(Fault(source, "header", two, cure))
        found.setdefault(called, number)
    missing = [name for name in _NEEDED if name not in found]
    if missing:
        raise InputError(
            Fault(
                source,
                "header",
                f"no column for {' and '.join(missing)} among {', '.join(map(repr, table.names))}",
                f'name it in the site file: columns = {{ {missing[0]} = "HEADER" }}',
            )
        )
    return found


def _convert(
    values: FloatArray, name: str, header: str, options: Weather, source: str
) -> FloatArray:
    place = f"column {header!r}"
    if name in _NEEDED:
        degrees = _degrees(header, options)
        if degrees is None:
            cure = 'say unit = "degC" or unit = "degF" in the site file'
            raise InputError(Fault(source, place, "no unit", cure))
        return to_canonical("air temperature", values, degrees)
    if name == "solar_mj_m2":
        return values
    told = _UNIT.search(header.replace("_", " "))
    unit = told[1].lower() if told else None
    if name == "rain_mm":
        unit = options.rain_unit or unit
    if unit is None:
        cure = 'write it in the header, such as "rain (mm)"; for rain, or say rain_unit = "mm"'
        raise InputError(Fault(source, place, "no unit", cure))
    return to_canonical(_QUANTITY[name], values, "in" if unit.startswith("in") else unit)


def _untrue(frame: pd.DataFrame, table: Table, source: str) -> list[Fault]:
    """Figures that can't be: out of range, or a minimum above its maximum."""
    faults = []
    for name in frame.columns:
        kind = QUANTITIES[_QUANTITY[name]]
        values = frame[name].to_numpy()
        with np.errstate(invalid="ignore"):
            bad = np.flatnonzero((values < kind.low) | (values > kind.high))
        if bad.size:
            first = table.cells.index[bad[0]]
            hint = "is it in degF? say the unit" if name in _NEEDED else "correct it"
            faults.append(
                Fault(
                    source,
                    f"line {first}",
                    f"{name} of {values[bad[0]]:g} ({bad.size} such)",
                    f"{hint}; {kind.low:g} to {kind.high:g} {kind.canonical} can be true",
                )
            )
    with np.errstate(invalid="ignore"):
        over = np.flatnonzero((frame["air_min_c"] > frame["air_max_c"]).to_numpy())
    if over.size:
        place = f"line {table.cells.index[over[0]]}"
        found = f"the minimum is above the maximum ({over.size} such)"
        faults.append(Fault(source, place, found, "exchange them, or the columns"))
    return faults


def _degrees(header: str, options: Weather) -> TemperatureUnit | None:
    named: dict[str, TemperatureUnit] = {"_c": "degC", "_f": "degF"}
    return options.unit or find_unit(header) or named.get(header[-2:].lower())


def hottest(of: Hot) -> float:
    """Temperature that no place's warmest tenth of days lies above [degC]."""
    return load_numbers("quality")["unit.hot_air" if of == "maxima" else "unit.hot"].value


def too_warm(warm_c: float, of: Hot) -> str:
    """Say that a tenth of the days are over a temperature [degC], and what that looks like."""
    return f"a tenth of the {of} are over {warm_c:.0f} degC: they look like degF"


def _other_unit(frame: pd.DataFrame, source: str, *, fahrenheit: bool) -> list[Fault]:
    """Temperatures that no place has, though each could be true: the other unit is meant."""
    warm = float(frame["air_max_c"].quantile(0.9))
    cold = load_numbers("quality")["unit.cold_air"].value
    if warm > hottest("maxima") and not fahrenheit:
        found, meant = too_warm(warm, "maxima"), "degF"
    elif fahrenheit and warm < cold and frame["air_max_c"].count() >= _YEAR:
        meant = "degC"
        found = f"nine tenths of the maxima are below {warm:.0f} degC: they look like degC"
    else:
        return []
    cure = f'correct the header, or say unit = "{meant}" in the site file'
    return [Fault(source, "temperatures", found, cure)]


def _undated(frame: pd.DataFrame, table: Table, source: str) -> list[Fault]:
    """Rows with figures, but without a day that can be read."""
    lost = np.flatnonzero(frame.index.isna() & frame.notna().any(axis=1).to_numpy())
    if not lost.size:
        return []
    cells = table.cells.iloc[lost[0]]
    shown = " ".join(str(cells[c]) for c in table.time_columns if pd.notna(cells[c]))
    found = f"{shown[:40]!r} is no date ({lost.size} such)"
    place = f"line {table.cells.index[lost[0]]}"
    return [Fault(source, place, found, "write the day as the other rows do")]


def _far_ahead(frame: pd.DataFrame, table: Table, today: date, source: str) -> list[Fault]:
    late = np.flatnonzero(frame.index > pd.Timestamp(today) + _AHEAD)
    if not late.size:
        return []
    found = f"{frame.index[late[0]].date()} is in the future ({late.size} such)"
    return [Fault(source, f"line {table.cells.index[late[0]]}", found, "correct the date")]


def _shifted(table: Table, source: str) -> list[Fault]:
    if not table.shifted.any():
        return []
    place = f"line {table.cells.index[table.shifted][0]}"
    found = f"more cells than the other rows ({table.shifted.sum()} such)"
    cure = "write decimal points, or part the columns by semicolons"
    return [Fault(source, place, found, cure)]


def _twice(frame: pd.DataFrame, table: Table, source: str) -> list[Fault]:
    days = frame.index
    again = days.duplicated(keep=False)
    same = frame.assign(day=days).duplicated(keep=False).to_numpy()
    bad = np.flatnonzero(again & ~same)
    if not bad.size:
        return []
    place = f"line {table.cells.index[bad[-1]]}"
    found = f"{days[bad[-1]].date()} stands twice with different figures"
    return [Fault(source, place, found, "keep one of them; one row a day")]
