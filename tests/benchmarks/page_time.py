"""Seconds that `patchrisk page` takes on the sample course, from the shell and back.

The whole command in a process of its own, imports and all, as a morning's timer starts it; and
for comparison the start of the same Python with nothing but pandas.

A rented machine is not always as fast as it can be. A plain loop is timed before and after each
turn: turns beside which it took at most a quarter longer than its best are told apart as being at
full speed.

    python tests/benchmarks/page_time.py [--turns 20]
"""

import argparse
import os
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

AIM_S = 3.0
PAGE = "from patchrisk.cli import main; main(['page', '--sample', '--out', {folder!r}])"
# Compiled modules are kept, as they are for a user, whatever this shell says of them.
ENVIRONMENT = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}


def loop():
    """Seconds of a plain loop: how fast the machine is just now."""
    start = time.perf_counter()
    total = 0
    for n in range(2_000_000):
        total += n
    return time.perf_counter() - start


def seconds(code):
    """Seconds by the clock that a Python process takes."""
    command = [sys.executable, "-c", code]
    start = time.perf_counter()
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL, env=ENVIRONMENT)
    return time.perf_counter() - start


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--turns", type=int, default=20)
    turns = parser.parse_args().turns
    with tempfile.TemporaryDirectory() as folder:
        codes = {"pandas alone": "import pandas", "page": PAGE.format(folder=folder)}
        seconds(codes["page"])  # files into memory, modules compiled
        told = {name: [(loop(), seconds(code), loop()) for _ in range(turns)]
                for name, code in codes.items()}  # fmt: skip
        best = min(min(a, b) for rows in told.values() for a, _, b in rows)
        for name, rows in told.items():
            every = [s for _, s, _ in rows]
            full = [s for a, s, b in rows if max(a, b) <= 1.25 * best]
            at_full = f"{statistics.median(full):.2f} s in {len(full)}" if full else "none"
            print(
                f"{name}: at best {min(every):.2f} s; median {statistics.median(every):.2f} s in "
                f"{turns} turns, at full speed {at_full}"
            )
        size = next(Path(folder).glob("*.html")).stat().st_size
    print(f"page of {size / 1000:.0f} kB; aim {AIM_S:g} s")


if __name__ == "__main__":
    main()
