"""One document, two writers: nothing lost, nothing taken for markup, the same bytes every time."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import datetime
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import altair as alt
import polars as pl
import pytest

from qclog.report.codes import draw_code
from qclog.report.document import (
    Block,
    Column,
    Document,
    Facts,
    Figure,
    Heading,
    Lines,
    NewPage,
    Notice,
    Paragraph,
    Points,
    Table,
    split_at_point,
)
from qclog.report.figures import figure_of
from qclog.report.html import write_html
from qclog.report.pdf import set_pdf
from qclog.report.spreadsheet import write_csv
from tests.report.pages import codes_of, right_edges, texts_of

DATA = Path(__file__).parents[1] / "data"
NASTY = [
    '#import "@preview/x:1.0.0": *',
    "<script>alert(1)</script>",
    '</style><img src=x onerror="alert(1)">',
    "#panic() $x^2$ *bold* _i_ `raw` \\ ~ -- // gone /* gone */ = head",
    '"; content: "\\',
    ']#eval("1")[ @label <label> \'quoted\' "quoted" & &amp; %',
]


def paper(*blocks: Block, about: str = "job J-1", **more: Any) -> Document:
    told = blocks or (Paragraph("nothing"),)
    return Document(
        "Build record", about, "2026-03-14 09:30", datetime(2026, 3, 14, 9, 30), told, "The maker decides.", **more
    )


LINE = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 9 9"><path d="M0 0h9"/></svg>'
SMALL = paper(
    Heading("What left us"),
    Facts((("serial", "S-9"), ("rebuild", "2"))),
    Table(
        (Column("what", share=1), Column("read", "decimal"), Column("unit")),
        (("Stand-off", "15/16", "thou"), ("Torque", "12.5", "lbf·in")),
        strong=frozenset({1}),
    ),
    Notice("Caution", "Keep clear."),
    Points(("one", "two")),
    Figure(LINE, 40, "a line", "A line"),
    Paragraph("Small.", quiet=True),
    NewPage(),
    Lines(("Released by",)),
)  # fmt: skip


class Reader(HTMLParser):
    """What a browser would show, and which elements it would make."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.shown, self.tags, self.attributes = "", set[str](), set[str]()
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.add(tag)
        self.attributes |= {name for name, _ in attrs}

    def handle_data(self, data: str) -> None:
        self.shown += data


def test_html_is_as_it_was() -> None:
    assert write_html(SMALL) == (DATA / "small_paper.html").read_text(encoding="utf-8")


def test_the_pdf_has_the_same_words() -> None:
    first, second = texts_of(set_pdf(SMALL))
    for said in ("What left us", "S-9", "15/16", "12.5", "lbf·in", "Keep clear.", "two", "A line", "Small."):
        assert said in first
    assert "Released by" in second
    for n, text in enumerate((first, second), start=1):
        assert f"page {n} of 2" in text
        assert "job J-1" in text
        assert "2026-03-14 09:30" in text
        assert "The maker decides." in text


@pytest.mark.parametrize("nasty", NASTY)
def test_nothing_from_the_log_is_taken_for_markup(nasty: str) -> None:
    document = paper(
        Heading(nasty), Paragraph(nasty), Points((nasty,)), Notice(nasty, nasty), Facts(((nasty, nasty),)),
        Table((Column(nasty), Column("n", "decimal")), ((nasty, nasty),)), Lines((nasty,)), about=nasty, workshop=nasty,
    )  # fmt: skip
    page = " ".join(texts_of(set_pdf(document)))
    squeezed = "".join(page.split())
    assert squeezed.count("".join(nasty.split())) >= 10
    html = write_html(document)
    read = Reader(html)
    assert not {"script", "img"} & read.tags
    assert not {a for a in read.attributes if a.startswith("on")}
    assert read.shown.count(nasty) >= 10
    assert html.count("</style>") == 1


@pytest.mark.parametrize("nasty", NASTY)
def test_what_printed_pages_carry_is_read_back_whole(nasty: str) -> None:
    """A CSS escape is a backslash, six digits and one space (CSS Syntax Module Level 3, section 4.3.7)."""
    html = write_html(paper(about=nasty))
    said = re.search(r'@top-right \{ content: "([^"]*)"', html)
    assert said is not None
    read = re.sub(r"\\([0-9a-f]{6}) ", lambda match: chr(int(match[1], 16)), said[1])
    assert read == f"{nasty} · 2026-03-14 09:30"


def test_a_chart_with_a_nasty_name_holds_no_script() -> None:
    rows = pl.DataFrame({"job": ["<script>alert(1)</script>"], "v": [1.0]})
    chart = alt.Chart(rows).mark_text().encode(text="job:N", y="v:Q")
    figure = figure_of(chart, "a chart")
    assert "script" not in Reader(figure.svg).tags
    assert "script>alert(1)" in "".join(texts_of(set_pdf(paper(figure)))).replace(" ", "")


def test_the_same_document_gives_the_same_bytes_and_another_moment_does_not() -> None:
    made = set_pdf(SMALL)
    assert made == set_pdf(SMALL)
    assert made != set_pdf(replace(SMALL, moment=datetime(2026, 3, 15)))
    assert write_html(SMALL) == write_html(SMALL)


def test_a_pdf_says_that_it_is_kept_for_years_and_can_be_read_aloud() -> None:
    """The marks that ISO 19005-2 (part, conformance) and ISO 14289-1 (part) ask for in a file's metadata."""
    metadata = set_pdf(SMALL)
    assert b"<pdfaid:part>2</pdfaid:part>" in metadata
    assert b"<pdfaid:conformance>A</pdfaid:conformance>" in metadata
    assert b"<pdfuaid:part>1</pdfuaid:part>" in metadata


def test_letters_that_no_font_of_ours_has_stop_nothing() -> None:
    pages = texts_of(set_pdf(paper(Paragraph("customer 漢字 🙂 \u0007 end"))))
    assert "customer" in pages[0]
    assert "end" in pages[0]


def test_a_table_goes_on_over_pages_with_its_heading_row() -> None:
    rows = tuple((f"row {n} ends", "15") for n in range(150))
    pages = texts_of(set_pdf(paper(Table((Column("heading of it", share=1), Column("n", "decimal")), rows))))
    assert len(pages) > 2
    for page in pages:
        assert "heading of it" in page
    assert all(f"row {n} ends" in " ".join(pages) for n in range(150))


def test_a_long_word_is_wrapped_and_nothing_of_it_is_cut_off() -> None:
    word = "LR2-" + "".join(str(n % 10) for n in range(400))
    document = paper(
        Facts((("serial", word),)), Table((Column("a"), Column("b", share=1)), ((word, word),)), about=word
    )
    pdf = set_pdf(document)
    page = "".join("".join(texts_of(pdf)).split())
    assert page.count(word) >= 3
    assert max(right_edges(pdf, "9")) < 210 / 25.4 * 72


def test_numbers_line_up_at_the_point() -> None:
    columns = (Column("what", share=1), Column("read", "decimal"))
    numbers = (("a", "16"), ("b", "15.25"), ("c", "1016.5"), ("d", "15/16"), ("e", "not accessible"))
    pdf = set_pdf(paper(Table(columns, numbers)))
    assert right_edges(pdf, "1016") == right_edges(pdf, "15/16")
    assert right_edges(pdf, "15.")[0] == right_edges(pdf, "1016.")[0]
    assert right_edges(pdf, "15.25") == pytest.approx(right_edges(pdf, "not accessible"), abs=0.3)


@pytest.mark.parametrize(
    ("cells", "pads"),
    [
        (("16", "15.25"), ("." + "00", "")),
        (("16", "15"), ("", "")),
        (("1.5", "", "word", "3"), ("", "", "", ".0")),
        (("15/16", "15.5/16.5"), (".0", "")),
    ],
)
def test_what_follows_a_number_unseen(cells: tuple[str, ...], pads: tuple[str, ...]) -> None:
    assert split_at_point(cells) == tuple(zip(cells, pads, strict=True))


def test_a_row_that_does_not_fit_its_table_is_refused() -> None:
    with pytest.raises(ValueError, match="2 cells in a table of 1"):
        Table((Column("a"),), (("1", "2"),))


def test_a_spreadsheet_takes_no_cell_for_a_formula() -> None:
    # The characters are those of the OWASP note on CSV injection (https://owasp.org/www-community/attacks/CSV_Injection).
    rows = [("=1+1", 1), ("+x", -2.5), ("-x", None), ("@x", "ok"), ("\tx", "-3.5"), ("x=", "a,b")]
    lines = write_csv(("job", "n"), rows).removeprefix("\ufeff").split("\r\n")
    assert lines == ["job,n", "'=1+1,1", "'+x,-2.5", "'-x,", "'@x,ok", "'\tx,-3.5", 'x=,"a,b"', ""]
    assert write_csv(("job",), []) == "\ufeffjob\r\n"


def test_a_code_is_drawn_as_vectors() -> None:
    code = draw_code("job", "J0001")
    assert code.text == "J0001"
    assert code.svg.startswith("<svg")
    pdf = set_pdf(paper(code=code))
    assert "J0001" in texts_of(pdf)[0]
    assert codes_of(pdf) == ["qclog:job:J0001"]


@pytest.mark.parametrize("name", ["a/b c", "Ärger µ", "x" * 200, "<script>", "12345"])
def test_any_name_a_code_can_hold_is_read_back(name: str) -> None:
    assert codes_of(set_pdf(paper(code=draw_code("lot", name)))) == [f"qclog:lot:{name}"]
