"""A study's folder described as an RO-Crate, so that archives and other programs can read it.

Source: RO-Crate Metadata Specification 1.1.3 (researchobject.org, w3id.org/ro/crate/1.1).
"""

import json
import mimetypes
from pathlib import Path
from typing import Any
from urllib.parse import quote

from patchrisk import __version__
from patchrisk.base.saving import write_text
from patchrisk.study.folder import ABOUT, Folder, made

CRATE = "ro-crate-metadata.json"
_SPECIFICATION = "https://w3id.org/ro/crate/1.1"
_KINDS = {".md": "text/markdown", ".csv": "text/csv", ".nc": "application/netcdf",
          ".parquet": "application/vnd.apache.parquet"}  # fmt: skip


def write_crate(path: Path) -> Path:
    """Write ``ro-crate-metadata.json`` beside the ``metadata.json`` of a backtest or a sweep.

    Its licence says that none is stated: that is for the author of the study to write.

    Raises
    ------
    InputError
        When the file is there and was changed, or made by something else.
    UnavailableError
        When it can't be written.
    """
    folder = Folder(path)
    folder.announce([CRATE])
    text = json.dumps(described(folder), indent=2, ensure_ascii=False)
    write_text(path / CRATE, text + "\n")
    folder.settle()
    return path / CRATE


def described(folder: Folder) -> dict[str, Any]:
    """Return the RO-Crate of a folder as JSON-LD, flattened as the specification asks."""
    about, when = folder.about, made()["made_at"]
    source = about.get("source", {}).get("name") or "a sweep"
    action: dict[str, Any] = {"@id": "#run", "@type": "CreateAction", "name": "the run"}
    action |= {"instrument": {"@id": "#patchrisk"}, "result": {"@id": "./"}}
    if "made_at" in about:
        action["endTime"] = about["made_at"]
    if about.get("command"):
        action["description"] = about["command"]
    files = {name: mark for name, mark in folder.files.items() if name != CRATE}
    data = [_file(name, mark) for name, mark in {ABOUT: None, **files}.items()]
    root = {
        "@id": "./",
        "@type": "Dataset",
        "name": f"Past seasons of root-infecting turf fungi: {Path(source).name}",
        "description": "When published rules on soil temperature would have called for "
        "preventive applications against root-infecting turf fungi, and how right they were. "
        f"{ABOUT} says what was read, what was assumed and what each column is.",
        "datePublished": when,
        "license": {"@id": "#licence"},
        "hasPart": [{"@id": one["@id"]} for one in data],
        "mentions": {"@id": "#run"},
    }
    graph = [
        {"@id": CRATE, "@type": "CreativeWork", "conformsTo": {"@id": _SPECIFICATION},
         "about": {"@id": "./"}},
        root,
        *data,
        {"@id": "#licence", "@type": "CreativeWork", "name": "not stated",
         "description": "No licence is stated: ask the author of the study before you use it."},
        {"@id": "#patchrisk", "@type": "SoftwareApplication", "name": "patchrisk",
         "version": about.get("patchrisk", __version__)},
        action,
    ]  # fmt: skip
    return {"@context": f"{_SPECIFICATION}/context", "@graph": graph}


def _file(name: str, mark: dict[str, Any] | None) -> dict[str, Any]:
    path = Path(name)
    kind = _KINDS.get(path.suffix) or mimetypes.guess_type(name)[0] or "application/octet-stream"
    out = {"@id": quote(name), "@type": "File", "name": path.name, "encodingFormat": kind}
    return out if mark is None else out | {"contentSize": str(mark["bytes"])}
