"""What the heading of a column says: its words, its unit, a depth, a statistic.

One tokenizer for all of them: words are parted at blanks, marks, digits and capitals
(``AvgAirTemp_C``), and run-together ones at words that `column_words` knows (``SOILTMP``).
"""

import re
import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from typing import cast

import numpy as np

from patchrisk.base.units import QUANTITIES, FloatArray, from_canonical, to_canonical
from patchrisk.read.logger.column_words import ASIDE, CONVENTIONS, PARTS, SAYS, SOFT, Convention
from patchrisk.read.logger.layout import ColumnStatistic, TemperatureUnit

_SAYS = {word: key for key, words in SAYS.items() for word in words.split()}
_ASIDE = {word: why for why, words in ASIDE.items() for word in words.split()}
_SOFT = {word: why for why, words in SOFT.items() for word in words.split()}
_KNOWN = {*_SAYS, *_ASIDE, *_SOFT, *PARTS}
_LEAST = 3  # letters of a word that is looked for inside a longer one
_TAILS = ("sd", "se", "qc", "qa", "qf", "ec", "rh")  # shorter ones that end a longer one

_PIECE = re.compile(r"[a-zA-Z]+|\d+(?:[.,]\d+)?")
_CAMEL = re.compile(r"[A-Z]+(?=[A-Z][a-z])|[A-Z]?[a-z]+|[A-Z]+")
# Units of another quantity, where the words do not say it.
_OTHER_UNIT = (
    (re.compile(r"m\^?3 ?/ ?m\^?3|m³ ?/ ?m³|% ?vol|vol ?%|m3[ .]m-3|cm3/cm3"), "moisture"),
    (re.compile(r"wh?r? ?/ ?m\^?[2²]|w[ .]?m-2|mj ?/ ?m|j ?/ ?cm|µmol|umol"), "light"),
    (re.compile(r"(?<![a-z])m ?/ ?s(?![a-z])|m[ .]s-1|km/h"), "wind"),
    (re.compile(r"ds ?/ ?m|[uµm]s ?/ ?cm"), "conductivity"),
    (re.compile(r"[(\[](?:mm|mv|v|hpa|kpa|pa|lux)[)\]]"), "another quantity"),
    # Whatever is counted to a length, an area, a volume, a mass or a time.
    (re.compile(r"/ ?(?:[ck]?m\^?[23²³]|k?g|l|ha|h|hr|day)(?![a-z0-9])"), "another quantity"),
    (re.compile(r"water[ _]?content"), "moisture"),
)
_PERCENT = re.compile(r"[(\[]%[)\]]|%\s*$")
# Soil temperature in the variable names of flux networks: TS, or TS_1_2_1, TS_F_MDS_1.
_FLUX = re.compile(r"ts(?:[ _]?(?:f|pi|mds|\d+))*(?:[ _](?:avg|mean|min|max))?", re.IGNORECASE)
_ROW = re.compile(r"[#№]|no\.?|nr\.?|n°|record|rn|id", re.IGNORECASE)
_UNIT = re.compile(
    r"""(?:[^\x00-\x7f]{1,4}\s?|\?\s?|deg\w*[\s._]*|(?<![a-z])o(?=c)|[(\[]\s*|,\s*|temp\w*[\s_]+)
        ([cfk])(?![a-z0-9]) | (celsius|fahrenheit|kelvin)""",
    re.VERBOSE,
)
_O_FOR_DEGREE = re.compile(r"(?<![A-Za-z])oF(?![A-Za-z0-9])")  # in small letters it is a word
_DEPTH = re.compile(
    r"""(?<![\d.,])(\d+(?:[.,]\d+)?)\s*[_-]?\s*
        (cm|mm|m|inch(?:es)?|in|ft|feet|zoll|["″”])(?![a-z0-9³^/])""",
    re.VERBOSE,
)
# A layer such as 0 to 7 cm or 0-10 cm stands for its middle.
_LAYER = re.compile(
    r"(?<![\d.,])(?:(\d+)[\s_]*(?:to|bis)[\s_]*|(0)[\s_]*[-–][\s_]*)(\d+)\s*_?(cm|in)(?![a-z])"
    r"|(?<![\w.,:#/-])(\d+)[-–](\d+)\s*_?(cm|in)(?![a-z])"
)
_LOOSE = re.compile(r"(?<![\d.,:#/-])(\d{1,3})(?![\d.,a-zA-Z])")  # a number without a unit
_USUAL = (5, 10, 15, 20)  # where nothing says soil, a number may as well be that of a sensor
_DEEPEST = 200  # a number above it is no depth of a probe
_DEPTH_AFTER = re.compile(r"(?<![a-z])(cm|mm|inch)[\s_.-]*(\d+(?:[.,]\d+)?)(?![\d.,])")
_DEPTH_UNITS = {"inch": "in", "inches": "in", "zoll": "in", '"': "in", "″": "in", "”": "in"}
_CLOCK = re.compile(
    r"(?<![\d.,:])(?P<hour>\d{1,2})(?:[:.](?P<minute>\d{2}))?"
    r"(?:\s*(?P<half>[ap]\.?\s?m\b)|\s*(?:uhr|o'?clock)\b|(?<=:\d\d)(?![\d:]))"
)
_MINUS = re.compile(r"(?<![a-z0-9])[-−]\s?$")
_KELVIN = 273.15


@dataclass(frozen=True)
class Heading:
    """What a heading says."""

    says: frozenset[str]  # Of ``temperature``, ``soil``, ``below``
    aside: str  # Why it is no soil temperature; empty when nothing says so
    unit: TemperatureUnit | None
    # A length in it [cm]: a depth where soil is said too, or a minus or a word such as depth
    depth_cm: float | None
    number: str  # The last bare number of a column without a depth: it may be one; else empty
    statistic: ColumnStatistic
    base: tuple[str, ...]  # Its words without those of the statistic: columns of one probe share it
    convention: str = ""  # Source of the network's convention it was read by; empty for others

    @property
    def certain(self) -> bool:
        """Whether it says temperature, and soil or a depth below ground, and nothing else."""
        if self.aside or "temperature" not in self.says:
            return False
        return "soil" in self.says or ("below" in self.says and self.depth_cm is not None)


@lru_cache(maxsize=4096)
def read_heading(name: str, under: str = "") -> Heading:
    """Read the heading of a column, and what the lines below it say of it."""
    words = f"{name} {under}".strip()
    unit = find_unit(words)
    if named := _match_convention(name):
        convention, match = named
        said = match.groupdict().get("stat")
        stat = said.casefold() if said else ""
        tokens = tuple(_tokens(name))
        return Heading(
            says=frozenset({"temperature", "soil", "below"}),
            aside=_qualified(tokens),
            unit=unit,
            depth_cm=to_canonical("depth", float(match["depth"]), convention.unit),
            number="",
            statistic=cast("ColumnStatistic", stat) if stat in ("min", "max") else "mean",
            base=tuple(t for t in tokens if _SAYS.get(t) not in ("min", "max", "mean")),
            convention=convention.source,
        )
    tokens = tuple(_tokens(words))
    says = {_SAYS[t] for t in tokens if t in _SAYS} & {"temperature", "soil", "below"}
    if unit is not None:
        says.add("temperature")
    if _FLUX.fullmatch(name.strip()):
        says |= {"temperature", "soil"}
    depth, below = _length(name)
    if depth is None:
        depth, below = _length(under)
    if below:
        says.add("below")
    statistic = _statistic(tokens)
    flux = bool(_FLUX.fullmatch(name.strip()))
    base = tuple(t for t in _tokens(name) if _SAYS.get(t) not in ("min", "max", "mean"))
    if unit is None and not flux and says and len(base) > 1 and base[-1] in ("c", "f"):
        unit = "degC" if base[-1] == "c" else "degF"
        says.add("temperature")
    numbers = [n for n in _LOOSE.findall(name) if 2 <= int(n) <= _DEEPEST]
    if "soil" not in says:
        numbers = [n for n in numbers if int(n) in _USUAL]
    loose = depth is None and numbers and not flux
    return Heading(
        says=frozenset(says),
        aside=_why_aside(name, words, tokens, says),
        unit=unit,
        depth_cm=depth,
        number=numbers[-1] if loose else "",
        statistic=statistic,
        base=base,
    )


def find_hour(name: str) -> float | None:
    """Find the hour at which the one reading of a day was taken [0, 24); None where none is said.

    ``at 9 am``, ``07:00``, ``7 Uhr``; or by a network's convention.
    """
    if named := _match_convention(name):
        return named[0].hour
    for match in _CLOCK.finditer(name.casefold()):
        hour, minute = int(match["hour"]), int(match["minute"] or 0)
        if match["half"]:
            hour = hour % 12 + 12 * (match["half"][0] == "p") if 1 <= hour <= 12 else 99
        if hour < 24 and minute < 60:
            return hour + minute / 60
    return None


def heading_words(name: str) -> Iterator[tuple[str, str]]:
    """Words of a heading, and what each says of a temperature; empty where it says nothing."""
    for token in _tokens(name):
        yield token, _SAYS.get(token, "")


def says_mean(name: str) -> bool:
    """Whether a heading says itself, or by a network's convention, that its values are means."""
    if named := _match_convention(name):
        return named[0].hour is None
    return any(_SAYS.get(token) == "mean" for token in _tokens(name))


def _match_convention(name: str) -> tuple[Convention, re.Match[str]] | None:
    matched = ((one, one.pattern.fullmatch(name.strip())) for one in CONVENTIONS)
    return next(((one, match) for one, match in matched if match), None)


def _statistic(tokens: tuple[str, ...]) -> ColumnStatistic:
    kinds = {_SAYS.get(t) for t in tokens}
    for kind in ("min", "max"):
        for n, token in enumerate(tokens):
            if _SAYS.get(token) != kind:
                continue
            # "30 min avg" is a time; "5 min" alone may be the minimum at 5 cm.
            timed = token == "min" and n > 0 and tokens[n - 1].isdigit() and "mean" in kinds
            if not timed:
                return cast("ColumnStatistic", kind)
    return "mean"


def _qualified(tokens: tuple[str, ...]) -> str:
    """Return the reason why a column named by a convention is none of its temperatures."""
    marks = ("a quality mark", "a spread, not a temperature", "a count, not a temperature")
    return next((_ASIDE[t] for t in tokens if _ASIDE.get(t) in marks), "")


def _why_aside(name: str, words: str, tokens: tuple[str, ...], says: set[str]) -> str:
    if _ROW.fullmatch(name.strip()):
        return "a number of the row"
    low = words.casefold()
    for pattern, why in _OTHER_UNIT:
        if pattern.search(low):
            return why
    under_it = any(_SAYS.get(token) == "below" for token in tokens)
    for n, token in enumerate(tokens):
        before = tokens[n - 1] if n else ""
        if token in _ASIDE and token not in _SAYS:
            if token in ("surface", "oberflache", "superficie") and under_it:
                continue  # 5 cm below the surface
            return _ASIDE[token]
        after = tokens[n + 1] if n + 1 < len(tokens) else ""
        if token in ("logger", "datalogger") and (after.isdigit() or after in ("id", "no", "nr")):
            continue  # which logger, as a table of several says
        if token in _SOFT and "soil" not in says:
            if token == "in" and before.replace(".", "").isdigit():
                continue  # inches
            if _SOFT[token] in ("a number of the row", "another quantity") and (
                "temperature" in says
            ):
                continue
            return _SOFT[token]
    return "a percentage" if _PERCENT.search(low) else ""


def _tokens(text: str) -> Iterator[str]:
    plain = unicodedata.normalize("NFKD", text.replace("ß", "ss").replace("µ", "u"))
    plain = "".join(c for c in plain if not unicodedata.combining(c))
    for piece in _PIECE.findall(plain):
        if piece[0].isdigit():
            yield piece
        else:
            yield from _part(piece)


def _part(piece: str) -> Iterator[str]:
    low = piece.lower()
    if low in PARTS:
        yield from PARTS[low]
        return
    camel = [part.lower() for part in _CAMEL.findall(piece)]
    if low in _KNOWN or len(low) < 2:
        yield low
    elif low[0] == "t" and len(low) > _LEAST and low[1:] in _KNOWN:
        yield from ("t", low[1:])
    elif low[-1] == "t" and len(low) > _LEAST and low[:-1] in _KNOWN:
        yield from (low[:-1], "t")
    elif len(camel) > 1 and any(len(part) > 1 and part in _KNOWN for part in camel):
        for part in camel:
            yield from _part(part)
    else:
        whole, behind = _run_together(low), _run_together(low[1:])
        # A T before words that make up all the rest, as in TDEWAVG.
        yield from ["t", *behind] if low[0] == "t" and whole == [low] and behind[1:] else whole


def _run_together(word: str) -> list[str]:
    """Part a word into words that are known, where they make up all of it."""
    if word in PARTS:
        return list(PARTS[word])
    if word in _KNOWN:
        return [word]
    best: list[list[str] | None] = [[], *[None] * len(word)]
    for end in range(1, len(word) + 1):
        for start in range(max(0, end - 16), end - 1):
            before, piece = best[start], word[start:end]
            tail = end == len(word) and piece in _TAILS and before
            if before is not None and piece in _KNOWN and (len(piece) >= _LEAST or tail):
                found = [*before, *PARTS.get(piece, (piece,))]
                now = best[end]
                if now is None or len(found) < len(now):
                    best[end] = found
    return best[-1] or [word]


def _length(text: str) -> tuple[float | None, bool]:
    """Return a length in a header [cm], and whether a minus says that it goes down.

    ``5 cm``, ``cm_50``, ``Soil10cm``, ``2 in``, ``-0.5m``.
    """
    low = text.casefold()
    if match := _LAYER.search(low):
        top, end, unit = filter(None, match.groups())
        if float(top) < float(end):
            return to_canonical("depth", (float(top) + float(end)) / 2, unit), True
    if match := _DEPTH.search(low):
        number, unit = match[1], match[2]
        below = bool(_MINUS.search(low[: match.start()]))
    elif match := _DEPTH_AFTER.search(low):
        number, unit, below = match[2], match[1], False
    else:
        return None, False
    value = float(number.replace(",", "."))
    if unit in ("ft", "feet"):
        return to_canonical("depth", value * 12, "in"), below
    return to_canonical("depth", value, _DEPTH_UNITS.get(unit, unit)), below


def find_unit(text: str) -> TemperatureUnit | None:
    """Find the temperature unit in a header, whole or with broken bytes before C or F."""
    plain = _O_FOR_DEGREE.sub("°F", text).replace("℃", "°C").replace("℉", "°F")
    match = _UNIT.search(plain.casefold())
    if match is None:
        return None
    units: dict[str, TemperatureUnit] = {"c": "degC", "f": "degF", "k": "K"}
    return units[(match[1] or match[2])[0]]


def to_degc(values: FloatArray, unit: TemperatureUnit) -> FloatArray:
    """Convert temperatures [degC]."""
    if unit == "K":
        return values - _KELVIN
    return to_canonical("soil temperature", values, unit)


def looks_like_kelvin(values: FloatArray, quantity: str) -> bool:
    """Whether most values lie where a temperature does in kelvins, and in no other unit."""
    known = values[~np.isnan(values)]
    kind, degc = QUANTITIES[quantity], to_degc(known, "K")
    return bool(len(known) and ((degc >= kind.low) & (degc <= kind.high)).mean() > 0.5)


def from_degc(value: float, unit: TemperatureUnit) -> float:
    """Convert a temperature [degC] to a unit that a file may be in."""
    if unit == "K":
        return value + _KELVIN
    return from_canonical("soil temperature", value, unit)
