"""Crown wheel, pinion, pattern, torque, fits, growth and positions: formulas, words and bad input."""

from __future__ import annotations

from math import cos, degrees, radians, sin

import numpy as np
import numpy.typing as npt
import pytest
from scipy import optimize

from qclog.bench import fits, growth, mesh, pattern, pinion, torque
from qclog.bench.estimate import Estimate
from qclog.bench.positions import chance_of_spread, read_face, read_turning
from qclog.errors import InputError

E = Estimate
Floats = npt.NDArray[np.float64]
CLOCK = ("12", "3", "6", "9")


@pytest.mark.parametrize(
    ("ratio", "pressure", "spiral", "transverse", "normal", "for_pinion"),
    [
        (1, 20, 0, 0.515, 0.484, 0.515),
        (2, 20, 0, 0.651, 0.612, 0.326),
        (3, 20, 0, 0.691, 0.649, 0.230),
        (3.5, 20, 35, 0.854, 0.658, 0.244),
        (4.1, 20, 35, 0.863, 0.665, 0.211),
        (4.1, 22.5, 35, 0.983, 0.744, 0.240),
    ],
)
def test_backlash_factors(
    ratio: float, pressure: float, spiral: float, transverse: float, normal: float, for_pinion: float
) -> None:
    # Standard bevel relation (from memory), worked out a second time by hand.
    gear = round(10 * ratio)
    assert mesh.backlash_factor(gear, 10, pressure_angle=pressure, spiral_angle=spiral) == pytest.approx(
        transverse, abs=6e-4
    )
    assert mesh.backlash_factor(
        gear, 10, pressure_angle=pressure, spiral_angle=spiral, measured="normal"
    ) == pytest.approx(normal, abs=6e-4)
    assert mesh.backlash_factor(
        gear, 10, pressure_angle=pressure, spiral_angle=spiral, moved="pinion"
    ) == pytest.approx(for_pinion, abs=6e-4)


def turned(vector: Floats, about: Floats, angle: float) -> Floats:
    """A vector turned about a unit vector (Rodrigues)."""
    across = np.cross(about, vector)
    return np.asarray(vector * cos(angle) + across * sin(angle) + about * (about @ vector) * (1 - cos(angle)))


@pytest.mark.parametrize("teeth", [(41, 11), (40, 40), (37, 9), (13, 29)])
@pytest.mark.parametrize("shafts", [55.0, 80.0, 90.0, 105.0])
@pytest.mark.parametrize(("pressure", "spiral"), [(20.0, 0.0), (22.5, 35.0)])
def test_backlash_factor_from_the_flank_normals(
    teeth: tuple[int, int], shafts: float, pressure: float, spiral: float
) -> None:
    """Second derivation, in vectors: how far the wheel turns from one flank to the other once a gear is drawn back.

    The pitch line is where both gears roll, found by search; flanks are planes through it, turned from the pitch plane.
    """
    wheel = np.array([0.0, 0.0, 1.0])
    pinion_axis = turned(wheel, np.array([0.0, 1.0, 0.0]), radians(shafts))

    def line_at(angle: float) -> Floats:
        return turned(wheel, np.array([0.0, 1.0, 0.0]), angle)

    def radius(axis: Floats, line: Floats) -> float:
        return float(np.linalg.norm(np.cross(axis, line)))

    angle = optimize.brentq(
        lambda a: radius(wheel, line_at(a)) * teeth[1] - radius(pinion_axis, line_at(a)) * teeth[0],
        1e-6,
        radians(shafts) - 1e-6,
        xtol=1e-14,
    )
    line = line_at(angle)
    assert degrees(angle) == pytest.approx(mesh.pitch_angle(*teeth, shafts))
    tangent = np.cross(wheel, line)  # where the pitch point goes when the wheel turns
    tangent /= np.linalg.norm(tangent)
    plane = np.cross(line, tangent)  # normal to the pitch plane
    tooth = turned(line, plane, radians(spiral))
    flanks = [turned(side * np.cross(plane, tooth), side * tooth, -radians(pressure)) for side in (1, -1)]
    for moved, axis in (("wheel", wheel), ("pinion", pinion_axis)):
        turns = [-(axis @ flank) / (np.cross(wheel, line) @ flank) for flank in flanks]
        transverse = abs(turns[0] - turns[1]) * radius(wheel, line)
        given = {"pressure_angle": pressure, "spiral_angle": spiral, "shaft_angle": shafts, "moved": moved}
        assert mesh.backlash_factor(*teeth, **given) == pytest.approx(transverse, rel=1e-9)  # type: ignore[arg-type]
        normal = transverse * abs(tangent @ flanks[0])
        assert mesh.backlash_factor(*teeth, **given, measured="normal") == pytest.approx(normal, rel=1e-9)  # type: ignore[arg-type]


def test_side_shims_move_and_keep_their_total() -> None:
    move = mesh.wheel_move(E(10.6, 0.2), 8, mesh.Factor(0.65, 0.0, 0.65, 0.65, 9, "test"))
    assert move.value == pytest.approx(-4)
    assert move.sum == "(8 - 10.6) / 0.65 = -4: wheel 4 toward the pinion"
    assert move.u == pytest.approx(0.2 / 0.65)
    moved = mesh.move_side_shims(42, 46, move.value, plus_side="wheel")
    assert (moved.wheel_side, moved.far_side) == (46, 42)
    assert moved.sum == "wheel side 42 + 4 = 46; far side 46 - 4 = 42; total stays 88"
    other = mesh.move_side_shims(42, 46, move.value, plus_side="far")
    assert (other.wheel_side, other.far_side) == (38, 50)


def test_a_factor_is_learned_with_its_interval() -> None:
    moves, changes = [4, -3, 2, 6], [2.7, -1.8, 1.3, 3.9]
    learned = mesh.learn_factor(moves, changes)
    assert learned.value == pytest.approx(sum(m * c for m, c in zip(moves, changes, strict=True)) / 65)
    assert learned.low < 0.65 < learned.high
    assert learned.n == 4
    with pytest.raises(InputError, match="3 moves or more"):
        mesh.learn_factor([0, 0, 4], [0, 0, 2.6])
    with pytest.raises(InputError, match="each move"):
        mesh.learn_factor([1, 2], [1])


def test_reused_gears_keep_their_backlash() -> None:
    assert mesh.backlash_target(8, reused=False, as_found=12)[0] == 8
    assert mesh.backlash_target(8, reused=True, as_found=12) == (12, "as found, since the gears run on")
    with pytest.raises(InputError, match="none was read"):
        mesh.backlash_target(8, reused=True, as_found=None)


def test_impossible_geometry() -> None:
    for bad, said in (
        (lambda: mesh.backlash_factor(0, 10), "at least one tooth"),
        (lambda: mesh.backlash_factor(40, 10, pressure_angle=90), "between 0 and 45"),
        (lambda: mesh.backlash_factor(40, 10, spiral_angle=90), "below 60"),
        (lambda: mesh.backlash_factor(40, 10, shaft_angle=180), "between 0 and 180"),
        (lambda: mesh.given_factor(0), "between 0 and 3"),
        (lambda: mesh.wheel_move(E(-1), 8, mesh.given_factor(0.6)), "less than nothing"),
        (lambda: mesh.move_side_shims(3, 40, 5, plus_side="wheel"), "not that much shim"),
        (lambda: mesh.move_side_shims(-3, 40, 5, plus_side="wheel"), "less than nothing"),
        (lambda: mesh.carrier_total(E(-1), 4), "less than nothing"),
        (lambda: mesh.judge_variation([6], good=1, act=2), "two places"),
        (lambda: pinion.shim_change(1, 2, 0), "1 or -1"),  # type: ignore[arg-type] # the fault
        (lambda: pinion.pack_from_marks(E(90), 0, 30, sign=1), "a few thou"),
        (lambda: pinion.gap_to_case(E(1), E(2)), "touch the case"),
        (lambda: torque.torque_of_pull(-1, 4), "0 or more"),
        (lambda: torque.step_needed(5, 14, 0, [1]), "above 0"),
        (lambda: torque.judge_torque(E(9), 5, 14, conditions=("break_away",)), "break-away"),
        (lambda: growth.setting_change(0, "aluminium", "steel", 60), "above 0"),
        (lambda: growth.material("cheese"), "there are aluminium"),
        (lambda: fits.read_fit("about 2"), "no fit"),
        (lambda: fits.read_fit("0.001"), "L or T"),
        (lambda: fits.tolerance_of(20, "H7"), "over 30 up to 120"),
        (lambda: fits.tolerance_of(40, "Z9"), "no such tolerance"),
        (lambda: fits.Range(2, 1), "more than the most"),
        (lambda: pattern.move_for("sideways"), "no contact pattern"),
        (lambda: read_face([1, 2], ("a", "b"), sigma=0.3), "three positions"),
        (lambda: read_face([1, 2, 3], ("a", "b", "c"), sigma=0), "above 0"),
    ):
        with pytest.raises(InputError) as told:
            bad()
        assert said in str(told.value)


def test_marks_in_hundredths_of_a_millimetre() -> None:
    # "+.03" is 0.03 mm in TM 10-3930-660-34 and TM 5-3810-306-34, p 8-42 (read from scanned copies).
    answer = pinion.pack_from_marks(E(100), 0.03, -0.02, sign=-1, marks_per_unit=0.0254)
    assert answer.value == pytest.approx(100 + 0.05 / 0.0254)
    assert pinion.pack_from_head_heights(E(40), E(1500), E(1502)).value == 38


@pytest.mark.parametrize(("more", "words"), [("toward", "add shim"), ("away", "remove shim")])
def test_add_or_remove_follows_from_the_place_of_the_shim(more: str, words: str) -> None:
    # A high contact: TM 5-3810-306-34 (scanned copy) removes cage shim, TM 10-3930-653-14&P p 4-181 (scanned copy)
    # adds shim: the same move toward the wheel.
    assert pattern.move_for("high").pinion == "toward"
    assert pattern.shim_for_move("toward", more) == words  # type: ignore[arg-type] # its words
    assert words in pattern.advise("high", more)  # type: ignore[arg-type] # its words
    assert "no shim" in pattern.advise("lame", "toward")
    assert pattern.advise("central", "toward").endswith("no move")


def test_every_pattern_moves_one_way_and_its_opposite_the_other() -> None:
    opposite = {"toward": "away", "away": "toward", "none": "none"}
    for one, two in (("toe", "heel"), ("high", "low")):
        a, b = pattern.move_for(one), pattern.move_for(two)
        assert (a.pinion, a.wheel) == (opposite[b.pinion], opposite[b.wheel])


def test_a_slope_of_torque_is_learned() -> None:
    # Invented: torque = 2 + 2.6 pinch.
    pinch = [3.0, 3.5, 4.0, 4.5, 5.0]
    learned = torque.learn_slope(pinch, [2 + 2.6 * p + e for p, e in zip(pinch, (0.2, -0.1, 0, -0.1, 0), strict=True)])
    assert learned.low < 2.6 < learned.high
    with pytest.raises(InputError, match="same shim"):
        torque.learn_slope([4] * 5, [12, 13, 12, 13, 12])


@pytest.mark.parametrize(
    ("case", "span", "mm", "thou", "taken"),
    [
        ("aluminium", 100, 0.059, 2.3, 78),
        ("aluminium", 150, 0.088, 3.5, 52),
        ("aluminium", 250, 0.147, 5.8, 31),
        ("aluminium", 400, 0.235, 9.3, 19),
        ("magnesium", 150, 0.129, 5.1, 36),
        ("cast_iron", 250, -0.010, -0.4, None),
    ],
)
def test_growth_in_sixty_degrees(case: str, span: float, mm: float, thou: float, taken: float | None) -> None:
    # Arithmetic: expansions of Callister 3rd ed. Table B.6, for iron and steel of weaker sources.
    change = growth.setting_change(span, case, "steel", 60)
    assert change.value == pytest.approx(mm, abs=6e-4)
    assert change.value / 0.0254 == pytest.approx(thou, abs=0.06)
    rise = growth.rise_that_takes(3 * 0.0254, span, case, "steel")
    assert rise is None if taken is None else rise == pytest.approx(taken, abs=0.6)


def test_a_warm_unit_out_of_the_wash() -> None:
    # Arithmetic: 45 instead of 20 °C shifts a 150 mm aluminium case by 1.4 thou.
    change = growth.setting_change(150, "aluminium", "steel", 25)
    assert change.value / 0.0254 == pytest.approx(1.4, abs=0.06)
    warm = growth.warm_setting(E(4 * 0.0254, 0.005), change, lower=0.0)
    assert warm.value == pytest.approx(4 * 0.0254 - change.value)
    assert growth.mixed_targets("cold", "cold") == ""
    assert "one temperature" in growth.mixed_targets("cold", "warm")
    with pytest.raises(InputError):
        growth.mixed_targets("cold", "tepid")


@pytest.mark.parametrize(
    ("values", "mean", "tilt", "saddle", "shape"),
    [
        ((21, 19, 17, 19), 19, 4, 0, "tilt"),
        ((20, 18, 20, 18), 19, 0, 1, "saddle"),
        ((19, 19, 23, 19), 20, 4, 1, "one spot"),
    ],
)
def test_readings_round_a_face(values: tuple[float, ...], mean: float, tilt: float, saddle: float, shape: str) -> None:
    # Arithmetic.
    read = read_face(values, CLOCK, sigma=0.3, step=1)
    assert read.mean.value == pytest.approx(mean)
    assert read.tilt == pytest.approx(tilt)
    assert read.saddle == pytest.approx(saddle)
    assert read.shape == shape
    assert not read.explained


def test_which_way_it_leans() -> None:
    assert read_face((21, 19, 17, 19), CLOCK, sigma=0.3).high_at == "12"
    right = read_face((19, 21, 19, 17), CLOCK, sigma=0.3)
    assert (right.high_at, right.leans_to) == ("3", pytest.approx(90))
    assert read_face((19, 19, 23, 19), CLOCK, sigma=0.3).spot == "6"
    three = read_face((20, 18, 18), ("12", "4", "8"), sigma=0.3)
    assert (three.high_at, three.saddle, three.shape) == ("12", None, "tilt")


@pytest.mark.parametrize(
    ("sigma", "n", "chances"),
    [
        (0.3, 4, (0.61, 0.013, 0.000, 0.0)),
        (0.5, 4, (0.84, 0.18, 0.005, 0.0)),
        (0.5, 8, (0.98, 0.43, 0.020, 0.0)),
        (0.8, 4, (0.95, 0.54, 0.13, 0.014)),
        (1.0, 8, (1.00, 0.95, 0.64, 0.22)),
    ],
)
def test_spread_that_gauge_noise_alone_shows(sigma: float, n: int, chances: tuple[float, ...]) -> None:
    # Arithmetic: first worked out by simulation with readings rounded down to a thou.
    found = [chance_of_spread(k, n, sigma=sigma, step=1) for k in (1, 2, 3, 4)]
    assert found == pytest.approx(list(chances), abs=0.009)


def test_a_spread_that_the_gauge_explains_is_left_alone() -> None:
    read = read_face((19, 20, 19, 19), CLOCK, sigma=0.5, step=1)
    assert read.explained
    assert read.shape == "flat"
    assert "no more than the gauge explains" in read.sum


def test_run_out_and_ovality() -> None:
    turning = read_turning([0.5, 0, -0.5, 0, 0.5, 0, -0.5, 0])
    assert (turning.run_out, turning.ovality) == (pytest.approx(0, abs=1e-12), pytest.approx(1.0))
    assert read_turning([1, 0, -1, 0]).run_out == pytest.approx(2)
    assert read_turning([1, 0, -1]).ovality is None


def test_fit_with_its_chance() -> None:
    fit = fits.fit_of(E(100.016, 0.002), E(99.993, 0.002), lower=-0.005, upper=0.050, unit="mm")
    assert fit.sum == "100.016 bore - 99.993 = 0.023L"
    assert fit.chance_inside == pytest.approx(1.0)
    assert fits.write_fit(0.0, "mm") == "0"
    assert fits.chance_of_fit(fits.Range(0, 0.03), fits.Range(-0.013, 0), 0.0, None) == pytest.approx(0.99, abs=0.02)
