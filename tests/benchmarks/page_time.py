"""Seconds that `patchrisk page` takes on the sample course, from the shell and back.

The whole command in a process of its own, imports and all, as a morning's timer starts it; and
for comparison the start of the same Python with nothing but pandas. Run without arguments.
"""

import os
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

TURNS = 7
AIM_S = 3.0
PAGE = "from patchrisk.cli import main; main(['page', '--sample', '--out', {folder!r}])"


# Compiled modules are kept, as they are for a user, whatever this shell says of them.
ENVIRONMENT = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}


def timed(code):
    """Wall and processor time of a Python process [s]."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    start = time.perf_counter()
    command = [sys.executable, "-c", code]
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL, env=ENVIRONMENT)
    wall = time.perf_counter() - start
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return wall, after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def main():
    with tempfile.TemporaryDirectory() as folder:
        timed(PAGE.format(folder=folder))  # files into memory, modules compiled
        for name, code in (("pandas alone", "import pandas"), ("page", PAGE.format(folder=folder))):
            walls, processors = zip(*(timed(code) for _ in range(TURNS)), strict=True)
            print(
                f"{name}: wall {min(walls):.2f} s at best, "
                f"{statistics.median(walls):.2f} s median; "
                f"processor {min(processors):.2f} s at best, "
                f"{statistics.median(processors):.2f} s median"
            )
        size = next(Path(folder).glob("*.html")).stat().st_size
        print(f"page of {size / 1000:.0f} kB; aim {AIM_S:g} s")


if __name__ == "__main__":
    main()
