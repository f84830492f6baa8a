"""Takes the README's pictures from the real pages on the sample workshop: python .ci/take_pictures.py"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).parents[1]
sys.path.insert(0, str(ROOT))

import pypdfium2  # noqa: E402 - the checkout comes first on the path
from playwright.sync_api import Page, sync_playwright  # noqa: E402 - the checkout comes first on the path

from qclog.report.pdf import set_pdf  # noqa: E402 - the checkout comes first on the path
from qclog.services.exchange.tour import build  # noqa: E402
from qclog.services.papers.investigation_file import investigation_file  # noqa: E402 - the checkout comes first on the path
from qclog.services.tracing.tracing import trace  # noqa: E402
from qclog.store.log import Log  # noqa: E402
from tests.browser.conftest import CHROMIUM, SWITCHES, serve  # noqa: E402

PICTURES = ROOT / "dashboards" / "pictures"
JOB_IN_WORK = "J0295"
CAME_BACK = "J0118"


def take(page: Page, address: str) -> None:
    """One picture of each page."""
    page.set_viewport_size({"width": 1280, "height": 1020})
    page.goto(f"{address}/case_type?case_type=LR-2&characteristic=recess")
    page.get_by_text("stand out").first.wait_for()
    page.wait_for_timeout(2500)
    page.screenshot(path=PICTURES / "case_type.png")
    page.set_viewport_size({"width": 1280, "height": 860})
    page.goto(f"{address}/bench?job={JOB_IN_WORK}")
    page.get_by_label("Who is at the bench").click()
    page.keyboard.type("Birch")
    page.keyboard.press("Enter")
    page.get_by_label("Reading", exact=True).wait_for()
    page.wait_for_timeout(2500)
    page.screenshot(path=PICTURES / "bench.png")
    page.goto(f"{address}/job?job=J0087")
    page.get_by_text("places read").wait_for()
    page.wait_for_timeout(1500)
    page.screenshot(path=PICTURES / "job.png")
    page.goto(address)
    page.get_by_text("maker's manual and competent").wait_for()
    page.wait_for_timeout(1500)
    page.screenshot(path=PICTURES / "workshop.png")
    page.goto(f"{address}/investigation?trace={CAME_BACK}")
    page.get_by_text("That a reading goes with comebacks").wait_for()
    page.wait_for_timeout(1500)
    page.screenshot(path=PICTURES / "investigation.png")


def draw_paper(log: Log) -> None:
    """The first page of an investigation, from the PDF itself."""
    pdf = set_pdf(investigation_file(trace(log, CAME_BACK)))
    first = pypdfium2.PdfDocument(pdf)[0]
    first.render(scale=1.5).to_pil().save(PICTURES / "investigation_pdf.png")


def main() -> None:
    """Build the sample workshop, serve it, take the pictures."""
    PICTURES.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as play:
        log = Log(Path(folder) / "demo.duckdb")
        for line in build(log):
            print(line)
        chromium = play.chromium.launch(executable_path=CHROMIUM, args=SWITCHES)
        page = chromium.new_page(viewport={"width": 1280, "height": 860})
        for address in serve(log.path):
            take(page, address)
        chromium.close()
        draw_paper(log)


if __name__ == "__main__":
    main()
