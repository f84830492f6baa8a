"""The classes of rows against what the database says of their queries."""

from __future__ import annotations

import re
import types
import typing
from datetime import date, datetime
from uuid import UUID

import pytest

from qclog import resources
from qclog.domain import stored
from qclog.domain.moments import now
from qclog.store.log import Log

TYPES: dict[str, type] = {
    "VARCHAR": str,
    "DOUBLE": float,
    "INTEGER": int,
    "BIGINT": int,
    "HUGEINT": int,
    "UBIGINT": int,
    "BOOLEAN": bool,
    "UUID": UUID,
    "DATE": date,
    "TIMESTAMP": datetime,
    "VARCHAR[]": list,
    "TIMESTAMP[]": list,
}


def text_of(query: str) -> str:
    return (resources.folder("sql") / "queries" / f"{query}.sql").read_text(encoding="utf-8")


def said_of(kind: type[tuple[object, ...]]) -> dict[str, tuple[type, bool]]:
    """Of each column: its class, and whether it may be None."""
    found = {}
    for name, hint in typing.get_type_hints(kind).items():
        options = typing.get_args(hint) if isinstance(hint, types.UnionType) else (hint,)
        (one,) = (typing.get_origin(o) or o for o in options if o is not type(None))
        found[name] = one, type(None) in options
    return found


@pytest.mark.parametrize("query", sorted(stored.KINDS))
def test_a_row_has_the_columns_of_its_query(query: str, sample: Log) -> None:
    given = dict.fromkeys(re.findall(r"\$(\w+)", re.sub("--.*", "", text_of(query))))
    with sample.reading() as use:
        described = use.connection.execute(text_of(query), given or None).description or []
    assert {d[0]: TYPES[str(d[1])] for d in described} == {n: t for n, (t, _) in said_of(stored.KINDS[query]).items()}


def arguments(use: typing.Any, query: str) -> list[dict[str, object]]:
    """What to ask a query of the sample for, several times over, so that many rows come."""
    names = set(re.findall(r"\$(\w+)", re.sub("--.*", "", text_of(query))))
    jobs = use.rows("jobs_all", stored.Job)[:60]
    readings = [r for j in jobs[:20] for r in use.rows("job_readings", stored.JobReading, job=j.job)]
    choices: dict[str, list[typing.Any]] = {
        "job": [j.job for j in jobs],
        "case_type": sorted({j.case_type for j in jobs}),
        "case_serial": [j.case_serial for j in jobs if j.case_serial],
        "person": [p.person for p in use.rows("people", stored.Person)],
        "text": ["1", "M"],
        "most": [500],
        "now": [now()],
        "since": [datetime(2000, 1, 1)],
        "entry": [1, 2],
        "codes": [sorted({r.characteristic for r in readings})],
        "characteristic": sorted({r.characteristic for r in readings}),
        "stage": ["as_found", "trial", "final"],
        "position": sorted({r.position for r in readings}),
        "submission": [None],
        "id": [None],
    }
    assert names <= choices.keys(), f"{query} asks for {names - choices.keys()}: add it here"
    longest = max((len(choices[n]) for n in names), default=1)
    if names == {"job", "characteristic", "stage", "position"}:
        return [{n: getattr(r, n) for n in names} for r in readings]
    asked = [{n: choices[n][i % len(choices[n])] for n in names} for i in range(longest)]
    return asked + [a | {"stage": s} for a in asked for s in choices["stage"] if "stage" in names]


@pytest.mark.parametrize("query", sorted(stored.KINDS))
def test_what_is_never_none_is_not(query: str, sample: Log) -> None:
    kind = stored.KINDS[query]
    with sample.reading() as use:
        rows = [row for given in arguments(use, query) for row in use.rows(query, kind, **given)]
    for n, (name, (of_class, may_be_none)) in enumerate(said_of(kind).items()):
        values = [row[n] for row in rows]
        assert may_be_none or None not in values, name
        assert all(isinstance(v, of_class) for v in values if v is not None), name


def test_rows_of_another_query_are_refused(sample: Log) -> None:
    with sample.reading() as use, pytest.raises(TypeError, match="rows of gauges are Gauge, not Job"):
        use.rows("gauges", stored.Job)
