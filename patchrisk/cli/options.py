"""Options that several commands share, what they ask for, and the one way to the screen."""

import contextlib
import json
import sys
import time
from collections.abc import Callable, Iterator, Sequence
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


_FIRST_YEAR = 1900

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


def site_path(site_file: Path, sample: bool) -> Path:
    """Return the site file that is meant."""
    return resources.sample_weather() / "site.toml" if sample else site_file


class Parsed(click.ParamType[Any]):
    """What a text is read as; the reader's ValueError says how to write it."""

    def __init__(self, name: str, read: Callable[[str], Any]) -> None:
        self.name, self.read = name, read

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """Read the text, or fail saying how to write it; a default stands as it is."""
        if not isinstance(value, str):
            return value
        try:
            return self.read(value)
        except ValueError as error:
            self.fail(str(error), param, ctx)


def _day(text: str) -> date:
    try:
        day = datetime.strptime(text, "%Y-%m-%d").date()
    except ValueError:
        raise ValueError(f"{text!r}: write a date as YYYY-MM-DD, such as 2026-05-18") from None
    if day.year < _FIRST_YEAR:
        raise ValueError(f"{text!r}: no weather is known of then; write the year in full")
    return day


DAY = Parsed("date", _day)


def as_of_option(text: str) -> Callable[[F], F]:
    """Add ``--as-of`` with this help; the command receives ``as_of``."""
    return click.option("--as-of", type=DAY, help=text)


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


def site_command(command: Callable[..., None]) -> click.Command:
    """Make a command on a site: it receives a `Request` first, and its own options.

    ``--site`` and ``--sample`` are added; they go into the request, and ``--as-of`` and
    ``--offline`` where the command has them.
    """

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

    return click.command()(site_options(framed))


def make_folder(folder: Path) -> None:
    """Make the folder that ``--out`` names where it is not there; UnavailableError says why not."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        found = f"can't make the folder ({reason})"
        raise UnavailableError(Fault("--out", str(folder), found, "name another")) from None


def filled(template: str, **values: Any) -> str:
    """Return a commented file for the user to go on with, from one of ``templates``."""
    from jinja2 import Environment, PackageLoader, StrictUndefined

    from patchrisk.base.toml_files import toml_value

    env = Environment(
        loader=PackageLoader("patchrisk.cli"),
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    env.filters["toml"] = toml_value
    return env.get_template(template).render(values)


@contextlib.contextmanager
def progress_bar(label: str) -> Iterator[Callable[[int, int], None]]:
    """Give something to tell the progress to; a bar appears when it takes over two seconds."""
    began = time.monotonic()
    shown: Any = None
    with contextlib.ExitStack() as stack:

        def tell(done: int, total: int) -> None:
            nonlocal shown
            if shown is None and done < total and time.monotonic() - began > 2:
                shown = click.progressbar(length=total, label=label, file=sys.stderr)
                stack.enter_context(shown)
            if shown is not None:
                shown.update(done - shown.pos)
                if done == total:
                    stack.close()
                    shown = None

        yield tell
