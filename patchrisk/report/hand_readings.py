"""What readings by hand taught of an area's soil, as text."""

from collections.abc import Iterator

from patchrisk.base.safe_text import visible
from patchrisk.base.toml_files import load_numbers
from patchrisk.base.units import System, shower
from patchrisk.core.dates.hand_readings import HandErrors
from patchrisk.report.layout import heading, wrap
from patchrisk.site_day.hand_lessons import HandLessons

_WITHIN = 1.2816  # standard deviations that 8 of 10 lie within, of a normal distribution
_SHOWN = 12


def write_lessons(taught: HandLessons, system: System) -> str:
    """Write the latest readings beside the estimate, and what all of them taught."""
    return "\n".join(_lines(taught, system))


def _lines(taught: HandLessons, system: System) -> Iterator[str]:
    show, errors = shower(system), taught.errors

    def degrees(value_c: float) -> str:
        return show("soil temperature", value_c)

    def apart(value_c: float) -> str:
        return show("temperature difference", abs(value_c))

    yield from heading(f"{taught.area.name}: readings by hand, or one a day")
    yield f"{'day':<12}{'at':<10}{'depth':<9}{'read':>9}{'estimated then':>17}{'off by':>10}"
    first = max(0, len(taught.readings) - _SHOWN)
    for n in range(first, len(taught.readings)):
        one, then = taught.readings[n], float(errors.expected_c[n])
        left_out = "" if errors.sound[n] else "  left out"
        decimals = 0 if system == "metric" else 1
        yield (
            f"{one.day!s:<12}{visible(one.at):<10}{show('depth', one.depth_cm, decimals):<9}"
            f"{degrees(one.value_c):>9}{degrees(then):>17}{apart(then - one.value_c):>10}{left_out}"
        )
    yield ""
    count, used = len(errors.sound), int(errors.sound.sum())
    if count > _SHOWN:
        yield from wrap(f"The last {_SHOWN} of {count} readings.")
    if taught.without:
        yield from wrap(f"{taught.without} more on days without air temperature, of no use.")
    if used < count:
        found = f"{count - used} left out: farther from the estimate than error and chance allow. "
        yield from wrap(
            found + "Look for a slip in day, time, depth or unit, or a probe in the sun."
        )
    if not taught.enough:
        least = load_numbers("readings")["least"].value
        yield from wrap(
            f"From {least:g} readings on, over the year, it is said here what they teach. Each "
            "corrects the days around it from the first on."
        )
    else:
        side = "warm" if taught.bias_c > 0 else "cold"
        yield from wrap(
            f"By {used} readings the estimate is {apart(taught.bias_c)} too {side} on the mean, "
            f"and off by {apart(taught.error_c)} (root mean square). Corrected by the readings of "
            f"the days before, it was off by {apart(taught.taught_c)}: the error of a reading is "
            "in all three."
        )
    alone, now, monthly = (
        apart(_WITHIN * error) for error in (taught.alone_c, taught.now_c, taught.monthly_c)
    )
    yield from wrap(
        f"A day of the year to come is estimated within {alone} in 8 of 10 cases without readings, "
        f"within {now} with those so far, and within {monthly} with one more each month. Early or "
        "late in the day, about 8 and 18 o'clock, a reading says most of the day's mean."
    )


def left_out_words(hand: HandErrors | None) -> Iterator[str]:
    """Say how many readings by hand are not used, if any."""
    lost = 0 if hand is None else int((~hand.sound).sum())
    if lost:
        what = "1 spot reading is" if lost == 1 else f"{lost} spot readings are"
        yield f"{what} too far off to be used (see `patchrisk soil`)"
