"""The documents that are shipped with the program: what numbers mean, recipes, messages."""

from pathlib import Path

from msgspec import Struct

from takeoff.findings import InputError

FOLDER = Path(__file__).parent / "docs"

TOPICS = ("start", "numbers", "sheets", "surveyor", "contractor", "nightly", "office", "terminal", "messages")
"""In the order in which a newcomer reads them."""


class Document(Struct, frozen=True):
    """A document: its topic, its title, and its text in Markdown."""

    topic: str
    title: str
    text: str


def document(topic: str) -> Document:
    """The document on a topic. Raises InputError for a topic that there is none on."""
    if topic not in TOPICS:
        raise InputError(f"{topic}: there is no document of this name; take one of {', '.join(TOPICS)}")
    text = (FOLDER / f"{topic}.md").read_text(encoding="utf-8")
    return Document(topic, text.splitlines()[0].removeprefix("# "), text)


def documents() -> tuple[Document, ...]:
    """All documents."""
    return tuple(document(topic) for topic in TOPICS)
