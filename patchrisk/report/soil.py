"""What a log and readings by hand taught of an area's soil, as text and as a figure."""

import io
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from patchrisk.base.errors import Fault, InputError
from patchrisk.base.pen import Pen
from patchrisk.base.safe_text import visible
from patchrisk.base.saving import write_bytes
from patchrisk.base.toml_files import load_numbers
from patchrisk.base.units import FloatArray, System, from_canonical
from patchrisk.core.counters import rolling_mean
from patchrisk.report.figures import MAKER
from patchrisk.report.figures.canvas import drawing
from patchrisk.report.layout import as_text, heading, wrap
from patchrisk.report.words import EIGHT_OF_TEN
from patchrisk.site_day.calibration import HandLessons, Learning

_WEEK = 7
_SHOWN = 12  # readings by hand


@as_text
def write_soil(learning: Learning, system: System) -> Iterator[str]:
    """Write how the estimate did before and after it learned from the log."""
    show = Pen(system).show
    fit = learning.fit
    yield from heading(
        f"{learning.area.name}: estimated against logged soil at {show('depth', learning.depth_cm)}"
    )
    yield from wrap(f"{fit.days} logged days, {fit.first_day} to {fit.last_day}.")
    yield ""
    yield f"{'season':<8}{'days':>6}{'general estimate':>26}{'taught by the log':>26}"
    yield f"{'':<14}{'bias':>14}{'RMSE':>12}{'bias':>14}{'RMSE':>12}"
    for before, after in zip(learning.before, learning.after, strict=True):
        cells = [
            show("temperature difference", round(value, 2) + 0.0).replace("-0.0 ", "0.0 ")
            for value in (before.bias_c, before.error_c, after.bias_c, after.error_c)
        ]
        yield (
            f"{before.season:<8}{before.days:>6}"
            f"{cells[0]:>14}{cells[1]:>12}{cells[2]:>14}{cells[3]:>12}"
        )
    yield ""
    yield from wrap(
        "Bias is estimate minus log; RMSE is the root mean square of the difference. Taught by the "
        "log: the general numbers moved only as far as this many days justify. The figures are "
        "over the days it learned from, so a day that is still to come will be off by more."
    )


def draw_soil(learning: Learning, system: System, path: Path) -> None:
    """Draw the log and both estimates into a PNG or SVG; InputError for any other ending."""
    if path.suffix.lower() not in (".png", ".svg"):
        raise InputError(Fault("--figure", "", str(path), "name a file ending in .png or .svg"))
    with drawing():
        made = _drawn(learning, system, path.suffix[1:].lower())
    write_bytes(path, made)


def _drawn(learning: Learning, system: System, kind: str) -> bytes:
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    unit = "degF" if system == "us" else "degC"
    symbol = "°F" if system == "us" else "°C"

    show = Pen(system).show

    def shown(values: FloatArray) -> FloatArray:
        return from_canonical("soil temperature", values, unit)

    known = np.flatnonzero(~np.isnan(learning.logged_c))
    span = slice(known[0], known[-1] + 1)
    days = learning.dates[span]
    figure = Figure(figsize=(9.0, 6.5), layout="constrained")
    FigureCanvasAgg(figure)
    axes, off = figure.subplots(2, 1, sharex=True, height_ratios=[3, 2])
    half = EIGHT_OF_TEN * learning.fitted_sd_c[span]
    fitted, general, logged = (
        part[span] for part in (learning.fitted_c, learning.general_c, learning.logged_c)
    )
    axes.fill_between(
        days, shown(fitted - half), shown(fitted + half), color="#9ecae1", label="8 of 10 cases"
    )
    axes.plot(days, shown(fitted), color="#08519c", lw=1.2, label="taught by the log")
    axes.plot(days, shown(logged), color="black", lw=1.0, label="logged")
    depth = show("depth", learning.depth_cm)
    figure.suptitle(f"{visible(learning.area.name)}: how well is the soil at {depth} estimated?")
    axes.set_ylabel(f"daily mean of the soil ({symbol})")
    degree = 1.8 if system == "us" else 1.0
    for name, made, colour, line in (
        ("general estimate", general, "#8c6d31", "--"),
        ("taught by the log", fitted, "#08519c", "-"),
    ):
        error = rolling_mean(degree * (made - logged), _WEEK)
        off.plot(days, error, color=colour, ls=line, lw=1.1, label=name)
    off.axhline(0.0, color="black", lw=0.8)
    off.set_ylabel(f"estimate minus log,\nmean of a week ({symbol})")
    for part in (axes, off):
        part.legend(frameon=False, ncols=3, loc="upper left", bbox_to_anchor=(0, 1.13))
        part.grid(alpha=0.3)
    buffer = io.BytesIO()
    metadata = {"svg": {"Date": None, "Creator": MAKER}, "png": {"Software": MAKER}}[kind]
    figure.savefig(buffer, format=kind, dpi=150, metadata=metadata)
    return buffer.getvalue()


@as_text
def write_lessons(taught: HandLessons, system: System) -> Iterator[str]:
    """Write the latest readings beside the estimate, and what all of them taught."""
    show, errors = Pen(system).show, taught.errors

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
        apart(EIGHT_OF_TEN * error) for error in (taught.alone_c, taught.now_c, taught.monthly_c)
    )
    yield from wrap(
        f"A day of the year to come is estimated within {alone} in 8 of 10 cases without readings, "
        f"within {now} with those so far, and within {monthly} with one more each month. About 8 "
        "and 18 o'clock a reading says most of the day's mean. Vary the hour: read always at one, "
        "a place where the day swings less than estimated looks warmer or colder than it is."
    )
