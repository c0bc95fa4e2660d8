"""Counters of days: degree-days, days in a row, trailing means, crossings; on (days, lanes...).

Every function takes and returns arrays of (days, lanes...), days along axis 0. NaN is missing and
stays missing; a missing day is not met, and ends a run. The functions of runs take what `compare`
returns, or a boolean array. ValueError where an argument is out of range or shapes differ.

Degree-days are of ``mean_c``, or of ``min_c`` and ``max_c``, daily temperatures [degC], above the
threshold ``lower_c`` and, where it is given, below ``upper_c`` [degC]. In the formulas TL and TU
are the two, M = (Tmax + Tmin) / 2 and alpha = (Tmax - Tmin) / 2; of a day's sine D(T) is the area
above T and f(T) the share of the day that it is above T. ``cutoff`` says what happens to
development above TU (University of California, glossary of degree-days):

``horizontal``
    it goes on at the rate reached at TU;
``intermediate``
    its rate falls by one for each degree above TU; a day never counts less than zero;
``vertical``
    it stops while the temperature is above TU.

References
----------
Allen, J.C. (1976). A modified sine wave method for calculating degree days. Environ. Entomol.
5:388-396.
Baskerville, G.L. & Emin, P. (1969). Rapid estimation of heat accumulation from maximum and
minimum temperatures. Ecology 50:514-517.
Gu, S. (2016). Growing degree hours: a simple, accurate, and precise protocol to approximate
growing heat summation for grapevines. Int. J. Biometeorol. 60:1123-1134.
McMaster, G.S. & Wilhelm, W.W. (1997). Growing degree-days: one equation, two interpretations.
Agric. For. Meteorol. 87:291-300.
Zalom, F.G. et al. (1983). Degree-days: the calculation and use of heat units in pest management.
University of California leaflet 21373.
"""

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
