"""Causes that the soil test, the nematode count and a look at the ground speak for."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import ClassVar, Literal

from patchrisk.core.visit.findings import Cause, Fact, Side, Status, Visit
from patchrisk.core.visit.soil_tests import Guideline, Judged

_SAYS: Mapping[str, tuple[str, Side, bool]] = {
    "not judged": ("value not judged", "beside", False),
    "inside": ("value inside", "against", True),
    "open": ("value borderline", "for", False),
    "outside": ("value outside", "for", True),
}


@dataclass(frozen=True)
class Sign:
    """A sign on the roots: the kind of fungus, or the diseases, that it speaks for."""

    __pydantic_config__: ClassVar = {
        "extra": "forbid"
    }  # read as it stands from thresholds/visit.toml

    key: str
    words: str
    absent: Literal["against", "nothing"]
    source: str
    kind: str = ""
    disease: tuple[str, ...] = ()


@dataclass(frozen=True)
class NextTest:
    """Something to look at: its cost as an order, what tells that it was done, what it settles.

    ``what`` and ``changes`` are the file's words for it.
    """

    __pydantic_config__: ClassVar = {"extra": "forbid"}

    key: str
    cost: int
    fills: str
    settles: tuple[str, ...]
    what: str
    changes: str


@dataclass(frozen=True)
class Rules:
    """What a visit is judged by.

    ``figures`` are those of thresholds/visit.toml by their keys, ``nematodes`` the table's rules
    [in 100 cm3 of soil], and ``evident_at`` so many times those is where damage is likely evident;
    ``heat_c`` is of thresholds/verdict.toml; ``nutrients`` are analytes that turf can lack.
    """

    signs: tuple[Sign, ...]
    tests: tuple[NextTest, ...]
    guidelines: tuple[Guideline, ...]
    figures: Mapping[str, float]
    nematodes: Mapping[str, float]
    evident_at: float
    heat_c: float
    nutrients: frozenset[str]

    def weight(self, name: str) -> float:
        """Return what orders causes that are spoken for alike [1]."""
        return self.figures[f"weight.{name}"]


def cause_of(
    key: str, facts: Sequence[Fact], sure: float, unsure: float, rest: float = 0.0
) -> Cause:
    """Return what facts come to: a direct one makes the cause, any other leaves it open.

    Its weight is ``sure``, ``unsure`` or, where nothing speaks for it, ``rest``.
    """
    sides = {(fact.side, fact.direct) for fact in facts}
    status: Status = "not looked at"
    if ("for", True) in sides:
        status, rest = "for", sure
    elif ("for", False) in sides:
        status, rest = "open", unsure
    elif any(fact.side == "against" for fact in facts):
        status = "against"
    return Cause(key, key, status, tuple(facts), rest)


def soil_causes(visit: Visit, soil: Sequence[Sequence[Judged]], rules: Rules) -> list[Cause]:
    """Judge salt, sodium, and lack or excess of each nutrient."""
    worst = {j.value.key: j for j in soil[-1]} if soil else {}
    best = {j.value.key: j for j in soil[0]} if len(soil) > 1 else {}
    salt = _hazard("salt", ("conductivity", "chloride"), worst, best, rules)
    sodium = _hazard("sodium", ("SAR", "ESP", "sodium"), worst, best, rules)
    if sodium.status == "for" and visit.ground == "sand green":
        beside = Fact("sand and sodium", "beside")
        sodium = replace(sodium, status="open", facts=(*sodium.facts, beside))
    inside: list[str] = []
    named: list[Cause] = []
    for key, judged in worst.items():
        analyte = "manganese" if key[0] == "manganese index" else key[0]
        if analyte not in rules.nutrients | {"pH"} or judged.verdict == "not judged":
            continue
        if judged.verdict == "inside":
            inside.append(key[0])
        else:
            named.append(_lack(analyte, judged, best.get(key), rules))
    facts: list[Fact] = []
    if set(inside) - {"pH"}:
        facts = [Fact("inside every guideline", "against", True, {"of": tuple(inside)})]
    out = [salt, sodium]
    if facts or all(one.status == "against" for one in named):
        status: Status = "against" if facts or named else "not looked at"
        out.append(Cause("nutrients", "nutrients", status, tuple(facts)))
    return out + named


def _hazard(
    key: str,
    analytes: tuple[str, ...],
    worst: Mapping[tuple[str, str], Judged],
    best: Mapping[tuple[str, str], Judged],
    rules: Rules,
) -> Cause:
    facts: list[Fact] = []
    weight = 0.0
    for k, judged in worst.items():
        if k[0] not in analytes:
            continue
        other = best.get(k)
        kind, side, direct = _SAYS[judged.verdict]
        if judged.verdict == "outside" and other is not None and other.verdict == "outside":
            kind, direct = "value outside in both", False
        facts.append(Fact(kind, side, direct, {"judged": judged}))
        if kind == "value outside":
            deciding = [h.guideline for h in judged.held if h.guideline.decides]
            over = (1 + judged.value.value / g.high for g in deciding if g.high)
            weight = max(weight, *over, 0.0)
    return cause_of(key, facts, weight, rules.weight("hazard.open"))


def _lack(analyte: str, judged: Judged, best: Judged | None, rules: Rules) -> Cause:
    short = "short" in judged.deciding or "cannot tell" in judged.deciding
    key = f"{'lack' if short else 'excess'} of {analyte}"
    if analyte == "pH":
        key = "acid soil" if short else "alkaline soil"
    says = _SAYS[judged.verdict]
    if best is not None and best.verdict == judged.verdict:
        says = "value alike in the good place", "against", True
    sure, unsure = rules.weight("nutrient.sure"), rules.weight("nutrient.open")
    cause = cause_of(key, [Fact(*says, {"judged": judged})], sure, unsure)
    return replace(cause, family="nutrients")


def nematode_cause(visit: Visit, rules: Rules) -> Cause:
    """Judge counts against the table; what is not in the table is named and not judged."""
    facts: list[Fact] = []
    most = 0.0
    for kind, count in visit.worst.nematodes.items():
        limit = rules.nematodes.get(kind)
        told: dict[str, object] = {"kind": kind, "count": count, "limit": limit}
        if limit is None:
            facts.append(Fact("nematode not in the table", "beside", told=told))
            continue
        times = count / limit
        most = max(most, times)
        elsewhere = 0.0 if visit.alone else visit.best.nematodes.get(kind, 0.0) / limit
        told |= {"best": visit.best.nematodes.get(kind), "evident": rules.evident_at}
        if times < 1:
            facts.append(Fact("nematodes few", "against", True, told))
        elif times < rules.evident_at:
            facts.append(Fact("nematodes borderline", "for", told=told))
        elif elsewhere < rules.evident_at:
            facts.append(Fact("nematodes many", "for", True, told))
        else:
            facts.append(Fact("nematodes many in both", "for", told=told))
    unsure = rules.weight("nematodes.open") * most
    cause = cause_of("nematodes", facts, rules.weight("nematodes.sure") + most, unsure, unsure)
    if facts and cause.status == "not looked at":  # counted, and none of them in the table
        return replace(cause, status="open")
    return cause


def ground_causes(visit: Visit, rules: Rules) -> list[Cause]:
    """Judge dry spots and too little air."""
    drops = _drops(visit.up_to(lambda place: "drop_time" in place.ground), rules)
    visit = visit.up_to(lambda p: p.black_layer is not None or "air_filled" in p.ground)
    worst, best = visit.worst, visit.best
    facts: list[Fact] = []
    if worst.black_layer is not None:
        alike = worst.black_layer and best.black_layer and not visit.alone
        side: Side = "for" if worst.black_layer else "against"
        facts.append(Fact("black layer", side, not alike, {"place": worst.name}))
    air = worst.ground.get("air_filled")
    if air is not None:
        limit = rules.figures["ground.air_filled.low"]
        told = {"air": air, "limit": limit, "place": worst.name}
        low = air < limit
        same = not visit.alone and best.ground.get("air_filled", 100.0) < limit
        facts.append(Fact("air", "for" if low else "against", not (low and same), told))
    fast, slow = best.ground.get("infiltration"), worst.ground.get("infiltration")
    if fast is not None and slow is not None and slow < fast:
        facts.append(Fact("infiltration slower", "beside", told={"best": fast, "worst": slow}))
    sure, unsure = rules.weight("air.sure"), rules.weight("air.open")
    return [drops, cause_of("air", facts, sure, unsure, unsure)]


def _drops(visit: Visit, rules: Rules) -> Cause:
    seconds = visit.worst.ground.get("drop_time")
    facts: list[Fact] = []
    if seconds is not None:
        told: dict[str, object] = {"seconds": seconds, "place": visit.worst.name}
        limit, sure = (rules.figures[f"ground.drop_time.{name}"] for name in ("high", "sure"))
        told |= {"limit": limit, "sure": sure}
        elsewhere = 0.0 if visit.alone else visit.best.ground.get("drop_time", 0.0)
        if seconds <= limit:
            facts.append(Fact("drop goes in", "against", True, told))
        elif seconds > sure >= elsewhere:
            facts.append(Fact("drop stands", "for", True, told))
        else:
            facts.append(Fact("drop slow", "for", told=told))
    return cause_of("dry spots", facts, rules.weight("drops.sure"), rules.weight("drops.open"))
