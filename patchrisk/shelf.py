"""What the user holds: products in their own words, with what their labels say.

No rate ever comes from this package: it works with the figures that the user copied off a label.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, ClassVar

from pydantic import BeforeValidator, Field, ValidationInfo, field_validator, model_validator

from patchrisk.diseases.quantities import Item, Rows, SomeRows, Table, Text
from patchrisk.document import read_toml, validate
from patchrisk.errors import Fault, InputError
from patchrisk.groups import Groups
from patchrisk.site import Area, Name, Site, Use
from patchrisk.units import QUANTITIES, System, from_canonical, to_canonical

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
    "value": "write a plain number, such as value = 1.2, with its unit beside it",
}


# A code that is a plain number may be written as one.
Code = Annotated[Text, BeforeValidator(lambda code: str(code) if isinstance(code, int) else code)]


class _Figure(Table):
    """A figure off a label, with its unit."""

    kinds: ClassVar[tuple[str, ...]]

    unit: str
    value: float

    @field_validator("unit")
    @classmethod
    def _check_unit(cls, unit: str) -> str:
        if unit not in cls.units():
            raise ValueError(f"unit {unit!r}: write one of {', '.join(cls.units())}")
        return unit

    @classmethod
    def units(cls) -> tuple[str, ...]:
        """Units in which it may be written."""
        return tuple(u.symbol for kind in cls.kinds for u in QUANTITIES[kind].units)

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

    @classmethod
    def _quantity(cls, unit: str) -> str:
        return next(
            kind for kind in cls.kinds if any(u.symbol == unit for u in QUANTITIES[kind].units)
        )

    @property
    def quantity(self) -> str:
        """Name of the quantity in the table of units."""
        return self._quantity(self.unit)

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


class Product(Table):
    """One product the user holds, in their own words, with the figures of its label.

    ``codes`` and ``actives`` are as the group list writes them once read by `read_shelf`.
    ``content`` and ``most_active_year`` are by active; a figure left out sets no limit.
    ``longest_interval_days`` is how long one application is counted on at the most.
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


@dataclass(frozen=True)
class Amount:
    """Product and water for an area: mass [kg] or volume [L] of product, water [L] or None."""

    product_kg: float | None
    product_l: float | None
    water_l: float | None


def shelf_path(site: Site) -> Path | None:
    """Return the site's shelf: the named file, or ``shelf.toml`` beside the site file, or None."""
    if site.shelf_file:
        return site.folder / site.shelf_file
    path = site.folder / DEFAULT_FILE
    return path if path.exists() else None


def site_shelf(site: Site, groups: Groups) -> Shelf:
    """Read the site's shelf; an empty one when it keeps none. Errors as for `read_shelf`."""
    path = shelf_path(site)
    return Shelf() if path is None else read_shelf(path, groups)


def read_shelf(path: Path, groups: Groups) -> Shelf:
    """Read a shelf and check it against the group list.

    Parameters
    ----------
    path : Path
    groups : Groups

    Raises
    ------
    InputError
        With every fault of the file: unknown keys, codes and units, an active that the group
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
    called = {name: _iso(name, groups) for name in product.actives}
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


def _iso(name: str, groups: Groups) -> str:
    active = groups.active(name)
    return name if active is None else active.name


def amount(product: Product, area: Area) -> Amount:
    """Work out product and water for an area, from the user's own entry off the label.

    Parameters
    ----------
    product : Product
    area : Area

    Raises
    ------
    InputError
        When the shelf has no rate, the area no size, or the label does not allow the area's use;
        no figure is ever filled in.
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
    if faults:
        raise InputError(faults)
    assert product.rate is not None
    assert area.size_m2 is not None
    hectares = area.size_m2 / 1e4
    whole = product.rate.canonical * hectares
    by_mass = product.rate.quantity == "rate by mass"
    water = None if product.water is None else product.water.canonical * hectares
    return Amount(whole if by_mass else None, None if by_mass else whole, water)


_SHOWN: dict[System, dict[str, tuple[str, ...]]] = {
    "metric": {"product mass": ("kg", "g"), "product volume": ("L", "mL"), "water": ("L",)},
    "us": {"product mass": ("lb", "oz"), "product volume": ("gal", "fl oz"), "water": ("gal",)},
}


def amount_words(product: Product, area: Area, system: System) -> str:
    """Say how much it takes for an area, and by which rate of whose; errors as for `amount`."""
    found = amount(product, area)
    assert product.rate is not None
    if found.product_kg is not None:
        size = _sized("product mass", found.product_kg, _SHOWN[system]["product mass"])
    else:
        assert found.product_l is not None
        size = _sized("product volume", found.product_l, _SHOWN[system]["product volume"])
    water = ""
    if found.water_l is not None:
        litres = _sized("product volume", found.water_l, _SHOWN[system]["water"])
        water = f" in {litres} of water"
    rate = f"at {product.rate.printed} off your label"
    note = f" ({product.note})" if product.note else ""
    return f"{size} of {product.name}{water} on {area.size}, {rate}{note}"


def _sized(quantity: str, canonical: float, units: Sequence[str]) -> str:
    """Write an amount in the first unit of which there is at least one, three figures of it."""
    values = [from_canonical(quantity, canonical, unit) for unit in units]
    value, unit = next(
        (p for p in zip(values, units, strict=True) if p[0] >= 1), (values[-1], units[-1])
    )
    places = max(0, 2 - math.floor(math.log10(value)))
    return f"{value:.{places}f} {unit}"
