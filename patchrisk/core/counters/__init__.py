"""Counters of days: degree-days, days in a row, trailing means, crossings; on (days, lanes...)."""

from patchrisk.core.counters.counting import (
    MET,
    MISSING,
    NOT_MET,
    Missing,
    Operator,
    compare,
    within,
)
from patchrisk.core.counters.crossing import Crossing, first_crossing
from patchrisk.core.counters.degree_days import (
    Cutoff,
    accumulate,
    degree_days_average,
    degree_days_clamped,
    degree_days_hourly,
    degree_days_of_mean,
)
from patchrisk.core.counters.rolling import rolling_mean
from patchrisk.core.counters.runs import (
    DaysMet,
    FirstRun,
    Runs,
    days_met,
    first_run,
    longest_run,
    run_completed,
    run_length,
    runs,
)
from patchrisk.core.counters.sine import degree_days_double_sine, degree_days_sine

__all__ = [
    "MET",
    "MISSING",
    "NOT_MET",
    "Crossing",
    "Cutoff",
    "DaysMet",
    "FirstRun",
    "Missing",
    "Operator",
    "Runs",
    "accumulate",
    "compare",
    "days_met",
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
    "within",
]
