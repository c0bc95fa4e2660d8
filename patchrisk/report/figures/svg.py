"""A figure as SVG: no style attribute, no id, nothing from outside, the same bytes every time."""

from collections.abc import Callable, Sequence
from html import escape

from patchrisk.report.figures.canvas import DARK, LIGHT, Canvas, Dot, Mark, Point, Polygon, Stroke

# Colours are custom properties, so that one drawing serves light, dark and paper.
PREFIX = "--fig-"


def variables(palette: dict[str, str]) -> str:
    """Return the declarations of a palette, for a style sheet."""
    return "".join(f"{PREFIX}{role}:{colour};" for role, colour in palette.items())


def style_sheet() -> str:
    """Return the rules that colour figures in a page: light, dark, and light again on paper."""
    light, dark = variables(LIGHT), variables(DARK)
    return f":root{{{light}}}@media screen and (prefers-color-scheme:dark){{:root{{{dark}}}}}"


def to_svg(canvas: Canvas, alt: str, *, themed: bool = True, maker: str = "") -> str:
    """Write a figure with its text alternative.

    ``themed`` colours follow the page's custom properties (see `style_sheet`); else they are those
    of the light palette, which every program can read. ``maker`` is named as who made the file.
    """
    paint = _themed if themed else LIGHT.__getitem__
    size = f"{_number(canvas.width)} {_number(canvas.height)}"
    own = "" if themed else f' width="{_number(canvas.width)}" height="{_number(canvas.height)}"'
    out = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {size}"{own} role="img" '
        f'aria-label="{escape(_clean(alt))}" font-family="system-ui, sans-serif">'
    ]
    if maker:
        out.append(f"<metadata><title>{escape(maker)}</title></metadata>")
    if not themed:
        out.append(f'<rect width="100%" height="100%" fill="{paint("paper")}"/>')
    out += [_mark(mark, paint) for mark in canvas.marks]
    return "".join([*out, "</svg>"])


def _themed(role: str) -> str:
    return f"var({PREFIX}{role})"


def _clean(text: str) -> str:
    """Drop the control characters that XML does not allow."""
    return "".join(c for c in text if c >= " " and c not in "\ufffe\uffff")


def _mark(mark: Mark, paint: Callable[[str], str]) -> str:
    if isinstance(mark, Stroke):
        dash = f' stroke-dasharray="{" ".join(map(_number, mark.dash))}"' if mark.dash else ""
        return (
            f'<path d="{_path(mark.points)}" fill="none" stroke="{paint(mark.colour)}" '
            f'stroke-width="{_number(mark.width)}" stroke-linejoin="round"{dash}/>'
        )
    if isinstance(mark, Polygon):
        return f'<path d="{_path(mark.points)}z"{_surface(mark, paint)}/>'
    if isinstance(mark, Dot):
        place = f'cx="{_number(mark.x)}" cy="{_number(mark.y)}" r="{_number(mark.radius)}"'
        return f"<circle {place}{_surface(mark, paint)}/>"
    anchor = "" if mark.anchor == "start" else f' text-anchor="{mark.anchor}"'
    bold = ' font-weight="700"' if mark.bold else ""
    halo = ""
    if mark.halo:
        halo = f' stroke="{paint("paper")}" stroke-width="3" paint-order="stroke"'
    return (
        f'<text x="{_number(mark.x)}" y="{_number(mark.y)}" font-size="{_number(mark.size)}" '
        f'fill="{paint(mark.colour)}"{anchor}{bold}{halo}>'
        f"{escape(_clean(mark.text), quote=False)}</text>"
    )


def _surface(mark: Polygon | Dot, paint: Callable[[str], str]) -> str:
    fill = f' fill="{paint(mark.fill) if mark.fill else "none"}"'
    if mark.edge is None:
        return fill
    return f'{fill} stroke="{paint(mark.edge)}" stroke-width="{_number(mark.width)}"'


def _path(points: Sequence[Point]) -> str:
    """Write points as steps of a tenth of a pixel; steps, so that errors do not add up."""
    tenths = [(round(10 * x), round(10 * y)) for x, y in points]
    (x, y), out = tenths[0], []
    out.append(f"M{x / 10:g} {y / 10:g}")
    step = "l"
    for a, b in tenths[1:]:
        dx, dy = f"{(a - x) / 10:g}", f"{(b - y) / 10:g}"
        gap = "" if dy.startswith("-") else " "
        lead = step or ("" if dx.startswith("-") else " ")
        out.append(f"{lead}{dx}{gap}{dy}")
        step, x, y = "", a, b
    return "".join(out)


def _number(value: float) -> str:
    return f"{round(value, 1):g}"
