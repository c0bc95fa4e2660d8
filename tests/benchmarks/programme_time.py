"""Processor time of the schedule on invented areas, and whether every plan keeps every rule.

Run with ``--areas N``. Each has 1 to 5 diseases, 1 to 5 choices with label limits, 60 to 270 days,
applications made before, days without spraying and all guidelines but the one on heat.
"""

import argparse
import json
import time

import numpy as np

from patchrisk.at_site.protection import programme_numbers
from patchrisk.groups import load_rules
from patchrisk.programme.plan import Choice
from patchrisk.programme.problem import Option, Problem, Threat, allowed
from patchrisk.programme.rotation import Guideline, Step
from patchrisk.programme.schedule import schedule

CODES = ("3", "7", "11", "21", "3+11", "7+11", "P07+4", "4", "49+21")
START = np.datetime64("2024-03-01")


def area(seed):
    rng = np.random.default_rng(seed)
    days = int(rng.integers(60, 271))
    day = np.arange(days)
    count = int(rng.integers(1, 6))
    threats = []
    for n in range(count):
        rate = np.exp(-(((day - rng.uniform(0, days)) / rng.uniform(10, 50)) ** 2))
        rate[rate < 0.05] = 0.0
        timely = None if rng.random() < 0.5 else day < rng.integers(1, days)
        threats.append(
            Threat(f"d{n}", rate, int(rng.choice([14, 21, 24, 28])), rng.choice([None, 1, 2, 3, 5]),
                   np.zeros(days), float(rng.choice([0.3, 1.0])), timely)
        )  # fmt: skip
    options = []
    for code in rng.permutation(CODES)[: rng.integers(1, 6)]:
        codes = frozenset(code.split("+"))
        worth = {f"d{n}": float(rng.choice([0, 0.2, 0.3, 0.6, 1.0])) for n in range(count)}
        options.append(
            Option(Choice(code, codes, (), {}), worth, codes, rng.choice([None, 0, 1, 2, 3]),
                   rng.choice([None, 14, 21, 28]), most_after=rng.choice([None, 1, 2]))
        )  # fmt: skip
    done = tuple(
        Step(frozenset(str(rng.choice(CODES)).split("+")), frozenset(), START - int(back))
        for back in sorted(rng.integers(1, 90, int(rng.integers(0, 4))))[::-1]
    )
    rules = tuple(
        Guideline(r.key, r.says, frozenset(r.codes), r.source)
        for r in load_rules()
        if r.key != "dmi-heat"
    )
    return Problem(
        START + day, tuple(threats), tuple(options), int(rng.integers(0, 7)), 14,
        day % 7 > rng.choice([4, 6]), done, rules,
        programme_numbers().caps, 2.0, days // 2, int(rng.integers(0, 4)),
    )  # fmt: skip


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--areas", type=int, default=60)
    parser.add_argument("--json", action="store_true")
    args = parser.parse_args()
    seconds, kept = [], 0
    for seed in range(args.areas):
        problem = area(seed)
        begun = time.process_time()
        found = schedule(problem)
        seconds.append(time.process_time() - begun)
        kept += allowed(problem, found.plan)
    result = {
        "areas": args.areas,
        "keep_every_rule": kept,
        "median_s": round(float(np.median(seconds)), 3),
        "nine_tenths_s": round(float(np.quantile(seconds, 0.9)), 3),
        "most_s": round(max(seconds), 3),
    }
    print(json.dumps(result) if args.json else result)


if __name__ == "__main__":
    main()
