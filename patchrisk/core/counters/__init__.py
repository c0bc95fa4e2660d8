"""Counters of days: degree-days, days in a row, trailing means, crossings; on (days, lanes...)."""

from patchrisk.core.counters.arrays import MET, MISSING, NOT_MET, Operator, compare
from patchrisk.core.counters.degree_days import (
    Cutoff,
    accumulate,
    degree_days_average,
    degree_days_clamped,
    degree_days_double_sine,
    degree_days_hourly,
    degree_days_of_mean,
    degree_days_sine,
)
from patchrisk.core.counters.in_a_row import (
    Crossing,
    FirstRun,
    Runs,
    first_crossing,
    first_run,
    longest_run,
    rolling_mean,
    run_completed,
    run_length,
    runs,
)

__all__ = [
    "MET",
    "MISSING",
    "NOT_MET",
    "Crossing",
    "Cutoff",
    "FirstRun",
    "Operator",
    "Runs",
    "accumulate",
    "compare",
    "degree_days_average",
    "degree_days_clamped",
    "degree_days_double_sine",
    "degree_days_hourly",
    "degree_days_of_mean",
    "degree_days_sine",
    "first_crossing",
    "first_run",
    "longest_run",
    "rolling_mean",
    "run_completed",
    "run_length",
    "runs",
]
