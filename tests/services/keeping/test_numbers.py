"""Numbers that are none: infinite, not a number, beyond anything a bench measures, or thousands of digits long."""

from __future__ import annotations

from pathlib import Path

import pytest

from qclog.cli import main
from qclog.errors import FolderError
from qclog.services.exchange.import_folder import import_folder
from qclog.store.log import Log
from tests.conftest import submission, write_folder

NO_NUMBERS = ["inf", "-inf", "nan", "1e400", "1e12", "9" * 5000]


@pytest.mark.parametrize("number", NO_NUMBERS)
def test_the_terminal_refuses_it(log: Log, capsys: pytest.CaptureFixture[str], number: str) -> None:
    commands = [
        ["gauge", "add", "DT-9", "--kind", "dial", "--unit", "thou", f"--step={number}"],
        ["gauge", "add", "F-9", "--kind", "feeler", "--unit", "thou", "--step=1", f"--leaves=1 {number}"],
        ["gauge", "check", "FG-1", f"--reading={number}", "--reference=1"],
        ["gauge", "check", "FG-1", "--reading=1", f"--reference={number}"],
        ["job", "comeback", "J-1", f"--hours={number}"],
        ["stock", "add", "S", number, "--count", "1"],
        ["read", "J-1", "trial_pack", number, "--stage", "trial"],
    ]
    for command in commands:
        try:
            status = main([*command, "--by", "Ash", "--log", str(log.path)])
        except SystemExit as stopped:  # argparse, at a minus sign that begins no number
            status = int(str(stopped.code))
        said = capsys.readouterr().err
        assert status == 2, (command[:3], said[:500])
        assert said.strip()
        assert "Traceback" not in said


@pytest.mark.parametrize("number", NO_NUMBERS)
def test_an_import_names_the_line(log: Log, tmp_path: Path, number: str) -> None:
    tables = {
        "gauges": f"gauge,kind,unit,step\nDT-9,dial,thou,{number}\n",
        "gauge_checks": f"gauge,checked_at,event,reading\nFG-1,2026-01-02T08:00,check,{number}\n",
        "comebacks": f"job,returned,hours\nJ-1,2026-01-02,{number}\n",
        "readings": "job,characteristic,stage,reading,technician,taken_at\n"
        f"J-1,trial_pack,trial,{number},Ash,2026-01-02\n",
    }
    for name, text in tables.items():
        folder = write_folder(tmp_path / name, **{name: text})
        with pytest.raises(FolderError) as told:
            import_folder(log, folder, submission())
        assert {p.line for p in told.value.problems} == {2}, name
