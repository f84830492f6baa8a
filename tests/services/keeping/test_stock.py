"""Shim stock in the log: counted in, booked out, never below nothing; out and in with an exchange folder."""

from __future__ import annotations

from pathlib import Path

import duckdb
import pytest

from qclog.bench.packs import Want, choose_pack
from qclog.domain.stock import ShimSize
from qclog.errors import FolderError, InputError, UnknownNameError
from qclog.services.exchange.export_folder import export_folder
from qclog.services.exchange.import_folder import import_folder
from qclog.services.keeping import stock
from qclog.services.keeping.verifying import verify
from qclog.store import migrations
from qclog.store.log import AlreadyStored, Log
from tests.conftest import SHEET, submission, write_folder


def fill(log: Log) -> None:
    for nominal, measured, count, minimum in ((20, 19.8, 2, 4), (20, 20.3, 3, 4), (10, 10, 2, 1), (5, 5, 0, 1)):
        stock.add_leaves(log, ShimSize("S-A", nominal, measured, "thou"), count, submission(), minimum=minimum)


def counts(log: Log) -> dict[tuple[float, float], int]:
    return {(s.size.nominal, s.size.measured): s.count for s in stock.list_stock(log, "S-A")}


def test_a_pack_is_booked_out_and_put_back(log: Log) -> None:
    fill(log)
    leaves = [s.leaf for s in stock.list_stock(log, "S-A")]
    choice = choose_pack(leaves, Want(50, 0.2))
    assert choice.best is not None
    assert choice.best.text() == "20+20+10 (measured 20.3+19.8+10)"
    stock.take_leaves(log, "S-A", choice.best, "J-1", submission(), person="Ash")
    assert counts(log) == {(20, 19.8): 1, (20, 20.3): 2, (10, 10): 1, (5, 5): 0}
    stock.return_leaves(log, "S-A", [20], "J-1", submission())
    assert sum(counts(log).values()) == 5
    with pytest.raises(InputError, match="no leaf of 5"):
        stock.return_leaves(log, "S-A", [5], "J-1", submission())
    assert verify(log).sound


def test_nothing_is_taken_when_one_leaf_is_missing(log: Log) -> None:
    fill(log)
    pack = stock.pack_from_text(stock.list_stock(log, "S-A"), "20+10+10+10")
    before = counts(log)
    with pytest.raises(InputError, match="not so many leaves of 10"):
        stock.take_leaves(log, "S-A", pack, "J-1", submission())
    assert counts(log) == before


def test_low_is_by_packet_size(log: Log) -> None:
    fill(log)
    assert stock.low_stock(stock.list_stock(log)) == [("S-A", 5, 0, 1, "thou")]
    stock.set_minimum(log, "S-A", 20, 6, submission())
    assert ("S-A", 20, 5, 6, "thou") in stock.low_stock(stock.list_stock(log))


def test_a_drawer_counted(log: Log) -> None:
    fill(log)
    assert stock.count_leaves(log, ShimSize("S-A", 10, 10, "thou"), 7, submission()) == 5
    assert stock.count_leaves(log, ShimSize("S-A", 10, 10, "thou"), 7, submission()) == 0
    assert counts(log)[(10, 10)] == 7


def test_a_retry_is_stored_once(log: Log) -> None:
    again = submission()
    stock.add_leaves(log, ShimSize("S-A", 10, 10, "thou"), 5, again)
    with pytest.raises(AlreadyStored):
        stock.add_leaves(log, ShimSize("S-A", 10, 10, "thou"), 5, again)
    assert counts(log) == {(10, 10): 5}


def test_bad_stock_is_told(log: Log) -> None:
    fill(log)
    for bad, said in (
        (lambda: stock.add_leaves(log, ShimSize("S-A", 0, 0, "thou"), 1, submission()), "size above 0"),
        (lambda: stock.add_leaves(log, ShimSize("S-A", 1, 1, "mm"), 1, submission()), "is in thou"),
        (lambda: stock.add_leaves(log, ShimSize("S-B", 1, 1, "kPa"), 1, submission()), "in a length"),
        (lambda: stock.add_leaves(log, ShimSize("S-A", 10, 10, "thou"), -1, submission()), "0 or more"),
        (lambda: stock.add_leaves(log, ShimSize("S-A", 10, 10, "thou", 2), 1, submission()), "another layer"),
        (lambda: stock.count_leaves(log, ShimSize("S-A", 3, 3, ""), 1, submission()), "no leaf of 3"),
        (lambda: stock.set_minimum(log, "S-Z", 3, 1, submission()), "no stock set"),
        (lambda: stock.list_stock(log, "S-Z"), "no stock set"),
        (lambda: stock.pack_from_text(stock.list_stock(log), "20+many"), "joined by"),
        (lambda: stock.pack_from_text(stock.list_stock(log), ""), "no leaves"),
    ):
        with pytest.raises((InputError, UnknownNameError), match=said):
            bad()
    pack = stock.pack_from_text(stock.list_stock(log), "20")
    with pytest.raises(UnknownNameError, match="J-9"):
        stock.take_leaves(log, "S-A", pack, "J-9", submission())


def test_stock_goes_out_and_comes_in(log: Log, tmp_path: Path) -> None:
    fill(log)
    stock.add_leaves(log, ShimSize("S-B", 30, 30, "thou", 2), 3, submission())
    pack = stock.pack_from_text(stock.list_stock(log, "S-A"), "20+10")
    stock.take_leaves(log, "S-A", pack, "J-1", submission(), person="Ash")
    export_folder(log, tmp_path / "out")
    back = Log(tmp_path / "back.duckdb")
    first = import_folder(back, tmp_path / "out", submission())
    assert dict(first.added)["shim_stock"] == 5
    assert dict(first.added)["shim_movements"] == 6
    assert stock.list_stock(back) == stock.list_stock(log)
    assert import_folder(back, tmp_path / "out", submission()).nothing_new
    assert stock.list_stock(back) == stock.list_stock(log)


def test_a_log_without_shims_exports_the_files_of_the_contract_only(log: Log, tmp_path: Path) -> None:
    export_folder(log, tmp_path / "out")
    assert not list((tmp_path / "out").glob("shim*"))


def test_every_fault_of_a_stock_file_is_told(tmp_path: Path) -> None:
    folder = write_folder(
        tmp_path / "folder",
        sheet=SHEET,
        people="person,role\nWren,stores\n",
        shim_stock="set,nominal,measured,unit,layer,minimum\n"
        "S-A,20,20,thou,,3\nS-A,20,20.3,thou,,4\nS-A,10,10,mm,,\nS-A,-5,5,thou,,\nS-A,2,2,thou,3,\nS-A,3,3,kPa,,\n",
        shim_movements="set,nominal,measured,moved_at,change,why,job,by\n"
        "S-A,20,20,2026-01-05,5,bought,,Wren\nS-A,20,20,2026-01-06,-2,taken,,Wren\nS-A,20,20,2026-01-06,2,taken,J-9,Wren\n"
        "S-A,20,20,2026-01-06,-9,scrapped,,Nobody\nS-A,7,7,2026-01-06,1,bought,,\nS-A,20,20,2026-01-06,0,counted,,\n"
        "S-A,20,20,2026-01-06,1,found,,\n",
    )
    with pytest.raises(FolderError) as told:
        import_folder(Log(tmp_path / "shop.duckdb"), folder, submission())
    found = "\n".join(str(p) for p in told.value.problems)
    for said in (
        "shim_stock.csv:3 minimum: '4' differs", "shim_stock.csv:4 unit: 'mm' differs",
        "shim_stock.csv:5 nominal: '-5'",
        "shim_stock.csv:6 layer: '3' is thicker", "shim_stock.csv:7 unit: 'kPa'", "shim_movements.csv:3 job",
        "shim_movements.csv:4 job: 'J-9'", "shim_movements.csv:4 change: '2' has the wrong sign",
        "shim_movements.csv:5 by: 'Nobody'", "shim_movements.csv:6 nominal: '7'", "shim_movements.csv:7 change: '0'",
        "shim_movements.csv:8 why: 'found'", "more went out than in",
    ):  # fmt: skip
        assert said in found, found
    assert not (tmp_path / "shop.duckdb").exists()


def test_a_log_of_the_first_schema_is_brought_up(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    log = Log(tmp_path / "old.duckdb")
    everything = migrations.known()
    monkeypatch.setattr(migrations, "known", lambda: everything[:1])
    with duckdb.connect(str(log.path), config={"storage_compatibility_version": "v1.5.0"}) as raw:
        migrations.create(raw)
        raw.execute("INSERT INTO setting VALUES ('timezone', 'UTC')")
        assert raw.execute("SELECT count(*) FROM migration").fetchone() == (1,)
    monkeypatch.undo()
    fill(log)
    assert counts(log)[(20, 20.3)] == 3
