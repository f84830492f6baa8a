"""What other programs may rely on: the names of `import qclog`, and that they say what the screens say."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

import qclog
from qclog.errors import InputError, LogError, UnknownNameError
from qclog.services.series.case_chart import chart_case
from qclog.services.watch.finding_life import Watched
from qclog.store.log import Log


def test_the_names_are_these_and_no_others() -> None:
    assert qclog.__all__ == ["ControlLimits", "OpenLog", "QclogError", "__version__", "open_log"]
    for name in qclog.__all__:
        assert getattr(qclog, name) is not None
    assert (Path(qclog.__file__).parent / "py.typed").exists()


def test_importing_it_loads_nothing_heavy() -> None:
    heavy = "{'streamlit', 'altair', 'scipy', 'duckdb', 'polars', 'numpy', 'pint'}"
    script = f"import sys, qclog; print(sorted({heavy} & set(sys.modules)))"
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_a_series_and_its_limits_are_those_of_the_chart(sample: Log) -> None:
    log = qclog.open_log(sample.path)
    assert "LR-2" in log.case_types()
    assert "recess" in log.characteristics("LR-2")
    assert "leak_test" not in log.characteristics("LR-2")
    chart = chart_case(sample, "LR-2", "recess", machined=True)
    limits = log.limits("LR-2", "recess", machined=True)
    assert chart.drawn is not None
    assert (limits.n, limits.centre, limits.lower, limits.upper) == (
        len(chart.rows),
        chart.drawn.centre,
        chart.drawn.lower,
        chart.drawn.upper,
    )
    series = log.series("LR-2", "recess")
    assert {"job", "stage", "taken_at", "value", "low", "high", "verdict"} <= set(series.columns)
    assert set(chart.rows["job"]) <= set(series["job"])


def test_findings_are_those_that_stand(sample: Log, watched: Watched) -> None:
    found = qclog.open_log(str(sample.path)).findings()
    assert [f.id for f in found] == [f.id for f in watched.standing]


def test_what_is_not_there_is_said(sample: Log, tmp_path: Path) -> None:
    with pytest.raises(LogError, match="there is no log here"):
        qclog.open_log(tmp_path / "none.duckdb")
    log = qclog.open_log(sample.path)
    with pytest.raises(UnknownNameError):
        log.series("ZZ-9", "recess")
    with pytest.raises(UnknownNameError):
        log.series("LR-2", "colour")
    with pytest.raises(InputError):
        log.limits("LR-2", "recess", stage="return")
