"""The sample course under names that steer a terminal, turn the line, hide, or are markup."""

import shutil
import unicodedata
from pathlib import Path

from patchrisk.base import resources

TURN, HIDE, STEER = "\u202e\u2066", "\u200b\ufeff\u2060\u00ad\u3164", "\x1b[2J\x1b]0;x\x07\x9b5n"
FAIR = "Öl 開 ملعب 👨\u200d🌾 ⛳"  # nothing of this may change
MARKUP = r"$\frac$ <b> *x* `y` {{ 7*7 }} =?utf-8?q?x=0d=0aBcc:_z?="
SITE = f"Quillfen {FAIR} {TURN}{HIDE} {MARKUP} '\""
AREAS = {
    "Greens": f"Greens {TURN} $\\frac$ =1+1",
    "Fairways": f"=cmd|' /C'!A1 {HIDE} $x^2$ {FAIR}",
    "Lawns": f"Lawns; BEGIN:VEVENT, \\n <script>alert(1)</script> {TURN}",
}
PRODUCTS = {"Shelf A": f'"=A" {TURN}$\\frac$', "Shelf B": f"@B,;{HIDE}\\n"}
DISEASE = f"Summer patch {STEER}{TURN} $\\frac$ | {FAIR}"
HEADING = f"{STEER}{TURN}rh {MARKUP}"


def hides(text: str) -> set[str]:
    """Characters in an output that steer a screen or are not to be seen on it."""
    joined = text.replace("👨\u200d🌾", "")
    kinds = ("Cc", "Cf", "Zl", "Zp", "Cs")
    return {
        c for c in joined if (unicodedata.category(c) in kinds and c not in "\n\t") or c in HIDE
    }


def make(folder: Path) -> Path:
    """Write the course into a folder and return its site file."""
    course = folder / f"course{STEER}{TURN}$\\frac$"
    shutil.copytree(resources.sample_weather(), course)
    (course / "site.toml").write_text(_site(course), encoding="utf-8")
    shelf = course / "shelf.toml"
    text = shelf.read_text(encoding="utf-8")
    for fair, evil in PRODUCTS.items():
        text = text.replace(f'"{fair}"', toml(evil))
    shelf.write_text(text, encoding="utf-8")
    for name in ("applications.csv", "observations.csv"):
        records = (course / name).read_text(encoding="utf-8")
        for fair, evil in {**AREAS, **PRODUCTS}.items():
            records = records.replace(f",{fair},", f",{cell(evil)},")
        (course / name).write_text(records, encoding="utf-8")
    log = course / "greens_probes.csv"
    head, _, rows = log.read_text(encoding="utf-8").partition("\n")
    wider = "\n".join(f"{row},{n % 100}" for n, row in enumerate(rows.splitlines()))
    log.write_text(f"{head},{cell(HEADING)}\n{wider}\n", encoding="utf-8")
    log.rename(course / f"greens{TURN}{HIDE}.csv")
    own = course / "own"
    own.mkdir()
    disease = (resources.thresholds() / "diseases" / "summer-patch.toml").read_text("utf-8")
    named = disease.replace('name = "summer patch"', f"name = {toml(DISEASE)}", 1)
    assert named != disease
    (own / "summer-patch.toml").write_text(named, encoding="utf-8")
    return course / "site.toml"


def _site(course: Path) -> str:
    text = (course / "site.toml").read_text(encoding="utf-8")
    for fair, evil in {**AREAS, "Quillfen Dunes (invented)": SITE}.items():
        text = text.replace(f'"{fair}"', toml(evil))
    text = text.replace('"greens_probes.csv"', toml(f"greens{TURN}{HIDE}.csv"))
    return text.replace("forecast_file", 'diseases_folder = "own"\nforecast_file', 1)


def toml(text: str) -> str:
    """Write a TOML string."""
    escaped = "".join(c if c.isprintable() and c not in '"\\' else f"\\u{ord(c):04x}" for c in text)
    return f'"{escaped}"'


def cell(text: str) -> str:
    """Write a cell of a CSV, with the apostrophe that keeps spreadsheets from running it."""
    kept = f"'{text}" if text[:1] in "=+-@" else text
    return '"' + kept.replace('"', '""') + '"'
