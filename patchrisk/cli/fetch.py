"""``patchrisk fetch``: get station weather, past years and the forecast into the cache."""

import sys

import click

from patchrisk.cli.options import Request, offline_option, pass_request, site_options


@click.command()
@site_options
@offline_option
@pass_request
def fetch(request: Request) -> None:
    """Fetch station weather, past years and the forecast, and say what was got."""
    from patchrisk.at_site.gathering import own_weather, read_all
    from patchrisk.pen import Pen
    from patchrisk.report.check import write_weather
    from patchrisk.weather.at_site import place_of, weather_at

    site, _ = read_all(request.path)
    today = place_of(site).local_day(request.now)
    own = own_weather(site, today)
    with click.progressbar(length=100, label="Fetching", file=sys.stderr) as bar:

        def tell(done: int, total: int, what: str) -> None:
            bar.update(100 * done // max(total, 1) - bar.pos)

        weather = weather_at(site, own, today, request.now, offline=request.offline, progress=tell)
    click.echo(write_weather(weather, Pen(site.site.units)))
    if weather.daily.empty:  # what went wrong stands in the text
        click.get_current_context().exit(1)
