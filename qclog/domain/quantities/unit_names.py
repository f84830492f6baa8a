"""How the trade writes its units: our own spelling of each, other spellings people use, and the words.

Tables only. Which dimension a unit has and what it converts to is pint's business, in `qclog.domain.quantities.units`.
"""

from __future__ import annotations

# our spelling -> (pint expression, one of it in words, several of it in words, other spellings in lower case)
TRADE_UNITS: dict[str, tuple[str, str, str, str]] = {
    "thou": (
        "thou", "thou", "thou",
        "th|thous|thousandth|thousandths|thousandth of an inch|thousandths of an inch|thousandth inch"
        "|thousandths inch|mil_length",
    ),
    "in": ("inch", "inch", "inches", '"|inch|inches|ins'),
    "ft": ("foot", "foot", "feet", "foot|feet"),
    "mm": ("millimeter", "millimetre", "millimetres", "millimetre|millimetres|millimeter|millimeters|mms"),
    "cm": ("centimeter", "centimetre", "centimetres", "centimetre|centimetres|centimeter|centimeters|cms"),
    "m": ("meter", "metre", "metres", "metre|metres|meter|meters"),
    "µm": (
        "micrometer", "micron", "microns",
        "um|micron|microns|micrometre|micrometres|micrometer|micrometers|µ|thousandths of a millimetre"
        "|thousandths of a millimeter|thousandths of a mm|thousandth of a millimetre|thousandth of a mm",
    ),
    "l": ("liter", "litre", "litres", "litre|litres|liter|liters"),
    "ml": ("milliliter", "millilitre", "millilitres", "millilitre|millilitres|milliliter|milliliters"),
    "N": ("newton", "newton", "newtons", "newton|newtons"),
    "kN": ("kilonewton", "kilonewton", "kilonewtons", "kilonewton|kilonewtons"),
    "lbf": (
        "pound_force", "pound-force", "pounds-force",
        "lbsf|lbf|pound force|pounds force|pound-force|pounds-force|lb-f|lb f|force_pound",
    ),
    "kgf": (
        "kilogram_force", "kilogram-force", "kilograms-force",
        "kilogram force|kilograms force|kilogram-force|kilograms-force|kg-f|kg f|kp|kilopond|kiloponds",
    ),
    "ozf": ("ounce_force", "ounce-force", "ounces-force",
            "ounce force|ounces force|ounce-force|ounces-force"),
    "gf": ("gram_force", "gram-force", "grams-force", "gram force|grams force|gram-force|grams-force"),
    "lb": ("pound", "pound", "pounds", "lbs|pound|pounds|lbm"),
    "oz": ("ounce", "ounce", "ounces", "ounce|ounces"),
    "kg": ("kilogram", "kilogram", "kilograms", "kgs|kilo|kilos|kilogram|kilograms|kilogramme|kilogrammes"),
    "g": ("gram", "gram", "grams", "gram|grams|gramme|grammes|gm|gms"),
    "Pa": ("pascal", "pascal", "pascals", "pascal|pascals"),
    "kPa": ("kilopascal", "kilopascal", "kilopascals", "kilopascal|kilopascals"),
    "MPa": ("megapascal", "megapascal", "megapascals", "megapascal|megapascals"),
    "bar": ("bar", "bar", "bar", "bars"),
    "mbar": ("millibar", "millibar", "millibars", "millibar|millibars"),
    "psi": (
        "pound_force_per_square_inch", "pound per square inch", "pounds per square inch",
        "lbf/in²|lbf/in2|lb/in²|lb/in2|lb/sq in|lbf/sq in|lbs/sq in|psig"
        "|pound per square inch|pounds per square inch",
    ),
    "kgf/cm²": (
        "kilogram_force/centimeter**2", "kilogram-force per square centimetre",
        "kilograms-force per square centimetre",
        "kgf/cm2|kg/cm²|kg/cm2|kilogram-force per square centimetre|kilograms-force per square centimetre",
    ),
    "lbf/in": (
        "pound_force/inch", "pound-force per inch", "pounds-force per inch",
        "lb/in|lbs/in|pound-force per inch|pounds-force per inch|pounds per inch",
    ),
    "N/mm": ("newton/millimeter", "newton per millimetre", "newtons per millimetre",
             "newton per millimetre|newtons per millimetre"),
    "°C": (
        "degree_Celsius", "degree Celsius", "degrees Celsius",
        "c|degc|deg c|deg. c|° c|celsius|centigrade|degree celsius|degrees celsius|degree c|degrees c"
        "|degrees centigrade",
    ),
    "°F": (
        "degree_Fahrenheit", "degree Fahrenheit", "degrees Fahrenheit",
        "f|degf|deg f|deg. f|° f|fahrenheit|degree fahrenheit|degrees fahrenheit|degree f|degrees f",
    ),
    "K": ("kelvin", "kelvin", "kelvin", "kelvin|kelvins"),
    "°": ("degree", "degree", "degrees", "deg|degs|degree|degrees|deg."),
    "arcmin": ("arcminute", "minute of arc", "minutes of arc",
               "minute of arc|minutes of arc|arcminute|arcminutes"),
    "rad": ("radian", "radian", "radians", "radian|radians"),
    "s": ("second", "second", "seconds", "second|seconds|sec|secs"),
    "min": ("minute", "minute", "minutes", "minute|minutes|mins"),
    "h": ("hour", "hour", "hours", "hour|hours|hr|hrs"),
    "rpm": ("revolutions_per_minute", "revolution per minute", "revolutions per minute",
            "rev/min|revs/min|r/min|revolution per minute|revolutions per minute"),
    "%": ("percent", "per cent", "per cent", "percent|per cent|pct"),
    "count": ("count", "", "", "number|off|pcs|pieces|piece|each|ea|counts"),
    "1": ("dimensionless", "", "", "ratio|dimensionless"),
}  # fmt: skip

# A torque is a force times a length; in one, a mass is always its weight (22 lb-in is 22 lbf·in).
TORQUE_FORCES: dict[str, str] = {
    "lb": "lbf", "lbs": "lbf", "lbf": "lbf", "pound": "lbf", "pounds": "lbf", "lbsf": "lbf",
    "kg": "kgf", "kgs": "kgf", "kgf": "kgf", "kp": "kgf", "kilogram": "kgf", "kilograms": "kgf",
    "oz": "ozf", "ozf": "ozf", "ounce": "ozf", "ounces": "ozf", "g": "gf", "gf": "gf",
    "gram": "gf", "grams": "gf",
    "n": "N", "newton": "N", "newtons": "N", "kn": "kN", "kilonewton": "kN", "kilonewtons": "kN",
    "cn": "cN", "centinewton": "cN", "centinewtons": "cN", "dan": "daN", "decanewton": "daN",
    "decanewtons": "daN",
}  # fmt: skip
TORQUE_LENGTHS: dict[str, str] = {
    "in": "in", "ins": "in", "inch": "in", "inches": "in", "ft": "ft", "foot": "ft", "feet": "ft",
    "m": "m", "metre": "m", "metres": "m", "meter": "m", "meters": "m",
    "cm": "cm", "centimetre": "cm", "centimetres": "cm", "centimeter": "cm", "centimeters": "cm",
    "mm": "mm", "millimetre": "mm", "millimetres": "mm", "millimeter": "mm", "millimeters": "mm",
}  # fmt: skip
_FORCE_PINT = {"lbf": "pound_force", "kgf": "kilogram_force", "ozf": "ounce_force", "gf": "gram_force",
               "N": "newton", "kN": "kilonewton", "cN": "centinewton", "daN": "decanewton"}  # fmt: skip
_FORCE_WORD = {"lbf": "pound-force", "kgf": "kilogram-force", "ozf": "ounce-force", "gf": "gram-force",
               "N": "newton", "kN": "kilonewton", "cN": "centinewton", "daN": "decanewton"}  # fmt: skip
_COMPACT = {"Nm": "N·m", "NM": "N·m", "Ncm": "N·cm", "ncm": "N·cm", "Nmm": "N·mm", "nmm": "N·mm",
            "cNm": "cN·m", "daNm": "daN·m", "kNm": "kN·m", "mN": "mN", "MN": "MN", "mPa": "mPa"}  # fmt: skip

PINT_NAME: dict[str, str] = {}
"""Our spelling -> the expression pint reads."""
WORDS: dict[str, tuple[str, str]] = {}
"""Our spelling -> one of it and several of it in words."""
SPELLINGS: dict[str, str] = {}
"""Spelling whose letter case counts -> our spelling."""
SPELLINGS_LOWER: dict[str, str] = {}
"""Lower-case spelling -> our spelling."""


def _fill() -> None:
    for unit, (pint_name, one, several, others) in TRADE_UNITS.items():
        PINT_NAME[unit] = pint_name
        WORDS[unit] = (one, several)
        SPELLINGS[unit] = unit
        SPELLINGS_LOWER.setdefault(unit.lower(), unit)
        for other in others.split("|"):
            SPELLINGS_LOWER[other] = unit
    # "mpa" and "nm" in lower case may be either of two units, so they are left to be refused or read by pint
    SPELLINGS_LOWER.pop("mpa")
    for force, force_word in _FORCE_WORD.items():
        for length in ("in", "ft", "m", "cm", "mm"):
            unit = f"{force}·{length}"
            one, several = WORDS[length]
            PINT_NAME[unit] = f"{_FORCE_PINT[force]}*{PINT_NAME[length]}"
            WORDS[unit] = (f"{force_word} {one}", f"{force_word} {several}")
            SPELLINGS[unit] = unit
    for force in ("lb", "lbf", "oz", "ozf", "kg", "kgf"):
        for length in ("in", "ft", "cm", "m"):
            SPELLINGS_LOWER.setdefault(force + length, f"{TORQUE_FORCES[force]}·{length}")
        for length in ("in", "ft"):
            SPELLINGS_LOWER.setdefault(length + force, f"{TORQUE_FORCES[force]}·{length}")
    SPELLINGS.update(_COMPACT)
    PINT_NAME.update({"mN": "millinewton", "MN": "meganewton", "mPa": "millipascal"})


_fill()
