"""What a page holds: every figure of the tables, every face in its state, and no way in for hostile text."""

import json
import math
import re
from collections import defaultdict
from pathlib import Path

import numpy as np
import pytest
from build import Model
from click.testing import CliRunner
from page_reader import Elements, page_data, values
from scipy.spatial import cKDTree

from takeoff import pipeline
from takeoff.cli import main
from takeoff.outputs.page.faces import FILLED, OUTLINED, STATES
from takeoff.outputs.page.page import ASSETS, page_text
from takeoff.settings import Settings

SAMPLE = Path(__file__).parents[1] / "sample_models" / "archive-ifc4.ifc"
HOSTILE = "</script><script>alert(1)</script><img src=x onerror=alert(2)>&quot;'{{7*7}}"


@pytest.fixture(scope="module")
def run():
    return pipeline.bill([SAMPLE])


@pytest.fixture(scope="module")
def text(run):
    return page_text(run)


@pytest.fixture(scope="module")
def data(text):
    return page_data(text)


def test_parts_are_the_measured_parts(run, data):
    content, _ = data
    for name, decimals in (("net_volume_m3", 4), ("formwork_m2", 4), ("reinforcement_kg", 4)):
        shown = values(content["parts"][name])
        told = [getattr(part, name) for part in run.measurement.parts]
        assert shown == [None if value is None else round(value, decimals) for value in told]
    for name in ("global_id", "evidence", "method", "storey"):
        assert values(content["parts"][name]) == [getattr(part, name) for part in run.measurement.parts]


def test_faces_have_the_areas_of_the_tables(run, data):
    """Formed faces add up to the formwork rows by part and category; the others to the other surfaces."""
    content, arrays = data
    filled = (arrays["flags"] & FILLED) > 0
    drawn: dict[tuple[int, str], float] = defaultdict(float)
    rows = zip(arrays["body"][filled], arrays["state"][filled], arrays["category"][filled], strict=True)
    for (body, state, category), area in zip(rows, arrays["area"][filled], strict=True):
        word = content["categories"][category] if category else content["states"][state]
        drawn[content["bodies"][body], word] += float(area)
    places = {(part.model, part.global_id, part.part): n for n, part in enumerate(run.measurement.parts)}
    told: dict[tuple[int, str], float] = defaultdict(float)
    for row in run.measurement.formwork:
        told[places[row.model, row.global_id, row.part], row.category] += row.area_m2
    for row in run.measurement.surfaces:
        told[places[row.model, row.global_id, row.part], row.state] += row.area_m2
    compared = {key for key in drawn if key[1] != "not-formed"} | set(told)
    assert len(compared) > 80
    for key in compared:
        assert drawn[key] == pytest.approx(told[key], rel=1e-4, abs=1e-4), key


def test_faces_lie_where_the_bodies_are(run, data):
    """Corners of whole flat faces are corners of the body's mesh, within the steps of its box."""
    _, arrays = data
    box = arrays["box"].reshape(-1, 6)
    corners = arrays["corners"].reshape(-1, 3)
    ring_face = np.repeat(np.arange(len(arrays["rings"])), arrays["rings"])
    face = np.repeat(ring_face, arrays["ring"])
    body = arrays["body"][face]
    points = box[body, :3] + corners / 65_535 * box[body, 3:]
    whole = (arrays["flags"][face] & OUTLINED) > 0
    checked = 0
    for number, measured in enumerate(run.measured.bodies):
        own = points[whole & (body == number)]
        distance, _ = cKDTree(measured.mesh.vertices).query(own)
        assert len(own) >= 8
        assert distance.max() < 5e-4
        checked += len(own)
    assert checked > 1_000


def test_items_and_parts_lead_to_each_other(run, data):
    content, _ = data
    items = [item for section in run.bill.sections for item in section.items]
    assert [item["number"] for item in content["items"]] == [item.number for item in items]
    for shown, item in zip(content["items"], items, strict=True):
        rows = [row for row in run.bill.dimensions if row.item == item.key]
        parts = {run.measurement.parts[place].global_id for place in shown["parts"]}
        assert parts == {row.global_id for row in rows if row.global_id}
        if all(row.global_id for row in rows):
            total = math.fsum(values(shown["quantities"]))
            assert total == pytest.approx(item.quantity, abs=5.1e-3)  # the bill states areas to two decimals


def test_findings_lead_to_their_elements(run, data):
    content, _ = data
    shown = 0
    for kind in content["findings"]:
        for model, global_id, parts in zip(
            values(kind["model"]), values(kind["global_id"]), kind["parts"], strict=True
        ):
            own = {n for n, part in enumerate(run.measurement.parts)
                   if (part.model, part.global_id) == (model, global_id)}  # fmt: skip
            assert set(parts) == own
            shown += 1
    assert shown == len(set(run.measurement.findings) | set(run.bill.findings))


def test_bill_stands_in_the_page_without_scripts(run, text):
    words = " ".join(Elements(text).words)
    for section in run.bill.sections:
        if section.items:
            assert f"{section.total:,.2f}" in words
        for item in section.items:
            assert " ".join(item.description.split()) in " ".join(words.split())
    assert f"{run.bill.grand_total:,.2f}" in words


def test_page_needs_nothing_else(text):
    elements = Elements(text)
    for tag, attributes in elements.tags:
        assert tag not in ("link", "iframe", "img", "object", "embed"), tag
        assert "src" not in attributes
        assert "href" not in attributes
    style = re.search(r"<style>(.*?)</style>", text, re.DOTALL)[1]
    assert "url(" not in style
    assert "@import" not in style
    policy = next(a["content"] for tag, a in elements.tags if "http-equiv" in a)
    assert policy.startswith("default-src 'none'")
    assert "unsafe" not in policy


def test_page_is_always_alike(run, text):
    assert page_text(run) == text


def test_hostile_words_stay_words(tmp_path):
    m = Model("IFC4", "mm", name="hostile")
    m.wall((0, 0), (5, 0), 0.2, 3.0, name=HOSTILE, material=f"Concrete C30/37 {HOSTILE}")
    path = m.save(tmp_path / "a<b>&'.ifc")
    out = tmp_path / "page.html"
    result = CliRunner().invoke(main, ["page", str(path), "--out", str(out), "--title", HOSTILE])
    assert result.exit_code == 0, result.stderr
    text = out.read_text(encoding="utf-8")
    elements = Elements(text)
    assert [tag for tag, _ in elements.tags].count("script") == 4
    assert "img" not in [tag for tag, _ in elements.tags]
    assert not [a for _, a in elements.tags if any(name.startswith("on") for name in a)]
    assert HOSTILE in "".join(elements.words)
    content, _ = page_data(text)
    assert HOSTILE in values(content["parts"]["name"])
    script = "".join(
        elements.scripts[name] for name in elements.scripts if name not in ("content", "geometry")
    )
    for sink in ("innerHTML", "outerHTML", "insertAdjacentHTML", "document.write", "eval("):
        assert sink not in "".join((ASSETS / name).read_text() for name in _own_scripts()), sink
    assert script


def _own_scripts() -> list[str]:
    from takeoff.outputs.page.page import SCRIPTS

    assert {path.name for path in ASSETS.glob("*.js")} == {*SCRIPTS, "three.min.js"}
    return list(SCRIPTS)


def test_measure_writes_a_page_without_a_bill(tmp_path):
    m = Model("IFC4", "mm", name="shed")
    m.wall((0, 0), (5, 0), 0.2, 3.0)
    path = m.save(tmp_path / "shed.ifc")
    out = tmp_path / "shed.html"
    result = CliRunner().invoke(
        main, ["measure", str(path), "--out", str(tmp_path / "t"), "--page", str(out)]
    )
    assert result.exit_code == 0, result.stderr
    assert str(out) in result.stdout
    content, arrays = page_data(out.read_text(encoding="utf-8"))
    assert content["items"] == []
    formed = (arrays["state"] == STATES.index("formed")) & ((arrays["flags"] & FILLED) > 0)
    assert float(arrays["area"][formed].sum()) == pytest.approx(2 * 5 * 3 + 2 * 0.2 * 3)
    assert "Bill of quantities" not in out.read_text(encoding="utf-8")


@pytest.mark.parametrize("command", [["page", "--out"], ["bill", "--out", "b.xlsx", "--page"]])
def test_a_page_has_a_browser_s_ending(command, tmp_path):
    result = CliRunner().invoke(main, [*command, str(tmp_path / "page.txt"), str(SAMPLE)])
    assert result.exit_code == 2
    assert ".html" in result.stderr


def test_page_cannot_go_where_there_is_no_folder(tmp_path):
    m = Model("IFC4", "mm", name="shed")
    m.wall((0, 0), (5, 0), 0.2, 3.0)
    path = m.save(tmp_path / "shed.ifc")
    result = CliRunner().invoke(main, ["page", str(path), "--out", str(tmp_path / "no" / "page.html")])
    assert result.exit_code == 1
    assert "there is no folder" in result.stderr


def test_library_is_the_locked_one_with_its_licence():
    import json

    library = ASSETS.parent / "library"
    lock = json.loads((library / "package-lock.json").read_text())
    version = lock["packages"]["node_modules/three"]["version"]
    assert json.loads((library / "package.json").read_text())["dependencies"]["three"] == version
    head = (ASSETS / "three.min.js").read_text(encoding="utf-8")[:200]
    assert f"three.js {version}, MIT" in head
    assert "Permission is hereby granted" in (ASSETS / "three.LICENSE.txt").read_text(encoding="utf-8")


def test_comparison_has_a_page_headed_by_the_alternatives(tmp_path):
    out = tmp_path / "c.html"
    arguments = ["compare", str(SAMPLE), "--out", str(tmp_path / "c.xlsx"), "--page", str(out), "--json"]
    arguments += ["--alternatives", str(SAMPLE.with_name("alternatives.toml")), "--draws", "100"]
    result = CliRunner().invoke(main, arguments)
    assert result.exit_code == 0, result.stderr
    words = " ".join(Elements(out.read_text(encoding="utf-8")).words)
    told = json.loads(result.stdout)
    named = [one["name"] for one in told["alternatives"]]
    assert len(named) > 1
    for one in told["alternatives"]:
        assert one["name"] in words
        assert f"{one['compared_total']:,.2f}" in words


def test_divided_bodies_are_drawn_as_their_pieces_too(tmp_path):
    """A wall of 30 m with a window in three pieces: their faces close three bodies of the wall's whole volume."""
    m = Model("IFC4", "mm", 33.7, (1e5, 2e5, 12.0), name="long")
    wall = m.wall((0, 0), (30, 0), 0.2, 3.0, name="Long wall", material="Concrete C40/50", made="Precast")
    m.box_void(wall, (9.5, -1, 0.9), (10.7, 1, 2.1))
    m.wall((0, 5), (5, 5), 0.2, 3.0, name="Short wall", material="Concrete C40/50", made="Precast")
    run = pipeline.measure([m.save(tmp_path / "long.ifc")])
    text = page_text(run)
    content, arrays = page_data(text)
    assert ">1 body as its pieces<" in text.replace("> 1", ">1").replace("</label", "<")
    (long,) = [n for n, part in enumerate(run.measurement.parts) if part.name == "Long wall"]
    rows = content["panel_of_body"]
    drawn = [body for body, row in enumerate(rows) if row >= 0]
    assert [content["bodies"][body] for body in drawn] == [long] * 3
    assert [content["bodies"][body] for body in content["divided"]] == [long]
    assert [values(content["pieces"]["panel"])[rows[body]] for body in drawn] == [
        "1 of 3",
        "2 of 3",
        "3 of 3",
    ]
    assert set(arrays["body"][np.isin(arrays["body"], drawn)]) == set(drawn)
    # by hand: both sides 30 x 3 m less the window, top and bottom, ends and two joints twice, rim of the window
    area = 2 * (90 - 1.44) + 2 * 30 * 0.2 + 6 * 3 * 0.2 + 4 * 1.2 * 0.2
    of_pieces = np.isin(arrays["body"], drawn) & ((arrays["flags"] & FILLED) > 0)
    assert arrays["area"][of_pieces].sum() == pytest.approx(area, rel=1e-5)
    assert len(arrays["box"]) == 6 * len(rows)


def test_an_imperial_bill_has_an_imperial_page() -> None:
    """What stands in the page without scripts, and every text of its tables; figures carry their factors."""
    run = pipeline.bill([SAMPLE], Settings(units="imperial"))
    text = page_text(run)
    content, _ = page_data(text)
    assert content["units"]["names"] == {"m3": "yd3", "m2": "ft2", "m": "ft", "t": "ton", "kg": "lb"}
    assert content["units"]["factors"]["m3"] == pytest.approx(1 / 0.9144**3)
    assert content["units"]["feet"] is True
    whole = sum(part.net_volume_m3 or 0.0 for part in run.measurement.parts if part.method != "not-concrete")
    assert f"<td>{whole / 0.9144**3:,.3f}</td></tr></tfoot>" in text
    metric = re.compile(r"(?<![\w/])\d[\d.,]* ?(m|m2|m3|t|kg)(?![\w$])|\b(kg/m[23]|m2|m3|kg)\b")
    plain = re.sub(r"(?s)<(script|style|template)\b.*?</\1>", "", text)
    assert not [found.group() for found in metric.finditer(re.sub(r"<[^>]*>", " ", plain))]
    told = [word for table in ("steel", "pieces", "formwork") for column in content[table].values()
            if isinstance(column, dict) for word in column["words"]]  # fmt: skip
    told += [word for kind in content["findings"] for name in ("message", "assumed")
             for word in values(kind[name])]  # fmt: skip
    assert [word for word in told if metric.search(word)] == []
    assert any("lb/yd3" in word for word in told)
