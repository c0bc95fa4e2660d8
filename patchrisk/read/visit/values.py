"""One figure of a soil test as people write it: number, unit, extractant; doubt is a fault."""

import re

from patchrisk.core.visit.amounts import UnitError, canonical
from patchrisk.core.visit.findings import SoilValue
from patchrisk.read.visit.guidelines import Analyte, SoilTests, plain_name

_METHODS = {
    "Mehlich-3": ("m3", "mehlich3", "mehlichiii", "mehlichno3"),
    "Mehlich-1": ("m1", "mehlich1", "mehlichi"),
    "Olsen": ("olsen", "bicarbonate", "nahco3", "sodiumbicarbonate"),
    "Bray P1": ("bray", "brayp1", "bray1", "p1"),
    "ammonium acetate": ("ammoniumacetate", "nh4oac", "aa", "amac"),
    "DTPA": ("dtpa",),
    "Morgan": ("morgan", "modifiedmorgan"),
    "KCl": ("kcl",),
    "water": ("water", "h2o"),
    "paste": ("paste", "saturatedpaste", "satpaste", "spe", "saturatedpasteextract", "se"),
    "1:1": ("11", "1to1"),
    "1:2": ("12", "1to2"),
    "1:5": ("15", "1to5"),
    "CaCl2": ("cacl2", "001mcacl2", "cacl"),
}
MIXTURES = ("1:1", "1:2", "1:5", "paste")
PH_METHODS = (*MIXTURES, "CaCl2", "KCl")
EXTRACTANTS = tuple(m for m in _METHODS if m not in ("1:1", "1:2", "1:5", "CaCl2"))
_METHOD_KEYS = {  # key of [laboratory] that tells it for all, and what it is called
    "mg/kg": ("extractant", "extractant"),
    "pH": ("ph_method", "mixture of soil and water"),
    "dS/m": ("conductivity_method", "mixture of soil and water"),
}
_VALUE = re.compile(
    r"(<|less than)?\s*([-+]?[\d.]+(?:,\d+)*(?:\.\d+)?)\s*([^\s,<\d][^,]*)?(?:,\s*(.+))?",
    re.IGNORECASE,
)
NOT_DETECTED = re.compile(r"n\.?\s?d\.?|bdl|bld|<\s?(?:lod|dl|rl|mdl)|not detected", re.IGNORECASE)
UNIT = re.compile(
    r"(?<![\w/])(ppm|mg/kg|ug/g|g/kg|mg/l|meq/l|meq/100 ?g|cmol(?:c|\(\+\))?/kg|ds/m|mmhos?/cm|"
    r"ms/cm|[uµ]s/cm|%|percent|lbs?/(?:ac(?:re)?|a|1000 ?ft2)"
    r"(?: furrow slice| \d+(?:\.\d+)? ?(?:in|cm))?)(?![\w/])",
    re.IGNORECASE,
)
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
    wanted = plain_name(text)
    for name, also in _METHODS.items():
        if wanted in (plain_name(name), *also):
            return name
    return ""


def read_number(text: str, decimal: str | None) -> float:
    """Read a number; a comma that could be either sign is a fault.

    Raises
    ------
    UnitError
        What was found, and what to write.
    """
    if _PLAIN.fullmatch(text):
        return float(text)
    if "," in text and decimal == "," and _COMMA.fullmatch(text):
        return float(text.replace(",", "."))
    if _THOUSANDS.fullmatch(text) and (decimal == "." or text.count(",") > 1 or "." in text):
        return float(text.replace(",", ""))
    if _COMMA.fullmatch(text) and not _THOUSANDS.fullmatch(text):
        return float(text.replace(",", "."))
    if _THOUSANDS.fullmatch(text):
        one, other = text.replace(",", ""), text.replace(",", ".")
        raise UnitError(f"{text!r} could be {one} or {other}", f"write {one} or {other}")
    raise UnitError(f"{text!r} is no number", "write a plain number, or < and the limit")


def read_text(text: str, analyte: Analyte, usual: str) -> SoilValue:
    """Read a figure such as ``900 ppm, Mehlich-3``; ``usual`` is the method where none is told.

    Raises
    ------
    UnitError
    """
    if NOT_DETECTED.fullmatch(text.strip()):
        raise UnitError(
            f"{text!r} without its limit", 'write "<" and the laboratory\'s limit with its unit'
        )
    match = _VALUE.fullmatch(text.strip())
    if match is None:
        raise UnitError(f"{text!r}", f'write it as "{example(analyte)}"')
    unit, method = (match[3] or "").strip(), (match[4] or "").strip()
    if method and not find_method(method) and analyte.unit != "%":
        known = ", ".join(_methods_of(analyte))
        raise UnitError(f"{method!r} is no extractant known", f"write one of {known}")
    method = find_method(method) or method or usual
    return make(read_number(match[2], None), bool(match[1]), analyte, unit, method, text)


def make(
    number: float, below: bool, analyte: Analyte, unit: str, method: str, written: str,
    *, sure: bool = False,
) -> SoilValue:  # fmt: skip
    """Make a figure of an analyte; what it needs and what is not told is a fault.

    Raises
    ------
    UnitError
    """
    methods = _methods_of(analyte)
    if methods and method not in methods:
        key, word = _METHOD_KEYS.get(analyte.unit, ("", "method"))
        found = f"{method!r} for {analyte.name}" if method else f"not told by which {word}"
        under = f' or {key} = "{methods[0]}" under [laboratory]' if key else ""
        raise UnitError(found, f'write "{example(analyte)}"{under}; known: {", ".join(methods)}')
    value = canonical(number, unit, analyte.unit, analyte.equivalent, paste=method == "paste")
    if not sure and not below and not analyte.least <= value <= analyte.most:
        raise UnitError(
            f"{written!r} is {value:.6g} {analyte.unit}; soils have "
            f"{analyte.least:g} to {analyte.most:g}",
            f'correct the figure or its unit, or write sure = ["{analyte.name}"]',
        )
    paste = method == "paste" and analyte.unit == "mg/kg"
    return SoilValue(
        analyte.name, value, "mg/L" if paste else analyte.unit,
        method if methods or analyte.unit == "%" else "", below, written,
    )  # fmt: skip


def _methods_of(analyte: Analyte) -> tuple[str, ...]:
    if analyte.unit == "pH":
        return PH_METHODS
    if analyte.unit == "dS/m":
        return MIXTURES
    if analyte.unit == "mg/kg":
        return EXTRACTANTS
    return ("paste",) if analyte.name == "SAR" else ()


def example(analyte: Analyte) -> str:
    """Return how a figure of an analyte is written."""
    return {"pH": "7.2, 1:1", "dS/m": "1.4 dS/m, paste", "%": "2.1 %", "1": "3.2, paste",
            "meq/100 g": "6.1 meq/100 g"}.get(analyte.unit, "85 ppm, Mehlich-3")  # fmt: skip


def parse_heading(text: str, tests: SoilTests) -> tuple[Analyte | None, str, str]:
    """Read a heading such as ``M3-Ca (mg/kg)``: analyte, unit, method; None for another thing."""
    if _SHARE.search(text):
        return None, "", ""
    unit = UNIT.search(text)
    rest = text.replace(unit[0], " ") if unit else text
    whole = tests.find(rest)
    if whole is not None:
        method = "paste" if plain_name(rest) in ("ece", "ecse", "sare") else ""
        return whole, unit[0] if unit else "", method
    method = ""
    words: list[str] = []
    for part in re.split(r"[\s()\[\],;_]+|(?<=\w)-(?=[A-Z])", rest):
        known = find_method(part) if part else ""
        if known and not method and not tests.find(part):
            method = known
        elif part and plain_name(part) not in _NOISE:
            words.append(part)
    joined = " ".join(words)
    for name, mark in (
        ("Mehlich-3", r"mehlich[ -]?(?:3|iii)"),
        ("paste", r"sat\w* paste(?: extract)?"),
    ):
        if re.search(mark, joined, re.IGNORECASE):
            method, joined = name, re.sub(mark, "", joined, flags=re.IGNORECASE)
    return tests.find(joined), unit[0] if unit else "", method


def same_unit(one: str, other: str) -> bool:
    """Whether two units say the same of a soil test."""
    alike = dict.fromkeys(("ppm", "ug/g"), "mg/kg")
    alike |= dict.fromkeys(("mmhos/cm", "mmho/cm", "ms/cm"), "ds/m")
    a, b = (" ".join(u.casefold().split()) for u in (one, other))
    return alike.get(a, a) == alike.get(b, b)
