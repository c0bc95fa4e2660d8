"""How to water an application in, and why."""

from collections.abc import Callable, Sequence

from patchrisk.programme.given import Concern, Numbers
from patchrisk.programme.plan import Choice, Watering

PHOSPHONATE = "P07"


def watering(
    choice: Choice,
    targets: Sequence[Concern],
    rain_mm: float | None,
    numbers: Numbers,
    show: Callable[..., str],
) -> Watering | None:
    """Say how deep and how soon to water an application in.

    Parameters
    ----------
    choice : Choice
    targets : sequence of Concern
        Diseases it is aimed at; the deepest of their published depths is taken.
    rain_mm : float or None
        Forecast for the day [mm]; None or NaN without one.
    numbers : Numbers
    show : callable
        ``show("rain", mm)`` writes a depth in the user's units.

    Returns
    -------
    Watering or None
        None where nothing needs to be washed down: phosphonates alone.
    """
    if choice.codes == frozenset({PHOSPHONATE}) or not targets:
        return None
    told = [c for c in targets if c.water_mm is not None]
    depths = [c.water_mm for c in told if c.water_mm is not None]
    least = max([low for low, _, _ in depths], default=numbers.water_least_mm)
    best = max([best for _, best, _ in depths], default=numbers.water_preferred_mm)
    most = max(least, min(numbers.water_most_mm, max(best, numbers.water_preferred_mm)))
    rain = None if rain_mm is None or rain_mm != rain_mm else float(rain_mm)
    span = show("rain", least) if most - least < 0.05 else _span(show, least, most)
    if any(c.key == "fairy-ring" for c in targets) and len(targets) == 1:
        when = "the same day or that night"  # Miller et al. 2012: its timing made no difference
    else:
        when = f"within {numbers.water_hours:g} h, at once if it can be"
    words = [f"Water in with {span}, {when}: a deposit on the leaf does not reach the roots."]
    if told:
        sources = "; ".join(dict.fromkeys(c.water_source for c in told if c.water_source))
        words.append(f"The depth is that of {sources}." if sources else "")
    else:
        words.append("No depth was read for these diseases; this one is common to others.")
    if rain is not None and rain > 0.2:
        amount = show("rain", rain)
        if rain > numbers.water_most_mm:
            words.append(
                f"{amount} of rain is forecast: more than carries it to the roots. It may run off "
                "or leach; choose another day."
            )
        elif rain >= least:
            words.append(
                f"{amount} of rain is forecast, which may do it; rain that comes hours later "
                "carries less down, so don't wait for it."
            )
        else:
            words.append(f"{amount} of rain is forecast, too little by itself.")
    carriers = list(dict.fromkeys(c.carrier for c in targets if c.carrier))
    if carriers:
        words.append(f"Carrier: {'; '.join(carriers)}.")
    if "3" in choice.codes:
        words.append("No wetting agent in the tank with group 3.")
    return Watering(
        least, most, numbers.water_hours, rain, " ".join(word for word in words if word)
    )


def _span(show: Callable[..., str], low: float, high: float) -> str:
    return f"{show('rain', low)} to {show('rain', high)}"
