"""A job's story printed at the terminal."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from qclog.cli.columns import print_columns
from qclog.cli.sums import print_sums
from qclog.domain.jobs import STAGE_WORDS
from qclog.domain.moments import show_moment
from qclog.services.jobs.jobs import Story
from qclog.services.jobs.remarks import remarks_on
from qclog.services.sums.bench_sums import FaceTold, Fit
from qclog.services.sums.sum_readings import Told
from qclog.words.sentences import (
    asked_text,
    place_text,
    reading_text,
    result_text,
    sureness_text,
    uncertainty_text,
    verdict_text,
)

Sums = tuple[Sequence[Told], Mapping[int, Sequence[Fit]], Sequence[FaceTold]]


def print_story(story: Story, sums: Sums = ((), {}, ())) -> None:
    """Everything the log has of one job, in the order a person asks for it; `sums`: of the bench, with their packs."""
    _print_head(story)
    _print_readings(story)
    _print_derived(story)
    print_sums(*sums)
    _print_parts(story)
    _print_comebacks(story)
    if story.missing:
        print(f"\nStill wanted ({len(story.missing)}):")
        for wanted in story.missing[:12]:
            print("  " + place_text(wanted.place, wanted.characteristic))
        if len(story.missing) > 12:
            print(f"  and {len(story.missing) - 12} more")
    if story.sheet.caution:
        print(f"\nCaution: {story.sheet.caution}")
    print("Limits are the workshop's own; the maker's manual and competent, authorised people decide.")


def _print_head(story: Story) -> None:
    job, zone = story.job, story.zone
    print(f"Job {job.job}: {story.sheet.name} ({job.case_type})")
    facts = {
        "serial": job.case_serial,
        "casting": job.casting,
        "rebuild": job.rebuild,
        "machining batch": job.machining_batch,
        "variant": job.variant,
        "customer": job.customer_ref,
        "opened": show_moment(job.opened, zone),
        "dispatched": show_moment(job.dispatched, zone) or "not yet",
        "outstanding": job.outstanding,
        "concession": job.concession,
    }
    for name, value in facts.items():
        if value not in (None, ""):
            print(f"  {name:<16} {value}")
    others = [v for v in story.visits if v.job != job.job]
    for visit in others:
        when = "earlier" if visit.opened < job.opened else "later"
        number = f", rebuild {visit.rebuild}" if visit.rebuild is not None else ""
        print(f"  {when + ' visit':<16} job {visit.job}, {show_moment(visit.opened, zone)}{number}")
    changed = [d for d in story.details if d.reason]
    for detail in changed:
        print(f"  {detail.name.replace('_', ' '):<16} {detail.value} ({detail.entered_by}: {detail.reason})")


def _print_readings(story: Story) -> None:
    if not story.readings:
        print("\nNo readings yet.")
        return
    print(f"\nReadings ({len(story.readings)}), every attempt kept:")
    rows = []
    for told in story.readings:
        r, c = told.row, told.characteristic
        verdict = verdict_text(told.verdict, c) if r.counts else ""
        rows.append(
            (
                c.name if c else r.characteristic,
                STAGE_WORDS[r.stage],
                r.position,
                r.attempt,
                reading_text(r),
                verdict,
                asked_text(c, told.verdict) if c else "",
                r.gauge,
                r.technician,
                show_moment(r.taken_at, story.zone),
                show_moment(r.entered_at, story.zone),
                remarks_on(told, story),
            )
        )
    print_columns(
        ("what", "stage", "at", "try", "read", "verdict", "limits", "gauge", "by", "taken", "entered", "remarks"),
        rows,
        right=("try", "read"),
    )


def _print_derived(story: Story) -> None:
    done = [d for d in story.derived if d.known]
    if done:
        print("\nWorked out:")
        print_columns(
            ("what", "stage", "value", "give or take", "verdict", "from"),
            [
                (
                    d.characteristic.name,
                    STAGE_WORDS[d.stage],
                    result_text(d),
                    uncertainty_text(d.u, d.characteristic),
                    sureness_text(verdict_text(d.verdict, d.characteristic), d.chance_inside, too_close=d.too_close),
                    d.characteristic.formula,
                )
                for d in done
            ],
            right=("value", "give or take"),
        )


def _print_parts(story: Story) -> None:
    if story.parts:
        print("\nParts:")
        print_columns(
            ("part", "lot", "supplier", "condition", "built as job"),
            [(p.part, p.lot, p.supplier, p.condition, p.sub_assembly) for p in story.parts],
        )


def _print_comebacks(story: Story) -> None:
    for back in story.comebacks:
        hours = f" after {back.hours:g} h" if back.hours is not None else ""
        complaint = back.complaint or "no complaint noted"
        print(f"\nCame back {show_moment(back.returned, story.zone)}{hours}: {complaint}")
        if back.finding:
            print(f"  found: {back.finding}")
        if back.attributable:
            print(f"  ours: {back.attributable}")
    if story.comebacks:
        print(f"  what was said of it since: qclog job claim {story.job.job}")
