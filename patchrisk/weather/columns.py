"""What each column of a logger file is, going by its header: soil temperature, or why not."""

import re
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import cast

from patchrisk.errors import Fault, InputError
from patchrisk.units import to_canonical
from patchrisk.weather.layout import Column, LogOptions, Role, Statistic, TemperatureUnit
from patchrisk.weather.stamps import TIME_WORD

_EDGE, _END = r"(?<![a-z])", r"(?![a-z])"


def _words(pattern: str) -> re.Pattern[str]:
    return re.compile(f"{_EDGE}(?:{pattern}){_END}")


# Quantities that are no soil temperature even where "soil" or "temp" stands in the header.
_ASIDE = (
    (
        _words(r"(?:soil)?moist\w*|vwc|swc|vwic|wfv|water ?content|feuchte?|humedad|theta"),
        "moisture",
    ),
    (re.compile(r"m\^?3 ?/ ?m\^?3|m³/m³|% ?vol|vol ?%"), "moisture"),
    (_words(r"rh|r\.h\.|hum\w*|relative feuchte|feuchtigkeit|relhu"), "humidity"),
    (_words(r"dew ?(?:pt|point)?|taupunkt"), "dew point"),
    (
        _words(r"bat|batt|battery|batterie|volts?|mv|hk ?bat|vbat|supply|charge"),
        "battery or voltage",
    ),
    (_words(r"flux|shf|ghf|heat ?flow"), "heat flux"),
    (
        _words(r"ec|bulk ?ec|salinity|conductivity|ds/m|us/cm|permittivity|dielectric"),
        "conductivity",
    ),
    (_words(r"pressure|baro\w*|hpa|kpa|mbar|psi|matric|water ?potential|tension"), "pressure"),
    (_words(r"rain\w*|precip\w*|niederschlag|irrig\w*"), "rain"),
    (_words(r"wind|gust|ws|wd"), "wind"),
    (
        _words(r"solar|radiation|par|ppfd|w/m\^?2|lux|light|intensity|rn|netrad|sw in|lw in"),
        "light",
    ),
    (_words(r"ohms?|resistance|accel\w*|rssi|signal|lat\w*|lon\w*|elev\w*"), "another quantity"),
    (_words(r"qc|qa|flag\w*|quality|ssitc|status|error"), "a quality mark"),
    (_words(r"sd|std|stdev|stddev|variance|sigma"), "a spread, not a temperature"),
    (
        _words(r"air|ta|tair|luft\w*|aire|ambient|sonic|lufttemperatur|wet ?bulb"),
        "air temperature",
    ),
    (_words(r"infra ?red|ir|irt|skin|black ?globe|canopy|leaf|water"), "not the soil"),
    (
        _words(r"int|intern\w*|board|panel|ptemp|hk|logger temp\w*|device|housing|case|cpu|ref\w*"),
        "the logger's own temperature",
    ),
    (
        _words(r"no|nr|n°|rec|record\w*|recnbr|rn|id|index|count|sample|seq\w*"),
        "a number of the row",
    ),
)
_SOIL = _words(
    r"soil\w*|\w*soil|boden\w*|ground|sol|suelo|bodem\w*|terreno|turf|root ?zone|thatch"
    r"|subsurface|erd\w*|jord\w*|tsoil"
)
# Soil temperature in the variable names of flux networks: TS, or TS_1_2_1, TS_F_MDS_1.
_TS = re.compile(r"ts(?:[ _]?(?:f|pi|mds|\d+))*(?:[ _](?:avg|mean|min|max))?")
_TEMPERATURE = _words(r"t|temp\w*|\w*temp|tmp|therm\w*|temperatur\w*|t\d+|celsius|fahrenheit")
_UNIT = re.compile(
    r"""(?:[^\x00-\x7f]{1,4}\s?|\?\s?|deg\w*[\s._]*|(?<![a-z])o|[(\[]\s*|,\s*|temp\w*[\s_]+)
        ([cf])(?![a-z0-9]) | (celsius|fahrenheit)""",
    re.VERBOSE,
)
_DEPTH = re.compile(
    r"""(?<![\d.,])(\d+(?:[.,]\d+)?)\s*[_-]?\s*
        (cm|mm|m|inch(?:es)?|in|ft|feet|zoll|["″”])(?![a-z0-9³^])""",
    re.VERBOSE,
)
_DEPTH_AFTER = re.compile(r"(?<![a-z])(cm|mm|inch)[\s_.-]*(\d+(?:[.,]\d+)?)(?![\d.,])")
_DEPTH_UNITS = {"inch": "in", "inches": "in", "zoll": "in", '"': "in", "″": "in", "”": "in"}
_MIN, _MAX = (
    re.compile(rf"(?<!\d)(?<!\d\s)(?<!\d_){_EDGE}(?:min|minimum|lowest|tiefst\w*){_END}"),
    re.compile(rf"{_EDGE}(?:max|maximum|highest|höchst\w*){_END}"),
)
_STATISTIC_WORD = _words(r"min|minimum|max|maximum|avg|average|mean|mittel|lowest|highest|smp")


# How sure a header makes one that its column is soil temperature.
_CERTAIN, _LIKELY, _SILENT, _OTHER = range(4)


@dataclass(frozen=True)
class _Judged:
    """A column with how sure its header makes one that it is soil temperature."""

    column: Column
    rank: int


@dataclass(frozen=True)
class Filled:
    """How a column is filled: cells that are not missing, and how many of them are numbers."""

    cells: int
    numbers: int
    unit: str | None = None


def classify(
    names: Sequence[str],
    under: Sequence[str],
    filled: Sequence[Filled],
    times: Sequence[int],
    daily: bool,
    options: LogOptions,
    source: str,
) -> tuple[Column, ...]:
    """Say of every column what it is and why.

    Parameters
    ----------
    names, under : sequence of str
        Header of each column, and what the lines below the header say of it.
    filled : sequence of Filled
    times : sequence of int
        Columns of the time, counted from 0.
    daily : bool
        Whether the file has one row a day; only then do columns of minima and maxima count.
    options : LogOptions
    source : str
        File named in the faults.

    Raises
    ------
    InputError
        When no column is soil temperature, or several could be and nothing tells them apart.
    """
    judged = [
        _judge(i, names[i], under[i], filled[i], i in times, daily) for i in range(len(names))
    ]
    chosen = _told(judged, options, source) or _guessed(judged, source)
    told = bool(options.columns)
    return tuple(_name_probes([chosen.get(j.column.number, _rest(j, told)) for j in judged]))


def find_column(name: str, names: Sequence[str]) -> list[int]:
    """Columns, counted from 0, that a user's name can mean: the header, or ``column 3``."""
    exact = [i for i, header in enumerate(names) if header == name.strip()]
    if exact:
        return exact
    if match := re.fullmatch(r"column (\d+)", name.strip(), re.IGNORECASE):
        return [int(match[1]) - 1] if 1 <= int(match[1]) <= len(names) else []
    plain = _plain(name)
    return [i for i, header in enumerate(names) if header and _plain(header) == plain]


def _plain(text: str) -> str:
    return " ".join(re.sub(r"[^\w%#/.,\"-]+", " ", text.casefold()).split())


def find_depth(text: str) -> float | None:
    """Find a depth in a header [cm]: ``5 cm``, ``cm_50``, ``Soil10cm``, ``2 in``, ``-0.5m``."""
    low = text.casefold()
    if match := _DEPTH.search(low):
        number, unit = match[1], match[2]
    elif match := _DEPTH_AFTER.search(low):
        number, unit = match[2], match[1]
    else:
        return None
    value = float(number.replace(",", "."))
    if unit in ("ft", "feet"):
        return to_canonical("depth", value * 12, "in")
    return to_canonical("depth", value, _DEPTH_UNITS.get(unit, unit))


def find_unit(text: str) -> TemperatureUnit | None:
    """Find the temperature unit in a header, whole or with broken bytes before C or F."""
    match = _UNIT.search(text.casefold())
    if match is None:
        return None
    return "degC" if (match[1] or match[2])[0] == "c" else "degF"


def _judge(index: int, name: str, under: str, filled: Filled, time: bool, daily: bool) -> _Judged:
    header = name or f"column {index + 1}"

    def other(role: Role, why: str) -> _Judged:
        return _Judged(Column(index + 1, header, role, why, unit=unit), _OTHER)

    words = f"{name} {under}".strip()
    unit = find_unit(words) or cast("TemperatureUnit | None", filled.unit)
    if time:
        return other("time", "holds dates or times")
    if not filled.cells:
        return other("empty", "no readings")
    if filled.numbers < filled.cells / 2:
        return other("text", "words, not numbers")
    low = re.sub(r"[_\s]+", " ", words.casefold())
    if TIME_WORD.match(low) and not find_unit(name):
        return other("set aside", "a time besides the one used")
    soil = bool(_SOIL.search(low) or _TS.fullmatch(name.casefold().strip()))
    if why := _why_aside(name, low, soil):
        return other("set aside", why)
    statistic: Statistic = "min" if _MIN.search(low) else "max" if _MAX.search(low) else "mean"
    if statistic != "mean" and not daily:
        return other("set aside", f"the {statistic} within each step; the mean is used")
    depth = find_depth(name)
    depth = find_depth(under) if depth is None else depth
    column = Column(index + 1, header, "set aside", "", None, unit, depth, statistic)
    if soil:
        return _Judged(replace(column, why="its name says soil"), _CERTAIN)
    if depth is not None:
        return _Judged(replace(column, why="its name gives a depth"), _CERTAIN)
    if unit or _TEMPERATURE.search(low):
        return _Judged(replace(column, why="its name says temperature"), _LIKELY)
    return _Judged(replace(column, why="nothing in its name says temperature"), _SILENT)


def _why_aside(name: str, low: str, soil: bool) -> str:
    if re.fullmatch(r"[#№]|no\.?|nr\.?|n°|record|rn|id", name.casefold().strip()):
        return "a number of the row"
    for pattern, what in _ASIDE:
        if what == "a number of the row" and (soil or _TEMPERATURE.search(low)):
            continue
        if (
            what == "air temperature" and soil
        ):  # air and soil both in one header: the soil's word decides
            continue
        if pattern.search(low):
            return what
    return ""


def _told(judged: Sequence[_Judged], options: LogOptions, source: str) -> dict[int, Column]:
    """Columns that the options name."""
    chosen: dict[int, Column] = {}
    faults: list[Fault] = []
    headers = [j.column.header for j in judged]
    usable = [j.column.header for j in judged if j.column.role == "set aside"]
    for name, depth in options.columns.items():
        found = find_column(name, headers)
        found = [i for i in found if judged[i].rank <= _LIKELY] or found
        if not found:
            cure = f"write one of {', '.join(map(repr, usable)) or 'the headers in the file'}"
            faults.append(Fault(source, "columns", f"no column {name!r}", cure))
            continue
        if len(found) > 1:
            cure = "write " + " or ".join(f'"column {i + 1}"' for i in found)
            faults.append(Fault(source, "columns", f"{len(found)} columns are {name!r}", cure))
            continue
        column = judged[found[0]].column
        if column.role != "set aside":
            what = {"time": "the time", "empty": "empty", "text": "words"}[column.role]
            faults.append(Fault(source, f"column {name!r}", f"this is {what}", "name another"))
            continue
        known = column.depth_cm if column.depth_cm is not None else find_depth(column.header)
        chosen[column.number] = replace(
            column,
            role="soil temperature",
            why="as told",
            depth_cm=known if depth is None else depth,
        )
    if faults:
        raise InputError(faults)
    return chosen


def _guessed(judged: Sequence[_Judged], source: str) -> dict[int, Column]:
    certain, likely, silent, others = (
        [j.column for j in judged if j.rank == rank]
        for rank in (_CERTAIN, _LIKELY, _SILENT, _OTHER)
    )
    if certain:
        return _as_soil(certain)
    means = [c for c in likely if c.statistic == "mean"]
    if len(means) == 1:
        return _as_soil([replace(c, why="the only temperature in the file") for c in likely])
    columns = [j.column for j in judged]
    if len(means) > 1:
        found = f"{len(means)} columns could be soil temperature: {_listed(means)}"
        cure = f'set columns = {{ "{_key(means[0], columns)}" = "5 cm" }}'
        raise InputError(Fault(source, "", found, cure))
    if len(silent) == 1:
        return _as_soil([replace(silent[0], why="the only column of numbers")])
    empty = [c for c in others if c.role == "empty" and (c.unit or find_depth(c.header))]
    if empty:
        place = f"column {empty[0].number}"
        found = f"not one reading in {empty[0].header!r}"
        raise InputError(Fault(source, place, found, "name other columns, or export again"))
    words = [c for c in others if c.role == "text" and c.unit]
    if words:
        place = f"column {words[0].number}"
        found = f"{words[0].header!r} holds words where numbers are wanted"
        raise InputError(Fault(source, place, found, "export plain numbers"))
    numeric = silent or [c for c in columns if c.role == "set aside"]
    found = f"no column is soil temperature; there are {_listed(numeric) or 'no numbers'}"
    key = _key(numeric[0], columns) if numeric else "header"
    raise InputError(Fault(source, "", found, f'set columns = {{ "{key}" = "5 cm" }}'))


def _as_soil(columns: Sequence[Column]) -> dict[int, Column]:
    return {c.number: replace(c, role="soil temperature") for c in columns}


def _rest(judged: _Judged, told: bool) -> Column:
    """Return a column that was not chosen, with the reason why."""
    column = judged.column
    if judged.rank > _LIKELY:
        return column
    if told:
        return replace(column, why="not among the columns named")
    return replace(column, why="neither soil nor a depth in its name, as others have")


def _listed(columns: Sequence[Column], most: int = 6) -> str:
    names = [_place(c) for c in columns[:most]]
    more = len(columns) - most
    return ", ".join(names) + (f" and {more} more" if more > 0 else "")


def _place(column: Column) -> str:
    nameless = column.header == f"column {column.number}"
    return column.header if nameless else f"column {column.number} {column.header!r}"


def _key(column: Column, columns: Sequence[Column]) -> str:
    same = sum(c.header == column.header for c in columns)
    return column.header if same == 1 and '"' not in column.header else f"column {column.number}"


def _name_probes(columns: Sequence[Column]) -> Iterator[Column]:
    """Give every soil column its probe: columns that differ in min, max and mean share one."""
    soil = [c for c in columns if c.role == "soil temperature"]
    bases = {c.number: _base(c) for c in soil}
    means = Counter(bases[c.number] for c in soil if c.statistic == "mean")
    for column in columns:
        if column.role != "soil temperature":
            yield column
            continue
        base = bases[column.number]
        if means[base] == 1:
            mean = next(c for c in soil if c.statistic == "mean" and bases[c.number] == base)
            same = sum(c.header == mean.header for c in soil)
            yield replace(column, probe=mean.header if same == 1 else _numbered(mean))
        elif column.statistic == "mean":
            same = sum(c.header == column.header for c in soil)
            yield replace(column, probe=column.header if same == 1 else _numbered(column))
        else:
            why = f"a {column.statistic} without its mean"
            yield replace(column, role="set aside", why=why)


def _base(column: Column) -> tuple[str, float | None]:
    low = re.sub(r"[_\s]+", " ", column.header.casefold())
    return " ".join(_STATISTIC_WORD.sub(" ", low).split()), column.depth_cm


def _numbered(column: Column) -> str:
    return f"{column.header} (column {column.number})"
