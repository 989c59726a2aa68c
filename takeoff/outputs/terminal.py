"""Closing words on a terminal: the plain lines of a summary with a little weight and colour.

In a pipe they stay plain. Colours obey NO_COLOR (https://no-color.org), which rich follows.
"""

import sys
from collections.abc import Iterable
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rich.text import Text

_WEIGHT = {"Net m3": "bold", "INCOMPLETE": "bold red", "To look at": "bold", "Net total": "bold"}
_SEVERITY = {"error": "red", "warning": "yellow", "note": "dim"}


def print_lines(lines: Iterable[str]) -> None:
    """Print lines on stdout; nothing in them is read as markup."""
    if not sys.stdout.isatty():
        sys.stdout.writelines(f"{line}\n" for line in lines)
        return
    from rich.console import Console

    console = Console(highlight=False, soft_wrap=True)
    for line in lines:
        console.print(styled(line))


def styled(line: str) -> "Text":
    """The line with the weight that its beginning calls for."""
    from rich.text import Text

    for beginning, style in _WEIGHT.items():
        if line.startswith(beginning):
            return Text(line, style)
    words = line.split()
    if line.startswith("  ") and len(words) > 1 and words[0].isdigit():
        return Text(line, _SEVERITY.get(words[1], ""))
    return Text(line)


def print_document(text: str) -> None:
    """Print a Markdown text: laid out on a terminal, as it is written in a pipe."""
    from rich.console import Console

    console = Console()
    if console.is_terminal:
        from rich.markdown import Markdown

        console.print(Markdown(text))
    else:
        print(text, end="")
