"""A visit as the client's page: one file, for the phone and for paper.

Photos are made small for it, with everything taken off that a camera writes beside them.
"""

import base64
import io
import warnings
from collections.abc import Sequence
from pathlib import Path

from patchrisk.base.errors import Fault, InputError
from patchrisk.base.saving import marked
from patchrisk.base.user_files import read_file
from patchrisk.report.figures import PAGE_WIDTH
from patchrisk.report.figures.seasons import seasons_figure
from patchrisk.report.page import MARK, render
from patchrisk.report.visit.build import VisitView
from patchrisk.report.visit.figure import past_year_figure
from patchrisk.site_day.visit import VisitDay

VISIT_PAGE = marked("page of patchrisk", MARK.encode())
_WIDEST = 900  # px: more than a phone shows, and enough for a quarter of a page of paper
_QUALITY = 78
_MOST_BYTES = 40_000_000
_MOST_PIXELS = 120_000_000


def write_visit_page(day: VisitDay, view: VisitView) -> str:
    """Write the page, a whole HTML document with nothing outside it.

    Raises
    ------
    InputError
        When a photo can't be read.
    """
    figures = (
        past_year_figure(day, PAGE_WIDTH),
        seasons_figure(day.morning, day.area, PAGE_WIDTH),
    )
    photos: list[Sequence[str]] = [
        (place.name, name, embedded(day.data.folder / name))
        for place in day.data.file.place
        for name in place.photos
    ]
    return render(
        "visit.html.j2",
        style="visit.css",
        images="data:" if photos else "",
        view=view,
        figures=[figure for figure in figures if figure is not None],
        photos=photos,
    )


def embedded(path: Path) -> str:
    """Return a photo as a data address: scaled, turned upright, without place, date or camera.

    Raises
    ------
    InputError
        When it is no photo, or larger than any camera makes.
    """
    from PIL import Image, ImageOps

    raw = read_file(path, _MOST_BYTES, "make it smaller")
    cure = "name a photo (JPEG, PNG, WebP or TIFF)"
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", Image.DecompressionBombWarning)
            with Image.open(io.BytesIO(raw), formats=("JPEG", "PNG", "WEBP", "TIFF")) as photo:
                if photo.width * photo.height > _MOST_PIXELS:
                    raise InputError(Fault(str(path), "", "too many pixels", "make it smaller"))
                photo.draft("RGB", (2 * _WIDEST, 2 * _WIDEST))
                upright = ImageOps.exif_transpose(photo).convert("RGB")
    except InputError:
        raise
    except Exception as error:  # the decoders let any kind of error out of a damaged file
        found = f"this is no photo that can be read ({type(error).__name__})"
        raise InputError(Fault(str(path), "", found, cure)) from None
    upright.thumbnail((_WIDEST, _WIDEST))
    bare = Image.new("RGB", upright.size)
    bare.paste(upright)  # pixels alone: no block of metadata comes along
    out = io.BytesIO()
    bare.save(out, "JPEG", quality=_QUALITY, optimize=True)
    return "data:image/jpeg;base64," + base64.b64encode(out.getvalue()).decode()
