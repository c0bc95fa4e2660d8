"""FLUXNET2015 US-AR1, days of 2009 to 2012: a workbook of one sheet."""

import re
import zipfile
from html import unescape
from pathlib import Path


def workbook(folder: Path) -> Path:
    """Where the workbook is in the folder of public files."""
    return folder / "flux" / "FLX_US-AR1_FLUXNET2015_SUBSET_DD_2009-2012_1-3.xlsx"


def save_days(folder: Path, path: Path) -> Path:
    """Save the sheet as comma-separated text."""
    with zipfile.ZipFile(workbook(folder)) as book:
        words = book.read("xl/sharedStrings.xml").decode()
        sheet = book.read("xl/worksheets/sheet1.xml").decode()
    shared = [unescape(t) for t in re.findall(r"<t[^>]*>([^<]*)</t>", words)]
    lines = []
    for row in re.findall(r"<row .*?</row>", sheet):
        cells = re.findall(r'<c r="[A-Z]+\d+"([^>]*)><v>([^<]*)</v></c>', row)
        assert len(cells) == 75
        lines.append(",".join(shared[int(v)] if 't="s"' in kind else v for kind, v in cells))
    path.write_text("\n".join(lines) + "\n")
    return path
