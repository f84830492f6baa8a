"""Notes on findings and changes of the work in the log, each inside one transaction (`Use`)."""

from __future__ import annotations

from qclog.domain import stored
from qclog.domain.findings import Change, Note
from qclog.store.ids import new_id
from qclog.store.log import Use


def add_note(use: Use, note: Note) -> None:
    """Add what someone says of a finding; the latest counts."""
    use.insert("finding_note", id=new_id(), **{name: getattr(note, name) for name in note.__slots__}, entry=use.entry)


def add_change(use: Use, change: Change) -> None:
    """Add a change of the work."""
    use.insert("change", id=new_id(), **{name: getattr(change, name) for name in change.__slots__}, entry=use.entry)


def notes_in(use: Use) -> tuple[Note, ...]:
    """Every note, the oldest first."""
    return tuple(
        Note(r.finding, r.state, r.by, r.noted_at, r.found, r.done, r.told)
        for r in use.rows("finding_notes", stored.FindingNote)
    )


def changes_in(use: Use) -> tuple[Change, ...]:
    """Every recorded change, the oldest first."""
    return tuple(
        Change(
            r.kind,
            r.since,
            r.by,
            r.case_type,
            r.characteristic,
            r.identifier,
            r.level,
            r.note,
        )
        for r in use.rows("changes", stored.Change)
    )
