"""Causes that the soil test, the nematode count and a look at the ground speak for."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from patchrisk.core.visit.findings import Cause, Fact, Place, Status, Visit
from patchrisk.core.visit.guidelines import Judged


@dataclass(frozen=True)
class Limits:
    """Figures of thresholds/visit.toml, soil_tests.toml and verdict.toml.

    Parameters
    ----------
    nematodes : mapping of str to float
        In 100 cm3 of soil.
    evident_at : float
        So many times those, damage is likely evident.
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


def soil_causes(visit: Visit, soil: Sequence[Sequence[Judged]], limits: Limits) -> list[Cause]:
    """Judge salt, sodium, and lack or excess of each nutrient."""
    worst = {(j.value.analyte, j.value.method): j for j in soil[-1]} if soil else {}
    best = {(j.value.analyte, j.value.method): j for j in soil[0]} if len(soil) > 1 else {}
    out = [_hazard(key, of, worst, best) for key, of in (
        ("salt", ("conductivity", "chloride")), ("sodium", ("SAR", "ESP", "sodium")),
    )]  # fmt: skip
    sand = visit.ground == "sand green"
    if out[1].status == "for" and sand:
        beside = Fact("sand and sodium", "beside")
        out[1] = Cause("sodium", "sodium", "open", (*out[1].facts, beside), out[1].weight)
    inside: list[str] = []
    named: list[Cause] = []
    for key, judged in worst.items():
        analyte = "manganese" if key[0] == "manganese index" else key[0]
        if analyte not in limits.nutrients | {"pH"} or judged.verdict == "not judged":
            continue
        if judged.verdict == "inside":
            inside.append(key[0])
            continue
        named.append(_lack(analyte, judged, best.get(key)))
    facts = (Fact("inside every guideline", "against", True, {"of": tuple(inside)}),)
    if set(inside) - {"pH"}:
        out.append(Cause("nutrients", "nutrients", "against", facts))
    elif named and all(one.status == "against" for one in named):
        out.append(Cause("nutrients", "nutrients", "against", ()))
    elif not named:
        out.append(Cause("nutrients", "nutrients", "not looked at", ()))
    return [*out, *named]


def _hazard(
    key: str,
    analytes: tuple[str, ...],
    worst: Mapping[tuple[str, str], Judged],
    best: Mapping[tuple[str, str], Judged],
) -> Cause:
    facts: list[Fact] = []
    weight = 0.0
    for k, judged in worst.items():
        if k[0] not in analytes:
            continue
        told: dict[str, object] = {"judged": judged}
        other = best.get(k)
        if judged.verdict == "not judged":
            facts.append(Fact("value not judged", "beside", told=told))
        elif judged.verdict == "inside":
            facts.append(Fact("value inside", "against", True, told))
        elif judged.verdict == "open":
            facts.append(Fact("value borderline", "for", told=told))
        elif other is not None and other.verdict == "outside":
            facts.append(Fact("value outside in both", "for", told={**told, "best": other}))
        else:
            facts.append(Fact("value outside", "for", True, told))
            tops = [
                h.guideline.high for h in judged.held if h.guideline.decides and h.guideline.high
            ]
            weight = max([weight, *(1 + judged.value.value / top for top in tops)])
    if any(f.direct and f.side == "for" for f in facts):
        return Cause(key, key, "for", tuple(facts), weight)
    if any(f.side == "for" for f in facts):
        return Cause(key, key, "open", tuple(facts), 0.8)
    told_it = any(f.side == "against" for f in facts)
    return Cause(key, key, "against" if told_it else "not looked at", tuple(facts))


def _lack(analyte: str, judged: Judged, best: Judged | None) -> Cause:
    short = "short" in judged.deciding or "cannot tell" in judged.deciding
    key = f"{'lack' if short else 'excess'} of {analyte}"
    if analyte == "pH":
        key = "acid soil" if short else "alkaline soil"
    told: dict[str, object] = {"judged": judged}
    if best is not None and best.verdict == judged.verdict:
        fact = Fact("value alike in the good place", "against", True, {**told, "best": best})
        return Cause(key, "nutrients", "against", (fact,))
    if judged.verdict == "open":
        return Cause(key, "nutrients", "open", (Fact("value borderline", "for", told=told),), 0.4)
    return Cause(key, "nutrients", "for", (Fact("value outside", "for", True, told),), 1.2)


def nematode_cause(visit: Visit, limits: Limits) -> Cause:
    """Judge counts against the table; what is not in the table is named and not judged."""
    key = "nematodes"
    worst, best = visit.worst.nematodes, visit.best.nematodes
    if not worst:
        return Cause(key, key, "not looked at", ())
    facts: list[Fact] = []
    most = 0.0
    status: Status = "against"
    for kind, count in worst.items():
        limit = limits.nematodes.get(kind)
        told: dict[str, object] = {"kind": kind, "count": count, "limit": limit}
        if limit is None:
            facts.append(Fact("nematode not in the table", "beside", told=told))
            continue
        times = count / limit
        most = max(most, times)
        if times < 1:
            facts.append(Fact("nematodes few", "against", True, told))
            continue
        elsewhere = best.get(kind, 0.0) / limit if len(visit.places) > 1 else 0.0
        told["best"] = best.get(kind)
        many = times >= limits.evident_at
        if many and elsewhere < limits.evident_at:
            facts.append(Fact("nematodes many", "for", True, told))
            status = "for"
        else:
            kind_of = "nematodes many in both" if many else "nematodes borderline"
            facts.append(Fact(kind_of, "for", told=told))
            status = "open" if status != "for" else status
    if not most and not any(f.side != "beside" for f in facts):
        status = "open"
    return Cause(key, key, status, tuple(facts), 2 + most if status == "for" else most / 3)


def ground_causes(visit: Visit, limits: Limits) -> list[Cause]:
    """Judge dry spots and too little air."""
    wet = visit.up_to(lambda place: "drop_time" in place.ground)
    out = [_drops(wet.worst, wet.best, len(wet.places) == 1, limits)]
    visit = visit.up_to(lambda p: p.black_layer is not None or "air_filled" in p.ground)
    worst, best, alone = visit.worst, visit.best, len(visit.places) == 1
    facts: list[Fact] = []
    if worst.black_layer is not None:
        more = worst.black_layer and (alone or not best.black_layer)
        side: Literal["for", "against"] = "for" if worst.black_layer else "against"
        direct = more or not worst.black_layer
        facts.append(Fact("black layer", side, bool(direct), {"place": worst.name}))
    air = worst.ground.get("air_filled")
    if air is not None:
        told = {"air": air, "limit": limits.air_percent, "place": worst.name}
        low = air < limits.air_percent
        same = not alone and best.ground.get("air_filled", 100.0) < limits.air_percent
        facts.append(Fact("air", "for" if low else "against", not (low and same), told))
    slower = best.ground.get("infiltration"), worst.ground.get("infiltration")
    if not alone and slower[0] is not None and slower[1] is not None and slower[1] < slower[0]:
        facts.append(
            Fact("infiltration slower", "beside", told={"best": slower[0], "worst": slower[1]})
        )
    told_it = [f for f in facts if f.side != "beside"]
    status: Status = "not looked at"
    if told_it:
        direct_for = any(f.direct and f.side == "for" for f in told_it)
        status = (
            "for" if direct_for else "open" if any(f.side == "for" for f in told_it) else "against"
        )
    out.append(Cause("air", "air", status, tuple(facts), 1.5 if status == "for" else 0.3))
    return out


def _drops(worst: Place, best: Place, alone: bool, limits: Limits) -> Cause:
    key = "dry spots"
    seconds = worst.ground.get("drop_time")
    if seconds is None:
        return Cause(key, key, "not looked at", ())
    told: dict[str, object] = {"seconds": seconds, "place": worst.name}
    told |= {"limit": limits.drop_s, "sure": limits.drop_sure_s}
    if seconds <= limits.drop_s:
        return Cause(key, key, "against", (Fact("drop goes in", "against", True, told),))
    elsewhere = best.ground.get("drop_time", 0.0)
    if seconds > limits.drop_sure_s and (alone or elsewhere <= limits.drop_sure_s):
        return Cause(key, key, "for", (Fact("drop stands", "for", True, told),), 1.6)
    return Cause(key, key, "open", (Fact("drop slow", "for", told=told),), 0.5)
