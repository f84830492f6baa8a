"""Where a reading stands among its kind: the same from the readings themselves as from the series of the charts."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

from qclog.domain.places import Place
from qclog.services.jobs import jobs
from qclog.services.series import history
from qclog.services.series.series import read_series
from qclog.store.log import Log


def test_the_terminal_and_the_page_say_the_same(sample: Log) -> None:
    said = set()
    for row in jobs.list_jobs(sample)[::46]:
        story = jobs.tell(sample, row.job)
        for code, stage in {(r.row.characteristic, r.row.stage) for r in story.readings if r.row.counts}:
            if story.sheet.characteristic(code).in_words:
                continue
            taken: Any = SimpleNamespace(said=SimpleNamespace(kind="point"), place=Place(row.job, code, stage))
            here = history.standing(sample, taken)
            rows = read_series(sample, story.sheet.code, code).rows
            assert here == history.standing_in(rows, story, taken), (row.job, code, stage)
            said.add(here.split(" of ")[0].split(" among ")[0])
    assert {"ordinary", "highest", "lowest"} <= said
