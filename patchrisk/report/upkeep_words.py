"""What else holds a disease, and what scouting in place of spraying takes, in words."""

from collections.abc import Iterator
from functools import partial

from patchrisk.base.pen import count_of, listed
from patchrisk.core.plan.programme import AreaPlan
from patchrisk.core.plan.upkeep import Task
from patchrisk.report.plan_words import plan_pen
from patchrisk.report.words import name_of
from patchrisk.site_day.season_plan import SitePlan

DONE = 'Take one off with a note that names it and says done, such as "manganese done".'
_UNITS = {"soil pH": "pH {:.1f}", "manganese": "{:.0f} mg/kg", "thatch": "{:.1f} cm"}


def upkeep_words(plan: SitePlan, area: AreaPlan) -> Iterator[str]:
    """Say what else holds the diseases of an area, a sentence or two for each measure."""
    for task in plan.upkeep.get(area.area, ()):
        if task.first is None or task.last is None:
            when = "no season in its source"
        elif task.first <= area.as_of:
            when = f"to {plan_pen(plan).day(task.last)}"
        else:
            when = plan_pen(plan).days(task.first, task.last)
        yield f"{when}: {task_words(plan, task)}"


def task_name(plan: SitePlan, task: Task) -> str:
    """Name a measure and what it is against."""
    name = partial(name_of, plan.library)
    return f"{task.finding.factor} against {listed([name(key) for key in task.diseases])}"


def task_words(plan: SitePlan, task: Task) -> str:
    """Say what a source says of a measure, and what the area's own test found."""
    pen, one = plan_pen(plan), task.finding
    here = ""
    if task.found is not None and task.limit is not None:
        found, limit = (_UNITS[one.factor].format(value) for value in (task.found, task.limit))
        here = pen.prose(f" Here {found} by your visit, past {limit}.")
    said = (
        f"{one.text.rstrip('.')} ({one.source}, {one.confidence}{', sources differ' * task.differ})"
    )
    return f"{task_name(plan, task)}. {pen.prose(said)}.{here}"


def scouting_words(plan: SitePlan, area: AreaPlan) -> Iterator[str]:
    """Say what it takes to have a laboratory settle what is to be scouted, or is not known.

    Plugs are those of a disease's own advice; one sample serves what asks for the same.
    """
    asked: dict[str, list[str]] = {}
    for key in plan.to_scout.get(area.area, ()):
        expression = plan.library.diseases[key].expression
        if expression.plugs is not None and not expression.by_sight:
            asked.setdefault(expression.samples.text, []).append(key)
    if not asked:
        return
    price = plan.site.programme.sample_price
    told = [
        f"{count_of(plan.library.diseases[keys[0]].expression.plugs or 0, 'plug')} for "
        f"{listed([name_of(plan.library, key) for key in keys])}"
        for keys in asked.values()
    ]
    cost = "" if price is None else f", {len(asked) * price:,.0f} by your price"
    yield f"To scout instead: {'; '.join(told)} ({count_of(len(asked), 'sample')}{cost})."
