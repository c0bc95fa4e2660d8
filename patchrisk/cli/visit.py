"""``patchrisk visit``: samples, soil tests and roots, put beside the season's soil temperature."""

import os
from collections.abc import Sequence
from datetime import date
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from patchrisk.base import resources
from patchrisk.base.errors import Fault, InputError
from patchrisk.base.saving import Output, check_outputs, write_text
from patchrisk.base.user_files import is_there
from patchrisk.cli.options import (
    DAY,
    Request,
    echo,
    echo_json,
    filled,
    make_folder,
    offline_option,
    site_command,
)

if TYPE_CHECKING:
    from patchrisk.report.visit.view import VisitView
    from patchrisk.site_day.visit import VisitDay

_SAMPLES = ("visit_winter.toml", "visit_spring.toml")
_BY_POST = {"--lat": "latitude", "--lon": "longitude", "--turf": "turf", "--thinned": "thinned"}


@site_command
@click.argument("files", nargs=-1, type=click.Path(path_type=Path, dir_okay=False))
@click.option("--new", "make_new", is_flag=True, help="Write a commented visit's file to fill in.")
@click.option(
    "--what-to-take", "to_take", is_flag=True, help="Before going: plugs, packing, tests."
)
@click.option("--area", help="For --new and --what-to-take: the area; the first, or all.")
@click.option("--date", "day", type=DAY, help="For --new: the day of the visit.")
@click.option("--lat", "latitude", type=click.FloatRange(-90, 90), help="A sample by post: where.")
@click.option("--lon", "longitude", type=click.FloatRange(-180, 180), help="Degrees east.")
@click.option("--turf", help='Its grass, as "creeping bentgrass"; a mixture joined by +.')
@click.option("--thinned", type=DAY, help="The day on which it was first seen to thin.")
@click.option("--use", help="green, tee, fairway, lawn, ...")
@click.option("--root-zone", help="sand green, push-up green, loam or clay.")
@click.option(
    "--units", type=click.Choice(["metric", "us"]), default="metric", help="Of a sample by post."
)
@click.option(
    "--weather",
    type=click.Path(path_type=Path, exists=True, dir_okay=False),
    help="By post, without the internet: a file of daily air temperature.",
)
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    help="The client's page (.html), or a folder for several; with --new the file to make, by "
    "post the folder.",
)
@click.option("--json", "as_json", is_flag=True, help="Write JSON.")
@click.option("--full", is_flag=True, help="With every guideline and source.")
@offline_option
def visit(
    request: Request,
    files: tuple[Path, ...],
    make_new: bool,
    to_take: bool,
    area: str | None,
    day: date | None,
    out: Path | None,
    as_json: bool,
    full: bool,
    **postal: Any,
) -> None:
    """Put a visit's findings beside the season: what it could be, and what would settle it.

    \b
    patchrisk visit --what-to-take          what to cut, look at, pack and ask for
    patchrisk visit --new                   a file to write down what was found
    patchrisk visit visit.toml              the report; with --out visit.html the client's page
    patchrisk visit --lat 40.1 --lon -82.9 --turf "creeping bentgrass" --thinned 2026-02-03
                                            a sample by post: the season, and a file to fill in

    It names no cause of its own: that is for the laboratory.
    """  # noqa: D301  (click reads the backspace)
    told = [name for name, key in _BY_POST.items() if postal[key] is not None]
    if sum((make_new, to_take, bool(files), bool(told))) > 1:
        found = "more than one thing is asked for"
        cure = "give a file, or --new, or --what-to-take, or --lat with --lon, --turf and --thinned"
        raise InputError(Fault("visit", "", found, cure))
    show = partial(_report, as_json=as_json, full=full)
    if told:
        missing = [name for name in _BY_POST if name not in told]
        if missing:
            raise InputError(Fault("visit", one, "not given", f"add {one} ...") for one in missing)
        folder = out or Path(f"sample-{postal['thinned']}")
        site, path = folder / "site.toml", folder / "visit.toml"
        make_folder(folder)
        _refuse_existing(site, path)
        try:
            _write_by_post(site, path, **postal)
            judged = _judge(request, [path])
        except BaseException:  # stopped, too: what can't be judged is of no use
            site.unlink(missing_ok=True)
            path.unlink(missing_ok=True)
            raise
        show(judged, None)
        cure = f"fill in what the sample shows, then `patchrisk visit {path}`."
        echo(f"Wrote {site} and {path}: {cure}", err=as_json)
    elif make_new:
        path = out or Path("visit.toml")
        _refuse_existing(path)
        found = request.site.areas_named([area] if area else ())[0].name
        own = request.path.resolve().as_posix()
        site_name = own if request.sample else _name_beside(request.path, path.parent)
        write_new_visit(path, site=site_name, area=found, day=day or request.day, thinned=None)
        echo(f"Wrote {path}. Next: fill it in, then run `patchrisk visit {path}`.")
    elif to_take:
        from patchrisk.report.visit.terminal import write_to_take

        echo(write_to_take(request.morning((area,) if area else ())).rstrip())
    elif request.sample or files:
        samples = [resources.sample_weather() / name for name in _SAMPLES]
        show(_judge(request, samples if request.sample else files), out)
    else:
        cure = "name a visit's file, or write one with `patchrisk visit --new`"
        raise InputError(Fault("visit", "", "no visit is named", cure))


def _judge(request: Request, files: Sequence[Path]) -> "list[tuple[VisitDay, VisitView]]":
    from patchrisk.report.visit.view import view_of_visit
    from patchrisk.site_day.visit import judge_day

    days = [judge_day(path, request.now, offline=request.offline) for path in files]
    return [(day, view_of_visit(day)) for day in days]


def _report(
    judged: "Sequence[tuple[VisitDay, VisitView]]", out: Path | None, *, as_json: bool, full: bool
) -> None:
    from patchrisk.report.visit.terminal import visit_json, write_visit

    views = [view for _, view in judged]
    pages: list[Path] = []
    if out is not None:
        from patchrisk.report.visit.page import VISIT_PAGE, write_visit_page

        pages = _pages(out, views)
        inputs = {day.data.path: "a visit's file" for day, _ in judged}
        inputs |= {day.data.site_path: "the site file" for day, _ in judged}
        check_outputs([Output(page, VISIT_PAGE) for page in pages], inputs)
        texts = [write_visit_page(day, view) for day, view in judged]
        for page, text in zip(pages, texts, strict=True):
            write_text(page, text)
    if as_json:
        parts = [visit_json(view) for view in views]
        echo_json(parts[0] if len(parts) == 1 else f"[{', '.join(parts)}]")
    elif out is None or len(views) == 1:
        for view in views:
            echo(write_visit(view, full=full))
    for page in pages:
        echo(f"Wrote {page}", err=as_json)


def _pages(out: Path, views: "list[VisitView]") -> list[Path]:
    """Name the page of each visit: the file that is told, or files in that folder."""
    if len(views) == 1 and out.suffix.lower() in (".html", ".htm"):
        return [out]
    if out.suffix:
        cure = "name a folder for several visits, or an .html file for one"
        raise InputError(Fault("--out", str(out), "no folder and no .html file", cure))
    from patchrisk.base.safe_text import slugs

    make_folder(out)
    names = slugs([f"{view.site} {view.area} {view.iso_day}" for view in views], [])
    return [out / f"{name}.html" for name in names]


def _refuse_existing(*paths: Path) -> None:
    """Leave files alone that are there; InputError names them."""
    there = [path for path in paths if is_there(path)]
    if there:
        cure = "name another with --out"
        raise InputError(Fault(str(path), "", "there is one already", cure) for path in there)


def _name_beside(path: Path, folder: Path) -> str:
    """Return how files of a folder name another file."""
    try:
        return Path(os.path.relpath(path, folder)).as_posix()
    except ValueError:  # another drive
        return path.resolve().as_posix()


def write_new_visit(
    path: Path,
    *,
    site: str,
    area: str,
    day: date,
    thinned: date | None,
    places: Sequence[tuple[str, int]] = (("Good", 0), ("Middling", 20), ("Bad", 50)),
) -> None:
    """Write a commented visit's file; ``places`` with the damage of the example [%]."""
    values = {"site": site, "area": area, "day": day, "thinned": thinned, "places": places}
    write_text(path, filled("visit.toml.j2", name=path.name, **values))


def _write_by_post(
    site: Path, path: Path, *, turf: str, thinned: date, weather: Path | None, **place: Any
) -> None:
    """Write the site file of a sample by post, and the visit's file beside it."""
    grasses = [part.strip() for part in turf.split("+") if part.strip()]
    text = filled(
        "postal.toml.j2",
        name=f"Sample by post, {place['latitude']:g}, {place['longitude']:g}",
        turf=grasses[0] if len(grasses) == 1 else grasses,
        weather=None if weather is None else _name_beside(weather, site.parent),
        **place,
    )
    write_text(site, text)
    places = [("Sample", 20)]
    write_new_visit(path, site=site.name, area="Turf", day=thinned, thinned=thinned, places=places)
