"""A morning as people read it: the one model behind terminal, page and message."""

from patchrisk.report.view.build import view_of
from patchrisk.report.view.model import (
    AreaView,
    Change,
    Level,
    MorningView,
    Planned,
    Remedy,
    Row,
    Scouting,
    Task,
)

__all__ = [
    "AreaView",
    "Change",
    "Level",
    "MorningView",
    "Planned",
    "Remedy",
    "Row",
    "Scouting",
    "Task",
    "view_of",
]
