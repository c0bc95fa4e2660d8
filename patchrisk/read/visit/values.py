"""One figure of a soil test as people write it: number, unit, extractant; doubt is a fault."""

import re
from functools import lru_cache
from typing import NamedTuple

from patchrisk.base.safe_text import squeezed
from patchrisk.core.visit.findings import SoilValue
from patchrisk.read.visit.guidelines import Analyte, SoilTests
from patchrisk.read.visit.soil_units import UNIT, UnitError, canonical

_METHODS = {  # and by which other names, squeezed
    "Mehlich-3": ("m3", "mehlichiii", "mehlichno3"),
    "Mehlich-1": ("m1", "mehlichi"),
    "Olsen": ("bicarbonate", "nahco3", "sodiumbicarbonate"),
    "Bray P1": ("bray", "bray1", "p1"),
    "ammonium acetate": ("nh4oac", "aa", "amac"),
    "DTPA": (),
    "Morgan": ("modifiedmorgan",),
    "KCl": (),
    "water": ("h2o",),
    "paste": ("saturatedpaste", "satpaste", "spe", "saturatedpasteextract", "se"),
    "1:1": ("1to1",),
    "1:2": ("1to2",),
    "1:5": ("1to5",),
    "CaCl2": ("001mcacl2", "cacl"),
}
_BY_NAME = {also: name for name, more in _METHODS.items() for also in (squeezed(name), *more)}
MIXTURES = ("1:1", "1:2", "1:5", "paste")
PH_METHODS = (*MIXTURES, "CaCl2", "KCl")
EXTRACTANTS = tuple(m for m in _METHODS if m not in ("1:1", "1:2", "1:5", "CaCl2"))


class Kind(NamedTuple):
    """By which methods a figure is had, which key of [laboratory] tells it for all, an example."""

    methods: tuple[str, ...]
    key: str
    word: str
    example: str


_CONTENT = Kind(EXTRACTANTS, "extractant", "extractant", "85 ppm, Mehlich-3")
_KINDS = {  # by the analyte's unit
    "pH": Kind(PH_METHODS, "ph_method", "mixture of soil and water", "7.2, 1:1"),
    "dS/m": Kind(MIXTURES, "conductivity_method", "mixture of soil and water", "1.4 dS/m, paste"),
    "1": Kind(("paste",), "", "method", "3.2, paste"),
    "%": Kind((), "", "", "2.1 %"),
    "meq/100 g": Kind((), "", "", "6.1 meq/100 g"),
}
_VALUE = re.compile(
    r"(<|less than)?\s*([-+]?[\d.]+(?:,\d+)*(?:\.\d+)?)\s*([^\s,<\d][^,]*)?(?:,\s*(.+))?",
    re.IGNORECASE,
)
NOT_DETECTED = re.compile(r"n\.?\s?d\.?|bdl|bld|<\s?(?:lod|dl|rl|mdl)|not detected", re.IGNORECASE)
_NOISE = {
    *("soil", "available", "avail", "extractable", "exch", "exchangeable", "level", "test"),
    *("result", "value", "total", "by", "in", "of", "as", "sat", "saturated", "extract"),
}
_SHARE = re.compile(
    r"base sat|%\s?(?:k|ca|mg|na)\b|\bsat(?:uration)?\b(?!\w*\.? paste)", re.IGNORECASE
)
_PLAIN = re.compile(r"[-+]?(?:\d+(?:\.\d*)?|\.\d+)")
_THOUSANDS = re.compile(r"[-+]?\d{1,3}(?:,\d{3})+(?:\.\d+)?")
_COMMA = re.compile(r"[-+]?\d*,\d+")


def find_method(text: str) -> str:
    """Return an extractant or mixture by any of its names; empty when it is none known."""
    return _BY_NAME.get(squeezed(text), "")


def read_number(text: str, decimal: str | None) -> float:
    """Read a number; a comma that could be either sign is a fault.

    Raises
    ------
    UnitError
        What was found, and what to write.
    """
    if _PLAIN.fullmatch(text):
        return float(text)
    whole = _THOUSANDS.fullmatch(text)
    one, other = text.replace(",", ""), text.replace(",", ".")
    if _COMMA.fullmatch(text) and (decimal == "," or not whole):
        return float(other)
    if whole and (decimal == "." or text.count(",") > 1 or "." in text):
        return float(one)
    if whole:
        raise UnitError(f"{text!r} could be {one} or {other}", f"write {one} or {other}")
    raise UnitError(f"{text!r} is no number", "write a plain number, or < and the limit")


def read_text(text: str, analyte: Analyte, usual: str, *, sure: bool = False) -> SoilValue:
    """Read a figure such as ``900 ppm, Mehlich-3``; ``usual`` is the method where none is told.

    UnitError as for `make`.
    """
    if NOT_DETECTED.fullmatch(text.strip()):
        raise UnitError(
            f"{text!r} without its limit", 'write "<" and the laboratory\'s limit with its unit'
        )
    match = _VALUE.fullmatch(text.strip())
    kind = kind_of(analyte)
    if match is None:
        raise UnitError(f"{text!r}", f'write it as "{kind.example}"')
    unit, method = (match[3] or "").strip(), (match[4] or "").strip()
    if method and not find_method(method) and analyte.unit != "%":
        known = ", ".join(kind.methods)
        raise UnitError(f"{method!r} is no extractant known", f"write one of {known}")
    method = find_method(method) or method or usual
    number = read_number(match[2], None)
    return make(number, bool(match[1]), analyte, unit, method, text, sure=sure)


def make(
    number: float, below: bool, analyte: Analyte, unit: str, method: str, written: str,
    *, sure: bool,
) -> SoilValue:  # fmt: skip
    """Make a figure of an analyte; what it needs and what is not told is a fault.

    Raises
    ------
    UnitError
    """
    methods, key, word, example = kind_of(analyte)
    if methods and method not in methods:
        found = f"{method!r} for {analyte.name}" if method else f"not told by which {word}"
        under = f' or {key} = "{methods[0]}" under [laboratory]' if key else ""
        raise UnitError(found, f'write "{example}"{under}; known: {", ".join(methods)}')
    value = canonical(number, unit, analyte.unit, analyte.equivalent, paste=method == "paste")
    if not sure and not below and not analyte.least <= value <= analyte.most:
        raise UnitError(
            f"{written!r} is {value:.6g} {analyte.unit}; soils have "
            f"{analyte.least:g} to {analyte.most:g}",
            f'correct the figure or its unit, or write sure = ["{analyte.name}"]',
        )
    own = "mg/L" if method == "paste" and analyte.unit == "mg/kg" else analyte.unit
    by = method if methods or analyte.unit == "%" else ""
    return SoilValue(analyte.name, value, own, by, below)


def kind_of(analyte: Analyte) -> Kind:
    """Return how figures of an analyte are had."""
    return _KINDS.get(analyte.unit, _CONTENT)


@lru_cache(maxsize=4096)
def parse_heading(text: str, tests: SoilTests) -> tuple[Analyte | None, str, str]:
    """Read a heading such as ``M3-Ca (mg/kg)``: analyte, unit, method; None for another thing."""
    if _SHARE.search(text):
        return None, "", ""
    unit = UNIT.search(text)
    rest = text.replace(unit[0], " ") if unit else text
    whole = tests.find(rest)
    if whole is not None:
        method = "paste" if squeezed(rest) in ("ece", "ecse", "sare") else ""
        return whole, unit[0] if unit else "", method
    method = ""
    words: list[str] = []
    for part in re.split(r"[\s()\[\],;_]+|(?<=\w)-(?=[A-Z])", rest):
        known = find_method(part)
        if known and not method and not tests.find(part):
            method = known
        elif part and squeezed(part) not in _NOISE:
            words.append(part)
    joined = " ".join(words)
    for name, mark in (
        ("Mehlich-3", r"mehlich[ -]?(?:3|iii)"),
        ("paste", r"sat\w* paste(?: extract)?"),
    ):
        if re.search(mark, joined, re.IGNORECASE):
            method, joined = name, re.sub(mark, "", joined, flags=re.IGNORECASE)
    return tests.find(joined), unit[0] if unit else "", method
