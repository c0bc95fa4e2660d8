"""What a log and readings by hand taught of an area's soil, as text and as a figure."""

from collections.abc import Iterator
from pathlib import Path

import numpy as np

from patchrisk.base.pen import Pen
from patchrisk.base.safe_text import visible
from patchrisk.base.toml_files import load_numbers
from patchrisk.base.units import DayArray, FloatArray, System, from_canonical
from patchrisk.core.counters import rolling_mean
from patchrisk.report.figures import MARGIN, save_drawing
from patchrisk.report.figures.axes import Drawing, Frame, day_runs, ticks
from patchrisk.report.figures.canvas import SMALL, Canvas, Label, Polygon, Stroke
from patchrisk.report.layout import as_text, heading, wrap
from patchrisk.report.words import EIGHT_OF_TEN
from patchrisk.site_day.calibration import HandLessons, Learning

_WEEK = 7
_SHOWN = 12  # readings by hand
_WIDE, _TALL = 860.0, 260.0  # px, of the figure and its upper frame
_NOTE = (
    "Above: black, logged; blue, estimated as taught by the log, with its 8 of 10 cases. Below: "
    "how far the estimate is off; orange and dashed, the general one; blue, as taught by the log."
)


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
    """Draw the log and both estimates over the logged span into a file, see `save_drawing`."""
    drawing = _fit_figure(learning, Pen(system), _WIDE - 2 * MARGIN)
    fit = learning.fit
    place = f"{learning.area.name}, {fit.first_day} to {fit.last_day}"
    save_drawing(drawing, place, path, _WIDE, "--figure")


def _fit_figure(learning: Learning, pen: Pen, width: float) -> Drawing:
    """Draw the soil as logged and estimated, and below it how far the estimates are off."""
    symbol = "°F" if pen.system == "us" else "°C"
    degree = 1.8 if pen.system == "us" else 1.0

    def shown(values: FloatArray) -> FloatArray:
        return from_canonical("soil temperature", values, f"deg{symbol[-1]}")

    known = np.flatnonzero(~np.isnan(learning.logged_c))
    span = slice(known[0], known[-1] + 1)
    days, half = learning.dates[span], EIGHT_OF_TEN * learning.fitted_sd_c[span]
    fitted, general, logged = (
        part[span] for part in (learning.fitted_c, learning.general_c, learning.logged_c)
    )
    low, high = shown(fitted - half), shown(fitted + half)
    canvas = Canvas(width, 22 + _TALL + 56 + _TALL / 2 + 18)
    ends = (float(np.nanmin([low, shown(logged)])), float(np.nanmax([high, shown(logged)])))
    above = Frame(canvas, 34, 22, width - 6, 22 + _TALL, days[0], days[-1], *ends)
    canvas.add(Label(0, 12, f"daily mean of the soil, {symbol}", SMALL, "soft"))
    above.levels(ticks(*ends, _TALL, 30))
    above.months()
    for run in day_runs(~np.isnan(fitted)):
        part = slice(run.start, run.stop)
        canvas.add(Polygon(above.band(days[part], low[part], high[part]), "soil-band"))
    _course(above, days, shown(fitted), "soil", 1.4)
    _course(above, days, shown(logged), "ink", 1.2)
    off = [rolling_mean(degree * (made - logged), _WEEK) for made in (general, fitted)]
    most = float(np.nanmax(np.abs(off), initial=degree))
    top = above.bottom + 56
    below = Frame(canvas, 34, top, width - 6, top + _TALL / 2, days[0], days[-1], -most, most)
    title = f"estimate minus log, mean of a week, {symbol}"
    canvas.add(Label(0, top - 10, title, SMALL, "soft"))
    below.levels(ticks(-most, most, _TALL / 2, 30))
    below.months()
    canvas.add(Stroke([(below.left, below.y(0)), (below.right, below.y(0))], "ink", 0.8))
    _course(below, days, off[0], "open", 1.4, (5, 3))
    _course(below, days, off[1], "soil", 1.4)
    depth = pen.show("depth", learning.depth_cm)
    title = f"How well is the soil at {depth} estimated?"
    return Drawing("fit", title, canvas, f"{learning.fit.days} logged days.", _NOTE, (), ())


def _course(
    frame: Frame,
    days: DayArray,
    values: FloatArray,
    colour: str,
    width: float,
    dash: tuple[float, ...] = (),
) -> None:
    for run in day_runs(~np.isnan(values)):
        part = slice(run.start, run.stop)
        frame.canvas.add(Stroke(frame.points(days[part], values[part]), colour, width, dash))


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
