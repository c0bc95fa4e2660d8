"""What page and programme of earlier mornings said, kept as JSON, and what changed since."""

import json
from collections.abc import Iterator, Mapping, Sequence, Set
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Generic, TypeVar

import numpy as np
from pydantic import TypeAdapter

from patchrisk.base.errors import InputError
from patchrisk.base.pen import Pen, as_date, count_of, words_of
from patchrisk.base.safe_text import slug
from patchrisk.base.saving import write_text
from patchrisk.base.user_files import read_file
from patchrisk.core.plan.cover import tanks
from patchrisk.core.plan.programme import AreaPlan
from patchrisk.core.verdict.decision_table import Phase, Verdict
from patchrisk.core.verdict.judgement import Judgement
from patchrisk.report.plan_words import choice_words
from patchrisk.report.records_words import water_words
from patchrisk.report.words import (
    change_words,
    name_of,
    pen_of,
    wording_number,
)
from patchrisk.site_day.morning import Morning
from patchrisk.site_day.season_plan import EarlierApplication, EarlierPlan, SitePlan, plan_all

if TYPE_CHECKING:
    from patchrisk.report.view.area import AreaView
    from patchrisk.report.view.morning import MorningView

AreaRecord = TypeVar("AreaRecord")

MORNINGS_KEPT = 14
_MOST_BYTES = 5_000_000


@dataclass(frozen=True)
class _Memory(Generic[AreaRecord]):
    """What was said of each area on the mornings that a file keeps, under ``key``."""

    path: Path
    schema: str
    key: str
    form: TypeAdapter[AreaRecord]  # of what is said of an area

    def mornings(self) -> dict[date, dict[str, AreaRecord]]:
        """Return what is kept; a damaged file, or one of another schema, holds nothing."""
        try:
            record = json.loads(read_file(self.path, _MOST_BYTES, "take it away"))
            if record["schema"] != self.schema:
                return {}
            return {
                date.fromisoformat(morning["as_of"]): {
                    str(area): self.form.validate_python(said)
                    for area, said in morning["areas"].items()
                }
                for morning in record[self.key]
            }
        except (InputError, ValueError, KeyError, TypeError, AttributeError, RecursionError):
            return {}

    def before(self, day: date) -> tuple[date, dict[str, AreaRecord]] | None:
        """Return the latest morning before a day."""
        kept = self.mornings()
        last = max((morning for morning in kept if morning < day), default=None)
        return None if last is None else (last, kept[last])

    def keep(self, day: date, areas: Mapping[str, AreaRecord]) -> None:
        """Keep a morning beside the latest others; UnavailableError when it can't be written."""
        kept = {**self.mornings(), day: areas}
        record = {
            "schema": self.schema,
            self.key: [
                {
                    "as_of": morning.isoformat(),
                    "areas": {
                        area: self.form.dump_python(said, mode="json")
                        for area, said in kept[morning].items()
                    },
                }
                for morning in sorted(kept)[-MORNINGS_KEPT:]
            ],
        }
        write_text(self.path, json.dumps(record, ensure_ascii=False, indent=1) + "\n")


PAGE_MEMORY = "patchrisk-page/2"
_VERDICTS = {words_of(verdict): verdict for verdict in Verdict}
_PHASES = {words_of(phase): phase for phase in Phase}


@dataclass(frozen=True)
class EarlierRow:
    """Of one disease on an earlier page: verdict and phase in words, when it was to start."""

    verdict: str
    phase: str
    starts: date | None

    def __post_init__(self) -> None:
        if self.verdict not in _VERDICTS or self.phase not in _PHASES:
            raise ValueError("not a verdict")


@dataclass(frozen=True)
class LastPage:
    """What the page of an earlier morning said, by area and disease."""

    as_of: date
    areas: Mapping[str, Mapping[str, EarlierRow]]


def _pages(path: Path) -> _Memory[dict[str, EarlierRow]]:
    return _Memory(path, PAGE_MEMORY, "pages", TypeAdapter(dict[str, EarlierRow]))


def read_last_page(path: Path, as_of: date) -> LastPage | None:
    """Return what the latest page before a morning said; None where nothing readable is kept."""
    before = _pages(path).before(as_of)
    return None if before is None else LastPage(*before)


def keep_page(path: Path, view: "MorningView") -> None:
    """Keep what this morning's page says beside those before; UnavailableError where it can't."""
    areas = {
        area.name: {
            row.key: EarlierRow(row.words, words_of(row.judged.phase), _to_start(row.judged))
            for row in area.rows
        }
        for area in view.areas
    }
    _pages(path).keep(view.as_of, areas)


def changes_since(
    last: LastPage, areas: "Sequence[AreaView]", pen: Pen
) -> Iterator[tuple[str, str]]:
    """Say in which area what changed since an earlier page."""
    for area in areas:
        before = last.areas.get(area.name)
        if before is None:
            yield area.name, "not on the last page"
            continue
        for row in area.rows:
            earlier, now = before.get(row.key), row.judged
            if earlier is None:
                yield area.name, f"{row.name}: not on the last page"
                continue
            verdict, phase = _VERDICTS[earlier.verdict], _PHASES[earlier.phase]
            text = change_words((verdict, phase), (now.verdict, now.phase))
            if not text and (phase, now.phase) != (Phase.OVER, Phase.RESTING):
                text = _moved(earlier.starts, _to_start(now), row.as_of, pen)
            if text:
                yield area.name, f"{row.name}: {text}"


def _moved(before: date | None, now: date | None, as_of: np.datetime64, pen: Pen) -> str:
    """Say by how much an expected start moved; empty where by little."""
    if before is None or now is None:
        return ""
    days = (before - now).days
    if abs(days) < wording_number("moved") or not _far_enough(before, now, as_date(as_of)):
        return ""
    day = pen.day(np.datetime64(now, "D"))
    way = "sooner" if days > 0 else "later"
    return f"start now expected {day}, {count_of(abs(days), 'day')} {way}"


def _to_start(j: Judgement) -> date | None:
    """Return when a season that has not begun is expected to start."""
    coming = j.start is None and j.middle is not None and j.phase is not Phase.OVER
    return as_date(j.middle) if coming and j.middle is not None else None


def _far_enough(before: date, now: date, as_of: date) -> bool:
    """Whether a day to come moved, and by enough of the days until then to be worth a word."""
    days, away = abs((now - before).days), (min(before, now) - as_of).days
    return days > 0 and days >= wording_number("moved_share") * away


def plan_beside(morning: Morning, path: Path | None) -> SitePlan:
    """Plan a morning, with what the latest plan before it said, kept in a folder or beside a file.

    Without a path, or where none can be read, nothing is known of an earlier plan.
    """
    if path is None:
        return plan_all(morning)
    before = _plans(path, morning.site.site.name).before(morning.as_of)
    return plan_all(morning, None if before is None else before[1])


def changes_words(plan: SitePlan, area: AreaPlan) -> list[str]:
    """Say what is planned otherwise than before, and what changed that can be the reason."""
    last = plan.before.get(area.area)
    return [] if last is None else list(_changes(plan, area, last, pen_of(plan.morning)))


def keep_plan(path: Path, plan: SitePlan) -> None:
    """Keep what a plan says beside those of the mornings before; other areas' words stay.

    ``path`` as for `plan_beside`; UnavailableError when the file can't be written.
    """
    memory, day = _plans(path, plan.site.site.name), plan.as_of
    old, before = memory.mornings().get(day, {}), memory.before(day)
    if not old and before is not None:
        _, old = before
    memory.keep(day, {**old, **{area.area: _as_kept(plan, area) for area in plan.areas}})


def _plans(path: Path, site: str) -> _Memory[EarlierPlan]:
    folder = path if path.is_dir() else path.parent
    file = folder / f"{slug(site)}-programme.kept.json"
    return _Memory(file, "patchrisk-plan-kept/1", "plans", TypeAdapter(EarlierPlan))


def _changes(plan: SitePlan, area: AreaPlan, last: EarlierPlan, pen: Pen) -> Iterator[str]:
    now = _as_kept(plan, area)
    done = set(now.done)
    ahead = (one for one in last.planned if one.date >= plan.as_of and one.date not in done)
    old = [one for one in ahead if one not in now.planned]
    new = [one for one in now.planned if one not in last.planned]
    labels = {one.choice.label: choice_words(one.choice, full=False) for one in area.planned}
    said: list[str] = []
    about: set[str] = set()
    for one in new:
        was = next((o for o in old if set(o.targets) & set(one.targets)), None)
        what = f"{labels[one.label]} on {_day(pen, one.date)}"
        if was is None:
            said.append(f"new: {what}")
            about.update(one.targets)
            continue
        old.remove(was)
        parts = [_day(pen, was.date)] * _far_enough(was.date, one.date, plan.as_of)
        parts += [was.label] * (was.label != one.label)
        if parts:
            said.append(f"{what}, was {' with '.join(parts)}")
            about.update(was.targets, one.targets)
    about.update(key for one in old for key in one.targets)
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
        if key not in about or before is None or day <= plan.as_of:
            continue
        if _far_enough(before, day, plan.as_of):
            yield (
                f"{name_of(plan.library, key)} is expected to call for one on {_day(pen, day)}, "
                f"was {_day(pen, before)}"
            )


def _day(pen: Pen, day: date) -> str:
    return pen.day(np.datetime64(day, "D"))


def _as_kept(plan: SitePlan, area: AreaPlan) -> EarlierPlan:
    return EarlierPlan(
        tuple(
            EarlierApplication(as_date(one.day), one.choice.label, one.targets)
            for one in area.planned
        ),
        tuple(as_date(one.day) for one in tanks(area.done)),
        {key: words_of(one.verdict) for key, one in plan.morning.judged(area.area).items()},
        {k: as_date(a.called) for k, a in area.answers.items() if a.called is not None},
    )
