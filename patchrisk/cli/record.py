"""``patchrisk record``: write down what was applied, what was seen and what was read."""

from collections.abc import Iterable
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from patchrisk.base.errors import Fault, InputError
from patchrisk.cli.options import Day, F, site_options
from patchrisk.cli.screen import echo

if TYPE_CHECKING:
    from patchrisk.read.records.rows import RecordContext


def _shared(command: F) -> F:
    for option in (
        click.option("--note", default="", help="Anything else, in a few words."),
        click.option(
            "--date", "--day", "day", type=Day(), help="Day, YYYY-MM-DD; today when left out."
        ),
        click.option("--area", default="", help="The area; may be left out when there is one."),
    ):
        command = option(command)
    return site_options(command)


@click.group()
def record() -> None:
    """Write down an application, an observation or a reading, for outlook and programme.

    All are kept as plain CSV beside the site file, which a spreadsheet opens. A line that is
    there is never changed.
    """


_TOLD = {
    "spot": 'The part of the area it went on, such as "9 of 18 greens"; the whole when left out.',
    "watered": 'When it was watered in, such as "06:40".',
    "amount": 'Product that went on in all, such as "44 fl oz".',
    "carrier": 'Water that carried it in all, such as "88 gal".',
    "treated": 'Size that was treated, such as "1.5 acre".',
    "start": 'Time of day it began, such as "05:30".',
    "end": "Time of day it ended.",
    "wind": 'Wind while it went on, such as "4 mph".',
    "air": 'Air temperature then, such as "61 degF".',
    "applicator": "Who applied it, or supervised it.",
    "licence": "Licence or certificate number of the applicator.",
    "registration": "Registration number of the product; that on your shelf when left out.",
    "re_entry": 'When people may go back, such as "12 hours", "until dry" or "18:00".',
}


def _told(command: F) -> F:
    for name, text in reversed(_TOLD.items()):
        command = click.option(f"--{name.replace('_', '-')}", name, default="", help=text)(command)
    return command


@record.command()
@_shared
def note(site_file: Path, sample: bool, area: str, day: date | None, note: str) -> None:
    """Write down a note on an area, which the page shows in its part."""
    from patchrisk.read.records.books import append_note, notes_path

    context = _known(site_file, sample)
    given = {"date": str(day or context.today), "area": area, "note": note}
    done, before = append_note(context, given)
    echo(f"Recorded in {notes_path(context.site)}: {done.day}, {done.area}, {done.text}.")
    _tell(before.faults)


@record.command()
@_shared
@_told
@click.option("--product", default="", help="Your own word for it; its codes are on the shelf.")
@click.option("--codes", default="", help='FRAC codes of all in the tank, such as "11 + 3".')
@click.option("--actives", default="", help="Active ingredients by ISO name, joined by +.")
@click.option("--for", "targets", default="", help="Diseases it is meant for, joined by +.")
@click.option("--water", default="", help='Watered in on the day, such as "6 mm" or "0.25 in".')
@click.option("--rate", default="", help="Rate of product that went on, with its unit.")
def application(
    site_file: Path,
    sample: bool,
    area: str,
    day: date | None,
    note: str,
    product: str,
    codes: str,
    actives: str,
    targets: str,
    water: str,
    rate: str,
    **told: str,
) -> None:
    """Write down an application that went on."""
    from patchrisk.read.records.books import append_application, applications_path
    from patchrisk.report.log_words import record_words
    from patchrisk.report.words import name_of

    context = _known(site_file, sample)
    given = {
        "date": str(day or context.today),
        "area": area,
        "product": product,
        "codes": codes,
        "actives": actives,
        "for": targets,
        "water": water,
        "rate": rate,
        "note": note,
        **told,
    }
    done, before = append_application(context, given)
    groups = " + ".join(f"FRAC {c}" for c in sorted(done.codes, key=context.groups.codes.index))
    what = f"{done.product} ({groups})" if done.product else groups
    aims = [*(name_of(context.library, key) for key in done.targets), *done.others]
    aim = f" for {', '.join(aims)}" if aims else ""
    where = f"{done.area} ({done.spot})" if done.spot else done.area
    strength = f" at {rate}" if rate else ""
    wet = f", watered in with {water}" if water else ""
    path = applications_path(context.site)
    echo(f"Recorded in {path}: {done.day}, {where}, {what}{strength}{aim}{wet}.")
    for text in record_words(context, done, before.rows, given):
        echo(text)
    _tell(before.faults)


@record.command()
@_shared
@click.option("--disease", default="", help="The disease, by any of its names.")
@click.option("--seen/--not-seen", default=None, help="Whether it was seen.")
@click.option("--share", default="", help='Share of the area that shows it, such as "5%".')
@click.option("--plot", default="", help="Name of the plot left untreated that it is of.")
def observation(
    site_file: Path,
    sample: bool,
    area: str,
    day: date | None,
    note: str,
    disease: str,
    seen: bool | None,
    share: str,
    plot: str,
) -> None:
    """Write down that a disease was looked for, and whether it was seen."""
    from patchrisk.read.records.books import append_observation, observations_path
    from patchrisk.report.words import name_of

    if seen is None and not share:
        cure = "add --seen or --not-seen"
        raise InputError(Fault("--seen", "", "not told whether it was seen", cure))
    context = _known(site_file, sample)
    given = {
        "date": str(day or context.today),
        "area": area,
        "disease": disease,
        "seen": "" if seen is None else ("yes" if seen else "no"),
        "share": share,
        "note": note,
        "plot": plot,
    }
    done, before = append_observation(context, given)
    found = "seen" if done.seen else "looked for, not seen"
    what = f"{name_of(context.library, done.disease)} {found}"
    part = f" on {done.share:g}% of it" if done.share > 0 else ""
    path = observations_path(context.site)
    where = f"{done.area}, untreated plot {done.plot}" if done.plot else done.area
    echo(f"Recorded in {path}: {done.day}, {where}, {what}{part}.")
    _tell(before.faults)


@record.command()
@_shared
@click.option("--at", "at", default="", help="Time on the clock, such as 14:30.")
@click.option("--depth", default="", help="Depth of the probe's tip, such as 2in or 5cm.")
@click.option("--value", default="", help="What it showed, such as 63F or 17.2C.")
def reading(
    site_file: Path,
    sample: bool,
    area: str,
    day: date | None,
    note: str,
    at: str,
    depth: str,
    value: str,
) -> None:
    """Write down soil temperature read by hand, from a probe stuck in at any hour."""
    from patchrisk.read.records.books import append_reading, readings_path

    context = _known(site_file, sample)
    given = {
        "date": str(day or context.today),
        "at": at,
        "area": area,
        "depth": depth,
        "value": value,
        "note": note,
    }
    done, before = append_reading(context, given)
    path = readings_path(context.site)
    echo(f"Recorded in {path}: {given['date']} at {at}, {done.area}, {value} at {depth}.")
    _tell(before.faults)


def _known(site_file: Path, sample: bool) -> "RecordContext":
    from patchrisk.read.records.rows import context_at

    if sample:
        cure = "record for a site file of your own; `patchrisk init` writes one"
        raise InputError(Fault("--sample", "", "the sample course is not yours", cure))
    return context_at(site_file, datetime.now().astimezone())


def _tell(faults: Iterable[Fault]) -> None:
    """Name what was wrong in the file before; it keeps nothing from being recorded."""
    for fault in faults:
        echo(f"patchrisk: {fault}", err=True)
