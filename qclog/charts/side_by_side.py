"""Units set side by side: one line of points for each batch, lot, gauge ..., with its mean."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import altair as alt
import polars as pl

from qclog.charts.look import dress, palette

ROW = 30
AXIS = 45  # the page fits the axis and its title into the height


def draw_side_by_side(
    rows: pl.DataFrame, labels: Sequence[tuple[str, str]], unit: str, *, dark: bool = False, width: int | None = None
) -> Any:
    """`rows` has level, value, job and note ('' when nothing stands out); `labels` names each level, with its n.

    `width` in pixels; None: as wide as the page gives it.
    """
    colours = palette(dark=dark)
    names = pl.DataFrame({"level": [level for level, _ in labels], "label": [label for _, label in labels]})
    data = rows.join(names, on="level", maintain_order="left")
    y = alt.Y("label:N", title=None, sort=[label for _, label in labels], axis=alt.Axis(labelLimit=260))
    x = alt.X("value:Q", title=unit, scale=alt.Scale(zero=False))
    hover = [alt.Tooltip("job:N"), alt.Tooltip("value:Q", format=".6~g"), alt.Tooltip("note:N", title="stands out")]
    base = alt.Chart(data).encode(x=x, y=y, tooltip=hover)
    sound = base.transform_filter("datum.note == ''").mark_point(
        shape="circle", filled=True, size=42, color=colours["reading"], opacity=0.7
    )
    odd = base.transform_filter("datum.note != ''").mark_point(
        shape="diamond", filled=True, size=90, color=colours["odd"]
    )
    means = (
        alt.Chart(data)
        .mark_tick(color=colours["ink"], thickness=3, size=ROW * 0.7)
        .encode(x=alt.X("mean(value):Q", title=unit), y=y)
    )
    chart = alt.layer(sound, odd, means).properties(
        width="container" if width is None else width, height=ROW * max(1, len(labels)) + AXIS
    )
    return dress(chart, dark=dark)
