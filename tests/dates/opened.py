"""The first open day of a rule along paths, for tests that begin an infection by it."""

import numpy as np

from patchrisk.core.rules.rule import compared
from patchrisk.core.rules.windows import is_open


def openings(rule, paths, *, southern):
    """Row of the first day on which each path's window is open; their number when on none."""
    open_ = is_open(rule, compared(rule, paths.mean_c, paths.max_c), paths.dates, southern=southern)
    return np.where(open_.any(axis=0), open_.argmax(axis=0), len(paths.dates))
