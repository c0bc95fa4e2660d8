"""The winter visit with names that would steer a page, and a photo that tells its place."""

import json
import re
from datetime import UTC, datetime
from pathlib import Path

from patchrisk.report.visit.page import write_visit_page
from patchrisk.report.visit.view import view_of_visit
from patchrisk.site_day.visit import judge_day

HOSTILE = '<img src=x onerror="window.hacked=1"> \'&amp;'
MIDDLE = "<b>Mid</b>"


def write_hostile_page(course: Path) -> Path:
    """Write the page of such a visit into a copy of the sample course."""
    from PIL import Image

    photo = Image.effect_noise((2400, 1600), 40).convert("RGB")
    exif = Image.Exif()
    exif[0x010F] = "SECRETCAMERA"  # maker
    exif[0x0112] = 6  # to be turned upright
    exif.get_ifd(0x8825)[1] = "N"  # place
    photo.save(course / "photo.jpg", exif=exif, comment=b"SECRETCOMMENT")
    quoted = json.dumps(HOSTILE)
    text = (course / "visit_winter.toml").read_text(encoding="utf-8")
    text = re.sub(r"^note = .*$", lambda _: f"note = {quoted}", text, flags=re.MULTILINE)
    text = text.replace('"full, dark green"', quoted).replace('"Middling"', json.dumps(MIDDLE))
    text = text.replace('seen = "patches a', 'photos = ["photo.jpg"]\nseen = "patches a')
    text = text.replace("confirmed = true", "confirmed = false")
    text = text.replace("thinned = 2026-01-20\n", "")  # one morning is enough
    soil = (course / "visit_winter_soil.csv").read_text(encoding="utf-8")
    (course / "hostile.csv").write_text(soil.replace("Middling", MIDDLE), encoding="utf-8")
    text = text.replace("visit_winter_soil.csv", "hostile.csv")
    path = course / "hostile.toml"
    path.write_text(text, encoding="utf-8")
    day = judge_day(path, datetime(2026, 6, 1, 12, tzinfo=UTC))
    out = course / "hostile.html"
    out.write_text(write_visit_page(day, view_of_visit(day)), encoding="utf-8")
    return out
