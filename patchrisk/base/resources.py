"""Where the data folders of the package are: inside it when installed, beside it in a checkout."""

from importlib.resources import files
from pathlib import Path


def _folder(name: str) -> Path:
    package = Path(str(files("patchrisk")))
    inside = package / name
    return inside if inside.is_dir() else package.parent / name


def thresholds() -> Path:
    """Return the folder of the disease files and other sourced numbers."""
    return _folder("thresholds")


def sample_weather() -> Path:
    """Return the folder of the invented course and its invented weather."""
    return _folder("sample_weather")
