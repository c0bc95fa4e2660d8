"""What a site's files show: outlook, plan, figure, soil, count, fetch, check; the disease files."""

import shutil
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from patchrisk.base.errors import Fault, InputError
from patchrisk.base.saving import Output
from patchrisk.cli.options import (
    DAY,
    Parsed,
    Request,
    as_of_option,
    echo,
    echo_json,
    offline_option,
    site_command,
)

if TYPE_CHECKING:
    from patchrisk.core.plan.programme import AreaPlan
    from patchrisk.site_day.counts import Asked
    from patchrisk.site_day.morning import Morning


@site_command
@as_of_option("Judge this past morning instead of today.")
@click.option("--json", "as_json", is_flag=True, help="Write JSON (schema in patchrisk/report).")
@offline_option
@click.option("--full", is_flag=True, help="Show all there is, every published rule among it.")
@click.option("--scout", is_flag=True, help="Add what to look for and what to send in.")
@click.option("--data", is_flag=True, help="Add the data behind it, and what was left out.")
@click.option("--cautions", is_flag=True, help="Write the cautions in full.")
@click.option("--area", "areas", multiple=True, help="Show this area only; may be repeated.")
def outlook(request: Request, as_json: bool, areas: tuple[str, ...], **parts: bool) -> None:
    """Show what to do this morning about each disease, and why, as wide as the terminal is."""
    morning = request.morning(areas)
    if as_json:
        from patchrisk.report.record import outlook_json

        echo_json(outlook_json(morning))
    else:
        from patchrisk.report.layout import WIDTH
        from patchrisk.report.terminal import write_outlook
        from patchrisk.report.view import view_of

        width = shutil.get_terminal_size((WIDTH, 24)).columns
        echo(write_outlook(view_of(morning, _plans(morning)), width=width, **parts))


def _plans(morning: "Morning") -> "Sequence[AreaPlan]":
    """Plan each area, as the page does; none where the site keeps neither shelf nor records."""
    from patchrisk.site_day.season_plan import keeps_programme, plan_all

    return plan_all(morning).areas if keeps_programme(morning) else ()


_FILE = click.Path(path_type=Path)


@site_command
@as_of_option("Plan from this past morning instead of today.")
@click.option("--area", "areas", multiple=True, help="Plan this area only; may be repeated.")
@offline_option
@click.option("--full", is_flag=True, help="Add amounts, undated upkeep, trials and watering.")
@click.option("--json", "as_json", is_flag=True, help="Write JSON (schema in patchrisk/report).")
@click.option("--csv", "table", type=_FILE, help="Write a table for a spreadsheet.")
@click.option("--calendar", type=_FILE, help="Write a calendar (.ics) to import, again and again.")
@click.option(
    "--log",
    "logs",
    type=_FILE,
    multiple=True,
    help="Write the year's log of applications: .html to print, .csv, or .json (ADAPT Standard).",
)
@click.option("--sheet", type=_FILE, help="Write a page (.html) to print and sign.")
def plan(request: Request, areas: tuple[str, ...], full: bool, as_json: bool, **files: Any) -> None:
    """Plan the season's preventive applications, and say why.

    A file may be a folder: the name in it is then made from the site's. Beside the first file a
    small one keeps what the plan said, for what changed in the next.
    """
    from patchrisk.report.earlier_mornings import plan_beside
    from patchrisk.report.plan_files import plan_outputs, write_files

    outputs = plan_outputs(request.site.site.name, request.day, **files)
    # A file that can't be written is told before the planning, not after it.
    request.check(outputs)
    beside = files["table"] or files["calendar"] or files["sheet"]
    made = plan_beside(request.morning(areas), beside)
    written = write_files(made, request.now, outputs)
    if as_json:
        from patchrisk.report.record import plan_json

        echo_json(plan_json(made))
    elif not written:
        from patchrisk.report.plan_text import write_plan

        echo(write_plan(made, full=full))
    for file in written:
        echo(f"Wrote {file}.", err=as_json)


@site_command
@click.argument("which", type=click.Choice(["soil", "seasons", "pressure", "cover"]))
@click.option("--area", "name", help="The area; the first of the site file when left out.")
@as_of_option("Draw this past morning instead of today.")
@offline_option
@click.option(
    "--out",
    type=click.Path(path_type=Path, dir_okay=False),
    required=True,
    help="The file: PNG, SVG or PDF by its ending.",
)
@click.option(
    "--width",
    type=click.IntRange(320, 1600),
    default=640,
    show_default=True,
    help="Width in pixels of 1/96 inch; a PNG has twice as many dots.",
)
def figure(request: Request, which: str, name: str | None, out: Path, width: int) -> None:
    """Draw one figure of an area into a file, in colours for paper.

    \b
    soil      is the soil ahead of other years?
    seasons   when is each disease's season?
    pressure  more warmth for it than other years?
    cover     how much of it is covered?
    """  # noqa: D301  (click reads the backspace)
    from patchrisk.report.figures import FIGURE, write_figure
    from patchrisk.report.view import view_of

    request.check([Output(out, FIGURE)])
    morning = request.morning([name or request.site.area[0].name])
    # Only this one shows applications to come, and planning takes its time.
    plans = _plans(morning) if which == "cover" else ()
    (view,) = view_of(morning, plans).areas
    echo(write_figure(view, which, out, width=width))
    echo(f"Drew {out}.")


@site_command
@offline_option
@click.option(
    "--area", "name", help="The area; the first with a logger, or read by hand, when left out."
)
@click.option("--keep", is_flag=True, help="Keep the fit: the outlook uses it from now on.")
@click.option(
    "--figure",
    type=click.Path(path_type=Path, dir_okay=False),
    help="Draw log and estimate into this file, PNG, SVG or PDF.",
)
def soil(request: Request, name: str | None, keep: bool, figure: Path | None) -> None:
    """Compare estimated soil temperature with a logger's, or with readings by hand.

    What was read by hand corrects the estimate by itself; a logger's fit is kept with --keep.
    """
    from patchrisk.base.saving import Output, check_outputs
    from patchrisk.read.site_data import inputs_of
    from patchrisk.read.soil import FIT, fit_path, keep_fit
    from patchrisk.report.figures import FIGURE
    from patchrisk.report.soil import draw_soil, write_lessons, write_soil
    from patchrisk.site_day.calibration import learn, lessons

    if request.sample and keep:
        cure = "keep a fit for a site file of your own"
        raise InputError(Fault("--keep", "", "the sample course is not yours", cure))
    gathered = request.gathered()
    areas = gathered.site.areas_named([] if name is None else [name])
    read = {one.area for one in gathered.by_hand}
    speaking = [log for log in gathered.readings if any(p.hour is None for p in log.probes)]
    logged = [a for a in areas if any(log.speaks_for(a.name) for log in speaking)]
    area = next(iter([*logged, *(a for a in areas if a.name in read), *areas]))
    inputs = inputs_of(request.path, gathered.site)
    outputs = [Output(figure, FIGURE)] if figure is not None else []
    if keep:
        fit = fit_path(gathered.site, area)
        outputs.append(Output(fit, FIT, "move it away"))
        del inputs[fit]  # the one input that is written anew
    check_outputs(outputs, inputs)
    taught = lessons(gathered, area, request.day)
    if taught is not None:
        echo(write_lessons(taught, gathered.site.site.units))
        if area not in logged and not outputs:
            return
        echo("")
    learning = learn(gathered, area, request.day)
    echo(write_soil(learning, gathered.site.site.units))
    if figure is not None:
        draw_soil(learning, gathered.site.site.units, figure)
        echo(f"Drew {figure}.")
    if keep:
        echo(f"Kept {keep_fit(gathered.site, area, learning.fit)}; delete it to go back.")


@site_command
@offline_option
def fetch(request: Request) -> None:
    """Fetch station weather, past years and the forecast, and say what was got."""
    from patchrisk.base.pen import Pen
    from patchrisk.read.site_data import own_weather, read_all
    from patchrisk.read.weather.at_site import weather_at
    from patchrisk.report.check import write_weather

    site, _ = read_all(request.path)
    today = site.site.local_day(request.now)
    own = own_weather(site, today)
    with click.progressbar(length=100, label="Fetching", file=sys.stderr) as bar:

        def tell(done: int, total: int, what: str) -> None:
            bar.update(100 * done // max(total, 1) - bar.pos)

        weather = weather_at(site, own, today, request.now, offline=request.offline, progress=tell)
    echo(write_weather(weather, Pen(site.site.units)))
    if weather.daily.empty:  # what went wrong stands in the text
        click.get_current_context().exit(1)


@site_command
def check(request: Request) -> None:
    """Check the site file, the data it names and the disease files, all faults at once."""
    from patchrisk.read.site_data import examine
    from patchrisk.report.check import write_check

    found = examine(request.path, request.now)
    text = write_check(found)
    if text:
        echo(text)
    if found.faults:
        raise InputError(found.faults)


@click.command()
@click.argument("name", required=False)
@click.option("--turf", help="Only diseases of this grass.")
@click.option("--units", type=click.Choice(["metric", "us"]), default="metric", show_default=True)
@click.option(
    "--folder",
    type=click.Path(path_type=Path),
    help="Your own disease files, over the shipped ones.",
)
def diseases(name: str | None, turf: str | None, units: str, folder: Path | None) -> None:
    """List the diseases, or show NAME in full: every number with its source."""
    from patchrisk.base.pen import Pen
    from patchrisk.read.diseases import load_library
    from patchrisk.report.disease import write_disease, write_list

    library = load_library(folder)
    if name is None:
        echo(write_list(library, turf))
    else:
        echo(write_disease(library, name, Pen("us" if units == "us" else "metric").show))


def _measure(quantity: str, name: str) -> Parsed:
    """Return a number with its unit, read in the canonical unit of the quantity."""

    def read(text: str) -> float:
        from patchrisk.base.units import read_measure

        return read_measure(quantity, text)

    return Parsed(name, read)


_TEMPERATURE = _measure("soil temperature", "temperature")


@site_command
@as_of_option("Count up to this past morning instead of today.")
@click.option("--area", "areas", multiple=True, help="Count in this area only; may be repeated.")
@offline_option
@click.option("--since", type=DAY, help="First day counted; the year's first when left out.")
@click.option(
    "--depth",
    "depth_cm",
    type=_measure("depth", "depth"),
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
    "--goal", "goal_c", type=_measure("degree-days", "total"), help="Total awaited: 500degF."
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
def count(
    request: Request,
    areas: tuple[str, ...],
    warm_c: tuple[float, ...],
    cool_c: tuple[float, ...],
    maximum: bool,
    table: Path | None,
    **asked: Any,
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

    statistic = Statistic.DAILY_MAXIMUM if maximum else Statistic.DAILY_MEAN
    warm = [Threshold(">=", value, statistic) for value in warm_c]
    cool = [Threshold("<=", value, statistic) for value in cool_c]
    wanted = Asked(thresholds=(*warm, *cool), **asked)
    faults = list(_lacking(wanted))
    if faults:
        raise InputError(faults)
    if table is not None:
        request.check([Output(table, COUNT_TABLE)])
    counts = count_areas(request.gathered(), request.day, wanted, areas)
    echo(write_counts(counts))
    if table is not None:
        write_text(table, write_count_table(counts))
        echo(f"Wrote {table}.")


def _lacking(asked: "Asked") -> Iterator[Fault]:
    """Yield what goes without what it is about."""
    base_c = asked.base_c
    if base_c is None and not asked.thresholds:
        cure = "give --base, --at-least or --at-most, such as --base 50degF"
        yield Fault("count", "", "nothing to count", cure)
    for option, value in (("--ceiling", asked.ceiling_c), ("--goal", asked.goal_c)):
        if value is not None and base_c is None:
            yield Fault(option, "", "no base of the degree-days", "add --base")
    if base_c is not None and asked.ceiling_c is not None and asked.ceiling_c <= base_c:
        yield Fault("--ceiling", "", "not above the base", "give one above --base")
    if asked.row is not None and not asked.thresholds:
        yield Fault("--row", "", "no threshold", "add --at-least or --at-most")
