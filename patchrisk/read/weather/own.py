"""Daily weather that the user keeps in a file: date, air temperature, rain."""

import re
from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import date, timedelta
from functools import partial
from pathlib import Path
from typing import Literal

import numpy as np
import pandas as pd

from patchrisk.base.errors import MOST_FAULTS, Fault, InputError
from patchrisk.base.toml_files import load_numbers
from patchrisk.base.units import QUANTITIES, BoolArray, FloatArray, Quantity, to_canonical
from patchrisk.read.logger.heading import find_unit, looks_like_kelvin, to_degc
from patchrisk.read.logger.layout import TemperatureUnit
from patchrisk.read.logger.read_log import refuse_long_steps
from patchrisk.read.site import LoggerFile, WeatherFile
from patchrisk.read.tables.cells import to_numbers
from patchrisk.read.tables.delimited import RawTable
from patchrisk.read.tables.raw_table import read_raw_table, read_times
from patchrisk.read.tables.timestamps import Moments
from patchrisk.read.weather.columns import NEEDED, QUANTITY_OF, RAIN, find_columns, find_service

TemperatureKind = Literal["maxima", "means of the soil"]

# What archives in inches write of rain that was not read: ncei.noaa.gov, Global Surface Summary of
# the Day, readme.txt, PRCP.
_NO_RAIN = 99.99
_YEAR = 360  # days with a figure that make a whole year
# As a word inside a heading, in is no inch.
_UNIT = re.compile(
    r"(?<![a-z/])(mm|cm|inches|inch|m|in(?=\.?\s*(?:[\])]|/|$)))"
    r"(?: ?/ ?d(?:ay)?(?![a-z])|(?![a-z/²0-9]))",
    re.IGNORECASE,
)
# Figures in tenths of a unit, as 0.1 mm and tenths of degrees.
_TENTHS = re.compile(
    r"(?<!\d)0[.,]1 ?(?:mm|in|deg|°|[cf]\b)|tenth|(?<![a-z])[x×*] ?10(?!\d)|(?<!\d)1/10(?!\d)",
    re.IGNORECASE,
)


def read_daily_weather(
    path: Path,
    options: WeatherFile | None = None,
    today: date | None = None,
    *,
    partial: bool = False,
) -> tuple[pd.DataFrame, tuple[str, ...]]:
    """Read a file of daily weather, and say what of it was left out.

    ``options``: what the site file says of it; ``today``: days further ahead of it than any
    forecast reaches are refused; ``partial``: take a service's file that holds one quantity alone,
    as its custom is: the others are in files beside it. Returns ``daily``: every day from the first
    to the last, with the headings read in ``attrs["columns"]``, but for a service's own layout:
    ``air_min_c``, ``air_max_c`` [degC], and ``rain_mm`` [mm] if it is there; NaN where missing;
    ``notes``: figures that were left out, with reason and cure.
    InputError when columns or units can't be told, a figure can't be true, or a day stands twice
    with different figures; every fault in one go.
    """
    options = options or WeatherFile(file=path.name)
    layout = LoggerFile(
        file=path.name,
        date_order=options.date_order,
        sheet=options.sheet,
        time=options.time,
    )
    table = read_raw_table(path, layout)
    stamps = read_times(table, layout)
    _refuse_other_steps(table, stamps.written)
    known = find_service(table)
    columns, faults = find_columns(table, options, known, partial=partial)
    notes: list[str] = []
    unitless: dict[str, FloatArray] = {}
    # The day is the one that the cell names, whatever it is called in UTC.
    frame = pd.DataFrame(index=pd.DatetimeIndex(stamps.written).normalize().rename("date"))
    for name, number in columns.items():
        cells, decimal = table.cells[number], table.decimal
        values, words = (
            to_numbers(cells, decimal) if known is None else known.numbers(name, cells, decimal)
        )
        if name == "rain_mm":
            values[values == _NO_RAIN] = np.nan
        if known is not None and name in known.left_out:
            values = np.where(known.left_out[name], np.nan, values)
        heading = f"{table.names[number]} {table.under[number]}".strip()
        if name == RAIN:
            values, said = _without_words(table, number, values, words)
            notes += said
        else:
            faults += _worded(table, number, words)
        scale = None if known is None else known.scale_of(name, number)
        if scale is not None and (options.unit is None or name not in NEEDED):
            frame[name] = to_canonical(QUANTITY_OF[name], values * scale.times, scale.unit)
            continue
        if _TENTHS.search(heading):
            cure = "write whole units, and their name alone in the header"
            faults.append(table.fault(f"column {table.names[number]!r}", "figures in tenths", cure))
        found = _convert(values, name, heading, options)
        if found is not None:
            frame[name] = found
        else:
            unitless[name] = values
    faults += _without_needed_unit(unitless, table, columns)
    faults += _undated(frame, table)
    dated = frame.index.notna()
    table = replace(table, cells=table.cells[dated], shifted=table.shifted[dated])
    frame = frame[dated]
    notes += _leave_out(frame, table)
    fahrenheit = (
        "air_max_c" in columns and _degrees(table.names[columns["air_max_c"]], options) == "degF"
    )
    faults += _untrue(frame, table) or _other_unit(frame, table, fahrenheit=fahrenheit)
    told = options.rain_unit is not None or (known is not None and "rain_mm" in known.scales)
    if "rain_mm" in frame and not told:
        faults += _in_metres(frame["rain_mm"], table, columns["rain_mm"])
    if "rain_mm" in frame and (known is None or known.own):
        faults += _running_total(frame["rain_mm"], table, columns["rain_mm"])
    if today is not None:
        faults += _far_ahead(frame, table, today)
    faults += _twice(frame, table) + _shifted(table)
    if faults:
        raise InputError(faults)
    if frame.empty:
        raise InputError(table.fault("", "no day with its date", "write one row a day"))
    daily = frame.groupby(level=0).first()
    if again := len(frame) - len(daily):
        notes.append(f"days named by more than one row, none against another: {again}")
    whole = pd.date_range(daily.index[0], daily.index[-1], name="date")
    daily = daily.reindex(whole)
    daily.attrs["columns"] = {} if known is not None else _headings(table, columns)
    return daily, tuple(notes)


def _refuse_other_steps(table: RawTable, moments: Moments) -> None:
    """Refuse rows of hours, of months or of several places before their columns are asked for."""
    alike = table.cells.duplicated().to_numpy() | np.isnat(moments)
    days, first, rows = np.unique(
        moments[~alike].astype("datetime64[D]"), return_index=True, return_counts=True
    )
    if len(days) > 1:
        refuse_long_steps(timedelta(days=int(np.median(np.diff(days)).astype(int))), table.source)
    usual = int(np.median(rows)) if len(rows) else 1
    if usual < 2:
        return
    line = table.cells.index[~alike][first[int((rows == usual).argmax())]]
    found = f"{usual} rows for one day, as for most days"
    cure = "export one row a day, of one place, with the day's least and greatest air temperature"
    raise InputError(table.fault(f"line {line}", found, cure))


def _headings(table: RawTable, columns: Mapping[str, int]) -> dict[str, str]:
    """Return the heading that each quantity was read under, its number where it is not alone."""
    return {
        name: header if header and table.names.count(header) == 1 else f"column {number + 1}"
        for name, number in columns.items()
        for header in [table.names[number]]
    }


def _without_words(
    table: RawTable, number: int, values: FloatArray, words: BoolArray
) -> tuple[FloatArray, list[str]]:
    if not words.any():
        return values, []
    line = table.cells.index[words][0]
    first = str(table.cells.loc[line, number])[:40]
    note = (
        f"line {line}, column {table.names[number]!r}: {first!r} in place of a number "
        f"({words.sum()} such) left out"
    )
    return values, [note]


def _leave_out(frame: pd.DataFrame, table: RawTable) -> list[str]:
    """Take out single figures that can't be, and single days whose least is above the greatest.

    More of them are a fault.
    """
    limits = load_numbers("quality")
    notes = []
    for name in map(str, frame):
        share = limits["air.share" if name in NEEDED else "text.share"].value
        least = 0 if name in NEEDED else 1
        kind = QUANTITIES[QUANTITY_OF[name]]
        values = frame[name].to_numpy()
        bad = _out_of_range(values, kind)
        if bad.any() and bad.sum() <= max(least, share * np.isfinite(values).sum()):
            at = int(np.flatnonzero(bad)[0])
            notes.append(
                f"line {table.cells.index[at]}: {name} of {values[at]:g} ({bad.sum()} such) left "
                f"out; {kind.low:g} to {kind.high:g} {kind.canonical} can be true"
            )
            frame[name] = np.where(bad, np.nan, values)
    if set(NEEDED) <= set(frame):
        over = (frame["air_min_c"] > frame["air_max_c"]).to_numpy()
        if over.any() and over.sum() <= limits["air.share"].value * len(frame):
            line = table.cells.index[over][0]
            notes.append(
                f"line {line}: the minimum is above the maximum ({over.sum()} such days): left out"
            )
            frame.loc[over, list(NEEDED)] = np.nan
    return notes


def _in_metres(rain: "pd.Series[float]", table: RawTable, number: int) -> list[Fault]:
    """Ask about rain whose wettest day of half a year is next to nothing."""
    limits = load_numbers("quality")
    if rain.count() < limits["rain.days"].value or not rain.max() > 0:
        return []
    if rain.max() >= limits["rain.wettest"].value:
        return []
    found = f"the most rain of {rain.count()} days is {rain.max():g} mm a day: it looks like metres"
    cure = 'say rain_unit = "m" in the site file, or "mm" where it is true'
    return [table.fault(f"column {table.names[number]!r}", found, cure)]


def _running_total(rain: "pd.Series[float]", table: RawTable, number: int) -> list[Fault]:
    """Refuse rain that hardly ever is less than the day before: a sum since some day."""
    limits = load_numbers("quality")
    days = rain.groupby(level=0).first().asfreq("D").to_numpy()
    day, after = days[:-1], days[1:]
    wet = (day > 0) & ~np.isnan(after)
    falls, rises = (int((wet & other).sum()) for other in (after < day, after > day))
    if wet.sum() < limits["rain.total_days"].value or not rises:
        return []
    if falls > limits["rain.total_falls"].value * wet.sum():
        return []
    found = f"only {falls} of {wet.sum()} wet days come before less rain: these are sums so far"
    cure = "export the rain of each day, or name a column with it"
    return [table.fault(f"column {table.names[number]!r}", found, cure)]


def _worded(table: RawTable, number: int, words: BoolArray) -> list[Fault]:
    lines = table.cells.index[words]
    name = table.names[number]
    faults = [
        table.fault(
            f"line {line}, column {name!r}",
            repr(str(table.cells.loc[line, number])[:40]),
            "write a number, or leave it empty",
        )
        for line in lines[:MOST_FAULTS]
    ]
    if more := len(lines) - len(faults):
        found = f"{more} more words in place of numbers"
        faults.append(table.fault(f"column {name!r}", found, "mend these too"))
    return faults


def _convert(values: FloatArray, name: str, header: str, options: WeatherFile) -> FloatArray | None:
    """Convert a column; None where nothing says its unit."""
    if name in NEEDED:
        degrees = _degrees(header, options)
        if degrees is None and looks_like_kelvin(values, "air temperature"):
            degrees = "K"
        return None if degrees is None else to_degc(values, degrees)
    plain = header.replace("_", " ")
    said = {m[1].lower() for m in _UNIT.finditer(plain)}
    unit = options.rain_unit or (said.pop() if len(said) == 1 else None)
    if unit is None:
        return None
    if unit == "m":
        return to_canonical(QUANTITY_OF[name], values * 100, "cm")
    return to_canonical(QUANTITY_OF[name], values, "in" if unit.startswith("in") else unit)


def _without_needed_unit(
    unitless: Mapping[str, FloatArray], table: RawTable, columns: Mapping[str, int]
) -> list[Fault]:
    """Ask for units: of both temperatures at once, and for the one that the figures allow."""
    cures = {}
    if degrees := [name for name in NEEDED if name in unitless]:
        warm = float(np.nanquantile(unitless[degrees[-1]], 0.9))
        high = QUANTITIES["air temperature"].high
        if to_degc(np.array([warm]), "degF")[0] > high:
            cure = "a tenth of the figures are too high for degrees: write no tenths of them"
        elif degrees[-1] == "air_max_c" and warm > hottest("maxima"):
            cure = 'say unit = "degF" in the site file'
        else:
            cure = 'say unit = "degC" or unit = "degF" in the site file'
        cures[degrees[0]] = cure
    if "rain_mm" in unitless:
        inches = 'rain_unit = "in"'
        either = ['rain_unit = "mm"', inches]
        wet = np.nanmax(unitless["rain_mm"], initial=0.0)
        if to_canonical("rain", np.array([wet]), "in")[0] > QUANTITIES["rain"].high:
            either.remove(inches)
        elif any("degF" in cure and "degC" not in cure for cure in cures.values()):
            either.reverse()
        cures["rain_mm"] = f"say {' or '.join(either)} in the site file, or write it in the header"
    return [
        table.fault(f"column {table.names[columns[name]]!r}", "no unit", cure)
        for name, cure in cures.items()
    ]


def _untrue(frame: pd.DataFrame, table: RawTable) -> list[Fault]:
    """Figures that can't be: out of range, or a minimum above its maximum."""
    faults: list[Fault] = []
    for name in frame.columns:
        kind = QUANTITIES[QUANTITY_OF[name]]
        values = frame[name].to_numpy()
        hint = "is it in degF? say the unit" if name in NEEDED else "correct it"
        cure = f"{hint}; {kind.low:g} to {kind.high:g} {kind.canonical} can be true"
        bad = _out_of_range(values, kind)
        faults += _fault(table, bad, partial(_figure, name, values), cure)
    if set(NEEDED) <= set(frame):
        over = (frame["air_min_c"] > frame["air_max_c"]).to_numpy()
        found = "the minimum is above the maximum"
        faults += _fault(table, over, lambda _: found, "exchange them, or the columns")
    return faults


def _figure(name: str, values: FloatArray, row: int) -> str:
    return f"{name} of {values[row]:g}"


def _out_of_range(values: FloatArray, kind: Quantity) -> BoolArray:
    with np.errstate(invalid="ignore"):
        return (values < kind.low) | (values > kind.high)


def _degrees(header: str, options: WeatherFile) -> TemperatureUnit | None:
    named: dict[str, TemperatureUnit] = {"_c": "degC", "_f": "degF", "_k": "K"}
    return options.unit or find_unit(header) or named.get(header[-2:].lower())


def hottest(of: TemperatureKind) -> float:
    """Temperature that no place's warmest tenth of days lies above [degC]."""
    return load_numbers("quality")["unit.hot_air" if of == "maxima" else "unit.hot"].value


def too_warm(warm_c: float, of: TemperatureKind) -> str:
    """Say that a tenth of the days are over a temperature [degC], and what that looks like."""
    return f"a tenth of the {of} are over {warm_c:.0f} degC: they look like degF"


def _other_unit(frame: pd.DataFrame, table: RawTable, *, fahrenheit: bool) -> list[Fault]:
    """Temperatures that no place has, though each could be true: the other unit is meant."""
    if "air_max_c" not in frame:
        return []
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
    return [table.fault("temperatures", found, cure)]


def _fault(table: RawTable, bad: BoolArray, found: Callable[[int], str], cure: str) -> list[Fault]:
    """Make one fault of the bad rows: the line of the first, what was found, how many such."""
    rows = np.flatnonzero(bad)
    if not rows.size:
        return []
    place = f"line {table.cells.index[rows[0]]}"
    return [table.fault(place, f"{found(int(rows[0]))} ({rows.size} such)", cure)]


def _undated(frame: pd.DataFrame, table: RawTable) -> list[Fault]:
    """Rows with figures, but without a day that can be read."""

    def found(row: int) -> str:
        cells = table.cells.iloc[row]
        shown = " ".join(str(cells[c]) for c in table.time_columns if pd.notna(cells[c]))
        return f"{shown[:40]!r} is no date"

    lost = frame.index.isna() & frame.notna().any(axis=1).to_numpy()
    return _fault(table, lost, found, "write the day as the other rows do")


def _far_ahead(frame: pd.DataFrame, table: RawTable, today: date) -> list[Fault]:
    reach = timedelta(days=load_numbers("weather")["forecast.days_ahead"].value)
    late = np.asarray(frame.index > pd.Timestamp(today) + reach)
    days = pd.DatetimeIndex(frame.index)
    found = "is in the future"
    return _fault(table, late, lambda row: f"{days[row].date()} {found}", "correct the date")


def _shifted(table: RawTable) -> list[Fault]:
    found = "more cells than the other rows"
    cure = "write decimal points, or part the columns by semicolons"
    return _fault(table, table.shifted, lambda _: found, cure)


def _twice(frame: pd.DataFrame, table: RawTable) -> list[Fault]:
    days = frame.index
    known = frame.groupby(level=0)
    differ = (known.max() > known.min()).any(axis=1).to_numpy()
    bad = np.flatnonzero(days.isin(known.max().index[differ]))
    if not bad.size:
        return []
    place = f"line {table.cells.index[bad[-1]]}"
    found = f"{days[bad[-1]].date()} stands twice with different figures"
    return [table.fault(place, found, "keep one of them; one row a day")]
