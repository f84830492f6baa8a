"""Lots and suppliers of parts by the day they were drawn from stores."""

from __future__ import annotations

import numpy as np

from qclog.demo import dates
from qclog.demo.stories import THICK_FREE, THICK_LOT

FIRST_SUPPLIER, SECOND_SUPPLIER = "Quillmoor Bearings", "Tarnwick Bearings"
SECOND_SUPPLIER_DAY = 340  # 12 December 2025
GASKET_SUPPLIER = "Overlode Joints"
CRUSH = 0.89  # compressed over free thickness

# The day from which each lot is drawn. G-31 is handed out by the plan; G-30 and G-32 are in the drawer beside it.
_OUTPUT_GASKETS = (
    ("G-24", 0), ("G-25", 45), ("G-26", 90), ("G-27", 125), ("G-28", 160), ("G-29", 190), ("G-30", 206),
    ("G-32", 262), ("G-33", 306), ("G-34", 350), ("G-35", 400), ("G-36", 450), ("G-37", 500),
)  # fmt: skip
_LR3_GASKETS = (("H-08", 0), ("H-09", 110), ("H-10", 215), ("H-11", 290), ("H-12", 390), ("H-13", 480))
_BEARINGS_EVERY = 38  # days
FREE = {"LR-2": 13.5, "LR-3": 19.1}  # thou


def gasket_lot(case_type: str, day: int) -> str:
    """The gasket lot drawn for a marine gearbox on `day`."""
    lots = _OUTPUT_GASKETS if case_type == "LR-2" else _LR3_GASKETS
    return [lot for lot, first in lots if first <= day][-1]


def free_thickness(case_type: str, lot: str, seed: int) -> float:
    """The mean free thickness of a gasket lot, thou."""
    if lot == THICK_LOT:
        return THICK_FREE
    rng = np.random.default_rng([seed, 3, ord(lot[0]), int(lot[2:])])
    return FREE[case_type] + float(np.clip(rng.normal(0, 0.2), -0.35, 0.35))


def bearing(prefix: str, day: int) -> tuple[str, str]:
    """The lot and supplier of a bearing drawn on `day`."""
    second = day >= SECOND_SUPPLIER_DAY
    supplier = SECOND_SUPPLIER if second else FIRST_SUPPLIER
    return f"{prefix}-{'T' if second else 'Q'}{day // _BEARINGS_EVERY + 1:02d}", supplier


def second_supplier_from() -> str:
    """The date from which the second supplier's bearings are drawn."""
    return dates.moment(SECOND_SUPPLIER_DAY, 0).date().isoformat()
