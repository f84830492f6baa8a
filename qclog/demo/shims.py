"""The workshop's shim stock as counted at the end of the 18 months: five sets, some sizes low.

No chance part: the counts are invented. The 20-thou leaves of S-A ran low when a batch of cases was bored too deep.
"""

from __future__ import annotations

from dataclasses import dataclass

from qclog.demo import dates

COUNTED_AT = 7 * 60 + 30  # minutes after midnight, on the last day
COUNTED_BY = "Wren"


@dataclass(frozen=True, slots=True)
class Drawer:
    """One size: what the packet says, what it measures, how many, the least there should be, a layer if laminated."""

    nominal: str
    measured: str
    count: int
    minimum: int
    layer: str = ""


def _every(first: int, last: int, step: int, scale: int, digits: int, count: int) -> tuple[Drawer, ...]:
    """A graded set; every seventh size is down to one, every eleventh to none."""
    sizes = [f"{n / scale:.{digits}f}" for n in range(first, last + 1, step)]
    kept = [0 if i % 11 == 10 else 1 if i % 7 == 6 else count for i in range(len(sizes))]
    return tuple(Drawer(size, size, n, 1) for size, n in zip(sizes, kept, strict=True))


SETS = (
    ("S-A", "thou", (
        Drawer("2", "2.0", 22, 15), Drawer("2", "1.9", 6, 15), Drawer("3", "3.0", 24, 15), Drawer("5", "5.0", 31, 15),
        Drawer("10", "10.0", 12, 12), Drawer("10", "10.2", 5, 12), Drawer("20", "19.7", 4, 20),
        Drawer("20", "20.0", 6, 20), Drawer("20", "20.4", 3, 20),
    )),
    ("S-B", "thou", (
        Drawer("1", "1.0", 10, 5), Drawer("2", "2.0", 14, 5), Drawer("30", "30.0", 7, 6, "2"),
    )),
    ("S-C", "mm", _every(95, 300, 5, 100, 2, 4)),
    ("S-D", "thou", (
        Drawer("3", "3.0", 18, 10), Drawer("5", "5.1", 14, 10), Drawer("10", "10.0", 9, 10),
        Drawer("25", "24.9", 11, 8),
    )),
    ("S-E", "thou", _every(168, 222, 1, 2, 1, 3)),
)  # fmt: skip


def size_rows() -> tuple[tuple[str, ...], ...]:
    """The rows of shim_stock.csv."""
    return tuple(
        (name, d.nominal, d.measured, unit, d.layer, str(d.minimum)) for name, unit, drawers in SETS for d in drawers
    )


def movement_rows() -> tuple[tuple[str, ...], ...]:
    """The rows of shim_movements.csv: the count on the last day."""
    at = dates.write(dates.moment(dates.LAST_DAY, COUNTED_AT))
    return tuple(
        (name, d.nominal, d.measured, at, str(d.count), "counted", "", COUNTED_BY, "stocktake")
        for name, _, drawers in SETS
        for d in drawers
        if d.count
    )
