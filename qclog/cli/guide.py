"""The guided run of `qclog read JOB`: every place that is still wanted is asked for, until it is left."""

from __future__ import annotations

import sys
from contextlib import suppress
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from qclog.cli.answer import store_and_answer
from qclog.cli.stopping import ask
from qclog.errors import InputError, QclogError

if TYPE_CHECKING:
    from qclog.domain.sheets.casetypes import Characteristic
    from qclog.services.jobs.capture import Circumstances
    from qclog.services.jobs.jobs import Story, Wanted
    from qclog.store.log import Log, Submission

_HELP = (
    "Type what you read: 16, 15/16 (15 goes, 16 does not), 0.41 mm, not accessible.\n"
    "Enter alone: skip this place for now.  fix NEW: correct the last one.  gauge NAME: read with that gauge.\n"
    "?: this help.  quit: leave; run the same command again to go on where you stopped."
)
_PUT_RIGHT = "type fix and what it should be"
_LEAVE = ("quit", "q", "exit", "leave")


class _Left(Exception):  # noqa: N818 - the person leaves; not an error
    """The run is left for now."""


@dataclass(slots=True)
class _Guiding:
    """A run as it goes: the kind and unit of each gauge, and the `gauges` in use by the kind that is wanted."""

    log: Log
    story: Story
    circumstances: Circumstances
    kinds: dict[str, str]
    units: dict[str, str]
    gauges: dict[str, str] = field(default_factory=dict)
    conditions: tuple[str, ...] | None = ()

    def submission(self) -> Submission:
        from qclog.store.log import Submission

        return Submission(self.circumstances.technician, "terminal", f"reading of job {self.job}")

    @property
    def job(self) -> str:
        return str(self.story.job.job)


def run(log: Log, job: str, circumstances: Circumstances, stage: str | None) -> int:
    """Ask for what is still wanted of `job` (at `stage`); what was stored before it is left stays."""
    from qclog.services.jobs import jobs
    from qclog.services.keeping import people

    with log.kept_open():
        story = jobs.tell(log, job)
        gauges = [g for g in people.list_gauges(log) if not g.withdrawn]
    left = [w for w in story.missing if stage in (None, w.place.stage)]
    total = len(story.wanted)
    print(f"Job {job}, {story.sheet.name}: {total - len(story.missing)} of {total} places read.")
    if story.sheet.caution:
        print(f"Caution: {story.sheet.caution}")
    if not left:
        print("Nothing more is wanted.")
        return 0
    print(_HELP)
    kinds = {g.gauge: g.kind for g in gauges}
    units = {g.gauge: g.unit for g in gauges}
    guiding = _Guiding(log, story, circumstances, kinds, units)
    if circumstances.gauge is not None:
        _use_gauge(guiding, circumstances.gauge)
    with suppress(_Left):
        read = [_ask_for(guiding, wanted, first=_begins(left, at)) for at, wanted in enumerate(left)]
        if any(read):
            _end(guiding)
    _print_end(log, job, stage)
    return 0


def _print_end(log: Log, job: str, stage: str | None) -> None:
    from qclog.services.jobs import jobs

    try:
        still = len([w for w in jobs.tell(log, job).missing if stage in (None, w.place.stage)])
    except QclogError as error:
        print(f"All that was read back is stored. What is still wanted can't be told now: {error}")
        return
    if still:
        print(f"{still} still wanted: run the same command again.")


def _begins(left: list[Wanted], at: int) -> bool:
    """Whether another characteristic or stage begins here."""
    here, before = left[at], left[at - 1]
    return at == 0 or (here.characteristic.code, here.place.stage) != (
        before.characteristic.code,
        before.place.stage,
    )


def _ask_for(guiding: _Guiding, wanted: Wanted, *, first: bool) -> bool:
    """Ask for one place until it is read (True) or skipped (False)."""
    if first:
        _print_heading(guiding, wanted)
        guiding.conditions = _ask_conditions(guiding.circumstances.conditions, wanted.characteristic)
    while guiding.conditions is not None:
        text = _hear(f"  {wanted.place.position or wanted.characteristic.code}> ")
        if not text:
            return False
        try:
            if not _obey(guiding, text, wanted.characteristic):
                _take(guiding, wanted, text)
                return True
        except QclogError as error:
            print(f"  {error}", file=sys.stderr)
    return False


def _obey(guiding: _Guiding, text: str, characteristic: Characteristic | None) -> bool:
    """Do what `?`, `fix` or `gauge` asks; False if `text` is none of these, but a reading."""
    word, _, rest = text.partition(" ")
    if text in ("?", "help"):
        print(_HELP)
    elif word.lower() == "fix":
        _fix(guiding, rest.strip())
    elif word.lower() == "gauge":
        _use_gauge(guiding, rest.strip(), characteristic)
        print(f"  gauge: {rest.strip()}")
    else:
        return False
    return True


def _end(guiding: _Guiding) -> None:
    """After the last place the last reading can still be corrected."""
    print()
    while text := _hear("  the end; Enter to leave, or fix NEW> "):
        try:
            if not _obey(guiding, text, None):
                print("  every place was asked for: Enter leaves")
        except QclogError as error:
            print(f"  {error}", file=sys.stderr)


def _hear(prompt: str) -> str:
    text = ask(prompt)
    if text is None or text.lower() in _LEAVE:
        raise _Left
    return text


def _take(guiding: _Guiding, wanted: Wanted, text: str) -> None:
    from qclog.services.jobs import capture

    circumstances = replace(
        guiding.circumstances, gauge=_gauge_for(guiding, wanted.characteristic), conditions=guiding.conditions or ()
    )
    submission = guiding.submission()
    store_and_answer(
        guiding.log,
        lambda: capture.take(guiding.log, wanted.place, text, circumstances, submission),
        named=False,
        put_right=_PUT_RIGHT,
    )


def _fix(guiding: _Guiding, text: str) -> None:
    from qclog.services.jobs import capture
    from qclog.words import sentences as wording

    if not text:
        raise InputError("say what it should be", field="fix", hint="for example: fix 16")
    last = capture.last_reading(guiding.log, guiding.job)
    where = " ".join(x for x in (last.characteristic, last.position) if x)
    reason = _hear(f"  {where} was {wording.reading_text(last)}. Why? (mistyped, wrong position, re-seated ...) ")
    circumstances = replace(guiding.circumstances, gauge=None, conditions=())
    submission = guiding.submission()
    store_and_answer(
        guiding.log,
        lambda: capture.correct_last(guiding.log, guiding.job, text, reason, circumstances, submission),
        named=True,
        put_right=_PUT_RIGHT,
    )


def _use_gauge(guiding: _Guiding, gauge: str, wanted: Characteristic | None = None) -> None:
    """Read with `gauge` what its kind is for, and the characteristic in hand."""
    if gauge not in guiding.kinds:
        from qclog.errors import UnknownNameError

        raise UnknownNameError(
            "the log has no such gauge in use", field="gauge", found=gauge, hint="it has " + ", ".join(guiding.kinds)
        )
    guiding.gauges[guiding.kinds[gauge]] = gauge
    if wanted is not None:
        guiding.gauges[wanted.gauge_kind or wanted.code] = gauge


def _gauge_for(guiding: _Guiding, wanted: Characteristic) -> str | None:
    """The gauge in use for a characteristic; where its sheet names no kind, the one given if it measures the same."""
    from qclog.domain.quantities.units import dimensionality

    said = guiding.gauges.get(wanted.gauge_kind or wanted.code)
    given = guiding.circumstances.gauge
    if said is not None or wanted.gauge_kind is not None or wanted.in_words or given is None:
        return said
    return given if dimensionality(guiding.units[given]) == dimensionality(wanted.unit) else None


def _print_heading(guiding: _Guiding, wanted: Wanted) -> None:
    from qclog.domain.jobs import STAGE_WORDS
    from qclog.words.numbers import limits_text

    c = wanted.characteristic
    print(f"\n{c.name} ({STAGE_WORDS[wanted.place.stage]}), in {' or '.join(c.words) if c.in_words else c.unit}")
    said = limits_text(guiding.story.limits_for(wanted))
    if said:
        print(f"  limits: {said} {c.unit}")
    if c.view:
        print(f"  {c.view}")
    if c.caution:
        print(f"  Caution: {c.caution}")
    fitting = [name for name, kind in guiding.kinds.items() if kind == c.gauge_kind]
    gauge = _gauge_for(guiding, c)
    if gauge is not None:
        print(f"  gauge: {gauge}")
    elif fitting:
        print(f"  gauge: not said (gauge NAME says it: {', '.join(fitting)})")


def _ask_conditions(given: tuple[str, ...], characteristic: Characteristic) -> tuple[str, ...] | None:
    """The conditions to record with the readings that follow, asked for where `given` is not enough; None to skip."""
    from qclog.domain.sheets.conditions import asked_of
    from qclog.services.jobs.capture import check_conditions

    asked = asked_of(characteristic.conditions, characteristic.states)
    wanted = ", ".join(" or ".join(group) for group in asked)
    while True:
        try:
            check_conditions(characteristic, given)
            return given
        except InputError:
            text = _hear(f"  conditions ({wanted})> ")
            if not text:
                return None
            given = tuple(text.replace(",", " ").split())
