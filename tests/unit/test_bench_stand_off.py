"""Stand-off, pinch, float, closure and gaskets: the sums of the trade and bad input."""

from __future__ import annotations

from math import sqrt

import pytest

from qclog.bench import gasket, stand_off
from qclog.bench.answer import CLOSE, HIGH, INSIDE, LOW, Answer
from qclog.bench.estimate import Estimate, mean, propagate
from qclog.bench.uncertainty import feeler_stack, source_of
from qclog.errors import InputError

E = Estimate


def test_the_sum_of_the_issue() -> None:
    # Common practice, no source: trial 40 reading 15, gasket 12, pinch 4.
    answer = stand_off.pack_under_bearing(E(40, 0.2), E(15, 0.3), gasket=E(12, 0.2), pinch=4)
    assert answer.value == 41
    assert answer.sum == "40 - 15 = 25 recess; 25 + 12 gasket + 4 pinch = 41"
    assert answer.u == pytest.approx(sqrt(0.2**2 + 0.3**2 + 0.2**2))
    assert "A trial fit decides; the maker's manual decides." in answer.cautions
    assert stand_off.stand_off_wanted(E(12), E(4)).sum == "12 gasket + 4 pinch = 16"


@pytest.mark.parametrize(
    ("pack", "read", "recess", "wanted"), [(40, 15, 25, 41), (40, 11, 29, 45), (41, 16, 25, 41), (41, 18, 23, 39)]
)
def test_the_table_of_trial_corrections(pack: float, read: float, recess: float, wanted: float) -> None:
    # Arithmetic of the sums themselves, no source needed.
    assert stand_off.recess(E(pack), E(read)).value == recess
    assert stand_off.pack_under_bearing(E(pack), E(read), gasket=E(12), pinch=4).value == wanted


def test_the_place_of_the_shim_turns_the_sign() -> None:
    under = [stand_off.pack_under_bearing(E(40), E(g), pinch=4).value for g in (15, 16)]
    joint = [stand_off.pack_in_joint(E(g), pinch=4).value for g in (15, 16)]
    assert under == [29, 28]
    assert joint == [11, 12]
    assert [stand_off.pinch_of(E(p), E(25), place="under_bearing").value for p in (29, 30)] == [4, 5]
    assert [stand_off.pinch_of(E(p), E(25), place="in_joint").value for p in (21, 22)] == [4, 3]
    assert stand_off.pack_in_joint(E(15), pinch=4, gasket=E(2), trial_pack=E(10)).value == 19


def test_a_pack_gives_back_the_pinch_it_was_chosen_for() -> None:
    for place, pack in (
        ("under_bearing", stand_off.pack_under_bearing(E(40), E(15), gasket=E(12), pinch=4).value),
        ("in_joint", stand_off.pack_in_joint(E(25), gasket=E(12), pinch=4).value),
    ):
        assert stand_off.pinch_of(E(pack), E(25), gasket=E(12), place=place).value == 4  # type: ignore[arg-type] # its words


def test_closure_says_what_to_check_again() -> None:
    # Arithmetic: two interval readings 0.29 and two packs 0.2 each make 0.50, three of which are 1.5 thou.
    recesses = [stand_off.recess(E(40, 0.2), E(15, 0.29)).estimate, stand_off.recess(E(41, 0.2), E(18, 0.29)).estimate]
    good = stand_off.closure(recesses[0], E(25.5, recesses[1].u))
    assert good.upper == pytest.approx(1.5, abs=0.01)
    assert stand_off.closes(good)
    assert good.cautions == ()
    bad = stand_off.closure(*recesses)
    assert bad.value == -2
    assert not stand_off.closes(bad)
    assert "seat the rollers" in bad.cautions[0]
    with pytest.raises(InputError, match="uncertainty or a limit"):
        stand_off.closure(E(25), E(25))


def test_float_both_ways() -> None:
    assert stand_off.pack_for_float(E(30), E(12), wanted=4, takes_up=True).value == 38
    assert stand_off.pack_for_float(E(30), E(12), wanted=4, takes_up=False).value == 22
    # A window printed in maker's data not in the public domain, as bare figures: 0.47 read, 0.06-0.11 wanted.
    window = stand_off.pack_window(E(0.47), 0.06, 0.11, unit="mm")
    assert (window.lower, window.upper) == (pytest.approx(0.36), pytest.approx(0.41))
    with pytest.raises(InputError, match="below the least already"):
        stand_off.pack_window(E(0.02), 0.06, 0.11, unit="mm")


def test_depths_less_the_bar_they_were_read_over() -> None:
    answer = stand_off.pack_by_depths(E(1.250), E(0.700), pinch=0.004, bar=0.5)
    assert answer.value == pytest.approx(0.054)
    assert answer.sum == "1.25 - 0.5 bar - 0.7 + 0.004 pinch = 0.054"


def test_bad_input_is_told_plainly() -> None:
    for bad, said in (
        (lambda: stand_off.recess(E(-1), E(15)), "less than nothing"),
        (lambda: stand_off.recess(E(40), E(0)), "flush"),
        (lambda: stand_off.pack_in_joint(E(3), pinch=9), "thinner than nothing"),
        (lambda: stand_off.pack_in_joint(E(-3), pinch=1), "less than nothing"),
        (lambda: stand_off.pack_by_depths(E(-1), E(1), pinch=0), "less than nothing"),
        (lambda: Estimate(float("nan")), "must be finite"),
        (lambda: Estimate(1, -1), "0 or more"),
        (lambda: mean([]), "at least one"),
    ):
        with pytest.raises(InputError, match=said):
            bad()


def test_flush_says_what_to_do() -> None:
    with pytest.raises(InputError) as told:
        stand_off.recess(E(40), E(0))
    assert "40 thou or more: fit a thicker trial pack" in str(told.value)


def test_gasket_crush() -> None:
    # Common practice: 13.5 free and 11 % crush make 12.0 thou.
    answer = gasket.compressed(E(13.5, 0.1), E(0.11, 0.02))
    assert answer.value == pytest.approx(12.0, abs=0.02)
    assert answer.u == pytest.approx(sqrt((0.89 * 0.1) ** 2 + (13.5 * 0.02) ** 2))
    crush = gasket.crush_of_sample(E(13.5, 0.1), E(12.0, 0.1))
    assert crush.value == pytest.approx(1 / 9)
    assert gasket.compressed(E(13.5), crush).value == pytest.approx(12.0)
    assert 0 < gasket.SEALANT.value <= 2
    for free, crush_of_it in ((E(0), E(0.1)), (E(12), E(11))):
        with pytest.raises(InputError):
            gasket.compressed(free, crush_of_it)
    with pytest.raises(InputError, match="thinner than a free one"):
        gasket.crush_of_sample(E(12), E(13))


def test_chance_and_too_close_to_call() -> None:
    def standing(value: float, u: float) -> str:
        return Answer("x", value, u, "thou", "", 3.0, 5.5).standing

    assert [standing(v, 0.3) for v in (2.0, 2.9, 4.0, 5.4, 6.5)] == [LOW, CLOSE, INSIDE, CLOSE, HIGH]
    assert [standing(v, 0.0) for v in (2.99, 3.0, 5.5, 5.51)] == [LOW, INSIDE, INSIDE, HIGH]
    assert standing(4.25, 3.0) == CLOSE
    assert Answer("x", 4, 0.3, "thou", "").chance_inside is None
    assert Answer("x", 3, 1, "thou", "", 3.0, None).chance_inside == pytest.approx(0.5)


def test_uncertainty_of_readings() -> None:
    # Common practice, no source: a feeler bracket 0.45, a dial in 0.01 mm 0.3, a depth micrometer 0.4, a
    # micrometer on shim 0.25, a bore gauge 0.2 thou; a torque wrench 4 %, a balance 5 %.
    for kind, step, bracket, wanted in (
        ("feeler", 1.0, True, 0.45),
        ("dial", 0.394, False, 0.3),
        ("depth_mic", 0.394, False, 0.4),
        ("micrometer", 0.1, False, 0.25),
        ("bore", 0.1, False, 0.2),
    ):
        s = source_of(15, 16 if bracket else 15, kind=kind, step=step, unit="thou")
        assert sqrt(s.own**2 + s.shared**2) == pytest.approx(wanted, abs=0.03), kind
    for kind, part in (("torque", 0.04), ("balance", 0.05)):
        assert source_of(20, 20, kind=kind, step=None, unit="lbf·in").shared == pytest.approx(part * 20)
    wide, narrow = (source_of(15, top, kind="feeler", step=1, unit="thou").own for top in (17, 15.5))
    assert wide > narrow
    assert source_of(0.4, 0.4, kind="micrometer", step=0, unit="mm").own == pytest.approx(0.2 * 0.0254)
    with pytest.raises(InputError, match="open reading"):
        source_of(None, 2, kind="feeler", step=1, unit="thou")


def test_a_feeler_stack() -> None:
    # Arithmetic: 16 as 10 + 6 with a 1-thou step: blades 0.24 (0.29 for two 10s), interval
    # 0.29; one lot errs together, so ten leaves of it are worse than ten of many lots.
    stack = feeler_stack([10, 6], step=1, film=0)
    assert stack.value == 16.5
    assert stack.u == pytest.approx(0.375, abs=0.02)
    two_tens = feeler_stack([10, 10], step=1e-9, film=0)
    assert two_tens.u == pytest.approx(0.29, abs=0.01)
    ten = [feeler_stack([10] * 10, step=1, film=0, one_lot=lot).u for lot in (False, True)]
    assert ten[1] > 2.5 * ten[0]
    with pytest.raises(InputError, match="sizes above 0"):
        feeler_stack([], step=1)


def test_one_gauge_cancels_in_a_difference_and_not_in_a_mean() -> None:
    same = [source_of(v, v + 1, kind="feeler", step=1, unit="thou", group="FG-1") for v in (15, 15, 15, 15)]
    own = same[0].own
    difference = propagate(lambda x: x[0] - x[1], same[:2])
    assert difference.u == pytest.approx(own * sqrt(2))
    average = propagate(lambda x: sum(x) / 4, same)
    assert average.u == pytest.approx(sqrt(own**2 / 4 + 0.2**2))
