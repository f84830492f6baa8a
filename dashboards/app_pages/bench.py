"""The bench: one large field, always waiting for the next reading."""

import streamlit as st

from qclog.web import asking, bench, fitting, reading, who

log = reading.log()
view = bench.look(log)
name, which, gauge = st.columns([1, 2, 1])
with name:
    person = who.choose(log, workers=view.around.workers)
with which:
    job = bench.choose_job(log, view, person)
if person is None or job is None or view.story is None:
    bench.explain_start(person, job)
else:
    with gauge:
        used = bench.choose_gauge(view, view.story)
    bench.show_cautions(view.story)
    field, list_of_places = st.columns([3, 2], gap="large")
    with field:
        asking.ask(log, view, view.story, person, used)
    with list_of_places:
        bench.show_places(view.story)
        fitting.show_the_rest(log, view.story, person)
