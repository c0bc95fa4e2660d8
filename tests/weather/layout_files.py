"""Files in the layouts that instruments and databases write, made for the tests.

Each builder says where its layout was seen; the readings are made up. `days` works the daily means
out again from the readings alone.
"""

import io
from collections.abc import Iterable, Sequence
from datetime import datetime, timedelta

import numpy as np

START = datetime(2024, 4, 27)  # 13 and later days of May settle day and month


def hours(count: int = 480, start: datetime = START, step_h: float = 1.0) -> list[datetime]:
    """Moments a step apart."""
    return [start + n * timedelta(hours=step_h) for n in range(count)]


def wave(moments: Iterable[datetime], mean: float = 14.0, swing: float = 3.0) -> list[float]:
    """Soil temperature that warms from day to day and with the hour [degC], to 0.01."""
    out = []
    for m in moments:
        day = (m - START).total_seconds() / 86400
        out.append(round(mean + 0.11 * day + swing * float(np.cos(2 * np.pi * (day - 2 / 3))), 2))
    return out


def days(moments: Sequence[datetime], values: Sequence[float]) -> dict[str, float]:
    """Plain mean of each calendar day's readings, by its ISO date."""
    sums: dict[str, list[float]] = {}
    for moment, value in zip(moments, values, strict=True):
        sums.setdefault(f"{moment:%Y-%m-%d}", []).append(value)
    return {day: sum(given) / len(given) for day, given in sums.items()}


MOMENTS = hours()
SOIL = wave(MOMENTS)
DEEP = wave(MOMENTS, 12.0, 1.0)
AIR = wave(MOMENTS, 17.0, 8.0)
MEANS = days(MOMENTS, SOIL)
DEEP_MEANS = days(MOMENTS, DEEP)


def table_with_quality_words() -> list[str]:
    """TOA5: four header lines, units and statistics below the names, words beside numbers.

    The TOA5 layout, from memory.
    """
    head = [
        '"TOA5","Green9","CR1000X","12345","CR1000X.Std.05.00","CPU:green.CR1X","4711","Hourly"',
        '"TIMESTAMP","RECORD","BattV_Min","SoilTemp_5cm_Avg","SoilTemp_QF","AirTC_Avg","Note"',
        '"TS","RN","Volts","Deg C","","Deg C",""',
        '"","","Min","Avg","Smp","Avg","Smp"',
    ]
    rows = [
        f'"{m:%Y-%m-%d %H:%M:%S}",{n},12.7,{s},"{"OK" if n % 7 else "CHECK"}",{a},"mown, wet"'
        for n, (m, s, a) in enumerate(zip(MOMENTS, SOIL, AIR, strict=True))
    ]
    return head + rows


def preamble_of_keys_and_values() -> list[str]:
    """A title block of keys and values, blank lines, names, then units and statistics."""
    head = [
        "Serial number,A00417",
        "Site,Green 9",
        "First reading,2024-04-27 00:00,UTC-05:00",
        "Logging interval,3600,s",
        "",
        "[Data]",
        "",
        "Date Time,Soil temperature 5 cm,Air temperature,Remark",
        "yyyy-mm-dd HH:MM,°C,°C,",
        ",mean,mean,",
        "",
    ]
    rows = zip(MOMENTS, SOIL, AIR, strict=True)
    return head + [f"{m:%Y-%m-%d %H:%M},{s},{a},none" for m, s, a in rows]


def year_month_day(delimiter: str = ",", month: str = "%m") -> list[str]:
    """Year, month, day, hour and minute in columns of their own.

    A common layout of station networks; from memory.
    """
    head = delimiter.join(["Year", "Month", "Day", "Hour", "Minute", "Soil_Temp_5cm_C", "Air_C"])
    rows = zip(MOMENTS, SOIL, AIR, strict=True)
    return [head] + [
        delimiter.join(
            [str(m.year), m.strftime(month), str(m.day), str(m.hour), "0", str(s), str(a)]
        )
        for m, s, a in rows
    ]


def day_of_year(clock: str = "hhmm", delimiter: str = ",") -> list[str]:
    """Year, day of the year and the time as 0 to 2300, or as hours 1 to 24 of the day.

    The layout of older loggers' array tables; from memory.
    """
    name = {"hhmm": "HHMM", "hour": "Hour", "decimal": "Decimal_hour", "24": "Hour"}[clock]
    head = delimiter.join(["Site_ID", "Year", "DOY", name, "Tsoil_5cm_C"])
    out = [head]
    for m, s in zip(MOMENTS, SOIL, strict=True):
        day, hour = m, m.hour
        if clock == "24" and m.hour == 0:
            day, hour = m - timedelta(days=1), 24
        written = hour * 100 if clock == "hhmm" else hour
        out.append(delimiter.join(map(str, ["9", day.year, day.timetuple().tm_yday, written, s])))
    return out


def date_hour_minute() -> list[str]:
    """A date as usual, hour and minute beside it; half-hourly."""
    moments = hours(960, step_h=0.5)
    pairs = zip(moments, wave(moments), strict=True)
    rows = [f"{m:%Y-%m-%d},{m.hour},{m.minute},{s}" for m, s in pairs]
    return ["Date,Hour,Minute,Soil temp 5 cm (C)", *rows]


def by_sensor(shift_s: int = 0) -> list[str]:
    """One row for each sensor and time, sensors in turn; the second may report later."""
    out = ["timestamp,sensor_id,value,unit"]
    for m, s, a in zip(MOMENTS, SOIL, AIR, strict=True):
        late = m + timedelta(seconds=shift_s)
        out.append(f"{m:%Y-%m-%dT%H:%M:%S},soil_temp_5cm,{s},°C")
        out.append(f"{late:%Y-%m-%dT%H:%M:%S},air_temp,{a},°C")
        out.append(f"{late:%Y-%m-%dT%H:%M:%S},battery,3.61,V")
    return out


def by_variable_in_blocks() -> list[str]:
    """All of one variable, then all of the next, parted by semicolons with decimal commas."""
    out = ["Parameter;Datum;Zeit;Wert;Status"]
    for name, values in (("Lufttemperatur (°C)", AIR), ("Bodentemperatur 5 cm (°C)", SOIL)):
        out += [
            f"{name};{m:%d.%m.%Y};{m:%H:%M};{str(v).replace('.', ',')};ok"
            for m, v in zip(MOMENTS, values, strict=True)
        ]
    return out


def by_depth() -> list[str]:
    """One row for each depth and time, the depth's unit in its header."""
    return ["Time,Depth_cm,Soil temperature (°C),VWC (%)"] + [
        f"{m:%Y-%m-%d %H:%M},{depth},{v},31.5"
        for m, s, d in zip(MOMENTS, SOIL, DEEP, strict=True)
        for depth, v in ((5, s), (10, d))
    ]


def two_sensors_alike() -> list[str]:
    """Two sensors in one column of temperature, told apart by their serial numbers."""
    return ["Time,Device,Soil temperature (°C)"] + [
        f"{m:%Y-%m-%d %H:%M},{name},{v}"
        for m, s, d in zip(MOMENTS, SOIL, DEEP, strict=True)
        for name, v in (("A81758", s), ("A81761", d))
    ]


def annotated_csv(crlf: bool = False) -> bytes:
    """InfluxDB's annotated CSV, one table for each field, annotations anew before the second.

    Layout: https://docs.influxdata.com/influxdb/v2/reference/syntax/annotated-csv/
    """
    kinds = "#datatype,string,long,dateTime:RFC3339,dateTime:RFC3339,dateTime:RFC3339,double"
    head = [
        f"{kinds},string,string,string",
        "#group,false,false,true,true,false,false,true,true,true",
        "#default,_result,,,,,,,,",
        ",result,table,_start,_stop,_time,_value,_field,_measurement,green",
    ]
    out = []
    for n, (field, values) in enumerate((("air_temp_c", AIR), ("soil_temp_5cm_c", SOIL))):
        rows = zip(MOMENTS, values, strict=True)
        out += head + [
            f",,{n},2024-04-26T00:00:00Z,2024-05-20T00:00:00Z,{m:%Y-%m-%dT%H:%M:%SZ},{v},{field}"
            ",weather,9"
            for m, v in rows
        ]
        out.append("")
    return ("\r\n" if crlf else "\n").join(out).encode() + b"\n"


def state_history() -> list[str]:
    """Home Assistant's history as downloaded: a row when a state changed, and words between.

    Layout: entity_id,state,last_changed, seen described in several public repositories that read
    such files; one row in each when the state changes.
    """
    out = ["entity_id,state,last_changed"]
    for name, values in (("sensor.green_9_soil_temperature_5cm", SOIL), ("sensor.air", AIR)):
        out.append(f"{name},unavailable,{MOMENTS[0]:%Y-%m-%dT%H:%M:%S.000Z}")
        out += [
            f"{name},{v},{m:%Y-%m-%dT%H:%M:%S}.{n % 1000:03d}Z"
            for n, (m, v) in enumerate(zip(MOMENTS, values, strict=True))
        ]
        out.insert(200, f"{name},unknown,{MOMENTS[190]:%Y-%m-%dT%H:%M:%S.500Z}")
    return out


def series_time_value() -> list[str]:
    """Grafana's older export of series as rows, with the line that tells a spreadsheet its mark.

    Layout: Series;Time;Value, seen in public copies of the exporting code, convertSeriesListToCsv.
    """
    out = ["sep=;", '"Series";"Time";"Value"']
    for name, values in (("Soil temperature 5 cm °C", SOIL), ("Air °C", AIR)):
        out += [
            f'"{name}";"{m:%Y-%m-%dT%H:%M:%S}+00:00";{v if n != 5 else "null"}'
            for n, (m, v) in enumerate(zip(MOMENTS, values, strict=True))
        ]
    return out


def microclimate(decimal: str = ".", parts: int = 1) -> list[str]:
    """``n;date;zone;T1;T2;T3;moisture;shake;error;`` without a header, every 15 minutes, in UTC.

    Described, with a sample line, in R/tomst.R of github.com/atkinsjeff/MicroData.
    """
    moments = hours(1920, step_h=0.25)
    rows = zip(moments, wave(moments), wave(moments, 15, 6), wave(moments, 17, 8), strict=True)
    lines = [
        f"{n % (1920 // parts)};{m:%Y.%m.%d %H:%M};4;{a};{b};{c};{1800 + n % 90};202;0;"
        for n, (m, a, b, c) in enumerate(rows)
    ]
    return [_comma(line, decimal) for line in lines]


def _comma(line: str, decimal: str) -> str:
    if decimal == ".":
        return line
    n, at, zone, *values = line.split(";")
    return ";".join([n, at, zone, *(v.replace(".", ",") for v in values)])


def snow_network_report(statistic: str = " Mean of Hourly Values") -> list[str]:
    """A report of the US snow and soil networks (SNOTEL, SCAN): a long preamble of # lines.

    Column names as in public copies of such reports, "Soil Temperature Observed -2in (degF)".
    """
    head = ["#" + "-" * 60, "# Report Created: 2024-07-01 10:11:12 UTC", "#"]
    head += [f"# note {n}, with a comma; and more" for n in range(50)]
    depths = ",".join(
        f"Soil Temperature Observed -{d}in (degF){statistic},Soil Moisture Percent -{d}in (pct)"
        for d in (2, 4)
    )
    head += ["#", f"Date,Station Id,Air Temperature Average (degF),{depths}"]
    out = []
    for n, day in enumerate(MEANS):
        two, four = MEANS[day] * 1.8 + 32, DEEP_MEANS[day] * 1.8 + 32
        out.append(f"{day},2021,{60 + n % 9},{two:.4f},12.5,{four:.4f},17.1")
    return head + out


def workbook(sheets: dict[str, Sequence[Sequence[object]]]) -> bytes:
    """Return an Excel workbook with these rows in these sheets."""
    import openpyxl

    book = openpyxl.Workbook()
    book.remove(book.active)
    for name, rows in sheets.items():
        sheet = book.create_sheet(name)
        for row in rows:
            sheet.append(list(row))
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def old_workbook(sheets: dict[str, Sequence[Sequence[object]]]) -> bytes:
    """Return a workbook of the older kind (.xls), dates shown as dates."""
    import xlwt

    book = xlwt.Workbook()
    dated = xlwt.easyxf(num_format_str="DD/MM/YYYY HH:MM")
    for name, rows in sheets.items():
        sheet = book.add_sheet(name)
        for n, row in enumerate(rows):
            for k, cell in enumerate(row):
                style = (dated,) if isinstance(cell, datetime) else ()
                sheet.write(n, k, cell, *style)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def soil_sheet() -> list[list[object]]:
    """Rows of a sheet: a title, a blank row, names, then times kept as dates by Excel."""
    rows: list[list[object]] = [["Green 9"], [], ["Date Time", "Soil temp 5 cm (°C)", "Air (°C)"]]
    return rows + [[m, s, a] for m, s, a in zip(MOMENTS, SOIL, AIR, strict=True)]
