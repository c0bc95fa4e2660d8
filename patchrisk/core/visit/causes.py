"""What it could be: for each cause, what speaks for it, against it, and what was not looked at.

No probability is given: none is published. What is direct (a sign, a measurement, a laboratory's
result) can make a cause or set it aside; what only fits (season, weather, pattern) can not.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from patchrisk.core.visit.findings import Candidate, Cause, Fact, Place, Status, Visit
from patchrisk.core.visit.soil_causes import (
    NextTest,
    Rules,
    Sign,
    cause_of,
    ground_causes,
    nematode_cause,
    soil_causes,
)
from patchrisk.core.visit.soil_tests import Judged, judge_values, order_by_chance, rises

Answer = Literal["named", "not settled", "nothing wrong", "wrong place"]
# Fungi of the roots that a laboratory may not tell apart: name of the family, key of its undivided
# cause, and kind as the disease files name it.
_FAMILIES = (
    ("dark", "dark-root-infecting-fungi", "ectotrophic dark root-infecting fungus"),
    ("pythium", "pythium", "oomycete, not a true fungus"),
)
ROOT_FAMILIES = ("dark", "pythium")
_AMOUNTS = ("none", "few", "many")
_COLOURS = ("white", "tan", "brown", "dark")
_RANK: Mapping[Status, int] = {"for": 0, "open": 1, "not looked at": 2, "against": 3}


@dataclass(frozen=True)
class Ordered:
    """A figure that is told of every place, and whether it orders with the damage."""

    analyte: str
    direction: Literal["up", "down"] | None
    explains: bool


@dataclass(frozen=True)
class Findings:
    """What a visit comes to.

    ``by_chance`` is how many of the figures in ``order`` would order perfectly by chance.
    """

    answer: Answer
    causes: tuple[Cause, ...]
    soil: tuple[tuple[Judged, ...], ...]
    order: tuple[Ordered, ...]
    by_chance: float
    next_tests: tuple[NextTest, ...]

    def cause(self, key: str) -> Cause | None:
        """Return a cause by its key; None where it was not thought of."""
        return next((one for one in self.causes if one.key == key), None)

    @property
    def standing(self) -> tuple[str, ...]:
        """Keys of the causes that are spoken for, or open."""
        return tuple(one.key for one in self.causes if one.stands)


def judge_visit(visit: Visit, rules: Rules) -> Findings:
    """Say what speaks for and against each cause, and what to look at next.

    Causes stand in order: spoken for, open, not looked at, spoken against.
    """
    soil = tuple(
        judge_values(place.soil, rules.guidelines, visit.grasses, visit.ground)
        for place in visit.places
    )
    plugs = _plugs(visit, rules)
    dead = (plugs.worst.damage or 0) >= rules.figures["ground.dead.high"]
    told = [place.damage for place in visit.places]
    sound = all(d is not None and d <= rules.figures["ground.sound.most"] for d in told)
    wrong = dead or (sound and visit.thinned)
    causes = _root_causes(plugs, rules, blind=wrong)
    causes += soil_causes(visit, [judged for judged in soil if judged], rules)
    causes += [nematode_cause(visit.up_to(lambda place: bool(place.nematodes)), rules)]
    causes += ground_causes(visit, rules)
    left = _nothing_else(causes)
    causes += [_heat(visit, rules, left), _cold(plugs, rules, left)]
    causes += [_wear(visit, rules)]
    causes.sort(key=lambda one: (_RANK[one.status], -one.weight))
    named = any(one.status == "for" for one in causes)
    looked = any(one.status == "against" and one.family in ROOT_FAMILIES for one in causes)
    untold = all(d is None for d in told) and not visit.thinned and looked
    clean = sound or (untold and not any(one.status == "open" for one in causes))
    answer: Answer = "named" if named else "nothing wrong" if clean else "not settled"
    if wrong:
        answer = "wrong place"
    order = _order(visit, soil)
    chance = len(order) * order_by_chance(len(visit.places))
    tests = _next_tests(plugs, rules, causes, answer)
    return Findings(answer, tuple(causes), soil, order, chance, tests)


def _plugs(visit: Visit, rules: Rules) -> Visit:
    """Return the visit up to the worst place whose roots were looked at and are not long dead."""
    dead = rules.figures["ground.dead.high"]
    fresh = visit.up_to(lambda place: (place.damage or 0) < dead)
    return fresh.up_to(lambda place: place.roots_seen and (place.damage or 0) < dead)


def _root_causes(visit: Visit, rules: Rules, *, blind: bool) -> list[Cause]:
    """Judge root diseases: the families that look alike on the root, then each disease.

    ``blind``: the plugs are from a place where the roots tell nothing.
    """
    out: list[Cause] = []

    def facts_of(signs: Iterable[Sign]) -> list[Fact]:
        return [fact for sign in signs for fact in _sign_facts(visit, sign, blind, rules)]

    own = {c.key: facts_of(s for s in rules.signs if c.key in s.disease) for c in visit.candidates}
    for family, key, kind in _FAMILIES:
        members = [c for c in visit.candidates if kind in c.kinds]
        if not members:
            continue
        facts = facts_of(sign for sign in rules.signs if sign.kind == kind)
        facts += [fact for c in members for fact in own[c.key]]
        facts += _roots_against(visit, rules, blind, family)
        facts += _named(visit, key, [c.key for c in members])
        status = _root_status(facts)
        if status == "not looked at" and any(_fits(c) for c in members):
            status = "open"
        seen = rules.weight("root.sign") * sum(fact.direct and fact.side == "for" for fact in facts)
        out.append(Cause(key, family, status, tuple(facts), rules.weight("root.family") + seen))
        base = rules.weight("root.member") + seen
        out += [_member(visit, c, family, own[c.key], status, blind, base, rules) for c in members]
    known = {kind for _, _, kind in _FAMILIES}
    for c in visit.candidates:
        if not c.kinds & known:
            base = rules.weight("root.other")
            out.append(_member(visit, c, c.key, own[c.key], None, blind, base, rules))
    return out


def _member(
    visit: Visit,
    c: Candidate,
    family: str,
    signs: Sequence[Fact],
    group: Status | None,
    blind: bool,
    base: float,
    rules: Rules,
) -> Cause:
    facts, days = [*signs], c.season.infected_days
    if days is not None:
        facts.append(Fact("season", "for" if days else "against", not days, {"days": days}))
    if c.season.shows is not None and days:
        facts.append(Fact("months", "for" if c.season.shows else "against"))
    ph = next((v for v in visit.worst.soil if v.key == ("pH", "1:1")), None)
    if ph is not None and c.ph_worse is not None and ph.value >= c.ph_worse:
        facts.append(Fact("pH favours", "beside", told={"pH": ph.value, "from": c.ph_worse}))
    found = visit.found.get(c.key)
    if found:
        sure = group == "for" and not blind
        facts.append(Fact("laboratory found", "for", direct=sure, told={"how": found}))
        if not sure:
            facts.append(Fact("positive alone", "beside"))
    if c.key in visit.not_found:
        told = {"how": visit.not_found[c.key]}
        facts.append(Fact("laboratory did not find", "against", True, told))
    if group == "against":
        facts.append(Fact("group", "beside"))
    status = _root_status(facts)
    if group == "against" and status != "for":
        status = "against"
    elif status == "not looked at" and group in ("for", "open"):
        status = "open"
    liked = rules.weight("root.months") * bool(c.season.shows)
    liked += rules.weight("root.grass") * c.likely + rules.weight("root.season") * bool(days)
    return Cause(c.key, family, status, tuple(facts), base + liked)


def _fits(c: Candidate) -> bool:
    return bool(c.season.infected_days) and bool(c.season.shows)


def _sign_facts(visit: Visit, sign: Sign, blind: bool, rules: Rules) -> Iterator[Fact]:
    """Yield what a sign at the worst place says, beside the best one."""
    there = visit.worst.signs.get(sign.key)
    if there is None:
        return
    told = {"sign": sign.key, "amount": there, "place": visit.worst.name}
    if there == "none":
        against = sign.absent == "against" and not blind
        yield Fact("sign absent", "against" if against else "beside", against, told)
        return
    if blind:
        yield Fact("sign, place tells nothing", "beside", told=told)
        return
    here = None if visit.alone else visit.best.signs.get(sign.key)
    kind = "sign in both"
    if here is None or _AMOUNTS.index(there) > _AMOUNTS.index(here):
        kind = "sign"
    elif _worse_roots(visit.worst, visit.best, rules):
        kind = "sign, worse roots"
    yield Fact(kind, "for", kind != "sign in both", {**told, "best": here})


def _worse_roots(worst: Place, best: Place, rules: Rules) -> bool:
    """Whether roots are plainly shorter, or darker."""
    shorter = rules.figures["ground.shorter.most"]
    lengths = worst.length_cm is not None and best.length_cm is not None
    if lengths and (worst.length_cm or 0) <= shorter * (best.length_cm or 0):
        return True
    known = worst.colour in _COLOURS and best.colour in _COLOURS
    return known and _COLOURS.index(worst.colour) > _COLOURS.index(best.colour)


def _roots_against(visit: Visit, rules: Rules, blind: bool, family: str) -> Iterator[Fact]:
    worst, best = visit.worst, visit.best
    if blind or not worst.roots_seen:
        return
    marked = any(amount != "none" for key, amount in worst.signs.items() if key != "root_hairs")
    worse = not visit.alone and _worse_roots(worst, best, rules)
    if worst.colour == "white" and not marked and not worse:
        yield Fact("sound roots", "against", direct=True, told={"place": worst.name})
    hairs = worst.signs.get("root_hairs", "none") != "none"  # root dysfunction leaves none
    tips = worst.signs.get("bulbous_tips") == "none" or hairs
    clear = worst.signs.get("oospores") == "none" and tips
    if family == "pythium" and clear and worst.signs.get("rotten", "none") == "none":
        yield Fact("no sign of Pythium", "against", direct=True, told={"place": worst.name})


def _named(visit: Visit, group: str, members: Sequence[str]) -> Iterator[Fact]:
    """Yield what a laboratory found of a family; without a look at the roots it proves nothing."""
    for key in (group, *members):
        if key in visit.found:
            yield Fact("laboratory found", "for", told={"how": visit.found[key], "what": key})
            yield Fact("positive alone", "beside")


def _root_status(facts: Sequence[Fact]) -> Status:
    """Direct facts decide, and where they part ways nothing is settled."""
    sides: set[Status] = {f.side for f in facts if f.direct and f.side != "beside"}
    if sides:
        return sides.pop() if len(sides) == 1 else "open"
    shown = {"sign in both", "sign, place tells nothing", "laboratory found"}
    return "open" if shown & {f.kind for f in facts} else "not looked at"


def _nothing_else(causes: Sequence[Cause]) -> bool:
    """Whether the roots were looked at and cleared, and nothing else is spoken for."""
    families = [c for c in causes if c.family in ROOT_FAMILIES]
    cleared = bool(families) and all(c.status == "against" for c in families)
    return cleared and not any(c.status == "for" for c in causes)


def _heat(visit: Visit, rules: Rules, left: bool) -> Cause:
    """Judge heat, which no sign tells: it stands for what is left once roots are cleared."""
    soil, facts = visit.weather.soil_c, []
    told = {"soil_c": soil, "limit_c": rules.heat_c}
    if not visit.cool_season:
        facts.append(Fact("warm-season grass", "against", True))
    elif soil is not None and soil < rules.heat_c:
        facts.append(Fact("soil not hot", "against", True, told))
    elif soil is not None:
        facts.append(Fact("soil hot", "for", told=told))
        facts += [Fact("nothing else left", "for", direct=True)] if left else []
    return cause_of("heat", facts, rules.weight("heat.sure"), rules.weight("heat.open"))


def _cold(visit: Visit, rules: Rules, left: bool) -> Cause:
    """Judge cold: by dead crowns; or, where a warm-season grass froze, as what is left."""
    soil, air = visit.weather.coldest_soil_c, visit.weather.coldest_air_c
    tender = not visit.cool_season and air is not None and air <= rules.figures["ground.frost.air"]
    told, place = {"soil_c": soil, "air_c": air}, {"place": visit.worst.name}
    if soil is None and air is None:
        return Cause("cold", "cold", "not looked at", ())
    if not (tender or (soil is not None and soil <= rules.figures["ground.frost.soil"])):
        return Cause("cold", "cold", "against", (Fact("no hard frost", "against", True, told),))
    facts, crowns = [Fact("hard frost", "for", told=told)], visit.worst.crowns
    if crowns == "sound":
        facts.append(Fact("crowns sound", "against", True, place))
        return Cause("cold", "cold", "against", tuple(facts))
    if crowns == "dead" and (visit.alone or visit.best.crowns != "dead"):
        facts.append(Fact("crowns dead", "for", True, place))
    elif tender and left and not crowns:
        facts.append(Fact("nothing else left", "for", direct=True))
    sure = rules.weight("cold.crowns" if crowns else "cold.sure")
    return cause_of("cold", facts, sure, rules.weight("cold.open"))


def _wear(visit: Visit, rules: Rules) -> Cause:
    """Shade and traffic have no published limit: they can be open, or alike in every place."""
    worst, best, facts = visit.worst, visit.best, []
    for kind, there, here in (
        ("shaded", worst.shaded, best.shaded),
        ("traffic", worst.heavy_traffic, best.heavy_traffic),
    ):
        if there is not None:
            more = there and not here
            facts.append(Fact(kind, "for" if more else "against", told={"place": worst.name}))
    if visit.pattern in ("wear lines", "shade"):
        facts.append(Fact("pattern", "for", told={"pattern": visit.pattern}))
    weight = rules.weight("wear.open")
    return cause_of("shade and traffic", facts, weight, weight, weight if facts else 0.0)


def _order(visit: Visit, soil: Sequence[Sequence[Judged]]) -> tuple[Ordered, ...]:
    """Say of every figure told in all places whether it orders with damage, and can explain it."""
    if visit.alone:
        return ()
    at = [{j.value.key: j for j in place} for place in soil]
    out = []
    for key, worst in at[-1].items():
        if worst.value.worked_out or any(key not in place for place in at):
            continue
        values = [None if p[key].value.below else p[key].value.value for p in at]
        outside = worst.verdict in ("outside", "open") and at[0][key].verdict != worst.verdict
        direction = rises(values)
        out.append(Ordered(key[0], direction, outside and direction is not None))
    return tuple(out)


def _next_tests(
    visit: Visit, rules: Rules, causes: Sequence[Cause], answer: Answer
) -> tuple[NextTest, ...]:
    """Return what was not looked at and would settle something, cheapest first."""
    unsettled = {c.family for c in causes if c.status == "open"}
    if answer in ("not settled", "wrong place"):
        unsettled |= {c.family for c in causes if c.status == "not looked at"}
    return tuple(
        test
        for test in sorted(rules.tests, key=lambda test: test.cost)
        if (set(test.settles) & unsettled or ("all" in test.settles and unsettled))
        and _lacks(visit, test.fills, causes, answer)
    )


def _lacks(visit: Visit, fills: str, causes: Sequence[Cause], answer: Answer) -> bool:
    """Whether what a test tells is not known."""
    worst, kinds = visit.worst, {f.kind for c in causes for f in c.facts}
    values = [value for place in visit.places for value in place.soil]
    candidates = {c.key for c in visit.candidates}
    fungus = any(c.family in ROOT_FAMILIES and c.stands for c in causes)
    pythium = any(c.key == "pythium" and c.status == "open" for c in causes)
    known = {
        "edge": not (answer == "wrong place" or "sign in both" in kinds or visit.alone),
        "roots": worst.roots_seen,
        "nematodes": any(place.nematodes for place in visit.places),
        "conductivity": any(value.key == ("conductivity", "paste") for value in values),
        "nutrients": any(value.unit == "mg/kg" for value in values),
        "black_layer": worst.black_layer is not None,
        "found": not fungus or bool(candidates & {*visit.found, *visit.not_found}),
    }
    if (
        fills == "runner_hyphae"
        and answer != "named"
        and pythium
        and "bulbous_tips" not in worst.signs
    ):
        return True
    return not known.get(fills, fills in worst.ground or fills in worst.signs)
