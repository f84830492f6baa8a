"""What a place asks for, in words."""

from __future__ import annotations

from qclog.domain.sheets.conditions import asked_of
from qclog.services.jobs.jobs import Story, Wanted
from qclog.words.numbers import limits_text


def what_is_asked(story: Story, wanted: Wanted) -> str:
    """Limits and unit, how a bracket is typed, conditions to be said, the view and the sheet's caution."""
    c = wanted.characteristic
    limits = limits_text(story.limits_for(wanted))
    in_unit = f"limits {limits} {c.unit}" if limits else f"in {c.unit}"
    parts = [" or ".join(c.words) if c.in_words else in_unit]
    parts += ["15/16 for 15 goes, 16 does not"] if c.gauge_kind == "feeler" else []
    several = [" or ".join(g).replace("_", " ") for g in asked_of(c.conditions, c.states) if len(g) > 1]
    parts += [f"Say {', '.join(several)}: press it, or type it after the reading"] if several else []
    parts += [x for x in (c.view or story.sheet.view if c.positions else None, c.caution) if x]
    return ". ".join(p[0].upper() + p[1:] for p in parts)
