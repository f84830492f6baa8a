"""PDF pages read back by a library that had no part in making them."""

from __future__ import annotations

import re

import numpy as np
import pypdfium2
import zxingcpp


def texts_of(pdf: bytes) -> list[str]:
    """The text of each page, spaces and line breaks evened out."""
    opened = pypdfium2.PdfDocument(pdf)
    try:
        return [re.sub(r"\s+", " ", page.get_textpage().get_text_range().replace("\u200b", "")) for page in opened]
    finally:
        opened.close()


def codes_of(pdf: bytes, page: int = 0) -> list[str]:
    """What a reader of codes that had no part in making them reads on a page."""
    opened = pypdfium2.PdfDocument(pdf)
    try:
        seen = np.asarray(opened[page].render(scale=2.5).to_pil().convert("L"))
        return [code.text for code in zxingcpp.read_barcodes(seen)]
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
