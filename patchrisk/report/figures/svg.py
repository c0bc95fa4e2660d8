"""A sheet as SVG: no style attribute, no id, nothing from outside, the same bytes every time."""

from collections.abc import Callable, Sequence
from html import escape

from patchrisk.report.figures.canvas import DARK, LIGHT, Dot, Item, Line, Point, Shape, Sheet

# Colours are custom properties, so that one drawing serves light, dark and paper.
PREFIX = "--fig-"


def variables(palette: dict[str, str]) -> str:
    """Return the declarations of a palette, for a style sheet."""
    return "".join(f"{PREFIX}{role}:{colour};" for role, colour in palette.items())


def style_sheet() -> str:
    """Return the rules that colour figures in a page: light, dark, and light again on paper."""
    light, dark = variables(LIGHT), variables(DARK)
    return f":root{{{light}}}@media screen and (prefers-color-scheme:dark){{:root{{{dark}}}}}"


def to_svg(sheet: Sheet, alt: str, *, themed: bool = True) -> str:
    """Write a sheet.

    Parameters
    ----------
    sheet : Sheet
    alt : str
        Text alternative.
    themed : bool
        Whether colours follow the page's custom properties (see `style_sheet`); else they are
        those of the light palette, which every program can read.
    """
    paint = _themed if themed else LIGHT.__getitem__
    size = f"{_number(sheet.width)} {_number(sheet.height)}"
    own = "" if themed else f' width="{_number(sheet.width)}" height="{_number(sheet.height)}"'
    out = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {size}"{own} role="img" '
        f'aria-label={_attribute(alt)} font-family="system-ui, sans-serif">'
    ]
    if not themed:
        out.append(f'<rect width="100%" height="100%" fill="{paint("paper")}"/>')
    out += [_item(item, paint) for item in sheet.items]
    return "".join([*out, "</svg>"])


def _themed(role: str) -> str:
    return f"var({PREFIX}{role})"


def _attribute(text: str) -> str:
    return f'"{escape(_clean(text))}"'


def _clean(text: str) -> str:
    """Drop the control characters that XML does not allow."""
    return "".join(c for c in text if c >= " " and c not in "\ufffe\uffff")


def _item(item: Item, paint: Callable[[str], str]) -> str:
    if isinstance(item, Line):
        dash = f' stroke-dasharray="{" ".join(map(_number, item.dash))}"' if item.dash else ""
        return (
            f'<path d="{_path(item.points)}" fill="none" stroke="{paint(item.colour)}" '
            f'stroke-width="{_number(item.width)}" stroke-linejoin="round"{dash}/>'
        )
    if isinstance(item, Shape):
        return f'<path d="{_path(item.points)}z"{_surface(item, paint)}/>'
    if isinstance(item, Dot):
        place = f'cx="{_number(item.x)}" cy="{_number(item.y)}" r="{_number(item.radius)}"'
        return f"<circle {place}{_surface(item, paint)}/>"
    anchor = "" if item.anchor == "start" else f' text-anchor="{item.anchor}"'
    bold = ' font-weight="700"' if item.bold else ""
    halo = ""
    if item.halo:
        halo = f' stroke="{paint("paper")}" stroke-width="3" paint-order="stroke"'
    return (
        f'<text x="{_number(item.x)}" y="{_number(item.y)}" font-size="{_number(item.size)}" '
        f'fill="{paint(item.colour)}"{anchor}{bold}{halo}>'
        f"{escape(_clean(item.text), quote=False)}</text>"
    )


def _surface(item: Shape | Dot, paint: Callable[[str], str]) -> str:
    fill = f' fill="{paint(item.fill) if item.fill else "none"}"'
    if item.edge is None:
        return fill
    return f'{fill} stroke="{paint(item.edge)}" stroke-width="{_number(item.width)}"'


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
