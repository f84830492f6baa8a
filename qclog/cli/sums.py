"""The sums of the bench printed at the terminal."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from qclog.domain.jobs import STAGE_WORDS
from qclog.services.sums.bench_sums import FaceTold, Fit
from qclog.services.sums.pack_sums import limits_line
from qclog.services.sums.sum_readings import Told


def print_sums(told: Sequence[Told], fits: Mapping[int, Sequence[Fit]], faces: Sequence[FaceTold] = ()) -> None:
    """Each sum with its line to check by hand and what to fit, then what the faces say, then every caution once."""
    if not told and not faces:
        return
    print("\nSums of the bench:")
    cautions: dict[str, None] = {}
    for i, one in enumerate(told):
        print(f"  {one.sum.name}: {one.headline}")
        for line in one.lines:
            print(f"      {line}")
        if one.problem is not None:
            print(f"    ! {one.problem}")
        for fit in fits.get(i, ()):
            print(f"    > {fit.text}")
            if fit.pinch is not None:
                print(f"      {fit.pinch.sum}; {limits_line(fit.pinch)}".rstrip("; "))
        cautions |= dict.fromkeys(one.cautions)
        for fit in fits.get(i, ()):
            cautions |= dict.fromkeys(fit.choice.cautions if fit.choice else ())
    for face in faces:
        mark = " " if face.explained else "!"
        print(f"  {mark} {face.name}, {STAGE_WORDS[face.stage]}: {face.text}")
    for caution in cautions:
        print(f"  Caution: {caution}")
