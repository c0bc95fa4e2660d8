"""Words in the headings of columns, and what each says: the one table that headings are read by.

A word is written in small letters without accents; one of several meanings stands under each of
them in `PARTS`. To teach the readers a word, write it here. The networks' own names for a column
are in `CONVENTIONS`. Words of English, German, French, Spanish, Dutch, Italian and Danish.
"""

import re
from typing import Literal, NamedTuple

# What makes a column soil temperature, and which statistic of it.
SAYS = {
    "temperature": "t temp temps temper tempe temperature temperatures temperatur temperaturen"
    " temperatura temperaturas tmp tmpr therm thermistor thermometer thermocouple"
    " celsius fahrenheit kelvin degc degf oc tc tf tempc tempf grad temperatuur",
    "soil": "soil soils boden erde erd erdboden ground earth sol suelo bodem grond terreno suolo"
    " jord turf root roots rootzone wurzel thatch subsurface underground topsoil subsoil",
    "below": "depth depths deep below beneath under tiefe tief unter unterhalb profondeur sous"
    " profundidad bajo diepte profondita dybde",
    "min": "min minimum minima mini low lo lowest least tiefst tiefste tiefstwert minimo",
    "max": "max maximum maxima maxi high hi highest greatest hochst hochste hochstwert maximo",
    "mean": "avg average ave mean mittel mittelwert moyenne media promedio smp daily",
}

# What a column is instead, in the words that `check` shows.
ASIDE = {
    "moisture": "moist moisture sm smc sms vwc vw vwic swc wc wfv feucht feuchte bodenfeuchte"
    " humedad umidita humidite vochtigheid tdr theta saturation pfvwc wetness content",
    "humidity": "rh rel relh hum humid humidity relhum relhu relhumidity feuchtigkeit luftfeuchte"
    " luftfeuchtigkeit vpd vapor vapour",
    "dew point": "dew dewpt dewpoint taupunkt rocio rosee dp frostpoint wetbulb bulb",
    "battery or voltage": "bat batt batts battery batterie vbat volt volts voltage mv hkbat supply"
    " charge charger spannung vdc amp amps current",
    "heat flux": "flux fluxes shf ghf hfp heatflux heatflow flow warmestrom",
    "conductivity": "ec ece bulkec salinity sal salt conductivity cond permittivity dielectric ds"
    " perm rdc leitfahigkeit tds",
    "pressure": "press pressure baro barometer barometric hpa kpa mbar psi inhg mmhg matric"
    " potential tension mwp wp luftdruck druck slp",
    "rain": "rain rainfall raintotal prec precip precipitation prcp niederschlag regen pluie"
    " lluvia irrig irrigation et eto etr evap evapotranspiration evaporation",
    "snow": "snow snowdepth snwd swe wteq schnee neige nieve",
    "wind": "wind gust gusts ws wd wdir wspd wsms wddeg windspeed winddir windrun windgust"
    " wvec wdsd wssd wmax anemometer dir direction speed spd velocity mph kmh kph knots knot kt"
    " kts viento vent richtung geschwindigkeit ustar",
    "light": "solar solarad rad radiation srad par ppfd lux light intensity rn netrad net sw lw uv"
    " sun sunshine sunlight pyranometer albedo strahlung wm irradiance",
    "air temperature": "air airs luft aire aria lucht ta ambient atmosphere atmospheric outdoor"
    " outdoors out outside aussen exterior exterieur dehors indoor indoors inside innen interior"
    " interieur room house greenhouse screen shelter stevenson sonic windchill chill heatindex"
    " feels apparent thw thsw wbgt comfort above over uber oberhalb dessus sobre canopyair",
    "not the soil": "surface surf sfc sur skin infrared ir irt irts globe blackglobe canopy leaf"
    " leaves foliage crown water lake stream pond river sea pool wasser eau agua oberflache"
    " superficie pavement road asphalt concrete wall roof floor snowpack ice target sky tsurf"
    " lst plant stem trunk fruit bark compost porometer",
    "the logger's own temperature": "int intern internal board panel ptemp hk device housing case"
    " enclosure cpu ref reference junction body sensorbody processor box modem",
    "a spread, not a temperature": "sd std stdev stddev deviation var variance varianz sigma uncert"
    " uncertainty expuncert unc se stderr stder sem error err range skew kurtosis cv",
    "a count, not a temperature": "count counts cnt num numpts pts npts nobs obsnum tally",
    "a difference or a sum": "delta diff difference gradient trend anomaly departure normal sum"
    " total tot gdd gddc degreeday degreedays chillhours hours amplitude rate",
    "no sound reading": "raw uncorrected setpoint forecast forecasted predicted modelled modeled"
    " simulated",
    "a quality mark": "qc qa qf finalqf flag flags quality ssitc status qn qualitat valid test",
    "another quantity": "ohm ohms resistance accel rssi signal snr lat latitude lon long lng"
    " longitude elev elevation alt altitude height hohe hoehe hauteur ph ppm nitrogen"
    " oxygen redox weight duration percent pct diameter girth circumference length width",
}

# These set a column aside only where nothing in its heading says soil.
SOFT = {
    "the logger's own temperature": "logger datalogger",
    "a number of the row": "no nr rec record records recnbr rn id index sample seq sequence row",
    "air temperature": "grass in inner",
    "another quantity": "x y z co",
}

# Words made of others without a mark between them, where their letters alone do not tell; a T
# before or behind a word that is known here is told apart without them (Tsoil, AirT, Tdew).
PARTS = {
    "tsoil": ("t", "soil"),
    "tair": ("t", "air"),
    "tmin": ("t", "min"),
    "tmax": ("t", "max"),
    "tavg": ("t", "mean"),
    "tmean": ("t", "mean"),
    "airtc": ("air", "tc"),
    "tmed": ("t", "mean"),
    "soiltc": ("soil", "tc"),
    "intemp": ("indoor", "temp"),
    "outtemp": ("outdoor", "temp"),
}


class Convention(NamedTuple):
    """A network's own way to name its columns of soil temperature.

    ``pattern`` gives, in its groups ``depth`` and ``stat``, the depth and the statistic; ``unit``
    is the unit of the depth, ``source`` says where the convention was seen. ``hour`` is that of a
    value which in files of days is of one moment.
    """

    pattern: re.Pattern[str]
    unit: Literal["cm", "in"]
    source: str
    hour: float | None = None


# Observed elements of the NRCS, in reports of days: "Instantaneous - Start of Day".
_START_OF_DAY = 0.0

CONVENTIONS = (
    Convention(
        re.compile(r"v_te(?P<depth>\d{3})m?", re.IGNORECASE),
        "cm",
        "Deutscher Wetterdienst, climate data centre, daily and hourly soil temperature: "
        "V_TE005M is the daily mean at 5 cm, V_TE005 the hourly value",
    ),
    Convention(
        re.compile(r"sto(?:\.i(?:-\d+)?)?:-(?P<depth>\d+(?:\.\d+)?)(?![\d.]).*", re.IGNORECASE),
        "in",
        "NRCS Air and Water Database, element STO (soil temperature observed): instrument, then "
        "height of the sensor in inches, below ground negative: STO.I-1:-2 is 2 in down",
        _START_OF_DAY,
    ),
    Convention(
        re.compile(r"sto\s+-(?P<depth>\d+(?:\.\d+)?)\s*in\b.*", re.IGNORECASE),
        "in",
        "NRCS Air and Water Database, newer reports: STO -2.0 in",
        _START_OF_DAY,
    ),
    Convention(
        re.compile(
            r"(?:.* )?soil temperature observed -(?P<depth>\d+(?:\.\d+)?)in\b.*", re.IGNORECASE
        ),
        "in",
        "NRCS Report Generator: element STO by its name, 'Soil Temperature Observed -2in (degF) "
        "Start of Day Values'",
        _START_OF_DAY,
    ),
    Convention(
        re.compile(
            r"soiltmp(?P<depth>\d{1,2})(?P<stat>avg|min|max)(?:655)?(?!\d).*", re.IGNORECASE
        ),
        "cm",
        "Kansas Mesonet, list of variables: SOILTMP5AVG is the mean at 5 cm; 655 is a second probe",
    ),
    Convention(
        re.compile(r"t[sb](?P<depth>05|10|25|30|60)(?P<stat>)", re.IGNORECASE),
        "cm",
        "Oklahoma Mesonet, variables of its time series: TB05 is under bare soil at 5 cm, TS05 "
        "under sod",
    ),
    Convention(
        re.compile(r"tsoil_(?P<depth>\d{1,3})(?:_avg)?", re.IGNORECASE),
        "cm",
        "flux tower archives name the soil column TSOIL_20 for 20 cm (0.20 m)",
    ),
    Convention(
        re.compile(r"soil_temp_(?P<depth>\d{1,3})_daily", re.IGNORECASE),
        "cm",
        "US Climate Reference Network, daily01 README: SOIL_TEMP_5_DAILY is at 5 cm",
    ),
)
