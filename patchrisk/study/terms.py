"""What skill is judged by, and how long before its symptoms a disease is to be foretold.

A window is of use when it opens so long before the disease is seen as infection, the soil's
reaching a threshold, or a preventive treatment goes before symptoms by the lags in the disease's
file. Lags counted from stress, inoculation or planting say nothing of an opening. A disease without
such a lag in days has the general range.
"""

from patchrisk.base.toml_files import load_numbers
from patchrisk.core.skill.measures import Terms
from patchrisk.read.diseases import Disease
from patchrisk.read.diseases.models import Lag

_EVENTS = ("infection", "threshold", "treatment")  # what a window may open on
_GENERAL = (
    "no lag is published for it, so this is the general range, from summer patch; where infection "
    "in autumn shows in spring or summer that says little: give the range that fits with --lead"
)


def usual_terms(lead: tuple[int, int] | None = None, disease: Disease | None = None) -> Terms:
    """Return the terms that the rules of a disease are judged by.

    Parameters
    ----------
    lead : (int, int), optional
        Least and most days of use from opening to sight, instead of those of the files [days].
    disease : Disease, optional
        Whose lags give the range; without it, or without lags, it is the general one.
    """
    numbers = load_numbers("skill")
    span = None if disease is None else disease.expression.lag_days(*_EVENTS)
    least, most = (numbers[name].value for name in ("least_lead", "most_lead"))
    lead_from = _GENERAL
    if lead is not None:
        (least, most), lead_from = lead, "as given with --lead"
    elif disease is not None and span is not None:
        least, most = span
        lags = disease.expression.lags(*_EVENTS)
        lead_from = "from the lags in its file: " + ", ".join(map(_words, lags))
    return Terms(
        least_lead=round(least),
        most_lead=round(most),
        least_absences=round(numbers["least_absences"].value),
        least_seasons=round(numbers["least_seasons"].value),
        least_sites=round(numbers["least_sites"].value),
        draws=round(numbers["draws"].value),
        level=numbers["level"].value,
        lead_from=lead_from,
    )


def _words(lag: Lag) -> str:
    low, high = (f"{days:g}" for days in lag.time.span)
    days = low if low == high else f"{low} to {high}"
    return f"{days} days since {lag.since} [{lag.time.short}; {lag.time.confidence}]"
