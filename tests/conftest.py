"""What many tests need: a small sheet, a log with it, and a folder that imports."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from hypothesis import settings

from qclog import resources
from qclog.domain.jobs import Gauge, Job, Person
from qclog.domain.moments import now
from qclog.domain.sheets.casetype_file import read_sheet
from qclog.services.exchange.import_folder import import_folder
from qclog.services.jobs import jobs
from qclog.services.keeping import people, sheets
from qclog.services.watch import finding_life
from qclog.services.watch.finding_life import Watched
from qclog.store.log import Log, Submission

settings.register_profile("qclog", deadline=None)  # a slow machine is no defect
settings.load_profile("qclog")

DATA = Path(__file__).parent / "data"

SHEET = """\
code = "MR-1"
name = "Marine reduction"
family = "marine"
version = "1"
view = "seen from aft, 12 = top"
caution = "The maker's manual decides."

[[variant]]
code = "A"
name = "small coupling"

[[characteristic]]
code = "trial_pack"
name = "Trial pack"
unit = "thou"
step = 0.5
stages = ["trial"]
gauge_kind = "micrometer"

[[characteristic]]
code = "stand_off"
name = "Cover stand-off"
unit = "thou"
step = 1.0
stages = ["trial", "final"]
positions = ["12", "3", "6", "9"]
gauge_kind = "feeler"
limits.any = { lower = 19, upper = 20 }
plausible = [5, 60]
forced_at = ["final"]

[[characteristic]]
code = "recess"
name = "Implied recess"
unit = "thou"
step = 1.0
stages = ["trial"]
formula = "trial_pack - mean(stand_off)"

[[characteristic]]
code = "leak"
name = "Leak test"
unit = "kPa"
shape = "pass"

[[characteristic]]
code = "torque"
name = "Turning torque"
unit = "lbf·in"
step = 0.5
gauge_kind = "torque"
parts = ["bearing"]
conditions = ["oiled|dry", "rotating"]
limits.new = { nominal = 12.5, lower = 8, upper = 17 }
limits.reused = { nominal = 8, lower = 5, upper = 12 }
"""


@pytest.fixture(scope="session", autouse=True)
def own_cache_folder(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """Nothing is kept in the cache folder of whoever runs the tests."""
    with pytest.MonkeyPatch.context() as patch:
        for name in ("XDG_CACHE_HOME", "LOCALAPPDATA"):
            patch.setenv(name, str(tmp_path_factory.mktemp("cache")))
        yield


def submission(what: str = "test", by: str = "Ash") -> Submission:
    """A submission of a test."""
    return Submission(by, "terminal", what)


@pytest.fixture
def submit() -> Callable[..., Submission]:
    """Makes submissions."""
    return submission


def make_log(path: Path) -> Log:
    """A log with one sheet, two people, a feeler, and job J-1 of case S-9."""
    made = Log(path)
    made.create(timezone="Europe/London")
    sheets.add(made, read_sheet(SHEET), submission("sheet"))
    for name, role in (("Ash", "technician"), ("Heron", "inspector")):
        people.add_person(made, Person(name, role), submission("person"))
    leaves = tuple(float(n) for n in range(2, 26))
    people.add_gauge(made, Gauge("FG-1", "feeler", "thou", 1.0, leaves), submission("gauge"))
    jobs.open_job(made, Job("J-1", "MR-1", now(), case_serial="S-9"), submission("job"))
    return made


@pytest.fixture(scope="session")
def made_once(tmp_path_factory: pytest.TempPathFactory) -> Log:
    """The log of `make_log`, made once: each test gets a copy of the closed file, which is quicker than making one."""
    return make_log(tmp_path_factory.mktemp("made") / "shop.duckdb")


@pytest.fixture
def log(tmp_path: Path, made_once: Log) -> Log:
    """The log of `make_log`."""
    return copied(made_once, tmp_path)


def copied(log: Log, folder: Path) -> Log:
    """A copy of a log that nothing holds open."""
    return Log(Path(shutil.copy(log.path, folder / log.path.name)))


@pytest.fixture(scope="session")
def sample(tmp_path_factory: pytest.TempPathFactory) -> Log:
    """The sample workshop as a log, which many tests look at and none changes."""
    log = Log(tmp_path_factory.mktemp("sample") / "demo.duckdb")
    import_folder(
        log, resources.folder("sample_data"), Submission("Rook", "demo", "sample workshop"), timezone="Europe/London"
    )
    return log


@pytest.fixture(scope="session")
def watched(sample: Log) -> Watched:
    """Its findings."""
    return finding_life.watch(sample)


def write_folder(folder: Path, **tables: str) -> Path:
    """An exchange folder from the texts of its tables (`sheet` is the case type's)."""
    (folder / "case_types").mkdir(parents=True, exist_ok=True)
    for name, text in tables.items():
        if name == "sheet":
            (folder / "case_types" / "sheet.toml").write_text(text, encoding="utf-8")
        else:
            (folder / f"{name}.csv").write_text(text, encoding="utf-8")
    return folder


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A small folder that imports: one case type, two people, two gauges, three jobs, five readings."""
    return write_folder(
        tmp_path / "folder",
        sheet=SHEET,
        people="person,role\nAsh,technician\nHeron,inspector\n",
        gauges="gauge,kind,unit,step,leaves\nFG-1,feeler,thou,1,15 16 17 18 19 20 21\nTQ-1,torque,lbf·in,0.5,\n",
        gauge_checks="gauge,checked_at,event,reference,reading,unit,by\nFG-1,2026-01-02T08:00,check,20,20,thou,Heron\n",
        jobs="job,case_type,case_serial,rebuild,machining_batch,opened\n"
        "J-1,MR-1,S-9,1,,2026-01-05\nJ-2,MR-1,S-10,1,M01,2026-01-06\nJ-3,MR-1,S-9,2,,2026-02-06\n",
        parts="job,part,lot,condition\nJ-1,bearing,B-7,new\nJ-2,bearing,B-7,reused\n",
        readings="job,characteristic,stage,position,attempt,reading,unit,gauge,technician,taken_at,conditions,replaces,reason\n"
        "J-1,trial_pack,trial,,,40,,,Ash,2026-01-05T09:00,,,\n"
        "J-1,stand_off,final,12,1,19/20,,FG-1,Ash,2026-01-05T10:00,,,\n"
        "J-1,stand_off,final,3,1,61,,FG-1,Ash,2026-01-05T10:01,,,\n"
        "J-1,stand_off,final,3,2,16,,FG-1,Ash,2026-01-05T10:02,,1,mistyped\n"
        "J-2,torque,final,,1,1.4,N·m,TQ-1,Ash,2026-01-06T10:02:30+01:00,oiled rotating,,\n",
        comebacks="job,returned,complaint,attributable,hours\nJ-1,2026-05-05,noisy,open,120\n",
    )
