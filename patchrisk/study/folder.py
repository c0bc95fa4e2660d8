"""The folder that a study is written to: whose it is, and which files in it are the study's own.

``metadata.json`` lists every file that was made here, with its size and SHA-256. Only these are
ever replaced or removed, and only while they are as they were written. On request the folder is
described as an RO-Crate too, for archives and other programs (RO-Crate Metadata Specification
1.1.3, researchobject.org, w3id.org/ro/crate/1.1).
"""

import hashlib
import json
import mimetypes
import os
import platform
import sys
from collections.abc import Iterable, Mapping
from datetime import datetime
from pathlib import Path
from types import MappingProxyType
from typing import Any
from urllib.parse import quote

from patchrisk import __version__
from patchrisk.base.errors import Fault, InputError, UnavailableError, unreadable, unwritable
from patchrisk.base.saving import clear_scratch_files, is_scratch, same_file, write_text

ABOUT = "metadata.json"
_MAKER = "patchrisk"
_CURE = "move it away, or name another folder with --out"
_NOTHING: Mapping[Path, str] = MappingProxyType({})

_COMPUTE = ("numpy", "pandas", "scipy", "pyarrow", "xarray", "pint", "dask", "matplotlib")

_Mark = dict[str, Any] | None  # size and digest of a finished file; None of one begun


class Folder:
    """A folder to write a study to; nothing is written until something is announced.

    The folder is not there, empty, or one that this program wrote a study to: InputError when it is
    none of these. ``about`` is what ``metadata.json`` says besides the list of files, written with
    it.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self.about: dict[str, Any] = {}
        self._files: dict[str, _Mark] = {}
        try:
            names = [entry.name for entry in path.iterdir()]
        except FileNotFoundError:
            return
        except NotADirectoryError:
            raise InputError(Fault(str(path), "", "this is no folder", "name another")) from None
        except OSError as error:
            raise InputError(unreadable(path, error)) from None
        if ABOUT in names:
            self._read()
        elif any(not is_scratch(name) for name in names):
            found = "holds files, and nothing says that patchrisk made them"
            cure = "name a new or an empty folder with --out"
            raise InputError(Fault(str(path), "", found, cure))

    def _read(self) -> None:
        try:
            about = json.loads((self.path / ABOUT).read_text(encoding="utf-8"))
        except OSError as error:
            raise InputError(unreadable(self.path / ABOUT, error)) from None
        except (ValueError, RecursionError):
            about = None
        files = about.pop("files", {}) if isinstance(about, dict) else None
        if not isinstance(files, dict) or about.pop("made_by", None) != _MAKER:
            found, cure = "no list of files that patchrisk made", "name another folder with --out"
            raise InputError(Fault(str(self.path), ABOUT, found, cure))
        self.about = about
        self._files = {str(name): mark for name, mark in files.items()}

    @property
    def files(self) -> Mapping[str, _Mark]:
        """The files made here: size and digest of each, None of one that is only begun."""
        return self._files

    def check(self, names: Iterable[str], inputs: Mapping[Path, str] = _NOTHING) -> None:
        """Refuse to write over what was not made here, was changed since, or is read.

        ``names`` are files in the folder, with ``/`` for those in a folder of it; ``inputs`` what
        is read, each with what it is. InputError with a fault for each file.
        """
        faults = [fault for name in names if (fault := self._fault(name, inputs)) is not None]
        if faults:
            raise InputError(faults)

    def _fault(self, name: str, inputs: Mapping[Path, str]) -> Fault | None:
        path = self.path / name
        for other, what in inputs.items():
            if same_file(path, other):
                return Fault(str(path), "", f"this is {what}, and is not written over", _CURE)
        if not os.path.lexists(path):
            return None
        if name not in self._files:
            return Fault(str(path), "", "is there and was not made by this study", _CURE)
        if path.is_symlink() or not path.is_file():
            return Fault(str(path), "", "no longer the file that was written", _CURE)
        mark = self._files[name]
        if mark is not None and mark != _mark(path):
            return Fault(str(path), "", "was changed since it was written", _CURE)
        return None

    def announce(self, names: Iterable[str], inputs: Mapping[Path, str] = _NOTHING) -> None:
        """Say which files are about to be written, once none of them would be lost.

        Errors are those of `check`; UnavailableError when the folder can't be written to.
        """
        names = list(names)
        self.check(names, inputs)
        self._files |= dict.fromkeys(names)
        _make(self.path)
        self.save()  # before anything else is there, so that a run that is killed can go on
        for place in dict.fromkeys((self.path / name).parent for name in names):
            _make(place)
            clear_scratch_files(place)

    def settle(self) -> None:
        """Note what the announced files have become; those that are not there are forgotten."""
        for name in [name for name, mark in self._files.items() if mark is None]:
            path = self.path / name
            if path.is_file():
                self._files[name] = _mark(path)
            else:
                del self._files[name]
        self.save()

    def remove(self, start: str) -> None:
        """Remove the files made here whose names begin so, and their folder once it is empty."""
        names = [name for name in self._files if name.startswith(start)]
        for name in names:
            if self._fault(name, _NOTHING) is None:
                (self.path / name).unlink(missing_ok=True)
            del self._files[name]
        for place in dict.fromkeys((self.path / name).parent for name in names):
            if place != self.path and place.is_dir() and not any(place.iterdir()):
                place.rmdir()
        if names:
            self.save()

    def abandon(self) -> None:
        """Take back what was announced and never finished, so that the folder is free again."""
        for name in [name for name, mark in self._files.items() if mark is None]:
            self.remove(name)
        if not self._files:
            (self.path / ABOUT).unlink(missing_ok=True)
            if not any(self.path.iterdir()):
                self.path.rmdir()

    def save(self) -> None:
        """Write ``metadata.json``."""
        files = dict(sorted(self._files.items()))
        whole = {"made_by": _MAKER, **self.about, "files": files}
        text = json.dumps(whole, indent=2, ensure_ascii=False) + "\n"
        write_text(self.path / ABOUT, text)


def _make(place: Path) -> None:
    try:
        place.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        cure = "name a folder you may write to"
        raise UnavailableError(unwritable(place, error, cure)) from None


def _mark(path: Path) -> dict[str, Any]:
    return {"bytes": path.stat().st_size, "sha256": sha256_of(path)}


def sha256_of(path: Path) -> str:
    """Return the SHA-256 of a file's content."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def made() -> dict[str, Any]:
    """Return the time, and the versions of all that was loaded to compute or to draw."""
    versions = {"patchrisk": __version__, "python": platform.python_version()}
    for name in _COMPUTE:
        if name in sys.modules:
            versions[name] = getattr(sys.modules[name], "__version__", "unknown")
    return {"made_at": datetime.now().astimezone().isoformat(timespec="seconds"),
            "made_with": versions}  # fmt: skip


def file_hash(path: Path | None) -> dict[str, str] | None:
    """Return the name and the SHA-256 of a file; None of none."""
    return None if path is None else {"name": str(path), "sha256": sha256_of(path)}


CRATE = "ro-crate-metadata.json"
_SPECIFICATION = "https://w3id.org/ro/crate/1.1"
_KINDS = {".md": "text/markdown", ".csv": "text/csv", ".nc": "application/netcdf",
          ".parquet": "application/vnd.apache.parquet"}  # fmt: skip


def write_crate(path: Path) -> Path:
    """Write ``ro-crate-metadata.json`` beside the ``metadata.json`` of a backtest or a sweep.

    Its licence says that none is stated: that is for the author of the study to write.
    """
    folder = Folder(path)
    folder.announce([CRATE])
    text = json.dumps(_described(folder), indent=2, ensure_ascii=False)
    write_text(path / CRATE, text + "\n")
    folder.settle()
    return path / CRATE


def _described(folder: Folder) -> dict[str, Any]:
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
