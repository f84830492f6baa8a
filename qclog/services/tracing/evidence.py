"""What the log says of why a unit came back, each point graded with its reason. People decide; this orders the points.

The grades are deliberately hard to earn: `cause` needs a person who recorded the comeback as ours, a finding that
stands and can't be confounded, an interval that settles that other such units come back more often (the unit itself
left out), and the unit's own reading outside as the log stood when it left. What the record says and what a person
says are told apart, and where they contradict each other that is said.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import polars as pl

from qclog.domain import stored
from qclog.domain.findings import CAUSES, Finding
from qclog.domain.jobs import STAGE_WORDS
from qclog.domain.moments import show_moment
from qclog.domain.places import Place
from qclog.measures.judging import CLOSE
from qclog.services.jobs.jobs import Story
from qclog.services.series.as_received import Change
from qclog.services.tracing import comeback_risk
from qclog.services.tracing.comeback_readings import Going
from qclog.services.tracing.gauge_days import DOUBT, GaugeDay
from qclog.services.tracing.shop import Shop
from qclog.words.numbers import number_text, plural, unit_name
from qclog.words.sentences import asked_text, beyond_text, place_text, reading_text, result_text, verdict_text

CAUSE, CONTRIBUTING, NOT_OURS, OPEN = "cause", "contributing", "not ours", "open"
GRADES = (CAUSE, CONTRIBUTING, NOT_OURS, OPEN)
UNKNOWN = "nobody has said yet whether it is ours"


@dataclass(frozen=True, slots=True)
class Point:
    """A point of evidence: its grade (one of GRADES), what it is about, why it has that grade, what would settle it.

    in_sight : never to be folded away, though it is open: its own breach, a gauge in doubt, a contradiction.
    """

    grade: str
    about: str
    reason: str
    settle: str
    in_sight: bool = False


@dataclass(frozen=True, slots=True)
class Outside:
    """A final value that left outside limits, or too close to one to call."""

    code: str
    text: str
    out: bool


def weigh(
    shop: Shop,
    story: Story,
    built: Story,
    findings: Sequence[Finding],
    gauges: Sequence[GaugeDay],
    changes: Sequence[Change],
    going: Sequence[Going] = (),
) -> tuple[Point, ...]:
    """Every point of evidence about a job, the weightiest first.

    story : as the log stands. built : as the log stood when the unit left. findings : those that stand and touch the
    job. going : how readings of its case type go with comebacks. The unit's own breaches come first of all.
    """
    back = _last_back(story)
    ours = None if back is None else back.attributable or "open"
    outside = outside_at_dispatch(built)
    breaches = [o for o in outside if o.out]
    clear = {g.characteristic.code: g.text for g in going if g.clear}
    first = [_of_outside(o, ours, built, clear) for o in breaches]
    shifting = sum(CAUSES[f.cause].shifts for f in findings)
    points = [_of_finding(shop, f, story, ours, outside, gauges, shifting) for f in findings]
    suspected = {f.level for f in findings if f.identifier == "gauge"}
    doubts = [g for g in gauges if g.state == DOUBT]
    points += [_of_gauge(g, ours) for g in doubts if g.gauge not in suspected]
    if back is not None:
        points += [_recorded(back, built), *_against_what_was_said(back, breaches, doubts)]
    points += _of_changes(changes)
    points += _of_gaps(built, story)
    explained = breaches or any(p.grade in (CAUSE, CONTRIBUTING, NOT_OURS) for p in points)
    if back is not None and not explained:
        points.append(
            Point(OPEN, "the cause", "nothing in the log explains it", "strip it with readings first, and look")
        )
    return (*first, *sorted(points, key=lambda p: GRADES.index(p.grade)))


def weigh_inside(job: str, gauges: Sequence[GaugeDay], outside: Sequence[Outside]) -> tuple[Point, ...]:
    """What stands against a sub-assembly built earlier as a job of its own; open, since the unit was read after it."""
    about = f"sub-assembly built as job {job}"
    settle = "measure the sub-assembly by itself"
    doubtful = [Point(OPEN, about, f"gauge {g.gauge} {_gauge_text(g)}", settle) for g in gauges if g.state == DOUBT]
    return (*doubtful, *(Point(OPEN, about, f"it left with {o.text}", settle) for o in outside if o.out))


def outside_at_dispatch(story: Story) -> tuple[Outside, ...]:
    """Final readings and worked-out values that were out of the limits in force that day, or too close to call."""
    found = []
    for t in story.readings:
        row, c = t.row, t.characteristic
        if row.counts and row.stage == "final" and c is not None and (t.verdict.out or t.verdict.result == CLOSE):
            place = place_text(Place(story.job.job, c.code, row.stage, row.position), c)
            beyond = beyond_text(t.verdict, row.low, row.high, c)
            said = f"{place}: {reading_text(row)}, {verdict_text(t.verdict, c)}{beyond}"
            found.append(Outside(c.code, f"{said} (limits that day {asked_text(c, t.verdict)})", t.verdict.out))
    for d in story.derived:
        if d.stage == "final" and (d.verdict.out or d.verdict.result == CLOSE):
            c = d.characteristic
            said = f"{c.name}: {result_text(d)}, {verdict_text(d.verdict, c)}{beyond_text(d.verdict, d.low, d.high, c)}"
            found.append(Outside(c.code, f"{said} (limits that day {asked_text(c, d.verdict)})", d.verdict.out))
    return tuple(found)


def _last_back(story: Story) -> stored.JobComeback | None:
    return story.comebacks[-1] if story.comebacks else None


def _recorded(back: stored.JobComeback, built: Story) -> Point:
    """What people wrote down of the return: their words, not what the readings say."""
    when = show_moment(back.entered_at, built.zone)
    said = f"{f'“{back.finding}” is' if back.finding else 'no finding is'} written down"
    said += f", entered by {back.entered_by} on {when}"
    about = f"a person says, of the complaint: {back.complaint or 'none noted'}"
    if back.attributable == "no":
        left = f"; it left with this outstanding: {built.job.outstanding}" if built.job.outstanding else ""
        return Point(NOT_OURS, about, f"{said}, and recorded as not ours{left}", "keep the parts and photographs")
    if back.attributable == "yes":
        reason = f"{said}, and recorded as ours; that is what a person decided, not yet why it failed"
        return Point(OPEN, about, reason, "look at the other points")
    return Point(OPEN, about, f"{said}; {UNKNOWN}", "decide it, and say who decided on which evidence")


def _against_what_was_said(
    back: stored.JobComeback, breaches: Sequence[Outside], doubts: Sequence[GaugeDay]
) -> list[Point]:
    """Where the record contradicts what a person decided; nothing where it does not."""
    shows = [f"it left with {o.text}" for o in breaches] + [f"gauge {d.gauge} was in doubt" for d in doubts]
    if back.attributable == "no" and shows:
        about = f"it is recorded as not ours (entered by {back.entered_by}); the record shows otherwise"
        return [Point(OPEN, about, "; ".join(shows), "let a second person decide it on this evidence", in_sight=True)]
    if back.attributable == "yes" and not shows:
        about = (
            f"it is recorded as ours (entered by {back.entered_by}); nothing in the record of the job is outside limits"
        )
        reason = "no final reading left outside a limit, and no gauge it was read with is in doubt"
        return [Point(OPEN, about, reason, "say on which evidence it was decided")]
    return []


def _of_finding(
    shop: Shop,
    finding: Finding,
    story: Story,
    ours: str | None,
    outside: Sequence[Outside],
    gauges: Sequence[GaugeDay],
    looked: int,
) -> Point:
    about = finding.text
    settle = CAUSES[finding.cause].check_next
    if not CAUSES[finding.cause].shifts:
        return Point(
            OPEN, about, "this widens readings and shifts no unit, so it explains no comeback by itself", settle
        )
    until = shop.counted_to
    out = comeback_risk.months_out(shop.jobs, shop.comebacks, until)
    kin = out.filter(pl.col("case_type").is_in(list(finding.case_types)))
    compared = comeback_risk.compare(kin, finding.jobs, until, looked=looked, without=(story.job.job,))
    told = [f"other such units: {compared.text}"]
    own = [o.text for o in outside if o.out and o.code in finding.characteristics]
    told.append(
        f"this unit itself left with {'; '.join(own)}"
        if own
        else "its own final readings of this were not out of limits, or not taken"
    )
    off = [_gauge_text(g) for g in gauges if finding.identifier == "gauge" and g.gauge == finding.level and g.off]
    told += off
    if finding.confounded_with:
        told.append(
            "the same units also share " + ", ".join(f"{i.replace('_', ' ')} {n}" for i, n in finding.confounded_with)
        )
    if ours == "no":
        told.append("the comeback was recorded as not ours")
        return Point(OPEN, about, _sentence(told), settle)
    if ours != "yes":
        told.append(UNKNOWN if ours == "open" else "this unit has not come back")
        return Point(OPEN, about, _sentence(told), settle)
    if compared.more_often and own and not finding.confounded_with:
        told.append("the comeback was recorded as ours")
        return Point(CAUSE, about, _sentence(told), settle)
    if compared.more_often or own or off:
        return Point(CONTRIBUTING, about, _sentence(told), settle)
    return Point(OPEN, about, _sentence(told), settle)


def _of_outside(one: Outside, ours: str | None, story: Story, clear: Mapping[str, str]) -> Point:
    leave = "no concession is recorded"
    if story.job.concession:
        leave = f"released on concession: {story.job.concession}"
    if one.code in clear and ours == "yes":
        reason = f"it left outside a limit, and this reading goes with comebacks of its case type: {clear[one.code]}"
        return Point(CONTRIBUTING, one.text, f"{reason}; {leave}", "measure the same as received", in_sight=True)
    reason = "it left outside a limit; nothing shows yet that units like it come back more often"
    return Point(OPEN, one.text, f"{reason}; {leave}", "measure the same as received", in_sight=True)


def _of_gauge(day: GaugeDay, ours: str | None) -> Point:
    about = f"gauge {day.gauge}: {plural(day.readings, 'reading')} taken with it"
    settle = "measure what can still be measured with a gauge that was checked"
    grade = CONTRIBUTING if day.off and ours == "yes" else OPEN
    return Point(grade, about, _gauge_text(day), settle, in_sight=True)


def _gauge_text(day: GaugeDay) -> str:
    """Why a gauge was in doubt, and what that does to its readings."""
    if not day.off:
        return day.why
    side = "much" if day.off > 0 else "little"
    return f"{day.why}; so what it read here may be {abs(day.off):g} {day.unit} too {side}"


def _of_changes(changes: Sequence[Change]) -> list[Point]:
    """As received against as built: what happened, which is not why."""
    told = [
        f"{c.characteristic.name} {number_text(c.built, c.characteristic)} as built,"
        f" {number_text(c.received, c.characteristic)} {unit_name(c.characteristic)} as received"
        for c in changes
    ]
    if not told:
        return []
    reason = "what changed in service shows what happened to it, not why"
    return [Point(OPEN, "; ".join(told), reason, "compare with a sound unit after the same hours")]


def _of_gaps(built: Story, story: Story) -> list[Point]:
    """What the log can't say."""
    points = []
    job = built.job
    if job.outstanding and not any(b.attributable == "no" for b in story.comebacks):
        points.append(
            Point(OPEN, f"it left with this outstanding: {job.outstanding}", "the log does not say that it was done",
                  "ask who fitted it, and when")
        )  # fmt: skip
    missing = dict.fromkeys(w.characteristic.name for w in built.missing if w.place.stage == "final")
    if missing:
        names = ", ".join(missing)
        reason = "it was not read before it left, so the log can't say whether it was right"
        points.append(Point(OPEN, f"no final reading of {names}", reason, "measure the part if it is still there"))
    again = [t for t in story.readings if t.row.struck_why or t.row.replaced]
    if again:
        stages = ", ".join(dict.fromkeys(STAGE_WORDS[t.row.stage] for t in again))
        about = f"{plural(len(again), 'reading')} corrected or struck out ({stages})"
        reason = "each correction names who and why, and what was read first is kept"
        points.append(Point(OPEN, about, reason, "ask whoever corrected it"))
    return points


def _sentence(parts: Sequence[str]) -> str:
    return "; ".join(parts)
