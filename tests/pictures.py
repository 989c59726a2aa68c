"""Pictures for the README from the sample model: the page, the sheets of the workbook, the terminal.

Run `python tests/pictures.py` to write takeoff/docs/pictures/*.png. Needs Chromium, LibreOffice and pdftoppm.
"""

import io
import subprocess
import tempfile
from pathlib import Path
from shutil import which

from playwright.sync_api import Page, sync_playwright
from rich.console import Console

from takeoff import pipeline
from takeoff.outputs.page.page import write_page
from takeoff.outputs.summary import summary_lines
from takeoff.outputs.terminal import styled
from takeoff.outputs.workbook.book import write_workbook

ROOT = Path(__file__).resolve().parents[1]
FOLDER = ROOT / "takeoff" / "docs" / "pictures"
SAMPLE = ROOT / "sample_models" / "archive-ifc4.ifc"
FLAGS = ["--no-sandbox", "--use-gl=angle", "--use-angle=swiftshader", "--enable-unsafe-swiftshader"]
SHEETS = {"Summary": "workbook-summary", "Bill": "workbook-bill", "Dimensions": "workbook-dimensions"}
LIMIT = 250_000
"""No picture is larger than this, bytes."""


def page_pictures(page: Page) -> None:
    """The page by method, its formwork with a chosen part, an item lit up, and the dark look."""

    def shoot(name: str) -> None:
        page.wait_for_timeout(700)
        page.screenshot(path=FOLDER / f"{name}.png")

    shoot("page-method")
    page.select_option("#mode", "formwork")
    box = page.locator("#canvas").bounding_box()
    assert box is not None
    page.mouse.click(box["x"] + 0.45 * box["width"], box["y"] + 0.62 * box["height"])
    shoot("page-formwork")
    page.keyboard.press("Escape")
    page.select_option("#mode", "role")
    page.click("#tab-bill")
    page.locator("tr[data-item]", has_text="columns").locator("button").first.click()
    shoot("page-item")
    page.keyboard.press("Escape")
    page.select_option("#look", "dark")
    page.select_option("#mode", "finding")
    page.click("#tab-findings")
    page.get_by_role("button", name="method-assumed", exact=True).click()
    shoot("page-findings-dark")


def workbook_pictures(workbook: Path, scratch: Path) -> None:
    """The first printed page of some sheets; each page is headed with the title and the sheet's name."""
    convert = ["soffice", "--headless", "--convert-to", "pdf", "--outdir", str(scratch), str(workbook)]
    subprocess.run(convert, check=True, capture_output=True)
    printed = str(workbook.with_suffix(".pdf"))
    text = subprocess.run(["pdftotext", "-layout", printed, "-"], check=True, capture_output=True, text=True)
    heads = [page.strip().split("\n")[0].split() for page in text.stdout.split("\f")]
    for sheet, name in SHEETS.items():
        number = str(1 + next(n for n, words in enumerate(heads) if words and words[-1] == sheet))
        shoot = ["pdftoppm", "-png", "-r", "90", "-f", number, "-l", number, "-singlefile"]
        subprocess.run([*shoot, printed, str(FOLDER / name)], check=True)


def terminal_picture(run: pipeline.Run, page: Page) -> None:
    """The closing words as a terminal shows them."""
    console = Console(record=True, width=84, force_terminal=True, file=io.StringIO())
    console.print(styled("$ takeoff bill sample_models/archive-ifc4.ifc --out bill.xlsx"))
    for line in summary_lines(run.measurement, run.bill, run.shares):
        console.print(styled(line))
    page.set_content(f"<body style='margin:0'>{console.export_svg(title='takeoff')}</body>")
    page.locator("svg").first.screenshot(path=FOLDER / "terminal.png")


def main() -> None:
    """Write all pictures."""
    FOLDER.mkdir(parents=True, exist_ok=True)
    run = pipeline.bill([SAMPLE])
    assert run.bill is not None
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        scratch = Path(folder)
        write_page(scratch / "page.html", run)
        write_workbook(scratch / "bill.xlsx", run.measurement, run.bill, run.record)
        browser = playwright.chromium.launch(executable_path=which("chromium"), args=FLAGS)
        page = browser.new_page(viewport={"width": 1280, "height": 800})
        page.goto((scratch / "page.html").as_uri())
        page.wait_for_selector("html[data-ready]")
        page_pictures(page)
        terminal_picture(run, browser.new_page(viewport={"width": 1100, "height": 900}))
        browser.close()
        workbook_pictures(scratch / "bill.xlsx", scratch)
    for picture in FOLDER.glob("*.png"):
        print(picture.name, picture.stat().st_size)
        assert picture.stat().st_size < LIMIT, picture


if __name__ == "__main__":
    main()
