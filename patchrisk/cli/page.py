"""``patchrisk page``: this morning in one file for the phone, and an index over several sites."""

from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from patchrisk.cli.options import Request, as_of_option, offline_option, site_path
from patchrisk.errors import Fault, InputError, PatchriskError, UnavailableError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from patchrisk.at_site.morning import Morning
    from patchrisk.programme.plan import AreaPlan
    from patchrisk.report.publish import Page

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
    "--plan",
    "with_plan",
    is_flag=True,
    help="Add the season's programme where the site keeps records of applications or a shelf, or "
    "has [programme]; takes some seconds more.",
)
@click.option("--dated", is_flag=True, help="Keep a copy with the date in its name beside it.")
@offline_option
@click.option("--summary", is_flag=True, help="Print the one-line summary alone, for a message.")
@click.option("--mail", "by_mail", is_flag=True, help="Mail it as [mail] in the site file says.")
@click.option("--signal", is_flag=True, help="Exit with 3 when an area has something due today.")
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
    summary: bool,
    by_mail: bool,
    signal: bool,
) -> None:
    """Write this morning as one page that a phone opens without a server or a network.

    The page is named after the site, so that a bookmark stays good; beside it a small file keeps
    what it said, for what changed since. Several sites get an index page, the most urgent first.

    Exit codes: 0 written; 1 a site could not be done; 2 something you gave must be changed; with
    --signal, 3 written and something is due today. With several sites the others are written
    whatever befalls one.
    """
    from patchrisk.names import slugs
    from patchrisk.report.publish import Page, publish, publish_index

    paths = [site_path(path, sample) for path in ([Path()] if sample else site_files)]
    now = datetime.now().astimezone()
    mornings: list[tuple[Path, Morning]] = []
    failed: list[tuple[Path, PatchriskError]] = []
    for path in paths:
        try:
            mornings.append((path, Request(path, sample, as_of, offline, now).morning()))
        except PatchriskError as error:
            if len(paths) == 1:
                raise
            failed.append((path, error))
    _make(out)
    several = len(paths) > 1
    names = slugs([m.site.site.name for _, m in mornings], ["index"] if several else [])
    done: list[tuple[Path, Morning, Page]] = []
    for (path, morning), name in zip(mornings, names, strict=True):
        others = "index.html" if several else ""
        try:
            plans = _plans(morning) if with_plan else ()
            made = publish(morning, out, name, plans=plans, dated=dated, others=others)
            done.append((path, morning, made))
        except PatchriskError as error:
            if not several:
                raise
            failed.append((path, error))
    pages = [made for _, _, made in done]
    written = [path for made in pages for path in made.written]
    if several:
        reasons = [(f"{path.parent.name}/{path.name}", _short(error)) for path, error in failed]
        written.append(publish_index(pages, reasons, out))
    if not summary:
        for path in written:
            click.echo(f"Wrote {path}")
    for made in pages:
        click.echo(made.view.message)
    if by_mail:
        for path, morning, made in done:
            try:
                told = _mail(path, morning, made, now)
                if not summary:
                    click.echo(told)
            except PatchriskError as error:
                failed.append((path, error))
    if failed:
        raise type(_worst(failed))([fault for _, error in failed for fault in error.faults])
    if signal and any(made.is_due for made in pages):
        ctx.exit(_DUE)


def _plans(morning: "Morning") -> "Sequence[AreaPlan]":
    from patchrisk.at_site.season_plan import keeps_programme, plan_all

    return plan_all(morning).areas if keeps_programme(morning) else ()


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


def _worst(failed: list[tuple[Path, PatchriskError]]) -> PatchriskError:
    """Return the error with the greatest exit code: what must be changed comes before bad luck."""
    return max((error for _, error in failed), key=lambda error: error.exit_code)


def _make(folder: Path) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        found = f"can't make the folder ({reason})"
        raise UnavailableError(Fault("--out", str(folder), found, "name another")) from None
