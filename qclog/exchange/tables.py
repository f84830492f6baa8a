"""The files of an exchange folder and their columns, as other programs rely on them."""

from __future__ import annotations

from dataclasses import dataclass, replace

from qclog.domain.claims import COMEBACK_DETAILS, GAUGE_DETAILS, HOUSE_DETAILS
from qclog.domain.findings import CHANGED, CHANGES, STATES
from qclog.domain.jobs import (
    ATTRIBUTABLE,
    CONDITIONS_OF_PARTS,
    GAUGE_EVENTS,
    GAUGE_KINDS,
    PERSON_CHANGES,
    ROLES,
    STAGES,
)
from qclog.domain.stock import MOVES


@dataclass(frozen=True, slots=True)
class Table:
    """One CSV file: its columns in order, those that must be given, and those that take one of a few words."""

    name: str
    columns: tuple[str, ...]
    required: tuple[str, ...]
    choices: tuple[tuple[str, tuple[str, ...]], ...] = ()
    written_empty: bool = True

    @property
    def file(self) -> str:
        """The file's name."""
        return f"{self.name}.csv"


def _table(name: str, columns: str, /, **choices: tuple[str, ...]) -> Table:
    words = columns.split()
    return Table(
        name,
        tuple(word.rstrip("*") for word in words),
        tuple(word.rstrip("*") for word in words if word.endswith("*")),
        tuple(choices.items()),
    )


TABLES = (
    replace(_table("sheet_dates", "case_type* version* since"), written_empty=False),
    _table("people", "person* role*", role=ROLES),
    _table("gauges", "gauge* kind* unit* step* leaves calibration_due", kind=GAUGE_KINDS),
    _table("gauge_checks", "gauge* checked_at* event* reference reading unit by note", event=GAUGE_EVENTS),
    _table(
        "jobs",
        "job* case_type* case_serial casting rebuild machining_batch variant opened* dispatched customer_ref"
        " outstanding concession",
    ),
    _table("parts", "job* part* lot supplier condition sub_assembly", condition=CONDITIONS_OF_PARTS),
    _table(
        "readings",
        "job* characteristic* stage* position attempt reading* unit gauge technician* taken_at* conditions note"
        " replaces reason",
        stage=STAGES,
    ),
    replace(
        _table("strikes", "job* characteristic* stage* position attempt* by* reason*", stage=STAGES),
        written_empty=False,
    ),
    _table("comebacks", "job* returned* complaint finding attributable hours", attributable=ATTRIBUTABLE),
    replace(_table("shim_stock", "set* nominal* measured* unit* layer minimum"), written_empty=False),
    replace(
        _table("shim_movements", "set* nominal* measured* moved_at* change* why* job by note", why=MOVES),
        written_empty=False,
    ),
    replace(
        _table("finding_notes", "finding* state* found done told by* noted_at*", state=STATES), written_empty=False
    ),
    replace(
        _table(
            "changes",
            "kind* case_type characteristic identifier level since* note by*",
            kind=CHANGES,
            identifier=CHANGED,
        ),
        written_empty=False,
    ),
    replace(_table("gauge_details", "gauge* name* value", name=GAUGE_DETAILS), written_empty=False),
    replace(
        _table("comeback_details", "job* returned* name* value", name=tuple(COMEBACK_DETAILS)), written_empty=False
    ),
    replace(_table("house_details", "name* code* value", name=tuple(HOUSE_DETAILS)), written_empty=False),
    replace(_table("person_changes", "person* what* value", what=PERSON_CHANGES), written_empty=False),
)
BY_FILE = {table.file: table for table in TABLES}
MAX_CELL = 1000
MAX_FILE_BYTES = 2_000_000_000
