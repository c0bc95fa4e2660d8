"""Columns of a table of many sites, CSV or Parquet: which are meant, and what stands in them.

One row a site and day, in any order of columns; others than these are not read:

==================  ======  ==========================================================
column              unit
==================  ======  ==========================================================
site                        any text or number
lat, lon            deg     north and east positive
date                        local standard day, YYYY-MM-DD or a date type
air_min_c           degC    the day's extremes of air temperature
air_max_c           degC
rain_mm             mm      optional
solar_mj_m2         MJ/m2   optional
soil_moisture       m3/m3   optional: share of the volume, 0 to 1
soil_<depth>cm_c    degC    optional: measured daily mean, such as soil_5cm_c, soil_10cm_c
==================  ======  ==========================================================

Where the name says so, a column is in degF or inches: air_min_f, air_max_f, rain_in, soil_2in_f.
Air, or at least one column of soil, must be there. Nothing, or NaN, is a missing value. In a CSV
the rows of a site stand together; in Parquet it is faster when they do.
"""

import re
from collections.abc import Mapping, Sequence
from datetime import date, datetime
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from patchrisk.base.errors import Fault, InputError
from patchrisk.base.units import BoolArray, DayArray, FloatArray, to_canonical
from patchrisk.study.sites import (
    WEATHER_QUANTITIES,
    Reading,
    SiteFault,
    soil_depth,
    to_block,
    without_sites,
)
from patchrisk.study.soil import Block

if TYPE_CHECKING:
    import pyarrow as pa

YEARS = (1800, 2200)  # no record, and no projection of the climate, has others

# A day, and a time of it that is not read: the day is the one that is written, wherever the
# clock stood.
_DAY = re.compile(
    r"(\d{4}-\d{2}-\d{2})([T ]\d{2}:\d{2}(:\d{2}([.,]\d+)?)?( ?(Z|[+-]\d{2}(:?\d{2})?))?)?",
    re.ASCII,
)


def day_of(value: object) -> np.datetime64:
    """Read one day: ISO text, a date or a time; NaT when it is none."""
    if isinstance(value, str):
        match = _DAY.fullmatch(value.strip())
        try:
            found = date.fromisoformat(match[1]) if match else None
        except ValueError:
            found = None
    elif isinstance(value, datetime):
        found = None if pd.isna(value) else value.date()
    else:
        found = value if isinstance(value, date) else None
    return np.datetime64("NaT", "D") if found is None else np.datetime64(found, "D")


def within_years(days: DayArray) -> DayArray:
    """Return the days with NaT for those of years that no record has."""
    first, past = (np.datetime64(f"{year}-01-01", "D") for year in (YEARS[0], YEARS[1] + 1))
    return np.where((days >= first) & (days < past), days, np.datetime64("NaT", "D"))


def read_day_column(given: "pd.Series[Any]") -> DayArray:
    """Read a column of days; NaT where there is none.

    Parameters
    ----------
    given : Series
        Text, dates or times; of numbers nobody knows what they count.
    """
    if given.dtype.kind == "M":
        times = given.dt.tz_localize(None) if getattr(given.dtype, "tz", None) else given
        return within_years(times.to_numpy().astype("datetime64[D]"))
    codes, values = pd.factorize(given, use_na_sentinel=True)
    return within_years(_taken([day_of(value) for value in values], codes))


def arrow_days(column: "pa.ChunkedArray") -> DayArray:
    """Read a column of days of a Parquet table; NaT where there is none.

    Days that Python's calendar does not have are none, and no error.
    """
    import pyarrow as pa

    kind = column.type
    if pa.types.is_dictionary(kind):
        return arrow_days(column.cast(kind.value_type))
    if pa.types.is_timestamp(kind) and kind.tz is not None:
        local = arrow_days(column.cast(pa.timestamp(kind.unit)))  # in UTC: are they days at all?
        known = ~np.isnat(local)
        local[known] = read_day_column(column.filter(pa.array(known)).to_pandas())
        return local
    if pa.types.is_string(kind) or pa.types.is_large_string(kind) or pa.types.is_temporal(kind):
        return read_day_column(column.to_pandas(date_as_object=False))
    return np.full(len(column), np.datetime64("NaT", "D"))


def _taken(values: Sequence[np.datetime64], codes: Any) -> DayArray:
    """Return the value of each code, NaT for -1."""
    known = np.array([*values, np.datetime64("NaT", "D")], dtype="datetime64[D]")
    out: DayArray = known[codes]
    return out


def read_number_column(given: "pd.Series[Any]") -> tuple[FloatArray, BoolArray]:
    """Read a column of numbers: NaN where nothing stands, and which cells are none at all.

    Yes and no, times and spans of time are no numbers, though a computer could count them.
    """
    nothing = given.isna().to_numpy(bool)
    if given.dtype.kind in "iuf":
        return given.to_numpy(float, na_value=np.nan), np.zeros(len(given), bool)
    plain = given.astype(object)
    if given.dtype.kind not in "OUT" or pd.api.types.is_bool_dtype(given):
        return np.full(len(given), np.nan), ~nothing
    try:
        numbers = pd.to_numeric(plain, errors="coerce").to_numpy(float, copy=True)
    except TypeError:  # lists, or tables in the table
        return np.full(len(given), np.nan), ~nothing
    words = np.array([isinstance(v, bool | np.bool_ | date | pd.Timedelta) for v in plain], bool)
    numbers[words] = np.nan
    return numbers, np.isnan(numbers) & ~nothing


PLACE = ("site", "lat", "lon", "date")
_OTHER_UNITS = {"air_min_f": "air_min_c", "air_max_f": "air_max_c", "rain_in": "rain_mm"}
_SOIL = re.compile(r"soil_(\d+(?:\.\d+)?)(cm|in)_[cf]")
_MOST_NAMED = 30  # columns, in a message


def wanted_columns(source: str, names: Sequence[str], columns: Mapping[str, str]) -> dict[str, str]:
    """Columns to read: their names here by what the table calls them.

    Raises
    ------
    InputError
        With everything that is lacking.
    """
    faults = []
    for ours, theirs in columns.items():
        if not _known(_meant(ours)):
            cure = "write site, lat, lon, date, air_min_c, air_max_c, rain_mm, solar_mj_m2 or "
            cure += "soil_<depth>cm_c before the =, or air_max_f and the like in degF"
            faults.append(Fault("--column", f"{ours}={theirs}", "no column of this name", cure))
        elif theirs not in names:
            cure = f"write one of {_some(names)} after the ="
            faults.append(Fault("--column", f"{ours}={theirs}", f"not in {source}", cure))
    renamed = {theirs: ours for ours, theirs in columns.items()}
    out = {n: renamed.get(n, n) for n in names if n in renamed or n not in columns}
    out = {n: c for n, c in out.items() if _known(_meant(c))}
    first: dict[str, str] = {}
    for name, column in out.items():
        other = first.setdefault(_meant(column), name)
        if other != name:
            found = f"says the same as column {other}"
            faults.append(Fault(source, f"column {name}", found, "keep one of them"))
    have = set(first)
    for column in sorted(n for n in out if names.count(n) > 1):
        faults.append(Fault(source, f"column {column}", "there twice", "take one of them out"))
    lacking = [c for c in PLACE if c not in have and c not in columns]
    if not {"air_min_c", "air_max_c"} <= have and all(soil_depth(c) is None for c in have):
        lacking.append("air_min_c and air_max_c, or soil_5cm_c")
    for column in lacking:
        found = f"not among {_some(names)}"
        cure = f"add it, or say what it is called: --column {column.split()[0]}=NAME"
        faults.append(Fault(source, f"column {column}", found, cure))
    if faults:
        raise InputError(faults)
    return out


_NAMES_UNIT = re.compile(r".*[_ .(\[](deg_?)?[cf][)\]]?", re.IGNORECASE)


def reading_of(wanted: Mapping[str, str], missing: Sequence[float]) -> Reading:
    """Return how columns are read: ``wanted`` is our name of each by the table's own.

    A name gives the unit that it ends in, as ``tmax_c`` or ``T (degF)``; so does the name here,
    where it is that of another unit (``air_max_f=tmax``).
    """
    bare = (o for n, o in wanted.items() if not _NAMES_UNIT.fullmatch(n) and _meant(o) == o)
    return Reading(tuple(missing), frozenset(bare))


def _known(column: str) -> bool:
    return column in (*PLACE, *WEATHER_QUANTITIES) or soil_depth(column) is not None


def _meant(column: str) -> str:
    """Name here of a column, whose own may say that it is in other units."""
    soil = _SOIL.fullmatch(column)
    if soil:
        return f"soil_{to_canonical('depth', float(soil[1]), soil[2]):g}cm_c"
    return _OTHER_UNITS.get(column, column)


def _in_canonical(frame: pd.DataFrame) -> pd.DataFrame:
    """Put every column into the unit that it has here, under its name here."""
    names = {str(column): _meant(str(column)) for column in frame.columns}
    other = {name: meant for name, meant in names.items() if name != meant}
    for name, meant in other.items():
        unit = {"_f": "degF", "_c": "degC", "in": "in"}[name[-2:]]
        quantity = WEATHER_QUANTITIES.get(meant, "soil temperature")
        frame[name] = to_canonical(quantity, frame[name].to_numpy(), unit)
    return frame.rename(columns=other)


def block_of(
    frame: pd.DataFrame,
    source: str,
    order: Sequence[str],
    reading: Reading,
    found: Sequence[SiteFault] = (),
) -> Block:
    """Check the types of the columns and make arrays of them; ``found`` are faults known before."""
    faults = list(found)
    told = {site for _, sites in found for site in sites}
    days = read_day_column(frame["date"])
    for at in _first_of_each(frame["site"], np.isnat(days)):
        site = str(frame["site"].iloc[at])
        if site not in told:
            faults.append((no_day(source, site, frame["date"].iloc[at]), [site]))
    out = pd.DataFrame({"site": frame["site"].astype(str), "date": days})
    for column in frame.columns.difference(["site", "date"]):
        out[column], none = read_number_column(frame[column])
        if column not in PLACE:
            out.loc[np.isin(out[column], reading.missing), column] = np.nan
        for at in _first_of_each(frame["site"], none):
            site = str(frame["site"].iloc[at])
            where = f"site {site}, {days[at]}, column {column}"
            text = f"{_short(frame[column].iloc[at])} in place of a number"
            cure = "write a number, or nothing where missing"
            faults.append((Fault(source, where, text, cure), [site]))

    def judge(some: pd.DataFrame, kept: Sequence[str]) -> Block:
        return to_block(_in_canonical(some), source, kept, reading.no_unit)

    return without_sites(out, order, faults, judge) if faults else judge(out, order)


def _first_of_each(sites: "pd.Series[Any]", wrong: BoolArray) -> list[int]:
    """Return the first wrong row of each site that has one, in their order."""
    rows = np.flatnonzero(wrong)
    found: list[int] = rows[~sites.iloc[rows].duplicated().to_numpy()].tolist()
    return found


def no_day(source: str, site: str, value: object, cure: str = "write YYYY-MM-DD") -> Fault:
    """Say that a site's day is none."""
    found = "no day" if value is None else f"{_short(value)} is no day"
    return Fault(source, f"site {site}, column date", found, cure)


def _short(value: object) -> str:
    text = repr(value.item() if isinstance(value, np.generic) else value)
    return text if len(text) <= 60 else f"{text[:57]}..."


def _some(names: Sequence[str]) -> str:
    """Name columns, but not hundreds of them."""
    more = f" and {len(names) - _MOST_NAMED} more" if len(names) > _MOST_NAMED else ""
    return ", ".join(name[:60] for name in names[:_MOST_NAMED]) + more
