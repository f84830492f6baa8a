"""The positions of a characteristic as a picture: a clock face seen as its view says, with what is read and wanted."""

from __future__ import annotations

import re
from collections.abc import Collection
from html import escape
from math import cos, radians, sin

_SIZE, _RADIUS, _DOT, _HAND = 150, 52, 15, 34
_ACROSS = re.compile(r"(\d{1,2})-(\d{1,2})(?: .*)?")


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


def draw_face(positions: tuple[str, ...], done: Collection[str]) -> str:
    """The face as SVG, with a tick where all is read. Each place has its angle as `data-angle`, and a hand: the page
    marks the one that is read next.
    """
    middle = _SIZE / 2
    ring = f'<circle cx="{middle}" cy="{middle}" r="{_RADIUS}" stroke="currentColor" stroke-width="2"/>'
    hands, dots = [], []
    for angle, word in _places(positions, done).items():
        x, y = middle + _RADIUS * sin(radians(angle)), middle - _RADIUS * cos(radians(angle))
        end = f"{middle + _HAND * sin(radians(angle)):.1f} {middle - _HAND * cos(radians(angle)):.1f}"
        at = f'data-angle="{angle}"'
        hands.append(f'<path class="hand" {at} d="M{middle} {middle} L{end}" stroke="currentColor" stroke-width="3"/>')
        dots.append(f'<circle {at} cx="{x:.1f}" cy="{y:.1f}" r="{_DOT}" stroke="currentColor" stroke-width="2"/>')
        dots.append(
            f'<text {at} x="{x:.1f}" y="{y:.1f}" dy="0.36em" text-anchor="middle" font-size="13" font-weight="600">'
            f"{escape(word)}</text>"
        )
    read = ", ".join(p for p in positions if p in done) or "none"
    told = f"Positions {', '.join(positions)}; read: {read}"
    return (
        f'<svg viewBox="0 0 {_SIZE} {_SIZE}" width="{_SIZE}" height="{_SIZE}" role="img" aria-label="{escape(told)}">'
        f"{ring}{''.join(hands + dots)}</svg>"
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
