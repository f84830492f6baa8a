"""Units against published conversion factors, and the many ways people write them.

NIST SP 811 (2008), Appendix B.8, factors to seven figures as printed there; those in bold there are exact. The
digits are from memory. Half a unit of the last figure is allowed.
"""

from __future__ import annotations

import subprocess
import sys
from fractions import Fraction

import pytest

from qclog.domain.quantities import spellings, trade_factors, units
from qclog.domain.quantities.unit_names import PINT_NAME
from qclog.errors import ReadingError, UnitError

PRINTED = [  # unit, SI unit, factor as printed (NIST SP 811 (2008) Appendix B.8), places after the point
    ("lbf·in", "N·m", "0.1129848", 7),
    ("lbf·ft", "N·m", "1.355818", 6),
    ("ozf·in", "N·m", "0.007061552", 9),
    ("lbf", "N", "4.448222", 6),
    ("psi", "kPa", "6.894757", 6),
    ("lbf/in", "N/mm", "0.1751268", 7),
    ("lb", "kg", "0.4535924", 7),
]
EXACT = [  # NIST SP 811 (2008) Appendix B.8, printed in bold: exact
    ("in", "mm", "25.4"),
    ("in", "m", "0.0254"),
    ("thou", "µm", "25.4"),
    ("ft", "m", "0.3048"),
    ("kgf", "N", "9.80665"),
    ("kgf·m", "N·m", "9.80665"),
    ("kgf·cm", "N·m", "0.0980665"),
    ("bar", "kPa", "100"),
    ("kgf/cm²", "kPa", "98.0665"),
]


@pytest.mark.parametrize(("unit", "si", "printed", "places"), PRINTED)
def test_factors_agree_with_the_printed_table(unit: str, si: str, printed: str, places: int) -> None:
    assert abs(units.factor(unit, si) - Fraction(printed)) <= Fraction(1, 2 * 10**places)


@pytest.mark.parametrize(("unit", "si", "printed"), EXACT)
def test_exact_factors_are_exact(unit: str, si: str, printed: str) -> None:
    assert units.factor(unit, si) == Fraction(printed)


def test_celsius_and_fahrenheit_meet_at_the_fixed_points() -> None:
    # NIST SP 811 (2008) Appendix B.8: t/°C = (t/°F - 32)/1.8 and T/K = t/°C + 273.15
    assert units.convert(Fraction(212), "°F", "°C") == 100
    assert units.convert(Fraction(-40), "°C", "°F") == -40
    assert units.convert(Fraction(20), "°C", "K") == Fraction("293.15")


def test_spring_balance_pair_misprinted_in_troy_pounds() -> None:
    # A public-domain workshop manual prints "2-6 lb (0.746-2.240 kg)"; a troy pound is 0.3732417 kg (NIST SP 811,
    # Appendix B.8, from memory), which is what it was converted with. The true figures are 0.907 and 2.722 kg.
    low, high = (units.convert(Fraction(pounds), "lb", "kg") for pounds in (2, 6))
    assert (round(float(low), 3), round(float(high), 3)) == (0.907, 2.722)
    assert float(Fraction("0.746") / 2) == pytest.approx(0.3732417, rel=1e-3)
    assert units.convert(Fraction(2), "lbf", "kgf") == low


def test_two_thou_misprinted_in_millimetres() -> None:
    # The same manuals print a pinion mark of +2 thou as 0.057 mm; it is 0.0508 mm.
    assert units.convert(Fraction(2), "thou", "mm") == Fraction("0.0508")
    assert units.write(units.convert(Fraction(2), "thou", "mm"), "mm", step=Fraction("0.01")) == "0.051 mm"


def test_millimetre_to_inch_is_not_the_0_039_of_the_manual() -> None:
    # One manual says to multiply by 0.039, which is 1 % low: 1/25.4 is 0.03937.
    true = units.factor("mm", "in")
    assert true == Fraction(10, 254)
    assert 0.009 < float(1 - Fraction("0.039") / true) < 0.010


def test_five_hundredths_of_a_millimetre_is_not_two_thou() -> None:
    assert units.write(units.convert(Fraction("0.05"), "mm", "thou"), "thou", step=Fraction("0.1")) == "1.97 thou"


def test_drag_torque_printed_ten_times_too_large_converts_consistently() -> None:
    # "89-125 lb-ft (120-170 N·m)" in a public-domain manual: consistent to the printed figures, yet no drag torque.
    assert [round(float(units.convert(Fraction(x), "lb-ft", "N·m"))) for x in (89, 125)] == [121, 169]


@pytest.mark.parametrize(
    ("spellings", "canonical"),
    [
        ("thou|thous|th|Thousandths|thousandth of an inch|THOU", "thou"),
        ('in|inch|inches|"|”|″|\'\'|in.|IN|Inches', "in"),
        ("mm|MM|mm.|millimetre|millimeters", "mm"),
        ("µm|μm|um|micron|microns|micrometre", "µm"),
        ("lbf·in|lb-in|lb.in|lb.in.|in-lb|in lb|lbf in|lbf-in|inch pounds|pound-inches|pound-force inches|inlb"
         "|lbs in|in·lbf|in. lbs.|lbf*in|LB-IN|pound force inches", "lbf·in"),
        ("lbf·ft|lb-ft|ft-lb|ft lb|ft.lbf|foot pounds|lbft|ftlb", "lbf·ft"),
        ("N·m|Nm|N.m|N m|N-m|n·m|NM|newton metres|N*m|m·N|newton meter", "N·m"),
        ("N·cm|Ncm|N cm", "N·cm"),
        ("kgf·cm|kg-cm|kgcm|kg cm|kg.cm|kgf cm|cm·kgf|kilogram-force centimetres", "kgf·cm"),
        ("ozf·in|oz-in|ounce inches", "ozf·in"),
        ("kgf|kg f|kilograms-force|kp", "kgf"),
        ("lbf|pounds-force|pound force", "lbf"),
        ("N|newton|newtons|n", "N"),
        ("lb|lbs|pounds|LB", "lb"),
        ("kPa|kpa|KPA|kilopascals", "kPa"),
        ("MPa|megapascal", "MPa"),
        ("mPa", "mPa"),
        ("bar|bars|BAR", "bar"),
        ("psi|PSI|lb/in²|lbf/in2|pounds per square inch", "psi"),
        ("°C|C|degC|deg C|celsius|degrees Celsius|℃", "°C"),
        ("°F|F|degF|Fahrenheit", "°F"),
        ("°|deg|degrees|º", "°"),
        ("count|pcs|each|off", "count"),
        ("1|ratio|dimensionless", "1"),
        ("lbf/in|lb/in|lbs/in", "lbf/in"),
        ("m/s|meter/second|m*s**-1", "m/s"),
        ("mm²|mm2|mm^2|mm**2|millimeter**2", "mm²"),
    ],
)  # fmt: skip
def test_one_spelling_for_each_unit(spellings: str, canonical: str) -> None:
    assert {units.parse_unit(spelling) for spelling in spellings.split("|")} == {canonical}
    assert units.parse_unit(canonical) == canonical


@pytest.mark.parametrize("text", ["mil", "mils", "MIL", "Mils", "mil/in", "lbf*mil", "kmil", "16 mil"])
def test_mil_never_gets_through(text: str) -> None:
    # pint 0.25 holds mil for an angle, NIST SP 811 lists it as a thousandth of an inch.
    with pytest.raises(UnitError):
        units.parse_unit(text)


def test_mil_is_refused_with_what_to_say_instead() -> None:
    with pytest.raises(UnitError, match="say thou"):
        units.parse_unit("mil")
    assert units.dimension("thou") == "length"


@pytest.mark.parametrize(
    "text",
    ["", "  ", "'", "5'", "sheep", "😀", "\x00", "2*m", "9**9**9", "m**99999999", "a" * 500, "m/", "/m", "()",
     "__import__('os')", "dB", "dBm", "mpa", "m m m m m m m m m", "if", "lambda:0", "µ" * 61],
)  # fmt: skip
def test_what_is_no_unit_is_refused_with_a_hint(text: str) -> None:
    with pytest.raises(UnitError) as refused:
        units.parse_unit(text)
    assert refused.value.hint
    assert isinstance(refused.value, ReadingError)


def test_a_near_miss_is_offered() -> None:
    with pytest.raises(UnitError, match=r"did you mean mm\?"):
        units.parse_unit("milimetres")


@pytest.mark.parametrize(
    ("unit", "word"),
    [("thou", "length"), ("lbf·in", "torque"), ("kgf", "force"), ("psi", "pressure"), ("°F", "temperature"),
     ("°", "angle"), ("arcmin", "angle"), ("count", "number"), ("%", "number"), ("kg", "mass"), ("min", "time"),
     ("lbf/in", "stiffness"), ("rpm", "speed of rotation"), ("mm²", "area"), ("g/cm³", "length^-3·mass")],
)  # fmt: skip
def test_dimension_is_a_word(unit: str, word: str) -> None:
    assert units.dimension(unit) == word


def test_dimensions_are_hashable_and_angle_is_one() -> None:
    assert {units.dimensionality("in"), units.dimensionality("mm")} == {(("[length]", Fraction(1)),)}
    assert units.dimensionality("N·m") == units.dimensionality("joule")
    assert units.dimensionality("°") != units.dimensionality("count") == ()


def test_conversion_between_dimensions_names_both() -> None:
    with pytest.raises(UnitError, match=r"lbf·in is a torque, mm is a length"):
        units.factor("lbf·in", "mm")
    with pytest.raises(UnitError, match="say N·m"):
        units.factor("nm", "N·m")


def test_one_factor_cannot_convert_celsius_to_fahrenheit() -> None:
    with pytest.raises(UnitError, match="different zeros"):
        units.factor("°C", "°F")


def test_base_factors_are_si() -> None:
    # 1 lbf·in as printed in NIST SP 811 (2008) Appendix B.8
    assert units.base_factor("lbf·in") == pytest.approx(0.1129848, abs=5e-8)
    assert units.base_factor("thou") == 25.4e-6
    assert units.base_factor("g") == 0.001
    assert units.base_factor("°F") == pytest.approx(5 / 9)
    assert units.base_factor("count") == 1
    assert units.base_factor("°") == pytest.approx(0.017453292519943295)


@pytest.mark.parametrize(
    ("value", "step", "text"),
    [
        ("16", None, "16"),
        ("0.41", None, "0.41"),
        ("0.016", None, "0.016"),
        ("-0.5", None, "-0.5"),
        ("15.5", "1", "15.5"),
        ("16", "1", "16"),
        ("16", "0.5", "16.0"),
        ("0.4", "0.01", "0.40"),
        ("2050/127", "1", "16.1"),
        ("2050/127", None, "16.1417"),
        ("1/3", None, "0.333333"),
        ("1/3000", None, "0.000333333"),
        ("1234567.5", None, "1234567.5"),
        ("10000001/3", None, "3333334"),
        ("-1/100000000000000", None, "-0.00000000000001"),
        ("-1/1000", "1", "0"),
        ("100", "10", "100"),
        ("16.04", "1", "16"),
        ("15.96", "1", "16"),
    ],
)
def test_numbers_are_written_without_noise(value: str, step: str | None, text: str) -> None:
    assert units.write_number(Fraction(value), step=None if step is None else Fraction(step)) == text


def test_units_are_written_with_the_number() -> None:
    assert units.write(Fraction(16), "thou") == "16 thou"
    assert units.write(Fraction(12), "deg") == "12°"
    assert units.write(Fraction(20), "C") == "20 °C"
    assert units.write(Fraction(3), "count") == "3"


@pytest.mark.parametrize(
    ("value", "unit", "words"),
    [
        ("16", "thou", "sixteen thou"),
        ("16.5", "thou", "sixteen and a half thou"),
        ("0.5", "thou", "half a thou"),
        ("-1.5", "thou", "minus one and a half thou"),
        ("0.41", "mm", "nought point four one millimetres"),
        ("0.016", "in", "nought point oh one six inches"),
        ("1", "mm", "one millimetre"),
        ("22", "lbf·in", "twenty-two pound-force inches"),
        ("2.5", "N·m", "two point five newton metres"),
        ("0", "thou", "zero thou"),
        ("105", "kPa", "one hundred and five kilopascals"),
        ("1016", "µm", "one thousand and sixteen microns"),
        ("3", "count", "three"),
        ("20", "°C", "twenty degrees Celsius"),
    ],
)
def test_read_aloud(value: str, unit: str, words: str) -> None:
    assert units.in_words(Fraction(value), unit) == words


def test_importing_units_does_not_load_pint() -> None:
    import subprocess
    import sys

    code = "import sys, qclog.domain.speech.readings; sys.exit('pint' in sys.modules or 'numpy' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


TRADE = sorted(PINT_NAME)


@pytest.mark.parametrize("unit", TRADE)
def test_a_unit_of_the_trade_is_what_pint_has_it(unit: str) -> None:
    # against pint's own registry, whose definitions are those of its file default_en.txt
    known = spellings.registry()
    expression = PINT_NAME[unit]
    assert trade_factors.powers_of(expression) == spellings.powers(known.parse_units_as_container(expression))
    here = trade_factors.in_base(expression)
    assert here is not None
    assert here.slope == spellings._line_by_pint(expression, None)[0]
    assert dict(here.dimensions) == units._dimensions_by_pint(expression)
    for other in TRADE:
        if units.dimensionality(other) == units.dimensionality(unit):
            by_pint = spellings._line_by_pint(expression, PINT_NAME[other])
            assert spellings.line(expression, PINT_NAME[other]) == by_pint, other


@pytest.mark.parametrize("text", ["N/m", "mm²", "1/s", "kg·mm²", "m/s", "N·m/°", "in³/min", "kg*m**2/s**2", "thou/°C"])
def test_what_is_made_of_units_of_the_trade_is_as_pint_has_it(text: str) -> None:
    expression = spellings._with_pint_names(spellings._POWER.sub(r"**\1", text.translate(spellings._POWER_SIGNS)))
    container = spellings.registry().parse_units_as_container(expression)
    assert trade_factors.powers_of(expression) in (spellings.powers(container), None)
    assert units.base_factor(text) == float(spellings._line_by_pint(expression, None)[0])
    assert dict(units.dimensionality(text)) == units._dimensions_by_pint(expression)


def test_units_of_the_trade_are_read_and_converted_without_pint() -> None:
    script = (
        "import sys; from fractions import Fraction; from qclog.domain.quantities import units\n"
        "from qclog.domain.quantities.unit_names import PINT_NAME\n"
        "for one in PINT_NAME:\n"
        "    units.dimension(one), units.base_factor(one)\n"
        "    for other in PINT_NAME:\n"
        "        if units.dimensionality(one) == units.dimensionality(other):\n"
        "            units.convert(Fraction(1), one, other)\n"
        "print('pint' in sys.modules); print(units.convert(Fraction(1), 'yard', 'ft')); print('pint' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["False", "3", "True"]
