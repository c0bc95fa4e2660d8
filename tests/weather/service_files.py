"""Daily files in the layouts of national weather services, with made-up figures."""

from datetime import datetime, timedelta

import numpy as np

from tests.weather.layout_files import DEEP_MEANS, MEANS


def german_soil() -> list[str]:
    """Daily soil temperatures of Germany's weather service (DWD), -999 where there is none.

    Header and rows seen in the tests of a public repository, STATIONS_ID;MESS_DATUM;QN_2;V_TE002M;
    V_TE005M;...;eor; described in DESCRIPTION_obsgermany_climate_daily_soil_temperature of
    opendata.dwd.de, from memory.
    """
    out = ["STATIONS_ID;MESS_DATUM;QN_2;V_TE002M;V_TE005M;V_TE010M;V_TE020M;V_TE050M;eor"]
    for n, day in enumerate(MEANS):
        five = "-999" if n == 3 else f"{MEANS[day]:.4f}"
        ten = f"{DEEP_MEANS[day]:.4f}"
        out.append(
            f"         44;{day.replace('-', '')};    1;  -999;  {five};  {ten};-999;-999;eor"
        )
    return out


def weather_days(count: int = 400) -> list[tuple[str, float, float, float, int]]:
    """Day, least and greatest air temperature [degC], rain [mm] and depth of snow [cm]."""
    out = []
    for n in range(count):
        day = datetime(2023, 1, 1) + timedelta(days=n)
        middle = 9 - 13 * float(np.cos(2 * np.pi * (n - 18) / 365))
        low, high = round(middle - 4 - n % 3, 1), round(middle + 5 + n % 4, 1)
        rain = round(n % 11 * 0.8, 1) if n % 4 == 0 else 0.0
        out.append((f"{day:%Y-%m-%d}", low, high, rain, 12 if middle < 0 else 0))
    return out


WEATHER = weather_days()


def german_weather() -> list[str]:
    """Daily weather of Germany's service, produkt_klima_tag; names and -999 as described there."""
    head = "STATIONS_ID;MESS_DATUM;QN_3;  FX;  FM;QN_4; RSK;RSKF; SDK;SHK_TAG;  NM; VPM;  PM"
    out = [f"{head}; TMK; UPM; TXK; TNK; TGK;eor"]
    for n, (day, low, high, rain, snow) in enumerate(WEATHER):
        wet = "-999" if n == 7 else rain
        mean = round((low + high) / 2, 1)
        out.append(
            f"      44;{day.replace('-', '')};   10;   9.1;   3.2;    3;  {wet};   6;   3.2; {snow}"
            f"; 5.1;   8.1; 1012.1;  {mean};  81.00;  {high};  {low};  {low - 2:.1f};eor"
        )
    return out


def canadian_weather() -> list[str]:
    """Daily data of climate.weather.gc.ca, its flags beside each figure, all cells in quotes."""
    names = ["Max Temp", "Min Temp", "Mean Temp", "Heat Deg Days", "Cool Deg Days"]
    pairs = [f"{name} (°C),{name} Flag" for name in names]
    pairs += [
        f"Total {what},Total {what.split(' (')[0]} Flag" for what in ("Rain (mm)", "Snow (cm)")
    ]
    pairs += ["Total Precip (mm),Total Precip Flag", "Snow on Grnd (cm),Snow on Grnd Flag"]
    pairs += ["Dir of Max Gust (10s deg),Dir of Max Gust Flag", "Spd of Max Gust (km/h),Spd Flag"]
    first = (
        "Longitude (x),Latitude (y),Station Name,Climate ID,Date/Time,Year,Month,Day,Data Quality"
    )
    out = [f"{first},{','.join(pairs)}"]
    for n, (day, low, high, rain, snow) in enumerate(WEATHER):
        year, month, date = day.split("-")
        wet, flag = ("", "M") if n == 7 else (rain, "T" if n == 8 else "")
        row = ["-79.40", "43.67", "GREEN, CITY", "6158355", day, year, month, date, "", high, ""]
        row += [low, "", round((low + high) / 2, 1), "", 1.0, "", 0.0, "", rain / 2, "", 9.9, ""]
        row += [wet, flag, snow, "", "", "", "", ""]
        out.append(",".join(f'"{cell}"' for cell in row))
    return [",".join(f'"{name}"' for name in out[0].split(",")), *out[1:]]


def australian_weather(what: str) -> list[str]:
    """One quantity a file, Climate Data Online of Australia's bureau; year, month and day apart."""
    value, spans = {
        "max": ("Maximum temperature (Degree C)", "Days of accumulation of maximum temperature"),
        "min": ("Minimum temperature (Degree C)", "Days of accumulation of minimum temperature"),
        "rain": ("Rainfall amount (millimetres)", "Period over which rainfall was measured (days)"),
    }[what]
    code = "IDCJAC0009"
    first = "Product code,Bureau of Meteorology station number,Year,Month,Day"
    out = [f"{first},{value},{spans},Quality"]
    for n, (day, low, high, rain, _) in enumerate(WEATHER):
        figure = {"max": high, "min": low, "rain": rain}[what]
        several = 3 if n == 7 else 1
        out.append(f"{code},066062,{day.replace('-', ',')},{figure},{several},Y")
    return out


def snow_network_weather() -> list[str]:
    """A daily report of the US snow network: precipitation both so far and of the day."""
    names = [
        "Snow Water Equivalent (in) Start of Day Values",
        "Snow Depth (in) Start of Day Values",
    ]
    names += ["Precipitation Accumulation (in) Start of Day Values", "Precipitation Increment (in)"]
    names += [f"Air Temperature {what} (degF)" for what in ("Maximum", "Minimum", "Average")]
    out = ["# report", "#", ",".join(["Date", *names])]
    for n, (day, low, high, rain, snow) in enumerate(WEATHER):
        wet = "" if n == 7 else f"{rain / 25.4:.5f}"
        row = [day, "1.5", f"{snow / 2.54:.4f}", "22.1", wet]
        row += [f"{t * 1.8 + 32:.3f}" for t in (high, low, (high + low) / 2)]
        out.append(",".join(row))
    return out


def ghcn_table() -> list[str]:
    """GHCN-Daily as ncei.noaa.gov serves it by station: tenths, and attributes beside figures."""
    out = ['"STATION","DATE","LATITUDE","LONGITUDE","ELEVATION","NAME"']
    for name in ("PRCP", "SNOW", "SNWD", "TMAX", "TMIN"):
        out[0] += f',"{name}","{name}_ATTRIBUTES"'
    for n, (day, low, high, rain, snow) in enumerate(WEATHER):
        wet = ",X,W" if n == 7 else ",,W"
        cells = [round(rain * 10), wet, 0, ",,W", snow * 10, ",,W"]
        cells += [round(high * 10), ",,W", round(low * 10), ",,W"]
        row = ["USW00012345", day, "40.1", "-75.2", "50.0", "GREEN, PA US", *cells]
        out.append(",".join(f'"{cell:>5}"' for cell in row))
    return out


def ghcn_by_day(header: bool = False, count: int = 400) -> list[str]:
    """GHCN-Daily by year or by station: one row for each day and element, mostly no header."""
    out = ["ID,DATE,ELEMENT,DATA_VALUE,M_FLAG,Q_FLAG,S_FLAG,OBS_TIME"] if header else []
    for n, (day, low, high, rain, snow) in enumerate(WEATHER[:count]):
        figures = {"TMAX": high * 10, "TMIN": low * 10, "PRCP": rain * 10, "SNWD": snow * 10}
        for name, figure in figures.items():
            failed = "X" if n == 7 and name == "PRCP" else ""
            out.append(
                f"USW00012345,{day.replace('-', '')},{name},{round(figure)},,{failed},W,2400"
            )
    return out


def ghcn_by_month() -> list[str]:
    """GHCN-Daily's .dly: one line for each month and element, fixed columns, -9999 where none."""
    months: dict[tuple[str, str], list[str]] = {}
    for n, (day, low, high, rain, snow) in enumerate(WEATHER):
        figures = {"TMAX": high * 10, "TMIN": low * 10, "PRCP": rain * 10, "SNWD": snow * 10}
        for name, figure in figures.items():
            cells = months.setdefault((day[:7], name), ["-9999   "] * 31)
            failed = "X" if n == 7 and name == "PRCP" else " "
            cells[int(day[8:]) - 1] = f"{round(figure):5d} {failed}W"
    return [
        f"USW00012345{month.replace('-', '')}{name}{''.join(cells)}"
        for (month, name), cells in months.items()
    ]
