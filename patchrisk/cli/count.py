"""``patchrisk count``: degree-days, and days in a row beyond a threshold, of an area's soil."""

from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import Any

import click

from patchrisk.base.errors import Fault, InputError
from patchrisk.base.saving import Output
from patchrisk.cli.options import (
    Day,
    Request,
    as_of_option,
    offline_option,
    pass_request,
    site_options,
)
from patchrisk.cli.screen import echo


class Measure(click.ParamType[float]):
    """A number with its unit, read in the canonical unit of the quantity."""

    def __init__(self, quantity: str, name: str) -> None:
        self.quantity, self.name = quantity, name

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        """Read the measure, or fail saying how to write it."""
        from patchrisk.base.units import read_measure

        if not isinstance(value, str):
            return float(value)
        try:
            return read_measure(self.quantity, value)
        except ValueError as error:
            self.fail(str(error), param, ctx)


_TEMPERATURE = Measure("soil temperature", "temperature")


@click.command()
@site_options
@as_of_option("Count up to this past morning instead of today.")
@click.option("--area", "areas", multiple=True, help="Count in this area only; may be repeated.")
@offline_option
@click.option("--since", type=Day(), help="First day counted; the year's first when left out.")
@click.option(
    "--depth",
    "depth_cm",
    type=Measure("depth", "depth"),
    default="5 cm",
    show_default=True,
    help='Depth of the soil, such as "2 in".',
)
@click.option("--base", "base_c", type=_TEMPERATURE, help="Add up degree-days above this: 50degF.")
@click.option(
    "--ceiling",
    "ceiling_c",
    type=_TEMPERATURE,
    help="A mean above this counts as this in degree-days.",
)
@click.option(
    "--goal", "goal_c", type=Measure("degree-days", "total"), help="Total awaited: 500degF."
)
@click.option(
    "--at-least", "warm_c", type=_TEMPERATURE, multiple=True, help="Count days so warm or warmer."
)
@click.option(
    "--at-most", "cool_c", type=_TEMPERATURE, multiple=True, help="Count days so cool or cooler."
)
@click.option("--maximum", is_flag=True, help="Compare the day's maximum instead of its mean.")
@click.option("--row", type=click.IntRange(1, 120), help="Await so many days in a row.")
@click.option(
    "--csv",
    "table",
    type=click.Path(path_type=Path, dir_okay=False),
    help="Write every day counted into this file.",
)
@pass_request
def count(
    request: Request,
    areas: tuple[str, ...],
    since: date | None,
    depth_cm: float,
    base_c: float | None,
    ceiling_c: float | None,
    goal_c: float | None,
    warm_c: tuple[float, ...],
    cool_c: tuple[float, ...],
    maximum: bool,
    row: int | None,
    table: Path | None,
) -> None:
    """Count degree-days, and days in a row beyond a threshold, of logged or estimated soil.

    Says the count so far and how far it may be off, what is usual on this day, and when a total
    or a row of days is to be expected. An example:

    patchrisk count --base 50degF --goal 500degF --at-least 65degF --row 5
    """
    from patchrisk.base.saving import write_text
    from patchrisk.core.rules.rule import Statistic
    from patchrisk.core.rules.tally import Threshold
    from patchrisk.report.count import COUNT_TABLE, write_count_table, write_counts
    from patchrisk.site_day.counts import Asked, count_areas

    _check(base_c, ceiling_c, goal_c, [*warm_c, *cool_c], row)
    if table is not None:
        request.check([Output(table, COUNT_TABLE)])
    statistic = Statistic.DAILY_MAXIMUM if maximum else Statistic.DAILY_MEAN
    warm = [Threshold(">=", value, statistic) for value in warm_c]
    cool = [Threshold("<=", value, statistic) for value in cool_c]
    asked = Asked(depth_cm, since, base_c, ceiling_c, goal_c, (*warm, *cool), row)
    counts = count_areas(request.gathered(), request.day, asked, areas)
    echo(write_counts(counts))
    if table is not None:
        write_text(table, write_count_table(counts))
        echo(f"Wrote {table}.")


def _check(
    base_c: float | None,
    ceiling_c: float | None,
    goal_c: float | None,
    thresholds_c: Sequence[float],
    row: int | None,
) -> None:
    faults = []
    if base_c is None and not thresholds_c:
        cure = "give --base, --at-least or --at-most, such as --base 50degF"
        faults.append(Fault("count", "", "nothing to count", cure))
    for option, value in (("--ceiling", ceiling_c), ("--goal", goal_c)):
        if value is not None and base_c is None:
            faults.append(Fault(option, "", "no base of the degree-days", "add --base"))
    if base_c is not None and ceiling_c is not None and ceiling_c <= base_c:
        faults.append(Fault("--ceiling", "", "not above the base", "give one above --base"))
    if row is not None and not thresholds_c:
        faults.append(Fault("--row", "", "no threshold", "add --at-least or --at-most"))
    if faults:
        raise InputError(faults)
