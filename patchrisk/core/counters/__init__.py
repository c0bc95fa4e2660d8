"""Counters of days: degree-days, days in a row, trailing means; on (days, lanes...)."""

from patchrisk.core.counters.counting import MET, MISSING, NOT_MET, Missing, Operator, compare
from patchrisk.core.counters.degree_days import accumulate, degree_days_of_mean
from patchrisk.core.counters.rolling import rolling_mean
from patchrisk.core.counters.runs import (
    FirstRun,
    Runs,
    first_run,
    longest_run,
    run_completed,
    run_length,
    runs,
)

__all__ = [
    "MET",
    "MISSING",
    "NOT_MET",
    "FirstRun",
    "Missing",
    "Operator",
    "Runs",
    "accumulate",
    "compare",
    "degree_days_of_mean",
    "first_run",
    "longest_run",
    "rolling_mean",
    "run_completed",
    "run_length",
    "runs",
]
