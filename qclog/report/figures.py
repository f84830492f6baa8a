"""Charts as vectors for paper."""

from __future__ import annotations

from typing import Any

from qclog.report.document import Figure


def figure_of(chart: Any, says: str, *, width: float = 176.0, caption: str = "") -> Figure:
    """An Altair chart as a figure `width` mm wide, drawn without a browser or network; `says`: what it shows."""
    import vl_convert

    svg = vl_convert.vegalite_to_svg(chart.to_json(), allowed_base_urls=[])
    return Figure(str(svg), width, says, caption)
