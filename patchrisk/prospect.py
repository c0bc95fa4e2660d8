"""The weeks to come at a site: its past weather and forecast made into dates with odds."""

from patchrisk.ahead.error import Memory
from patchrisk.numbers import load_numbers

_PARTS = (
    "fast",
    "fast_days",
    "slow",
    "slow_days",
    "long",
    "long_days",
    "lasting",
    "yearly",
    "half_yearly",
    "probe",
)


def memory() -> Memory:
    """Return how the soil model's error hangs together, from thresholds/outlook.toml."""
    numbers = load_numbers("outlook")
    return Memory(**{part: numbers[f"memory.{part}"].value for part in _PARTS})
