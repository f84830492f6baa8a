"""A characteristic over time, and its distribution beside it."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import altair as alt
import numpy as np
import polars as pl

from qclog.charts.look import dress, palette
from qclog.charts.picture import Picture

MOST_POINTS = 4000
LABEL_ROOM = 24
RING = "#8f7a00"
PICKED, PICKED_ODD = "picked", "picked_odd"  # the unit that was clicked, among the sound ones and those that stand out


def draw(picture: Picture, *, dark: bool = False, width: int = 700, height: int = 340) -> alt.HConcatChart:
    """The time-ordered chart with its lines, and the distribution on the same value axis."""
    scale = alt.Scale(domain=_domain(picture), nice=False, zero=False)
    both = alt.hconcat(
        over_time(picture, scale, dark=dark, width=width, height=height),
        distribution(picture, scale, dark=dark, width=max(120, width // 4), height=height),
        spacing=LABEL_ROOM if picture.lines else 14,
    ).properties(title=alt.TitleParams(picture.title, subtitle=picture.subtitle))
    dressed: alt.HConcatChart = dress(both, dark=dark)
    return dressed


def panels(picture: Picture, *, dark: bool = False, height: int = 340) -> tuple[Any, Any]:
    """The same two charts apart and without a title, each as wide as the space it is given."""
    scale = alt.Scale(domain=_domain(picture), nice=False, zero=False)
    over = over_time(picture, scale, dark=dark, width=None, height=height)
    spread = distribution(picture, scale, dark=dark, width=None, height=height)
    return dress(over, dark=dark), dress(spread, dark=dark)


def _domain(picture: Picture) -> list[float]:
    values = [line.value for line in (*picture.lines, *picture.former)]
    if len(picture.rows):
        ends = picture.rows["value"].to_numpy()
        values += [float(ends.min()), float(ends.max())]
    low, high = (min(values), max(values)) if values else (0.0, 1.0)
    room = (high - low) * 0.06 or max(abs(high) * 0.01, picture.step or 1.0)
    return [low - room, high + room]


def over_time(picture: Picture, scale: alt.Scale, *, dark: bool, width: int | None, height: int) -> Any:
    """Readings in the order they were taken, with centre line and limits labelled on the right.

    `width` in pixels; None: as wide as the page gives it.
    """
    colours = palette(dark=dark)
    rows = picture.rows.with_row_index("order", offset=1)
    shown = (
        rows
        if len(rows) <= MOST_POINTS
        else rows.filter((pl.col("note") != "") | (pl.col("order") % (len(rows) // MOST_POINTS + 1) == 0))
    )
    data = shown.select(
        "order", "value", "open", "job", "note", "text", when=pl.col("taken_at").dt.strftime("%Y-%m-%d %H:%M")
    )
    x = alt.X(
        "order:Q",
        title="units in the order they were measured",
        scale=alt.Scale(domain=[0, len(rows) + 1], nice=False),
        axis=alt.Axis(grid=False, tickMinStep=1),
    )
    y = alt.Y("value:Q", title=picture.unit, scale=scale)
    hover = [
        alt.Tooltip("job:N", title="job"),
        alt.Tooltip("when:N", title="taken"),
        alt.Tooltip("text:N", title="reading"),
        alt.Tooltip("note:N", title="stands out"),
    ]
    base = alt.Chart(data)
    track = base.mark_line(color=colours["quiet"], strokeWidth=1, opacity=0.5).encode(x=x, y=y)
    sound = (
        base.transform_filter("datum.note == '' && datum.open == ''")
        .mark_point(
            shape="circle", filled=True, size=46 if len(rows) < 400 else 18, color=colours["reading"], opacity=0.9
        )
        .encode(x=x, y=y, tooltip=hover)
    )
    odd = (
        base.transform_filter("datum.note != ''")
        .mark_point(shape="diamond", filled=True, size=110 if len(rows) < 400 else 50, color=colours["odd"], opacity=1)
        .encode(x=x, y=y, tooltip=hover)
    )
    one_sided = [
        base.transform_filter(f"datum.note == '' && datum.open == '{side}'")
        .mark_point(shape=shape, filled=False, size=70 if len(rows) < 400 else 26, color=colours["reading"])
        .encode(x=x, y=y, tooltip=hover)
        for side, shape in (("below", "triangle-down"), ("above", "triangle-up"))
        if (shown["open"] == side).any()
    ]
    if width is None:  # on a page a point can be clicked; two plots side by side can't both have such names
        sound, odd = (
            points.add_params(alt.selection_point(name=name, fields=["job"], empty=False))
            for points, name in ((sound, PICKED), (odd, PICKED_ODD))
        )
    behind = [*_stretches(picture, x, y, colours), *_lines(picture, scale, colours, (width, height))]
    points = [*one_sided, sound, odd, *_marks(picture, x, y)]
    return alt.layer(*behind, track, *_average(picture, x, y, colours), *points).properties(
        width="container" if width is None else width, height=height
    )


def _lines(
    picture: Picture, scale: alt.Scale, colours: dict[str, str], labels: tuple[int | None, int] | None
) -> list[Any]:
    """The horizontal lines; with `labels` (width, height) each is named at the right edge, none over another."""
    layers: list[Any] = []
    for line in picture.lines:
        dash = [1, 0] if line.says.startswith("centre") else [8, 4] if line.whose == "control" else [2, 3]
        if labels is not None and line.first is not None:
            continue
        base = alt.Chart(pl.DataFrame({"at": [line.value], "says": [line.says]}))
        y = alt.Y("at:Q", scale=scale)
        layers.append(base.mark_rule(color=colours[line.whose], strokeWidth=2, strokeDash=dash).encode(y=y))
    if labels is not None:
        width, height = labels
        apart = 15.0 if width is not None else 19.0
        for line, at in zip(picture.lines, label_heights(picture, height, apart), strict=True):
            text = alt.Chart(pl.DataFrame({"says": [line.says]})).mark_text(
                align="left", baseline="middle", fontSize=12, color=colours[line.whose]
            )
            edge: Any
            level: Any
            if width is None:  # a page fits axes and labels into what it gives, so the plot is smaller than asked
                edge, level = alt.ExprRef("width + 6"), alt.ExprRef(f"{at / height:.4f} * height")
            else:
                edge, level = width + 6, at
            layers.append(text.encode(x=alt.value(edge), y=alt.value(level), text="says:N"))
    return layers


def _stretches(picture: Picture, x: alt.X, y: alt.Y, colours: dict[str, str]) -> list[Any]:
    """Lines that hold for some of the units only, and where a new stretch begins."""
    layers: list[Any] = []
    for line in (*picture.former, *(one for one in picture.lines if one.first is not None)):
        dash = [1, 0] if line.says.startswith("centre") else [8, 4] if line.whose == "control" else [2, 3]
        ends = [(line.first or 1) - 0.5, (len(picture.rows) if line.last is None else line.last) + 0.5]
        data = pl.DataFrame({"order": ends, "value": [line.value] * 2, "says": [line.says] * 2})
        rule = alt.Chart(data).mark_line(color=colours[line.whose], strokeWidth=2, strokeDash=dash)
        layers.append(rule.encode(x=x, y=y, tooltip=alt.Tooltip("says:N", title="limit")))
    for line in picture.former:
        data = pl.DataFrame({"order": [(line.first or 1) - 0.5], "value": [line.value], "says": [line.says]})
        label = alt.Chart(data).mark_text(align="left", baseline="bottom", dx=3, dy=-1, fontSize=11)
        layers.append(label.encode(x=x, y=y, text="says:N", color=alt.value(colours[line.whose])))
    for order, says in picture.breaks:
        data = pl.DataFrame({"order": [order - 0.5], "says": [says]})
        base = alt.Chart(data).encode(x=x, tooltip=alt.Tooltip("says:N", title="change"))
        layers.append(base.mark_rule(color=colours["ink"], strokeWidth=1.5, strokeDash=[3, 3]))
        late = order > 0.6 * len(picture.rows)
        text = base.mark_text(
            align="right" if late else "left", baseline="top", dx=-4 if late else 4, fontSize=12, color=colours["ink"]
        )
        layers.append(text.encode(y=alt.value(2), text="says:N"))
    return layers


def _average(picture: Picture, x: alt.X, y: alt.Y, colours: dict[str, str]) -> list[Any]:
    """A moving average with its own limits."""
    if picture.average is None:
        return []
    edges = pl.concat(picture.average.select("order", value=end, end=pl.lit(end)) for end in ("low", "high"))
    limits = alt.Chart(edges).mark_line(color=colours["quiet"], strokeDash=[4, 3]).encode(x=x, y=y, detail="end:N")
    return [limits, alt.Chart(picture.average).mark_line(color=colours["ink"], strokeWidth=2).encode(x=x, y=y)]


def _marks(picture: Picture, x: alt.X, y: alt.Y) -> list[Any]:
    """Squares round the units that an aid marks: a shape of their own, since they are no finding."""
    if picture.marks is None or picture.marks.is_empty():
        return []
    hover = [alt.Tooltip("job:N", title="job"), alt.Tooltip("says:N", title="aid to the eye")]
    ring = alt.Chart(picture.marks).mark_point(shape="square", filled=False, size=170, strokeWidth=1.6, color=RING)
    return [ring.encode(x=x, y=y, tooltip=hover)]


def label_heights(picture: Picture, height: int, apart: float = 15.0) -> list[float]:
    """Where each line's label stands, in pixels from the top: beside its line, moved only to clear its neighbours."""
    low, high = _domain(picture)
    wanted = [(high - line.value) / (high - low) * height for line in picture.lines]
    heights = list(wanted)
    order = sorted(range(len(wanted)), key=lambda i: wanted[i])
    for above, below in pairwise(order):
        heights[below] = max(heights[below], heights[above] + apart)
    over = max((heights[i] for i in order), default=0.0) - height
    if over > 0:
        limit = float(height)
        for i in reversed(order):
            heights[i] = min(heights[i], limit)
            limit = heights[i] - apart
    return heights


def distribution(picture: Picture, scale: alt.Scale, *, dark: bool, width: int | None, height: int) -> Any:
    """How the readings are spread, lying on the same value axis, with the same lines."""
    colours = palette(dark=dark)
    numbers = picture.rows.filter(pl.col("open") == "")["value"].to_numpy()
    bars = bars_of(numbers, picture.step).with_columns(none=pl.lit(0))
    hover = [
        alt.Tooltip("from:Q", format=".6~g"),
        alt.Tooltip("to:Q", format=".6~g"),
        alt.Tooltip("n:Q", title="units"),
    ]
    columns = (
        alt.Chart(bars)
        .mark_rect(color=colours["reading"], opacity=0.6, stroke=colours["paper"])
        .encode(
            y=alt.Y("from:Q", scale=scale, title=None, axis=alt.Axis(labels=False, ticks=False)),
            y2="to:Q",
            x=alt.X("none:Q", title="units", axis=alt.Axis(tickMinStep=1, tickCount=3)),
            x2="n:Q",
            tooltip=hover,
        )
    )
    return alt.layer(columns, *_lines(picture, scale, colours, None)).properties(
        width="container" if width is None else width, height=height
    )


def bars_of(values: np.ndarray[Any, Any], step: float | None) -> pl.DataFrame:
    """Counts in equal bars: as wide as a whole number of steps, so that coarse readings show no false gaps."""
    if not len(values):
        return _bars([], [], [])
    low, high = float(values.min()), float(values.max())
    if high == low:
        half = (step or abs(low) * 0.01 or 1.0) / 2
        return _bars([low - half], [low + half], [len(values)])
    wanted = float(np.clip(2 * np.sqrt(len(values)), 5, 30))
    width = (high - low) / wanted
    if step:
        width = step * max(1, round(width / step))
        low -= step / 2
    edges = low + width * np.arange(int(np.ceil((high - low) / width + 1e-9)) + 1)
    edges = edges if edges[-1] > high else np.append(edges, edges[-1] + width)
    counts, _ = np.histogram(values, bins=edges)
    some = counts > 0
    return _bars(edges[:-1][some].tolist(), edges[1:][some].tolist(), counts[some].tolist())


def _bars(low: list[float], high: list[float], n: list[int]) -> pl.DataFrame:
    return pl.DataFrame({"from": low, "to": high, "n": n}, schema={"from": pl.Float64, "to": pl.Float64, "n": pl.Int64})
