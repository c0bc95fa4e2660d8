"""Scenarios of the climate: warmer air by the month, or a climate model's run brought to the sites.

A model's run, daily least and greatest air temperature over past and coming years, is mapped to
what was measured at each site in the years of a reference period and judged in place of it, past
years included: so what changes from one period to the next is the model's climate alone. Rain and
radiation are not mapped; the soil is modelled from the air.

Source of the mapping, quantile delta mapping month by month: Cannon A.J., Sobie S.R., Murdock T.Q.
2015. Bias correction of GCM precipitation by quantile mapping: how well do methods preserve changes
in quantiles and extremes? J. Climate 28: 6938-6959; equations 3 to 6 (their numbers from memory).
`xsdba`'s ``QuantileDeltaMapping`` is the same.
"""

import hashlib
from collections.abc import Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from patchrisk.base.errors import Fault, InputError
from patchrisk.base.toml_files import load_numbers
from patchrisk.base.units import BoolArray, DayArray, FloatArray, IntArray
from patchrisk.core.skill.climatology import normal_openings
from patchrisk.study.soil import Block
from patchrisk.study.sources import Part, SiteSource, open_source
from patchrisk.study.table_rows import AllLeftOutError

Shift = float | tuple[float, ...]
BY = " by "  # between a site's name and its model's
_AIR = ("air_min_c", "air_max_c")
_KEYS = ["site", "soil", "disease", "rule", "meaning"]


def shifted(block: Block, shift_c: Shift) -> Block:
    """Add to the air of every day: one number, or January's to December's [degC]."""
    month = block.dates.astype("M8[M]").astype(np.int64) % 12
    added = np.broadcast_to(np.asarray(shift_c, dtype=float), 12)[month, None]
    warmer: dict[str, Any] = {name: getattr(block, name) + added for name in _AIR}
    return replace(block, **warmer)


def scenario_source(
    source: SiteSource, models: Sequence[Path], reference: tuple[int, int], soil: str
) -> SiteSource:
    """Return a source of the same sites under each model's climate.

    ``models`` are tables or grids as `patchrisk.study.run.backtest` takes them, a member of the
    ensemble each; a site takes the cell that lies nearest, and is then called NAME by MODEL. Both
    are compared from the first to the last year of ``reference``. InputError when the soil wanted
    is not modelled, the period too short, or a model's file faulty.
    """
    faults, least = [], round(load_numbers("skill")["least_years"].value)
    span, stems = "{}-{}".format(*reference), [path.stem for path in models]
    if soil != "modelled":
        found = "no soil is measured in a scenario"
        faults.append(Fault("--quantile-map", "", found, "write --soil modelled"))
    if reference[1] - reference[0] + 1 < least:
        found, cure = f"{span} is less than {least} years", f"name at least {least} years"
        faults.append(Fault("--reference", "", found, cure))
    if len(set(stems)) < len(stems):
        cure = "give each model's file a name of its own"
        faults.append(Fault("--quantile-map", ", ".join(stems), "a name twice", cure))
    if faults:
        raise InputError(faults)
    opened = [open_source(path, {}, offline=True) for path in models]
    parts = [
        partial(_mapped, part, model, member, reference)
        for model, member in zip(opened, stems, strict=True)
        for part in source.parts
    ]
    digest = hashlib.sha256("".join([source.digest, *(m.digest for m in opened)]).encode())
    name = f"{source.name}; climate of {', '.join(m.name for m in opened)}"
    kind = f"{source.kind}, under models mapped by quantiles of {span}"
    grid = source.grid if len(models) == 1 else None
    return SiteSource(name, kind, parts, digest.hexdigest(), source.not_read, grid)


def _mapped(observed: Part, model: SiteSource, member: str, reference: tuple[int, int]) -> Block:
    """Read some sites as measured, and map a model's climate to them."""
    seen, said = observed(), [part() for part in model.parts]
    days, low, high, far_km = _nearest(said, seen.latitude, seen.longitude)
    limits, least = load_numbers("scenarios"), load_numbers("skill")["least_years"].value
    both = (seen.dates, seen.air_max_c - seen.air_min_c), (days, high - low)
    years = np.minimum(*(_years_known(*one, reference) for one in both))
    faults, kept = [], []
    for n, site in enumerate(seen.sites):
        if far_km[n] > limits["farthest"].value:
            found = f"the nearest cell is {far_km[n]:.0f} km off"
            cure = "give a run that reaches it"
        elif years[n] < least:
            found = "fewer than {:.0f} whole years of {}-{} there".format(least, *reference)
            cure = "write other years as --reference"
        else:
            kept.append(n)
            continue
        faults.append(Fault(model.name, f"site {site}", found, cure))
    if not kept:
        raise AllLeftOutError([*faults, *seen.left_out])
    measured = seen.air_min_c[:, kept], seen.air_max_c[:, kept]
    low, high = map_air(seen.dates, measured, days, (low[:, kept], high[:, kept]),
                        reference)  # fmt: skip
    known, nothing = ~np.isnan(high), np.full(high.shape, np.nan)
    return replace(
        seen,
        sites=[f"{seen.sites[n]}{BY}{member}" for n in kept],
        latitude=seen.latitude[kept],
        longitude=seen.longitude[kept],
        dates=days,
        first=known.argmax(axis=0),
        last=len(days) - 1 - known[::-1].argmax(axis=0),
        air_min_c=low,
        air_max_c=high,
        rain_mm=nothing,
        solar_mj_m2=nothing,
        soil_moisture=None,
        probes=[],
        left_out=(*faults, *seen.left_out),
    )


def _nearest(
    blocks: Sequence[Block], latitude: FloatArray, longitude: FloatArray
) -> tuple[DayArray, FloatArray, FloatArray, FloatArray]:
    """Return days and air, least and greatest, of the cell nearest to each place, and how far [km].

    A degree is 111.2 km; along a parallel, that by the cosine of the latitude.
    """
    first, last = min(b.dates[0] for b in blocks), max(b.dates[-1] for b in blocks)
    days = np.arange(first, last + 1)
    cells = np.concatenate([np.stack([b.latitude, b.longitude], axis=1) for b in blocks])
    of = [(block, lane) for block in blocks for lane in range(len(block.sites))]
    north = latitude[:, None] - cells[:, 0]
    east = (longitude[:, None] - cells[:, 1] + 180) % 360 - 180
    apart = 111.2 * np.hypot(north, east * np.cos(np.radians(latitude))[:, None])
    out = np.full((2, len(days), len(latitude)), np.nan)
    for site, (block, lane) in enumerate(of[n] for n in apart.argmin(axis=1)):
        start = int((block.dates[0] - first).astype(int))
        for air, name in zip(out, _AIR, strict=True):
            air[start : start + len(block.dates), site] = getattr(block, name)[:, lane]
    return days, out[0], out[1], apart.min(axis=1)


def _years_known(days: DayArray, values: FloatArray, reference: tuple[int, int]) -> IntArray:
    """Count the years of the reference that are known, all but a few days, at each site."""
    share = load_numbers("outlook")["ahead.known_year"].value / 100
    year = _years(days)
    known = [np.count_nonzero(~np.isnan(values[year == one]), axis=0) >= 365 * share
             for one in range(reference[0], reference[1] + 1)]  # fmt: skip
    return np.asarray(np.sum(known, axis=0))


def map_quantiles(
    observed: FloatArray, reference: FloatArray, given: FloatArray, nodes: int, *, ratio: bool
) -> FloatArray:
    """Take a model's error at each quantile off its values, and leave the change that it shows.

    All are (days, lanes): what was measured, what the model says of the same period, whose days
    need not match, and its values of the period to be mapped, where NaN stays NaN. The error, a
    factor where ``ratio`` and else a difference, is found at ``nodes`` quantiles evenly spread;
    between them it lies on straight lines, and beyond the outermost it is theirs.
    """
    from scipy.stats import rankdata

    count = np.count_nonzero(~np.isnan(given), axis=0)
    rank = rankdata(given, axis=0, nan_policy="omit")
    tau = np.divide(rank - 1, count - 1, out=np.full(given.shape, 0.5), where=count > 1)  # (3)
    at = (np.arange(nodes) + 0.5) / nodes
    theirs, ours = (np.nanquantile(some, at, axis=0) for some in (reference, observed))
    error = ours / theirs if ratio else ours - theirs  # (5) over or less F_h^-1(tau)
    place = np.clip(np.nan_to_num(tau) * nodes - 0.5, 0, nodes - 1)
    low = np.minimum(place.astype(np.int64), nodes - 2)
    first, second = (np.take_along_axis(error, low + n, axis=0) for n in (0, 1))
    found = first + (place - low) * (second - first)
    return np.asarray(given * found if ratio else given + found)  # (4), (6)


def map_air(
    days: DayArray,
    air_c: tuple[FloatArray, FloatArray],
    model_days: DayArray,
    model_c: tuple[FloatArray, FloatArray],
    reference: tuple[int, int],
) -> tuple[FloatArray, FloatArray]:
    """Map a model's least and greatest of each day [degC], (days, lanes), to what was measured.

    Each month by itself, in periods as long as the reference. The maximum is mapped by differences
    and the day's range by factors, so that no minimum comes to lie above its maximum.
    """
    numbers = load_numbers("scenarios")
    nodes, narrowest = round(numbers["quantiles"].value), numbers["least_range"].value
    period = _periods(_years(model_days), reference)
    month, model_month = (some.astype("M8[M]").astype(np.int64) % 12 for some in (days, model_days))
    known = _periods(_years(days), reference) == 0
    high, wide = (np.full(model_c[1].shape, np.nan) for _ in range(2))
    own, theirs = ((some[1], np.maximum(some[1] - some[0], narrowest))
                   for some in (air_c, model_c))  # fmt: skip
    for number in range(12):
        past: BoolArray = known & (month == number)
        base: BoolArray = (period == 0) & (model_month == number)
        for one in np.unique(period):
            now: BoolArray = (period == one) & (model_month == number)
            if not now.any():
                continue
            for out, seen, said, ratio in zip(
                (high, wide), own, theirs, (False, True), strict=True
            ):
                out[now] = map_quantiles(seen[past], said[base], said[now], nodes, ratio=ratio)
    return high - wide, high


def _periods(year: IntArray, reference: tuple[int, int]) -> IntArray:
    """Return which period each year is of: 0 the reference, 1 as many years after it, and so on."""
    return np.asarray((year - reference[0]) // (reference[1] - reference[0] + 1))


def _years(days: DayArray) -> IntArray:
    return np.asarray(days.astype("M8[Y]").astype(np.int64) + 1970)


def scenario_table(seasons: pd.DataFrame, reference: tuple[int, int]) -> pd.DataFrame:
    """Say how the normal opening of each rule moves from period to period, over all models.

    Of the seasons of a backtest of `scenario_source`; later and earlier periods are as long as the
    reference.

    Returns
    -------
    DataFrame
        A row for each site, rule and period: ``period``, ``models`` (with a normal in it and in
        the reference), ``normal_day`` (median over the models; days after the season's first day),
        ``days_from_reference`` (median; negative when earlier) with ``least`` and ``greatest``
        over the models, and ``earlier`` (in how many of them it is).
    """
    length = reference[1] - reference[0] + 1
    period = pd.Series(_periods(seasons["season"].to_numpy(np.int64), reference), seasons.index)
    some = [normal_openings(rows).assign(period=number) for number, rows in seasons.groupby(period)]
    table = pd.concat(some, ignore_index=True).dropna(subset="normal_day")
    base = table[table["period"] == 0].set_index(_KEYS)["normal_day"]
    known = table.join(base.rename("base"), on=_KEYS, how="inner")
    names = known["site"].astype(str).str.rsplit(BY, n=1).str[0]
    known = known.assign(site=names, moved=known["normal_day"] - known["base"])
    groups = known.groupby([*_KEYS, "period"], sort=False, observed=True)
    out = groups.agg(
        models=("moved", "size"),
        normal_day=("normal_day", "median"),
        days_from_reference=("moved", "median"),
        least=("moved", "min"),
        greatest=("moved", "max"),
        earlier=("moved", lambda moved: int((moved < 0).sum())),
    ).reset_index()
    first = reference[0] + length * out["period"]
    out["period"] = first.astype(str) + "-" + (first + length - 1).astype(str)
    return out
