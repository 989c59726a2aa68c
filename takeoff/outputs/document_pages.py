"""The documents for a browser: one page a topic, with drawings, and a page that lists them."""

import html
import re
from pathlib import Path

from takeoff.documents import FOLDER, documents
from takeoff.outputs.files import write_folder_whole

_INDEX = "index.html"

_STYLE = """
:root { color-scheme: light dark; }
body { font: 16px/1.55 system-ui, sans-serif; max-width: 56rem; margin: 2rem auto; padding: 0 1rem; }
table { border-collapse: collapse; width: 100%; margin: 1rem 0; }
th, td { text-align: left; vertical-align: top; padding: .3rem .6rem; border-bottom: 1px solid #9994; }
pre { padding: .7rem 1rem; background: #8881; overflow: auto; }
svg { max-width: 100%; height: auto; margin: .5rem 0; border: 1px solid #9994; }
nav { display: flex; flex-wrap: wrap; gap: .3rem 1rem; }
"""


def write_documents(folder: Path) -> None:
    """Write all documents as HTML into a new or empty folder. Raises InputError where it may not be written."""
    write_folder_whole(folder, _write, lambda path: (path / _INDEX).is_file(), _INDEX)


def _write(folder: Path) -> None:
    from markdown_it import MarkdownIt

    render = MarkdownIt("commonmark").enable("table").render
    shipped = documents()
    links = "".join(f'<a href="{one.topic}.html">{html.escape(one.title)}</a>' for one in shipped)
    for one in shipped:
        body = re.sub(r'<img src="(drawings/[a-z-]+\.svg)"[^>]*>', _drawing, render(one.text))
        (folder / f"{one.topic}.html").write_text(_page(one.title, links, body), encoding="utf-8")
    entries = "".join(f'<li><a href="{one.topic}.html">{html.escape(one.title)}</a></li>' for one in shipped)
    (folder / _INDEX).write_text(
        _page("Documents", "", f"<h1>Documents</h1><ul>{entries}</ul>"), encoding="utf-8"
    )


def _drawing(found: re.Match[str]) -> str:
    return (FOLDER / found[1]).read_text(encoding="utf-8")


def _page(title: str, links: str, body: str) -> str:
    return (
        f'<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8"><title>{html.escape(title)}</title>'
        f'<meta name="viewport" content="width=device-width, initial-scale=1"><style>{_STYLE}</style></head>'
        f"<body><nav>{links}</nav><main>{body}</main></body></html>\n"
    )
