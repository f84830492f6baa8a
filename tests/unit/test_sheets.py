"""Case-type sheets: what is sound, and every problem of one that is not, with its line."""

from __future__ import annotations

import re
from datetime import datetime
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from qclog.bench import growth
from qclog.domain.sheets import casetype_file, sums, sums_file
from qclog.domain.sheets.casetype_file import read_sheet
from qclog.domain.sheets.casetypes import Limits, Version, condition_of_parts, version_at
from qclog.errors import SheetError, UnknownNameError
from tests.conftest import SHEET

MINIMAL = """\
code = "XY-1"
name = "A gearbox"
family = "tractor"
version = "2026-01"

[[characteristic]]
code = "layshaft_float"
name = "Layshaft end float"
unit = "thou"
step = 1.0
stages = ["final"]
gauge_kind = "feeler"
"""


def test_the_sheet_of_the_contract_is_sound() -> None:
    sheet = read_sheet(MINIMAL)
    (only,) = sheet.characteristics
    assert (only.code, only.unit, only.step, only.stages, only.shape) == (
        "layshaft_float", "thou", 1.0, ("final",), "record",
    )  # fmt: skip


def test_shapes_follow_from_limits() -> None:
    shapes = {c.code: c.shape for c in read_sheet(SHEET).characteristics}
    assert shapes == {
        "trial_pack": "record", "stand_off": "band", "recess": "record", "leak": "pass", "torque": "target",
    }  # fmt: skip


def test_every_problem_is_told_at_once_with_its_line() -> None:
    text = """\
code = "XY-1"
name = "A gearbox"
family = ""
colour = "red"

[[characteristic]]
code = "a"
name = "A"
unit = "mil"
step = 0

[[characteristic]]
code = "b"
name = "B"
unit = "thou"
stages = ["final", "middle"]
limits.new = { lower = 5, upper = 3 }
limits.worn = { lower = 5 }
formula = "c + d"

[[characteristic]]
code = "c"
name = "C"
unit = "lbf·in"
formula = "b * 2"

[[characteristic]]
code = "b"
name = "again"
unit = "mm"
"""
    with pytest.raises(SheetError) as caught:
        read_sheet(text, "x.toml")
    told = {(p.line, p.column) for p in caught.value.problems}
    assert told >= {
        (3, "family"), (4, "colour"), (None, "version"), (9, "unit"), (10, "step"), (16, "stages"), (17, "new"),
        (18, "worn"), (19, "formula"), (28, "code"),
    }  # fmt: skip
    assert "say thou" in next(str(p) for p in caught.value.problems if p.column == "unit") or any(
        "thou" in str(p) for p in caught.value.problems if p.column == "unit"
    )


@pytest.mark.parametrize(
    ("lines", "said"),
    [
        ('formula = "x + 1 lbf·in"', "torque"),
        ('formula = "y"', "loops"),
        ('formula = "x.trial"', "not measured at"),
        ('formula = "x@12"', "not one of its positions"),
        ('formula = "tilt(x)"', "at least 3 positions"),
        ('formula = "nobody"', "not a characteristic"),
        ('formula = "x * x"', "a pure number|area"),
        ('formula = "leak"', "read in words"),
        ('shape = "pass"\nlimits.new = { upper = 3 }', "can't be given"),
        ('shape = "category"', "at least two words"),
        ('shape = "band"', "needs limits"),
        ('shape = "wavy"', "must be one of"),
        ('forced_at = ["trial"]', "not among its stages"),
        ("plausible = [60, 5]", "smaller first"),
        ('positions = ["12", "12"]', "twice"),
        ('variants = ["Z"]', "must be one of"),
        ('gauge_kind = "ruler"', "must be one of"),
    ],
)
def test_what_does_not_hold_together_is_told(lines: str, said: str) -> None:
    text = MINIMAL + (
        '[[characteristic]]\ncode = "x"\nname = "X"\nunit = "thou"\n'
        '[[characteristic]]\ncode = "leak"\nname = "L"\nunit = "kPa"\nshape = "pass"\n'
        f'[[characteristic]]\ncode = "y"\nname = "Y"\nunit = "thou"\n{lines}\n'
    )
    with pytest.raises(SheetError) as caught:
        read_sheet(text)
    problems = caught.value.problems
    assert any(p.line is not None and p.line >= 21 for p in problems)
    assert any(re.search(said, str(p)) for p in problems), [str(p) for p in problems]


@pytest.mark.parametrize(
    "number", ["inf", "-inf", "nan", "1e400", "1e12", "-2e9", "9" * 400, "9" * 5000, "0x" + "f" * 5000]
)
@pytest.mark.parametrize(
    "line",
    ["limits.new = {{ lower = 1, upper = {} }}", "limits.new = {{ nominal = {} }}", "step = {}", "plausible = [0, {}]"],
)
def test_a_number_that_is_no_limit_is_told(number: str, line: str) -> None:
    bad = MINIMAL.replace("step = 1.0\n", "") + line.format(number) + "\n"
    with pytest.raises(SheetError) as caught:
        read_sheet(bad)
    assert any(p.line == 12 for p in caught.value.problems), caught.value.problems
    assert len(str(caught.value.problems[0])) < 400


@pytest.mark.parametrize("number", ["inf", "nan", "1e12", "9" * 400, "9" * 5000])
def test_a_sum_takes_no_such_number_either(number: str) -> None:
    for line in (f"crush = {number}", f"limits = {{ lower = 1, upper = {number} }}", f"leaves = [{number}]"):
        with pytest.raises(SheetError) as caught:
            read_sheet(
                SHEET + f'\n[[sum]]\nkind = "pack"\ncode = "p"\nname = "P"\nshim_location = "under_cover"\n{line}\n'
            )
        assert all(len(str(p)) < 400 for p in caught.value.problems)
        assert any(re.search("number|least", p.reason) for p in caught.value.problems), caught.value.problems


def test_a_sheet_that_is_in_a_log_already_is_still_read() -> None:
    text = MINIMAL + "limits.new = { lower = 4, upper = inf }\n"
    (only,) = read_sheet(text, stored=True).characteristics
    assert only.limit_set("final", None) == ("new", Limits(lower=4.0))


def test_two_formulas_that_use_each_other_loop() -> None:
    text = MINIMAL + (
        '[[characteristic]]\ncode = "x"\nname = "X"\nunit = "thou"\nformula = "y + 1 thou"\n'
        '[[characteristic]]\ncode = "y"\nname = "Y"\nunit = "thou"\nformula = "x - 1 thou"\n'
    )
    with pytest.raises(SheetError, match="2 problems"):
        read_sheet(text)


def test_broken_toml_names_the_line() -> None:
    with pytest.raises(SheetError) as caught:
        read_sheet('code = "a"\nname = \n')
    assert caught.value.problems[0].line == 2


@given(st.text(max_size=200))
def test_no_text_crashes_the_sheet_reader(text: str) -> None:
    for candidate in (text, MINIMAL + text):
        try:
            read_sheet(candidate)
        except SheetError as error:
            assert error.problems


def test_the_version_in_force_is_the_latest_begun() -> None:
    sheet = read_sheet(MINIMAL)
    first = Version(sheet, None)
    second = Version(sheet, datetime(2026, 3, 1))
    third = Version(sheet, datetime(2026, 6, 1))
    versions = [third, first, second]
    assert version_at(versions, datetime(2026, 2, 28)) is first
    assert version_at(versions, datetime(2026, 3, 1)) is second
    assert version_at(versions, datetime(2027, 1, 1)) is third
    assert version_at([second, third], datetime(2020, 1, 1)) is second


def test_the_limit_set_follows_stage_and_parts() -> None:
    torque = read_sheet(SHEET).characteristic("torque")
    assert condition_of_parts(torque, [("bearing", "reused"), ("gasket", "new")]) == "reused"
    assert condition_of_parts(torque, [("gasket", "reused"), ("bearing", "reclaimed")]) == "new"
    assert torque.limit_set("final", "reused") == ("reused", dict(torque.limits)["reused"])
    assert torque.limit_set("final", None) == ("new", dict(torque.limits)["new"])
    assert torque.limit_set("as_found", "new") is None


def test_an_unknown_characteristic_names_what_there_is() -> None:
    with pytest.raises(UnknownNameError, match="layshaft_float"):
        read_sheet(MINIMAL).characteristic("nobody")


def test_the_vocabulary_is_documented() -> None:
    """DEVELOPERS.md or README.md explains every word of a sheet."""
    from qclog.domain.sheets.casetype_file import CHARACTERISTIC_KEYS, SHEET_KEYS

    root = Path(__file__).parents[2]
    text = (root / "qclog" / "domain" / "sheets" / "SHEETS.md").read_text(encoding="utf-8")
    for word in (*SHEET_KEYS, *CHARACTERISTIC_KEYS):
        assert f"`{word}`" in text, word


PACK = """
[[sum]]
kind = "pack"
code = "cover"
name = "Output cover"
shim_location = "under_bearing"
gap = "stand_off"
trial_pack = "trial_pack"
pinch = 4
limits = { lower = 3, upper = 5.5 }
stock = "S-A"
leaves = [1, 5]
safer = "thicker"
tolerance = 0.5
"""


def test_a_sum_says_where_the_shim_is() -> None:
    (one,) = read_sheet(SHEET + PACK).sums
    assert isinstance(one, sums.PackSum)
    assert (one.shim_location, one.gap, one.trial_pack, one.wanted) == ("under_bearing", "stand_off", "trial_pack", 4)
    assert (one.lower, one.upper, one.choosing.stock, one.choosing.leaves) == (3, 5.5, "S-A", (1, 5))
    assert sums.stock_of(one) == "S-A"
    (floating,) = read_sheet(SHEET + PACK.replace("pinch = 4", "float = 10")).sums
    assert isinstance(floating, sums.PackSum)
    assert floating.wanted == -10


@pytest.mark.parametrize(
    ("change", "line", "said"),
    [
        (('"under_bearing"', '"above"'), 5, "must be one of under_bearing, in_joint"),
        (('gap = "stand_off"', 'gap = "standoff"'), 6, "is not a characteristic of this sheet"),
        (('trial_pack = "trial_pack"\n', ""), 1, "the gap is read over a trial pack"),
        (('gap = "stand_off"', 'gap = "torque"'), 6, "must be a length"),
        (('gap = "stand_off"', 'gap = "leak"'), 6, "must be a characteristic in numbers"),
        (("pinch = 4\n", ""), 1, "pinch or float, one of the two"),
        (("pinch = 4", "pinch = -4"), 8, "a negative pinch is a float"),
        (("lower = 3", "lower = 9"), 9, "must run from lower to upper"),
        (("[1, 5]", "[5, 1]"), 11, "the least number of leaves and the most"),
        (("tolerance = 0.5", "tolerance = 0"), 13, "more than 0"),
        (('"thicker"', '"bigger"'), 12, "must be one of thicker, thinner"),
        (('kind = "pack"', 'kind = "guess"'), 2, "must be one of pack, side_shims"),
        (("tolerance = 0.5", "tolerence = 0.5"), 13, "is not a word of the sheet"),
        (('safer = "thicker"', "sealant = 1"), 12, "must be true or false"),
    ],
)
def test_problems_of_a_sum_stand_on_their_line(change: tuple[str, str], line: int, said: str) -> None:
    text = SHEET + PACK.replace(*change)
    with pytest.raises(SheetError) as told:
        read_sheet(text)
    first = SHEET.count("\n") + 1
    assert any(p.line == first + line and said in p.reason for p in told.value.problems), told.value.problems


def test_every_kind_of_sum_is_checked() -> None:
    bad = {
        'kind = "side_shims"\nwheel_side = "trial_pack"\nfar_side = "trial_pack"\nbacklash = "stand_off"\n'
        'plus_side = "wheel"\nspiral_angle = 70\nzero_play = "trial_pack"': (
            "is needed, or gear_teeth and pinion_teeth", "below 60 degrees", "make the total together",
        ),
        'kind = "pinion_shim"\nold_shim = "trial_pack"\nold_mark = "recess"\nnew_mark = "recess"\nsign = 2': (
            "must be 1 (a plus mark adds shim) or -1",
        ),
        'kind = "pattern"\ndrive = "stand_off"\nmore_shim = "up"': ("in words (shape category)", "one of toward, away"),
        'kind = "growth"\nof = "recess"\nspan_mm = 0\ncase = "cheese"\nshaft = "steel"\nrunning_at = 60': (
            "must be more than 0", "must be one of aluminium",
        ),
        'kind = "fit"\nbore = "recess"\nshaft = "recess"\nlimits = "loose"': ("a fit as printed",),
        'kind = "torque"\ntorque = "recess"\nagainst = "recess"\nsteps = [0]': ("must be a torque", "numbers above 0"),
    }  # fmt: skip
    for words, wanted in bad.items():
        with pytest.raises(SheetError) as told:
            read_sheet(f'{SHEET}\n[[sum]]\ncode = "x"\nname = "X"\n{words}\n')
        for said in wanted:
            assert any(said in p.reason for p in told.value.problems), (said, told.value.problems)


def test_a_sum_twice_or_of_an_unknown_variant() -> None:
    with pytest.raises(SheetError, match="1 problem"):
        read_sheet(SHEET + PACK + PACK)
    with pytest.raises(SheetError) as told:
        read_sheet(SHEET + PACK.replace("pinch = 4", 'pinch = 4\nvariants = ["Z"]'))
    assert "must be one of A" in told.value.problems[0].reason


def test_the_words_of_sums_are_documented_and_their_materials_known() -> None:
    text = (Path(casetype_file.__file__).parent / "SHEETS.md").read_text(encoding="utf-8")
    for words in sums_file._OF_KIND.values():
        for word in words.types:
            assert f"`{word}`" in text, word
    assert set(sums.MATERIALS) == set(growth.MATERIALS)
    assert set(sums.KINDS) == set(sums_file._OF_KIND)
