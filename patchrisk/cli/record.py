"""``patchrisk record``: write down what was applied, what was seen and what was read."""

from collections.abc import Callable, Iterable
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from patchrisk.base.errors import Fault, InputError
from patchrisk.cli.options import DAY, F, echo, site_options

if TYPE_CHECKING:
    from patchrisk.read.records.rows import RecordContext


@click.group()
def record() -> None:
    """Write down an application, an observation or a reading, for outlook and programme.

    All are kept as plain CSV beside the site file, which a spreadsheet opens. A line that is
    there is never changed.
    """


def _columns(**helps: str) -> Callable[[F], F]:
    """Add an option for each column of a record, after those that all of them have."""

    def with_options(command: F) -> F:
        for name, text in reversed(helps.items()):
            column = name.rstrip("_")
            flag = f"--{column.replace('_', '-')}"
            command = click.option(flag, column, default="", help=text)(command)
        for option in (
            click.option("--note", default="", help="Anything else, in a few words."),
            click.option(
                "--date", "--day", "day", type=DAY, help="Day, YYYY-MM-DD; today when left out."
            ),
            click.option("--area", default="", help="The area; may be left out when there is one."),
        ):
            command = option(command)
        return site_options(command)

    return with_options


@record.command()
@_columns()
def note(site_file: Path, sample: bool, day: date | None, **cells: str) -> None:
    """Write down a note on an area, which the page shows in its part."""
    from patchrisk.read.records.books import NOTES

    context, given = _given(site_file, sample, day, cells)
    done, before = NOTES.append(context, given)
    echo(f"Recorded in {NOTES.path(context.site)}: {done.day}, {done.area}, {done.text}.")
    _tell(before.faults)


@record.command()
@_columns(
    spot='The part of the area it went on, such as "9 of 18 greens"; the whole when left out.',
    watered='When it was watered in, such as "06:40".',
    amount='Product that went on in all, such as "44 fl oz".',
    carrier='Water that carried it in all, such as "88 gal".',
    treated='Size that was treated, such as "1.5 acre".',
    start='Time of day it began, such as "05:30".',
    end="Time of day it ended.",
    wind='Wind while it went on, such as "4 mph".',
    air='Air temperature then, such as "61 degF".',
    applicator="Who applied it, or supervised it.",
    licence="Licence or certificate number of the applicator.",
    registration="Registration number of the product; that on your shelf when left out.",
    re_entry='When people may go back, such as "12 hours", "until dry" or "18:00".',
    product="Your own word for it; its codes are on the shelf.",
    codes='FRAC codes of all in the tank, such as "11 + 3".',
    actives="Active ingredients by ISO name, joined by +.",
    for_="Diseases it is meant for, joined by +.",
    water='Watered in on the day, such as "6 mm" or "0.25 in".',
    rate="Rate of product that went on, with its unit.",
)
def application(site_file: Path, sample: bool, day: date | None, **cells: str) -> None:
    """Write down an application that went on."""
    from patchrisk.read.records.books import APPLICATIONS, OBSERVATIONS
    from patchrisk.report.records_words import record_words
    from patchrisk.report.words import name_of

    context, given = _given(site_file, sample, day, cells)
    done, before = APPLICATIONS.append(context, given)
    groups = " + ".join(f"FRAC {c}" for c in sorted(done.codes, key=context.groups.codes.index))
    what = f"{done.product} ({groups})" if done.product else groups
    aims = [*(name_of(context.library, key) for key in done.targets), *done.others]
    aim = f" for {', '.join(aims)}" if aims else ""
    where = f"{done.area} ({done.spot})" if done.spot else done.area
    strength = f" at {given['rate']}" if given["rate"] else ""
    wet = f", watered in with {given['water']}" if given["water"] else ""
    path = APPLICATIONS.path(context.site)
    echo(f"Recorded in {path}: {done.day}, {where}, {what}{strength}{aim}{wet}.")
    try:
        seen = OBSERVATIONS.read(context).rows
    except InputError as error:
        seen = ()
        _tell(error.faults)
    for text in record_words(context, done, before.rows, seen, given):
        echo(text)
    _tell(before.faults)


@record.command()
@_columns()
@click.option("--disease", default="", help="The disease, by any of its names.")
@click.option("--seen/--not-seen", default=None, help="Whether it was seen.")
@click.option("--share", default="", help='Share of the area that shows it, such as "5%".')
@click.option("--plot", default="", help="Name of the plot left untreated that it is of.")
def observation(
    site_file: Path, sample: bool, day: date | None, seen: bool | None, **cells: str
) -> None:
    """Write down that a disease was looked for, and whether it was seen."""
    from patchrisk.read.records.books import OBSERVATIONS
    from patchrisk.report.words import name_of

    if seen is None and not cells["share"]:
        cure = "add --seen or --not-seen"
        raise InputError(Fault("--seen", "", "not told whether it was seen", cure))
    context, given = _given(site_file, sample, day, cells)
    if seen is not None:
        given["seen"] = "yes" if seen else "no"
    done, before = OBSERVATIONS.append(context, given)
    found = "seen" if done.seen else "looked for, not seen"
    what = f"{name_of(context.library, done.disease)} {found}"
    part = f" on {done.share:g}% of it" if done.share > 0 else ""
    path = OBSERVATIONS.path(context.site)
    where = f"{done.area}, untreated plot {done.plot}" if done.plot else done.area
    echo(f"Recorded in {path}: {done.day}, {where}, {what}{part}.")
    _tell(before.faults)


@record.command()
@_columns(
    at="Time on the clock, such as 14:30.",
    depth="Depth of the probe's tip, such as 2in or 5cm.",
    value="What it showed, such as 63F or 17.2C.",
)
def reading(site_file: Path, sample: bool, day: date | None, **cells: str) -> None:
    """Write down soil temperature read by hand, from a probe stuck in at any hour."""
    from patchrisk.read.records.books import READINGS

    context, given = _given(site_file, sample, day, cells)
    done, before = READINGS.append(context, given)
    when, told = f"{given['date']} at {given['at']}", f"{given['value']} at {given['depth']}"
    echo(f"Recorded in {READINGS.path(context.site)}: {when}, {done.area}, {told}.")
    _tell(before.faults)


def _given(
    site_file: Path, sample: bool, day: date | None, cells: dict[str, str]
) -> tuple["RecordContext", dict[str, str]]:
    """Read the site, and return what was given of a record, by column."""
    from patchrisk.read.records.rows import context_at

    if sample:
        cure = "record for a site file of your own; `patchrisk init` writes one"
        raise InputError(Fault("--sample", "", "the sample course is not yours", cure))
    context = context_at(site_file, datetime.now().astimezone())
    return context, {"date": str(day or context.today), **cells}


def _tell(faults: Iterable[Fault]) -> None:
    """Name what was wrong in the file before; it keeps nothing from being recorded."""
    for fault in faults:
        echo(f"patchrisk: {fault}", err=True)
