"""The most of an active that labels allow in a year, over every product that holds it."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import floor, isnan

from patchrisk.core.plan.cover import Applied
from patchrisk.core.plan.inputs import Stock
from patchrisk.core.plan.parts import by_ground

# A dose that fits a whole number of times up to the last printed digit counts.
ROUNDING = 1e-6


@dataclass(frozen=True)
class YearlyLimit:
    """The most of an active in a year.

    Parameters
    ----------
    active : str
        ISO common name.
    most_kg_ha : float
        The lowest that a label states [kg/ha].
    doses : mapping of str to float
        Active in one application, by product on the shelf [kg/ha]; without those whose rate or
        content is not told.
    """

    active: str
    most_kg_ha: float
    doses: Mapping[str, float]

    def dose(self, product: str | None) -> float:
        """Active in one application of a product [kg/ha]; 0 where it holds none, or untold."""
        return 0.0 if product is None else self.doses.get(product, 0.0)

    def taken(self, one: Applied) -> float | None:
        """Active that an application took [kg/ha], at the shelf's rate without one of its own.

        None where its product has no dose.
        """
        dose = self.doses.get(one.product)
        return None if dose is None else dose * (1.0 if isnan(one.part) else one.part)

    def times(self, product: str | None, spent_kg_ha: float = 0.0) -> int | None:
        """How often a product may go on beside what has been spent; None without a dose of it."""
        one = self.dose(product)
        if one <= 0:
            return None
        return max(0, floor((self.most_kg_ha - spent_kg_ha) / one + ROUNDING))


@dataclass(frozen=True)
class SharedLimit:
    """One limit over several options: the dose of each, and what is left of this year's [1].

    Both are shares of the limit; the next year's is whole.
    """

    doses: tuple[float, ...]
    left: float


@dataclass(frozen=True)
class YearSpent:
    """Of a limit, what went on this year [kg/ha], and the records whose dose had to be assumed."""

    limit: YearlyLimit
    kg_ha: float
    assumed: tuple[Applied, ...]


def year_spent(limit: YearlyLimit, season: Sequence[Applied], stock: Sequence[Stock]) -> YearSpent:
    """Add up an active over the year's records, on the part of the area that got most.

    A record that holds the active, or may by its
    codes, and whose product has no dose on the shelf is taken as the greatest dose there: a limit
    of a label is never kept by not knowing.
    """
    parts = (_on_ground(limit, ground, stock) for ground in by_ground(season))
    return max(parts, key=lambda part: part.kg_ha)


def _on_ground(limit: YearlyLimit, ground: Sequence[Applied], stock: Sequence[Stock]) -> YearSpent:
    total, assumed = 0.0, []
    for one in ground:
        taken = limit.taken(one)
        if taken is None and _may_hold(limit, one, stock):
            taken = max(limit.doses.values())
            assumed.append(one)
        total += taken or 0.0
    return YearSpent(limit, total, tuple(assumed))


def _may_hold(limit: YearlyLimit, one: Applied, stock: Sequence[Stock]) -> bool:
    if one.product or one.actives:
        return limit.active in one.actives
    return any(
        item.choice.codes == one.codes and limit.dose(item.choice.product) > 0 for item in stock
    )


def shared_limits(spent: Sequence[YearSpent], stock: Sequence[Stock]) -> Iterator[SharedLimit]:
    """Yield the limits that two options or more draw on; one alone has them in its number."""
    for one in spent:
        whole = one.limit.most_kg_ha
        doses = tuple(one.limit.dose(item.choice.product) / whole for item in stock)
        if sum(dose > 0 for dose in doses) > 1:
            yield SharedLimit(doses, max(0.0, 1 - one.kg_ha / whole))
