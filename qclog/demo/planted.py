"""Gathers which jobs each story and decoy fell on, once jobs have their names."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from qclog.demo import lots
from qclog.demo.comebacks import Return
from qclog.demo.stories import LEAST_PINCH, Planted, Truth
from qclog.demo.visits import Visit


def gather(
    visits: list[Visit],
    shelf: Visit,
    returns: list[Return],
    truths: Mapping[str, Truth],
    leaves: Mapping[int, int | None],
) -> Planted:
    """What was planted, by job."""

    def jobs(wanted: Callable[[Visit], bool]) -> tuple[str, ...]:
        return tuple(v.job for v in visits if wanted(v))

    def tagged(tag: str) -> tuple[str, ...]:
        return jobs(lambda v: tag in v.tags)

    def pinch_of(visit: Visit) -> float | None:
        truth = truths.get(visit.job)
        return truth.pinch if truth and leaves[id(visit)] is not None else None

    held = {v.job: pinch for v in visits if (pinch := pinch_of(v)) is not None}
    back = {r.visit.job for r in returns if "comeback" in r.visit.tags}
    low = tuple(job for job, pinch in held.items() if pinch < LEAST_PINCH)
    fitted = next(v for v in visits if "sub_assembly" in v.tags)
    return Planted(
        deep_bore=tagged("deep_bore"),
        worn_case=tagged("worn"),
        worn_serial=next(v.serial for v in visits if "worn" in v.tags),
        thick_gasket=tagged("thick_gasket"),
        thick_gasket_measured=tagged("gasket_measured"),
        dropped_gauge=tagged("dropped_gauge"),
        dropped_gauge_caught=tagged("caught"),
        rounded=tagged("rounded"),
        low_pinch=low,
        pinch_held=tuple(held),
        comebacks_low=tuple(job for job in low if job in back),
        comebacks_other=tuple(job for job in held if job in back and job not in low),
        outstanding_seal=tagged("outstanding_seal")[0],
        swarf=tagged("swarf")[0],
        mistyped_unit=tagged("mistyped_unit")[0],
        missing=tagged("missing"),
        typo=tagged("typo")[0],
        concession=tagged("concession")[0],
        sub_assembly=(fitted.job, shelf.job),
        wrong_bush=tagged("wrong_bush")[0],
        second_supplier_from=lots.second_supplier_from(),
        second_supplier=lots.SECOND_SUPPLIER,
    )
