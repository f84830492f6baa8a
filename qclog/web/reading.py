"""What pages read from the log, kept until the log changes."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING

import streamlit as st

from qclog.errors import LogError
from qclog.services.jobs import jobs
from qclog.services.jobs.jobs import Story
from qclog.services.keeping import sheets
from qclog.services.keeping.launching import LOG_VARIABLE
from qclog.services.keeping.sheets import Overview
from qclog.services.overview.bench_view import Around, look_around
from qclog.store.log import Log

if TYPE_CHECKING:
    import polars as pl

    from qclog.services.series import case_chart
    from qclog.services.series.case_chart import CaseChart
    from qclog.services.series.series import Series
    from qclog.services.sums.learning import Learned
    from qclog.services.tracing.shop import Shop

# What works series, charts and sums out is loaded by the page that first asks for it: it loads numpy and scipy.


def log() -> Log:
    """The log the dashboard was opened on."""
    path = os.environ.get(LOG_VARIABLE)
    if not path:
        raise LogError("the dashboard was opened without a log", hint="start it with qclog dashboard --log FILE")
    return Log(Path(path))


def seen(of: Log) -> str:
    """Which log is looked at, and as of when: the key of what is kept."""
    return f"{of.path} {of.as_of}"


def revision(of: Log) -> int:
    """A number that changes with everything stored."""
    return jobs.revision(of)


def story(of: Log, job: str) -> Story:
    """A job's story."""
    return jobs.tell(of, job)


def overview(of: Log) -> list[Overview]:
    """Every case type."""
    return _overview(of, seen(of), revision(of))


@st.cache_data(max_entries=4, show_spinner=False)
def _overview(_of: Log, seen: str, revision: int) -> list[Overview]:  # noqa: ARG001 - what is seen is the key
    return sheets.overview(_of)


def around(of: Log) -> Around:
    """People, gauges and sheets as they were at most a few seconds ago: the services check names and rights anew."""
    return _around(of, seen(of))


@st.cache_resource(max_entries=4, ttl=5, show_spinner=False)
def _around(_of: Log, seen: str) -> Around:  # noqa: ARG001 - what is seen is the key
    return look_around(_of)


def rows_lately(of: Log, case_type: str, code: str) -> pl.DataFrame:
    """The rows of a series as they were at most a minute ago: what a new reading is compared with."""
    return _rows_lately(of, seen(of), case_type, code)


@st.cache_resource(max_entries=64, ttl=60, show_spinner=False)
def _rows_lately(_of: Log, seen: str, case_type: str, code: str) -> pl.DataFrame:  # noqa: ARG001 - what is seen is the key
    from qclog.services.series.series import read_series

    return read_series(_of, case_type, code).rows


def series(of: Log, case_type: str, code: str) -> Series:
    """A characteristic over the jobs of a case type."""
    return _series(of, seen(of), revision(of), case_type, code)


@st.cache_data(max_entries=32, show_spinner="Reading the log ...")
def _series(_of: Log, seen: str, revision: int, case_type: str, code: str) -> Series:  # noqa: ARG001 - what is seen is the key
    from qclog.services.series.series import read_series

    return read_series(_of, case_type, code)


def chart(of: Log, case_type: str, code: str, group: case_chart.Group | None) -> CaseChart:
    """The chart of one group, or of the one that says most."""
    from qclog.services.series import case_chart

    found = series(of, case_type, code)
    if group is None:
        return case_chart.chart_series(found)
    return case_chart.chart_series(found, stage=group.stage, condition=group.condition, machined=group.machined)


def shop(of: Log) -> Shop:
    """Jobs, parts, comebacks, gauges and what was read with which."""
    return _shop(of, seen(of), revision(of))


@st.cache_resource(max_entries=2, show_spinner=False)
def _shop(_of: Log, seen: str, revision: int) -> Shop:  # noqa: ARG001 - what is seen is the key
    from qclog.services.tracing.shop import read_shop

    return read_shop(_of)


def learned(of: Log, case_type: str) -> Learned:
    """What the log teaches the sums of a case type; other jobs' readings of the last minutes may be left out."""
    return _learned(of, seen(of), case_type)


@st.cache_data(max_entries=16, ttl=600, show_spinner=False)
def _learned(_of: Log, seen: str, case_type: str) -> Learned:  # noqa: ARG001 - what is seen is the key
    from qclog.services.sums.learning import learn

    return learn(_of, sheets.latest_of(_of, case_type))


def is_dark() -> bool:
    """Whether the reader's theme is dark."""
    return st.context.theme.type == "dark"
