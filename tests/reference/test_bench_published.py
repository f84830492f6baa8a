"""The sums of the bench against published manuals: X1 to X20.

Manuals are works of the US government (TM: technical manual) and in the public domain. Each was READ FROM A SCANNED
COPY made by character recognition, not from the original print; numbers that the scan makes doubtful are said so.
Where a manual prints a rule and no worked numbers, the numbers here are ours and the rule is the manual's.
"""

from __future__ import annotations

import itertools

import pytest

from qclog.bench import fits, mesh, pinion, springs, stand_off, torque
from qclog.bench.answer import HIGH, INSIDE, LOW
from qclog.bench.estimate import Estimate, mean
from qclog.bench.ladder import choose_rung, rungs
from qclog.bench.packs import Want, choose_pack, parse_leaves
from qclog.domain.quantities import units
from qclog.errors import InputError

E = Estimate


def test_x1_three_gaps_averaged_peel_to_three_to_five_thou_less() -> None:
    # TM 9-2520-238-34 (transfer gearcase), WP 0019 00-18, steps 23-26, scanned copy: average of the gap at three
    # equal places, peel the shim 0.003-0.005 in less.
    gap = mean([E(0.031), E(0.033), E(0.032)])
    wanted = [stand_off.pack_in_joint(gap, pinch=p, unit="in").value for p in (0.003, 0.005)]
    assert wanted == pytest.approx([0.029, 0.027], abs=1e-9)


def test_x2_two_gaps_averaged_less_four_thou_and_high_torque_adds_shim() -> None:
    # TM 5-3805-260-24, p 5-9, scanned copy: average of two gaps minus 0.004 in; torque 40-60 lbf·in; too high: add
    # shim.
    gap = mean([E(0.020), E(0.022)])
    assert stand_off.pack_in_joint(gap, pinch=0.004, unit="in").value == pytest.approx(0.017)
    change = [torque.sizes_to_change(E(t, 1), 40, 60, more_shim="lowers") for t in (30, 50, 70)]
    assert change == [-1, 0, 1]


def test_x3_gap_less_five_to_nine_thou() -> None:
    # TM 10-3930-671-24, knuckle steps 12-17, scanned copy: gap less 0.005 to 0.009 in.
    wanted = [stand_off.pack_in_joint(E(0.040), pinch=p, unit="in").value for p in (0.005, 0.009)]
    assert wanted == pytest.approx([0.035, 0.031])


def test_x4_gap_sixty_and_ten_of_float_make_seventy() -> None:
    # TM 10-4320-307-24, p 4-103, scanned copy: 0.060 + 0.010 = 0.070 in (1.52 + 0.25 = 1.77 mm); shims 2, 5, 10, 25.
    answer = stand_off.pack_in_joint(E(60), pinch=-10)
    assert answer.value == 70
    assert answer.sum == "60 gap + 10 float = 70"
    assert stand_off.pack_in_joint(E(1.52), pinch=-0.25, unit="mm").value == pytest.approx(1.77)
    best = choose_pack(parse_leaves("2x4 5x4 10x4 25x4"), Want(70, 0.1)).best
    assert best is not None
    assert [p.thickness for p in best.leaves] == [25, 25, 10, 10]


def test_x5_gap_and_ten_to_fifteen_of_float() -> None:
    # TM 5-3820-256-24-5, transfer output steps 11-12, scanned copy: gap + 0.010 to 0.015 in.
    wanted = [stand_off.pack_in_joint(E(22), pinch=-f).value for f in (10, 15)]
    assert wanted == [32, 37]


def test_x6_depth_less_spigot_and_four_thou() -> None:
    # TM 1-1520-238-23-4, pp 6-198, 6-199, scanned copy: C = A - B + 0.004 in; the old shim may stay within 0.001 in.
    answer = stand_off.pack_by_depths(E(0.750), E(0.700), pinch=0.004)
    assert answer.value == pytest.approx(0.054)
    assert stand_off.may_stay(0.0550, answer, within=0.001)
    assert stand_off.may_stay(0.0530, answer, within=0.001)
    assert not stand_off.may_stay(0.0551, answer, within=0.001)


def test_x7_side_shims_moved_ten_and_four_each_side_for_preload() -> None:
    # TM 9-2320-289-34, pp 6-21, 6-22, 6-37 (Table 6-2), scanned copy: 0.250 - 0.010 + 0.004 = 0.244;
    # 0.265 + 0.010 + 0.004 = 0.279 in; printed in mm as 6.350 -> 6.198 and 6.731 -> 7.087.
    moved = mesh.move_side_shims(0.250, 0.265, 0.010, plus_side="wheel", unit="in")
    both = (moved.wheel_side + 0.004, moved.far_side + 0.004)
    assert both == pytest.approx((0.244, 0.279))
    assert moved.total == pytest.approx(0.250 + 0.265)
    assert mesh.carrier_total(E(moved.total), 0.004, unit="in").value == pytest.approx(sum(both))
    assert [round(x * 25.4, 3) for x in (0.250, both[0], 0.265, both[1])] == [6.350, 6.198, 6.731, 7.087]


def test_x7_the_printed_move_gives_a_factor_like_the_geometry() -> None:
    # TM 9-2320-289-34, pp 6-21, 6-22, scanned copy: 10 thou moved from tight mesh gives 5-8 thou, so k = 0.5 to 0.8.
    # The axle's ratio is not on those pages: straight teeth at 3:1 and spiral ones at 4.1:1 stand in.
    low, high = 5 / 10, 8 / 10
    assert low <= mesh.backlash_factor(41, 10, spiral_angle=35, measured="normal") <= high
    assert low <= mesh.backlash_factor(30, 10) <= high


def test_x8_depth_gauge_and_mark() -> None:
    # TM 9-2320-289-34, p 6-19 (Table 6-1), scanned copy: 0.019 with +2 is 0.021 in; 0.031 with -3 is 0.028 in.
    assert pinion.pack_from_gauge(E(0.019), 0.002, sign=1).value == pytest.approx(0.021)
    assert pinion.pack_from_gauge(E(0.031), -0.003, sign=1).value == pytest.approx(0.028)


def test_x9_and_x10_print_opposite_signs() -> None:
    # X9: TM 5-3895-369-14, pp 5-407, 5-409 (Table 5-4), scanned copy: old +2, new -1: take 3 thou out (sign +1).
    # X10: TM 9-2320-280-34, pp 19-12 (Table 9-1), 19-22, scanned copy: old -3, new +2: take 5 thou out (sign -1).
    assert pinion.shim_change(2, -1, 1) == -3
    assert pinion.shim_change(-3, 2, -1) == -5
    assert pinion.pack_from_marks(E(40), 2, -1, sign=1).value == 37
    assert pinion.pack_from_marks(E(40), -3, 2, sign=-1).value == 35
    assert pinion.pack_from_marks(E(40), 2, -1, sign=-1).value == 43


@pytest.mark.parametrize("sign", [1, -1])
def test_x11_the_whole_table_of_marks(sign: int) -> None:
    # TM 5-3895-369-14 Table 5-4 (sign +1), TM 9-2320-280-34 Table 9-1 and TM 9-2320-266-34 p 19-7 Table 19-1
    # (sign -1), scanned copies: nine old marks by nine new ones, -4 to +4; every cell new - old or its negative.
    cells = {
        (old, new): pinion.shim_change(old, new, sign)  # type: ignore[arg-type] # 1 or -1
        for old, new in itertools.product(range(-4, 5), repeat=2)
    }
    assert len(cells) == 81
    assert all(change == sign * (new - old) for (old, new), change in cells.items())
    assert (min(cells.values()), max(cells.values())) == (-8, 8)
    assert all(cells[old, new] == -cells[new, old] for old, new in cells)
    assert cells[-4, 4] == 8 * sign


def test_x12_torque_is_pull_times_half_the_diameter() -> None:
    # TM 9-2320-363-34-2, pp 14-85, 17-26, scanned copy: pull on a string round the cage; 5-45 lbf·in new, 10-30 used.
    assert torque.torque_of_pull(10, 6).value == 30
    # Pulls for 5-45 lbf·in on cages of 4.5, 6 and 7.5 in (arithmetic, rounded to 0.1 lbf).
    for diameter, wanted in ((4.5, (2.2, 20.0)), (6, (1.7, 15.0)), (7.5, (1.3, 12.0))):
        assert tuple(torque.pull_for_torque(t, diameter) for t in (5, 45)) == pytest.approx(wanted, abs=0.05)
    read = torque.torque_of_pull(4, 4.5).estimate
    assert torque.judge_torque(read, 5, 45, conditions=("rotating",)).standing == INSIDE
    assert torque.judge_torque(E(7, 0.4), 10, 30, conditions=("rotating",)).standing == LOW


NOTCHES = rungs(["1", "2", "3", "4", "5", "6", "7"], first=4.574, width=0.269, step=0.270)
PRINTED = [
    (4.574, 4.843),
    (4.844, 5.113),
    (5.114, 5.383),
    (5.384, 5.653),
    (5.654, 5.923),
    (5.924, 6.193),
    (6.194, 6.463),
]


def test_x13_the_ladder_is_the_printed_one() -> None:
    # TM 9-2320-303-24-2, WP 0248 00-51, scanned copy: seven bins 0.270 mm wide from 4.574 to 6.463 mm.
    # The page's worked dimension of 5.00 mm takes 2 notches.
    assert [(r.low, r.high) for r in NOTCHES] == PRINTED
    assert choose_rung(5.00, NOTCHES, resolution=0.001).mark == "2"


@pytest.mark.parametrize(("at", "edges"), list(enumerate(PRINTED)))
def test_x13_every_edge_of_every_bin(at: int, edges: tuple[float, float]) -> None:
    low, high = edges
    for value in (low, high, (low + high) / 2, low - 0.0004, high + 0.0004):
        assert NOTCHES.index(choose_rung(value, NOTCHES, resolution=0.001)) == at
    for outside, other in ((low - 0.001, at - 1), (high + 0.001, at + 1)):
        if 0 <= other < len(PRINTED):
            assert NOTCHES.index(choose_rung(outside, NOTCHES, resolution=0.001)) == other
        else:
            with pytest.raises(InputError, match="no size of the ladder"):
                choose_rung(outside, NOTCHES, resolution=0.001)


def test_x14_backlash_at_four_places() -> None:
    # TM 9-2320-289-34, p 6-22, scanned copy: 5-8 thou at four places; a difference of 1 is good, above 2 look at the
    # crown wheel's run-out, at most 3 thou.
    assert mesh.judge_variation([6, 6, 7, 6], good=1, act=2)[0] == "good"
    assert mesh.judge_variation([6, 6, 8, 6], good=1, act=2)[0] == "watch"
    verdict, said = mesh.judge_variation([5, 6, 8, 6], good=1, act=2)
    assert verdict == "act"
    assert "run-out" in said


def test_x15_moving_side_shims_keeps_their_total() -> None:
    # TM 5-2420-222-34 (tractor), pp 8-32, 8-38 and following, scanned copy: new gears 6-8 thou, used up to 12.
    move = mesh.wheel_move(E(11, 0.2), 7, mesh.given_factor(0.65))
    assert move.value == pytest.approx(-4 / 0.65)
    for side in ("wheel", "far"):
        moved = mesh.move_side_shims(42, 46, move.value, plus_side=side)
        assert moved.total == pytest.approx(88)
    assert mesh.backlash_target(7, reused=True, as_found=12)[0] == 12


def test_x16_one_size_of_an_eight_size_ladder() -> None:
    # TM 5-3895-383-24, p 14-80, scanned copy: 20-90 lbf·in, else change by one size of 38 to 80 thou by 6. The page
    # leaves the direction open: it follows from the place of the shim.
    sizes = list(range(38, 81, 6))
    assert len(sizes) == 8
    for drag, up in ((10, 1), (50, 0), (120, -1)):
        assert torque.sizes_to_change(E(drag, 2), 20, 90, more_shim="raises") == up
        assert torque.sizes_to_change(E(drag, 2), 20, 90, more_shim="lowers") == -up


def test_x17_end_play_over_eighty_thou_starters() -> None:
    # TM 9-2320-280-34, p 19-22, scanned copy: end play read with 80-thou starters is what to add for no play.
    assert mesh.zero_play_total(E(160), E(13)).value == 173
    assert mesh.zero_play_total(E(160), E(13)).sum == "160 starters + 13 end play = 173"


def test_x18_one_thou_is_ten_pounds_so_the_window_wants_half_steps() -> None:
    # TM 5-3895-369-14, p 5-407, scanned copy: 0.001 in of spacer changes the pull by about 10 lbf; window 5-14 lbf.
    needed = torque.step_needed(5, 14, 10, [1.0, 0.5], unit="lbf")
    assert needed.window_in_shim == pytest.approx(0.9)
    assert needed.step == 0.5
    assert not torque.step_needed(5, 14, 10, [1.0], unit="lbf").found


@pytest.mark.parametrize(
    ("free", "length", "lower", "upper"),
    [(2.98, 1.94, 6.2, 7.4), (1.95, 1.10, 29.0, 35.4)],
)
def test_x19_spring_tables(free: float, length: float, lower: float, upper: float) -> None:
    # TM 9-2320-363-34-2, spring table, scanned copy: free length, load window at a length (in, lbf).
    middle = (lower + upper) / 2
    at_length = springs.judge_spring(E(middle, 0.1), length, free=free, length=length, lower=lower, upper=upper)
    assert at_length.standing == INSIDE
    half = springs.judge_spring(
        E(middle / 2, 0.05), (free + length) / 2, free=free, length=length, lower=lower, upper=upper
    )
    assert half.value == pytest.approx(middle)
    for load, standing in ((lower - 1, LOW), (upper + 1, HIGH)):
        judged = springs.judge_spring(E(load, 0.1), length, free=free, length=length, lower=lower, upper=upper)
        assert judged.standing == standing


def test_x20_bore_and_outside_make_the_printed_fit() -> None:
    # TM 9-2520-246-34, Table 4-6, scanned copy: 3.9363-3.9372 bore, 3.9364-3.9370 outside, fit 0.0007T-0.0008L.
    made = fits.fit_range(fits.Range(3.9363, 3.9372), fits.Range(3.9364, 3.9370))
    printed = fits.read_fit("0.0007T-0.0008L")
    assert (made.least, made.most) == pytest.approx((printed.least, printed.most), abs=1e-9)
    assert [fits.write_fit(x, "in") for x in (made.least, made.most)] == ["0.0007T", "0.0008L"]
    # The same table: shaft 2.0010-2.0015 in a bearing 2.0000-2.0005: 0.0005 to 0.0015 tight.
    seat = fits.fit_range(fits.Range(2.0000, 2.0005), fits.Range(2.0010, 2.0015))
    assert [fits.write_fit(x, "in") for x in (seat.least, seat.most)] == ["0.0015T", "0.0005T"]
    # And a selector shaft 0.9949-0.9961 in 1.000-1.0012: printed 3.9 to 6.3 thou loose.
    shaft = fits.fit_range(fits.Range(1.0000, 1.0012), fits.Range(0.9949, 0.9961))
    assert [round(1000 * x, 1) for x in (shaft.least, shaft.most)] == [3.9, 6.3]


def test_another_printed_fit_of_the_countershaft() -> None:
    # TM 9-2320-211-34-2-1, Tables 7-3 and 7-6, scanned copy: rear 0.0002L-0.0007T; front 0.0005L-0.0015L.
    assert fits.read_fit("0.0002L-0.0007T") == fits.Range(-0.0007, 0.0002)
    assert fits.read_fit("0.0005L-0.0015L") == fits.Range(0.0005, 0.0015)


def test_the_worksheet_of_marks() -> None:
    # TM 5-3805-262-34, p 4-230, scanned copy: the old mark subtracts, the new one adds (numbers ours): 30, +3, -2.
    assert pinion.pack_from_marks(E(30), 3, -2, sign=1).value == 25


def test_cone_distance_less_half_the_case() -> None:
    # TM 10-3930-643-34, pp 16-29, 16-30, scanned copy: gap A = D - B (numbers ours).
    assert pinion.gap_to_case(E(2.500), E(2.488)).value == pytest.approx(0.012)


def test_pack_from_stamped_dimensions() -> None:
    # TM 9-2520-215-34, WP 0022-0025, scanned copy: S2 = (D + S1) - (MD2 + A). Stamped values of the size printed there
    # (5.212, 9.560, 9.985); the sum with them is ours.
    answer = pinion.pack_from_dimensions({"D": E(9.985), "S1": E(0.050)}, {"MD2": E(4.770), "A": E(5.212)})
    assert answer.value == pytest.approx(0.053)


# Bearing fits in ISO 286 classes. H7 h6 k5 k6 m5 m6 as JIS B 0401 tables and public bar tables
# repeat ISO 286-2; J7 K7 N7 from memory of ISO 286-2. µm.
CLASSES = ("H7", "J7", "K7", "N7", "k5", "k6", "m5", "m6", "h6")
TABLE = {
    40: ((25, 0), (14, -11), (7, -18), (-8, -33), (13, 2), (18, 2), (20, 9), (25, 9), (0, -16)),
    65: ((30, 0), (18, -12), (9, -21), (-9, -39), (15, 2), (21, 2), (24, 11), (30, 11), (0, -19)),
    100: ((35, 0), (22, -13), (10, -25), (-10, -45), (18, 3), (25, 3), (28, 13), (35, 13), (0, -22)),
}


@pytest.mark.parametrize(("nominal", "deviations"), list(TABLE.items()))
def test_iso_286_classes(nominal: float, deviations: tuple[tuple[int, int], ...]) -> None:
    for name, (upper, lower) in zip(CLASSES, deviations, strict=True):
        found = fits.tolerance_of(nominal, name)
        assert (round(1000 * found.most), round(1000 * found.least)) == (upper, lower), name


def test_iso_286_worked_fits() -> None:
    # Arithmetic on the table above: an 80 mm bearing (outside 0/-13 µm) in H7, K7 and N7; a 40 mm
    # seat in a bearing bore of 0/-12 µm.
    def of(fit: fits.Range) -> tuple[int, int]:
        return round(1000 * fit.least), round(1000 * fit.most)

    outside, bore = fits.bearing_outside(80), fits.bearing_bore(40)
    assert of(fits.iso_fit(80, "H7", outside)) == (0, 43)
    assert of(fits.iso_fit(80, "K7", outside)) == (-21, 22)
    assert of(fits.iso_fit(80, "N7", outside)) == (-39, 4)
    assert of(fits.iso_fit(40, bore, "k6")) == (-30, -2)
    assert of(fits.iso_fit(40, bore, "m6")) == (-37, -9)


def test_pairs_that_do_not_convert_as_printed_are_not_repeated() -> None:
    # TM 10-3930-660-34, p 8-18 and others, scanned copies: 0.039 for a millimetre in inches is 1 % low.
    assert float(units.factor("mm", "in")) == pytest.approx(0.0393701, abs=1e-7)
