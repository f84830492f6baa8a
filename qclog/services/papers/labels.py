"""Sheets of codes to cut out and stick on: for jobs, lots of parts and gauges that the log knows."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from qclog.errors import InputError
from qclog.report.codes import draw_code
from qclog.report.document import Document, Labels, Paragraph
from qclog.services.papers import paper
from qclog.services.tracing.shop import read_shop
from qclog.services.tracing.subject import find_subject
from qclog.store.log import Log

MOST = 400


def label_sheet(log: Log, names: Mapping[str, Sequence[str]], copies: int = 1) -> Document:
    """Labels for `names` (by kind: job, lot, gauge), each `copies` times.

    A code only selects what the log has: UnknownNameError for a name it has not; InputError for none or too many.
    """
    wanted = [(kind, name) for kind, some in names.items() for name in some]
    if not wanted or copies < 1 or len(wanted) * copies > MOST:
        raise InputError(
            f"1 to {MOST} labels can be made at once", field="labels", found=len(wanted) * copies, hint="--job J0001"
        )
    shop = read_shop(log)
    codes = []
    for kind, name in wanted:
        found = find_subject(shop, name, kind)
        codes += [replace(draw_code(kind, found.name), text=f"{kind} {found.name}")] * copies
    kinds = ", ".join(kind + "s" for kind, some in names.items() if some)
    said = Paragraph(
        "Print at full size. A scanned code opens what it names; it is never taken for a reading.", quiet=True
    )
    return paper.frame(log, "Labels", kinds, (Labels(tuple(codes)), said))
