"""What treatment was worth beside plots that were left untreated."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import stdtrit


@dataclass(frozen=True)
class Look:
    """A look at a disease: the untreated plot it was on, empty for the rest, and its share [%]."""

    day: np.datetime64
    disease: str
    plot: str
    share: float


@dataclass(frozen=True)
class PlotWorth:
    """What untreated plots showed more than the rest of an area, at its worst.

    Parameters
    ----------
    disease : str
    day : datetime64[D]
        Of the look at the rest.
    plots : int
    plot_share, rest_share : float
        Share with the disease, on the mean of the plots and on the rest [%].
    confidence : float
        Of the interval [1].
    low, high : float
        Interval of their difference, by the spread of the plots [%]; NaN with one plot, which
        tells nothing of chance.
    """

    disease: str
    day: np.datetime64
    plots: int
    plot_share: float
    rest_share: float
    confidence: float
    low: float = float("nan")
    high: float = float("nan")


def plot_worth(looks: Sequence[Look], together_days: int, confidence: float) -> Iterator[PlotWorth]:
    """Compare untreated plots with the rest, disease by disease.

    Of each plot the look nearest to that at the rest is taken, a few days apart at the most; of
    several looks the one at which the plots were worst. The rest is one look and has no spread, so
    that the interval is by the plots alone (Student's t).

    Parameters
    ----------
    looks : sequence of Look
        Of one area and season; a share that is not told is NaN and is passed over.
    together_days : int
        Days apart that two looks may be and still be one [days].
    confidence : float
        Of the interval [1].
    """
    told = [look for look in looks if not np.isnan(look.share)]
    for disease in dict.fromkeys(look.disease for look in told):
        mine = [look for look in told if look.disease == disease]
        found = [
            one
            for rest in mine
            if not rest.plot
            for one in _beside(rest, mine, together_days, confidence)
        ]
        if found:
            yield max(found, key=lambda one: one.plot_share)


def _beside(
    rest: Look, looks: Sequence[Look], together_days: int, confidence: float
) -> Iterator[PlotWorth]:
    nearest: dict[str, Look] = {}
    for look in looks:
        apart = abs(int((look.day - rest.day).astype(int)))
        kept = nearest.get(look.plot)
        if look.plot and apart <= together_days:
            nearer = kept is None or apart < abs(int((kept.day - rest.day).astype(int)))
            nearest[look.plot] = look if nearer or kept is None else kept
    shares = np.array([look.share for look in nearest.values()])
    if not shares.size:
        return
    low = high = float("nan")
    if shares.size > 1:
        spread = float(shares.std(ddof=1)) / np.sqrt(shares.size)
        reach = float(stdtrit(shares.size - 1, (1 + confidence) / 2)) * spread
        gain = float(shares.mean()) - rest.share
        low, high = gain - reach, gain + reach
    yield PlotWorth(
        rest.disease, rest.day, shares.size, float(shares.mean()), rest.share, confidence, low, high
    )
