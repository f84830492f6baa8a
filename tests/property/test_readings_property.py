"""Whatever is said: no crash, nothing lost on the way there and back, and what is read aloud is understood again."""

from __future__ import annotations

from fractions import Fraction

from hypothesis import example, given, settings
from hypothesis import strategies as st

from qclog.domain.quantities import units
from qclog.domain.quantities.spoken import speak_number, understand
from qclog.domain.speech.amounts import LARGEST, SMALLEST
from qclog.domain.speech.readings import Said, canonical, convert_said, doubt, read, read_back
from qclog.errors import ReadingError

UNITS_BY_DIMENSION = {
    "length": ("thou", "in", "mm", "µm", "cm", "ft"),
    "torque": ("lbf·in", "lbf·ft", "N·m", "kgf·cm", "ozf·in", "N·cm"),
    "force": ("N", "lbf", "kgf", "ozf"),
    "pressure": ("kPa", "psi", "bar", "MPa", "kgf/cm²"),
    "temperature": ("°C", "°F"),
    "angle": ("°",),
    "number": ("count", "%"),
}
same_dimension = st.sampled_from(list(UNITS_BY_DIMENSION.values())).flatmap(
    lambda names: st.tuples(st.sampled_from(names), st.sampled_from(names))
)
some_unit = same_dimension.map(lambda pair: pair[0])
decimals = st.integers(-(10**8), 10**8).flatmap(
    lambda figures: st.integers(0, 6).map(lambda places: Fraction(figures, 10**places))
)
scraps = st.sampled_from(
    ["16", "15/16", "0,41", "1 1/2", ".016", "-3", "1e5", "1,234", "sixteen", "and a half", "a", "half",
     "point", "oh", "one", "six", "-teen", "hundred", "thousand", "minus", "goes", "no", "doesn't", "not", "go",
     "no leaf enters", "not accessible", ":", "(", ")", "<", ">", "/", "⁄", "½", ",", "thou", '"', "'", "in",
     "mm", "mil", "µm", "lb-in", "N·m", "tight", "the largest", "of", "because", "quarters", "sixteenths", "😀",
     "\x00", " ", "  ", "-", "."]
)  # fmt: skip
babble = st.lists(scraps, max_size=9).map(" ".join) | st.lists(scraps, max_size=9).map("".join)


def _meaning(said: Said) -> tuple[object, ...]:
    return said.kind, said.low, said.high, said.unit, said.reason, said.word


def _check_any(text: str, unit: str) -> None:
    try:
        said = read(text, unit=unit)
    except ReadingError as refused:
        assert str(refused)
        return
    assert said.text == text
    assert read_back(said)
    assert _meaning(read(canonical(said), unit=unit)) == _meaning(said)
    if said.kind == "point":
        assert said.low == said.high == said.middle
    if said.kind == "bracket":
        assert said.low is not None
        assert said.high is not None
        assert said.low < said.high
    doubt(said, unit=unit, plausible=(Fraction(5), Fraction(60)), step=Fraction(1))


@settings(max_examples=300, deadline=None)
@given(st.text(max_size=40), some_unit)
def test_any_text_is_read_or_refused(text: str, unit: str) -> None:
    _check_any(text, unit)


@settings(max_examples=600, deadline=None)
@given(babble, some_unit)
@example("not accessible: because because x)", "thou")
@example("0 1/3 in", "thou")
@example("no leaf enters (<1/3 in)", "thou")
def test_any_babble_is_read_or_refused(text: str, unit: str) -> None:
    _check_any(text, unit)


@settings(max_examples=300, deadline=None)
@given(st.text(alphabet="/*^().·-µ°%²³ 0123456789abdefgiklmnoprstuNFCPa", max_size=20) | st.text(max_size=20))
def test_any_unit_is_spelled_or_refused(text: str) -> None:
    try:
        unit = units.parse_unit(text)
    except ReadingError:
        return
    assert units.parse_unit(unit) == unit
    assert units.dimension(unit)
    assert units.factor(unit, unit) == 1


@given(decimals, same_dimension)
def test_values_return_exactly_from_another_unit(value: Fraction, pair: tuple[str, str]) -> None:
    one, other = pair
    assert units.convert(units.convert(value, one, other), other, one) == value


@given(decimals)
def test_thou_inch_and_millimetre_go_round_exactly(value: Fraction) -> None:
    round_trip = value
    for start, end in (("thou", "in"), ("in", "mm"), ("mm", "µm"), ("µm", "thou")):
        round_trip = units.convert(round_trip, start, end)
    assert round_trip == value


@given(decimals, some_unit)
def test_what_is_written_is_read_as_the_same(value: Fraction, unit: str) -> None:
    said = read(f"{units.write(value, unit)}", unit=unit)
    assert (said.kind, said.low, said.unit) == ("point", value, unit)


@given(decimals, some_unit)
def test_a_decimal_comma_means_the_same(value: Fraction, unit: str) -> None:
    text = units.write_number(value)
    comma = text.replace(".", ",")
    try:
        said = read(comma, unit=unit)
    except ReadingError as refused:
        assert "decimals or thousands" in refused.message
        assert len(comma.split(",")[1]) == 3
        return
    assert said.low == value


@given(decimals, some_unit)
def test_what_is_read_aloud_is_understood(value: Fraction, unit: str) -> None:
    words = units.in_words(value, unit)
    said = read(words, unit=unit)
    assert (said.low, said.unit) == (value, unit)


@given(st.integers(-(10**14), 10**14))
def test_spoken_whole_numbers_are_understood(number: int) -> None:
    assert understand(speak_number(Fraction(number))) == (number, "")


@given(st.integers(0, 3), st.sampled_from([2, 4, 8, 16, 32, 64]), st.data())
def test_fractions_of_an_inch_are_understood(whole: int, bottom: int, data: st.DataObject) -> None:
    top = data.draw(st.integers(1, bottom - 1))
    value = whole + Fraction(top, bottom)
    typed = f'{whole} {top}/{bottom}"' if whole else f'{top}/{bottom}"'
    said = read(typed, unit="thou")
    assert (said.kind, said.low, said.unit) == ("point", value, "in")
    assert read(read_back(said), unit="thou").low == value


@given(decimals, decimals, same_dimension)
def test_brackets_keep_both_leaves(one: Fraction, two: Fraction, pair: tuple[str, str]) -> None:
    unit, own = pair
    low, high = sorted((one, two))
    texts = [f"{units.write(low, unit)} goes {units.write(high, unit)} no"]
    if unit != "in" and own != "in":
        texts.append(f"{units.write_number(low)}/{units.write(high, unit)}")
    for text in texts:
        if low == high:
            try:
                read(text, unit=unit)
            except ReadingError as refused:
                assert "must be the smaller" in refused.message
                continue
            raise AssertionError(text)
        said = read(text, unit=unit)
        assert _meaning(said) == ("bracket", low, high, unit, None, None)
        there = convert_said(said, own)
        assert _meaning(convert_said(there, unit)) == _meaning(said)
        ends = [abs(end) for end in (there.low, there.high) if end]
        if all(SMALLEST < end < LARGEST for end in ends):  # others are told to be no reading
            assert _meaning(read(canonical(there), unit=unit)) == _meaning(there)


@given(decimals, st.integers(0, 4))
def test_a_value_on_a_step_is_written_with_the_decimals_of_the_step(value: Fraction, places: int) -> None:
    step = Fraction(1, 10**places)
    on_step = round(value / step) * step
    text = units.write_number(on_step, step=step)
    assert Fraction(text) == on_step
    assert len(text.partition(".")[2]) == places


@given(decimals.filter(bool), same_dimension)
def test_a_value_between_steps_is_written_to_within_a_twentieth(value: Fraction, pair: tuple[str, str]) -> None:
    there = units.convert(value, *pair)
    assert abs(Fraction(units.write_number(there, step=Fraction(1))) - there) <= Fraction(1, 20)


@given(decimals, same_dimension)
def test_suggestions_are_believable_and_readable(value: Fraction, pair: tuple[str, str]) -> None:
    unit, own = pair
    plausible = (Fraction(5), Fraction(60))
    said = Said("as typed", "point", value, value, unit)
    asked = doubt(said, unit=own, plausible=plausible)
    there = units.convert(value, unit, own)
    assert (asked is None) == (5 <= there <= 60)
    for meant in asked.suggestions if asked else ():
        assert doubt(read(meant.text, unit=own), unit=own, plausible=plausible) is None
        assert meant.low == value
