"""The cursor, the gauge on a wire and the scanner: what Streamlit has no way to do.

The cursor is put into the reading field. Digits that come while it is elsewhere go there too; a gauge that types into
another field has its digits moved. What a scanner types is taken out of whatever field it fell into and handed on.
"""

from __future__ import annotations

from collections.abc import Callable

import streamlit as st

_JS = r"""
const FAST = 80;  // ms between keys: faster than anyone types, slower than any scanner or gauge on a wire

const GAUGE = /^[-+]?[0-9]*[.,]?[0-9]+ ?[a-zA-Zµ"]{0,4}$/;

const fieldNamed = (label) =>
  [...document.querySelectorAll("input")].find((e) => e.getAttribute("aria-label") === label);

const put = (element, value) => {
  if (!element || value === null || !("value" in element)) return;
  Object.getOwnPropertyDescriptor(HTMLInputElement.prototype, "value").set.call(element, value);
  element.dispatchEvent(new Event("input", { bubbles: true }));
};

const typesText = (e) =>
  e && (e.isContentEditable || e.tagName === "TEXTAREA" || (e.tagName === "INPUT" && e.type !== "radio"
    && e.type !== "checkbox" && e.type !== "button"));

// The place asked for and what became of the last reading stand above the field, so they must be seen with it:
// the page is scrolled no further than the button below the field needs.
const ABOVE = 330;

const show = (field) => {
  field.focus({ preventScroll: true });
  const page = field.closest('[data-testid="stMain"]');
  const below = (field.closest('[data-testid="stForm"]') ?? field).getBoundingClientRect().bottom + 16;
  if (page && (below > window.innerHeight || field.getBoundingClientRect().top < ABOVE)) {
    page.scrollTop += below - window.innerHeight;
  }
};

// A long sheet's list has its own scroll bar: the place at hand is kept in sight there.
const showInList = () => {
  const here = document.querySelector('[class*="st-key-place_"] button[kind="primary"]');
  let list = here?.parentElement;
  while (list && list.scrollHeight <= list.clientHeight + 1) list = list.parentElement;
  if (!list || list.matches('[data-testid="stMain"]')) return;
  const { top, bottom } = here.getBoundingClientRect();
  const frame = list.getBoundingClientRect();
  if (top < frame.top + 40 || bottom > frame.bottom - 40) list.scrollTop += top - frame.top - frame.height / 3;
};

const stop = (e) => { e.preventDefault(); e.stopImmediatePropagation(); };

let burst = null;

function onKey(e) {
  const now = e.timeStamp;
  const bench = window.__qclogBench;
  const field = bench && fieldNamed(bench.label);
  if (!bench || e.ctrlKey || e.metaKey || e.altKey || !e.isTrusted) return;
  const active = document.activeElement;
  if (e.key === "Enter" || e.key === "Tab") {
    const last = burst;
    burst = null;
    if (!last || now - last.at > 4 * FAST) return;
    if (last.text.toLowerCase().startsWith("qclog:")) {
      stop(e);
      put(last.where, last.before);
      bench.scan(last.text + " " + Math.random().toString(36).slice(2));
    } else if (field && active !== field && last.text.length > 1 && GAUGE.test(last.text)) {
      stop(e);
      put(last.where, last.before);
      put(field, last.text);
      field.focus();
      const store = field.closest('[data-testid="stForm"]')
        ?.querySelector('[data-testid="stFormSubmitButton"] button');
      setTimeout(() => store?.click(), 30);
    }
    return;
  }
  if (e.key.length !== 1) return;
  if (!burst || now - burst.at > FAST || burst.where !== active) {
    burst = { text: "", where: active, before: typesText(active) ? active.value : null, at: now };
  }
  burst.text += e.key;
  burst.at = now;
  if (field && !typesText(active) && /^[-+]?[0-9.,]+$/.test(burst.text)) {
    field.focus();
    burst.where = field;
    burst.before = field.value;
  }
}

export default function ({ data, setTriggerValue }) {
  const bench = { label: data.label, scan: (text) => setTriggerValue("scan", text) };
  window.__qclogBench = bench;
  if (!window.__qclogListens) {
    window.__qclogListens = true;
    document.addEventListener("keydown", (e) => window.__qclogOnKey(e), true);
  }
  window.__qclogOnKey = onKey;
  let tries = 0;
  const look = () => {
    const field = fieldNamed(data.label);
    if (field && field.__qclogFocused === data.token) return;
    if (field && !field.disabled) {
      field.setAttribute("autocomplete", "off");
      field.setAttribute("inputmode", "text");
      show(field);
      setTimeout(showInList, 150);  // the list is drawn after the field
      if (data.refused) field.select();
      field.__qclogFocused = data.token;
    } else if (tries++ < 200) {
      setTimeout(look, 10);
    }
  };
  look();
  return () => { if (window.__qclogBench === bench) window.__qclogBench = null; };
}
"""

_KEY = "qclog_cursor"
_at_bench = st.components.v2.component(_KEY, js=_JS)


def put_cursor_in(label: str, token: str, on_scan: Callable[[str], None], *, refused: bool = False) -> None:
    """Put the cursor in the text field named `label`, once for each new `token`, or field drawn anew.

    What was `refused` is selected, so that the next reading takes its place.

    `on_scan` is called with the text of a code that was scanned, before the page is drawn again.
    """

    def scanned() -> None:
        text = st.session_state[_KEY].scan
        if text:
            on_scan(str(text).rsplit(" ", 1)[0])  # the page adds a word, so that the same code can be scanned twice

    _at_bench(data={"label": label, "token": token, "refused": refused}, key=_KEY, height=1, on_scan_change=scanned)
