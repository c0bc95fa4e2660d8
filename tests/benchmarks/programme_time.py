"""Processor time of the schedule on invented areas; whether every plan keeps the rules, is best.

Run with ``--areas N``. Each is planned as a morning plans it, with what stands in the way; of the
crowded ones (see `invented_areas`) one in four. With ``--optimum SECONDS`` each is planned once
more without guidelines and with one application a day at most, and held against the proven optimum
of a mixed-integer programme, where HiGHS gets there in time.
"""

import argparse
import json
import sys
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
from invented_areas import area, crowded

from patchrisk.core.plan.problem import allowed, value_of
from patchrisk.core.plan.search import schedule, with_relief

WORST = (3,)  # crowded areas: the slowest found


def gap_of(problem, seconds):
    """Share by which a plan falls short of the optimum; None where that was not proven."""
    sys.path.insert(0, str(Path(__file__).parents[2]))
    from tests.plan.mixed_integer import optimum

    free = replace(problem, guidelines=(), least_days=1)
    best, _ = optimum(free, seconds)
    if best is None or abs(best) < 1e-6:
        return None
    return max(0.0, best - value_of(free, schedule(free))) / abs(best)


def timed(problem):
    begun = time.process_time()
    plan, relief = with_relief(problem)
    seconds = time.process_time() - begun
    rest = tuple(rule for rule in problem.guidelines if rule not in relief.parted)
    return seconds, allowed(replace(problem, guidelines=rest), plan)


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--areas", type=int, default=60)
    parser.add_argument("--optimum", type=float, metavar="SECONDS")
    parser.add_argument("--json", action="store_true")
    args = parser.parse_args()
    areas = [area(seed) for seed in range(args.areas)]
    full = [crowded(seed) for seed in (*WORST, *range(args.areas // 4))]
    result = {}
    for name, problems in (("areas", areas), ("crowded", full)):
        seconds, kept = map(np.array, zip(*map(timed, problems), strict=True))
        result[name] = {
            "number": len(problems),
            "keep every rule": int(kept.sum()),
            "median s": round(float(np.median(seconds)), 3),
            "nine tenths s": round(float(np.quantile(seconds, 0.9)), 3),
            "most s": round(float(seconds.max()), 3),
            "slowest": int(seconds.argmax()),
        }
    if args.optimum:
        gaps = [gap for one in areas if (gap := gap_of(one, args.optimum)) is not None]
        result["of the proven optimum"] = {
            "areas": len(gaps),
            "below by more than 0.1 %": int((np.array(gaps) > 1e-3).sum()),
            "most below": round(max(gaps), 4),
        }
    print(json.dumps(result) if args.json else result)


if __name__ == "__main__":
    main()
