"""Which column of a daily weather file is what, by its heading; a guess among several is asked."""

import re
from collections.abc import Iterator

from patchrisk.base.errors import Fault, InputError
from patchrisk.read.logger.heading import heading_words, read_heading
from patchrisk.read.site import WeatherFile
from patchrisk.read.tables.delimited import RawTable
from patchrisk.read.tables.dialect import find_column
from patchrisk.read.weather.services import ServiceColumns

QUANTITY_OF = {
    "air_min_c": "air temperature",
    "air_max_c": "air temperature",
    "rain_mm": "rain",
    "snow_depth_cm": "snow depth",
    "solar_mj_m2": "solar radiation",
}
NEEDED = ("air_min_c", "air_max_c")
OPTIONAL = ("rain_mm", "snow_depth_cm", "solar_mj_m2")
# What headers call these columns; read in this order, the first that fits takes the header.
_CALLED = {
    "snow_depth_cm": re.compile(r"snow", re.IGNORECASE),
    "rain_mm": re.compile(r"rain|prec|prcp", re.IGNORECASE),
    "solar_mj_m2": re.compile(r"solar|radiation", re.IGNORECASE),
}
# Short names of a day's extremes: TN and TX of the World Meteorological Organization's climate
# messages, tasmin and tasmax of climate models, tmmn and tmmx of gridded weather; mint, mintp.
_EXTREME = re.compile(
    r"(?P<air_min_c>tn|tasmin|tmmn|mintp?)|(?P<air_max_c>tx|tasmax|tmmx|maxtp?)", re.IGNORECASE
)
# Beside words of a quantity these say nothing that sets the column apart from another.
_PLAIN = re.compile(
    r"t|air|day|daily|24|h|hr|hour|outdoors?|out|outside|ambient|2|m|1|5|1\.5|deg|d|c|f|k|o"
    r"|rain|rainfall|prec|precip|precipitation|prcp|sum|total|tot|amount|mm|cm|inch|inches|in"
)
# Of these quantities a heading may also hold another figure; f. marks a flag in some archives.
_OTHER = re.compile(
    r"flag|qual|attrib|code|rate|intens|year|month|ytd|date|time|quantity|(?<![a-z])f\.",
    re.IGNORECASE,
)
_SNOWFALL = re.compile(r"fall|fresh|new", re.IGNORECASE)
_LISTED = 6  # columns named in one fault


def find_columns(
    table: RawTable,
    options: WeatherFile,
    source: str,
    known: ServiceColumns | None,
    *,
    partial: bool,
) -> tuple[dict[str, int], list[str], list[Fault]]:
    """Find the column of each quantity, counted from 0.

    Returns
    -------
    columns : dict of str to int
    notes : list of str
        Quantities that were passed over.
    faults : list of Fault
        Columns that are lacking, or of which there are several: then the first of them is among
        ``columns``, so that what else is amiss can be said with it.

    Raises
    ------
    InputError
        When a column that the user names is not there.
    """
    found = _told(table, options, source)
    notes: list[str] = []
    faults: list[Fault] = []
    if known is not None:
        found = {**known.columns, **found}
    called: dict[str, list[int]] = {}
    for number, header in enumerate(table.names if known is None else ()):
        if number not in table.time_columns and number not in found.values():
            quantity = _called(header, table.under[number])
            if quantity is not None and quantity not in found:
                called.setdefault(quantity, []).append(number)
    for name, numbers in called.items():
        plain = [n for n in numbers if _is_plain(table.names[n])]
        several = plain or numbers
        found[name] = several[0]
        if len(several) == 1:
            continue
        cure = f'say which in the site file: columns = {{ {name} = "column {several[0] + 1}" }}'
        if name in OPTIONAL[1:]:
            del found[name]
            notes.append(f"{QUANTITY_OF[name]} passed over: more than one column of it: {cure}")
            continue
        listed = ", ".join(f"column {n + 1} {table.names[n]!r}" for n in several[:_LISTED])
        more = f" and {len(several) - _LISTED} more" if len(several) > _LISTED else ""
        what = f"{len(several)} columns for {name}: {listed}{more}"
        faults.append(Fault(source, "header", what, cure))
    missing = [name for name in NEEDED if name not in found]
    if missing and not (partial and known is not None and known.partial and found):
        named = [repr(name) for name in table.names if name]
        among = ", ".join(named) if named else f"{len(table.names)} columns without headings"
        ends = ["HEADER"] * 2 if named else ["column 2", "column 3"]
        keys = ", ".join(f'{name} = "{at}"' for name, at in zip(missing, ends, strict=False))
        what = f"no column for {' and '.join(missing)} among {among}"
        cure = f"name it in the site file: columns = {{ {keys} }}"
        faults.append(Fault(source, "header", what, cure))
    return found, notes, faults


def _told(table: RawTable, options: WeatherFile, source: str) -> dict[str, int]:
    found: dict[str, int] = {}
    for name, header in options.columns.items():
        if name not in QUANTITY_OF:
            cure = f"write one of {', '.join(QUANTITY_OF)}"
            raise InputError(Fault(source, "columns", f"unknown {name!r}", cure))
        meant = find_column(header, table.names)
        if not meant:
            there = ", ".join(map(repr, filter(None, table.names)))
            raise InputError(Fault(source, name, f"no column {header!r}", f"write one of {there}"))
        if len(meant) > 1:
            cure = "write " + " or ".join(f'{name} = "column {n + 1}"' for n in meant)
            raise InputError(Fault(source, name, f"{len(meant)} columns are {header!r}", cure))
        found[name] = meant[0]
    return found


def _called(header: str, under: str) -> str | None:
    """Say which quantity a heading names; None where it names another, or a flag of one."""
    plain = header.replace("_", " ")
    heading = read_heading(header, under)
    if "soil" in heading.says or _OTHER.search(plain):
        return None
    called = next((n for n, words in _CALLED.items() if words.search(plain)), None)
    if called is not None:
        return None if called == "snow_depth_cm" and _SNOWFALL.search(plain) else called
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
