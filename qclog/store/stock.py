"""Shim stock in the log: sizes, minimums and movements, each inside one transaction (`Use`)."""

from __future__ import annotations

from qclog.domain.names import check_name
from qclog.domain.stock import ShimMove, ShimSize
from qclog.store.ids import new_id
from qclog.store.log import Use


def add_size(use: Use, size: ShimSize) -> None:
    """Add a size of leaf."""
    check_name(size.stock_set, "set")
    use.insert("shim_size", **{name: getattr(size, name) for name in size.__slots__}, entry=use.entry)


def add_minimum(use: Use, stock_set: str, nominal: float, minimum: int) -> None:
    """Say the least there should be of a packet size; the latest counts."""
    use.insert("shim_minimum", id=new_id(), stock_set=stock_set, nominal=nominal, minimum=minimum, entry=use.entry)


def add_movement(use: Use, move: ShimMove) -> None:
    """Add a movement."""
    use.insert("shim_movement", id=new_id(), **{name: getattr(move, name) for name in move.__slots__}, entry=use.entry)
