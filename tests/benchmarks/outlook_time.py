"""Seconds that the outlook, and the page with its programme, take with thirty years of history.

    python tests/benchmarks/outlook_time.py [--turns 3]

The sample course, its weather carried back to thirty years by repeating its own; everything after
the imports is timed.
"""

import argparse
import tempfile
import time
from datetime import UTC, datetime
from pathlib import Path

import pandas as pd

from patchrisk.base import resources
from patchrisk.read.site_data import sample_morning
from patchrisk.report.calendar import write_calendar
from patchrisk.report.page import page_of
from patchrisk.report.plan_files import write_sheet
from patchrisk.report.record import outlook_json
from patchrisk.report.terminal import write_outlook
from patchrisk.report.view import view_of
from patchrisk.site_day.morning import prepare
from patchrisk.site_day.season_plan import plan_all

YEARS = 30


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--turns", type=int, default=3)
    turns = parser.parse_args().turns
    source = resources.sample_weather()
    morning = sample_morning(source / "site.toml")
    with tempfile.TemporaryDirectory() as folder:
        here = Path(folder)
        for file in source.iterdir():
            if file.suffix in (".csv", ".toml"):
                (here / file.name).write_bytes(file.read_bytes())
        weather = pd.read_csv(source / "weather.csv", index_col="date", parse_dates=True)
        whole = weather
        while (whole.index[-1] - whole.index[0]).days < YEARS * 365.25:
            earlier = weather[weather.index < weather.index[0] + pd.Timedelta(days=11 * 365)]
            earlier.index = earlier.index - (weather.index[0] - whole.index[0])
            earlier.index = earlier.index - pd.Timedelta(days=11 * 365)
            whole = pd.concat([earlier[earlier.index < whole.index[0]], whole])
        whole = whole[~whole.index.duplicated()].asfreq("D")
        whole.to_csv(here / "weather.csv", index_label="date")
        now = datetime(morning.year, morning.month, morning.day, 6, tzinfo=UTC)
        for turn in range(turns):
            wall, processor = time.perf_counter(), time.process_time()
            ready = prepare(here / "site.toml", morning, now, offline=True)
            text, record = write_outlook(view_of(ready)), outlook_json(ready)
            print(
                f"run {turn + 1}: {time.perf_counter() - wall:.2f} s, "
                f"{time.process_time() - processor:.2f} s of one processor; "
                f"{len(ready.ground.years)} years, {len(ready.areas)} areas, "
                f"{len(text.splitlines())} lines, {len(record)} characters of JSON"
            )
            begin, processor = time.perf_counter(), time.process_time()
            ready = prepare(here / "site.toml", morning, now, offline=True)
            page = page_of(ready)
            print(
                f"       page with its programme: {time.perf_counter() - begin:.2f} s, "
                f"{time.process_time() - processor:.2f} s of one processor; {len(page)} characters"
            )
            processor = time.process_time()
            plan = plan_all(ready)
            write_sheet(plan)
            write_calendar(plan, now)
            taken = time.process_time() - processor
            print(f"       sheet and calendar beside it: {taken:.2f} s of one processor")


if __name__ == "__main__":
    main()
