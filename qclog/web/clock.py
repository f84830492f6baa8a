"""The positions of a characteristic as a picture: a clock face seen as its view says, with what is read and wanted."""

from __future__ import annotations

import re
from collections.abc import Collection
from html import escape
from math import cos, radians, sin

import streamlit as st

# st.html takes drawings out; a component shows them, and knows the theme's colours.
_JS = "export default ({ data, parentElement }) => { parentElement.querySelector('div').innerHTML = data.drawn; };"
_CSS = "div { color: var(--st-text-color); text-align: center; line-height: 1.3; font-size: 0.85rem; }"
_picture = st.components.v2.component("qclog_clock", html="<div></div>", css=_CSS, js=_JS)

_SIZE, _RADIUS, _DOT, _HAND = 150, 52, 15, 34
_ACROSS = re.compile(r"(\d{1,2})-(\d{1,2})(?: .*)?")


def show_clock(positions: tuple[str, ...], here: str, done: Collection[str], view: str | None) -> None:
    """Draw the face if the positions are on one: the one at hand is filled and has a hand, read ones have a tick."""
    if is_clock(positions):
        _picture(data={"drawn": _drawn(positions, here, done, view)}, key="qclog_clock")


def is_clock(positions: tuple[str, ...]) -> bool:
    """Whether the positions are hours (12 among them), diameters such as 12-6, or degrees from 0."""
    return bool(positions) and all(angles_of(p, positions) for p in positions)


def angles_of(position: str, positions: tuple[str, ...]) -> tuple[int, ...]:
    """Where a position is, in degrees clockwise from the top: two for a diameter; none where it is not on a face."""
    across = _ACROSS.fullmatch(position)
    if across is not None:
        hours = [int(across[1]), int(across[2])]
        return tuple(30 * h % 360 for h in hours) if all(1 <= h <= 12 for h in hours) else ()
    if not position.isdigit():
        return ()
    number = int(position)
    if "12" in positions and 1 <= number <= 12:
        return (30 * number % 360,)
    if "0" in positions and len(positions) > 1 and number % 15 == 0 and number < 360:
        return (number,)
    return ()


def _drawn(positions: tuple[str, ...], here: str, done: Collection[str], view: str | None) -> str:
    middle = _SIZE / 2
    ring = f'<circle cx="{middle}" cy="{middle}" r="{_RADIUS}" fill="none" stroke="currentColor" stroke-width="2"/>'
    lines, dots = [], []
    filled = set(angles_of(here, positions))
    for angle, word in _places(positions, done).items():
        x, y = middle + _RADIUS * sin(radians(angle)), middle - _RADIUS * cos(radians(angle))
        at = angle in filled
        if at:
            end = f"{middle + _HAND * sin(radians(angle)):.1f} {middle - _HAND * cos(radians(angle)):.1f}"
            lines.append(f'<path d="M{middle} {middle} L{end}" stroke="currentColor" stroke-width="3"/>')
        paper, ink = "var(--st-background-color)", "currentColor"
        fill, text = ("var(--st-primary-color)", paper) if at else (paper, ink)
        dots.append(f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{_DOT}" fill="{fill}" stroke="{ink}" stroke-width="2"/>')
        dots.append(
            f'<text x="{x:.1f}" y="{y:.1f}" dy="0.36em" text-anchor="middle" font-size="13" font-weight="600"'
            f' fill="{text}">{escape(word)}</text>'
        )
    read = ", ".join(p for p in positions if p in done) or "none"
    told = f"Position {here} of {', '.join(positions)}; read: {read}"
    under = f"<br>{escape(view)}" if view else ""
    return (
        f'<svg viewBox="0 0 {_SIZE} {_SIZE}" width="{_SIZE}" height="{_SIZE}" role="img" aria-label="{escape(told)}">'
        f"{ring}{''.join(lines + dots)}</svg>{under}"
    )


def _places(positions: tuple[str, ...], done: Collection[str]) -> dict[int, str]:
    """What to write at each angle: its hour or degrees, with a tick once every position there is read."""
    there: dict[int, list[str]] = {}
    for position in positions:
        for angle in angles_of(position, positions):
            there.setdefault(angle, []).append(position)
    words = {}
    for angle, names in there.items():
        hours = "0" not in positions
        word = str(angle // 30 or 12) if hours else str(angle)
        words[angle] = f"{word}✓" if all(n in done for n in names) else word
    return words
