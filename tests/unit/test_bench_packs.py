"""Packs from a drawer: measured sizes, leaf counts, the safer side, laminated stock, what can't be reached."""

from __future__ import annotations

from fractions import Fraction

import pytest

from qclog.bench.many_packs import Together, choose_packs
from qclog.bench.packs import Leaf, Pack, Want, choose_pack, parse_leaves
from qclog.errors import InputError


def sizes(pack: Pack | None) -> list[float]:
    assert pack is not None
    return [p.thickness for p in pack.leaves]


IMPERIAL = parse_leaves("20x9 10x9 5x9 3x9 2x9")


def test_the_pack_of_the_issue() -> None:
    choice = choose_pack(parse_leaves("20 10x2 5 3x2"), Want(41))
    assert sizes(choice.best) == [20, 10, 5, 3, 3]
    assert choice.sentence() == "fit 20+10+5+3+3 = 41"


@pytest.mark.parametrize(
    ("stock", "misses", "upto"),
    [
        ((2, 3, 5, 10, 20), {1, 39}, 40),
        ((2, 5, 10, 25), {1, 3, 13, 18, 21, 23, 26, 28, 33, 36, 38, 41, 43, 44, 46, 48, 49}, 50),
        ((3, 5, 10), {1, 2, 4, 7, 17}, 20),
    ],
)
def test_what_four_leaves_reach(stock: tuple[int, ...], misses: set[int], upto: int) -> None:
    # Arithmetic: reachability with at most four leaves .
    drawer = [Leaf(s, 9) for s in stock]
    missed = {n for n in range(1, upto + 1) if not choose_pack(drawer, Want(n, 0, most=4)).reached}
    assert missed == misses


def test_fewest_leaves_by_measured_size() -> None:
    assert sizes(choose_pack(IMPERIAL, Want(37, 0)).best) == [20, 10, 5, 2]
    assert sizes(choose_pack(IMPERIAL, Want(44, 0)).best) == [20, 20, 2, 2]
    thick = [Leaf(20.4, 2, 20), Leaf(19.7, 1, 20), Leaf(2.0, 1)]
    choice = choose_pack(thick, Want(42, 0.2))
    assert sizes(choice.best) == [20.4, 19.7, 2.0]
    assert choice.sentence() == "fit 20+20+2 (measured 20.4+19.7+2) = 42.1, 0.1 off"


def test_least_and_most_leaves() -> None:
    # TM 5-3810-306-34, p 8-28, read from a scanned copy: at least three leaves, for sealing.
    assert len(sizes(choose_pack(IMPERIAL, Want(30, 0, least=3)).best)) == 3
    limited = choose_pack(IMPERIAL, Want(39, 0, most=4))
    assert not limited.reached
    assert len(sizes(choose_pack(IMPERIAL, Want(39, 0)).best)) == 5


def test_the_safer_side_decides_ties_and_misses() -> None:
    drawer = parse_leaves("10 12")
    for safer, wanted in (("thicker", 12), ("thinner", 10)):
        assert sizes(choose_pack(drawer, Want(11, 1, safer=safer)).best) == [wanted]  # type: ignore[arg-type] # its words
        missed = choose_pack(drawer, Want(11, 0.5, safer=safer))  # type: ignore[arg-type] # its words
        assert missed.best is None
        assert sizes(missed.suggested) == [wanted]
        assert (sizes(missed.below), sizes(missed.above)) == ([10], [12])
    assert sizes(choose_pack(parse_leaves("10 13"), Want(11, 0.5)).suggested) == [10]


def test_unreachable_is_said_with_the_nearest() -> None:
    choice = choose_pack(parse_leaves("20x2 10"), Want(44, 1))
    assert choice.sentence() == (
        "44 can't be made within 1 from this drawer; nearest below 20+20 = 40 (-4); nearest above 20+20+10 = 50 (6)"
    )
    thick = choose_pack(parse_leaves("20 25"), Want(11, 1, least=1))
    assert thick.below is None
    assert any("thicker than wanted: the thinnest is 20" in c for c in thick.cautions)


def test_laminated_stock_is_peeled() -> None:
    choice = choose_pack(parse_leaves("30/2x2 3 5"), Want(23, 0))
    assert choice.sentence() == "fit 30 peeled to 18+5 = 23"
    assert any("mic what is left" in c for c in choice.cautions)
    assert Leaf(30, 1, layer=2).thicknesses == tuple(range(30, 0, -2))


INCHES = parse_leaves("0.0205x2 0.0052x3 0.0031x2")


def test_leaves_in_inches_are_added_up_as_they_are() -> None:
    choice = choose_pack(INCHES, Want(0.0257, 0.0003))
    assert choice.sentence("in") == "fit 0.0205+0.0052 = 0.0257"
    near = choose_pack(INCHES, Want(0.0234, 0.0003))
    assert near.sentence("in") == "fit 0.0205+0.0031 = 0.0236, 0.0002 off"
    missed = choose_pack(INCHES, Want(0.0240, 0.0003))
    assert missed.sentence("in") == (
        "0.024 can't be made within 0.0003 from this drawer; "
        "nearest below 0.0205+0.0031 = 0.0236 (-0.0004); nearest above 0.0205+0.0052 = 0.0257 (0.0017)"
    )
    (both,) = choose_packs(INCHES, [Want(0.0257, 0.0003)]).choices
    assert both.sentence("in") == choice.sentence("in")
    assert not choose_packs(INCHES, [Want(0.0240, 0.0003)]).reached


@pytest.mark.parametrize("unit", [Fraction(1), Fraction(1, 1000), Fraction(254, 10_000), Fraction(254, 10)])
def test_the_unit_changes_nothing(unit: Fraction) -> None:
    """Thou, inches, millimetres and microns: the same leaves for the same want."""

    def scaled(thou: float) -> float:
        return float(Fraction(str(thou)) * unit)

    drawer = [Leaf(scaled(size), count) for size, count in ((20.5, 2), (5.2, 3), (3.1, 2))]
    for wanted in (25.7, 23.4, 24.0, 51.3):
        choice = choose_pack(drawer, Want(scaled(wanted), scaled(0.3)))
        plain = choose_pack([Leaf(20.5, 2), Leaf(5.2, 3), Leaf(3.1, 2)], Want(wanted, 0.3))
        assert choice.reached == plain.reached
        for mine, other in ((choice.best, plain.best), (choice.below, plain.below), (choice.above, plain.above)):
            assert (
                [drawer.index(p.leaf) for p in mine.leaves]
                == [[20.5, 5.2, 3.1].index(p.leaf.size) for p in other.leaves]
                if mine and other
                else mine is other
            )
        (found,) = choose_packs(drawer, [Want(scaled(wanted), scaled(0.3))]).choices
        assert found.reached == plain.reached


def test_as_many_leaves_as_there_are() -> None:
    choice = choose_pack([Leaf(1, 300)], Want(250, 0))
    assert choice.best is not None
    assert (choice.best.total, len(choice.best.leaves)) == (250, 250)
    many = choose_pack([Leaf(1, 1000), Leaf(50, 1000)], Want(7049, 0))
    assert many.best is not None
    assert len(many.best.leaves) == 140 + 49


def test_what_is_too_much_to_work_out_is_said() -> None:
    for drawer, want, said in (
        ([Leaf(0.001, 100_000)], Want(100), "most leaves"),
        ([Leaf(20.123456789, 5), Leaf(3, 5)], Want(60), "fewer decimals"),
    ):
        with pytest.raises(InputError, match=said):
            choose_pack(drawer, want)


def test_left_and_right_of_a_carrier_share_a_drawer() -> None:
    drawer = parse_leaves("25x2 10x2 5x2 3x2")
    found = choose_packs(drawer, [Want(40, 0.5), Want(43, 0.5)], [Together((0, 1), 83, 0.2)])
    assert found.reached
    assert [p.total for p in found.packs] == [40, 43]
    assert sum(len(p.leaves) for p in found.packs) == 7
    scarce = choose_packs(parse_leaves("25x2 10 5 3"), [Want(40, 0.5), Want(43, 0.5)])
    assert not scarce.reached
    assert scarce.missed_by == pytest.approx(15 - 1)


def test_jobs_of_the_day_do_not_take_the_same_leaf() -> None:
    found = choose_packs(parse_leaves("20 10x2 10.5 5x3 2x2"), [Want(20, 0.6), Want(20, 0.6), Want(12, 0.1)])
    assert found.reached
    assert sorted(p.total for p in found.packs) == [12, 20, 20.5]  # the 10 that 12 needs is spared


def test_bad_drawers_and_wants() -> None:
    for bad, said in (
        (lambda: choose_pack([], Want(10)), "drawer is empty"),
        (lambda: choose_pack([Leaf(10, 0)], Want(10)), "drawer is empty"),
        (lambda: choose_pack([Leaf(10, 1)], Want(10, least=2)), "2 leaves or more"),
        (lambda: Want(-1), "less than nothing"),
        (lambda: Want(10, -0.1), "0 or more"),
        (lambda: Want(10, least=3, most=2), "least to most"),
        (lambda: Want(10, safer="left"), "safer must be thicker or thinner"),  # type: ignore[arg-type] # the fault
        (lambda: Leaf(0), "above 0"),
        (lambda: Leaf(5, -1), "less than no leaves"),
        (lambda: Leaf(5, 1, layer=6), "thinner than its laminated"),
        (lambda: parse_leaves(""), "no leaves"),
        (lambda: parse_leaves("20xmany"), "sizes with how many"),
        (lambda: choose_packs([Leaf(10)], []), "what packs"),
    ):
        with pytest.raises(InputError, match=said):
            bad()
