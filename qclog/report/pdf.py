"""A document set as PDF pages, without a browser or network, from fonts that the typesetter brings along."""

from __future__ import annotations

import json
import re
from dataclasses import asdict
from datetime import UTC
from functools import cache
from pathlib import Path
from typing import Any

from qclog.report.document import Block, Document, Table, split_at_point

_FONTS_OF_SVG = re.compile(r'font-family="[^"]*"')
_FONT = 'font-family="Libertinus Serif"'


# A record that is kept for years must open anywhere and be read aloud: PDF/A-2a (ISO 19005-2), PDF/UA-1 (ISO 14289-1).
_KEPT_FOR_YEARS = ("a-2a", "ua-1")


def set_pdf(document: Document) -> bytes:
    """The document as a PDF file; the same document gives the same bytes.

    Letters that the fonts brought along lack are taken from the machine's own, where it has them.
    """
    import typst

    data = json.dumps(_data(document), ensure_ascii=False)
    ways: tuple[tuple[bool, Any], ...] = ((True, _KEPT_FOR_YEARS), (False, _KEPT_FOR_YEARS), (False, ()))
    for own_fonts_only, standards in ways:
        try:
            made = typst.compile(
                _template(),
                format="pdf",
                ignore_system_fonts=own_fonts_only,
                sys_inputs={"document": data},
                timestamp=int(document.moment.replace(tzinfo=UTC).timestamp()),
                pdf_standards=list(standards),
            )
            return bytes(made)
        except typst.TypstError:
            if not standards:
                raise
    raise AssertionError("the last way returns or raises")


@cache
def _template() -> bytes:
    return Path(__file__).with_name("paper.typ").read_bytes()


def _data(document: Document) -> dict[str, Any]:
    code = None
    if document.code is not None:
        code = {"svg": document.code.svg, "text": document.code.text, "says": document.code.says}
    return {
        "title": document.title,
        "about": document.about,
        "dated": document.dated,
        "foot": document.foot,
        "workshop": document.workshop,
        "language": document.language,
        "code": code,
        "blocks": [_block(block) for block in document.blocks],
    }


def _block(block: Block) -> dict[str, Any]:
    data: dict[str, Any] = {"kind": type(block).__name__.lower(), **asdict(block)}
    if isinstance(block, Table):
        data["strong"] = sorted(block.strong)
        data["rows"] = cells_of(block)
    elif "svg" in data:
        data["svg"] = _FONTS_OF_SVG.sub(_FONT, data["svg"])
    return data


def cells_of(table: Table) -> list[list[tuple[str, str]]]:
    """Every cell with what follows it unseen, so that numbers line up."""
    columns = []
    for number, column in enumerate(table.columns):
        cells = tuple(row[number] for row in table.rows)
        columns.append(split_at_point(cells) if column.align == "decimal" else tuple((cell, "") for cell in cells))
    return [list(row) for row in zip(*columns, strict=True)]
