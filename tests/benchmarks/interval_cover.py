"""How often the 90 % interval of a hit rate holds the truth, when sites and seasons differ.

    python tests/benchmarks/interval_cover.py [--studies 300]

Made-up studies of 14 sites and 12 seasons, seven tenths of the cells looked at. The log-odds of a
hit differ between sites, and between seasons, by normal draws of the spreads in the table. Each
cell: the share of 300 studies whose interval holds the rate over all sites and seasons. Two
standard errors of a share of 0.9 are 0.035.
"""

import argparse

import numpy as np
from scipy.special import expit

from patchrisk.core.skill.measures import Terms, estimate, rate

SITES, SEASONS = 14, 12
SPREADS = (0.0, 0.5, 1.0, 2.0)
BASE = 0.8  # log-odds of a hit where nothing differs


def held(site_spread: float, season_spread: float, studies: int) -> float:
    """Return the share of studies whose interval holds the truth."""
    rng = np.random.default_rng([int(10 * site_spread), int(10 * season_spread)])
    both = np.hypot(site_spread, season_spread)
    truth = expit(BASE + both * rng.normal(size=400_000)).mean()
    found = []
    for study in range(studies):
        there = rng.random(SITES * SEASONS) < 0.7
        site, season = (
            cells[there]
            for cells in (np.repeat(np.arange(SITES), SEASONS), np.tile(np.arange(SEASONS), SITES))
        )
        odds = BASE + site_spread * rng.normal(size=SITES)[site]
        odds = odds + season_spread * rng.normal(size=SEASONS)[season]
        hit, every = rng.random(len(site)) < expit(odds), np.ones(len(site), dtype=bool)
        terms = Terms(21, 84, 10, 5, draws=200, seed=study)
        got = estimate(
            lambda w, h=hit, e=every: rate(w, h, e), (season, site), every, terms, "share"
        )
        if got.low is not None and got.high is not None:
            found.append(got.low <= truth <= got.high)
    return float(np.mean(found))


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--studies", type=int, default=300, help="in a cell")
    studies = parser.parse_args().studies
    print("| sites \\ seasons |" + "".join(f" {s:g} |" for s in SPREADS))
    print("|---|" + "---|" * len(SPREADS))
    cells = [[held(site, season, studies) for season in SPREADS] for site in SPREADS]
    for site, row in zip(SPREADS, cells, strict=True):
        print(f"| {site:g} |" + "".join(f" {100 * cell:.0f} |" for cell in row))
    low, high = min(map(min, cells)), max(map(max, cells))
    print(f"\nfrom {100 * low:.0f} to {100 * high:.0f} % of a nominal 90 %")


if __name__ == "__main__":
    main()
