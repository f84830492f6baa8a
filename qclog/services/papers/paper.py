"""What every paper has: its frame, the standing caution, its date, and the way to a file."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from datetime import datetime
from pathlib import Path

from qclog.domain import stored
from qclog.domain.moments import show_moment
from qclog.errors import InputError
from qclog.report.document import Block, Code, Document, Notice
from qclog.report.html import write_html
from qclog.report.pdf import set_pdf
from qclog.services.keeping import sheets, verifying
from qclog.services.keeping.earlier import as_of_words
from qclog.services.keeping.output import new_file
from qclog.store.log import Log

ENDINGS = (".pdf", ".html")
_FINEST = 9  # decimals
FOOT = (
    "Limits entered by the workshop; the maker's manual and competent, authorised people decide. Nothing here certifies"
    " that a vehicle or vessel is fit for the road or the water; local law is unaffected."
)


def frame(log: Log, title: str, about: str, blocks: Iterable[Block], code: Code | None = None) -> Document:
    """A paper dated by the log's last entry, so that the same log gives the same paper."""
    with log.reading() as use:
        zone = sheets.timezone_of(use)
        entries = use.rows("entries", stored.Entry)
    moment = entries[-1].entered_at if entries else datetime(1970, 1, 1)
    dated = f"from the log as of {show_moment(moment, zone)}" if entries else "from an empty log"
    if log.as_of is not None:
        dated = f"the log {as_of_words(log).removesuffix('.').lower()}"
        moment = log.as_of.moment or moment
    return Document(title, about, dated, moment, (*_does_not_fit(log), *blocks), FOOT, code=code)


def _does_not_fit(log: Log) -> list[Block]:
    """On page one of every paper of a log that was changed past qclog: that it was, and where; nothing for most."""
    faults = verifying.misfits_of(replace(log, as_of=None))
    if not faults:
        return []
    first = "; ".join(f"entry {f.entry}: {f.says}" for f in faults[:3])
    more = f", and {len(faults) - 3} more" if len(faults) > 3 else ""
    said = f"What is printed here can't be relied on. It was not stored by qclog as it stands now: {first}{more}."
    return [Notice("This log does not fit its chain of digests", said)]


def check_ending(path: Path) -> None:
    """InputError unless a paper can be written to a file of that name."""
    if path.suffix.lower() not in ENDINGS:
        raise InputError(
            "a paper is a PDF or HTML file", field="file", found=path.name, hint="end its name in .pdf or .html"
        )


def save(document: Document, path: Path, *, replace: bool = False) -> None:
    """Write a paper to a .pdf or .html file. InputError for another ending, or as `output.new_file` says."""
    check_ending(path)
    made = set_pdf(document) if path.suffix.lower() == ".pdf" else write_html(document).encode("utf-8")
    with new_file(path, replace=replace) as part:
        part.write_bytes(made)
