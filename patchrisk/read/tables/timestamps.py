"""Cells with dates and times as moments: order of day, month and year found from the file itself.

Each day, and each time of day, is read once however many rows show it. Which number is the day is
a choice among at most three orders, and the steps from row to row say which one holds.
"""

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
import numpy.typing as npt
import pandas as pd

from patchrisk.base.errors import Fault, InputError
from patchrisk.base.units import BoolArray, FloatArray, IntArray
from patchrisk.read.logger.layout import DateOrder
from patchrisk.read.tables.cells import HALF, MONTH_NAME, MONTHS, OWN_OFFSET, ZONES

Moments = npt.NDArray[np.datetime64]

_LEAP_S = 25 * 86400.0  # shorter than any month, longer than most gaps
_MIN_YEAR, _MAX_YEAR = 1970, 2100
_PIVOT = 69  # POSIX strptime: 69 to 99 mean the 1900s, 00 to 68 the 2000s
_EPOCH = date(1970, 1, 1).toordinal()

_COMPACT = re.compile(r"(\d{8})[T :]?(\d\d)(\d\d)(\d\d)?")
_SEP = r"(?:st|nd|rd|th)?[^\dA-Za-z]+"
_FIELDS = re.compile(
    rf"\s*(?:(\d{{1,4}}){_SEP}(\d{{1,2}}){_SEP}(\d{{1,4}})|(\d{{4}})(\d\d)(\d\d))[T\W]*"
)
_CLOCK = re.compile(
    rf"\s*([0-9]{{1,2}}):([0-9]{{2}})(?::([0-9]{{2}})(?:[.,][0-9]*)?)?\s*({HALF})?\s*"
)

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
_TAIL = re.compile(rf":\d{{2}}(?:[.,]\d+)?\s*(?:(?:{HALF})\s*)?{OWN_OFFSET}$")


@dataclass(frozen=True)
class Stamps:
    """The moments of a file's rows."""

    moments: Moments  # As the file's clock showed them; NaT where the cells are no time
    order: str  # How dates were read, and on what grounds
    days_only: bool  # Whether the file gives dates without a time of day
    in_utc: bool  # Whether the stamps carried their own offset, so that the moments are UTC
    written: Moments  # The moments as the cells write them, whatever their offset


def read_stamps(
    columns: Sequence["pd.Series[str]"], date_order: DateOrder | None, header: str, source: str
) -> Stamps:
    """Read the moments out of one column, or of a date's and a time's.

    ``columns``: the date, or date and time; then the time of day and AM or PM where these stand
    apart. The index is the line number. ``date_order``: the order as the user tells it. ``header``:
    the columns' headers, which may declare the order, as ``dd/mm/yyyy`` does. ``source``: file
    named in the faults. InputError when the dates can be read in more than one order and nothing
    settles it, or not in the order told, or day and month are exchanged in some of them.
    """
    cells = columns[0].fillna("").astype(object)
    for column in columns[1:]:
        cells = cells + " " + column.fillna("").astype(object)
    sample = [str(c).strip() for c in _spread(cells)]
    shifts = None
    stamps = cells
    if any(_TAIL.search(c) for c in sample):
        stamps, shifts = _cut_offsets(cells, source)
    alone = len(columns) > 1 and not any(":" in str(c) for c in _spread(columns[0].fillna("")))
    parts = [_day_and_clock(str(cell), alone) for cell in stamps]
    named = _month_position(sample)
    day_codes, day_texts = pd.factorize(np.array([day for day, _ in parts], object))
    fields = [_fields(text, named is not None) for text in day_texts]
    seconds = _seconds_of(np.array([clock for _, clock in parts], object))
    # Which fields may be what is settled by the file; where it is not, by the user.
    orders = _possible(fields, np.bincount(day_codes), named)
    read = {order: _days(fields, _ORDERS[order])[day_codes] for order in orders}
    order, why = _choose(read, seconds, date_order, header, cells, named, source)
    if named is None:
        year, month, day = _ORDERS[order]
        other = _days(fields, (year, day, month))[day_codes]
        _refuse_exchanged(read[order], other, seconds, cells, source)
    written = _moments(read[order] * 86400 + seconds)
    moments = written
    if shifts is not None:
        moments = _moments(read[order] * 86400 + seconds - shifts)
    days_only = bool(np.all(seconds[~np.isnan(seconds)] == 0)) and not any(":" in c for c in sample)
    return Stamps(moments, f"{order}, {why}", days_only, shifts is not None, written)


def _moments(seconds: FloatArray) -> Moments:
    known = ~np.isnan(seconds)
    out = np.full(len(seconds), np.datetime64("NaT", "s"), "datetime64[s]")
    out[known] = seconds[known].astype("datetime64[s]")
    return out


def offset_of(text: str) -> timedelta:
    """Read an offset from UTC such as +01:00 or -5."""
    sign = -1 if text[0] in "-−" else 1
    digits = text[1:].strip().replace(":", "")
    hours, minutes = (digits[:-2], digits[-2:]) if len(digits) > 2 else (digits, "0")
    return sign * timedelta(hours=int(hours), minutes=int(minutes))


def _spread(cells: "pd.Series[str]", number: int = 200) -> "pd.Series[str]":
    return cells.iloc[np.unique(np.linspace(0, len(cells) - 1, number).astype(int))]


def _cut_offsets(cells: "pd.Series[str]", source: str) -> tuple["pd.Series[str]", FloatArray]:
    """Part the times from their offsets [s]; a file in which only some carry one is refused."""
    parts = cells.str.extract(rf"^(.*?)\s*{OWN_OFFSET}$")
    texts = parts[1].fillna("")
    seconds = {
        t: offset_of(t.removeprefix("UTC").removeprefix("GMT")).total_seconds()
        if t and t[-1].isdigit()
        else (ZONES.get(t, 0) * 3600.0 if t else np.nan)
        for t in texts.unique()
    }
    bare = np.flatnonzero(((texts == "") & cells.str.contains(":", regex=False)).to_numpy())
    if 10 * len(bare) > len(cells):  # of a few, the row is damaged
        found = f"{str(cells.iloc[bare[0]]).strip()!r} carries no offset from UTC, other times do"
        cure = "export the times with their offset throughout, or without"
        raise InputError(Fault(source, f"line {cells.index[bare[0]]}", found, cure))
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


def _day_and_clock(cell: str, clock_apart: bool) -> tuple[str, str]:
    """Part a date from the time of day behind it, as HH:MM or HH:MM:SS where it has no colons.

    ``clock_apart`` where the clock had a column of its own, and may be a bare number.
    """
    if not clock_apart and (match := _COMPACT.fullmatch(cell.strip())):
        return match[1], ":".join(filter(None, match.groups()[1:]))
    colon = cell.find(":")
    if colon >= 0:
        start = colon - 2 if cell[max(colon - 2, 0)].isdigit() else colon - 1
        return cell[:start].rstrip("T ,;_-\t"), cell[start:]
    if clock_apart:
        day, _, clock = cell.rpartition(" ")
        return day, clock
    return cell, ""


def _fields(day: str, month_is_word: bool) -> tuple[str, ...]:
    """Return the three numbers of a date as they stand; none where it is no date."""
    match = _FIELDS.fullmatch(_number_months(day) if month_is_word else day)
    return tuple(field for field in match.groups() if field is not None) if match else ()


def _seconds_of(clocks: npt.NDArray[np.object_]) -> FloatArray:
    """Read the times of day [s]: 0 where there is none, NaN where it is no time."""
    codes, texts = pd.factorize(clocks)
    plain = [str(text).strip() for text in texts]
    # A time without its colon: 30, 100 and 2330 are half past midnight, one, half past eleven.
    bare = [int(text) for text in plain if re.fullmatch(r"\d{1,4}", text, re.ASCII)]
    hhmm = max(bare, default=0) > 24
    return np.array([_seconds(text, hhmm) for text in plain])[codes]


def _seconds(clock: str, hhmm: bool) -> float:
    if not clock:
        return 0.0
    second, half = 0, ""
    if re.fullmatch(r"\d{1,4}", clock, re.ASCII):
        hour, minute = divmod(int(clock), 100) if hhmm else (int(clock), 0)
    elif match := _CLOCK.fullmatch(clock):
        hour, minute, second = int(match[1]), int(match[2]), int(match[3] or 0)
        half = (match[4] or "")[:1].lower()
    else:
        return np.nan
    if minute >= 60 or second >= 60 or (half and hour > 12):
        return np.nan
    if half:
        hour = hour % 12 + 12 * (half == "p")
    total = hour * 3600.0 + minute * 60 + second
    return total if total <= 86400 else np.nan


def _possible(
    fields: Sequence[tuple[str, ...]], rows: IntArray, named: int | None
) -> list[DateOrder]:
    """Orders that the sizes of the fields allow, going by most rows."""
    if named == 0:
        return ["month first"]
    sizes = Counter[tuple[int, ...]]()
    for numbers, count in zip(fields, rows.tolist(), strict=True):
        if numbers:
            sizes[tuple(map(len, numbers))] += count
    usual = sizes.most_common(1)[0][0] if sizes else (0, 0, 0)
    if usual[0] == 4:
        return ["year first"]
    if named == 1:
        return ["day first"] if usual[2] == 4 else ["day first", "year first"]
    return ["day first", "month first"] if usual[2] == 4 else list(_ORDERS)


def _days(fields: Sequence[tuple[str, ...]], places: tuple[int, int, int]) -> FloatArray:
    """Days since 1970 in one order; NaN where the fields are no date in it."""
    days = np.full(len(fields), np.nan)
    for n, numbers in enumerate(fields):
        if not numbers:
            continue
        year, month, day = (numbers[place] for place in places)
        if len(year) not in (2, 4) or len(month) > 2 or len(day) > 2:
            continue
        century = 0 if len(year) == 4 else 1900 if int(year) >= _PIVOT else 2000
        try:
            found = date(century + int(year), int(month), int(day))
        except ValueError:
            continue
        if _MIN_YEAR <= found.year <= _MAX_YEAR:
            days[n] = found.toordinal() - _EPOCH
    return days


def _choose(
    read: dict[DateOrder, FloatArray],
    seconds: FloatArray,
    date_order: DateOrder | None,
    header: str,
    cells: "pd.Series[str]",
    named: int | None,
    source: str,
) -> tuple[DateOrder, str]:
    timed = ~np.isnan(seconds)
    bad = {order: int(np.isnan(days[timed]).sum()) for order, days in read.items()}
    if date_order is not None:
        if date_order not in read or bad[date_order] > 0.01 * timed.sum():
            raise InputError(_contradicts(read, date_order, timed, cells, source))
        return date_order, "as told"
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
    days: FloatArray,
    other: FloatArray,
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
    read: dict[DateOrder, FloatArray],
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
    read: dict[DateOrder, FloatArray],
    date_order: DateOrder,
    timed: BoolArray,
    cells: "pd.Series[str]",
    source: str,
) -> Fault:
    wrong = timed & np.isnan(read[date_order]) if date_order in read else timed
    at = int(wrong.argmax())
    found = f"{str(cells.iloc[at]).strip()!r} can't be {date_order}"
    return Fault(source, f"line {cells.index[at]}", found, "correct date_order, or take it out")
