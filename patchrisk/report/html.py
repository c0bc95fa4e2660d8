"""Documents of HTML that need nothing else, run nothing and ask no other place."""

from base64 import b64encode
from functools import cache
from hashlib import sha256
from typing import TYPE_CHECKING, Any

from patchrisk import __version__
from patchrisk.base.pen import capital, iso_day
from patchrisk.report.figures.canvas import style_sheet
from patchrisk.report.layout import keep_together

if TYPE_CHECKING:
    from jinja2 import Environment


def render(template: str, *, style: str = "", images: str = "", **values: Any) -> str:
    """Write one of the templates in the page's style; everything a user wrote is escaped.

    ``style`` names a style sheet to add; ``images`` is the origin that the policy allows them,
    such as ``data:``, none when empty. The policy allows the style of this page and no more.
    """
    css = _css("page.css", *filter(None, [style])) + style_sheet()
    page = _environment(screen=True).get_template(template)
    forms = "'self'" if template == "form.html.j2" else "'none'"
    return page.render(**_style(css, forms, images), version=__version__, **values)


def printed(name: str, **values: Any) -> str:
    """Write a document to print, from the template and the style sheet of its name."""
    page = _environment(screen=False).get_template(f"{name}.html.j2")
    return page.render(**_style(_css("print.css", f"{name}.css")), name=name, **values)


def _style(css: str, forms: str = "'none'", images: str = "") -> dict[str, str]:
    """Return the style sheet, and the policy that allows this one and nothing else."""
    from markupsafe import Markup

    digest = b64encode(sha256(css.encode()).digest()).decode()
    policy = (
        f"default-src 'none'; style-src 'sha256-{digest}'; base-uri 'none'; form-action {forms}"
    )
    return {"css": Markup(css), "policy": f"{policy}; img-src {images}" if images else policy}


@cache
def _css(*sheets: str) -> str:
    return "".join(_environment(screen=False).get_template(name).render() for name in sheets)


def _keep_together(value: object) -> object:
    """Keep a number and its unit on one line of a narrow screen."""
    return keep_together(value) if type(value) is str else value


@cache
def _environment(*, screen: bool) -> "Environment":
    from jinja2 import Environment, PackageLoader, StrictUndefined
    from markupsafe import Markup

    env = Environment(
        loader=PackageLoader("patchrisk.report"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=_keep_together if screen else None,
    )
    env.filters["capitalize_first"] = capital
    env.filters["iso_day"] = iso_day
    env.filters["drawing"] = Markup  # figures are drawn and escaped by patchrisk itself
    return env
