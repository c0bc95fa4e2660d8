"""Processor time of the schedule on invented areas, and whether every plan keeps every rule.

Run with ``--areas N``. Each has 1 to 5 diseases, 1 to 5 choices with label limits, 60 to 400 days,
applications made before, days without spraying and all guidelines but the one on heat.
"""

import argparse
import json
import time

import numpy as np

from patchrisk.core.plan.problem import Option, Problem, Threat, allowed
from patchrisk.core.plan.programme import Choice
from patchrisk.core.plan.rotation import Step
from patchrisk.core.plan.search import schedule
from patchrisk.core.verdict.calls import Call
from patchrisk.read.groups import load_guidelines
from patchrisk.site_day.protection import programme_numbers

CODES = ("3", "7", "11", "21", "3+11", "7+11", "P07+4", "4", "49+21")
START = np.datetime64("2024-03-01")


def area(seed):
    rng = np.random.default_rng(seed)
    days = int(rng.integers(60, 401))
    day = np.arange(days)
    count = int(rng.integers(1, 6))
    threats = []
    for n in range(count):
        rate = np.exp(-(((day - rng.uniform(0, days)) / rng.uniform(10, 50)) ** 2))
        rate[rate < 0.05] = 0.0
        cover = int(rng.choice([14, 21, 24, 28]))
        on = rate > 0
        first = int(on.argmax())
        reaches = on | ((day > first - cover) & (day < first))
        number = int(rng.choice([1, 2, 3, 5]))
        call = Call(
            "s", START + first, START + days - 1, False, rate, on, on, reaches, on, 0, number
        )
        threats.append(Threat(f"d{n}", cover, (call,), np.zeros(days), 2))
    options = []
    for code in rng.permutation(CODES)[: rng.integers(1, 6)]:
        codes = frozenset(code.split("+"))
        worth = {f"d{n}": float(rng.choice([0, 0.15, 0.2, 0.6, 1.0])) for n in range(count)}
        options.append(
            Option(Choice(code, codes, (), {}), worth, codes, most=rng.choice([None, 0, 1, 2, 3]),
                   least_days=rng.choice([None, 14, 21, 28]), most_after=rng.choice([None, 1, 2]))
        )  # fmt: skip
    done = tuple(
        Step(frozenset(str(rng.choice(CODES)).split("+")), frozenset(), START - int(back))
        for back in sorted(rng.integers(1, 90, int(rng.integers(0, 4))))[::-1]
    )
    numbers = programme_numbers()
    return Problem(
        dates=START + day,
        threats=tuple(threats),
        options=tuple(options),
        most=int(rng.integers(0, 7)),
        least_days=0,
        no_spray=day % 7 > rng.choice([4, 6]),
        done=done,
        guidelines=tuple(rule for rule in load_guidelines() if rule.key != "dmi-heat"),
        caps=numbers.caps,
        cost=numbers.partner,
        little=numbers.little,
        turn=days // 2,
        most_after=int(rng.integers(0, 4)),
    )


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
