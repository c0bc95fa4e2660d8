"""What earlier plans said, kept beside their files, and what is not as the last one had it."""

from collections.abc import Iterator, Set
from datetime import date
from pathlib import Path

import numpy as np
from pydantic import TypeAdapter

from patchrisk.base.pen import Pen, as_date
from patchrisk.base.safe_text import slug
from patchrisk.core.plan.cover import tanks
from patchrisk.core.plan.programme import AreaPlan
from patchrisk.report.earlier_mornings import read_mornings, write_mornings
from patchrisk.report.plan_words import choice_words
from patchrisk.report.records_words import water_words
from patchrisk.report.words import name_of, pen_of, verdict_words
from patchrisk.site_day.morning import Morning
from patchrisk.site_day.season_plan import EarlierApplication, EarlierPlan, SitePlan, plan_all

Plans = dict[date, dict[str, EarlierPlan]]  # by morning and area

_SCHEMA = "patchrisk-plan-kept/1"
_KEPT = TypeAdapter(EarlierPlan)
_MOVED = 1  # days by which a call must move to be a reason


def plan_beside(morning: Morning, path: Path | None) -> SitePlan:
    """Plan a morning, with what the latest plan before it said, kept in a folder or beside a file.

    Without a path, or where none can be read, nothing is known of an earlier plan.
    """
    if path is None:
        return plan_all(morning)
    return plan_all(morning, _latest(_read(_file(path, morning.site.site.name)), morning.as_of))


def changes_words(plan: SitePlan, area: AreaPlan) -> list[str]:
    """Say what is planned otherwise than before, and what changed that can be the reason."""
    last = plan.before.get(area.area)
    return [] if last is None else list(_changes(plan, area, last, pen_of(plan.morning)))


def keep_plan(path: Path, plan: SitePlan) -> None:
    """Keep what a plan says beside those of the mornings before; other areas' words stay.

    ``path`` as for `plan_beside`.

    Raises
    ------
    UnavailableError
        When the file can't be written.
    """
    file = _file(path, plan.site.site.name)
    plans = _read(file)
    old = plans.get(plan.as_of) or _latest(plans, plan.as_of)
    plans[plan.as_of] = {**old, **{area.area: _as_kept(area) for area in plan.areas}}
    write_mornings(file, _SCHEMA, "plans", plans, _KEPT)


def _file(path: Path, site: str) -> Path:
    folder = path if path.is_dir() else path.parent
    return folder / f"{slug(site)}-programme.kept.json"


def _latest(plans: Plans, as_of: date) -> dict[str, EarlierPlan]:
    before = [day for day in plans if day < as_of]
    return plans[max(before)] if before else {}


def _changes(plan: SitePlan, area: AreaPlan, last: EarlierPlan, pen: Pen) -> Iterator[str]:
    now = _as_kept(area)
    done = set(now.done)
    ahead = (one for one in last.planned if one.date >= plan.as_of and one.date not in done)
    old = [one for one in ahead if one not in now.planned]
    new = [one for one in now.planned if one not in last.planned]
    labels = {one.choice.label: choice_words(one.choice, full=False) for one in area.planned}
    said = []
    about = {key for one in (*old, *new) for key in one.targets}
    for one in new:
        was = next((o for o in old if set(o.targets) & set(one.targets)), None)
        what = f"{labels[one.label]} on {_day(pen, one.date)}"
        if was is None:
            said.append(f"new: {what}")
            continue
        old.remove(was)
        parts = [_day(pen, was.date)] * (was.date != one.date)
        parts += [was.label] * (was.label != one.label)
        if parts:
            said.append(f"{what}, was {' with '.join(parts)}")
    said += [f"no longer planned: {one.label} on {_day(pen, one.date)}" for one in old]
    if said:
        known = "; ".join(_reasons(plan, area, last, now, about, pen))
        why = known or "the weather ahead or your own files"
        yield f"Changed since the last plan: {'; '.join(said)}. What changed: {why}."


def _reasons(
    plan: SitePlan,
    area: AreaPlan,
    last: EarlierPlan,
    now: EarlierPlan,
    about: Set[str],
    pen: Pen,
) -> Iterator[str]:
    """Say what is not as it was of the records, and of the diseases that the changes are about."""
    new = [one for one in tanks(area.done) if as_date(one.day) not in last.done]
    for one in new:
        water = water_words(one, pen)
        yield f"an application of {pen.day(one.day)} is on record{f', {water}' if water else ''}"
    for missed in last.planned:
        if missed.date < plan.as_of and missed.date not in now.done:
            later = [one for one in new if as_date(one.day) > missed.date]
            went_on = next((one for one in later if one.product == missed.label), None)
            how = "is not on record" if went_on is None else f"went on late, {pen.day(went_on.day)}"
            yield f"{missed.label}, planned for {_day(pen, missed.date)}, {how}"
    for key, verdict in now.verdicts.items():
        was = last.verdicts.get(key)
        if key in about and was is not None and was != verdict:
            yield f"{name_of(plan.library, key)}: {verdict}, was {was}"
    for key, day in now.called.items():
        before = last.called.get(key)
        if (
            key in about
            and before is not None
            and abs((day - before).days) >= _MOVED
            and day > plan.as_of
        ):
            yield (
                f"{name_of(plan.library, key)} is expected to call for one on {_day(pen, day)}, "
                f"was {_day(pen, before)}"
            )


def _day(pen: Pen, day: date) -> str:
    return pen.day(np.datetime64(day, "D"))


def _as_kept(area: AreaPlan) -> EarlierPlan:
    return EarlierPlan(
        tuple(
            EarlierApplication(as_date(one.day), one.choice.label, one.targets)
            for one in area.planned
        ),
        tuple(as_date(one.day) for one in tanks(area.done)),
        {key: verdict_words(answer.verdict) for key, answer in area.answers.items()},
        {k: as_date(a.called) for k, a in area.answers.items() if a.called is not None},
    )


def _read(path: Path) -> Plans:
    return read_mornings(path, _SCHEMA, "plans", _KEPT)
