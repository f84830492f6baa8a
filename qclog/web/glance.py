"""The workshop at a glance: jobs, case types, gauges, shims, how well the record is kept, the month."""

from __future__ import annotations

from datetime import timedelta

import streamlit as st

from qclog.domain.moments import show_moment
from qclog.services.jobs import claims, jobs
from qclog.services.keeping.earlier import day_of
from qclog.services.tracing.shop import Shop
from qclog.store.log import Log
from qclog.web import papers, reading, recording, standing
from qclog.web.frame import plain
from qclog.web.tables import show_figures_in_a_row, show_table, without_blank
from qclog.words.numbers import plural

SECTIONS = ("Jobs", "Case types", "Returns", "Gauges", "Shims", "How well it is kept", "The month")


def show_counts(log: Log) -> None:
    """How much there is."""
    counts = jobs.counts(log)
    figures = {
        "readings": counts.readings,
        "jobs": counts.jobs,
        "case types": counts.case_types,
        "comebacks": counts.comebacks,
    }
    show_figures_in_a_row({name: f"{count:,}" for name, count in figures.items()})


def choose_section() -> str:
    """Which table to show; only that one is worked out."""
    chosen = st.segmented_control("Show", SECTIONS, default=SECTIONS[0], key="glance", label_visibility="collapsed")
    return chosen or SECTIONS[0]


def show_section(log: Log, section: str) -> None:
    """The chosen table."""
    parts = {
        "Jobs": show_jobs,
        "Case types": show_case_types,
        "Returns": show_returns,
        "Gauges": show_gauges,
        "Shims": show_shims,
        "How well it is kept": show_quality,
        "The month": show_month,
    }
    parts[section](log)


def show_jobs(log: Log) -> None:
    """Jobs last touched, those in work first; a chosen row opens its story."""
    st.subheader("Jobs, the last touched first")
    rows, zone = jobs.list_with_zone(log, most=200)
    if not rows:
        st.info("No jobs yet. Open one on the Bench page.")
        return
    at = show_table(
        {
            "job": [r.job for r in rows],
            "case type": [r.case_type for r in rows],
            "serial": [r.case_serial for r in rows],
            "opened": [show_moment(r.opened, zone)[:10] for r in rows],
            "dispatched": [show_moment(r.dispatched, zone)[:10] for r in rows],
            "readings": [r.readings for r in rows],
            "outstanding": [r.outstanding for r in rows],
        },
        key="jobs_table",
    )
    if at is not None:
        st.switch_page("app_pages/job.py", query_params={"job": rows[at].job})
    st.caption("Choose a row to open the job's story.")


def show_case_types(log: Log) -> None:
    """Every case type in one row: volume, what moves, share outside limits, comebacks for the time out."""
    from qclog.services.overview import at_a_glance

    st.subheader("Case types, the busiest first")
    rows = at_a_glance.look_at_types(log, reading.shop(log), standing.watched(log).standing)
    if not rows:
        st.info("No case types yet. Add a sheet at the terminal: `qclog sheet add FILE`")
        return
    at = show_table(
        {
            "case type": [r.case_type for r in rows],
            "jobs": [r.jobs for r in rows],
            "last 12 months": [r.last_year for r in rows],
            "left outside limits": [f"{r.outside} of {r.out}" for r in rows],
            "came back": [r.risk.back for r in rows],
            "ours or open": [r.risk.comebacks for r in rows],
            "in 100 unit-months": [
                "" if r.risk.rate is None else f"{r.risk.rate:.2g} ({r.risk.interval_text})" for r in rows
            ],
            "what moves": [r.moves or "nothing" for r in rows],
            "name": [r.name for r in rows],
        },
        key="case_types_table",
    )
    if at is not None:
        st.switch_page("app_pages/case_type.py", query_params={"case_type": rows[at].case_type})
    st.caption(
        "Choose a row to see its charts. Left outside limits: units with at least one final value outside, of all that "
        "left. In 100 unit-months: comebacks for every hundred months that units have been out."
    )


def show_returns(log: Log) -> None:
    """What came back: how far each return has come, whose it was, what it cost, and the sums."""
    st.subheader("Returns, the last first")
    every = claims.all_claims(log)
    if not every:
        st.info("Nothing has come back yet. A return is written down on the job's page.")
        return
    lately = claims.between(every, day_of(log) - timedelta(days=364))
    whole = st.toggle(f"All {len(every)}, not only the {len(lately)} of the last 12 months", key="all_returns")
    shown = every if whole or not lately else lately
    added = claims.total(shown)
    show_figures_in_a_row(
        {
            "returns": f"{added.returns}",
            "ours": f"{added.ours}",
            "not ours": f"{added.not_ours}",
            "closed": f"{added.closed}",
            "labour, hours": added.labour_text,
            "cost": added.sum_text,
        }
    )
    if added.left_out:
        st.caption(plain(f"Cost: {added.cost_text}."))
    latest = shown[::-1]
    at = show_table(
        without_blank(
            {
                "came back": [c.day.isoformat() for c in latest],
                "job": [c.job for c in latest],
                "it is": [c.state for c in latest],
                "ours": [c.attributable or "open" for c in latest],
                "complaint": [c.value("complaint_code") for c in latest],
                "failure": [c.value("failure_code") for c in latest],
                "labour, hours": [c.amount("labour_hours") for c in latest],
                "parts": [c.amount("parts_cost") for c in latest],
                "carriage": [c.amount("carriage_cost") for c in latest],
                "cost": [c.cost for c in latest],
            },
            "complaint",
            "failure",
            "labour, hours",
            "parts",
            "carriage",
            "cost",
        ),
        key="returns_table",
    )
    if at is not None:
        st.switch_page("app_pages/job.py", query_params={"job": latest[at].job})
    groups = claims.by_failure(shown, claims.house(log))
    if len(groups) > 1:
        st.markdown("**By failure**")
        show_table(
            {
                "failure": [name for name, _ in groups],
                "returns": [t.returns for _, t in groups],
                "ours": [t.ours for _, t in groups],
                "cost": [t.cost_text for _, t in groups],
            }
        )
    st.caption("Choose a row to say more of that return on its job's page. Codes and rates: `qclog house set`.")


def show_gauges(log: Log) -> None:
    """Every gauge: what it asks for, its last check, and what was read with it since."""
    from qclog.services.overview import at_a_glance

    st.subheader("Gauges, those that ask for something first")
    looked = reading.shop(log)
    rows = at_a_glance.look_at_gauges(looked, day_of(log))
    if not rows:
        st.info("No gauges yet. Add one at the terminal: `qclog gauge add NAME`")
        return
    at = show_table(
        {
            "gauge": [r.gauge for r in rows],
            "kind": [r.kind.replace("_", " ") for r in rows],
            "state": [r.state for r in rows],
            "due": [r.due for r in rows],
            "last good check": [looked.day(r.last_good) for r in rows],
            "off at check": ["" if r.off is None else _off_text(r.off, r.unit) for r in rows],
            "read since": [r.since for r in rows],
            "jobs since": [len(r.jobs) for r in rows],
        },
        key="gauges_table",
    )
    st.caption(
        "Due: its calibration. Read since: readings, and jobs, since its last good check. "
        "Choose a row for those jobs, and to record what befell it."
    )
    if at is None:
        return
    if rows[at].jobs:
        st.markdown(f"**{plain(rows[at].gauge)}, since its last good check:** {plain(', '.join(rows[at].jobs[-60:]))}")
        if len(rows[at].jobs) > 60:
            st.caption(f"the last 60 of {len(rows[at].jobs)}")
    if log.as_of is None:
        recording.record_gauge_event(log, rows[at].gauge, rows[at].unit)
    show_life(looked, rows[at].gauge)


def show_life(shop: Shop, name: str) -> None:
    """What happened to one gauge, how far it was off, and what it read in each time it was in doubt."""
    from qclog.charts.gauge_time import draw_gauge
    from qclog.services.tracing.gauge_life import life_of, picture_of_life

    life = life_of(shop, name)
    st.markdown(
        f"**{plain(name)}**, from its first day; a check may be off by {life.tolerance:g} {plain(life.gauge.unit)}"
    )
    for stretch in life.doubtful:
        begins = f"from {shop.day(stretch.since)}" if stretch.since else "from the beginning"
        ends = f"to {shop.day(stretch.until)}" if stretch.until else "on"
        here = ", ".join(stretch.here) or "none"
        read = f"{plural(stretch.readings, 'reading')} of {plural(len(stretch.jobs), 'job')}"
        jobs_read = ", ".join(stretch.jobs)
        said = f"In doubt {begins} {ends} ({read}): {stretch.why}. Jobs: {jobs_read}. Still here: {here}."
        st.warning(plain(said), icon=":material/warning:")
    picture = picture_of_life(life, shop)
    if picture is not None:
        st.altair_chart(draw_gauge(picture, dark=reading.is_dark()), theme=None, width="stretch")
        st.caption(
            "Dots: good checks; diamonds: bad ones; dotted: the tolerance; upright: what befell it; shaded: in doubt, "
            "back to the last good check and on to the next."
        )
    events = life.events[::-1]
    show_table(
        {
            "when": [show_moment(e.checked_at, shop.zone) for e, _, _ in events],
            "what": [e.event for e, _, _ in events],
            "reference": [e.reference for e, _, _ in events],
            "reading": [e.reading for e, _, _ in events],
            "off by": ["" if off is None else _off_text(off, e.unit or life.gauge.unit) for e, off, _ in events],
            "check": [good for _, _, good in events],
            "by": [e.by for e, _, _ in events],
            "note": [e.note for e, _, _ in events],
        }
    )


def _off_text(off: float, unit: str) -> str:
    return f"{off:+.4g} {unit}" if off else f"0 {unit}"


def show_shims(log: Log) -> None:
    """Every packet size: what there is and what the coming jobs are likely to take."""
    from qclog.services.overview import at_a_glance

    st.subheader("Shims")
    rows = at_a_glance.look_at_shims(log)
    if not rows:
        st.info("No shim stock yet. Count it in at the terminal: `qclog stock add SET SIZE --count N`")
        return
    rows = tuple(sorted(rows, key=lambda r: (-(r.buy > 0), r.stock_set, r.nominal)))
    show_table(
        {
            "set": [r.stock_set for r in rows],
            "size": [f"{r.nominal:g} {r.unit}" for r in rows],
            "there": [r.there for r in rows],
            "minimum": [r.minimum for r in rows],
            "likely needed": [None if r.likely is None else round(r.likely, 1) for r in rows],
            "enough": [r.enough for r in rows],
            "to buy": [f"buy {r.buy}" if r.buy else "" for r in rows],
        }
    )
    st.caption(
        "Likely needed and enough (nine chances in ten): for the open jobs and a month at the pace of the last 90 days,"
        " from packs as they were fitted. Blank: too few packs to say."
    )


def show_quality(log: Log) -> None:
    """How well the record is kept, with nobody ranked."""
    from qclog.services.overview import at_a_glance, month

    st.subheader("How well the record is kept")
    if _tell_nothing(log):
        return
    looked = month.look_at(log)
    watched = standing.watched(log)
    st.markdown(f"**{plain(looked.span.name)}**, the last month in which anything happened")
    show_table({"": [what for what, _ in looked.quality], "count": [count for _, count in looked.quality]})
    preferring = [f.id for f in watched.standing if f.cause == "technician" and not f.sizes]
    for line in at_a_glance.digit_lines(watched.observations, preferring):
        st.caption(plain(line[0].upper() + line[1:]) + ".")


def _tell_nothing(log: Log) -> bool:
    nothing = not jobs.list_jobs(log, most=1)
    if nothing:
        st.info("No jobs yet, so there is nothing to sum up.")
    return nothing


def show_month(log: Log) -> None:
    """One month in figures, and the review to print."""
    from qclog.services.overview import month

    st.subheader("The month")
    if _tell_nothing(log):
        return
    last = month.look_at(log)
    months = list(dict.fromkeys([last.span.name, *(name for name, _, _ in reversed(last.by_dispatch))]))
    name = st.selectbox("Month", months, key="month")
    looked = last if name == last.span.name else month.look_at(log, name)
    show_figures_in_a_row(
        {
            "came in": f"{len(looked.came_in)}",
            "left": f"{len(looked.left)}",
            "in the shop at its end": f"{len(looked.here)}",
            "came back": f"{len(looked.backs)}",
            "final values that left outside limits": f"{len(looked.outside)}",
        }
    )
    papers.show_review(log, looked.span.name)
