"""The page in a real browser: it draws, a click shows the part's figures, items and findings light up parts."""

import base64
import re
from pathlib import Path

import pytest
from build import Model

from takeoff import pipeline
from takeoff.outputs.finding_groups import group_findings
from takeoff.outputs.page.content import all_findings
from takeoff.outputs.page.page import ASSETS, write_page
from takeoff.pricing.unit_systems import feet_and_inches
from takeoff.settings import Settings

sync_api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")

SAMPLE = Path(__file__).parents[1] / "sample_models" / "archive-ifc4.ifc"
# software drawing: no display or graphics card is needed
FLAGS = ["--no-sandbox", "--use-gl=angle", "--use-angle=swiftshader", "--enable-unsafe-swiftshader"]
HOSTILE = "</script><img src=x onerror=alert(2)>"


@pytest.fixture(scope="module")
def run():
    return pipeline.bill([SAMPLE])


@pytest.fixture(scope="module")
def path(run, tmp_path_factory):
    path = tmp_path_factory.mktemp("page") / "page.html"
    write_page(path, run)
    return path


@pytest.fixture(scope="module")
def browser():
    from shutil import which

    found = which("chromium") or which("chromium-browser") or which("google-chrome")
    if found is None:
        pytest.skip("no Chromium on this machine")
    with sync_api.sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=found, args=FLAGS)
        yield browser
        browser.close()


class Seen:
    """A page that is open, with everything that it complained of or asked the network for."""

    def __init__(self, browser, path, **look):
        # the browser is offline: whatever is fetched fails and shows in the console
        self.context = browser.new_context(
            viewport={"width": 1400, "height": 900}, offline=True, reduced_motion="reduce", **look
        )
        self.page = self.context.new_page()
        self.page.set_default_timeout(15_000)
        self.complaints: list[str] = []
        self.page.on("console", lambda m: self.complaints.append(m.text) if m.type == "error" else None)
        self.page.on("pageerror", lambda error: self.complaints.append(str(error)))
        self.page.on("dialog", lambda dialog: (self.complaints.append(dialog.message), dialog.dismiss()))
        own = (path.as_uri(), "data:")
        self.page.on("request", lambda r: None if r.url.startswith(own) else self.complaints.append(r.url))
        self.page.goto(path.as_uri())
        self.page.wait_for_selector("html[data-ready]", timeout=60_000)
        self.settle()

    def settle(self) -> None:
        self.page.wait_for_timeout(150)

    def picture(self) -> bytes:
        self.settle()
        return self.page.locator("#canvas").screenshot()

    def margins_are_empty(self) -> bool:
        """Whether nothing is drawn along the left and right side of the canvas, so that no part is cut off."""
        picture = base64.b64encode(self.picture()).decode()
        return self.page.evaluate(
            """async (picture) => {
            const image = new Image();
            image.src = "data:image/png;base64," + picture;
            await image.decode();
            const paper = document.createElement("canvas");
            [paper.width, paper.height] = [image.width, image.height];
            const brush = paper.getContext("2d");
            brush.drawImage(image, 0, 0);
            const colours = [1, image.width - 2].flatMap((x) => {
                const { data } = brush.getImageData(x, 2, 1, image.height - 4);
                return [...new Uint32Array(data.buffer)];
            });
            return new Set(colours).size === 1;
            }""",
            picture,
        )

    def click_middle(self, across: float = 0.5, down: float = 0.5) -> None:
        box = self.page.locator("#canvas").bounding_box()
        self.page.mouse.click(box["x"] + across * box["width"], box["y"] + down * box["height"])
        self.settle()

    def facts(self) -> dict[str, str]:
        names = self.page.locator("#details dt").all_inner_texts()
        return dict(zip(names, self.page.locator("#details dd").all_inner_texts(), strict=True))


def shown_part(run, facts):
    """The part of which the page tells these facts."""
    return next(
        part
        for part in run.measurement.parts
        if part.global_id == facts["GlobalId"] and part.part == int(facts["Part"].split(",")[0])
    )


@pytest.fixture
def seen(browser, path):
    seen = Seen(browser, path)
    yield seen
    seen.context.close()
    assert seen.complaints == []


def test_click_shows_the_figures_of_the_part(seen, run):
    seen.click_middle()
    facts = seen.facts()
    part = shown_part(run, facts)
    assert facts["Net volume"] == f"{part.net_volume_m3:,.3f} m3"
    assert facts["Formwork"] == f"{part.formwork_m2:,.2f} m2"
    assert facts["Evidence"] == part.evidence
    assert seen.page.locator("#clicked-face").inner_text().startswith("Clicked face: ")
    assert part.name in seen.page.locator("#status").inner_text()
    items = {row.item for row in run.bill.dimensions if row.global_id == part.global_id}
    assert seen.page.locator("#details .links >> nth=0").locator("li").count() == len(items)
    marked = seen.page.locator("tr.chosen[data-item]")
    assert marked.count() == len(items)


def test_clicked_face_tells_its_state(seen):
    seen.page.select_option("#mode", "formwork")
    seen.page.select_option("#from", "above")
    seen.settle()
    seen.click_middle(0.45, 0.45)
    assert "free top surface" in seen.page.locator("#clicked-face").inner_text()
    seen.page.keyboard.press("Escape")
    seen.page.select_option("#from", "below")
    seen.settle()
    seen.click_middle()
    assert "on the ground" in seen.page.locator("#clicked-face").inner_text()


def test_legend_of_formwork_has_the_measured_area(seen, run):
    seen.page.select_option("#mode", "formwork")
    legend = seen.page.locator("#legend").inner_text()
    total = sum(row.area_m2 for row in run.measurement.formwork)
    assert f"formed: {total:,.1f} m2" in legend


def test_an_item_lights_up_its_parts(seen, run):
    item = next(item for section in run.bill.sections for item in section.items if "column" in item.key)
    parts = {(row.global_id, row.part) for row in run.bill.dimensions if row.item == item.key}
    before = seen.picture()
    seen.page.click("#tab-bill")
    seen.page.get_by_role("button", name=item.number, exact=True).click()
    assert seen.picture() != before
    number = f"{len(parts)} part" + ("s" if len(parts) != 1 else "")
    assert seen.page.locator("#status").inner_text() == f"Item {item.number}: {number}"
    assert seen.page.locator("tr.open li").count() == min(len(parts), 26)
    seen.page.click("#tab-parts")
    assert seen.page.locator("#part-list tbody tr").count() == len(parts)
    seen.page.click("#clear")
    assert seen.picture() == before


def test_a_part_leads_to_its_item_and_back(seen):
    seen.click_middle()
    part = seen.page.locator("#details h3").first.inner_text()
    button = seen.page.locator("#details .links button").first
    number = button.inner_text()
    button.click()
    assert seen.page.locator("tr.chosen[data-item] button[aria-pressed='true']").inner_text() == number
    seen.page.locator("tr.open button", has_text=part).first.click()
    assert seen.page.locator("#details h3").first.inner_text() == part


def test_findings_lead_to_their_elements(seen, run):
    finding = next(f for f in run.measurement.findings if f.kind == "duplicate")
    seen.page.click("#tab-findings")
    seen.page.get_by_role("button", name="duplicate", exact=True).click()
    seen.page.locator("tr.open button").first.click()
    assert seen.facts()["GlobalId"] == finding.global_id
    told = seen.page.locator("#details").inner_text()
    name = next(part.name for part in run.measurement.parts if part.global_id == finding.global_id)
    assert finding.message.removeprefix(f"{name}: ") in told
    priced = next(f for f in all_findings(run) if f == finding)
    assert f"At stake: {priced.worth:,.3f} {priced.worth_unit}, {priced.money:,.2f} units." in told
    assert f"Ask: {priced.ask}" in told


def test_each_kind_of_finding_says_what_it_is_worth_and_what_to_ask(seen, run):
    seen.page.click("#tab-findings")
    kinds = group_findings(all_findings(run))
    rows = seen.page.locator("#finding-kinds tr[data-kind]")
    assert rows.count() == len(kinds)
    for n, kind in enumerate(kinds):
        worth = ", ".join(kind.stakes)
        money = "" if kind.money is None else f"{kind.money:,.2f}"
        assert rows.nth(n).locator("td").all_inner_texts()[2:] == [worth, money]
        asked = rows.nth(n).locator("xpath=following-sibling::tr[1]")
        assert asked.inner_text() == kind.ask


def test_colours_storey_and_cut_change_the_picture(seen):
    pictures = {seen.picture()}
    for mode in ("role", "storey", "finding", "formwork"):
        seen.page.select_option("#mode", mode)
        pictures.add(seen.picture())
    seen.page.select_option("#storey", "Basement")
    pictures.add(seen.picture())
    seen.page.select_option("#storey", "Ground floor")
    alone = seen.picture()
    seen.page.check("#below")
    pictures |= {alone, seen.picture()}
    seen.page.locator("#cut").fill("500")
    pictures.add(seen.picture())
    assert len(pictures) == 9
    assert " m up" in seen.page.locator("#cut-at").inner_text()


def test_keyboard_alone_reaches_everything(seen):
    page = seen.page
    page.locator("#tab-overview").focus()
    page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowRight")
    assert page.locator("#parts").is_visible()
    page.locator("#part-list button").first.focus()
    page.keyboard.press("ArrowDown")
    second = page.evaluate("document.activeElement.textContent")
    page.keyboard.press("Enter")
    assert page.locator("#details h3").first.inner_text() == second
    focus = "document.activeElement.id || document.activeElement.textContent"
    assert page.evaluate(focus) == "part"  # not lost with the list that is hidden now
    item = page.locator("#details .links button").first
    item.focus()
    number = item.inner_text()
    page.keyboard.press("Enter")
    assert page.evaluate(focus) == number
    page.locator("tr.open button").first.focus()
    page.keyboard.press("Escape")
    assert page.evaluate(focus) == "tab-bill"
    before = seen.picture()
    page.locator("#canvas").focus()
    page.keyboard.press("ArrowLeft")
    turned = seen.picture()
    page.keyboard.press("+")
    assert len({before, turned, seen.picture()}) == 3


def test_every_control_has_a_name(seen):
    unnamed = seen.page.evaluate(
        """[...document.querySelectorAll('button, select, input, canvas')].filter((control) =>
        !(control.textContent.trim() && control.tagName === 'BUTTON') && !control.ariaLabel &&
        !control.getAttribute('aria-label') && !control.labels?.length).map((control) => control.outerHTML)"""
    )
    assert unnamed == []
    # who speaks to the page says what is seen (WCAG 2.2, 2.5.3)
    misnamed = seen.page.evaluate(
        """[...document.querySelectorAll('button[aria-label], input[aria-label]')].filter((control) => {
        const words = (control.textContent || control.labels?.[0]?.textContent || '').trim();
        return words && !control.getAttribute('aria-label').includes(words);
        }).map((control) => control.outerHTML)"""
    )
    assert misnamed == []
    tabs = seen.page.get_by_role("tab")
    assert tabs.count() == 5
    assert seen.page.get_by_role("tabpanel").count() == 1


def test_search_finds_parts(seen, run):
    seen.page.click("#tab-parts")
    seen.page.fill("#find", "twin east")
    told = [part for part in run.measurement.parts if re.search("(?i)twin.*east", part.name)]
    assert seen.page.locator("#part-list tbody tr").count() == len(told) > 0


def test_dark_look_by_the_system_and_by_choice(browser, path):
    seen = Seen(browser, path, color_scheme="dark")
    colour = "getComputedStyle(document.body).backgroundColor"
    assert seen.page.evaluate(colour) == "rgb(20, 25, 30)"
    seen.page.select_option("#look", "light")
    assert seen.page.evaluate(colour) == "rgb(255, 255, 255)"
    seen.context.close()
    assert seen.complaints == []


def test_printed_it_has_the_bill_and_the_model(seen, run, tmp_path):
    seen.page.emulate_media(media="print")
    for name in ("overview", "bill", "findings"):
        assert seen.page.locator(f"#{name}").is_visible()
    assert not seen.page.locator("[role=tablist]").is_visible()
    assert f"{run.bill.grand_total:,.2f}" in seen.page.locator("#bill").inner_text()
    printed = seen.page.pdf(path=tmp_path / "page.pdf", format="A4")
    assert printed.startswith(b"%PDF")


def test_narrow_window_shows_all_of_the_model_and_readable_lists(browser, path):
    seen = Seen(browser, path)
    seen.page.set_viewport_size({"width": 390, "height": 1200})
    seen.settle()
    assert seen.page.evaluate("document.documentElement.scrollWidth") <= 390
    assert seen.margins_are_empty()
    seen.page.click("#tab-parts")
    name = seen.page.locator("#part-list th[scope=row]").first.bounding_box()
    assert name is not None
    assert name["width"] > 100
    seen.context.close()


def test_hostile_words_are_shown_and_not_run(browser, tmp_path):
    m = Model("IFC4", "mm", name="hostile")
    m.wall((0, 0), (5, 0), 0.2, 3.0, name=HOSTILE)
    path = tmp_path / "hostile.html"
    write_page(path, pipeline.bill([m.save(tmp_path / "hostile.ifc")]))
    seen = Seen(browser, path)
    seen.click_middle()
    assert seen.page.locator("#details h3").first.inner_text() == HOSTILE
    assert seen.page.locator("img").count() == 0
    seen.context.close()
    assert seen.complaints == []


def test_without_graphics_the_tables_remain(browser, path):
    context = browser.new_context()
    page = context.new_page()
    page.add_init_script("HTMLCanvasElement.prototype.getContext = () => null")
    page.goto(path.as_uri())
    page.wait_for_selector("html[data-ready]")
    assert "tables are complete" in page.locator("#notice").inner_text()
    page.click("#tab-parts")
    page.locator("#part-list button").first.click()
    assert page.locator("#details dd").count() > 5
    context.close()


@pytest.fixture(scope="module")
def divided(tmp_path_factory):
    """The page of a wall of 30 m that is divided into three pieces."""
    folder = tmp_path_factory.mktemp("divided")
    m = Model("IFC4", "mm", name="long")
    m.wall((0, 0), (30, 0), 0.2, 3.0, name="Long wall", material="Concrete C40/50", made="Precast")
    run = pipeline.bill([m.save(folder / "long.ifc")])
    write_page(folder / "long.html", run)
    return folder / "long.html", run


def test_a_divided_body_is_shown_as_its_pieces(browser, divided):
    path, run = divided
    seen = Seen(browser, path)
    page = seen.page
    whole = seen.picture()
    page.check("#divided")
    assert page.locator("#status").inner_text() == "1 body shown as 3 pieces"
    assert seen.picture() != whole
    assert "precast: 3" in page.locator("#legend").inner_text()
    seen.click_middle()
    marks = {row.panel: row for row in run.measurement.pieces}
    assert seen.facts()["GlobalId"] == marks["2 of 3"].global_id
    assert page.locator("#details").get_by_text("Piece 2 of 3").count() == 1
    status = page.locator("#status").inner_text()
    assert status.endswith(f"piece 2 of 3, {marks['2 of 3'].mark}")
    # from the table to another piece, by the keyboard, and back to the body as modelled
    page.get_by_role("button", name=marks["2 of 3"].mark, exact=True).focus()
    page.keyboard.press("ArrowDown")
    page.keyboard.press("Enter")
    seen.settle()
    assert page.evaluate("document.activeElement.textContent") == marks["3 of 3"].mark
    assert page.locator("#status").inner_text().endswith(marks["3 of 3"].mark)
    page.select_option("#mode", "repetition")
    assert "made 2 to 4 times: 3" in page.locator("#legend").inner_text()
    page.uncheck("#divided")
    assert "made 2 to 4 times: 1" in page.locator("#legend").inner_text()
    page.keyboard.press("Escape")
    page.select_option("#mode", "method")
    assert seen.picture() == whole
    seen.context.close()
    assert seen.complaints == []


def test_a_page_without_divisions_does_not_offer_them(seen):
    assert seen.page.locator("#divided").count() == 0


def test_the_score_stands_in_the_page(browser, run, tmp_path):
    from takeoff.scored import scheme_of, with_score
    from takeoff.settings import Settings

    scheming = Settings(scoring=Path("example"))
    scored = with_score(run, scheme_of(scheming), scheming)
    write_page(tmp_path / "scored.html", scored)
    seen = Seen(browser, tmp_path / "scored.html")
    words = seen.page.locator("#score").inner_text()
    assert "no certificate" in words
    assert f"{scored.score.total:.2f}" in words
    assert seen.page.locator("#score tbody tr").count() == len(scored.score.parts) + len(scored.score.bonuses)
    seen.context.close()
    assert seen.complaints == []


def test_an_imperial_page_shows_feet_and_yards(browser, tmp_path):
    run = pipeline.bill([SAMPLE], Settings(units="imperial"))
    write_page(tmp_path / "imperial.html", run)
    seen = Seen(browser, tmp_path / "imperial.html")
    seen.click_middle()
    facts = seen.facts()
    part = shown_part(run, facts)
    assert facts["Net volume"] == f"{part.net_volume_m3 / 0.9144**3:,.3f} yd3"
    assert facts["Formwork"] == f"{part.formwork_m2 / 0.3048**2:,.2f} ft2"
    sides = [part.length_m, part.width_m, part.height_m]
    assert facts["Length, width, height"] == " x ".join(map(feet_and_inches, sides))
    sizes = [0.0, 0.02, 0.2, 0.3048, 2.75, 6.0, -1.5, 0.3048 - 0.0254 / 64]
    source = re.search(
        r"(?s)\nfunction feetAndInches.*?\n}\n", (ASSETS / "data.js").read_text(encoding="utf-8")
    )
    shown = seen.page.evaluate(f"(sizes) => {{ {source.group()} return sizes.map(feetAndInches); }}", sizes)
    assert shown == [feet_and_inches(size) for size in sizes]
    seen.page.select_option("#mode", "formwork")
    total = sum(row.area_m2 for row in run.measurement.formwork) / 0.3048**2
    assert f"formed: {total:,.1f} ft2" in seen.page.locator("#legend").inner_text()
    seen.context.close()
    assert seen.complaints == []
