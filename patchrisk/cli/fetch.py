"""``patchrisk fetch``: get station weather, past years and the forecast into the cache."""

import sys
from datetime import datetime
from pathlib import Path

import click

from patchrisk.cli.options import offline_option, site_options, site_path


@click.command()
@site_options
@offline_option
def fetch(site_file: Path, sample: bool, offline: bool) -> None:
    """Fetch station weather, past years and the forecast, and say what was got."""
    from patchrisk.gathering import own_weather, read_all
    from patchrisk.report.check import write_weather
    from patchrisk.weather.at_site import place_of, weather_at

    now = datetime.now().astimezone()
    site, _ = read_all(site_path(site_file, sample))
    own, today = own_weather(site), place_of(site).local_day(now)
    with click.progressbar(length=100, label="Fetching", file=sys.stderr) as bar:

        def tell(done: int, total: int, what: str) -> None:
            bar.update(100 * done // max(total, 1) - bar.pos)

        weather = weather_at(site, own, today, now, offline=offline, progress=tell)
    click.echo(write_weather(weather))
