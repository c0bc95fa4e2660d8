"""The questions of ``patchrisk init``: each answer is checked before the next is asked.

Files are read at once, and what was understood of them is confirmed.
"""

import math
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from patchrisk.base.errors import Fault, InputError
from patchrisk.base.user_files import is_there
from patchrisk.cli.options import echo
from patchrisk.report.layout import wrap

if TYPE_CHECKING:
    from pydantic import BaseModel

    from patchrisk.read.logger.layout import LoggedSoil

_T = TypeVar("_T")

COMMA = re.compile(r"\s*[,;+]\s*")


def ask(
    question: str,
    read: Callable[[str], _T],
    default: str | None = None,
    *,
    show_default: bool = True,
) -> _T:
    """Ask until the answer can be read; what is wrong with one is said, and it is asked again."""
    from patchrisk.base.toml_files import said

    def checked(text: str) -> _T:
        try:
            return read(text.replace('"', "").strip())
        except InputError as error:
            fault = error.faults[0]
            raise click.UsageError(f"{fault.found}: {fault.cure}") from None
        except ValueError as error:
            raise click.UsageError(f"{': '.join(said(error))}") from None

    answer: _T = click.prompt(
        question, default=default, show_default=show_default, value_proc=checked
    )
    return answer


def choose(
    question: str,
    choices: Sequence[str],
    default: str | None = None,
    *,
    several: bool = False,
    other: Callable[[str], Any] | None = None,
) -> Any:
    """List what there is to choose from, and ask for a number or a name of it.

    ``several``: several may be named, or ``all``; a list is returned. ``other``: reads what is none
    of the list; without it that is refused.
    """
    echo("\n".join(wrap(listed(choices), "  ", "    ")))
    known = {choice.casefold(): choice for choice in choices}

    def one(text: str) -> Any:
        if text.isdecimal():
            return numbered(text, choices)
        if text.casefold() in known:
            return known[text.casefold()]
        if other is not None:
            return other(text)
        raise ValueError(f"{text!r} is not in the list", f"write one of {', '.join(choices)}")

    def some(text: str) -> list[Any]:
        if text.casefold() == "all":
            return list(choices)
        return list(dict.fromkeys(one(part) for part in filter(None, COMMA.split(text))))

    return ask(question, some if several else one, default)


def listed(choices: Sequence[str]) -> str:
    """Return what there is to choose from, each with its number."""
    return ", ".join(f"{n} {choice}" for n, choice in enumerate(choices, 1))


def numbered(text: str, choices: Sequence[str]) -> str:
    """Return the choice of a number; ValueError where there is none of it."""
    if not 1 <= int(text) <= len(choices):
        raise ValueError(f"there is no number {text}", f"write 1 to {len(choices)}")
    return choices[int(text) - 1]


def field(
    model: "type[BaseModel]", others: Mapping[str, Any], key: str, kind: type = str
) -> Callable[[str], Any]:
    """Return a reader of one key of the site file, as strict as the file's own."""
    from patchrisk.base.toml_files import validate
    from patchrisk.read.site import CURES

    def read(text: str) -> Any:
        try:
            value = kind(text)
        except ValueError:
            raise ValueError(f"{text!r} is no number", CURES[key]) from None
        validate(model, {**others, key: value}, "init", CURES)
        return value

    return read


# --- files ----------------------------------------------------------------------------------------

_KEYS = "columns unit rain_unit date_order sheet depth encoding decimal delimiter utc_offset"
_ASKED = re.compile(rf"\b({_KEYS.replace(' ', '|')})\b(?= =)")
_GUESSED = "no unit stated"  # in the reader's reason for a unit
_PAIR = re.compile(r"\s*(.+?)\s*(?:=|:| at )\s*(\S.*?)\s*")
_TABLES = (".csv", ".txt", ".dat", ".tsv", ".xlsx", ".xls")
_AIR = ("air_min_c", "air_max_c", "rain_mm")
_DEPTHS = "Columns of soil temperature, each with its depth (as 4 = 2in, 5 = 4in; empty: no file)"
_WEATHER = "Columns, each with its number (as air_min_c = 2, air_max_c = 3; empty: no file)"


class _LeftOutError(Exception):
    """The file is not to be used after all."""


def ask_loggers(
    site: Mapping[str, Any], folder: Path, named: Sequence[str]
) -> list[dict[str, Any]]:
    """Ask for the files of loggers until there are no more; return their tables.

    ``site``: the tables ``site`` and ``area`` as answered so far; ``folder``: of the site file;
    ``named``: files named by option: they are asked about, and no others.
    """
    from patchrisk.base.pen import Pen

    us, areas = site["site"]["units"] == "us", [area["name"] for area in site["area"]]
    show, made = Pen(site["site"]["units"]).show, []
    for table, logged in _understood(
        _files("soil-temperature logger, as it comes", folder, named),
        lambda table: _read_logger(site, table, folder),
        lambda logged: _soil_lines(logged, show),
        _DEPTHS,
    ):
        table.pop("depth", None)
        table |= _confirmed(logged, us=us)
        if len(areas) > 1:
            file = table["file"]
            said = f"Which areas does {file} speak for (numbers or names with commas; all)"
            table["areas"] = choose(said, areas, several=True)
        made.append(table)
    return made


def ask_weather(
    site: Mapping[str, Any], folder: Path, named: Sequence[str]
) -> list[dict[str, Any]]:
    """Ask for files of daily weather until there are no more; parameters as for `ask_loggers`."""
    from patchrisk.base.pen import Pen
    from patchrisk.read.site import WeatherFile
    from patchrisk.read.weather.own import read_daily_weather

    show, made = Pen(site["site"]["units"]).show, []

    def read(table: dict[str, Any]) -> Any:
        options = WeatherFile.model_validate(table)
        return read_daily_weather(folder / table["file"], options, date.today(), partial=True)

    def lines(found: Any) -> Iterator[str]:
        from patchrisk.report.check import weather_columns

        daily, notes = found
        yield f"{len(daily)} days, {daily.index[0].date()} to {daily.index[-1].date()}"
        yield from weather_columns(daily, show)
        yield from notes

    files = _files("daily weather of your own", folder, named)
    for table, (daily, _) in _understood(files, read, lines, _WEATHER):
        if daily.attrs.get("columns"):
            table["columns"] = daily.attrs["columns"]
        made.append(table)
    return made


def _files(what: str, folder: Path, named: Sequence[str]) -> Iterator[str]:
    """Give the files named by option, else ask for one after the other until there are no more."""

    def there(text: str) -> str:
        if text and not is_there(folder / text):
            near = sorted(p.name for p in folder.iterdir() if p.suffix.lower() in _TABLES)
            hint = f"; there are {', '.join(near[:8])}" if near else ""
            raise ValueError(f"no file {text!r} in {folder.resolve()}", f"correct the name{hint}")
        return text

    yield from named
    more = "File"
    while not named:
        file = ask(f"{more} of {what} (empty for none)", there, "", show_default=False)
        if not file:
            return
        more = "Another file"
        yield file


def _understood(
    files: Iterator[str],
    read: Callable[[dict[str, Any]], Any],
    lines: Callable[[Any], Iterator[str]],
    columns: str,
) -> Iterator[tuple[dict[str, Any], Any]]:
    """Read files, ask for what each leaves open, and have what was understood confirmed."""
    for file in files:
        table: dict[str, Any] = {"file": file}
        found = None
        try:
            while found is None:
                try:
                    found = read(table)
                except InputError as error:
                    table |= _mended(error, table, columns)
                    continue
                echo(f"{file} is read as:")
                for line in lines(found):
                    echo(f"  {line}")
                if not click.confirm("Is that right", default=True):
                    table |= _answered("columns", table, columns)
                    found = None
        except _LeftOutError:
            continue
        yield table, found


def _mended(error: InputError, table: Mapping[str, Any], columns: str) -> dict[str, Any]:
    """Ask for a key that the faults of a file ask for; nothing where the file itself is mended."""
    for fault in error.faults:
        echo(f"  {fault}")
    keys = [key for fault in error.faults for key in _ASKED.findall(fault.cure)]
    keys += ["columns"] * any(fault.place.startswith("column") for fault in error.faults)
    key = next((key for key in keys if key not in table or key == "columns"), None)
    if key is not None:
        return _answered(key, table, columns)
    if click.confirm("Mend the file, then try again", default=False):
        return {}
    raise _LeftOutError


def _answered(key: str, table: Mapping[str, Any], columns: str) -> dict[str, Any]:
    """Ask for one key of a file's table; the answer is as strict as the site file."""
    from patchrisk.read.site import LoggerFile, WeatherFile

    of_logger = columns == _DEPTHS
    if key == "columns":
        told = ask(columns, lambda text: _pairs(text, of_logger), "", show_default=False)
        if not told:
            raise _LeftOutError
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
    from patchrisk.base.units import CM_PER_INCH

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
