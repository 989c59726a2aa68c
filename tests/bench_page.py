"""How the page does with 20,000 parts; run by hand: `python tests/bench_page.py [PARTS]`.

Prints the time to write the page, its size, the time until it can be used and until the model is seen in headless
Chromium (which draws on the processor, without a graphics card), the processor time of both, and the time from a click
to the part's figures. Fails beyond 5 s or 30 MB. Other work on the machine counts: run it alone.
"""

import contextlib
import sys
import tempfile
import time
from pathlib import Path
from shutil import which

import psutil
from playwright.sync_api import sync_playwright
from tower import write_tower

from takeoff import pipeline
from takeoff.outputs.page.page import write_page

FLAGS = ["--no-sandbox", "--use-gl=angle", "--use-angle=swiftshader", "--enable-unsafe-swiftshader"]


def main(parts: int) -> None:
    """Measure a tower of about so many parts and open its page."""
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        model, path = Path(folder) / "tower.ifc", Path(folder) / "tower.html"
        count = write_tower(model, parts)
        began = time.perf_counter()
        run = pipeline.bill([model])
        measured = time.perf_counter()
        write_page(path, run)
        written = time.perf_counter()
        size = path.stat().st_size / 1e6
        print(f"{count} parts: measured and priced in {measured - began:.1f} s, page written in "
              f"{written - measured:.1f} s, {size:.1f} MB")  # fmt: skip
        assert size < 30.0
        browser = playwright.chromium.launch(executable_path=which("chromium"), args=FLAGS)
        page = browser.new_page(viewport={"width": 1400, "height": 900})
        idle = _processor_seconds()
        opened = time.perf_counter()
        page.goto(path.as_uri())
        page.wait_for_selector("html[data-ready]", timeout=120_000)
        ready = time.perf_counter() - opened
        page.screenshot(path=str(Path(folder) / "tower.png"))  # waits for the picture
        seen = time.perf_counter() - opened
        busy = _processor_seconds() - idle
        own = page.get_attribute("html", "data-ready")
        box = page.locator("#canvas").bounding_box()
        assert box is not None
        clicked = time.perf_counter()
        page.mouse.click(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
        page.wait_for_selector("#details dt")
        print(f"ready after {ready:.1f} s ({own} ms by the browser's clock), the model seen after {seen:.1f} s, "
              f"{busy:.1f} s of processor time, a click answered in {time.perf_counter() - clicked:.2f} s")  # fmt: skip
        browser.close()
        assert seen < 5.0


def _processor_seconds() -> float:
    """Processor time so far of all processes of the browser."""
    total = 0.0
    for process in psutil.Process().children(recursive=True):
        with contextlib.suppress(psutil.Error):
            times = process.cpu_times()
            total += times.user + times.system
    return total


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 20_000)
