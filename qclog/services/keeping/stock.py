"""Shim stock: counted in, booked out to jobs, what is low."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from qclog.bench.packs import Leaf, Pack
from qclog.domain import stored
from qclog.domain.moments import now
from qclog.domain.quantities import units
from qclog.domain.rights import Act
from qclog.domain.sheets.sheet_numbers import number_of
from qclog.domain.stock import ShimMove, ShimSize
from qclog.errors import InputError, UnknownNameError
from qclog.services.keeping import rights
from qclog.store import records
from qclog.store import stock as rows
from qclog.store.log import Log, Submission, Use


@dataclass(frozen=True, slots=True)
class Stocked:
    """A size of leaf with how many there are; minimum is of its packet size over all measured sizes."""

    size: ShimSize
    count: int
    minimum: int | None

    @property
    def leaf(self) -> Leaf:
        """The same as the sums of the bench know it."""
        return Leaf(self.size.measured, self.count, self.size.nominal, self.size.layer)


def stock_in(use: Use, stock_set: str | None = None) -> tuple[Stocked, ...]:
    """Every size of leaf of a set, or of all sets."""
    found = []
    for row in use.rows("shim_stock", stored.ShimSize):
        if stock_set in (None, row.stock_set):
            size = ShimSize(row.stock_set, row.nominal, row.measured, row.unit, row.layer)
            found.append(Stocked(size, row.leaves, row.minimum))
    return tuple(found)


def list_stock(log: Log, stock_set: str | None = None) -> tuple[Stocked, ...]:
    """Every size of leaf of a set, or of all. UnknownNameError for a set that isn't there."""
    with log.reading() as use:
        found = stock_in(use, stock_set)
        if stock_set is not None and not found:
            raise no_set(stock_set, stock_in(use))
    return found


def low_stock(stock: Sequence[Stocked]) -> list[tuple[str, float, int, int, str]]:
    """Packet sizes below their minimum: (set, nominal, count, minimum, unit)."""
    counts: dict[tuple[str, float, str], tuple[int, int | None]] = {}
    for one in stock:
        key = (one.size.stock_set, one.size.nominal, one.size.unit)
        counts[key] = (counts.get(key, (0, None))[0] + one.count, one.minimum)
    return [(k[0], k[1], n, least, k[2]) for k, (n, least) in counts.items() if least is not None and n < least]


def no_set(stock_set: str, known: Sequence[Stocked]) -> UnknownNameError:
    """What to say of a set that isn't there."""
    names = ", ".join(dict.fromkeys(s.size.stock_set for s in known))
    hint = f"there are: {names}" if names else "none yet: qclog stock add SET SIZE --count N"
    return UnknownNameError(f"the log has no stock set {stock_set!r}", field="set", found=stock_set, hint=hint)


def add_leaves(
    log: Log,
    size: ShimSize,
    count: int,
    submission: Submission,
    *,
    minimum: int | None = None,
    person: str | None = None,
) -> int:
    """Count leaves in, as bought; the size is added if it is new. How many there are then.

    InputError for sizes that are not above 0, another unit or layer than the log has, or a count below 0.
    """
    _check_size(size)
    if count < 0 or (minimum is not None and minimum < 0):
        raise InputError("a count is 0 or more", field="count", found=count if count < 0 else minimum)
    with log.writing(submission) as use:
        rights.need(use, submission.by, Act.KEEP_SHIMS)
        there = _add_size(use, size)
        if minimum is not None:
            rows.add_minimum(use, size.stock_set, size.nominal, minimum)
        if count:
            rows.add_movement(use, _move(size, count, "bought", person=_known(use, submission.by, person)))
    return there + count


def count_leaves(log: Log, size: ShimSize, count: int, submission: Submission, *, note: str | None = None) -> int:
    """Put a drawer right after counting it; what it differed by."""
    if count < 0:
        raise InputError("a count is 0 or more", field="count", found=count)
    with log.writing(submission) as use:
        rights.need(use, submission.by, Act.KEEP_SHIMS)
        there = next((s.count for s in stock_in(use, size.stock_set) if _same(s.size, size)), None)
        if there is None:
            raise _no_size(size, stock_in(use, size.stock_set))
        if count != there:
            rows.add_movement(use, _move(size, count - there, "counted", note=note))
    return count - there


def take_leaves(
    log: Log, stock_set: str, pack: Pack, job: str, submission: Submission, *, person: str | None = None
) -> tuple[Stocked, ...]:
    """Book a pack out to a job; the sizes as they stand afterwards.

    UnknownNameError for a set or job that isn't there, InputError when there are not so many leaves.
    """
    with log.writing(submission) as use:
        rights.need(use, submission.by, Act.USE_SHIMS)
        records.need(use, "job", "job", job, "job")
        stock = {(s.size.nominal, s.size.measured): s for s in stock_in(use, stock_set)}
        if not stock:
            raise no_set(stock_set, stock_in(use))
        wanted: dict[tuple[float, float], int] = {}
        for picked in pack.leaves:
            key = (picked.leaf.size if picked.leaf.nominal is None else picked.leaf.nominal, picked.leaf.size)
            wanted[key] = wanted.get(key, 0) + 1
        for key, count in wanted.items():
            held = stock.get(key)
            if held is None:
                raise _no_size(ShimSize(stock_set, *key, ""), tuple(stock.values()))
            if held.count < count:
                raise InputError(
                    f"{stock_set} has not so many leaves of {key[0]:g}",
                    field="leaves",
                    found=f"{count} wanted, {held.count} there",
                    hint="count the drawer: qclog stock count",
                )
            note = _peeled_note(pack, key)
            rows.add_movement(
                use, _move(held.size, -count, "taken", job=job, person=_known(use, submission.by, person), note=note)
            )
        return stock_in(use, stock_set)


def return_leaves(
    log: Log, stock_set: str, leaves: Sequence[float], job: str, submission: Submission, *, person: str | None = None
) -> None:
    """Put leaves that a job did not need back, by their packet size. InputError for more than it had taken."""
    with log.writing(submission) as use:
        rights.need(use, submission.by, Act.USE_SHIMS)
        records.need(use, "job", "job", job, "job")
        out: dict[tuple[float, float], int] = {}
        for row in use.rows("shim_movements", stored.ShimMovement):
            if row.job == job and row.set == stock_set:
                key = (row.nominal, row.measured)
                out[key] = out.get(key, 0) - row.change
        for nominal in leaves:
            held = next((k for k, n in out.items() if k[0] == nominal and n > 0), None)
            if held is None:
                raise InputError(
                    f"job {job} has no leaf of {nominal:g} from {stock_set}", field="leaves", found=nominal
                )
            out[held] -= 1
            size = ShimSize(stock_set, *held, "")
            rows.add_movement(use, _move(size, 1, "returned", job=job, person=_known(use, submission.by, person)))


def set_minimum(log: Log, stock_set: str, nominal: float, minimum: int, submission: Submission) -> None:
    """Say the least there should be of a packet size."""
    if minimum < 0:
        raise InputError("a minimum is 0 or more", field="minimum", found=minimum)
    with log.writing(submission) as use:
        rights.need(use, submission.by, Act.KEEP_SHIMS)
        stock = stock_in(use, stock_set)
        if not any(s.size.nominal == nominal for s in stock):
            raise (
                _no_size(ShimSize(stock_set, nominal, nominal, ""), stock)
                if stock
                else no_set(stock_set, stock_in(use))
            )
        rows.add_minimum(use, stock_set, nominal, minimum)


def pack_from_text(stock: Sequence[Stocked], text: str) -> Pack:
    """The leaves that someone says they took, `20+10+5+3+3` by packet size, the most plentiful measured size first."""
    from qclog.bench.packs import Picked, make_pack

    left = {id(s): s.count for s in stock}
    picked = []
    for word in text.replace("+", " ").replace(",", " ").split():
        try:
            nominal = float(word)
        except ValueError as error:
            raise InputError("leaves are sizes joined by +", field="leaves", found=word, hint="as 20+10+5") from error
        mine = [s for s in stock if s.size.nominal == nominal]
        if not mine:
            raise _no_size(ShimSize(stock[0].size.stock_set, nominal, nominal, ""), stock)
        best = max(mine, key=lambda s: left[id(s)])
        left[id(best)] -= 1
        picked.append(Picked(best.leaf, best.size.measured))
    if not picked:
        raise InputError("no leaves were given", field="leaves", hint="as 20+10+5")
    return make_pack(picked)


def _peeled_note(pack: Pack, key: tuple[float, float]) -> str | None:
    peeled = [p.text() for p in pack.leaves if p.peeled and p.leaf.size == key[1]]
    return "; ".join(peeled) or None


def _check_size(size: ShimSize) -> None:
    for name, value in (("nominal", size.nominal), ("measured", size.measured)):
        if (number_of(value) or 0.0) <= 0:
            raise InputError("a leaf has a size above 0", field=name, found=value)
    if not size.stock_set.strip() or len(size.stock_set) > 60:
        raise InputError("a stock set has a short name", field="set", found=size.stock_set)
    if units.dimension(size.unit) != "length":
        raise InputError("a leaf is measured in a length", field="unit", found=size.unit, hint="thou or mm")
    if size.layer is not None and not 0 < size.layer <= size.measured:
        raise InputError("a layer is thinner than its laminated shim", field="layer", found=size.layer)


def _add_size(use: Use, size: ShimSize) -> int:
    """How many there are already of the size, which is added if it is new."""
    stock = stock_in(use, size.stock_set)
    other = next((s.size for s in stock if s.size.unit != size.unit), None)
    if other is not None:
        raise InputError(f"the set {size.stock_set} is in {other.unit}", field="unit", found=size.unit)
    for held in stock:
        if _same(held.size, size):
            if held.size.layer != size.layer:
                raise InputError("the log has that size with another layer", field="layer", found=size.layer)
            return held.count
    rows.add_size(use, size)
    return 0


def _same(one: ShimSize, other: ShimSize) -> bool:
    return (one.stock_set, one.nominal, one.measured) == (other.stock_set, other.nominal, other.measured)


def _no_size(size: ShimSize, stock: Sequence[Stocked]) -> UnknownNameError:
    there = ", ".join(dict.fromkeys(f"{s.size.nominal:g}" for s in stock))
    measured = f" measuring {size.measured:g}" if size.measured != size.nominal else ""
    return UnknownNameError(
        f"{size.stock_set} has no leaf of {size.nominal:g}{measured}", field="leaves", found=size.nominal,
        hint=f"it has {there}" if there else "the set is empty",
    )  # fmt: skip


def _known(use: Use, by: str, person: str | None) -> str | None:
    if person is not None:
        records.need(use, "person", "person", person, "person")
    rights.need_name(use, by, person)
    return person


def _move(size: ShimSize, change: int, why: str, **values: Any) -> ShimMove:
    return ShimMove(size.stock_set, size.nominal, size.measured, now(), change, why, **values)
