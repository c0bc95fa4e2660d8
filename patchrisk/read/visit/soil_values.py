"""A figure of a soil test as laboratories write it: number, unit, extractant; doubt is a fault."""

import re
from typing import NamedTuple

from patchrisk.base.errors import Fault
from patchrisk.base.safe_text import squeezed
from patchrisk.base.toml_files import load_numbers
from patchrisk.base.units import CM_PER_INCH
from patchrisk.core.visit.findings import SoilValue
from patchrisk.read.diseases.quantities import Table

UNIT = re.compile(
    r"(?<![\w/])(ppm|mg/kg|ug/g|g/kg|mg/l|meq/l|meq/100 ?g|cmol(?:c|\(\+\))?/kg|ds/m|mmhos?/cm|"
    r"ms/cm|[uµ]s/cm|%|percent|lbs?/(?:ac(?:re)?|a|1000 ?ft2)"
    r"(?: furrow slice| \d+(?:\.\d+)? ?(?:in|cm))?)(?![\w/])",
    re.IGNORECASE,
)
_FT2_PER_ACRE = 43560
_PER_AREA = re.compile(
    r"(?:lbs?|pounds?)\s*(?:/|per)\s*(a|ac|acre|1000\s*(?:ft2|ft²|sq\.?\s*ft))\.?"
    r"(?:[\s,]+(furrow slice|afs)|[\s,]+(\d+(?:\.\d+)?)\s*(in|inch|inches|cm))?",
    re.IGNORECASE,
)
_MASS = {"ppm": 1.0, "mg/kg": 1.0, "ug/g": 1.0, "g/kg": 1e3, "%": 1e4}
_CHARGE = ("meq/100g", "meq/100 g", "cmol/kg", "cmolc/kg", "cmol(+)/kg")
_CONDUCTIVITY = {
    "ds/m": 1.0, "mmhos/cm": 1.0, "mmho/cm": 1.0, "ms/cm": 1.0, "us/cm": 1e-3, "µs/cm": 1e-3,
    "umhos/cm": 1e-3, "ms/m": 1e-2,
}  # fmt: skip
_INCH = {"in": 1.0, "inch": 1.0, "inches": 1.0, "cm": 1 / CM_PER_INCH}


class UnitError(ValueError):
    """What is wrong with a figure or its unit, and what to write."""

    def at(self, source: str, place: str) -> Fault:
        """Return it as a fault of a file."""
        return Fault(source, place, *map(str, self.args))


def canonical(value: float, unit: str, of: str, equivalent: float | None, *, paste: bool) -> float:
    """Convert a figure of a soil test from a unit as written to the canonical one of its analyte.

    ``of`` is that unit, where ``mg/kg`` stands for any content, mg/L for one of an extract
    (``paste``); ``equivalent`` are grams that carry one mole of charge. UnitError says what was
    found, and what to write.
    """
    plain = " ".join(unit.replace("₂", "2").split())
    low = plain.lower()
    if of == "dS/m":
        if low in _CONDUCTIVITY:
            return value * _CONDUCTIVITY[low]
        raise UnitError(f"{plain!r} is no conductivity", "write dS/m, mmhos/cm or uS/cm")
    if of in ("pH", "1"):
        if low in ("", "ph", "1", "-", "su", "s.u.", "ph units", "units", "none", "ratio"):
            return value
        raise UnitError(f"{plain!r} on a figure without unit", "take the unit out")
    if of in ("%", "meq/100 g"):
        wanted = ("%",) if of == "%" else _CHARGE
        if low in wanted:
            return value
        raise UnitError(f"{plain!r}", f"write it in {of}")
    if not low:
        raise UnitError("no unit", "write ppm, mg/kg, meq/100 g or lb/acre with its depth")
    if paste:
        if low in ("ppm", "mg/l"):
            return value
        if low in ("meq/l", "mmolc/l") and equivalent is not None:
            return value * equivalent
        raise UnitError(f"{plain!r} of a saturated paste", "write mg/L, ppm or meq/L")
    if low in _MASS:
        return value * _MASS[low]
    if low in _CHARGE:
        if equivalent is None:
            raise UnitError(f"{plain!r} of what carries no charge", "write it in ppm")
        return value * equivalent * 10
    area = _PER_AREA.fullmatch(plain)
    if area is None:
        raise UnitError(f"{plain!r} is no unit known", "write ppm, mg/kg, meq/100 g or lb/acre")
    if not area[2] and not area[3]:
        raise UnitError(
            f"{plain!r} without its depth", f'write "{plain} furrow slice" or "{plain} 4 in"'
        )
    if area[1].lower().startswith("1000"):
        value *= _FT2_PER_ACRE / 1000
    # Of a furrow slice, as laboratories take it; of other depths in proportion.
    numbers = load_numbers("visit")
    mass, depth = numbers["slice.mass"], numbers["slice.depth"]
    inches = depth.value if area[2] else float(area[3]) * _INCH[area[4].lower()]
    if (depth.low or 0) <= inches <= (depth.high or 0):
        inches = depth.value
    return value / (mass.value / 1e6 * inches / depth.value)


def same_unit(one: str, other: str) -> bool:
    """Whether two units say the same of a soil test."""
    alike = dict.fromkeys(("ppm", "ug/g"), "mg/kg")
    alike |= dict.fromkeys(("mmhos/cm", "mmho/cm", "ms/cm"), "ds/m")
    a, b = (" ".join(u.casefold().split()) for u in (one, other))
    return alike.get(a, a) == alike.get(b, b)


class Analyte(Table):
    """Something that a soil is tested for; ``least`` to ``most`` is what a sound figure can be."""

    name: str
    also: list[str] = []
    unit: str = "mg/kg"
    equivalent: float | None = None
    least: float
    most: float
    nutrient: bool = False


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
_PLAIN = re.compile(r"[-+]?(?:\d+(?:\.\d*)?|\.\d+)")
_THOUSANDS = re.compile(r"[-+]?\d{1,3}(?:,\d{3})+(?:\.\d+)?")
_COMMA = re.compile(r"[-+]?\d*,\d+")


def find_method(text: str) -> str:
    """Return an extractant or mixture by any of its names; empty when it is none known."""
    return _BY_NAME.get(squeezed(text), "")


def read_number(text: str, decimal: str | None) -> float:
    """Read a number; a comma that could be either sign is a fault."""
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
    """Make a figure of an analyte; UnitError where what it needs is not told."""
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
