"""What was seen, where and when: the file a researcher keeps; and what rules are judged by with it.

A CSV with the columns

``place``
    Name of a site, as in the seasons table.
``disease``
    Key or any name of a disease.
``first_seen``
    Date on which it was first seen in its season, as YYYY-MM-DD; or, instead,
``looked`` and ``incidence``
    Date of a look, and what was found: a number [% of the area or of the plots], or *not found*.
``note``
    Anything; not read.

A window is of use when it opens so long before the disease is seen as infection, the soil's
reaching a threshold, or a preventive treatment goes before symptoms by the lags in the disease's
file. Lags counted from stress, inoculation or planting say nothing of an opening. A disease without
such a lag in days has the general range.
"""

import difflib
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd

from patchrisk.base.errors import Fault, InputError
from patchrisk.base.safe_text import has_split_decimal
from patchrisk.base.toml_files import load_numbers
from patchrisk.base.user_files import MOST_KEPT_BYTES
from patchrisk.core.dates.infection import infection_season
from patchrisk.core.rules.rule import Season, season_spans
from patchrisk.core.skill.measures import Terms
from patchrisk.read.diseases import Disease, Library
from patchrisk.read.diseases.models import Lag
from patchrisk.read.records.file import read_records
from patchrisk.read.tables.file_text import read_text

_COLUMNS = ("place", "disease", "first_seen", "looked", "incidence", "note")
_NEEDED = ("place", "disease")
_NOT_FOUND = ("not found", "none", "0")
_FIRST_YEAR = 1900
_Report = Callable[[str, str, str], None]


@dataclass(frozen=True)
class _Row:
    """One good row; ``incidence`` is None for a first sight, 0 for not found [%]."""

    line: int
    place: str
    disease: str
    day: date
    incidence: float | None
    season: int
    season_first: date

    @property
    def key(self) -> tuple[str, str, int]:
        return self.place, self.disease, self.season


def sites_in(tables: Iterable[pd.DataFrame]) -> dict[str, float]:
    """Return the sites of seasons tables, each with its latitude [degrees north]."""
    sites: dict[str, float] = {}
    for table in tables:
        first = table.drop_duplicates("site")
        sites |= dict(zip(first["site"], first["latitude"], strict=True))
    return sites


def read_disease_observations(
    path: Path, places: Mapping[str, float], library: Library, today: date
) -> pd.DataFrame:
    """Read a CSV of observations and bring it to one row a place, disease and season.

    ``places`` and ``library`` are the sites, each with its latitude [degrees north], and the
    diseases that may be named. Dates after ``today`` are refused.

    Returns
    -------
    DataFrame
        ``place``, ``disease`` (its key), ``season`` (the year in which the disease's season
        began), ``season_first`` (its first day), ``found`` (bool), ``first_seen`` (the earliest
        day on which it was there; NaT when not found), ``clear_on`` (the last day before that on
        which it was looked for in vain), ``incidence`` (the highest [%]; NaN where none was
        given), ``counts`` (bool: False for a look in vain outside the months in which the disease
        shows, which is no absence), ``lines`` (where it stands in the file).
        The season of a disease is the shortest that holds those of its rules on infection and on
        treatment. InputError with every fault of the file in one go.
    """
    source = str(path)
    lines, faults = _read_lines(path)
    seasons = {key: _season_of(disease) for key, disease in library.diseases.items()}
    rows: list[_Row] = []
    for line, cells in lines:
        row = _read_row(source, line, cells, places, library, seasons, today)
        if isinstance(row, _Row):
            rows.append(row)
        else:
            faults += row
    faults += _contradictions(source, rows)
    if faults:
        raise InputError(sorted(set(faults), key=_in_order))
    return _by_season(rows, places, library)


def _in_order(fault: Fault) -> tuple[int, str]:
    digits = "".join(c for c in fault.place.partition(",")[0] if c.isdigit())
    return int(digits or 0), str(fault)


def _read_lines(path: Path) -> tuple[list[tuple[int, dict[str, str]]], list[Fault]]:
    source = str(path)
    text = read_text(path, most_bytes=MOST_KEPT_BYTES).text
    delimiter = ";" if ";" in text.partition("\n")[0] else ","
    faults: list[Fault] = []
    (_, names), *body = list(read_records(text, delimiter, source, faults)) or [(1, [])]
    header = [name.strip().casefold().replace(" ", "_") for name in names]
    missing = [name for name in _NEEDED if name not in header]
    if missing or not {"first_seen", "looked"} & set(header):
        missing += [] if {"first_seen", "looked"} & set(header) else ["first_seen or looked"]
        cure = f"name the columns in the first line: {','.join(_COLUMNS)}"
        raise InputError(Fault(source, "row 1", f"no column {' and '.join(missing)}", cure))
    header_faults: list[Fault] = []
    for name in header:
        if name and name not in _COLUMNS:
            near = difflib.get_close_matches(name, _COLUMNS, n=1)
            cure = f"did you mean {near[0]}?" if near else f"write any of {', '.join(_COLUMNS)}"
            header_faults.append(Fault(source, f"row 1, column {name!r}", "unknown column", cure))
        elif name and header.count(name) > 1:
            cure = "keep one of them"
            header_faults.append(Fault(source, f"row 1, column {name!r}", "there twice", cure))
    if header_faults:
        raise InputError(sorted(set(header_faults)))
    lines = []
    for line, cells in body:
        cells = [cell.strip() for cell in cells]
        more = cells[len(header) :]
        if any(more) or (more and has_split_decimal(cells)):
            found = f"{len(cells)} cells under {len(header)} columns"
            cure = 'put a text that holds the delimiter in "quotes"'
            faults.append(Fault(source, f"row {line}", found, cure))
            continue
        pairs = zip(header, cells, strict=False)
        lines.append((line, dict(pairs)))
    if not lines and not faults:
        raise InputError(Fault(source, "", "no rows", "write one row an observation"))
    return lines, faults


def _read_row(
    source: str,
    line: int,
    cells: Mapping[str, str],
    places: Mapping[str, float],
    library: Library,
    seasons: Mapping[str, Season | None],
    today: date,
) -> _Row | list[Fault]:
    faults: list[Fault] = []

    def fault(column: str, found: str, cure: str) -> None:
        faults.append(Fault(source, f"row {line}, column {column!r}", found, cure))

    place = _find_place(cells.get("place", ""), places, fault)
    disease = _find_disease(cells.get("disease", ""), library, fault)
    season = None if disease is None else seasons[disease]
    if disease is not None and season is None:
        fault("disease", f"{disease} has no rules", "take the row out: nothing can be tested")
    first, looked = cells.get("first_seen", ""), cells.get("looked", "")
    amount = cells.get("incidence", "")
    day: date | None = None
    incidence: float | None = None
    if first and (looked or amount):
        fault(
            "first_seen",
            "a first sight and a look in one row",
            "write two rows: one with first_seen, one with looked and incidence",
        )
    elif first:
        day = _find_day("first_seen", first, today, fault)
    elif looked:
        day = _find_day("looked", looked, today, fault)
        incidence = _find_incidence(amount, fault)
    elif amount:
        fault("looked", "an incidence without its date", "write the date of the look")
    else:
        fault("first_seen", "no date", "write first_seen, or looked and incidence")
    if faults or place is None or disease is None or season is None or day is None:
        return faults
    on = np.datetime64(day, "D")
    years, starts, _ = season_spans(season, on, on, southern=places[place] < 0)
    last = int(np.flatnonzero(starts <= on)[-1])
    begun: date = starts[last].item()
    return _Row(line, place, disease, day, incidence, int(years[last]), begun)


def _season_of(disease: Disease) -> Season | None:
    """Return the shortest season that holds those of the rules on infection and on treatment."""
    rules = [rule for rule in disease.rules() if rule.meaning != "express"] or disease.rules()
    return infection_season([rule.season for rule in rules]) if rules else None


def _find_place(name: str, places: Mapping[str, float], fault: _Report) -> str | None:
    known = {place.casefold(): place for place in places}
    if name.casefold() in known:
        return known[name.casefold()]
    near = difflib.get_close_matches(name.casefold(), known, n=3, cutoff=0.5)
    offered = ", ".join(known[n] for n in near) or ", ".join(sorted(places)[:5])
    found = f"no site {name!r}" if name else "empty"
    fault("place", found, f"write the name of a site, such as {offered}")
    return None


def _find_disease(name: str, library: Library, fault: _Report) -> str | None:
    try:
        key = library.find(name)
    except InputError as error:
        found = f"no disease {name!r}" if name else "empty"
        fault("disease", found, error.faults[0].cure)
        return None
    if key in library.groups:
        members = ", ".join(library.groups[key].members)
        fault("disease", f"{key} is a group of diseases", f"write which one: {members}")
        return None
    return key


def _find_day(column: str, text: str, today: date, fault: _Report) -> date | None:
    try:
        day = date.fromisoformat(text) if len(text) == 10 else None
    except ValueError:
        day = None
    if day is None:
        fault(column, repr(text[:40]), "write a date of the calendar as YYYY-MM-DD")
    elif day > today:
        fault(column, f"{day} is in the future", f"write {today} or an earlier day")
    elif day.year < _FIRST_YEAR:
        fault(column, f"the year {day.year}", "write the year in full")
    else:
        return day
    return None


def _find_incidence(text: str, fault: _Report) -> float | None:
    if text.casefold() in _NOT_FOUND:
        return 0.0
    try:
        value = float(text.rstrip("% "))
    except ValueError:
        value = np.nan
    if not 0 <= value <= 100:
        found = repr(text[:40]) if text else "empty"
        fault("incidence", found, "write percent from 0 to 100, or not found")
        return None
    return value


def _contradictions(source: str, rows: list[_Row]) -> list[Fault]:
    """Rows that stand twice, or can't both be true."""
    faults: list[Fault] = []
    looks: dict[tuple[str, str, date], _Row] = {}
    firsts: dict[tuple[str, str, int], _Row] = {}
    for row in rows:
        if row.incidence is None:
            other = firsts.setdefault(row.key, row)
            column, found = "first_seen", f"first seen on {other.day} in row {other.line} already"
            cure = "keep the earlier; write the other as a look"
        else:
            other = looks.setdefault((row.place, row.disease, row.day), row)
            column, found = "looked", f"a look on the same day in row {other.line} already"
            cure = "keep one of them"
        if other is not row:
            if (other.day, other.incidence) == (row.day, row.incidence):
                found, cure = f"the same as row {other.line}", "take one of them out"
            faults.append(Fault(source, f"row {row.line}, column {column!r}", found, cure))
    for look in looks.values():
        first = firsts.get(look.key)
        assert look.incidence is not None
        if first is None:
            continue
        if look.incidence > 0 and look.day < first.day:
            found = f"found on {look.day}, before it was first seen ({first.day}, row {first.line})"
            cure = f"write the earlier day as first_seen in row {first.line}"
        elif look.incidence == 0 and look.day == first.day:
            found = f"not found on the day it was first seen (row {first.line})"
            cure = "take one of them out"
        else:
            continue
        faults.append(Fault(source, f"row {look.line}, column 'looked'", found, cure))
    return faults


def _by_season(rows: list[_Row], places: Mapping[str, float], library: Library) -> pd.DataFrame:
    grouped: dict[tuple[str, str, int], list[_Row]] = {}
    for row in rows:
        grouped.setdefault(row.key, []).append(row)
    out = []
    for (place, disease, season), those in sorted(grouped.items()):
        seen_on = [r.day for r in those if r.incidence is None or r.incidence > 0]
        first = min(seen_on, default=None)
        clear = [r.day for r in those if r.incidence == 0 and (first is None or r.day < first)]
        shift = 6 if places[place] < 0 else 0
        months = {
            (m - 1 + shift) % 12 + 1 for m in library.diseases[disease].expression.months.value
        }
        telling = [day for day in clear if day.month in months]
        if first is None and telling:  # a later look, when it no longer shows, says nothing
            clear = telling
        clear_on = max(clear, default=None)
        amounts = [r.incidence for r in those if r.incidence]
        out.append(
            {
                "place": place,
                "disease": disease,
                "season": season,
                "season_first": pd.Timestamp(those[0].season_first),
                "found": first is not None,
                "first_seen": pd.Timestamp(first) if first else pd.NaT,
                "clear_on": pd.Timestamp(clear_on) if clear_on else pd.NaT,
                "incidence": max(amounts, default=np.nan),
                "counts": first is not None or bool(telling),
                "lines": " ".join(str(r.line) for r in those),
            }
        )
    return pd.DataFrame(out)


_EVENTS = ("infection", "threshold", "treatment")  # what a window may open on
_GENERAL = (
    "no lag is published for it, so this is the general range, from summer patch; where infection "
    "in autumn shows in spring or summer that says little: give the range that fits with --lead"
)


def usual_terms(lead: tuple[int, int] | None = None, disease: Disease | None = None) -> Terms:
    """Return the terms that the rules of a disease are judged by.

    ``lead`` are the least and most days of use from opening to sight [days]; when not given they
    are those of the disease's lags, and without any the general range.
    """
    numbers = load_numbers("skill")
    span = None if disease is None else disease.expression.lag_days(*_EVENTS)
    least, most = (numbers[name].value for name in ("least_lead", "most_lead"))
    lead_from = _GENERAL
    if lead is not None:
        (least, most), lead_from = lead, "as given with --lead"
    elif disease is not None and span is not None:
        least, most = span
        lags = disease.expression.lags(*_EVENTS)
        lead_from = "from the lags in its file: " + ", ".join(map(_words, lags))
    return Terms(
        least_lead=round(least),
        most_lead=round(most),
        least_absences=round(numbers["least_absences"].value),
        least_seasons=round(numbers["least_seasons"].value),
        least_sites=round(numbers["least_sites"].value),
        draws=round(numbers["draws"].value),
        level=numbers["level"].value,
        lead_from=lead_from,
    )


def _words(lag: Lag) -> str:
    low, high = (f"{days:g}" for days in lag.time.span)
    days = low if low == high else f"{low} to {high}"
    return f"{days} days since {lag.since} [{lag.time.short}; {lag.time.confidence}]"
