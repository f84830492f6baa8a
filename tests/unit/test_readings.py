"""What a bench says, and what it is understood to be. The ways of saying are common practice, no source."""

from __future__ import annotations

from fractions import Fraction

import pytest

from qclog.domain.speech.readings import Said, canonical, convert_said, doubt, read, read_back
from qclog.errors import ReadingError, UnitError

F = Fraction


def _said(text: str, unit: str = "thou") -> tuple[str, Fraction | None, Fraction | None, str]:
    said = read(text, unit=unit)
    assert said.text == text
    return said.kind, said.low, said.high, said.unit


@pytest.mark.parametrize(
    ("text", "value", "unit"),
    [
        ("16", "16", "thou"),
        ("16 thou", "16", "thou"),
        ("16thou", "16", "thou"),
        ("0.016 in", "0.016", "in"),
        ('0.016"', "0.016", "in"),
        ('.016"', "0.016", "in"),
        ("0.41 mm", "0.41", "mm"),
        ("0,41 mm", "0.41", "mm"),
        ("0,410 mm", "0.41", "mm"),
        ("410 µm", "410", "µm"),
        ("410 um", "410", "µm"),
        ('15/16"', "15/16", "in"),
        ("15/16 in", "15/16", "in"),
        ("15 / 16 inch", "15/16", "in"),
        ('1 1/2"', "3/2", "in"),
        ('1-1/2"', "3/2", "in"),
        ("1½ in", "3/2", "in"),
        ("½", "1/2", "thou"),
        ("+3", "3", "thou"),
        ("-3", "-3", "thou"),
        ("−3", "-3", "thou"),
        ("- 3", "-3", "thou"),
        ("-1 1/2 in", "-3/2", "in"),
        (" 16\r\n", "16", "thou"),
        ("+000.410mm\t", "0.41", "mm"),
        ("1.6E+01", "16", "thou"),
        ("0", "0", "thou"),
        ("zero", "0", "thou"),
        ("nought", "0", "thou"),
        ("sixteen", "16", "thou"),
        ("sixteen thou", "16", "thou"),
        ("Sixteen Thou", "16", "thou"),
        ("six-teen", "16", "thou"),
        ("six teen", "16", "thou"),
        ("eight-teen thou", "18", "thou"),
        ("twen-ty two", "22", "thou"),
        ("six-teen and a half", "33/2", "thou"),
        ("sixteen and a half", "33/2", "thou"),
        ("16 and a half thou", "33/2", "thou"),
        ("two and a half thou", "5/2", "thou"),
        ("a thou and a half", "3/2", "thou"),
        ("two thou and a half", "5/2", "thou"),
        ("minus a thou and a half", "-3/2", "thou"),
        ("half a thou", "1/2", "thou"),
        ("a quarter of a thou", "1/4", "thou"),
        ("three quarters of an inch", "3/4", "in"),
        ("fifteen sixteenths of an inch", "15/16", "in"),
        ("nineteen thirty-seconds of an inch", "19/32", "in"),
        ("three tenths of a thou", "3/10", "thou"),
        ("point oh one six", "0.016", "thou"),
        ("point oh one six inch", "0.016", "in"),
        ("nought point four one mm", "0.41", "mm"),
        ("nought point four eight", "0.48", "thou"),
        ("twelve point oh five", "12.05", "thou"),
        ("minus two", "-2", "thou"),
        ("-two", "-2", "thou"),
        ("plus two", "2", "thou"),
        ("one hundred and five", "105", "thou"),
        ("a hundred", "100", "thou"),
        ("two thousand and one", "2001", "thou"),
        ("sixteen thousandths", "16", "thou"),
        ("sixteen thousandths of a millimetre", "16", "µm"),
    ],
)
def test_a_point(text: str, value: str, unit: str) -> None:
    assert _said(text) == ("point", F(value), F(value), unit)


@pytest.mark.parametrize(
    ("text", "own", "value", "unit"),
    [
        ("22 lbf·in", "lbf·in", "22", "lbf·in"),
        ("22 lb-in", "lbf·in", "22", "lbf·in"),
        ("22 in-lb", "N·m", "22", "lbf·in"),
        ("2.5 N·m", "lbf·in", "2.5", "N·m"),
        ("2.5Nm", "lbf·in", "2.5", "N·m"),
        ("twenty-two inch pounds", "lbf·in", "22", "lbf·in"),
        ("25 kg cm", "lbf·in", "25", "kgf·cm"),
        ("6 lb", "lbf", "6", "lbf"),
        ("2 kg", "lbf", "2", "kgf"),
        ("68 F", "°C", "68", "°F"),
        ("-5", "°C", "-5", "°C"),
        ("2 MPa", "bar", "2", "MPa"),
        ("two MPa", "bar", "2", "MPa"),
        ("12", "count", "12", "count"),
        ("15/16", "in", "15/16", "in"),
        ("16 thou", "in", "16", "thou"),
    ],
)
def test_other_units(text: str, own: str, value: str, unit: str) -> None:
    assert _said(text, own) == ("point", F(value), F(value), unit)


@pytest.mark.parametrize(
    "text",
    [
        "15/16",
        "15 / 16",
        "15/16 thou",
        "15 thou/16 thou",
        "15 goes 16 no",
        "15 goes, 16 doesn't",
        "15 goes, 16 doesn’t",
        "15 goes 16 does not",
        "15 goes 16 doesn't go",
        "15 goes and 16 won't",
        "15 thou goes 16 no",
        "15 goes 16 thou no",
        "15 goes, not 16",
        "go 15 no-go 16",
        "go 15, no go 16",
        "16 no, 15 goes",
        "16 doesn't go, 15 does",
        "fifteen goes sixteen no",
        "Fifteen goes, six-teen does not",
    ],
)
def test_a_bracket(text: str) -> None:
    assert _said(text) == ("bracket", 15, 16, "thou")


def test_brackets_in_other_units() -> None:
    assert _said("0.38/0.41 mm") == ("bracket", F("0.38"), F("0.41"), "mm")
    assert _said("0,38/0,41 mm") == ("bracket", F("0.38"), F("0.41"), "mm")
    assert _said('0.015/0.016"') == ("bracket", F("0.015"), F("0.016"), "in")
    assert _said("0.015 in goes 0.016 in no") == ("bracket", F("0.015"), F("0.016"), "in")
    assert _said("0.015/0.016", "in") == ("bracket", F("0.015"), F("0.016"), "in")
    assert _said("-3/-2") == ("bracket", -3, -2, "thou")


def test_a_bracket_has_a_middle_and_a_width() -> None:
    said = read("19/20", unit="thou")
    assert (said.middle, said.width) == (F("19.5"), 1)
    point = read("19", unit="thou")
    assert (point.middle, point.width) == (19, 0)
    below = read("no leaf enters", unit="thou", leaves=(F(3), F("1.5")))
    assert (below.middle, below.width) == (None, None)


def test_leaves_that_are_not_neighbours_are_kept_as_said() -> None:
    said = read("14 goes 16 no", unit="thou", leaves=[F(x) for x in (14, 15, 16)])
    assert (said.low, said.high) == (14, 16)


@pytest.mark.parametrize(
    ("text", "match"),
    [
        ("16/15", "15 thou goes, 16 thou no"),
        ("15/15", "must be the smaller"),
        ("16 goes 15 no", "must be the smaller"),
        ("16 no", "which one does"),
        ("15 goes 16 goes", "not understood"),
        ("15 goes 16 no 17 no", "not understood"),
        ("15 goes 16", "not understood"),
        ("goes", "not understood"),
        ("no", "not understood"),
        ("1/2/3", "."),
        ("15/", "."),
        ("/16", "."),
    ],
)
def test_a_bracket_that_cannot_be(text: str, match: str) -> None:
    with pytest.raises(ReadingError, match=match):
        read(text, unit="thou")


def test_a_bracket_in_two_units_is_refused() -> None:
    with pytest.raises(UnitError, match="one leaf is in mm and the other in thou"):
        read("0.38 mm goes 16 thou no", unit="thou")


def test_four_different_nothings() -> None:
    leaves = (F("1.5"), F(2), F(3))
    zero, absent, outside = (
        read(text, unit="thou", leaves=leaves) for text in ("0", "not accessible", "no leaf enters")
    )
    assert (zero.kind, absent.kind, outside.kind) == ("point", "none", "below")
    assert (outside.low, outside.high) == (None, F("1.5"))
    with pytest.raises(ReadingError, match="blank is not zero"):
        read("   ", unit="thou")


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("not accessible", "not accessible"),
        ("Not Accessible", "not accessible"),
        ("not accessible: pump in the way", "not accessible: pump in the way"),
        ("not accessible (pump in the way)", "not accessible: pump in the way"),
        ("not accessible - Pump in the way, no 3", "not accessible: Pump in the way, no 3"),
        ("can't reach because the pump is there", "not accessible: the pump is there"),
        ("not measured", "not measured"),
        ("not measured, gauge broken", "not measured: gauge broken"),
        ("not applicable", "not applicable"),
    ],
)
def test_a_reason_is_kept(text: str, reason: str) -> None:
    said = read(text, unit="thou")
    assert (said.kind, said.low, said.high, said.reason) == ("none", None, None, reason)
    assert read_back(said) == reason


@pytest.mark.parametrize(
    ("text", "high", "unit"),
    [
        ("no leaf enters", None, "thou"),
        ("No leaf goes", None, "thou"),
        ("no leaf enters (<1.5)", "1.5", "thou"),
        ("no leaf enters (<1.5 thou)", "1.5", "thou"),
        ("no leaf enters, < 0.04 mm", "0.04", "mm"),
        ("no leaf enters, smallest one and a half", "1.5", "thou"),
        ("<1.5", "1.5", "thou"),
    ],
)
def test_no_leaf_enters(text: str, high: str | None, unit: str) -> None:
    assert _said(text) == ("below", None, None if high is None else F(high), unit)


@pytest.mark.parametrize("text", ["25 goes", "25 goes, no larger leaf", "25 thou goes, the largest leaf", ">25"])
def test_the_largest_leaf_goes(text: str) -> None:
    assert _said(text) == ("above", 25, None, "thou")


def test_a_leaf_that_goes_with_a_larger_one_on_the_gauge_is_asked_about() -> None:
    leaves = [F(x) for x in (15, 16, 25)]
    assert read("25 goes", unit="thou", leaves=leaves).kind == "above"
    with pytest.raises(ReadingError, match="16 thou: does it go"):
        read("15 goes", unit="thou", leaves=leaves)
    with pytest.raises(ReadingError, match="does it go"):
        read("0.381 mm goes", unit="thou", leaves=leaves)


def test_words() -> None:
    assert [read(text, unit="1").word for text in ("pass", "OK", "Failed")] == ["pass", "pass", "fail"]
    said = read(" TOE_end", unit="1", categories=("Heel", "Toe end"))
    assert (said.kind, said.word) == ("word", "Toe end")
    assert read("3", unit="count", categories=("1", "2")).kind == "point"
    assert read("2", unit="count", categories=("1", "2")).kind == "word"


def test_tight_needs_a_sign_from_the_characteristic() -> None:
    with pytest.raises(ReadingError, match="no sign here"):
        read("a thou and a half tight", unit="thou")
    assert read("a thou and a half tight", unit="thou", tight=-1).low == F("-1.5")
    assert read("2 thou loose", unit="thou", tight=-1).low == 2


@pytest.mark.parametrize(
    ("text", "match"),
    [
        ("1,234", r"1\.234 or 1234"),
        ("12,345 mm", "decimals or thousands"),
        ("1,234.5", "decimals or thousands"),
        ("1.234,5", "."),
        ("minus 1,234", r"1\.234 or 1234"),
        ("plus 1,234", "decimals or thousands"),
        ("negative 12,345 mm", "decimals or thousands"),
        ("- 1,234", "decimals or thousands"),
        ("minus 1,234 goes 1,236 no", "decimals or thousands"),
        ("a,", "not understood"),
        ("a;", "not understood"),
        ("a ,", "not understood"),
        ("5 M", "m for metres"),
        ("5M", "m for metres"),
        ("4/5 M", "m for metres"),
        ("nan", "several things"),
        ("inf", "several things"),
        ("-inf", "not understood"),
        ("n/a", "several things"),
        ("none", "several things"),
        ("1e400", "too large"),
        ("1e-400", "too small"),
        ("9" * 100, "too large"),
        ("9" * 100_000, "longer than"),
        (" " * 100_000, "blank is not zero"),
        ("not accessible: " + "x" * 370, "reason is longer"),
        ("x" * 200, "not understood"),
        ("16\x00", "can't be printed"),
        ("1\u200b6", "can't be printed"),
        ("1\n6", "can't be printed"),
        ("😀", "not understood"),
        ("16 😀", "unknown unit"),
        ("١٦", "not understood"),
        ("pump in the way", "not understood"),
        ("a", "not understood"),
        ("--16", "not understood"),
        ("minus -2", "not understood"),
        ("15-16", "two numbers"),
        ("1 2", "two numbers"),
        ("fifteen sixteen", "two numbers"),
        ("point sixteen", "each figure"),
        ("point", "each figure"),
        ("three tenths", "nought point three"),
        ("16 mil", "say thou"),
        ("5'", "feet or minutes"),
        ("5/0 in", "not a fraction"),
        ("1 5/4 in", "not a fraction"),
    ],
)
def test_what_is_refused(text: str, match: str) -> None:
    with pytest.raises(ReadingError, match=match) as refused:
        read(text, unit="thou")
    assert refused.value.hint or "longer" in refused.value.message
    assert refused.value.field == "reading"


def test_a_unit_of_another_dimension_is_refused_by_name() -> None:
    with pytest.raises(UnitError, match="torque, but length is measured here"):
        read("22 lbf·in", unit="thou")
    with pytest.raises(UnitError, match="nm is a nanometre"):
        read("2.5 nm", unit="N·m")
    with pytest.raises(UnitError):
        read("22 lb", unit="lbf·in")


def test_no_silent_conversion() -> None:
    # 0.016 in a thou field stays 0.016 thou; it is the doubt that asks.
    assert read("0.016", unit="thou").low == F("0.016")


def test_convert_said_is_exact() -> None:
    said = convert_said(read("0.38/0.41 mm", unit="thou"), "thou")
    assert (said.low, said.high, said.unit) == (F("0.38") / F("0.0254"), F("0.41") / F("0.0254"), "thou")
    assert said.text == "0.38/0.41 mm"
    back = convert_said(said, "mm")
    assert (back.low, back.high) == (F("0.38"), F("0.41"))
    assert convert_said(read("not accessible", unit="mm"), "thou").unit == "thou"
    with pytest.raises(UnitError):
        convert_said(read("16", unit="thou"), "N·m")


def test_gasket_and_pinch_want_a_stand_off_that_a_feeler_brackets() -> None:
    # Common practice, no source: a 16-thou gasket and a 3-thou pinch want 19 thou; 19/20 is inside 19 to 20.
    said = read("19/20", unit="thou")
    assert said.low is not None
    assert said.high is not None
    assert said.low >= 16 + 3
    assert said.high <= 20


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("15/16", "fifteen goes, sixteen does not"),
        ("0.38/0.41 mm", "nought point three eight millimetres goes, nought point four one millimetres does not"),
        ("16", "sixteen thou"),
        ("two and a half thou", "two and a half thou"),
        ('15/16"', "fifteen sixteenths of an inch"),
        ('1 1/2"', "one and a half inches"),
        ('0.9375"', "nought point nine three seven five inches"),
        ("25 goes", "twenty-five thou goes, no larger leaf"),
        ("no leaf enters", "no leaf enters"),
        ("no leaf enters (<1.5)", "no leaf enters, not even one and a half thou"),
        ("0.5/1", "half a thou goes, one does not"),
        ("pass", "pass"),
    ],
)
def test_read_back(text: str, words: str) -> None:
    assert read_back(read(text, unit="thou")) == words


@pytest.mark.parametrize(
    ("text", "canon"),
    [
        ("sixteen", "16 thou"),
        ("15 goes 16 no", "15/16 thou"),
        ('15/16"', "0.9375 in"),
        ("1/3 in", "0 1/3 in"),
        ('0.015/0.016"', "0.015 in goes 0.016 in no"),
        ("25 goes", "25 thou goes, no larger leaf"),
        ("no leaf enters, <1.5", "no leaf enters (<1.5 thou)"),
        ("can't reach (pump)", "not accessible: pump"),
    ],
)
def test_canonical_text(text: str, canon: str) -> None:
    assert canonical(read(text, unit="thou")) == canon


PLAUSIBLE = (F(5), F(60))


def test_a_size_that_does_not_fit_is_asked_about() -> None:
    asked = doubt(read("0.41", unit="thou"), unit="thou", plausible=PLAUSIBLE, step=F(1))
    assert asked is not None
    assert asked.question == "0.41 thou is outside 5 to 60 thou. Did you mean 0.41 mm, which is 16.1 thou?"
    assert [(meant.text, meant.low, meant.unit) for meant in asked.suggestions] == [("0.41 mm", F("0.41"), "mm")]


def test_inches_typed_where_thou_are_meant() -> None:
    asked = doubt(read("0.016", unit="thou"), unit="thou", plausible=PLAUSIBLE, step=F(1))
    assert asked is not None
    assert "Did you mean 0.016 in, which is 16 thou?" in asked.question


def test_pound_feet_said_where_pound_inches_are_meant() -> None:
    # "89-125 lb-ft" is printed in a public-domain manual for a drag torque, ten times any plausible one.
    said = read("12 lb-ft", unit="lbf·in")
    asked = doubt(said, unit="lbf·in", plausible=(F(2), F(45)), step=F(1))
    assert asked is not None
    assert asked.question.startswith("12 lbf·ft (144 lbf·in) is outside 2 to 45 lbf·in. Did you mean 12 lbf·in, or")
    assert said.low == 12


def test_a_rule_fraction_read_as_a_bracket_is_offered() -> None:
    asked = doubt(read("15/16", unit="mm"), unit="mm", plausible=(F(20), F(30)), step=F("0.01"))
    assert asked is not None
    assert [meant.text for meant in asked.suggestions] == ["15/16 in"]
    assert asked.suggestions[0].middle == F(15, 16)


@pytest.mark.parametrize(
    "text",
    ["16", "0.41 mm", "59/62", "no leaf enters", "no leaf enters (<5.5)", "40 goes", "not accessible", "pass", "5"],
)
def test_a_believable_reading_is_not_doubted(text: str) -> None:
    assert doubt(read(text, unit="thou"), unit="thou", plausible=PLAUSIBLE) is None


@pytest.mark.parametrize("text", ["4.9", "-16", "0", "60.1", "60/62", "no leaf enters (<1.5)", "70 goes", "1/2 in"])
def test_an_unbelievable_reading_is_doubted(text: str) -> None:
    assert doubt(read(text, unit="thou"), unit="thou", plausible=PLAUSIBLE) is not None


def test_a_range_may_be_open() -> None:
    said = read("100", unit="thou")
    assert doubt(said, unit="thou", plausible=(None, None)) is None
    over = doubt(said, unit="thou", plausible=(None, F(60)))
    under = doubt(said, unit="thou", plausible=(F(200), None))
    assert over is not None
    assert under is not None
    assert "over 60 thou" in over.question
    assert "under 200 thou" in under.question


def test_nothing_else_to_suggest_asks_plainly() -> None:
    asked = doubt(read("0", unit="thou"), unit="thou", plausible=PLAUSIBLE)
    assert asked is not None
    assert asked.question == "0 thou is outside 5 to 60 thou. Is it right?"
    assert asked.suggestions == ()


def test_a_said_is_frozen() -> None:
    said = Said("16", "point", F(16), F(16), "thou")
    with pytest.raises(AttributeError):
        said.low = F(1)  # type: ignore[misc] # the fault
