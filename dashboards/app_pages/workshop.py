"""The workshop at a glance: what the readings point to, what is in work, and every case type with its jobs."""

import streamlit as st

from qclog.web import glance, reading, standing

st.title("Workshop")
log = reading.log()
glance.show_counts(log)
standing.show_standing(log)
left, right = st.columns([3, 2], gap="large")
with left:
    glance.show_jobs(log)
with right:
    glance.show_case_types(log)
