"""Findings as BCF topics, read back by the library: the right elements, and a view that looks at them."""

import importlib
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from build import Model
from click.testing import CliRunner
from handed_back import SAMPLES

from takeoff import pipeline
from takeoff.cli import main
from takeoff.measuring.whereabouts import places_of
from takeoff.outputs.bcf.camera import framing
from takeoff.outputs.bcf.container import write_bcf
from takeoff.outputs.bcf.topics import make_topics
from takeoff.pipeline import Run

pytest.importorskip("bcf", reason="the extra `standards` is not installed")
SAMPLE = SAMPLES / "archive-ifc4.ifc"


@pytest.fixture(scope="module")
def run() -> Run:
    return pipeline.measure([SAMPLE])


def _read(path: Path, version: str) -> Any:
    library = importlib.import_module(f"bcf.v{version[0]}.bcfxml")
    return library.BcfXml.load(path)


def _sees(camera: Any, points: np.ndarray) -> bool:
    """Whether all points (n, 3) lie in the cone of a camera read back from a file."""
    eye = np.array([camera.camera_view_point.x, camera.camera_view_point.y, camera.camera_view_point.z])
    looking = np.array([camera.camera_direction.x, camera.camera_direction.y, camera.camera_direction.z])
    up = np.array([camera.camera_up_vector.x, camera.camera_up_vector.y, camera.camera_up_vector.z])
    assert np.linalg.norm(looking) == pytest.approx(1.0)
    assert np.linalg.norm(up) == pytest.approx(1.0)
    assert looking @ up == pytest.approx(0.0, abs=1e-9)
    towards = points - eye
    along = towards @ looking / np.linalg.norm(towards, axis=1)
    return bool((np.degrees(np.arccos(along)) <= camera.field_of_view / 2.0).all())


@pytest.mark.parametrize("version", ["3.0", "2.1"])
def test_topics_read_back(run: Run, tmp_path: Path, version: Any) -> None:
    path = tmp_path / "findings.bcf"
    assert write_bcf(path, run, version) == len(make_topics(run))
    container = _read(path, version)
    assert container.version.version_id == version
    about = [f for f in run.measurement.findings if f.model]
    places = places_of(run.measured.bodies, run.origin)
    seen: dict[str, set[str]] = {}
    for topic in container.topics.values():
        labels = topic.topic.labels.label if version == "3.0" else topic.topic.labels
        (kind,) = labels
        assert topic.topic.description
        for view in topic.viewpoints.values():
            selected = view.get_selected_guids()
            seen.setdefault(kind, set()).update(selected)
            boxes = [places[SAMPLE.name, name] for name in selected if (SAMPLE.name, name) in places]
            corners = np.array([corner for box in boxes for corner in (box.low, box.high)])
            assert _sees(view.visualization_info.perspective_camera, corners)
    for finding in about:
        if finding.global_id:
            assert finding.global_id in seen[finding.kind], finding
    # Of two bodies that are the same thing, both are shown.
    (twice,) = [f for f in about if f.kind == "duplicate"]
    assert len(seen["duplicate"]) == 2
    assert {finding.kind for finding in about} == {
        label
        for topic in container.topics.values()
        for label in (topic.topic.labels.label if version == "3.0" else topic.topic.labels)
    }
    assert twice.message


def test_the_same_finding_is_the_same_topic_in_the_next_run(run: Run) -> None:
    again = pipeline.measure([SAMPLE])
    assert [topic.guid for topic in make_topics(run)] == [topic.guid for topic in make_topics(again)]
    assert len({topic.guid for topic in make_topics(run)}) == len(make_topics(run))


def test_views_are_in_the_models_own_coordinates(tmp_path: Path) -> None:
    # Two models in one map system, each with an origin of its own: they are measured on the map, but a viewer
    # shows each model in its own coordinates.
    sources = []
    for name, east in (("one", 0.0), ("two", 1000.0)):
        model = Model("IFC4", "mm", name=name)
        model.map_conversion(4.5e5 + east, 5.4e6, 100.0, 30.0)
        model.wall((0, 0), (5, 0), 0.2, 3.0, material=None, made=None, name=f"wall {name}")
        sources.append(model.save(tmp_path / f"{name}.ifc"))
    run = pipeline.measure(sources)
    topics = [topic for topic in make_topics(run) if topic.kind == "material-missing"]
    assert sorted(topic.model for topic in topics) == ["one.ifc", "two.ifc"]
    for topic in topics:
        assert topic.box is not None
        assert topic.box[0] == pytest.approx([-0.1, -0.1, 0.0], abs=3.0)
        assert topic.box[1] == pytest.approx([5.1, 0.1, 3.0], abs=3.0)
        assert "one.ifc" in topic.title or "two.ifc" in topic.title


def test_an_element_without_a_body_is_shown_with_its_model(tmp_path: Path) -> None:
    model = Model("IFC4", "mm")
    model.wall((0, 0), (5, 0), 0.2, 3.0, made="In-Situ")
    bare = model.wall((0, 5), (5, 5), 0.2, 3.0, made="In-Situ")
    bare.Representation = None
    run = pipeline.measure([model.save(tmp_path / "walls.ifc")])
    (topic,) = [topic for topic in make_topics(run) if topic.kind == "not-measured"]
    assert topic.elements == (bare.GlobalId,)
    assert topic.box is not None
    assert topic.box[1] - topic.box[0] == pytest.approx([5.0, 0.2, 3.0])


def test_hostile_words_do_not_break_the_file(tmp_path: Path) -> None:
    model = Model("IFC4", "mm")
    model.wall((0, 0), (5, 0), 0.2, 3.0, material=None, made=None, name="<b>&amp; ]]> \x01wall")
    run = pipeline.measure([model.save(tmp_path / "walls.ifc")])
    write_bcf(tmp_path / "findings.bcf", run)
    container = _read(tmp_path / "findings.bcf", "3.0")  # reads its topics only when they are asked for
    texts = [topic.topic.description for topic in container.topics.values()]
    assert any("<b>&amp; ]]> wall" in text for text in texts)


@pytest.mark.parametrize("size", [(0.01, 0.01, 0.01), (5.0, 0.2, 3.0), (200.0, 80.0, 60.0)])
def test_a_camera_frames_every_corner(size: tuple[float, float, float]) -> None:
    box = np.array([[10.0, -20.0, 5.0], [10.0 + size[0], -20.0 + size[1], 5.0 + size[2]]])
    camera = framing(box)
    corners = np.array([[box[i, 0], box[j, 1], box[k, 2]] for i in (0, 1) for j in (0, 1) for k in (0, 1)])
    towards = corners - camera.position
    angles = np.degrees(np.arccos(towards @ camera.direction / np.linalg.norm(towards, axis=1)))
    assert angles.max() <= 30.0
    # And it is not so far away that nothing can be made out: a thing of some size fills a third of the view.
    if math.hypot(*size) > 2.0:
        assert angles.max() >= 10.0
    assert camera.position[2] > box[1, 2]


def test_check_hands_its_findings_to_the_designer(tmp_path: Path) -> None:
    model = Model("IFC4", "mm")
    wall = model.wall((0, 0), (5, 0), 0.2, 3.0, material=None, made=None)
    source, target = model.save(tmp_path / "wall.ifc"), tmp_path / "findings.bcf"
    result = CliRunner().invoke(main, ["check", str(source), "--bcf", str(target), "--bcf-version", "2.1"])
    assert result.exit_code == 0, result.output
    container = _read(target, "2.1")
    selected = {
        name
        for t in container.topics.values()
        for v in t.viewpoints.values()
        for name in v.get_selected_guids()
    }
    assert selected == {wall.GlobalId}
