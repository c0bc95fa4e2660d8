"""What went otherwise than hoped, in one line for the user."""

from dataclasses import dataclass
from typing import Literal

Severity = Literal["info", "warning"]


@dataclass(frozen=True)
class Notice:
    """One line about a source of weather.

    Parameters
    ----------
    source : str
        Where it comes from: a service, a station, a file, the cache.
    text : str
        What happened, and what is used instead.
    severity : {"info", "warning"}
        A warning when the result is poorer for it.
    """

    source: str
    text: str
    severity: Severity = "warning"

    def __str__(self) -> str:
        return f"{self.source}: {self.text}"
