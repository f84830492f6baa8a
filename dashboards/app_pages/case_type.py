"""A characteristic of a case type: over time, spread, limits, and what stands out."""

import streamlit as st

from qclog.web import case_types, comparing, looking_back

st.title("Case types")
log = looking_back.log_then()
first, second, third = st.columns([2, 3, 3])
case_type, code = case_types.choose(log, first, second)
if case_type is None or code is None:
    st.info("No case types yet. Add a sheet at the terminal: `qclog sheet add FILE`")
else:
    with third:
        chart = case_types.choose_group(log, case_type, code)
    if chart is not None:
        case_types.show_figures(chart)
        case_types.show_chart(chart)
        case_types.show_flagged(chart)
        comparing.show_side_by_side(log, chart)
        comparing.show_periods(chart)
        comparing.show_limit_history(log, chart)
        case_types.show_asked(chart)
