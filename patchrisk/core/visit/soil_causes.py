"""Causes that the soil test, the nematode count and a look at the ground speak for."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from patchrisk.core.visit.findings import Cause, Fact, Side, Status, Visit
from patchrisk.core.visit.guidelines import Judged

_SAYS: Mapping[str, tuple[str, Side, bool]] = {
    "not judged": ("value not judged", "beside", False),
    "inside": ("value inside", "against", True),
    "open": ("value borderline", "for", False),
    "outside": ("value outside", "for", True),
}


@dataclass(frozen=True)
class Limits:
    """Figures of thresholds/visit.toml, soil_tests.toml and verdict.toml.

    Parameters
    ----------
    nematodes, evident_at : mapping of str to float, float
        In 100 cm3 of soil; so many times those, damage is likely evident.
    drop_s, drop_sure_s : float
        Seconds that a drop of water stands.
    air_percent : float
        Least air-filled pores [%].
    frost_soil_c, frost_air_c, heat_c : float
        [degC].
    dead, sound : float
        Damage at which plugs tell nothing, and up to which turf counts as sound [%].
    shorter : float
        Length of roots, beside the best place's, that counts as shorter [1].
    nutrients : set of str
        Analytes of which turf can lack, or have too much.
    weight : mapping of str to float
        By cause and how it stands, what orders causes that are spoken for alike [1].
    """

    nematodes: Mapping[str, float]
    evident_at: float
    drop_s: float
    drop_sure_s: float
    air_percent: float
    frost_soil_c: float
    frost_air_c: float
    heat_c: float
    dead: float
    sound: float
    shorter: float
    nutrients: frozenset[str]
    weight: Mapping[str, float]


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


def soil_causes(visit: Visit, soil: Sequence[Sequence[Judged]], limits: Limits) -> list[Cause]:
    """Judge salt, sodium, and lack or excess of each nutrient."""
    worst = {j.value.key: j for j in soil[-1]} if soil else {}
    best = {j.value.key: j for j in soil[0]} if len(soil) > 1 else {}
    salt = _hazard("salt", ("conductivity", "chloride"), worst, best, limits)
    sodium = _hazard("sodium", ("SAR", "ESP", "sodium"), worst, best, limits)
    if sodium.status == "for" and visit.ground == "sand green":
        beside = Fact("sand and sodium", "beside")
        sodium = replace(sodium, status="open", facts=(*sodium.facts, beside))
    inside: list[str] = []
    named: list[Cause] = []
    for key, judged in worst.items():
        analyte = "manganese" if key[0] == "manganese index" else key[0]
        if analyte not in limits.nutrients | {"pH"} or judged.verdict == "not judged":
            continue
        if judged.verdict == "inside":
            inside.append(key[0])
        else:
            named.append(_lack(analyte, judged, best.get(key), limits))
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
    limits: Limits,
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
    return cause_of(key, facts, weight, limits.weight["hazard.open"])


def _lack(analyte: str, judged: Judged, best: Judged | None, limits: Limits) -> Cause:
    short = "short" in judged.deciding or "cannot tell" in judged.deciding
    key = f"{'lack' if short else 'excess'} of {analyte}"
    if analyte == "pH":
        key = "acid soil" if short else "alkaline soil"
    says = _SAYS[judged.verdict]
    if best is not None and best.verdict == judged.verdict:
        says = "value alike in the good place", "against", True
    sure, unsure = limits.weight["nutrient.sure"], limits.weight["nutrient.open"]
    cause = cause_of(key, [Fact(*says, {"judged": judged})], sure, unsure)
    return replace(cause, family="nutrients")


def nematode_cause(visit: Visit, limits: Limits) -> Cause:
    """Judge counts against the table; what is not in the table is named and not judged."""
    facts: list[Fact] = []
    most = 0.0
    for kind, count in visit.worst.nematodes.items():
        limit = limits.nematodes.get(kind)
        told: dict[str, object] = {"kind": kind, "count": count, "limit": limit}
        if limit is None:
            facts.append(Fact("nematode not in the table", "beside", told=told))
            continue
        times = count / limit
        most = max(most, times)
        elsewhere = 0.0 if visit.alone else visit.best.nematodes.get(kind, 0.0) / limit
        told |= {"best": visit.best.nematodes.get(kind), "evident": limits.evident_at}
        if times < 1:
            facts.append(Fact("nematodes few", "against", True, told))
        elif times < limits.evident_at:
            facts.append(Fact("nematodes borderline", "for", told=told))
        elif elsewhere < limits.evident_at:
            facts.append(Fact("nematodes many", "for", True, told))
        else:
            facts.append(Fact("nematodes many in both", "for", told=told))
    unsure = limits.weight["nematodes.open"] * most
    cause = cause_of("nematodes", facts, limits.weight["nematodes.sure"] + most, unsure, unsure)
    if facts and cause.status == "not looked at":  # counted, and none of them in the table
        return replace(cause, status="open")
    return cause


def ground_causes(visit: Visit, limits: Limits) -> list[Cause]:
    """Judge dry spots and too little air."""
    drops = _drops(visit.up_to(lambda place: "drop_time" in place.ground), limits)
    visit = visit.up_to(lambda p: p.black_layer is not None or "air_filled" in p.ground)
    worst, best = visit.worst, visit.best
    facts: list[Fact] = []
    if worst.black_layer is not None:
        alike = worst.black_layer and best.black_layer and not visit.alone
        side: Side = "for" if worst.black_layer else "against"
        facts.append(Fact("black layer", side, not alike, {"place": worst.name}))
    air = worst.ground.get("air_filled")
    if air is not None:
        told = {"air": air, "limit": limits.air_percent, "place": worst.name}
        low = air < limits.air_percent
        same = not visit.alone and best.ground.get("air_filled", 100.0) < limits.air_percent
        facts.append(Fact("air", "for" if low else "against", not (low and same), told))
    fast, slow = best.ground.get("infiltration"), worst.ground.get("infiltration")
    if fast is not None and slow is not None and slow < fast:
        facts.append(Fact("infiltration slower", "beside", told={"best": fast, "worst": slow}))
    sure, unsure = limits.weight["air.sure"], limits.weight["air.open"]
    return [drops, cause_of("air", facts, sure, unsure, unsure)]


def _drops(visit: Visit, limits: Limits) -> Cause:
    seconds = visit.worst.ground.get("drop_time")
    facts: list[Fact] = []
    if seconds is not None:
        told: dict[str, object] = {"seconds": seconds, "place": visit.worst.name}
        told |= {"limit": limits.drop_s, "sure": limits.drop_sure_s}
        elsewhere = 0.0 if visit.alone else visit.best.ground.get("drop_time", 0.0)
        if seconds <= limits.drop_s:
            facts.append(Fact("drop goes in", "against", True, told))
        elif seconds > limits.drop_sure_s >= elsewhere:
            facts.append(Fact("drop stands", "for", True, told))
        else:
            facts.append(Fact("drop slow", "for", told=told))
    return cause_of("dry spots", facts, limits.weight["drops.sure"], limits.weight["drops.open"])
