"""Puts the cursor into the reading field, since Streamlit has no way to."""

from __future__ import annotations

import streamlit as st

_JS = """
export default function ({ data }) {
  const wanted = data.label;
  let tries = 0;
  const look = () => {
    const field = [...document.querySelectorAll("input")].find((e) => e.getAttribute("aria-label") === wanted);
    if (field && field.__qclogFocused === data.token) return;
    if (field && !field.disabled) {
      field.setAttribute("autocomplete", "off");
      field.setAttribute("inputmode", "text");
      field.focus();
      field.__qclogFocused = data.token;
    } else if (tries++ < 100) {
      setTimeout(look, 20);
    }
  };
  look();
}
"""

_put_cursor = st.components.v2.component("qclog_cursor", js=_JS)


def put_cursor_in(label: str, token: str) -> None:
    """Put the cursor in the text field named `label`, once for each new `token`, or field drawn anew."""
    _put_cursor(data={"label": label, "token": token}, key="qclog_cursor", height=1)
