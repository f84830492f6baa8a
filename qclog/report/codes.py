"""Codes to scan, drawn as vectors."""

from __future__ import annotations

import io

from qclog.domain.speech.scans import write_scan
from qclog.report.document import Code


def draw_code(kind: str, name: str) -> Code:
    """The code that names a job, a lot or a gauge (see `domain.scans`), with the name in letters beside it.

    Readable with a quarter of it torn or oily: error correction level Q of ISO/IEC 18004.
    """
    import segno

    drawn = io.BytesIO()
    code = segno.make(write_scan(kind, name), error="q", micro=False, boost_error=False)
    code.save(drawn, kind="svg", border=4, xmldecl=False, svgns=True, omitsize=True, dark="#000", light="#fff")
    return Code(drawn.getvalue().decode("utf-8").strip(), name, f"code to scan for {kind} {name}")
