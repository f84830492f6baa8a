"""Codes on cards and labels: what is written is read back, and nothing else is taken for one."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from qclog.domain.speech.scans import KINDS, Scan, is_scan, read_scan, write_scan
from qclog.errors import InputError

names = st.text(st.characters(categories=("L", "N", "P", "S")), min_size=1, max_size=40)


@given(st.sampled_from(KINDS), names)
def test_what_is_written_is_read_back(kind: str, name: str) -> None:
    text = write_scan(kind, name)
    assert is_scan(text)
    assert read_scan(text) == Scan(kind, name)
    assert read_scan(f"  {text}\r\n") == Scan(kind, name)


def test_a_scanner_that_shifts_the_case_is_understood() -> None:
    assert read_scan("QCLOG:JOB:J0001") == Scan("job", "J0001")


@pytest.mark.parametrize("text", ["16", "15/16", "J0001", "qclog", "qclogs:job:J1", ""])
def test_anything_else_is_no_code(text: str) -> None:
    assert not is_scan(text)
    assert read_scan(text) is None


@pytest.mark.parametrize("text", ["qclog:", "qclog:job", "qclog:job:", "qclog:part of a torn one", "qclog:boat:B1"])
def test_a_torn_code_is_no_reading_and_says_what_would_do(text: str) -> None:
    assert is_scan(text)
    with pytest.raises(InputError) as caught:
        read_scan(text)
    assert "again" in str(caught.value.hint)


@pytest.mark.parametrize("name", ["", " ", " J1", "J1\n", "x" * 201])
def test_a_name_that_a_code_cannot_hold_is_refused(name: str) -> None:
    with pytest.raises(InputError) as caught:
        write_scan("job", name)
    assert caught.value.field == "job"


def test_another_kind_is_refused() -> None:
    with pytest.raises(InputError) as caught:
        write_scan("boat", "B1")
    assert caught.value.found == "boat"
