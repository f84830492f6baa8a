"""The workshop's people and gauges, how a reading is said with each, and the gauges' own checks.

One habit for each kind of gauge, so that no half step comes between gauges from the way of writing alone: a feeler
is written as a bracket (`15/16`: 15 goes, 16 does not), which says where the gap lies and no more; a dial as a
number to the nearest half thou; a depth micrometer to the nearest 0.01 mm. FG-3 has only even leaves, so its
brackets are two thou wide (`14/16`). A technician who rounds to even numbers (Cedar) writes a one-thou bracket all
the same, moved to the nearest even lower leaf: `15/16` becomes `14/15` or `16/17`.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import floor

from qclog.demo import dates
from qclog.demo.stories import DROPPED, DROPPED_DAY, FOUND_DAY, GAUGE_SHIFT, RETURNED_DAY

PEOPLE = (
    ("Ash", "technician"),
    ("Birch", "technician"),
    ("Cedar", "technician"),
    ("Elm", "technician"),
    ("Flint", "technician"),
    ("Heron", "inspector"),
    ("Wren", "stores"),
    ("Rook", "manager"),
)
TECHNICIAN_BIAS = {"Ash": 0.0, "Birch": 0.2, "Cedar": -0.1, "Elm": 0.0}
EVERY_LEAF = " ".join(str(leaf) for leaf in range(1, 26))
EVEN_LEAVES = " ".join(str(leaf) for leaf in range(2, 21, 2))
MM_LEAVES = " ".join(f"{leaf * 0.05:.2f}" for leaf in range(1, 31))
GAUGES = (
    ("FG-1", "feeler", "thou", "1", EVERY_LEAF, ""),
    ("FG-2", "feeler", "thou", "1", EVERY_LEAF, ""),
    ("FG-3", "feeler", "thou", "2", EVEN_LEAVES, ""),
    ("FG-4", "feeler", "thou", "1", EVERY_LEAF, ""),
    ("FG-5", "feeler", "mm", "0.05", MM_LEAVES, ""),
    ("DT-1", "dial", "thou", "0.5", "", "2026-11-30"),
    ("DT-2", "dial", "thou", "0.5", "", "2027-01-11"),
    ("DM-1", "depth_mic", "mm", "0.01", "", "2026-09-30"),
    ("DM-3", "depth_mic", "mm", "0.01", "", "2026-09-30"),
    ("MC-1", "micrometer", "thou", "0.1", "", "2026-10-31"),
    ("MC-2", "micrometer", "mm", "0.001", "", "2026-10-31"),
    ("BG-1", "bore", "mm", "0.001", "", "2026-08-31"),
    ("TQ-1", "torque", "lbf·in", "0.5", "", "2026-12-15"),
    ("SB-1", "balance", "lbf", "0.1", "", "2026-12-15"),
    ("TW-1", "torque", "N·m", "1", "", "2026-07-31"),
    ("TW-2", "torque", "N·m", "5", "", "2026-07-31"),
    ("VC-1", "other", "mm", "0.02", "", "2026-10-31"),
    ("AG-1", "other", "kPa", "0.5", "", "2026-12-15"),
)
CHECKED_WEEKLY = ("FG-1", "FG-2", "FG-3", "FG-4", "DT-1", "DT-2", "DM-1", "DM-3", "MC-1")
CHECK_PIECE = 20.0  # thou
GAUGE_NOISE = 0.5  # thou, one reading


@dataclass(frozen=True, slots=True)
class Spoken:
    """A reading as written, the unit it was written in ('' for the characteristic's own), its middle in thou."""

    text: str
    unit: str
    middle: float


def shift(gauge: str, day: int) -> float:
    """How much a gauge reads high on `day`, thou."""
    return GAUGE_SHIFT if gauge == DROPPED and DROPPED_DAY <= day < RETURNED_DAY else 0.0


def feeler(gap: float, *, even: bool = False) -> Spoken:
    """A gap in thou as a feeler bracket; `even`: a set with only even leaves."""
    step = 2 if even else 1
    low = step * floor(gap / step)
    if low <= 0:
        return Spoken("no leaf enters", "", step / 2)
    return Spoken(f"{low}/{low + step}", "", low + step / 2)


def rounded_feeler(gap: float, *, odd: bool = False) -> Spoken:
    """A gap in thou as a one-thou bracket moved to the nearest even (or odd) lower leaf."""
    first = 1.0 if odd else 0.0
    low = max(int(2 * floor((gap - 0.5 - first) / 2 + 0.5) + first), 1 if odd else 2)
    return Spoken(f"{low}/{low + 1}", "", low + 0.5)


def dial(gap: float) -> Spoken:
    """A gap or travel in thou as a dial reading to the nearest half."""
    half = max(0.0, floor(gap * 2 + 0.5) / 2)
    return Spoken(f"{half:g}", "", half)


def rounded_dial(gap: float) -> Spoken:
    """A dial reading to the nearest even thou."""
    low = max(0, int(2 * floor(gap / 2 + 0.5)))
    return Spoken(str(low), "", float(low))


def depth_mic(gap: float) -> Spoken:
    """A gap in thou as a depth micrometer says it, in mm to 0.01."""
    mm = floor(gap * 2.54 + 0.5) / 100
    return Spoken(f"{mm:.2f}", "mm", mm / 0.0254)


def say(gauge: str, gap: float) -> Spoken:
    """A gap in thou as `gauge` says it, without any habit of the reader's."""
    if gauge.startswith("DT"):
        return dial(gap)
    if gauge.startswith("DM"):
        return depth_mic(gap)
    return feeler(gap, even=gauge == "FG-3")


def check_rows(noise: list[float]) -> list[tuple[str, ...]]:
    """The weekly checks and the events, as rows of gauge_checks.csv. `noise`: random numbers (sd 1), enough of them."""
    rows: list[tuple[str, ...]] = []
    draws = iter(noise)
    for week in range(dates.LAST_DAY // 7 + 1):
        by = ("Heron", "Ash", "Birch", "Elm")[week % 4]
        for i, gauge in enumerate(CHECKED_WEEKLY):
            away = gauge == DROPPED and DROPPED_DAY <= week * 7 < RETURNED_DAY
            draw = next(draws)
            if not away:
                at = dates.write(dates.moment(week * 7, 8 * 60 + 3 * i))
                rows.append((gauge, at, "check", *_check_reading(gauge, draw), by, ""))
    rows += _events()
    return sorted(rows, key=lambda row: (row[1], row[0]))


def _check_reading(gauge: str, draw: float) -> tuple[str, str, str]:
    if gauge.startswith("DM"):
        return f"{CHECK_PIECE * 0.0254:.3f}", f"{0.508 + 0.004 * draw:.2f}", "mm"
    if gauge.startswith("DT"):
        return f"{CHECK_PIECE:g}", f"{floor((CHECK_PIECE + 0.15 * draw) * 2 + 0.5) / 2:g}", "thou"
    if gauge.startswith("MC"):
        return f"{CHECK_PIECE:g}", f"{CHECK_PIECE + 0.05 * draw:.1f}", "thou"
    return f"{CHECK_PIECE:g}", f"{CHECK_PIECE:g}", "thou"


def _events() -> list[tuple[str, ...]]:
    wrong = f"{CHECK_PIECE + GAUGE_SHIFT:g}"
    found = dates.moment(FOUND_DAY, 15 * 60)
    return [
        (
            DROPPED, dates.write(dates.moment(DROPPED_DAY, 7 * 60 + 50)), "dropped", "", "", "", "Birch",
            "knocked off bench B2, looks all right, put back; left off the check list from here",
        ),
        (
            DROPPED, dates.write(found), "check", f"{CHECK_PIECE:g}", wrong, "thou", "Heron",
            "on the monthly check of the whole list; missed the two before",
        ),
        (DROPPED, dates.write(found.replace(minute=10)), "withdrawn", "", "", "", "Heron", "reads 1.5 high"),
        (
            DROPPED, dates.write(dates.moment(RETURNED_DAY, 9 * 60)), "calibrated", f"{CHECK_PIECE:g}",
            f"{CHECK_PIECE:g}", "thou", "Heron", "repaired and calibrated outside",
        ),
        (DROPPED, dates.write(dates.moment(RETURNED_DAY, 9 * 60 + 30)), "returned", "", "", "", "Heron", ""),
    ]  # fmt: skip
