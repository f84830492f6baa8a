"""The look of every chart: our colours, safe for colour-blind eyes, and meaning never by colour alone.

The hues are from Okabe and Ito's set (2008), darkened for a bright workshop; shapes and line styles carry the same
meaning as the colour.
"""

from __future__ import annotations

from typing import Any

import altair as alt

INK = "#22303c"
READING = "#1f5a8a"
CONTROL = "#8a4b08"
WORKSHOP = "#00664f"
ODD = "#b3261e"
QUIET = "#6b7785"
PAPER = "#ffffff"
GRID = "#dfe4e8"
FONT = "DejaVu Sans, Verdana, sans-serif"

DARK = {
    "ink": "#e8edf2",
    "reading": "#8cc4f0",
    "control": "#f0b060",
    "workshop": "#5fd0b0",
    "odd": "#ff8a80",
    "quiet": "#a9b4bf",
    "paper": "#12181e",
    "grid": "#2b3640",
}
LIGHT = {
    "ink": INK,
    "reading": READING,
    "control": CONTROL,
    "workshop": WORKSHOP,
    "odd": ODD,
    "quiet": QUIET,
    "paper": PAPER,
    "grid": GRID,
}


def palette(*, dark: bool = False) -> dict[str, str]:
    """The colours by what they mean."""
    return DARK if dark else LIGHT


def dress(chart: Any, *, dark: bool = False) -> Any:
    """Give a finished chart our fonts, colours and spacing."""
    colours = palette(dark=dark)
    return (
        chart.configure(background=colours["paper"], font=FONT, padding=6)
        .configure_axis(
            labelColor=colours["ink"],
            titleColor=colours["ink"],
            gridColor=colours["grid"],
            domainColor=colours["quiet"],
            tickColor=colours["quiet"],
            labelFontSize=13,
            titleFontSize=13,
            titleFontWeight="normal",
        )
        .configure_title(
            color=colours["ink"],
            subtitleColor=colours["quiet"],
            anchor="start",
            fontSize=16,
            subtitleFontSize=13,
            fontWeight=600,
            offset=10,
        )
        .configure_legend(
            labelColor=colours["ink"],
            titleColor=colours["ink"],
            labelFontSize=13,
            orient="bottom",
            title=None,
            symbolSize=90,
        )
        .configure_view(stroke=None)
    )


alt.data_transformers.disable_max_rows()
