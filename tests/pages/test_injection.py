"""Text from the bench that is HTML, Markdown, SQL, a formula, a path or a page-setting command does nothing anywhere.

The texts are put into every field that takes one. What counts as a formula for a spreadsheet: OWASP, CSV injection.
"""

from __future__ import annotations

import csv
import io
import json
import re
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from qclog.domain import stored
from qclog.domain.sheets.casetype_file import read_sheet
from qclog.services.exchange.export_folder import export_folder
from qclog.services.exchange.import_folder import import_folder
from qclog.services.keeping.verifying import verify
from qclog.services.papers.investigation_file import folder_name, save_folder
from qclog.services.tracing import tracing
from qclog.store.log import Log
from tests.cli.test_no_room import qclog
from tests.conftest import SHEET, submission, write_folder
from tests.pages.conftest import open_page
from tests.report.pages import texts_of

LIVE = (
    "<script>alert(1)</script><img src=x onerror=alert(1)>",
    "[a](http://evil.example)![b](http://evil.example/p.png)",
    "'); DROP TABLE reading;-- \" OR 1=1",
    "=cmd|' /C calc'!A0",
    '#read("/etc/passwd") #eval("1") $x$ \\',
    "*bold* :red[x] `code` | cell | &lt;b&gt;",
)
EVERYTHING = " ".join(LIVE)
JOB = "../../x"
SERIAL = '=HYPERLINK("http://evil.example")'


def cell(text: str) -> str:
    out = io.StringIO()
    csv.writer(out, lineterminator="").writerow([text])
    return out.getvalue()


@pytest.fixture
def hostile(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Log:
    """A log with such text in every field that takes any."""
    name, long = cell(EVERYTHING[:200]), cell(EVERYTHING)
    quoted = json.dumps(EVERYTHING[:200])
    sheet = (
        SHEET.replace('"Marine reduction"', quoted)
        .replace('"Cover stand-off"', quoted)
        .replace('"seen from aft, 12 = top"', quoted)
        .replace('"The maker\'s manual decides."', quoted)
        .replace('"small coupling"', quoted)
    )
    folder = write_folder(
        tmp_path / "hostile",
        sheet=sheet,
        people=f"person,role\n{name},technician\nHeron,inspector\n",
        gauges=f"gauge,kind,unit,step,leaves\n{name},feeler,thou,1,15 16 17 18\n",
        gauge_checks=f"gauge,checked_at,event,reference,reading,unit,by,note\n{name},2026-01-02,check,20,21,thou,,{long}\n",
        jobs="job,case_type,case_serial,casting,rebuild,machining_batch,variant,opened,dispatched,customer_ref,outstanding,"
        f"concession\n{JOB},MR-1,{cell(SERIAL)},{name},1,{name},A,2026-01-05,,{name},{long},{long}\n",
        parts=f"job,part,lot,supplier,condition\n{JOB},{name},{name},{name},new\n",
        readings="job,characteristic,stage,position,attempt,reading,gauge,technician,taken_at,note,replaces,reason\n"
        f"{JOB},stand_off,final,12,1,61,{name},{name},2026-01-05T10:00,{long},,\n"
        f"{JOB},stand_off,final,12,2,16,{name},{name},2026-01-05T10:02,{long},1,{long}\n",
        comebacks=f"job,returned,complaint,finding,attributable\n{JOB},2026-05-05,{long},{long},open\n",
        finding_notes=f"finding,state,found,done,told,by,noted_at\nlot-lot-x,closed,{long},{long},{long},Heron,2026-05-05\n",
        changes=f"kind,case_type,since,note,by\nother,MR-1,2026-01-01,{long},Heron\n",
        strikes=f"job,characteristic,stage,position,attempt,by,reason\n{JOB},stand_off,final,12,1,Heron,{long}\n",
    )
    log = Log(tmp_path / "shop.duckdb")
    import_folder(log, folder, submission(), timezone="Europe/London")
    monkeypatch.setenv("QCLOG_LOG", str(log.path))
    assert verify(log).sound
    return log


MARKDOWN = ("title", "header", "subheader", "markdown", "caption", "info", "success", "warning", "error")
LABELLED = ("button", "radio", "checkbox", "expander", "metric", "selectbox", "text_input", "tabs", "toggle")
ALIVE = re.compile(r"(?<!\\)<(script|img)|(?<!\\)\]\(http|(?<!\\):red\[|(?<![\\\w])\*bold\*|(?<!\\)`code`")


def alive(app: AppTest) -> list[str]:
    """Texts of the page in which something of ours would be taken for Markdown or HTML."""
    found = [str(e.value) for kind in MARKDOWN for e in getattr(app, kind)]
    for kind in LABELLED:
        for element in getattr(app, kind):
            found.append(str(getattr(element, "label", "")))
            if kind == "radio":
                found += map(str, element.options)
    return [text for text in found if ALIVE.search(text)]


@pytest.mark.parametrize("page", ["workshop", "bench", "case_type", "job", "investigation"])
def test_no_text_is_taken_for_markup_on_a_page(hostile: Log, page: str) -> None:
    app = open_page(page, job=JOB, case_type="MR-1", trace=JOB)
    assert alive(app) == []
    if page in ("job", "investigation"):
        assert any("alert" in str(e.value) for kind in MARKDOWN for e in getattr(app, kind))
    assert verify(hostile).sound


def test_the_check_itself_sees_what_is_alive() -> None:
    for text in (LIVE[0], LIVE[1], LIVE[5]):
        assert ALIVE.search(text)


@pytest.mark.parametrize("paper", ["record", "card", "investigation"])
def test_papers_show_the_text_and_do_nothing_with_it(hostile: Log, tmp_path: Path, paper: str) -> None:
    for name in ("paper.html", "paper.pdf"):
        done = qclog("paper", paper, JOB, "--to", str(tmp_path / name), "--log", str(hostile.path))
        assert done.returncode == 0, done.stderr
    html = (tmp_path / "paper.html").read_text(encoding="utf-8")
    assert "<script>alert" not in html
    assert "<img src=x" not in html
    text = " ".join(texts_of((tmp_path / "paper.pdf").read_bytes()))
    assert "root:" not in text
    assert JOB in text


def test_file_names_stay_in_their_folder(hostile: Log, tmp_path: Path) -> None:
    trace = tracing.trace(hostile, JOB)
    assert re.fullmatch(r"[A-Za-z0-9.-]+", folder_name(trace))
    assert not folder_name(trace).startswith(".")
    (tmp_path / "out").mkdir()
    written = save_folder(trace, tmp_path / "out" / folder_name(trace))
    assert all((tmp_path / "out") in f.parents for f in written)
    outside = SHEET.replace('code = "MR-1"', 'code = "../../y"')
    with hostile.writing(submission("sheet")) as use:
        sheet = read_sheet(SHEET)
        use.insert("sheet", case_type="../../y", version="../z", since=None, text=outside, entry=use.entry)
        assert sheet.code == "MR-1"
    (tmp_path / "deep" / "er").mkdir(parents=True)
    export_folder(hostile, tmp_path / "deep" / "er" / "way-out")
    sheets = list((tmp_path / "deep").rglob("*.toml"))
    assert len(sheets) == 2
    assert {f.parent for f in sheets} == {tmp_path / "deep" / "er" / "way-out" / "case_types"}
    assert not list(tmp_path.glob("y*"))


def test_everything_goes_out_and_in_again_as_it_was(hostile: Log, tmp_path: Path) -> None:
    export_folder(hostile, tmp_path / "one")
    again = Log(tmp_path / "again.duckdb")
    import_folder(again, tmp_path / "one", submission(), timezone="Europe/London")
    export_folder(again, tmp_path / "two")
    for file in (tmp_path / "one").rglob("*.csv"):
        assert file.read_bytes() == (tmp_path / "two" / file.name).read_bytes()
        for row in csv.reader(io.StringIO(file.read_text(encoding="utf-8"), newline="")):
            assert not [c for c in row if c[:1] in set("=+-@\t\r")]
    with again.reading() as use:
        (job,) = use.rows("job_by_id", stored.Job, job=JOB)
    assert job.case_serial == SERIAL


def test_sql_in_a_search_or_a_name_is_only_text(hostile: Log) -> None:
    text = LIVE[2]
    for words in (("job", "list", text), ("job", "show", text), ("chart", text, text), ("stock", "list", text)):
        done = qclog(*words, "--log", str(hostile.path))
        assert done.returncode in (0, 1, 2)
        assert "Traceback" not in done.stderr, done.stderr
    assert verify(hostile).readings == 2
