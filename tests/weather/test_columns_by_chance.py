"""Files of columns drawn by chance: whatever stands beside it, nothing else is read as soil."""

import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from patchrisk.base.errors import InputError
from patchrisk.read.logger.read_log import load_log
from tests.weather.log_files import hours, lines, logger_keys, soil

MOMENTS = hours(24 * 12)
SOIL = soil(MOMENTS)
N = len(MOMENTS)

# Typed here, and not taken from the readers' own table.
SOILS = ["soil", "Soil", "SOIL", "Boden", "Erdboden", "suelo"]
TEMPS = ["temp", "Temp", "TEMP", "temperature", "Temperatur", "tmp"]
DEPTHS = {"5cm": 5.0, "10 cm": 10.0, "2in": 5.08, "4 in": 10.16, "-8in": 20.32, "50mm": 5.0}
UNITS = ["", "°C", "(°C)", "[degC]", "(C)"]
JOINTS = ["_", " ", "-", "."]

QUANTITIES = [
    *("air temp", "AirTC", "avg air temperature", "Temp Out", "Indoor Temp", "Lufttemperatur"),
    *("soil moisture", "VWC", "SM", "Soil Water Content", "Bodenfeuchte", "humedad suelo"),
    *("Wind speed", "WS", "WSms", "WDIR", "wind dir", "Gust", "wind temp"),
    *("RH", "humidity", "dew point temp", "DewPt"),
    *("Panel Temp", "PTemp", "board temp", "Batt", "battery voltage", "logger temperature"),
    *(
        "surface temp",
        "soil surface temp",
        "IR temp",
        "skin temperature",
        "canopy temp",
        "leaf temp",
    ),
    *("Soil EC", "salinity", "soil heat flux", "SHF", "Solar rad", "PAR", "rain", "precip"),
    *("snow depth", "soil matric potential", "air pressure"),
    *("Tdew", "Tsurf", "TLeaf", "tcanopy", "Twater", "Tpanel", "TAir", "AirT", "porometer temp"),
    *("TdewAvg", "TleafAvg", "TwaterMean", "TDEWAVG"),
    *("stem diameter", "soil sample weight", "PM 10 (µg/m3)", "global energy [kWhr/m^2]"),
    *("rain [mm/day]", "soil nitrogen mg/kg", "soil respiration g/m2/h"),
]
MARKS = [
    *("Variance", "Std", "stdev", "SD", "ExpUncert", "uncertainty", "StdErr", "count", "NumPts"),
    *("QC", "flag", "quality", "Min", "Max", "minimum", "Maximum"),
]


@st.composite
def plausible(draw):
    """A heading of soil temperature, with its depth."""
    joint = draw(st.sampled_from(JOINTS[:2]))
    depth = draw(st.sampled_from(list(DEPTHS)))
    words = [draw(st.sampled_from(SOILS)), draw(st.sampled_from(TEMPS))]
    mean = draw(st.sampled_from(["", "Avg", "mean"]))
    name = joint.join(filter(None, [*draw(st.permutations(words)), depth, mean]))
    unit = draw(st.sampled_from(UNITS))
    return f"{name} {unit}".strip(), DEPTHS[depth]


@st.composite
def implausible(draw):
    """A heading of another quantity, at some depth or height, or of a statistic of the soil."""
    joint = draw(st.sampled_from(JOINTS))
    length = draw(st.sampled_from(["", *DEPTHS, "10m", "20ft", "2 m"]))
    if draw(st.booleans()):
        words = draw(st.sampled_from(QUANTITIES)).split()
    else:
        soil_, temp = draw(st.sampled_from(SOILS)), draw(st.sampled_from(TEMPS))
        words = [soil_, temp, draw(st.sampled_from(MARKS))]
    end = draw(st.sampled_from(["", "Avg"])) if words[-1] not in MARKS else ""
    parts = [*words, length, end]
    style = draw(st.sampled_from(["joint", "camel", "upper"]))
    if style == "camel":
        parts = [p[:1].upper() + p[1:] for p in parts]
    name = ("" if style == "camel" else joint).join(filter(None, parts))
    return name.upper() if style == "upper" else name


VALUES = st.sampled_from(
    [SOIL, [round(v + 3, 2) for v in SOIL], [0.31] * N, [*range(N)], [55 + n % 9 for n in range(N)]]
)


@given(
    good=st.lists(plausible(), max_size=2, unique_by=lambda g: g[0]),
    bad=st.lists(st.tuples(implausible(), VALUES), min_size=1, max_size=5),
    order=st.randoms(use_true_random=False),
)
@settings(max_examples=150)
def test_no_implausible_column_is_read_or_proposed(tmp_path_factory, good, bad, order):
    columns = [(f"{name}", SOIL, depth) for name, depth in good]
    columns += [(f"{name}", values, None) for name, values in bad]
    order.shuffle(columns)
    header = ",".join(["Time", *(f'"{name}"' for name, _, _ in columns)])
    path = tmp_path_factory.mktemp("log") / "log.csv"
    text = "\n".join([header, *lines(MOMENTS, *(values for _, values, _ in columns))])
    path.write_text(text + "\n", encoding="utf-8")
    options = logger_keys(unit="degC")
    if good:
        layout = load_log(path, options).layout
        read = {c.number: c.depth_cm for c in layout.columns if c.role == "soil temperature"}
        meant = {n + 2: depth for n, (_, _, depth) in enumerate(columns) if depth is not None}
        assert read == {number: pytest.approx(depth) for number, depth in meant.items()}
        return
    with pytest.raises(InputError) as caught:
        load_log(path, options)
    (fault,) = caught.value.faults
    assert "columns = {" not in fault.cure
    for name in re.findall(r"'([^']+)' \(", fault.cure):
        assert name not in {name for name, _ in bad}
