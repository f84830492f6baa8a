"""The investigation page: what is asked for, which visit, the head, and the files to take away."""

from __future__ import annotations

import streamlit as st

from qclog.domain.moments import show_moment
from qclog.services.papers import investigation_file
from qclog.services.papers import investigation_tables as tables
from qclog.services.tracing import sisters, tracing
from qclog.services.tracing.sisters import Link
from qclog.services.tracing.subject import KINDS, find_subject, kinds_named
from qclog.services.tracing.tracing import Trace
from qclog.services.watch import finding_words
from qclog.store.log import Log
from qclog.web import reading, standing
from qclog.web.frame import plain
from qclog.web.tables import show_facts_in_a_row, show_table

_MOST_BEGINNINGS = 8


def ask() -> str:
    """What is to be traced, from the address or the field."""
    asked = st.query_params.get("trace", "")
    text = st.text_input(
        "What came back, or what is under suspicion?",
        value=asked,
        placeholder="serial, job, customer reference, lot, machining batch or gauge",
        key=f"trace_{asked}",
    )
    return text.strip()


def show_where_to_begin(log: Log) -> None:
    """The last comebacks, to begin with."""
    shop = reading.shop(log)
    backs = shop.comebacks.sort("returned", descending=True).head(_MOST_BEGINNINGS)
    if backs.is_empty():
        st.info("No comebacks are in the log. Any serial, job, customer reference, lot or gauge can be traced.")
        return
    st.markdown("The last to come back:")
    for number, row in enumerate(backs.iter_rows(named=True)):
        case_type = shop.by_job[row["job"]].case_type
        label = (
            f"{shop.day(row['returned'])}, job {row['job']} ({case_type}): {row['complaint'] or 'no complaint noted'}"
        )
        if st.button(plain(label), key=f"begin_{number}", icon=":material/assignment_return:"):
            st.query_params["trace"] = row["job"]
            st.rerun()


def choose_kind(log: Log, text: str) -> str | None:
    """Which kind of thing is meant, where several have the name; None where only one has it, or none."""
    kinds = kinds_named(reading.shop(log), text)
    if len(kinds) < 2:
        return None
    kind: str = st.radio("Several things are called that", kinds, format_func=KINDS.__getitem__, horizontal=True)
    return kind


def choose_visit(log: Log, text: str, kind: str | None) -> str | None:
    """Which visit of the unit is meant; None for a lot, a batch or a gauge."""
    subject = find_subject(reading.shop(log), text, kind)
    if subject.main is None or len(subject.jobs) == 1:
        return subject.main
    shop = reading.shop(log)
    job: str = st.selectbox(
        f"{len(subject.jobs)} visits of {subject.words}",
        subject.jobs,
        index=subject.jobs.index(subject.main),
        format_func=lambda j: f"{j}, opened {shop.day(shop.by_job[j].opened)}, {shop.where_now(j)}",
    )
    return job


def show_head(log: Log, job: str) -> None:
    """What the unit is, and what brought it back. Shown before the rest is worked out."""
    story = reading.story(log, job)
    row, zone = story.job, story.zone
    shop = reading.shop(log)
    st.header(f"Job {plain(job)}: {plain(story.sheet.name)}")
    facts = {
        "serial": row.case_serial,
        "customer": row.customer_ref,
        "rebuild": row.rebuild,
        "machining batch": row.machining_batch,
        "opened": show_moment(row.opened, zone)[:10],
        "left": show_moment(row.dispatched, zone)[:10] or "not yet",
        "now": shop.where_now(job),
    }
    show_facts_in_a_row({name: str(fact) for name, fact in facts.items() if fact not in (None, "")})
    for back in story.comebacks:
        hours = f" after {back.hours:g} h" if back.hours is not None else ""
        said = [f"Came back {show_moment(back.returned, zone)[:10]}{hours}: {back.complaint or 'no complaint noted'}"]
        said += [f"Found: {back.finding}"] if back.finding else []
        said += [f"Ours: {back.attributable}"] if back.attributable else []
        st.error(plain(". ".join(said)), icon=":material/assignment_return:")
    if row.outstanding:
        st.warning(plain(f"Left with this outstanding: {row.outstanding}"), icon=":material/pending_actions:")
    if row.concession:
        st.warning(plain(f"Released on concession: {row.concession}"), icon=":material/approval:")


def traced(log: Log, text: str, kind: str | None, job: str | None) -> Trace:
    """The trace, kept until the log changes."""
    standing.watched(log)  # outside the cache below, so that its own is used
    return _traced(log, reading.seen(log), reading.revision(log), text, kind, job)


@st.cache_resource(max_entries=4, show_spinner="Looking for others that have the same ...")
def _traced(
    _log: Log,
    seen: str,  # noqa: ARG001 - part of the key
    revision: int,  # noqa: ARG001 - part of the key
    text: str,
    kind: str | None,
    job: str | None,
) -> Trace:
    return tracing.trace(_log, text, kind=kind, job=job, watched=standing.watched(_log))


def show_file_button(trace: Trace) -> None:
    """The button that makes the whole file, with the recall list as it is chosen further down."""
    chosen = _chosen(trace)
    st.download_button(
        "Investigation file",
        lambda: investigation_file.packed(trace, chosen),
        file_name=f"{investigation_file.folder_name(trace)}.zip",
        mime="application/zip",
        on_click="ignore",
        icon=":material/folder_zip:",
        help="PDF and HTML with every reading, and the readings and the recall list as tables",
    )


def show_recall(trace: Trace) -> None:
    """What the recall list goes by, the list, and the button that takes it away."""
    if not trace.links:
        return
    st.subheader("Recall list")
    by_words = {_label(link): link for link in trace.links}
    st.multiselect(
        "Units that share",
        list(by_words),
        default=[_label(link) for link in _chosen(trace)],
        key=_key(trace),
        placeholder="choose what is shared",
    )
    chosen = _chosen(trace)
    recalled = trace.recall(chosen)
    if not recalled:
        return
    st.markdown(plain(f"{sisters.count_text(trace.shop, recalled)}."))
    at = show_table(tables.recall_grid(recalled).without_empty().columns, key="recall")
    st.caption("Choose a row to look into that unit.")
    st.download_button(
        f"Recall list ({len(recalled)})",
        lambda: investigation_file.recall_csv(trace, chosen),
        file_name="recall.csv",
        mime="text/csv",
        on_click="ignore",
        icon=":material/download:",
    )
    if at is not None:
        st.switch_page("app_pages/investigation.py", query_params={"trace": recalled[at].job})


def _key(trace: Trace) -> str:
    return f"shares_{trace.subject.kind}_{trace.subject.name}_{trace.unit.job if trace.unit else ''}"


def _chosen(trace: Trace) -> tuple[Link, ...]:
    """What was chosen in the list, or what a recall would most likely go by."""
    words = st.session_state.get(_key(trace))
    if words is None:
        return trace.suggested
    return tuple(link for link in trace.links if _label(link) in words)


def _label(link: Link) -> str:
    return f"{link.name_words} ({len(link.jobs)})"


def show_findings(trace: Trace) -> None:
    """What the readings point to about a lot, a batch or a gauge."""
    for link in trace.findings:
        if link.finding is not None:
            first, *rest = finding_words.tell(link.finding, trace.shop.jobs_out, trace.shop.zone)
            with st.container(border=True):
                st.markdown(f"**{plain(first)}**")
                st.markdown("\n".join(f"- {plain(line)}" for line in rest))
