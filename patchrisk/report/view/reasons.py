"""One sentence for each line of the verdict's table: what to do and why."""

from collections.abc import Callable, Mapping

from patchrisk.base.pen import capital, chance
from patchrisk.base.units import DAY
from patchrisk.core.verdict.decision_table import Helps, Host, Phase, Stake
from patchrisk.core.verdict.judgement import (
    LATE,
    NoMore,
    next_due,
    settle_soon,
    think_again_on,
    treatment_is_over,
    why_no_damage,
    why_no_more,
)
from patchrisk.report.view.wording import Wording
from patchrisk.report.words import verdict_words
from patchrisk.site_day.judging import verdict_settings

_LABORATORY = "have a laboratory confirm it"
_SETTLE = (
    "a sample to a laboratory, or `history` in the site file (laboratory, seen, or none in so many "
    "years)"
)
_CURATIVE = {
    Helps.YES: "an application still helps",
    Helps.NO: "an application now does little",
    Helps.DISPUTED: "whether an application now helps is disputed",
    Helps.NOT_KNOWN: "what an application now is worth is not known",
}


def reason_words(w: Wording) -> str:
    """Say what to do about a disease and why."""
    return SENTENCES[w.judged.reason](w)


def _missing_days(w: Wording) -> str:
    j = w.judged
    parts = (w.estimate, either_words(w) if j.either else "", f"first {w.mend}")
    rest = [f"{capital(part)}." for part in parts if part]
    return " ".join((f"{capital(w.gap)}, and the verdict hangs on them.", *rest))


def either_words(w: Wording) -> str:
    """Say what the missing days could mean, whichever way they were."""
    words = [verdict_words(verdict) for verdict in w.judged.either]
    if len(words) == 1:
        return f"whatever the missing days were, it is {words[0]}"
    return f"it hangs on the missing days whether it is {', '.join(words[:-1])} or {words[-1]}"


def _seen_covered(w: Wording) -> str:
    return f"Seen {w.day(w.judged.seen)} and {w.covered_to}: {_LABORATORY}. {_next_year(w)}"


def _seen_helps(w: Wording) -> str:
    help_text = w.help_text(w.disease.treatment.once_seen)
    return (
        f"Seen {w.day(w.judged.seen)}: put a curative application on, and {_LABORATORY} "
        f"first. {help_text} {_next_year(w)}"
    )


def _seen(w: Wording) -> str:
    j = w.judged
    help_text = w.help_text(w.disease.treatment.once_seen)
    worth = help_text or f"{capital(_CURATIVE[j.case.once_seen])}."
    return f"Seen {w.day(j.seen)}: {_LABORATORY}. {worth} {_next_year(w)}"


def _next_year(w: Wording) -> str:
    following = w.following
    when = f", {following}" if following else ""
    return f"It counts as history: be ready for the next season{when}."


def _covered(w: Wording) -> str:
    due = next_due(w.judged.cover, verdict_settings())
    j = w.judged
    text = f"{capital(w.covered_to)}: nothing to put on."
    if not j.treats:
        return f"{text[:-1]}; not to be renewed for this alone: {w.stake}."
    if due is None or due >= j.ends:
        return f"{text[:-1]}; infection ends about {w.day(j.ends - 1)}."
    if j.counted >= j.case.number:
        return f"{text[:-1]}, and nothing after it: {w.count}."
    if j.treat_until is not None and due > j.treat_until:
        until = w.day(j.treat_until)
        return f"{text[:-1]}, and nothing after it: this season's applications end {until}."
    return f"{text[:-1]}; the next one from {w.day(due)}."


def _cover_ends_soon(w: Wording) -> str:
    cover = w.judged.cover
    assert cover is not None
    short = cover.days_left_range[0] <= 0 < cover.days_left_range[1]
    but = ", though not by the shortest published interval" if short else ""
    count = w.count
    return (
        f"{capital(w.covered_to)}{but}: have the next application ready"
        f"{f' ({count})' if count else ''}."
    )


def _covered_not_renewed(w: Wording) -> str:
    return f"{capital(w.covered_to)}; not to be renewed for this alone: {w.stake}."


def _covered_to_end(w: Wording) -> str:
    if w.judged.facts.unmeasured:
        return f"{capital(w.covered_to)}; decide then whether to renew it: {w.damage_odds}."
    return f"{capital(w.covered_to)}, and nothing after it: {_no_more(w)}."


def _no_more(w: Wording) -> str:
    """Say why no application is called for any more."""
    j = w.judged
    match why_no_more(j, w.as_of, verdict_settings()):
        case NoMore.NUMBER_ON:
            return f"the {j.case.number} applications of this season are on"
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


def _no_treatment(w: Wording) -> str:
    return (
        f"Roots can be infected ({w.started}), but no treatment that was read of works "
        f"against it: {w.look}, have a laboratory confirm it, and nurse the turf."
    )


def _start(w: Wording) -> str:
    unless = "" if w.morning.applications is not None else ", unless an application is on already"
    text = f"Put a preventive on{unless}: {'; '.join(w.why)}."
    return " ".join((text, *_more(w, w.in_time)))


def _better_later(w: Wording) -> str:
    text = f"Have product and water ready: {'; '.join(filter(None, (w.started, w.best_day)))}."
    return " ".join((text, *_more(w, w.in_time)))


def _more(w: Wording, *parts: str) -> list[str]:
    texts = [*parts, w.count]
    return [f"{capital(part)}." for part in texts if part]


def _runs_out(w: Wording) -> str:
    ends = w.day(w.judged.ends - 1)
    text = f"Renew the application: {w.cover_ends}, and roots are infected to about {ends}."
    return " ".join((text, *_more(w)))


def _late_helps(w: Wording) -> str:
    text = w.help_text(w.disease.treatment.late)
    if not text:
        return f"Put it on though it is late: {'; '.join(w.why)}."
    return f"Put it on though it is late. {text}"


def _not_worth(w: Wording) -> str:
    area = w.area
    assert area.application_cost is not None
    assert area.outbreak_cost is not None
    ratio = area.application_cost / area.outbreak_cost
    odds = w.damage_odds
    return (
        f"By your own costs no application is worth making: {odds}, and it pays from "
        f"{chance(ratio)} on. Look for it instead."
    )


def _decide(w: Wording) -> str:
    return (
        f"Protect, or accept the risk: {w.stake}, and {w.grass} is "
        f"{_host(w)} susceptible; {w.started}. {capital(protect_words(w))}; "
        f"{accept_words(w)}. {settle_words()}"
    )


def _decide_known(w: Wording) -> str:
    return (
        f"Protect, or accept the risk: {w.stake}; {w.started}. {capital(protect_words(w))}; "
        f"{accept_words(w)}. To have it called for each season, name it under `prevent` in the "
        "site file."
    )


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


def settle_words() -> str:
    """Say what would settle whether it is here."""
    return f"What would settle it: {_SETTLE}."


def _host(w: Wording) -> str:
    return {Host.HIGH: "highly", Host.MODERATE: "moderately", Host.LOW: "hardly"}.get(
        w.judged.case.stakes.host, "of unknown degree"
    )


def _near(w: Wording) -> str:
    stake = f"; {w.stake}" if w.judged.start is None else ""
    return f"Have product and water ready: {w.near}{stake}."


def _near_unknown(w: Wording) -> str:
    by = "by then" if w.judged.start is None else "if it lasts"
    most = "look for it once it has started"
    if settle_soon(w.judged):
        most = f"decide {by} whether to protect the turf or accept the risk"
        known = w.judged.case.stakes.stake is Stake.HISTORY
        settles = "a sample to a laboratory, or `history` in the site file, settles it"
        most = f"{most}; {w.damage_odds if known else settles}"
    return f"{capital(w.near)}; {w.stake}: {most}."


def _late(w: Wording) -> str:
    j = w.judged
    if j.covered_until is not None:
        return f"{capital(w.covered_to)}: {w.look}."
    over = treatment_is_over(j, w.as_of)
    if j.phase is Phase.LATE and j.case.late is not Helps.YES and not over:
        text = w.help_text(w.disease.treatment.late)
        worth = text or f"{capital(_CURATIVE[j.case.late])}."
        return f"The start is past ({w.started}): {w.look}. {worth}"
    return f"No application now: {_no_more(w)}. {capital(w.look)}."


def none_words(w: Wording) -> str:
    """Say in short why no application is called for though a season runs or is near."""
    j = w.judged
    why = _no_more(w)
    if j.reason == "not worth it":
        why = "by your own costs none is worth making"
    elif j.reason in LATE and j.case.late is not Helps.YES and not treatment_is_over(j, w.as_of):
        why = _CURATIVE[j.case.late]
    return "; ".join(filter(None, (w.bare, why)))


def _treated(w: Wording) -> str:
    cover = w.covered_to
    on = f"{capital(cover)}, and nothing after it" if cover else "No application now"
    return f"{on}: {_no_more(w)}. {capital(w.look)}."


def _look(w: Wording) -> str:
    return (
        f"{capital(w.look)}: roots can be infected ({w.started}), {w.stake}. "
        "Have a laboratory examine what you find."
    )


def _sample(w: Wording) -> str:
    j = w.judged
    usual = "" if j.usual is None else f", {w.day(j.usual)}"
    return (
        f"{f'Send a sample to a laboratory {w.sample_by}'.rstrip()}: {w.stake}, {w.grass} is "
        f"highly susceptible, and the answer comes before the usual start{usual}. "
        "If it is found, a preventive is due then; if not, none is."
    )


def _damage_may_show(w: Wording) -> str:
    return f"Look for it: {w.shows or 'damage may show now'}."


def _not_now(w: Wording) -> str:
    j = w.judged
    if j.phase is Phase.OVER:
        return f"Nothing: this season is over{_again(w)}."
    if j.phase in (Phase.RESTING, Phase.COMING):
        return f"Nothing yet{_again(w)}."
    stake, host = j.case.stakes.stake, j.case.stakes.host
    if stake is Stake.NONE:
        return f"Nothing: roots can be infected, but {w.stake}."
    if stake <= Stake.SUSPECTED and host in (Host.LOW, Host.UNKNOWN):
        how = "gets it seldom" if host is Host.LOW else "is not known to get it readily"
        return f"Nothing: {w.grass} {how}, and {w.stake}."
    can_show = why_no_damage(j, w.as_of, verdict_settings()) is None
    if stake in (Stake.UNKNOWN, Stake.SUSPECTED) and can_show:
        begun = "its start is past" if j.phase is Phase.LATE else "roots can be infected"
        scout = w.scout
        look = f"; look for it {scout}" if scout and scout != "now" else ""
        return f"Nothing now: {begun} ({w.started}), {w.stake}{look}."
    return f"Nothing: {_no_more(w)}."


def _again(w: Wording) -> str:
    again = think_again_on(w.judged, w.as_of, w.lead)
    return "" if again is None or again == w.as_of else f"; think of it again {w.day(again)}"


SENTENCES: Mapping[str, Callable[[Wording], str]] = {
    "missing days": _missing_days,
    "seen, covered": _seen_covered,
    "seen, still helps": _seen_helps,
    "seen": _seen,
    "seen, season over": _seen,
    "covered": _covered,
    "cover ends soon": _cover_ends_soon,
    "covered, not to be renewed": _covered_not_renewed,
    "covered to the end": _covered_to_end,
    "no treatment known": _no_treatment,
    "start, better later": _better_later,
    "start": _start,
    "cover runs out": _runs_out,
    "late, still helps": _late_helps,
    "not worth it": _not_worth,
    "protect or accept": _decide,
    "suspected, protect or accept": _decide,
    "known here, stress not measured": _decide_known,
    "start is near": _near,
    "start is near, not known here": _near_unknown,
    "start is near, stress not measured": _near_unknown,
    "treated as often as the file gives": _treated,
    "late": _late,
    "late, nothing to see yet": _late,
    "look for it": _look,
    "sample in time": _sample,
    "damage may show": _damage_may_show,
    "not now": _not_now,
}
