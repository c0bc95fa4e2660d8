"""``patchrisk soil``: the estimate of soil temperature held against logger and hand readings."""

from pathlib import Path

import click

from patchrisk.base.errors import Fault, InputError
from patchrisk.cli.options import Request, offline_option, pass_request, site_options
from patchrisk.cli.screen import echo


@click.command()
@site_options
@offline_option
@click.option(
    "--area", "name", help="The area; the first with a logger, or read by hand, when left out."
)
@click.option("--keep", is_flag=True, help="Keep the fit: the outlook uses it from now on.")
@click.option(
    "--figure",
    type=click.Path(path_type=Path, dir_okay=False),
    help="Draw log and estimate into this file, PNG or SVG.",
)
@pass_request
def soil(request: Request, name: str | None, keep: bool, figure: Path | None) -> None:
    """Compare estimated soil temperature with a logger's, or with readings by hand.

    What was read by hand corrects the estimate by itself; a logger's fit is kept with --keep.
    """
    from patchrisk.base.saving import Output, check_outputs
    from patchrisk.read.names import inputs_of
    from patchrisk.read.soil_fit import FIT, fit_path, keep_fit
    from patchrisk.report.figures.files import FIGURE
    from patchrisk.report.soil import draw_soil, write_lessons, write_soil
    from patchrisk.site_day.calibration import learn, lessons

    if request.sample and keep:
        cure = "keep a fit for a site file of your own"
        raise InputError(Fault("--keep", "", "the sample course is not yours", cure))
    gathered = request.gathered()
    areas = gathered.site.areas_named([] if name is None else [name])
    read = {one.area for one in gathered.by_hand}
    speaking = [r for r in gathered.readings if any(p.hour is None for p in r.logged.probes)]
    logged = [a for a in areas if any(r.logger.speaks_for(a.name) for r in speaking)]
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
