"""Options that several commands share, what they ask for, and the one way to the screen."""

import contextlib
import json
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from functools import cached_property, wraps
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from patchrisk.base import resources
from patchrisk.base.errors import Fault, InputError, UnavailableError
from patchrisk.base.safe_text import visible, visible_json

if TYPE_CHECKING:
    from collections.abc import Iterable

    from patchrisk.base.saving import Output
    from patchrisk.read.site import Site
    from patchrisk.read.site_data import SiteData
    from patchrisk.site_day.morning import Morning


def echo(text: object, *, err: bool = False) -> None:
    """Print lines, to standard output or error.

    Names and headings come from files of all origins; what in them would steer a terminal is
    written out, here and nowhere else.
    """
    click.echo(visible(str(text), keep="\n\t"), err=err)


def echo_json(text: str) -> None:
    """Print a JSON document; it stays one, and says the same."""
    text = visible_json(text)
    try:
        text.encode(sys.stdout.encoding or "utf-8")
    except UnicodeEncodeError:  # what stands in for a letter there is no escape of JSON's
        text = json.dumps(json.loads(text), indent=2)
    click.echo(text)


def hold_to_any_letter() -> None:
    """Let a screen that lacks a letter show its escape, instead of ending the command."""
    for stream in (sys.stdout, sys.stderr):
        with contextlib.suppress(AttributeError, ValueError):
            stream.reconfigure(errors="backslashreplace")  # type: ignore[union-attr]


FIRST_YEAR = 1900

F = TypeVar("F", bound=Callable[..., Any])


def site_options(command: F) -> F:
    """Add ``--site`` and ``--sample``; the command receives ``site_file`` and ``sample``."""
    for option in (
        click.option(
            "--sample", is_flag=True, help="Use the invented sample course that comes with it."
        ),
        click.option(
            "--site",
            "site_file",
            type=click.Path(path_type=Path),
            default=Path("site.toml"),
            envvar="PATCHRISK_SITE",
            show_default=True,
            show_envvar=True,
            help="The site file.",
        ),
    ):
        command = option(command)
    return command


offline_option = click.option(
    "--offline", is_flag=True, help="Ask no weather service; use what was fetched before."
)


def as_of_option(text: str) -> Callable[[F], F]:
    """Add ``--as-of`` with this help; the command receives ``as_of``."""
    return click.option("--as-of", type=Day(), help=text)


def site_path(site_file: Path, sample: bool) -> Path:
    """Return the site file that is meant."""
    return resources.sample_weather() / "site.toml" if sample else site_file


class Day(click.ParamType[date]):
    """A date written YYYY-MM-DD."""

    name = "date"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> date:
        """Read the date, or fail saying how to write it."""
        if isinstance(value, date):
            return value
        try:
            day = datetime.strptime(value, "%Y-%m-%d").date()
        except ValueError:
            self.fail(f"{value!r}: write a date as YYYY-MM-DD, such as 2026-05-18", param, ctx)
        if day.year < FIRST_YEAR:
            self.fail(f"{value!r}: no weather is known of then; write the year in full", param, ctx)
        return day


@dataclass(frozen=True)
class Request:
    """The site, the morning and the sources that a command is to use."""

    path: Path
    sample: bool
    as_of: date | None
    offline: bool
    now: datetime

    @cached_property
    def day(self) -> date:
        """The morning to judge: the one asked for, the sample's own, or today at the site."""
        from patchrisk.read.site_data import sample_morning, this_morning

        if self.sample and self.as_of is None:
            return sample_morning(self.path)
        today = this_morning(self.path, self.now)
        if self.as_of is not None and self.as_of > today:
            found, cure = f"{self.as_of} is in the future", f"write {today} or an earlier day"
            raise InputError(Fault("--as-of", "", found, cure))
        return self.as_of or today

    @cached_property
    def site(self) -> "Site":
        """The site file as it is written."""
        from patchrisk.read.site import read_site

        return read_site(self.path)

    def check(self, outputs: "Iterable[Output]") -> None:
        """Refuse to write over a file of the site, or over what is not of the same kind."""
        from patchrisk.base.saving import check_outputs
        from patchrisk.read.site_data import inputs_of

        check_outputs(outputs, inputs_of(self.path, self.site))

    def gathered(self) -> "SiteData":
        """Read everything for the morning."""
        from patchrisk.read.site_data import gather

        return gather(self.path, self.day, self.now, offline=self.offline)

    def morning(self, only: Sequence[str] = ()) -> "Morning":
        """Bring the morning together, for these areas or for all."""
        from patchrisk.site_day.morning import prepare

        return prepare(self.path, self.day, self.now, only=only, offline=self.offline)


def pass_request(command: Callable[..., None]) -> Callable[..., None]:
    """Hand ``--site``, ``--sample``, ``--as-of`` and ``--offline`` over as one `Request`, first."""

    @wraps(command)
    def framed(
        *,
        site_file: Path,
        sample: bool,
        as_of: date | None = None,
        offline: bool = False,
        **others: Any,
    ) -> None:
        now = datetime.now().astimezone()
        path = site_path(site_file, sample)
        command(Request(path, sample, as_of, offline, now), **others)

    return framed


def make_folder(folder: Path) -> None:
    """Make the folder that ``--out`` names where it is not there; UnavailableError says why not."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        found = f"can't make the folder ({reason})"
        raise UnavailableError(Fault("--out", str(folder), found, "name another")) from None
