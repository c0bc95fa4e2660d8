"""``patchrisk fetch``: get station weather, past years and the forecast into the cache."""

import sys

import click

from patchrisk.cli.options import Request, offline_option, pass_request, site_options
from patchrisk.cli.screen import echo


@click.command()
@site_options
@offline_option
@pass_request
def fetch(request: Request) -> None:
    """Fetch station weather, past years and the forecast, and say what was got."""
    from patchrisk.base.pen import Pen
    from patchrisk.read.site_data import own_weather, read_all
    from patchrisk.read.weather.at_site import location_of, weather_at
    from patchrisk.report.check import write_weather

    site, _ = read_all(request.path)
    today = location_of(site).local_day(request.now)
    own = own_weather(site, today)
    with click.progressbar(length=100, label="Fetching", file=sys.stderr) as bar:

        def tell(done: int, total: int, what: str) -> None:
            bar.update(100 * done // max(total, 1) - bar.pos)

        weather = weather_at(site, own, today, request.now, offline=request.offline, progress=tell)
    echo(write_weather(weather, Pen(site.site.units)))
    if weather.daily.empty:  # what went wrong stands in the text
        click.get_current_context().exit(1)
