"""A gauge along time: how far its checks were off, what befell it, and when it was in doubt."""

from __future__ import annotations

from typing import Any

import altair as alt
import polars as pl

from qclog.charts.look import dress, palette
from qclog.charts.picture import GaugePicture


def draw_gauge(picture: GaugePicture, *, dark: bool = False, height: int = 220) -> Any:
    """Checks against the tolerance along time; in doubt is shaded from edge to edge, and drops are upright lines."""
    colours = palette(dark=dark)
    offs = [off for _, off, _ in picture.checks]
    reach = max([abs(off) for off in offs] + [picture.tolerance, 1e-9]) * 1.25
    x = alt.X(
        "when:T",
        title=None,
        scale=alt.Scale(
            domain=[alt.DateTime(year=day.year, month=day.month, date=day.day) for day in (picture.first, picture.last)]
        ),
        axis=alt.Axis(grid=False, format="%Y-%m", labelOverlap=True),
    )
    y = alt.Y("off:Q", title=f"off by, {picture.unit}", scale=alt.Scale(domain=[-reach, reach], nice=False))
    layers: list[Any] = []
    if picture.doubtful:
        data = pl.DataFrame(
            picture.doubtful,
            schema={"when": pl.Datetime, "until": pl.Datetime, "says": pl.String},
            orient="row",
        )
        band = alt.Chart(data).mark_rect(color=colours["odd"], opacity=0.16, stroke=colours["odd"], strokeDash=[3, 3])
        layers.append(band.encode(x=x, x2="until:T", tooltip=alt.Tooltip("says:N", title="in doubt")))
    lines = pl.DataFrame({"off": [picture.tolerance, 0.0, -picture.tolerance]})
    layers.append(
        alt.Chart(lines)
        .mark_rule(strokeWidth=2)
        .encode(
            y=y,
            strokeDash=alt.condition("datum.off == 0", alt.value([1, 0]), alt.value([2, 3])),
            color=alt.condition("datum.off == 0", alt.value(colours["quiet"]), alt.value(colours["workshop"])),
        )
    )
    if picture.befell:
        data = pl.DataFrame(picture.befell, schema={"when": pl.Datetime, "says": pl.String}, orient="row")
        base = alt.Chart(data).encode(x=x, tooltip=alt.Tooltip("says:N", title="what happened"))
        layers.append(base.mark_rule(color=colours["ink"], strokeWidth=1.5, strokeDash=[6, 3]))
        text = base.mark_text(align="left", baseline="top", dx=4, fontSize=12, color=colours["ink"])
        layers.append(text.encode(y=alt.value(2), text="says:N"))
    if picture.checks:
        data = pl.DataFrame(
            picture.checks, schema={"when": pl.Datetime, "off": pl.Float64, "check": pl.String}, orient="row"
        )
        points = alt.Chart(data).mark_point(filled=True, opacity=1)
        bad = "datum.check == 'bad'"
        layers.append(
            points.encode(
                x=x,
                y=y,
                shape=alt.condition(bad, alt.value("diamond"), alt.value("circle")),
                size=alt.condition(bad, alt.value(120), alt.value(60)),
                color=alt.condition(bad, alt.value(colours["odd"]), alt.value(colours["reading"])),
                tooltip=[
                    alt.Tooltip("when:T", title="when", format="%Y-%m-%d %H:%M"),
                    alt.Tooltip("off:Q", title="off by", format="+.4~g"),
                    alt.Tooltip("check:N", title="check"),
                ],
            )
        )
    return dress(alt.layer(*layers).properties(width="container", height=height), dark=dark)
