"""What is to be traced: a serial, a job, a customer reference, a lot, a machining batch or a gauge."""

from __future__ import annotations

from dataclasses import dataclass

import polars as pl

from qclog.domain.speech.scans import read_scan
from qclog.errors import InputError, UnknownNameError
from qclog.services.tracing.shop import Shop

KINDS = {
    "job": "job",
    "case_serial": "serial",
    "customer_ref": "customer reference",
    "lot": "lot",
    "machining_batch": "machining batch",
    "gauge": "gauge",
}


@dataclass(frozen=True, slots=True)
class Subject:
    """What is traced (`kind` is one of KINDS) and its jobs, in time order. `main` is the one to look into, for a unit.

    A gauge's jobs are those read with it while it was in doubt.
    """

    kind: str
    name: str
    jobs: tuple[str, ...]
    main: str | None

    @property
    def words(self) -> str:
        """`lot G-31`."""
        return f"{KINDS[self.kind]} {self.name}"


def find_subject(shop: Shop, text: str, kind: str | None = None) -> Subject:
    """What a text names, whole; the first of KINDS that has it, or `kind`. A scanned code is understood too.

    UnknownNameError if nothing has that name, with what is like it; InputError for an empty text or another kind.
    """
    name, kind = _asked(text, kind)
    for one in KINDS if kind is None else (kind,):
        found = _named(shop, one, name)
        if found is not None:
            return found
    raise UnknownNameError(
        f"nothing in the log is called {name!r}" if kind is None else f"the log has no {KINDS[kind]} {name!r}",
        field="what",
        found=name,
        hint=_alike(shop, name, kind),
    )


def kinds_named(shop: Shop, text: str) -> tuple[str, ...]:
    """Every kind of thing that a text names: one lot and one job may have the same number."""
    name, kind = _asked(text, None)
    return tuple(one for one in KINDS if kind in (None, one) and _named(shop, one, name) is not None)


def _asked(text: str, kind: str | None) -> tuple[str, str | None]:
    """The name that a text asks for, and the kind if it is a scanned code or one was said."""
    scan = read_scan(text)
    name = (scan.name if scan else text).strip()
    kind = scan.kind if scan else kind
    if not name:
        raise InputError("say what to trace", field="what", hint="a serial, job, customer reference, lot or gauge")
    if kind is not None and kind not in KINDS:
        raise InputError("there is no such kind", field="kind", found=kind, hint=", ".join(KINDS))
    return name, kind


def _named(shop: Shop, kind: str, name: str) -> Subject | None:
    exact = pl.lit(name.casefold())
    if kind == "gauge":
        gauge = next((g for g in shop.gauges if g.casefold() == name.casefold()), None)
        if gauge is None:
            return None
        doubtful = shop.doubtful.filter(pl.col("gauge") == gauge).sort("taken_at")["job"]
        return Subject(kind, gauge, tuple(doubtful.unique(maintain_order=True)), None)
    column = "lot" if kind == "lot" else kind
    frame = shop.parts.select("job", "lot") if kind == "lot" else shop.jobs
    mine = frame.filter(pl.col(column).str.to_lowercase() == exact)
    if mine.is_empty():
        return None
    numbers = mine["job"].unique()
    rows = shop.jobs.filter(pl.col("job").is_in(numbers.implode())).sort("opened", "job")
    jobs = tuple(rows["job"])
    return Subject(kind, str(mine[column][0]), jobs, _main(shop, jobs) if kind in _UNITS else None)


_UNITS = ("job", "case_serial", "customer_ref")


def _main(shop: Shop, jobs: tuple[str, ...]) -> str:
    """The visit a question is most likely about: the last that came back, else the last that left, else the last."""
    back = [job for job in jobs if job in shop.backs]
    left = [job for job in jobs if shop.by_job[job].dispatched is not None]
    return (back or left or list(jobs))[-1]


def _alike(shop: Shop, name: str, kind: str | None) -> str:
    """Names that hold the text, a few of them; of one kind, or of any."""
    columns = {k: shop.jobs[k] for k in ("job", "case_serial", "customer_ref", "machining_batch")}
    columns |= {"lot": shop.parts["lot"], "gauge": pl.Series(list(shop.gauges), dtype=pl.String)}
    every = pl.concat([c.drop_nulls().alias("name") for k, c in columns.items() if kind in (None, k)])
    near = every.filter(every.str.to_lowercase().str.contains(name.casefold(), literal=True)).unique(
        maintain_order=True
    )
    if near.is_empty():
        return "look for a part of it with qclog job list, or on the Jobs page"
    more = f" and {len(near) - 8} more" if len(near) > 8 else ""
    return f"there are: {', '.join(near[:8])}{more}"
