"""Headers that do not stand over the cells they name: numbered rows, a clock, decimal commas.

The layouts: write.table of R, whose header has no name for the row numbers (rdocumentation.org,
utils, write.table: col.names); a sensor's file with decimal commas between commas
(ibot-geoecology/myClim, tests/data/user_data_formats); a node's log with a name left out
(jgallagher59701/HAST_leaf_node_data). The readings are made up.
"""

import pytest

from patchrisk.base.errors import InputError
from patchrisk.read.logger.read_log import load_log
from patchrisk.read.weather.own import read_daily_weather
from tests.weather.layout_files import AIR, MEANS, MOMENTS, SOIL

ROWS = list(enumerate(zip(MOMENTS, AIR, SOIL, strict=True), 1))


def comma(value):
    return str(value).replace(".", ",")


@pytest.mark.parametrize(
    ("delimiter", "stamp", "numbered"),
    [
        (",", "%Y-%m-%d %H:%M", True),
        ("\t", "%Y-%m-%d %H:%M", True),
        (" ", "%Y-%m-%d %H:%M", False),
        (" ", "%Y-%m-%d %H:%M", True),
        (" ", "%m/%d/%Y %I:%M %p", False),
    ],
)
def test_names_stand_over_their_cells_by_that_of_the_time(write, delimiter, stamp, numbered):
    rows = [
        delimiter.join([*([str(n)] * numbered), f"{m:{stamp}}", str(a), str(s), "50"])
        for n, (m, a, s) in ROWS
    ]
    path = write([delimiter.join(["date", "air_temp_c", "soil_temp_5cm_c", "rh"]), *rows])
    (probe,) = load_log(path).probes
    assert probe.name == "soil_temp_5cm_c"
    days = dict(zip(probe.dates.astype(str), probe.mean_c, strict=True))
    assert days["2024-05-03"] == pytest.approx(MEANS["2024-05-03"])


@pytest.mark.parametrize(
    "rows",
    [
        [f"{m:%Y-%m-%d %H:%M},{comma(s)},55.5" for _, (m, _, s) in ROWS],
        [f"{m:%Y-%m-%d %H:%M},55.5,{comma(s)}" for _, (m, _, s) in ROWS],
        [f"{m:%Y-%m-%d %H:%M},{comma(s)},{comma(a)}," for _, (m, a, s) in ROWS],
        [f"{m:%Y-%m-%d %H:%M},3.4,{s},0x02" for _, (m, _, s) in ROWS],
    ],
)
def test_rows_of_more_cells_than_names_are_refused(write, refusal, rows):
    (said,) = refusal(write(["time,soil temp 5 cm (C),rh", *rows]))
    assert said.startswith("line 2: rows of ")
    assert "cells under 3 names: decimal commas in a file parted by commas, or a column" in said


def test_a_decimal_comma_in_one_column_of_weather_is_named(tmp_path):
    path = tmp_path / "air.csv"
    rows = [f"2025-04-{n:02d},{comma(n / 2 + 0.25)},{n + 5.5}" for n in range(1, 21)]
    path.write_text("\n".join(["date,min (degC),max (degC)", *rows]) + "\n")
    with pytest.raises(InputError, match="decimal commas in a file parted by commas") as refused:
        read_daily_weather(path)
    assert len(refused.value.faults) == 1


def test_cells_without_values_behind_the_last_name_are_no_fault(write):
    rows = [f"{m:%Y-%m-%d %H:%M},{s},50,," for _, (m, _, s) in ROWS]
    assert load_log(write(["time,soil temp 5 cm (C),rh", *rows])).probes[0].counts.kept == 480
