"""A unit's story: every reading, attempt, correction, part, visit and comeback of one job."""

import streamlit as st

from qclog.web import looking_back, papers, reading, recording, standing, stories, sums

st.title("Jobs")
log = looking_back.log_then()
job = stories.choose(log)
if job is not None:
    story = reading.story(log, job)
    stories.show_head(story)
    papers.show_job_papers(log, job, here=story.job.dispatched is None and log.as_of is None)
    stories.show_left_to_do(story)
    standing.show_sign_off(log, story)
    stories.show_readings(story)
    stories.show_derived(story)
    sums.show_sums_of_job(log, story)
    stories.show_parts(story)
    stories.show_comebacks(story)
    recording.record_claim(log, story)
    if log.as_of is None:
        recording.record_comeback(log, story)
