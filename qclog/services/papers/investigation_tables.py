"""The tables of an investigation, the same at the terminal, on the page, on paper and in a spreadsheet.

Each is a heading row and rows of text.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from qclog.domain.jobs import STAGE_WORDS
from qclog.domain.moments import show_moment
from qclog.services.jobs.remarks import remarks_on
from qclog.services.papers.build_record import said_and_unit
from qclog.services.tracing.comeback_readings import Going
from qclog.services.tracing.comeback_risk import Risk
from qclog.services.tracing.gauge_days import DOUBT
from qclog.services.tracing.shop import Shop
from qclog.services.tracing.sisters import RECALL_COLUMNS, Link, Recalled
from qclog.services.tracing.tracing import Trace, UnitTrace
from qclog.words.numbers import number_text, plural, unit_name
from qclog.words.sentences import asked_text, verdict_text

RECALL_WORDS = tuple(name.replace("_", " ").replace("customer ref", "customer") for name in RECALL_COLUMNS)


@dataclass(frozen=True, slots=True)
class Grid:
    """A table of text: its headings, its rows, and which columns are numbers."""

    headings: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    numbers: tuple[str, ...] = ()

    @property
    def columns(self) -> dict[str, list[str]]:
        """Column by column."""
        return {h: [row[n] for row in self.rows] for n, h in enumerate(self.headings)}

    def without_empty(self) -> Grid:
        """The same without columns in which nothing is said."""
        kept = [n for n in range(len(self.headings)) if any(row[n] for row in self.rows)]
        return Grid(
            tuple(self.headings[n] for n in kept), tuple(tuple(row[n] for n in kept) for row in self.rows), self.numbers
        )


def evidence_grid(unit: UnitTrace) -> Grid:
    """The evidence, graded, with the reason for each grade."""
    rows = tuple((p.grade, p.about, p.reason, p.settle) for p in unit.points)
    return Grid(("grade", "what", "why this grade", "what would settle it"), rows)


def readings_grid(unit: UnitTrace, *, counting: bool | None = None) -> Grid:
    """Every reading with every attempt and correction; `counting`: only those that count, or only the others."""
    zone = unit.shop.zone
    rows = tuple(
        (
            t.characteristic.name if t.characteristic else t.row.characteristic,
            STAGE_WORDS[t.row.stage],
            t.row.position,
            str(t.row.attempt),
            *said_and_unit(t),
            asked_text(t.characteristic, t.verdict) if t.characteristic else "",
            verdict_text(t.verdict, t.characteristic) if t.row.counts else "",
            remarks_on(t, unit.story),
            t.row.gauge or "",
            t.row.technician,
            show_moment(t.row.taken_at, zone),
            show_moment(t.row.entered_at, zone),
            t.row.entered_by,
            t.version,
        )
        for t in unit.story.readings
        if counting is None or t.row.counts == counting
    )
    headings = (
        "what", "stage", "at", "try", "read", "unit", "limits that day", "stands", "remarks", "gauge", "read by",
        "taken", "entered", "entered by", "sheet",
    )  # fmt: skip
    return Grid(headings, rows, ("try", "read"))


def peers_grid(unit: UnitTrace) -> Grid:
    """Each value's place among its peers, then and now, counted from the lowest."""
    give_or_take = {(d.characteristic.code, d.stage): d.u for d in unit.story.derived}
    rows = tuple(
        (
            p.characteristic.name,
            STAGE_WORDS[p.stage],
            number_text(p.value, p.characteristic, u=give_or_take.get((p.characteristic.code, p.stage))),
            unit_name(p.characteristic),
            p.then.text,
            p.now.text,
            "set by choice of shim" if p.forced else "" if p.now.words.startswith("ordinary") else p.now.words,
        )
        for p in unit.placed
    )
    headings = ("what", "stage", "value", "unit", "place then", "place now", "remark")
    return Grid(headings, rows, ("value",))


def gauges_grid(unit: UnitTrace) -> Grid:
    """Whether each gauge was right that day."""
    rows = tuple((g.gauge, str(g.readings), g.state, g.why) for g in unit.gauges)
    return Grid(("gauge", "readings", "that day", "why"), rows, ("readings",))


def changes_grid(unit: UnitTrace) -> Grid:
    """As received against as built."""
    rows = tuple(
        (
            c.characteristic.name,
            number_text(c.built, c.characteristic),
            number_text(c.received, c.characteristic),
            number_text(c.change, c.characteristic),
            unit_name(c.characteristic),
            c.remark,
        )
        for c in unit.changes
    )
    headings = ("what", "as built", "as received", "change", "unit", "gauge")
    return Grid(headings, rows, ("as built", "as received", "change"))


def parts_grid(unit: UnitTrace) -> Grid:
    """Parts and lots, and how many other jobs carry the same lot."""
    others = {link.name: len(link.jobs) - 1 for link in unit.links if link.kind == "lot"}
    rows = tuple(
        (
            p.part.replace("_", " "),
            p.lot or "",
            p.supplier or "",
            p.condition or "",
            p.sub_assembly or "",
            plural(others[p.lot], "other job") if p.lot in others else "",
        )
        for p in unit.story.parts
    )
    return Grid(("part", "lot", "supplier", "condition", "built as job", "who else"), rows)


def inside_grid(unit: UnitTrace) -> Grid:
    """Sub-assemblies built earlier as jobs of their own: by whom, their gauges, and what left outside limits."""
    rows = tuple(
        (
            inner.job,
            ", ".join(dict.fromkeys(t.row.technician for t in inner.story.readings)),
            plural(len(inner.story.readings), "reading"),
            "; ".join(f"{g.gauge}: {g.why}" for g in inner.gauges if g.state == DOUBT) or "none in doubt",
            "; ".join(o.text for o in inner.outside) or "nothing",
        )
        for inner in unit.inside
    )
    return Grid(("built as job", "read by", "readings", "gauges", "outside limits"), rows)


def links_grid(trace: Trace, links: Sequence[Link]) -> Grid:
    """What is shared with other units, and whether those come back more often."""
    rows = tuple((link.words, str(len(link.jobs)), trace.compare(link)) for link in links)
    return Grid(("shared", "units", "do they come back more often?"), rows, ("units",))


def recall_grid(recalled: Sequence[Recalled]) -> Grid:
    """The units to call in."""
    return Grid(RECALL_WORDS, tuple(r.cells for r in recalled))


def risks_title(shop: Shop) -> str:
    """What the table of comebacks is called, with the day that time in service is counted to."""
    return f"Comebacks by case type, counted to {shop.day(shop.last_known)}"


def risks_grid(risks: Sequence[tuple[str, Risk]]) -> Grid:
    """Comebacks by case type, with exposure."""
    rows = tuple(
        (
            case_type,
            str(risk.out),
            f"{risk.months:.0f}",
            str(risk.back),
            str(risk.comebacks),
            "" if risk.rate is None else f"{risk.rate:.2f}",
            risk.interval_text,
        )
        for case_type, risk in risks
    )
    headings = (
        "case type", "units out", "unit-months", "came back", "ours or open", "in 100 unit-months", "95 % interval",
    )  # fmt: skip
    return Grid(headings, rows, headings[1:6])


def going_grid(going: Sequence[Going]) -> Grid:
    """Which readings go with comebacks: what one ordinary spread towards the worse side multiplies the odds by."""
    rows = []
    for g in going:
        times = ("", "") if g.times is None else (f"{g.times[0]:.1f}", f"{g.times[1]:.1f} to {g.times[2]:.1f}")
        chance = "" if g.p is None else f"{g.p:.3f}"
        rows.append((g.characteristic.name, str(g.n), str(g.backs), g.verdict, *times, chance, g.outside_text))
    headings = (
        "what", "units", "came back", "comebacks", "odds, times", "95 % interval", "p", "came back of those",
    )  # fmt: skip
    return Grid(headings, tuple(rows), ("units", "came back", "odds, times", "p"))
