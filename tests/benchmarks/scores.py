"""Scores of ensemble forecasts of a date: plain functions over whole days."""

import numpy as np


def crps(sample, truth):
    """CRPS of an equally weighted sample against what happened; days in, days out.

    The form for an empirical distribution function: mean |x - y| - mean |x - x'| / 2
    (Gneiting & Raftery 2007, J. Am. Stat. Assoc. 102:359-378, eq. 21).
    """
    ranked = np.sort(np.asarray(sample, float))
    n = len(ranked)
    weight = 2 * np.arange(1, n + 1) - n - 1
    return float(np.abs(ranked - truth).mean() - weight @ ranked / n**2)


def interval(sample, low, high):
    """Edges of a central interval in days, an opening lying evenly within its day."""
    ranked = np.sort(np.asarray(sample, float))
    days, counts = np.unique(ranked, return_counts=True)
    edges = np.r_[days[0], days + 1]
    chance = np.r_[0.0, np.cumsum(counts) / len(ranked)]
    out = []
    for share in (low, high):
        k = int(np.searchsorted(chance, share))
        k = min(max(k, 1), len(chance) - 1)
        inside = (share - chance[k - 1]) / (chance[k] - chance[k - 1])
        out.append(days[k - 1] + inside)
    assert edges[0] <= out[0] <= out[1] <= edges[-1]
    return tuple(out)


def covered(edges, truth):
    """Share of the day that it happened on that lies within the edges; 0 to 1."""
    return float(np.clip(min(edges[1], truth + 1) - max(edges[0], truth), 0.0, 1.0))


def brier(chance, happened):
    """Mean squared difference of probability and outcome."""
    return float(np.mean((np.asarray(chance) - np.asarray(happened, float)) ** 2))


def reliability(chance, happened, bins=10):
    """Rows of (mean probability, share that happened, cases) by tenths of probability."""
    chance, happened = np.asarray(chance), np.asarray(happened, float)
    place = np.minimum((chance * bins).astype(int), bins - 1)
    return [
        (
            float(chance[place == b].mean()),
            float(happened[place == b].mean()),
            int((place == b).sum()),
        )
        for b in range(bins)
        if (place == b).any()
    ]
