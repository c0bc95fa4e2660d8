"""How much of a product an area takes, in how much water and for how much money.

All by the user's own entries: no rate and no price is ever filled in.
"""

from collections.abc import Sequence

from patchrisk.base.errors import Fault
from patchrisk.core.plan.programme import Amount, Carrier
from patchrisk.read.area import Area
from patchrisk.read.shelf import Product


def amount(product: Product, area: Area) -> Amount:
    """Work out product and water for an area, from the user's own entry off the label.

    Faults stand in it when the shelf has no rate, the area no size, or the label does not allow
    the area's use; no figure is ever filled in.
    """
    faults: list[Fault] = []
    if product.rate is None:
        cure = 'copy it off the label: rate = { value = ..., unit = "..." }'
        faults.append(Fault("shelf", product.name, "no rate", cure))
    if area.size_m2 is None:
        faults.append(
            Fault("site file", area.name, "no size", 'write one, such as size = "0.4 ha"')
        )
    if not product.allowed_on(area.use):
        found = f"{product.name} is not allowed on a {area.use}: its sites are "
        faults.append(
            Fault("shelf", product.name, found + ", ".join(product.sites), "choose another product")
        )
    re_entry = product.re_entry or ""
    if faults or product.rate is None or area.size_m2 is None:
        return Amount(product.name, re_entry=re_entry, faults=tuple(faults))
    whole = product.rate.canonical * (area.size_m2 / 1e4)
    kind = product.rate.quantity.replace("rate by", "product")
    price = product.price if product.price and product.price.quantity == kind else None
    return Amount(
        product=product.name,
        kind=kind,
        whole=whole,
        rate=product.rate.printed,
        size=area.size or "",
        note=product.note or "",
        re_entry=re_entry,
        cost=None if price is None else whole * price.per_canonical,
    )


def carrier(products: Sequence[Product], area: Area) -> Carrier | None:
    """Return the water of a tank: the most that a label in it asks for; None where none does."""
    told = {p.name: p.water for p in products if p.water is not None}
    if not told:
        return None
    l_ha = max(water.canonical for water in told.values())
    differ = any(water.canonical < l_ha * (1 - 1e-6) for water in told.values())
    return Carrier(
        l_ha,
        None if area.size_m2 is None else l_ha * area.size_m2 / 1e4,
        {name: water.printed for name, water in told.items()} if differ else {},
    )
