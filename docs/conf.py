"""How the documentation is built: ``python -m sphinx -W docs BUILD``, with the extra ``docs``."""

import logging
from pathlib import Path
from typing import Any

from docutils import nodes
from docutils.utils.math.latex2mathml import tex2mathml
from sphinx.application import Sphinx

import patchrisk
import patchrisk.study

# cf-xarray says at each start that its units are not pint's.
logging.getLogger("pint").setLevel(logging.ERROR)

project, author = "patchrisk", "The patchrisk developers"
copyright = author  # noqa: A001 - the name that Sphinx looks for
version = release = patchrisk.__version__
extensions = [
    "myst_parser",
    "sphinx.ext.autodoc",
    "sphinx.ext.napoleon",
    "matplotlib.sphinxext.plot_directive",
]
html_theme = "furo"
html_title = f"patchrisk {version}"
html_copy_source = html_show_sphinx = False
html_math_renderer = "mathml"  # which browsers draw themselves: no script, and nothing fetched
smartquotes = False
myst_enable_extensions = ["dollarmath"]
myst_heading_anchors = 3
# The page of files begins its tables a level down; crontab and csv have no colours.
suppress_warnings = ["myst.header", "misc.highlighting_failure"]
autodoc_typehints = "none"  # they stand in the docstrings
autodoc_preserve_defaults = True
plot_basedir = str(Path(__file__).parent)
plot_html_show_source_link = plot_html_show_formats = False
plot_formats = [("png", 120)]


def public() -> list[tuple[str, object]]:
    """Return the names for others to use: the package's that are no rooms of it, and studies'."""
    rooms = {path.stem for path in Path(patchrisk.__file__).parent.iterdir()}
    own = [name for name in dir(patchrisk) if not name.startswith("_") and name not in rooms]
    some = [(f"patchrisk.{name}", getattr(patchrisk, name)) for name in own]
    names = patchrisk.study.__all__
    return some + [(f"patchrisk.study.{name}", getattr(patchrisk.study, name)) for name in names]


def fill_in(app: object, page: str, source: list[str]) -> None:
    """Put every public name on the page of the API, so that it can't fall behind."""
    if page == "api":
        each = (
            f".. autoclass:: {name}\n   :members:\n"
            if isinstance(thing, type)
            else f".. autofunction:: {name}\n"
            for name, thing in public()
        )
        source[0] = source[0].replace("PUBLIC NAMES", "\n".join(each))


def inline(writer: Any, node: nodes.math) -> None:
    """Write a formula of a sentence."""
    writer.body.append(f"<math>{tex2mathml(node.astext())}</math>")
    raise nodes.SkipNode


def block(writer: Any, node: nodes.math_block) -> None:
    """Write a formula of a line of its own."""
    formula = tex2mathml(node.astext(), as_block=True)
    writer.body.append(f'<div class="math"><math display="block">{formula}</math></div>')
    raise nodes.SkipNode


def setup(app: Sphinx) -> None:
    """Tell Sphinx of them."""
    app.connect("source-read", fill_in)
    app.add_html_math_renderer("mathml", (inline, None), (block, None))
