"""Invented areas: what a schedule is asked, drawn from a seed.

Each has 1 to 5 diseases, 1 to 5 choices with label limits, 60 to 400 days, applications made
before, days without spraying and all guidelines but the one on heat. A crowded one is a green of
five diseases, as many products as there are codes, any two of them in one tank, and nine
applications on record.
"""

from dataclasses import replace
from itertools import combinations

import numpy as np

from patchrisk.core.plan.problem import Option, Problem, Threat
from patchrisk.core.plan.programme import Choice
from patchrisk.core.plan.rotation import Step, Target
from patchrisk.core.verdict.calls import Call
from patchrisk.read.groups import load_guidelines
from patchrisk.site_day.disease import programme_numbers

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
        most, least_days = rng.choice([None, 0, 1, 2, 3]), rng.choice([None, 14, 21, 28])
        choice = Choice(code, codes, (), {}, least_days=least_days)
        targets = dict.fromkeys(worth, Target(controlled_by=codes))
        most_after = rng.choice([None, 1, 2])
        options.append(Option(choice, worth, targets, most, most_after))
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
        no_spray=day % 7 > rng.choice([4, 6]),
        done=(done,),
        guidelines=tuple(rule for rule in load_guidelines() if rule.key != "dmi-heat"),
        caps=numbers.caps,
        cost=numbers.partner,
        little=numbers.little,
        turn=days // 2,
        most_after=int(rng.integers(0, 4)),
    )


def crowded(seed):
    rng = np.random.default_rng(seed)
    number = next(n for n in range(seed * 100, seed * 100 + 100) if len(area(n).threats) == 5)
    made = area(number)
    options = []
    for code in CODES:
        codes = frozenset(code.split("+"))
        worth = {t.key: float(rng.choice([0, 0.15, 0.6, 1.0])) for t in made.threats}
        none = frozenset()
        targets = {
            key: Target(codes if weight > 0 else none, codes if weight >= 0.6 else none)
            for key, weight in worth.items()
        }
        most, least_days = rng.choice([None, 2, 3, 5]), rng.choice([None, 14, 21])
        choice = Choice(code, codes, (), {}, least_days=least_days)
        options.append(Option(choice, worth, targets, most))
    for i, j in combinations(range(len(options)), 2):
        one, two = options[i], options[j]
        if one.families & two.families:
            continue
        both = replace(
            one,
            choice=Choice(f"{i} + {j}", one.choice.codes | two.choice.codes, (), {}),
            worth={key: max(one.worth[key], two.worth[key]) for key in one.worth},
            targets={
                key: Target(
                    *(a | b for a, b in zip(one.targets[key], two.targets[key], strict=True))
                )
                for key in one.worth
            },
            most=None,
            parts=(i, j),
        )
        options.append(both)
    days = np.sort(rng.choice(np.arange(1, 200), 9, replace=False))[::-1]
    done = tuple(
        Step(codes := frozenset(str(rng.choice(CODES)).split("+")), codes, START - int(back))
        for back in days
    )
    return replace(made, options=tuple(options), done=(done,), most=None, most_after=None)
