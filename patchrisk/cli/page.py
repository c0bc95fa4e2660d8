"""``patchrisk page`` and ``serve``: this morning for the phone, as a file or over the network."""

import os
import secrets
from collections.abc import Callable, Iterator
from datetime import date, datetime
from functools import partial
from pathlib import Path
from socket import gethostname
from typing import TYPE_CHECKING, Any, TypeVar

import click

from patchrisk.base.errors import Fault, InputError, PatchriskError, UnavailableError
from patchrisk.cli.options import (
    Request,
    as_of_option,
    echo,
    make_folder,
    offline_option,
    site_command,
    site_path,
)

if TYPE_CHECKING:
    from patchrisk.report.page import Page
    from patchrisk.site_day.morning import Morning

T = TypeVar("T")
_DUE = 3  # exit code with --signal


@click.command()
@click.option(
    "--site",
    "site_files",
    type=click.Path(path_type=Path),
    multiple=True,
    default=[Path("site.toml")],
    envvar="PATCHRISK_SITE",
    show_default=True,
    show_envvar=True,
    help="The site file; repeat it for several sites and an index page over them.",
)
@click.option("--sample", is_flag=True, help="Use the invented sample course that comes with it.")
@as_of_option("Judge this past morning instead of today.")
@click.option(
    "--out",
    type=click.Path(path_type=Path, file_okay=False),
    default=Path(),
    help="Folder to write to; made if it is not there. The one you are in when left out.",
)
@click.option(
    "--plan/--no-plan",
    "with_plan",
    default=True,
    help="Leave out the season's programme, which is on the page where the site keeps records of "
    "applications or a shelf, or has [programme].",
)
@click.option(
    "--season",
    is_flag=True,
    help="Write instead how the last season's calls did against what was seen and applied.",
)
@click.option("--dated", is_flag=True, help="Keep a copy with the date in its name beside it.")
@offline_option
@click.option("--full", is_flag=True, help="Leave nothing folded.")
@click.option("--summary", is_flag=True, help="Print two lines alone that fit a text message.")
@click.option("--mail", "by_mail", is_flag=True, help="Mail it as [mail] in the site file says.")
@click.option(
    "--signal",
    is_flag=True,
    help="Exit with 3 when an area asks for an application or a decision today.",
)
@click.pass_context
def page(
    ctx: click.Context,
    site_files: tuple[Path, ...],
    sample: bool,
    as_of: date | None,
    out: Path,
    with_plan: bool,
    dated: bool,
    offline: bool,
    full: bool,
    season: bool,
    summary: bool,
    by_mail: bool,
    signal: bool,
) -> None:
    """Write this morning as one page that a phone opens without a server or a network.

    The page is named after the site, so that a bookmark stays good; beside it a small file keeps
    what it said, for what changed since. Several sites get an index page, the most urgent first.

    Exit codes: 0 written; 1 a site could not be done; 2 something you gave must be changed; with
    --signal, 3 written and an area says apply or decide. With several sites the others are
    written whatever befalls one.
    """
    from patchrisk.base.safe_text import slugs
    from patchrisk.base.saving import Output, check_outputs, write_text
    from patchrisk.read.site_data import inputs_of
    from patchrisk.report.page import PAGE, index_in, write_index, write_season_page

    paths = [site_path(path, sample) for path in ([Path()] if sample else site_files)]
    several, now = len(paths) > 1, datetime.now().astimezone()
    failed: list[tuple[Path, PatchriskError]] = []

    def tried(path: Path, work: Callable[[], T]) -> Iterator[tuple[Path, T]]:
        """Yield what is made of a site; of several the others go on whatever befalls one."""
        try:
            yield path, work()
        except PatchriskError as error:
            if not several:
                raise
            failed.append((path, error))

    def morning_of(path: Path) -> "Morning":
        return Request(path, sample, as_of, offline, now).morning()

    mornings = [one for path in paths for one in tried(path, partial(morning_of, path))]
    make_folder(out)
    inputs: dict[Path, str] = {}
    for path, morning in mornings:
        inputs |= inputs_of(path, morning.site)
    sites = [morning.site.site.name for _, morning in mornings]
    if season:
        for (_, morning), name in zip(mornings, slugs(sites), strict=True):
            file = out / f"{name}-season.html"
            check_outputs([Output(file, PAGE)], inputs)
            write_text(file, write_season_page(morning))
            echo(f"Wrote {file}")
        _raise_worst(failed)
        return
    index = index_in(out, inputs) if several else None
    names = slugs(sites, ["index"] if several else [])
    others = "index.html" if several else ""
    told = {"dated": dated, "others": others, "full": full, "inputs": inputs}
    done = [
        (morning, one)
        for (path, morning), name in zip(mornings, names, strict=True)
        for one in tried(path, partial(_page, morning, out, name, with_plan=with_plan, **told))
    ]
    pages = [made for _, (_, made) in done]
    written = [path for made in pages for path in made.written]
    for fault in (fault for made in pages for fault in made.faults):
        echo(f"patchrisk: {fault}", err=True)
    if index is not None:
        reasons = [(f"{path.parent.name}/{path.name}", _short(error)) for path, error in failed]
        write_text(index, write_index(pages, reasons))
        written.append(index)
    if not summary:
        for path in written:
            echo(f"Wrote {path}")
    for made in pages:
        echo(made.view.crew if summary else made.view.message)
    for morning, (path, made) in done if by_mail else ():
        for _, line in tried(path, partial(_mail, path, morning, made, now)):
            if not summary:
                echo(line)
    _raise_worst(failed)
    if signal and any(made.view.is_due for made in pages):
        ctx.exit(_DUE)


def _page(morning: "Morning", folder: Path, name: str, *, with_plan: bool, **told: Any) -> "Page":
    """Write a page, with the season's programme where the site keeps one."""
    from patchrisk.report.page import publish
    from patchrisk.report.plan_changes import keep_plan, plan_beside
    from patchrisk.site_day.season_plan import keeps_programme

    plan = plan_beside(morning, folder) if with_plan and keeps_programme(morning) else None
    made = publish(morning, folder, name, plans=() if plan is None else plan.areas, **told)
    if plan is not None:  # once the page is written: a refusal leaves everything as it was
        keep_plan(folder, plan)
    return made


def _mail(path: Path, morning: "Morning", made: "Page", now: datetime) -> str:
    from patchrisk.report import mail
    from patchrisk.report.terminal import write_outlook

    settings = morning.site.mail
    if settings is None:
        cure = "add [mail] with host, from and to"
        raise InputError(Fault(str(path), "mail", "no [mail] in the site file", cure))
    page = made.written[0]
    letter = mail.letter(
        page.read_text(encoding="utf-8"),
        made.view.message,
        settings,
        text=write_outlook(made.view),
        file_name=page.name,
        now=now,
    )
    mail.send(letter, settings, mail.password_of(settings))
    return f"Mailed to {', '.join(settings.to)}"


def _short(error: PatchriskError) -> str:
    fault = error.faults[0]
    return f"{fault.place}: {fault.found}" if fault.place else fault.found


def _raise_worst(failed: list[tuple[Path, PatchriskError]]) -> None:
    """Raise all faults, if any, with the greatest exit code: what must be changed comes first."""
    errors = [error for _, error in failed]
    if errors:
        worst = max(errors, key=lambda error: error.exit_code)
        raise type(worst)([fault for error in errors for fault in error.faults])


_ENVIRONMENT = "PATCHRISK_SERVE_TOKEN"
_LEAST_TOKEN = 16  # letters


@site_command
@offline_option
@click.option("--port", type=click.IntRange(1024, 65535), default=8017, show_default=True)
@click.option(
    "--network",
    is_flag=True,
    help="Answer other computers and phones too; each needs the address with the token.",
)
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
    name = f"{gethostname()}:{port}/?token={token}"
    where = f"http://{name}" if network else f"http://127.0.0.1:{port}/"
    echo(f"Serving {where} until Ctrl-C.")
    try:
        server.run()
    finally:
        server.close()
