"""What stands against dispatching a job, printed at the terminal."""

from __future__ import annotations

from qclog.services.overview.sign_off import SignOff


def print_sign_off(found: SignOff) -> None:
    """Each concern under its heading, then the comeback risk of the case type."""
    if found.clear:
        print(f"Nothing known stands against job {found.job}.")
    else:
        print(f"Before job {found.job} is dispatched:")
    for heading, lines in found.sections:
        print(f"  {heading}:")
        for line in lines[:12]:
            print(f"    {line}")
        if len(lines) > 12:
            print(f"    and {len(lines) - 12} more")
    if found.unplaced:
        print(f"  {found.unplaced} of its values had too few of their kind to compare with")
    print(f"  Comebacks of this case type: {found.comebacks}")
    print("  This informs; the maker's manual and competent, authorised people decide.")
