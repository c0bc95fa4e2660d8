"""File names made from what people call things."""

import re
import unicodedata
from collections.abc import Iterable

_LONGEST = 60
# Names that Windows keeps for devices; a file of that name can't be made there.
_DEVICES = {"con", "prn", "aux", "nul", *(f"{d}{n}" for d in ("com", "lpt") for n in range(10))}


def slug(name: str) -> str:
    """Return a name as lower-case letters, digits and hyphens: safe in any folder and in a link."""
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode().lower()
    text = re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:_LONGEST].strip("-")
    if not text:
        return "site"
    return f"site-{text}" if text in _DEVICES else text


def slugs(names: Iterable[str], taken: Iterable[str] = ()) -> list[str]:
    """Return a slug for each name, all different and none among those taken."""
    used = set(taken)
    out = []
    for name in names:
        first = slug(name)
        made, number = first, 1
        while made in used:
            number += 1
            made = f"{first}-{number}"
        used.add(made)
        out.append(made)
    return out
