"""``patchrisk record``: write down what was applied and what was seen."""

from collections.abc import Iterable
from datetime import date, datetime, timezone
from pathlib import Path
from typing import TYPE_CHECKING

import click

from patchrisk.cli.options import Day, F, site_options
from patchrisk.errors import Fault, InputError

if TYPE_CHECKING:
    from patchrisk.records.rows import Known


def _shared(command: F) -> F:
    for option in (
        click.option("--note", default="", help="Anything else, in a few words."),
        click.option("--date", "day", type=Day(), help="Day, YYYY-MM-DD; today when left out."),
        click.option("--area", default="", help="The area; may be left out when there is one."),
    ):
        command = option(command)
    return site_options(command)


@click.group()
def record() -> None:
    """Write down an application or an observation, for the outlook and the programme.

    Both are kept as plain CSV beside the site file, which a spreadsheet opens. A line that is
    there is never changed.
    """


@record.command()
@_shared
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
) -> None:
    """Write down an application that went on."""
    from patchrisk.records.books import append_application, applications_path

    known = _known(site_file, sample)
    given = {
        "date": str(day or known.today),
        "area": area,
        "product": product,
        "codes": codes,
        "actives": actives,
        "for": targets,
        "water": water,
        "rate": rate,
        "note": note,
    }
    done, before = append_application(known, given)
    groups = " + ".join(f"FRAC {c}" for c in sorted(done.codes, key=known.groups.codes.index))
    what = f"{done.product} ({groups})" if done.product else groups
    aim = f" for {', '.join(_name(known, key) for key in done.targets)}" if done.targets else ""
    strength = f" at {rate}" if rate else ""
    wet = f", watered in with {water}" if water else ""
    path = applications_path(known.site)
    click.echo(f"Recorded in {path}: {done.day}, {done.area}, {what}{strength}{aim}{wet}.")
    _tell(before.faults)


@record.command()
@_shared
@click.option("--disease", default="", help="The disease, by any of its names.")
@click.option("--seen/--not-seen", default=None, help="Whether it was seen.")
@click.option("--share", default="", help='Share of the area that shows it, such as "5%".')
def observation(
    site_file: Path,
    sample: bool,
    area: str,
    day: date | None,
    note: str,
    disease: str,
    seen: bool | None,
    share: str,
) -> None:
    """Write down that a disease was looked for, and whether it was seen."""
    from patchrisk.records.books import append_observation, observations_path

    if seen is None and not share:
        cure = "add --seen or --not-seen"
        raise InputError(Fault("--seen", "", "not told whether it was seen", cure))
    known = _known(site_file, sample)
    given = {
        "date": str(day or known.today),
        "area": area,
        "disease": disease,
        "seen": "" if seen is None else ("yes" if seen else "no"),
        "share": share,
        "note": note,
    }
    done, before = append_observation(known, given)
    what = f"{_name(known, done.disease)} {'seen' if done.seen else 'looked for, not seen'}"
    part = f" on {done.share:g}% of it" if done.share > 0 else ""
    path = observations_path(known.site)
    click.echo(f"Recorded in {path}: {done.day}, {done.area}, {what}{part}.")
    _tell(before.faults)


def _known(site_file: Path, sample: bool) -> "Known":
    from patchrisk.diseases import load_library
    from patchrisk.records.rows import known_at
    from patchrisk.site import read_site

    if sample:
        cure = "record for a site file of your own; `patchrisk init` writes one"
        raise InputError(Fault("--sample", "", "the sample course is not yours", cure))
    site = read_site(site_file)
    library = load_library(site.folder / site.diseases_folder if site.diseases_folder else None)
    today = datetime.now(timezone(site.site.standard_offset)).date()
    return known_at(site, library, today)


def _name(known: "Known", key: str) -> str:
    return (known.library.diseases.get(key) or known.library.groups[key]).name


def _tell(faults: Iterable[Fault]) -> None:
    """Name what was wrong in the file before; it keeps nothing from being recorded."""
    for fault in faults:
        click.echo(f"patchrisk: {fault}", err=True)
