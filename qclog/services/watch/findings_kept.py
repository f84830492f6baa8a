"""Findings kept from one command to the next, for the log exactly as it is: in the cache folder of the account.

They are a convenience: what is not there, is of a log that has changed since, of another qclog, damaged, or can't be
written is worked out again. They lie with the account and not beside the log, whose folder others may write to.
"""

from __future__ import annotations

import hashlib
import json
import os
import sys
import tempfile
from contextlib import suppress
from dataclasses import asdict, dataclass
from datetime import datetime
from functools import cache
from pathlib import Path
from typing import Any

from qclog import version
from qclog.domain import stored
from qclog.domain.findings import Effect, Finding
from qclog.store.log import Log, Use

MOST_LOGS = 20  # whose findings are kept; those used longest ago go
_ROOMS = ("domain", "stats", "measures", "watch", "services", "store")  # whose code findings follow from


@dataclass(frozen=True, slots=True)
class Kept:
    """What the watch found in a log, the jobs that show a closed finding again, by its id, and at how many values it
    looked.
    """

    findings: tuple[Finding, ...]
    returned: dict[str, tuple[str, ...]]
    looked_at: int


def state_of(use: Use) -> tuple[int, str] | None:
    """The last entry of an open log and its digest."""
    states = _states(use)
    return (states[0].entry, states[0].digest) if states else None


def _states(use: Use) -> list[stored.StateForFindings]:
    return use.rows("state_for_findings", stored.StateForFindings, now=use.moment)


def key_of(log: Log, use: Use) -> str:
    """What the findings of an open log follow from, as one text: the last digest, the sheets in force, the file's size
    and time (for changes made past qclog), and this qclog.
    """
    states = _states(use)
    state = list(states[0]) if states else []
    file = log.path.stat()
    said = json.dumps(
        [version.__version__, _code(), str(log.path.resolve()), repr(log.as_of), state, file.st_size, file.st_mtime_ns]
    )
    return hashlib.sha256(said.encode()).hexdigest()


@cache
def _code() -> list[tuple[str, int, int]]:
    """The files that work findings out, with size and time: a qclog that was changed keeps nothing of before."""
    root = Path(version.__file__).parent
    files = [entry for room in _ROOMS for entry in os.scandir(root / room) if entry.name.endswith(".py")]
    return sorted((entry.path, entry.stat().st_size, entry.stat().st_mtime_ns) for entry in files)


def load(log: Log, key: str) -> Kept | None:
    """What was kept under `key`; None where nothing whole is."""
    try:
        head, digest, body = file_of(log).read_text(encoding="utf-8").split("\n", 2)
        if head != key or digest != hashlib.sha256(body.encode()).hexdigest():
            return None
        return _from_json(json.loads(body))
    except (OSError, RuntimeError, ValueError, KeyError, TypeError):  # RuntimeError: the account has no home
        return None


def keep(log: Log, key: str, kept: Kept) -> None:
    """Keep findings in place of those of the same log before; nothing where the folder can't be written."""
    body = json.dumps(asdict(kept), default=_moment)
    write(log, ".json", "\n".join((key, hashlib.sha256(body.encode()).hexdigest(), body)))


def write(log: Log, suffix: str, text: str) -> None:
    """Keep a text of a log, whole, and let those used longest ago go; nothing where the folder can't be written."""
    with suppress(OSError, RuntimeError):  # then it is worked out again
        file = file_of(log).with_suffix(suffix)
        file.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        handle, part = tempfile.mkstemp(prefix=".", suffix=".unfinished", dir=file.parent)
        try:
            with os.fdopen(handle, "w", encoding="utf-8") as out:
                out.write(text)
            Path(part).replace(file)
        finally:
            Path(part).unlink(missing_ok=True)
        for old in sorted(file.parent.glob(f"*{suffix}"), key=lambda f: f.stat().st_mtime_ns)[:-MOST_LOGS]:
            old.unlink(missing_ok=True)


def folder() -> Path:
    """Where this account keeps what programs can work out again. RuntimeError for an account without a home."""
    if sys.platform == "win32":
        base = os.environ.get("LOCALAPPDATA") or str(Path.home() / "AppData" / "Local")
    elif sys.platform == "darwin":
        base = str(Path.home() / "Library" / "Caches")
    else:
        base = os.environ.get("XDG_CACHE_HOME") or str(Path.home() / ".cache")
    return Path(base) / "qclog" / "findings"


def file_of(log: Log) -> Path:
    """Where the findings of a log are kept."""
    return folder() / f"{hashlib.sha256(str(log.path.resolve()).encode()).hexdigest()[:32]}.json"


def _moment(value: object) -> str:
    if isinstance(value, datetime):
        return value.isoformat()
    raise TypeError(f"{value!r} is no part of a finding")


def _from_json(content: dict[str, Any]) -> Kept:
    rows = [
        row
        | {name: datetime.fromisoformat(row[name]) for name in ("found_at", "last_seen") if row[name] is not None}
        | {"effects": tuple(Effect(*e) for e in row["effects"])}
        for row in _tuples(content["findings"])
    ]
    return Kept(tuple(Finding(**row) for row in rows), _tuples(content["returned"]), int(content["looked_at"]))


def _tuples(value: Any) -> Any:
    """JSON's lists as the tuples they were."""
    if isinstance(value, list):
        return tuple(_tuples(v) for v in value)
    if isinstance(value, dict):
        return {k: _tuples(v) for k, v in value.items()}
    return value
