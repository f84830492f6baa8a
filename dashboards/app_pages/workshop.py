"""The workshop at a glance: what the readings point to, and a table of whatever the manager asks for."""

import streamlit as st

from qclog.web import glance, looking_back, standing, who

st.title("Workshop")
log = looking_back.log_then()
who.show_wrong_pins(log)
glance.show_counts(log)
findings = st.container()
section = glance.choose_section()
glance.show_section(log, section)
with findings:  # drawn last: it looks through every reading
    standing.show_standing(log)
