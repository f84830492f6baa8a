"""Who may do what: the roles of a workshop and their rights."""

from __future__ import annotations

LOG = "log readings and parts"
CORRECT = "correct what someone else read"
SIGN_OFF = "sign a job off or grant a concession"
GAUGES = "withdraw, return or calibrate gauges, or add one"
STOCK = "change the shim stock"
FINDINGS = "say what became of a finding, or record a change of the work"
COMEBACKS = "write comebacks"
MANAGE = "change sheets, limits and people"

RIGHTS: dict[str, frozenset[str]] = {
    "technician": frozenset({LOG}),
    "inspector": frozenset({LOG, CORRECT, SIGN_OFF, GAUGES, FINDINGS, COMEBACKS}),
    "manager": frozenset({LOG, CORRECT, SIGN_OFF, GAUGES, STOCK, FINDINGS, COMEBACKS, MANAGE}),
    "warranty": frozenset({COMEBACKS, FINDINGS}),
    "stores": frozenset({STOCK}),
}


def roles_with(right: str) -> tuple[str, ...]:
    """The roles that have a right."""
    return tuple(role for role, rights in RIGHTS.items() if right in rights)
