"""One disease's window in one area, in words."""

from collections.abc import Iterator

import numpy as np

from patchrisk.ahead.expression import WEEK, Watch
from patchrisk.ahead.look import DiseaseAhead
from patchrisk.ahead.openings import RuleAhead
from patchrisk.ahead.pressure import Pressure
from patchrisk.at_site.morning import AreaMorning
from patchrisk.diseases import Library
from patchrisk.numbers import load_numbers
from patchrisk.outlook import DiseaseToday
from patchrisk.pen import Pen
from patchrisk.programme.cover import Cover
from patchrisk.report import words
from patchrisk.report.cover import cover_words
from patchrisk.report.view.model import Level, Row
from patchrisk.windows import State

LIKELY = 0.5
SURE = 0.98
WORTH = 0.1  # a chance worth a word
_WEEK_WORTH = 0.2  # a week so likely is worth naming
_USUAL = 3  # days early or late that are as usual
_ODDS_DAYS = (7, 14, 28)
_RULES = {"treat": "timing", "infect": "infection", "express": "symptom"}


def row_of(
    library: Library, area: AreaMorning, today: DiseaseToday, as_of: np.datetime64, pen: Pen
) -> Row:
    """Put one disease of an area into words."""
    before = {library.find(name) for name in area.area.history}
    ahead = area.ahead.get(today.key)
    rule = None if ahead is None else ahead.middle
    watch = None if ahead is None else ahead.watch
    pressure = None if ahead is None else ahead.pressure
    cover = area.cover.get(today.key)
    covered = cover is not None and cover.until is not None
    # While a window is shut, roots without cover are as they should be.
    told = covered or today.state in (State.OPEN, State.NEARING)
    # A group has no months of its own: fungi that nobody has told apart are looked for always.
    is_group = today.key in library.groups
    scout_now = is_group or (watch is not None and bool(watch.scout_from <= as_of))
    level = _level(today, rule, cover, as_of, scout_now)
    return Row(
        today.key,
        words.name_of(library, today.key),
        today.state,
        level,
        _fresh(today),
        today.key in before,
        _when(today, rule, pen),
        _odds(today, rule, as_of, pen),
        _normal(today, rule, pen),
        _rules(today, ahead, pen),
        _again(today, rule, as_of, pen),
        "" if pressure is None else _pressure(pressure, pen),
        "" if pressure is None else _pressure_more(pressure),
        "" if watch is None else _shows(watch, pen),
        "now" if scout_now else "" if watch is None else f"from {pen.day(watch.scout_from)}",
        covered,
        "" if cover is None or not told else cover_words(cover, as_of, pen),
        "" if cover is None or not told else cover_words(cover, as_of, pen, brief=True),
        _act(library, today, level, ahead, cover, watch is not None, as_of, pen),
        tuple(_why(library, today, pen)),
    )


def timed(today: DiseaseToday) -> bool:
    """Whether the rules that decide say when to apply, and not only when roots are infected."""
    return bool(today.deciding) and today.deciding[0].rule.meaning == "treat"


def percent(share: float) -> str:
    """Write a probability in whole percent, without claiming never or always."""
    whole = round(100 * share)
    return {0: "under 1 %", 100: "over 99 %"}.get(whole, f"{whole} %")


def ending(cover: Cover) -> bool:
    """Whether cover ends within days, or may have ended by the shortest published interval."""
    soon = load_numbers("outlook")["ahead.cover_left"].value
    return cover.days_left <= soon or cover.days_left_range[0] <= 0


def _level(
    today: DiseaseToday,
    rule: RuleAhead | None,
    cover: Cover | None,
    as_of: np.datetime64,
    scout_now: bool,
) -> Level:
    resting = Level.SCOUT if scout_now else Level.QUIET
    if today.state is State.UNKNOWN:
        return Level.READ_OUT
    covered = cover is not None and cover.until is not None
    if today.state is State.OPEN:
        if covered:
            assert cover is not None
            return Level.READY if ending(cover) else resting
        return Level.DUE if timed(today) or cover is not None else resting
    if today.state is State.NEARING and not covered and _soon(today, rule, as_of):
        return Level.READY
    return resting


def _soon(today: DiseaseToday, rule: RuleAhead | None, as_of: np.datetime64) -> bool:
    """Whether a nearing window asks for product and water: by its date, or by a rule that is open.

    Without past years there are no dates; then that it is nearing has to do.
    """
    if rule is None or rule_open(today):
        return True
    if rule.middle is None:
        return False
    return bool((rule.middle - as_of).astype(int) <= load_numbers("outlook")["ahead.ready"].value)


def rule_open(today: DiseaseToday) -> bool:
    """Whether one of the rules on timing is open, as likely as not at the least."""
    return timed(today) and any(
        r.state is State.OPEN and (r.chance_open is None or r.chance_open >= LIKELY)
        for r in today.deciding
    )


def _fresh(today: DiseaseToday) -> str:
    if today.state is not today.yesterday:
        # A season that was closed and is before its start again is the calendar's doing.
        turned = (today.yesterday, today.state) == (State.CLOSED, State.NOT_YET)
        return "" if turned else f"new, was {today.yesterday.words}"
    return words.change_words(today)


def _when(today: DiseaseToday, rule: RuleAhead | None, pen: Pen) -> str:
    if today.state is State.OPEN:
        return f"since {pen.day(today.since)}"
    if today.state is State.CLOSED:
        days = [r.closed for r in today.deciding if r.closed is not None]
        return f"since {pen.day(max(days))}" if days else ""
    if rule is None:
        return ""
    if rule.middle is None:
        return "not likely this season"
    if rule.opened_before > LIKELY:
        return _split(today, pen) or f"likely since {pen.day(rule.middle)}"
    assert rule.early is not None
    return f"{pen.day(rule.middle)} ({pen.days(rule.early, rule.late)})"


def _split(today: DiseaseToday, pen: Pen) -> str:
    """Say how many rules are open, and since when, where they are not enough to decide."""
    opened = [r.opened for r in today.deciding if r.state is State.OPEN and r.opened is not None]
    if today.state is not State.NEARING or not opened:
        return ""
    known = sum(r.state is not State.UNKNOWN for r in today.deciding)
    return f"by {len(opened)} of {known} rules since {pen.day(min(opened))}"


def _odds(today: DiseaseToday, rule: RuleAhead | None, as_of: np.datetime64, pen: Pen) -> str:
    chance = words.chance_of(today)
    if today.state is State.OPEN:
        return "" if chance is None else f"{words.chance_percent(chance)} sure"
    if today.state is State.CLOSED or rule is None:
        return ""
    if rule.middle is None:
        return f"{percent(1 - rule.never)} chance"
    if rule.opened_before > LIKELY:
        if chance is None or _split(today, pen):
            return ""
        return f"{words.chance_percent(chance)} open today"
    told: list[tuple[np.datetime64, float]] = []
    for days in _ODDS_DAYS:
        day = as_of + days - 1
        row = int((day - rule.dates[0]).astype(int))
        if row >= len(rule.opened_by):
            break
        told.append((day, float(rule.opened_by[row]) if row >= 0 else 0.0))
        if told[-1][1] >= SURE:
            break
    told = [t for t in told if t[1] >= WORTH]
    return ", ".join(f"{percent(share)} by {pen.day(day)}" for day, share in told[:2])


def _normal(today: DiseaseToday, rule: RuleAhead | None, pen: Pen) -> str:
    if rule is None or today.state is State.CLOSED:
        return ""
    if rule.days_early is None:
        unusual = rule.normal_never is not None and rule.normal_never > LIKELY
        return "not in a normal year" if unusual else ""
    days = abs(rule.days_early)
    if days <= _USUAL:
        text = "as usual"
    else:
        count = f"{days} days {'early' if rule.days_early > 0 else 'late'}"
        text = f"{count} (usual {pen.day(rule.normal)})"
    first = rule.middle
    if today.state is State.OPEN and first is not None and today.since is not None:
        apart = int((today.since - first).astype(int))
        if apart < -_USUAL:
            return ""  # of another opening, still to come
        if apart > _USUAL:
            return f"first {pen.day(first)}, {text}"
    return text


def _rules(today: DiseaseToday, ahead: DiseaseAhead | None, pen: Pen) -> str:
    rules = today.deciding
    known = [r for r in rules if r.state is not State.UNKNOWN]
    opened = sum(r.state is State.OPEN for r in rules)
    if len(rules) == 1:
        return "one published rule"
    if not known:
        return f"none of {len(rules)} rules can be judged"
    lost = len(rules) - len(known)
    text = f"{opened} of {len(rules)} rules open{f', {lost} unknown' if lost else ''}"
    if today.state is State.CLOSED:
        return text  # dates to come are another season's
    dispute = None if ahead is None else ahead.dispute
    if ahead is not None and dispute is not None and dispute.of > 1:
        dated = [r.middle for r in ahead.coming if r.middle is not None]
        if dated:
            text += f" ({pen.days(dated[0], dated[-1])}"
            text += f"; {dispute.never} not at all)" if dispute.never else ")"
    return text


def _again(today: DiseaseToday, rule: RuleAhead | None, as_of: np.datetime64, pen: Pen) -> str:
    if rule is None:
        return ""
    if today.state is State.CLOSED and rule.middle is not None and rule.middle > as_of:
        return f"next about {pen.day(rule.middle)}"
    told = []
    if today.state is State.OPEN and rule.closes is not None and rule.open_today > LIKELY:
        told.append(f"closes about {pen.day(rule.closes)}")
    if rule.again >= WORTH and (today.state is State.OPEN or rule.opened_before > LIKELY):
        told.append(f"{percent(rule.again)} to reopen")
    return ", ".join(told)


def _pressure(pressure: Pressure, pen: Pen) -> str:
    if pressure.so_far.high < LIKELY and pressure.place is None:
        return f"counts from {pen.day(pressure.first)}"
    text = f"{pressure.so_far.middle:.0f}"
    if pressure.usual_so_far is not None and pressure.place is not None:
        text += f" (usual {pressure.usual_so_far.middle:.0f})"
    return text


def _pressure_more(pressure: Pressure) -> str:
    wet = "" if pressure.wet is None else f"{pressure.wet:.0f} in wet soil, "
    told = f"{wet}{pressure.rest.low:.0f} to {pressure.rest.high:.0f} to come"
    if pressure.place is None or pressure.so_far.middle < LIKELY:  # else 0 is more than 0
        return told
    return f"{told}; more than in {pressure.place * pressure.years:.0f} of {pressure.years} years"


def _shows(watch: Watch, pen: Pen) -> str:
    if watch.basis == "stress" and watch.begun is not None and watch.begun >= LIKELY:
        return f"most likely since {pen.day(watch.first)}"
    if watch.last is None:
        text = f"from {pen.day(watch.first)}"
    else:
        text = pen.days(watch.first, watch.last)
    if watch.basis == "stress":
        text = f"first {text}"
        if watch.last is None or watch.last - watch.first < 2 * WEEK:
            return text
        best = sorted(watch.weeks, key=lambda week: -week[1])[:2]
        likely = sorted(week for week in best if week[1] >= _WEEK_WORTH)
        weeks = ", ".join(f"{pen.day(day)} {percent(share)}" for day, share in likely)
        return f"{text} (week of {weeks})" if weeks else text
    if watch.chance is not None:
        text += f" (heat to show it: {percent(watch.chance)})"
    return text


def _act(
    library: Library,
    today: DiseaseToday,
    level: Level,
    ahead: DiseaseAhead | None,
    cover: Cover | None,
    watched: bool,
    as_of: np.datetime64,
    pen: Pen,
) -> str:
    rule = None if ahead is None else ahead.middle
    covered = cover is not None and cover.until is not None
    if today.state is State.UNKNOWN:
        return "Too many days are missing to be sure: read out the logger, or give air temperature."
    if today.state is State.CLOSED and ahead is not None and _reopens(ahead):
        return "Closed for now, likely to open once more this season: keep an application for then."
    if today.state is State.CLOSED:
        scout = "" if watched else " Scout instead."  # else it is said when to
        return f"The timing has passed: an application now does little.{scout}"
    if covered:
        assert cover is not None
        until = pen.day(cover.until)
        if level is Level.READY:
            short = cover.days_left_range[0] <= 0 < cover.days_left_range[1]
            but = ", though not by the shortest published interval" if short else ""
            return f"Covered to {until}{but}: have the next application ready."
        return f"Nothing to put on: covered to {until}."
    if today.state is State.OPEN:
        return _act_open(today.key in library.diseases, timed(today), cover)
    soon = None if rule is None or rule.opened_before > LIKELY else rule.early
    by = "" if soon is None else "now" if soon <= as_of else f"by {pen.day(soon)}"
    if level is Level.READY and rule_open(today):
        return "Be ready: a timing rule is open."
    if level is Level.READY:
        return f"Be ready {by}".rstrip() + ": product and water."
    nothing = f"Nothing yet{f'; be ready {by}' if by else ''}."
    if by == "now":
        nothing = "Nothing yet, but it may open any day."
    if today.key in library.diseases:
        return nothing
    return (
        f"{nothing} Turf that thins now was infected in an earlier window: an application now "
        "does little."
    )


def _reopens(ahead: DiseaseAhead) -> bool:
    """Whether most rules are likely to open yet in the running season, one of them once more."""
    again = [r.opened_before > LIKELY and r.again >= LIKELY for r in ahead.coming]
    yet = [r.opened_before <= LIKELY and r.never < LIKELY for r in ahead.coming]
    return any(again) and 2 * (sum(again) + sum(yet)) > len(ahead.coming)


def _act_open(is_disease: bool, timed: bool, cover: Cover | None) -> str:
    if not timed and cover is None:
        return "Roots can be infected: keep cover on."
    roots = "" if is_disease else " Which groups suit differs by fungus: have roots examined."
    if cover is None:
        return f"Due, unless a preventive is on.{roots}"
    return f"Due: the roots are unprotected.{roots}"


def _why(library: Library, today: DiseaseToday, pen: Pen) -> Iterator[str]:
    decide = today.deciding
    for result in (*decide, *(r for r in today.rules if r not in decide)):
        published = words.published_rule(library, today.key, result)
        of = "" if result.member == today.key else f" for {words.name_of(library, result.member)}"
        yield (
            f"{_RULES[result.rule.meaning]} rule{of}, {result.state.words}; "
            f"{words.rule_words(published, pen.show)}: "
            f"{words.standing(result, pen.show, pen.day)} "
            f"[{result.rule.source}; {result.rule.confidence}]"
        )
