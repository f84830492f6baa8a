"""A document as one HTML file: no script, no other file, nothing fetched."""

from __future__ import annotations

from functools import cache, singledispatch
from html import escape
from pathlib import Path

from qclog.report.document import (
    Block,
    Code,
    Document,
    Facts,
    Figure,
    Heading,
    Labels,
    Lines,
    NewPage,
    Notice,
    Paragraph,
    Points,
    Table,
)
from qclog.report.pdf import cells_of


def write_html(document: Document) -> str:
    """The document as HTML; the same document gives the same text. Pages printed from it are numbered."""
    title = escape(f"{document.title}, {document.about}")
    over = document.workshop or document.title
    head = (
        f"<header><div><h1>{escape(document.title)}</h1><div>{escape(document.about)}</div>"
        f'<div class="dated">{escape(document.dated)}</div></div>{_code(document.code)}</header>'
    )
    return "\n".join(
        (
            "<!DOCTYPE html>",
            f'<html lang="{escape(document.language)}"><head><meta charset="utf-8">',
            '<meta name="viewport" content="width=device-width, initial-scale=1">',
            f"<title>{title}</title>",
            f"<style>\n{_style()}{_margins(over, document)}</style></head><body>",
            head,
            *(_block(block) for block in document.blocks),
            f"<footer>{escape(document.foot)}</footer>",
            "</body></html>",
            "",
        )
    )


@cache
def _style() -> str:
    return Path(__file__).with_name("page.css").read_text(encoding="utf-8")


def _margins(over: str, document: Document) -> str:
    """What printed pages carry in their margins."""
    return (
        "@page { size: A4; margin: 22mm 16mm 24mm;"
        f" @top-left {{ content: {_quoted(over)}; font-size: 8pt }}"
        f" @top-right {{ content: {_quoted(f'{document.about} · {document.dated}')}; font-size: 8pt }}"
        f" @bottom-left {{ content: {_quoted(document.foot)}; font-size: 7pt; width: 70% }}"
        ' @bottom-right { content: "page " counter(page) " of " counter(pages); font-size: 8pt } }\n'
    )


def _quoted(text: str) -> str:
    """A CSS string that can hold anything: all but plain letters and digits by number, each ended by a space."""
    safe = "".join(c if c.isascii() and (c.isalnum() or c == " ") else f"\\{ord(c):06x} " for c in text)
    return f'"{safe}"'


def _code(code: Code | None) -> str:
    if code is None:
        return ""
    opening = f'<figure class="code" role="img" aria-label="{escape(code.says)}">'
    return f"{opening}{code.svg}<div>{escape(code.text)}</div></figure>"


@singledispatch
def _block(block: Block) -> str:
    raise TypeError(f"no way to write a {type(block).__name__}")


@_block.register
def _(block: Heading) -> str:
    return f"<h{block.level + 1}>{escape(block.text)}</h{block.level + 1}>"


@_block.register
def _(block: Paragraph) -> str:
    return f"<p{' class=quiet' if block.quiet else ''}>{escape(block.text)}</p>"


@_block.register
def _(block: Points) -> str:
    return "<ul>" + "".join(f"<li>{escape(item)}</li>" for item in block.items) + "</ul>"


@_block.register
def _(block: Notice) -> str:
    return f'<div class="notice"><strong>{escape(block.word)}</strong> {escape(block.text)}</div>'


@_block.register
def _(block: Facts) -> str:
    pairs = (f"<div><dt>{escape(name)}</dt><dd>{escape(fact)}</dd></div>" for name, fact in block.pairs)
    return "<dl>" + "".join(pairs) + "</dl>"


@_block.register
def _(block: Figure) -> str:
    caption = f"<figcaption>{escape(block.caption)}</figcaption>" if block.caption else ""
    opening = f'<figure role="img" aria-label="{escape(block.says)}" style="max-width: {block.width:g}mm">'
    return f"{opening}{block.svg}{caption}</figure>"


@_block.register
def _(block: Labels) -> str:
    return '<div class="labels">' + "".join(_code(code) for code in block.codes) + "</div>"


@_block.register
def _(block: Lines) -> str:
    return "".join(f'<div class="line"><span>{escape(label)}</span><i></i></div>' for label in block.labels)


@_block.register
def _(block: NewPage) -> str:  # noqa: ARG001 - one function for each kind of block
    return '<div class="new-page"></div>'


@_block.register
def _(table: Table) -> str:
    aligned = ["" if c.align == "left" else ' class="right"' for c in table.columns]
    of_cells = [
        ' class="text"' if c.share is not None and not a else a for c, a in zip(table.columns, aligned, strict=True)
    ]
    head = "".join(f"<th{a}>{escape(c.heading)}</th>" for c, a in zip(table.columns, aligned, strict=True))
    rows = []
    for number, row in enumerate(cells_of(table)):
        cells = "".join(f"<td{a}>{escape(said)}{_pad(pad)}</td>" for (said, pad), a in zip(row, of_cells, strict=True))
        rows.append(f"<tr{' class=strong' if number in table.strong else ''}>{cells}</tr>")
    narrow = all(c.share is None for c in table.columns)
    roomy = " class=roomy" if table.roomy else " class=narrow" if narrow else ""
    return (
        f'<div class="wide"><table{roomy}><thead><tr>{head}</tr></thead><tbody>\n'
        + "\n".join(rows)
        + "</tbody></table></div>"
    )


def _pad(pad: str) -> str:
    return f'<span class="pad" aria-hidden="true">{pad}</span>' if pad else ""
