"""What the codes on job cards, part labels and gauge tags hold, so that a scan is never taken for a reading.

    qclog:job:J0001      qclog:lot:G-31      qclog:gauge:FG-1

A code holds a name and nothing else: a scan selects what the log has, and never creates it.
"""

from __future__ import annotations

from dataclasses import dataclass

from qclog.domain.names import LONGEST, fault_of
from qclog.errors import InputError

PREFIX = "qclog"
KINDS = ("job", "lot", "gauge")


@dataclass(frozen=True, slots=True)
class Scan:
    """What a code names: its kind (one of KINDS) and the name, as the log has it."""

    kind: str
    name: str


def write_scan(kind: str, name: str) -> str:
    """The text of a code, such as `qclog:job:J0001`. InputError for another kind, or a name a code can't hold."""
    if kind not in KINDS:
        raise InputError(f"a code is of a {', '.join(KINDS[:-1])} or {KINDS[-1]}", field="kind", found=kind)
    if fault_of(name) is not None:
        raise InputError(
            f"a code can't hold this {kind}",
            field=kind,
            found=name,
            hint=f"1 to {LONGEST} printable letters, no space at the ends",
        )
    return f"{PREFIX}:{kind}:{name}"


def is_scan(text: str) -> bool:
    """Whether a text came from one of our codes, even a damaged one: it is not a reading, whatever follows."""
    return text.strip().casefold().startswith(f"{PREFIX}:")


def read_scan(text: str) -> Scan | None:
    """What a scanned text names; None where it is no code of ours.

    Scanners may add spaces or change the case of the prefix; the name is kept as it is. InputError for a code of ours
    that is of no known kind or names nothing.
    """
    if not is_scan(text):
        return None
    _, kind, name = (*text.strip().split(":", 2), "", "")[:3]
    kind, name = kind.casefold(), name.strip()
    if kind not in KINDS or fault_of(name) is not None:
        raise InputError(
            "this code can't be read",
            field="code",
            found=text.strip()[:LONGEST],
            hint="scan it again, or type the number beside it",
        )
    return Scan(kind, name)
