"""Which column of a daily weather file is what: by a service's own names, else by its heading."""

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from patchrisk.base.errors import Fault, InputError
from patchrisk.base.units import BoolArray, FloatArray
from patchrisk.read.logger.heading import heading_words, read_heading
from patchrisk.read.site import WeatherFile
from patchrisk.read.tables.cells import find_column, to_numbers
from patchrisk.read.tables.delimited import RawTable
from patchrisk.read.tables.known_formats import GHCN_STATION

_NO_DEGREES = 140  # 60 degC in degF: no air has been so warm
_NO_RANGE = 40  # degF between least and greatest, in the mean of days; deserts have 35


@dataclass(frozen=True)
class ServiceUnit:
    """How a service writes a quantity: its unit, and what a figure is to be multiplied by."""

    unit: str
    times: float = 1.0


@dataclass(frozen=True)
class ServiceColumns:
    """A service's file, its columns known."""

    columns: Mapping[str, int]  # Column of each quantity, counted from 0
    # Units that the header does not say
    scales: Mapping[str, ServiceUnit] = field(default_factory=dict)
    # Rows in which the service itself marks a figure as failed, or as one of several days
    left_out: Mapping[str, BoolArray] = field(default_factory=dict)
    partial: bool = False  # Whether a file holds one quantity alone by the service's custom
    soil: bool = False  # Whether such files can hold daily means of the soil beside the air
    own: bool = False  # Whether other columns are found by their headings, as in any other file
    # The one figure that says there is none: codes of other files, as -99, are readings here. NaN
    # where cells are left empty.
    missing: float | None = None
    # Figure that stands for an amount too small to be written
    trace: Mapping[str, float] = field(default_factory=dict)

    def numbers(
        self, quantity: str, cells: "pd.Series[str]", decimal: str
    ) -> tuple[FloatArray, BoolArray]:
        """Read a column as `to_numbers` does, with the service's own codes."""
        words = to_numbers(cells, decimal)
        if self.missing is None:
            return words
        figures = pd.to_numeric(cells, errors="coerce").to_numpy(float, copy=True)
        figures[figures == self.missing] = np.nan
        figures[figures == self.trace.get(quantity)] = 0.0
        return figures, np.isnan(figures) & words[1]

    def scale_of(self, quantity: str, column: int) -> ServiceUnit | None:
        """How a quantity is written; None where its header says so, or the user named another."""
        return self.scales.get(quantity) if self.columns.get(quantity) == column else None


def find_service(table: RawTable) -> ServiceColumns | None:
    """Know the columns of a service's daily file; None for any other file."""
    names = [_plain(name) for name in table.names]
    for one in _FIXED:
        if {*one.marks, *(name for name, _ in one.columns.values())} <= set(names):
            return one.found(names)
    found = (known(table, names) for known in (_australian, _snow, _global))
    return next((k for k in found if k is not None), None)


def _plain(name: str) -> str:
    """Return a header without what encodings break: letters, digits and a few marks."""
    plain = re.sub(r"[^a-z0-9_/(),.*-]+", " ", name.casefold()).replace("( ", "(")
    return " ".join(plain.split())


def _at(names: Sequence[str], wanted: Mapping[str, Sequence[str]]) -> dict[str, int]:
    """Column of each quantity by the first of its names that stands once."""
    out: dict[str, int] = {}
    for quantity, given in wanted.items():
        at = next((names.index(name) for name in given if names.count(name) == 1), None)
        if at is not None:
            out[quantity] = at
    return out


@dataclass(frozen=True)
class _Fixed:
    """A service whose files always have the same headers: ``columns`` must be there, ``more`` may.

    ``marks`` are further headers that such a file has; ``source`` says where they are described.
    """

    source: str
    columns: Mapping[str, tuple[str, ServiceUnit]]
    marks: tuple[str, ...] = ()
    more: Mapping[str, tuple[str, ServiceUnit]] = field(default_factory=dict)
    soil: bool = False
    missing: float | None = None
    trace: Mapping[str, float] = field(default_factory=dict)

    def found(self, names: Sequence[str]) -> ServiceColumns:
        """Give the columns of a file of this service."""
        both = {**self.columns, **self.more}
        at = _at(names, {quantity: (name,) for quantity, (name, _) in both.items()})
        scales = {quantity: both[quantity][1] for quantity in at}
        return ServiceColumns(at, scales, soil=self.soil, missing=self.missing, trace=self.trace)


_DEGC, _MM, _CM, _MJ = (ServiceUnit(unit) for unit in ("degC", "mm", "cm", "MJ/m2"))
_TENTHS, _TENTHS_MM = ServiceUnit("degC", 0.1), ServiceUnit("mm", 0.1)
_J_CM2 = ServiceUnit("MJ/m2", 0.01)
_FIXED = (
    _Fixed(
        "Germany (DWD), produkt_klima_tag: DESCRIPTION_obsgermany_climate_daily_kl, "
        "opendata.dwd.de",
        {"air_max_c": ("txk", _DEGC), "air_min_c": ("tnk", _DEGC)},
        ("mess_datum",),
        {"rain_mm": ("rsk", _MM)},
        missing=-999,
    ),
    _Fixed(
        "Canada (ECCC), daily data of climate.weather.gc.ca, with its legend of flags: a cell is "
        "empty where its flag says M, missing; precipitation is rain and melted snow",
        {"air_max_c": ("max temp (c)", _DEGC), "air_min_c": ("min temp (c)", _DEGC)},
        ("max temp flag",),
        {"rain_mm": ("total precip (mm)", _MM)},
    ),
    _Fixed(
        "the Netherlands (KNMI), etmgeg: legend at the head of the file; tenths of degC and mm, "
        "J/cm2; -1 is less than 0.05 mm of rain",
        {"air_max_c": ("tx", _TENTHS), "air_min_c": ("tn", _TENTHS), "rain_mm": ("rh", _TENTHS_MM)},
        ("stn", "yyyymmdd", "tnh", "txh"),
        missing=np.nan,
        trace={"rain_mm": -1},
    ),
    _Fixed(
        "Ireland (Met Éireann), daily data: legend at the head of the file; `soil` is at 10 cm",
        {"air_max_c": ("maxtp", _DEGC), "air_min_c": ("mintp", _DEGC), "rain_mm": ("rain", _MM)},
        (),
        soil=True,
    ),
    _Fixed(
        "US Climate Reference Network, daily01: README.txt and headers.txt of "
        "ncei.noaa.gov/pub/data/uscrn/products/daily01",
        {
            "air_max_c": ("t_daily_max", _DEGC),
            "air_min_c": ("t_daily_min", _DEGC),
            "rain_mm": ("p_daily_calc", _MM),
        },
        (),
        soil=True,
        missing=-9999,
    ),
)


def _australian(table: RawTable, names: Sequence[str]) -> ServiceColumns | None:
    """Australia (BoM), one file for each quantity: Climate Data Online, notes to the daily data.

    A figure that was gathered over more than one day says nothing of its day.
    """
    if not {"product code", "bureau of meteorology station number"} <= set(names):
        return None
    wanted = {
        "air_max_c": ("maximum temperature (degree c)",),
        "air_min_c": ("minimum temperature (degree c)",),
        "rain_mm": ("rainfall amount (millimetres)",),
    }
    columns = _at(names, wanted)
    several: dict[str, BoolArray] = {}
    for n, name in enumerate(names):
        if name.startswith(("days of accumulation", "period over which")):
            spans, _ = to_numbers(table.cells[n], table.decimal)
            several |= dict.fromkeys(columns, np.asarray(spans > 1))
    return ServiceColumns(columns, {"rain_mm": ServiceUnit("mm")}, several, partial=True)


def _snow(table: RawTable, names: Sequence[str]) -> ServiceColumns | None:
    """US snow and soil networks (SNOTEL, SCAN): report generator of wcc.sc.egov.usda.gov.

    The increment is the day's precipitation, where the accumulation is the year's so far.
    """
    wanted = {
        "air_max_c": ("air temperature maximum (degf)", "air temperature maximum (degc)"),
        "air_min_c": ("air temperature minimum (degf)", "air temperature minimum (degc)"),
        "rain_mm": ("precipitation increment (in)", "precipitation increment (mm)"),
    }
    columns = _at(names, wanted)
    return (
        ServiceColumns(columns, soil=True) if {"air_max_c", "air_min_c"} <= set(columns) else None
    )


def _global(table: RawTable, names: Sequence[str]) -> ServiceColumns | None:
    """GHCN-Daily of NOAA: readme.txt of ncei.noaa.gov/pub/data/ghcn/daily, "III. FORMAT".

    TMAX, TMIN in tenths of degC, PRCP in tenths of mm, SNWD in mm; a quality flag that is not
    blank says that the figure failed a check. Files ordered with other units say nothing of them,
    so tenths are told by whole figures beyond what temperatures in degC or degF can be.
    """
    told = _plain(GHCN_STATION) in names
    if not {"tmax", "tmin"} <= set(names) or not (told or {"station", "id"} & set(names)):
        return None
    wanted = {"air_max_c": "tmax", "air_min_c": "tmin", "rain_mm": "prcp"}
    columns = _at(names, {quantity: (name,) for quantity, name in wanted.items()})
    failed = {}
    for quantity in columns:
        marks = f"{wanted[quantity]}_attributes"
        if marks in names:
            flags = table.cells[names.index(marks)].fillna("").astype(str)
            failed[quantity] = flags.str.contains(r"^[^,]*,[^,\s]").to_numpy(bool)
    if not told and not _in_tenths(table, columns):
        # In whatever unit it was ordered: that is asked.
        return ServiceColumns(columns, {}, failed, own=True)
    scales = {
        "air_max_c": ServiceUnit("degC", 0.1),
        "air_min_c": ServiceUnit("degC", 0.1),
        "rain_mm": ServiceUnit("mm", 0.1),
    }
    return ServiceColumns(columns, scales, failed, missing=-9999)


def _in_tenths(table: RawTable, columns: Mapping[str, int]) -> bool:
    """Whether figures are whole, and air so warm, or its days so wide, as no degrees are."""
    numbers = {q: to_numbers(table.cells[n], table.decimal)[0] for q, n in columns.items()}
    if any((n[~np.isnan(n)] % 1 != 0).any() for n in numbers.values()):
        return False
    high, low = numbers["air_max_c"], numbers["air_min_c"]
    both = ~np.isnan(high) & ~np.isnan(low)
    if not both.any():
        return False
    return bool(high[both].max() >= _NO_DEGREES or (high - low)[both].mean() > _NO_RANGE)


NEEDED = ("air_min_c", "air_max_c")
RAIN = "rain_mm"
QUANTITY_OF = {**dict.fromkeys(NEEDED, "air temperature"), RAIN: "rain"}
_RAIN = re.compile(r"(?<![dt])(?<!ter)rain|prcp|prec", re.IGNORECASE)
# Short names of a day's extremes: TN and TX of the World Meteorological Organization's climate
# messages, tasmin and tasmax of climate models, tmmn and tmmx of gridded weather; mint, mintp.
_EXTREME = re.compile(
    r"(?P<air_min_c>tn|tasmin|tmmn|mintp?)|(?P<air_max_c>tx|tasmax|tmmx|maxtp?)", re.IGNORECASE
)
# Beside words of a quantity these say nothing that sets the column apart from another. Any other
# word may: of the year so far, indoors, felt, in a usual year. Such a column is asked for.
_PLAIN = re.compile(
    r"t|air|day|daily|24|h|hr|hour|outdoors?|out|outside|ambient|2|m|1|5|1\.5|deg|d|c|f|k|o"
    r"|luft|aire|aussen|exterior|screen|shelter|degrees?|observed|obs|values?|at|of|the"
    r"|rain|rainfall|prec|precip|precipitation|prcp|sum|total|tot|amount|mm|cm|inch|inches|in"
    r"|gau?ge|liquid|melted|and|snow"
)
# Of these quantities a heading may also hold another figure; f. marks a flag in some archives.
_OTHER = re.compile(
    r"flag|qual|attrib|code|rate|intens|year|month|ytd|date|time|quantity|(?<![a-z])f\.",
    re.IGNORECASE,
)
_LISTED = 6  # columns named in one fault


def find_columns(
    table: RawTable,
    options: WeatherFile,
    known: ServiceColumns | None,
    *,
    partial: bool,
) -> tuple[dict[str, int], list[Fault]]:
    """Find the column of each quantity, counted from 0.

    Returns ``columns``; ``faults``: columns that are lacking, or of which there are several: then
    the first of them is among ``columns``, so that what else is amiss can be said with it.
    InputError when a column that the user names is not there.
    """
    found = _told(table, options)
    faults: list[Fault] = []
    if known is not None:
        found = {**known.columns, **found}
    called: dict[str, list[int]] = {}
    for number, header in enumerate(table.names if known is None or known.own else ()):
        if number not in table.time_columns and number not in found.values():
            quantity = _called(header, table.under[number])
            if quantity is not None and quantity not in found:
                called.setdefault(quantity, []).append(number)
    doubtful: dict[str, list[int]] = {}
    for name, numbers in called.items():
        plain = [n for n in numbers if _is_plain(table.names[n])]
        if len(plain) == 1:
            found[name] = plain[0]
        else:
            doubtful[name] = plain or numbers
    found |= {name: several[0] for name, several in doubtful.items()}
    keys = ", ".join(f'{name} = "column {several[0] + 1}"' for name, several in doubtful.items())
    for name, several in doubtful.items():
        listed = ", ".join(f"column {n + 1} {table.names[n]!r}" for n in several[:_LISTED])
        more = f" and {len(several) - _LISTED} more" if len(several) > _LISTED else ""
        what = f"{len(several)} columns for {name}: {listed}{more}"
        if len(several) == 1:
            what = f"{listed} may be {name}, or another figure"
        cure = f"say which in the site file: columns = {{ {keys} }}"
        faults.append(table.fault("header", what, cure))
    missing = [name for name in NEEDED if name not in found]
    if missing and not (partial and known is not None and known.partial and found):
        named = [repr(name) for name in table.names if name]
        among = ", ".join(named) if named else f"{len(table.names)} columns without headings"
        ends = ["HEADER"] * 2 if named else ["column 2", "column 3"]
        keys = ", ".join(f'{name} = "{at}"' for name, at in zip(missing, ends, strict=False))
        what = f"no column for {' and '.join(missing)} among {among}"
        cure = f"name it in the site file: columns = {{ {keys} }}"
        faults.append(table.fault("header", what, cure))
    return found, faults


def _told(table: RawTable, options: WeatherFile) -> dict[str, int]:
    found: dict[str, int] = {}
    for name, header in options.columns.items():
        if name not in QUANTITY_OF:
            cure = f"write one of {', '.join(QUANTITY_OF)}"
            raise InputError(table.fault("columns", f"unknown {name!r}", cure))
        meant = find_column(header, table.names)
        if not meant:
            there = ", ".join(map(repr, filter(None, table.names)))
            raise InputError(table.fault(name, f"no column {header!r}", f"write one of {there}"))
        if len(meant) > 1:
            cure = "write " + " or ".join(f'{name} = "column {n + 1}"' for n in meant)
            raise InputError(table.fault(name, f"{len(meant)} columns are {header!r}", cure))
        found[name] = meant[0]
    return found


def _called(header: str, under: str) -> str | None:
    """Say which quantity a heading names; None where it names another, or a flag of one."""
    plain = header.replace("_", " ")
    heading = read_heading(header, under)
    if "soil" in heading.says or _OTHER.search(plain):
        return None
    if match := _RAIN.search(plain):
        if heading.statistic != "mean":
            return None  # the most in an hour is no amount of the day
        return None if "snow" in plain.lower() and match[0].lower() != "rain" else "rain_mm"
    if match := _EXTREME.fullmatch(re.sub(r"[\[(].*|[_ ]?[CFK]$", "", header).strip()):
        return match.lastgroup
    # Least and greatest wind, humidity, pressure and the like are none of the air's.
    if heading.aside not in ("", "air temperature") or "grass" in plain.lower():
        return None
    if "temperature" not in heading.says and not _is_plain(header):
        return None
    words = list(_beside(header))
    if any(word[0].isdigit() for word in words):
        return None  # of another height, depth or place
    return {"min": "air_min_c", "max": "air_max_c"}.get(heading.statistic)


def _is_plain(header: str) -> bool:
    """Whether a heading says its quantity and nothing more."""
    return bool(_EXTREME.fullmatch(header)) or not any(_beside(header))


def _beside(header: str) -> Iterator[str]:
    """Words that are none of a temperature's, its statistic's or of `_PLAIN`."""
    for word, kind in heading_words(header):
        if not _PLAIN.fullmatch(word) and kind not in ("temperature", "min", "max", "mean"):
            yield word
