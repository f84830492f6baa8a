"""What the coming jobs are likely to take from a stock set, from each case type's own distribution of packs."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass

from qclog.bench.need import FEWEST_JOBS, Need, need_of
from qclog.bench.packs import Leaf, Want, choose_pack
from qclog.domain import stored
from qclog.domain.quantities import units
from qclog.domain.sheets.casetypes import Sheet
from qclog.domain.sheets.sums import AnySum, Choosing, PackSum, PinionSum, SideShimSum, stock_of
from qclog.errors import InputError
from qclog.services.keeping import sheets
from qclog.services.keeping.stock import Stocked, no_set, stock_in
from qclog.store.log import Log, Use

MOST_PAST = 60
PLENTY = 9


@dataclass(frozen=True, slots=True)
class Forecast:
    """One packet size of a set: how many there are, the least there should be, and what is likely needed."""

    nominal: float
    unit: str
    there: int
    minimum: int | None
    need: Need

    @property
    def short(self) -> int:
        """How many more make it enough; 0 when there are enough."""
        return max(0, self.need.enough - self.there)


@dataclass(frozen=True, slots=True)
class Coming:
    """The jobs a forecast is for: case type, how many, and how many past packs it is drawn from (0: too few)."""

    case_type: str
    jobs: int
    past: int


def forecast(
    log: Log, stock_set: str, coming: Mapping[str, int] | None = None, *, sure: float = 0.9
) -> tuple[tuple[Forecast, ...], tuple[Coming, ...]]:
    """Leaves of each size that the coming jobs need, and which jobs those are.

    coming : jobs of each case type; None: those open now and a month's worth at the pace of the last 90 days.

    Raises
    ------
    UnknownNameError : no such set. InputError : no case type that uses the set has packs of 5 jobs or more.
    """
    with log.reading() as use:
        stock = stock_in(use, stock_set)
        if not stock:
            raise no_set(stock_set, stock_in(use))
        past, jobs = _past(use, stock, stock_set, coming)
    drawn = [(p, n) for p, n in past if len(p) >= FEWEST_JOBS and n > 0]
    if not drawn:
        raise InputError(
            f"no case type that takes shims from {stock_set} has {FEWEST_JOBS} packs yet", field="set", found=stock_set
        )
    result = []
    for nominal in dict.fromkeys(s.size.nominal for s in stock):
        mine = [s for s in stock if s.size.nominal == nominal]
        there = sum(s.count for s in mine)
        need = need_of([([p[nominal] for p in packs], n) for packs, n in drawn], there=there, sure=sure)
        result.append(Forecast(nominal, mine[0].size.unit, there, mine[0].minimum, need))
    return tuple(result), tuple(jobs)


def _past(
    use: Use, stock: tuple[Stocked, ...], stock_set: str, coming: Mapping[str, int] | None
) -> tuple[list[tuple[list[Counter[float]], int]], list[Coming]]:
    """For each case type that uses the set: leaves by size that each past job took, and how many jobs are coming."""
    pace = {
        row.case_type: row.open_jobs + round(row.opened_lately / 3)
        for row in use.rows("jobs_coming", stored.JobsComing)
    }
    plenty = _plenty(stock)
    past, jobs = [], []
    for case_type in sheets.known_case_types(use):
        sheet = sheets.latest(use, case_type)
        using = [one for one in sheet.sums if stock_of(one) == stock_set]
        if not using:
            continue
        n = pace.get(case_type, 0) if coming is None else coming.get(case_type, 0)
        taken = _taken(use, sheet, using, plenty, stock[0].size.unit)
        past.append((taken, n))
        jobs.append(Coming(case_type, n, len(taken)))
    unknown = sorted(set(coming or ()) - {j.case_type for j in jobs})
    if unknown:
        raise InputError(f"{unknown[0]} takes no shims from {stock_set}", field="jobs", found=unknown[0])
    return past, jobs


def _plenty(stock: tuple[Stocked, ...]) -> tuple[Leaf, ...]:
    """The set as if every size were there in plenty, at its packet size."""
    layers = {s.size.nominal: s.size.layer for s in stock}
    return tuple(Leaf(nominal, PLENTY, nominal, layer) for nominal, layer in layers.items())


def packs_of(one: AnySum) -> tuple[str, ...]:
    """The characteristics that are packs fitted for a sum."""
    match one:
        case PackSum(final_pack=str(code)) | PinionSum(final_pack=str(code)):
            return (code,)
        case SideShimSum():
            return (one.wheel_side, one.far_side)
    return ()


def _taken(use: Use, sheet: Sheet, using: list[AnySum], leaves: tuple[Leaf, ...], unit: str) -> list[Counter[float]]:
    """Leaves of each packet size that the last jobs' packs take, when they are made up as well as can be."""
    choosing = {
        code: one.choosing
        for one in using
        if isinstance(one, PackSum | SideShimSum | PinionSum)
        for code in packs_of(one)
    }
    rows = use.rows("packs_fitted", stored.PackFitted, case_type=sheet.code, codes=sorted(choosing))
    known: dict[tuple[float, str], Counter[float]] = {}
    by_job: dict[str, Counter[float]] = {}
    for row in rows:
        if row.job not in by_job and len(by_job) == MOST_PAST:
            continue
        by_job[row.job] = by_job.get(row.job, Counter()) + _made_up(
            row, choosing[row.characteristic], leaves, unit, known
        )
    return list(by_job.values())


def _made_up(
    row: stored.PackFitted,
    choosing: Choosing,
    leaves: tuple[Leaf, ...],
    unit: str,
    known: dict[tuple[float, str], Counter[float]],
) -> Counter[float]:
    thickness = round(row.pack * float(units.factor(row.unit, unit)), 3)
    key = (thickness, row.characteristic)
    if key not in known:
        tolerance = (choosing.tolerance or 0.5) * float(units.factor(row.unit, unit))
        choice = choose_pack(leaves, Want(max(0.0, thickness), tolerance, *choosing.leaves))
        pack = choice.suggested
        known[key] = Counter(p.leaf.size for p in pack.leaves) if pack else Counter()
    return known[key]
