"""What becomes of the applications of a plan, and what it must hold whatever becomes of them."""

import numpy as np

from patchrisk.core.verdict.decision_table import RUNNING, Verdict

FATES = ("planned", "late", "left out", "dry", "washed off")
LATE, WASHED_MM = 4, 60.0  # days, and rain


def went_on(one, fate):
    """Return the day on which a planned application went on, None where it was left out; its water.

    What is washed off is so by ``WASHED_MM`` of rain on its day.
    """
    if fate == "left out":
        return None, ""
    return one.day + (LATE if fate == "late" else 0), "0" if fate == "dry" else "6"


def products(one):
    """Names of the products in the tank."""
    return [part.product for part in one.choice.mixed or (one.choice,)]


def broken(area, plan, today):
    """Yield where *apply* is neither planned nor told why not, and where a number is gone over."""
    now = np.datetime64(today)
    for key, answer in plan.answers.items():
        judged = area.judged[key]
        if judged.verdict is Verdict.APPLY and answer.on != now and answer.waiting is None:
            yield "call", f"{key} is called for"
        # Those from its start on count, or from the middle of the odds where none is firm.
        start = judged.start if judged.phase in RUNNING else judged.middle
        counting = [
            one for one in plan.planned
            if key in one.targets and judged.treat_until and one.day <= judged.treat_until
            and start is not None and start <= one.day
        ]  # fmt: skip
        if counting and len(counting) + judged.counted > judged.case.number:
            yield "number", f"{len(counting)} of {key} beside {judged.counted}"
