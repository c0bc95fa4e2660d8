"""What to do and why: the sentences of each line of the verdict's table, made of parts."""

from collections.abc import Callable, Mapping

from patchrisk.base.pen import capital, chance, words_of
from patchrisk.base.units import DAY
from patchrisk.core.verdict.decision_table import Helps, Host, Phase, Stake
from patchrisk.core.verdict.judgement import (
    NoMore,
    NotCalled,
    next_due,
    settle_soon,
    think_again_on,
    treatment_is_over,
    why_no_damage,
    why_no_more,
    why_not_called,
)
from patchrisk.report.view.wording import Wording
from patchrisk.site_day.judging import verdict_settings

# By reason, its sentences. A part in braces is one of `_PARTS`, or else of `Wording`; a sentence
# that comes out empty is left out.
_SEEN = ("seen {seen}: have a laboratory confirm it", "{once_seen}", "{next_year}")
_DECIDE = (
    "protect, or accept the risk: {stake}, and {grass} is {host} susceptible; {started}",
    "{protect}; {accept}",
    "what would settle it: a sample to a laboratory, or `history` in the site file (laboratory, "
    "seen, or none in so many years)",
)
SENTENCES: Mapping[str, tuple[str, ...]] = {
    "missing days": (
        "{gap}, and the verdict hangs on them",
        "{estimate}",
        "{either}",
        "first {mend}",
    ),
    "seen, covered": (
        "seen {seen} and {covered_to}: have a laboratory confirm it",
        "{next_year}",
    ),
    "seen, still helps": (
        "seen {seen}: put a curative application on, and have a laboratory confirm it first",
        "{curative}",
        "{next_year}",
    ),
    "seen": _SEEN,
    "seen, season over": _SEEN,
    "covered": ("{covered_to}: nothing to put on{renewed}",),
    "cover ends soon": ("{covered_to}{shortest}: have the next application ready{counted}",),
    "covered, not to be renewed": ("{covered_to}; not to be renewed for this alone: {stake}",),
    "covered to the end": ("{covered_to}{then}",),
    "no treatment known": (
        "roots can be infected ({started}), but no treatment that was read of works against it: "
        "{look}, have a laboratory confirm it, and nurse the turf",
    ),
    "start, better later": (
        "have product and water ready: {started_and_best}",
        "{in_time}",
        "{count}",
    ),
    "start": ("put a preventive on{unless}: {all_why}", "{in_time}", "{count}"),
    "cover runs out": (
        "renew the application: {cover_ends}, and roots are infected to about {infected_to}",
        "{count}",
    ),
    "late, still helps": ("put it on though it is late{or_why}", "{late_help}"),
    "not worth it": (
        "by your own costs no application is worth making: {damage_odds}, and it pays from "
        "{pays_from} on",
        "look for it instead",
    ),
    "protect or accept": _DECIDE,
    "suspected, protect or accept": _DECIDE,
    "known here, stress not measured": (
        "protect, or accept the risk: {stake}; {started}",
        "{protect}; {accept}",
        "to have it called for each season, name it under `prevent` in the site file",
    ),
    "start is near": ("have product and water ready: {near}{and_stake}",),
    "start is near, not known here": ("{near}; {stake}: {settle}",),
    "start is near, stress not measured": ("{near}; {stake}: {settle}",),
    "treated as often as the file gives": ("{covered_or_not}: {no_more}", "{look}"),
    "late": ("{late}",),
    "late, nothing to see yet": ("{late}",),
    "look for it": (
        "{look}: roots can be infected ({started}), {stake}",
        "have a laboratory examine what you find",
    ),
    "sample in time": (
        "send a sample to a laboratory{by}: {stake}, {grass} is highly susceptible, and the answer "
        "comes before the usual start{usual}",
        "if it is found, a preventive is due then; if not, none is",
    ),
    "damage may show": ("look for it: {shows_or_may}",),
    "not now": ("{not_now}",),
}
_CURATIVE = {
    Helps.YES: "an application still helps",
    Helps.NO: "an application now does little",
    Helps.DISPUTED: "whether an application now helps is disputed",
    Helps.NOT_KNOWN: "what an application now is worth is not known",
}
_HOST = {Host.HIGH: "highly", Host.MODERATE: "moderately", Host.LOW: "hardly"}


def reason_words(w: Wording) -> str:
    """Say what to do about a disease and why."""
    parts = _Parts(w)
    said = [text.format_map(parts) for text in SENTENCES[w.judged.reason]]
    return " ".join(f"{capital(text).rstrip('.')}." for text in said if text)


class _Parts(dict[str, str]):
    """The parts of sentences on one judgement, each worked out when it is asked for."""

    def __init__(self, w: Wording) -> None:
        self.w = w

    def __missing__(self, name: str) -> str:
        part = _PARTS.get(name)
        return str(getattr(self.w, name)) if part is None else part(self.w)


def protect_words(w: Wording) -> str:
    """Say what to protect means."""
    j, case = w.judged, w.judged.case
    until = ""
    if j.treat_until is not None:
        until = f", up to {w.day(max(min(j.treat_until, j.ends - DAY), w.as_of))}"
    again = f" and again after {case.interval} days{until}" if case.number > 1 else ""
    return f"protecting means a preventive now{again}"


def accept_words(w: Wording) -> str:
    """Say what to accept the risk means."""
    odds = w.damage_odds
    span = "" if w.judged.damage is None else f" {w.pen.days(*w.judged.damage)}"
    here = w.judged.case.stakes.stake > Stake.SUSPECTED
    damage = f"that damage may show{span}" if here else f"damage{span} if it is here"
    return f"accepting means {damage}{f' ({odds})' if odds else ''}"


def none_words(w: Wording) -> str:
    """Say in short why no application is called for though a season runs or is near."""
    why = ""
    if w.judged.reason == "not worth it":
        why = "by your own costs none is worth making"
    elif why_not_called(w.judged, w.as_of) in (NotCalled.LATE, NotCalled.TOO_LATE):
        why = _late_worth(w)
    return "; ".join(filter(None, (w.bare, why or _no_more(w))))


def _either(w: Wording) -> str:
    """Say what the missing days could mean, whichever way they were."""
    words = [words_of(verdict) for verdict in w.judged.either]
    if len(words) < 2:
        return f"whatever the missing days were, it is {words[0]}" if words else ""
    return f"it hangs on the missing days whether it is {', '.join(words[:-1])} or {words[-1]}"


def _next_year(w: Wording) -> str:
    when = f", {w.following}" if w.following else ""
    return f"it counts as history: be ready for the next season{when}"


def _renewed(w: Wording) -> str:
    """Say whether, when and why not the cover that is on is to be renewed."""
    j, due = w.judged, next_due(w.judged.cover, verdict_settings())
    if not j.treats:
        return f"; not to be renewed for this alone: {w.stake}"
    if due is None or due >= j.ends:
        return f"; infection ends about {w.day(j.ends - 1)}"
    if j.counted >= j.case.number:
        return f", and nothing after it: {w.count}"
    if j.treat_until is not None and due > j.treat_until:
        return f", and nothing after it: this season's applications end {w.day(j.treat_until)}"
    return f"; the next one from {w.day(due)}"


def _shortest(w: Wording) -> str:
    cover = w.judged.cover
    assert cover is not None
    short = cover.days_left_range[0] <= 0 < cover.days_left_range[1]
    return ", though not by the shortest published interval" if short else ""


def _no_more(w: Wording) -> str:
    """Say why no application is called for any more."""
    j = w.judged
    match why_no_more(j, w.as_of, verdict_settings()):
        case NoMore.NUMBER_ON:
            few, many = "application of this season is", "applications of this season are"
            return f"the {f'{j.case.number} {many}' if j.case.number > 1 else few} on"
        case NoMore.TIME_OVER:
            return f"the time for this season's applications ended {w.day(j.treat_until)}"
        case NoMore.NO_DAMAGE:
            return "no damage can follow from this season any more"
        case NoMore.DAMAGE_UNLIKELY:
            return f"damage of this season is not likely to show ({w.damage_odds})"
        case NoMore.HARDLY_INFECTED:
            return f"roots are hardly infected in the {j.case.interval} days that one would cover"
        case NoMore.ENDS_SOON:
            return f"infection ends about {w.day(j.ends - 1)}"
        case NoMore.NOT_NEEDED:
            return "no more of this season needs it"


def _pays_from(w: Wording) -> str:
    assert w.area.application_cost is not None
    assert w.area.outbreak_cost is not None
    return chance(w.area.application_cost / w.area.outbreak_cost)


def _settle(w: Wording) -> str:
    by = "by then" if w.judged.start is None else "if it lasts"
    if not settle_soon(w.judged):
        return "look for it once it has started"
    known = w.judged.case.stakes.stake is Stake.HISTORY
    settles = "a sample to a laboratory, or `history` in the site file, settles it"
    return (
        f"decide {by} whether to protect the turf or accept the risk; "
        f"{w.damage_odds if known else settles}"
    )


def _then(w: Wording) -> str:
    """Say what is to follow the cover that is on."""
    if w.judged.facts.unmeasured:
        return f"; decide then whether to renew it: {w.damage_odds}"
    return f", and nothing after it: {_no_more(w)}"


def _late(w: Wording) -> str:
    j = w.judged
    if j.covered_until is not None:
        return f"{w.covered_to}: {w.look}"
    worth = _late_worth(w)
    if worth:
        worth = _late_help(w) or capital(worth)
        return f"the start is past ({w.started}): {w.look}. {worth}"
    return f"no application now: {_no_more(w)}. {capital(w.look)}"


def _late_worth(w: Wording) -> str:
    """Say what a first application is worth that is late; empty once its time is over."""
    j = w.judged
    late = j.phase is Phase.LATE and not treatment_is_over(j, w.as_of)
    return _CURATIVE[j.case.late] if late and j.case.late is not Helps.YES else ""


def _late_help(w: Wording) -> str:
    return w.help_text(w.disease.treatment.late)


def _curative(w: Wording) -> str:
    return w.help_text(w.disease.treatment.once_seen)


def _not_now(w: Wording) -> str:
    j = w.judged
    if j.phase is Phase.OVER:
        return f"nothing: this season is over{_again(w)}"
    if j.phase in (Phase.RESTING, Phase.COMING):
        return f"nothing yet{_again(w)}"
    stake, host = j.case.stakes.stake, j.case.stakes.host
    if stake is Stake.NONE:
        return f"nothing: roots can be infected, but {w.stake}"
    if stake <= Stake.SUSPECTED and host in (Host.LOW, Host.UNKNOWN):
        how = "gets it seldom" if host is Host.LOW else "is not known to get it readily"
        return f"nothing: {w.grass} {how}, and {w.stake}"
    can_show = why_no_damage(j, w.as_of, verdict_settings()) is None
    if stake in (Stake.UNKNOWN, Stake.SUSPECTED) and can_show:
        begun = "its start is past" if j.phase is Phase.LATE else "roots can be infected"
        look = f"; look for it {w.scout}" if w.scout not in ("", "now") else ""
        return f"nothing now: {begun} ({w.started}), {w.stake}{look}"
    return f"nothing: {_no_more(w)}"


def _again(w: Wording) -> str:
    again = think_again_on(w.judged, w.as_of, w.lead)
    return "" if again is None or again == w.as_of else f"; think of it again {w.day(again)}"


_PARTS: Mapping[str, Callable[[Wording], str]] = {
    "accept": accept_words,
    "all_why": lambda w: "; ".join(w.why),
    "and_stake": lambda w: f"; {w.stake}" if w.judged.start is None else "",
    "by": lambda w: w.sample_by and f" {w.sample_by}",
    "counted": lambda w: w.count and f" ({w.count})",
    "covered_or_not": lambda w: (
        f"{w.covered_to}, and nothing after it" if w.covered_to else "no application now"
    ),
    "curative": _curative,
    "either": _either,
    "host": lambda w: _HOST.get(w.judged.case.stakes.host, "of unknown degree"),
    "infected_to": lambda w: w.day(w.judged.ends - 1),
    "late": _late,
    "late_help": _late_help,
    "next_year": _next_year,
    "no_more": _no_more,
    "not_now": _not_now,
    "once_seen": lambda w: _curative(w) or _CURATIVE[w.judged.case.once_seen],
    "or_why": lambda w: "" if _late_help(w) else f": {'; '.join(w.why)}",
    "pays_from": _pays_from,
    "protect": protect_words,
    "renewed": _renewed,
    "seen": lambda w: w.day(w.judged.seen),
    "settle": _settle,
    "shortest": _shortest,
    "shows_or_may": lambda w: w.shows or "damage may show now",
    "started_and_best": lambda w: "; ".join(filter(None, (w.started, w.best_day))),
    "then": _then,
    "unless": lambda w: (
        "" if w.morning.applications is not None else ", unless an application is on already"
    ),
    "usual": lambda w: "" if w.judged.usual is None else f", {w.day(w.judged.usual)}",
}
