"""PDF pages read back by a library that had no part in making them."""

from __future__ import annotations

import re

import pypdfium2


def texts_of(pdf: bytes) -> list[str]:
    """The text of each page, spaces and line breaks evened out."""
    opened = pypdfium2.PdfDocument(pdf)
    try:
        return [re.sub(r"\s+", " ", page.get_textpage().get_text_range().replace("\u200b", "")) for page in opened]
    finally:
        opened.close()


def right_edges(pdf: bytes, said: str, page: int = 0) -> list[float]:
    """Where each occurrence of `said` ends, in points from the left edge of a page."""
    opened = pypdfium2.PdfDocument(pdf)
    try:
        text = opened[page].get_textpage()
        found, at = text.search(said, match_case=True), []
        while (hit := found.get_next()) is not None:
            at.append(round(text.get_charbox(hit[0] + hit[1] - 1)[2], 1))
        return at
    finally:
        opened.close()
