"""A morning as one file that a phone opens without a server, a network or a script."""

import base64
import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Any

from patchrisk import __version__
from patchrisk.report.figures import Drawn, style_sheet
from patchrisk.report.layout import keep_together
from patchrisk.report.view import MorningView
from patchrisk.report.words import CAUTIONS

if TYPE_CHECKING:
    from jinja2 import Environment

MARK = '<meta name="generator" content="patchrisk">'  # stands in every page


@dataclass(frozen=True)
class SitePage:
    """A site's page for the index: what it says, and where it is from there."""

    view: MorningView
    link: str


def write_page(view: MorningView, figures: Mapping[str, Sequence[Drawn]], others: str = "") -> str:
    """Write the page of a morning.

    Parameters
    ----------
    view : MorningView
    figures : mapping of str to sequence of Drawn
        By the name of the area.
    others : str, optional
        Link to the index of all sites.

    Returns
    -------
    str
        A whole HTML document with nothing outside it.
    """
    drawn = [(a.name, figures[a.name]) for a in view.areas if figures.get(a.name)]
    later = [look for look in view.scouting if not look.now]
    return _render("page.html.j2", view=view, drawn=drawn, later=later, others=others)


def write_index(sites: Sequence[SitePage], failed: Sequence[tuple[str, str]] = ()) -> str:
    """Write the page over several sites, the most urgent first.

    Parameters
    ----------
    sites : sequence of SitePage
    failed : sequence of (str, str)
        Name of, or path to, each site without a page, and the reason.
    """

    def rank(site: SitePage) -> tuple[int, int]:
        levels = [area.level for area in site.view.areas]
        return -site.view.level, -levels.count(site.view.level)

    return _render("index.html.j2", sites=sorted(sites, key=rank), failed=failed, cautions=CAUTIONS)


def _render(template: str, **told: Any) -> str:
    from markupsafe import Markup

    env = _environment()
    css, policy = _style()
    page = env.get_template(template)
    return page.render(css=Markup(css), policy=policy, version=__version__, **told)


def _keep_together(told: object) -> object:
    """Keep a number and its unit on one line of a narrow screen."""
    return keep_together(told) if type(told) is str else told


@cache
def _environment() -> "Environment":
    from jinja2 import Environment, PackageLoader, StrictUndefined
    from markupsafe import Markup

    env = Environment(
        loader=PackageLoader("patchrisk.report"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=_keep_together,
    )
    env.filters["capitalize_first"] = lambda text: text[:1].upper() + text[1:]
    env.filters["drawing"] = Markup  # figures are drawn and escaped by patchrisk itself
    return env


@cache
def _style() -> tuple[str, str]:
    """Return the style sheet, and the policy that allows this one and nothing else."""
    css = _environment().get_template("page.css").render() + style_sheet()
    digest = base64.b64encode(hashlib.sha256(css.encode()).digest()).decode()
    policy = f"default-src 'none'; style-src 'sha256-{digest}'; base-uri 'none'; form-action 'none'"
    return css, policy
