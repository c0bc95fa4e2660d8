"""Rows of a site and day each, of any source: which columns are meant, and what stands in them.

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
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from patchrisk.base.errors import Fault, InputError
from patchrisk.base.pen import count_of
from patchrisk.base.toml_files import load_numbers
from patchrisk.base.units import QUANTITIES, BoolArray, DayArray, FloatArray, to_canonical
from patchrisk.core.soil.root_depth import Probe
from patchrisk.read.soil import diffusivity_of
from patchrisk.read.weather.own import TemperatureKind, hottest, too_warm
from patchrisk.study.soil import Block

if TYPE_CHECKING:
    import pyarrow as pa

PLACE = ("site", "lat", "lon", "date")
WEATHER_QUANTITIES = {
    "air_min_c": "air temperature",
    "air_max_c": "air temperature",
    "rain_mm": "rain",
    "solar_mj_m2": "solar radiation",
    "soil_moisture": "soil moisture",
}
_OTHER_UNITS = {"air_min_f": "air_min_c", "air_max_f": "air_max_c", "rain_in": "rain_mm"}
_SOIL = re.compile(r"soil_(\d+(?:\.\d+)?)(cm|in)_[cf]")
_NAMES_UNIT = re.compile(r".*[_ .(\[](deg_?)?[cf][)\]]?", re.IGNORECASE)
_MOST_NAMED = 30  # columns, in a message

SiteFault = tuple[Fault, Sequence[str]]
"""A fault, and the sites that are left out for it."""


class AllLeftOutError(InputError):
    """Every site of a part has a fault of its own."""


@dataclass(frozen=True)
class Reading:
    """How a table is read.

    ``columns`` are our names of those that are read, by the table's own; ``missing`` numbers that
    stand for a missing value; ``no_unit`` our names of columns whose own gives no unit: whether
    they are in degF is asked.
    """

    columns: Mapping[str, str] = field(default_factory=dict)
    missing: tuple[float, ...] = ()
    no_unit: frozenset[str] = frozenset()


def reading_of(
    source: str, names: Sequence[str], columns: Mapping[str, str], missing: Sequence[float]
) -> Reading:
    """Say how a table with columns of these names is read; ``columns`` are the user's, by ours.

    A name gives the unit that it ends in, as ``tmax_c`` or ``T (degF)``; so does the name here,
    where it is that of another unit (``air_max_f=tmax``). InputError with everything that is
    lacking.
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
    bare = (o for n, o in out.items() if not _NAMES_UNIT.fullmatch(n) and _meant(o) == o)
    return Reading(out, tuple(missing), frozenset(bare))


def _known(column: str) -> bool:
    return column in (*PLACE, *WEATHER_QUANTITIES) or soil_depth(column) is not None


def soil_depth(column: str) -> float | None:
    """Depth of a column of measured soil, ``soil_<depth>cm_c`` [cm]; None of other columns."""
    name = column.removeprefix("soil_").removesuffix("cm_c")
    if column != f"soil_{name}cm_c":
        return None
    try:
        depth = float(name)
    except ValueError:
        return None
    return depth if 0 <= depth <= 100 else None


def _meant(column: str) -> str:
    """Name here of a column, whose own may say that it is in other units."""
    soil = _SOIL.fullmatch(column)
    if soil:
        return f"soil_{to_canonical('depth', float(soil[1]), soil[2]):g}cm_c"
    return _OTHER_UNITS.get(column, column)


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


def read_day_column(given: "pd.Series[Any]") -> DayArray:
    """Read a column of text, dates or times; NaT where there is no day, or of a year of `YEARS`.

    Of numbers nobody knows what they count.
    """
    if given.dtype.kind == "M":
        times = given.dt.tz_localize(None) if getattr(given.dtype, "tz", None) else given
        days = times.to_numpy().astype("datetime64[D]")
    else:
        codes, values = pd.factorize(given, use_na_sentinel=True)
        known = [*map(day_of, values), np.datetime64("NaT", "D")]  # the last for a code of -1
        days = np.array(known, dtype="datetime64[D]")[codes]
    first, past = (np.datetime64(f"{year}-01-01", "D") for year in (YEARS[0], YEARS[1] + 1))
    return np.where((days >= first) & (days < past), days, np.datetime64("NaT", "D"))


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


def _read_number_column(given: "pd.Series[Any]") -> tuple[FloatArray, BoolArray]:
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


def block_of(
    rows: pd.DataFrame,
    source: str,
    order: Sequence[str],
    reading: Reading = Reading(),
    found: Sequence[SiteFault] = (),
) -> Block:
    """Make arrays of the rows of some sites, in the order wanted, checking every value.

    ``found`` are faults known before. A site with a fault of its own is left out, and the fault
    stands in the block: what is no day or no number, a day twice, no place, temperatures in degF,
    or over one in a hundred of its values of a column that can't be true; fewer are set aside as
    missing and counted. `AllLeftOutError` when every site has one.
    """
    table, more = _typed(rows, source, reading, found)
    lines, order = list[Fault](), list(order)
    while True:
        lines += [fault for fault, _ in more]
        if out := {site for _, sites in more for site in sites}:
            order = [site for site in order if site not in out]
            table = table[table["site"].isin(order)]
        if not order:
            raise AllLeftOutError(lines)
        block, more = _arrays(table, source, order, reading.no_unit)
        if not more:
            return replace(block, left_out=lines)


def _typed(
    rows: pd.DataFrame, source: str, reading: Reading, found: Sequence[SiteFault]
) -> tuple[pd.DataFrame, list[SiteFault]]:
    """Return the rows with days and numbers in our units, and the faults of the sites."""
    faults = list(found)
    told = {site for _, sites in found for site in sites}
    days = read_day_column(rows["date"])
    for at in _first_of_each(rows["site"], np.isnat(days)):
        site = str(rows["site"].iloc[at])
        if site not in told:
            faults.append((no_day(source, site, rows["date"].iloc[at]), [site]))
    out = pd.DataFrame({"site": rows["site"].astype(str), "date": days})
    for column in rows.columns.difference(["site", "date"]):
        out[column], none = _read_number_column(rows[column])
        if column not in PLACE:
            out.loc[np.isin(out[column], reading.missing), column] = np.nan
        for at in _first_of_each(rows["site"], none):
            site = str(rows["site"].iloc[at])
            where = f"site {site}, {days[at]}, column {column}"
            text = f"{_short(rows[column].iloc[at])} in place of a number"
            cure = "write a number, or nothing where missing"
            faults.append((Fault(source, where, text, cure), [site]))
    other = {name: meant for name in map(str, out.columns) if (meant := _meant(name)) != name}
    for name, meant in other.items():
        unit = {"_f": "degF", "_c": "degC", "in": "in"}[name[-2:]]
        quantity = WEATHER_QUANTITIES.get(meant, "soil temperature")
        out[name] = to_canonical(quantity, out[name].to_numpy(), unit)
    return out.rename(columns=other), faults


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


def _arrays(
    table: pd.DataFrame, source: str, order: Sequence[str], no_unit: frozenset[str]
) -> tuple[Block, list[SiteFault]]:
    """Lay rows out as arrays; with faults of sites, it is not to be used."""
    lane = pd.Index(order).get_indexer(pd.Index(table["site"]))
    if (lane < 0).any():
        stranger = table["site"].iloc[int(np.flatnonzero(lane < 0)[0])]
        cure = "write a site's name alike in all its rows"
        raise InputError(Fault(source, f"site {stranger}", "stands among another's rows", cure))
    faults: list[SiteFault] = []

    def leave_out(n: int, where: str, found: str, cure: str) -> None:
        faults.append((Fault(source, f"site {order[n]}{where}", found, cure), [order[n]]))

    limits = load_numbers("quality")
    most_wrong, same_place_deg = (limits[f"sites.{n}"].value for n in ("wrong", "same_place"))
    dates = table["date"].to_numpy().astype("datetime64[D]")
    origin = dates.min()
    day = (dates - origin).astype(np.int64)
    days = int(day.max()) + 1
    place = pd.Series(lane * days + day)
    again = np.unique(place[place.duplicated()])
    for n, at in zip(*np.unique(again // days, return_index=True), strict=True):
        cure = "keep one row for a site and day"
        leave_out(n, f", {origin + again[at] % days}", "stands twice", cure)
    soil = {c: depth for c in table.columns if (depth := soil_depth(c)) is not None}
    arrays, set_aside = {}, {}
    for column in (*WEATHER_QUANTITIES, *soil):
        values = np.full((days, len(order)), np.nan)
        arrays[column] = values
        if column not in table.columns:
            continue
        given = table[column].to_numpy(float)
        quantity = QUANTITIES[WEATHER_QUANTITIES.get(column, "soil temperature")]
        wrong = np.flatnonzero((given < quantity.low) | (given > quantity.high))
        values[day, lane] = given
        unit = _other_unit(source, order, column, values) if column in no_unit else []
        faults += unit
        bad = np.zeros(values.shape, dtype=bool)
        bad[day[wrong], lane[wrong]] = True
        for n in _too_many(bad, values, most_wrong):
            if any(order[n] in sites for _, sites in unit):
                continue
            at = int(bad[:, n].argmax())
            found = f"{values[at, n]:g}, and {bad[:, n].sum() - 1} more out of range"
            cure = f"write {quantity.low:g} to {quantity.high:g} {quantity.canonical}, or "
            cure += f"nothing where missing: --missing-value {values[at, n]:g} does so"
            leave_out(n, f", {origin + at}, column {column}", found, cure)
        if wrong.size:
            set_aside[column] = int(wrong.size)
            values[bad] = np.nan
    swapped = arrays["air_min_c"] > arrays["air_max_c"]
    for n in _too_many(swapped, arrays["air_max_c"], most_wrong):
        where = f", {origin + int(swapped[:, n].argmax())}, columns air_min_c and air_max_c"
        found = f"a minimum above its maximum, and {swapped[:, n].sum() - 1} more"
        leave_out(n, where, found, "exchange the columns or correct them")
    if swapped.any():
        set_aside["air_min_c above air_max_c"] = int(swapped.sum())
        for column in ("air_min_c", "air_max_c"):
            arrays[column][swapped] = np.nan
    places = table.groupby(lane)[["lat", "lon"]]
    apart = (places.max() - places.min() > same_place_deg).any(axis=1)
    for n in apart.index[apart]:
        found = "two places: latitude or longitude changes between its rows"
        leave_out(n, "", found, "give each place its own name")
    last_place = places.last().reindex(range(len(order)))
    latitude, longitude = (last_place[name].to_numpy(float) for name in ("lat", "lon"))
    for n in np.flatnonzero(~(np.abs(latitude) <= 90) | (np.abs(longitude) > 180)).tolist():
        found = f"latitude {latitude[n]:g}, longitude {longitude[n]:g}"
        leave_out(n, "", found, "write degrees north and east: lat -90 to 90, lon -180 to 180")
    nothing, span = np.full((days, len(order)), np.nan), origin + np.arange(days)
    first, last = np.full(len(order), days), np.full(len(order), -1)
    np.minimum.at(first, lane, day)
    np.maximum.at(last, lane, day)
    block = Block(
        sites=list(order),
        latitude=latitude,
        longitude=longitude,
        dates=span,
        first=first,
        last=last,
        probes=[Probe(depth, span, arrays[c], nothing, nothing) for c, depth in soil.items()],
        # The root zone is not told; which one it is changes a mean moved by 2.5 cm by little.
        diffusivity_m2_s=diffusivity_of("loam", "moist"),
        air_min_c=arrays["air_min_c"],
        air_max_c=arrays["air_max_c"],
        rain_mm=arrays["rain_mm"],
        solar_mj_m2=arrays["solar_mj_m2"],
        soil_moisture=arrays["soil_moisture"],
        set_aside=set_aside,
    )
    return block, faults


def _too_many(bad: BoolArray, values: FloatArray, most: float) -> list[int]:
    """Sites of which more than a share of a column's values are bad; one alone is never many."""
    known = np.count_nonzero(~np.isnan(values), axis=0)
    found: list[int] = np.flatnonzero(bad.sum(axis=0) > np.maximum(most * known, 1)).tolist()
    return found


def _other_unit(
    source: str, order: Sequence[str], column: str, values: FloatArray
) -> list[SiteFault]:
    """Sites whose temperatures no place has, though each could be true: degF is meant."""
    if column != "air_max_c" and column in WEATHER_QUANTITIES:
        return []
    of: TemperatureKind = "maxima" if column == "air_max_c" else "means of the soil"
    limit = hottest(of)
    known = np.count_nonzero(~np.isnan(values), axis=0)
    above = np.count_nonzero(values > limit, axis=0)
    suspects = np.flatnonzero(10 * above >= np.maximum(known - 1, 1))  # few, so ranked only here
    warm = {n: float(np.nanquantile(values[:, n], 0.9)) for n in suspects.tolist()}
    sites = [n for n in warm if warm[n] > limit]
    if not sites:
        return []
    more = f" (as at {count_of(len(sites) - 1, 'more site')})" if len(sites) > 1 else ""
    where = f"site {order[sites[0]]}, column {column}"
    cure = f"write degC, or call it {column.removesuffix('c')}f where it is degF"
    fault = Fault(source, where, too_warm(warm[sites[0]], of) + more, cure)
    return [(fault, [order[n] for n in sites])]
