"""The bench: one large field, always waiting for the next reading."""

import streamlit as st

from qclog.web import bench, reading, who

log = reading.log()
name, which, gauge = st.columns([1, 2, 1])
with name:
    person = who.choose(log)
with which:
    job = bench.choose_job(log)
if person is None or job is None:
    bench.explain_start(person, job)
else:
    story = reading.story(log, job)
    with gauge:
        used = bench.choose_gauge(log, story)
    bench.show_cautions(story)
    field, list_of_places = st.columns([3, 2], gap="large")
    with field:
        bench.ask(log, story, person, used)
    with list_of_places:
        bench.show_places(story)
