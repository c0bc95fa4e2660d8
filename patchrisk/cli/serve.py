"""``patchrisk serve``: the page and its forms over the course's own network."""

import os
import secrets
from datetime import date, datetime

import click

from patchrisk.base.errors import Fault, InputError, UnavailableError
from patchrisk.cli.options import Request, offline_option, pass_request, site_options
from patchrisk.cli.screen import echo

_ENVIRONMENT = "PATCHRISK_SERVE_TOKEN"
_LEAST_TOKEN = 16  # letters


@click.command()
@site_options
@offline_option
@click.option("--port", type=click.IntRange(1024, 65535), default=8017, show_default=True)
@click.option(
    "--network",
    is_flag=True,
    help="Answer other computers and phones too; each needs the address with the token.",
)
@pass_request
def serve(request: Request, port: int, network: bool) -> None:
    """Show the page to a browser, with forms for what was applied, seen and noted.

    It answers this computer alone, unless --network is given: then whoever brings the token, from
    the environment variable PATCHRISK_SERVE_TOKEN, or one made up for this run. Stop it with
    Ctrl-C. What it sends is not encrypted: keep it on the course's own network.
    """
    try:
        from waitress import create_server

        from patchrisk.report.serving import make_app
    except ImportError:
        cure = "run pip install 'flask>=3.1' 'waitress>=3.0.1'"
        raise UnavailableError(Fault("serve", "", "it needs two packages more", cure)) from None
    if request.sample:
        cure = "serve a site file of your own; `patchrisk init` writes one"
        raise InputError(Fault("--sample", "", "records can't be written to the sample", cure))
    token = ""
    if network:
        token = os.environ.get(_ENVIRONMENT, "") or secrets.token_urlsafe(_LEAST_TOKEN)
        if len(token) < _LEAST_TOKEN or not token.isascii() or not token.isprintable():
            cure = f"give it {_LEAST_TOKEN} plain letters or more"
            raise InputError(Fault(_ENVIRONMENT, "", "the token is too short", cure))

    def now() -> datetime:
        return datetime.now().astimezone()

    def make_page(day: date) -> str:
        from patchrisk.report.page import page_of
        from patchrisk.site_day.morning import prepare

        return page_of(prepare(request.path, day, now(), offline=request.offline), answers="/write")

    request.gathered()  # a fault of the site file is told here, not on a phone
    app = make_app(request.path, make_page, now, token)
    try:
        server = create_server(
            app, host="0.0.0.0" if network else "127.0.0.1", port=port, threads=4,
            max_request_body_size=65_536, ident=None,
        )  # fmt: skip
    except OSError as error:
        found = f"can't listen there ({(error.strerror or str(error)).lower()})"
        raise UnavailableError(Fault("--port", str(port), found, "name another")) from None
    where = (
        f"http://{_own_name()}:{port}/?token={token}" if network else f"http://127.0.0.1:{port}/"
    )
    echo(f"Serving {where} until Ctrl-C.")
    try:
        server.run()
    finally:
        server.close()


def _own_name() -> str:
    import socket

    return socket.gethostname()
