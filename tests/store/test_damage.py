"""Damage of the file: whatever `verify` calls sound can be written out whole, and what is damaged is called so."""

from __future__ import annotations

import shutil
from collections import Counter
from pathlib import Path

import duckdb
import pytest

from qclog.errors import LogBusyError, LogDamagedError
from qclog.services.exchange.export_folder import export_folder
from qclog.services.keeping.verifying import verify
from qclog.store.log import Log
from qclog.store.trouble import why_not_opened

BLOCK_BYTES = 262_144  # DuckDB's default; the first one follows three headers of 4 KiB
HEADERS_BYTES = 12_288


def bytes_of(folder: Path) -> dict[str, bytes]:
    return {str(f.relative_to(folder)): f.read_bytes() for f in sorted(folder.rglob("*")) if f.is_file()}


def survey(log: Log, tmp_path: Path, each: int) -> Counter[str]:
    """Eight bytes are changed in every `each`th block, one block at a time: what verify says, and what follows."""
    export_folder(log, tmp_path / "whole")
    whole, original = bytes_of(tmp_path / "whole"), log.path.read_bytes()
    hurt = Log(tmp_path / "hurt.duckdb")
    told: Counter[str] = Counter()
    for block in range(0, (len(original) - HEADERS_BYTES) // BLOCK_BYTES, each):
        at = HEADERS_BYTES + block * BLOCK_BYTES + 100
        data = bytearray(original)
        data[at : at + 8] = bytes(b ^ 0x5A for b in data[at : at + 8])
        hurt.path.write_bytes(data)
        try:
            sound = verify(hurt).sound
        except LogDamagedError:
            told["damaged"] += 1
            continue
        if not sound:
            told["not sound"] += 1
            continue
        out = tmp_path / "out"
        export_folder(hurt, out)
        assert bytes_of(out) == whole, f"block {block}"
        shutil.rmtree(out)
        told["sound, and whole"] += 1
    return told


def test_what_verify_calls_sound_can_be_written_out(sample: Log, tmp_path: Path) -> None:
    told = survey(sample, tmp_path, each=7)
    assert told["damaged"] >= 3
    assert not told["not sound"]


@pytest.mark.long
def test_every_block(sample: Log, tmp_path: Path) -> None:
    told = survey(sample, tmp_path, each=1)
    print(f"\n{sum(told.values())} blocks of the sample's log, one hurt at a time: {dict(told)}")
    assert told["damaged"] >= 20


@pytest.mark.parametrize(
    "text",
    [
        "Serialization Error: Failed to deserialize: field b-lock not found",
        "IO Error: Corrupt database file: computed checksum 1 does not match stored checksum 2 in block at location 3",
        "INTERNAL Error: Attempted to access index 5 within block of size 3",
    ],
)
def test_damage_is_not_told_as_a_busy_log(log: Log, text: str) -> None:
    assert not isinstance(why_not_opened(log.path, duckdb.Error(text)), LogBusyError)


def test_a_database_tool_that_holds_the_log_is_told_as_that(log: Log) -> None:
    text = f'IO Error: Could not set lock on file "{log.path}": Conflicting lock is held in python (PID 1)'
    assert isinstance(why_not_opened(log.path, duckdb.IOException(text)), LogBusyError)
