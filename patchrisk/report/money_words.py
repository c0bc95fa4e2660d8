"""What a programme costs by the prices on the shelf, what to order, what one fewer loses."""

from collections.abc import Iterator

from patchrisk.base.pen import Pen, listed, percent
from patchrisk.core.plan.programme import AreaPlan, Planned
from patchrisk.core.rules.rule import year_begins
from patchrisk.report import plan_words as words
from patchrisk.site_day.season_plan import SitePlan


def cost_words(plan: SitePlan, area: AreaPlan) -> Iterator[str]:
    """Say what the area's applications cost, and what one fewer would save and lose.

    Nothing without a price; of what has none it is said.
    """
    pen = words.plan_pen(plan)
    told = [one for one in area.planned if one.cost is not None]
    if not told:
        return
    each = listed([_one(one, pen) for one in told])
    whole = sum(one.cost or 0.0 for one in told)
    said = f"Money, by your prices: {whole:,.0f} for what is planned: {each}."
    bare = [one for one in area.planned if one.cost is None]
    if bare:
        said += f" Without a price: {listed([pen.day(one.day) for one in bare])}."
    yield said
    least = min(told, key=lambda one: one.own)
    days = sum(least.covers.values())
    share = f", {percent(least.own / days)} of what it covers" if days > 0 else ""
    yield (
        f"One application fewer, that of {pen.day(least.day)}, saves {least.cost:,.0f} and leaves "
        f"{least.own:.1f} {words.PRESSURE} bare{share}."
    )


def _one(one: Planned, pen: Pen) -> str:
    said = f"{pen.day(one.day)} {one.cost:,.0f}"
    other = one.runner_up
    if other is not None and other.cost is not None:
        said += f" (next best {other.choice.label} {other.cost:,.0f})"
    return said


def order_words(plan: SitePlan) -> Iterator[str]:
    """Say how much of each product this year's planned applications take, and what to order."""
    if plan.shelf is None or not any(p.price or p.stock for p in plan.shelf.products):
        return
    pen = words.plan_pen(plan)
    begins = year_begins(plan.as_of, southern=plan.site.site.southern)
    ends = begins.replace(year=begins.year + 1)
    for product in plan.shelf.products:
        amounts = [
            one_amount
            for area in plan.areas
            for one in area.planned
            if one.day < ends
            for one_amount in one.amounts
            if one_amount.product == product.name and not one_amount.faults
        ]
        if not amounts:
            continue
        kind, needed = amounts[0].kind, sum(one.whole or 0.0 for one in amounts)
        said = (
            f"{product.name}: {words.sized(kind, needed, pen.system)} for what is planned this year"
        )
        stock = product.stock
        if stock is not None and stock.quantity == kind:
            short = needed - stock.canonical
            said += f", {stock.printed} in stock"
            said += (
                f": order {words.sized(kind, short, pen.system)}"
                if short > 1e-9 * needed
                else ": enough"
            )
        yield f"{said}."
