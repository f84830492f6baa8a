"""One sound call of every public function of stats/ and bench/, from which hostile ones are made."""

from __future__ import annotations

import inspect
from collections.abc import Callable, Iterator
from datetime import datetime
from fractions import Fraction
from importlib import import_module
from pkgutil import walk_packages
from typing import Any

import numpy as np

import qclog.bench
import qclog.stats
from qclog.bench import estimate, fits, growth, ladder, mesh, packs, stand_off
from qclog.stats.charts import hotelling, limits
from qclog.stats.rounded import coarse
from qclog.stats.spread import tails

E = estimate.Estimate
V = [float(x) for x in np.random.default_rng(1).normal(20, 2, 40).round(2)]
W = [v + 0.3 * i for i, v in enumerate(V[::-1])]
FEW = V[:12]
GROUPS = [V[i : i + 4] for i in range(0, 40, 4)]
LOW, HIGH = (list(edge) for edge in coarse.bracket(np.round(V), 1.0))
PARTS = [p for p in "abcdefghij" for _ in range(4)]
PERSONS = [x for _ in range(10) for x in ("Ash", "Ash", "Heron", "Heron")]
TIMES = [float(t) for t in np.random.default_rng(2).weibull(2, 20).round(3) * 100 + 1]
FAILED = [bool(i % 3) for i in range(20)]
DRAWER = packs.parse_leaves("20x4 10x4 5 3x2")
WANT = packs.Want(41)
SINCE = datetime(2026, 1, 5)
CALLS: dict[str, tuple[tuple[Any, ...], dict[str, Any]]] = {
    "agreement.compare_gauges": ((V, W), {"confidence": 0.9}),
    "agreement.compare_brackets": (((LOW, HIGH), (LOW, HIGH)), {"confidence": 0.9}),
    "baseline.set_baseline": ((V,), {"since": SINCE, "by": "Ash", "reason": "first", "minimum": 10, "factor": 3.0}),
    "bracket_limits.individuals_from_brackets": ((LOW, HIGH), {"factor": 3.0, "minimum": 10}),
    "bracket_limits.prediction_from_brackets": ((LOW, HIGH), {"false_alarm": 0.01}),
    "bracket_limits.mark_beyond": ((limits.individuals(V), LOW, HIGH), {}),
    "capability.work_out_indices": ((20.0, 2.0), {"lower": 12.0, "upper": 27.0}),
    "capability.bound_two_sided": ((1.2, 39.0), {"confidence": 0.9}),
    "capability.bound_worst_approximately": ((1.2, 40), {"confidence": 0.9}),
    "capability.bound_one_sided_below": ((1.2, 40), {"confidence": 0.9}),
    "capability.work_out_from_percentiles": ((14.0, 20.0, 26.0), {"lower": 12.0, "upper": 27.0}),
    "capability.assess": ((V,), {"lower": 12.0, "upper": 27.0, "step": 0.01, "confidence": 0.9, "minimum": 30}),
    "change_point.find_change": ((V,), {"confidence": 0.9}),
    "change_point.find_rank_change": ((V,), {}),
    "coarse.step_warning": ((V, 1.0, 2.0), {}),
    "coarse.correct_spread": ((V, 1.0), {"ddof": 1}),
    "coarse.keep_information": ((2.0, 1.0), {}),
    "coarse.bracket": ((V, 1.0), {}),
    "coarse.midpoints": ((LOW, HIGH), {}),
    "components.split_variance": ((V, [PARTS, PERSONS]), {"confidence": 0.9}),
    "components.pool_sd": (([1.0, 2.0, 1.5], [3.0, 4.0, 5.0]), {}),
    "constants.c4": ((5,), {}),
    "constants.d2": ((5,), {}),
    "constants.d3": ((5,), {}),
    "constants.mean_from_range": ((5,), {"factor": 3.0}),
    "constants.mean_from_sd": ((5,), {"factor": 3.0}),
    "constants.sd_limits": ((5,), {"factor": 3.0}),
    "constants.sd_limits_known": ((5,), {"factor": 3.0}),
    "constants.range_limits": ((5,), {"factor": 3.0}),
    "constants.range_limits_known": ((5,), {"factor": 3.0}),
    "cusum.chart": ((V, 20.0, 2.0), {"allowance": 0.5, "limit": 5.0, "head_start": 0.0}),
    "cusum.average_run_length": ((0.5, 4.0), {"shift": 1.0, "head_start": 0.0, "sides": 2}),
    "cusum.choose_limit": ((0.5, 370.0), {}),
    "cusum.choose_settings": ((370.0,), {"shift": 1.0}),
    "digits.judge_digits": ((list(np.round(V)),), {"step": 1.0, "modulus": 2, "trials": 200}),
    "digits.judge_share": ((5, 10), {"expected_share": 0.5}),
    "ewma.chart": ((V, 20.0, 2.0), {"weight": 0.2, "factor": 2.9, "start": 20.0}),
    "ewma.average_run_length": ((0.2, 2.9), {"shift": 1.0}),
    "ewma.choose_factor": ((0.2, 370.0), {}),
    "ewma.choose_settings": ((370.0,), {"shift": 1.0, "weight": 0.2}),
    "family.pool_deviations": ((V, PARTS), {"targets": dict.fromkeys("abcdefghij", 20.0), "factor": 3.0}),
    "family.pool_spread": (({"a": V, "b": W},), {"false_alarm": 0.01}),
    "gauge_bias.estimate_bias": ((FEW, 20.0), {"step": 0.5, "confidence": 0.9}),
    "gauge_bias.estimate_linearity": ((V, [10.0, 20.0, 30.0, 40.0] * 10), {"confidence": 0.9}),
    "gauge_study.study_crossed": ((V, PARTS, PERSONS), {"pool_above": 0.25, "confidence": 0.9}),
    "gauge_study.study_nested": ((V, [p[0] for p in PERSONS], PARTS), {"confidence": 0.9}),
    "group_limits.mean_and_range": ((GROUPS,), {"factor": 3.0, "minimum": 5}),
    "group_limits.mean_and_sd": ((GROUPS,), {"factor": 3.0, "minimum": 5}),
    "group_limits.between_within": ((GROUPS,), {"factor": 3.0, "minimum": 5}),
    "groups.compare_means": ((GROUPS,), {}),
    "groups.compare_spreads": ((GROUPS,), {"method": "median", "significance": 0.05}),
    "groups.compare_ranks": ((GROUPS,), {"significance": 0.05}),
    "groups.compare_pairs": ((GROUPS[:3],), {"confidence": 0.9}),
    "groups.adjust_p_values": (([0.01, 0.2, 0.5],), {}),
    "hotelling.set_joint_baseline": ((np.column_stack([V, W]),), {"false_alarm": 0.01}),
    "hotelling.judge_unit": ((hotelling.set_joint_baseline(np.column_stack([V, W])), [20.0, 21.0]), {}),
    "hotelling.group_limits": ((20, 5, 2), {"false_alarm": 0.01}),
    "interval_fit.fit_normal": ((LOW, HIGH), {"confidence": 0.9}),
    "interval_fit.read_intervals": ((LOW, HIGH), {}),
    "intervals.estimate_normal": ((V,), {"confidence": 0.9}),
    "limits.individuals": ((V,), {"factor": 3.0, "minimum": 10, "d2": 1.128}),
    "limits.prediction": ((V,), {"false_alarm": 0.01}),
    "local_level.fit_local_level": ((V,), {}),
    "many_series.scan": ((V, [0, 20]), {"factor": 3.0, "minimum": 10, "weight": 0.2, "allowance": 0.5}),
    "normality.check_normality": ((V,), {"step": 0.5, "trials": 50}),
    "normality.normal_scores": ((V,), {}),
    "outliers.judge_furthest": ((V,), {"side": "both", "significance": 0.05}),
    "outliers.find_extreme_deviates": ((V, 3), {"significance": 0.05}),
    "outliers.judge_several": ((V, 2), {"significance": 0.05, "trials": 200}),
    "percentiles.estimate_percentile": ((V, 0.5), {"confidence": 0.9}),
    "percentiles.limit_by_percentiles": ((V * 20,), {"false_alarm": 0.01}),
    "percentiles.shape_free_confidence": ((100, 0.9), {}),
    "randomness.count_runs": ((V,), {}),
    "randomness.fit_trend": ((V, W), {"confidence": 0.9}),
    "rates.estimate_rate": ((3, 100.0), {"confidence": 0.9}),
    "rates.estimate_share": ((3, 10), {"confidence": 0.9}),
    "rates.compare_rates": (([3, 5], [10.0, 10.0]), {"confidence": 0.9}),
    "rates.compare_shares": (([3, 5], [10, 10]), {"confidence": 0.9}),
    "risk_factors.relate_to_comebacks": (([V, W], [i % 3 == 0 for i in range(40)]), {"confidence": 0.9}),
    "robust.estimate_robust": ((V,), {"reach": 1.5, "step": 0.5}),
    "run_length.average_run_length": ((["beyond_limit"],), {"shift": 0.5, "spread": 1.0}),
    "run_tests.choose_tests": ((["beyond_limit"],), {}),
    "run_tests.find": ((V, 20.0, 2.0), {}),
    "run_tests.mark": (([0.1 * i for i in range(20)],), {"starts": [0, 10]}),
    "series.read_values": ((V,), {}),
    "series.read_groups": ((GROUPS,), {}),
    "series.read_number": ((1.0, "step"), {}),
    "series.read_probability": ((0.9,), {}),
    "shape_fit.choose_shape": ((V,), {"bound": 0.0, "step": 0.5, "trials": 19}),
    "short_runs.score": ((V,), {"mean": 20.0, "sigma": 2.0}),
    "short_runs.score_cusum": ((V,), {"mean": 20.0, "sigma": 2.0, "allowance": 0.5, "limit": 5.0}),
    "short_runs.warming_factor": ((12,), {}),
    "summary.summarise": ((V,), {}),
    "summary.correlate_neighbours": ((V,), {}),
    "survival.estimate_survival": ((TIMES, FAILED), {"confidence": 0.9}),
    "survival.read_life": ((TIMES, FAILED), {"minimum": 1}),
    "tolerance.estimate_tolerance": ((V,), {"coverage": 0.9, "confidence": 0.9, "side": "both", "step": 0.5}),
    "tolerance.two_sided_factor": ((10.0, 0.9, 0.9), {"freedom": 9.0}),
    "tolerance.one_sided_factor": ((10.0, 0.9, 0.9), {"freedom": 9.0}),
    "tolerance.howe_factor": ((10.0, 0.9, 0.9), {"freedom": 9.0}),
    "tolerance.one_sided_factor_approximate": ((20, 0.9, 0.9), {}),
    "turnbull.estimate_shape_free": ((LOW, HIGH), {"tolerance": 1e-8}),
    "two_means.compare_two_means": ((V, W), {"confidence": 0.9}),
    "weibull.fit_weibull": ((TIMES, FAILED), {"confidence": 0.9, "trials": 50}),
    "answer.stand": ((E(5, 0.2), 4.0, 6.0), {}),
    "estimate.mean": (([E(5, 0.2), E(6, 0.2)],), {}),
    "estimate.mean_of_sources": (([estimate.Source(5.0, 0.2, 0.1, "g")],), {}),
    "estimate.chance_between": ((E(5, 0.2), 4.0, 6.0), {}),
    "fits.fit_of": ((E(40, 0.01), E(39.9, 0.01)), {"lower": 0.0, "upper": 0.2, "unit": "mm"}),
    "fits.fit_range": ((fits.Range(1.0, 2.0), fits.Range(0.5, 0.8)), {}),
    "fits.chance_of_fit": ((fits.Range(1.0, 2.0), fits.Range(0.5, 0.8), 0.0, 1.0), {}),
    "fits.write_fit": ((0.001,), {"unit": "in"}),
    "fits.read_fit": (("0.0005-0.0015L",), {}),
    "fits.tolerance_of": ((60.0, "H7"), {}),
    "fits.iso_fit": ((60.0, "H7", "k6"), {}),
    "fits.bearing_outside": ((60.0,), {}),
    "fits.bearing_bore": ((60.0,), {}),
    "gasket.compressed": ((E(15, 1), E(0.11, 0.02)), {"unit": "thou"}),
    "gasket.crush_of_sample": ((E(15, 1), E(12, 1)), {}),
    "go_no_go.begin": (((Fraction(2), Fraction(3), Fraction(4)),), {}),
    "growth.material": (("steel",), {}),
    "growth.setting_change": ((100.0, "aluminium", "steel", 60.0), {"unit": "mm"}),
    "growth.rise_that_takes": ((0.1, 100.0, "aluminium", "steel"), {}),
    "growth.warm_setting": ((E(0.1, 0.01), growth.setting_change(100, "aluminium", "steel", 60)), {"lower": 0.0}),
    "growth.mixed_targets": (("warm", "cold"), {}),
    "ladder.rungs": ((("A", "B"), 10.0, 0.1, 0.2), {}),
    "ladder.choose_rung": ((10.05, ladder.rungs(("A", "B"), 10, 0.1, 0.2)), {"resolution": 0.01}),
    "many_packs.choose_packs": ((DRAWER, [WANT]), {}),
    "mesh.pitch_angle": ((41, 11, 80.0), {}),
    "mesh.backlash_factor": ((41, 11), {"pressure_angle": 20.0, "spiral_angle": 35.0, "shaft_angle": 80.0}),
    "mesh.given_factor": ((0.6,), {"source": "here"}),
    "mesh.learn_factor": (([4.0, -3.0, 2.0, 6.0], [2.7, -1.8, 1.3, 3.9]), {"fewest": 3}),
    "mesh.wheel_move": ((E(10, 0.2), 8.0, mesh.given_factor(0.6)), {"unit": "thou"}),
    "mesh.move_side_shims": ((42.0, 46.0, -4.0), {"plus_side": "wheel", "unit": "thou"}),
    "mesh.carrier_total": ((E(80, 1), 4.0), {"sides": 2, "unit": "thou"}),
    "mesh.zero_play_total": ((E(70, 1), E(10, 1)), {"unit": "thou"}),
    "mesh.backlash_target": ((8.0,), {"reused": True, "as_found": 9.0}),
    "mesh.judge_variation": (([6.0, 7.0, 6.5],), {"good": 1.0, "act": 2.0}),
    "need.need_of": (([([1, 0, 2, 1, 1], 3)],), {"there": 4, "sure": 0.9}),
    "packs.choose_pack": ((DRAWER, WANT), {}),
    "packs.parse_leaves": (("20x4 10x4",), {}),
    "pattern.move_for": (("high",), {}),
    "pattern.shim_for_move": (("toward", "toward"), {}),
    "pattern.advise": (("high", "toward"), {}),
    "pinion.shim_change": ((1.0, 2.0, 1), {}),
    "pinion.pack_from_marks": ((E(90, 1), 1.0, 2.0), {"sign": 1, "marks_per_unit": 1.0, "unit": "thou"}),
    "pinion.pack_from_gauge": ((E(0.03, 0.001), 2.0), {"sign": 1, "unit": "in"}),
    "pinion.gap_to_case": ((E(5, 0.1), E(4, 0.1)), {"unit": "in"}),
    "pinion.pack_from_head_heights": ((E(40, 1), E(1500, 1), E(1502, 1)), {"unit": "thou"}),
    "pinion.pack_from_dimensions": (({"depth": E(5, 0.1)}, {"head": E(4, 0.1)}), {"unit": "in"}),
    "positions.read_face": (([15.0, 16.0, 17.0, 16.0], ["12", "3", "6", "9"]), {"sigma": 0.3, "step": 1.0}),
    "positions.read_turning": (([15.0, 16.0, 17.0, 16.0],), {}),
    "positions.chance_of_tilt": ((1.0, 4, 0.3), {}),
    "positions.chance_of_spread": ((1.0, 4), {"sigma": 0.3, "step": 1.0}),
    "springs.rate": ((60.0, 50.0, 20.0), {}),
    "springs.judge_spring": ((E(20, 1), 50.0), {"free": 60.0, "length": 48.0, "lower": 18.0, "upper": 30.0}),
    "stand_off.recess": ((E(40, 0.5), E(15, 0.5)), {"unit": "thou"}),
    "stand_off.stand_off_wanted": ((E(12, 0.5), E(4, 0.5)), {"unit": "thou"}),
    "stand_off.pack_under_bearing": ((E(40, 0.5), E(15, 0.5)), {"pinch": 4.0, "gasket": E(12, 1)}),
    "stand_off.pack_in_joint": ((E(40, 0.5),), {"pinch": 4.0, "gasket": E(12, 1), "trial_pack": E(1)}),
    "stand_off.pinch_of": ((E(40, 0.5), E(30, 1)), {"place": "in_joint", "lower": 1.0, "upper": 2.0}),
    "stand_off.closure": ((E(40, 0.5), E(41, 0.5)), {"limit": 2.0}),
    "stand_off.pack_for_float": ((E(40, 0.5), E(12, 0.5)), {"wanted": 4.0, "takes_up": True}),
    "stand_off.pack_window": ((E(12, 0.5), 2.0, 4.0), {"unit": "thou"}),
    "stand_off.pack_by_depths": ((E(5, 0.1), E(4, 0.1)), {"pinch": 0.004, "bar": 0.5}),
    "stand_off.may_stay": ((30.0, stand_off.recess(E(40, 0.5), E(15, 0.5)), 1.0), {}),
    "torque.torque_of_pull": ((4.0, 3.0), {"relative_u": 0.05}),
    "torque.pull_for_torque": ((6.0, 3.0), {}),
    "torque.judge_torque": ((E(9, 0.5), 5.0, 14.0), {"conditions": ("rotating",)}),
    "torque.step_needed": ((5.0, 14.0, 2.0, [1.0, 2.0, 5.0]), {}),
    "lent_spread.lend_spread": (([1.0, 2.0, 1.5, 1.2, 1.7], [3.0, 4.0, 5.0, 9.0, 7.0]), {}),
    "tails.fit_tail": ((np.random.default_rng(3).standard_t(3, 200).tolist(), 0.1), {"outer": 0.01}),
    "tails.normal_scores": (([0.5, 3.0, 9.0], tails.Tail(200, 4.0, 0.9)), {}),
    "torque.sizes_to_change": ((E(9, 0.5), 5.0, 14.0), {"more_shim": "raises"}),
    "torque.learn_slope": (([1.0, 2.0, 3.0, 4.0, 5.0], [2.1, 3.9, 6.2, 8.0, 9.9]), {"fewest": 5}),
    "uncertainty.source_of": ((15.0, 16.0), {"kind": "feeler", "step": 1.0, "unit": "thou"}),
    "uncertainty.feeler_stack": (([10.0, 5.0],), {"step": 1.0, "blade": 0.35, "film": 0.2}),
    "estimate.Estimate": ((5.0, 0.2), {}),
    "estimate.Source": ((5.0, 0.2, 0.1), {}),
    "fits.Range": ((1.0, 2.0), {}),
    "packs.Leaf": ((20.0, 4, 20.0, 2.0), {}),
    "packs.Want": ((41.0, 0.5, 0, 5, "thicker"), {}),
}  # fmt: skip

INNER = {
    "what a gate has read already": {
        "series.centre_and_deviations", "series.sum_of_squares", "series.standard_deviation", "cusum.accumulate",
        "series.in_batches", "series.read_trials", "series.read_starts",
        "run_tests.mark_sides",
        "mean_squares.combine_mean_squares", "mean_squares.as_spread", "quadrature.spread_nodes",
        "quadrature.legendre_nodes", "short_runs.normal_score_of_t", "exact_tests.binomial_p",
        "exact_tests.log_chance_of_all", "student.t_quantile", "zone_history.build_zone_history", "packs.off",
        "packs.check_drawer", "packs.cautions_for", "packs.make_pack", "packs.exact", "packs.in_full",
        "estimate.combine", "estimate.propagate", "gate.check_fields",
    },
    "words for an answer": {
        "answer.decimals_of", "answer.say", "answer.say_short", "answer.say_join",
        "stand_off.flush", "stand_off.closes",
    },
}  # fmt: skip


def public() -> Iterator[str]:
    """The public functions of both rooms, as `module.function`."""
    for module in _modules():
        found = import_module(module)
        for name, what in vars(found).items():
            inner = inspect.unwrap(what) if callable(what) else what
            if not name.startswith("_") and inspect.isfunction(inner) and inner.__module__ == found.__name__:
                yield f"{module.rpartition('.')[2]}.{name}"


def _modules() -> list[str]:
    """The modules of both rooms and of their rooms."""
    packages = (qclog.stats, qclog.bench)
    found = (m for p in packages for m in walk_packages(p.__path__, f"{p.__name__}."))
    return [m.name for m in found if not m.ispkg]


def function(name: str) -> Callable[..., Any]:
    """The function or class of a call."""
    module, _, what = name.partition(".")
    (path,) = (m for m in _modules() if m.endswith(f".{module}") and hasattr(import_module(m), what))
    found: Callable[..., Any] = getattr(import_module(path), what)
    return found


NUMBERS: tuple[Any, ...] = (float("nan"), float("inf"), float("-inf"), 1e140, -1e140, -1.0, 0.0, 2.0, 0.5, "seven", [])


def hostile(value: Any) -> list[Any]:
    """What may stand where `value` belongs and should not."""
    if isinstance(value, bool) or value is None:
        return []
    if isinstance(value, int | float | Fraction):
        return list(NUMBERS)
    if isinstance(value, str):
        return ["nonsense", "", 7.0]
    if isinstance(value, np.ndarray) or (isinstance(value, list | tuple) and value):
        return [[], list(value)[:1], "text", 7.0, *_spoilt(list(value))]
    if isinstance(value, dict):
        return [{}, 7.0, *({**value, key: bad} for key in list(value)[:1] for bad in hostile(value[key]))]
    return ["text", 7.0, float("nan")]


def _spoilt(items: list[Any]) -> list[list[Any]]:
    first = items[0]
    if isinstance(first, int | float | Fraction) or not isinstance(first, str):
        bad = [[spoilt, *items[1:]] for spoilt in hostile(first)] if not isinstance(first, bool) else []
    else:
        bad = [[7.0, *items[1:]]]
    if isinstance(first, int | float) and not isinstance(first, bool):
        bad += [[first] * len(items), [-item for item in items], items[:2], items[:-1]]
    return bad
