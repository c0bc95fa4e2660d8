"""Files as people first name them: read right, or refused in words that lead on in one step.

Each layout says where it was seen, in public repositories; the figures are made up here.
"""

import re
import tomllib
from datetime import date, datetime, timedelta

import pytest

from patchrisk.base.errors import InputError
from patchrisk.read.logger.read_log import load_log
from patchrisk.read.site import WeatherFile
from patchrisk.read.weather.own import read_daily_weather
from tests.weather import layout_files as files
from tests.weather.log_files import logger_keys, site_at
from tests.weather.service_files import WEATHER, weather_days
from tests.weather.test_layouts import assert_days, daily

PLACE = site_at()
KEYS = re.compile(r'columns = \{[^}]*\}|(?:rain_)?unit = "[^"]*"|sheet = "[^"]*"')


def first_keys(faults):
    """What the cures say to write, to the letter; of two units the one that stands first."""
    told = {}
    for fault in faults:
        for text in KEYS.findall(fault.cure):
            for key, value in tomllib.loads(text).items():
                if key == "columns":
                    told[key] = {**told.get(key, {}), **value}
                else:
                    told.setdefault(key, value)
    return told


def weather_after_one_cure(path, **told):
    """Own weather read once what the first refusal says is written; the keys beside it."""
    with pytest.raises(InputError) as refused:
        read_daily_weather(path, WeatherFile(file=path.name, **told))
    keys = first_keys(refused.value.faults)
    return read_daily_weather(path, WeatherFile(file=path.name, **{**told, **keys}))[0], keys


def log_after_one_cure(path):
    with pytest.raises(InputError) as refused:
        load_log(path, place=PLACE)
    keys = first_keys(refused.value.faults)
    log = load_log(path, logger_keys(**keys), PLACE)
    return log, keys.pop("columns", {}), keys


def assert_weather(frame):
    for day, low, high, rain, _ in WEATHER:
        row = frame.loc[day]
        assert row["air_min_c"] == pytest.approx(low, abs=0.06)
        assert row["air_max_c"] == pytest.approx(high, abs=0.06)
        assert row["rain_mm"] == pytest.approx(rain, abs=0.06)


def of_days(header, row):
    return [header, *(row(datetime.fromisoformat(day), *rest) for day, *rest in WEATHER)]


def dutch():
    """KNMI, etmgeg: seen in danielvdneut/knmi-dashboard; tenths, and -1 for a trace of rain."""
    legend = [
        "BRON: KONINKLIJK NEDERLANDS METEOROLOGISCH INSTITUUT (KNMI)",
        "TN        = Minimum temperatuur (in 0.1 graden Celsius)",
        "",
    ]
    head = "# STN,YYYYMMDD,DDVEC,   TG,   TN,  TNH,   TX,  TXH, T10N,   SQ,    Q,   DR,   RH, EV24"

    def row(day, low, high, rain, _):
        wet = -1 if rain == 0 else round(rain * 10)
        mean = round((low + high) * 5)
        return (
            f"  249,{day:%Y%m%d},  271,{mean:5d},{round(low * 10):5d},    1,{round(high * 10):5d}"
            f",   13,   46,    4,  552,   59,{wet:5d},    8"
        )

    return [*legend, *of_days(head, row)]


def irish():
    """Met Éireann, daily data: seen in eoiny/rain, 26 lines of legend cut to three."""
    head = "date,ind,maxtp,ind,mintp,igmin,gmin,ind,rain,cbl,wdsp,soil"
    return [
        "Station Name: Somewhere",
        "maxtp: - Maximum Air Temperature (C)",
        "",
        *of_days(head, lambda d, low, high, wet, _: f"{d:%d-%b-%Y},0,{high},0,{low},0,2,0,{wet},"
        "1008.8,3.9,9.1"),
    ]  # fmt: skip


def reference_network():
    """USCRN daily01 with its own headings: seen in andres-patrignani/pynotes; -9999 missing."""
    head = "WBANNO,LST_DATE,T_DAILY_MAX,T_DAILY_MIN,T_DAILY_AVG,P_DAILY_CALC,SOLARAD_DAILY"
    return of_days(
        head, lambda d, low, high, wet, _: f"63898,{d:%Y%m%d},{high},{low},-9999,{wet},15.15"
    )


def gridded():
    """Daymet: seen in bluegreen-labs/daymetr; seven lines of title, units of a day."""
    head = "year,yday,dayl (s),prcp (mm/day),srad (W/m^2),swe (kg/m^2),tmax (deg c),tmin (deg c)"
    return [
        "Latitude: 36.0133  Longitude: -84.2625",
        "Tile: 11388",
        *of_days(
            head,
            lambda d, low, high, wet, _: (
                f"{d.year}.0,{d.timetuple().tm_yday}.0,34560.0,{wet},300.0,0.0,{high},{low}"
            ),
        ),
    ]


@pytest.mark.parametrize("build", [dutch, irish, reference_network, gridded])
def test_own_weather_read_at_once(write, build):
    frame, _ = read_daily_weather(write(build()), None, date(2024, 6, 1))
    assert_weather(frame)


def with_records():
    """Normals and records beside the day's own: seen in rmk118/testingSetup, a US station's."""
    return of_days(
        "Date,Tmax,Tmin,Tavg,Rec Tmax,Year,Rec Tmin,Year,Norm Tmax,Norm Tmin,Tmax Anom,Prcp",
        lambda d, low, high, wet, _: (
            f"{d:%Y/%m/%d},{high * 1.8 + 32:.1f},{low * 1.8 + 32:.1f},50,"
            f"99,1966,-11,2018,31,17,4,{wet / 25.4:.3f}"
        ),
    )


def with_flags():
    """f.prec flags prec, s10t is soil at 10 cm: seen in jtchristie/SoilTempPrediction."""
    return of_days(
        "date,airt,f.airt,airtmax,f.airtmax,airtmin,f.airtmin,prec,f.prec,s10tmax,f.s10tmax",
        lambda d, low, high, wet, _: (
            f"{d:%Y-%m-%d},50,,{high * 1.8 + 32:.1f},,{low * 1.8 + 32:.1f},,{wet / 25.4:.3f},,60,M"
        ),
    )


def short_names():
    """TN, TX in French: seen in GeraultTr/soiltemp; here with rain named in full."""
    return of_days(
        "AN;MOIS;JOUR;TM;TN;TX;RG;rain (mm)",
        lambda d, low, high, wet, _: f"{d.year};{d.month};{d.day};9;{low};{high};463;{wet}",
    )


def gridded_names():
    """tmmn, tmmx: seen in soilwater/pynotes-agriscience."""
    return of_days(
        "id,timestamp,tmmn,tmmx,rmax,rain (mm)",
        lambda d, low, high, wet, _: f"1,{d:%Y-%m-%d},{low},{high},77,{wet}",
    )


def sunrise_beside():
    """TminSr, of other sensors, beside Tmin: seen in ajijohn/table-mt-microclimate-2012."""
    return of_days(
        "date,Tmin,Tmax,TminSr,TmaxSr,rain (mm)",
        lambda d, low, high, wet, _: f"{d:%Y-%m-%d},{low},{high},12.1,15.7,{wet}",
    )


@pytest.mark.parametrize(
    ("build", "keys"),
    [
        (with_records, {"unit": "degF", "rain_unit": "in"}),
        (with_flags, {"unit": "degF", "rain_unit": "in"}),
        (short_names, {"unit": "degC"}),
        (gridded_names, {"unit": "degC"}),
        (sunrise_beside, {"unit": "degC"}),
    ],
)
def test_own_weather_after_one_cure_to_the_letter(write, build, keys):
    frame, told = weather_after_one_cure(write(build()))
    assert told == keys
    assert_weather(frame)


def test_headings_without_a_word_ask_for_both_columns_and_the_rest_at_once(write):
    path = write(of_days("day,a,b,rain", lambda d, low, high, wet, _: f"{d:%F},{low},{high},{wet}"))
    with pytest.raises(InputError) as refused:
        read_daily_weather(path)
    lacking, rain = refused.value.faults
    assert 'columns = { air_min_c = "HEADER", air_max_c = "HEADER" }' in lacking.cure
    assert 'rain_unit = "mm"' in rain.cure


def test_of_several_columns_the_first_is_proposed_and_all_are_shown(write):
    path = write(
        of_days(
            "date,min a (C),min b (C),max (C)", lambda d, low, high, *_: f"{d:%F},{low},9,{high}"
        )
    )
    with pytest.raises(InputError) as refused:
        read_daily_weather(path)
    (fault,) = refused.value.faults
    assert "column 2 'min a (C)', column 3 'min b (C)'" in fault.found
    assert fault.cure.endswith('columns = { air_min_c = "column 2" }')


@pytest.mark.parametrize(
    ("stamps", "found"),
    [
        ([f"2024-05-{1 + n // 24:02d} {n % 24:02d}:00" for n in range(240)], "24 rows for one day"),
        ([f"2024-05-{1 + n // 3:02d}" for n in range(60)], "3 rows for one day"),
        ([f"2024-{1 + n:02d}-01" for n in range(12)], "one row for 31 days"),
    ],
)
def test_rows_of_hours_of_places_and_of_months_are_no_days(write, stamps, found):
    """Hours: seen in pvlib/pvlib-python; places: anthonydn/snowmelt_belowground; months:
    glvasey/ds4eeb_FinalProject_Soil_Carbon, where a month's mean stands on its first day."""
    rows = [f"{stamp},{n % 7}.5,{n % 7 + 9}.5" for n, stamp in enumerate(stamps)]
    with pytest.raises(InputError, match=found):
        read_daily_weather(write(["date,tmin,tmax", *rows]))


def test_a_month_is_no_day_of_a_logger(write, refusal):
    rows = [f"20{y}-{m:02d}-01,{10 + m}.3" for y in (22, 23) for m in range(1, 13)]
    said = ["one row for 31 days: export one row a day, or more"]
    assert refusal(write(["Date,Soil temp 5 cm (C)", *rows])) == said


def test_days_that_stand_twice_are_put_together_unless_they_contradict(write):
    """Half of a day's figures in each of two rows, or a download repeated."""
    head, first, *rest = of_days(
        "date,min (C),max (C)", lambda d, low, high, *_: f"{d:%F},{low},{high}"
    )
    day, low, high = first.split(",")
    frame, notes = read_daily_weather(
        write([head, f"{day},{low},", f"{day},,{high}", *rest, rest[0]])
    )
    assert frame.iloc[0].tolist() == [float(low), float(high)]
    assert notes[-1] == "days named by more than one row, none against another: 2"
    with pytest.raises(InputError, match="stands twice with different figures"):
        read_daily_weather(write([head, first, f"{day},{low},{float(high) + 1}", *rest]))


def test_one_impossible_day_of_many_is_left_out_and_told(write):
    """A least above the greatest on one day of 35 years: seen in vitale232/SNOTEL."""
    rows = [f"{d},{low},{high}" for d, low, high, *_ in weather_days(400)]
    day, low, high = rows[7].split(",")
    rows[7] = f"{day},{high},{low}"
    frame, (note,) = read_daily_weather(write(["date,min (C),max (C)", *rows]))
    assert note == "line 9: the minimum is above the maximum (1 such days): left out"
    assert frame.loc[day].isna().all()
    assert frame.notna().all(axis=1).sum() == 399


def soil_rows(stamp, *beside):
    return [
        ",".join([stamp(m), f"{s}", *(text(n) for text in beside)])
        for n, (m, s) in enumerate(zip(files.MOMENTS, files.SOIL, strict=True))
    ]


def test_the_letters_of_a_zone_are_its_offset(write):
    """2026-07-01 17:00:00 CEST: seen in DenisVillemonais/meteo-strasbourg-botanique."""
    rows = soil_rows(lambda m: f"{m + timedelta(hours=2):%Y-%m-%d %H:%M:%S} CEST")
    log = load_log(write(["date,soil temp 5 cm (C)", *rows]), place=PLACE)
    assert_days(daily(log), files.MEANS)


def test_a_compact_time_behind_a_colon(write):
    """20180101:0010: seen in pvlib/pvlib-python, of PVGIS."""
    rows = soil_rows(lambda m: f"{m:%Y%m%d:%H%M}")
    log = load_log(write(["time(UTC),soil temp 5 cm (C)", *rows]), place=PLACE)
    assert_days(daily(log), files.MEANS)


def test_several_loggers_by_their_number(write):
    """logger_ID beside temperature is no logger's own: seen in Kryshtoson/Alpine_plants."""
    rows = [
        f"{n},{m:%Y-%m-%dT%H:%M:%SZ},{s + n - 19}"
        for n in (19, 96)
        for m, s in zip(files.MOMENTS, files.SOIL, strict=True)
    ]
    log, columns, _ = log_after_one_cure(write(["logger_ID,date,temperature", *rows]))
    assert columns == {"temperature logger id 19": "5 cm"}
    assert_days(daily(log), files.MEANS)


def test_a_cure_takes_the_depth_from_the_heading_and_asks_for_the_unit(write):
    """ST_10, ST_50: seen in TyrikeDaniels/soil-temp-modeling; of 30 degrees the unit is open."""
    warm = [f"{m:%Y-%m-%d %H:%M},{20 + s:.2f},{20 + s:.2f}"
            for m, s in zip(files.MOMENTS, files.SOIL, strict=True)]  # fmt: skip
    log, columns, keys = log_after_one_cure(write(["time,ST_x,ST_10", *warm]))
    assert columns == {"ST_10": "10 cm"}
    assert keys == {"unit": "degC"}
    expected = {day: mean + 20 for day, mean in files.MEANS.items()}
    assert_days(daily(log), expected)


@pytest.mark.parametrize(
    ("header", "value"),
    [
        ("Global PSP (Accumulated) [kWhr/m^2]", lambda n: f"{n % 24 / 5}"),
        ("Particulate Matter 10 (µg/m3)", lambda n: f"{6 + n % 9}"),
        ("Tdew", lambda n: f"{8 + n % 24 / 4}"),
        ("G(h)", lambda n: f"{max(0, 400 - 60 * abs(n % 24 - 12))}"),
        ("stam_diameter 1_cm", lambda n: f"{5 + n / 100}"),
    ],
)
def test_what_is_no_soil_is_not_proposed(write, refusal, header, value):
    """Seen in pvlib/pvlib-python, gsc-permafrost/EC_dataPipeline, soilwater/pynotes-agriscience."""
    rows = [f"{m:%Y-%m-%d %H:%M},{value(n)}" for n, m in enumerate(files.MOMENTS)]
    (said,) = refusal(write([f'time,"{header}"', *rows]), place=PLACE)
    assert said.startswith("no column is soil temperature")


def test_days_and_months_without_a_year_are_named(write, refusal):
    """Month, Day, Hour, DoY: seen in EcoForecast/EF_Activities."""
    rows = [f"{m.month},{m.day},{m.hour},{m.timetuple().tm_yday},{s}"
            for m, s in zip(files.MOMENTS, files.SOIL, strict=True)]  # fmt: skip
    said = ["line 1: days and months without their year: export dates with the year"]
    assert refusal(write(["Month,Day,Hour,DoY,Ts_f", *rows])) == said


def test_an_empty_column_of_another_quantity_is_not_the_reason(write, refusal):
    """Soil moisture without a figure: seen in allydetre/snotelprocessr."""
    rows = [f"2023-01-{d:02d},8.5,NA" for d in range(1, 32)]
    (said,) = refusal(write(["Date,Snow depth (in),Soil moisture 40in (pct)", *rows]))
    assert "moisture 40in" not in said.split(": ")[0]
    assert said.startswith("no column is soil temperature")
