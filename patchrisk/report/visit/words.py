"""Sentences of a visit: what a fact says, how a figure stands, what is answered and how firmly."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from patchrisk.base.pen import Pen, count_of, listed
from patchrisk.core.visit.causes import Findings
from patchrisk.core.visit.findings import Cause, Fact, SoilValue, Status
from patchrisk.core.visit.soil_tests import Guideline, Judged
from patchrisk.read.diseases import Library
from patchrisk.read.visit.guidelines import visit_words
from patchrisk.report.words import name_of

DEFERS = (
    "This is no diagnosis: it sorts what was found by what it speaks for. The laboratory that has "
    "the plugs names the cause."
)
STATUS: Mapping[Status, str] = {
    "for": "spoken for",
    "open": "not settled",
    "not looked at": "not looked at",
    "against": "spoken against",
}
_CAUSES = {
    "pythium": "Pythium on the roots, kind not told apart",
    "salt": "salt",
    "sodium": "sodium",
    "air": "too little air in the root zone",
    "nutrients": "lack or excess of any other nutrient tested",
}
_OUTCOMES = {
    "short": "below",
    "enough": "enough",
    "ample": "ample",
    "inside": "inside",
    "edge": "where harm can begin",
    "over": "above",
    "under aim": "under the aim",
    "cannot tell": "the laboratory's limit is too high to tell",
}
_FACTS = {
    "sign": "{sign} ({amount}) at {place}",
    "sign, worse roots": "{sign} ({amount}) at {place}, where the roots are worse; {best} in the "
    "best",
    "sign in both": "{sign} in the best place as well ({best}) and the roots no worse at {place}: "
    "it does not explain the difference",
    "sign absent": "no {sign} at {place}",
    "sign, place tells nothing": "{sign} at {place}, where the turf is dead: what came after it "
    "can hide what killed it",
    "sound roots": "white roots, no shorter than in the best place, and no sign on them, at "
    "{place}",
    "no sign of Pythium": "no oospores, and tips or root hairs as usual, at {place}",
    "group": "what speaks against all of its kind, above, speaks against it",
    "season": "the soil was right for infection on {days} of its last season",
    "months": "damage of it shows at this time of the year",
    "pH favours": "soil pH {pH:.1f}: called worse from {from:g} up (how its pages measured pH is "
    "not told); acceptable turf grows there, and it proves nothing",
    "laboratory found": "found by {how}",
    "positive alone": "a positive from roots alone proves nothing: these fungi live on sound "
    "roots too",
    "laboratory did not find": "looked for by {how} and not found; a test has its limit",
    "value outside": "{value} at the worst place: {held}",
    "value outside in both": "{value}: {held}; but as far outside in the best place",
    "value inside": "{value}: {held}",
    "value borderline": "{value}: the guidelines part ways, or it lies where harm can begin: "
    "{held}",
    "value not judged": "{value}: not judged, as {held}",
    "value alike in the good place": "{value}: {held}; but it stands alike in the best place, so "
    "it does not explain the difference",
    "inside every guideline": "inside every guideline made for its method: {of}",
    "sand and sodium": "on a sand root zone sodium was not seen to lower conductivity (Obear & "
    "Soldat, second-hand), so the structure is not at stake",
    "nematodes few": "{kind} {count:.0f} in 100 cm3, below {limit:g}",
    "nematodes many": "{kind} {count:.0f} in 100 cm3, {times:.1f} times the table's "
    "{limit:g}{elsewhere}; at {evident:g} times damage is likely evident",
    "nematodes many in both": "{kind} {count:.0f} in 100 cm3, {times:.1f} times the table's "
    "{limit:g}, and as many in the best place{elsewhere}",
    "nematodes borderline": "{kind} {count:.0f} in 100 cm3, {times:.1f} times the table's "
    "{limit:g}{elsewhere}: some stress may come of it, damage is not plain",
    "nematode not in the table": "{kind} {count:.0f} in 100 cm3: not in the table, not judged",
    "black layer": "a black layer at {place}",
    "air": "air-filled pores {air:g} % at {place}; {limit:g} % is the least of new root-zone mixes",
    "infiltration slower": "water goes in at {worst:g} mm/h in the worst place, {best:g} in the "
    "best; no limit is published for turf in use",
    "drop goes in": "a drop is gone in {seconds:g} s at {place}",
    "drop stands": "a drop stands {seconds:g} s at {place}",
    "drop slow": "a drop stands {seconds:g} s at {place}: longer than {limit:g} s, where trouble "
    "is reckoned with, not longer than {sure:g} s, where it is plain",
    "warm-season grass": "the grass grows best in hot soil",
    "soil not hot": "soil of the fortnight before was at {soil}, below {limit}",
    "soil hot": "soil of the fortnight before was at {soil}, above {limit}: roots of cool-season "
    "grasses die back (common practice, no source)",
    "nothing else left": "the roots were looked at and cleared, and nothing else is spoken for",
    "no hard frost": "coldest soil of the half year before {soil}, coldest air {air}: no hard "
    "frost",
    "hard frost": "coldest soil of the half year before {soil}, coldest air {air}",
    "crowns sound": "crowns firm at {place}",
    "crowns dead": "crowns dead at {place} and not in the best place",
    "shaded": "{place} is shaded more than the best place",
    "traffic": "{place} carries heavier traffic than the best place",
    "pattern": "the damage follows {pattern}",
}
_AGAINST = {
    "season": "the soil was not right for infection on any day of the last year",
    "months": "damage of it does not usually show at this time of the year",
    "black layer": "no black layer at {place}",
    "shaded": "{place} is not shaded more than the best place",
    "traffic": "{place} carries no heavier traffic than the best place",
}


def cause_name(key: str, library: Library) -> str:
    """Return the name of a cause."""
    if key in library.diseases or key in library.groups:
        tail = ", kind not told apart" if key in library.groups else ""
        return name_of(library, key) + tail
    return _CAUSES.get(key, key)


def fact_words(fact: Fact, pen: Pen, library: Library) -> str:
    """Say a fact in words."""
    told: dict[str, Any] = dict(fact.told)
    if "sign" in told:
        told["sign"] = sign_words(str(told["sign"]))
    if "what" in told:
        told["how"] = f"{told['how']}: {name_of(library, str(told['what']))}"
    if "judged" in told:
        judged: Judged = told["judged"]
        told["value"], told["held"] = value_words(judged.value, pen), held_words(judged, pen)
    if isinstance(told.get("of"), tuple):
        told["of"] = listed(sorted(set(told["of"])))
    if told.get("limit") and "count" in told:
        told["times"] = float(told["count"]) / float(told["limit"])
        best = told.get("best")
        told["elsewhere"] = "" if best is None else f" ({best:.0f} in the best place)"
    for key in ("soil_c", "limit_c", "air_c"):
        if key in told:
            value = told[key]
            shown = "not known" if value is None else pen.show("soil temperature", float(value), 0)
            told[key.removesuffix("_c")] = shown
    if "days" in told:
        told["days"] = count_of(int(told["days"]), "day")
    texts = _AGAINST if fact.side == "against" and fact.kind in _AGAINST else _FACTS
    return texts[fact.kind].format(**told)


def sign_words(key: str) -> str:
    """Return a sign on the roots in words."""
    if key == "root_hairs":
        return "root hairs"
    return next(sign.words for sign in visit_words().sign if sign.key == key)


def unit_words(unit: str, pen: Pen) -> str:
    """Return a unit as it is printed: parts per million where US units are."""
    if unit in ("mg/kg", "mg/L") and pen.system == "us":
        return "ppm"
    return "" if unit in ("pH", "1") else unit


def figure_words(value: SoilValue) -> str:
    """Return a figure without its unit; of one below a limit, the limit."""
    digits = f"{value.value:.1f}" if value.unit == "pH" else f"{value.value:.3g}"
    if value.value >= 1000:
        digits = f"{value.value:.0f}"
    return f"<{digits}" if value.below else digits


def value_words(value: SoilValue, pen: Pen) -> str:
    """Return a figure with analyte, method and unit."""
    via = f" ({value.method})" if value.method else ""
    made = f", {value.worked_out}" if value.worked_out else ""
    unit = unit_words(value.unit, pen)
    return f"{value.analyte}{via} {figure_words(value)}{' ' + unit if unit else ''}{made}"


def guideline_words(g: Guideline) -> str:
    """Return what a guideline says, and whose it is."""
    if g.kind == "aim":
        span = f"aim {g.low:g}" if g.low is not None else f"aim {g.high:g}"
    elif g.low is not None and g.high is not None:
        span = f"{g.low:.3g} to {g.high:.3g}"
    elif g.low is not None:
        span = f"at least {g.low:.3g}"
    else:
        upper = f", open to {g.sure:g}" if g.sure is not None else ""
        span = f"up to {g.high:.3g}{upper}"
    kind = "" if g.kind == "aim" else f"{g.kind} "
    mark = g.source if not g.confidence else f"{g.source}, {g.confidence}"
    return f"{kind}{span} [{mark}]"


def held_words(judged: Judged, pen: Pen) -> str:
    """Say how a figure stands against each guideline made for it."""
    if not judged.held:
        unit = judged.value.unit
        why = "its method" if unit in ("mg/kg", "mg/L", "dS/m", "pH") else "it"
        return f"no guideline is made for {why}"
    said = [f"{_OUTCOMES[h.outcome]}: {guideline_words(h.guideline)}" for h in judged.held]
    text = "; ".join(said)
    if not judged.deciding:
        text = f"only figures of practice, or aims, are there: {text}"
    return text


def answer_words(
    found: Findings, library: Library, seasons: Mapping[str, str], *, bare: bool = False,
    untold: bool = False,
) -> tuple[str, str]:  # fmt: skip
    """Return the opening line and how firm it is.

    ``seasons`` are a few words on what each disease's season did, where it is known; ``bare``:
    nothing is told of any place yet; ``untold``: the damage of no place is told.
    """
    named = [c for c in found.causes if c.status == "for"]
    unsettled = [c for c in found.causes if c.status == "open"]
    if found.answer == "wrong place":
        return (
            "These plugs cannot tell: they are not from the edge of the damage.",
            "Not settled. Cut plugs half sound and half failing, and look again.",
        )
    if found.answer == "nothing wrong":
        rest = [c for c in found.causes if c.status == "not looked at"]
        looked = f"Not looked at: {_names(rest, library)}." if rest else ""
        told = " How thin the turf is, is not told." if untold else " No turf is thin."
        return f"Nothing is wrong in what was looked at.{told}", looked

    def fungi(family: str, otherwise: str = "") -> Iterator[str]:
        for c in unsettled:
            if c.key in library.diseases and family in ("", c.family):
                season = seasons.get(c.key, otherwise)
                yield name_of(library, c.key) + (f" ({season})" if season else "")

    if not named and bare:
        which = "; ".join(fungi("", "season not known"))
        by = f" By the season, of root diseases on this grass: {which}." if which else ""
        return (
            f"Not settled: nothing is told of the plugs yet.{by}",
            "The season alone settles nothing: look at the plugs, the cheapest step first.",
        )
    if not named:
        what = _names(unsettled, library) or "any of the causes below"
        return (
            f"Not settled. Nothing that was looked at decides about {what}.",
            "Open until more is looked at: the cheapest next step stands first below.",
        )
    divided = {c.family for c in named if c.key in library.diseases}
    whole = [c for c in named if c.family not in divided or c.key in library.diseases]
    opening = f"What was found speaks for {_names(whole, library)}."
    members = " or ".join(fungi("dark"))
    if members and "dark" not in divided and any(c.family == "dark" for c in named):
        opening += f" Which fungus it is, is not settled: {members}."
    direct = sum(f.direct and f.side == "for" for c in named for f in c.facts)
    contrary = sum(f.side == "against" for c in named for f in c.facts)
    beside = f"{contrary} against it (below)" if contrary else "nothing found against it"
    firm = f"As firm as {count_of(direct, 'direct finding')}, with {beside}."
    others = [c for c in unsettled if c.family not in {n.family for n in named}]
    if others:
        firm += f" Not settled beside it: {_names(others, library)}."
    return opening, firm


def _names(causes: Sequence[Cause], library: Library) -> str:
    return listed(list(dict.fromkeys(cause_name(c.key, library) for c in causes)))


def order_words(found: Findings, places: int) -> str:
    """Say how many figures order with the damage, beside how many would by chance."""
    if not found.order:
        return ""
    ordered = [o for o in found.order if o.direction is not None]
    explains = [o.analyte for o in ordered if o.explains]
    chance = f"about {found.by_chance:.0f} would by chance alone"
    if places == 2:
        chance = "with two places every figure that differs does"
    text = (
        f"{len(ordered)} of {count_of(len(found.order), 'figure')} of the soil tests order from "
        f"the best place to the worst; {chance}."
    )
    if explains:
        return f"{text} Of these, {listed(explains)} could also explain it."
    return f"{text} None of these lies outside its guidelines where it is worst: none is a cause."
