"""What was planted in the sample workshop, for tests and tours. Nothing that finds things reads this.

Six stories with a cause and decoys without one, as trade facts and figures of an invented workshop.
"""

from __future__ import annotations

from dataclasses import dataclass

SEED = 20250106

DEEP_BATCH = "M07"
DEEP_BY = 4.0  # thou
THICK_LOT = "G-31"
THICK_FREE = 16.4  # thou
DROPPED = "DT-2"
DROPPED_DAY = 241  # 4 September 2025
FOUND_DAY = 329  # 1 December 2025
RETURNED_DAY = 371  # 12 January 2026
GAUGE_SHIFT = 1.5  # thou, reads high
ROUNDER = "Cedar"
ROUNDS_FROM_MONTH = 4
EVEN_SET = "FG-3"
LEAST_PINCH = 3.0  # thou


@dataclass(frozen=True, slots=True)
class Planted:
    """The jobs of each story and decoy.

    Attributes
    ----------
    deep_bore : story 1, the LR-2 jobs of batch M07, bored 4 thou too deep (Ash fitted five).
    worn_case : story 2, one serial's three jobs in order of time.
    thick_gasket : story 3, the LR-2 jobs with gasket lot G-31.
    thick_gasket_measured : those of them where the free thickness was measured.
    dropped_gauge : story 4, the jobs measured with DT-2 between its fall and its withdrawal.
    dropped_gauge_caught : those of them finished with a feeler, found low and re-shimmed.
    rounded : story 5, Cedar's LR-2 jobs from month 4, whose 40 final readings have 34 even numbers.
    low_pinch, pinch_held : story 6, dispatched jobs with a true pinch under 3.0, and all whose pinch is known.
    comebacks_low, comebacks_other : comebacks of low-pinch jobs and of the others.
    outstanding_seal : a comeback that has nothing to do with pinch.
    swarf, mistyped_unit, missing, typo, concession, sub_assembly, wrong_bush : decoys.
    second_supplier_from, second_supplier : a change of bearing supplier without effect (date, name).
    """

    deep_bore: tuple[str, ...]
    worn_case: tuple[str, ...]
    worn_serial: str
    thick_gasket: tuple[str, ...]
    thick_gasket_measured: tuple[str, ...]
    dropped_gauge: tuple[str, ...]
    dropped_gauge_caught: tuple[str, ...]
    rounded: tuple[str, ...]
    low_pinch: tuple[str, ...]
    pinch_held: tuple[str, ...]
    comebacks_low: tuple[str, ...]
    comebacks_other: tuple[str, ...]
    outstanding_seal: str
    swarf: str
    mistyped_unit: str
    missing: tuple[str, ...]
    typo: str
    concession: str
    sub_assembly: tuple[str, str]  # the job it was fitted to, and the job it was built as
    wrong_bush: str
    second_supplier_from: str
    second_supplier: str


@dataclass(frozen=True, slots=True)
class Truth:
    """What the model knew of one job and the workshop could not: thou, None where there is none."""

    job: str
    case_type: str
    recess: float | None
    pinch: float | None
