"""Cells with dates and times as moments: order of day, month and year found from the file itself.

The digits of a whole column are split into fields at once; which field is the day is then a
choice among at most three orders, and the steps from row to row say which one holds.
"""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import timedelta

import numpy as np
import numpy.typing as npt
import pandas as pd

from patchrisk.arrays import BoolArray, FloatArray, IntArray
from patchrisk.errors import Fault, InputError
from patchrisk.weather.layout import DateOrder
from patchrisk.weather.stamps import MONTH_NAME, MONTHS

Moments = npt.NDArray[np.datetime64]

_WIDE = 32  # characters of a stamp that are looked at: an ISO stamp with fraction and offset has 29
_MOST_FIELDS = 8
_MOST_PATTERNS = 64  # 1- or 2-digit day, month, hour, minute, second give 32
# Letters of AM and PM, of UTC and GMT, of T and Z, and of st, nd, rd and th; an O is no zero.
_LETTERS = np.frombuffer(b"amptzucgshnrd", np.uint8)
_LEAP_S = 25 * 86400.0  # shorter than any month, longer than most gaps
_MIN_YEAR, _MAX_YEAR = 1970, 2100
# POSIX strptime: 69 to 99 mean the 1900s, 00 to 68 the 2000s.
_PIVOT = 69

_ORDERS: dict[DateOrder, tuple[int, int, int]] = {  # where year, month and day stand
    "year first": (0, 1, 2),
    "day first": (2, 1, 0),
    "month first": (2, 0, 1),
}
_DECLARED: tuple[tuple[DateOrder, str], ...] = (
    ("year first", r"y{2,4}.?m{2}.?d{2}"),
    ("day first", r"d{1,2}.?m{1,2}.?y{2,4}"),
    ("month first", r"m{1,2}.?d{1,2}.?y{2,4}"),
)
_OFFSET = re.compile(r"(?<![a-z])(?:utc|gmt)\s*([+\-−]\s*\d{1,2}(?::?\d{2})?)?(?![\w:])", re.I)
# North American abbreviations, hours from UTC. From memory.
_ZONES = {"EST": -5, "EDT": -4, "CST": -6, "CDT": -5, "MST": -7, "MDT": -6, "PST": -8, "PDT": -7}
_ZONE = re.compile(rf"(?<![A-Za-z])({'|'.join(_ZONES)})(?![A-Za-z])")
_OWN_OFFSET = r"(Z|UTC|GMT|(?:UTC|GMT)?[+-]\d{1,2}(?::?\d{2})?)$"
_TAIL = re.compile(rf":\d{{2}}(?:[.,]\d+)?\s*(?:[AaPp]\.?[Mm]\.?\s*)?{_OWN_OFFSET}")


@dataclass(frozen=True)
class Stamps:
    """The moments of a file's rows.

    Attributes
    ----------
    moments : array of datetime64[s]
        As the file's clock showed them; NaT where the cells are no time.
    order : str
        How dates were read, and on what grounds.
    days_only : bool
        Whether the file gives dates without a time of day.
    in_utc : bool
        Whether the stamps carried their own offset, so that the moments are UTC.
    """

    moments: Moments
    order: str
    days_only: bool
    in_utc: bool


def read_stamps(
    columns: Sequence["pd.Series[str]"], told: DateOrder | None, header: str, source: str
) -> Stamps:
    """Read the moments out of one column, or of a date's and a time's.

    Parameters
    ----------
    columns : sequence of Series of str
        The date, or date and time; then the time of day and AM or PM where these stand apart.
        The index is the line number.
    told : {"day first", "month first", "year first"}, optional
        The order as the user tells it.
    header : str
        The columns' headers, which may declare the order, as ``dd/mm/yyyy`` does.
    source : str
        File named in the faults.

    Raises
    ------
    InputError
        When the dates can be read in more than one order and nothing settles it, or not in the
        order told, or day and month are exchanged in some of them.
    """
    cells = columns[0].fillna("").astype(object)
    for column in columns[1:]:
        cells = cells + " " + column.fillna("").astype(object)
    sample = [str(c).strip() for c in _spread(cells)]
    shifts = None
    if sum(bool(_TAIL.search(c)) for c in sample) > len(sample) / 2:
        cells, shifts = _cut_offsets(cells)
    named = _month_position(sample)
    if named is not None:
        cells = pd.Series([_number_months(str(c)) for c in cells], cells.index, dtype=object)
    half = any(re.search(r"\d\s*[AaPp]\.?[Mm]\b", c) for c in sample)
    fields, sizes, pm = _fields(cells, half)
    days, size, seconds = _parse_clock(fields, sizes, pm)
    orders = _possible(size, named)
    # Which fields may be what is settled by the file; where it is not, by the user.
    read = {order: _days(days, size, _ORDERS[order]) for order in orders}
    order, why = _choose(read, seconds, told, header, cells, named, source)
    if named is None:
        year, month, day = _ORDERS[order]
        other = _days(days, size, (year, day, month))
        _refuse_exchanged(read[order], other, seconds, cells, source)
    moments = read[order] * 86400 + seconds
    if shifts is not None:
        moments = moments - shifts
    out = moments.astype("datetime64[s]")
    out[np.isnan(read[order]) | np.isnan(seconds)] = np.datetime64("NaT")
    days_only = bool(np.all(seconds[~np.isnan(seconds)] == 0)) and not any(":" in c for c in sample)
    return Stamps(out, f"{order}, {why}", days_only, shifts is not None)


def find_offset(header: str, titles: Iterable[str]) -> tuple[timedelta, str] | None:
    """Find the file's offset from UTC in the time column's header, or in the lines above.

    Returns
    -------
    tuple of timedelta and str, or None
        The offset and where it is written; None when it is nowhere, or the titles disagree.
    """
    if match := _OFFSET.search(header):
        return _to_offset(match[1] or "+0"), f"the header says {match[0].strip()}"
    if zone := _ZONE.search(header):
        return timedelta(hours=_ZONES[zone[1]]), f"the header says {zone[1]}"
    found = {_to_offset(m[1]): m[0] for line in titles for m in _OFFSET.finditer(line) if m[1]}
    if len(found) == 1:
        offset, text = found.popitem()
        return offset, f"a title line says {text.strip()}"
    return None


def _to_offset(text: str) -> timedelta:
    sign = -1 if text[0] in "-−" else 1
    digits = text[1:].strip().replace(":", "")
    hours, minutes = (digits[:-2], digits[-2:]) if len(digits) > 2 else (digits, "0")
    return sign * timedelta(hours=int(hours), minutes=int(minutes))


def _spread(cells: "pd.Series[str]", number: int = 200) -> "pd.Series[str]":
    return cells.iloc[np.unique(np.linspace(0, len(cells) - 1, number).astype(int))]


def _cut_offsets(cells: "pd.Series[str]") -> tuple["pd.Series[str]", FloatArray]:
    parts = cells.str.extract(rf"^(.*?)\s*{_OWN_OFFSET}")
    texts = parts[1].fillna("")
    seconds = {
        t: _to_offset(t.removeprefix("UTC").removeprefix("GMT")).total_seconds()
        if t and t[-1].isdigit()
        else (0.0 if t else np.nan)
        for t in texts.unique()
    }
    return parts[0].fillna(""), texts.map(seconds).to_numpy(float)


def _month_position(sample: Sequence[str]) -> int | None:
    """Position of a month written as a word among the fields of the date, or None."""
    for cell in sample:
        if match := MONTH_NAME.search(cell):
            return 0 if not re.search(r"\d", cell[: match.start()]) else 1
    return None


def _number_months(cell: str) -> str:
    def number(match: re.Match[str]) -> str:
        return f" {MONTHS.index(match[0][:3].lower()) + 1:02d} "

    return MONTH_NAME.sub(number, cell, count=1).strip()


def _fields(cells: "pd.Series[str]", half: bool) -> tuple[IntArray, IntArray, npt.NDArray[np.int8]]:
    """Split the digits of every cell into fields: values, their numbers of digits, AM or PM.

    Rows that show digits in the same places are cut up together, so that the work is done once
    for each of a few patterns and not once for each row.
    """
    try:
        raw = cells.to_numpy(object).astype(f"S{_WIDE}")
    except UnicodeEncodeError:
        raw = np.array([str(c).encode("ascii", "replace") for c in cells], f"S{_WIDE}")
    chars = raw.view(np.uint8).reshape(len(raw), _WIDE)
    digit = (chars >= ord("0")) & (chars <= ord("9"))
    lower = chars | 0x20
    letter = (lower >= ord("a")) & (lower <= ord("z")) & ~np.isin(lower, _LETTERS)
    foreign = letter.any(axis=1)
    keys = np.packbits(digit, axis=1).view(">u4").ravel().astype(np.int64)
    codes, patterns = pd.factorize(keys)
    fields = np.full((_MOST_FIELDS, len(raw)), -1, np.int64)
    sizes = np.zeros((_MOST_FIELDS, len(raw)), np.int64)
    pm = np.zeros(len(raw), np.int8)
    common = np.argsort(-np.bincount(codes, minlength=len(patterns)))[:_MOST_PATTERNS]
    for code in common:
        shows = [bool(patterns[code] >> (_WIDE - 1 - i) & 1) for i in range(_WIDE)]
        runs = [(m.start(), m.end()) for m in re.finditer("1+", "".join("01"[s] for s in shows))]
        if not runs or runs[0][0] != 0 or len(runs) > _MOST_FIELDS or runs[0][1] > 14:
            continue
        rows = slice(None) if len(patterns) == 1 else np.flatnonzero(codes == code)
        part = chars[rows]
        for n, (start, end) in enumerate(runs):
            value = np.zeros(len(part), np.int64)
            for place in range(start, min(end, start + 14)):
                value = value * 10 + (part[:, place] - ord("0"))
            fields[n, rows], sizes[n, rows] = value, end - start
        if half:
            lower = part[:, runs[-1][1] : runs[-1][1] + 4] | 0x20
            pm[rows] = np.where((lower == ord("p")).any(axis=1), 2, 0)
            pm[rows] += ((lower == ord("a")).any(axis=1) & (pm[rows] == 0)).astype(np.int8)
    sizes[:, foreign] = 0
    return fields, sizes, pm


def _parse_clock(
    fields: IntArray, sizes: IntArray, pm: npt.NDArray[np.int8]
) -> tuple[IntArray, IntArray, FloatArray]:
    """Part the three fields of the date from the time of day, which is given in seconds."""
    compact = sizes[0] >= 8
    if compact.any():
        fields, sizes = _open_compact(fields, sizes, compact)
    date, size, clock, count = fields[:3], sizes[:3], fields[3:6], sizes[3:6]
    hour, minute, second = (np.where(c > 0, f, 0) for f, c in zip(clock, count, strict=True))
    # A time without its colon: 30, 100 and 2330 are half past midnight, one, half past eleven.
    alone = (count[0] > 0) & (count[1] == 0)
    if alone.any() and hour[alone].max() > 24:
        minute = np.where(alone, hour % 100, minute)
        hour = np.where(alone, hour // 100, hour)
    valid = (size > 0).all(axis=0) & ((count[0] > 0) | (sizes[3] == 0))
    valid &= (minute < 60) & (second < 60) & (hour <= 24)
    valid &= (hour < 24) | ((minute == 0) & (second == 0))
    valid &= (pm == 0) | (hour <= 12)
    hour = np.where(pm > 0, hour % 12 + 12 * (pm == 2), hour)
    seconds = np.where(valid, hour * 3600.0 + minute * 60 + second, np.nan)
    return date, size, seconds


def _open_compact(
    fields: IntArray, sizes: IntArray, compact: BoolArray
) -> tuple[IntArray, IntArray]:
    """Part YYYYMMDD, YYYYMMDDHHMM and YYYYMMDDHHMMSS; a time may also follow as its own field."""
    out, outsizes = fields.copy(), sizes.copy()
    size = sizes[0]
    scale = np.select([size == 8, size == 12, size == 14], [1, 10**4, 10**6], 1)
    date, clock = fields[0] // scale, fields[0] % scale
    clock = np.where(size == 12, clock * 100, clock)
    parts = (date // 10000, date // 100 % 100, date % 100)
    inside = size > 8
    times = (clock // 10000, clock // 100 % 100, clock % 100)
    for n, part in enumerate(parts):
        out[n] = np.where(compact, part, out[n])
        outsizes[n] = np.where(compact, (4, 2, 2)[n], outsizes[n])
    for n, part in enumerate(times):
        out[3 + n] = np.where(compact, np.where(inside, part, fields[1 + n]), out[3 + n])
        outsizes[3 + n] = np.where(compact, np.where(inside, 2, sizes[1 + n]), outsizes[3 + n])
    out[6:], outsizes[6:] = -1, 0
    return out, outsizes


def _possible(size: IntArray, named: int | None) -> list[DateOrder]:
    """Orders that the sizes of the fields allow, going by most rows."""
    if named == 0:
        return ["month first"]
    usual = [int(np.bincount(s, minlength=5).argmax()) for s in size]
    if usual[0] == 4:
        return ["year first"]
    if named == 1:
        return ["day first"] if usual[2] == 4 else ["day first", "year first"]
    return ["day first", "month first"] if usual[2] == 4 else list(_ORDERS)


def _days(fields: IntArray, size: IntArray, places: tuple[int, int, int]) -> "np.ndarray":
    """Days since 1970 in one order; NaN where the fields are no date in it."""
    year, month, day = (fields[p] for p in places)
    digits = size[places[0]]
    century = np.where(year >= _PIVOT, 1900, 2000)
    year = np.where(digits == 2, year + century, year)
    valid = ((digits == 2) | (digits == 4)) & (year >= _MIN_YEAR) & (year <= _MAX_YEAR)
    valid &= (month >= 1) & (month <= 12) & (day >= 1) & (size[places[1]] > 0)
    valid &= (size[places[2]] > 0) & (size[places[1]] <= 2) & (size[places[2]] <= 2)
    months = np.where(valid, (year - 1970) * 12 + month - 1, 0).astype("datetime64[M]")
    first = months.astype("datetime64[D]").astype(np.int64)
    length = (months + 1).astype("datetime64[D]").astype(np.int64) - first
    valid &= day <= length
    return np.where(valid, first + day - 1.0, np.nan)


def _choose(
    read: dict[DateOrder, "np.ndarray"],
    seconds: FloatArray,
    told: DateOrder | None,
    header: str,
    cells: "pd.Series[str]",
    named: int | None,
    source: str,
) -> tuple[DateOrder, str]:
    timed = ~np.isnan(seconds)
    bad = {order: int(np.isnan(days[timed]).sum()) for order, days in read.items()}
    if told is not None:
        if told not in read or bad[told] > 0.01 * timed.sum():
            raise InputError(_contradicts(read, told, timed, cells, source))
        return told, "as told"
    least = min(bad.values())
    # Dates that break one order only are evidence; a few that break all are damaged rows.
    fits = [order for order in read if bad[order] <= max(least, 0.001 * timed.sum())]
    if len(fits) == 1:
        return fits[0], _why_only(read, fits[0], cells, named)
    jumps = {order: _jumps(read[order] * 86400 + seconds) for order in fits}
    best, second = sorted(fits, key=lambda order: jumps[order])[:2]
    if 2 * jumps[best] <= jumps[second] and jumps[best] < jumps[second]:
        return best, f"the only order in which day follows day ({_example(cells)})"
    declared = next((o for o, p in _DECLARED if re.search(p, header, re.I) and o in fits), None)
    if declared is not None:
        return declared, "as the header says"
    same = np.array_equal(read[best], read[second], equal_nan=True)
    if same:
        return best, "every order gives the same days"
    if "." in _example(cells).split(" ")[0] and "day first" in fits and "year first" not in fits:
        return "day first", "dates with full stops are written so"
    choices = " or ".join(f'"{order}"' for order in read)
    found = f"dates such as {_example(cells)} can be read in more than one order"
    raise InputError(Fault(source, f"line {cells.index[0]}", found, f"set date_order = {choices}"))


def _jumps(seconds: FloatArray) -> int:
    """Count the steps from row to row that are as long as a month.

    Read in the wrong order, the date leaps by a month or a year from each day to the next.
    """
    return int((np.abs(np.diff(seconds[~np.isnan(seconds)])) > _LEAP_S).sum())


def _refuse_exchanged(
    days: "np.ndarray",
    other: "np.ndarray",
    seconds: FloatArray,
    cells: "pd.Series[str]",
    source: str,
) -> None:
    """Refuse dates that leap to and fro unless day and month change places where they can."""
    mended = np.where(np.isnan(other), days, other)
    leaps, left = (_jumps(d * 86400 + seconds) for d in (days, mended))
    after_12th = np.isnan(other) & ~np.isnan(days)
    if leaps >= 4 and 10 * left <= leaps and 4 * after_12th.sum() >= len(days):
        at = int(np.flatnonzero(~after_12th & (days != mended))[0])
        found = f"day and month are exchanged in some dates, as in {str(cells.iloc[at]).strip()!r}"
        cure = "export again, and don't save it from a spreadsheet"
        raise InputError(Fault(source, f"line {cells.index[at]}", found, cure))


def _example(cells: "pd.Series[str]") -> str:
    return repr(str(cells.iloc[0]).strip())


def _why_only(
    read: dict[DateOrder, "np.ndarray"],
    order: DateOrder,
    cells: "pd.Series[str]",
    named: int | None,
) -> str:
    if named is not None:
        return "months are written as words"
    others = [days for other, days in read.items() if other != order]
    if not others:
        return f"years have four digits ({_example(cells)})"
    # The date that breaks the order which fits next best.
    next_best = min(others, key=lambda days: int(np.isnan(days).sum()))
    at = int(np.flatnonzero(np.isnan(next_best) & ~np.isnan(read[order]))[0])
    return f"line {cells.index[at]} has {str(cells.iloc[at]).strip()!r}"


def _contradicts(
    read: dict[DateOrder, "np.ndarray"],
    told: DateOrder,
    timed: BoolArray,
    cells: "pd.Series[str]",
    source: str,
) -> Fault:
    wrong = timed & np.isnan(read[told]) if told in read else timed
    at = int(wrong.argmax())
    found = f"{str(cells.iloc[at]).strip()!r} can't be {told}"
    return Fault(source, f"line {cells.index[at]}", found, "correct date_order, or take it out")
