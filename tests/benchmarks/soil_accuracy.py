"""How well soil temperature is estimated from air temperature, beside its peers.

    python tests/benchmarks/soil_accuracy.py --data stations.parquet [--json] [--quick]
    python tests/benchmarks/soil_accuracy.py --data unseen.parquet --shipped

Without --shipped every station is estimated by a model fitted without it and its neighbours.
With --shipped the numbers in thresholds/soil_model.toml are scored as they are: for stations
they have not seen.
"""

import argparse
import json
import time
import warnings
from dataclasses import replace
from pathlib import Path

import numpy as np
import peers
import stations as records
from fit_soil_model import SHARED, fit_shared, normal_equations, site_prior, without

from patchrisk.core.soil import inputs as weather
from patchrisk.core.soil.air_to_soil import error_variance, run_stores, season_correction
from patchrisk.core.soil.calibration import level_after, persistence_after, posterior
from patchrisk.core.soil.inputs import Prior
from patchrisk.core.soil.root_depth import run_filter
from patchrisk.read.soil import load_soil_model

MODEL = load_soil_model()

LEADS = (1, 3, 5, 7, 10)
LOGS = {"30 d": 30, "90 d": 90, "1 y": 365, "3 y": 1095}
REACH = 1.2816  # of a normal distribution, 80 %
EVENTS = {
    "first run of 5 days >= 18.3 degC": ("run", 18.33, 32),
    "5-day mean reaches 12.8 degC": ("mean", 12.8, 32),
    "5-day mean falls to 21.1 degC in autumn": ("fall", 21.1, 213),
}


def rmse(error):
    return np.sqrt(np.nanmean(error**2, axis=0))


def three(values):
    v = values[np.isfinite(values)]
    return {
        "median": float(np.median(v)),
        "mean": float(v.mean()),
        "p90": float(np.quantile(v, 0.9)),
    }


def scores(estimate, observed):
    """Return the scores of one estimate over the year and for soil from 5 to 25 degC."""
    out = {}
    for name, where in (
        ("all year", np.isfinite(observed)),
        ("5 to 25", (observed > 5) & (observed < 25)),
    ):
        error = np.where(where, estimate - observed, np.nan)
        bias = np.nanmean(error, axis=0)
        out[name] = {
            "rmse": three(rmse(error)),
            "unbiased": three(rmse(error - bias)),
            "absolute bias": three(np.abs(bias)),
            "mean bias": float(np.nanmean(bias)),
        }
    return out


def coverage(error, sd):
    """Share of days inside the 80 % interval: all days, and by station."""
    inside = np.where(np.isfinite(error), np.abs(error) < REACH * sd, np.nan)
    each = np.nanmean(inside, axis=0)
    return {
        "days": float(np.nanmean(inside)),
        "stations, mean": float(np.nanmean(each)),
        "stations, p10": float(np.nanquantile(each, 0.1)),
        "stations below 0.65": float(np.nanmean(each < 0.65)),
        "half width": float(np.nanmedian(REACH * sd)),
    }


def event_day(series, dates, kind, threshold, from_day):
    """Day of the year of an event, (years, lanes); NaN where it doesn't come or days lack.

    The day given is the last of the five: the first on which it is known.
    """
    known = np.where(np.isfinite(series), series, np.nan)
    five = peers.trailing_mean(known, 5)
    if kind == "run":
        lowest = np.min([np.roll(known, k, axis=0) for k in range(5)], axis=0)
        met = lowest >= threshold
    else:
        met = five >= threshold if kind == "mean" else five <= threshold
    year = dates.astype("datetime64[Y]").astype(int)
    of_year = (dates - dates.astype("datetime64[Y]")).astype(int) + 1
    out = []
    for y in np.unique(year):
        where = (year == y) & (of_year >= from_day)
        if where.sum() < 120:
            continue
        m, day = met[where], of_year[where]
        first = np.where(m.any(axis=0), day[m.argmax(axis=0)], np.nan).astype(float)
        # The search must begin before the event, and the days up to it must be there.
        lacking = np.isnan(five[where]).cumsum(axis=0)[m.argmax(axis=0), np.arange(m.shape[1])]
        started = m[:10].any(axis=0)
        out.append(np.where(started | (lacking > 5), np.nan, first))
    return np.array(out)


def event_scores(estimate, observed, dates, kind, threshold, from_day):
    seen = np.isfinite(observed)
    truth = event_day(observed, dates, kind, threshold, from_day)
    guess = event_day(np.where(seen, estimate, np.nan), dates, kind, threshold, from_day)
    use = np.isfinite(truth)
    error = np.abs(np.where(np.isfinite(guess), guess - truth, 60.0))[use]
    if not len(error):
        return None
    return {
        "n": int(use.sum()),
        "median": float(np.median(error)),
        "mean": float(error.mean()),
        "within 3": float((error <= 3).mean()),
        "within 7": float((error <= 7).mean()),
    }


class Model:
    """The estimate of every station by the parameters that may be used for it."""

    def __init__(self, data, inputs, each):
        self.force = data.forcing(inputs)
        names = each[0].values.keys()
        values = {n: np.array([p[n] for p in each]) for n in names}
        self.p = replace(each[0], values=values)
        self.stores = run_stores(self.force, self.p, MODEL.plot)
        self.extra = season_correction(self.force, self.p)
        self.level = np.zeros(len(each))

    def at(self, depth):
        return self.stores.at(depth, self.p) + self.extra

    def sd(self):
        model = MODEL.with_parameters(self.p)
        return np.sqrt(error_variance(self.force, self.stores, model) * np.exp(self.level))


def parameters_by_station(data, inputs, fold, mode, log):
    """Parameters and prior for each station, from the stations of other folds."""
    shipped, prior = MODEL.parameters[inputs], MODEL.prior
    everyone = list(range(len(data.names)))
    if mode == "shipped":
        return [shipped] * len(everyone), [prior] * len(everyone)
    each, priors = [None] * len(everyone), [prior] * len(everyone)
    if mode == "quick":
        now = normal_equations(data, inputs, shipped, SHARED, everyone)
    for f in np.unique(fold):
        left = np.flatnonzero(fold == f).tolist()
        rest = [n for n in everyone if fold[n] != f]
        if mode == "quick":
            p = without(shipped, now, left)
        else:
            p, _, _ = fit_shared(data, inputs, shipped, rest, rounds=2, log=log)
            names, spread = site_prior(data, inputs, p, rest)
        for n in left:
            each[n] = p
            if mode == "full":
                priors[n] = Prior(names, spread)
    return each, priors


def calibrated(data, inputs, each, priors, days, log):
    """Fit each station on logs of some length; a list of models, one a starting day."""
    observed = data.observed(5)
    first = np.argmax(np.isfinite(observed), axis=0)
    offsets = (730, 821, 912, 1004) if days < 365 else (730,) if days == 365 else (0,)
    force = data.forcing(inputs)
    out = []
    for offset in offsets:
        fitted = []
        for lane, (p, prior) in enumerate(zip(each, priors, strict=True)):
            begin = first[lane] + offset
            logged = np.full((len(observed), 1), np.nan)
            logged[begin : begin + days, 0] = observed[begin : begin + days, lane]
            if np.isfinite(logged).sum() < 20:
                fitted.append(None)
                continue
            cut = slice(max(0, begin - 400), begin + days)
            one = one_lane(force, lane, cut)
            model = replace(MODEL.with_parameters(p), prior=prior)
            fitted.append(posterior(one, logged[cut], 5.0, model))
        model = Model(data, inputs, [q or p for q, p in zip(fitted, each, strict=True)])
        counts = np.array([
            np.isfinite(observed[b + offset : b + offset + days, n]).sum()
            for n, b in enumerate(first)
        ])  # fmt: skip
        model.level = np.array([level_after(int(c), MODEL) for c in counts])
        model.days = counts
        model.fitted = np.array([q is not None for q in fitted])
        out.append(model)
    log(f"fitted on {days} days")
    return out


def one_lane(force, lane, cut):
    """Cut a lane and a span of days out of the driving numbers."""
    changed = {
        name: getattr(force, name)[cut, lane : lane + 1]
        for name in ("air_c", "range_c", "sun_mj", "clearness", "demand_mm", "rain_mm",
                     "snowfall_mm", "known")
    }  # fmt: skip
    c = force.climate
    place = weather.Climate(*(x[lane : lane + 1] for x in (c.mean_c, c.cos_c, c.sin_c, c.aridity)))
    return replace(
        force, angle=force.angle[cut], climate=place, southern=force.southern[lane : lane + 1],
        **changed,
    )  # fmt: skip


def after_third_year(data):
    observed = data.observed(5)
    first = np.argmax(np.isfinite(observed), axis=0)
    return np.where(np.arange(len(observed))[:, None] >= first + 1095, observed, np.nan)


def lead_scores(model, observed, persistence):
    """Errors some days after the last logged one, the air of those days known."""
    mean, sd = model.at(5), model.sd()
    f = run_filter((observed - mean) / sd, persistence)
    share = np.diag(f.covariance_before[0, 0])
    c = MODEL.calibration
    squared = np.minimum(f.surprise**2 / f.surprise_variance, c["most_surprise"])
    squared, days = np.where(f.seen, squared, 0.0), c["scale_days"]
    scale = (days + squared.cumsum(axis=0)) / (days + f.seen.cumsum(axis=0))
    out = {}
    for lead in LEADS:
        fade = f.fade**lead
        ahead = (f.mean * fade).sum(axis=-1)[:-lead]
        spread = (f.covariance * (fade[:, None] * fade)).sum(axis=(-1, -2))[:-lead]
        spread = (spread + (share * (1 - fade**2)).sum()) * scale[:-lead]
        error = observed[lead:] - mean[lead:] - sd[lead:] * ahead
        error = np.where(f.seen[:-lead], error, np.nan)
        out[lead] = three(rmse(error)) | {"coverage": coverage(error, sd[lead:] * np.sqrt(spread))}
    return out


def peer_estimates(data, inputs, fold, shipped, quick):
    """Return the peers' estimates at 5 cm; regressions fitted without the station's fold."""
    force = data.forcing(inputs)
    out = {name: estimate(force) for name, estimate in peers.METHODS.items()}
    for name, fit in () if shipped else peers.FITTED.items():
        if not (quick and "trees" in name):
            out[name] = by_folds(data, inputs, fold, fit)
    return out


def by_folds(data, inputs, fold, fit):
    """Estimate each station by what was fitted to the stations of other folds."""
    observed = data.observed(5)
    out = np.full(observed.shape, np.nan)
    for f in np.unique(fold):
        rest = np.flatnonzero(fold != f)
        estimate = fit(data.forcing(inputs, rest), observed[:, rest])
        out[:, fold == f] = estimate(data.forcing(inputs, np.flatnonzero(fold == f)))
    return out


def run(data, inputs, mode, log):
    fold = records.folds(data, 5)
    each, priors = parameters_by_station(data, inputs, fold, mode, log)
    model = Model(data, inputs, each)
    model.days = np.zeros(len(each))
    observed, later = data.observed(5), after_third_year(data)
    dates = data.dates
    result = {"stations": len(data.names), "inputs": inputs, "mode": mode}
    result["uncalibrated"] = {f"{z} cm": scores(model.at(z), data.observed(z)) for z in (5, 10)}
    result["by station"] = {
        name: {"rmse": round(float(r), 3), "bias": round(float(b), 3)}
        for name, r, b in zip(
            data.names,
            rmse(model.at(5) - observed),
            np.nanmean(model.at(5) - observed, axis=0),
            strict=True,
        )
    }
    result["coverage"] = {"uncalibrated": coverage(observed - model.at(5), model.sd())}
    result["later years"] = {"none": scores(model.at(5), later)}
    result["year after"] = {}
    next_year = np.where(year_after(data), later, np.nan)
    result["leads"] = {"uncalibrated": lead_scores(model, later, MODEL.persistence)}
    events = {"uncalibrated": model.at(5)}
    for name, days in LOGS.items():
        models = calibrated(data, inputs, each, priors, days, log)
        parts = [scores(np.where(m.fitted, m.at(5), np.nan), later) for m in models]
        result["later years"][name] = average(parts)
        result["year after"][name] = average(
            [scores(np.where(m.fitted, m.at(5), np.nan), next_year) for m in models]
        )
        m = models[0]
        result["coverage"][name] = coverage(later - m.at(5), m.sd())
        if days >= 365:
            result["leads"][name] = lead_scores(m, later, persistence_after(days, MODEL))
            events[f"log of {name}"] = m.at(5)
    others = peer_estimates(data, inputs, fold, mode == "shipped", mode == "quick")
    log("peers")
    result["peers"] = {k: scores(v, observed) for k, v in others.items()}
    for k in ("air of the day", "7-day mean of air"):
        events[k] = others[k]
    result["events"] = {
        event: {k: event_scores(v, later, dates, *how) for k, v in events.items()}
        for event, how in EVENTS.items()
    }
    result["nearby stations"] = nearby(data, model)
    return result


def nearby(data, model):
    """How far the soils of stations within 60 km differ: noise that no input here explains."""
    group = records.folds(data, len(data.names))
    observed = data.observed(5)
    out = {}
    for g in np.unique(group):
        pair = np.flatnonzero(group == g)
        for i in range(len(pair)):
            for j in range(i):
                a, b = pair[i], pair[j]
                gap = observed[:, a] - observed[:, b]
                told = model.at(5)[:, a] - model.at(5)[:, b]
                rest = float(rmse((gap - told)[:, None])[0])
                out[f"{data.names[a]}, {data.names[b]}"] = {
                    "difference": float(rmse(gap[:, None])[0]),
                    "left by the estimate": rest,
                    "as error of one": rest / np.sqrt(2),
                }
    return out


def year_after(data):
    first = np.argmax(np.isfinite(data.observed(5)), axis=0)
    day = np.arange(len(data.dates))[:, None]
    return (day >= first + 1095) & (day < first + 1460)


def average(parts):
    """Mean over starting days of nested scores."""
    if isinstance(parts[0], dict):
        return {k: average([p[k] for p in parts]) for k in parts[0]}
    return float(np.mean(parts))


def show(result):
    def line(name, s, keys=("rmse", "unbiased", "absolute bias")):
        cells = [f"{s[k]['median']:.2f} / {s[k]['mean']:.2f} / {s[k]['p90']:.2f}" for k in keys]
        print(f"{name:<58}" + "  ".join(f"{c:<20}" for c in cells) + f"{s['mean bias']:+.2f}")

    print(f"{result['stations']} stations, {result['inputs']}, {result['mode']}; degC")
    heads = ("RMSE", "unbiased", "absolute bias")
    print(
        f"{'median / mean / 90th percentile over stations':<58}"
        + "  ".join(f"{h:<20}" for h in heads)
        + "bias"
    )
    for depth, s in result["uncalibrated"].items():
        for season, t in s.items():
            line(f"uncalibrated, {depth}, {season}", t)
    for name, s in result["peers"].items():
        line(name, s["all year"])
    for span in ("later years", "year after"):
        for name, s in result[span].items():
            for season, t in s.items():
                line(f"log of {name}, {span}, {season}", t)
    print("\ndays after the last logged one: RMSE median / mean; coverage of 80 %")
    for name, s in result["leads"].items():
        cells = [
            f"{k} d {v['median']:.2f}/{v['mean']:.2f} {v['coverage']['days']:.2f}"
            for k, v in s.items()
        ]
        print(f"{name:<20}" + "  ".join(cells))
    print("\n80 % intervals: days, station mean, station p10, share of stations < 0.65, half width")
    for name, c in result["coverage"].items():
        print(f"{name:<20}" + "  ".join(f"{v:.2f}" for v in c.values()))
    print("\ndates: n, median and mean error [d], share within 3 and 7 days")
    for event, by in result["events"].items():
        print(event)
        for name, e in by.items():
            if e:
                cells = f"{e['n']:>5} {e['median']:>5.1f} {e['mean']:>5.1f}"
                print(f"  {name:<24}{cells} {e['within 3']:.2f} {e['within 7']:.2f}")
    for pair, n in result["nearby stations"].items():
        cells = (f"{k} {v:.2f}" for k, v in n.items())
        print(f"{pair}: {', '.join(cells)}")


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--data", type=Path, required=True)
    parser.add_argument("--inputs", default="air_rain_solar", choices=list(MODEL.parameters))
    parser.add_argument("--json", action="store_true")
    parser.add_argument("--quick", action="store_true", help="folds by one step, no trees")
    parser.add_argument("--shipped", action="store_true", help="score the shipped numbers")
    args = parser.parse_args()
    warnings.filterwarnings("ignore", "Mean of empty slice")  # stations without a season
    warnings.filterwarnings("ignore", "All-NaN slice")
    began = time.monotonic()

    def log(text):
        if not args.json:
            print(f"[{time.monotonic() - began:5.0f} s] {text}", flush=True)

    mode = "shipped" if args.shipped else "quick" if args.quick else "full"
    result = run(records.read(args.data), args.inputs, mode, log)
    result["seconds"] = round(time.monotonic() - began)
    if args.json:
        print(json.dumps(result, indent=1))
    else:
        show(result)


if __name__ == "__main__":
    main()
