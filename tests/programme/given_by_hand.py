"""What a plan is made from, small enough to be judged by eye."""

import numpy as np

from patchrisk.programme.given import Concern, Stock, Trials
from patchrisk.programme.plan import Choice

FROM = np.datetime64("2024-01-01")
DAYS = np.arange(FROM, FROM + 366)


def stock(*labels, actives=()):
    """Choices by their codes, written as ``3`` or ``3 + 11``."""
    return [
        Stock(Choice(f"FRAC {text}", frozenset(text.split(" + ")), tuple(actives), {}))
        for text in labels
    ]


def trials(**classes):
    return {code.lstrip("f"): Trials(evidence, source="T") for code, evidence in classes.items()}


def concern(rate, key="one", **more):
    rate = np.asarray(rate, dtype=float)
    made = {"trials": trials(f3="works", f7="works", f11="works"), **more}
    return Concern(key, key, rate, np.zeros(len(rate), bool), **made)


def hump(middle, width, days=366):
    """Pressure of each day that rises and falls around a date."""
    at = int((np.datetime64(middle) - FROM).astype(int))
    rate = np.exp(-(((np.arange(days) - at) / width) ** 2))
    return np.where(rate > 0.05, rate, 0.0)
