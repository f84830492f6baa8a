"""The router: which pages there are."""

from pathlib import Path

import streamlit as st

from qclog.web.running import draw_frame

st.set_page_config(page_title="qclog", page_icon=str(Path(__file__).with_name("icon.png")), layout="wide")

page = st.navigation(
    [
        st.Page("app_pages/workshop.py", title="Workshop", icon=":material/home:", default=True),
        st.Page("app_pages/bench.py", title="Bench", icon=":material/straighten:", url_path="bench"),
        st.Page("app_pages/case_type.py", title="Case types", icon=":material/show_chart:", url_path="case_type"),
        st.Page("app_pages/job.py", title="Jobs", icon=":material/receipt_long:", url_path="job"),
        st.Page(
            "app_pages/investigation.py", title="Investigation", icon=":material/search:", url_path="investigation"
        ),
    ],
    position="top",
)
draw_frame(page)
