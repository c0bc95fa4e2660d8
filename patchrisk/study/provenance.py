"""What made a result, and when: for the metadata that stand beside it."""

import hashlib
import platform
import sys
from collections.abc import Mapping
from dataclasses import asdict
from datetime import datetime
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any

from patchrisk import __version__
from patchrisk.core.skill.measures import Terms

_COMPUTE = ("numpy", "pandas", "scipy", "pyarrow", "xarray", "pint", "dask", "matplotlib")


def made() -> dict[str, Any]:
    """Return the time, and the versions of all that was loaded to compute or to draw."""
    versions = {"patchrisk": __version__, "python": platform.python_version()}
    for name in _COMPUTE:
        if name in sys.modules:
            try:
                versions[name] = version(name)
            except PackageNotFoundError:
                versions[name] = "unknown"
    return {"made_at": datetime.now().astimezone().isoformat(timespec="seconds"),
            "made_with": versions}  # fmt: skip


def file_hash(path: Path | None) -> dict[str, str] | None:
    """Return the name and the SHA-256 of a file; None of none."""
    if path is None:
        return None
    with path.open("rb") as file:
        return {"name": str(path), "sha256": hashlib.file_digest(file, "sha256").hexdigest()}


def judged_by(terms: Mapping[str, Terms]) -> dict[str, dict[str, Any]]:
    """Return what skill was judged by: leads, landmark, level, draws and seed of each disease."""
    return {key: asdict(one) for key, one in terms.items()}
