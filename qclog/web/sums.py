"""The sums of the bench beside the field: what the readings so far give, and which leaves to fit."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import streamlit as st

from qclog.domain.jobs import STAGE_WORDS
from qclog.measures.results import Result
from qclog.services.jobs.jobs import Story, Wanted
from qclog.services.sums import bench_sums
from qclog.services.sums.bench_sums import Fit
from qclog.services.sums.learning import Learned
from qclog.services.sums.pack_sums import limits_line
from qclog.services.sums.sum_readings import Told
from qclog.store.log import Log
from qclog.web import reading
from qclog.web.frame import plain
from qclog.words.sentences import result_text, sureness_text, uncertainty_text, verdict_text


def show_sums(log: Log, story: Story, wanted: Wanted | None) -> None:
    """The sums whose readings are in: those of the characteristic at hand open, the others folded away."""
    told = bench_sums.tell_sums(story, _learned(log, story))
    faces = bench_sums.tell_faces(story)
    derived = [d for d in story.derived if d.known]
    if not (told or faces or derived):
        return
    fits = bench_sums.fits_for(log, told)
    code = wanted.characteristic.code if wanted else None
    at_hand = [i for i, one in enumerate(told) if code in one.characteristics or not one.fitted]
    st.subheader("From the readings so far")
    for i in at_hand:
        _show(told[i], fits.get(i, ()))
    for face in faces:
        if not face.explained:
            st.warning(plain(f"{face.name}, {STAGE_WORDS[face.stage]}: {face.text}"), icon=":material/help:")
    others = [i for i in range(len(told)) if i not in at_hand]
    if others or derived:
        with st.expander(f"{len(others) + len(derived)} more worked out"):
            for i in others:
                _show(told[i], fits.get(i, ()))
            _show_derived(derived)
    _show_cautions(told, fits)


def show_sums_of_job(log: Log, story: Story) -> None:
    """Every sum of a job, open, and what its faces say."""
    told = bench_sums.tell_sums(story, _learned(log, story))
    faces = bench_sums.tell_faces(story)
    if not (told or faces):
        return
    fits = bench_sums.fits_for(log, told)
    st.subheader("Sums of the bench")
    for i, one in enumerate(told):
        _show(one, fits.get(i, ()))
    for face in faces:
        said = plain(f"{face.name}, {STAGE_WORDS[face.stage]}: {face.text}")
        if face.explained:
            st.caption(said)
        else:
            st.warning(said, icon=":material/help:")
    _show_cautions(told, fits)


def _learned(log: Log, story: Story) -> Learned:
    return reading.learned(log, story.sheet.code) if bench_sums.can_use_learned(story) else {}


def _show(one: Told, fits: Sequence[Fit]) -> None:
    if one.problem is not None:
        hint = f" {_sentence(one.problem.hint)}" if one.problem.hint else ""
        st.error(plain(f"{one.sum.name}: {one.problem.message}.{hint}"), icon=":material/error:")
        return
    with st.container(border=True):
        st.markdown(f"**{plain(one.sum.name)}: {plain(one.headline)}**")
        for fit in fits:
            st.markdown(f":material/layers: **{plain(fit.text)}**")
            if fit.pinch is not None and limits_line(fit.pinch):
                st.caption(plain(f"{fit.pinch.sum}; {limits_line(fit.pinch)}"))
        if one.lines:
            st.caption("  \n".join(plain(line) for line in one.lines))


def _sentence(text: str) -> str:
    return text[0].upper() + text[1:] + "."


def _show_derived(derived: Sequence[Result]) -> None:
    for d in derived:
        verdict = sureness_text(verdict_text(d.verdict, d.characteristic), d.chance_inside, too_close=d.too_close)
        off = uncertainty_text(d.u, d.characteristic)
        said = [result_text(d), f"give or take {off}" if off else "", verdict]
        st.caption(plain(f"{d.characteristic.name}, {STAGE_WORDS[d.stage]}: {', '.join(s for s in said if s)}"))


def _show_cautions(told: Sequence[Told], fits: Mapping[int, Sequence[Fit]]) -> None:
    cautions: dict[str, None] = {}
    for i, one in enumerate(told):
        cautions |= dict.fromkeys(one.cautions)
        for fit in fits.get(i, ()):
            cautions |= dict.fromkeys(fit.choice.cautions if fit.choice else ())
    if cautions:
        st.caption(f":material/health_and_safety: {plain(' '.join(cautions))}")
