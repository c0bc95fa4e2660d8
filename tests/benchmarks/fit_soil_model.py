"""Fit the air-to-soil model to station records and write thresholds/soil_model.toml.

    python tests/benchmarks/fit_soil_model.py --data stations.parquet

Everything in the file but the limits under [calibration] is computed here. Weighted least
squares over stations: a station weighs as the inverse of its days times its own root mean square
error, so that the sum of the stations' errors is what falls, not that of their squares.
"""

import argparse
import datetime
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import stations as records
from scipy.optimize import minimize

from patchrisk.base import resources
from patchrisk.core.soil.air_to_soil import error_variance, run_stores, season_correction
from patchrisk.core.soil.calibration import STEPS, from_fit, response, to_fit
from patchrisk.core.soil.inputs import (
    GENERAL,
    INPUTS,
    SEASON,
    Parameters,
    extraterrestrial_radiation,
    trailing_mean,
)
from patchrisk.core.soil.root_depth import run_filter

DEPTHS = (5, 10)
SHARED = tuple(n for n in GENERAL if n not in ("flux_20", "deep_20"))
SITE = tuple(n for n in GENERAL if n not in ("flux_5", "flux_10", "flux_20", "deep_10", "deep_20"))
DAY_VARIANCE = 20.0
CHUNK = 10


@dataclass(frozen=True)
class Normal:
    """Normal equations of each station, (stations, names, names) and (stations, names)."""

    matrix: np.ndarray
    vector: np.ndarray
    squared: np.ndarray
    count: np.ndarray


def normal_equations(data, inputs, p, names, lanes, depths=DEPTHS) -> Normal:
    """Sum squares and products of the response and the error over each station's days."""
    size = len(names)
    matrix, vector = np.zeros((len(lanes), size, size)), np.zeros((len(lanes), size))
    squared, count = np.zeros(len(lanes)), np.zeros(len(lanes))
    for at in range(0, len(lanes), CHUNK):
        part = lanes[at : at + CHUNK]
        mean, slope = response(data.forcing(inputs, part), p, names, depths, data.model.plot)
        for k in range(len(part)):
            for d, depth in enumerate(depths):
                error = mean[d, :, k] - data.observed(depth)[:, part[k]]
                use = np.isfinite(error)
                x, e = slope[:, d, use, k], error[use]
                matrix[at + k] += x @ x.T
                vector[at + k] += x @ e
                squared[at + k] += e @ e
                count[at + k] += use.sum()
    return Normal(matrix, vector, squared, count)


def fit_shared(data, inputs, start: Parameters, lanes, rounds=6, names=SHARED, log=print):
    """Fit the general parameters to some of the stations; Levenberg's damped Gauss-Newton."""
    p, damping, best = start, 1e-3, np.inf
    kept = None
    for n in range(rounds + 1):
        now = normal_equations(data, inputs, p, names, lanes)
        cost = np.sqrt(now.squared / now.count).mean()
        log(f"  {inputs}: round {n}, mean RMSE {cost:.4f}")
        if cost >= best:
            damping *= 10
            p, now, weight, cost = kept
            if damping > 1:
                break
        else:
            if best - cost < 2e-4:
                kept = (p, now, 1 / (now.count * np.sqrt(now.squared / now.count)), cost)
                break
            damping = max(damping / 10, 1e-6)
            weight = 1 / (now.count * np.sqrt(now.squared / now.count))
            kept, best = (p, now, weight, cost), cost
        if n == rounds:
            break
        matrix = np.einsum("s,sij->ij", weight, now.matrix)
        matrix = matrix + damping * np.diag(np.diag(matrix))
        step = np.linalg.solve(matrix, weight @ now.vector)
        p = from_fit(p, names, to_fit(p, names) - step)
    p, now, weight, _ = kept
    inverse = np.linalg.inv(np.einsum("s,sij->ij", weight, now.matrix))
    scores = weight[:, None] * now.vector
    error = np.sqrt(np.diag(inverse @ (scores.T @ scores) @ inverse))
    return p, dict(zip(names, error, strict=True)), now


def without(p: Parameters, now: Normal, left_out, names=SHARED):
    """Fit without some stations: one Gauss-Newton step away from the fit to all of them."""
    keep = ~np.isin(np.arange(len(now.count)), left_out)
    weight = keep / (now.count * np.sqrt(now.squared / now.count))
    step = np.linalg.solve(np.einsum("s,sij->ij", weight, now.matrix), weight @ now.vector)
    return from_fit(p, names, to_fit(p, names) - step)


def fit_depth_20(data, inputs, p: Parameters):
    """Fit the two numbers that carry the estimate to 20 cm, all else kept."""
    rows, target = [], []
    for lane in range(len(data.names)):
        stores = run_stores(data.forcing(inputs, [lane]), p, data.model.plot)
        observed = data.observed(20)[:, lane]
        use = np.isfinite(observed)
        if use.sum() < 365:
            continue
        weight = 1 / np.sqrt(use.sum())
        deep = (stores.deep_c - stores.near_c)[use, 0]
        rows.append(weight * np.stack([deep, stores.flux_c[use, 0]], 1))
        target.append(weight * (observed[use] - stores.near_c[use, 0]))
    each = np.array(
        [np.linalg.lstsq(x, y, rcond=None)[0] for x, y in zip(rows, target, strict=True)]
    )
    both = np.linalg.lstsq(np.concatenate(rows), np.concatenate(target), rcond=None)[0]
    error = each.std(axis=0) / np.sqrt(len(each))
    return (
        p.with_values({"deep_20": float(both[0]), "flux_20": float(both[1])}),
        {"deep_20": float(error[0]), "flux_20": float(error[1])},
    )


def residuals(data, inputs, p, depth=5, lanes=slice(None)):
    """Return the observed minus the estimated, with the driving numbers and the snow."""
    force = data.forcing(inputs, lanes)
    stores = run_stores(force, p, data.model.plot)
    error = data.observed(depth)[:, lanes] - stores.at(depth, p) - season_correction(force, p)
    return error, force, stores


def site_prior(data, inputs, p: Parameters, lanes, rounds=40):
    """How stations differ from the general fit: expectation-maximisation on linear responses."""
    names = (*SITE, *SEASON)
    now = normal_equations(data, inputs, p, names, lanes, (5,))
    matrix, vector = now.matrix / DAY_VARIANCE, -now.vector / DAY_VARIANCE
    steps = np.array([STEPS[n] for n in names])
    spread = np.diag((4 * steps) ** 2)
    for _ in range(rounds):
        after = np.linalg.inv(matrix + np.linalg.inv(spread))
        moved = np.einsum("sij,sj->si", after, vector)
        floor = 1e-2 * np.diag(steps**2)
        spread = (after.sum(axis=0) + moved.T @ moved + floor) / len(lanes)
    return names, spread


def fit_error_model(errors, force, stores, rounds=30):
    """Fit the logarithm of the variance: season, aridity, snow; every station the same weight.

    The level is then set so that 82.5 % of days, every station alike, lie within 1.2816 standard
    deviations: 80 % and a margin for stations unlike these.
    """
    a = np.broadcast_to(force.angle, errors.shape)
    arid = np.broadcast_to(force.climate.aridity - 0.6, errors.shape)
    use = np.isfinite(errors)
    columns = [np.ones_like(errors), np.cos(a), np.sin(a), arid, (stores.snow_mm > 2) * 1.0]
    x, e2 = np.stack([c[use] for c in columns], 1), errors[use] ** 2
    weight = (np.ones_like(errors) / use.sum(axis=0))[use]
    b = np.zeros(5)
    b[0] = np.log(np.average(e2, weights=weight))
    for _ in range(rounds):  # gamma regression with log link
        ratio = e2 / np.exp(x @ b)
        b = b + np.linalg.solve((x * weight[:, None]).T @ x, x.T @ (weight * (ratio - 1)))
    scaled = np.abs(errors[use]) / np.exp(x @ b / 2)
    order = np.argsort(scaled)
    reach = scaled[order][np.searchsorted(np.cumsum(weight[order]) / weight.sum(), 0.825)]
    b[0] += 2 * np.log(reach / 1.2816)
    return dict(zip(("level", "cos", "sin", "arid", "snow"), b.tolist(), strict=True))


def fit_persistence(scaled):
    """Maximum likelihood of the shares and times of the parts of the error."""

    def unpack(x):
        rest = 1 / (1 + np.exp(x[1])), 1 / (1 + np.exp(x[3]))
        return {
            "fast_days": float(np.exp(x[0])),
            "fast_share": rest[0],
            "slow_days": float(np.exp(x[2])),
            "slow_share": (1 - rest[0]) * rest[1],
            "lasting_days": 3000.0,
        }

    def cost(x):
        """Return the mean logarithm of the likelihood of a day, every lane alike, as a loss."""
        f = run_filter(scaled, unpack(x))
        each = -0.5 * (np.log(f.surprise_variance) + f.surprise**2 / f.surprise_variance)
        return -float((np.where(f.seen, each, 0.0).sum(axis=0) / f.seen.sum(axis=0)).mean())

    start = np.array([np.log(2.3), 0.5, np.log(60.0), -0.5])
    found = minimize(cost, start, method="Nelder-Mead", options={"maxiter": 90, "fatol": 1e-4})
    return unpack(found.x)


def fit_radiation(data):
    """Clearness from the daily range, with and without rain; and rain from the range."""
    v = data.values
    force = data.forcing("air")
    span, use0 = force.range_c, data.usable & force.known
    usual = trailing_mean(span, 30)
    relative = span / usual
    of_year = (data.dates - data.dates.astype("datetime64[Y]")).astype(float) + 1
    top = np.maximum(extraterrestrial_radiation(of_year[:, None], data.latitude), 2.0)
    clear = v["solar"] / top
    use = use0 & np.isfinite(clear) & (clear < 0.9) & (top > 3)
    dry = [np.ones_like(span), np.sqrt(span), span, relative, relative**2]
    wet = [(v["precip"] > 1) * 1.0, np.log1p(v["precip"])]

    def solve(columns, where):
        x = np.stack([c[where] for c in columns], 1)
        return np.linalg.lstsq(x, clear[where], rcond=None)[0].tolist()

    both = use & np.isfinite(v["precip"])
    lower, range_ = 1 - relative, (usual - 12) / 10
    columns = [np.ones_like(span), lower, lower**2, range_, range_**2]
    columns += [(force.air_c - 12) / 10, np.minimum(force.air_c, 0) / 10]
    rained = use0 & np.isfinite(v["precip"])
    x, y = np.stack([c[rained] for c in columns], 1), v["precip"][rained]
    b = np.zeros(len(columns))
    b[0] = np.log(y.mean())
    for _ in range(20):  # Poisson regression with log link
        mean = np.exp(np.clip(x @ b, -8, 4))
        b = b + np.linalg.solve((x * mean[:, None]).T @ x, x.T @ (y - mean))
    return solve(dry + wet, both), solve(dry, use), b.tolist()


def fit_climate(data):
    """Annual mean and harmonic of the air temperature on latitude, with the stations' scatter."""
    force = data.forcing("air")
    known = np.where(force.known & data.usable, force.air_c, np.nan)
    basis = np.stack(
        [np.ones(len(data.dates)), np.cos(force.angle[:, 0]), np.sin(force.angle[:, 0])], 1
    )
    each = []
    for lane in range(len(data.names)):
        use = np.isfinite(known[:, lane])
        each.append(np.linalg.lstsq(basis[use], known[use, lane], rcond=None)[0])
    x = np.stack([np.ones(len(data.names)), np.abs(data.latitude) - 40], 1)
    each = np.array(each)
    b = np.linalg.lstsq(x, each, rcond=None)[0]
    sd = (each - x @ b).std(axis=0, ddof=2)
    return {n: (b[0, i], b[1, i], sd[i]) for i, n in enumerate(("mean", "cos", "sin"))}


UNITS = {
    "exchange": "1/d", "deep_exchange": "1/d", "deep_capacity": "1", "restoring": "1/d",
    "snow_scale": "mm", "melt": "mm/degC/d", "latent": "degC", "offset": "degC",
    "sun": "degC m2 d/MJ", "sun_dry": "degC m2 d/MJ", "sun_arid": "degC m2 d/MJ",
    "sun_wet": "degC m2 d/MJ", "evaporation": "degC d/mm", "clear_sky": "degC",
    "continental": "1", "exchange_arid": "1", "exchange_rain": "1/mm",
    "exchange_frost": "1/degC", "exchange_dry": "1", "flux_5": "d", "flux_10": "d",
    "flux_20": "d", "deep_10": "1", "deep_20": "1",
}  # fmt: skip


def write(path: Path, parts, data, fitted_on: str) -> None:
    """Write the parameter file; numbers to five significant digits."""
    span = f"{data.dates[0]} to {data.dates[-1]}"
    source = (
        f"{len(data.names)} stations of the US Climate Reference Network, {span} (Diamond et al. "
        "2013, BAMS 94:485-498; Bell et al. 2013, J. Hydrometeorol. 14:977-988)"
    )
    out = [
        "# Numbers of the air-to-soil model, written by tests/benchmarks/fit_soil_model.py; those",
        "# under [calibration] are set by hand. Standard errors are clustered by station.",
        "",
    ]
    say = out.append

    def table(name, numbers):
        say(f"[{name}]")
        for key, value in numbers.items():
            say(f"{key} = {value:.5g}" if not isinstance(value, str) else f'{key} = "{value}"')
        say("")

    for inputs in INPUTS:
        p, errors = parts["parameters"][inputs]
        say(f'[{inputs}]\nsource = "{source}"\nfitted = "{fitted_on}"\n')
        for name in GENERAL:
            error = errors[name] * (p[name] if name in UNITS and name in POSITIVE_SET else 1)
            table(
                f"{inputs}.parameter.{name}",
                {"value": p[name], "unit": UNITS[name], "standard_error": abs(error)},
            )
        table(
            f"{inputs}.error",
            {
                **p.error_model,
                "note": ERROR_NOTE,
            },
        )
    names, spread = parts["prior"]
    sd = np.sqrt(np.diag(spread))
    correlation = 0.98 * spread / sd[:, None] / sd + 0.02 * np.eye(len(sd))
    say("[prior]")
    say(f'source = "{source}"')
    say(
        'note = "How stations differ from the general fit with all inputs; logarithms of the '
        'positive parameters."'
    )
    say("names = [" + ", ".join(f'"{n}"' for n in names) + "]")
    say("sd = [" + ", ".join(f"{v:.4g}" for v in sd) + "]")
    say("correlation = [")
    out.extend("  [" + ", ".join(f"{v:.3f}" for v in row) + "]," for row in correlation)
    say("]\n")
    table(
        "persistence",
        parts["persistence"] | {"note": PERSISTENCE_NOTE},
    )
    table("calibration", {**parts["calibration"], "note": CALIBRATION_NOTE})
    for name, names_, values in (
        ("radiation.with_rain", weather_names(7), parts["radiation"][0]),
        ("radiation.air_only", weather_names(5), parts["radiation"][1]),
        (
            "rain_guess",
            ("one", "lower", "lower_squared", "range", "range_squared", "warmth", "frost"),
            parts["radiation"][2],
        ),
    ):
        table(name, dict(zip(names_, values, strict=True)) | {"source": source})
    for name, (at_40, slope, sd_) in parts["climate"].items():
        table(f"climate.{name}", {"at_40": at_40, "slope": slope, "sd": sd_, "source": source})
    path.write_text("\n".join(out).rstrip() + "\n", encoding="utf-8")


ERROR_NOTE = (
    "Logarithm of the variance [ln degC2]; 82.5 % of days, every station alike, lie within "
    "1.2816 sd: 80 % and a margin for stations unlike these; errors of leave-stations-out folds."
)
PERSISTENCE_NOTE = (
    "Shares of the error variance that fade in a few days and in weeks; the rest lasts."
)
CALIBRATION_NOTE = (
    "day_variance [degC2] is error variance times the days it lasts; level_after_years [1] and "
    "days_to_half [d] the fall of the logarithm of the variance of errors after fits to 30 days "
    "to 3 years, fast_share_after [1] the fast share then; scale_days [d] how many days of "
    "surprises a site's own scale counts for: all from the development stations, 2026. "
    "least_days, least_steps [d], least_variation, most_air_above, most_soil_above, most_error "
    "[degC], most_response, most_range [1], range_from_depth [cm], most_distance [km] and "
    "most_height [m] refuse a log: common practice, no source; at the stations the response is "
    "0.1 to 0.6, the air of 30 days at most 7.6 degC above the soil and 17.4 below it. Our "
    "choice, no source: most_surprise [1] is the most that a day's surprise, squared, counts "
    "for against what was expected; stranger_error [degC] and stranger_days [d] are the error "
    "where nothing is known but the season and how fast it is forgotten, gap_days [d] how fast "
    "a gap brings it back; weather_variance [degC2] lasting weather_days [d] weighs a record "
    "against what latitude tells; usual_demand and usual_rain [mm/d] of the average station "
    "over usual_days [d] steady the aridity of a short record."
)
POSITIVE_SET = {
    "exchange",
    "deep_exchange",
    "deep_capacity",
    "restoring",
    "snow_scale",
    "melt",
    "latent",
}


def weather_names(count):
    return ("one", "root_range", "range", "relative", "relative_squared", "wet", "log_rain")[:count]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--data", type=Path, required=True)
    parser.add_argument("--out", type=Path, default=resources.thresholds() / "soil_model.toml")
    parser.add_argument("--on", default=datetime.date.today().isoformat(), help="date written")
    args = parser.parse_args()
    data = records.read(args.data)
    everyone = list(range(len(data.names)))
    fold = records.folds(data, 9)
    old = data.model
    parts = {"radiation": fit_radiation(data), "climate": fit_climate(data), "parameters": {}}
    parts["calibration"] = dict(old.calibration)
    if args.out.exists():  # the radiation guesses come first: the fits below use them
        guessed = replace(
            old,
            radiation_with_rain=tuple(parts["radiation"][0]),
            radiation_air_only=tuple(parts["radiation"][1]),
            rain_guess=tuple(parts["radiation"][2]),
            climate=parts["climate"],
        )
        data = replace(data, model=guessed)
    for inputs in reversed(INPUTS):
        p, errors, now = fit_shared(data, inputs, old.parameters[inputs], everyone)
        p_near = p
        p, more = fit_depth_20(data, inputs, p)
        out = np.full(data.usable.shape, np.nan)
        for f in np.unique(fold):
            left = [n for n in everyone if fold[n] == f]
            q = without(p_near, now, left)
            out[:, left] = residuals(data, inputs, q, lanes=left)[0]
        _, force, stores = residuals(data, inputs, p)
        model = fit_error_model(out, force, stores)
        p = replace(p, error_model=model)
        parts["parameters"][inputs] = (p, errors | more)
        print(inputs, "left-out RMSE", np.sqrt(np.nanmean(out**2, axis=0)).round(2).tolist())
        if inputs == "air_rain_solar":
            parts["prior"] = site_prior(data, inputs, p, everyone)
            sd = np.sqrt(error_variance(force, stores, old.with_parameters(p)))
            parts["persistence"] = fit_persistence(out / sd)
            print(parts["persistence"])
    write(args.out, parts, data, args.on)


if __name__ == "__main__":
    main()
