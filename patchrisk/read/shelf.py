"""What the user holds: products in their own words, with what their labels say.

No rate ever comes from this package: it works with the figures that the user copied off a label.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import Enum, auto
from pathlib import Path
from typing import Annotated

from pydantic import BeforeValidator, Field, ValidationInfo, field_validator, model_validator

from patchrisk.base.errors import Fault, InputError
from patchrisk.base.toml_files import read_toml, validate
from patchrisk.base.units import QUANTITIES, from_canonical, to_canonical
from patchrisk.base.user_files import is_there
from patchrisk.core.plan.labels import YearlyLimit
from patchrisk.core.plan.programme import Amount, Carrier
from patchrisk.read.area import Area, Name, Use
from patchrisk.read.diseases.quantities import Item, Measured, Rows, SomeRows, Table, Text
from patchrisk.read.groups import Groups
from patchrisk.read.site import Site

DEFAULT_FILE = "shelf.toml"

_CURES = {
    "product": "write each product under a line [[product]]",
    "name": 'write a name of your own for it, such as name = "Shelf A"',
    "actives": 'write the ISO names off the label, such as actives = ["azoxystrobin"]',
    "codes": 'write the FRAC codes off the label as text, such as codes = ["11", "3"]',
    "least_interval_days": "write the whole days off the label, such as 14",
    "longest_interval_days": "write the whole days off the label, such as 28",
    "most_applications_year": "write the number off the label, such as 4",
    "re_entry": 'write it as the label does, such as "until dry"',
    "registration": "copy the registration number off the label, as text",
    "restricted": "write true when the label says restricted use, else false",
    "price": 'write what a unit of it costs you: price = { value = 95.0, unit = "gal" }',
    "stock": 'write how much is there: stock = { value = 2.5, unit = "gal" }',
    "wind_most": 'copy it off the label: wind_most = { value = 10, unit = "mph" }',
    "value": "write a plain number, such as value = 1.2, with its unit beside it",
}


# A code that is a plain number may be written as one.
Code = Annotated[Text, BeforeValidator(lambda code: str(code) if isinstance(code, int) else code)]


class _Figure(Measured):
    """A figure off a label, with its unit."""

    one_of = "one of "

    value: float

    @field_validator("value")
    @classmethod
    def _check_value(cls, value: float, info: ValidationInfo) -> float:
        unit = info.data.get("unit")  # absent when it is at fault itself
        if unit is None:
            return value
        quantity = cls._quantity(unit)
        most = from_canonical(quantity, QUANTITIES[quantity].high, unit)
        if not 0 < value <= most:
            cure = f"write a number above 0, up to {most:g} {unit}"
            raise ValueError(f"{value:g} {unit} can't be {quantity}: {cure}")
        return value

    @property
    def canonical(self) -> float:
        """The figure in the quantity's canonical unit."""
        return to_canonical(self.quantity, self.value, self.unit)

    @property
    def printed(self) -> str:
        """The figure as the user wrote it."""
        return f"{self.value:g} {self.unit.replace('2', '²')}"


class Rate(_Figure):
    """Product for a piece of turf: by mass [kg/ha] or by volume [L/ha]."""

    kinds = ("rate by mass", "rate by volume")


class SprayVolume(_Figure):
    """Water that carries the product [L/ha]."""

    kinds = ("spray volume",)


class Content(_Figure):
    """Active ingredient in the product: by mass [g/kg] or by volume [g/L]."""

    kinds = ("active by mass", "active by volume")


class Load(_Figure):
    """Active ingredient on a piece of turf in a year [kg/ha]."""

    kinds = ("rate by mass",)


class Stock(_Figure):
    """Product that is there: by mass [kg] or by volume [L]."""

    kinds = ("product mass", "product volume")


class Price(Stock):
    """Money for one ``unit`` of product: by mass [kg] or by volume [L]."""

    @field_validator("value")
    @classmethod
    def _check_value(cls, value: float, info: ValidationInfo) -> float:
        if not 0 < value < 1e6:
            raise ValueError(f"{value:g} can't be a price: write a number above 0")
        return value

    @property
    def per_canonical(self) -> float:
        """Money for one kg or L."""
        return self.value / to_canonical(self.quantity, 1.0, self.unit)


class Wind(_Figure):
    """A wind speed [m/s]."""

    kinds = ("wind speed",)


class Product(Table):
    """One product the user holds, in their own words, with the figures of its label.

    ``codes`` and ``actives`` are as the group list writes them once read by `read_shelf`.
    ``content`` and ``most_active_year`` are by active; a figure left out sets no limit.
    ``longest_interval_days`` is how long one application is counted on at the most, ``restricted``
    whether only certified applicators may use it, ``price`` what a unit of product costs in money
    of the user's own, ``stock`` how much of it is there, ``wind_most`` the label's limit.
    """

    name: Annotated[Name, Field(max_length=80)]
    actives: Rows[Text] = ()
    codes: Rows[Code] = ()
    rate: Rate | None = None
    water: SprayVolume | None = None
    content: dict[str, Content] = Field(default_factory=dict)
    least_interval_days: Annotated[int, Field(ge=1, le=366)] | None = None
    longest_interval_days: Annotated[int, Field(ge=1, le=366)] | None = None
    most_applications_year: Annotated[int, Field(ge=1, le=60)] | None = None
    most_active_year: dict[str, Load] = Field(default_factory=dict)
    sites: Rows[Use] = ()
    re_entry: Text | None = None
    registration: Text | None = None
    restricted: bool | None = None
    price: Price | None = None
    stock: Stock | None = None
    wind_most: Wind | None = None
    note: Text | None = None

    @model_validator(mode="after")
    def _check_known(self) -> "Product":
        if not (self.actives or self.codes):
            raise ValueError(
                "neither actives nor codes: write the ISO names of its active ingredients, "
                'such as actives = ["azoxystrobin"]'
            )
        least, longest = self.least_interval_days, self.longest_interval_days
        if least is not None and longest is not None and longest < least:
            raise ValueError(
                f"longest_interval_days {longest} is less than least_interval_days {least}: "
                "write both as the label has them, such as 14 and 28"
            )
        named = {name.casefold() for name in self.actives}
        for key in ("content", "most_active_year"):
            strangers = [name for name in getattr(self, key) if name.casefold() not in named]
            if strangers:
                raise ValueError(
                    f"{key} of {strangers[0]!r}, which is not among its actives: "
                    f"write one of {', '.join(self.actives) or 'its actives first'}"
                )
        return self

    def allowed_on(self, use: str | None) -> bool:
        """Whether the label allows it on this use of turf; where either is untold, it may."""
        return use is None or not self.sites or use in self.sites

    def active_kg_ha(self, active: str) -> float:
        """Active ingredient of one application [kg/ha]; NaN when rate or content is not told."""
        content = self.content.get(active)
        if self.rate is None or content is None:
            return math.nan
        if self.rate.quantity.removeprefix("rate") != content.quantity.removeprefix("active"):
            return math.nan
        return self.rate.canonical * content.canonical / 1000.0


class _File(Table):
    product: SomeRows[Product]


@dataclass(frozen=True)
class Shelf:
    """The products a user holds; empty when they keep no shelf."""

    products: tuple[Product, ...] = ()

    def find(self, name: str) -> Product | None:
        """Return the product of this name, whatever its capitals; None without."""
        wanted = " ".join(name.casefold().split())
        return next(
            (p for p in self.products if " ".join(p.name.casefold().split()) == wanted), None
        )


def shelf_path(site: Site) -> Path | None:
    """Return the site's shelf: the named file, or ``shelf.toml`` beside the site file, or None."""
    if site.shelf_file:
        return site.folder / site.shelf_file
    path = site.folder / DEFAULT_FILE
    return path if is_there(path) else None


def site_shelf(site: Site, groups: Groups) -> Shelf:
    """Read the site's shelf; an empty one when it keeps none. Errors as for `read_shelf`."""
    path = shelf_path(site)
    return Shelf() if path is None else read_shelf(path, groups)


def read_shelf(path: Path, groups: Groups) -> Shelf:
    """Read a shelf and check it against the group list.

    InputError with every fault of the file: unknown keys, codes and units, an active that the group
    list does not have and that comes without codes, two products of one name.
    """
    file = validate(_File, read_toml(path), str(path), _CURES)
    faults: list[Fault] = []
    products: list[Product] = []
    for n, product in enumerate(file.product, 1):
        products.append(_settle(product, groups, str(path), f"product {n}", faults))
    names = [" ".join(p.name.casefold().split()) for p in products]
    for name in sorted({name for name in names if names.count(name) > 1}):
        found = f"two products are called {name!r}"
        faults.append(Fault(str(path), "product", found, "give each its own name"))
    if faults:
        raise InputError(faults)
    return Shelf(tuple(products))


def _settle(
    product: Product, groups: Groups, source: str, place: str, faults: list[Fault]
) -> Product:
    """Return the product with codes and actives as the group list writes them."""
    codes, unknown = groups.sort_codes(product.codes)
    faults += [Fault(source, f"{place}, codes", f.found, f.cure) for f in unknown]
    for name in product.actives:
        if groups.active(name) is None and not product.codes:
            near = groups.near(name)
            cure = (
                f"did you mean {near}?" if near else "add the FRAC codes of its label: codes = ..."
            )
            faults.append(
                Fault(source, f"{place}, actives", f"the group list has no {name!r}", cure)
            )
    of_actives = groups.codes_of(product.actives)
    missing = of_actives - codes
    if product.codes and missing and not unknown:
        told = ", ".join(sorted(missing))
        faults.append(
            Fault(source, f"{place}, codes", f"its actives are of group {told} too", "add it")
        )
    known = {name: groups.active(name) for name in product.actives}
    called = {name: name if active is None else active.name for name, active in known.items()}
    plain = {name.casefold(): iso for name, iso in called.items()}
    return product.model_copy(
        update={
            "actives": tuple(called.values()),
            "codes": tuple(sorted(codes | of_actives, key=groups.codes.index)),
            "content": _renamed(product.content, plain),
            "most_active_year": _renamed(product.most_active_year, plain),
        }
    )


def _renamed(table: dict[str, Item], names: dict[str, str]) -> dict[str, Item]:
    return {names.get(key.casefold(), key): item for key, item in table.items()}


class Missing(Enum):
    """What of a product is not on the shelf, so that its active can't be worked out."""

    RATE = auto()
    CONTENT = auto()
    UNITS = auto()  # one of them by mass, the other by volume


@dataclass(frozen=True)
class LabelsDiffer:
    """What labels allow of an active in a year, by product as written, and which is kept."""

    active: str
    loads: Mapping[str, str]
    kept: str


@dataclass(frozen=True)
class NotCounted:
    """A product that can't be counted towards what is kept of an active in a year."""

    product: str
    active: str
    kept: str
    missing: Missing


LimitGap = LabelsDiffer | NotCounted


def yearly_limits(shelf: Shelf) -> tuple[tuple[YearlyLimit, ...], tuple[LimitGap, ...]]:
    """Take the yearly limits of actives off a shelf.

    Returns ``limits``: by active, the lowest that a label states, over every product that holds it;
    ``gaps``: where labels differ, and which product can't be counted.
    """
    limits: list[YearlyLimit] = []
    gaps: list[LimitGap] = []
    for active in dict.fromkeys(a for p in shelf.products for a in p.most_active_year):
        stating = [p for p in shelf.products if active in p.most_active_year]
        lowest = min(stating, key=lambda p: p.most_active_year[active].canonical)
        load = lowest.most_active_year[active]
        if any(p.most_active_year[active].canonical > load.canonical for p in stating):
            loads = {p.name: p.most_active_year[active].printed for p in stating}
            gaps.append(LabelsDiffer(active, loads, load.printed))
        holding = [p for p in shelf.products if active in p.actives]
        doses = {p.name: p.active_kg_ha(active) for p in holding}
        doses = {name: dose for name, dose in doses.items() if dose > 0}  # not those untold
        gaps += [
            NotCounted(p.name, active, load.printed, _missing(p, active))
            for p in holding
            if p.name not in doses
        ]
        if doses:
            limits.append(YearlyLimit(active, load.canonical, doses))
    return tuple(limits), tuple(gaps)


def _missing(product: Product, active: str) -> Missing:
    if product.rate is None:
        return Missing.RATE
    return Missing.CONTENT if active not in product.content else Missing.UNITS


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
