"""A file opened as a table, whatever its shape: one row a time, one column a sensor."""

import re
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd

from patchrisk.base.errors import Fault, InputError
from patchrisk.base.units import IntArray
from patchrisk.read.logger.layout import DateOrder
from patchrisk.read.site import LoggerFile
from patchrisk.read.tables.cells import is_moment
from patchrisk.read.tables.delimited import RawTable, parse_table, refuse_size
from patchrisk.read.tables.file_text import decode_text, is_workbook, read_bytes, read_sheets
from patchrisk.read.tables.known_formats import (
    RewrittenText,
    join_date_columns,
    rewrite_annotated_csv,
    rewrite_ghcn_daily,
)
from patchrisk.read.tables.timestamps import Stamps, read_stamps


def read_raw_table(path: Path, options: LoggerFile) -> RawTable:
    """Open a file as a table.

    InputError as `file_text.read_text` and `delimited.parse_table` do; and when a workbook has no
    sheet of readings, or more than one and none is told.
    """
    source = str(path)
    raw = read_bytes(path)
    if is_workbook(raw):
        return _from_workbook(raw, source, options)
    if options.sheet is not None:
        found = "this is no Excel workbook"
        raise InputError(Fault(source, "sheet", found, "take sheet out, or name the workbook"))
    text = decode_text(raw, source, options.encoding)
    return _from_text(text.text, text.encoding, source, options)


_APART = np.timedelta64(2, "D")  # no zone's, nor the span that a row stands for


def read_times(table: RawTable, options: LoggerFile) -> Stamps:
    """Read the times of a table's rows.

    InputError as `read_stamps`, and when another column holds times of each row, days apart from
    them, and none is told: a clock that was wrong and its correction, the forecast day and the day
    that it was issued.
    """
    columns = [table.cells[i] for i in table.time_columns]
    stamps = read_stamps(columns, options.date_order, table.time_header, table.source)
    if options.time is not None:
        return stamps
    for i, name in enumerate(table.names):
        cells = table.cells[i]
        if i in table.time_columns or not _holds_moments(cells):
            continue
        try:
            other = read_stamps([cells], options.date_order, name, table.source)
        except InputError:
            continue
        apart = np.abs(other.written - stamps.written)
        apart = apart[~np.isnat(apart)]
        several = len(np.unique(other.written[~np.isnat(other.written)]))
        if 2 * len(apart) <= len(cells) or 10 * several <= len(apart):
            continue  # no time of each row
        if np.median(apart.astype(np.int64)) < _APART.astype("timedelta64[s]").astype(np.int64):
            continue
        both = [table.names[table.time_columns[0]], name]
        found = f"two columns of times, days apart: {' and '.join(map(repr, both))}"
        cure = "say which: " + " or ".join(f'time = "{one}"' for one in both)
        raise InputError(table.fault("header", found, cure))
    return stamps


def _from_workbook(raw: bytes, source: str, options: LoggerFile) -> RawTable:
    sheets = read_sheets(raw, source, options.sheet)
    plain = options.model_copy(update={"delimiter": "\t", "encoding": None})
    tables: dict[str, RawTable] = {}
    faults: list[Fault] = []
    for name, text in sheets.items():
        try:
            table = _from_text(text, "Excel workbook", f"{source}, sheet {name!r}", plain)
        except InputError as error:
            faults += error.faults
            continue
        tables[name] = replace(table, source=source, notes=(f"sheet {name!r}", *table.notes))
    if not tables:
        raise InputError(faults)
    if len(tables) > 1:
        rows = (f"{name!r} ({len(table.cells)} rows)" for name, table in tables.items())
        found = f"{len(tables)} sheets hold rows with dates: {', '.join(rows)}"
        longest = max(tables, key=lambda name: len(tables[name].cells))
        cure = f'say which: set sheet = "{longest}"'
        raise InputError(Fault(source, "", found, cure))
    return next(iter(tables.values()))


def _from_text(text: str, encoding: str, source: str, options: LoggerFile) -> RawTable:
    # Each looks at a text, and makes it plain or leaves it alone.
    plain = rewrite_annotated_csv(text) or rewrite_ghcn_daily(text)
    plain = plain or join_date_columns(text, options)
    if plain is None:
        table = parse_table(text, encoding, source, options)
    else:
        table = _from_plain(plain, encoding, source, options)
    return _spread_series(_name_microclimate_columns(table), options.date_order)


def _from_plain(plain: RewrittenText, encoding: str, source: str, options: LoggerFile) -> RawTable:
    header = options.header_line if plain.lines is None else None
    told = {"delimiter": plain.delimiter, "header_line": header}
    options = options.model_copy(update=told)
    table = parse_table(plain.text, encoding, source, options)
    table = replace(table, notes=(plain.note,))
    if plain.lines is None:
        return table
    cells = table.cells.set_axis(pd.Index(plain.lines[table.cells.index.to_numpy(np.int64) - 1]))
    return replace(
        table,
        cells=cells,
        first_line=int(plain.lines[table.first_line - 1]),
        header_line=None if table.header_line is None else int(plain.lines[table.header_line - 1]),
    )


# Quarters of an hour from UTC; beyond the widest zones the third column is something else.
_ZONES = range(-48, 57)
_COUNTED = 0.9
_WITH_COUNTS = (6, 7)  # columns after the zone; a row may end in a semicolon


def _name_microclimate_columns(table: RawTable) -> RawTable:
    """Name the columns of ``n;date;zone;T1;T2;T3;...``: a counter, the time in UTC, the zone.

    The temperatures stay without a name, as which of them lies in the soil depends on the logger
    and on how it was set: they are asked for by their position.

    The maker's description of the file (its page on data, as copied into R/tomst.R of
    github.com/atkinsjeff/MicroData): index, date and time in UTC, time zone, T1, T2, T3, moisture
    count, shake, error flag; "all measurement runs in UTC".
    """
    if table.header_line is not None or table.delimiter != ";" or len(table.names) < 6:
        return table
    if table.time_columns != (1,):
        return table
    count, zone = table.cells[0], table.cells[2]
    if not all(pd.api.types.is_integer_dtype(column) for column in (count, zone)):
        return table
    # A logger read in parts starts its count anew; nearly every row is one more than the last.
    if not zone.isin(_ZONES).all() or float((count.diff().dropna() == 1).mean()) < _COUNTED:
        return table
    rest = table.names[3:]
    counts = [pd.api.types.is_integer_dtype(table.cells[n]) for n in range(6, len(table.names))]
    if len(rest) in _WITH_COUNTS and all(counts[:3]):
        rest = (*rest[:3], "moisture count", "shake", "error flag", *rest[6:])
    names = ("record", "time UTC", "time zone", *rest)
    note = "no header: columns as a microclimate logger writes them, times in UTC"
    return replace(table, names=names, notes=(*table.notes, note))


# Tables with one row for each sensor and time: made into one column a sensor.
_TAIL = r"(?:[ _-]?(?:id|name|no|nr|number|code|type|key|label|serial|cm|mm|m|in|inch|inches|ft))*"
# Columns that tell one instrument from another.
_SENSOR = re.compile(
    r"(?:sensor|probe|channel|chan|device|node|logger|station|site|plot|location|position|port"
    rf"|entity|depth|soil depth|sensor depth|messstelle|sonde|capteur|sonda){_TAIL}"
)
# Columns that tell one quantity from another, beside a column of values.
_QUANTITY = re.compile(
    r"(?:series|field|_?field|_?measurement|metric|variable|var|parameter|param|element|quantity"
    rf"|observed property|property|attribute|topic|messgr[öo](?:ß|ss)e|statistic){_TAIL}"
)
_LOOSE = re.compile(rf"(?:label|tag|type|name|friendly name|key|item|data ?type){_TAIL}")
_VALUE = re.compile(
    r"_?values?|state|reading|val|data ?value|result|result ?value|wert|messwert|valeur|valor"
    r"|measured ?value|measurement ?value|numeric ?value"
)
_UNIT_HEADER = re.compile(r"units?|unit of measurement|uom|einheit|units? ?name|unidad|unit[eé]")
_DEPTH = re.compile(r"(?:soil |sensor )?depth")
_DEPTH_UNIT = re.compile(r"(?<![a-z])(cm|mm|m|in|inch|inches|ft)(?![a-z])")
# What Home Assistant writes of an entity that gives nothing:
# https://www.home-assistant.io/docs/configuration/state_object/
_NOTHING = ("unavailable", "unknown", "Unavailable", "Unknown")
_AGAIN = 0.8  # of the rows


def _spread_series(table: RawTable, order: DateOrder | None) -> RawTable:
    """Give every sensor or quantity of a long table its column; leave other tables alone."""
    plain = [_plain(name) for name in table.names]
    free = [
        i
        for i, name in enumerate(plain)
        if name and i not in table.time_columns and not _holds_moments(table.cells[i])
    ]
    values = [i for i in free if _VALUE.fullmatch(plain[i])]
    values = values if len(values) == 1 else []
    keys = _keys(table, plain, free, values)
    if not keys:
        return table
    units = [i for i in free if _UNIT_HEADER.fullmatch(plain[i])] if values else []
    # Without a column of values every other column is one, of each sensor.
    values = values or [i for i in free if i not in keys and not table.cells[i].isna().all()]
    if not values:
        return table
    if table.shifted.any():
        line = table.cells.index[table.shifted][0]
        found = "more cells than in other rows"
        cure = "write decimal points, or part the columns by semicolons"
        raise InputError(table.fault(f"line {line}", found, cure))
    return _pivot(table, keys, values, units, order)


def _plain(name: str) -> str:
    return " ".join(re.sub(r"[\[(].*?[\])]", "", name.casefold().replace("_", " ")).split())


def _holds_moments(cells: "pd.Series[str]") -> bool:
    some = cells.dropna().head(5)
    return len(some) > 0 and all(is_moment(str(cell).strip()) for cell in some)


def _keys(
    table: RawTable, plain: Sequence[str], free: Sequence[int], values: Sequence[int]
) -> list[int]:
    """Columns that name the sensor or the quantity of each row."""
    cells = table.cells
    sensors = [i for i in free if _SENSOR.fullmatch(plain[i])]
    sensors = [i for i in sensors if _DEPTH.match(plain[i]) or _are_names(cells[i])]
    differ = [i for i in sensors if _differs(cells[i])]
    if not values:
        deep = any(_DEPTH.match(plain[i]) for i in differ)
        # A depth that has one figure at each time is one of snow or water, and no probe's.
        if deep and not _times_again(table):
            return []
        return differ or _telling_names(table, plain, free)
    quantities = [i for i in free if _QUANTITY.fullmatch(plain[i])]
    loose = [i for i in free if _LOOSE.fullmatch(plain[i])]
    if not (sensors or quantities):
        # A word such as type can be a remark too: it names series if one time has several.
        loose = [i for i in loose if _differs(cells[i])]
        return loose if loose and _times_again(table) else []
    strong = [*sensors, *quantities]
    return [i for i in strong if _differs(cells[i])] or strong[-1:]


def _telling_names(table: RawTable, plain: Sequence[str], free: Sequence[int]) -> list[int]:
    """Columns of names that tell the rows of each time apart, where nothing else does."""
    names = [i for i in free if _LOOSE.fullmatch(plain[i]) and _differs(table.cells[i])]
    if not names or not _times_again(table):
        return []
    rows = table.cells[[*table.time_columns, *names]].astype(str)
    return [] if rows.duplicated(keep=False).mean() > 1 - _AGAIN else names


def _are_names(cells: "pd.Series[str]") -> bool:
    """Whether cells can name sensors: words or whole numbers, and each in several rows."""
    known = cells.dropna()
    if pd.api.types.is_numeric_dtype(known) and (known.to_numpy(float) % 1 != 0).any():
        return False
    return 2 * known.nunique() <= len(known)


def _differs(cells: "pd.Series[str]") -> bool:
    known = cells.dropna()
    return len(known) > 0 and bool((known != known.iloc[0]).any())


def _times_again(table: RawTable) -> bool:
    """Whether nearly every time stands in several rows, or at the least in two."""
    stamps = table.cells[list(table.time_columns)].astype(str)
    return float(stamps.duplicated(keep=False).mean()) > _AGAIN


def _pivot(
    table: RawTable,
    keys: Sequence[int],
    values: Sequence[int],
    units: Sequence[int],
    order: DateOrder | None,
) -> RawTable:
    cells = table.cells
    times = [cells[i] for i in table.time_columns]
    moments = read_stamps(times, order, table.time_header, table.source).moments
    names = _series_names(table, keys, units)
    codes, series = pd.factorize(names)
    row, lines = _rows(moments, codes, cells.index.to_numpy(np.int64))
    width = len(table.time_columns) + len(series) * len(values)
    refuse_size(int(row.max()) + 1, width, int(lines[0]), table.source)
    number = len(lines)
    out: dict[int, object] = {}
    places: dict[int, IntArray] = {}
    heads: list[str] = []
    under: list[str] = []
    for i in table.time_columns:
        column = np.full(number, np.nan, object)
        column[row[::-1]] = cells[i].to_numpy(object)[::-1]
        out[len(heads)] = column
        heads.append(table.names[i])
        under.append(table.under[i])
    for i in values:
        numeric = pd.api.types.is_numeric_dtype(cells[i])
        given = cells[i] if numeric else cells[i].where(~cells[i].isin(_NOTHING))
        data = given.to_numpy(float if numeric else object)
        alone = bool(_VALUE.fullmatch(_plain(table.names[i])))
        for n, name in enumerate(series):
            of_series = codes == n
            column = np.full(number, np.nan, float if numeric else object)
            column[row[of_series]] = data[of_series]
            head = _with_unit(str(name), table.names[i]) if alone else f"{table.names[i]} {name}"
            places[len(heads)] = lines.copy()
            places[len(heads)][row[of_series]] = cells.index.to_numpy(np.int64)[of_series]
            out[len(heads)] = column
            heads.append(head.strip())
            under.append(table.under[i])
    said = " and ".join(repr(table.names[i]) for i in keys)
    note = f"one row for each {said} and time: made into {len(series)} columns"
    return replace(
        table,
        names=tuple(heads),
        under=tuple(under),
        cells=pd.DataFrame(out, index=pd.Index(lines)),
        time_columns=tuple(range(len(table.time_columns))),
        shifted=np.zeros(number, bool),
        apart=True,
        places=places,
        notes=(*table.notes, note),
    )


def _with_unit(name: str, value_header: str) -> str:
    """Name a series, with the unit that the header of the values may carry in brackets."""
    unit = re.search(r"[\[(].*?[\])]", value_header)
    return f"{name} {unit[0]}" if unit and "(" not in name else name


def _series_names(table: RawTable, keys: Sequence[int], units: Sequence[int]) -> "pd.Series[str]":
    names = pd.Series("", index=table.cells.index, dtype=object)
    for i in keys:
        names = (names + " " + _labels(table.cells[i], table.names[i])).str.strip()
    for i in units:
        unit = table.cells[i].fillna("").astype(str).str.strip()
        names = names + unit.map(lambda u: f" ({u})" if u else "")
    return names


def _labels(cells: "pd.Series[str]", header: str) -> "pd.Series[str]":
    low = header.casefold().replace("_", " ")
    if pd.api.types.is_numeric_dtype(cells):
        words = cells.map(lambda c: "" if np.isnan(c) else f"{c:g}").astype(object)
        plain = _plain(header)
        if _DEPTH.match(plain):
            unit = _DEPTH_UNIT.search(low)
            return words + f" {unit[1]}" if unit else "depth " + words
        return plain + " " + words
    return cells.fillna("").astype(str).str.strip().astype(object)


def _rows(moments: "np.ndarray", codes: IntArray, lines: IntArray) -> tuple[IntArray, IntArray]:
    """Row of the new table for each row of the old, and the line each new row begins on.

    The second reading of a sensor at one time gets a row of its own, as nothing says which holds.
    """
    known = ~np.isnat(moments)
    seconds = moments.astype("datetime64[s]").astype(np.int64)
    seconds = np.where(known, seconds, np.iinfo(np.int64).max - np.arange(len(seconds)))
    frame = pd.DataFrame({"at": seconds, "series": codes})
    frame["again"] = frame.groupby(["at", "series"]).cumcount()
    row, first = pd.factorize(pd.MultiIndex.from_frame(frame[["at", "again"]]))
    at = np.array([key[0] for key in first], np.int64)
    begun = np.zeros(len(at), np.int64)
    begun[row[::-1]] = lines[::-1]
    # Sensors one below the other, each at times of its own, follow no time: put in order. A clock
    # that was set back inside each series is left for the checks to see.
    back = int((np.diff(at) < 0).sum())
    alone = max(int((np.diff(seconds[codes == n]) < 0).sum()) for n in range(codes.max() + 1))
    if back > alone:
        place = np.argsort(at, kind="stable")
        rank = np.empty_like(place)
        rank[place] = np.arange(len(place))
        return rank[row], begun[place]
    return row.astype(np.int64), begun
