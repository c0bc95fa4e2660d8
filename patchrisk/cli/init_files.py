"""The files that ``patchrisk init`` asks for: each is read at once, and what it shows confirmed."""

import math
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from patchrisk.base.errors import InputError
from patchrisk.base.pen import Pen
from patchrisk.base.units import CM_PER_INCH
from patchrisk.base.user_files import is_there
from patchrisk.cli.init_questions import ask, choose, field
from patchrisk.cli.options import echo

if TYPE_CHECKING:
    from patchrisk.read.logger.layout import LoggedSoil

_KEYS = "columns unit rain_unit date_order sheet depth encoding decimal delimiter utc_offset"
_ASKED = re.compile(rf"\b({_KEYS.replace(' ', '|')})\b(?= =)")
_GUESSED = "no unit stated"  # in the reader's reason for a unit
_PAIR = re.compile(r"\s*(.+?)\s*(?:=|:| at )\s*(\S.*?)\s*")
_TABLES = (".csv", ".txt", ".dat", ".tsv", ".xlsx", ".xls")
_AIR = ("air_min_c", "air_max_c", "rain_mm", "snow_depth_cm", "solar_mj_m2")
_DEPTHS = "Columns of soil temperature, each with its depth (as 4 = 2in, 5 = 4in; empty: no file)"
_WEATHER = "Columns, each with its number (as air_min_c = 2, air_max_c = 3; empty: no file)"


class LeftOut(Exception):  # noqa: N818  (no error: the answer that there is no such file after all)
    """The file is not to be used."""


def ask_loggers(
    site: Mapping[str, Any], folder: Path, named: Sequence[str] | None = None
) -> list[dict[str, Any]]:
    """Ask for the files of loggers until there are no more; return their tables.

    ``site``: the tables ``site`` and ``area`` as answered so far; ``folder``: of the site file;
    ``named``: files named by option: they are asked about, and no others.
    """
    made: list[dict[str, Any]] = []
    show = Pen(site["site"]["units"]).show
    areas = [area["name"] for area in site["area"]]
    for file in _files("soil-temperature logger, as it comes", folder, named):
        try:
            table, logged = _understood(
                {"file": file},
                lambda table: _read_logger(site, table, folder),
                lambda logged: _soil_lines(logged, show),
                _DEPTHS,
            )
        except LeftOut:
            continue
        table.pop("depth", None)
        table |= _confirmed(logged, us=site["site"]["units"] == "us")
        if len(areas) > 1:
            said = f"Which areas does {file} speak for (numbers or names with commas; all)"
            table["areas"] = choose(said, areas, several=True)
        made.append(table)
    return made


def ask_weather(
    site: Mapping[str, Any], folder: Path, today: date, named: Sequence[str] | None = None
) -> list[dict[str, Any]]:
    """Ask for files of daily weather until there are no more; parameters as for `ask_loggers`."""
    from patchrisk.read.site import WeatherFile
    from patchrisk.read.weather.own import read_with_notes

    show = Pen(site["site"]["units"]).show

    def read(table: dict[str, Any]) -> Any:
        options = WeatherFile.model_validate(table)
        return read_with_notes(folder / table["file"], options, today, partial=True)

    def lines(found: Any) -> Iterator[str]:
        from patchrisk.report.check import weather_columns

        daily, notes = found
        yield f"{len(daily)} days, {daily.index[0].date()} to {daily.index[-1].date()}"
        yield from weather_columns(daily, show)
        yield from notes

    made = []
    for file in _files("daily weather of your own", folder, named):
        try:
            table, (daily, _) = _understood({"file": file}, read, lines, _WEATHER)
        except LeftOut:
            continue
        if daily.attrs.get("columns"):
            table["columns"] = daily.attrs["columns"]
        made.append(table)
    return made


def _files(what: str, folder: Path, named: Sequence[str] | None) -> Iterator[str]:
    """Give the files named by option, else ask for one after the other until there are no more."""
    if named:
        yield from named
        return
    more = ""
    while True:
        file = ask(
            f"{more or 'File'} of {what} (empty for none)",
            lambda text: _there(text, folder),
            "",
            show_default=False,
        )
        if not file:
            return
        more = "Another file"
        yield file


def _there(text: str, folder: Path) -> str:
    if text and not is_there(folder / text):
        tables = (p.name for p in folder.iterdir() if p.suffix.lower() in _TABLES)
        near = sorted(tables)
        hint = f"; there are {', '.join(near[:8])}" if near else ""
        raise ValueError(f"no file {text!r} in {folder.resolve()}", f"correct the name{hint}")
    return text


def _understood(
    table: dict[str, Any],
    read: Callable[[dict[str, Any]], Any],
    lines: Callable[[Any], Iterator[str]],
    columns: str,
) -> tuple[dict[str, Any], Any]:
    """Read a file, ask for what it leaves open, and have what was understood confirmed."""
    while True:
        try:
            found = read(table)
        except InputError as error:
            for fault in error.faults:
                echo(f"  {fault}")
            keys = [key for f in error.faults for key in _ASKED.findall(f.cure)]
            keys += ["columns"] * any(f.place.startswith("column") for f in error.faults)
            key = next((key for key in keys if key not in table or key == "columns"), None)
            if key is None:
                if not click.confirm("Mend the file, then try again", default=False):
                    raise LeftOut from None
                continue
            table = {**table, **_answered(key, table, columns)}
            continue
        echo(f"{table['file']} is read as:")
        for line in lines(found):
            echo(f"  {line}")
        if click.confirm("Is that right", default=True):
            return table, found
        table = {**table, **_answered("columns", table, columns)}


def _answered(key: str, table: Mapping[str, Any], columns: str) -> dict[str, Any]:
    """Ask for one key of a file's table; the answer is as strict as the site file."""
    from patchrisk.read.site import LoggerFile, WeatherFile

    of_logger = columns == _DEPTHS
    if key == "columns":
        told = ask(columns, lambda text: _pairs(text, of_logger), "", show_default=False)
        if not told:
            raise LeftOut
        return {"columns": told}
    model = LoggerFile if of_logger else WeatherFile
    choices = {
        "unit": ["degC", "degF", "K"],
        "rain_unit": ["mm", "cm", "m", "in"],
        "date_order": ["day first", "month first", "year first"],
    }.get(key)
    question = f"{key} of {table['file']}"
    if choices:
        return {key: choose(question, choices)}
    return {key: ask(question, field(model, {"file": table["file"]}, key))}


def _pairs(text: str, of_logger: bool) -> dict[str, str]:
    """Read columns with their depths, or quantities with their columns."""
    from patchrisk.base.units import read_measure

    out = {}
    for part in filter(None, (p.strip() for p in text.split(","))):
        match = _PAIR.fullmatch(part)
        if match is None:
            raise ValueError(f"{part!r} says no pair", "write column = depth, as 4 = 2in")
        name, value = match[1], match[2]
        if of_logger:
            read_measure("depth", value)
            out[f"column {name}" if name.isdecimal() else name] = value
        elif name in _AIR:
            out[name] = f"column {value}" if value.isdecimal() else value
        else:
            raise ValueError(f"unknown {name!r}", f"write one of {', '.join(_AIR)}")
    return out


def _read_logger(site: Mapping[str, Any], table: dict[str, Any], folder: Path) -> "LoggedSoil":
    """Read a logger's file as the morning will; a probe whose depth is not told is asked for."""
    from patchrisk.base.errors import Fault
    from patchrisk.read.logger.read_log import load_log
    from patchrisk.read.site import Site

    whole = Site.model_validate({**site, "logger": [table], "folder": folder})
    path = folder / table["file"]
    logged = load_log(path, whole.logger[0], whole.site)
    for probe in logged.probes:
        if math.isnan(probe.depth_cm):
            found = f"how deep {probe.name!r} lies is not told"
            raise InputError(Fault(str(path), "", found, 'set depth = "2 in", or what it is'))
    return logged


def _soil_lines(logged: "LoggedSoil", show: Callable[..., str]) -> Iterator[str]:
    import numpy as np

    for column in logged.layout.columns:
        if column.role == "soil temperature":
            kind = "" if column.statistic == "mean" else f", the day's {column.statistic}"
            guess = ", as its values show" if _GUESSED in column.why else ""
            yield (
                f"column {column.number} {column.header!r}: soil temperature at "
                f"{show('depth', column.depth_cm, 1)} in {column.unit}{guess}{kind}"
            )
    for probe in logged.probes:
        days = probe.known
        if len(days):
            ends = (np.nanmin(probe.mean_c), np.nanmax(probe.mean_c))
            low, high = (show("soil temperature", float(end)) for end in ends)
            yield (
                f"{probe.name}: {len(days)} days, {days[0]} to {days[-1]}, "
                f"daily means {low} to {high}"
            )
    yield f"clock: {logged.layout.clock}"
    aside = [repr(c.header) for c in logged.layout.columns if c.role == "set aside"]
    if aside:
        yield f"not used: {', '.join(aside[:8])}{' and more' if len(aside) > 8 else ''}"


def _confirmed(logged: "LoggedSoil", *, us: bool) -> dict[str, Any]:
    """Return what was confirmed, columns by header: a file that lacks one is refused."""
    columns = logged.layout.columns
    headers = [c.header for c in columns]
    soil = [c for c in columns if c.role == "soil temperature"]

    def depth(cm: float) -> str:
        return f"{cm / CM_PER_INCH:.4g} in" if us else f"{cm:.4g} cm"

    out: dict[str, Any] = {
        "columns": {
            c.header if headers.count(c.header) == 1 else f"column {c.number}": depth(c.depth_cm)
            for c in soil
            if c.depth_cm is not None
        }
    }
    if any(_GUESSED in c.why for c in soil) and len({c.unit for c in soil}) == 1:
        out["unit"] = soil[0].unit
    return out
