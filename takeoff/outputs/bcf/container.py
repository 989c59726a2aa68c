"""Topics written as a BCF file, versions 3.0 and 2.1, by the library that knows the format."""

import uuid
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from takeoff.findings import InputError
from takeoff.outputs.bcf.camera import FIELD_OF_VIEW, framing
from takeoff.outputs.bcf.topics import Topic, make_topics
from takeoff.outputs.files import write_whole
from takeoff.outputs.text import cell_text

if TYPE_CHECKING:
    from takeoff.pipeline import Run

Version = Literal["3.0", "2.1"]

AUTHOR = "takeoff"
# Words of our own: BCF leaves them to the project, and 3.0 lists them in the file.
_TYPES = {"error": "Fault", "warning": "Question", "note": "Remark"}
_PRIORITIES = {"error": "high", "warning": "normal", "note": "low"}
_STATUSES = ("Open", "Closed")


def write_bcf(path: Path, run: "Run", version: Version = "3.0") -> int:
    """Write the findings of a run as topics, each with its elements selected and a view that frames them.

    Returns the number of topics. Raises InputError where the library is not installed or the file cannot be
    written.
    """
    require_library()
    topics = make_topics(run)
    title = str(run.record["title"])
    write_whole(path, lambda partial: _write(partial, topics, title, version))
    return len(topics)


def require_library() -> None:
    """Raise InputError where the library that writes BCF is not installed."""
    try:
        import bcf  # noqa: F401
    except ImportError:
        raise InputError(
            'BCF needs a library that is not installed; install it with: pip install "takeoff[standards]"'
        ) from None


def _write(path: Path, topics: Sequence[Topic], title: str, version: Version) -> None:
    from xsdata.models.datatype import XmlDateTime

    moment = XmlDateTime.from_datetime(datetime.now(UTC).replace(microsecond=0))
    library: Any
    model: Any
    if version == "3.0":
        import bcf.v3.bcfxml as library
        import bcf.v3.model as model
        from bcf.v3.topic import TopicHandler
        from bcf.v3.visinfo import VisualizationInfoHandler
    else:
        import bcf.v2.bcfxml as library
        import bcf.v2.model as model
        from bcf.v2.topic import TopicHandler  # type: ignore[assignment]
        from bcf.v2.visinfo import VisualizationInfoHandler  # type: ignore[assignment]
    container = library.BcfXml.create_new(cell_text(title))
    if version == "3.0":
        container.extensions = _extensions(model, topics)
    for number, topic in enumerate(topics, 1):
        handler = TopicHandler(Path(topic.guid))  # type: ignore[arg-type]
        handler.markup = _markup(model, topic, number, moment, version)
        if topic.box is not None:
            view = VisualizationInfoHandler(_view(model, topic, version))
            handler.add_visinfo_handler(view)
        container.topics[topic.guid] = handler
    container.save(path)


def _extensions(model: Any, topics: Sequence[Topic]) -> Any:
    """BCF 3.0: the words that the topics use."""
    return model.Extensions(
        topic_types=model.ExtensionsTopicTypes(topic_type=list(_TYPES.values())),
        topic_statuses=model.ExtensionsTopicStatuses(topic_status=list(_STATUSES)),
        priorities=model.ExtensionsPriorities(priority=list(_PRIORITIES.values())),
        topic_labels=model.ExtensionsTopicLabels(
            topic_label=list(dict.fromkeys(topic.kind for topic in topics))
        ),
        users=model.ExtensionsUsers(user=[AUTHOR]),
    )


def _markup(model: Any, topic: Topic, number: int, moment: Any, version: Version) -> Any:
    newer = version == "3.0"
    return model.Markup(
        header=model.Header(files=model.HeaderFiles(file=[model.File(filename=topic.model)]))
        if newer
        else model.Header(file=[model.HeaderFile(filename=topic.model)]),
        topic=model.Topic(
            guid=topic.guid,
            title=cell_text(topic.title),
            description=cell_text(topic.text),
            creation_author=AUTHOR,
            creation_date=moment,
            topic_type=_TYPES[topic.severity],
            topic_status=_STATUSES[0],
            priority=_PRIORITIES[topic.severity],
            index=number,
            labels=model.TopicLabels(label=[topic.kind]) if newer else [topic.kind],
        ),
    )


def _view(model: Any, topic: Topic, version: Version) -> Any:
    """A view of the topic's elements: they are selected, nothing is hidden."""
    assert topic.box is not None
    camera = framing(topic.box)
    shape = {"aspect_ratio": 1.0} if version == "3.0" else {}
    x, y, z = camera.position.tolist()
    return model.VisualizationInfo(
        guid=str(uuid.uuid5(uuid.UUID(topic.guid), "view")),
        components=model.Components(
            selection=model.ComponentSelection(
                component=[model.Component(ifc_guid=name) for name in topic.elements]
            ),
            visibility=model.ComponentVisibility(default_visibility=True),
        ),
        perspective_camera=model.PerspectiveCamera(
            camera_view_point=model.Point(x=x, y=y, z=z),
            camera_direction=_direction(model, camera.direction.tolist()),
            camera_up_vector=_direction(model, camera.up.tolist()),
            field_of_view=FIELD_OF_VIEW,
            **shape,
        ),
    )


def _direction(model: Any, vector: Sequence[float]) -> Any:
    return model.Direction(x=vector[0], y=vector[1], z=vector[2])
