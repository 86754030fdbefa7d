"""Words of column headers in the trade's languages: what a column holds, and which quantity it names.

Must not do: read a header (``labels.py``).
"""

from __future__ import annotations

import re
from enum import StrEnum

from api.domain.quantity import Quantity as Q


class Role(StrEnum):
    """What a column becomes."""

    TIME = "time"
    DATE = "date"
    CLOCK = "clock"
    OFFSET = "offset"
    PROBE = "probe"
    QUANTITY = "quantity"
    VALUE = "value"
    UNIT = "unit"
    DERIVED = "derived"
    READING = "reading"
    SKIP = "skip"


ROLE_WORDS: dict[Role, str] = {
    Role.TIME: "time|timestamp|time stamp|datetime|date time|date and time|date/time|date & time|zeit|zeitstempel"
    "|zeitpunkt|datum/zeit|datum zeit|datum uhrzeit|datum/uhrzeit|fecha hora|fecha/hora|fecha y hora|date heure"
    "|date/heure|horodatage|data ora|epoch|unix time|unixtime|unix|epoch time|posix time|measured at|logged at"
    "|measured on|observed at|observation time|sample time|sampled at|recorded at|time local|local time|ts|utc"
    "|utc time|time utc|datetime utc|result time|phenomenon time",
    Role.DATE: "date|datum|fecha|data|dato|jour|day|sample date",
    Role.CLOCK: "clock|uhrzeit|hora|heure|ora|time of day|clock time|tid|hour",
    Role.OFFSET: "utc offset|offset|tz|time zone|timezone|zone|tz offset|gmt offset",
    Role.PROBE: "probe|probe id|sensor|sensor id|logger|logger id|sonde|sonde id|instrument|instrument id|device"
    "|device id|channel|fühler|messfühler|capteur|tank|tank id|tank no|tank name|aquarium|aquarium id|becken|bac"
    "|station|station id|site|location|vessel|basin|rack",
    Role.QUANTITY: "quantity|parameter|variable|analyte|measurand|property|observed property|messgröße|größe|grandeur"
    "|characteristic|measurement",
    Role.VALUE: "value|reading|result|raw|raw value|wert|messwert|val|valeur|valor|result value|measured value",
    Role.UNIT: "unit|units|einheit|unité|unidad|uom|raw unit|result unit|unit of measure",
    Role.DERIVED: "derived",
}
ROLES = {word: role for role, words in ROLE_WORDS.items() for word in words.split("|")}
PROBE_ORDER = tuple(ROLE_WORDS[Role.PROBE].split("|"))
"""A probe's own word comes before a tank's, and a tank's before a place's."""

_NOT_WATER = r"air|room|ambient|luft|raum|case|internal|board|cpu|chip|battery|box|amb"
NOT_WATER = re.compile(rf"(?<![^\W_])(?:{_NOT_WATER})(?![^\W_])", re.IGNORECASE)
"""Words that say a temperature or humidity is not the water's."""

NO_READING = re.compile(
    r"(?<![^\W_])(?:max|maximum|min|minimum|std|sd|stdev|stddev|count|range)(?![^\W_])", re.IGNORECASE
)
"""Words for a figure of many readings that is none of them."""
FILLERS = re.compile(
    r"(?<![^\W_])(?:conc|concentration|avg|average|mean|smp|sample|in|of|value|reading|raw|measured|mittel)(?![^\W_])\.?",
    re.IGNORECASE,
)
"""Words beside a quantity that name no probe."""
RUN_TOGETHER = {"mgl": "mg/L", "ugl": "ug/L", "uscm": "uS/cm", "mscm": "mS/cm", "lmin": "L/min", "lpm": "L/min"}
"""Units as file names and column names without signs spell them."""

_QUANTITY_WORDS: tuple[tuple[Q, str], ...] = (
    (Q.OXYGEN_SATURATION, r"(?:dissolved )?oxygen sat(?:uration|\.)?|do sat(?:uration|\.)?|o2 sat(?:uration|\.)?"
     r"|odo sat|air sat(?:uration)?|sat(?:uration)? (?:oxygen|do|o2)|sauerstoffsättigung|o2-?sättigung|saturation"),
    (Q.OXYGEN, r"dissolved oxygen|dissolved o2|diss\.? ?oxygen|oxygen|oxy|do|o2|sauerstoff(?:gehalt|konzentration)?"
     r"|oxygène(?: dissous)?|oxígeno(?: disuelto)?|ossigeno"),
    (Q.TEMPERATURE, r"water temp(?:erature|\.)?|wtemp|watertemp|temp(?:erature|eratur|\.)?|wassertemp(?:eratur|\.)?"
     r"|température(?: de l'eau)?|temperatura(?: del agua)?|tw"),
    (Q.PH, r"ph(?:[- ]?(?:wert|value))?"),
    (Q.CONDUCTIVITY, r"specific conductance|specific conductivity|sp\.? ?cond(?:uctivity|uctance|\.)?|conductivity"
     r"|conductance|cond\.?|ec|ec25|leitfähigkeit|leitf\.?|conductivité|conductividad|lf"),
    (Q.AMMONIA, r"total ammonia(?: nitrogen)?|ammonia(?: nitrogen)?|ammonium|tan|nh3(?:-n)?|nh4(?:-n)?|ammoniak"),
    (Q.NITRITE, r"nitrite|nitrit|no2(?:-n)?"), (Q.NITRATE, r"nitrate|nitrat|no3(?:-n)?"),
    (Q.HARDNESS, r"total hardness|general hardness|hardness|gh|gesamthärte|härte"),
    (Q.ALKALINITY, r"alkalinity|carbonate hardness|kh|karbonathärte|alkalinität"),
    (Q.CALCIUM, r"calcium|ca|kalzium"),
    (Q.FLOW, r"flow(?: ?rate)?|durchfluss|débit|caudal"),
    (Q.LEVEL, r"water level|level|wasserstand|pegel|füllstand|niveau"),
    (Q.PRESSURE, r"(?:air|barometric|atmospheric|station|baro\.?) ?pressure|pressure|baro(?:meter)?|luftdruck|druck"
     r"|pression"),
)  # fmt: skip
QUANTITY_WORDS = tuple(
    (quantity, re.compile(rf"(?<![^\W_])(?:{words})(?![^\W_])", re.IGNORECASE)) for quantity, words in _QUANTITY_WORDS
)
EXACT_NAMES = {str(one): one for one in Q}
