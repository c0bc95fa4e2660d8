"""Headings as loggers and networks write them: which are soil temperature, which are asked about.

What is neither soil nor a question must never be read, nor be proposed by a cure.
"""

import re

import numpy as np
import pytest

from patchrisk.read.logger.heading import read_heading
from patchrisk.read.logger.read_log import load_log
from tests.weather.log_files import by_date, hours, lines, logger_keys, site_at, soil

MOMENTS = hours(24 * 20)
SOIL = soil(MOMENTS)
ANY = None  # soil temperature whose depth is not told

# Read without a question, with the depth [cm].
SOIL_TEMPERATURE = {
    "Soil temp 5 cm, °C": 5,
    "Soil_5cm_C": 5,
    "Soil Temp 2 in (°F)": 5.08,
    'Soil Temp 4" (°F)': 10.16,
    "Soil temp 5 cm below surface": 5,
    "soilTempMean": ANY,
    "SoilT_5cm_Avg(1)": 5,
    "T_soil_10cm": 10,
    "Tsoil": ANY,
    "Soil Temperature, °C (LGR S/N: 9724974, SEN S/N: 9724974)": ANY,
    "5TM Soil Temp °C": ANY,
    "Port 1 Soil Temperature": ANY,
    "Root zone temp 3 in (F)": 7.62,
    "soilTemp 30 min avg 5cm": 5,
    "T 10 cm depth": 10,
    "Temp_-10cm": 10,
    "Soil Temperature -8in (degF)": 20.32,
    "soil_temperature_0_to_7cm (°C)": 3.5,
    "Bodentemperatur 5cm": 5,
    "Boden 5 cm (°C)": 5,
    "Erdbodentemperatur": ANY,
    "Temperatur 10 cm Tiefe": 10,
    "Température du sol à 10 cm": 10,
    "Temperatura del suelo 5 cm": 5,
    "Bodemtemperatuur 5 cm": 5,
    "Jordtemp 10 cm": 10,
    "TS_1_1_1": ANY,  # AmeriFlux and FLUXNET: the index is no depth
    # Deutscher Wetterdienst, climate data centre: daily and hourly soil temperature, as read by
    # several public programs: V_TE002M, V_TE005M, V_TE010M ... are 2, 5, 10 cm.
    "V_TE005M": 5,
    "V_TE005": 5,
    "V_TE020M": 20,
    # NRCS: element STO, instrument, height in inches; https://wcc.sc.egov.usda.gov (the mesonet
    # software of Iowa State University maps STO.I-1:-2 to its first layer).
    "STO.I-1:-2 (degC)": 5.08,
    "STO.I-1:-8 (degC) ": 20.32,
    "STO:-4": 10.16,
    "STO -2.0 in (degF)": 5.08,
    # Kansas Mesonet, list of variables: SOILTMP5AVG, soil temperature 5 cm avg.
    "SOILTMP5AVG": 5,
    "SOILTMP10AVG655": 10,
    # Oklahoma Mesonet, help of the R package mesonet: TB05, temperature under bare soil at 5 cm.
    "TB05": 5,
    "TS10": 10,
    # Public programs that read such files give 0.10 and 0.20 m.
    "TSOIL_20": 20,
    # USCRN daily01 README.
    "SOIL_TEMP_5_DAILY": 5,
}

# Possible, but not said: asked about, with a cure that works.
QUESTIONS = [
    "Temperature",
    "Temp 1",
    "CH1",
    "Temp, °C (LGR S/N: 9724974, SEN S/N: 9724974)",
    "#1:oC",
    "Soil 5 cm",  # of what?
    "ST_5cm",
    "Ts_10cm",
    "Temp_5cm",  # below ground, or above?
    "SOIL_TEMP_5",  # cm, or inches?
    "SOIL_TEMP_20",
    "Greens °C",
    "",
]

# Something else: never read, never proposed.
OTHER = [
    "AvgAirTemp_C",
    "AirTC_Avg",
    "Temp Out",
    "Indoor Temperature(F)",
    "Temp In",
    "PanelTemp_F",
    "PTemp_C",
    "Logger temp °C",
    "SM_5cm_Avg",
    "SMS.I-1:-2 (pct)  (silt)",
    "Soil Moisture 5 cm",
    "Bodenfeuchte 10 cm",
    "SoilVWC_5cm",
    "Soil water content 5 cm",
    "WSms_20ft_Avg",
    "WDIR10M",
    "soilTempVariance",
    "soilTempExpUncert",
    "soilTempStdErMean",
    "soilTempNumPts",
    "soilTempFinalQF",
    "ExpUncert",
    "SOILTMP5MIN",
    "SOILTMP5MAX",
    "Soil Temp Min (°C)",
    "Soil temp 5 cm flag",
    "Surface temp °C",
    "Soil surface temperature °C",
    "IR_Temp_5cm",
    "Canopy temp °C",
    "Dew Pt, °C",
    "Lufttemperatur 5 cm [°C]",
    "Temperatur 5 cm über Erdboden",
    "Température de l'air",
    "Temperatura del aire",
    "Air/soil temp",
    "T_2m",
    "Soil EC 5 cm dS/m",
    "Ground heat flux 8 cm",
    "Batt 5 cm V",
    "Wind Chill °F",
    "Snow depth cm",
    "Grass min temp",
    "TS_1_1_1_SD",
    "Water temp °C",
]


@pytest.mark.parametrize("heading", SOIL_TEMPERATURE)
def test_soil_temperature_is_read_with_its_depth(write, heading):
    quoted = heading.replace('"', '""')
    path = write([f'Time,"{quoted}"', *lines(MOMENTS, SOIL)])
    (probe,) = load_log(path, logger_keys(unit="degC")).probes
    depth = SOIL_TEMPERATURE[heading]
    expected = np.nan if depth is None else depth
    assert probe.depth_cm == pytest.approx(expected, abs=0.01, nan_ok=True)
    assert by_date(probe)["mean_c"].iloc[5] == pytest.approx(16.0, abs=0.01)


@pytest.mark.parametrize("heading", QUESTIONS)
def test_what_is_not_said_is_asked_and_the_cure_leads_on(write, refusal, heading):
    path = write([f'Time,"{heading}"', *lines(MOMENTS, SOIL)])
    (said,) = refusal(path)
    key, deep = re.search(r'set columns = \{ "([^"]+)" = "(\d+) cm" \}', said).groups()
    (probe,) = load_log(path, logger_keys(columns={key: f"{deep} cm"}, unit="degC")).probes
    assert probe.depth_cm == float(deep)
    assert "19.46, 14.96" in said  # some of its values


@pytest.mark.parametrize("heading", OTHER)
def test_something_else_is_neither_read_nor_proposed(write, refusal, heading):
    path = write([f'Time,"{heading}"', *lines(MOMENTS, SOIL)])
    (said,) = refusal(path)
    assert said.startswith("no column is soil temperature; there are column 2 ")
    assert "columns = {" not in said


def test_the_tables_are_of_some_size():
    assert len(SOIL_TEMPERATURE) + len(QUESTIONS) + len(OTHER) >= 40


@pytest.mark.parametrize("name", SOIL_TEMPERATURE)
def test_a_mark_of_quality_or_spread_makes_it_another_column(name):
    for mark in ("qc", "Flag", "StdDev", "uncertainty", "count"):
        assert not read_heading(f"{name.strip()}_{mark}").certain


# --- several columns -----------------------------------------------------------------------------


def test_probes_without_a_depth_are_a_question_and_never_an_average(write, refusal):
    names = [f"SOIL_TEMP_{n}" for n in (5, 10, 20, 50, 100)]
    path = write([",".join(["Time", *names]), *lines(MOMENTS, *[SOIL] * 5)])
    (said,) = refusal(path)
    assert said.startswith("5 probes without a depth: column 2 'SOIL_TEMP_5' (19.46, 14.96), ")
    assert said.endswith('say which, and how deep: set columns = { "SOIL_TEMP_5" = "5 cm" }')
    told = load_log(path, logger_keys(columns={"SOIL_TEMP_5": "5 cm", "SOIL_TEMP_10": "25.4 cm"}))
    assert [p.depth_cm for p in told.probes] == [5.0, 25.4]


def test_ports_of_one_logger_are_a_question(write, refusal):
    path = write(["Time,Port 1 Soil °C,Port 2 Soil °C", *lines(MOMENTS, SOIL, SOIL)])
    (said,) = refusal(path)
    assert said.startswith("2 probes without a depth: ")


def test_beside_known_depths_one_without_is_passed_over_and_told(write):
    path = write(["Time,Soil temp 5 cm °C,Soil temp spare °C", *lines(MOMENTS, SOIL, SOIL)])
    logged = load_log(path)
    assert [p.name for p in logged.probes] == ["Soil temp 5 cm °C"]
    said = "\n".join(logged.layout.lines())
    assert "column 3 'Soil temp spare °C': set aside [degC]: no depth in its name" in said


def test_a_probe_too_deep_or_on_the_surface_is_passed_over_by_name(write, refusal):
    header = "Time,Soil temp 0 cm,Soil temp 10 cm,Soil temp 100 cm,Soil temp 2 m"
    logged = load_log(write([header, *lines(MOMENTS, *[SOIL] * 4)]))
    assert [p.depth_cm for p in logged.probes] == [10.0]
    said = "\n".join(logged.layout.lines())
    assert "'Soil temp 0 cm' passed over: it lies at 0 cm, on the surface" in said
    assert "'Soil temp 100 cm' passed over: it lies at 100 cm, deeper than 25.5 cm" in said
    assert "'Soil temp 2 m' passed over: it lies at 200 cm" in said
    (said,) = refusal(write(["Time,Soil temp 50 cm", *lines(MOMENTS, SOIL)]))
    assert "no probe below the surface and above 25.5 cm: 'Soil temp 50 cm' at 50 cm" in said


def test_minima_and_maxima_at_a_depth_go_with_their_mean_and_are_no_probes(write):
    days = hours(40, step_h=24)
    mean = soil(days, 15)
    header = "Date,SOILTMP5AVG,SOILTMP5MIN,SOILTMP5MAX,SOILTMP10MIN"
    rows = lines(days, mean, [v - 4 for v in mean], [v + 4 for v in mean], mean, stamp="%Y-%m-%d")
    (probe,) = load_log(write([header, *rows])).probes
    assert probe.depth_cm == 5
    day = by_date(probe).iloc[3]
    assert day["max_c"] - day["mean_c"] == day["mean_c"] - day["min_c"] == 4


# --- what is told --------------------------------------------------------------------------------


def test_a_told_column_that_is_gone_is_refused_with_what_is_there(write, refusal):
    path = write(["Time,Soil temp A °C,Wind m/s", *lines(MOMENTS, SOIL, SOIL)])
    assert refusal(path, logger_keys(columns={"Soil temp B °C": "5 cm"})) == [
        "columns: no column 'Soil temp B °C': "
        "write one of column 2 'Soil temp A °C' (19.46, 14.96 degC)"
    ]


N = len(MOMENTS)
IMPOSSIBLE = {
    "row numbers": (range(1, N + 1), "they count the rows"),
    "rain": (
        [7.0 if n % 9 == 0 else 0.4 if n % 4 == 0 else 0.0 for n in range(N)],
        "67 % of them are 0 and the others leap, as amounts of rain do",
    ),
    "a constant": ([12.5] * N, "every value is 12.5 degC"),
    "air pressure": (
        [1013 + n % 7 for n in range(N)],
        "values of 1013 to 1019 lie outside -30 to 60 degC",
    ),
}


@pytest.mark.parametrize("what", IMPOSSIBLE)
def test_a_told_column_that_can_not_be_soil_is_refused_with_the_reason(write, refusal, what):
    values, why = IMPOSSIBLE[what]
    path = write(["Time,A,Temp °C", *lines(MOMENTS, values, SOIL)])
    assert refusal(path, logger_keys(columns={"A": "5 cm"})) == [
        f"column 'A': this can't be soil temperature: {why}: "
        "name another: column 3 'Temp °C' (19.46, 14.96 degC)"
    ]
    (said,) = refusal(path)  # nor is it proposed
    assert "'A'" not in said


@pytest.mark.parametrize(("latitude", "refused"), [(45.0, True), (10.0, False), (None, False)])
def test_no_wave_of_the_year_is_refused_outside_the_tropics(write, refusal, latitude, refused):
    days = hours(300, step_h=24)
    values = [round(20 + 0.5 * (n % 3), 1) for n in range(300)]
    path = write(["Date,Temp °C", *lines(days, values, stamp="%Y-%m-%d")])
    options = logger_keys(columns={"Temp °C": "5 cm"})
    place = None if latitude is None else site_at(latitude=latitude)
    if refused:
        (said,) = refusal(path, options, place)
        assert "they show no wave of the year" in said
    else:
        assert len(load_log(path, options, place).probes) == 1


@pytest.mark.parametrize("latitude", [45.0, -45.0])
def test_a_wave_with_its_top_in_winter_is_refused(write, refusal, latitude):
    from math import cos, pi

    days = hours(320, step_h=24)
    values = [round(15 + 9 * cos(2 * pi * (d.timetuple().tm_yday - 205) / 365), 1) for d in days]
    path = write(["Date,Temp °C", *lines(days, values, stamp="%Y-%m-%d")])
    options, place = logger_keys(columns={"Temp °C": "5 cm"}), site_at(latitude=latitude)
    if latitude > 0:
        assert len(load_log(path, options, place).probes) == 1
    else:
        (said,) = refusal(path, options, place)
        assert "where soil is not warmest" in said


def test_kelvin_is_read(write):
    values = [round(v + 273.15, 2) for v in SOIL]
    for header in ("Soil temp 5 cm (K)", "Soil temp 5 cm"):
        (probe,) = load_log(write([f"Time,{header}", *lines(MOMENTS, values)])).probes
        assert by_date(probe)["mean_c"].iloc[5] == pytest.approx(16.0, abs=0.01)


@pytest.mark.parametrize(
    ("header", "depth_cm"),
    [
        ("Soil temp 10-20 cm (C)", 15.0),
        ("Soil temp (5–15 cm)", 10.0),
        ("soil_temperature_7_to_28cm", 17.5),
        ("Soil temp sensor 1 - 10 cm", 10.0),
        ("SoilTemp_1-10cm", 10.0),
        ("Soil temp -10 cm", 10.0),
    ],
)
def test_a_layer_stands_for_its_middle(header, depth_cm):
    assert read_heading(header).depth_cm == pytest.approx(depth_cm)


@pytest.mark.parametrize("word", ["raw", "setpoint", "forecast", "modelled"])
def test_what_is_no_sound_reading_of_the_soil_is_set_aside(word):
    assert read_heading(f"Soil temp {word} 5 cm (C)").aside == "no sound reading"
