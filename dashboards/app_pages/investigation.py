"""The investigation: from a serial, job, customer reference or lot to what left, who else has the same, and why."""

import streamlit as st

from qclog.web import investigation, investigation_parts, looking_back

st.title("Investigation")
text = investigation.ask()
log = looking_back.log_then()
if not text:
    investigation.show_where_to_begin(log)
else:
    kind = investigation.choose_kind(log, text)
    job = investigation.choose_visit(log, text, kind)
    if job is not None:
        investigation.show_head(log, job)
    trace = investigation.traced(log, text, kind, job)
    investigation.show_file_button(trace)
    if trace.unit is not None:
        investigation_parts.show_evidence(trace.unit)
        investigation_parts.show_what_left(trace.unit)
        investigation_parts.show_gauges_and_peers(trace.unit)
        investigation_parts.show_corrections_and_parts(trace.unit)
    investigation.show_findings(trace)
    investigation_parts.show_sharing(trace)
    investigation.show_recall(trace)
    investigation_parts.show_comebacks(trace)
