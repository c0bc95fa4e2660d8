"""The shelf's limits on an active in a year, taken together over all products that hold it."""

from patchrisk.programme.yearly import YearlyLimit
from patchrisk.shelf import Product, Shelf


def yearly_limits(shelf: Shelf) -> tuple[tuple[YearlyLimit, ...], tuple[str, ...]]:
    """Take the yearly limits of actives off a shelf.

    Returns
    -------
    limits : tuple of YearlyLimit
        By active, the lowest that a label states, over every product that holds it.
    notices : tuple of str
        In sentences: where labels differ, and which product can't be counted.
    """
    limits, notices = [], []
    for active in dict.fromkeys(a for p in shelf.products for a in p.most_active_year):
        stating = [p for p in shelf.products if active in p.most_active_year]
        lowest = min(stating, key=lambda p: p.most_active_year[active].canonical)
        load = lowest.most_active_year[active]
        if any(p.most_active_year[active].canonical > load.canonical for p in stating):
            told = ", ".join(f"{p.name} {p.most_active_year[active].printed}" for p in stating)
            notices.append(
                f"Your labels allow different amounts of {active} in a year ({told}): the lower "
                f"one, {load.printed}, is kept over all of them together."
            )
        holding = [p for p in shelf.products if active in p.actives]
        doses = {p.name: p.active_kg_ha(active) for p in holding}
        doses = {name: dose for name, dose in doses.items() if dose > 0}  # not those untold
        notices += [
            f"{p.name} can't be counted towards the {load.printed} of {active} in a year: "
            f"{_missing(p, active)} on the shelf."
            for p in holding
            if p.name not in doses
        ]
        if doses:
            limits.append(YearlyLimit(active, load.canonical, doses))
    return tuple(limits), tuple(notices)


def _missing(product: Product, active: str) -> str:
    if product.rate is None:
        return "it has no rate"
    if active not in product.content:
        return f"its content of {active} is not"
    return "its rate and content, one by mass and one by volume, don't go together"
