"""A morning as people read it: the one model behind terminal, page and message."""

from patchrisk.report.view.build import view_of
from patchrisk.report.view.model import (
    AreaView,
    Card,
    Change,
    DiseaseRow,
    MorningView,
    PlannedWords,
    Scouting,
    Task,
)

__all__ = [
    "AreaView",
    "Card",
    "Change",
    "DiseaseRow",
    "MorningView",
    "PlannedWords",
    "Scouting",
    "Task",
    "view_of",
]
