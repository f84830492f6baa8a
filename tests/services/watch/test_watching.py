"""What the watch is given of a log: the parts inside sub-assemblies with those of the unit, to any depth."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import polars as pl

from qclog.services.exchange.import_folder import import_folder
from qclog.services.watch import watching
from qclog.store.log import Log
from qclog.watch.findings import find
from tests.benchmarks.shapes import SHAPES, build_shape, write_shop
from tests.conftest import submission

SHEET = """\
code = "AX-1"
name = "Axle"
family = "axles"
version = "1"

[[characteristic]]
code = "float"
name = "End float"
unit = "mm"
step = 0.01
stages = ["final"]
"""
JOBS = """\
job,case_type,machining_batch,opened
A1,AX-1,M1,2026-01-05T08:00
A2,AX-1,M2,2026-01-05T09:00
A3,AX-1,M3,2026-01-05T10:00
"""
PARTS = """\
job,part,lot,supplier,sub_assembly
A1,shaft,,,A2
A1,seal,S-1,North,
A2,gear,,,A3
A2,bearing,B-7,South,
A3,pin,P-9,East,A1
"""


def test_parts_inside_sub_assemblies_belong_to_the_unit(tmp_path: Path) -> None:
    """A1 holds A2, which holds A3; a circle, which should not be, ends."""
    folder = tmp_path / "folder"
    (folder / "case_types").mkdir(parents=True)
    (folder / "case_types" / "AX-1.toml").write_text(SHEET, encoding="utf-8")
    (folder / "jobs.csv").write_text(JOBS, encoding="utf-8")
    (folder / "parts.csv").write_text(PARTS, encoding="utf-8")
    (folder / "people.csv").write_text("person,role\nAsh,technician\n", encoding="utf-8")
    (folder / "readings.csv").write_text(
        "job,characteristic,stage,reading,technician,taken_at\nA1,float,final,0.10,Ash,2026-01-06T08:00\n",
        encoding="utf-8",
    )
    log = Log(tmp_path / "shop.duckdb")
    import_folder(log, folder, submission())
    seen = watching.observe(log)
    of_a1 = seen.lots.filter(pl.col("job") == "A1")["lot"].sort().to_list()
    assert of_a1 == ["B-7", "P-9", "S-1"]
    assert seen.suppliers.filter(pl.col("job") == "A1")["supplier"].sort().to_list() == ["East", "North", "South"]
    assert seen.inner_batches.filter(pl.col("job") == "A1")["machining_batch"].sort().to_list()[-2:] == ["M2", "M3"]
    assert "B-7" in seen.lots.filter(pl.col("job") == "A2")["lot"].to_list()


def test_a_shop_brought_in_is_looked_at_as_it_is(tmp_path: Path) -> None:
    """A metric shop of another shape as an exchange folder: the same findings as from its readings themselves."""
    shape = replace(next(s for s in SHAPES if s.name == "sub-assemblies"), rates=(12, 7, 4), months=12, unit="mm")
    shop = build_shape(shape, 5)
    log = Log(tmp_path / "shop.duckdb")
    import_folder(log, write_shop(shop, tmp_path / "folder"), submission(), timezone="UTC")
    direct, brought_in = find(shop.observations), watching.find_all(log)
    assert [f.id for f in brought_in if f.stands] == [f.id for f in direct if f.stands]
    named = {(f.identifier, f.level) for f in brought_in}
    assert {(f.identifier, f.level) for f in shop.faults[:2]} <= named
