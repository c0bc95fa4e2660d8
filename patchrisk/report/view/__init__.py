"""A morning as people read it: the one model behind terminal, page and message."""

from patchrisk.report.view.morning import view_of

__all__ = ["view_of"]
