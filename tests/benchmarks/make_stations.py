"""Make the table of stations that every benchmark reads from NOAA's daily files.

    python tests/benchmarks/make_stations.py FOLDER --out stations.parquet

FOLDER holds CRND0103-*.txt of the US Climate Reference Network (product daily01, a work of the
US government; NOAA National Centers for Environmental Information). The figures in README.md are
of the 63 stations in the lower 48 states with four full years or more from June 2009 to April 2024.
"""

import argparse
from pathlib import Path

import pandas as pd

from patchrisk.read.weather.uscrn import read_stations

COLUMNS = {
    "air_max_c": "tmax",
    "air_min_c": "tmin",
    "rain_mm": "precip",
    "solar_mj_m2": "solar",
    "soil_5cm_c": "st5",
    "soil_10cm_c": "st10",
    "soil_20cm_c": "st20",
}


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--out", type=Path, required=True)
    args = parser.parse_args()
    files = {}
    for path in sorted(args.folder.rglob("CRND0103-*.txt")):
        files.setdefault(path.stem.split("-", 2)[2], []).append(path)
    tables = []
    for name, some in files.items():
        (station,) = read_stations(some)
        days = station.daily.rename(columns=COLUMNS)[list(COLUMNS.values())].reset_index()
        days.insert(0, "station", name)
        tables.append(days.assign(lat=station.latitude, lon=station.longitude))
    pd.concat(tables, ignore_index=True).to_parquet(args.out, index=False)
    print(f"{len(files)} stations: {args.out}")


if __name__ == "__main__":
    main()
